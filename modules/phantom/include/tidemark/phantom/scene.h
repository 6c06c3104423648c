#pragma once

#include <array>
#include <vector>

#include "tidemark/core/raster.h"
#include "tidemark/phantom/attenuation.h"
#include "tidemark/phantom/beam.h"
#include "tidemark/phantom/gap.h"
#include "tidemark/phantom/mesh.h"

namespace tidemark::phantom {

/// What fills a place claimed by several solids: the first in this list wins (metal displaces
/// bone, bone displaces soft tissue).
enum class Layer {
  kMarker,  ///< lead letters, wires, staples
  kHead,
  kStem,
  kShell,
  kLiner,
  kGap,          ///< soft tissue between stem and bone or cement
  kCement,       ///< mantle with radio-opaque filler
  kMembrane,     ///< soft tissue between cement and bone
  kRim,          ///< dense bone beyond either
  kDenseBone,    ///< crest and other compact ridges inside a bone
  kCompacted,    ///< cancellous bone pressed together beside the stem
  kFemurInside,  ///< cancellous bone and marrow
  kFemur,        ///< cortex
  kPelvisInside,
  kPelvis,
  kMuscle,
  kFat,
};
inline constexpr int kLayerCount = 17;
inline constexpr bool is_metal(Layer layer) { return layer <= Layer::kShell; }

/// A closed surface and what it holds. Surfaces of one layer may overlap: their union counts.
struct Solid {
  Layer layer = Layer::kFat;
  TriangleMesh mesh;  ///< in the world frame
};

/// Share of solid bone in cancellous bone, falling from the metaphysis to the canal of the shaft:
/// `top` above `level - ramp/2` along the femur's y, `bottom` below `level + ramp/2`.
struct Spongiosa {
  Rigid3 femur_from_world;
  double top = 0.20;
  double bottom = 0.02;
  double level_mm = -5.0;
  double ramp_mm = 60.0;
  double pelvis = 0.14;
  Compaction compaction;  ///< of what lies in Layer::kCompacted

  /// Share at a level of the femur (y of the femur frame).
  [[nodiscard]] double share_at(double y_in_femur_mm) const;
  /// The same of the compacted bone.
  [[nodiscard]] double compacted_at(double y_in_femur_mm) const;
};

/// A short strut or pore of cancellous bone: extra length of bone (or lack of it) along a segment.
struct Strut {
  Vec3 from;            ///< world frame
  Vec3 to;              ///< world frame
  double radius_mm;     ///< standard deviation across
  double thickness_mm;  ///< of solid bone at its middle; negative for a pore
};

struct Scene {
  std::vector<Solid> solids;
  Spongiosa spongiosa;
  std::vector<Strut> struts;
};

/// Lengths of each material (mm) met by the ray from the source to a place on the detector,
/// without struts. Meets every triangle in turn: slow, the yardstick of `render`.
[[nodiscard]] std::array<double, kMaterialCount> trace(const Scene& scene, const Beam& beam,
                                                       const Vec2& p_px);

/// The part of the beam that arrives unscattered, per pixel, 1 without a patient. Pixels that hold
/// a metal edge are the mean of 16 rays, so that the edge stands where it belongs to 1/10 pixel.
/// The outcome is the same on any number of threads.
[[nodiscard]] Raster render(const Scene& scene, const Beam& beam, unsigned threads);

}  // namespace tidemark::phantom
