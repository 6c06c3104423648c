#include "../../modules/anatomy/src/flank_bumps.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace tidemark::anatomy {
namespace {

constexpr double kPitch = 0.25;  // mm per px
constexpr int kMiddle = 150;     // column of the axis on drawn films

/// Both flanks of a tapered stem 130 mm long, the medial one curving out proximally, with a bump of
/// `height` mm from `from` to `to` mm below the shoulder on the medial flank; px, shoulder at 0.
Polyline stem_with_bump(double height, double from, double to) {
  Polyline outline;
  const auto half_width = [](double s) { return 9.0 - 0.035 * s; };
  for (int i = 0; i <= 260; ++i) outline.emplace_back(-half_width(0.5 * i), 0.5 * i);
  for (int i = 260; i >= 0; --i) {
    const double s = 0.5 * i;
    const double curve = s < 60.0 ? 0.004 * (60.0 - s) * (60.0 - s) : 0.0;
    const double bump = s > from && s < to ? height : 0.0;
    outline.emplace_back(half_width(s) + curve + bump, s);
  }
  for (Vec2& p : outline) p /= kPitch;
  return outline;
}

Polyline cut(const Polyline& outline) {
  return without_bumps(outline, {Vec2::Zero(), Vec2::UnitY()}, 0.0, kPitch);
}

double farthest_apart_mm(const Polyline& a, const Polyline& b) {
  double worst = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) worst = std::max(worst, (a[i] - b[i]).norm());
  return worst * kPitch;
}

TEST(WithoutBumps, CutsALeakIntoTheCalcar) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  const Polyline leaking = stem_with_bump(6.0, 30.0, 48.0);
  ASSERT_GT(farthest_apart_mm(leaking, clean), 5.9);
  EXPECT_LT(farthest_apart_mm(cut(leaking), clean), 0.6);  // bridged by a straight line
}

// A lead letter that touches the stem: as bright as metal, and its outline slopes. With its
// foot 1.5 mm high the flank above it seemed to draw in, as above the stem's own corner.
TEST(WithoutBumps, CutsABumpWhoseEndsSlope) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  Polyline marked = clean;
  for (Vec2& p : marked) {
    const double t = (p.y() * kPitch - 77.0) / 7.0;
    if (p.x() > 0.0 && std::abs(t) < 1.0) p.x() += 5.0 * (1.0 - std::abs(t)) / kPitch;
  }
  ASSERT_GT(farthest_apart_mm(marked, clean), 4.5);
  EXPECT_LT(farthest_apart_mm(cut(marked), clean), 0.8);  // a level of the slope may stay
}

TEST(WithoutBumps, LeavesACleanStemAsItIs) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  EXPECT_EQ(cut(clean), clean);
}

TEST(WithoutBumps, LeavesACollar) {
  const Polyline high = stem_with_bump(5.0, 10.0, 18.0);
  EXPECT_EQ(cut(high), high);
  const Polyline low = stem_with_bump(5.0, 30.0, 34.0);
  EXPECT_EQ(cut(low), low);
}

// Guards the medial corner of a stem whose neck is cut low: above it the outline draws in.
TEST(WithoutBumps, LeavesTheMedialCorner) {
  Polyline corner = stem_with_bump(0.0, 0.0, 0.0);
  for (Vec2& p : corner) {
    const double above = 19.0 - p.y() * kPitch;
    if (p.x() > 0.0 && above > 0.0) p.x() -= above / kPitch;
  }
  EXPECT_EQ(cut(corner), corner);
}

// The same of a stem whose shoulder stands high above it: 30 mm below the shoulder.
TEST(WithoutBumps, LeavesTheMedialCornerBelowAHighShoulder) {
  Polyline corner = stem_with_bump(0.0, 0.0, 0.0);
  for (Vec2& p : corner) {
    const double above = 36.0 - p.y() * kPitch;
    if (p.x() > 0.0 && above > 0.0) p.x() -= std::min(above, 14.0) / kPitch;
  }
  EXPECT_EQ(cut(corner), corner);
}

TEST(WithoutBumps, LeavesAStepThatStays) {
  const Polyline step = stem_with_bump(2.0, -1.0, 70.0);
  EXPECT_EQ(cut(step), step);
}

/// A film of such a stem: metal of grey 1 between the clean flanks, and what fills the bump.
cv::Mat1f film_of(double height, double from, double to, float bump) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  const Polyline with = stem_with_bump(height, from, to);
  cv::Mat1f film(600, 300, 0.2F);
  const auto fill = [&](const Polyline& ring, float grey) {
    std::vector<cv::Point> points;
    for (const Vec2& p : ring) {
      points.emplace_back(static_cast<int>(std::lround(p.x())) + kMiddle,
                          static_cast<int>(std::lround(p.y())));
    }
    cv::fillPoly(film, std::vector<std::vector<cv::Point>>{points}, cv::Scalar(grey));
  };
  fill(with, bump);
  fill(clean, 1.0F);
  return film;
}

Polyline sealed(const cv::Mat1f& film, Polyline outline) {
  for (Vec2& p : outline) p.x() += kMiddle;
  const Line2 axis{Vec2(kMiddle, 0.0), Vec2::UnitY()};
  Polyline out = without_leaks(film, outline, axis, 0.0, kPitch);
  for (Vec2& p : out) p.x() -= kMiddle;
  return out;
}

// As long as a collar, so that only the greys tell.
TEST(WithoutLeaks, CutsAShortLeakThatIsDarkerThanMetal) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  const Polyline leaking = stem_with_bump(5.0, 38.0, 44.0);
  ASSERT_EQ(cut(leaking), leaking);
  EXPECT_LT(farthest_apart_mm(sealed(film_of(5.0, 38.0, 44.0, 0.65F), leaking), clean), 0.6);
}

TEST(WithoutLeaks, LeavesWhatIsMetal) {
  const Polyline collar = stem_with_bump(5.0, 38.0, 44.0);
  EXPECT_LT(farthest_apart_mm(sealed(film_of(5.0, 38.0, 44.0, 0.95F), collar), collar), 1e-6);
}

TEST(WithoutLeaks, LeavesACleanStemAndItsTip) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  EXPECT_LT(farthest_apart_mm(sealed(film_of(0.0, 0.0, 0.0, 1.0F), clean), clean), 1e-6);
}

// Grain of a tenth of metal's step: tips were cut off by it.
TEST(WithoutLeaks, LeavesARoundTipOnAGrainyFilm) {
  Polyline round = stem_with_bump(0.0, 0.0, 0.0);
  const auto is_end = [](const Vec2& p) { return p.y() * kPitch > 125.0; };
  for (Vec2& p : round) {
    const double beyond = p.y() * kPitch - 125.0;
    if (is_end(p)) p.x() *= std::sqrt(std::max(0.0, 1.0 - beyond * beyond / 25.0));
  }
  cv::Mat1f film = film_of(0.0, 0.0, 0.0, 1.0F);
  cv::Mat1f grain(film.size());
  cv::theRNG().state = 7;
  cv::randn(grain, 0.0, 0.1);
  film += grain;
  EXPECT_LT(farthest_apart_mm(sealed(film, round), round), 1e-6);
}

}  // namespace
}  // namespace tidemark::anatomy
