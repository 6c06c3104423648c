#pragma once

#include <optional>
#include <vector>

#include "image_ops.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/core/units.h"

namespace tidemark::anatomy {

/// A film at 1 mm a pixel as unit gradients with a noise floor, so that every edge counts alike
/// whatever lies before it, and a weight: 0 on metal, beside it and off the film.
struct EdgeField {
  cv::Mat1f x;
  cv::Mat1f y;
  cv::Mat1f weight;
  Scaled place;  ///< from and to px of the film; its image is dropped
};
[[nodiscard]] EdgeField edge_field(const Raster& film, const Implant& implant,
                                   MillimetresPerPixel scale);

/// A place with two directions, px of the field (mm). `across` points away from the mirror.
struct PatchFrame {
  Vec2 origin = Vec2::Zero();
  Vec2 across = Vec2::UnitX();
  Vec2 along = Vec2::UnitY();
};

/// The points of a patch, mm from its frame's origin.
struct PatchGrid {
  double across_from, across_to;
  double along_from, along_to;
  double step;
};

/// first, first + step, ... as far as last.
[[nodiscard]] std::vector<double> stepped(double first, double last, double step);

/// A gradient in the directions of its frame.
struct EdgeSample {
  float across = 0.0F;
  float along = 0.0F;
  float weight = 0.0F;
};
[[nodiscard]] std::vector<EdgeSample> sampled(const EdgeField& field, const PatchFrame& frame,
                                              const PatchGrid& grid);

/// Normalised correlation of two patches, -1 to 1, over what both show.
/// @return absent when that is less than 40 % of the patch.
[[nodiscard]] std::optional<double> likeness(const std::vector<EdgeSample>& a,
                                             const std::vector<EdgeSample>& b);

/// Share of a patch that is an edge: mean of weight times length.
[[nodiscard]] double edge_share(const std::vector<EdgeSample>& patch);

}  // namespace tidemark::anatomy
