#include "sections.h"
#include "tidemark/assessment/seat.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using assessment::SeatItem;
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

Table table_of(const Source& from) {
  Table out{"seat-table", from.say("seat.caption"), {}, {}};
  for (const char* key : {"seat.measure", "seat.measured", "seat.class", "seat.plan"}) {
    out.columns.push_back(from.say(key));
  }
  for (const SeatItem& item : from.result.seat->items) {
    out.rows.push_back({{name_of(from, item), CellRole::kWord},
                        measured_cell(from, item),
                        class_cell(from, item),
                        planned_cell(from, item)});
  }
  return out;
}

/// What each measure is, why it is missing or what must be read with it, and whose classes.
Items definitions_of(const Source& from) {
  Items out;
  for (const SeatItem& item : from.result.seat->items) {
    Phrase text = from.say.or_english("seat.definition." + item.id, printable(item.definition));
    const auto add = [&](const Phrase& more) {
      text.text += " " + more.text;
      text.in_english = text.in_english || more.in_english;
    };
    if (!item.reason.empty()) add(from.say.said(printable(item.reason)));
    if (!item.remark.empty()) add(from.say.said(printable(item.remark)));
    if (item.seat_class) {
      add({from.say("seat.class_source", {{"source", printable(item.seat_class->source)}})});
    }
    out.items.push_back({name_of(from, item).text, std::move(text)});
  }
  return out;
}

}  // namespace

Section seat_section(const Source& from) {
  Section out{"seat", from.say("seat.heading"), {}};
  if (!from.result.seat || from.result.seat->items.empty()) return out;
  out.blocks.emplace_back(Paragraph{{from.say("seat.intro")}});
  out.blocks.emplace_back(table_of(from));
  out.blocks.emplace_back(Paragraph{{from.say("seat.definitions")}});
  out.blocks.emplace_back(definitions_of(from));
  out.blocks.emplace_back(Paragraph{{from.say("seat.note")}, Tone::kNote});
  return out;
}

}  // namespace tidemark::report
