#include <algorithm>

#include "pdf_draw.h"
#include "pdf_layout.h"
#include "pdf_sheet.h"
#include "table_parts.h"
#include "texts.h"
#include "tidemark/report/palette.h"
#include "tidemark/report/write.h"

namespace tidemark::report {
namespace {

constexpr std::uint32_t kText = colour_of(Ink::kText);
constexpr std::uint32_t kMuted = colour_of(Ink::kMuted);
constexpr std::uint32_t kAlert = colour_of(Ink::kAlert);
constexpr std::uint32_t kGrid = colour_of(Ink::kGrid);

constexpr Font kTitle{17.0, Face::kBold, kText};
constexpr Font kHeading{12.5, Face::kBold, kText};
constexpr Font kSmallHeading{9.5, Face::kBold, kText};
constexpr Font kBody{9.0, Face::kRegular, kText};
constexpr Font kBold{9.0, Face::kBold, kText};
constexpr Font kSentence{11.0, Face::kRegular, kText};
constexpr Font kNote{7.5, Face::kRegular, kMuted};
constexpr Font kDoubt{9.0, Face::kBold, kAlert};
constexpr Font kCellFont{7.5, Face::kRegular, kText};
constexpr Font kCellBold{7.5, Face::kBold, kText};
constexpr Font kCellOpen{7.5, Face::kRegular, kMuted};
constexpr Font kCellCode{7.0, Face::kMono, kText};
constexpr double kCellPad = 4.0;
constexpr double kRowPad = 4.0;  ///< above and below the lines of a row, together

Font font_of(CellRole role) {
  switch (role) {
    case CellRole::kOpen:
      return kCellOpen;
    case CellRole::kStrong:
      return kCellBold;
    case CellRole::kCode:
      return kCellCode;
    case CellRole::kWord:
    case CellRole::kValue:
      break;
  }
  return kCellFont;
}

/// One row of a table, broken into lines.
struct SetRow {
  std::vector<std::vector<Line>> cells;
  double height = 0.0;
};

/// Widths that the columns of a table would like, and that they need at least.
struct Widths {
  std::vector<double> natural;
  std::vector<double> least;
};

/// A row that is taller than a page as rows that are not.
std::vector<SetRow> slices_of(SetRow row, double room) {
  if (row.height <= room) return {std::move(row)};
  const auto most = static_cast<std::size_t>((room - kRowPad) / line_height(kCellFont));
  std::vector<SetRow> out;
  for (std::size_t begin = 0;; begin += most) {
    SetRow slice;
    std::size_t lines = 0;
    for (const auto& cell : row.cells) {
      const std::size_t from = std::min(begin, cell.size());
      const std::size_t to = std::min(begin + most, cell.size());
      slice.cells.emplace_back(cell.begin() + static_cast<std::ptrdiff_t>(from),
                               cell.begin() + static_cast<std::ptrdiff_t>(to));
      lines = std::max(lines, to - from);
    }
    if (lines == 0) return out;
    slice.height = static_cast<double>(lines) * line_height(kCellFont) + kRowPad;
    out.push_back(std::move(slice));
  }
}

/// Lays the blocks of a document on a sheet.
class Setter {
 public:
  Setter(const Document& document, Sheet& sheet)
      : document_(document), sheet_(sheet), say_(document.language) {}

  void head();
  void headline();
  void section(const Section& section);
  void feet();

  void operator()(const Paragraph& paragraph);
  void operator()(const Items& items);
  void operator()(const Table& table);
  void operator()(const Figures& figures);
  void operator()(const AlignedPair& pair);
  void operator()(const MarkedPlate& marked);

 private:
  void rule(double width, std::uint32_t colour) {
    sheet_.add(RuleOp{{kMargin, sheet_.y()}, {kMargin + kTextWidth, sheet_.y()}, width, colour});
  }
  [[nodiscard]] Widths widths_of(const Table& table);
  void put_table(const Table& table, const std::vector<double>& widths);
  [[nodiscard]] SetRow set_row(const std::vector<Run>& cells, const std::vector<double>& widths);
  void put_row(const SetRow& row, const Table& table, const std::vector<double>& widths,
               const char* element);
  void table_head(const Table& table, const std::vector<double>& widths);
  [[nodiscard]] SetRow set_head(const Table& table, const std::vector<double>& widths);
  [[nodiscard]] SetRow set_body(const std::vector<Cell>& row, const std::vector<double>& widths);

