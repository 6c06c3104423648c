#include "tidemark/lucency/change.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <span>
#include <utility>

#include "tidemark/core/uncertainty.h"

namespace tidemark::lucency {
namespace {

/// Growth that counts as progressive, mm: from memory, no one source (docs/lucency.md).
constexpr double kProgressiveMm = 1.0;
/// A line that became longer by this much within its zone has spread, mm: the shortest line that is
/// told as one. No source calls that progressive; it is no "not progressive" either (house choice).
constexpr double kSpreadMm = 4.0;
/// Standard uncertainty of "no line here", about 0, mm: a line thinner than 0.3 mm may be there
/// unseen, and every such width is as likely (rectangular, second moment about 0: 0.3 / sqrt(3)).
/// The 0.3 mm is a house choice.
constexpr double kNoLineUMm = 0.17;
/// Standard uncertainty of the length of a line that is not seen, mm: shorter ones than 3 mm are no
/// finding (rectangular as above; house choice).
constexpr double kNoLengthUMm = 1.7;
/// Half of the window over which the place of the largest change is averaged, mm: single points
/// would report the largest noise of the zone. House choice.
constexpr double kHalfWindowMm = 2.5;
/// Two places of the stem are the same within this, mm: above the half pitch of two films.
constexpr double kSamePlaceMm = 0.6;
/// Ends of a line and steps of its width are placed no better than this along the stem, mm: the
/// blur along the edge, and the window of the profiles (about 2 mm). A step is a change of the
/// width by more than `kStepMm` within that reach. House choices.
constexpr double kEndMm = 2.0;
constexpr double kStepMm = 0.4;
/// Points closer than this share their noise, mm: about the blur along the edge. House choice.
constexpr double kSharedNoiseMm = 2.0;
/// Share of a zone that must be judged on both films before "not progressive". House choice, after
/// the half of a zone that readers ask for (docs/lucency.md).
constexpr double kEnough = 0.5;
/// Fewest points that make a window.
constexpr std::size_t kFewest = 3;

/// A value with its standard uncertainty, mm.
struct Known {
  double value = 0.0;
  double u = 0.0;
};

/// What a film says of the width at one place: absent when it could not be judged there. Single
/// places that look like a line in a zone that is said to have none, or left open, are no finding.
std::optional<Known> judged(const LinePoint& point, State zone) {
  if (point.state == State::kAbsent) return Known{0.0, kNoLineUMm};
  if (point.state != State::kPresent || zone != State::kPresent || !point.width) return {};
  return Known{point.width->value.value, point.width->u.value};
}

const Zone* zone_of(const FilmLucency& film, int number) {
  const auto& zones = film.plan.zones;
  const auto found = std::find_if(zones.begin(), zones.end(),
                                  [&](const Zone& zone) { return zone.number == number; });
  return found == zones.end() ? nullptr : &*found;
}

/// Distance of the tip from the entry level along the stem axis, mm.
std::optional<double> tip_mm(const FilmLucency& film) {
  for (const Zone& zone : film.plan.zones) {
    if (zone.flank == Flank::kTip) return zone.from.value;
  }
  return {};
}

/// Where the outline of the tip zone crosses the stem axis, as a length along it from its lateral
/// end; its middle when no two points stand on either side.
double arc_at_axis(const FilmLucency& film, const ZoneLine& line) {
  const auto side = [&](const LinePoint& p) {
    return signed_distance(film.plan.axis_px, p.edge_px);
  };
  for (std::size_t i = 1; i < line.points.size(); ++i) {
    const double a = side(line.points[i - 1]);
    const double b = side(line.points[i]);
    if (a * b > 0.0 || a == b) continue;
    const double share = a / (a - b);
    return (1.0 - share) * line.points[i - 1].arc.value + share * line.points[i].arc.value;
  }
  return line.points.empty() ? 0.0
                             : 0.5 * (line.points.front().arc.value + line.points.back().arc.value);
}

/// A judged or unjudged place of the stem.
struct Place {
  int zone = 0;
  double at_mm = 0.0;  ///< on the stem: see places_on_stem
  std::optional<Known> width;
};

std::vector<Place> places_of(const FilmLucency& film, const ZoneLine& line) {
  const auto at = places_on_stem(film, line);
  std::vector<Place> out;
  for (std::size_t i = 0; i < at.size(); ++i)
    out.push_back({line.zone, at[i].value, judged(line.points[i], line.state)});
  return out;
}

/// The places of one flank and interface, in order.
std::vector<Place> flank_places(const FilmLucency& film, Flank flank, Interface interface) {
  std::vector<Place> out;
  for (const ZoneLine& line : film.lines) {
    const Zone* zone = zone_of(film, line.zone);
    if (zone == nullptr || zone->flank != flank || line.interface != interface) continue;
    const auto more = places_of(film, line);
    out.insert(out.end(), more.begin(), more.end());
  }
  std::sort(out.begin(), out.end(),
            [](const Place& a, const Place& b) { return a.at_mm < b.at_mm; });
  return out;
}

/// One place that both films judge, mm.
struct Both {
  int zone = 0;  ///< of the follow-up film
  double at = 0.0;
  Known then;
  Known now;
  double change = 0.0;  ///< of the width: see change_at
};

const Place* nearest(const std::vector<Place>& sorted, double at) {
  const auto above = std::lower_bound(sorted.begin(), sorted.end(), at,
                                      [](const Place& p, double v) { return p.at_mm < v; });
  const Place* best = above == sorted.end() ? nullptr : &*above;
  if (above != sorted.begin()) {
    const Place* below = &*(above - 1);
    if (best == nullptr || at - below->at_mm < best->at_mm - at) best = below;
  }
  return best != nullptr && std::abs(best->at_mm - at) <= kSamePlaceMm ? best : nullptr;
}

/// The places of a flank that both films judge.
std::vector<Both> in_common(const std::vector<Place>& then, const std::vector<Place>& now) {
  std::vector<Both> out;
  for (const Place& place : now) {
    const Place* before = place.width ? nearest(then, place.at_mm) : nullptr;
    if (before != nullptr && before->width) {
      out.push_back({place.zone, place.at_mm, *before->width, *place.width});
    }
  }
  return out;
}

/// Smallest and largest width of one film about a place.
std::pair<double, double> range_about(const std::vector<Both>& common, std::size_t i,
                                      Known Both::*film) {
  std::pair<double, double> out{(common[i].*film).value, (common[i].*film).value};
  const auto widen = [&](const Both& both) {
    out.first = std::min(out.first, (both.*film).value);
    out.second = std::max(out.second, (both.*film).value);
    return true;
  };
  const auto near = [&](std::size_t k) { return std::abs(common[k].at - common[i].at) <= kEndMm; };
  for (std::size_t k = i; k-- > 0 && near(k);) widen(common[k]);
  for (std::size_t k = i + 1; k < common.size() && near(k); ++k) widen(common[k]);
  return out;
}

/// Change of the width at a place. Beside an end of a line, or a step of its width, a shift along
/// the stem that no one can see would be a change of the whole width: there only what exceeds all
/// of the other film's widths within kEndMm counts.
double change_at(const std::vector<Both>& common, std::size_t i) {
  const double plain = common[i].now.value - common[i].then.value;
  const auto [low, high] = range_about(common, i, plain > 0.0 ? &Both::then : &Both::now);
  if (high - low <= kStepMm) return plain;
  return plain > 0.0 ? std::max(0.0, common[i].now.value - high)
                     : std::min(0.0, high - common[i].then.value);
}

/// Both films at the places of one zone of the follow-up film.
std::vector<Both> in_zone(const FilmLucency& reference, const FilmLucency& follow_up, int zone,
                          Flank flank, Interface interface) {
  std::vector<Both> whole = in_common(flank_places(reference, flank, interface),
                                      flank_places(follow_up, flank, interface));
  std::vector<Both> out;
  for (std::size_t i = 0; i < whole.size(); ++i) {
    if (whole[i].zone != zone) continue;
    out.push_back(whole[i]);
    out.back().change = change_at(whole, i);  // sees across the zone's border
  }
  return out;
}

/// Change over one window: mean over its points. The errors of one film at neighbouring points come
/// from the same edge, the same outline and the same bone, so their u does not fall with their
/// number; the two films were exposed, processed and laid apart, so theirs are independent.
/// (What is common to both, the scale's error and the model's, cancels in part; it is not taken
/// off, because how much of it does is not known.)
Known window_change(std::span<const Both> window) {
  const auto n = static_cast<double>(window.size());
  Known out;
  double then_u = 0.0;
  double now_u = 0.0;
  for (const Both& both : window) {
    out.value += both.change / n;
    then_u += both.then.u / n;
    now_u += both.now.u / n;
  }
  out.u = std::hypot(then_u, now_u);
  return out;
}

/// Change in every window of the zone, and how much their values scatter by noise alone.
struct Windows {
  std::vector<Known> changes;
  double noise_u = 0.0;  ///< of the mean of one window
  double number = 1.0;   ///< of windows beside each other
};

Windows windows_of(const std::vector<Both>& common) {
  Windows out;
  double squares = 0.0;
  std::size_t used = 0;
  for (const Both& middle : common) {
    const auto from = std::partition_point(common.begin(), common.end(), [&](const Both& b) {
      return b.at < middle.at - kHalfWindowMm;
    });
    const auto to = std::partition_point(
        from, common.end(), [&](const Both& b) { return b.at <= middle.at + kHalfWindowMm; });
    const std::span<const Both> window(from, to);
    if (window.size() < kFewest) continue;
    out.changes.push_back(window_change(window));
    squares += std::pow(middle.change - out.changes.back().value, 2);
    ++used;
  }
  if (used == 0) return out;
  const double independent = std::max(1.0, 2.0 * kHalfWindowMm / kSharedNoiseMm);
  out.noise_u = std::sqrt(squares / static_cast<double>(used) / independent);
  out.number = std::max(1.0, (common.back().at - common.front().at) / (2.0 * kHalfWindowMm));
  return out;
}

/// The largest of several noisy values is too large on average: by up to noise sqrt(2 ln m) for m
/// normal ones (textbook bound). It is not taken off, but counts in u as a rectangle of that
/// half-width.
Known picked(const Known& one, const Windows& windows) {
  const double bias = windows.noise_u * std::sqrt(2.0 * std::log(windows.number));
  return {one.value, std::hypot(one.u, bias / std::sqrt(3.0))};
}

/// Mean width of one film over places in common, with what the film says of the mean of its line.
Known mean_width(const std::vector<Both>& common, Known Both::*film, const ZoneLine* line) {
  const auto n = static_cast<double>(common.size());
  double value = 0.0;
  double point_u = 0.0;
  double present = 0.0;
  for (const Both& both : common) {
    const Known& width = both.*film;
    value += width.value / n;
    if (width.value <= 0.0) continue;
    present += 1.0;
    point_u += width.u;
  }
  double u = present > 0.0 ? point_u / present : 0.0;
  if (line != nullptr && line->width_mean && present > 0.0) {
    const auto all = static_cast<double>(
        std::count_if(line->points.begin(), line->points.end(),
                      [](const LinePoint& p) { return p.state == State::kPresent; }));
    // Fewer places than the film's own mean has: its random part grows at most like this.
    u = std::min(u, line->width_mean->u.value * std::sqrt(std::max(1.0, all / present)));
  }
  const double share = present / n;
  return {value, share * u + (1.0 - share) * kNoLineUMm};
}

/// Length of a film's line over places in common.
Known length_in(const std::vector<Both>& common, Known Both::*film, const ZoneLine* line,
                double pitch) {
  const auto present = std::count_if(common.begin(), common.end(),
                                     [&](const Both& both) { return (both.*film).value > 0.0; });
  const bool known = present > 0 && line != nullptr && line->length;
  return {pitch * static_cast<double>(present),
          known ? std::max(line->length->u.value, pitch) : kNoLengthUMm};
}

double pitch_of(const std::vector<Both>& common) {
  std::vector<double> steps;
  for (std::size_t i = 1; i < common.size(); ++i) steps.push_back(common[i].at - common[i - 1].at);
  if (steps.empty()) return 0.0;
  std::nth_element(steps.begin(), steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2),
                   steps.end());
  return steps[steps.size() / 2];
}

Measured<Millimetres> as_measured(const Known& known) {
  return measured(Millimetres{known.value}, Millimetres{known.u});
}

Known difference(const Known& now, const Known& then) {
  return {now.value - then.value, std::hypot(now.u, then.u)};
}

/// A line that lost 1 mm or more has filled in, which is rare, or one of the films hides it: the
/// interval then reaches back to no change.
Known doubted_loss(const Known& loss) {
  constexpr double kShareOfLoss = 0.6;  // times 1.96 is more than all of it
  if (loss.value > -kProgressiveMm) return loss;
  return {loss.value, std::hypot(loss.u, kShareOfLoss * loss.value)};
}

const ZoneLine* line_of(const FilmLucency& film, int zone, Interface interface) {
  const auto found = std::find_if(film.lines.begin(), film.lines.end(), [&](const ZoneLine& line) {
    return line.zone == zone && line.interface == interface;
  });
  return found == film.lines.end() ? nullptr : &*found;
}

void answer(ZoneChange& out, Answer progressive, std::string reason) {
  out.progressive = progressive;
  out.reason = std::move(reason);
}

/// Why one of the two films leaves the question open; empty when neither does.
std::string unclear(const ZoneLine* then, const ZoneLine* now) {
  for (const auto& [line, film] : {std::pair{then, "reference"}, std::pair{now, "follow-up"}}) {
    const std::string subject = "The " + std::string(film) + " film ";
    if (line == nullptr) return subject + "was not looked at for this interface.";
    if (line->state == State::kNotSeen) return subject + "does not show this zone.";
    if (line->state == State::kCannotTell)
      return subject + "leaves it open whether a line is there.";
  }
  return {};
}

/// The rule of change.h.
void decide(ZoneChange& out, const ZoneLine* then, const ZoneLine* now,
            const Measured<Millimetres>& growth, double loss_mm, ScaleTrust trust) {
  const std::string open = unclear(then, now);
  if (!open.empty()) return answer(out, Answer::kCannotTell, open);
  const bool fresh = then->state == State::kAbsent && now->state == State::kPresent;
  if (fresh && growth.value.value > growth.u95.value &&
      out.change_length->value.value > out.change_length->u95.value) {
    return answer(out, Answer::kYes, "A line stands where the reference film shows none.");
  }
  const bool none = then->state == State::kAbsent && now->state == State::kAbsent;
  if (trust == ScaleTrust::kNominal && !none) {
    return answer(out, Answer::kCannotTell,
                  "Nothing gives the scale of the films, so that 1 mm of growth cannot be told.");
  }
  if (growth.value.value > growth.u95.value && growth.value.value >= kProgressiveMm) {
    return answer(out, Answer::kYes, "The line grew by 1 mm or more.");
  }
  if (fresh) {
    return answer(out, Answer::kCannotTell,
                  "The line is new, but not larger than the uncertainty of its change.");
  }
  if (out.compared < kEnough) {
    return answer(out, Answer::kCannotTell,
                  "Less than half of the zone can be judged on both films.");
  }
  const bool longer = out.change_length->value.value >= kSpreadMm &&
                      out.change_length->value.value > out.change_length->u95.value;
  if (longer) {
    return answer(out, Answer::kCannotTell,
                  "The line is longer than on the reference film, though not wider by 1 mm.");
  }
  if (loss_mm >= kProgressiveMm) {
    return answer(
        out, Answer::kCannotTell,
        "The line lost 1 mm or more, which is rare: the follow-up film may hide it, or it "
        "has become too wide to be told.");
  }
  if (growth.value.value + growth.u95.value < kProgressiveMm) {
    return answer(out, Answer::kNo,
                  now->state == State::kPresent
                      ? "The line grew by less than 1 mm, its uncertainty included."
                      : "There is no line on the follow-up film.");
  }
  answer(out, Answer::kCannotTell, "The uncertainty of the change reaches 1 mm.");
}

/// Places whose widths can be set against each other. Where a zone has a line on both films, a
/// place at which one of them shows none is where that line ends or was missed, not a width of 0.
std::vector<Both> with_widths(const std::vector<Both>& common, const ZoneLine* then,
                              const ZoneLine* now) {
  if (then == nullptr || now == nullptr) return common;
  std::vector<Both> out;
  std::copy_if(common.begin(), common.end(), std::back_inserter(out), [&](const Both& both) {
    const bool was = both.then.value > 0.0;
    const bool is = both.now.value > 0.0;
    return was == is || (was ? now : then)->state == State::kAbsent;
  });
  return out;
}

ZoneChange compare_zone(const FilmLucency& reference, const FilmLucency& follow_up, int zone,
                        Interface interface, ScaleTrust trust) {
  ZoneChange out{.zone = zone,
                 .interface = interface,
                 .change = {},
                 .change_mean = {},
                 .change_length = {},
                 .compared = 0.0,
                 .reason = {}};
  const ZoneLine* then = line_of(reference, zone, interface);
  const ZoneLine* now = line_of(follow_up, zone, interface);
  const Zone* where = zone_of(follow_up, zone);
  std::vector<Both> common;
  if (now != nullptr && where != nullptr && !now->points.empty()) {
    common = in_zone(reference, follow_up, zone, where->flank, interface);
    out.compared = static_cast<double>(common.size()) / static_cast<double>(now->points.size());
  }
  const Windows windows = windows_of(with_widths(common, then, now));
  if (windows.changes.empty()) {
    const std::string open = unclear(then, now);
    answer(out, Answer::kCannotTell,
           open.empty() ? "No place of this zone can be judged on both films." : open);
    return out;
  }
  const auto by_value = [](const Known& a, const Known& b) { return a.value < b.value; };
  const auto [least, most] =
      std::minmax_element(windows.changes.begin(), windows.changes.end(), by_value);
  const Measured<Millimetres> growth = as_measured(picked(*most, windows));
  // Growth first: what filled in elsewhere in the zone must not hide it.
  const bool grew = growth.value.value > growth.u95.value || most->value >= -least->value;
  out.change = grew ? growth : as_measured(doubted_loss(picked(*least, windows)));
  out.change_mean = as_measured(
      difference(mean_width(common, &Both::now, now), mean_width(common, &Both::then, then)));
  const double pitch = pitch_of(common);
  out.change_length = as_measured(difference(length_in(common, &Both::now, now, pitch),
                                             length_in(common, &Both::then, then, pitch)));
  decide(out, then, now, growth, -least->value, trust);
  if (!unclear(then, now).empty()) {
    // A film that leaves the zone open has no width to take a change from.
    out.change.reset();
    out.change_mean.reset();
    out.change_length.reset();
  }
  return out;
}

}  // namespace

