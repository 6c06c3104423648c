#include <algorithm>
#include <utility>

#include "sections.h"
#include "tidemark/assessment/seat.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using assessment::SeatItem;
using assessment::SeatPlace;
using assessment::SeatUnit;

std::string unit_text(SeatUnit unit) {
  if (unit == SeatUnit::kRatio) return {};
  return unit == SeatUnit::kDegrees ? std::string("°") : std::string(kFixedSpace) + "mm";
}

Phrase name_of(const Source& from, const SeatItem& item) {
  return from.say.or_english("seat.name." + item.id, printable(item.name));
}

/// A number of the item's kind with the sign only where it says something.
std::string shown(const Source& from, const SeatItem& item, double value, double u95) {
  const bool has_sign = !item.positive.empty();
  return (has_sign ? from.say.signed_number(value, u95) : from.say.number(value, u95)) +
         unit_text(item.unit);
}

Cell measured_cell(const Source& from, const SeatItem& item) {
  if (!item.measured) return {{from.say("not_measured")}, CellRole::kOpen};
  return {{shown(from, item, item.measured->value, item.measured->u95)}, CellRole::kStrong};
}

Cell class_cell(const Source& from, const SeatItem& item) {
  if (!item.seat_class) return {{from.say("none")}, CellRole::kOpen};
  return {
      from.say.or_english("seat.class." + item.seat_class->id, printable(item.seat_class->text)),
      CellRole::kWord};
}

Cell planned_cell(const Source& from, const SeatItem& item) {
  if (!item.planned) return {{from.say("none")}, CellRole::kOpen};
  const assessment::Planned& plan = *item.planned;
  const CellRole role = plan.verdict == assessment::AgainstPlan::kOffPlan      ? CellRole::kStrong
                        : plan.verdict == assessment::AgainstPlan::kCannotTell ? CellRole::kOpen
                                                                               : CellRole::kWord;
  return {{from.say("seat." + assessment::code_of(plan.verdict),
                    {{"planned", from.say.plain(plan.value, 1.0) + unit_text(item.unit)},
                     {"tolerance", from.say.plain(plan.tolerance, 1.0) + unit_text(item.unit)}})},
          role};
}

/// Whether the rows bear the numbers of a picture.
enum class Numbered { kNo, kYes };

Table table_of(const Source& from, Numbered numbered) {
  const auto& items = from.result.seat->items;
  const bool planned = std::any_of(items.begin(), items.end(),
                                   [](const SeatItem& item) { return item.planned.has_value(); });
  Table out{"seat-table", from.say("seat.caption"), {}, {}};
  out.columns = {from.say("seat.measure"), from.say("seat.measured"), from.say("seat.class")};
  if (planned) out.columns.push_back(from.say("seat.plan"));
  for (std::size_t i = 0; i < items.size(); ++i) {
    Phrase name = name_of(from, items[i]);
    if (numbered == Numbered::kYes) name.text = std::to_string(i + 1) + ". " + name.text;
    out.rows.push_back({{std::move(name), CellRole::kWord},
                        measured_cell(from, items[i]),
                        class_cell(from, items[i])});
    if (planned) out.rows.back().push_back(planned_cell(from, items[i]));
  }
  return out;
}

bool is_fill(const SeatItem& item) { return item.id.starts_with("canal_fill_"); }

/// Appends a sentence to what is said of a measure.
void add(Phrase& text, const Phrase& more) {
  text.text += " " + more.text;
  text.in_english = text.in_english || more.in_english;
}

/// Why a measure is missing, or what must be read with it.
void add_remarks(const Source& from, const SeatItem& item, const std::string& about, Phrase& text) {
  for (const std::string* sentence : {&item.reason, &item.remark}) {
    if (sentence->empty()) continue;
    Phrase more = from.say.said(printable(*sentence));
    if (!about.empty()) more.text = about + ": " + more.text;
    add(text, more);
  }
}

/// What each measure is, why it is missing or what must be read with it, and whose classes. Canal
/// fill is one measure at several levels.
Items definitions_of(const Source& from) {
  Items out;
  std::size_t fill = 0;  // where canal fill stands, plus one
  for (const SeatItem& item : from.result.seat->items) {
    const std::string name = name_of(from, item).text;
    const std::string key = is_fill(item) ? "canal_fill" : item.id;
    if (!is_fill(item) || fill == 0) {
      out.items.push_back(
          {is_fill(item) ? from.say("seat.fill") : name,
           from.say.or_english("seat.definition." + key, printable(item.definition))});
      if (is_fill(item)) fill = out.items.size();
    }
    Phrase& text = is_fill(item) ? out.items[fill - 1].phrase : out.items.back().phrase;
    add_remarks(from, item, is_fill(item) ? name : "", text);
    if (item.seat_class) {
      const std::string source =
          from.say("seat.class_source", {{"source", printable(item.seat_class->source)}});
      if (text.text.find(source) == std::string::npos) add(text, {source});
    }
  }
  return out;
}

/// Draws the places of the audit on the plate of the reference film, px of the plate.
class SeatMarks {
 public:
  explicit SeatMarks(const Affine2& plate_from_stored) : plate_from_stored_(plate_from_stored) {}

