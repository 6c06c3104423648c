#include "sign_reader.h"

#include <algorithm>
#include <set>

#include "criteria_words.h"
#include "reading.h"
#include "rule_reader.h"
#include "tidemark/core/hash.h"

namespace tidemark::assessment {
namespace {

using Json = JsonReader::Json;

constexpr std::size_t kMostItems = 200;  // house choice
constexpr Range kPoints{-100.0, 100.0};
constexpr Range kSums{-1000.0, 1000.0};

Citation read_citation(JsonReader& reader, const Json& node, const std::string& path) {
  Citation out;
  out.text = short_text(reader, node, path, "citation");
  out.doi = read_doi(reader, node, path);
  out.certainty = chosen(reader, node, path, "certainty", kCertainties).value_or(out.certainty);
  return out;
}

/// Calls `read(item, place)` for each item of the list `key`; an absent list is an empty one.
template <class Read>
void each(JsonReader& reader, const Json& parent, const std::string& path, const std::string& key,
          const Read& read) {
  const Json* list = JsonReader::find(parent, key);
  if (list == nullptr || reader.first_fault()) return;
  if (!list->is_array() || list->size() > kMostItems) {
    reader.fault(JsonReader::at(path, key) + " is no list of at most 200", "write it in brackets");
    return;
  }
  for (std::size_t i = 0; i < list->size() && !reader.first_fault(); ++i) {
    read((*list)[i], JsonReader::at(path, key, i));
  }
}

/// Notes a fault when an id stands twice.
template <class Item>
void check_ids(JsonReader& reader, const std::vector<Item>& items, const std::string& path) {
  std::set<std::string> ids;
  for (std::size_t i = 0; i < items.size(); ++i) {
    if (ids.insert(items[i].id).second) continue;
    reader.fault(JsonReader::at("", path, i) + ".id is " + JsonReader::in_quotes(items[i].id) +
                     ", which stands twice",
                 "give each its own id");
  }
}

SwitchChoice read_choice(JsonReader& reader, const Json& node, const std::string& path) {
  SwitchChoice out;
  if (!reader.object(node, path, {"id", "text", "citation", "doi", "certainty"})) return out;
  reader.required(node, path, {"id", "text"});
  out.id = short_text(reader, node, path, "id");
  out.text = short_text(reader, node, path, "text");
  if (JsonReader::find(node, "citation") != nullptr) {
    reader.required(node, path, {"certainty"});
    out.source = read_citation(reader, node, path);
  }
  return out;
}

SignSwitch read_switch(JsonReader& reader, const Json& node, const std::string& path) {
  SignSwitch out;
  if (!reader.object(node, path, {"id", "question", "default", "choices"})) return out;
  reader.required(node, path, {"id", "question", "default", "choices"});
  out.id = short_text(reader, node, path, "id");
  out.question = short_text(reader, node, path, "question");
  out.chosen = short_text(reader, node, path, "default");
  each(reader, node, path, "choices", [&](const Json& item, const std::string& at) {
    out.choices.push_back(read_choice(reader, item, at));
  });
  return out;
}

/// One side of a sign: when, what it says, its points.
struct Side {
  std::optional<Rule> when;
  std::string says;
  std::optional<double> points;
};

Side read_side(JsonReader& reader, const Json& sign, const std::string& path,
               const std::string& key) {
  Side out;
  const Json* node = JsonReader::find(sign, key);
  const std::string at = JsonReader::at(path, key);
  if (node == nullptr || !reader.object(*node, at, {"when", "says", "points"})) return out;
  reader.required(*node, at, {"says"});
  out.says = short_text(reader, *node, at, "says");
  out.points = reader.number(*node, at, "points", kPoints);
  if (const Json* when = JsonReader::find(*node, "when")) {
    out.when = read_rule(reader, *when, at + ".when");
  }
  return out;
}

Sign read_sign(JsonReader& reader, const Json& node, const std::string& path) {
  static const std::array<std::string, 6> parts{"fixation", "stability", "motion",
                                                "lines",    "class",     "grade"};
  Sign out;
  if (!reader.object(
          node, path,
          {"id", "title", "part", "present", "absent", "citation", "doi", "certainty", "note"})) {
    return out;
  }
  reader.required(node, path,
                  {"id", "title", "part", "present", "absent", "citation", "certainty"});
  out.id = short_text(reader, node, path, "id");
  out.title = short_text(reader, node, path, "title");
  if (const auto part = reader.word(node, path, "part", parts)) out.part = parts.at(*part);
  Side present = read_side(reader, node, path, "present");
  Side absent = read_side(reader, node, path, "absent");
  if (!present.when) {
    reader.fault(path + ".present.when is missing", "give the rule");
    return out;
  }
  if (present.points.has_value() != absent.points.has_value()) {
    reader.fault(path + " has points for one answer only", "give them for both, or for none");
  }
  out.present = *present.when;
  if (absent.when) {
    out.absent = *absent.when;
  } else {
    out.absent.op = Rule::Op::kNot;
    out.absent.parts = {*present.when};
  }
  out.says_present = present.says;
  out.says_absent = absent.says;
  out.points_present = present.points;
  out.points_absent = absent.points;
  out.source = read_citation(reader, node, path);
  out.note = short_text(reader, node, path, "note");
  return out;
}

std::optional<SignScore> read_score(JsonReader& reader, const Json& table) {
  const Json* node = JsonReader::find(table, "score");
  if (node == nullptr ||
      !reader.object(*node, "score", {"title", "readings", "citation", "doi", "certainty"})) {
    return {};
  }
  reader.required(*node, "score", {"title", "readings", "citation", "certainty"});
  SignScore out{
      short_text(reader, *node, "score", "title"), {}, read_citation(reader, *node, "score")};
  each(reader, *node, "score", "readings", [&](const Json& item, const std::string& at) {
    if (!reader.object(item, at, {"at_least", "says"})) return;
    reader.required(item, at, {"says"});
    out.readings.push_back(
        {reader.number(item, at, "at_least", kSums), short_text(reader, item, at, "says")});
  });
  for (std::size_t i = 0; i < out.readings.size(); ++i) {
    const bool last = i + 1 == out.readings.size();
    const auto& limit = out.readings[i].at_least;
    const bool falls = i == 0 || !limit || *limit < *out.readings[i - 1].at_least;
    if (last == limit.has_value() || !falls) {
      reader.fault(JsonReader::at("score", "readings", i) + " is out of order",
                   "list readings from the highest at_least down, the last one without");
      break;
    }
  }
  return out;
}

ExplanationRule read_explanation(JsonReader& reader, const Json& node, const std::string& path) {
  ExplanationRule out;
  if (!reader.object(node, path,
                     {"id", "title", "clauses", "next", "citation", "doi", "certainty"})) {
    return out;
  }
  reader.required(node, path, {"id", "title", "clauses", "next", "citation", "certainty"});
  out.id = short_text(reader, node, path, "id");
  out.title = short_text(reader, node, path, "title");
  out.next = short_text(reader, node, path, "next");
  out.source = read_citation(reader, node, path);
  each(reader, node, path, "clauses", [&](const Json& item, const std::string& at) {
    if (!reader.object(item, at, {"says", "when"})) return;
    reader.required(item, at, {"says", "when"});
    const Json* when = JsonReader::find(item, "when");
    if (when == nullptr) return;
    out.clauses.push_back(
        {short_text(reader, item, at, "says"), read_rule(reader, *when, at + ".when")});
  });
  if (out.clauses.empty()) reader.fault(path + ".clauses is empty", "give at least one");
  return out;
}

void read_choose(JsonReader& reader, const Json& json, TableAlone& out) {
  const Json* node = JsonReader::find(json, "choose");
  if (node == nullptr) return;
  if (!node->is_object()) {
    reader.fault("choose is no object", "write {\"switch\": \"choice\"}");
    return;
  }
  for (const auto& [id, choice] : node->items()) {
    out.choose.emplace_back(id, short_text(reader, *node, "choose", id));
  }
}

TableAlone read_json(JsonReader& reader, const Json& json) {
  static const std::array<std::string, 1> schemas{"tidemark/signs/1"};
  TableAlone out;
  if (!reader.object(json, "",
                     {"schema", "id", "extends", "title", "fixation", "note", "choose", "switches",
                      "signs", "score", "explanations"})) {
    return out;
  }
  (void)reader.word(json, "", "schema", schemas);
  reader.required(json, "", {"schema", "id", "title", "fixation"});
  SignTable& table = out.table;
  table.id = short_text(reader, json, "", "id");
  table.title = short_text(reader, json, "", "title");
  table.note = short_text(reader, json, "", "note");
  table.fixation = chosen(reader, json, "", "fixation", kScopes).value_or(table.fixation);
  out.extends = reader.text(json, "", "extends");
  read_choose(reader, json, out);
  each(reader, json, "", "switches", [&](const Json& item, const std::string& at) {
    table.switches.push_back(read_switch(reader, item, at));
  });
  each(reader, json, "", "signs", [&](const Json& item, const std::string& at) {
    table.signs.push_back(read_sign(reader, item, at));
  });
  table.score = read_score(reader, json);
  each(reader, json, "", "explanations", [&](const Json& item, const std::string& at) {
    table.explanations.push_back(read_explanation(reader, item, at));
  });
  check_ids(reader, table.switches, "switches");
  check_ids(reader, table.signs, "signs");
  check_ids(reader, table.explanations, "explanations");
  return out;
}

std::string named(const std::string& what, const std::string& id) {
  return what + " " + JsonReader::in_quotes(id);
}

/// What a rule asks for that the table does not have.
class Checker {
 public:
  Checker(const SignTable& table, std::string name) : table_(table), name_(std::move(name)) {}

