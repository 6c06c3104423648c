#pragma once

#include <algorithm>

#include "canvas.h"
#include "tidemark/followup/result.h"
#include "tidemark/followup/steps.h"

namespace tidemark::followup {

/// Share of the grey range that bone gets; house choice after looking at films.
inline constexpr double kBoneShare = 0.8;

/// Grey values of a film as they are shown: bone takes most of the range, metal the bright end, so
/// that both can be read. From robust percentiles, the metal apart.
struct Tone {
  double dark = 0.0;         ///< shown black
  double bone_bright = 1.0;  ///< shown at kBoneShare
  double bright = 2.0;       ///< shown white

  [[nodiscard]] double operator()(double value) const {
    const bool bone = value <= bone_bright;
    const double from = bone ? dark : bone_bright;
    const double to = bone ? bone_bright : bright;
    const double share = std::clamp((value - from) / (to - from), 0.0, 1.0);
    return bone ? kBoneShare * share : kBoneShare + (1.0 - kBoneShare) * share;
  }
};
[[nodiscard]] Tone tone_of(const film::FilmImage& film, const Mask& metal, const Box& region_px);

/// A part of a film on the canvas. Shown as films are hung: the patient's right on the left, so a
/// left hip, which is measured as its mirror image, is turned back.
struct Panel {
  Box box;                   ///< on the canvas
  Affine2 canvas_from_view;  ///< px of the hip view of the film that gives the frame
  double canvas_per_px = 1.0;
};

/// Shows `region_px` of the hip view as large as `box` allows, centred.
[[nodiscard]] Panel panel_of(const Box& box, const Box& region_px, Side side);

/// Pixels of the follow-up film's hip view from those of the reference film's, bone on bone.
[[nodiscard]] Affine2 follow_from_reference(const HipFilm& reference, const HipFilm& follow_up,
                                            const migration::Migration& migration);

/// What a picture of a hip shows: the implant, the greater trochanter and some shaft below the tip,
/// px of the hip view, widened to `shape` (width over height) so that no bars are left where there
/// is film.
[[nodiscard]] Box hip_region(const HipFilm& film, double shape);

/// The outline of the stem as it is drawn: in two pieces where the field ends above the tip, as
/// nothing of the stem runs from flank to flank there.
[[nodiscard]] std::vector<Polyline> outline_pieces(const anatomy::Implant& implant);

/// Samples `film` for every pixel of the panel. film_from_frame maps px of the panel's frame to px
/// of `film`. 0 to 1; kNoFilm outside of the film.
inline constexpr float kNoFilm = -1.0F;
[[nodiscard]] Raster shown(const film::FilmImage& film, const Tone& tone, const Panel& panel,
                           const Affine2& film_from_frame);

/// One film in grey.
[[nodiscard]] RasterOf<std::uint32_t> in_grey(const Raster& film);
/// Two films, blue where only the first is bright, orange where only the second is, grey where
/// both.
[[nodiscard]] RasterOf<std::uint32_t> in_two_colours(const Raster& first, const Raster& second);

/// Smallest box around points, widened by `margin` on each side.
[[nodiscard]] Box box_around(const Polyline& points, double margin);
/// The part of `box` inside of a film.
[[nodiscard]] Box inside_film(const Box& box, const film::FilmImage& film);

[[nodiscard]] Polyline mapped(const Polyline& points, const Affine2& b_from_a);

/// What a picture of one film shows: these points with a margin, widened to `least_shape` (width
/// over height) where there is film.
[[nodiscard]] Box film_region(const HipFilm& film, const Polyline& points, double margin_mm,
                              double least_shape);
/// "film-00.dcm, 2024-03-02, right hip", as far as it is known.
[[nodiscard]] std::string film_title(const FilmResult& result);
/// A piece of legend: a stroke and its meaning. Gives where the next one starts.
double draw_legend(Canvas& canvas, const Vec2& at, const Stroke& stroke, const std::string& text);

/// A bar of a round length in mm in the lower left corner of the panel.
void draw_scale_bar(Canvas& canvas, const Panel& panel, double mm_per_px, double length_mm);

}  // namespace tidemark::followup
