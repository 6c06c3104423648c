#include <algorithm>
#include <array>
#include <string>

#include "document_parts.h"
#include "help_parts.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "tidemark/lucency/codes.h"
#include "words.h"
#include "zone_state.h"

namespace tidemark::view {
namespace {

using followup::FilmResult;
using followup::ZoneResult;
using lucency::Answer;

constexpr const char* kZonesSource =
    "Zones: Gruen, McNeice, Amstutz, Clin Orthop 141 (1979) 17; Johnston et al., J Bone Joint Surg "
    "Am 72 (1990) 161; borders at thirds: from memory.";
constexpr const char* kLinesSource =
    "How a line is told from bone and from the canal, and every limit of it: house choice "
    "(docs/lucency.md).";

std::string word_of(Answer answer) {
  return answer == Answer::kYes ? "yes" : answer == Answer::kNo ? "no" : "cannot tell";
}

/// The zone with its place, as the report calls it: "2 (lateral, middle)".
std::string name_of(const HelpFrom& from, const ZoneResult& zone) {
  std::string number = std::to_string(zone.zone);
  const char* id = zone.zone > 7 ? "zones-table-lateral" : "zones-table";
  const auto* table = table_of(section_of(from.document, "zones"), id);
  if (table == nullptr) return number;
  for (const auto& row : table->rows) {
    const std::string& name = row.front().phrase.text;
    if (!name.starts_with(number + " (")) continue;
    return name.substr(0, name.find(')') + 1);
  }
  return number;
}

void add_edge(const FilmResult& film, Help& to) {
  if (!film.edge_response) {
    to.facts.emplace_back(
        "No edge of metal without bone was seen on this film, so its halo is not known.");
    return;
  }
  const auto& edge = *film.edge_response;
  to.facts.push_back("Beside metal this film is darkened by " + percent(edge.halo) +
                     " of the step to the metal (unsharp masking), falling to a tenth within " +
                     fixed_text(edge.halo_reach.value, 1) + " mm; learnt at " +
                     std::to_string(edge.edges) + " places of the neck and the head.");
}

Help of_zone(const FilmResult& film, const ZoneResult& zone) {
  Help out;
  out.value = std::to_string(zone.zone);
  out.means.emplace_back(
      "The part of the stem's interface. On a frontal film 1 to 3 run down the lateral flank, 4 is "
      "about the tip, 5 to 7 run up the medial flank; 8 to 14 likewise on a lateral film.");
  out.measured.emplace_back(
      "The borders stand square to the stem's axis: at the level where the stem enters the bone, "
      "at one and two thirds of the way to the tip unless a hand placed them, at the tip, and "
      "10 mm beyond it.");
  constexpr std::array<const char*, 3> kNames{"upper", "second", "third"};
  for (std::size_t i = 0; i < std::min(kNames.size(), film.zone_borders.size()); ++i) {
    out.facts.push_back(std::string("The ") + kNames.at(i) + " border was " +
                        told(film.zone_borders[i].source) + ".");
  }
  out.sources.emplace_back(kZonesSource);
  out.sources.emplace_back("Upper border and 10 mm beyond the tip: house choice.");
  return out;
}

Help of_program(const FilmResult& film, const ZoneResult& zone) {
  Help out;
  out.value = words_of(zone.state);
  out.means.emplace_back(
      "Whether a dark line stands between the stem and the bone. Line: on at least 4 mm of the "
      "zone and a quarter of it; no line: on 80 % of what is seen there is none; not seen: less "
      "than 30 % of the zone could be looked at; else it cannot be told.");
  out.measured.emplace_back(
      "Profiles across the interface, every 0.5 mm along it, from 0.2 to 7.9 mm outside of the "
      "metal. On each, bone, a line of some width and the canal compete; neighbours must agree. "
      "The halo of the room's processing is learnt on the film itself and taken off.");
  if (!zone.reason.empty()) out.facts.push_back(printable(zone.reason));
  out.facts.push_back("Share of the zone that could be judged: " + percent(zone.seen) + ".");
  if (zone.extent)
    out.facts.push_back("A line stands along " + percent(*zone.extent) + " of that.");
  if (zone.depth) {
    out.facts.push_back("The line is darker than the bone beyond it by " +
                        percent(zone.depth->value) + " of the step to the metal.");
  }
  if (zone.state == lucency::State::kPresent) {
    out.facts.push_back("Bright (sclerotic) rim beside it: " + word_of(zone.rim) + ".");
  }
  add_edge(film, out);
  out.sources.emplace_back(kLinesSource);
  out.sources.emplace_back(kZonesSource);
  return out;
}

Help of_readers(const FilmResult& film, const ZoneResult& zone) {
  Help out;
  out.means.emplace_back(
      "What people hold of the program's answer in this zone: agree, disagree, cannot tell (F2, "
      "F3, F4; Shift+F4 takes your mark away). A mark changes no number.");
  out.measured.emplace_back(
      "Name, time and the program's answer of then are written with the mark to series.json. Who "
      "marks has seen the program's answer, so this is no independent reading.");
  for (const followup::ZoneMark& mark : film.zone_marks) {
    if (mark.zone != zone.zone || mark.interface != zone.interface) continue;
    out.facts.push_back(printable(mark.reader) + " " + words_of(mark.opinion) + " (" +
                        printable(mark.marked_at) +
                        "); the program said then: " + words_of(mark.program) + ".");
  }
  if (out.facts.empty()) out.facts.emplace_back("Nobody has marked this zone yet.");
  out.sources.emplace_back(kHouseChoice);
  return out;
}

Help of_width(const FilmResult& film, const ZoneResult& zone, const followup::Lengths& unit) {
  Help out;
  out.value = zone.max ? told_width(*zone.max, unit) : "no width";
  out.means.emplace_back(
      "How wide the line is where it is widest in this zone, in the plane of the stem. ± is the "
      "half-width of the 95 % interval.");
  out.measured.emplace_back(
      "From the metal's edge to the line's far wall on each profile; the largest median over 4 mm "
      "along the interface. Lines below 0.45 mm are left open: there width and depth cannot be "
      "told apart. The uncertainty holds the spread of the profiles, the place of the metal's edge "
      "and the scale.");
  if (!zone.max) out.facts.emplace_back("No line is told here, so there is no width.");
  if (zone.mean) out.facts.push_back("Mean width " + told_width(*zone.mean, unit) + ".");
  if (zone.length)
    out.facts.push_back("Length of the line " + told_width(*zone.length, unit) + ".");
  add_edge(film, out);
  out.sources.emplace_back(kLinesSource);
  out.sources.emplace_back(kGum);
  return out;
}

Help of_change(const HelpFrom& from, std::size_t film, const ZoneResult& zone) {
  Help out;
  out.means.emplace_back(
      "What became of the line since the reference film. Grew: it is wider by at least 1 mm, or "
      "stands in a zone that had none, by more than its own uncertainty (u95) in either case. Did "
      "not grow: growth and its u95 stay below that. Else it cannot be told.");
  out.measured.emplace_back(
      "Widths are compared at the same places of the stem (same flank, same distance from the "
      "tip), where both films could be judged. The number is the largest growth of the mean width "
      "over 5 mm, or where nothing grew the largest change of either sign.");
  out.sources.emplace_back(
      "1 mm of growth, or a line in a zone that had none: from memory, no one source. How places "
      "are compared: house choice (docs/lucency.md).");
  const auto since = followup::lines_since(from.result, film);
  if (!since) {
    out.value = "nothing to compare with";
    out.facts.emplace_back(
        "This is the reference film, or the lines of the two films could not be compared.");
    return out;
  }
  const auto* one = lucency::change_at(since->zones, zone.zone, zone.interface);
  if (one == nullptr) return out;
  out.value = growth_of(one->progressive);
  const auto unit = followup::lengths_of(from.result);
  if (one->change) out.value += ", " + told(*one->change, unit);
  if (!one->reason.empty()) out.facts.push_back(printable(one->reason));
  if (one->change_mean) {
    out.facts.push_back("Mean width over the places in common " + told(*one->change_mean, unit) +
                        ".");
  }
  if (one->change_length) {
    out.facts.push_back("Length of the line " + told(*one->change_length, unit) + ".");
  }
  out.facts.push_back("Share of the zone that was judged on both films: " + percent(one->compared) +
                      ".");
  return out;
}

std::string title_of(ZoneColumn column) {
  switch (column) {
    case ZoneColumn::kZone:
      return "the zone";
    case ZoneColumn::kProgram:
      return "what the program says";
    case ZoneColumn::kReaders:
      return "what readers say";
    case ZoneColumn::kWidest:
      return "widest place of the line";
    case ZoneColumn::kSince:
      break;
  }
  return "since the reference film";
}

Help of_column(const HelpFrom& from, std::size_t film, const ZoneResult& zone, ZoneColumn column) {
  const FilmResult& one = from.result.films[film];
  switch (column) {
    case ZoneColumn::kZone:
      return of_zone(one, zone);
    case ZoneColumn::kProgram:
      return of_program(one, zone);
    case ZoneColumn::kReaders:
      return of_readers(one, zone);
    case ZoneColumn::kWidest:
      return of_width(one, zone, followup::lengths_of(from.result, one));
    case ZoneColumn::kSince:
      break;
  }
  return of_change(from, film, zone);
}

}  // namespace

Help help_of_zone(const HelpFrom& from, std::size_t film, std::size_t row, ZoneColumn column) {
  const ZoneResult& zone = from.result.films.at(film).zones.at(row);
  Help out = of_column(from, film, zone, column);
  out.title = "Zone " + name_of(from, zone);
  if (zone.interface != lucency::Interface::kStemBone) {
    out.title += ", " + lucency::words_of(zone.interface);
  }
  out.title += ": " + title_of(column);
  // Said of every statement about a line, as in the report.
  append(out.means, paragraphs_of(from, "zones", report::Tone::kDoubt));
  return out;
}

Help help_of_strips(const HelpFrom& from, std::size_t film) {
  Help out;
  out.title = "The interface unrolled";
  out.means.emplace_back(
      "The stem's edge straightened, metal below and bone above: down the lateral flank, about the "
      "tip, up the medial flank; on a lateral film down the front and up the back. The past film "
      "stands over the present one, and a column is the "
      "same place of the stem on both. The bar below the pixels says where the program sees a "
      "line, dots where it cannot tell, nothing where it sees none.");
  append(out.means, paragraphs_of(from, "zones", report::Tone::kDoubt));
  out.measured.emplace_back(
      "The film is read along the normals of the stem's outline. Places of two films are matched "
      "by flank and by the distance from the stem's tip along its axis. Contrast is stretched for "
      "the eye; what the program judges are the film's own grey values.");
  const auto& one = from.result.films.at(film);
  const followup::UnrolledFilm* unrolled = unrolled_of(from.result, film);
  if (unrolled == nullptr) {
    out.facts.emplace_back("On this film no lines were looked for.");
  } else {
    out.facts.push_back("One millimetre along the interface is " +
                        fixed_text(unrolled->px_per_mm, 1) + " columns.");
    for (const auto& strip : unrolled->strips) {
      out.facts.push_back("Scale of " + printable(from.result.films[strip.film].file) + ": " +
                          scale_of(from, strip.film) + ".");
    }
    add_edge(one, out);
  }
  out.sources.emplace_back("Unrolling and matching: house choice (docs/lucency.md).");
  out.sources.emplace_back(kZonesSource);
  return out;
}

}  // namespace tidemark::view
