#include "record.h"

#include <algorithm>
#include <map>
#include <numeric>
#include <set>

#include "columns.h"

namespace tidemark::registry {
namespace {

using nlohmann::json;

/// What set_aside says of films that a worker took for films from before the surgery.
constexpr const char* kNoStemYet = "no_stem_yet";
/// followup's flag of a series of which no film serves as the reference.
constexpr const char* kNoReference = "no_reference_film";
/// followup's reason for a film that the sheet leaves out: no failure.
constexpr const char* kExcluded = "excluded in the sheet";

bool is_measured(const json& item) { return item.at("status") == "measured"; }

bool has_flag(const json& item, const std::string& id) {
  const json flags = item.value("flags", json::array());
  return std::any_of(flags.begin(), flags.end(),
                     [&](const json& flag) { return flag.at("id") == id; });
}

std::string sentence_of(const std::string& what, const json& item) {
  const std::string reason = item.value("reason", "not measured");
  return what + " " + reason;
}

std::string status_of(const json& assessment) {
  return assessment.contains("headline") ? assessment["headline"].value("verdict", "") : "";
}

void bind_facts(Columns& row, const Record& record) {
  const HipFacts& facts = record.job.facts;
  row.text("hip", facts.hip).text("reader", facts.reader).text("patient", facts.patient);
  const auto* series = record.series ? &*record.series : nullptr;
  std::optional<Side> side = series != nullptr ? series->side : facts.side;
  std::optional<std::string> side_code;
  if (side) side_code = *side == Side::kRight ? "R" : "L";
  if (record.answer.result.is_object() && record.answer.result.contains("side")) {
    side_code = record.answer.result["side"].get<std::string>();
  }
  row.text("side", side_code);
  const auto surgery = series != nullptr ? series->surgery_date : facts.surgery_date;
  if (surgery) row.text("surgery_date", format_date(*surgery));
  const auto fixation = series != nullptr ? series->stem.fixation : facts.fixation;
  const auto principle = series != nullptr ? series->stem.cement_principle : facts.cement_principle;
  if (fixation) {
    std::string code = *fixation == Fixation::kCemented ? "cemented" : "uncemented";
    if (principle) {
      code += *principle == CementPrinciple::kPolishedTaper ? "_polished_taper" : "_composite_beam";
    }
    row.text("fixation", code);
  }
  const auto head = series != nullptr ? series->stem.head_diameter : facts.head_diameter;
  const auto length = series != nullptr ? series->stem.length : facts.stem_length;
  if (head) row.real("head_diameter_mm", head->value);
  if (length) row.real("stem_length_mm", length->value);
}

void bind_course(Columns& row, const json& assessment) {
  row.text_at("criteria_set", assessment, "criteria_set");
  const std::string verdict = status_of(assessment);
  if (!verdict.empty()) row.text("headline_verdict", verdict);
  row.text_at("pattern", assessment, "pattern");
  if (!assessment.contains("course")) return;
  const json& course = assessment["course"];
  if (course.contains("probabilities")) {
    for (const char* pattern : {"settled", "continuous", "late", "stable"}) {
      row.real_at(std::string("p_") + pattern, course["probabilities"], pattern);
    }
  }
  if (course.contains("late_change")) {
    const json& late = course["late_change"];
    row.integer_at("late_change_days", late, "days");
    row.measured_at("late_change", "_mm", late, "change_mm");
  }
  if (course.contains("late_rate")) {
    row.measured_at("late_rate", "_mm_per_year", course["late_rate"], "rate_mm_per_year");
  }
  row.real_at("reference_film_u_mm", course, "reference_film_u_mm");
}

std::int64_t insert_hip(const Db& db, const Record& record) {
  Columns row("hips");
  bind_facts(row, record);
  row.text("status", code_of(record.status));
  if (!record.reason.empty()) row.text("reason", record.reason);
  row.text("input_sha256", record.input_sha256).text("options_sha256", record.options_sha256);
  row.text("tool_version", record.tool_version);
  const json& result = record.answer.result;
  if (result.is_object()) {
    row.text_at("length_unit", result, "length_unit");
    if (result.contains("assessment")) bind_course(row, result["assessment"]);
  }
  row.insert(db);
  return sqlite3_last_insert_rowid(db.get());
}

/// Order in which films of one day and view are counted: statistics take the first one, so it is
/// one that says something wherever there is one.
enum class Standing { kReference, kCompared, kMeasured, kNotMeasured, kLeftOut };

std::vector<Standing> standings(const json& result) {
  std::vector<Standing> out;
  for (const json& film : result.at("films")) {
    const bool excluded = film.value("reason", "") == kExcluded;
    out.push_back(film.value("role", "") == "reference" ? Standing::kReference
                  : is_measured(film)                   ? Standing::kMeasured
                  : excluded                            ? Standing::kLeftOut
                                                        : Standing::kNotMeasured);
  }
  for (const json& pair : result.at("comparisons")) {
    if (is_measured(pair)) out.at(pair.at("follow_up").get<std::size_t>()) = Standing::kCompared;
  }
  return out;
}

/// The examination that the sheet states for a film of the result, if it does.
std::optional<int> stated_examination(const Record& record, std::size_t film) {
  const std::vector<std::size_t>& kept = record.answer.kept;
  const std::size_t in_job = film < kept.size() ? kept[film] : film;
  if (in_job >= record.job.films.size()) return {};
  return record.job.films[in_job].examination;
}

/// 1, 2 ... among the films of one date and view, unless the sheet says otherwise: numbers that it
/// states are not given again. A lateral film is no second examination of the frontal one: it shows
/// other things.
std::vector<int> examinations(const Record& record) {
  const json& films = record.answer.result.at("films");
  const std::vector<Standing> standing = standings(record.answer.result);
  std::vector<std::size_t> order(films.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return standing[a] < standing[b]; });
  std::map<std::pair<std::string, bool>, std::set<int>> taken;
  const auto taken_beside = [&](std::size_t i) -> std::set<int>& {
    return taken[{films[i].value("date", ""), films[i].value("view", "") == "LAT"}];
  };
  std::vector<int> out(films.size(), 1);
  for (const std::size_t i : order) {
    const auto stated = stated_examination(record, i);
    if (!stated) continue;
    out[i] = *stated;
    taken_beside(i).insert(*stated);
  }
  for (const std::size_t i : order) {
    if (stated_examination(record, i) || films[i].value("date", "").empty()) continue;
    std::set<int>& numbers = taken_beside(i);
    while (!numbers.insert(out[i]).second) ++out[i];
  }
  return out;
}

void insert_flags(const Db& db, std::int64_t hip, const char* scope, std::size_t number,
                  const json& owner) {
  if (!owner.contains("flags")) return;
  int item = 0;
  for (const json& flag : owner["flags"]) {
    Columns row("flags");
    row.integer("hip_id", hip).text("scope", std::string(scope));
    row.integer("number", static_cast<std::int64_t>(number)).integer("item", item++);
    row.text_at("flag", flag, "id").text_at("text", flag, "text");
    row.insert(db);
  }
}

/// true, false or a word.
std::string answer_text(const json& value) {
  if (value.is_boolean()) return value.get<bool>() ? "yes" : "no";
  return value.get<std::string>();
}

void insert_zones(const Db& db, std::int64_t hip, std::size_t film, const json& zones) {
  for (const json& zone : zones) {
    Columns row("zones");
    row.integer("hip_id", hip).integer("film", static_cast<std::int64_t>(film));
    row.integer_at("zone", zone, "zone");
    for (const char* name : {"interface", "state", "reason"}) row.text_at(name, zone, name);
    for (const char* name : {"zone_length_mm", "seen_fraction", "extent_fraction"}) {
      row.real_at(name, zone, name);
    }
    for (const char* name : {"max", "mean", "length"}) {
      row.measured_at(name, "_mm", zone, std::string(name) + "_mm");
    }
    row.measured_at("depth", "", zone, "depth");
    if (zone.contains("sclerotic_rim")) {
      row.text("sclerotic_rim", answer_text(zone["sclerotic_rim"]));
    }
    row.insert(db);
  }
}

void insert_zone_marks(const Db& db, std::int64_t hip, std::size_t film, const json& marks) {
  for (const json& mark : marks) {
    Columns row("zone_marks");
    row.integer("hip_id", hip).integer("film", static_cast<std::int64_t>(film));
    row.integer_at("zone", mark, "zone");
    for (const char* name : {"interface", "opinion", "program", "marked_at"}) {
      row.text_at(name, mark, name);
    }
    row.text_at("mark_reader", mark, "reader");
    row.insert(db);
  }
}

void insert_film(const Db& db, std::int64_t hip, std::size_t number, const json& film,
                 int examination) {
  Columns row("films");
  row.integer("hip_id", hip).integer("film", static_cast<std::int64_t>(number));
  for (const char* name : {"sha256", "role", "status", "reason", "date", "view"}) {
    row.text_at(name, film, name);
  }
  row.integer_at("days_from_surgery", film, "days_from_surgery");
  row.integer("examination", examination);
  if (film.contains("calibration")) {
    row.text_at("scale_method", film["calibration"], "method");
    row.measured_at("mm_per_px", "", film["calibration"], "mm_per_px");
  }
  row.measured_at("tilt", "_deg", film, "tilt_deg");
  if (film.contains("stem")) row.real_at("stem_confidence", film["stem"], "confidence");
  row.insert(db);
  insert_flags(db, hip, "film", number, film);
  if (film.contains("zones")) insert_zones(db, hip, number, film["zones"]);
  if (film.contains("zone_marks")) insert_zone_marks(db, hip, number, film["zone_marks"]);
}

void insert_budget(const Db& db, std::int64_t hip, std::size_t number, const json& budget) {
  int item = 0;
  for (const json& source : budget) {
    if (!source.contains("u_mm")) continue;  // in pixels
    Columns row("budget");
    row.integer("hip_id", hip).integer("comparison", static_cast<std::int64_t>(number));
    row.integer("item", item++).text_at("source", source, "source");
    row.real_at("u_mm", source, "u_mm");
    row.insert(db);
  }
}

void insert_zone_changes(const Db& db, std::int64_t hip, std::size_t number, const json& zones) {
  for (const json& zone : zones) {
    Columns row("zone_changes");
    row.integer("hip_id", hip).integer("comparison", static_cast<std::int64_t>(number));
    row.integer_at("zone", zone, "zone");
    for (const char* name : {"interface", "progressive", "reason"}) row.text_at(name, zone, name);
    row.real_at("compared_fraction", zone, "compared_fraction");
    for (const char* name : {"change", "change_mean", "change_length"}) {
      row.measured_at(name, "_mm", zone, std::string(name) + "_mm");
    }
    row.insert(db);
  }
}

void insert_comparison(const Db& db, std::int64_t hip, std::size_t number, const Record& record,
                       const std::vector<int>& examination) {
  const json& comparison = record.answer.result["comparisons"][number];
  const auto follow_up = comparison.at("follow_up").get<std::size_t>();
  Columns row("comparisons");
  row.integer("hip_id", hip).integer("comparison", static_cast<std::int64_t>(number));
  for (const char* name : {"reference", "follow_up", "days"}) {
    row.integer_at(name, comparison, name);
  }
  row.integer_at("days_from_surgery", record.answer.result["films"][follow_up],
                 "days_from_surgery");
  row.integer("examination", examination[follow_up]);
  for (const char* name : {"status", "reason"}) row.text_at(name, comparison, name);
  for (const char* name : {"subsidence", "medial"}) {
    row.measured_at(name, "_mm", comparison, std::string(name) + "_mm");
  }
  if (comparison.contains("subsidence_at_mm")) {
    for (const char* point : {"head_centre", "shoulder", "tip"}) {
      row.measured_at(std::string("subsidence_at_") + point, "_mm", comparison["subsidence_at_mm"],
                      point);
    }
  }
  row.measured_at("tilt_change", "_deg", comparison, "tilt_change_deg");
  if (comparison.contains("by_landmarks")) {
    row.measured_at("landmarks_subsidence", "_mm", comparison["by_landmarks"], "subsidence_mm");
  }
  row.insert(db);
  insert_flags(db, hip, "comparison", number, comparison);
  if (comparison.contains("uncertainty_budget")) {
    insert_budget(db, hip, number, comparison["uncertainty_budget"]);
  }
  if (comparison.contains("zones")) insert_zone_changes(db, hip, number, comparison["zones"]);
}

void insert_findings(const Db& db, std::int64_t hip, const json& assessment) {
  if (!assessment.contains("findings")) return;
  for (const json& finding : assessment["findings"]) {
    Columns row("findings");
    row.integer("hip_id", hip).integer_at("comparison", finding, "comparison");
    for (const char* name :
         {"criterion", "quantity", "unit", "verdict", "because", "certainty", "text"}) {
      row.text_at(name, finding, name);
    }
    if (finding.contains("measured")) {
      const json& measured = finding["measured"];
      for (const char* name : {"value", "u", "u95"}) row.real_at(name, measured, name);
    }
    for (const char* name : {"threshold", "typical", "probability_exceeds"}) {
      row.real_at(name, finding, name);
    }
    row.integer_at("days", finding, "days");
    row.insert(db);
  }
}

void insert_seat(const Db& db, std::int64_t hip, const json& assessment) {
  if (!assessment.contains("seat")) return;
  for (const json& item : assessment["seat"]) {
    Columns row("seat");
    row.integer("hip_id", hip);
    for (const char* name : {"quantity", "unit", "verdict", "reason"}) {
      row.text_at(name, item, name);
    }
    if (item.contains("measured")) {
      for (const char* name : {"value", "u", "u95"}) row.real_at(name, item["measured"], name);
    }
    row.real_at("planned", item, "planned");
    if (item.contains("class")) row.text_at("class", item["class"], "id");
    row.insert(db);
  }
}

void insert_set_aside(const Db& db, const SetAside& file) {
  Columns row("set_aside");
  row.text("item", file.item).text("hip", file.hip).text("kind", file.kind);
  row.text("reason", file.reason).text("date", file.date);
  row.insert(db, "INSERT OR REPLACE");
}

void insert_attempt(const Db& db, const Record& record, std::int64_t run) {
  Columns row("attempts");
  row.integer("run", run).text("hip", record.job.facts.hip);
  row.text("reader", record.job.facts.reader).text("input_sha256", record.input_sha256);
  row.text("options_sha256", record.options_sha256).text("status", code_of(record.status));
  row.real("seconds", record.seconds).integer("peak_kib", record.peak_kib);
  row.insert(db);
}

}  // namespace

