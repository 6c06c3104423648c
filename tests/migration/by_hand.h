#pragma once

#include <Eigen/Core>
#include <cmath>
#include <numbers>
#include <optional>

#include "tidemark/migration/derive.h"

/// Films whose anatomy is written down instead of found, for the tests of this module.
namespace tidemark::migration::by_hand {

inline constexpr double kDegree = std::numbers::pi / 180.0;
inline constexpr double kMmPerPx = 0.2;

/// Anatomy of one film in the anatomical frame: (medial, distal) mm from the stem's reference
/// point. The places are those of docs/design.md's example of "subsidence depends on the point".
struct Anatomy {
  Vec2 head_centre{35.0, -35.0};
  Vec2 shoulder{20.0, -10.0};
  Vec2 tip{8.0, 130.0};
  std::optional<Vec2> lesser{Vec2(22.0, 40.0)};
  std::optional<Vec2> greater{Vec2(-28.0, -20.0)};
};

/// Where that anatomy lies on the film.
struct Place {
  Vec2 reference_mm{90.0, 80.0};  ///< hip view, mm
  double shaft_deg = 0.0;         ///< turn of the shaft axis, clockwise as seen on the film
  double stem_deg = 0.0;          ///< turn of the stem axis, clockwise as seen on the film

  /// film_from_anatomical, mm
  [[nodiscard]] Rigid2 film_from_frame() const { return {shaft_deg * kDegree, reference_mm}; }
};

/// A film that owns its anatomy.
struct Film {
  anatomy::Implant implant;
  anatomy::Femur femur;
  Measured<MillimetresPerPixel> scale{{kMmPerPx}, {0.0}, {0.0}};

  [[nodiscard]] MeasuredFilm measured() const { return {implant, femur, scale}; }
};

inline Vec2 turned(double deg) {
  return {-std::sin(deg * kDegree), std::cos(deg * kDegree)};  // (0, 1) turned clockwise
}

inline Film film(const Place& place, const Anatomy& anatomy = {}) {
  const auto px = [&](const Vec2& p) { return Vec2(place.film_from_frame().apply(p) / kMmPerPx); };
  Film out;
  out.implant.head = {{px(anatomy.head_centre), 16.0 / kMmPerPx}, 0.0, 0.0, Source::kFound};
  out.implant.shoulder = {px(anatomy.shoulder), 0.0, Source::kFound};
  out.implant.tip = {px(anatomy.tip), 0.0, Source::kFound};
  out.implant.reference_px = px(Vec2::Zero());
  out.implant.axis = {{out.implant.reference_px, turned(place.stem_deg)}, {0.0}, Source::kFound};
  out.femur.shaft_axis = {{px(Vec2(0.0, 100.0)), turned(place.shaft_deg)}, {0.0}, Source::kFound};
  if (anatomy.lesser) out.femur.lesser_trochanter = {px(*anatomy.lesser), 0.0, Source::kFound};
  if (anatomy.greater) out.femur.greater_trochanter = {px(*anatomy.greater), 0.0, Source::kFound};
  return out;
}

/// A motion given in the anatomical frame, as it acts on points of the film.
inline Rigid2 on_film(const Rigid2& in_frame, const Place& place) {
  const Rigid2 f = place.film_from_frame();
  return f.after(in_frame).after(f.inverse());
}

/// The same motion of the film as it acts on points of the anatomical frame.
inline Rigid2 in_frame(const Rigid2& on_film, const Place& place) {
  const Rigid2 f = place.film_from_frame();
  return f.inverse().after(on_film).after(f);
}

/// The film of the follow-up: bone and landmarks carried along by `bone`, the stem by `stem` (both
/// follow_up_from_reference, mm of the hip views).
inline Film carried(const Film& reference, const Rigid2& bone, const Rigid2& stem) {
  Film out = reference;
  const double k = reference.scale.value.value;
  const auto by = [&](const Rigid2& motion, Vec2& p_px) { p_px = motion.apply(k * p_px) / k; };
  for (Vec2* p : {&out.implant.head.circle_px.centre, &out.implant.shoulder.px, &out.implant.tip.px,
                  &out.implant.reference_px, &out.implant.axis.line_px.point}) {
    by(stem, *p);
  }
  Vec2& axis = out.implant.axis.line_px.direction;
  axis = stem.rotation() * axis;
  if (out.femur.lesser_trochanter) by(bone, out.femur.lesser_trochanter->px);
  if (out.femur.greater_trochanter) by(bone, out.femur.greater_trochanter->px);
  if (out.femur.shaft_axis) {
    Line2& shaft = out.femur.shaft_axis->line_px;
    by(bone, shaft.point);
    shaft.direction = bone.rotation() * shaft.direction;
  }
  return out;
}

/// Every opinion taken at its word, so that answers have a closed form.
inline Trust at_its_word() {
  return {.floor_mm = 0.0,
          .wild = 0.0,
          .slid = 0.0,
          .landmark_floor_mm = 1e6,
          .landmark_wild = 0.0,
          .stem_depth_mm = 0.0,
          .across_floor_mm = 1e6,  // what is read across says nothing
          .radius_mm = 0.0,
          .widest_u95_mm = 1e9};
}

/// Everything of a pair whose bone went by `bone` and whose stem, seen from the bone, went by
/// `motion` (anatomical frame of the reference film). Exact: every uncertainty is zero but the
/// pose's. Owns the films that `evidence` looks at, so it is made in place and never copied.
struct Pair {
  Film reference;
  Film follow_up;
  PairEvidence evidence;

  Pair(const Film& first, const Place& place, const Rigid2& bone, const Rigid2& motion)
      : reference(first),
        follow_up(carried(first, bone, bone.after(on_film(motion, place)))),
        evidence{.reference = reference.measured(),
                 .follow_up = follow_up.measured(),
                 .stem = {},
                 .bone = {},
                 .votes = {},
                 .scale_ratio_u = 0.0,
                 .pose = {},
                 .trust = at_its_word()} {
    const Rigid2 f = place.film_from_frame();
    evidence.bone.moving_from_fixed_mm = bone;
    evidence.bone.centre_mm = f.apply(Vec2(0.0, 30.0));
    evidence.stem.alignment.moving_from_fixed_mm = bone.after(on_film(motion, place));
    evidence.stem.alignment.centre_mm = f.apply(Vec2(0.0, 55.0));
  }
  Pair(const Pair&) = delete;
  Pair& operator=(const Pair&) = delete;
};

/// Covariance of (x, y, angle) without correlation.
inline Eigen::Matrix3d covariance(double u_mm, double u_deg) {
  return Eigen::Vector3d(u_mm * u_mm, u_mm * u_mm, std::pow(u_deg * kDegree, 2)).asDiagonal();
}

inline alignment::FeatureVote vote(const char* name, const Vec2& at, const Place& place,
                                   double offset_distal_mm, double u_mm) {
  alignment::FeatureVote v;
  v.name = name;
  v.position_mm = place.film_from_frame().apply(at);
  v.offset_mm = offset_distal_mm * turned(place.shaft_deg);
  v.covariance = u_mm * u_mm * Eigen::Matrix2d::Identity();
  v.votes = 1000;
  return v;
}

}  // namespace tidemark::migration::by_hand