  const Document& document_;
  Sheet& sheet_;
  Texts say_;
};

void Setter::head() {
  sheet_.text("H1", {{document_.title, kTitle}});
  sheet_.skip(2.0);
  std::vector<Run> facts;
  for (const Fact& fact : document_.facts) {
    facts.push_back({fact.name + ": ", {9.0, Face::kRegular, kMuted}});
    facts.push_back({fact.value + (&fact == &document_.facts.back() ? "" : ",  "), kBold});
  }
  sheet_.text("P", facts);
  sheet_.skip(8.0);
}

void Setter::headline() {
  const Headline& headline = document_.headline;
  const char* key = headline.finding == Finding::kLook   ? "finding.look"
                    : headline.finding == Finding::kCalm ? "finding.calm"
                                                         : "finding.open";
  rule(2.0, kText);
  sheet_.skip(6.0);
  sheet_.text("H2", {{say_("page.result") + ": " + say_(key), {13.0, Face::kBold, kText}}});
  sheet_.skip(2.0);
  sheet_.text("P", {{headline.sentence.text, kSentence}});
  if (headline.measured) {
    sheet_.skip(2.0);
    sheet_.text("P", {{headline.measured->text, kBody}});
  }
  if (!headline.doubts.empty()) {
    sheet_.skip(3.0);
    sheet_.text("H3", {{say_("page.doubts"), kSmallHeading}});
    Items items;
    for (const Phrase& doubt : headline.doubts) items.items.push_back({"", doubt});
    (*this)(items);
  }
  sheet_.skip(2.0);
  sheet_.text("P", {{document_.caution, kNote}});
  sheet_.skip(4.0);
  rule(2.0, kText);
  sheet_.skip(6.0);
}

void Setter::section(const Section& section) {
  sheet_.skip(12.0);
  sheet_.need(70.0);  // a heading does not stand alone at the foot of a page
  sheet_.add(BookmarkOp{section.heading});
  sheet_.text("H2", {{section.heading, kHeading}});
  sheet_.skip(1.0);
  rule(0.6, kText);
  sheet_.skip(6.0);
  for (const Block& block : section.blocks) std::visit(*this, block);
}

void Setter::operator()(const Paragraph& paragraph) {
  const Font font = paragraph.tone == Tone::kDoubt  ? kDoubt
                    : paragraph.tone == Tone::kNote ? kNote
                                                    : kBody;
  sheet_.text("P", {{paragraph.phrase.text, font}});
  sheet_.skip(4.0);
}

void Setter::operator()(const Items& items) {
  sheet_.add(BeginOp{"L"});
  for (const Item& item : items.items) {
    std::vector<Run> runs;
    if (!item.about.empty()) runs.push_back({item.about + ": ", kBold});
    // A digest is one long word and read by eye, letter by letter.
    const bool code =
        item.phrase.text.find(' ') == std::string::npos && item.phrase.text.size() > 40;
    runs.push_back({item.phrase.text, code ? Font{7.5, Face::kMono, kText} : kBody});
    sheet_.need(line_height(kBody));
    const double y = sheet_.y();
    const std::size_t page = sheet_.pages().size();
    sheet_.text("LI", runs, 10.0);
    if (sheet_.pages().size() == page) {
      sheet_.add(BoxOp{{kMargin + 2.0, y + 4.6, 2.6, 2.6}, kMuted});
    }
  }
  sheet_.add(EndOp{"L"});
  sheet_.skip(4.0);
}

Widths Setter::widths_of(const Table& table) {
  const std::size_t n = table.columns.size();
  Widths out{std::vector<double>(n, 0.0), std::vector<double>(n, 0.0)};
  const auto look = [&](std::size_t i, const std::string& text, const Font& font, double most) {
    const double width = sheet_.metrics().width(text, font) + 2.0 * kCellPad;
    out.natural[i] = std::max(out.natural[i], std::min(width, most));
    std::size_t at = 0;
    while (at < text.size()) {
      const std::size_t end = std::min(text.find(' ', at), text.size());
      const double word = sheet_.metrics().width(text.substr(at, end - at), font);
      out.least[i] = std::max(out.least[i], std::min(word, 130.0) + 2.0 * kCellPad);
      at = end + 1;
    }
  };
  for (std::size_t i = 0; i < n; ++i) {
    look(i, table.columns[i], kCellBold, 70.0);
    for (const auto& row : table.rows) {
      look(i, row[i].phrase.text, font_of(row[i].role), kTextWidth);
    }
    out.natural[i] = std::max(out.natural[i], out.least[i]);
  }
  return out;
}

/// The columns' widths on the page: those that they would like, or less where that is too much.
std::vector<double> fitted(const Widths& widths) {
  std::vector<double> out = widths.natural;
  double sum = 0.0;
  double spare = 0.0;  // what columns can give
  for (std::size_t i = 0; i < out.size(); ++i) {
    sum += out[i];
    spare += out[i] - widths.least[i];
  }
  const double over = sum - kTextWidth;
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (over <= 0.0) {
      out[i] *= std::min(kTextWidth / sum, 1.35);
    } else if (spare > 0.0) {
      out[i] -= std::min(1.0, over / spare) * (out[i] - widths.least[i]);
    }
  }
  return out;
}

SetRow Setter::set_row(const std::vector<Run>& cells, const std::vector<double>& widths) {
  SetRow out;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    out.cells.push_back(lines_of({cells[i]}, widths[i] - 2.0 * kCellPad, sheet_.metrics()));
    out.height = std::max(
        out.height, static_cast<double>(out.cells.back().size()) * line_height(cells[i].font));
  }
  out.height += kRowPad;
  return out;
}

