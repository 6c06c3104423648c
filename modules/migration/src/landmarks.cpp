#include <cmath>
#include <numbers>

#include "frame.h"
#include "tidemark/core/least_squares.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/migration/derive.h"
#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

struct LevelVote {
  std::string feature;
  Vec2 position_mm;
  double subsidence = 0.0;
  double variance = 0.0;
};

/// How much less far proximal of the stem a bony point lies on the follow-up: subsidence as that
/// point sees it.
void add_vote(const char* name, const std::optional<anatomy::Landmark>& before,
              const std::optional<anatomy::Landmark>& after, const MeasuredFilm& reference,
              const MeasuredFilm& follow_up, std::vector<LevelVote>& votes) {
  if (!before || !after) return;
  const double ka = reference.scale.value.value;
  const double kb = follow_up.scale.value.value;
  const Vec2 a = anatomical_frame(reference).of(ka * before->px);
  const Vec2 b = anatomical_frame(follow_up).of(kb * after->px);
  const double u_stem =
      std::hypot(ka * reference.implant.shoulder.u_px, kb * follow_up.implant.shoulder.u_px);
  LevelVote vote{name, a, a.y() - b.y(), 0.0};
  vote.variance = std::pow(ka * before->u_px, 2) + std::pow(kb * after->u_px, 2) + u_stem * u_stem;
  votes.push_back(vote);
}

double shaft_u_deg(const MeasuredFilm& film) {
  return film.femur.shaft_axis ? film.femur.shaft_axis->direction_u.value : 3.0;
}

double tilt_deg(const MeasuredFilm& film, const AnatomicalFrame& frame) {
  return angle_between(frame.distal, film.implant.axis.line_px.direction) / kDegree;
}

Measured<Degrees> by_axes(const MeasuredFilm& reference, const MeasuredFilm& follow_up,
                          const PoseModel& pose) {
  const double tilt = tilt_deg(follow_up, anatomical_frame(follow_up)) -
                      tilt_deg(reference, anatomical_frame(reference));
  const double u =
      std::sqrt(std::pow(shaft_u_deg(reference), 2) + std::pow(shaft_u_deg(follow_up), 2) +
                std::pow(reference.implant.axis.direction_u.value, 2) +
                std::pow(follow_up.implant.axis.direction_u.value, 2) +
                std::pow(pose.rotation.value * kDegree * pose.sagittal_lean.value, 2));
  return measured(Degrees{tilt}, Degrees{u});
}

}  // namespace

std::optional<Measured<Degrees>> tilt_by_axes(const MeasuredFilm& reference,
                                              const MeasuredFilm& follow_up,
                                              const PoseModel& pose) {
  if (!reference.femur.shaft_axis || !follow_up.femur.shaft_axis) return std::nullopt;
  return by_axes(reference, follow_up, pose);
}

AnatomicalFrame anatomical_frame(const MeasuredFilm& film) {
  AnatomicalFrame f;
  f.origin = film.scale.value.value * film.implant.reference_px;
  f.distal = film.femur.shaft_axis ? film.femur.shaft_axis->line_px.direction
                                   : film.implant.axis.line_px.direction;
  f.medial = Vec2(f.distal.y(), -f.distal.x());
  return f;
}

std::optional<LandmarkOpinion> opinion_by_landmarks(const MeasuredFilm& reference,
                                                    const MeasuredFilm& follow_up,
                                                    const PoseModel& pose, double scale_ratio_u) {
  std::vector<LevelVote> votes;
  add_vote(kGreaterTrochanter, reference.femur.greater_trochanter,
           follow_up.femur.greater_trochanter, reference, follow_up, votes);
  add_vote(kLesserTrochanter, reference.femur.lesser_trochanter, follow_up.femur.lesser_trochanter,
           reference, follow_up, votes);
  if (votes.empty()) return std::nullopt;
  const auto n = static_cast<Eigen::Index>(votes.size());
  const double flexion = pose.flexion.value * kDegree;
  Eigen::VectorXd y(n);
  Eigen::MatrixXd v = Eigen::MatrixXd::Zero(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const LevelVote& vote = votes[static_cast<std::size_t>(i)];
    y(i) = vote.subsidence;
    v(i, i) += vote.variance + std::pow(flexion * depth_of(vote.feature).sd_mm, 2);
    for (Eigen::Index j = 0; j < n; ++j) {
      v(i, j) += flexion * flexion * depth_of(vote.feature).mean_mm *
                     depth_of(votes[static_cast<std::size_t>(j)].feature).mean_mm +
                 scale_ratio_u * scale_ratio_u * vote.position_mm.y() *
                     votes[static_cast<std::size_t>(j)].position_mm.y();
    }
  }
  const auto fit = gls(Eigen::MatrixXd::Ones(n, 1), y, v);
  if (!fit) return std::nullopt;
  LandmarkOpinion out;
  // Votes that contradict one another say that their own uncertainty was too small.
  const double inflate = std::max(1.0, fit->degrees_of_freedom > 0 ? birge_ratio(*fit) : 1.0);
  out.subsidence = measured(Millimetres{fit->estimate(0)},
                            Millimetres{inflate * std::sqrt(fit->covariance(0, 0))});
  for (Eigen::Index i = 0; i < n; ++i) {
    const LevelVote& vote = votes[static_cast<std::size_t>(i)];
    out.features.push_back(
        {vote.feature, vote.position_mm,
         measured(Millimetres{vote.subsidence}, Millimetres{std::sqrt(v(i, i))})});
  }
  out.tilt_change = by_axes(reference, follow_up, pose);
  return out;
}

}  // namespace tidemark::migration
