#include "tidemark/core/text.h"

#include <gtest/gtest.h>

namespace tidemark {
namespace {

TEST(Printable, OddBytesBecomeQuestionMarks) {
  EXPECT_EQ(printable("film ± Ä 漢 🙂"), "film ± Ä 漢 🙂");
  EXPECT_EQ(printable("a\x1b[31m\n\x7f"), "a?[31m??");
  EXPECT_EQ(printable("\xc3"), "?");            // cut off
  EXPECT_EQ(printable("\xc0\xaf"), "??");       // overlong
  EXPECT_EQ(printable("\xed\xa0\x80"), "???");  // surrogate
  EXPECT_EQ(printable("\xf5\x80\x80\x80"), "????");
  EXPECT_EQ(printable("\xc2\x9b"), "??");  // control sequence introducer
  EXPECT_EQ(first_characters("ab±cd", 3), "ab±");
  EXPECT_EQ(first_characters("ab", 3), "ab");
}

}  // namespace
}  // namespace tidemark
