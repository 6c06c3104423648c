#include "../../modules/anatomy/src/confidence.h"

#include <gtest/gtest.h>

namespace tidemark::anatomy {
namespace {

constexpr double kUncertain = 0.6;  // below it a find is flagged implant_uncertain

// What right and wrong finds on simulated films show (confidence.h).
TEST(Confidence, RightFindsAreSure) { EXPECT_GT(confidence_of({3.8, 0.43, 0.07}), kUncertain); }

TEST(Confidence, EachPieceOfEvidenceAloneCanTakeItAway) {
  EXPECT_LT(confidence_of({3.3, 1.0, 0.02}), kUncertain);
  EXPECT_LT(confidence_of({4.5, 0.2, 0.02}), kUncertain);
  EXPECT_LT(confidence_of({4.5, 1.0, 0.40}), kUncertain);
}

TEST(Confidence, StaysBetweenNoneAndFull) {
  EXPECT_EQ(confidence_of({9.0, 9.0, 0.0}), 1.0);
  EXPECT_EQ(confidence_of({0.0, 1.0, 0.0}), 0.0);
}

// Right heads on lateral films, half hidden by their cup, scored 2.6 and 2.8 where rings of the
// pelvis, refused, scored 3.2 (simulated films, docs/lucency.md); frontal films keep their rule.
TEST(ScoreWanted, FromTheSideARefusalDoesNotEndTheSearch) {
  EXPECT_LT(score_wanted(LookFrom::kSide, true), 2.6);
  EXPECT_GT(score_wanted(LookFrom::kFront, true), 3.2);
  EXPECT_EQ(score_wanted(LookFrom::kFront, false), score_wanted(LookFrom::kSide, false));
}

}  // namespace
}  // namespace tidemark::anatomy
