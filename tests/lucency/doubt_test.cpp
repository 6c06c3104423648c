#include "../../modules/lucency/src/doubt.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace tidemark::lucency {
namespace {

PlaceBelief believed(double line, double width = 1.0) {
  PlaceBelief out;
  out.line = line;
  out.width = width;
  out.width_u = 0.05;
  return out;
}

double line_by_shapes(double box, double chord) {
  std::vector<PlaceBelief> beliefs{believed(box)};
  doubt_by_shape(beliefs, {believed(chord)});
  return beliefs.front().line;
}

// Said to have a line from 0.9 on, and none up to 0.1, of both shapes.
TEST(Doubt, WhatHoldsForOneShapeOnlyIsOpen) {
  EXPECT_EQ(line_by_shapes(0.95, 0.3), 0.5);
  EXPECT_EQ(line_by_shapes(0.3, 0.95), 0.5);
  EXPECT_EQ(line_by_shapes(0.05, 0.95), 0.5);
  EXPECT_EQ(line_by_shapes(0.05, 0.6), 0.5) << "more likely a line than none, as a chord";
  EXPECT_EQ(line_by_shapes(0.05, 0.4), 0.05);
  EXPECT_EQ(line_by_shapes(0.95, 0.95), 0.95);
}

TEST(Doubt, TheDifferenceOfBothShapesIsPartOfTheWidthsU) {
  std::vector<PlaceBelief> box{believed(0.95, 1.0)};
  doubt_by_shape(box, {believed(0.95, 1.4)});
  EXPECT_DOUBLE_EQ(box.front().width_u, std::hypot(0.05, 0.2));
}

TEST(Doubt, WhatHoldsForOneSettingOfTheHaloOnlyIsOpen) {
  const auto line = [](double settled, double learnt) {
    std::vector<PlaceBelief> beliefs{believed(settled)};
    doubt_by_halo(beliefs, {believed(learnt)});
    return beliefs.front().line;
  };
  EXPECT_EQ(line(0.95, 0.05), 0.5);
  EXPECT_EQ(line(0.05, 0.6), 0.5);
  EXPECT_EQ(line(0.95, 0.3), 0.95);
}

}  // namespace
}  // namespace tidemark::lucency