Judged judged(const json& result) {
  std::size_t measured = 0;
  std::vector<std::string> reasons;
  const auto look = [&](const char* list, const char* what, std::size_t* count) {
    std::size_t number = 0;
    for (const json& item : result.at(list)) {
      const std::string name = what + std::to_string(list == std::string("films")
                                                         ? number
                                                         : item["follow_up"].get<std::size_t>());
      ++number;
      const bool done = is_measured(item);
      if (done && count != nullptr) ++*count;
      const bool excluded = !done && item.value("reason", "") == kExcluded;
      if (!done && !excluded) reasons.push_back(sentence_of(name + ":", item));
    }
  };
  look("films", "film ", nullptr);
  look("comparisons", "comparison with film ", &measured);
  if (has_flag(result, kNoReference)) {
    reasons.insert(reasons.begin(), "no film serves as the reference; state which one does");
  }
  if (measured > 0 && reasons.empty()) return {HipStatus::kMeasured, ""};
  if (reasons.empty()) reasons.emplace_back("there is no follow-up film to compare with");
  std::string reason = reasons.front();
  if (reasons.size() > 1) reason += " (and " + std::to_string(reasons.size() - 1) + " more)";
  return {measured > 0 ? HipStatus::kPartly : HipStatus::kRefused, reason};
}

