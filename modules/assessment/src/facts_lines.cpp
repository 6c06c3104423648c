#include <algorithm>

#include "facts.h"
#include "tidemark/assessment/judge.h"

namespace tidemark::assessment {
namespace {

using lucency::Answer;
using lucency::State;

/// Of the interface that a question asks for, so much must be seen before a share of the visible
/// part says anything. House choice.
constexpr double kLeastSeen = 0.5;
constexpr double kRounding = 1e-9;

const ZoneEvidence* zone_on(const FilmEvidence& film, int zone, lucency::Interface interface) {
  const auto found = std::find_if(
      film.zones.begin(), film.zones.end(),
      [&](const ZoneEvidence& one) { return one.zone == zone && one.interface == interface; });
  return found == film.zones.end() ? nullptr : &*found;
}

Told told(Answer answer) { return {answer, {}}; }

/// Whether a line that is there, so wide at its widest place, reaches a width.
Answer wide_enough(const std::optional<Measured<Millimetres>>& width,
                   const std::optional<double>& width_mm) {
  if (!width_mm || *width_mm <= 0.0) return Answer::kYes;
  if (!width) return Answer::kCannotTell;
  const auto reaches =
      decide({width->value.value, width->u.value, width->u95.value}, *width_mm, Sense::kAbove);
  if (reaches.verdict == Verdict::kExceeds) return Answer::kYes;
  return reaches.verdict == Verdict::kWithin ? Answer::kNo : Answer::kCannotTell;
}

Answer line_in(const ZoneEvidence* zone, const std::optional<double>& width_mm) {
  if (zone == nullptr) return Answer::kCannotTell;
  if (zone->state == State::kAbsent) return Answer::kNo;
  return zone->state == State::kPresent ? wide_enough(zone->max, width_mm) : Answer::kCannotTell;
}

Answer rim_in(const ZoneEvidence* zone) {
  const Answer line = line_in(zone, {});
  return line == Answer::kYes ? zone->rim : line;
}

Answer progressive_in(const Facts& facts, const LineRule& rule, int zone) {
  const auto* change = lucency::change_at(facts.pair.zones, zone, rule.interface);
  const Answer grown = change == nullptr ? Answer::kCannotTell : change->progressive;
  const FilmEvidence& film = facts.hip.films.at(facts.pair.follow_up);
  const Answer wide =
      rule.width_mm ? line_in(zone_on(film, zone, rule.interface), rule.width_mm) : Answer::kYes;
  return all_of({told(grown), told(wide)}).answer;
}

/// Whether the line of a zone is wider than on the reference film by what could not be overlooked,
/// at the same places of the stem. Open where the films were not compared: they may show two hips.
Answer widened_in(const Facts& facts, const LineRule& rule, int zone) {
  const auto* pair = lucency::change_at(facts.pair.zones, zone, rule.interface);
  if (pair == nullptr || !pair->change) return Answer::kCannotTell;
  const auto& change = *pair->change;
  const double above =
      decide({change.value.value, change.u.value, change.u95.value}, kUnseenLineMm, Sense::kAbove)
          .probability_exceeds;
  if (above >= kDecisive) return Answer::kYes;
  return above <= 1.0 - kDecisive ? Answer::kNo : Answer::kCannotTell;
}

/// A line where the reference film shows none. Its own zones alone do not tell: each film finds the
/// borders of its zones anew, and a line that crosses one seems to come and go.
Answer new_in(const Facts& facts, const LineRule& rule, int zone) {
  const FilmEvidence& before = facts.hip.films.at(facts.pair.reference);
  const FilmEvidence& after = facts.hip.films.at(facts.pair.follow_up);
  const Answer now = line_in(zone_on(after, zone, rule.interface), rule.width_mm);
  const Answer then = line_in(zone_on(before, zone, rule.interface), {});
  return all_of({told(now), opposite(told(then)), told(widened_in(facts, rule, zone))}).answer;
}

bool asks_change(const LineRule& rule) {
  return rule.question == LineQuestion::kNew || rule.question == LineQuestion::kProgressive;
}

Answer answer_in(const Facts& facts, const LineRule& rule, int number) {
  const ZoneEvidence* now =
      zone_on(facts.hip.films.at(facts.pair.follow_up), number, rule.interface);
  // A film from before the reference film, or of its day, shows nothing that came since.
  if (asks_change(rule) && facts.pair.days.value_or(1) <= 0) return Answer::kCannotTell;
  switch (rule.question) {
    case LineQuestion::kRim:
      return rim_in(now);
    case LineQuestion::kProgressive:
      return progressive_in(facts, rule, number);
    case LineQuestion::kNew:
      return new_in(facts, rule, number);
    default:
      return line_in(now, rule.width_mm);
  }
}

std::string reason_for(const LineRule& rule, const std::vector<int>& zones) {
  std::string out = asks_change(rule) ? "what became of radiolucent lines" : "radiolucent lines";
  if (rule.interface == lucency::Interface::kStemCement) out += " between stem and cement";
  if (rule.interface == lucency::Interface::kCementBone) out += " between cement and bone";
  out += " cannot be told in zone";
  for (std::size_t i = 0; i < zones.size(); ++i) {
    out += (i == 0                  ? (zones.size() > 1 ? "s " : " ")
            : i + 1 == zones.size() ? " and "
                                    : ", ") +
           std::to_string(zones[i]);
  }
  return out;
}

/// Lengths along the interface, mm, over the zones asked for.
struct InterfaceLengths {
  double line = 0.0;
  double no_line = 0.0;
  double open = 0.0;
  double unseen = 0.0;
};

/// Adds a length with a line, by whether the line is wide enough there.
void add_line(double length, Answer wide, InterfaceLengths& sum) {
  (wide == Answer::kYes ? sum.line : wide == Answer::kNo ? sum.no_line : sum.open) += length;
}

/// Adds one zone; false when its length is not known.
bool add(const ZoneEvidence& zone, const LineRule& rule, InterfaceLengths& sum) {
  const auto& shares = rule.past_first_centimetre ? zone.past_first_centimetre : zone.shares;
  if (!zone.length || !shares) return false;
  const double length = zone.length->value;
  // Single places that look like a line in a zone that is not said to have one are no finding; they
  // may be one.
  if (zone.state != State::kPresent) {
    sum.open += length * shares->line;
  } else if (shares->places.empty()) {
    add_line(length * shares->line, wide_enough(zone.max, rule.width_mm), sum);
  } else {
    for (const LinePlace& place : shares->places) {
      add_line(length * place.share, wide_enough(place.width, rule.width_mm), sum);
    }
  }
  sum.no_line += length * shares->no_line;
  sum.open += length * shares->open;
  sum.unseen += length * shares->unseen;
  return true;
}

Told ask_extent(const Facts& facts, const LineRule& rule) {
  const FilmEvidence& film = facts.hip.films.at(facts.pair.follow_up);
  InterfaceLengths sum;
  std::vector<int> missing;
  for (const int number : rule.zones) {
    const ZoneEvidence* zone = zone_on(film, number, rule.interface);
    if (zone == nullptr || !add(*zone, rule, sum)) missing.push_back(number);
  }
  // Nothing weighs a zone that was not divided.
  if (!missing.empty()) return open_because(reason_for(rule, missing));
  const double seen = sum.line + sum.no_line + sum.open;
  const bool visible = rule.share == LineShare::kVisible;
  if (seen <= 0.0 || (visible && seen < kLeastSeen * (seen + sum.unseen))) {
    return open_because("the film shows less than half of the interface");
  }
  const double whole = visible ? seen : seen + sum.unseen;
  const double doubtful = visible ? sum.open : sum.open + sum.unseen;
  if (sum.line / whole >= rule.at_least - kRounding) return yes();
  if ((sum.line + doubtful) / whole < rule.at_least - kRounding) return no();
  return open_because(reason_for(rule, rule.zones));
}

}  // namespace

Told ask_lines(const Facts& facts, const LineRule& rule) {
  if (facts.hip.lengths == Lengths::kPixels) {
    return open_because("nothing gives the scale of the films");
  }
  if (rule.question == LineQuestion::kExtent) return ask_extent(facts, rule);
  std::vector<int> open;
  for (const int zone : rule.zones) {
    const Answer answer = answer_in(facts, rule, zone);
    if (answer == Answer::kYes) return yes();
    if (answer == Answer::kCannotTell) open.push_back(zone);
  }
  return open.empty() ? no() : open_because(reason_for(rule, open));
}

}  // namespace tidemark::assessment
