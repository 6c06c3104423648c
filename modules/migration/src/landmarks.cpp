#include <array>
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
  double variance = 0.0;  ///< of the point itself; what the stem adds is common to all votes
};

/// A film with the frame in which its landmarks are read.
struct InFrame {
  const MeasuredFilm& film;
  AnatomicalFrame frame;
  double direction_u_rad = 0.0;  ///< of the axis that the frame lies along

  [[nodiscard]] double scale() const { return film.scale.value.value; }
  [[nodiscard]] double stem_u() const { return scale() * film.implant.shoulder.u_px; }
};

/// Along the shaft on both films, or along the stem on both: levels along two unlike axes differ by
/// the tilt times the distance beside the stem.
std::array<InFrame, 2> in_one_frame(const MeasuredFilm& reference, const MeasuredFilm& follow_up) {
  const bool shafts = reference.femur.shaft_axis && follow_up.femur.shaft_axis;
  const auto seen = [&](const MeasuredFilm& film) {
    return InFrame{
        film, shafts ? anatomical_frame(film) : frame_along_stem(film),
        kDegree *
            (shafts ? film.femur.shaft_axis->direction_u : film.implant.axis.direction_u).value};
  };
  return {seen(reference), seen(follow_up)};
}

/// How much less far proximal of the stem a bony point lies on the follow-up: subsidence as that
/// point sees it.
void add_vote(const char* name, const std::optional<anatomy::Landmark>& before,
              const std::optional<anatomy::Landmark>& after, const std::array<InFrame, 2>& films,
              std::vector<LevelVote>& votes) {
  if (!before || !after) return;
  const auto& [reference, follow_up] = films;
  const Vec2 a = reference.frame.of(reference.scale() * before->px);
  const Vec2 b = follow_up.frame.of(follow_up.scale() * after->px);
  votes.push_back({name, a, a.y() - b.y(),
                   std::pow(reference.scale() * before->u_px, 2) +
                       std::pow(follow_up.scale() * after->u_px, 2)});
}

double tilt_deg(const MeasuredFilm& film, const AnatomicalFrame& frame) {
  return angle_between(frame.distal, film.implant.axis.line_px.direction) / kDegree;
}

AnatomicalFrame frame_along(const MeasuredFilm& film, const Line2& axis_px) {
  AnatomicalFrame f;
  f.origin = film.scale.value.value * film.implant.reference_px;
  f.distal = axis_px.direction;
  f.medial = Vec2(f.distal.y(), -f.distal.x());
  return f;
}

}  // namespace

std::optional<Measured<Degrees>> tilt_by_axes(const MeasuredFilm& reference,
                                              const MeasuredFilm& follow_up,
                                              const PoseModel& pose) {
  if (!reference.femur.shaft_axis || !follow_up.femur.shaft_axis) return std::nullopt;
  const double tilt = tilt_deg(follow_up, anatomical_frame(follow_up)) -
                      tilt_deg(reference, anatomical_frame(reference));
  const double u = std::sqrt(
      std::pow(reference.femur.shaft_axis->direction_u.value, 2) +
      std::pow(follow_up.femur.shaft_axis->direction_u.value, 2) +
      std::pow(reference.implant.axis.direction_u.value, 2) +
      std::pow(follow_up.implant.axis.direction_u.value, 2) +
      std::pow(pose.rotation.value * kDegree, 2) *
          (std::pow(pose.sagittal_lean.value, 2) + std::pow(pose.sagittal_lean_u.value, 2)));
  return measured(Degrees{tilt}, Degrees{u});
}

AnatomicalFrame anatomical_frame(const MeasuredFilm& film) {
  const auto& shaft = film.femur.shaft_axis;
  return frame_along(film, shaft ? shaft->line_px : film.implant.axis.line_px);
}

AnatomicalFrame frame_along_stem(const MeasuredFilm& film) {
  return frame_along(film, film.implant.axis.line_px);
}

std::optional<LandmarkOpinion> opinion_by_landmarks(const MeasuredFilm& reference,
                                                    const MeasuredFilm& follow_up,
                                                    const PoseModel& pose, double scale_ratio_u) {
  const auto films = in_one_frame(reference, follow_up);
  std::vector<LevelVote> votes;
  add_vote(kGreaterTrochanter, reference.femur.greater_trochanter,
           follow_up.femur.greater_trochanter, films, votes);
  add_vote(kLesserTrochanter, reference.femur.lesser_trochanter, follow_up.femur.lesser_trochanter,
           films, votes);
  if (votes.empty()) return std::nullopt;
  const auto n = static_cast<Eigen::Index>(votes.size());
  const double flexion = pose.flexion.value * kDegree;
  Eigen::VectorXd y(n);
  // What turns a frame moves a point up or down by its distance beside the stem.
  const double turn_u = std::hypot(films[0].direction_u_rad, films[1].direction_u_rad);
  // Both trochanters are told against one shoulder.
  const double of_stem = std::pow(films[0].stem_u(), 2) + std::pow(films[1].stem_u(), 2);
  Eigen::MatrixXd v = Eigen::MatrixXd::Constant(n, n, of_stem);
  for (Eigen::Index i = 0; i < n; ++i) {
    const LevelVote& vote = votes[static_cast<std::size_t>(i)];
    y(i) = vote.subsidence;
    v(i, i) += vote.variance + std::pow(flexion * depth_of(vote.feature).sd_mm, 2);
    for (Eigen::Index j = 0; j < n; ++j) {
      const LevelVote& other = votes[static_cast<std::size_t>(j)];
      v(i, j) +=
          flexion * flexion * depth_of(vote.feature).mean_mm * depth_of(other.feature).mean_mm +
          scale_ratio_u * scale_ratio_u * vote.position_mm.y() * other.position_mm.y() +
          turn_u * turn_u * vote.position_mm.x() * other.position_mm.x();
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
  out.tilt_change = tilt_by_axes(reference, follow_up, pose);
  return out;
}

}  // namespace tidemark::migration
