#include <algorithm>
#include <kainjow/mustache.hpp>
#include <span>

#include "base64.h"
#include "embedded.h"
#include "svg.h"
#include "texts.h"
#include "tidemark/report/write.h"

namespace tidemark::report {
namespace {

using Data = kainjow::mustache::data;

/// Lists of data from lists of anything.
template <class List, class Make>
Data list_of(const List& list, const Make& make) {
  Data out{Data::type::list};
  for (const auto& one : list) out << make(one);
  return out;
}

/// The lang attribute of a phrase, where it differs from that of the page.
std::string lang_of(const Phrase& phrase) { return phrase.in_english ? " lang=\"en\"" : ""; }

Data data_of(const Phrase& phrase) {
  Data out;
  out.set("text", phrase.text);
  out.set("lang", lang_of(phrase));
  return out;
}

std::string class_of(Tone tone) {
  switch (tone) {
    case Tone::kDoubt:
      return "doubt";
    case Tone::kNote:
      return "note";
    case Tone::kPlain:
      break;
  }
  return "plain";
}

std::string class_of(CellRole role) {
  switch (role) {
    case CellRole::kOpen:
      return "open";
    case CellRole::kStrong:
      return "strong";
    case CellRole::kWord:
      return "word";
    case CellRole::kCode:
      return "code";
    case CellRole::kValue:
      break;
  }
  return "value";
}

/// Whether some cell holds a sentence: such a table is no grid on a phone, but a card for each row.
bool holds_sentences(const Table& table) {
  constexpr std::size_t kSentence = 60;
  return std::any_of(table.rows.begin(), table.rows.end(), [](const auto& row) {
    return std::any_of(row.begin(), row.end(), [](const Cell& cell) {
      return cell.role == CellRole::kWord && cell.phrase.text.size() > kSentence;
    });
  });
}

Data row_data(const Table& table, const std::vector<Cell>& row) {
  Data out;
  std::size_t column = 0;
  out.set("label", table.columns.front());
  out.set("head", row.front().phrase.text);
  out.set("head_role", class_of(row.front().role));
  out.set("head_lang", lang_of(row.front().phrase));
  out.set("cells", list_of(std::span(row).subspan(1), [&](const Cell& cell) {
            Data one = data_of(cell.phrase);
            const bool left = is_flush_left(table, ++column);
            one.set("role", class_of(cell.role) + (left ? " left" : ""));
            one.set("label", table.columns[column]);
            return one;
          }));
  return out;
}

std::string view_box(const Window& window) {
  return svg_number(window.x) + " " + svg_number(window.y) + " " + svg_number(window.width) + " " +
         svg_number(window.height);
}

/// A bar of so many mm in the lower left corner of a window.
std::string scale_bar(const Window& window, const Document& document, const Texts& say, int mm) {
  const double unit = window.width / 100.0;
  const double x = window.x + 4.0 * unit;
  const double y = window.y + window.height - 4.0 * unit;
  const Polyline line{{x, y}, {x + mm * document.px_per_mm, y}};
  return "<path class=\"bar\" fill=\"none\" stroke-width=\"" + svg_number(unit) + "\" d=\"" +
         svg_path(line) + "\"/><text class=\"bar-text\" x=\"" + svg_number(x) + "\" y=\"" +
         svg_number(y - 2.0 * unit) + "\" font-size=\"" + svg_number(5.0 * unit) +
         "\" stroke-width=\"" + svg_number(unit) + "\">" +
         escaped(say("pair.scale_bar", {{"length", std::to_string(mm)}})) + "</text>";
}

/// Turns the blocks of a document into what the markup asks for.
class Writer {
 public:
  explicit Writer(const Document& document) : document_(document), say_(document.language) {}

  Data operator()(const Paragraph& paragraph) {
    Data out = data_of(paragraph.phrase);
    out.set("tone", class_of(paragraph.tone));
    return block("paragraph", out);
  }
  Data operator()(const Items& items) {
    Data out;
    out.set("list", list_of(items.items, [](const Item& item) {
              Data one = data_of(item.phrase);
              one.set("about", item.about);
              one.set("about_lang", lang_of({item.about, item.about_in_english}));
              one.set("has_about", !item.about.empty());
              return one;
            }));
    return block("items", out);
  }
  Data operator()(const Table& table) {
    Data out;
    out.set("id", table.id);
    out.set("caption", table.caption);
    out.set("kind", holds_sentences(table) ? "cards" : "grid");
    std::size_t column = 0;
    out.set("columns", list_of(table.columns, [&](const std::string& name) {
              Data one("text", name);
              one.set("side", is_flush_left(table, column++) ? "left" : "right");
              return one;
            }));
    out.set("rows", list_of(table.rows, [&](const auto& row) { return row_data(table, row); }));
    return block("table", out);
  }
  Data operator()(const Figures& figures) {
    Data out;
    out.set("caption", figures.caption);
    out.set("list", list_of(figures.figures, [this](const Figure& figure) {
              Data one;
              one.set("id", "figure-" + std::to_string(++figures_));
              one.set("width", svg_number(figure.drawing.width));
              one.set("height", svg_number(figure.drawing.height));
              one.set("title", figure.title);
              one.set("description", figure.description);
              one.set("marks", svg_marks(figure.drawing));
              return one;
            }));
    return block("figures", out);
  }
  Data operator()(const AlignedPair& pair) {
    Data out;
    out.set("id", "pair-" + std::to_string(pair.follow_up));
    out.set("title", pair.title);
    out.set("caption", pair.caption);
    out.set("first", std::to_string(pair.reference));
    out.set("second", std::to_string(pair.follow_up));
    out.set("first_title", document_.plates[pair.reference].title);
    out.set("second_title", document_.plates[pair.follow_up].title);
    for (const char* key : {"show", "swipe", "flip", "both", "blend", "area", "whole", "shoulder",
                            "tip", "outlines", "slider", "flip_button", "blend_note"}) {
      out.set(key, say_("pair." + std::string(key)));
    }
    out.set("whole_box", view_box(pair.whole));
    out.set("shoulder_box", view_box(pair.at_shoulder));
    out.set("has_tip", pair.at_tip.has_value());
    if (pair.at_tip) out.set("tip_box", view_box(*pair.at_tip));
    out.set("bar", scale_bar(pair.whole, document_, say_, 20));
    Data insets{Data::type::list};
    insets << inset(pair.at_shoulder, "pair.shoulder");
    if (pair.at_tip) insets << inset(*pair.at_tip, "pair.tip");
    out.set("insets", insets);
    return block("pair", out);
  }
  Data operator()(const MarkedPlate& marked) {
    const Window whole{0.0, 0.0, document_.plate_width, document_.plate_height};
    Data out;
    out.set("title", marked.title);
    out.set("caption", marked.caption);
    out.set("description", marked.description);
    out.set("plate", std::to_string(marked.plate));
    out.set("box", view_box(whole));
    out.set("marks", svg_marks(marked.marks));
    out.set("bar", scale_bar(whole, document_, say_, 20));
    return block("marked", out);
  }

