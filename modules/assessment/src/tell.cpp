#include "tidemark/assessment/tell.h"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "criteria_words.h"
#include "tidemark/core/number_text.h"

namespace tidemark::assessment {
namespace {

using Json = nlohmann::ordered_json;

std::string limit_text(const Criterion& c) {
  const std::string unit = " " + unit_in_words(c.quantity);
  if (c.kind == Kind::kThreshold) {
    return (c.sense == Sense::kEitherWay ? "more than ± " : "more than ") +
           plain_number(c.threshold) + unit;
  }
  std::string out = "on average ";
  for (std::size_t i = 0; i < c.typical.size(); ++i) {
    out += (i == 0 ? "" : ", ") + plain_number(c.typical[i].value) + unit + " at " +
           months_text(c.typical[i].days);
  }
  return out;
}

std::string filled(const std::string& text, std::size_t width) {
  return text.size() < width ? text + std::string(width - text.size(), ' ') : text;
}

Json criterion_json(const Criterion& c) {
  Json out{{"id", c.id}, {"quantity", kQuantities[c.quantity]}, {"kind", kKinds[c.kind]}};
  if (c.kind == Kind::kThreshold) {
    out["threshold"] = c.threshold;
  } else {
    for (const TypicalValue& t : c.typical) {
      out["typical"].push_back({{"days", t.days}, {"value", t.value}});
    }
  }
  out["unit"] = unit_of(c.quantity);
  out["sense"] = kSenses[c.sense];
  out["at"] = kPoints[c.point];
  out["fixation"] = kScopes[c.fixation];
  out["level"] = kLevels[c.level];
  if (c.window) {
    out["window"] = {{"from_days", c.window->from_days},
                     {"to_days", c.window->to_days},
                     {"tolerance_days", c.window->tolerance_days}};
  }
  out["statement"] = c.statement;
  if (!c.evidence.empty()) out["evidence"] = c.evidence;
  out["citation"] = c.citation;
  if (c.doi) out["doi"] = *c.doi;
  out["certainty"] = kCertainties[c.certainty];
  if (!c.note.empty()) out["note"] = c.note;
  return out;
}

Json set_json(const CriteriaSet& set) {
  Json out{{"schema", "tidemark/criteria/1"},
           {"id", set.id},
           {"title", set.title},
           {"fixation", kScopes[set.fixation]}};
  if (!set.note.empty()) out["note"] = set.note;
  out["criteria"] = Json::array();
  for (const Criterion& c : set.criteria) out["criteria"].push_back(criterion_json(c));
  return out;
}

}  // namespace

std::string list_of(const std::vector<CriteriaSet>& sets) {
  std::string out;
  for (const CriteriaSet& set : sets) {
    out += (out.empty() ? "" : "\n") + set.id + ": " + set.title + "\n";
    if (!set.note.empty()) out += "  " + set.note + "\n";
    std::size_t width = 0;
    for (const Criterion& c : set.criteria) width = std::max(width, c.id.size());
    for (const Criterion& c : set.criteria) {
      out +=
          "  " + filled(c.id, width) + "  " + quantity_in_words(c.quantity) + ", " + limit_text(c);
      if (c.window) out += " " + window_text(*c.window);
      if (c.level == Level::kGroup) out += "; of groups, not judged";
      out += "; " + phrase_of(c.certainty) + "\n";
    }
  }
  return out;
}

std::string explanation_of(const CriteriaSet& set, const Criterion& c) {
  std::string out = c.id + " (" + set.id + ")\n";
  const auto line = [&out](const std::string& name, const std::string& text) {
    if (!text.empty()) out += "  " + filled(name, 10) + text + "\n";
  };
  line("quantity", quantity_in_words(c.quantity) +
                       (c.point == Point::kReference ? "" : " at " + kPoints[c.point]));
  line(c.kind == Kind::kThreshold ? "limit" : "typical", limit_text(c));
  line("when", c.window ? window_text(*c.window) + ", counted from surgery" : "at any time");
  line("stems", kScopes[c.fixation]);
  line("judged", c.kind == Kind::kTypical            ? "no: shown beside the value, no limit"
                 : c.level == Level::kGroup          ? "no: found for the mean of groups"
                 : c.certainty == Certainty::kUnsure ? "no: the value is too doubtful"
                                                     : "yes");
  line("says", c.statement);
  line("evidence", c.evidence);
  line("source", c.citation + (c.doi ? ", doi:" + *c.doi : ""));
  line("value", phrase_of(c.certainty));
  line("note", c.note);
  return out;
}

std::string json_of(const std::vector<CriteriaSet>& sets) {
  Json out = Json::array();
  for (const CriteriaSet& set : sets) out.push_back(set_json(set));
  return out.dump(1) + "\n";
}

}  // namespace tidemark::assessment
