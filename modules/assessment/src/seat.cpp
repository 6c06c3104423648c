#include "tidemark/assessment/seat.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <tuple>
#include <utility>

#include "seat_words.h"
#include "tidemark/assessment/judge.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::assessment {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

/// How unevenly legs are laid, one standard deviation (docs/design.md 9).
constexpr double kFlexion = 4.0 * kDegree;
/// The head stands before its stem by offset times the sine of the anteversion (12 degrees, common
/// practice, no source), the greater trochanter a little behind it (docs/design.md 9): mm apart in
/// depth.
constexpr double kTrochanterToHeadDepthMm = 17.0;
/// The lesser trochanter stands some 20 mm behind the stem (docs/design.md), the head 9 before it.
constexpr double kLesserToHeadDepthMm = 29.0;
/// What a neck's cut that was taken for another edge adds: three of 13 did on simulated films of
/// two simulators, RMS of all 4.9 mm (docs/seat.md).
constexpr double kWrongCornerUMm = 4.5;
/// How far a leg is laid aside of where the other one is, one standard deviation (house choice).
constexpr double kAbduction = 2.5 * kDegree;
/// Where the axis of a shaft is placed, mm: its middles scatter little (docs/anatomy.md).
constexpr double kAxisPlaceUMm = 0.3;
/// The shaft axis is that of a stretch about this far below the lesser trochanter.
constexpr double kAxisMiddleBelowMm = 55.0;
// Tolerances of a plan: neutral 0 +- 3 degrees (Luger et al. 2022, Arch Orthop Trauma Surg 142);
// lengths: house choice.
constexpr double kTiltToleranceDeg = 3.0;
constexpr double kLengthToleranceMm = 5.0;
constexpr int kFlareLevelMm = 20;  ///< canal flare index, above the lesser trochanter
constexpr int kCorticalLevelMm = -100;
constexpr int kIsthmusFromMm = -20;

Planned against(const Measured<double>& measured, double planned, double tolerance) {
  Planned out{planned, tolerance, AgainstPlan::kCannotTell};
  const double off = std::abs(measured.value - planned);
  const double guard = kGuard * measured.u;
  if (off - guard > tolerance) out.verdict = AgainstPlan::kOffPlan;
  if (off + guard < tolerance) out.verdict = AgainstPlan::kAsPlanned;
  return out;
}

/// Holds an item against its plan, if there is one.
template <class Q>
void compare_with(const std::optional<Q>& plan, double tolerance, SeatItem& out) {
  if (!plan) return;
  out.planned = Planned{plan->value, tolerance, AgainstPlan::kCannotTell};
  if (out.measured) out.planned = against(*out.measured, plan->value, tolerance);
}

const anatomy::Section* section_at(const SeatEvidence& film, int level_mm) {
  const auto& all = film.canal.sections;
  const auto found = std::find_if(all.begin(), all.end(), [&](const anatomy::Section& s) {
    return std::lround(s.level.value) == level_mm;
  });
  return found == all.end() ? nullptr : &*found;
}

using Part = std::optional<Measured<Millimetres>>;

/// Sum of both sides of a section.
std::optional<Measured<double>> width(const Part& lateral, const Part& medial) {
  if (!lateral || !medial) return {};
  return measured(lateral->value.value + medial->value.value,
                  std::hypot(lateral->u.value, medial->u.value));
}

Measured<double> ratio(const Measured<double>& a, const Measured<double>& b) {
  const double value = a.value / b.value;
  return measured(value, std::abs(value) * std::hypot(a.u / a.value, b.u / b.value));
}

/// A measure as read from the film: a value, or the reason why there is none.
struct Reading {
  std::optional<Measured<double>> measured = {};
  std::string reason = {};
  std::string remark = {};
  std::vector<SeatPlace> places = {};
};

/// Reading without a value.
Reading none(std::string reason) { return {.reason = std::move(reason)}; }

