#include <algorithm>
#include <nlohmann/json.hpp>

#include "criteria_words.h"
#include "sign_words.h"
#include "tidemark/assessment/tell.h"
#include "tidemark/core/number_text.h"

namespace tidemark::assessment {
namespace {

using Json = nlohmann::ordered_json;
using Op = Rule::Op;

std::string filled(const std::string& text, std::size_t width) {
  return text.size() < width ? text + std::string(width - text.size(), ' ') : text;
}

template <class Items, class Text>
std::string listed(const Items& items, const std::string& between, const Text& text) {
  std::string out;
  for (const auto& one : items) out += (out.empty() ? "" : between) + text(one);
  return out;
}

std::string in_brackets(const Rule& rule) {
  const bool compound = rule.op == Op::kAll || rule.op == Op::kAny || rule.op == Op::kSwitch;
  const bool several = rule.parts.size() + rule.measures.size() > 1;
  return (compound || rule.op == Op::kMoved) && several ? "(" + words_of(rule) + ")"
                                                        : words_of(rule);
}

std::string measure_words(const MeasureRule& m) {
  const std::string name =
      kMeasures[m.measure] + (m.zone > 0 ? " of zone " + std::to_string(m.zone) : "");
  const double limit = m.above.value_or(m.below.value_or(0.0));
  if (m.size) return name + (m.above ? " beyond ± " : " within ± ") + plain_number(limit);
  return name + (m.above ? " above " : " below ") + plain_number(limit);
}

std::string zones_words(const std::vector<int>& zones) {
  return (zones.size() == 1 ? "zone " : "zones ") +
         listed(zones, ", ", [](int zone) { return std::to_string(zone); });
}

std::string lines_words(const LineRule& l) {
  const std::string wide =
      l.width_mm && *l.width_mm > 0.0 ? " of " + plain_number(*l.width_mm) + " mm and more" : "";
  const std::string where = " (" + kInterfaces[l.interface] + ", " + zones_words(l.zones) + ")";
  switch (l.question) {
    case LineQuestion::kExtent:
      return "lines" + wide + " along at least " + plain_number(100.0 * l.at_least) + " % of the " +
             kLineShares[l.share] + " interface" +
             (l.past_first_centimetre ? " past the first centimetre" : "") + where;
    case LineQuestion::kNew:
      return "a new line" + wide + where;
    case LineQuestion::kProgressive:
      return "a line" + wide + " that grew" + where;
    case LineQuestion::kRim:
      return "a line with a bright rim" + where;
    case LineQuestion::kAny:
      break;
  }
  return "a line" + wide + where;
}

std::string switch_words(const Rule& rule) {
  std::string out = "by the switch " + rule.name + ": ";
  for (std::size_t i = 0; i < rule.parts.size(); ++i) {
    out += (i == 0 ? "" : "; ") + rule.choices[i] + ": " + in_brackets(rule.parts[i]);
  }
  return out;
}

std::string text_of(const std::string& text) { return text; }

void add_citation(Json& out, const Citation& source) {
  out["citation"] = source.text;
  if (source.doi) out["doi"] = *source.doi;
  out["certainty"] = kCertainties[source.certainty];
}

Json rule_json(const Rule& rule);

Json parts_json(const Rule& rule) {
  Json out = Json::array();
  for (const Rule& part : rule.parts) out.push_back(rule_json(part));
  return out;
}

Json measure_json(const MeasureRule& m) {
  Json out{{"measure", kMeasures[m.measure]}};
  if (m.zone > 0) out["zone"] = m.zone;
  if (m.above) out["above"] = *m.above;
  if (m.below) out["below"] = *m.below;
  if (m.size) out["size"] = true;
  return out;
}

Json lines_json(const LineRule& l) {
  Json out{{"lines", kLineQuestions[l.question]},
           {"interface", kInterfaces[l.interface]},
           {"zones", l.zones}};
  if (l.width_mm) out["width_mm"] = *l.width_mm;
  if (l.question != LineQuestion::kExtent) return out;
  out["at_least"] = l.at_least;
  out["of"] = kLineShares[l.share];
  if (l.past_first_centimetre) out["past_first_centimetre"] = true;
  return out;
}

Json switch_json(const Rule& rule) {
  Json out{{"by_switch", rule.name}, {"choices", Json::object()}};
  for (std::size_t i = 0; i < rule.parts.size(); ++i) {
    out["choices"][rule.choices[i]] = rule_json(rule.parts[i]);
  }
  return out;
}

Json rule_json(const Rule& rule) {
  switch (rule.op) {
    case Op::kAll:
      return {{"all", parts_json(rule)}};
    case Op::kAny:
      return {{"any", parts_json(rule)}};
    case Op::kNot:
      return {{"not", rule_json(rule.parts.front())}};
    case Op::kSign:
      return {{"sign", rule.name}};
    case Op::kSwitch:
      return switch_json(rule);
    case Op::kMeasure:
      return measure_json(rule.measure);
    case Op::kMoved: {
      Json out{{"moved", Json::array()}};
      for (const Measure one : rule.measures) out["moved"].push_back(kMeasures[one]);
      return out;
    }
    case Op::kLines:
      return lines_json(rule.lines);
    case Op::kPedestal:
      return {{"pedestal", "present"}};
    case Op::kNewPedestal:
      return {{"pedestal", "new"}};
    case Op::kPrinciple:
      return {{"principle", kPrinciples[rule.principle]}};
    case Op::kPattern:
      return {{"pattern", rule.patterns}};
    case Op::kFromDays:
      return {{"from_days", rule.days}};
    case Op::kFlagged:
      return {{"flagged", true}};
    case Op::kCannotShow:
      return {{"cannot_show", rule.name}};
    case Op::kNotLookedFor:
      break;
  }
  return {{"not_looked_for", rule.name}};
}

Json side_json(const Rule& when, const std::string& says, const std::optional<double>& points) {
  Json out{{"when", rule_json(when)}, {"says", says}};
  if (points) out["points"] = *points;
  return out;
}

Json sign_json(const Sign& sign) {
  Json out{{"id", sign.id},
           {"title", sign.title},
           {"part", sign.part},
           {"present", side_json(sign.present, sign.says_present, sign.points_present)},
           {"absent", side_json(sign.absent, sign.says_absent, sign.points_absent)}};
  add_citation(out, sign.source);
  if (!sign.note.empty()) out["note"] = sign.note;
  return out;
}

Json sign_switch_json(const SignSwitch& one) {
  Json out{{"id", one.id}, {"question", one.question}, {"default", one.chosen}};
  for (const SwitchChoice& choice : one.choices) {
    Json item{{"id", choice.id}, {"text", choice.text}};
    if (choice.source) add_citation(item, *choice.source);
    out["choices"].push_back(std::move(item));
  }
  return out;
}

Json explanation_json(const ExplanationRule& one) {
  Json out{{"id", one.id}, {"title", one.title}};
  for (const ExplanationClause& clause : one.clauses) {
    out["clauses"].push_back({{"says", clause.says}, {"when", rule_json(clause.when)}});
  }
  out["next"] = one.next;
  add_citation(out, one.source);
  return out;
}

Json score_json(const SignScore& score) {
  Json out{{"title", score.title}, {"readings", Json::array()}};
  for (const ScoreReading& one : score.readings) {
    Json item;
    if (one.at_least) item["at_least"] = *one.at_least;
    item["says"] = one.says;
    out["readings"].push_back(std::move(item));
  }
  add_citation(out, score.source);
  return out;
}

Json table_json(const SignTable& table) {
  Json out{{"schema", "tidemark/signs/1"},
           {"id", table.id},
           {"title", table.title},
           {"fixation", kScopes[table.fixation]}};
  if (!table.note.empty()) out["note"] = table.note;
  const auto list = [&out](const std::string& key, const auto& items, const auto& json) {
    out[key] = Json::array();
    for (const auto& one : items) out[key].push_back(json(one));
  };
  list("switches", table.switches, sign_switch_json);
  list("signs", table.signs, sign_json);
  if (table.score) out["score"] = score_json(*table.score);
  list("explanations", table.explanations, explanation_json);
  return out;
}

/// Lines of an explanation, "  name      text".
class Lines {
 public:
  void add(const std::string& name, const std::string& text) {
    if (!text.empty()) out_ += "  " + filled(name, 10) + text + "\n";
  }
  void add(const Citation& source) {
    add("source", source.text + (source.doi ? ", doi:" + *source.doi : ""));
    add("rule", phrase_of(source.certainty));
  }
  [[nodiscard]] const std::string& text() const { return out_; }

