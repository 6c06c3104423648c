#include <algorithm>
#include <map>
#include <set>

#include "sqlite.h"
#include "tidemark/assessment/judge.h"
#include "tidemark/assessment/sign_rule.h"
#include "tidemark/followup/zone_mark.h"
#include "tidemark/lucency/codes.h"
#include "tidemark/registry/cohort.h"

namespace tidemark::registry {
namespace {

using HipIds = std::map<std::int64_t, std::size_t>;  ///< place of hip_id in Cohort::hips

std::optional<Measured<double>> measured_at(const Stmt& row, int column) {
  const auto value = row.maybe_real(column);
  const auto u = row.maybe_real(column + 1);
  const auto u95 = row.maybe_real(column + 2);
  if (!value || !u || !u95) return std::nullopt;
  return Measured<double>{*value, *u, *u95};
}

std::optional<int> maybe_int(const Stmt& row, int column) {
  const auto value = row.maybe_integer(column);
  if (!value) return std::nullopt;
  return static_cast<int>(*value);
}

/// Where the group of a hip stands: a column of hips, or hip_groups.
std::string group_sql(const std::optional<std::string>& group) {
  if (!group) return "''";
  if (*group == "fixation" || *group == "side") return "h." + *group;
  return "(SELECT value FROM hip_groups g WHERE g.hip_id = h.hip_id AND g.name = ?2)";
}

std::vector<std::string> texts_of(const Db& db, const char* sql) {
  std::vector<std::string> out;
  Stmt rows(db, sql);
  while (rows.step()) out.push_back(rows.text(0));
  return out;
}

std::string listed(const std::vector<std::string>& words) {
  std::string out;
  for (const std::string& word : words) out += (out.empty() ? "" : ", ") + word;
  return out;
}

/// Whether the group is known; the sentence names those that are.
std::optional<Error> group_fault(const Db& db, const CohortChoice& choice) {
  if (!choice.group) return std::nullopt;
  auto known = texts_of(db, "SELECT DISTINCT name FROM hip_groups ORDER BY name");
  known.insert(known.end(), {"fixation", "side"});
  if (std::find(known.begin(), known.end(), *choice.group) != known.end()) return std::nullopt;
  return Error{ErrorKind::kBadInput, "group " + *choice.group, "the database has no such group",
               "the groups are " + listed(known)};
}

Stmt hip_rows(const Db& db, const CohortChoice& choice) {
  Stmt rows(db, "SELECT h.hip_id, h.hip, h.patient, " + group_sql(choice.group) +
                    ", h.status, h.surgery_date IS NULL, h.reference_film_u_mm,"
                    " (SELECT days_from_surgery FROM films f WHERE f.hip_id = h.hip_id"
                    "  AND f.role = 'reference' ORDER BY film LIMIT 1), h.length_unit,"
                    " (SELECT date FROM films f WHERE f.hip_id = h.hip_id"
                    "  AND f.role = 'reference' ORDER BY film LIMIT 1),"
                    " h.criteria_set, h.tool_version, h.options_sha256, h.side"
                    " FROM hips h WHERE h.reader = ?1 ORDER BY h.hip");
  rows.bind(1, choice.reader);
  if (sqlite3_bind_parameter_count(rows.get()) > 1) rows.bind(2, *choice.group);
  return rows;
}

CohortHip hip_of(const Stmt& row) {
  CohortHip hip;
  hip.hip = row.text(1);
  hip.patient = row.maybe_text(2);
  hip.group = row.text(3);
  hip.days_from_reference = row.integer(5) != 0;
  hip.reference_u_mm = row.maybe_real(6);
  if (!hip.days_from_reference) hip.reference_days = maybe_int(row, 7);
  hip.has_scale = row.text(8) != "reference_px";
  hip.reference_date = row.maybe_text(9).value_or("");
  hip.side = row.maybe_text(13).value_or("");
  return hip;
}

/// Counts a hip of which nothing was measured, and says whether it is one.
bool is_left_out(const Stmt& row, Cohort& cohort) {
  const std::string status = row.text(4);
  const bool refused = status == "refused";
  const bool failed = status == "failed";
  if (!refused && !failed) return status != "measured" && status != "partly";
  LeftOut none;
  LeftOut& of_group = row.is_null(3) ? none : cohort.left_out[row.text(3)];
  ++(refused ? cohort.refused : cohort.failed);
  ++(refused ? of_group.refused : of_group.failed);
  return true;
}

void read_hips(const Db& db, const CohortChoice& choice, Cohort& cohort, HipIds& ids) {
  std::set<std::string> criteria, versions, options, groups;
  Stmt rows = hip_rows(db, choice);
  while (rows.step()) {
    if (is_left_out(rows, cohort)) continue;
    if (choice.group && rows.is_null(3)) {
      ++cohort.without_group;
      continue;
    }
    CohortHip hip = hip_of(rows);
    groups.insert(hip.group);
    if (const auto set = rows.maybe_text(10)) criteria.insert(*set);
    versions.insert(rows.text(11));
    options.insert(rows.text(12));
    cohort.lengths_in_pixels += hip.has_scale ? 0U : 1U;
    ids[rows.integer(0)] = cohort.hips.size();
    cohort.hips.push_back(std::move(hip));
  }
  cohort.groups.assign(groups.begin(), groups.end());
  cohort.criteria_sets.assign(criteria.begin(), criteria.end());
  cohort.tool_versions.assign(versions.begin(), versions.end());
  cohort.option_sets.assign(options.begin(), options.end());
}

/// One film may show both hips of a patient.
bool may_stand_on_one_film(const CohortHip& a, const CohortHip& b) {
  const bool two_sides = !a.side.empty() && !b.side.empty() && a.side != b.side;
  return two_sides && (!a.patient || !b.patient || *a.patient == *b.patient);
}

void find_shared_films(const Db& db, const HipIds& ids, Cohort& cohort) {
  std::map<std::string, std::vector<std::size_t>> hips_of;
  Stmt rows(db, "SELECT DISTINCT hip_id, sha256 FROM films WHERE sha256 IS NOT NULL");
  while (rows.step()) {
    const auto found = ids.find(rows.integer(0));
    if (found != ids.end()) hips_of[rows.text(1)].push_back(found->second);
  }
  for (const auto& [film, hips] : hips_of) {
    for (const std::size_t one : hips) {
      const bool shared = std::any_of(hips.begin(), hips.end(), [&](std::size_t other) {
        return other != one && !may_stand_on_one_film(cohort.hips[one], cohort.hips[other]);
      });
      if (shared) cohort.hips[one].shares_films = true;
    }
  }
}

/// Days of a row that holds both ways of counting, by what the hip's days count from.
std::optional<int> days_of(const CohortHip& hip, const Stmt& row, int from_surgery,
                           int from_reference) {
  return maybe_int(row, hip.days_from_reference ? from_reference : from_surgery);
}

void read_comparisons(const Db& db, const HipIds& ids, Cohort& cohort) {
  Stmt rows(db,
            "SELECT c.hip_id, c.comparison, c.days_from_surgery, c.days, c.examination,"
            " f.date, c.status, subsidence_mm, subsidence_u_mm, subsidence_u95_mm,"
            " medial_mm, medial_u_mm, medial_u95_mm,"
            " tilt_change_deg, tilt_change_u_deg, tilt_change_u95_deg"
            " FROM comparisons c LEFT JOIN films f ON f.hip_id = c.hip_id AND f.film = c.follow_up"
            " ORDER BY c.hip_id, c.comparison");
  while (rows.step()) {
    const auto found = ids.find(rows.integer(0));
    if (found == ids.end()) continue;
    CohortHip& hip = cohort.hips[found->second];
    CohortComparison row;
    row.comparison = static_cast<int>(rows.integer(1));
    row.days = days_of(hip, rows, 2, 3);
    row.examination = static_cast<int>(rows.integer(4));
    row.date = rows.maybe_text(5).value_or("");
    row.measured = rows.text(6) == "measured";
    row.subsidence_mm = measured_at(rows, 7);
    row.medial_mm = measured_at(rows, 10);
    row.tilt_change_deg = measured_at(rows, 13);
    hip.comparisons.push_back(std::move(row));
  }
}

Verdict verdict_of(const std::string& text) {
  if (text == "exceeds") return Verdict::kExceeds;
  if (text == "within") return Verdict::kWithin;
  return text == "not_applicable" ? Verdict::kNotApplicable : Verdict::kCannotTell;
}

void read_findings(const Db& db, const HipIds& ids, Cohort& cohort) {
  Stmt rows(db,
            "SELECT hip_id, comparison, criterion, quantity, unit, threshold, verdict,"
            " probability_exceeds FROM findings WHERE threshold IS NOT NULL"
            " ORDER BY hip_id, comparison, criterion");
  while (rows.step()) {
    const auto found = ids.find(rows.integer(0));
    if (found == ids.end()) continue;
    cohort.hips[found->second].findings.push_back({static_cast<int>(rows.integer(1)), rows.text(2),
                                                   rows.text(3), rows.text(4), rows.real(5),
                                                   verdict_of(rows.text(6)), rows.maybe_real(7)});
  }
}

ZoneState state_of(const std::string& text) {
  if (text == "present") return ZoneState::kPresent;
  if (text == "absent") return ZoneState::kAbsent;
  return text == "not_seen" ? ZoneState::kNotSeen : ZoneState::kCannotTell;
}

/// What zone_changes says of a line, as the rules of signs ask it: the pair's own answer, else
/// growth beyond what two readings of one line differ by.
std::optional<bool> grew(const Stmt& row, int column) {
  const std::string progressive = row.maybe_text(column).value_or("cannot_tell");
  if (progressive != "cannot_tell") return progressive == "yes";
  const auto change = measured_at(row, column + 1);
  const bool surely =
      change && assessment::decide(*change, assessment::kUnseenLineMm, assessment::Sense::kAbove)
                        .probability_exceeds >= assessment::kDecisive;
  return surely ? std::optional(true) : std::nullopt;
}

/// Zones 8 to 14 are held against the first lateral film that shows any of them, by date, as
/// lateral_comparisons of result.json does; films without a date count as the last ones.
void name_lateral_references(CohortHip& hip) {
  const auto earlier = [](const CohortZone* a, const CohortZone* b) {
    if (a->judged != b->judged) return a->judged;
    return a->days && (!b->days || *a->days < *b->days);
  };
  const CohortZone* first = nullptr;
  for (const CohortZone& zone : hip.zones) {
    if (!is_lateral(zone) || zone.examination != 1) continue;
    if (first == nullptr || earlier(&zone, first)) first = &zone;
  }
  if (first == nullptr) return;
  const int film = first->film;
  for (CohortZone& zone : hip.zones) zone.reference = zone.reference || zone.film == film;
}

/// Columns that all rows of zones begin with: hip_id, film, role, days (two ways), examination,
/// date. A lateral film is in no comparison: its days come from the dates.
constexpr const char* kOfFilm =
    "SELECT f.hip_id, f.film, f.role, f.days_from_surgery,"
    " CAST(julianday(f.date) - julianday((SELECT date FROM films r WHERE r.hip_id = f.hip_id"
    "  AND r.role = 'reference' ORDER BY film LIMIT 1)) AS INTEGER), f.examination, f.date";

CohortZone zone_on(const Stmt& row, const CohortHip& hip) {
  CohortZone out;
  out.film = static_cast<int>(row.integer(1));
  out.reference = row.text(2) == "reference";
  out.days = days_of(hip, row, 3, 4);
  out.examination = static_cast<int>(row.integer(5));
  out.date = row.maybe_text(6).value_or("");
  return out;
}

/// Frontal films that were refused have no rows: each zone that the hip's other films tell of is
/// not seen on them. Films that the sheet excludes, and other views, are in no comparison.
void add_refused_films(const Db& db, const HipIds& ids, Cohort& cohort) {
  Stmt rows(db,
            std::string(kOfFilm) +
                " FROM films f JOIN comparisons c ON c.hip_id = f.hip_id AND c.follow_up = f.film"
                " WHERE f.status = 'not_measured' AND NOT EXISTS"
                " (SELECT 1 FROM zones z WHERE z.hip_id = f.hip_id AND z.film = f.film)"
                " ORDER BY f.hip_id, f.film");
  while (rows.step()) {
    const auto found = ids.find(rows.integer(0));
    if (found == ids.end()) continue;
    CohortHip& hip = cohort.hips[found->second];
    std::set<std::pair<int, std::string>> places;
    for (const CohortZone& zone : hip.zones) {
      if (!is_lateral(zone)) places.emplace(zone.zone, zone.interface);
    }
    for (const auto& [number, interface] : places) {
      CohortZone row = zone_on(rows, hip);
      row.zone = number;
      row.interface = interface;
      row.state = ZoneState::kNotSeen;
      row.refused = true;
      hip.zones.push_back(std::move(row));
    }
  }
}

void read_zones(const Db& db, const HipIds& ids, Cohort& cohort) {
  Stmt rows(db, std::string(kOfFilm) +
                    ", z.zone, z.interface, z.state, z.seen_fraction,"
                    " g.progressive, g.change_mm, g.change_u_mm, g.change_u95_mm"
                    " FROM zones z JOIN films f ON f.hip_id = z.hip_id AND f.film = z.film"
                    " LEFT JOIN comparisons c ON c.hip_id = z.hip_id AND c.follow_up = z.film"
                    " LEFT JOIN zone_changes g ON g.hip_id = z.hip_id"
                    "  AND g.comparison = c.comparison AND g.zone = z.zone"
                    "  AND g.interface = z.interface"
                    " ORDER BY z.hip_id, z.film, z.zone, z.interface");
  while (rows.step()) {
    const auto found = ids.find(rows.integer(0));
    if (found == ids.end()) continue;
    CohortHip& hip = cohort.hips[found->second];
    CohortZone row = zone_on(rows, hip);
    row.zone = static_cast<int>(rows.integer(7));
    row.interface = rows.text(8);
    row.state = state_of(rows.text(9));
    row.judged = rows.maybe_real(10).value_or(0.0) > 0.0;
    row.grew = grew(rows, 11);
    hip.zones.push_back(std::move(row));
  }
  add_refused_films(db, ids, cohort);
  for (CohortHip& hip : cohort.hips) name_lateral_references(hip);
}

/// What the reader says of the line, by what the program said then.
ZoneState state_of_mark(const std::string& opinion, const std::string& program) {
  followup::ZoneMark mark;
  mark.opinion = opinion == "agree"      ? followup::Opinion::kAgree
                 : opinion == "disagree" ? followup::Opinion::kDisagree
                                         : followup::Opinion::kCannotTell;
  using lucency::State;
  mark.program = program == "present"    ? State::kPresent
                 : program == "absent"   ? State::kAbsent
                 : program == "not_seen" ? State::kNotSeen
                                         : State::kCannotTell;
  return state_of(lucency::code_of(followup::state_of(mark)));
}

/// Marks, each beside the zone that it speaks of.
void read_marks(const Db& db, const HipIds& ids, Cohort& cohort) {
  Stmt rows(db,
            "SELECT hip_id, film, zone, interface, mark_reader, opinion, program FROM zone_marks"
            " ORDER BY hip_id, film, zone, interface, mark_reader");
  while (rows.step()) {
    const auto found = ids.find(rows.integer(0));
    if (found == ids.end()) continue;
    CohortHip& hip = cohort.hips[found->second];
    const auto zone = std::find_if(hip.zones.begin(), hip.zones.end(), [&](const CohortZone& z) {
      return z.film == rows.integer(1) && z.zone == rows.integer(2) && z.interface == rows.text(3);
    });
    if (zone == hip.zones.end()) continue;  // the program no longer looks there
    CohortMark mark{*zone, rows.text(4)};
    mark.place.state = state_of_mark(rows.text(5), rows.text(6));
    hip.marks.push_back(std::move(mark));
  }
}

Expected<Cohort> read(const Db& db, const CohortChoice& choice, const std::string& subject) {
  if (auto fault = group_fault(db, choice)) return tl::unexpected(*fault);
  Cohort cohort;
  HipIds ids;
  cohort.group_name = choice.group.value_or("");
  cohort.readers = texts_of(db, "SELECT DISTINCT reader FROM hips ORDER BY reader");
  const auto& readers = cohort.readers;
  if (std::find(readers.begin(), readers.end(), choice.reader) == readers.end()) {
    return fail(
        ErrorKind::kBadInput, subject,
        choice.reader.empty() ? "it holds no hip that was measured without a reader"
                              : "it holds no hip of the reader " + choice.reader,
        readers.empty() ? "run tidemark batch first" : "its readers are " + listed(readers));
  }
  read_hips(db, choice, cohort, ids);
  if (cohort.hips.empty()) {
    return fail(ErrorKind::kBadInput, subject, "no hip of it was measured",
                "see the column reason of its table hips");
  }
  find_shared_films(db, ids, cohort);
  read_comparisons(db, ids, cohort);
  read_findings(db, ids, cohort);
  read_zones(db, ids, cohort);
  read_marks(db, ids, cohort);
  return cohort;
}

}  // namespace

Expected<Cohort> read_cohort(const Database& database, const CohortChoice& choice) {
  const std::string subject = database.file().filename().string();
  try {
    const Snapshot one_moment(database.db());
    return read(database.db(), choice, subject);
  } catch (const SqliteError& error) {
    return tl::unexpected(error_of(error, subject));
  }
}

}  // namespace tidemark::registry
