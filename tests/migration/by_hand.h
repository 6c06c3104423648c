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

/// The stem's alignment within the evidence of a pair.
template <class Evidence>
alignment::Alignment& stem_of(Evidence& e) {
  if constexpr (requires { e.stem.alignment; }) {
    return e.stem.alignment;
  } else {
    return e.stem;
  }
}

/// follow_up_from_reference of bone and stem when the bone went by `bone` and the stem, seen from
/// the bone, by `motion` (anatomical frame of the reference film).
inline PairEvidence evidence(const Film& reference, const Film& follow_up, const Rigid2& bone,
                             const Rigid2& motion, const Place& place) {
  PairEvidence e{.reference = reference.measured(),
                 .follow_up = follow_up.measured(),
                 .stem = {},
                 .bone = {},
                 .votes = {},
                 .scale_ratio_u = 0.0,
                 .pose = {}};
  e.bone.moving_from_fixed_mm = bone;
  stem_of(e).moving_from_fixed_mm = bone.after(on_film(motion, place));
  const Rigid2 f = place.film_from_frame();
  e.bone.centre_mm = f.apply(Vec2(0.0, 30.0));
  stem_of(e).centre_mm = f.apply(Vec2(0.0, 55.0));
  return e;
}

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
