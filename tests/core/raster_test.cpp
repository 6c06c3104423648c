#include "tidemark/core/raster.h"

#include <gtest/gtest.h>

namespace tidemark {
namespace {

TEST(Raster, StandsRowByRow) {
  Raster image(3, 2, 1.0F);
  image.at(2, 1) = 7.0F;
  EXPECT_EQ(image.values.size(), 6U);
  EXPECT_EQ(image.values[5], 7.0F);
  EXPECT_EQ(image.values[4], 1.0F);
}

TEST(Raster, ContainsItsPixelsAndNoOthers) {
  const Mask mask(3, 2);
  EXPECT_TRUE(mask.contains(0, 0) && mask.contains(2, 1));
  EXPECT_FALSE(mask.contains(3, 0) || mask.contains(0, 2) || mask.contains(-1, 0) ||
               mask.contains(0, -1));
  EXPECT_TRUE(Raster{}.empty());
  EXPECT_FALSE(mask.empty());
}

}  // namespace
}  // namespace tidemark
