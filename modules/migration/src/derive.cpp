#include "tidemark/migration/derive.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <iomanip>
#include <numbers>
#include <sstream>

#include "consensus.h"
#include "frame.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

/// Motion of the stem relative to the bone as the two rigid alignments give it, on the reference
/// film: moved_from_still, mm of its hip view.
Rigid2 relative_motion(const PairEvidence& e) {
  return e.bone.moving_from_fixed_mm.inverse().after(e.stem.alignment.moving_from_fixed_mm);
}

/// What is known of the change of pose: by the stem's surface, else by its look, else by the model.
PoseChange pose_of(const PairEvidence& e) {
  if (e.pose_change) return *e.pose_change;
  if (!e.stem.looks && !e.stem.by_surface) return pose_change(e.pose);
  StemLooks looks = e.stem.looks.value_or(
      StemLooks{.reference = stem_look(e.reference), .follow_up = stem_look(e.follow_up)});
  looks.scale_ratio_u = e.scale_ratio_u;
  return e.stem.by_surface ? pose_change(e.pose, looks, *e.stem.by_surface)
                           : pose_change(e.pose, looks);
}

/// Noise of a registered feature that its own covariance cannot see, mm^2.
double unseen_variance(const std::string& feature, const PairEvidence& e, const PoseChange& pose) {
  // Outlines slide over the bone as it turns; texture and cortices beside the stem do not.
  const bool outline = feature == kGreaterTrochanter || feature == kLesserTrochanter;
  const double slide = 0.5 * e.trust.radius_mm * std::pow(pose.rotation_rms_rad, 2);
  return std::pow(e.trust.floor_mm, 2) + (outline ? slide * slide : 0.0);
}

/// Variance of an alignment along the shaft, mm^2.
double variance_along(const alignment::Alignment& a, const AnatomicalFrame& frame) {
  return frame.distal.dot(a.covariance.topLeftCorner<2, 2>() * frame.distal);
}

/// One direction of a vote, where it says anything (u below 1 mm).
std::optional<Reading> reading_of(const alignment::FeatureVote& v, const Vec2& direction,
                                  double rigid, double unseen) {
  const double variance = direction.dot(v.covariance * direction);
  if (!(variance < 1.0)) return std::nullopt;
  return Reading{rigid - v.offset_mm.dot(direction), variance + unseen};
}

/// What the registered features say, along the shaft and across it.
/// @param rigid  motion of the stem's reference point by both alignments: (medial, distal) mm
std::vector<Opinion> by_registration(const PairEvidence& e, const AnatomicalFrame& frame,
                                     const Vec2& rigid, const PoseChange& pose) {
  std::vector<Opinion> out;
  bool any_along = false;
  for (const auto& v : e.votes) {
    if (!v.offset_mm.allFinite()) continue;
    Opinion o{
        .feature = v.name,
        .kind = VoteKind::kRegistered,
        .at = frame.of(v.position_mm),
        .along = reading_of(v, frame.distal, rigid.y(), unseen_variance(v.name, e, pose)),
        .across = reading_of(v, frame.medial, rigid.x(), std::pow(e.trust.across_floor_mm, 2))};
    if (!o.along && !o.across) continue;  // a cortex seen along its length says nothing along it
    if (o.along && o.across) o.covariance = frame.medial.dot(v.covariance * frame.distal);
    any_along = any_along || o.along;
    out.push_back(std::move(o));
  }
  if (any_along) return out;
  // No feature votes: the bone as a whole, of a depth between the stem's plane and the trochanters.
  constexpr double kWhole = 0.3;  // mm, what is left of the registration's error in the long run
  const double variance = variance_along(e.bone, frame) + kWhole * kWhole;
  out.push_back({.feature = "bone",
                 .kind = VoteKind::kRegistered,
                 .at = frame.of(e.bone.centre_mm),
                 .along = Reading{rigid.y(), variance},
                 .across = {}});
  return out;
}

