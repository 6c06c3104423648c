#include "tidemark/core/expected.h"

#include <gtest/gtest.h>

namespace tidemark {
namespace {

Expected<int> half_of(int n) {
  if (n % 2 != 0) return fail(ErrorKind::kBadInput, "half", "odd number", "give an even one");
  return n / 2;
}

TEST(Expected, HoldsTheValueOrTheReason) {
  EXPECT_EQ(half_of(4), 2);
  const auto refused = half_of(3);
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(refused.error().sentence(), "half: odd number; give an even one");
}

TEST(Error, SentenceNeedsNoRemedy) {
  EXPECT_EQ((Error{ErrorKind::kCannotTell, "film", "no stem", ""}).sentence(), "film: no stem");
}

}  // namespace
}  // namespace tidemark