  void check(const Rule& rule, const std::string& where) {
    walk(rule, [&](const Rule& one) {
      if (one.op == Rule::Op::kSign && !before_.contains(one.name)) {
        note(where + " asks for the " + named("sign", one.name) + ", which does not stand before",
             "list signs before those that rest on them");
      }
      if (one.op == Rule::Op::kSwitch) check_switch(one, where);
    });
  }
  void passed(const std::string& sign) { before_.insert(sign); }
  void note(const std::string& wrong, const std::string& remedy) {
    if (!fault) fault = Error{ErrorKind::kBadInput, name_, wrong, remedy};
  }

  std::optional<Error> fault;

 private:
  void check_switch(const Rule& rule, const std::string& where) {
    const auto found = std::find_if(table_.switches.begin(), table_.switches.end(),
                                    [&](const SignSwitch& one) { return one.id == rule.name; });
    if (found == table_.switches.end()) {
      return note(where + " asks for the " + named("switch", rule.name) + ", which there is not",
                  "list it under switches");
    }
    std::set<std::string> wanted;
    for (const SwitchChoice& choice : found->choices) wanted.insert(choice.id);
    if (wanted != std::set<std::string>(rule.choices.begin(), rule.choices.end())) {
      note(where + " has not one rule for each choice of the " + named("switch", rule.name),
           "give each choice its rule");
    }
  }

