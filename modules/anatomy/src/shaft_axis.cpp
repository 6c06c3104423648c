#include "shaft_axis.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <numbers>
#include <span>
#include <vector>

#include "medial_bulge.h"
#include "tidemark/core/line_fit.h"
#include "tidemark/core/robust.h"

namespace tidemark::anatomy {
namespace {

double sum_of_squares(std::initializer_list<double> values) {
  double sum = 0.0;
  for (const double v : values) sum += v * v;
  return sum;
}

/// Middles (s, x), mm, where both cortices are edges.
Polyline middles(const StemFrame& f, const EdgePath& lateral, const EdgePath& medial,
                 const ShaftStretch& stretch) {
  constexpr double kEdge = 0.15;  // evidence; house choice
  Polyline mid;
  for (std::size_t i = 0; i < lateral.column.size(); ++i) {
    const int r = lateral.first_row + static_cast<int>(i);
    const int k = r - medial.first_row;
    if (k < 0 || k >= static_cast<int>(medial.column.size())) continue;
    const double s = f.s_at(r);
    if (s < stretch.from_s || s > stretch.to_s) continue;
    const auto m = static_cast<std::size_t>(k);
    if (lateral.evidence[i] < kEdge || medial.evidence[m] < kEdge) continue;
    mid.emplace_back(s, 0.5 * (f.x_at(lateral.column[i]) + f.x_at(medial.column[m])));
  }
  return mid;
}

struct Course {
  Polyline kept;
  double slope_at_middle = 0.0;  ///< dx/ds of the cubic half way between both ends
};

/// The middles that follow one smooth course, a cubic of s fitted robustly: a path that leaves a
/// cortex for a stretch is left out, while a bow keeps its ends, which a robust line would drop.
Course on_course(const Polyline& mid) {
  constexpr double kLeastWindowMm = 0.6;  // house choice
  const auto n = std::ssize(mid);
  const double middle = 0.5 * (mid.front().x() + mid.back().x());
  const double half = std::max(1e-9, 0.5 * (mid.back().x() - mid.front().x()));
  Eigen::MatrixXd a(n, 4);
  Eigen::VectorXd y(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Vec2& m = mid[static_cast<std::size_t>(i)];
    const double t = (m.x() - middle) / half;
    a.row(i) << 1.0, t, t * t, t * t * t;
    y(i) = m.y();
  }
  Eigen::VectorXd weight = Eigen::VectorXd::Ones(n);
  std::vector<double> off(mid.size());
  Eigen::Vector4d cubic = Eigen::Vector4d::Zero();
  for (int round = 0; round < 8; ++round) {
    const Eigen::MatrixXd weighted = weight.asDiagonal() * a;
    const Eigen::Matrix4d normal = a.transpose() * weighted;
    cubic = normal.ldlt().solve(weighted.transpose() * y);
    const Eigen::VectorXd e = (y - a * cubic).cwiseAbs();
    Eigen::VectorXd::Map(off.data(), n) = e;
    const double window =
        std::max(kLeastWindowMm, kTukeyTuning * kSigmaPerMad * median(off).value_or(0.0));
    weight = (1.0 - (e / window).array().square()).max(0.0).square();
  }
  Course course;
  course.slope_at_middle = cubic(1) / half;
  for (std::size_t i = 0; i < mid.size(); ++i) {
    if (weight(static_cast<Eigen::Index>(i)) > 0.0) course.kept.push_back(mid[i]);
  }
  return course;
}

/// dx/ds of a line in (s, x), and its standard uncertainty.
struct Slope {
  double value = 0.0;
  double u = 0.0;
};

Slope slope_of(const LineFit& fit, double mm) {
  constexpr double kRepeatMm = 8.0;  // a cortex undulates over this length; house choice
  return {fit.line.direction.y() / fit.line.direction.x(),
          fit.direction_u_rad * std::sqrt(kRepeatMm / mm)};
}

/// How fast the middle turns along s, 1/mm.
Slope bow_of(std::span<const Vec2> mid, double mm) {
  const std::size_t half = mid.size() / 2;
  const auto upper = fit_line(mid.first(half));
  const auto lower = fit_line(mid.last(half));
  if (!upper || !lower) return {};
  const double apart = lower->line.point.x() - upper->line.point.x();
  const Slope a = slope_of(*upper, mm);
  const Slope b = slope_of(*lower, mm);
  return {(b.value - a.value) / apart, std::hypot(a.u, b.u) / apart};
}

}  // namespace

std::optional<Shaft> fit_shaft(const StemFrame& f, const EdgePath& lateral, const EdgePath& medial,
                               const ShaftStretch& stretch) {
  constexpr double kLeastMm = 25.0;  // house choice
  // Both rims of a round shaft lie at one depth but for its tilt out of the film's plane; 0.02
  // degrees (house choice) stand for that and for the frame's own sampling.
  constexpr double kPerspectiveRad = 0.02 * std::numbers::pi / 180.0;
  for (const EdgePath* path : {&lateral, &medial}) {
    const int from = f.row(stretch.from_s) - path->first_row;
    const int to = f.row(stretch.to_s) - path->first_row;
    if (share_of_edge(*path, from, to) < kShareOfABone) return std::nullopt;
  }
  const Polyline all = middles(f, lateral, medial, stretch);
  if (static_cast<double>(all.size()) * f.mm < kLeastMm) return std::nullopt;
  const Course course = on_course(all);
  const Polyline& mid = course.kept;
  if (static_cast<double>(mid.size()) * f.mm < kLeastMm) return std::nullopt;
  const auto fit = fit_line(mid);
  if (!fit) return std::nullopt;
  const Slope seen = slope_of(*fit, f.mm);
  const Slope bow = bow_of(mid, f.mm);
  const double middle = 0.5 * (mid.front().x() + mid.back().x());
  const double carried = 0.5 * (stretch.from_s + stretch.to_s) - middle;
  const double slope = seen.value + bow.value * carried;
  Shaft shaft;
  shaft.line_px.point =
      f.to_film(middle, fit->line.point.y() + seen.value * (middle - fit->line.point.x()));
  shaft.line_px.direction = (f.distal + slope * f.medial).normalized();
  // Where the cubic's direction at the middle is not the line's, soft parts and metal have drawn
  // the edges off over lengths that scatter does not show: the half-width of a rectangle
  // (GUM 4.3.7).
  const double wave = (course.slope_at_middle - seen.value) / std::sqrt(3.0);
  const double place = bow.value * std::hypot(stretch.u_mm, 0.5 * carried);
  shaft.direction_u_rad =
      std::sqrt(sum_of_squares({seen.u, wave, place, bow.u * carried, kPerspectiveRad}));
  return shaft;
}

}  // namespace tidemark::anatomy
