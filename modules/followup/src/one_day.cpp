#include "one_day.h"

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

namespace tidemark::followup {
namespace {

using lucency::State;

/// A line of one film that another film of its day contradicts.
struct Disagreement {
  Working* film = nullptr;
  int zone = 0;
  lucency::Interface interface = lucency::Interface::kStemBone;
};

const lucency::ZoneLine* line_like(const lucency::FilmLucency& film, const lucency::ZoneLine& one) {
  const auto found =
      std::find_if(film.lines.begin(), film.lines.end(), [&](const lucency::ZoneLine& line) {
        return line.zone == one.zone && line.interface == one.interface;
      });
  return found == film.lines.end() ? nullptr : &*found;
}

bool contradict(State a, State b) {
  return std::pair(a, b) == std::pair(State::kPresent, State::kAbsent) ||
         std::pair(a, b) == std::pair(State::kAbsent, State::kPresent);
}

bool comparable(const Working& a, const Working& b) {
  const auto looked_at = [](const Working& film) {
    return !film.refused && film.hip && film.hip->lucency && film.out.date;
  };
  return looked_at(a) && looked_at(b) && a.from_side == b.from_side && a.out.date == b.out.date;
}

void open_line(const Disagreement& at) {
  const std::string reason = "Of two films of this day only one shows the line.";
  for (lucency::ZoneLine& line : at.film->hip->lucency->lines) {
    if (line.zone != at.zone || line.interface != at.interface) continue;
    lucency::ZoneLine open;
    open.zone = line.zone;
    open.interface = line.interface;
    open.state = State::kCannotTell;
    open.reason = reason;
    open.seen = line.seen;
    open.points = std::move(line.points);
    line = std::move(open);
  }
  for (ZoneResult& zone : at.film->out.zones) {
    if (zone.zone != at.zone || zone.interface != at.interface) continue;
    zone.state = State::kCannotTell;
    zone.reason = reason;
    zone.max.reset();
    zone.mean.reset();
    zone.length.reset();
    zone.extent.reset();
    zone.depth.reset();
    zone.rim = lucency::Answer::kCannotTell;
  }
}

}  // namespace

void leave_disagreements_open(WorkingSeries& work) {
  std::vector<Disagreement> found;  // of what the films said by themselves, before any is opened
  for (Working& one : work.films) {
    for (const Working& other : work.films) {
      if (&one == &other || !comparable(one, other)) continue;
      for (const lucency::ZoneLine& line : one.hip->lucency->lines) {
        const auto* twin = line_like(*other.hip->lucency, line);
        if (twin != nullptr && contradict(line.state, twin->state)) {
          found.push_back({&one, line.zone, line.interface});
        }
      }
    }
  }
  for (const Disagreement& at : found) open_line(at);
}

}  // namespace tidemark::followup
