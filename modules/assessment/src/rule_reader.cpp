#include "rule_reader.h"

#include <algorithm>
#include <set>
#include <utility>

#include "reading.h"
#include "sign_words.h"

namespace tidemark::assessment {
namespace {

using Json = JsonReader::Json;
using Op = Rule::Op;

// House choices: far beyond any real table.
constexpr int kDeepest = 12;
constexpr std::size_t kMostParts = 50;
constexpr Range kLimits{-50.0, 50.0};
constexpr Range kWidths{0.0, 20.0};
constexpr Range kShares{0.0, 1.0};
constexpr Range kZones{1.0, 7.0};
constexpr Range kDays{0.0, 36525.0};

/// A kind of rule: the key that makes it one, and what else may stand beside it.
struct Form {
  const char* key;
  Op op;
  std::vector<std::string> beside;
};

const std::vector<Form>& forms() {
  static const std::vector<Form> all{
      {"all", Op::kAll, {}},
      {"any", Op::kAny, {}},
      {"not", Op::kNot, {}},
      {"sign", Op::kSign, {}},
      {"by_switch", Op::kSwitch, {"choices"}},
      {"measure", Op::kMeasure, {"zone", "above", "below", "size"}},
      {"moved", Op::kMoved, {}},
      {"lines",
       Op::kLines,
       {"interface", "zones", "width_mm", "at_least", "of", "past_first_centimetre"}},
      {"pedestal", Op::kPedestal, {}},
      {"principle", Op::kPrinciple, {}},
      {"pattern", Op::kPattern, {}},
      {"from_days", Op::kFromDays, {}},
      {"flagged", Op::kFlagged, {}},
      {"not_looked_for", Op::kNotLookedFor, {}},
      {"cannot_show", Op::kCannotShow, {}},
  };
  return all;
}

std::vector<std::string> form_keys() {
  std::vector<std::string> out;
  for (const Form& form : forms()) out.emplace_back(form.key);
  return out;
}

/// The form whose key the node has; a fault when there is none or more than one.
const Form* form_of(JsonReader& reader, const Json& node, const std::string& path) {
  if (reader.first_fault()) return nullptr;
  if (!node.is_object()) {
    reader.fault(path + " is " + JsonReader::shown(node) + ", not a rule", "write it in braces");
    return nullptr;
  }
  const Form* found = nullptr;
  for (const Form& form : forms()) {
    if (JsonReader::find(node, form.key) == nullptr) continue;
    if (found != nullptr) {
      reader.fault(path + " asks for both " + found->key + " and " + form.key,
                   "write one question, or both within all or any");
      return nullptr;
    }
    found = &form;
  }
  if (found != nullptr) return found;
  std::string first;
  std::optional<std::string> near;
  for (const auto& [key, value] : node.items()) {
    if (first.empty()) first = key;
    if (!near) near = nearest_key(key, form_keys());
  }
  reader.fault(path + " is no rule" +
                   (first.empty() ? "" : ": it has the key " + JsonReader::in_quotes(first)),
               near ? "did you mean " + JsonReader::in_quotes(*near) + "?"
                    : "see docs/assessment.md for the questions there are");
  return nullptr;
}

Rule read_at(JsonReader& reader, const Json& node, const std::string& path, int depth);

std::vector<Rule> read_parts(JsonReader& reader, const Json& list, const std::string& path,
                             int depth) {
  std::vector<Rule> out;
  if (!list.is_array() || list.empty() || list.size() > kMostParts) {
    reader.fault(path + " is no list of 1 to 50 rules", "write rules in brackets");
    return out;
  }
  for (std::size_t i = 0; i < list.size() && !reader.first_fault(); ++i) {
    out.push_back(read_at(reader, list[i], path + "[" + std::to_string(i) + "]", depth + 1));
  }
  return out;
}

void read_switch(JsonReader& reader, const Json& node, const std::string& path, int depth,
                 Rule& rule) {
  rule.name = short_text(reader, node, path, "by_switch");
  reader.required(node, path, {"choices"});
  const Json* choices = JsonReader::find(node, "choices");
  if (choices == nullptr) return;
  if (!choices->is_object() || choices->empty() || choices->size() > kMostParts) {
    reader.fault(path + ".choices is no object with a rule for each choice", "write one");
    return;
  }
  const std::string at = JsonReader::at(path, "choices");
  for (const auto& [id, part] : choices->items()) {
    rule.choices.push_back(id);
    rule.parts.push_back(read_at(reader, part, JsonReader::at(at, id), depth + 1));
  }
}

void read_measure(JsonReader& reader, const Json& node, const std::string& path, Rule& rule) {
  MeasureRule& m = rule.measure;
  m.measure = chosen(reader, node, path, "measure", kMeasures).value_or(m.measure);
  m.above = reader.number(node, path, "above", kLimits);
  m.below = reader.number(node, path, "below", kLimits);
  m.size = reader.yes_or_no(node, path, "size").value_or(false);
  m.zone = static_cast<int>(reader.number(node, path, "zone", kZones).value_or(0.0));
  if (m.above.has_value() == m.below.has_value()) {
    reader.fault(path + " needs one of above and below", "give the one that is meant");
  }
  if (m.size && m.above.value_or(m.below.value_or(0.0)) < 0.0) {
    reader.fault(path + " holds a size against a limit below 0", "write the limit without sign");
  }
  if ((m.measure == Measure::kCortexChange) != (m.zone > 0)) {
    reader.fault(path + ".zone belongs to cortex_change_mm and to nothing else",
                 m.zone > 0 ? "leave it out" : "give the zone, 1 to 7");
  }
}

void read_zones(JsonReader& reader, const Json& node, const std::string& path, LineRule& lines) {
  const Json* list = JsonReader::find(node, "zones");
  if (list == nullptr) return;
  if (!list->is_array() || list->empty()) {
    reader.fault(path + ".zones is no list of zones", "write for example [1, 7]");
    return;
  }
  std::set<int> found;
  for (std::size_t i = 0; i < list->size() && !reader.first_fault(); ++i) {
    const double zone =
        reader.number((*list)[i], JsonReader::at(path, "zones", i), kZones).value_or(1.0);
    if (zone != static_cast<int>(zone) || !found.insert(static_cast<int>(zone)).second) {
      reader.fault(JsonReader::at(path, "zones", i) + " is no zone, or stands twice",
                   "write whole numbers from 1 to 7");
    }
  }
  lines.zones.assign(found.begin(), found.end());
}

void read_lines(JsonReader& reader, const Json& node, const std::string& path, Rule& rule) {
  LineRule& l = rule.lines;
  reader.required(node, path, {"interface", "zones"});
  l.question = chosen(reader, node, path, "lines", kLineQuestions).value_or(l.question);
  l.interface = chosen(reader, node, path, "interface", kInterfaces).value_or(l.interface);
  read_zones(reader, node, path, l);
  l.width_mm = reader.number(node, path, "width_mm", kWidths);
  const auto at_least = reader.number(node, path, "at_least", kShares);
  const auto past = reader.yes_or_no(node, path, "past_first_centimetre");
  const auto share = chosen(reader, node, path, "of", kLineShares);
  const bool extent = l.question == LineQuestion::kExtent;
  if (extent != at_least.has_value()) {
    reader.fault(path + ".at_least belongs to the question extent and to nothing else",
                 extent ? "give the share, 0 to 1" : "leave it out");
  }
  if (!extent && (past || share)) {
    reader.fault(path + " asks for no share of an interface",
                 "leave out of and past_first_centimetre");
  }
  l.at_least = at_least.value_or(0.0);
  l.past_first_centimetre = past.value_or(false);
  l.share = share.value_or(LineShare::kVisible);
}

void read_moved(JsonReader& reader, const Json& node, const std::string& path, Rule& rule) {
  const auto words = kMeasures.texts();
  for (const std::string& text : reader.texts(node, path, "moved")) {
    const auto found = std::find(words.begin(), words.end(), text);
    if (found == words.end() || text == kMeasures[Measure::kCortexChange]) {
      reader.fault(path + ".moved names " + JsonReader::in_quotes(text) + ", which is no motion",
                   "write for example subsidence_mm or tilt_change_deg");
      return;
    }
    rule.measures.push_back(static_cast<Measure>(found - words.begin()));
  }
  if (rule.measures.empty()) reader.fault(path + ".moved names nothing", "name a number");
}

void read_pattern(JsonReader& reader, const Json& node, const std::string& path, Rule& rule) {
  static const std::set<std::string> known{"settled", "continuous", "late", "stable"};
  rule.patterns = reader.texts(node, path, "pattern");
  for (const std::string& one : rule.patterns) {
    if (!known.contains(one)) {
      reader.fault(path + ".pattern names " + JsonReader::in_quotes(one),
                   "write settled, continuous, late or stable");
    }
  }
  if (rule.patterns.empty()) reader.fault(path + ".pattern names nothing", "name one");
}

/// Rules with more than a word.
void read_form(JsonReader& reader, const Json& node, const std::string& path, int depth,
               Rule& rule) {
  switch (rule.op) {
    case Op::kAll:
      rule.parts = read_parts(reader, node.at("all"), path + ".all", depth);
      break;
    case Op::kAny:
      rule.parts = read_parts(reader, node.at("any"), path + ".any", depth);
      break;
    case Op::kNot:
      rule.parts.push_back(read_at(reader, node.at("not"), path + ".not", depth + 1));
      break;
    case Op::kSwitch:
      read_switch(reader, node, path, depth, rule);
      break;
    case Op::kMeasure:
      read_measure(reader, node, path, rule);
      break;
    case Op::kMoved:
      read_moved(reader, node, path, rule);
      break;
    case Op::kLines:
      read_lines(reader, node, path, rule);
      break;
    case Op::kPattern:
      read_pattern(reader, node, path, rule);
      break;
    default:
      break;
  }
}

Rule read_at(JsonReader& reader, const Json& node, const std::string& path, int depth) {
  Rule rule;
  const Form* form = form_of(reader, node, path);
  if (form == nullptr) return rule;
  if (depth > kDeepest) {
    reader.fault(path + " lies deeper than 12 rules within rules", "write it flatter");
    return rule;
  }
  std::vector<std::string> known = form->beside;
  known.emplace_back(form->key);
  if (!reader.object(node, path, known)) return rule;
  rule.op = form->op;
  static const std::array<std::string, 2> pedestals{"present", "new"};
  switch (rule.op) {
    case Op::kSign:
    case Op::kNotLookedFor:
    case Op::kCannotShow:
      rule.name = short_text(reader, node, path, form->key);
      break;
    case Op::kPedestal:
      if (reader.word(node, path, "pedestal", pedestals) == 1U) rule.op = Op::kNewPedestal;
      break;
    case Op::kPrinciple:
      rule.principle =
          chosen(reader, node, path, "principle", kPrinciples).value_or(rule.principle);
      break;
    case Op::kFromDays:
      rule.days = static_cast<int>(reader.number(node, path, "from_days", kDays).value_or(0.0));
      break;
    case Op::kFlagged:
      if (!reader.yes_or_no(node, path, "flagged").value_or(false)) {
        reader.fault(path + ".flagged can only be true", "write {\"not\": {\"flagged\": true}}");
      }
      break;
    default:
      read_form(reader, node, path, depth, rule);
  }
  return rule;
}

}  // namespace

Rule read_rule(JsonReader& reader, const Json& node, const std::string& path) {
  return read_at(reader, node, path, 0);
}

}  // namespace tidemark::assessment