/// What the trochanters say as marked on each film, against the stem as it was held.
void add_marked(const PairEvidence& e, const AnatomicalFrame& frame, std::vector<Opinion>& out) {
  const double ka = e.reference.scale.value.value;
  const double kb = e.follow_up.scale.value.value;
  const Vec2 stem = e.stem.alignment.moving_from_fixed_mm.apply(frame.origin);
  const Eigen::Matrix2d back = e.bone.moving_from_fixed_mm.rotation().transpose();
  const auto add = [&](const char* name, const std::optional<anatomy::Landmark>& a,
                       const std::optional<anatomy::Landmark>& b) {
    if (!a || !b) return;
    const Vec2 before = ka * a->px - frame.origin;
    const Vec2 after = back * (kb * b->px - stem);
    out.push_back({.feature = name,
                   .kind = VoteKind::kMarked,
                   .at = frame.of(ka * a->px),
                   .along = Reading{(before - after).dot(frame.distal),
                                    std::pow(ka * a->u_px, 2) + std::pow(kb * b->u_px, 2) +
                                        std::pow(e.trust.landmark_floor_mm, 2)},
                   .across = {}});
  };
  add(kGreaterTrochanter, e.reference.femur.greater_trochanter,
      e.follow_up.femur.greater_trochanter);
  add(kLesserTrochanter, e.reference.femur.lesser_trochanter, e.follow_up.femur.lesser_trochanter);
}

double root_sum_of_squares(std::initializer_list<double> terms) {
  double sum = 0.0;
  for (const double t : terms) sum += t * t;
  return std::sqrt(sum);
}

/// Tilt that is none, degrees.
struct Feigned {
  double value = 0.0;
  double u = 0.0;
};

/// What the leg's rotation between the films makes of the stem's lean in the sagittal plane. What
/// lies d behind goes medially by -rolled d (PoseDraw), and by the lean the stem lies the farther
/// behind the nearer to its tip: that goes laterally, as in varus. Lean and rotation are
/// independent, so that the variance of their product follows from their first two moments.
Feigned feigned_tilt(const PoseModel& model, const PoseByAll& seen) {
  const double lean = front_towards_tube(model.view) * model.sagittal_lean.value;
  const double lean_u = model.sagittal_lean_u.value;
  const double value = lean * seen.rolled_mean;
  const double square = (lean * lean + lean_u * lean_u) * seen.rolled_square;
  return {value, std::sqrt(std::max(0.0, square - value * value))};
}

struct Tilt {
  double value = 0.0;  ///< degrees, varus +
  double u = 0.0;
  double apart = 0.0;  ///< alignments against axes, in joint standard uncertainties
};

/// The tilt change by the two alignments and by the two axes of both films, weighted by what each
/// is worth, less what is feigned. The alignment of the bone turns with features at other depths,
/// all the more the farther the leg was rotated (0.03 degrees per degree and 0.2 without, from
/// simulated films, docs/accuracy.md); the axes do not, but need a long piece of shaft.
Tilt tilt_change(const PairEvidence& e, double by_alignment_deg, const PoseByAll& seen,
                 const Feigned& feigned) {
  constexpr double kTurnOfFeatures = 0.2;
  constexpr double kTurnPerRotation = 0.03;
  const double u_alignment =
      root_sum_of_squares({std::sqrt(e.bone.covariance(2, 2)) / kDegree,
                           std::sqrt(e.stem.alignment.covariance(2, 2)) / kDegree, kTurnOfFeatures,
                           kTurnPerRotation * std::sqrt(seen.rolled_square) / kDegree});
  PoseModel without_lean = e.pose;  // what both share is added once
  without_lean.sagittal_lean = {0.0};
  without_lean.sagittal_lean_u = {0.0};
  const auto axes = tilt_by_axes(e.reference, e.follow_up, without_lean);
  if (!axes) {
    return {by_alignment_deg - feigned.value, std::hypot(u_alignment, feigned.u), 0.0};
  }
  const double u_axes = std::max(1e-3, axes->u.value);
  const double a = 1.0 / (u_alignment * u_alignment);
  const double b = 1.0 / (u_axes * u_axes);
  const double mean = (a * by_alignment_deg + b * axes->value.value) / (a + b);
  // Two opinions that contradict each other make the mean less certain than either claims.
  const double apart = std::abs(by_alignment_deg - axes->value.value);
  const double ratio = apart / std::hypot(u_alignment, u_axes);
  return {mean - feigned.value, std::hypot(std::max(1.0, ratio) / std::sqrt(a + b), feigned.u),
          ratio};
}

