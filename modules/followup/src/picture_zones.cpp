#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "open_changes.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "tidemark/lucency/codes.h"
#include "unroll.h"
#include "working.h"

namespace tidemark::followup {
namespace {

using lucency::Answer;
using lucency::Interface;
using lucency::State;

constexpr double kWidth = 1760.0;
constexpr double kLeft = 138.0;
constexpr double kRight = 1736.0;
constexpr double kZoneTop = 58.0;
constexpr double kZoneHeight = 66.0;
constexpr double kStripTop = 142.0;
constexpr double kStripHeight = 174.0;
constexpr double kLaneHeight = 11.0;  ///< of each interface
constexpr double kStripGap = 20.0;    ///< between a strip with its lanes and what comes next
constexpr double kPlotHeight = 190.0;
constexpr double kPlotStep = kPlotHeight + 46.0;
constexpr double kFootHeight = 66.0;
constexpr double kLeastTopMm = 2.5;  ///< the plots reach at least this width
constexpr double kMostTopMm = 6.0;
constexpr double kRoomPx = 6.0;  ///< a place speaks for columns no further from it than this

constexpr Colour kBefore{0.52, 0.54, 0.57};
constexpr Colour kFaint{0.42, 0.42, 0.44};
constexpr Colour kGrid{0.27, 0.27, 0.29};

/// One film on the page: the strip of its pixels and its widths.
struct Row {
  const HipFilm& hip;
  const FilmResult& result;
  const lucency::FilmLucency& lines;
};

/// Everything the page is drawn from. Rows: the past one first when there are two.
struct Page {
  std::vector<Row> rows;
  std::span<const lucency::ZoneChange> changes;
  std::vector<Interface> interfaces;
  Unrolled unrolled;
  double mm_per_unit = 1.0;
  std::string unit;

