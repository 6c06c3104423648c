#include <algorithm>
#include <sstream>

#include "commands.h"
#include "options.h"
#include "tidemark/assessment/tell.h"

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

po::options_description description() {
  po::options_description options("Options");
  auto add = options.add_options();
  add("set", po::value<std::string>()->value_name("NAME|FILE"),
      "only this set: a built-in one by its name, or one in a file, which is checked");
  add("json", "print JSON in place of text");
  add("help", "print this help");
  return options;
}

/// The sets with the one criterion, or why there is none.
Expected<std::vector<assessment::CriteriaSet>> only(std::vector<assessment::CriteriaSet> sets,
                                                    const std::string& id) {
  for (assessment::CriteriaSet& set : sets) {
    std::erase_if(set.criteria, [&](const auto& criterion) { return criterion.id != id; });
  }
  std::erase_if(sets, [](const auto& set) { return set.criteria.empty(); });
  if (!sets.empty()) return sets;
  return fail(ErrorKind::kUsage, "criteria", "there is no criterion with the id " + id,
              "see: tidemark criteria");
}

std::string text_of(const std::vector<assessment::CriteriaSet>& sets) {
  std::string out;
  for (const auto& set : sets) {
    out += (out.empty() ? "" : "\n") + explanation_of(set, set.criteria.front());
  }
  return out;
}

}  // namespace

std::string criteria_help() {
  std::ostringstream out;
  out << "Usage: tidemark criteria [ID] [options]\n\n"
         "Lists the sets of criteria that hips are judged by, or explains the criterion ID: its\n"
         "limit, when and for which stems it holds, where it comes from and how sure it is.\n\n"
      << description()
      << "\nExit: 0 done; 2 wrong usage; 3 input unusable, e.g. a faulty set; 4 output not\n"
         "writable; 70 a fault of the program.\n";
  return out.str();
}

int run_criteria(const Arguments& arguments) {
  const auto values = parse(arguments, description(), "criteria", "ID", Operands::kOneAtMost);
  if (!values) return report(values.error());
  if (values->count("help") > 0) return print(criteria_help(), kAllMeasured);
  std::vector<assessment::CriteriaSet> sets = assessment::built_in_criteria();
  if (values->count("set") > 0) {
    auto one = assessment::find_criteria((*values)["set"].as<std::string>());
    if (!one) return report(one.error());
    sets = {std::move(*one)};
  }
  const bool explained = values->count("operand") > 0;
  if (explained) {
    auto some = only(std::move(sets), (*values)["operand"].as<std::vector<std::string>>().front());
    if (!some) return report(some.error());
    sets = std::move(*some);
  }
  if (values->count("json") > 0) return print(assessment::json_of(sets), kAllMeasured);
  return print(explained ? text_of(sets) : assessment::list_of(sets), kAllMeasured);
}

}  // namespace tidemark::app
