#include "sheet.h"

#include <gtest/gtest.h>

#include <fstream>

#include "csv_table.h"
#include "scratch.h"
#include "tidemark/registry/pseudonym.h"

namespace tidemark::registry {
namespace {

using test::Scratch;

// Examples of RFC 4180, section 2, rules 5 to 7.
TEST(Csv, ReadsRfc4180) {
  const auto table =
      parse_csv("a,b,c\r\n\"aaa\",\"b \r\nbb\",\"ccc\"\r\nzzz,\"y\"\"y\",xxx\r\n", "t");
  ASSERT_TRUE(table) << table.error().sentence();
  EXPECT_EQ(table->header, (std::vector<std::string>{"a", "b", "c"}));
  ASSERT_EQ(table->rows.size(), 2U);
  EXPECT_EQ(table->rows[0], (std::vector<std::string>{"aaa", "b \r\nbb", "ccc"}));
  EXPECT_EQ(table->rows[1], (std::vector<std::string>{"zzz", "y\"y", "xxx"}));
  EXPECT_EQ(table->lines, (std::vector<std::size_t>{2, 4}));
}

TEST(Csv, Faults) {
  for (const char* text : {"", "\n\n", "a,b\n1,2,3\n", "a,a\n", "a,b\n\"1,2\n"}) {
    const auto table = parse_csv(text, "t");
    ASSERT_FALSE(table) << text;
    EXPECT_EQ(table.error().kind, ErrorKind::kBadInput);
  }
}

TEST(Csv, WritesWhatItReads) {
  for (const std::string cell : {"plain", "with, comma", "with \"quote\"", "two\nlines"}) {
    const auto table = parse_csv("x,y\n" + csv_cell(cell) + ",z\n", "t");
    ASSERT_TRUE(table);
    EXPECT_EQ(table->rows[0][0], cell);
  }
  EXPECT_EQ(csv_text("=1+1"), "'=1+1");  // a spreadsheet would run it
}

TEST(Sheet, RowFaultsStayWithTheirRow) {
  const Scratch scratch;
  std::ofstream(scratch / "s.csv") << "hip,side,date,file,group_x\nA,R,2024-02-30,a.dcm,1\n"
                                      "B,left,,b.dcm,2\nC,L,2024-02-29,c.dcm,3\n";
  const auto sheet = read_sheet(scratch / "s.csv", scratch.path());
  ASSERT_TRUE(sheet) << sheet.error().sentence();
  ASSERT_EQ(sheet->rows.size(), 3U);
  EXPECT_EQ(sheet->rows[0].fault, "line 2: date cannot be read; write a date as YYYY-MM-DD");
  EXPECT_EQ(sheet->rows[1].fault, "line 3: side cannot be read; write R or L");
  EXPECT_EQ(sheet->rows[2].fault, "");
  EXPECT_EQ(sheet->rows[2].facts.side, Side::kLeft);
  EXPECT_EQ(sheet->rows[2].film.path, scratch / "c.dcm");
  EXPECT_EQ(sheet->rows[2].facts.groups.at("x"), "3");
}

// RFC 4231, test cases 2 and 3.
TEST(Pseudonym, IsHmacSha256) {
  EXPECT_EQ(hmac_sha256_hex("Jefe", "what do ya want for nothing?"),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
  EXPECT_EQ(hmac_sha256_hex(std::string(20, '\xaa'), std::string(50, '\xdd')),
            "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe");
}

TEST(Pseudonym, DependsOnKeyKindAndIdentity) {
  const PseudonymKey one{"0123456789abcdef"};
  const PseudonymKey other{"0123456789abcdeg"};
  const std::string name = pseudonym(one, "P", "patient", "4711");
  EXPECT_EQ(name.size(), 17U);
  EXPECT_EQ(name, pseudonym(one, "P", "patient", "4711"));
  EXPECT_NE(name, pseudonym(other, "P", "patient", "4711"));
  EXPECT_NE(name, pseudonym(one, "P", "folder", "4711"));
  EXPECT_NE(name, pseudonym(one, "P", "patient", "4712"));
}

}  // namespace
}  // namespace tidemark::registry