void Setter::put_row(const SetRow& row, const Table& table, const std::vector<double>& widths,
                     const char* element) {
  sheet_.add(BeginOp{"TR"});
  double x = kMargin;
  for (std::size_t i = 0; i < row.cells.size(); ++i) {
    const std::string cell = i == 0 ? "TH" : element;
    sheet_.add(BeginOp{cell});
    double y = sheet_.y() + 2.0;
    for (const Line& line : row.cells[i]) {
      const double shift = is_flush_left(table, i) ? kCellPad : widths[i] - kCellPad - line.width;
      for (TextOp piece : line.pieces) {
        y += piece.at.x() == 0.0 ? piece.font.size : 0.0;
        piece.at += Vec2(x + shift, y);
        sheet_.add(std::move(piece));
      }
      y += 0.38 * line.pieces.front().font.size;
    }
    sheet_.add(EndOp{cell});
    x += widths[i];
  }
  sheet_.add(EndOp{"TR"});
  sheet_.skip(row.height);
}

SetRow Setter::set_head(const Table& table, const std::vector<double>& widths) {
  std::vector<Run> cells;
  for (const std::string& column : table.columns) cells.push_back({column, kCellBold});
  return set_row(cells, widths);
}

SetRow Setter::set_body(const std::vector<Cell>& row, const std::vector<double>& widths) {
  std::vector<Run> cells;
  cells.reserve(row.size());
  for (const Cell& cell : row) cells.push_back({cell.phrase.text, font_of(cell.role)});
  return set_row(cells, widths);
}

void Setter::table_head(const Table& table, const std::vector<double>& widths) {
  put_row(set_head(table, widths), table, widths, "TH");
  rule(1.0, kText);
}

void Setter::put_table(const Table& table, const std::vector<double>& widths) {
  // Caption and head do not stand alone at the foot of a page.
  const double head = set_head(table, widths).height;
  const double room = kLowest - kMargin - head;
  const double first =
      table.rows.empty() ? 0.0 : std::min(room, set_body(table.rows.front(), widths).height);
  const double caption = 2.0 * line_height(kSmallHeading);
  sheet_.need(std::min(caption + head + first, kLowest - kMargin));
  sheet_.text("P", {{table.caption, kSmallHeading}});
  sheet_.add(BeginOp{"Table"});
  table_head(table, widths);
  for (const auto& row : table.rows) {
    for (const SetRow& set : slices_of(set_body(row, widths), room)) {
      if (sheet_.y() + set.height > kLowest) {
        sheet_.add(EndOp{"Table"});
        sheet_.need(kLowest);
        sheet_.add(BeginOp{"Table"});
        table_head(table, widths);
      }
      put_row(set, table, widths, "TD");
    }
    rule(0.4, kGrid);
  }
  sheet_.add(EndOp{"Table"});
  sheet_.skip(7.0);
}

void Setter::operator()(const Table& table) {
  const Widths widths = widths_of(table);
  for (const Table& part : parts_of(table, widths.least, kTextWidth)) {
    put_table(part, fitted(widths_of(part)));
  }
}

void Setter::operator()(const Figures& figures) {
  constexpr double kGap = 14.0;
  const double width = (kTextWidth - kGap) / 2.0;
  double x = kMargin;
  double lowest = sheet_.y();
  for (std::size_t i = 0; i < figures.figures.size(); ++i) {
    const Drawing& drawing = figures.figures[i].drawing;
    const double scale = width / drawing.width;
    if (i % 2 == 0) {
      sheet_.skip(lowest - sheet_.y());
      sheet_.need(scale * drawing.height + 30.0);
      lowest = sheet_.y();
      x = kMargin;
    }
    sheet_.add(BeginOp{"Figure"});
    sheet_.add(DrawingOp{drawing, {x, sheet_.y()}, scale});
    sheet_.add(EndOp{"Figure"});
    lowest = std::max(lowest, sheet_.y() + scale * drawing.height);
    x += width + kGap;
  }
  sheet_.skip(lowest - sheet_.y() + 2.0);
  sheet_.text("P", {{figures.caption, kNote}});
  sheet_.skip(6.0);
}