/// Depths behind the stem as depths away from the tube, and back.
Depths as_seen(Depths depths, View view) {
  depths.mean_mm *= front_towards_tube(view);
  return depths;
}

bool is_finite(const alignment::Alignment& a) {
  return std::isfinite(a.moving_from_fixed_mm.angle_rad) &&
         a.moving_from_fixed_mm.translation.allFinite() && a.covariance.allFinite();
}

/// Why the alignment of the bone cannot be believed, if it cannot: it must carry the shaft of one
/// film onto the shaft of the other.
std::optional<std::string> slid(const PairEvidence& e) {
  if (!e.reference.femur.shaft_axis || !e.follow_up.femur.shaft_axis) return std::nullopt;
  constexpr double kAcross = 4.0;  // mm, house choice: many times the axes' own error
  constexpr double kTurn = 3.0;    // degrees
  constexpr double kTimesU = 3.0;  // of axes that know themselves to be worse
  const Line2& a = e.reference.femur.shaft_axis->line_px;
  const Line2& b = e.follow_up.femur.shaft_axis->line_px;
  const double ka = e.reference.scale.value.value;
  const double kb = e.follow_up.scale.value.value;
  const Rigid2& motion = e.bone.moving_from_fixed_mm;
  const double turn = angle_between(motion.rotation() * a.direction, b.direction) / kDegree;
  const double across = signed_distance({kb * b.point, b.direction}, motion.apply(ka * a.point));
  const double u_deg = axes_apart_u(e.reference, e.follow_up).value;
  const double lever = std::abs(along({kb * b.point, b.direction}, motion.apply(ka * a.point)));
  const double u_across = lever * u_deg * kDegree;
  if (std::abs(turn) > std::max(kTurn, kTimesU * u_deg) ||
      std::abs(across) > std::max(kAcross, kTimesU * u_across)) {
    return "the alignment of the bone does not carry one shaft onto the other";
  }
  return std::nullopt;
}

/// Above this share of the best position's likeness another one explains the films nearly as well.
constexpr double kNearlyAsWell = 0.95;

/// Why the place along the shaft is not told where two explain the films nearly as well: neither a
/// feature of its own nor a trochanter as marked says which is right. On simulated films such pairs
/// were 0.8, 2.3, 4.7 and 10.2 mm off with u of 1.7 to 2.0 (docs/migration.md).
std::optional<std::string> undecided(const PairEvidence& e, const Migration& m) {
  if (e.bone.runner_up <= kNearlyAsWell || !m.features.empty() || m.by_landmarks) return {};
  return "another position of the bone explains the two films nearly as well, and no feature of it "
         "tells which is right";
}

/// How far the alignment of the bone is trusted to have kept its place. Where another position
/// explains the films nearly as well, it is one of two; features were looked for about it alone, so
/// that a single one that is found there does not speak against the other.
Trust trust_in(const PairEvidence& e, const std::vector<Opinion>& opinions) {
  constexpr double kOneOfTwo = 0.5;
  Trust trust = e.trust;
  const auto registered = std::count_if(opinions.begin(), opinions.end(), [](const Opinion& o) {
    return o.kind == VoteKind::kRegistered && o.along;
  });
  if (e.bone.runner_up > kNearlyAsWell && registered < 2) trust.slid = kOneOfTwo;
  return trust;
}

