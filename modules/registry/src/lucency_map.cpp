#include "tidemark/registry/lucency_map.h"

#include <cstdlib>
#include <map>
#include <tuple>

#include "tidemark/registry/migration_course.h"

namespace tidemark::registry {
namespace {

using Time = std::optional<std::size_t>;                  ///< visit, or the reference film
using Place = std::tuple<std::string, std::string, int>;  ///< group, interface, zone
using Key = std::pair<std::string, int>;                  ///< interface, zone

using Look = std::pair<Time, bool>;  ///< whether from the side: those films are others

/// The rows of one hip that count: of each visit and view the film nearest to the milestone, one
/// that was refused only where there is no other.
std::map<Look, int> films_of(const CohortHip& hip) {
  std::map<Look, int> film;
  std::map<Look, std::pair<bool, int>> off;
  for (const CohortZone& zone : hip.zones) {
    if (zone.examination != 1) continue;
    Time time;
    std::pair distance{zone.refused, 0};
    if (!zone.reference) {
      if (!zone.days) continue;
      time = visit_of(*zone.days);
      if (!time) continue;
      distance.second = std::abs(*zone.days - visits()[*time].days);
    }
    const Look look{time, is_lateral(zone)};
    const auto known = off.find(look);
    if (known != off.end() && known->second <= distance) continue;
    off[look] = distance;
    film[look] = zone.film;
  }
  return film;
}

void count(ZoneIncidence& row, const CohortZone& zone, std::optional<ZoneState> at_start) {
  const ZoneState now = zone.state;
  row.present += now == ZoneState::kPresent ? 1U : 0U;
  row.absent += now == ZoneState::kAbsent ? 1U : 0U;
  row.cannot_tell += now == ZoneState::kCannotTell ? 1U : 0U;
  row.not_seen += now == ZoneState::kNotSeen ? 1U : 0U;
  const bool judged = now == ZoneState::kPresent || now == ZoneState::kAbsent;
  if (!row.visit || !judged || at_start != ZoneState::kAbsent) return;
  if (!zone.grew) {
    ++row.not_compared;
    return;
  }
  ++row.at_start;
  row.newly += now == ZoneState::kPresent && *zone.grew ? 1U : 0U;
}

ZoneIncidence finished(ZoneIncidence row) {
  row.share = share_of(row.present, row.present + row.absent);
  const std::size_t open = row.cannot_tell + row.not_seen;
  const auto all = static_cast<double>(row.present + row.absent + open);
  if (all > 0.0) {
    row.least = static_cast<double>(row.present) / all;
    row.most = static_cast<double>(row.present + open) / all;
  }
  row.incidence = share_of(row.newly, row.at_start);
  return row;
}

}  // namespace

std::vector<ZoneIncidence> lucency_map(const Cohort& cohort) {
  std::map<std::pair<Place, Time>, ZoneIncidence> found;
  for (const CohortHip& hip : cohort.hips) {
    const auto films = films_of(hip);
    std::map<Key, ZoneState> at_start;
    for (const CohortZone& zone : hip.zones) {
      const auto start = films.find({Time{}, is_lateral(zone)});
      if (start != films.end() && zone.film == start->second) {
        at_start[{zone.interface, zone.zone}] = zone.state;
      }
    }
    for (const auto& [look, film] : films) {
      const Time time = look.first;
      for (const CohortZone& zone : hip.zones) {
        if (zone.film != film) continue;
        ZoneIncidence& row = found[{{hip.group, zone.interface, zone.zone}, time}];
        row.group = hip.group;
        row.interface = zone.interface;
        row.zone = zone.zone;
        row.visit = time;
        const auto start = at_start.find({zone.interface, zone.zone});
        count(row, zone, start == at_start.end() ? std::nullopt : std::optional(start->second));
      }
    }
  }
  std::vector<ZoneIncidence> out;
  out.reserve(found.size());
  for (auto& [key, row] : found) out.push_back(finished(std::move(row)));
  return out;
}

}  // namespace tidemark::registry
