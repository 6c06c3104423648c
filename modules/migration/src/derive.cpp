#include "tidemark/migration/derive.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "frame.h"
#include "tidemark/core/least_squares.h"
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

struct VoteTable {
  std::vector<std::string> name;
  Eigen::VectorXd y;         ///< subsidence as each feature sees it
  Eigen::VectorXd variance;  ///< of the feature's own shift
  Eigen::VectorXd depth;
  Eigen::VectorXd depth_sd;
  Eigen::VectorXd across;  ///< medial position: lever of the angle
  Eigen::VectorXd level;   ///< distal position: lever of the scale
  std::vector<Vec2> position;
};

VoteTable vote_table(const PairEvidence& e, const AnatomicalFrame& frame, double rigid) {
  VoteTable t;
  std::vector<const alignment::FeatureVote*> useful;
  for (const auto& v : e.votes) {
    // A cortex seen along its length says nothing along the shaft.
    if (v.offset_mm.allFinite() && frame.distal.dot(v.covariance * frame.distal) < 1.0)
      useful.push_back(&v);
  }
  const auto n = static_cast<Eigen::Index>(useful.size());
  for (auto* column : {&t.y, &t.variance, &t.depth, &t.depth_sd, &t.across, &t.level})
    column->resize(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const alignment::FeatureVote& v = *useful[static_cast<std::size_t>(i)];
    const Vec2 at = frame.of(v.position_mm);
    const Depth depth = depth_of(v.name);
    t.name.push_back(v.name);
    t.position.push_back(at);
    t.y(i) = rigid - v.offset_mm.dot(frame.distal);
    t.variance(i) = frame.distal.dot(v.covariance * frame.distal);
    t.depth(i) = depth.mean_mm;
    t.depth_sd(i) = depth.sd_mm;
    t.across(i) = at.x();
    t.level(i) = at.y();
  }
  return t;
}

struct Combination {
  double subsidence = 0.0;
  double u = 0.0;       ///< all of it
  double u_bone = 0.0;  ///< what remains without pose and scale
  double u_pose = 0.0;
  double u_scale = 0.0;
  double inflation = 1.0;
};

Eigen::MatrixXd outer(const Eigen::VectorXd& v) { return v * v.transpose(); }

/// Generalised least squares of the votes, and its budget: each source's share is w' V_source w.
std::optional<Combination> combine_votes(const VoteTable& t, const PairEvidence& e,
                                         const FlexionChange& flexion) {
  const Eigen::Index n = t.y.size();
  if (n == 0) return std::nullopt;
  const double angle_u = std::sqrt(e.bone.covariance(2, 2));
  const Eigen::MatrixXd own = t.variance.asDiagonal();
  const double variance = flexion.sd_rad * flexion.sd_rad;
  const Eigen::MatrixXd spread = t.depth_sd.cwiseProduct(t.depth_sd).asDiagonal();
  const Eigen::MatrixXd pose =
      variance * (outer(t.depth) + spread) + flexion.mean_rad * flexion.mean_rad * spread;
  const Eigen::MatrixXd angle = angle_u * angle_u * outer(t.across);
  const Eigen::MatrixXd scale = e.scale_ratio_u * e.scale_ratio_u * outer(t.level);
  const Eigen::MatrixXd v = own + pose + angle + scale;
  const auto fit = gls(Eigen::MatrixXd::Ones(n, 1), t.y - flexion.mean_rad * t.depth, v);
  if (!fit) return std::nullopt;
  const Eigen::VectorXd ones = Eigen::VectorXd::Ones(n);
  const Eigen::VectorXd w = v.ldlt().solve(ones) / ones.dot(v.ldlt().solve(ones));
  Combination c;
  c.subsidence = fit->estimate(0);
  c.inflation = std::max(1.0, fit->degrees_of_freedom > 0 ? birge_ratio(*fit) : 1.0);
  c.u_bone = c.inflation * std::sqrt(w.dot((own + angle) * w));
  c.u_pose = c.inflation * std::sqrt(w.dot(pose * w));
  c.u_scale = std::sqrt(w.dot(scale * w));
  c.u = std::sqrt(c.u_bone * c.u_bone + c.u_pose * c.u_pose + c.u_scale * c.u_scale);
  return c;
}

