#include "open_changes.h"

namespace tidemark::followup {

void leave_open(std::vector<lucency::ZoneChange>& zones, const std::string& reason) {
  for (lucency::ZoneChange& zone : zones) {
    zone.change.reset();
    zone.change_mean.reset();
    zone.change_length.reset();
    zone.progressive = lucency::Answer::kCannotTell;
    zone.reason = reason;
  }
}

void leave_open(lucency::SignChanges& signs, const std::string& reason) {
  for (auto& cortex : signs.cortex) cortex = {cortex.zone, {}, reason};
  signs.calcar.reset();
  signs.calcar_reason = reason;
  signs.new_pedestal = lucency::Answer::kCannotTell;
  for (lucency::ZoneLysis& lysis : signs.lysis) {
    const int zone = lysis.zone;
    lysis = {};
    lysis.zone = zone;
    lysis.reason = reason;
  }
}

std::optional<std::string> no_time_between(const std::optional<int>& days) {
  if (!days || *days > 0) return {};
  if (*days == 0) return "Both films are of one day: what differs between them is the films.";
  return "The film was taken before the reference film: what differs on it is no change since.";
}

bool told_grown(const lucency::ZoneChange& change) {
  if (change.progressive == lucency::Answer::kYes) return true;
  return change.change && change.change->value.value > change.change->u95.value;
}

}  // namespace tidemark::followup
