#pragma once

#include <vector>

#include "tidemark/alignment/align.h"
#include "tidemark/core/raster.h"
#include "tidemark/migration/derive.h"
#include "tidemark/migration/migration.h"

namespace tidemark::migration {

/// A film brought to the pixel size at which it is aligned (about 0.2 mm), by whole-block means.
/// A point p of the film (mm of the hip view) lies at p - offset_mm in the frame of this one.
struct ReducedFilm {
  Raster pixels;
  double mm_per_px = 0.0;
  Vec2 offset_mm = Vec2::Zero();
  Eigen::Vector2i first_px = Eigen::Vector2i::Zero();  ///< of the film, where pixel (0, 0) begins
};

[[nodiscard]] ReducedFilm reduce(const Raster& pixels, double mm_per_px);

/// The part of the film that the alignment of this hip can touch: the femur and the stem's body as
/// find_regions draws them, 25 mm beside them (search, smoothing), down to the film's end. About
/// 40 % of a usual film.
[[nodiscard]] ReducedFilm reduce_to_femur(const Raster& pixels, const MeasuredFilm& found);

/// Which pixels of a film vote for what, on the grid of its ReducedFilm.
struct Regions {
  Raster stem;  ///< a band along the outline of the stem's body
  /// Its proximal end: shoulder and flare together, and the shoulder alone, which has fewer pixels
  /// but more that point along the axis.
  std::vector<alignment::Feature> stem_near_end;
  Raster bone;                               ///< the proximal femur without metal
  std::vector<alignment::Feature> features;  ///< pieces of the bone that vote on their own
};

/// Names of the features, as in results.
inline constexpr const char* kGreaterTrochanter = "greater_trochanter";
inline constexpr const char* kLesserTrochanter = "lesser_trochanter";
inline constexpr const char* kCalcar = "calcar";
inline constexpr const char* kMetaphysis = "metaphysis";
inline constexpr const char* kShaft = "shaft";

[[nodiscard]] Regions find_regions(const ReducedFilm& film, const MeasuredFilm& found);

/// Pixels that may not vote for the bone: metal and what its blur and halo reach (3 mm, design
/// figure from prototypes on simulated films).
[[nodiscard]] Mask bone_excluded(const ReducedFilm& film, const MeasuredFilm& found);

/// follow_up_from_reference in mm of the hip views if the stem had not moved in the bone: from the
/// stem's reference point and axis on both films.
[[nodiscard]] Rigid2 rough_alignment(const MeasuredFilm& reference, const MeasuredFilm& follow_up);

/// The stem's motion from what was found on each film by itself (axis and shoulder): the way out
/// when the two stems' edges do not match in one clear position.
[[nodiscard]] alignment::Alignment stem_by_shape(const MeasuredFilm& reference,
                                                 const MeasuredFilm& follow_up);

/// Where to start the alignment of the bone: along the shaft with the stem, across it and in angle
/// with the shaft's axes where both films show them.
[[nodiscard]] Rigid2 bone_start(const MeasuredFilm& reference, const MeasuredFilm& follow_up,
                                const Rigid2& stem);

/// `stem` (mm of the hip views) shifted along the axis until the corner of the shoulder, as marked
/// on each film, lies on itself: where to let the proximal end vote from. A stem whose apparent
/// length changed by several millimetres may have been aligned by its tip, and the shoulder is then
/// further off than a vote looks.
[[nodiscard]] Rigid2 near_end_start(const Rigid2& stem, const MeasuredFilm& reference,
                                    const MeasuredFilm& follow_up);

/// Of two sets of votes about two alignments of equal angle, for each feature the one with the
/// higher agreement, told as offset from the first alignment.
[[nodiscard]] std::vector<alignment::FeatureVote> better_votes(
    std::vector<alignment::FeatureVote> about_first, const Rigid2& first,
    const std::vector<alignment::FeatureVote>& about_second, const Rigid2& second);

/// The stem's alignment (mm of the hip views) with its position along the axis taken from its
/// proximal end and moved to the axis with the help of the head.
///
/// A stem that leans out of the film's plane looks shorter or longer: its tip, 130 mm away and at
/// another distance from the tube, then moves along the film by a millimetre or more against the
/// shoulder, and a rigid alignment shares that between the two ends. The bony features lie beside
/// the proximal end and are foreshortened and magnified like it, so that end is the one to compare.
///
/// A stem sits anteverted: in its own plane the depth of a point grows in proportion to its
/// distance from the axis, the shoulder lying behind, the head in front. What flexion moves the
/// head against the shoulder therefore tells what it moves the axis against the shoulder: the same,
/// by the ratio of their distances.
///
/// Where the vote of the proximal end says little, the corner of the shoulder as found on each film
/// stands in; unchanged when there is no vote at all.
[[nodiscard]] StemMotion held_at_near_end(const alignment::Alignment& stem,
                                          const std::vector<alignment::FeatureVote>& near_end,
                                          const MeasuredFilm& reference,
                                          const MeasuredFilm& follow_up);

/// The same alignment between reduced frames, and back.
[[nodiscard]] Rigid2 to_reduced(const Rigid2& follow_up_from_reference,
                                const ReducedFilm& reference, const ReducedFilm& follow_up);
[[nodiscard]] Rigid2 from_reduced(const Rigid2& follow_up_from_reference,
                                  const ReducedFilm& reference, const ReducedFilm& follow_up);

}  // namespace tidemark::migration
