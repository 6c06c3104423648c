#include "tidemark/view/place.h"

namespace tidemark::view {
namespace {

/// Hip view from upright view: a left hip is mirrored (film::as_right_hip).
Affine2 hip_from_view(Side side, int width) {
  Affine2 out;
  if (side == Side::kLeft) {
    out.linear(0, 0) = -1.0;
    out.offset.x() = width - 1;
  }
  return out;
}

Affine2 scaled(double factor) {
  Affine2 out;
  out.linear *= factor;
  return out;
}

Affine2 affine_of(const Rigid2& rigid) { return {rigid.rotation(), rigid.translation}; }

}  // namespace

FilmFrame frame_of(const film::FilmImage& film) {
  return {film.pixels.width, film::view_px_per_stored_px(film)};
}

std::optional<Affine2> follow_from_reference(const followup::Result& result,
                                             const followup::ComparisonResult& pair,
                                             const FilmFrame& reference, const FilmFrame& follow_up,
                                             LaidOn laid_on) {
  const auto& first = result.films[pair.reference].calibration;
  const auto& second = result.films[pair.follow_up].calibration;
  if (!pair.migration || !first || !second || !result.side) return {};
  const Rigid2& rigid = laid_on == LaidOn::kBone ? pair.migration->follow_up_from_reference_bone_mm
                                                 : pair.migration->follow_up_from_reference_stem_mm;
  const double first_mm = first->mm_per_px.value.value / reference.view_px_per_stored_px;
  const double second_mm = second->mm_per_px.value.value / follow_up.view_px_per_stored_px;
  return hip_from_view(*result.side, follow_up.width)
      .inverse()
      .after(scaled(1.0 / second_mm))
      .after(affine_of(rigid))
      .after(scaled(first_mm))
      .after(hip_from_view(*result.side, reference.width));
}

Affine2 roughly_placed(const followup::FilmResult& reference, const followup::FilmResult& follow_up,
                       const film::FilmImage& reference_film,
                       const film::FilmImage& follow_up_film) {
  if (!reference.head || !follow_up.head) return {};
  const double factor = follow_up.head->diameter_px * film::view_px_per_stored_px(follow_up_film) /
                        (reference.head->diameter_px * film::view_px_per_stored_px(reference_film));
  const Vec2 from = reference_film.stored_from_view.inverse().apply(reference.head->centre_px);
  const Vec2 to = follow_up_film.stored_from_view.inverse().apply(follow_up.head->centre_px);
  Affine2 out = scaled(factor);
  out.offset = to - factor * from;
  return out;
}

}  // namespace tidemark::view