std::vector<Millimetres> places_on_stem(const FilmLucency& film, const ZoneLine& line) {
  const Zone* zone = zone_of(film, line.zone);
  const bool tip = zone != nullptr && zone->flank == Flank::kTip;
  const double origin = tip ? arc_at_axis(film, line) : tip_mm(film).value_or(0.0);
  std::vector<Millimetres> out;
  out.reserve(line.points.size());
  for (const LinePoint& point : line.points) {
    out.push_back({(tip ? point.arc.value : point.along.value) - origin});
  }
  return out;
}

std::vector<ZoneChange> compare(const FilmLucency& reference, const FilmLucency& follow_up,
                                ScaleTrust trust) {
  std::vector<std::pair<int, Interface>> keys;
  for (const FilmLucency* film : {&reference, &follow_up}) {
    for (const ZoneLine& line : film->lines) keys.emplace_back(line.zone, line.interface);
  }
  std::sort(keys.begin(), keys.end());
  keys.erase(std::unique(keys.begin(), keys.end()), keys.end());
  std::vector<ZoneChange> out;
  out.reserve(keys.size());
  for (const auto& [zone, interface] : keys) {
    out.push_back(compare_zone(reference, follow_up, zone, interface, trust));
  }
  return out;
}

const ZoneChange* change_at(std::span<const ZoneChange> changes, int zone, Interface interface) {
  const auto found = std::find_if(changes.begin(), changes.end(), [&](const ZoneChange& one) {
    return one.zone == zone && one.interface == interface;
  });
  return found == changes.end() ? nullptr : &*found;
}

}  // namespace tidemark::lucency
