#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "grid.h"
#include "tidemark/core/expected.h"
#include "tidemark/phantom/case.h"
#include "tidemark/phantom/scene.h"

namespace tidemark::phantom {

/// About the distance to a femur's outer surface and to the border of its cortex, femur frame.
struct FemurFields {
  ScalarGrid outer;
  ScalarGrid inside;
};

/// A femur as the renderer and the truth need it. Everything in the femur frame.
struct FemurModel {
  FemurFields fields;  ///< of which `outer` and `inside` are the zeros
  TriangleMesh outer;
  TriangleMesh inside;               ///< border of cortex to cancellous bone and marrow
  TriangleMesh crest;                ///< dense ridges; may be empty
  Vec3 head_centre = Vec3::Zero();   ///< of the natural head
  std::vector<Vec3> lesser_points;   ///< surface of the lesser trochanter
  std::vector<Vec3> greater_points;  ///< surface of the greater trochanter
  std::vector<Strut> struts;         ///< of the cancellous bone, also where the stem will sit
  Vec3 canal_centre = Vec3::Zero();  ///< middle of the canal 60 mm below the lesser trochanter
  double canal_half_width_mm = 6.0;  ///< there, medial to lateral
};

/// Whether the head is still on (the other hip) or cut off at the neck for a stem.
enum class NeckState { kWhole, kCut };

/// The invented femur.
[[nodiscard]] FemurModel invent_femur(const FemurShape& shape, NeckState neck, unsigned threads);

/// A femur from a closed outer surface in patient axes (mm), either end of any length. Cortex by
/// an inward offset that grows from the trochanters to the shaft.
/// @return kCannotTell when no head, shaft and lesser trochanter can be found on it.
[[nodiscard]] Expected<FemurModel> femur_from_surface(const TriangleMesh& lps, Side side,
                                                      const FemurShape& shape, NeckState neck,
                                                      unsigned threads);

/// Saws the neck off (if `neck` says so) and hollows the bone by the thickness of its cortex.
/// `scale` is that of the bone against the invented femur of scale 1.
[[nodiscard]] FemurFields cut_and_hollow(const ScalarGrid& whole, const FemurShape& shape,
                                         double scale, NeckState neck, unsigned threads);

/// Measures the canal and grows the cancellous bone.
void finish_femur(FemurModel& model, const ScalarGrid& inside, double scale,
                  const FemurShape& shape);

/// Frame of the hip (x medial, y distal, z posterior; not yet of one bone) from patient axes; a
/// left bone is mirrored.
[[nodiscard]] Eigen::Matrix3d hip_from_lps(Side side);

/// Stem with neck, in the stem frame; the head is a part of its own.
struct StemModel {
  TriangleMesh mesh;
  Vec3 head_centre = Vec3::Zero();
  Vec3 shoulder = Vec3::Zero();    ///< most proximal lateral point of the body
  Vec3 tip = Vec3::Zero();         ///< most distal point
  Vec3 reference{0.0, 10.0, 0.0};  ///< on the axis, 10 mm distal of the shoulder's level
  double axis_from_mm = 0.0;       ///< the straight distal body begins here on the axis
  double axis_to_mm = 0.0;         ///< and ends here
};

/// Extent of the stem from lateral to medial at a level, mm of the stem frame.
struct FlankX {
  double lateral;
  double medial;
};

/// The extent in the coronal plane of the stem at a level y of its frame, neck included.
[[nodiscard]] FlankX flanks_at(const StemShape& shape, double y);

/// Half of its extent from front to back there, which is the same to either side of z = 0.
[[nodiscard]] double half_depth_at(const StemShape& shape, double y);

/// Points about its level section there.
[[nodiscard]] std::vector<Vec3> section_at(const StemShape& shape, double y);

[[nodiscard]] StemModel build_stem(const StemShape& shape);

/// Whether a point of the stem frame lies in the stem's body.
[[nodiscard]] bool stem_holds(const StemShape& shape, const Vec3& p_in_stem);

struct CupModel {
  TriangleMesh shell;
  TriangleMesh liner;
};

/// Shell and liner about the origin of the world frame.
[[nodiscard]] CupModel build_cup(const CupShape& shape, double head_radius_mm);

/// Both halves of the pelvis with sacrum, world frame.
struct PelvisModel {
  TriangleMesh outer;
  TriangleMesh inside;
  double mid_x = 0.0;         ///< middle of the body
  std::vector<Strut> struts;  ///< of its cancellous bone
};

/// Distance of a hip centre from the middle of the body, mm, in the invented pelvis.
inline constexpr double kHipFromMidline = 89.0;

[[nodiscard]] PelvisModel invent_pelvis(double scale, double socket_radius_mm, std::uint64_t seed,
                                        unsigned threads);

/// A pelvis from a closed surface in patient axes, `socket_in_lps` brought to the origin.
[[nodiscard]] PelvisModel pelvis_from_surface(const TriangleMesh& lps, Side side,
                                              const Vec3& socket_in_lps, std::uint64_t seed,
                                              unsigned threads);

/// Skin and muscle, world frame.
[[nodiscard]] std::vector<Solid> build_body(const BodyShape& shape, double mid_x);

/// How cancellous bone is grown.
struct StrutPlan {
  Box box;                     ///< where, mm
  double scale = 1.0;          ///< of lengths
  int struts = 90000;          ///< tried
  int blobs = 2500;            ///< tried
  double fade_from_mm = 1e9;   ///< fewer below this level (y) ...
  double fade_over_mm = 1.0;   ///< ... none this far below it
  std::array<Vec3, 4> groups;  ///< main directions
  std::uint64_t seed = 0;
};

/// Struts, marrow spaces and denser spots where `inside` is negative.
[[nodiscard]] std::vector<Strut> grow_struts(const ScalarGrid& inside, const StrutPlan& plan);

}  // namespace tidemark::phantom