/// When no feature votes: the whole bone as one feature of unknown depth.
Combination rigid_only(const PairEvidence& e, const AnatomicalFrame& frame, double rigid) {
  Combination c;
  c.subsidence = rigid;
  c.u_bone = std::sqrt(frame.distal.dot(e.bone.covariance.topLeftCorner<2, 2>() * frame.distal));
  c.u_pose = e.pose.flexion.value * kDegree *
             14.0;                     // mm: between the stem's plane and the lesser trochanter
  c.u_scale = e.scale_ratio_u * 40.0;  // mm: usual distance from the stem's reference point
  c.u = std::sqrt(c.u_bone * c.u_bone + c.u_pose * c.u_pose + c.u_scale * c.u_scale);
  return c;
}

double sum_of_squares(std::initializer_list<double> terms) {
  double sum = 0.0;
  for (const double t : terms) sum += t * t;
  return std::sqrt(sum);
}

/// What rotation does to a stem that leans in the sagittal plane, degrees: tilt that is none.
double lean_u(const PoseModel& pose) {
  return pose.rotation.value * kDegree * pose.sagittal_lean.value;
}

struct Tilt {
  double value = 0.0;  ///< degrees, varus +
  double u = 0.0;
  double apart = 0.0;  ///< alignments against axes, in joint standard uncertainties
};

/// The tilt change by the two alignments and by the two axes of both films, weighted by what each
/// is worth. The alignment of the bone turns with features at other depths (0.3 degrees, from
/// simulated films, docs/accuracy.md), the axes do not, but need a long piece of shaft.
Tilt tilt_change(const PairEvidence& e, double by_alignment_deg,
                 const std::optional<LandmarkOpinion>& by_axes) {
  constexpr double kTurnOfFeatures = 0.3;
  const double u_alignment =
      sum_of_squares({std::sqrt(e.bone.covariance(2, 2)) / kDegree,
                      std::sqrt(e.stem.alignment.covariance(2, 2)) / kDegree, kTurnOfFeatures});
  const double lean = lean_u(e.pose);
  const bool both = e.reference.femur.shaft_axis && e.follow_up.femur.shaft_axis;
  if (!both || !by_axes) return {by_alignment_deg, sum_of_squares({u_alignment, lean}), 0.0};
  const double u_axes =
      std::sqrt(std::max(1e-6, std::pow(by_axes->tilt_change.u.value, 2) - lean * lean));
  const double a = 1.0 / (u_alignment * u_alignment);
  const double b = 1.0 / (u_axes * u_axes);
  const double mean = (a * by_alignment_deg + b * by_axes->tilt_change.value.value) / (a + b);
  // Two opinions that contradict each other make the mean less certain than either claims.
  const double apart = std::abs(by_alignment_deg - by_axes->tilt_change.value.value);
  const double ratio = apart / std::hypot(u_alignment, u_axes);
  return {mean, sum_of_squares({std::max(1.0, ratio) / std::sqrt(a + b), lean}), ratio};
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
  const Line2& a = e.reference.femur.shaft_axis->line_px;
  const Line2& b = e.follow_up.femur.shaft_axis->line_px;
  const double ka = e.reference.scale.value.value;
  const double kb = e.follow_up.scale.value.value;
  const Rigid2& motion = e.bone.moving_from_fixed_mm;
  const double turn = angle_between(motion.rotation() * a.direction, b.direction) / kDegree;
  const double across = signed_distance({kb * b.point, b.direction}, motion.apply(ka * a.point));
  if (std::abs(turn) > kTurn || std::abs(across) > kAcross) {
    return "the alignment of the bone does not carry one shaft onto the other";
  }
  return std::nullopt;
}

