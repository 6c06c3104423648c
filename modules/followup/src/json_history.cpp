#include "json_history.h"

namespace tidemark::followup {
namespace {

Json side_json(const std::optional<Measured<double>>& value, const std::string& code) {
  return value ? measured_json(*value) : Json(code);
}

/// What `Change::what` is called for its kind.
const char* what_key(ChangeKind kind) {
  if (kind == ChangeKind::kVerdict) return "criterion";
  return kind == ChangeKind::kLine ? "zone" : "quantity";
}

Json change_json(const Change& change) {
  Json out{{"kind", code_of(change.kind)}};
  if (!change.film.empty()) out["film"] = change.film;
  if (change.date) out["date"] = format_date(*change.date);
  if (!change.what.empty()) out[what_key(change.kind)] = change.what;
  if (change.value_before || !change.before.empty()) {
    out["before"] = side_json(change.value_before, change.before);
  }
  if (change.value_after || !change.after.empty()) {
    out["after"] = side_json(change.value_after, change.after);
  }
  if (change.value_told) out["told"] = measured_json(*change.value_told);
  if (change.difference) out["difference"] = rounded(*change.difference);
  if (change.difference_u) out["difference_u"] = rounded(*change.difference_u);
  out["text"] = sentence_of(change);
  return out;
}

}  // namespace

Json history_json(const History& history) {
  Json out = Json::object();
  if (history.earlier) {
    out["earlier"] = {{"sha256", history.earlier->sha256},
                      {"version", history.earlier->version},
                      {"films", history.earlier->films}};
    if (history.earlier->latest)
      out["earlier"]["latest_date"] = format_date(*history.earlier->latest);
  }
  if (!history.note.empty()) out["note"] = history.note;
  out["reused"] = {{"films", history.reused_films}, {"comparisons", history.reused_comparisons}};
  out["changes"] = Json::array();
  for (const Change& change : history.changes) out["changes"].push_back(change_json(change));
  return out;
}

}  // namespace tidemark::followup
