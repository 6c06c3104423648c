#include <algorithm>
#include <cmath>

#include "panel.h"
#include "working.h"

namespace tidemark::followup {
namespace {

/// Width over height of the pictures: a hip with its stem, upright.
constexpr double kShape = 0.62;
/// As fine as the eye can use on a screen, and no finer than the film. House choices.
constexpr double kMostPxPerMm = 5.0;
constexpr double kMostRows = 1200.0;

/// The frame of the reference film: px of a picture, as corners count, from its hip view.
Panel frame_of(const HipFilm& reference) {
  const Box region = hip_region(reference, kShape);
  const double mm_per_px = reference.scale.value.value;
  const double most = std::min(1.0, kMostRows / region.height);
  const double per_px = std::min(most, kMostPxPerMm * mm_per_px);
  const Box box{0.0, 0.0, std::ceil(region.width * per_px), std::ceil(region.height * per_px)};
  return panel_of(box, region, reference.side);
}

RasterOf<std::uint8_t> in_bytes(const Raster& shown) {
  RasterOf<std::uint8_t> out(shown.width, shown.height);
  std::transform(shown.values.begin(), shown.values.end(), out.values.begin(), [](float v) {
    return static_cast<std::uint8_t>(std::lround(255.0 * std::clamp<double>(v, 0.0, 1.0)));
  });
  return out;
}

}  // namespace

double aligned_px_per_mm(const HipFilm& reference) {
  return frame_of(reference).canvas_per_px / reference.scale.value.value;
}

AlignedFilm align_film(const HipFilm& reference, const HipFilm& film, const Affine2& follow) {
  const Panel panel = frame_of(reference);
  // Canvases count from the corner of the first pixel, results from its centre.
  const Affine2 centre_from_corner{Eigen::Matrix2d::Identity(), Vec2::Constant(-0.5)};
  const Affine2 px_from_film =
      centre_from_corner.after(panel.canvas_from_view).after(follow.inverse());
  const Box seen{0.0, 0.0, panel.box.width, panel.box.height};
  const Polyline corners{{0.0, 0.0}, {seen.width, seen.height}};
  const Tone tone = tone_of(film.hip_view, film.implant.metal,
                            box_around(mapped(corners, px_from_film.inverse()), 0.0));
  AlignedFilm out;
  out.grey = in_bytes(shown(film.hip_view, tone, panel, follow));
  out.outline_px = mapped(film.implant.outline_px, px_from_film);
  const Circle2& head = film.implant.head.circle_px;
  out.head_px.centre = px_from_film.apply(head.centre);
  out.head_px.radius = (px_from_film.linear * Vec2(head.radius, 0.0)).norm();
  if (film.implant.shows_tip()) out.tip_px = px_from_film.apply(film.implant.tip.px);
  out.shoulder_px = px_from_film.apply(film.implant.shoulder.px);
  out.reference_px = px_from_film.apply(film.implant.reference_px);
  out.stored_from_px = film.hip_view.stored_from_view.after(px_from_film.inverse());
  return out;
}

}  // namespace tidemark::followup