void judge(const PairEvidence& e, double apart_in_tilt, Migration& m) {
  if (!e.reference.femur.shaft_axis) {
    m.flags.push_back(
        {"shaft_axis_missing",
         "The shaft axis of the reference film is not seen; the stem's axis stands in for it."});
  }
  if (e.bone.runner_up > 0.95) {
    m.flags.push_back({"bone_alignment_ambiguous",
                       "Another position of the bone explains the two films nearly as well."});
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
  if (apart_in_tilt > 2.5) {
    m.flags.push_back(
        {"axes_disagree",
         "The axes of stem and shaft give another tilt change than the alignment of the bone."});
  }
}

bool has_flag(const Migration& m, const std::string& id) {
  return std::any_of(m.flags.begin(), m.flags.end(), [&](const Flag& f) { return f.id == id; });
}

/// Did the bone slide into another position? The trochanters may err by a few millimetres
/// themselves; a bone that slid errs by more.
bool contradicted(const Migration& m) {
  constexpr double kSlid = 5.0;  // mm, house choice
  if (!m.by_landmarks || !has_flag(m, "bone_alignment_ambiguous")) return false;
  return std::abs(m.by_landmarks->subsidence.value.value - m.subsidence.value.value) > kSlid;
}

Measured<Millimetres> mm(double value, double u) {
  return measured(Millimetres{value}, Millimetres{u});
}

/// The medial shift of the reference point with its uncertainty.
Measured<Millimetres> medial_shift(const PairEvidence& e, const AnatomicalFrame& frame,
                                   double shift_mm) {
  const auto across = [&](const Eigen::Matrix3d& covariance) {
    return std::sqrt(frame.medial.dot(covariance.topLeftCorner<2, 2>() * frame.medial));
  };
  // The outlines of the bone and the stem's axis lie within some 4 mm of one depth (house choice).
  const double u_pose_across = e.pose.rotation.value * kDegree * 4.0;
  // An alignment's angle acts on the reference point by the distance from the region's centre.
  const auto swing = [&](const alignment::Alignment& a) {
    return frame.of(a.centre_mm).y() * std::sqrt(a.covariance(2, 2));
  };
  return mm(shift_mm,
            sum_of_squares({across(e.bone.covariance), across(e.stem.alignment.covariance),
                            u_pose_across, swing(e.bone), swing(e.stem.alignment)}));
}

/// What each feature says on its own, with all that its depth and the pose leave open.
std::vector<FeatureSubsidence> alone(const VoteTable& t, const PoseModel& pose) {
  std::vector<FeatureSubsidence> out;
  for (Eigen::Index i = 0; i < t.y.size(); ++i) {
    const auto row = static_cast<std::size_t>(i);
    const double own =
        std::sqrt(t.variance(i) + std::pow(pose.flexion.value * kDegree, 2) *
                                      (std::pow(t.depth(i), 2) + std::pow(t.depth_sd(i), 2)));
    out.push_back({t.name[row], t.position[row], mm(t.y(i), own)});
  }
  return out;
}

}  // namespace

Depth depth_of(const std::string& feature) {
  if (feature == kGreaterTrochanter) return {4.0, 6.0};
  if (feature == kLesserTrochanter) return {13.0, 6.0};
  if (feature == kCalcar) return {1.0, 6.0};
  if (feature == kMetaphysis) return {1.0, 5.0};
  if (feature == kShaft) return {0.0, 4.0};
  return {5.0, 8.0};
}