/// Lines and points that a measure was read from, px of the hip view.
class Places {
 public:
  explicit Places(const SeatEvidence& film) : film_(film), px_(1.0 / film.scale.value.value) {}

  /// Across the shaft axis at a section, from one distance lateral of it to another medial of it.
  [[nodiscard]] SeatPlace across(const char* id, const anatomy::Section& section,
                                 const Part& lateral, const Part& medial) const {
    const Vec2 distal =
        film_.femur.shaft_axis ? film_.femur.shaft_axis->line_px.direction : Vec2(Vec2::UnitY());
    const Vec2 to_medial(distal.y(), -distal.x());
    return {id,
            {section.centre_px - lateral->value.value * px_ * to_medial,
             section.centre_px + medial->value.value * px_ * to_medial}};
  }
  /// An axis beside the stem, from the level of its shoulder to that of its tip.
  [[nodiscard]] SeatPlace axis(const char* id, const Line2& line) const {
    const auto at = [&](const Vec2& level) {
      return Vec2(line.point + along(line, level) * line.direction);
    };
    return {id, {at(film_.implant.shoulder.px), at(film_.implant.tip.px)}};
  }

 private:
  const SeatEvidence& film_;
  double px_;
};

SeatPlace point(const char* id, const Vec2& px) { return {id, {px}}; }

Reading tilt(const SeatEvidence& film) {
  if (!film.tilt) return none("The axis of the shaft is not seen.");
  Reading out{Measured<double>{film.tilt->value.value, film.tilt->u.value, film.tilt->u95.value}};
  const Places places(film);
  out.places.push_back(places.axis("stem_axis", film.implant.axis.line_px));
  if (film.femur.shaft_axis) {
    out.places.push_back(places.axis("shaft_axis", film.femur.shaft_axis->line_px));
  }
  return out;
}

/// Whether the medial bone was sawn off below a level, as far as the film tells.
bool cut_below(const SeatEvidence& film, double level_mm) {
  return film.calcar && film.calcar->height && film.calcar->height->value.value < level_mm;
}

constexpr const char* kNoBoneMedially =
    "The neck seems to be cut below this level, so that no medial bone is left.";
constexpr const char* kLevelNotSeen =
    "Shaft axis or lesser trochanter are not seen, or the film ends before this level.";

bool is_at_the_metal(const anatomy::Section& section) {
  return section.lateral.border == anatomy::InnerBorder::kAtTheMetal ||
         section.medial.border == anatomy::InnerBorder::kAtTheMetal;
}

Reading fill(const SeatEvidence& film, int level_mm) {
  const anatomy::Section* section = section_at(film, level_mm);
  if (section == nullptr) return none(kLevelNotSeen);
  if (cut_below(film, level_mm)) return none(kNoBoneMedially);
  const auto& [lateral, medial] = std::tie(section->lateral, section->medial);
  const auto stem = width(lateral.metal, medial.metal);
  if (!stem) return none("The stem does not reach this level.");
  const auto canal = width(lateral.inner, medial.inner);
  if (!canal || !(canal->value > 0.0)) {
    return none("The inner border of the cortex does not stand apart here.");
  }
  Reading out{ratio(*stem, *canal)};
  if (is_at_the_metal(*section)) {
    out.remark = "Bone reaches up to the metal's blur on at least one side.";
  }
  const Places places(film);
  // The longer line first, so that whoever draws them in order hides none.
  out.places = {places.across("canal_width", *section, lateral.inner, medial.inner),
                places.across("stem_width", *section, lateral.metal, medial.metal)};
  return out;
}

Reading flare(const SeatEvidence& film) {
  if (!film.canal.flare) {
    return none("The neck's axis does not meet the stem's lateral flank on this film.");
  }
  const anatomy::FlareSeat& seat = *film.canal.flare;
  if (!seat.gap) return none("The inner border of the lateral cortex does not stand apart there.");
  Reading out{measured(seat.gap->value.value, seat.gap->u.value)};
  if (seat.border == anatomy::InnerBorder::kAtTheMetal) {
    out.remark = "Contact as far as a film shows: bone reaches up to the metal's blur.";
  }
  const double px = seat.gap->value.value / film.scale.value.value;
  out.places.push_back({"flare_gap", {seat.px, seat.px + px * seat.out}});
  return out;
}