  [[nodiscard]] const Row& shown() const { return rows.back(); }
  [[nodiscard]] double strip_step() const {
    return kStripHeight + kLaneHeight * static_cast<double>(interfaces.size()) + kStripGap;
  }
};

std::vector<Interface> interfaces_of(const lucency::FilmLucency& film) {
  std::vector<Interface> out;
  for (const auto& line : film.lines) {
    if (std::find(out.begin(), out.end(), line.interface) == out.end())
      out.push_back(line.interface);
  }
  return out;
}

/// With one decimal or none, and without a sign where there is none to tell.
std::string digits(double value, int decimals) {
  const std::string text = with_uncertainty(value, decimals > 0 ? 1.0 : 100.0);
  const std::string number = text.substr(0, text.find(' '));
  return number.front() == '+' ? number.substr(1) : number;
}

std::string length_text(const Page& page, const Measured<Millimetres>& m) {
  const std::string text =
      with_uncertainty(m.value.value / page.mm_per_unit, m.u95.value / page.mm_per_unit);
  return text.front() == '+' ? text.substr(1) : text;
}

/// What the head of a zone says: of its interfaces the one with the most to tell.
struct Finding {
  const ZoneResult* zone = nullptr;
  const lucency::ZoneChange* change = nullptr;
};

int weight_of(const Finding& finding) {
  int weight = 0;
  if (finding.zone != nullptr) {
    weight += finding.zone->state == State::kPresent ? 8 : 0;
    weight += finding.zone->state == State::kCannotTell ? 4 : 0;
    weight += finding.zone->state == State::kAbsent ? 2 : 0;
  }
  const bool progressive = finding.change != nullptr && finding.change->progressive == Answer::kYes;
  return weight + (progressive ? 16 : 0);
}

Finding finding_of(const Page& page, int zone) {
  Finding best;
  for (const ZoneResult& one : page.shown().result.zones) {
    if (one.zone != zone) continue;
    const Finding finding{&one, lucency::change_at(page.changes, zone, one.interface)};
    if (best.zone == nullptr || weight_of(finding) > weight_of(best)) best = finding;
  }
  return best;
}

/// The longest of several wordings that fits.
void fitting_text(Canvas& canvas, const Vec2& middle, double width,
                  const std::vector<std::string>& wordings, TextStyle style) {
  style.anchor = Anchor::kCentre;
  for (const std::string& words : wordings) {
    if (canvas.text_width(words, style) > width && &words != &wordings.back()) continue;
    canvas.text(middle, words, style);
    return;
  }
}

std::vector<std::string> state_words(const Page& page, const ZoneResult& zone) {
  switch (zone.state) {
    case State::kPresent: {
      if (!zone.max) return {"line"};
      const std::string width = length_text(page, *zone.max);
      const std::string brief = digits(zone.max->value.value / page.mm_per_unit, 1);
      std::vector<std::string> out{width + " " + page.unit, brief + " " + page.unit, brief};
      if (zone.interface != Interface::kStemBone) {
        out.insert(out.begin(), words_of(zone.interface) + " " + width + " " + page.unit);
      }
      return out;
    }
    case State::kAbsent:
      return {"no line", "no"};
    case State::kCannotTell:
      return {"cannot tell", "?"};
    case State::kNotSeen:
      break;
  }
  return {"not seen", "-"};
}

std::vector<std::string> change_words(const lucency::ZoneChange& change, const ZoneResult& zone) {
  switch (change.progressive) {
    case Answer::kYes:
      return {"PROGRESSIVE", "GREW", "+"};
    case Answer::kNo:
      return zone.state == State::kPresent
                 ? std::vector<std::string>{"not progressive", "same", "="}
                 : std::vector<std::string>{""};
    case Answer::kCannotTell:
      break;
  }
  return {"change: cannot tell", "change ?", "?"};
}

void draw_zone_head(Canvas& canvas, const Page& page, const Unrolled::ZoneSpan& span) {
  const Finding finding = finding_of(page, span.zone);
  if (finding.zone == nullptr) return;
  const bool present = finding.zone->state == State::kPresent;
  const bool grew = finding.change != nullptr && finding.change->progressive == Answer::kYes;
  const Box box{span.from + 2.0, kZoneTop, std::max(30.0, span.to - span.from - 4.0), kZoneHeight};
  if (grew) {
    canvas.fill(box, kOrange);
  } else {
    canvas.frame(box, {present ? kWhite : kFaint, present ? 2.5 : 1.0});
  }
  const Colour ink = present || grew ? kWhite : kGrey;
  const double middle = box.x + 0.5 * box.width;
  const double room = box.width - 6.0;
  const std::string number = std::to_string(span.zone);
  fitting_text(canvas, {middle, kZoneTop + 21.0}, room, {"Zone " + number, number},
               {17.0, ink, Weight::kBold});
  fitting_text(canvas, {middle, kZoneTop + 41.0}, room, state_words(page, *finding.zone),
               {15.0, ink, present ? Weight::kBold : Weight::kNormal});
  if (finding.change == nullptr) return;
  fitting_text(canvas, {middle, kZoneTop + 60.0}, room,
               change_words(*finding.change, *finding.zone),
               {14.0, ink, grew ? Weight::kBold : Weight::kNormal});
}

/// What is said of each place, as a lane below the pixels: bright where a line is, thin where none
/// is, dotted where it cannot be told, nothing where nothing is seen.
void draw_lane(Canvas& canvas, const std::vector<UnrolledPoint>& points, double top, double step) {
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double x = points[i].x - 0.5 * step;
    const State state = points[i].point->state;
    if (state == State::kPresent)
      canvas.fill({x, top + 1.0, step + 0.5, kLaneHeight - 2.0}, kYellow);
    if (state == State::kAbsent) {
      canvas.fill({x, top + 0.5 * kLaneHeight - 0.5, step + 0.5, 1.0}, kFaint);
    }
    if (state == State::kCannotTell && i % 3 == 0) {
      canvas.dot({points[i].x, top + 0.5 * kLaneHeight}, 1.4, kGrey);
    }
  }
}

/// A thin line just beyond the far wall of what was found: the line itself stays free.
void draw_far_wall(Canvas& canvas, const std::vector<UnrolledPoint>& points, const Box& box) {
  const double px_per_mm = box.height / (kInsideMm + kOutsideMm);
  constexpr double kBeyondMm = 0.7;
  Polyline run;
  const auto end_run = [&]() {
    canvas.line(run, {kYellow, 1.1, 4.0});
    run.clear();
  };
  for (const UnrolledPoint& p : points) {
    if (p.point->state != State::kPresent || !p.point->width) {
      end_run();
      continue;
    }
    if (!run.empty() && p.x - run.back().x() > kRoomPx) end_run();
    const double mm = p.point->start.value + p.point->width->value.value + kBeyondMm;
    run.emplace_back(p.x, box.y + (kOutsideMm - mm) * px_per_mm);
  }
  end_run();
}

void draw_strip(Canvas& canvas, const Page& page, const Row& row, double top) {
  const Box box{kLeft, top, kRight - kLeft, kStripHeight};
  const auto first = page.unrolled.points(row.lines, page.interfaces.front());
  const Tone tone = strip_tone(row.hip, first);
  canvas.image(in_grey(straightened(row.hip, tone, first, box)), {box.x, box.y});
  const double step = 0.5 * page.unrolled.px_per_mm();
  double lane = top + kStripHeight;
  for (const Interface interface : page.interfaces) {
    const auto points = page.unrolled.points(row.lines, interface);
    canvas.clip(box);
    draw_far_wall(canvas, points, box);
    canvas.unclip();
    draw_lane(canvas, points, lane, step);
    lane += kLaneHeight;
    canvas.text({kLeft - 8.0, lane + 1.0},
                interface == Interface::kStemBone ? "line" : words_of(interface),
                {12.0, kYellow, Weight::kNormal, Anchor::kRight});
  }
  canvas.text({10.0, top + 20.0}, first_characters(printable(row.result.file), 15),
              {14.0, kWhite, Weight::kBold});
  if (row.result.date)
    canvas.text({10.0, top + 40.0}, format_date(*row.result.date), {14.0, kGrey});
  canvas.text({10.0, top + 60.0}, row.result.role == Role::kReference ? "reference" : "follow-up",
              {14.0, kGrey});
  canvas.text({kLeft - 8.0, top + kStripHeight - 10.0}, "metal",
              {13.0, kFaint, Weight::kNormal, Anchor::kRight});
}

/// Width at each column of the page, canvas px from kLeft: absent where it is not judged.
using Columns = std::vector<std::optional<double>>;

Columns columns_of(const Page& page, const Row& row, Interface interface) {
  Columns out(static_cast<std::size_t>(kRight - kLeft));
  const auto points = page.unrolled.points(row.lines, interface);
  std::size_t next = 0;
  for (std::size_t i = 0; i < out.size() && !points.empty(); ++i) {
    const double x = kLeft + static_cast<double>(i) + 0.5;
    while (next + 1 < points.size() &&
           std::abs(points[next + 1].x - x) <= std::abs(points[next].x - x)) {
      ++next;
    }
    const lucency::LinePoint& p = *points[next].point;
    if (std::abs(points[next].x - x) > kRoomPx) continue;
    if (p.state == State::kAbsent) out[i] = 0.0;
    if (p.state == State::kPresent && p.width) out[i] = p.width->value.value / page.mm_per_unit;
  }
  return out;
}

/// The plot of one interface: where its zero stands and what a unit is worth.
struct Axis {
  double base = 0.0;
  double per_unit = 1.0;
  double top = 3.0;  ///< in units