/// Why the alignment of the bone is not believed to have kept its place along the shaft, if it is
/// not. A shaft looks alike all along, so that an alignment that slid along it agrees with itself:
/// farther than stems go while they stand, only what the trochanters as marked bear out is told.
std::optional<std::string> slid_along(const Migration& m) {
  constexpr double kFarMm = 15.0;     // as for the flag motion_implausible; house choice
  constexpr double kApartMm = 8.0;    // house choice, as all below
  constexpr double kApartU = 4.0;     // times the joint standard uncertainty
  constexpr double kBorneOutU = 2.0;  // likewise
  const double told = m.subsidence.value.value;
  bool borne_out = false;
  bool contradicted = false;
  if (m.by_landmarks) {
    const auto& marked = m.by_landmarks->subsidence;
    const double apart = std::abs(marked.value.value - told);
    const double u = std::hypot(marked.u.value, m.subsidence.u.value);
    borne_out = apart <= kBorneOutU * u && marked.u95.value < kFarMm;
    contradicted = apart > kApartMm && apart > kApartU * u;
  }
  if (!contradicted && (std::abs(told) <= kFarMm || borne_out)) return std::nullopt;
  std::ostringstream why;
  why << std::fixed << std::setprecision(0) << "the alignment of the bone would put the stem "
      << std::abs(told) << " mm " << (told > 0.0 ? "deeper" : "higher")
      << " and the trochanters do not bear that out, so it may have slid along the shaft";
  return why.str();
}

void judge(const PairEvidence& e, double apart_in_tilt, Migration& m) {
  if (!e.reference.femur.shaft_axis) {
    m.flags.push_back(
        {"shaft_axis_missing",
         "The shaft axis of the reference film is not seen; the stem's axis stands in for it."});
  }
  if (e.bone.runner_up > kNearlyAsWell) {
    m.flags.push_back({"bone_alignment_ambiguous",
                       "Another position of the bone explains the two films nearly as well."});
  }
  if (m.subsidence.u95.value > e.trust.wide_u95_mm) {
    m.flags.push_back({"subsidence_interval_wide",
                       "The subsidence is known too coarsely to be held against a threshold of 3 "
                       "mm or less; a film in the pose of the reference film would tell more."});
  }
  if (apart_in_tilt > 2.5) {
    m.flags.push_back(
        {"axes_disagree",
         "The axes of stem and shaft give another tilt change than the alignment of the bone."});
  }
  if (!m.by_landmarks) return;
  const LandmarkOpinion& other = *m.by_landmarks;
  const double u = std::hypot(other.subsidence.u.value, m.subsidence.u.value);
  if (std::abs(other.subsidence.value.value - m.subsidence.value.value) > 2.0 * u) {
    m.flags.push_back(
        {"landmarks_disagree",
         "The trochanters alone give another subsidence than the alignment of the bone; "
         "look at both films before you rely on either."});
  }
}

Measured<Millimetres> mm(double value, double u) {
  return measured(Millimetres{value}, Millimetres{u});
}

/// What each registered feature says on its own, with all that its depth and the pose leave open.
std::vector<FeatureSubsidence> alone(const std::vector<Opinion>& opinions, const PoseChange& pose) {
  std::vector<FeatureSubsidence> out;
  for (const Opinion& o : opinions) {
    if (o.kind != VoteKind::kRegistered || o.feature == "bone" || !o.along) continue;
    const Depth depth = depth_of(o.feature);
    const double parallax =
        std::pow(pose.flexion_rms_rad, 2) * (std::pow(depth.mean_mm, 2) + std::pow(depth.sd_mm, 2));
    out.push_back({o.feature, o.at, mm(o.along->value, std::sqrt(o.along->variance + parallax))});
  }
  return out;
}

/// The sentence for a pair whose films say too little.
tl::unexpected<Error> too_wide(double u95_mm, const PoseByAll& seen) {
  std::ostringstream wrong;
  wrong << std::fixed << std::setprecision(1)
        << "the bony features tell the subsidence to no better than " << u95_mm << " mm";
  const double flexion = std::sqrt(seen.flexion_square) / kDegree;
  const double rotation = std::sqrt(seen.rolled_square) / kDegree;
  if (flexion > 6.0 || rotation > 10.0) {
    wrong << std::setprecision(0) << " (the leg lies differently: flexion by about " << flexion
          << ", rotation by about " << rotation << " degrees)";
  }
  return fail(ErrorKind::kCannotTell, "comparison", wrong.str(),
              "compare films in a more alike pose, or mark both trochanters by hand");
}

