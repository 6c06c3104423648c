#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "tables.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::followup {
namespace {

using lucency::Answer;
using lucency::State;

/// A share of what is seen passes for one of the zone from here on. House choice.
constexpr double kAsGoodAsAll = 0.9;

/// Widths, lengths and areas are never negative: no sign.
template <class Quantity>
std::string unsigned_text(const Measured<Quantity>& m, double unit) {
  const std::string text = with_uncertainty(m.value.value / unit, m.u95.value / unit);
  return text.front() == '+' ? text.substr(1) : text;
}

/// What all films say of one interface of one zone.
struct Tally {
  int zone = 0;
  lucency::Interface interface = lucency::Interface::kStemBone;
  int films = 0;
  int present = 0;
  int open = 0;  ///< cannot_tell or not_seen
  int pairs = 0;
  int progressive = 0;
  int pairs_open = 0;
  const Measured<Millimetres>* widest = nullptr;
  const FilmResult* widest_on = nullptr;
};

Tally& tally_of(std::vector<Tally>& all, int zone, lucency::Interface interface) {
  const auto found = std::find_if(all.begin(), all.end(), [&](const Tally& one) {
    return one.zone == zone && one.interface == interface;
  });
  if (found != all.end()) return *found;
  Tally fresh;
  fresh.zone = zone;
  fresh.interface = interface;
  all.push_back(fresh);
  return all.back();
}

std::vector<Tally> tallies(const Result& result) {
  std::vector<Tally> all;
  for (const FilmResult& film : result.films) {
    for (const ZoneResult& zone : film.zones) {
      Tally& tally = tally_of(all, zone.zone, zone.interface);
      ++tally.films;
      tally.present += zone.state == State::kPresent ? 1 : 0;
      tally.open += zone.state == State::kCannotTell || zone.state == State::kNotSeen ? 1 : 0;
      if (!zone.max) continue;
      if (tally.widest != nullptr && tally.widest->value.value >= zone.max->value.value) continue;
      tally.widest = &*zone.max;
      tally.widest_on = &film;
    }
  }
  for (std::size_t i = 0; i < result.films.size(); ++i) {
    const auto since = lines_since(result, i);
    if (!since) continue;
    for (const lucency::ZoneChange& change : since->zones) {
      Tally& tally = tally_of(all, change.zone, change.interface);
      ++tally.pairs;
      tally.progressive += change.progressive == Answer::kYes ? 1 : 0;
      tally.pairs_open += change.progressive == Answer::kCannotTell ? 1 : 0;
    }
  }
  std::stable_sort(all.begin(), all.end(),
                   [](const Tally& a, const Tally& b) { return a.zone < b.zone; });
  return all;
}

std::string share(int count, int of) {
  return count == 0 ? "-" : std::to_string(count) + " of " + std::to_string(of);
}

std::string width_text(const FilmResult& film, const Result& result,
                       const Measured<Millimetres>& width) {
  const Lengths lengths = lengths_of(result, film);
  return unsigned_text(width, lengths.mm_per_unit) + " " + lengths.unit;
}

}  // namespace

std::string zones_table(const Result& result) {
  const std::vector<Tally> all = tallies(result);
  if (all.empty()) return {};
  std::vector<TableLine> lines{
      {"zone", "line present", "cannot tell", "progressive", "cannot tell", "widest"}};
  const bool one_interface = std::all_of(all.begin(), all.end(), [&](const Tally& tally) {
    return tally.interface == all.front().interface;
  });
  for (const Tally& tally : all) {
    std::string name = std::to_string(tally.zone);
    if (!one_interface) name += " " + words_of(tally.interface);
    lines.push_back(
        {name, share(tally.present, tally.films), share(tally.open, tally.films),
         share(tally.progressive, tally.pairs), share(tally.pairs_open, tally.pairs),
         tally.widest == nullptr ? "-" : width_text(*tally.widest_on, result, *tally.widest)});
  }
  return "Radiolucent lines (films with one; follow-ups on which it is progressive):\n" +
         lines_of(lines) + "\n";
}

std::string lysis_lines(const Result& result) {
  std::string out;
  for (const ComparisonResult& pair : result.comparisons) {
    if (!pair.signs || pair.signs->lysis.empty()) continue;
    const Lengths lengths = lengths_of(result);
    const double unit = lengths.mm_per_unit * lengths.mm_per_unit;
    std::string present;
    std::string absent;
    std::string open;
    for (const lucency::ZoneLysis& one : pair.signs->lysis) {
      std::string& list = one.state == State::kPresent  ? present
                          : one.state == State::kAbsent ? absent
                                                        : open;
      list += (list.empty() ? "" : ", ") + std::to_string(one.zone);
      if (!one.area) continue;
      list += " (" + unsigned_text(*one.area, unit) + " " + lengths.unit + "2)";
    }
    out += "  " + printable(result.films.at(pair.follow_up).file) + ":";
    if (!present.empty()) out += " present in zone " + present + ";";
    if (!absent.empty()) out += " none seen in " + absent + ";";
    out += (open.empty() ? " every zone told" : " cannot tell " + open) + "\n";
  }
  if (out.empty()) return out;
  return "Focal lysis (new areas of lost bone by zone, against the reference film):\n" + out + "\n";
}

std::string zone_line(const FilmResult& film, const ZoneResult& zone, const Result& result) {
  std::string out = "zone " + std::to_string(zone.zone);
  if (zone.interface != lucency::Interface::kStemBone) out += " " + words_of(zone.interface);
  out = "  " + padded(out, 20, Align::kLeft);
  if (zone.state == State::kAbsent) return out + "no line\n";
  if (zone.state != State::kPresent) {
    return out + (zone.state == State::kNotSeen ? "not seen: " : "cannot tell: ") + zone.reason +
           "\n";
  }
  out += "line";
  if (zone.max) out += " up to " + width_text(film, result, *zone.max) + " wide";
  if (zone.length) out += ", " + width_text(film, result, *zone.length) + " long";
  if (zone.extent) {
    out += " (" + std::to_string(std::lround(100.0 * *zone.extent)) + " % of " +
           (zone.seen < kAsGoodAsAll ? "what is seen of the zone)" : "the zone)");
  }
  return out + (zone.rim == Answer::kYes ? ", sclerotic rim\n" : "\n");
}

}  // namespace tidemark::followup
