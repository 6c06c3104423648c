#include <algorithm>
#include <array>
#include <cctype>
#include <string_view>
#include <utility>

#include "build.h"
#include "content.h"
#include "tidemark/assessment/seat.h"

namespace tidemark::archive {
namespace {

using assessment::AgainstPlan;
using assessment::SeatItem;
using assessment::SeatPlace;
using assessment::SeatUnit;
using followup::Result;

/// How a measure of the seat is coded: its name, and how it was taken.
struct Coded {
  const char* quantity;  ///< SeatItem::id
  Code name;
  Code how;
};

Code widths() { return own("SECTION", "Widths across the shaft axis, from the film's profile"); }

/// By SeatItem::id; tests/archive fails when one of the audit is missing here.
std::array<Coded, 13> coded_items() {
  return {{{"stem_tilt_deg", own("SEAT-TILT", "Tilt of the stem in the femur, varus positive"),
            own("AXES", "Angle between the axes of stem and shaft")},
           {"canal_fill_plus_20",
            own("FILL-PLUS-20", "Canal fill 20 mm above the lesser trochanter"), widths()},
           {"canal_fill_0", own("FILL-0", "Canal fill at the lesser trochanter"), widths()},
           {"canal_fill_minus_20",
            own("FILL-MINUS-20", "Canal fill 20 mm below the lesser trochanter"), widths()},
           {"canal_fill_minus_70",
            own("FILL-MINUS-70", "Canal fill 70 mm below the lesser trochanter"), widths()},
           {"flare_gap_mm", own("FLARE-GAP", "Gap beside the lateral flare"),
            own("SQUARE-TO-FLANK", "Square to the stem's flank, from the film's profile")},
           {"greater_trochanter_to_head_centre_mm",
            own("GT-TO-HEAD", "Greater trochanter above head centre, proximal positive"),
            own("ALONG-SHAFT", "Distance along the shaft axis")},
           {"neck_cut_above_lesser_trochanter_mm",
            own("NECK-CUT", "Neck cut above the lesser trochanter"),
            own("ALONG-STEM", "Distance along the stem axis")},
           {"femoral_offset_mm", own("FEMORAL-OFFSET", "Femoral offset, as projected"),
            own("ACROSS-SHAFT", "Distance square to the shaft axis")},
           {"canal_flare_index", own("FLARE-INDEX", "Canal flare index"), widths()},
           {"cortical_index", own("CORTICAL-INDEX", "Cortical index"), widths()},
           {"leg_length_difference_mm",
            own("LEG-LENGTH", "Leg length difference, this leg longer positive"),
            own("ALONG-PELVIS", "Distance along the pelvis' axis of symmetry")},
           {"leg_length_change_mm", own("LEG-CHANGE", "Change of leg length, longer positive"),
            own("NOT-TAKEN", "Not measured on a film after the operation")}}};
}

/// Upper case with hyphens, as codes of ours are written.
std::string as_code(std::string id) {
  std::transform(id.begin(), id.end(), id.begin(), [](unsigned char c) {
    return c == '_' ? '-' : static_cast<char>(std::toupper(c));
  });
  return id;
}

/// What a place shows; names that other groups use too have the same codes.
Code code_of(const SeatPlace& place) {
  const std::array<std::pair<std::string_view, Code>, 13> known{
      {{"stem_axis", own("STEM-AXIS", "Stem axis")},
       {"shaft_axis", own("SHAFT-AXIS", "Femoral shaft axis")},
       {"stem_width", own("STEM-WIDTH", "Width of the stem")},
       {"canal_width", own("CANAL-WIDTH", "Inner width of the canal")},
       {"isthmus_width", own("ISTHMUS-WIDTH", "Inner width of the canal's isthmus")},
       {"outer_width", own("OUTER-WIDTH", "Outer width of the femur")},
       {"flare_gap", own("GAP", "From the stem to the cortex")},
       {"greater_trochanter", own("GT", "Greater trochanter")},
       {"head_centre", own("HEAD-CENTRE", "Centre of the head")},
       {"lesser_trochanter", own("LT", "Lesser trochanter")},
       {"other_lesser_trochanter", own("OTHER-LT", "Lesser trochanter of the other hip")},
       {"pelvis_axis", own("PELVIS-AXIS", "Axis of symmetry of the pelvis")},
       {"neck_cut_height", own("CUT-HEIGHT", "From the lesser trochanter up to the cut")}}};
  const auto found = std::find_if(known.begin(), known.end(),
                                  [&](const auto& one) { return one.first == place.id; });
  return found == known.end() ? own("OFFSET-LINE", "From the shaft axis to the head's centre")
                              : found->second;
}

Code unit_code(SeatUnit unit) {
  if (unit == SeatUnit::kRatio) return unit::one();
  return unit == SeatUnit::kDegrees ? unit::degrees() : unit::millimetres();
}

Code coded(AgainstPlan verdict) {
  switch (verdict) {
    case AgainstPlan::kAsPlanned:
      return own("AS-PLANNED", "As planned");
    case AgainstPlan::kOffPlan:
      return own("OFF-PLAN", "Off the plan");
    case AgainstPlan::kCannotTell:
      break;
  }
  return own("CANNOT-TELL", "Cannot tell");
}

void add_value(const SeatItem& item, const Coded& as, const std::optional<SourceFacts>& source,
               Item& group) {
  if (!item.measured) return;
  const auto& m = *item.measured;
  Item value = measurement(as.name, {m.value, m.u, m.u95, unit_code(item.unit)});
  value.children.push_back(method(as.how));
  for (const SeatPlace& where : item.places) {
    if (!source) break;
    const Shape shape = where.px.size() == 1 ? Shape::kPoint : Shape::kPolyline;
    value.children.push_back(place(code_of(where), {shape, where.px}, source->image));
  }
  group.children.push_back(std::move(value));
}

void add_plan(const SeatItem& item, Item& group) {
  if (!item.planned) return;
  constexpr int kDecimals = 1;
  const Code unit = unit_code(item.unit);
  group.children.push_back(measurement(own("PLANNED", "Value that was planned"),
                                       {item.planned->value, {}, {}, unit, kDecimals}));
  group.children.push_back(measurement(own("PLAN-TOLERANCE", "Tolerance of the plan"),
                                       {item.planned->tolerance, {}, {}, unit, kDecimals}));
  group.children.push_back(code_item(Relation::kContains,
                                     own("AGAINST-PLAN", "Verdict against the plan"),
                                     coded(item.planned->verdict)));
}

Item seat_group(const Result& result, const SeatItem& item, const Coded& as, const Sources& sources,
                const Tracking& tracking) {
  const std::size_t film = result.seat->film;
  Item out = group({"seat " + item.id, code::femoral_stem(), {}, film}, result, tracking);
  add_value(item, as, sources[film], out);
  if (item.seat_class) {
    out.children.push_back(code_item(Relation::kContains,
                                     own("SEAT-CLASS", "Published class of the value"),
                                     own(as_code(item.seat_class->id), item.seat_class->text)));
    add_text(out, "CLASS-FROM", "Source of the class", item.seat_class->source);
  }
  add_plan(item, out);
  out.children.push_back(
      code_item(Relation::kContains, own("STATUS", "Whether it was measured"),
                item.measured ? own("MEASURED", "Measured") : own("NOT-MEASURED", "Not measured")));
  add_text(out, "REASON", "Reason", item.reason);
  add_text(out, "DEFINITION", "Definition of the measure", item.definition);
  add_text(out, "TO-BE-READ", "To be read with the value", item.remark);
  return out;
}

}  // namespace

std::vector<Item> seat_groups(const Result& result, const Sources& sources,
                              const Tracking& tracking) {
  std::vector<Item> out;
  if (!result.seat) return out;
  const auto all = coded_items();
  for (const SeatItem& item : result.seat->items) {
    const auto as = std::find_if(all.begin(), all.end(),
                                 [&](const Coded& one) { return item.id == one.quantity; });
    if (as != all.end()) out.push_back(seat_group(result, item, *as, sources, tracking));
  }
  return out;
}

}  // namespace tidemark::archive