Reading trochanter_to_head(const SeatEvidence& film) {
  if (!film.femur.greater_trochanter || !film.femur.shaft_axis) {
    return none("The tip of the greater trochanter or the axis of the shaft is not seen.");
  }
  const double mm = film.scale.value.value;
  const Line2& shaft = film.femur.shaft_axis->line_px;
  const anatomy::Landmark& tip = *film.femur.greater_trochanter;
  const Vec2 head = film.implant.head.circle_px.centre;
  const Vec2 apart = head - tip.px;
  const double value = mm * shaft.direction.dot(apart);
  const double across =
      mm * std::abs(shaft.direction.x() * apart.y() - shaft.direction.y() * apart.x());
  const std::array<Contribution, 5> parts{
      {{mm, tip.u_px},
       {mm, film.implant.head.centre_u_px},
       {across, film.femur.shaft_axis->direction_u.value * kDegree},
       {value / mm, film.scale.u.value},
       {kTrochanterToHeadDepthMm, kFlexion}}};
  return {.measured = measured(value, combine(parts).u),
          .remark = "Its uncertainty holds a leg that may be flexed by some 4 degrees.",
          .places = {point("greater_trochanter", tip.px), point("head_centre", head),
                     Places(film).axis("shaft_axis", shaft)}};
}

Reading neck_cut(const SeatEvidence& film) {
  if (!film.calcar || !film.calcar->height) {
    return none(film.calcar && !film.calcar->reason.empty()
                    ? film.calcar->reason
                    : "The cut neck or the lesser trochanter is not seen.");
  }
  const auto& height = *film.calcar->height;
  Reading out{measured(height.value.value, std::hypot(height.u.value, kWrongCornerUMm))};
  out.remark =
      "Look at the picture: on 3 of 13 simulated films another edge was taken for the cut, 8 to 11 "
      "mm too low.";
  if (film.femur.lesser_trochanter) {
    const Vec2 lesser = film.femur.lesser_trochanter->px;
    const double px = height.value.value / film.scale.value.value;
    out.places = {point("lesser_trochanter", lesser),
                  {"neck_cut_height", {lesser - px * film.implant.axis.line_px.direction, lesser}}};
  }
  return out;
}

Reading offset(const SeatEvidence& film) {
  if (!film.femur.shaft_axis) return none("The axis of the shaft is not seen.");
  const double mm = film.scale.value.value;
  const Line2& shaft = film.femur.shaft_axis->line_px;
  const Vec2 head = film.implant.head.circle_px.centre;
  const double value = -mm * signed_distance(shaft, head);  // medial positive in the hip view
  double lever = mm * std::abs(along(shaft, head));
  if (film.femur.lesser_trochanter) {
    lever = kAxisMiddleBelowMm + mm * shaft.direction.dot(film.femur.lesser_trochanter->px - head);
  }
  const std::array<Contribution, 4> parts{
      {{1.0, kAxisPlaceUMm},
       {mm, film.implant.head.centre_u_px},
       {lever, film.femur.shaft_axis->direction_u.value * kDegree},
       {value / mm, film.scale.u.value}}};
  const Vec2 foot = shaft.point + along(shaft, head) * shaft.direction;
  return {.measured = measured(value, combine(parts).u),
          .remark =
              "As projected: a neck that does not lie in the plane of the film shows less offset "
              "than it has, 3 % at 15 degrees, 9 % at 25.",
          .places = {{"offset", {foot, head}}, Places(film).axis("shaft_axis", shaft)}};
}

