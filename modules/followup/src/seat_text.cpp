#include <algorithm>
#include <cstddef>

#include "tables.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"

namespace tidemark::followup {
namespace {

using assessment::AgainstPlan;
using assessment::SeatItem;

std::string words_of(AgainstPlan verdict) {
  switch (verdict) {
    case AgainstPlan::kAsPlanned:
      return "as planned";
    case AgainstPlan::kOffPlan:
      return "off the plan";
    case AgainstPlan::kCannotTell:
      break;
  }
  return "cannot tell";
}

/// Class and plan behind a value; why there is none.
std::string rest_of(const SeatItem& item) {
  std::string out = item.measured ? "" : ": " + item.reason;
  if (item.seat_class) out += "; " + item.seat_class->text;
  if (item.planned) {
    const std::string value = item.positive.empty() ? fixed_text(item.planned->value, 1)
                                                    : signed_text(item.planned->value, 1);
    out += "; planned " + value + ", " + words_of(item.planned->verdict);
  }
  return out;
}

}  // namespace

std::string seat_table(const Result& result) {
  if (!result.seat) return {};
  const SeatResult& seat = *result.seat;
  std::size_t width = 0;
  const auto name_of = [](const SeatItem& item) {
    return item.positive.empty() ? item.name : item.name + " (" + item.positive + " +)";
  };
  for (const SeatItem& item : seat.items) width = std::max(width, name_of(item).size());
  std::string out = "Seat of the stem on " + printable(result.films[seat.film].file) + ":\n";
  for (const SeatItem& item : seat.items) {
    out +=
        "  " + padded(name_of(item), width + 2, Align::kLeft) + told(item) + rest_of(item) + "\n";
  }
  return out + "\n";
}

std::string side_view_text(const migration::SideView& view, const Lengths& lengths) {
  const auto told = [&](Millimetres length) { return length.value / lengths.mm_per_unit; };
  return "depth of the stem " +
         with_uncertainty(told(view.stem_depth.value), told(view.stem_depth.u95)) + " " +
         lengths.unit + " (behind the shaft's axis +), lean " +
         with_uncertainty(view.lean.value.value, view.lean.u95.value) + "° (tip to the back +)";
}

std::string side_film_lines(const Result& result) {
  std::string out;
  for (const FilmResult& film : result.films) {
    if (!film.side_view) continue;
    out += "Lateral film " + printable(film.file) + ": " +
           side_view_text(*film.side_view, lengths_of(result, film)) + ".\n";
  }
  return out.empty() ? out : out + "\n";
}

}  // namespace tidemark::followup