 private:
  std::string out_;
};

std::string points_text(const std::optional<double>& points) {
  return points ? ", " + signed_text(*points, 1) + " points" : "";
}

std::string explained(const Sign& sign) {
  Lines lines;
  lines.add("sign", sign.title + " (" + sign.part + ")");
  lines.add("present", words_of(sign.present) + points_text(sign.points_present));
  lines.add("absent", words_of(sign.absent) + points_text(sign.points_absent));
  lines.add(sign.source);
  lines.add("note", sign.note);
  return lines.text();
}

std::string explained(const SignSwitch& one) {
  Lines lines;
  lines.add("switch", one.question);
  for (const SwitchChoice& choice : one.choices) {
    lines.add(choice.id == one.chosen ? "chosen" : "or", choice.id + ": " + choice.text);
    if (choice.source) lines.add(*choice.source);
  }
  return lines.text();
}

std::string explained(const ExplanationRule& one) {
  Lines lines;
  lines.add("would fit", one.title);
  for (const ExplanationClause& clause : one.clauses) {
    lines.add("when", clause.says + ": " + words_of(clause.when));
  }
  lines.add("next", one.next);
  lines.add(one.source);
  return lines.text();
}

template <class Items>
std::optional<std::string> explained_in(const SignTable& table, const Items& items,
                                        const std::string& id) {
  for (const auto& one : items) {
    if (one.id == id) return id + " (" + table.id + ")\n" + explained(one);
  }
  return {};
}

template <class Items, class Text>
std::string lines_of(const Items& items, const Text& text) {
  std::size_t width = 0;
  for (const auto& one : items) width = std::max(width, one.id.size());
  return listed(items, "", [&](const auto& one) {
    return "  " + filled(one.id, width) + "  " + text(one) + "\n";
  });
}

}  // namespace

std::string words_of(const Rule& rule) {
  switch (rule.op) {
    case Op::kAll:
      return listed(rule.parts, " and ", in_brackets);
    case Op::kAny:
      return listed(rule.parts, " or ", in_brackets);
    case Op::kNot:
      return "not " + in_brackets(rule.parts.front());
    case Op::kSign:
      return rule.name;
    case Op::kSwitch:
      return switch_words(rule);
    case Op::kMeasure:
      return measure_words(rule.measure);
    case Op::kMoved:
      return "told from zero: " +
             listed(rule.measures, " or ", [](Measure one) { return kMeasures[one]; });
    case Op::kLines:
      return lines_words(rule.lines);
    case Op::kPedestal:
      return "a pedestal";
    case Op::kNewPedestal:
      return "a pedestal that the reference film does not show";
    case Op::kPrinciple:
      return "stem is a " + kPrinciples[rule.principle];
    case Op::kPattern:
      return "course " + listed(rule.patterns, " or ", text_of);
    case Op::kFromDays:
      return "film of day " + std::to_string(rule.days) + " after surgery or later";
    case Op::kFlagged:
      return "comparison carries a flag";
    case Op::kCannotShow:
      return "never, because " + rule.name;
    case Op::kNotLookedFor:
      break;
  }
  return "not looked for: " + rule.name;
}

std::string list_of(const std::vector<SignTable>& tables) {
  std::string out;
  for (const SignTable& table : tables) {
    out += (out.empty() ? "" : "\n") + table.id + ": " + table.title + "\n";
    if (!table.note.empty()) out += "  " + table.note + "\n";
    out += lines_of(table.signs, [](const Sign& sign) {
      return sign.title + "; " + phrase_of(sign.source.certainty);
    });
    out += lines_of(table.switches, [](const SignSwitch& one) {
      return one.question + " Set to " + one.chosen + "; there are " +
             listed(one.choices, ", ", [](const SwitchChoice& c) { return c.id; });
    });
    out += lines_of(table.explanations, [](const ExplanationRule& one) {
      return one.title + "; " + phrase_of(one.source.certainty);
    });
  }
  return out;
}

std::optional<std::string> explanation_of(const SignTable& table, const std::string& id) {
  if (auto text = explained_in(table, table.signs, id)) return text;
  if (auto text = explained_in(table, table.switches, id)) return text;
  return explained_in(table, table.explanations, id);
}

std::string json_of(const std::vector<SignTable>& tables) {
  Json out = Json::array();
  for (const SignTable& table : tables) out.push_back(table_json(table));
  return out.dump(1) + "\n";
}

}  // namespace tidemark::assessment