/// The narrowest part of the canal, when the canal is seen to widen again below it.
const anatomy::Section* isthmus(const SeatEvidence& film) {
  const anatomy::Section* narrowest = nullptr;
  const anatomy::Section* last = nullptr;
  double least = 1e9;
  for (const anatomy::Section& section : film.canal.sections) {
    if (section.level.value > kIsthmusFromMm) continue;
    const auto inner = width(section.lateral.inner, section.medial.inner);
    if (!inner) continue;
    last = &section;
    if (inner->value < least) {
      least = inner->value;
      narrowest = &section;
    }
  }
  return narrowest == last ? nullptr : narrowest;
}

Reading flare_index(const SeatEvidence& film) {
  if (cut_below(film, kFlareLevelMm)) return none(kNoBoneMedially);
  const anatomy::Section* top = section_at(film, kFlareLevelMm);
  const auto above = top != nullptr ? width(top->lateral.inner, top->medial.inner) : std::nullopt;
  if (!above) return none("The canal's width 20 mm above the lesser trochanter is not seen.");
  const anatomy::Section* narrow = isthmus(film);
  if (narrow == nullptr) {
    return none("The isthmus is not on the film: the canal narrows to its end.");
  }
  const Places places(film);
  return {.measured = ratio(*above, *width(narrow->lateral.inner, narrow->medial.inner)),
          .places = {places.across("canal_width", *top, top->lateral.inner, top->medial.inner),
                     places.across("isthmus_width", *narrow, narrow->lateral.inner,
                                   narrow->medial.inner)}};
}

Reading cortical_index(const SeatEvidence& film) {
  const anatomy::Section* section = section_at(film, kCorticalLevelMm);
  if (section == nullptr) return none(kLevelNotSeen);
  const auto& [lateral, medial] = std::tie(section->lateral, section->medial);
  const auto outer = width(lateral.outer, medial.outer);
  const auto inner = width(lateral.inner, medial.inner);
  if (!outer || !inner) {
    return none("The borders of the cortex do not stand apart 100 mm below the lesser trochanter.");
  }
  if (is_at_the_metal(*section)) {
    return none(
        "The stem reaches 100 mm below the lesser trochanter, and the cortex does not stand apart "
        "from it.");
  }
  const Measured<double> share = ratio(*inner, *outer);
  const Places places(film);
  return {.measured = measured(1.0 - share.value, share.u),
          .places = {places.across("outer_width", *section, lateral.outer, medial.outer),
                     places.across("canal_width", *section, lateral.inner, medial.inner)}};
}

Reading leg_length(const SeatEvidence& film) {
  const anatomy::Pelvis* pelvis = film.pelvis;
  if (pelvis == nullptr) {
    return none("Both sides of the pelvis are needed: " +
                (film.pelvis_reason.empty() ? "they were not looked for" : film.pelvis_reason) +
                ".");
  }
  if (!pelvis->other_lesser_trochanter || !film.femur.lesser_trochanter) {
    return none(pelvis->reason);
  }
  const double mm = film.scale.value.value;
  const Vec2 down = pelvis->axis_px.direction;
  const Vec2 lesser = film.femur.lesser_trochanter->px;
  const Vec2 other = pelvis->other_lesser_trochanter->px;
  const Vec2 from_head = lesser - film.implant.head.circle_px.centre;
  const double value = mm * down.dot(lesser - other);
  const auto across = [&](const Vec2& v) {
    return mm * std::abs(down.x() * v.y() - down.y() * v.x());
  };
  // Each leg is laid by itself: two of them.
  const double two_legs = std::numbers::sqrt2;
  const std::array<Contribution, 5> parts{
      {{across(lesser - other), pelvis->direction_u.value * kDegree},
       {mm, pelvis->other_lesser_trochanter->u_px},
       {value / mm, film.scale.u.value},
       {two_legs * kLesserToHeadDepthMm, kFlexion},
       {two_legs * across(from_head), kAbduction}}};
  return {.measured = measured(value, combine(parts).u),
          .remark =
              "Its uncertainty holds legs that are flexed otherwise by some 4 degrees and laid "
              "aside otherwise by 2.5; a pelvis that differs from side to side, or a bent knee, is "
              "not in it.",
          .places = {point("lesser_trochanter", lesser), point("other_lesser_trochanter", other),
                     Places(film).axis("pelvis_axis", pelvis->axis_px)}};
}

