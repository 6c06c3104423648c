#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/units.h"
#include "tidemark/registry/database.h"

namespace tidemark::registry {

// What the statistics of a cohort are made from: plain values, one struct a row of the database.
// Signs and units are those of result.json (docs/result-format.md). Days count from surgery where
// its date is known, else from the reference film (`CohortHip::days_from_reference`).

/// One follow-up film against the reference film.
struct CohortComparison {
  int comparison = 0;       ///< index within the hip
  std::optional<int> days;  ///< absent without dates: such a row takes part in nothing over time
  int examination = 1;      ///< 2 and more: a further frontal film of the same visit
  std::string date;         ///< of the film, to join double examinations and readers; may be empty
  bool measured = false;
  std::optional<Measured<double>> subsidence_mm, medial_mm, tilt_change_deg;
};

enum class Verdict { kExceeds, kWithin, kCannotTell, kNotApplicable };

/// One criterion held against one comparison.
struct CohortFinding {
  int comparison = 0;
  std::string criterion, quantity, unit;
  double threshold = 0.0;
  Verdict verdict = Verdict::kCannotTell;
  std::optional<double> probability_exceeds;
};

enum class ZoneState { kPresent, kAbsent, kCannotTell, kNotSeen };

/// One zone of one film.
struct CohortZone {
  int film = 0;
  /// On the reference film, or the first lateral film with lines: zones 8 to 14 have their own.
  bool reference = false;
  std::optional<int> days;
  int examination = 1;
  std::string date;
  int zone = 0;
  std::string interface;
  ZoneState state = ZoneState::kCannotTell;
  bool judged = false;   ///< some of the zone is seen: the lines of the film were read
  bool refused = false;  ///< its film could not be measured: no zone of it is seen
  /// Whether a line came or grew since the reference film, by the pair of films; absent where the
  /// pair does not tell it, was not compared there, or is a lateral one (none is stored).
  std::optional<bool> grew;
};

/// Zones 8 to 14 stand on lateral films only, 1 to 7 on frontal ones only.
[[nodiscard]] inline bool is_lateral(const CohortZone& zone) { return zone.zone > 7; }

/// A reader's mark on a zone, made with the program's answer in sight.
struct CohortMark {
  CohortZone place;  ///< `state` is what the reader says of the line (followup::state_of)
  std::string reader;
};

struct CohortHip {
  std::string hip;
  std::optional<std::string> patient;
  std::string side;  ///< "R" or "L", "" where it is not known
  /// A film of it has the bytes of a film of another of these hips, and the two are not the two
  /// sides of one patient's film: they may be one hip.
  bool shares_films = false;
  std::string group;                     ///< "" when the hip has none
  bool days_from_reference = false;      ///< no date of surgery: days count from the reference film
  std::string reference_date;            ///< of the reference film; may be empty
  std::optional<int> reference_days;     ///< of the reference film, from surgery
  bool has_scale = true;                 ///< else lengths are in pixels, and absent here
  std::optional<double> reference_u_mm;  ///< error of the reference film, in all its comparisons
  std::vector<CohortComparison> comparisons;
  std::vector<CohortFinding> findings;
  std::vector<CohortZone> zones;
  std::vector<CohortMark> marks;
};

/// Day of the reference film as the days of its hip count: 0 where they count from that film.
/// Absent when surgery is dated and the film is not: it may hide any motion.
[[nodiscard]] inline std::optional<int> start_day(const CohortHip& hip) {
  return hip.days_from_reference ? std::optional(0) : hip.reference_days;
}

/// Hips that appear in nothing but these counts.
struct LeftOut {
  std::size_t refused = 0;  ///< nothing could be measured
  std::size_t failed = 0;   ///< the worker crashed or hung
};

struct Cohort {
  std::string group_name;             ///< "" when hips are not grouped
  std::vector<std::string> groups;    ///< in the order of their names; one "" when not grouped
  std::vector<CohortHip> hips;        ///< measured or partly; by name
  std::size_t without_group = 0;      ///< hips left out because they have no group
  std::size_t refused = 0;            ///< hips of which nothing could be measured
  std::size_t failed = 0;             ///< hips whose worker crashed or hung
  std::size_t lengths_in_pixels = 0;  ///< hips without a scale: no lengths
  std::map<std::string, LeftOut> left_out;  ///< by group; hips without one are in the sums only
  std::vector<std::string> criteria_sets;   ///< that these hips were judged by
  std::vector<std::string> tool_versions;   ///< of the programs that measured these hips
  std::vector<std::string> option_sets;     ///< SHA-256 of the options they were measured with
  std::vector<std::string> readers;         ///< all that the database knows, "" for no corrections
};

struct CohortChoice {
  std::optional<std::string> group;  ///< NAME of the sheet's column group_NAME, fixation or side
  std::string reader;                ///< hips as this reader corrected them; "": as found
};

/// Reads the hips of a database.
/// @return kBadInput when it cannot be read, there is no such group (the known ones are named) or
///         reader, or no hip was measured.
[[nodiscard]] Expected<Cohort> read_cohort(const Database& database, const CohortChoice& choice);

}  // namespace tidemark::registry