/// The stem's motion in the bone as the alignments give it, and what the bony features make of it.
struct Settled {
  AnatomicalFrame frame;
  Rigid2 motion;    ///< moved_from_still, mm of the reference film's hip view
  PoseChange pose;  ///< before the votes
  std::vector<Opinion> opinions;
  Consensus consensus;
};

/// Of the stem's alignment, along the shaft.
double stem_u(const PairEvidence& e, const AnatomicalFrame& frame) {
  return std::sqrt(variance_along(e.stem.alignment, frame));
}

/// A length with what else makes it uncertain, which is normal and independent of the rest.
Measured<Millimetres> widened(double value, double u, double u95, double by) {
  return {Millimetres{value}, Millimetres{std::hypot(u, by)},
          Millimetres{std::hypot(u95, coverage_factor(kInfiniteFreedom) * by)}};
}

/// The medial shift of the reference point with its uncertainty: by the features that read it, each
/// less what rotation does at its depth, or by the alignments as they are, whichever is known
/// better.
Measured<Millimetres> medial_shift(const PairEvidence& e, const Settled& s, double as_aligned_mm) {
  const auto across = [&](const Eigen::Matrix3d& covariance) {
    return std::sqrt(s.frame.medial.dot(covariance.topLeftCorner<2, 2>() * s.frame.medial));
  };
  // An alignment's angle acts on the reference point by the distance from the region's centre.
  const auto swing = [&](const alignment::Alignment& a) {
    return s.frame.of(a.centre_mm).y() * std::sqrt(a.covariance(2, 2));
  };
  // The outlines of the bone and the stem's axis lie within some 4 mm of one depth (house choice).
  // By the stem's look alone: the votes weigh the poses with what is presumed of this very shift.
  const double u_pose_across = s.pose.rotation_rms_rad * 4.0;
  const double u_stem = std::hypot(across(e.stem.alignment.covariance), swing(e.stem.alignment));
  const double u_aligned =
      root_sum_of_squares({across(e.bone.covariance), swing(e.bone), u_pose_across});
  double value = as_aligned_mm;
  double u = u_aligned;
  if (const auto& read = s.consensus.medial; read && std::sqrt(read->variance) < u_aligned) {
    value = read->mean;
    u = std::sqrt(read->variance);
  }
  return mm(value, root_sum_of_squares({u, u_stem, e.shared_scale_u * value}));
}

/// Subsidence of the reference point and of the other points of the stem, which the told tilt
/// carries by their distance beside the axis, and which pay for it likewise.
void tell_subsidence(const PairEvidence& e, const Settled& s, double u95, const Tilt& tilt,
                     Migration& m) {
  const Consensus& c = s.consensus;
  const double u = std::hypot(std::sqrt(c.variance), stem_u(e, s.frame));
  const double k = e.reference.scale.value.value;
  const Rigid2 tilted{tilt.value * kDegree, Vec2::Zero()};
  m.subsidence = widened(c.mean, u, u95, e.shared_scale_u * c.mean);
  const auto at = [&](const Vec2& p_px) {
    const Vec2 beside = k * p_px - s.frame.origin;
    const double turn = s.frame.of(k * p_px).x() * tilt.u * kDegree;
    const double value = c.mean + Vec2(tilted.apply(beside) - beside).dot(s.frame.distal);
    return widened(value, u, u95, std::hypot(turn, e.shared_scale_u * value));
  };
  m.subsidence_at_head_centre = at(e.reference.implant.head.circle_px.centre);
  m.subsidence_at_shoulder = at(e.reference.implant.shoulder.px);
  if (e.reference.implant.shows_tip()) {
    m.subsidence_at_tip = at(e.reference.implant.tip.px);
  }
}

/// The model of poses for an opinion that reads no pose: legs that were seen to lie more
/// differently than legs usually do are not taken for usual ones.
PoseModel at_least_as_seen(PoseModel model, const PoseChange& pose) {
  model.flexion.value = std::max(model.flexion.value, pose.flexion_rms_rad / kDegree);
  model.rotation.value = std::max(model.rotation.value, pose.rotation_rms_rad / kDegree);
  return model;
}

