#include "tidemark/view/place.h"

namespace tidemark::view {
namespace {

/// Hip view from the upright view it is made of: a left hip is mirrored (film::as_right_hip).
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

/// mm of the hip view, in which motions are told, from px of the view that is shown.
Affine2 mm_from_shown(const FilmFrame& film, Side side, MillimetresPerPixel per_stored_px) {
  return scaled(per_stored_px.value / film.view_px_per_stored_px)
      .after(hip_from_view(side, film.measured_width))
      .after(film.stored_from_measured.inverse())
      .after(film.stored_from_shown);
}

}  // namespace

FilmFrame frame_of(const film::FilmImage& shown, const film::FilmImage& measured) {
  return {shown.stored_from_view, measured.stored_from_view, measured.pixels.width,
          film::view_px_per_stored_px(shown)};
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
  return mm_from_shown(follow_up, *result.side, second->mm_per_px.value)
      .inverse()
      .after(affine_of(rigid))
      .after(mm_from_shown(reference, *result.side, first->mm_per_px.value));
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