void Setter::operator()(const AlignedPair& pair) {
  constexpr double kGap = 8.0;
  constexpr double kLabel = 11.0;
  // Two plates and, beside them, two square insets below each other that end with the plates.
  const double shape = pair.whole.height / pair.whole.width;
  constexpr double kWords = 60.0;
  constexpr double kLeastHeight = 180.0;  // smaller films show too little
  const double widest = (2.0 * (kTextWidth - 2.0 * kGap) + kLabel + kGap) / (shape + 4.0);
  const double room = kLowest - sheet_.y() - kWords;
  const double plate = room < kLeastHeight ? widest : std::min(widest, room / shape);
  const double height = shape * plate;
  const double inset = 0.5 * (height - kLabel - kGap);
  sheet_.need(height + kWords);
  sheet_.text("H3", {{pair.title, kSmallHeading}});
  sheet_.text("P", {{pair.caption, kBody}});
  sheet_.skip(3.0);
  const double y = sheet_.y();
  const auto put = [&](PlateOp op, const std::string& label) {
    sheet_.add(BeginOp{"Figure"});
    const Vec2 below(op.box.x, op.box.y + op.box.height + 8.5);
    sheet_.add(std::move(op));
    sheet_.add(TextOp{below, label, {6.5, Face::kRegular, kMuted}});
    sheet_.add(EndOp{"Figure"});
  };
  const std::string bar = say_("pair.scale_bar", {{"length", "20"}});
  const std::string small_bar = say_("pair.scale_bar", {{"length", "5"}});
  put({pair.reference, pair.whole, {kMargin, y, plate, height}, {pair.reference}, 20, bar},
      document_.plates[pair.reference].title);
  put({pair.follow_up,
       pair.whole,
       {kMargin + plate + kGap, y, plate, height},
       {pair.reference, pair.follow_up},
       0,
       {}},
      document_.plates[pair.follow_up].title);
  const double x = kMargin + 2.0 * (plate + kGap);
  put({pair.follow_up,
       pair.at_shoulder,
       {x, y, inset, inset},
       {pair.reference, pair.follow_up},
       5,
       small_bar},
      say_("pair.shoulder"));
  if (pair.at_tip) {
    put({pair.follow_up,
         *pair.at_tip,
         {x, y + height - inset, inset, inset},
         {pair.reference, pair.follow_up},
         5,
         small_bar},
        say_("pair.tip"));
  }
  sheet_.skip(height + kLabel + 8.0);
}

void Setter::operator()(const MarkedPlate& marked) {
  constexpr double kWidth = 215.0;
  constexpr double kWords = 40.0;
  const double height = kWidth * document_.plate_height / document_.plate_width;
  sheet_.need(height + kWords);
  sheet_.text("H3", {{marked.title, kSmallHeading}});
  sheet_.skip(2.0);
  sheet_.add(BeginOp{"Figure"});
  sheet_.add(PlateOp{marked.plate,
                     {0.0, 0.0, document_.plate_width, document_.plate_height},
                     {kMargin, sheet_.y(), kWidth, height},
                     {marked.plate},
                     20,
                     say_("pair.scale_bar", {{"length", "20"}}),
                     marked.marks});
  sheet_.add(EndOp{"Figure"});
  sheet_.skip(height + 4.0);
  sheet_.text("P", {{marked.caption, kNote}});
  sheet_.skip(6.0);
}

void Setter::feet() {
  const Font font{6.5, Face::kRegular, kMuted};
  const std::size_t count = sheet_.pages().size();
  for (std::size_t i = 0; i < count; ++i) {
    const std::string page =
        say_("page.number", {{"page", std::to_string(i + 1)}, {"pages", std::to_string(count)}});
    const double right = kPageWidth - kMargin - sheet_.metrics().width(page, font);
    const double y = kPageHeight - 46.0;
    Page& ops = sheet_.pages()[i];
    ops.emplace_back(RuleOp{{kMargin, y - 9.0}, {kPageWidth - kMargin, y - 9.0}, 0.4, kGrid});
    std::string left = document_.title;
    for (const Fact& fact : document_.facts) {
      if (left.size() < 80)
        left += " · " + fact.name + ": " + fact.value;  // the first say which hip
    }
    ops.emplace_back(TextOp{{kMargin, y}, left, font});
    ops.emplace_back(TextOp{{right, y}, page, font});
    ops.emplace_back(TextOp{{kMargin, y + 9.0}, say_("page.foot"), font});
  }
}

}  // namespace

std::vector<Page> laid_out(const Document& document) {
  Sheet sheet;
  Setter setter(document, sheet);
  setter.head();
  setter.headline();
  for (const Section& section : document.sections) setter.section(section);
  setter.feet();
  return std::move(sheet.pages());
}

Expected<std::string> to_pdf(const Document& document) {
  return draw_pages(document, laid_out(document));
}

}  // namespace tidemark::report
