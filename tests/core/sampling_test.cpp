#include "tidemark/core/sampling.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace tidemark {
namespace {

template <class F>
Raster image_of(int width, int height, F grey) {
  Raster image(width, height);
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) image.at(x, y) = static_cast<float>(grey(x, y));
  }
  return image;
}

// Multiples of 1/8 and small integers: exact in float, so the bounds below are those of double.
constexpr double kExact = 1e-12;

TEST(SampleLinear, IsExactOnAProductOfLinearFunctions) {
  const Raster image = image_of(9, 7, [](double x, double y) { return (2 * x - 3) * (y + 1); });
  for (double y = 0.0; y <= 6.0; y += 0.375) {
    for (double x = 0.0; x <= 8.0; x += 0.25) {
      ASSERT_NEAR(*sample_linear(image, {x, y}), (2 * x - 3) * (y + 1), kExact);
    }
  }
}

// Keys 1981: a = -1/2 reproduces quadratics, so value and gradient are those of the function.
TEST(SampleCubic, IsExactOnQuadraticsAwayFromTheBorder) {
  const auto grey = [](double x, double y) { return x * x - 2 * x * y + 3 * y * y - x + 5; };
  const Raster image = image_of(10, 10, grey);
  for (double y = 1.0; y <= 7.0; y += 0.375) {
    for (double x = 1.0; x <= 7.0; x += 0.25) {
      const auto sample = sample_cubic_with_gradient(image, {x, y});
      ASSERT_TRUE(sample.has_value());
      ASSERT_NEAR(sample->value, grey(x, y), 1e-11);
      ASSERT_NEAR(*sample_cubic(image, {x, y}), sample->value, kExact);
      ASSERT_NEAR(sample->gradient.x(), 2 * x - 2 * y - 1, 1e-11);
      ASSERT_NEAR(sample->gradient.y(), -2 * x + 6 * y, 1e-11);
    }
  }
}

// Keys 1981: the error falls with the third power of the step for smooth functions.
TEST(SampleCubic, ErrorFallsWithTheThirdPowerOfTheStep) {
  const auto worst = [](double step) {
    const Raster image = image_of(
        40, 40, [&](double x, double y) { return std::sin(step * x) * std::cos(step * y); });
    double error = 0.0;
    for (double x = 10.0; x < 25.0; x += 0.2) {
      error = std::max(error, std::abs(*sample_cubic(image, {x, 12.3}) -
                                       std::sin(step * x) * std::cos(step * 12.3)));
    }
    return error;
  };
  const double order = std::log2(worst(0.4) / worst(0.2));
  EXPECT_GT(order, 2.7);
}

TEST(SampleCubic, GradientIsTheDifferenceQuotient) {
  const Raster image =
      image_of(12, 12, [](int x, int y) { return (x * 7 + y * 13 + x * y * 5) % 11; });
  const double h = 1e-6;
  for (const Vec2& p : {Vec2(0.3, 0.4), Vec2(5.7, 6.1), Vec2(10.9, 10.2), Vec2(4.0 + h, 3.5)}) {
    const Vec2 gradient = sample_cubic_with_gradient(image, p)->gradient;
    const double dx = *sample_cubic(image, p + Vec2(h, 0)) - *sample_cubic(image, p - Vec2(h, 0));
    const double dy = *sample_cubic(image, p + Vec2(0, h)) - *sample_cubic(image, p - Vec2(0, h));
    EXPECT_NEAR(gradient.x(), dx / (2 * h), 2e-5);
    EXPECT_NEAR(gradient.y(), dy / (2 * h), 2e-5);
  }
}

TEST(Sampling, PixelCentresGiveThePixelsBordersIncluded) {
  const Raster image = image_of(5, 4, [](int x, int y) { return 10 * y + x; });
  for (int y = 0; y < 4; ++y) {
    for (int x = 0; x < 5; ++x) {
      EXPECT_NEAR(*sample_linear(image, Vec2(x, y)), 10 * y + x, kExact);
      EXPECT_NEAR(*sample_cubic(image, Vec2(x, y)), 10 * y + x, kExact);
    }
  }
}

TEST(Sampling, OutsideIsAbsent) {
  const Raster image(5, 4, 1.0F);
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const Vec2& p : {Vec2(-1e-9, 0), Vec2(0, -1e-9), Vec2(4.0001, 0), Vec2(0, 3.0001),
                        Vec2(nan, 1), Vec2(1, nan), Vec2(1e300, 0)}) {
    EXPECT_FALSE(sample_linear(image, p).has_value());
    EXPECT_FALSE(sample_cubic(image, p).has_value());
    EXPECT_FALSE(sample_cubic_with_gradient(image, p).has_value());
  }
  EXPECT_FALSE(sample_linear(Raster{}, {0, 0}).has_value());
}

TEST(Sampling, OnePixelIsAConstant) {
  const Raster image(1, 1, 7.0F);
  EXPECT_EQ(sample_linear(image, {0, 0}), 7.0);
  EXPECT_EQ(sample_cubic(image, {0, 0}), 7.0);
}

}  // namespace
}  // namespace tidemark