FlexionChange flexion_change(const PoseModel& pose,
                             const std::optional<Measured<Millimetres>>& head_lead,
                             double head_offset_mm) {
  const double prior = pose.flexion.value * kDegree;
  if (!head_lead) return {0.0, prior};
  const double h = head_offset_mm * std::tan(pose.anteversion.value * kDegree);
  const double h_sd = head_offset_mm * std::tan(pose.anteversion_spread.value * kDegree);
  double sum = 0.0;
  double first = 0.0;
  double second = 0.0;
  constexpr int kSteps = 400;
  for (int i = -kSteps; i <= kSteps; ++i) {
    const double phi = 5.0 * prior * i / kSteps;
    const double variance = std::pow(head_lead->u.value, 2) + std::pow(phi * h_sd, 2);
    const double miss = head_lead->value.value - phi * h;
    const double weight = std::exp(-0.5 * (phi * phi / (prior * prior) + miss * miss / variance)) /
                          std::sqrt(variance);
    sum += weight;
    first += weight * phi;
    second += weight * phi * phi;
  }
  const double mean = first / sum;
  return {mean, std::sqrt(std::max(0.0, second / sum - mean * mean))};
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
  const AnatomicalFrame frame = anatomical_frame(e.reference);
  const Rigid2 motion = relative_motion(e);
  const double k = e.reference.scale.value.value;
  const auto displaced = [&](const Vec2& p_mm) { return Vec2(motion.apply(p_mm) - p_mm); };
  const double rigid = displaced(frame.origin).dot(frame.distal);
  const VoteTable table = vote_table(e, frame, rigid);
  const double head_offset = frame.of(k * e.reference.implant.head.circle_px.centre).x();
  const FlexionChange flexion = flexion_change(e.pose, e.stem.head_lead, head_offset);
  const auto voted = combine_votes(table, e, flexion);
  const Combination c = voted ? *voted : rigid_only(e, frame, rigid);

  const double u_stem =
      std::sqrt(frame.distal.dot(e.stem.alignment.covariance.topLeftCorner<2, 2>() * frame.distal));
  // The shoulder's rim is seen on its front or on its back edge, whichever stands higher: half the
  // stem's thickness, taken as uniform, is the lever of flexion on it.
  constexpr double kShoulderDepth = 4.0 / 1.7320508;  // mm
  const double u_shoulder = e.pose.flexion.value * kDegree * kShoulderDepth;
  Migration m;
  m.by_landmarks = opinion_by_landmarks(e.reference, e.follow_up, e.pose);
  const Tilt tilt = tilt_change(e, motion.angle_rad / kDegree, m.by_landmarks);
  const double u_tilt_deg = tilt.u;
  const double u = sum_of_squares({c.u, u_stem, u_shoulder});
  m.subsidence = mm(c.subsidence, u);
  m.budget = {{"bone alignment", {c.u_bone}},
              {"out-of-plane pose", {sum_of_squares({c.u_pose, u_shoulder})}},
              {"stem alignment", {u_stem}},
              {"calibration", {c.u_scale}}};
  const auto at = [&](const Vec2& p_px) {
    const Vec2 p = k * p_px;
    const double lever = frame.of(p).x();
    return mm(c.subsidence - rigid + displaced(p).dot(frame.distal),
              sum_of_squares({u, lever * u_tilt_deg * kDegree}));
  };
  m.subsidence_at_head_centre = at(e.reference.implant.head.circle_px.centre);
  m.subsidence_at_shoulder = at(e.reference.implant.shoulder.px);
  m.subsidence_at_tip = at(e.reference.implant.tip.px);
  m.medial = medial_shift(e, frame, displaced(frame.origin).dot(frame.medial));
  m.tilt_change = measured(Degrees{tilt.value}, Degrees{tilt.u});
  m.features = alone(table, e.pose);
  m.follow_up_from_reference_bone_mm = e.bone.moving_from_fixed_mm;
  m.follow_up_from_reference_stem_mm = e.stem.alignment.moving_from_fixed_mm;
  judge(e, tilt.apart, m);
  if (contradicted(m)) {
    return fail(
        ErrorKind::kCannotTell, "comparison",
        "the bone matches in more than one position and the trochanters contradict the best",
        "mark both trochanters by hand, or use films in a more alike pose");
  }
  return m;
}

}  // namespace tidemark::migration
