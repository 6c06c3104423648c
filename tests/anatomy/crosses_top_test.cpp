#include "../../modules/anatomy/src/crosses_top.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace tidemark::anatomy {
namespace {

constexpr double kMmPerPx = 0.25;

/// How far inside of a bar of `width` about the film's middle, from `from` to `to` mm below its
/// upper end, a point lies, mm.
double in_bar(double x, double y, double width, double from, double to) {
  return std::min({0.5 * width - std::abs(x - 75.0), y - from, to - y});
}

double soft(double inside, double blur_mm) {
  return 0.5 * std::erfc(-inside / (blur_mm * std::sqrt(2.0)));
}

/// A film of 150 by 250 mm: a thigh of grey 300, a shaft of bone, in it a bar of grey `bright`
/// whose borders are as soft as said.
cv::Mat1f film_with(double bright, double from, double to, double blur_mm) {
  cv::Mat1f film(1000, 600);
  for (int y = 0; y < film.rows; ++y) {
    for (int x = 0; x < film.cols; ++x) {
      const double across = x * kMmPerPx;
      const double down = y * kMmPerPx;
      const double bone = soft(in_bar(across, down, 32.0, 30.0, 1e3), 1.0);
      const double bar = soft(in_bar(across, down, 14.0, from, to), blur_mm);
      film(y, x) = static_cast<float>(300.0 + 200.0 * bone * (1.0 - bar) + (bright - 300.0) * bar);
    }
  }
  return film;
}

bool crosses(const cv::Mat1f& film) {
  return stem_crosses_top(Pyramid(film), MillimetresPerPixel{kMmPerPx});
}

TEST(CrossesTop, TellsAStemWhoseHeadLiesAboveTheField) {
  EXPECT_TRUE(crosses(film_with(1500.0, -1e3, 140.0, 0.3)));
  EXPECT_TRUE(stem_crosses_top(Pyramid(film_with(1500.0, -1e3, 140.0, 0.3)), std::nullopt))
      << "without a scale";
}

TEST(CrossesTop, IsNotTheCaseOfAStemWithinTheField) {
  EXPECT_FALSE(crosses(film_with(1500.0, 20.0, 160.0, 0.3)));
}

TEST(CrossesTop, IsNotTheCaseOfALetterOrOfWhatIsAsSoftAsBone) {
  cv::Mat1f lettered = film_with(1500.0, 20.0, 160.0, 0.3);
  lettered(cv::Rect(20, 0, 48, 80)).setTo(1500.0F);  // 12 by 20 mm
  EXPECT_FALSE(crosses(lettered)) << "too short";
  EXPECT_FALSE(crosses(film_with(700.0, -1e3, 1e3, 4.0))) << "too soft";
  EXPECT_FALSE(crosses(cv::Mat1f(600, 600, 500.0F)));
}

}  // namespace
}  // namespace tidemark::anatomy
