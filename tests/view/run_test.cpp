#include "tidemark/view/run.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <string>

namespace tidemark::view {
namespace {

// `tidemark-review "$DIR"` where DIR is not set; docs/cli.md: 2 is wrong usage.
TEST(Run, SaysThatAnEmptyWordIsNoFolder) {
  std::string name = "tidemark-review";
  std::string empty;
  std::array<char*, 3> words{name.data(), empty.data(), nullptr};
  testing::internal::CaptureStderr();
  EXPECT_EQ(run(2, words.data()), 2);
  EXPECT_EQ(
      testing::internal::GetCapturedStderr(),
      "tidemark-review: \"\": there is no such folder or film; see: tidemark-review --help\n");
}

}  // namespace
}  // namespace tidemark::view
