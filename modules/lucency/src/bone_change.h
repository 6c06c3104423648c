#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "tidemark/core/raster.h"
#include "tidemark/lucency/lysis.h"

namespace tidemark::lucency {

inline constexpr double kCellMm = 0.5;  ///< pitch of the plane
/// Beside metal nothing is judged: its blur and edge. House choice.
inline constexpr double kMetalMm = 1.2;

/// A grid in the plane of the stem of the reference film: rows from proximal to distal along the
/// stem axis, columns from lateral to medial.
struct BonePlane {
  Vec2 origin_px = Vec2::Zero();  ///< entry level on the stem axis, reference film
  Vec2 distal = Vec2::UnitY();
  Vec2 medial = Vec2::UnitX();
  double px_per_mm = 1.0;
  double tip_mm = 0.0;  ///< level of the tip
  int rows = 0;
  int columns = 0;

  [[nodiscard]] double level_mm(int row) const;      ///< from the entry level, distal +
  [[nodiscard]] double across_mm(int column) const;  ///< from the stem axis, medial +
  [[nodiscard]] Vec2 px(double level_mm, double across_mm) const;
  [[nodiscard]] bool contains(int row, int column) const {
    return row >= 0 && row < rows && column >= 0 && column < columns;
  }
  [[nodiscard]] std::size_t index(int row, int column) const {
    return static_cast<std::size_t>(row) * static_cast<std::size_t>(columns) +
           static_cast<std::size_t>(column);
  }
};

/// Distances about a cell up to a radius.
struct Disc {
  struct Step {
    int row;
    int column;
  };
  std::vector<Step> steps;
};
[[nodiscard]] Disc disc_of(double radius_mm);

/// How the bone beside the stem changed, cell by cell. Depths are shares of the step from soft
/// tissue to bone; only cells that are `valid` have any.
struct BoneChange {
  BonePlane plane;
  std::vector<unsigned char> bone;   ///< beside the stem and within the femur's outer border
  std::vector<unsigned char> valid;  ///< of these, seen on both films free of metal
  std::vector<double> depth;         ///< how much darker than expected, + darker
  /// The least depth that is left when the films may lie up to 1 mm off each other anywhere.
  std::vector<double> sure_darker;
  std::vector<double> sure_brighter;  ///< the same of what has become brighter
};

/// Lays both films on each other and takes off what they differ by elsewhere.
/// @return nothing where too little bone is seen on both, or it does not stand out from the soft
///         tissue beside it.
[[nodiscard]] std::optional<BoneChange> bone_change(const LysisFilm& reference,
                                                    const LysisFilm& follow_up,
                                                    const Affine2& follow_from_reference);

}  // namespace tidemark::lucency
