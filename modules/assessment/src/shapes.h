#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "tidemark/assessment/course.h"

namespace tidemark::assessment {

// Bayesian comparison of shapes of a course, s(t) in mm, t in days from surgery, in four families
// that are as likely as one another before anything is measured; what stands within a family shares
// its weight evenly:
//
//   still       0
//   settling    a g(t)                g(t) = 1 - exp(-t / tau)
//   continuous  a g(t) + r h(t)       h(t) = (t - 91 d)+, from the end of the settling window
//               b sqrt(t / 2 years)   creep that slows
//   late        r (t - c)+            c anywhere from six months on
//               a g(t) + r (t - c)+   after settling
//               a g(t) + d [t > c]    a step
//
// a, r, b and d are distributed exponentially. The priors are house choices at published means: a
// and d 1.45 mm (mean and standard deviation of short stems are both about that: J Orthop Surg Res
// 2016, doi:10.1186/s13018-016-0363-4), r 1.2 mm/year (the rate of groups that did badly: J Bone
// Joint Surg Br 76-B (1994) 432-438), b what that is at two years, tau 30 days (six of seven parts
// within 8 weeks: Arch Orthop Trauma Surg 2021, doi:10.1007/s00402-021-03913-0). The normal
// likelihood holds the whole covariance of the comparisons. Creep, step and motion that begins late
// after settling were added because courses of these kinds were named wrongly without them
// (tests/accuracy/course).

/// What is fitted: subsidence since a film of day `reference_day`, and its covariance.
struct CourseData {
  double reference_day = 0.0;
  std::vector<double> days;
  Eigen::VectorXd subsidence;  ///< mm
  Eigen::MatrixXd covariance;  ///< mm^2
};

/// Motion that matters, mm: stems that did well moved by 0.40 (SD 0.32) mm from three months to
/// five years (Acta Orthop 2020, doi:10.1080/17453674.2020.1732749); mean and two SD (derived).
inline constexpr double kRelevantMm = 1.0;
/// Early is up to here, days: six months (working test after Krismer et al., J Bone Joint Surg Br
/// 81-B (1999) 273-280; the limit is a house choice).
inline constexpr double kEarlyDays = 182.0;

/// What the data say of the shapes.
struct ShapeFit {
  /// Of kSettled, kContinuous, kLate, kStable: moved by more than kRelevantMm early or not, late or
  /// not, whatever the shape that made it.
  std::array<double, 4> probabilities{};
  double early_mm = 0.0;   ///< posterior mean of the motion up to kEarlyDays
  double late_mm = 0.0;    ///< and after it, up to the last film
  double best_chi2 = 0.0;  ///< the smallest on the grid
  std::vector<CourseBand> band;
};

/// Integrates over the parameters on a grid. Needs at least one comparison and a covariance that is
/// positive definite; asserts otherwise.
[[nodiscard]] ShapeFit compare_shapes(const CourseData& data);

}  // namespace tidemark::assessment
