#include "../../modules/lucency/src/doubt.h"

#include <gtest/gtest.h>

#include <algorithm>
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

/// Places that speak as loudly against every width.
std::vector<PlaceEvidence> against(std::size_t places, double log_odds) {
  PlaceEvidence one;
  one.log_odds.assign(line_widths().size(), log_odds);
  return std::vector<PlaceEvidence>(places, one);
}

std::vector<double> open_tip(const std::vector<PlaceEvidence>& evidence) {
  std::vector<PlaceBelief> beliefs(evidence.size(), believed(0.0));
  const std::vector<std::size_t> tip{2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13};
  doubt_by_weak_evidence(beliefs, evidence, tip);
  std::vector<double> out;
  for (const PlaceBelief& b : beliefs) out.push_back(b.near_wall);
  return out;
}

constexpr std::size_t kTipPlaces = 16;

TEST(Doubt, ATipOfWhichTheFilmSaysNothingIsOpen) {
  const std::vector<double> all(kTipPlaces, 0.0);
  EXPECT_EQ(open_tip(against(kTipPlaces, -2.0)), all) << "the film speaks against a line";
  std::vector<double> tip(kTipPlaces, 0.0);
  std::fill(tip.begin() + 2, tip.begin() + 14, 1.0);
  EXPECT_EQ(open_tip(against(kTipPlaces, 0.0)), tip) << "and the flanks stay as they are";
}

// One width that is not excluded is enough; one place of nine is not.
TEST(Doubt, ATipIsOpenForOneWidthOverFourMillimetres) {
  std::vector<PlaceEvidence> evidence = against(kTipPlaces, -2.0);
  evidence[7].log_odds.assign(line_widths().size(), 5.0);
  EXPECT_EQ(open_tip(evidence)[7], 0.0) << "mean (8 (-2) + 5) / 9 = -1.2";
  evidence = against(kTipPlaces, -2.0);
  for (PlaceEvidence& place : evidence) place.log_odds[13] = 1.0;  // 1.5 mm
  EXPECT_EQ(open_tip(evidence)[7], 1.0);
  evidence = against(kTipPlaces, -2.0);
  for (PlaceEvidence& place : evidence) place.log_odds[45] = 1.0;  // 4.7 mm: not told
  EXPECT_EQ(open_tip(evidence)[7], 0.0);
}

}  // namespace
}  // namespace tidemark::lucency
