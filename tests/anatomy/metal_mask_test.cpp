#include "../../modules/anatomy/src/metal_mask.h"

#include <gtest/gtest.h>

namespace tidemark::anatomy {
namespace {

constexpr double kMm = 0.4;
constexpr float kBeside = 1.0F;
constexpr float kMetal = 2.2F;
const cv::Size kFilm(300, 300);
const cv::Rect kStem(20, 40, 40, 220);

/// Soft tissue and a stem of its own metal, with an upright stripe 2.4 mm wide and 60 mm long of
/// `grey` well away from it.
cv::Mat1f film_with_stripe(float grey) {
  auto out = value_of<cv::Mat1f>(cv::Mat1f::ones(kFilm) * kBeside);
  out(kStem) = kMetal;
  out(cv::Rect(200, 80, 6, 150)) = grey;
  return out;
}

/// Share of the stripe that is taken for metal.
double masked(const cv::Mat1f& image) {
  cv::Mat1b stem = blank<cv::Mat1b>(kFilm);
  stem(kStem) = 255;
  const cv::Mat1b mask = foreign_metal(image, stem, kMm, kMetal - kBeside);
  return cv::countNonZero(mask(cv::Rect(200, 80, 6, 150))) / 900.0;
}

// A cable as bright as the stem.
TEST(ForeignMetal, TakesAStripeOfMetal) { EXPECT_DOUBLE_EQ(masked(film_with_stripe(kMetal)), 1.0); }

// The rim of a thin cortex after edge enhancement: less than metal's step, but for grain in places.
TEST(ForeignMetal, LeavesABrightCortexWithGrain) {
  cv::Mat1f image = film_with_stripe(kBeside + 0.5F * (kMetal - kBeside));
  EXPECT_DOUBLE_EQ(masked(image), 0.0);
  for (int y = 90; y < 220; y += 10) image(cv::Rect(202, y, 2, 2)) = kMetal;
  EXPECT_DOUBLE_EQ(masked(image), 0.0) << "6 % of it as bright as metal";
}

// A wire whose blur is as large as itself shows core in places only.
TEST(ForeignMetal, TakesASmallThingByLittleCore) {
  cv::Mat1f image = film_with_stripe(kBeside);
  image(cv::Rect(200, 80, 6, 30)) = kBeside + 0.5F * (kMetal - kBeside);
  image(cv::Rect(202, 90, 2, 2)) = kMetal;
  EXPECT_DOUBLE_EQ(masked(image), 180.0 / 900.0);
}

}  // namespace
}  // namespace tidemark::anatomy