void remove_hip(const Db& db, const std::string& hip, const std::string& reader) {
  Stmt(db, "DELETE FROM hips WHERE hip = ? AND reader = ?").bind(1, hip).bind(2, reader).run();
  Stmt(db, "DELETE FROM set_aside WHERE hip = ? AND kind = ?")
      .bind(1, hip)
      .bind(2, kNoStemYet)
      .run();
}

void write_record(const Db& db, const Record& record, std::int64_t run) {
  remove_hip(db, record.job.facts.hip, record.job.facts.reader);
  const std::int64_t hip = insert_hip(db, record);
  for (const auto& [name, value] : record.job.facts.groups) {
    Columns row("hip_groups");
    row.integer("hip_id", hip).text("name", name).text("value", value);
    row.insert(db);
  }
  const json& result = record.answer.result;
  if (result.is_object()) {
    const std::vector<int> examination = examinations(record);
    for (std::size_t i = 0; i < result["films"].size(); ++i) {
      insert_film(db, hip, i, result["films"][i], examination[i]);
    }
    for (std::size_t i = 0; i < result["comparisons"].size(); ++i) {
      insert_comparison(db, hip, i, record, examination);
    }
    if (result.contains("assessment")) {
      insert_findings(db, hip, result["assessment"]);
      insert_seat(db, hip, result["assessment"]);
    }
    insert_flags(db, hip, "hip", 0, result);
  }
  for (const EarlyFilm& film : record.answer.early) {
    insert_set_aside(db, {film.sha256, record.job.facts.hip, kNoStemYet, film.reason, film.date});
  }
  insert_attempt(db, record, run);
}

void write_set_aside(const Db& db, const std::vector<SetAside>& files) {
  Stmt(db, "DELETE FROM set_aside WHERE kind <> ?").bind(1, kNoStemYet).run();
  for (const SetAside& file : files) insert_set_aside(db, file);
}

}  // namespace tidemark::registry