Migration told(const PairEvidence& e, const Settled& s, double u95) {
  Migration m;
  m.by_landmarks = opinion_by_landmarks(e.reference, e.follow_up, at_least_as_seen(e.pose, s.pose),
                                        e.scale_ratio_u);
  const PoseByAll& seen = s.consensus.seen;
  const Tilt tilt = tilt_change(e, s.motion.angle_rad / kDegree, seen, feigned_tilt(e.pose, seen));
  tell_subsidence(e, s, u95, tilt, m);
  m.budget = {{"bone alignment", {std::sqrt(s.consensus.own)}},
              {"out-of-plane pose", {std::sqrt(s.consensus.pose)}},
              {"stem alignment", {stem_u(e, s.frame)}},
              {"calibration",
               {std::hypot(std::sqrt(s.consensus.scale), e.shared_scale_u * s.consensus.mean)}}};
  const Vec2 shift = s.motion.apply(s.frame.origin) - s.frame.origin;
  m.medial = medial_shift(e, s, shift.dot(s.frame.medial));
  m.tilt_change = measured(Degrees{tilt.value}, Degrees{tilt.u});
  if (e.stem.by_surface) {
    m.flexion_change = e.stem.by_surface->flexion;
    m.rotation_change = e.stem.by_surface->rotation;
  }
  m.features = alone(s.opinions, s.pose);
  m.depths = as_seen(s.consensus.depths, e.pose.view);
  m.measured = PairMeasured{e.stem, e.bone, e.votes, e.scale_ratio_u, s.pose};
  m.follow_up_from_reference_bone_mm = e.bone.moving_from_fixed_mm;
  m.follow_up_from_reference_stem_mm = e.stem.alignment.moving_from_fixed_mm;
  judge(e, tilt.apart, m);
  return m;
}

}  // namespace

Degrees axes_apart_u(const MeasuredFilm& reference, const MeasuredFilm& follow_up) {
  const auto u = [](const MeasuredFilm& film) {
    return film.femur.shaft_axis ? film.femur.shaft_axis->direction_u.value : 0.0;
  };
  return {std::hypot(u(reference), u(follow_up))};
}

Expected<Migration> derive(const PairEvidence& e) {
  if (!is_finite(e.bone) || !is_finite(e.stem.alignment)) {
    return fail(ErrorKind::kCannotTell, "comparison", "an alignment of the two films is no number",
                "check both films");
  }
  if (const auto why = slid(e)) {
    return fail(ErrorKind::kCannotTell, "comparison", *why,
                "check that both films show the same hip, or mark the shaft axis by hand");
  }
  Settled s{.frame = anatomical_frame(e.reference),
            .motion = relative_motion(e),
            .pose = pose_of(e),
            .opinions = {},
            .consensus = {}};
  const Vec2 shift = s.motion.apply(s.frame.origin) - s.frame.origin;
  const Vec2 rigid(shift.dot(s.frame.medial), shift.dot(s.frame.distal));
  s.opinions = by_registration(e, s.frame, rigid, s.pose);
  add_marked(e, s.frame, s.opinions);
  const Depths depths = e.depths.value_or(depths_of_people(e.trust.stem_depth_mm));
  const SharedErrors shared{s.pose, as_seen(depths, e.pose.view),
                            std::sqrt(e.bone.covariance(2, 2)), e.scale_ratio_u};
  const auto c = consensus(s.opinions, shared, trust_in(e, s.opinions));
  if (!c) {
    return fail(ErrorKind::kCannotTell, "comparison", "the votes of the bone are no numbers",
                "check both films");
  }
  s.consensus = *c;
  const double u95 = half_width_95(*c, std::pow(stem_u(e, s.frame), 2));
  if (u95 > e.trust.widest_u95_mm) return too_wide(u95, c->seen);
  Migration m = told(e, s, u95);
  auto why = undecided(e, m);
  if (!why) why = slid_along(m);
  if (why) {
    return fail(ErrorKind::kCannotTell, "comparison", *why,
                "check that both films show the same hip, and mark both trochanters by hand");
  }
  return m;
}

}  // namespace tidemark::migration