  [[nodiscard]] double y(double value) const { return base - std::min(value, top) * per_unit; }
};

Axis axis_of(const Page& page, const std::vector<Columns>& columns, double top_px) {
  double most = kLeastTopMm / page.mm_per_unit;
  for (const Columns& film : columns) {
    for (const auto& width : film) most = std::max(most, 1.15 * width.value_or(0.0));
  }
  most = std::min(most, kMostTopMm / page.mm_per_unit);
  return {top_px + kPlotHeight, kPlotHeight / most, most};
}

void draw_grid(Canvas& canvas, const Page& page, const Axis& axis) {
  const double step = page.unit == "mm" ? 1.0 : std::max(1.0, std::round(1.0 / page.mm_per_unit));
  for (int i = 0; step * i <= axis.top; ++i) {
    const double t = step * i;
    canvas.fill({kLeft, axis.y(t) - 0.5, kRight - kLeft, t > 0.0 ? 1.0 : 2.0},
                t > 0.0 ? kGrid : kGrey);
    canvas.text({kLeft - 8.0, axis.y(t) + 5.0}, digits(t, 0) + " " + page.unit,
                {14.0, kGrey, Weight::kNormal, Anchor::kRight});
  }
}

/// What may be said at a column of its width against that of the reference film.
enum class Against { kNothing, kNoGrowth, kGrowth };

/// At each column: nothing where the pair leaves the zone open.
std::vector<Against> said_at(const Page& page, Interface interface) {
  std::vector<Against> out(static_cast<std::size_t>(kRight - kLeft), Against::kNothing);
  for (const auto& span : page.unrolled.spans(page.shown().lines)) {
    const auto* change = lucency::change_at(page.changes, span.zone, interface);
    if (change == nullptr || !change->change) continue;
    const Against said = told_grown(*change) ? Against::kGrowth : Against::kNoGrowth;
    const auto last = static_cast<double>(out.size());
    const double from = std::clamp(std::floor(span.from) - kLeft, 0.0, last);
    const double to = std::clamp(std::ceil(span.to) - kLeft, from, last);
    std::fill(out.begin() + static_cast<std::ptrdiff_t>(from),
              out.begin() + static_cast<std::ptrdiff_t>(to), said);
  }
  return out;
}

/// Grey what both films have, bright what is new where the pair says that its zone grew, faint what
/// it says nothing of; where a place is open, dots on the zero line.
void draw_widths(Canvas& canvas, const Axis& axis, const std::vector<Columns>& columns,
                 const std::vector<Against>& said) {
  const Columns& now = columns.back();
  const bool two = columns.size() > 1;
  for (std::size_t i = 0; i < now.size(); ++i) {
    const double x = kLeft + static_cast<double>(i);
    if (!now[i]) continue;
    const double present = *now[i];
    const std::optional<double> before =
        two && said[i] != Against::kNothing ? columns.front()[i] : std::nullopt;
    if (two && before) {
      const double common = std::min(*before, present);
      canvas.fill({x, axis.y(common), 1.0, axis.base - axis.y(common)}, kBefore);
      canvas.fill({x, axis.y(present), 1.0, axis.y(common) - axis.y(present)},
                  said[i] == Against::kGrowth ? kOrange : kFaint);
    } else {
      // Nothing to compare with: the width alone, in its own shade.
      canvas.fill({x, axis.y(present), 1.0, axis.base - axis.y(present)}, two ? kFaint : kBefore);
    }
  }
}

/// The edge of a film's widths as a stroke, broken where it is not judged.
void draw_outline(Canvas& canvas, const Axis& axis, const Columns& film, const Stroke& stroke) {
  Polyline run;
  for (std::size_t i = 0; i <= film.size(); ++i) {
    const bool drawn = i < film.size() && film[i];
    if (drawn) run.emplace_back(kLeft + static_cast<double>(i) + 0.5, axis.y(*film[i]));
    if (drawn || run.empty()) continue;
    const bool flat = std::all_of(run.begin(), run.end(),
                                  [&](const Vec2& p) { return p.y() >= axis.base - 0.5; });
    if (!flat) canvas.line(run, stroke);
    run.clear();
  }
}

/// Where the shown film leaves it open: a pale band on the zero line with question marks.
void draw_open(Canvas& canvas, const Axis& axis, const Columns& film, const Page& page) {
  constexpr double kBand = 18.0;
  for (const auto& span : page.unrolled.spans(page.shown().lines)) {
    const double stop = std::min(span.to, kRight - 1.0);
    const auto open = [&](double x) { return !film[static_cast<std::size_t>(x - kLeft)]; };
    double from = std::max(kLeft, std::floor(span.from));
    while (from < stop) {
      double to = from;
      while (to < stop && open(to)) to += 1.0;
      if (to > from) {
        canvas.fill({from, axis.base - kBand, to - from, kBand}, kGrid);
        if (to - from > 10.0) {
          canvas.text({0.5 * (from + to), axis.base - 3.0}, "?",
                      {15.0, kGrey, Weight::kBold, Anchor::kCentre});
        }
      }
      from = to + 1.0;
    }
  }
}

void draw_plot(Canvas& canvas, const Page& page, Interface interface, double top) {
  std::vector<Columns> columns;
  for (const Row& row : page.rows) columns.push_back(columns_of(page, row, interface));
  const Axis axis = axis_of(page, columns, top);
  std::string title = "Width of the line";
  if (interface != Interface::kStemBone) title += ", " + words_of(interface);
  canvas.text({kLeft, top - 12.0}, title, {15.0, kWhite, Weight::kBold});
  draw_grid(canvas, page, axis);
  canvas.clip({kLeft, top - 4.0, kRight - kLeft, kPlotHeight + 8.0});
  draw_widths(canvas, axis, columns, said_at(page, interface));
  draw_open(canvas, axis, columns.back(), page);
  if (columns.size() > 1) draw_outline(canvas, axis, columns.front(), {kBlue, 1.8, 6.0});
  draw_outline(canvas, axis, columns.back(), {kWhite, 2.2});
  canvas.unclip();
}

/// Whether the next zone begins where this one ends, so that one border stands for both.
bool joins_next(const Page& page, double end) {
  const auto spans = page.unrolled.spans(page.shown().lines);
  return std::any_of(spans.begin(), spans.end(), [&](const auto& next) {
    return next.from > end && next.from - end < 2.0 * kRoomPx;
  });
}

void draw_borders(Canvas& canvas, const Page& page, double bottom) {
  for (const auto& span : page.unrolled.spans(page.shown().lines)) {
    for (const double x : {span.from, span.to}) {
      if (x > span.from && joins_next(page, x)) continue;
      canvas.fill({x - 0.5, kZoneTop + kZoneHeight, 1.0, bottom - kZoneTop - kZoneHeight},
                  {1.0, 1.0, 1.0, 0.35});
    }
  }
}

double key(Canvas& canvas, const Vec2& at, const Box& swatch, Colour colour,
           const std::string& text) {
  canvas.fill({at.x() + swatch.x, at.y() + swatch.y, swatch.width, swatch.height}, colour);
  const TextStyle style{14.0, kGrey};
  canvas.text({at.x() + 32.0, at.y()}, text, style);
  return at.x() + 32.0 + canvas.text_width(text, style) + 20.0;
}

void draw_foot(Canvas& canvas, const Page& page, double top) {
  const double y = top + 22.0;
  const Box area{0.0, -12.0, 26.0, 14.0};
  const Box stroke{0.0, -6.0, 26.0, 3.0};
  double x = kLeft;
  if (page.rows.size() > 1) {
    x = key(canvas, {x, y}, area, kOrange, "grew");
    x = key(canvas, {x, y}, area, kBefore, "already there");
    x = key(canvas, {x, y}, area, kFaint, "not told to have grown");
    x = key(canvas, {x, y}, stroke, kBlue, "reference (dashed)");
  }
  x = key(canvas, {x, y}, stroke, kWhite, page.rows.size() > 1 ? "this film" : "width");
  (void)key(canvas, {x, y}, stroke, kYellow, "line: its far wall and its place");
  if (page.unit == "mm") {
    const double bar = 10.0 * page.unrolled.px_per_mm();
    canvas.fill({kRight - bar, y - 8.0, bar, 3.0}, kWhite);
    canvas.text({kRight - bar - 8.0, y}, "10 mm along",
                {14.0, kGrey, Weight::kNormal, Anchor::kRight});
  }
  canvas.text({kLeft, y + 26.0},
              "? cannot be judged. Across, the pixels are stretched. ± is the "
              "half-width of the 95 % interval. " +
                  std::string(kCaution),
              {13.0, kGrey});
}

void draw_title(Canvas& canvas, const Page& page) {
  const FilmResult& film = page.shown().result;
  std::string title = "The stem's interface unrolled: " + film.file;
  if (film.date) title += ", " + format_date(*film.date);
  if (page.rows.size() > 1) {
    const FilmResult& before = page.rows.front().result;
    title += ", against " + before.file;
    if (film.date && before.date) {
      const int days = days_between(*before.date, *film.date);
      title += days == 0 ? " (of the same day)"
                         : " (" + std::to_string(std::abs(days)) +
                               (days > 0 ? " days before)" : " days later)");
    }
  }
  canvas.text({kLeft, 30.0}, title, {18.0, kWhite, Weight::kBold});
  canvas.text({kLeft, 49.0},
              page.shown().hip.from_side
                  ? "Down the front (left), round the tip, up the back (right)"
                  : "Down the lateral side (left), round the tip, up the medial side (right)",
              {13.0, kGrey});
}

}  // namespace

