#include "json_seat.h"

namespace tidemark::followup {
namespace {

Json item_json(const assessment::SeatItem& item) {
  Json out{{"quantity", item.id},
           {"name", item.name},
           {"definition", item.definition},
           {"unit", assessment::unit_of(item.unit)}};
  if (!item.positive.empty()) out["positive"] = item.positive;
  if (item.measured) out["measured"] = measured_json(*item.measured);
  if (!item.reason.empty()) out["reason"] = item.reason;
  if (!item.remark.empty()) out["remark"] = item.remark;
  for (const assessment::SeatPlace& place : item.places) {
    Json points = Json::array();
    for (const Vec2& p : place.px) points.push_back(point_json(p));
    out["places"].push_back({{"id", place.id}, {"px", std::move(points)}});
  }
  if (item.seat_class) {
    out["class"] = {{"id", item.seat_class->id},
                    {"text", item.seat_class->text},
                    {"source", item.seat_class->source}};
  }
  if (item.planned) {
    out["planned"] = rounded(item.planned->value);
    out["tolerance"] = rounded(item.planned->tolerance);
  }
  out["verdict"] = item.planned ? code_of(item.planned->verdict) : "not_planned";
  return out;
}

}  // namespace

Json seat_json(const SeatResult& seat) {
  Json out = Json::array();
  for (const assessment::SeatItem& item : seat.items) out.push_back(item_json(item));
  return out;
}

}  // namespace tidemark::followup
