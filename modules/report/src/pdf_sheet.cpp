#include "pdf_sheet.h"

#include <algorithm>

namespace tidemark::report {
namespace {

struct Word {
  std::string text;
  Font font;
  double width = 0.0;
  bool space_before = false;
};

/// Cuts a word that no line holds into pieces that do, between characters.
void add_word(std::vector<Word>& words, Word word, double width, Metrics& metrics) {
  word.width = metrics.width(word.text, word.font);
  while (word.width > width && word.text.size() > 1) {
    std::size_t cut = 1;
    for (std::size_t i = 1; i < word.text.size(); ++i) {
      const bool begins = (static_cast<unsigned char>(word.text[i]) & 0xC0U) != 0x80U;
      if (!begins) continue;
      if (metrics.width(word.text.substr(0, i), word.font) > width) break;
      cut = i;
    }
    Word first{word.text.substr(0, cut), word.font, 0.0, word.space_before};
    first.width = metrics.width(first.text, first.font);
    words.push_back(first);
    word = {word.text.substr(cut), word.font, 0.0, false};
    word.width = metrics.width(word.text, word.font);
  }
  words.push_back(std::move(word));
}

std::vector<Word> words_of(const std::vector<Run>& runs, double width, Metrics& metrics) {
  std::vector<Word> words;
  bool space = false;  // carried from run to run
  for (const Run& run : runs) {
    std::size_t at = 0;
    while (at < run.text.size()) {
      if (run.text[at] == ' ') {
        space = true;
        ++at;
        continue;
      }
      const std::size_t end = std::min(run.text.find(' ', at), run.text.size());
      add_word(words, {run.text.substr(at, end - at), run.font, 0.0, space}, width, metrics);
      space = false;
      at = end;
    }
  }
  return words;
}

}  // namespace

void select_font(cairo_t* context, const Font& font) {
  cairo_select_font_face(
      context, font.face == Face::kMono ? "DejaVu Sans Mono" : "DejaVu Sans",
      CAIRO_FONT_SLANT_NORMAL,
      font.face == Face::kBold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(context, font.size);
  cairo_font_options_t* options = cairo_font_options_create();
  cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
  cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
  cairo_set_font_options(context, options);
  cairo_font_options_destroy(options);
}

Metrics::Metrics()
    : surface_(cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, nullptr)),
      context_(cairo_create(surface_.get())) {}

double Metrics::width(const std::string& text, const Font& font) {
  select_font(context_.get(), font);
  cairo_text_extents_t extents{};
  cairo_text_extents(context_.get(), text.c_str(), &extents);
  return extents.x_advance;
}

std::vector<Line> lines_of(const std::vector<Run>& runs, double width, Metrics& metrics) {
  std::vector<Line> lines(1);
  for (const Word& word : words_of(runs, width, metrics)) {
    Line* line = &lines.back();
    const double space =
        word.space_before && !line->pieces.empty() ? metrics.width(" ", word.font) : 0.0;
    if (!line->pieces.empty() && line->width + space + word.width > width) {
      line->pieces.back().text += ' ';  // for those who select the text or have it read aloud
      lines.emplace_back();
      line = &lines.back();
    }
    const bool first = line->pieces.empty();
    const bool same = !first && line->pieces.back().font.face == word.font.face;
    if (same) {
      line->pieces.back().text += (word.space_before ? " " : "") + word.text;
    } else {
      if (!first && word.space_before) line->pieces.back().text += ' ';
      line->pieces.push_back(
          {Vec2(line->width + (first ? 0.0 : space), 0.0), word.text, word.font});
    }
    line->width += (first ? 0.0 : space) + word.width;
  }
  return lines;
}

void Sheet::need(double height) {
  if (y_ + height <= kLowest) return;
  pages_.emplace_back();
  y_ = kMargin;
}

void Sheet::text(const std::string& element, const std::vector<Run>& runs, double indent) {
  if (runs.empty()) return;
  const Font& font = runs.front().font;
  const double height = line_height(font);
  const std::vector<Line> lines = lines_of(runs, kTextWidth - indent, metrics_);
  const auto keep = static_cast<double>(std::min<std::size_t>(lines.size(), 4));
  need(keep * height);
  add(BeginOp{element});
  for (const Line& line : lines) {
    if (y_ + height > kLowest) {
      add(EndOp{element});
      need(height);
      add(BeginOp{element});
    }
    for (TextOp piece : line.pieces) {
      piece.at += Vec2(kMargin + indent, y_ + font.size);
      add(std::move(piece));
    }
    y_ += height;
  }
  add(EndOp{element});
}

}  // namespace tidemark::report
