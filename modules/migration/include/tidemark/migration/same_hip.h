#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/units.h"
#include "tidemark/migration/migration.h"
#include "tidemark/migration/pose.h"

namespace tidemark::migration {

/// One length that two films of one hip share: how far it differs, and how far it may.
struct Difference {
  std::string what;                  ///< clause for a person, e.g. "the stem looks 8.1 mm longer"
  Measured<Millimetres> difference;  ///< follow-up less reference; u as if it were one hip
};

/// How well two films may show one implant in one bone. Probabilities are those of looking as odd
/// or odder if they do: of the fall of the least-squares misfit when what a revision changes (head,
/// length, body, or all) need not agree, by the chi-squared distribution of a likelihood ratio
/// (Wilks, Ann Math Stat 9 (1938) 60, from memory), times the number of such alternatives
/// (Bonferroni).
struct Likeness {
  double implant = 1.0;
  double stem = 1.0;  ///< as `implant`, without the head, whose place depends on the pose most
  double head = 1.0;  ///< the head's place alone, as one chance
  std::optional<Difference> head_difference;
  std::optional<Difference> implant_difference;  ///< the one that speaks most against one implant
  /// Probability of the misfit that is left when every length may be off by one common ratio, and
  /// that ratio (follow-up over reference): a head of another diameter, the yardstick of both
  /// films.
  double implant_resized = 1.0;
  double size_ratio = 1.0;
  double bone = 1.0;
  double bone_resized = 1.0;  ///< as `bone` if its lengths are off by size_ratio too
  std::optional<Difference> bone_difference;  ///< absent when the shaft is not seen on both films
};

/// Compares what two films of one hip must share, before anything is aligned.
///
/// Implant: head off the axis, head above the shoulder, length from shoulder to tip, width of the
/// body, its taper, and the flare of its lateral flank. A change of pose changes the first three
/// (pose_change has the formulas); pose, anteversion and the ratio of scales are fitted with their
/// priors, and what is left is judged by the uncertainties of marks and edges.
///
/// Bone: outer width of the shaft at the same levels below the stem's reference point.
/// @param scale_ratio_u  relative standard uncertainty of the ratio of the two films' scales
[[nodiscard]] Likeness likeness(const MeasuredFilm& reference, const MeasuredFilm& follow_up,
                                const PoseModel& pose, double scale_ratio_u);

/// Below the first a pair is flagged, below the second it is refused. House choices: one honest
/// pair in 100 may be flagged, one in 10,000 refused.
inline constexpr double kUnlikely = 1e-2;
inline constexpr double kImpossible = 1e-4;
/// The same for the head alone: a neck longer by 5 mm makes the subsidence wrong by millimetres and
/// looks much like a turned leg, so one honest pair in 50 may be flagged.
inline constexpr double kUnlikelyHead = 2e-2;

/// Probability of so small a product of both probabilities if both are of one hip (Fisher's method,
/// closed form for two; from memory).
[[nodiscard]] double one_hip(const Likeness& likeness);

/// What a likeness means for the pair. A head that alone stands elsewhere is flagged, however far:
/// a turned leg moves it most, and the stem's own motion can still be measured.
/// @return flags (implant_differs, head_differs, bone_differs); kCannotTell when these cannot be
/// films of one
///         implant in one bone, with what differs most.
[[nodiscard]] Expected<std::vector<Flag>> doubts(const Likeness& likeness);

/// Flags of a motion that no stem makes: out of the bone, or by more than a stem that still stands
/// in its bone can. They tell of two hips or of an alignment that slid.
/// From a film that was taken before the reference film time runs backwards: that stem stood
/// higher.
enum class Order { kAfterReference, kBeforeReference };
[[nodiscard]] std::vector<Flag> doubts(const Migration& migration,
                                       Order order = Order::kAfterReference);

}  // namespace tidemark::migration
