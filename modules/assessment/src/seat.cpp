#include "tidemark/assessment/seat.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <span>

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

/// A class of values from `from` (included) up to `to`.
struct Band {
  double from;
  double to;
  const char* id;
  const char* text;
};

std::optional<SeatClass> class_of(const Measured<double>& measured, std::span<const Band> bands,
                                  const char* source) {
  const double guard = kGuard * measured.u;
  for (const Band& band : bands) {
    if (measured.value - guard >= band.from && measured.value + guard < band.to) {
      return SeatClass{band.id, band.text, source};
    }
  }
  return {};
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

SeatItem item(const char* id, const char* name, const char* definition, SeatUnit unit) {
  SeatItem out;
  out.id = id;
  out.name = name;
  out.definition = definition;
  out.unit = unit;
  return out;
}

SeatItem tilt(const SeatEvidence& film) {
  SeatItem out = item("stem_tilt_deg", "Tilt of the stem",
                      "Angle between the axis of the stem and that of the shaft 20 to 90 mm below "
                      "the lesser trochanter; varus is positive.",
                      SeatUnit::kDegrees);
  out.positive = "varus";
  if (!film.tilt) {
    out.reason = "The axis of the shaft is not seen.";
    return out;
  }
  out.measured = Measured<double>{film.tilt->value.value, film.tilt->u.value, film.tilt->u95.value};
  constexpr std::array<Band, 3> kBands{{{-90.0, -3.0, "valgus", "valgus"},
                                        {-3.0, 3.0, "neutral", "neutral"},
                                        {3.0, 90.0, "varus", "varus"}}};
  out.seat_class = class_of(*out.measured, kBands,
                            "neutral 0 ± 3°: Luger et al. 2022, Arch Orthop Trauma Surg "
                            "142:2935-2944, doi 10.1007/s00402-021-04176-5");
  return out;
}

/// Whether the medial bone was sawn off below a level, as far as the film tells.
bool cut_below(const SeatEvidence& film, double level_mm) {
  return film.calcar && film.calcar->height && film.calcar->height->value.value < level_mm;
}

constexpr const char* kNoBoneMedially =
    "The neck seems to be cut below this level, so that no medial bone is left.";

SeatItem fill(const SeatEvidence& film, int level_mm, const char* id, const char* name) {
  SeatItem out = item(id, name,
                      "Width of the stem over the inner width of the canal, across the axis of the "
                      "shaft; levels count from the lesser trochanter's most prominent point.",
                      SeatUnit::kRatio);
  const anatomy::Section* section = section_at(film, level_mm);
  if (section == nullptr) {
    out.reason =
        "Shaft axis or lesser trochanter are not seen, or the film ends before this level.";
    return out;
  }
  if (cut_below(film, level_mm)) {
    out.reason = kNoBoneMedially;
    return out;
  }
  const auto stem = width(section->lateral.metal, section->medial.metal);
  const auto canal = width(section->lateral.inner, section->medial.inner);
  if (!stem) {
    out.reason = "The stem does not reach this level.";
  } else if (!canal || !(canal->value > 0.0)) {
    out.reason = "The inner border of the cortex does not stand apart here.";
  } else {
    out.measured = ratio(*stem, *canal);
    if (section->lateral.border == anatomy::InnerBorder::kAtTheMetal ||
        section->medial.border == anatomy::InnerBorder::kAtTheMetal) {
      out.remark = "Bone reaches up to the metal's blur on at least one side.";
    }
    constexpr std::array<Band, 2> kBands{
        {{0.0, 0.80, "fill_to_80", "up to 80 %"}, {0.80, 9.0, "fill_above_80", "above 80 %"}}};
    out.seat_class = class_of(*out.measured, kBands,
                              "80 %: Arch Orthop Trauma Surg 2022;142:1265-1273, doi "
                              "10.1007/s00402-021-03916-x");
  }
  return out;
}

SeatItem flare(const SeatEvidence& film) {
  SeatItem out = item("flare_gap_mm", "Gap beside the lateral flare",
                      "From the stem to the inner border of the lateral cortex, perpendicular to "
                      "the stem's flank where the axis of the neck meets it.",
                      SeatUnit::kMillimetres);
  if (!film.canal.flare) {
    out.reason = "The neck's axis does not meet the stem's lateral flank on this film.";
  } else if (!film.canal.flare->gap) {
    out.reason = "The inner border of the lateral cortex does not stand apart there.";
  } else {
    const auto& gap = *film.canal.flare->gap;
    out.measured = measured(gap.value.value, gap.u.value);
    if (film.canal.flare->border == anatomy::InnerBorder::kAtTheMetal) {
      out.remark = "Contact as far as a film shows: bone reaches up to the metal's blur.";
    }
  }
  return out;
}

SeatItem trochanter_to_head(const SeatEvidence& film) {
  SeatItem out = item("greater_trochanter_to_head_centre_mm", "Greater trochanter to head centre",
                      "From the head's centre to the level of the greater trochanter's tip along "
                      "the axis of the shaft; tip proximal of the centre is positive.",
                      SeatUnit::kMillimetres);
  out.positive = "tip proximal";
  if (!film.femur.greater_trochanter || !film.femur.shaft_axis) {
    out.reason = "The tip of the greater trochanter or the axis of the shaft is not seen.";
    return out;
  }
  const double mm = film.scale.value.value;
  const Line2& shaft = film.femur.shaft_axis->line_px;
  const anatomy::Landmark& tip = *film.femur.greater_trochanter;
  const Vec2 apart = film.implant.head.circle_px.centre - tip.px;
  const double value = mm * shaft.direction.dot(apart);
  const double across =
      mm * std::abs(shaft.direction.x() * apart.y() - shaft.direction.y() * apart.x());
  const std::array<Contribution, 5> parts{
      {{mm, tip.u_px},
       {mm, film.implant.head.centre_u_px},
       {across, film.femur.shaft_axis->direction_u.value * kDegree},
       {value / mm, film.scale.u.value},
       {kTrochanterToHeadDepthMm, kFlexion}}};
  out.measured = measured(value, combine(parts).u);
  out.remark = "Its uncertainty holds a leg that may be flexed by some 4 degrees.";
  return out;
}

SeatItem neck_cut(const SeatEvidence& film) {
  SeatItem out =
      item("neck_cut_above_lesser_trochanter_mm", "Neck cut above the lesser trochanter",
           "Level of the cut neck on the medial flank above the lesser trochanter's most "
           "prominent point, along the axis of the stem.",
           SeatUnit::kMillimetres);
  if (!film.calcar || !film.calcar->height) {
    out.reason = film.calcar && !film.calcar->reason.empty()
                     ? film.calcar->reason
                     : "The cut neck or the lesser trochanter is not seen.";
    return out;
  }
  const auto& height = *film.calcar->height;
  out.measured = measured(height.value.value, std::hypot(height.u.value, kWrongCornerUMm));
  out.remark =
      "Look at the picture: on 3 of 13 simulated films another edge was taken for the cut, 8 to 11 "
      "mm too low.";
  return out;
}

SeatItem offset(const SeatEvidence& film) {
  SeatItem out = item("femoral_offset_mm", "Femoral offset",
                      "Perpendicular distance of the head's centre from the axis of the shaft, as "
                      "projected on this film.",
                      SeatUnit::kMillimetres);
  if (!film.femur.shaft_axis) {
    out.reason = "The axis of the shaft is not seen.";
    return out;
  }
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
  out.measured = measured(value, combine(parts).u);
  out.remark =
      "As projected: a neck that does not lie in the plane of the film shows less offset than it "
      "has, 3 % at 15 degrees, 9 % at 25.";
  return out;
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

SeatItem flare_index(const SeatEvidence& film) {
  SeatItem out = item("canal_flare_index", "Canal flare index",
                      "Inner width of the canal 20 mm above the lesser trochanter over that of its "
                      "isthmus, on this film.",
                      SeatUnit::kRatio);
  const anatomy::Section* top = section_at(film, kFlareLevelMm);
  const anatomy::Section* narrow = isthmus(film);
  const auto above = top != nullptr ? width(top->lateral.inner, top->medial.inner) : std::nullopt;
  if (cut_below(film, kFlareLevelMm)) {
    out.reason = kNoBoneMedially;
  } else if (!above) {
    out.reason = "The canal's width 20 mm above the lesser trochanter is not seen.";
  } else if (narrow == nullptr) {
    out.reason = "The isthmus is not on the film: the canal narrows to its end.";
  } else {
    out.measured = ratio(*above, *width(narrow->lateral.inner, narrow->medial.inner));
    constexpr std::array<Band, 3> kBands{{{0.0, 3.0, "stovepipe", "stovepipe canal"},
                                          {3.0, 4.7, "normal_canal", "normal canal"},
                                          {4.7, 99.0, "champagne_flute", "champagne flute"}}};
    out.seat_class = class_of(*out.measured, kBands,
                              "Noble et al. 1988, Clin Orthop Relat Res 235:148-165 (second hand)");
  }
  return out;
}

SeatItem cortical_index(const SeatEvidence& film) {
  SeatItem out = item("cortical_index", "Cortical index",
                      "Outer less inner width of the femur over the outer one, 100 mm below the "
                      "lesser trochanter.",
                      SeatUnit::kRatio);
  const anatomy::Section* section = section_at(film, kCorticalLevelMm);
  const auto outer =
      section != nullptr ? width(section->lateral.outer, section->medial.outer) : std::nullopt;
  const auto inner =
      section != nullptr ? width(section->lateral.inner, section->medial.inner) : std::nullopt;
  if (section == nullptr) {
    out.reason =
        "Shaft axis or lesser trochanter are not seen, or the film ends before this level.";
  } else if (!outer || !inner) {
    out.reason = "The borders of the cortex do not stand apart 100 mm below the lesser trochanter.";
  } else if (section->lateral.border == anatomy::InnerBorder::kAtTheMetal ||
             section->medial.border == anatomy::InnerBorder::kAtTheMetal) {
    out.reason =
        "The stem reaches 100 mm below the lesser trochanter, and the cortex does not stand apart "
        "from it.";
  } else {
    const Measured<double> share = ratio(*inner, *outer);
    out.measured = measured(1.0 - share.value, share.u);
    constexpr std::array<Band, 3> kBands{{{0.0, 0.49, "dorr_c", "Dorr C by this index"},
                                          {0.49, 0.58, "dorr_b", "Dorr B by this index"},
                                          {0.58, 1.0, "dorr_a", "Dorr A by this index"}}};
    out.seat_class = class_of(*out.measured, kBands,
                              "Dorr et al. 1993, Bone 14:231-242; limits by a later author (second "
                              "hand)");
  }
  return out;
}

SeatItem leg_length(const SeatEvidence& film) {
  SeatItem out = item("leg_length_difference_mm", "Leg length difference",
                      "How much farther distal the lesser trochanter of this hip lies than that of "
                      "the other one, along the axis of mirror symmetry of the pelvis.",
                      SeatUnit::kMillimetres);
  out.positive = "this leg longer";
  const anatomy::Pelvis* pelvis = film.pelvis;
  if (pelvis == nullptr) {
    out.reason = "Both sides of the pelvis are needed: " +
                 (film.pelvis_reason.empty() ? "they were not looked for" : film.pelvis_reason) +
                 ".";
    return out;
  }
  if (!pelvis->other_lesser_trochanter || !film.femur.lesser_trochanter) {
    out.reason = pelvis->reason;
    return out;
  }
  const double mm = film.scale.value.value;
  const Vec2 down = pelvis->axis_px.direction;
  const Vec2 lesser = film.femur.lesser_trochanter->px;
  const Vec2 apart = lesser - pelvis->other_lesser_trochanter->px;
  const Vec2 from_head = lesser - film.implant.head.circle_px.centre;
  const double value = mm * down.dot(apart);
  const auto across = [&](const Vec2& v) {
    return mm * std::abs(down.x() * v.y() - down.y() * v.x());
  };
  // Each leg is laid by itself: two of them.
  const double two_legs = std::numbers::sqrt2;
  const std::array<Contribution, 5> parts{{{across(apart), pelvis->direction_u.value * kDegree},
                                           {mm, pelvis->other_lesser_trochanter->u_px},
                                           {value / mm, film.scale.u.value},
                                           {two_legs * kLesserToHeadDepthMm, kFlexion},
                                           {two_legs * across(from_head), kAbduction}}};
  out.measured = measured(value, combine(parts).u);
  out.remark =
      "Its uncertainty holds legs that are flexed otherwise by some 4 degrees and laid aside "
      "otherwise by 2.5; a pelvis that differs from side to side, or a bent knee, is not in it.";
  return out;
}

/// What a plan asks for and no film after the operation can answer.
SeatItem leg_length_change(const Millimetres& planned) {
  SeatItem out = item("leg_length_change_mm", "Change of leg length",
                      "How much longer the operation has made the leg.", SeatUnit::kMillimetres);
  out.positive = "longer";
  out.reason =
      "A film taken after the operation does not show how long the leg was before it; plan "
      "leg_length_difference_mm instead.";
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
  std::vector<SeatItem> items{
      tilt(film),
      fill(film, 20, "canal_fill_plus_20", "Canal fill 20 mm above the lesser trochanter"),
      fill(film, 0, "canal_fill_0", "Canal fill at the lesser trochanter"),
      fill(film, -20, "canal_fill_minus_20", "Canal fill 20 mm below the lesser trochanter"),
      fill(film, -70, "canal_fill_minus_70", "Canal fill 70 mm below the lesser trochanter"),
      flare(film),
      trochanter_to_head(film),
      neck_cut(film),
      offset(film),
      flare_index(film),
      cortical_index(film),
      leg_length(film)};
  if (film.lengths == Lengths::kPixels) drop_what_needs_a_scale(items);
  for (SeatItem& one : items) {
    if (one.id == "stem_tilt_deg") compare_with(film.plan.stem_tilt, kTiltToleranceDeg, one);
    if (one.id == "greater_trochanter_to_head_centre_mm") {
      compare_with(film.plan.greater_trochanter_to_head_centre, kLengthToleranceMm, one);
    }
    if (one.id == "leg_length_difference_mm") {
      compare_with(film.plan.leg_length_difference, kLengthToleranceMm, one);
    }
  }
  if (film.plan.leg_length_change) items.push_back(leg_length_change(*film.plan.leg_length_change));
  return items;
}

}  // namespace tidemark::assessment
