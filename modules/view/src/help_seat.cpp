#include <array>
#include <string>
#include <string_view>

#include "document_parts.h"
#include "help_parts.h"
#include "tidemark/core/text.h"

namespace tidemark::view {
namespace {

/// How a measure of the seat is read, and whose definition it is (docs/seat.md).
struct Known {
  std::string_view id;  ///< of the item, or what it begins with
  const char* how;
  const char* source;
};

constexpr std::array<Known, 10> kKnown{{
    {"stem_tilt_deg",
     "Each axis is a line through the midpoints between its two borders. Blur moves both borders "
     "alike and cancels.",
     "Neutral 0 ± 3°: Luger et al. 2022, Arch Orthop Trauma Surg 142:2935-2944, doi "
     "10.1007/s00402-021-04176-5. The stretch of the shaft that gives its axis: house choice."},
    {"canal_fill_",
     "At each level the grey values across the shaft are averaged over 5 mm along it. The inner "
     "border of the cortex is the steepest fall beyond its brightest place; where the cortex stays "
     "bright up to the metal the border is taken to lie 0.75 mm from it, give or take 1.3 mm.",
     "Levels: common practice in studies of fill, no source (from memory). 80 %: Arch Orthop "
     "Trauma Surg 2022;142:1265-1273, doi 10.1007/s00402-021-03916-x."},
    {"flare_gap_mm",
     "Read square to the stem's flank, from the metal to where the cortex's inner border is "
     "steepest. Where bone reaches up to the metal's blur, contact cannot be told from a gap of a "
     "millimetre.",
     "Definition: house choice."},
    {"greater_trochanter_to_head_centre_mm",
     "From the two points as they are marked on the film. Flexion of the leg moves one against the "
     "other; the uncertainty holds a leg flexed by 4° (one standard deviation), 1.2 mm.",
     "Definition: common practice, no source; about 0 in the normal hip (from memory)."},
    {"neck_cut_above_lesser_trochanter_mm",
     "The cut is where bone ends beside the stem's medial flank. Another edge can be taken for it: "
     "the uncertainty holds 4.5 mm for that.",
     "Definition: common practice, no source."},
    {"femoral_offset_mm",
     "It is the offset of the shadow: a neck that is turned out of the film looks shorter (by 2.3 "
     "mm on average on simulated films). The uncertainty does not hold that.",
     "Definition: common practice, no source."},
    {"canal_flare_index",
     "Both widths are read as for the canal fill; their uncertainties combine (GUM 5.1.2).",
     "Noble et al. 1988, Clin Orthop Relat Res 235:148-165 (second hand)."},
    {"cortical_index",
     "Outer and inner borders of both cortices at one level; their uncertainties combine (GUM "
     "5.1.2).",
     "Dorr et al. 1993, Bone 14:231-242; limits by a later author (second hand)."},
    {"leg_length_difference_mm",
     "The pelvis is laid over its own mirror image, which gives the axis; the other lesser "
     "trochanter is where the other femur looks most as the mirror image of this one. Legs that "
     "lie unlike move it: less than about 7 mm cannot be told from nothing. A bent knee, or a "
     "femur of another length, is not seen at all.",
     "Perpendicular to the line through the teardrops: Meermans et al. 2011, Clin Orthop Relat Res "
     "469:1677-1682, doi 10.1007/s11999-010-1588-x. The mirror axis in its place: house choice."},
    {"leg_length_change_mm",
     "It is told as planned and never measured: a film after the operation does not show how long "
     "the leg was before.",
     "Definition: common practice, no source."},
}};

const Known* known(const std::string& id) {
  for (const Known& one : kKnown) {
    if (id.starts_with(one.id)) return &one;
  }
  return nullptr;
}

/// What the report's table says of a measure beside its name: measured, class, plan.
void add_cells(const HelpFrom& from, std::size_t row, Help& to) {
  const auto* table = first_of<report::Table>(section_of(from.document, "seat"));
  if (table == nullptr || row >= table->rows.size()) return;
  const auto& cells = table->rows[row];
  to.value = cells[1].phrase.text;
  const auto& seat = from.result.seat->items[row];
  if (seat.seat_class) to.facts.push_back(table->columns[2] + ": " + cells[2].phrase.text + ".");
  if (cells.size() > 3 && seat.planned) {
    to.facts.push_back(table->columns[3] + ": " + cells[3].phrase.text + ".");
  }
}

}  // namespace

Help help_of_seat(const HelpFrom& from, std::size_t row) {
  const followup::SeatResult& seat = *from.result.seat;
  const assessment::SeatItem& item = seat.items.at(row);
  Help out;
  out.title = printable(item.name);
  out.means.push_back(printable(item.definition));
  if (!item.positive.empty()) out.means.push_back("Positive: " + printable(item.positive) + ".");
  append(out.means, paragraphs_of(from, "seat", report::Tone::kNote));
  out.means.emplace_back(
      "Low or odd values describe a hip. None of them is a fault, and none a diagnosis.");
  add_cells(from, row, out);
  for (const std::string* said : {&item.reason, &item.remark}) {
    if (!said->empty()) out.facts.push_back(printable(*said));
  }
  const auto& film = from.result.films[seat.film];
  out.facts.push_back("Read on the reference film alone, " + printable(film.file) + ".");
  if (item.unit == assessment::SeatUnit::kMillimetres) {
    out.facts.push_back("Its scale: " + scale_of(from, seat.film) + ".");
  }
  add_by_hand(out, film);
  add_flags(out, printable(film.file), film.flags);
  const Known* words = known(item.id);
  if (words != nullptr) {
    out.measured.emplace_back(words->how);
    out.sources.emplace_back(words->source);
  }
  if (item.planned) {
    out.sources.emplace_back(
        "Tolerance of the plan: 3° of tilt as the neutral band above, 5 mm of a length: house "
        "choice.");
  }
  out.sources.emplace_back(kGum);
  return out;
}

}  // namespace tidemark::view