  const SignTable& table_;  // NOLINT: a view for the length of one call
  std::string name_;
  std::set<std::string> before_;
};

}  // namespace

Expected<TableAlone> read_table_alone(std::string_view text, const std::string& name) {
  JsonReader reader(name);
  if (text.size() > kMaxRuleBytes) {
    return fail(ErrorKind::kBadInput, name, "larger than 1 MiB", "a decision table is small");
  }
  const Json json = reader.parse(text);
  TableAlone out;
  if (!reader.first_fault()) {
    if (json.is_object()) {
      out = read_json(reader, json);
    } else {
      reader.fault("it holds no object", "write it in braces");
    }
  }
  if (reader.first_fault()) return tl::unexpected(*reader.first_fault());
  out.table.sha256 = sha256_hex(text);
  return out;
}

std::optional<Error> fault_of(const SignTable& table, const std::string& name) {
  Checker checker(table, name);
  for (const SignSwitch& one : table.switches) {
    const auto& all = one.choices;
    const bool there = std::any_of(all.begin(), all.end(),
                                   [&](const SwitchChoice& c) { return c.id == one.chosen; });
    if (!there) {
      checker.note("the " + named("switch", one.id) + " has no " + named("choice", one.chosen),
                   "set its default to one of its choices");
    }
  }
  for (const Sign& sign : table.signs) {
    checker.check(sign.present, named("sign", sign.id));
    checker.check(sign.absent, named("sign", sign.id));
    checker.passed(sign.id);
  }
  for (const ExplanationRule& one : table.explanations) {
    for (const auto& clause : one.clauses) checker.check(clause.when, named("explanation", one.id));
  }
  if (table.signs.empty()) checker.note("it holds no signs", "list them, or extend a table");
  return checker.fault;
}

}  // namespace tidemark::assessment
