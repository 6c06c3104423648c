#include <algorithm>
#include <sstream>

#include "commands.h"
#include "options.h"
#include "tidemark/assessment/tell.h"

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

using assessment::CriteriaSet;
using assessment::SignTable;

po::options_description description() {
  po::options_description options("Options");
  auto add = options.add_options();
  add("set", po::value<std::string>()->value_name("NAME|FILE"),
      "only this set: a built-in one by its name, or one in a file, which is checked");
  add("signs", po::value<std::string>()->value_name("NAME|FILE|all"),
      "only decision tables of signs: this one, or all built-in ones; a file is checked");
  add("json", "print JSON in place of text: sets, or with --signs decision tables");
  add("help", "print this help");
  return options;
}

/// What is to be told of.
struct Rules {
  std::vector<CriteriaSet> sets;
  std::vector<SignTable> tables;
};

Expected<Rules> rules_of(const po::variables_map& values) {
  Rules out;
  if (values.count("set") > 0 && values.count("signs") > 0) {
    return fail(ErrorKind::kUsage, "criteria", "--set and --signs do not go together",
                "give one of them");
  }
  if (values.count("set") > 0) {
    auto one = assessment::find_criteria(values["set"].as<std::string>());
    if (!one) return tl::unexpected(one.error());
    out.sets = {std::move(*one)};
    return out;
  }
  const std::string table = values.count("signs") > 0 ? values["signs"].as<std::string>() : "all";
  out.tables = assessment::built_in_signs();
  if (table != "all") {
    auto one = assessment::find_signs(table);
    if (!one) return tl::unexpected(one.error());
    out.tables = {std::move(*one)};
  }
  if (values.count("signs") == 0) out.sets = assessment::built_in_criteria();
  return out;
}

/// The sets with the one criterion.
std::vector<CriteriaSet> only(std::vector<CriteriaSet> sets, const std::string& id) {
  for (CriteriaSet& set : sets) {
    std::erase_if(set.criteria, [&](const auto& criterion) { return criterion.id != id; });
  }
  std::erase_if(sets, [](const auto& set) { return set.criteria.empty(); });
  return sets;
}

/// The tables that have something of that id, whole: a rule leans on others.
std::vector<SignTable> having(std::vector<SignTable> tables, const std::string& id) {
  std::erase_if(tables, [&](const SignTable& table) { return !explanation_of(table, id); });
  return tables;
}

std::string explained(const Rules& rules, const std::string& id) {
  std::string out;
  for (const CriteriaSet& set : rules.sets) {
    out += (out.empty() ? "" : "\n") + explanation_of(set, set.criteria.front());
  }
  for (const SignTable& table : rules.tables) {
    out += (out.empty() ? "" : "\n") + explanation_of(table, id).value_or("");
  }
  return out;
}

std::string listed(const Rules& rules) {
  const std::string sets = assessment::list_of(rules.sets);
  const std::string tables = assessment::list_of(rules.tables);
  return sets + (sets.empty() || tables.empty() ? "" : "\n") + tables;
}

}  // namespace

std::string criteria_help() {
  std::ostringstream out;
  out << "Usage: tidemark criteria [ID] [options]\n\n"
         "Lists the sets of criteria that hips are judged by and the decision tables of signs, or\n"
         "explains the criterion, sign, switch or explanation ID: its limit or rule, when and for\n"
         "which stems it holds, where it comes from and how sure it is.\n\n"
      << description()
      << "\nExit: 0 done; 2 wrong usage; 3 input unusable, e.g. a faulty set; 4 output not\n"
         "writable; 70 a fault of the program.\n";
  return out.str();
}

int run_criteria(const Arguments& arguments) {
  const auto values = parse(arguments, description(), "criteria", "ID", Operands::kOneAtMost);
  if (!values) return report(values.error());
  if (values->count("help") > 0) return print(criteria_help(), kAllMeasured);
  auto rules = rules_of(*values);
  if (!rules) return report(rules.error());
  std::string id;
  if (values->count("operand") > 0) {
    id = (*values)["operand"].as<std::vector<std::string>>().front();
    *rules = {only(std::move(rules->sets), id), having(std::move(rules->tables), id)};
    if (rules->sets.empty() && rules->tables.empty()) {
      return report({ErrorKind::kUsage, "criteria",
                     "there is no criterion, sign, switch or explanation with the id " + id,
                     "see: tidemark criteria"});
    }
  }
  if (values->count("json") > 0) {
    const bool tables = values->count("signs") > 0 || rules->sets.empty();
    return print(tables ? assessment::json_of(rules->tables) : assessment::json_of(rules->sets),
                 kAllMeasured);
  }
  return print(id.empty() ? listed(*rules) : explained(*rules, id), kAllMeasured);
}

}  // namespace tidemark::app
