#include "../../modules/report/src/pdf_layout.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>

#include "../../modules/report/src/table_parts.h"

namespace tidemark::report {
namespace {

/// Past and present of lines as the report has them: a reference film, films, an answer.
Table zones_of(int films) {
  Table out{"zones-table", "Widest line", {"Zone", "2024-01-01 (reference)"}, {}};
  for (int i = 1; i < films; ++i) out.columns.push_back("2024-" + std::to_string(10 + i) + "-01");
  out.columns.emplace_back("Grown on 2036-01-01 since the reference film?");
  for (int zone = 1; zone <= 7; ++zone) {
    std::vector<Cell> row{{{std::to_string(zone) + " (lateral, proximal)"}, CellRole::kWord}};
    for (int i = 0; i < films; ++i) {
      row.push_back({{"line, 1.10\u00A0±\u00A00.20\u00A0mm\u00A0†"}, CellRole::kStrong});
    }
    row.push_back({{"no, +0.10\u00A0±\u00A00.20\u00A0mm\u00A0†"}, CellRole::kWord});
    out.rows.push_back(std::move(row));
  }
  return out;
}

Document with(Table table) {
  Document out;
  out.title = "Report";
  out.sections.push_back({"zones", "Lines", {std::move(table)}});
  return out;
}

struct Extent {
  double right = 0.0;
  double lowest = 0.0;
};

Extent extent_of(const Document& document) {
  Metrics metrics;
  Extent out;
  for (const Page& page : laid_out(document)) {
    for (const Op& op : page) {
      const auto* text = std::get_if<TextOp>(&op);
      if (text == nullptr) continue;
      out.right = std::max(out.right, text->at.x() + metrics.width(text->text, text->font));
      // The foot of the page stands below.
      const bool foot = text->font.size == 6.5;
      if (!foot) out.lowest = std::max(out.lowest, text->at.y());
    }
  }
  return out;
}

int count_of(const Document& document, const std::string& piece) {
  int out = 0;
  for (const Page& page : laid_out(document)) {
    out += static_cast<int>(std::count_if(page.begin(), page.end(), [&](const Op& op) {
      const auto* text = std::get_if<TextOp>(&op);
      return text != nullptr && text->text.find(piece) != std::string::npos;
    }));
  }
  return out;
}

// Twelve films with a line on each need some 46 + 12 x 82 + 88 points of the 499 that there are.
TEST(PdfLayout, NoTableRunsOffThePage) {
  for (const int films : {3, 6, 12, 24}) {
    const Document document = with(zones_of(films));
    EXPECT_LE(extent_of(document).right, kPageWidth - kMargin + 0.1) << films;
    EXPECT_EQ(count_of(document, "1.10"), 7 * films) << "each cell once";
    EXPECT_EQ(count_of(document, "+0.10"), 7);
  }
}

TEST(PdfLayout, ARowTallerThanAPageGoesOnOnTheNext) {
  Table table{"t", "Caption", {"Film", "Text"}, {}};
  std::string text;
  for (int i = 0; i < 4000; ++i) text += "word" + std::to_string(i) + " ";
  table.rows = {{{{"film-0"}, CellRole::kWord}, {{text}, CellRole::kWord}}};
  const Document document = with(std::move(table));
  EXPECT_LE(extent_of(document).lowest, kLowest);
  EXPECT_GE(laid_out(document).size(), 3U);
  EXPECT_EQ(count_of(document, "word0 "), 1);
  EXPECT_EQ(count_of(document, "word3999"), 1);
}

// By hand: 50 + 80 + 90 (answer) + 3 x 80 = 460 of 499 points; the other films stand below, six of
// 80 points beside 50 at most five at a time.
TEST(TableParts, KeepReferenceAndNewestFilmTogether) {
  std::vector<double> least(14, 80.0);
  least[0] = 50.0;
  least[13] = 90.0;
  const auto parts = parts_of(zones_of(12), least, 499.0);
  ASSERT_EQ(parts.size(), 3U);
  EXPECT_EQ(parts[0].columns, (std::vector<std::string>{
                                  "Zone", "2024-01-01 (reference)", "2024-19-01", "2024-20-01",
                                  "2024-21-01", "Grown on 2036-01-01 since the reference film?"}));
  EXPECT_EQ(parts[1].columns.size(), 6U);
  EXPECT_EQ(parts[1].columns[0], "Zone");
  EXPECT_EQ(parts[1].columns[1], "2024-11-01");
  EXPECT_EQ(parts[2].columns.size(), 4U);
  EXPECT_EQ(parts[2].columns.back(), "2024-18-01");
  for (const Table& part : parts) {
    for (const auto& row : part.rows) EXPECT_EQ(row.size(), part.columns.size());
  }
  EXPECT_EQ(parts_of(zones_of(3), {50.0, 80.0, 80.0, 80.0, 90.0}, 499.0).size(), 1U);
}

}  // namespace
}  // namespace tidemark::report