SeatItem item_of(const SeatWords& words, Reading reading) {
  SeatItem out;
  out.id = words.id;
  out.name = words.name;
  out.definition = words.definition;
  out.unit = words.unit;
  out.positive = words.positive;
  out.measured = reading.measured;
  out.reason = std::move(reading.reason);
  out.remark = std::move(reading.remark);
  out.places = std::move(reading.places);
  if (out.measured) out.seat_class = class_of(words, *out.measured);
  return out;
}

/// What a plan asks for and no film after the operation can answer.
SeatItem leg_length_change(const Millimetres& planned) {
  SeatItem out = item_of(
      kLegChange, none("A film taken after the operation does not show how long the leg was before "
                       "it; plan leg_length_difference_mm instead."));
  compare_with(std::optional<Millimetres>(planned), kLengthToleranceMm, out);
  return out;
}

/// Without a scale neither levels nor lengths are known.
void drop_what_needs_a_scale(std::vector<SeatItem>& items) {
  for (SeatItem& one : items) {
    if (one.unit == SeatUnit::kDegrees) continue;
    one.measured.reset();
    one.seat_class.reset();
    one.remark.clear();
    one.places.clear();
    one.reason = "Nothing gives the scale of this film.";
  }
}

}  // namespace

std::string unit_of(SeatUnit unit) {
  switch (unit) {
    case SeatUnit::kMillimetres:
      return "mm";
    case SeatUnit::kDegrees:
      return "deg";
    case SeatUnit::kRatio:
      break;
  }
  return "1";
}

std::string code_of(AgainstPlan verdict) {
  switch (verdict) {
    case AgainstPlan::kAsPlanned:
      return "as_planned";
    case AgainstPlan::kOffPlan:
      return "off_plan";
    case AgainstPlan::kCannotTell:
      break;
  }
  return "cannot_tell";
}

std::string told(const SeatItem& item) {
  if (!item.measured) return "not measured";
  std::string out = with_uncertainty(item.measured->value, item.measured->u95);
  if (item.positive.empty() && out.front() == '+') out.erase(0, 1);
  return item.unit == SeatUnit::kRatio ? out : out + " " + unit_of(item.unit);
}

std::vector<SeatItem> audit_seat(const SeatEvidence& film) {
  std::vector<SeatItem> items{item_of(kTilt, tilt(film))};
  for (const FillLevel& level : kFillLevels) {
    items.push_back(item_of(level.words, fill(film, level.mm)));
  }
  for (const auto& [words, read] :
       {std::pair{&kFlareGap, &flare}, std::pair{&kTrochanterToHead, &trochanter_to_head},
        std::pair{&kNeckCut, &neck_cut}, std::pair{&kOffset, &offset},
        std::pair{&kFlareIndex, &flare_index}, std::pair{&kCorticalIndex, &cortical_index},
        std::pair{&kLegLength, &leg_length}}) {
    items.push_back(item_of(*words, read(film)));
  }
  if (film.lengths == Lengths::kPixels) drop_what_needs_a_scale(items);
  for (SeatItem& one : items) {
    if (one.id == kTilt.id) compare_with(film.plan.stem_tilt, kTiltToleranceDeg, one);
    if (one.id == kTrochanterToHead.id) {
      compare_with(film.plan.greater_trochanter_to_head_centre, kLengthToleranceMm, one);
    }
    if (one.id == kLegLength.id) {
      compare_with(film.plan.leg_length_difference, kLengthToleranceMm, one);
    }
  }
  if (film.plan.leg_length_change) items.push_back(leg_length_change(*film.plan.leg_length_change));
  return items;
}

}  // namespace tidemark::assessment