std::optional<Picture> draw_zones(const std::string& name, const ZonePages& films,
                                  LengthUnit unit) {
  if (!films.film.lucency || films.film.lucency->lines.empty()) return {};
  const bool in_px = unit == LengthUnit::kReferencePixels && films.result.calibration;
  std::vector<Row> rows;
  std::vector<const lucency::FilmLucency*> shown;
  if (films.reference != nullptr && films.reference->lucency) {
    rows.push_back({*films.reference, *films.reference_result, *films.reference->lucency});
    shown.push_back(&*films.reference->lucency);
  }
  rows.push_back({films.film, films.result, *films.film.lucency});
  shown.push_back(&*films.film.lucency);
  const Page page{rows,
                  films.changes,
                  interfaces_of(*films.film.lucency),
                  Unrolled(shown, kLeft, kRight),
                  in_px ? films.result.calibration->mm_per_px.value.value : 1.0,
                  in_px ? "px" : "mm"};
  const double plots = kStripTop + static_cast<double>(rows.size()) * page.strip_step() + 30.0;
  const double bottom = plots + static_cast<double>(page.interfaces.size()) * kPlotStep - 36.0;
  Canvas canvas(static_cast<int>(kWidth), static_cast<int>(bottom + kFootHeight), kDark);
  draw_title(canvas, page);
  for (std::size_t i = 0; i < rows.size(); ++i) {
    draw_strip(canvas, page, rows[i], kStripTop + static_cast<double>(i) * page.strip_step());
  }
  for (std::size_t i = 0; i < page.interfaces.size(); ++i) {
    draw_plot(canvas, page, page.interfaces[i], plots + static_cast<double>(i) * kPlotStep);
  }
  draw_borders(canvas, page, bottom - 10.0);
  for (const auto& span : page.unrolled.spans(page.shown().lines)) {
    draw_zone_head(canvas, page, span);
  }
  draw_foot(canvas, page, bottom);
  auto png = canvas.png();
  if (!png) return {};
  return Picture{name, std::move(*png)};
}

}  // namespace tidemark::followup
