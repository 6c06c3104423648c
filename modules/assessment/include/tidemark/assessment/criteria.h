#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "tidemark/assessment/evidence.h"
#include "tidemark/core/expected.h"

namespace tidemark::assessment {

// Criteria are data: each threshold with where it comes from, for which stems and when it holds,
// and how sure its value is. docs/assessment.md; the format: docs/schemas/criteria-1.json.

/// What is held against a threshold. In the files: subsidence_mm, subsidence_rate_mm_per_year,
/// late_subsidence_mm, late_subsidence_rate_mm_per_year, medial_mm, tilt_change_deg.
enum class Quantity {
  kSubsidence,          ///< since the reference film, mm
  kSubsidenceRate,      ///< the same divided by the time between the two films, mm/year
  kLateSubsidence,      ///< late_change() of course.h: from three months after surgery on, mm
  kLateSubsidenceRate,  ///< line through all films three months or more after surgery, mm/year
  kMedial,              ///< since the reference film, mm
  kTiltChange,          ///< since the reference film, degrees
};
[[nodiscard]] std::string code_of(Quantity quantity);  ///< as in the files
[[nodiscard]] std::string unit_of(Quantity quantity);  ///< "mm", "mm/year" or "deg"

/// Where on the stem its subsidence is read: the points move apart as the stem tilts.
enum class Point { kReference, kHeadCentre, kShoulder, kTip };
[[nodiscard]] std::string code_of(Point point);  ///< as in the files

/// What a criterion does with its number.
enum class Kind {
  kThreshold,  ///< a limit: the measured value is held against it
  kTypical,    ///< what stems of the kind did on average; shown beside the value, never a verdict
};

/// Which motion counts as above the threshold.
enum class Sense { kAbove, kEitherWay };  ///< of a quantity | of its size

/// For whom the source found the number.
enum class Level {
  kHip,    ///< may be held against one hip
  kGroup,  ///< mean of a group or of a design: never judged for one hip
};

/// For which stems a criterion or a set holds.
enum class Scope { kAny, kUncemented, kCemented, kPolishedTaper, kCompositeBeam };
[[nodiscard]] std::string code_of(Scope scope);  ///< as in the files and in series.json

/// How sure the value is.
enum class Certainty {
  kRead,        ///< the source's own text was read
  kSecondHand,  ///< read in another text that cites the source
  kFromMemory,  ///< remembered, not read again
  kUnsure,      ///< remembered and doubtful: never drives a verdict
  kDerived,     ///< computed from stated assumptions
  kOwn,         ///< set by who wrote the file
};
[[nodiscard]] std::string code_of(Certainty certainty);    ///< as in the files
[[nodiscard]] std::string phrase_of(Certainty certainty);  ///< for a sentence, e.g. "from memory"

/// When a threshold holds: days from surgery, with what a visit may be early or late.
struct Window {
  int from_days = 0;
  int to_days = 0;
  int tolerance_days = 0;
};

/// A value that stems of a kind had on average at a time.
struct TypicalValue {
  int days = 0;  ///< from surgery
  double value = 0.0;
};

/// One criterion.
struct Criterion {
  std::string id;
  Quantity quantity = Quantity::kSubsidence;
  Kind kind = Kind::kThreshold;
  double threshold = 0.0;             ///< in the quantity's unit; kThreshold only
  std::vector<TypicalValue> typical;  ///< by time; kTypical only
  Sense sense = Sense::kAbove;
  Point point = Point::kReference;  ///< of a subsidence
  Scope fixation = Scope::kAny;
  Level level = Level::kHip;
  std::optional<Window> window;  ///< absent: at any time
  std::string statement;         ///< one sentence: what the source found
  std::string evidence;          ///< how many of what, by which method
  std::string citation;
  std::optional<std::string> doi;  ///< only one that was seen with the paper
  Certainty certainty = Certainty::kOwn;
  std::string note;  ///< what limits the use of the value; may be empty
};

/// Criteria for one kind of stem.
struct CriteriaSet {
  std::string id;  ///< with its version, e.g. "uncemented-default/1"
  std::string title;
  Scope fixation = Scope::kAny;
  std::string note;  ///< what holds for the whole set; may be empty
  std::vector<Criterion> criteria;
  std::string sha256;  ///< of the file's bytes
};

/// Reads a set of criteria. A set that `extends` a built-in one holds that one's criteria too;
/// those with an id of its own stand in for them.
/// @param name how errors call the text
/// @return kBadInput with one sentence that names the place: unknown or missing keys, values out of
///         range, a unit that is not the quantity's, an id that stands twice or is a built-in
///         set's.
[[nodiscard]] Expected<CriteriaSet> parse_criteria(std::string_view text, const std::string& name);

/// The sets that come with the program, by id. They are compiled in.
[[nodiscard]] const std::vector<CriteriaSet>& built_in_criteria();

/// A built-in set by its id, or the set in a file.
/// @return kBadInput as parse_criteria, or when there is neither.
[[nodiscard]] Expected<CriteriaSet> find_criteria(const std::string& id_or_file);

/// The built-in set for a stem: the one of its principle; where fixation or principle is not known,
/// one that judges no subsidence.
[[nodiscard]] const CriteriaSet& default_criteria(const StemHold& stem);

/// Whether a scope takes in a stem. Absent: the stem's facts do not say.
[[nodiscard]] std::optional<bool> holds_for(Scope scope, const StemHold& stem);

}  // namespace tidemark::assessment
