#include "tidemark/core/units.h"

#include <gtest/gtest.h>

#include <type_traits>

namespace tidemark {
namespace {

// What must not compile stands in tests/must_not_compile.
TEST(Quantity, CountsInItsOwnUnit) {
  constexpr Millimetres kSum = Millimetres{3.0} + Millimetres{1.5} - Millimetres{0.5};
  static_assert(kSum == Millimetres{4.0});
  static_assert(-kSum < Millimetres{0.0});
  static_assert(2.0 * kSum == Millimetres{8.0});
  static_assert(std::is_same_v<decltype(kSum / kSum), double>);
  EXPECT_DOUBLE_EQ(kSum / Millimetres{8.0}, 0.5);
  EXPECT_EQ(Degrees{}.value, 0.0);
}

TEST(Quantity, CostsNoMoreThanADouble) {
  static_assert(sizeof(Millimetres) == sizeof(double));
  static_assert(std::is_trivially_copyable_v<Measured<Degrees>>);
}

}  // namespace
}  // namespace tidemark