  void item(const SeatItem& item, std::size_t number) {
    Polyline longest;
    double length = -1.0;
    for (const SeatPlace& place : item.places) {
      Polyline px;
      for (const Vec2& p : place.px) px.push_back(plate_from_stored_.apply(p));
      draw(place.id, px);
      const bool an_aid = place.id == "shaft_axis" || place.id == "pelvis_axis";
      const double own = (px.back() - px.front()).norm();
      if (an_aid || own <= length) continue;
      length = own;
      longest = px;
    }
    if (!longest.empty()) badges_.emplace_back(badge_place(item.id, longest), number);
  }
  /// All that was drawn, the numbers on top.
  [[nodiscard]] std::vector<Mark> marks() {
    for (const auto& [at, number] : badges_) {
      marks_.emplace_back(PointMark{at, Shape::kDisc, kBadge + 1.5, Ink::kFilmEdge});
      marks_.emplace_back(PointMark{at, Shape::kDisc, kBadge, Ink::kPaper});
      marks_.emplace_back(TextMark{at + Vec2(0.0, 0.36 * kFont), std::to_string(number), kFont,
                                   Anchor::kMiddle, Ink::kText, Weight::kBold});
    }
    return std::move(marks_);
  }

 private:
  static Ink ink_of(const std::string& id) {
    if (id.starts_with("stem_")) return Ink::kFilmStem;
    const bool of_bone = id.ends_with("_width") || id.ends_with("_axis");
    return of_bone ? Ink::kFilmBone : Ink::kPaper;
  }
  void draw(const std::string& id, const Polyline& px) {
    if (px.size() == 1) {
      for (const auto& [ink, width] :
           {std::pair{Ink::kFilmEdge, 6.0}, std::pair{Ink::kPaper, 3.0}}) {
        marks_.emplace_back(
            LineMark{{px[0] - Vec2(kArm, 0.0), px[0] + Vec2(kArm, 0.0)}, {ink, width}});
        marks_.emplace_back(
            LineMark{{px[0] - Vec2(0.0, kArm), px[0] + Vec2(0.0, kArm)}, {ink, width}});
      }
      return;
    }
    const bool dashed = id.ends_with("_axis");
    if (!dashed) marks_.emplace_back(LineMark{px, {Ink::kFilmEdge, 7.0}});
    const std::vector<double> dash =
        dashed ? std::vector<double>{12.0, 8.0} : std::vector<double>{};
    marks_.emplace_back(LineMark{px, {ink_of(id), 3.0, dash}});
    if (id.ends_with("_width")) ticks(px, ink_of(id));
  }
  /// Short strokes across both ends of a width.
  void ticks(const Polyline& px, Ink ink) {
    const Vec2 along = (px[1] - px[0]).normalized();
    const Vec2 half = 8.0 * Vec2(-along.y(), along.x());
    for (const Vec2& end : px) {
      marks_.emplace_back(LineMark{{end - half, end + half}, {Ink::kFilmEdge, 7.0}});
      marks_.emplace_back(LineMark{{end - half, end + half}, {ink, 3.0}});
    }
  }
  /// Beyond the end of a line, above a point; an offset's number stands above its middle, that of
  /// the neck's cut above its upper end.
  static Vec2 badge_place(const std::string& item, const Polyline& px) {
    const Vec2 up(0.0, -1.8 * kBadge);
    if (px.size() == 1) return px[0] + up;
    if (item == "femoral_offset_mm") return 0.5 * (px[0] + px[1]) + up;
    if (item == "neck_cut_above_lesser_trochanter_mm") return px[0] + up;
    return px[1] + 1.8 * kBadge * (px[1] - px[0]).normalized();
  }

  static constexpr double kBadge = 15.0;
  static constexpr double kFont = 21.0;
  static constexpr double kArm = 11.0;
  Affine2 plate_from_stored_;
  std::vector<Mark> marks_;
  std::vector<std::pair<Vec2, std::size_t>> badges_;
};

/// The places of the audit on the reference film; nothing without a plate of it.
std::optional<MarkedPlate> picture_of(const Source& from, const Document& document) {
  if (!from.result.aligned || document.plates.empty()) return {};
  const followup::AlignedFilm& film = from.result.aligned->films.front();
  const followup::SeatResult& seat = *from.result.seat;
  if (film.film != seat.film) return {};
  // Results count px from the centre of the first one, plates from its corner.
  const Affine2 corner_from_centre{Eigen::Matrix2d::Identity(), Vec2::Constant(0.5)};
  SeatMarks marks(corner_from_centre.after(film.stored_from_px.inverse()));
  MarkedPlate out;
  for (std::size_t i = 0; i < seat.items.size(); ++i) {
    marks.item(seat.items[i], i + 1);
    if (seat.items[i].measured) {
      out.description += std::to_string(i + 1) + ": " + name_of(from, seat.items[i]).text + ", " +
                         measured_cell(from, seat.items[i]).phrase.text + ". ";
    }
  }
  if (out.description.empty()) return {};
  out.title = from.say("seat.picture");
  out.caption = from.say("seat.picture_caption");
  out.marks = {document.plate_width, document.plate_height, marks.marks()};
  return out;
}

}  // namespace

Section seat_section(const Source& from, const Document& document) {
  Section out{"seat", from.say("seat.heading"), {}};
  if (!from.result.seat || from.result.seat->items.empty()) return out;
  out.blocks.emplace_back(Paragraph{{from.say("seat.intro")}});
  auto picture = picture_of(from, document);
  out.blocks.emplace_back(table_of(from, picture ? Numbered::kYes : Numbered::kNo));
  if (picture) out.blocks.emplace_back(std::move(*picture));
  out.blocks.emplace_back(Paragraph{{from.say("seat.definitions")}});
  out.blocks.emplace_back(definitions_of(from));
  out.blocks.emplace_back(Paragraph{{from.say("seat.note")}, Tone::kNote});
  return out;
}

}  // namespace tidemark::report