 private:
  Data inset(const Window& window, const char* where) const {
    Data out;
    out.set("box", view_box(window));
    out.set("label", say_("pair.inset", {{"where", say_(where)}}));
    out.set("bar", scale_bar(window, document_, say_, 5));
    return out;
  }
  /// One block; the markup looks for every kind.
  static Data block(const std::string& kind, const Data& data) {
    Data out;
    for (const char* other : {"paragraph", "items", "table", "figures", "pair", "marked"}) {
      out.set(other, false);
    }
    out.set(kind, data);
    return out;
  }

  const Document& document_;
  Texts say_;
  int figures_ = 0;
};

/// Outline and head of the stem in one path.
std::string stem_path(const Plate& plate) {
  const std::string r = svg_number(plate.head.radius);
  const std::string left = svg_number(plate.head.centre.x() - plate.head.radius);
  const std::string across = svg_number(2.0 * plate.head.radius);
  const std::string arc = "a" + r + " " + r + " 0 1 0 ";
  return svg_path(plate.outline) + "M" + left + " " + svg_number(plate.head.centre.y()) + arc +
         across + " 0" + arc + "-" + across + " 0";
}

Data plates_data(const Document& document) {
  Data out{Data::type::list};
  for (std::size_t i = 0; i < document.plates.size(); ++i) {
    const Plate& plate = document.plates[i];
    Data one;
    one.set("index", std::to_string(i));
    one.set("width", svg_number(document.plate_width));
    one.set("height", svg_number(document.plate_height));
    one.set("jpeg", base64_of(std::as_bytes(std::span(plate.jpeg))));
    one.set("path", stem_path(plate));
    one.set("kind", i == 0 ? "solid" : "dashed");
    out << one;
  }
  return out;
}

/// Signs that differ in shape: a triangle with a bar, a ring with a tick, a ring with an open
/// middle.
void set_headline(Data& out, const Headline& headline, const Texts& say) {
  const char* key = "open";
  const char* sign =
      "M12 1a11 11 0 1 0 0 22a11 11 0 1 0 0-22zM12 4a8 8 0 1 1 0 16a8 8 0 1 1 0-16zM11 6h2v8h-2z"
      "M11 16h2v2h-2z";
  if (headline.finding == Finding::kLook) {
    key = "look";
    sign = "M12 1L23.5 22H.5zM11 8h2v7h-2zM11 17h2v2h-2z";
  } else if (headline.finding == Finding::kCalm) {
    key = "calm";
    sign = "M12 1a11 11 0 1 0 0 22a11 11 0 1 0 0-22zM6 12l2-2l3 3l6-6l2 2l-8 8z";
  }
  out.set("finding", key);
  out.set("finding_sign", sign);
  out.set("finding_word", say("finding." + std::string(key)));
  out.set("sentence", headline.sentence.text);
  out.set("sentence_lang", lang_of(headline.sentence));
  out.set("has_measured", headline.measured.has_value());
  if (headline.measured) out.set("measured", headline.measured->text);
  out.set("has_doubts", !headline.doubts.empty());
  out.set("doubts", list_of(headline.doubts, data_of));
}

}  // namespace

std::string to_html(const Document& document) {
  const Texts say(document.language);
  Data page;
  page.set("language", code_of(document.language));
  page.set("title", document.title);
  page.set("has_hip", document.hip.has_value());
  if (document.hip) page.set("hip", *document.hip);
  page.set("tool", document.tool);
  page.set("caution", document.caution);
  page.set("style", std::string(kStyle));
  page.set("script", std::string(kScript));
  page.set("script_digest", script_digest(kScript));
  page.set("result_heading", say("page.result"));
  page.set("doubts_heading", say("page.doubts"));
  page.set("facts", list_of(document.facts, [](const Fact& fact) {
             Data one("name", fact.name);
             one.set("value", fact.value);
             return one;
           }));
  page.set("has_plates", !document.plates.empty());
  page.set("plates", plates_data(document));
  set_headline(page, document.headline, say);
  Writer writer(document);
  page.set("sections", list_of(document.sections, [&](const Section& section) {
             Data one;
             one.set("id", section.id);
             one.set("heading", section.heading);
             one.set("blocks", list_of(section.blocks, [&](const Block& block) {
                       return std::visit(writer, block);
                     }));
             return one;
           }));
  return kainjow::mustache::mustache(std::string(kMarkup)).render(page);
}

}  // namespace tidemark::report
