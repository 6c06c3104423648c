#include "../../modules/anatomy/src/outer_rim.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {
namespace {

constexpr double kMm = 0.4;
constexpr int kRows = 330;
constexpr int kColumns = 120;
constexpr int kEdgeColumn = 60;  ///< the shaft's cortex ends here

/// A shaft of grey 1 in soft tissue of grey 0, its edge blurred as the frame's is, and what is to
/// be seen beyond it: `beyond(along, across)` in mm, from the outline's top down and from the edge
/// out.
template <class Beyond>
StemFrame frame_with(const Beyond& beyond) {
  StemFrame f;
  f.mm = kMm;
  f.image = cv::Mat1f(kRows, kColumns, 0.0F);
  f.metal = cv::Mat1b::zeros(kRows, kColumns);
  f.seen = cv::Mat1b(kRows, kColumns, 255);
  for (int r = 0; r < kRows; ++r) {
    for (int c = 0; c < kColumns; ++c) {
      const double across = (c - kEdgeColumn) * kMm;
      const double grain = 0.01 * ((31 * c + 17 * r) % 11 - 5) / 5.0;
      const double grey = across < 0.0 ? 1.0 : beyond(r * kMm, across);
      f.image(r, c) = static_cast<float>(grey + grain);
    }
  }
  cv::GaussianBlur(f.image, f.image, {}, 1.0);
  return f;
}

EdgePath along_shaft() {
  EdgePath path;
  path.column.assign(kRows, kEdgeColumn - 0.5);
  path.evidence.assign(kRows, 0.8);
  return path;
}

/// Height of a round trochanter 20 mm long and 7 mm high, 30 mm below the top.
double dome(double along) {
  const double t = (along - 30.0) / 10.0;
  return std::abs(t) < 1.0 ? 7.0 * std::sqrt(1.0 - t * t) : 0.0;
}

double height_mm(const EdgePath& path, double along) {
  return (path.column[static_cast<std::size_t>(along / kMm)] - kEdgeColumn + 0.5) * kMm;
}

// A dome of a fifth of the cortex's grey: its rim is where it is drawn, within a sample or two.
TEST(OuterRim, OfAFaintTrochanterIsTheOutline) {
  const StemFrame f =
      frame_with([](double along, double across) { return across < dome(along) ? 0.2 : 0.0; });
  const EdgePath path = with_outer_rim(f, along_shaft());
  for (const double along : {23.0, 27.0, 30.0, 34.0, 37.0}) {
    EXPECT_NEAR(height_mm(path, along), dome(along), 0.8) << along;
  }
  for (const double along : {10.0, 50.0, 80.0, 120.0}) {
    EXPECT_NEAR(height_mm(path, along), 0.0, 1e-9) << along;
  }
}

/// The path is given back as it was.
template <class Beyond>
void expect_no_rim(const Beyond& beyond, const char* what) {
  const EdgePath path = with_outer_rim(frame_with(beyond), along_shaft());
  EXPECT_EQ(path.column, along_shaft().column) << what;
}

// None of these ends as a trochanter does: a shaft alone; soft tissue that fades away; a muscle all
// along; another bone that goes on beyond; a step too short.
TEST(OuterRim, IsNotSeenWhereNoTrochanterStandsOut) {
  expect_no_rim([](double, double) { return 0.0; }, "a shaft alone");
  expect_no_rim(
      [](double along, double across) {
        return std::abs(along - 30.0) < 12.0 ? 0.3 * std::exp(-across / 5.0) : 0.0;
      },
      "soft tissue that fades");
  expect_no_rim([](double, double across) { return across < 6.0 ? 0.2 : 0.0; }, "a muscle");
  expect_no_rim([](double along, double) { return std::abs(along - 30.0) < 10.0 ? 0.4 : 0.0; },
                "another bone");
  expect_no_rim(
      [](double along, double across) {
        return std::abs(along - 30.0) < 1.5 && across < 5.0 ? 0.3 : 0.0;
      },
      "a short step");
}

// A wire's halo darkens the rows beside it, and what lies between stands out of them.
TEST(OuterRim, IsNotLookedForBesideMetal) {
  StemFrame f =
      frame_with([](double along, double across) { return across < dome(along) ? 0.2 : 0.0; });
  f.metal(cv::Rect(kEdgeColumn, static_cast<int>(38.0 / kMm), 10, 5)) = 255;
  EXPECT_EQ(with_outer_rim(f, along_shaft()).column, along_shaft().column);
}

}  // namespace
}  // namespace tidemark::anatomy
