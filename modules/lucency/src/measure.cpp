#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <utility>

#include "chain.h"
#include "doubt.h"
#include "evidence.h"
#include "mantle.h"
#include "profiles.h"
#include "response.h"
#include "tidemark/core/parallel.h"
#include "tidemark/core/robust.h"
#include "tidemark/lucency/lucency.h"
#include "widest.h"

namespace tidemark::lucency {
namespace {

constexpr double kNormal95 = 1.96;  // JCGM 100, table G.1
/// Standard uncertainty of the entry level that a hand has placed. House choice.
constexpr double kEntryByHandMm = 1.0;
constexpr double kWidestMm = 3.7;  ///< wider ones are left open, rim or not
/// Log odds from which a rim is said to be there.
constexpr double kRimYes = 3.0;
constexpr double kRimNo = -3.0;
/// Fainter lines, as shares of the step to the metal, are left open: beside cement, where soft
/// tissue is much darker, and anywhere. House choice.
constexpr double kFaintBesideCement = 0.12;
constexpr double kFaint = 0.03;
/// The film must show this much beside the metal: 4 mm.
constexpr int kClearSamples = 39;
/// A line is no shorter than this. House choice.
constexpr double kShortestMm = 4.0;
/// A run whose wall goes on as a canal's, within this distance, at one end is believed from this
/// length on. House choice.
constexpr double kSameWallMm = 0.4;
constexpr double kLongMm = 15.0;
/// Darkness beside the metal, as a share of the step to it, that leaves a place open. House choice.
constexpr double kDarkShare = 0.15;
/// A wall that moves by no more than this over that length follows the stem, and what is darker
/// inside of it than this share of the step to the metal may be a wide line. House choices.
constexpr double kFollowsMm = 10.0;
constexpr double kFollowsWithinMm = 0.3;
constexpr double kFarShare = 0.15;
/// A zone is free of lines when this share of its seen part is. House choice.
constexpr double kAbsentShare = 0.8;
/// Less of a zone than this may as well be a canal's or a trabecula's straight stretch: of false
/// lines on simulated films seven in ten are shorter (docs/lucency.md). House choice.
constexpr double kPresentShare = 0.25;
constexpr double kSeenShare = 0.3;  ///< below, a zone is not seen
/// Below, what is free of a line says nothing of the rest of the zone. House choice.
constexpr double kFreeSeenShare = 0.5;
/// Position of the metal's edge against the steepest fall, mm. House choice from 0.765 of the blur.
constexpr double kEdgeUMm = 0.08;
constexpr double kScaleU = 0.007;  ///< relative: the head's depth against the stem's (film module)
/// Shape of a line's darkness across it, between a box and a chord. House choice.
constexpr double kShapePower = 0.1;
constexpr double kChordPower = 0.5;
constexpr double kBlurMm = 0.2;
/// What the metal's halo may still do at the mantle's border, as a share of the contrast.
constexpr double kHaloBeyond = 0.05;
/// Neck: farther than this from bone.
constexpr double kBareMm = 3.0;

template <class Q>
Measured<Q> normal(double value, double u) {
  return {{value}, {u}, {kNormal95 * u}};
}

/// Of the seven zones of a view the one about the tip, counted from 0.
constexpr std::size_t kTipZone = 3;

/// The part of the profiles that lies in zones, in the order of the outline.
struct Course {
  std::vector<std::size_t> place;  // index into the profiles
  std::vector<std::size_t> zone;   // index into the plan's zones
  std::vector<double> along_mm;    // from the entry level
  Teachers teachers;
};

std::size_t nearest(const std::vector<Place>& places, const Vec2& q) {
  const auto it =
      std::min_element(places.begin(), places.end(), [&](const Place& a, const Place& b) {
        return (a.edge_px - q).squaredNorm() < (b.edge_px - q).squaredNorm();
      });
  return static_cast<std::size_t>(it - places.begin());
}

Course course_of(const Profiles& profiles, const ZonePlan& plan, const anatomy::Implant& implant,
                 double scale) {
  const std::vector<Place>& places = profiles.places;
  const std::size_t from = nearest(places, plan.zones[0].interface_px.front());
  const std::size_t to = nearest(places, plan.zones[6].interface_px.front());
  const std::size_t tip_from = nearest(places, plan.zones[3].interface_px.front());
  const std::size_t tip_to = nearest(places, plan.zones[3].interface_px.back());
  const std::size_t shoulder = nearest(places, implant.shoulder.px);
  Course c;
  for (std::size_t i = 0; i < places.size(); ++i) {
    const double at = scale * along(plan.axis_px, places[i].edge_px);
    if (i + static_cast<std::size_t>(kBareMm / kPlacePitchMm) < std::min(shoulder, from) ||
        (i > to && at < -kBareMm)) {
      c.teachers.bare.push_back(i);
    }
    if (i < from || i > to) continue;
    std::size_t zone = 3;
    if (i < tip_from || i > tip_to) {
      std::size_t third = 0;
      while (third < 2 && at >= plan.zones[third].to.value) ++third;
      zone = i < tip_from ? third : 6 - third;
      c.teachers.flank.push_back(i);
    }
    c.place.push_back(i);
    c.zone.push_back(zone);
    c.along_mm.push_back(at);
  }
  return c;
}

/// Step from the bone to the metal beside each place, median over 10 mm.
std::vector<double> local_steps(const Profiles& profiles, const Course& course) {
  std::vector<double> steps;
  std::vector<double> near;
  constexpr std::size_t kHalf = 10;
  for (std::size_t i = 0; i < course.place.size(); ++i) {
    near.clear();
    const std::size_t a = i > kHalf ? i - kHalf : 0;
    const std::size_t b = std::min(i + kHalf, course.place.size() - 1);
    for (std::size_t k = a; k <= b; ++k) {
      const std::size_t p = course.place[k];
      near.push_back(profiles.metal[p] - profiles.beyond[p]);
    }
    steps.push_back(median(near).value_or(0.0));
  }
  return steps;
}

/// What lines and walls differ by on this film: the range of greys beside the stem.
/// At least a fifth of the step to the metal, as on films that show little else (house choice).
double typical_contrast(const Profiles& profiles, const Course& course,
                        const std::vector<double>& steps) {
  std::vector<double> ranges;
  std::array<double, kProfileSamples> sorted{};
  for (const std::size_t p : course.place) {
    if (profiles.clear[p] < kProfileSamples) continue;
    for (int i = 0; i < kProfileSamples; ++i) {
      sorted[static_cast<std::size_t>(i)] = profiles.values(i, static_cast<Eigen::Index>(p));
    }
    std::sort(sorted.begin(), sorted.end());
    ranges.push_back(sorted[(kProfileSamples * 9) / 10] - sorted[kProfileSamples / 10]);
  }
  return std::max(median(ranges).value_or(0.0), 0.2 * median(steps).value_or(0.0));
}

/// Where a line beside one place begins, mm from the metal, and how well that is known.
using Start = MantleBorder;

LinePoint point_of(const Profiles& profiles, const Course& course, std::size_t i,
                   const PlaceBelief& belief, double step, bool judged, double faint,
                   const Start& start) {
  const Place& place = profiles.places[course.place[i]];
  LinePoint p;
  p.edge_px = place.edge_px;
  p.out_px = place.out_px;
  p.along = Millimetres{course.along_mm[i]};
  p.start = Millimetres{start.mm};
  if (!judged) {
    p.state = State::kNotSeen;
    return p;
  }
  const bool rimmed = belief.rim_log_odds > kRimYes;
  p.depth = step > 0.0 ? belief.depth / step : 0.0;
  p.depth_u = 0.3 * p.depth;
  const bool resolved = p.depth >= faint && belief.width >= kThinnestMm &&
                        (belief.width <= kWideMm || (rimmed && belief.width <= kWidestMm));
  p.state = belief.line >= kLineFrom ? (resolved ? State::kPresent : State::kCannotTell)
            : belief.line + belief.near_wall <= kNoLineUpTo ? State::kAbsent
                                                            : State::kCannotTell;
  if (p.state == State::kPresent) {
    const double u = std::hypot(belief.width_u, start.u, kScaleU * belief.width);
    p.width = normal<Millimetres>(belief.width, u);
    p.rim = rimmed                         ? Answer::kYes
            : belief.rim_log_odds < kRimNo ? Answer::kNo
                                           : Answer::kCannotTell;
  }
  return p;
}

void leave_open(std::vector<LinePoint>& points, std::size_t from, std::size_t to) {
  for (std::size_t i = from; i < to; ++i) {
    points[i].state = State::kCannotTell;
    points[i].width.reset();
  }
}

/// Whether the far wall at the end of a run goes on beyond it as a canal's: places from `at`
/// onwards (step +1 or -1).
bool wall_goes_on(const std::vector<PlaceBelief>& beliefs, std::size_t at, int step,
                  double width_mm) {
  constexpr int kLook = 5;
  for (int k = 1; k <= kLook; ++k) {
    const auto i = static_cast<std::ptrdiff_t>(at) + static_cast<std::ptrdiff_t>(k) * step;
    if (i < 0 || i >= static_cast<std::ptrdiff_t>(beliefs.size())) return false;
    const PlaceBelief& b = beliefs[static_cast<std::size_t>(i)];
    if (b.canal > 0.5) return std::abs(b.wall - width_mm) < kSameWallMm;
  }
  return false;
}

/// Runs of present places shorter than a line can be are left open, and so are those that are a
/// straight stretch of a canal's wall: it goes on at both ends, or at one of a short run.
void drop_doubtful_runs(std::vector<LinePoint>& points, const std::vector<PlaceBelief>& beliefs) {
  const auto places = [](double mm) {
    return static_cast<std::size_t>(std::lround(mm / kPlacePitchMm));
  };
  std::size_t i = 0;
  while (i < points.size()) {
    std::size_t k = i;
    while (k < points.size() && points[k].state == State::kPresent) ++k;
    if (k > i) {
      const bool before = wall_goes_on(beliefs, i, -1, points[i].width->value.value);
      const bool after = wall_goes_on(beliefs, k - 1, 1, points[k - 1].width->value.value);
      const bool canal = (before && after) || ((before || after) && k - i < places(kLongMm));
      if (canal || k - i < places(kShortestMm)) leave_open(points, i, k);
    }
    i = std::max(k, i + 1);
  }
}

struct Counts {
  double present = 0.0;
  double absent = 0.0;
  double open = 0.0;
  double hidden = 0.0;
};

Counts count(const std::vector<LinePoint>& points) {
  Counts c;
  for (const LinePoint& p : points) {
    double& n = p.state == State::kPresent   ? c.present
                : p.state == State::kAbsent  ? c.absent
                : p.state == State::kNotSeen ? c.hidden
                                             : c.open;
    n += 1.0;
  }
  return c;
}

/// Of the places with a line; there is one.
double mean_depth(const std::vector<LinePoint>& points) {
  double sum = 0.0;
  double n = 0.0;
  for (const LinePoint& p : points) {
    if (p.state != State::kPresent) continue;
    sum += p.depth;
    n += 1.0;
  }
  return sum / n;
}

void fill_present(ZoneLine& line, const Counts& c) {
  line.state = State::kPresent;
  std::vector<Measured<Millimetres>> widths;
  double sum = 0.0;
  double u = 0.0;
  double depth_u = 0.0;
  int rim = 0;
  int no_rim = 0;
  for (const LinePoint& p : line.points) {
    if (p.state != State::kPresent) continue;
    widths.push_back(*p.width);
    sum += p.width->value.value;
    u += p.width->u.value;
    depth_u += p.depth_u;
    rim += p.rim == Answer::kYes ? 1 : 0;
    no_rim += p.rim == Answer::kNo ? 1 : 0;
  }
  line.width_max = widest(widths);
  line.width_mean = normal<Millimetres>(sum / c.present, u / c.present);
  line.length =
      normal<Millimetres>(kPlacePitchMm * c.present, std::hypot(1.0, 0.5 * kPlacePitchMm * c.open));
  const double d = mean_depth(line.points);
  const double du = depth_u / c.present;
  line.depth = Measured<double>{d, du, kNormal95 * du};
  line.fraction = c.present / (c.present + c.absent + c.open);
  line.rim = 2 * rim > c.present      ? Answer::kYes
             : 2 * no_rim > c.present ? Answer::kNo
                                      : Answer::kCannotTell;
}

/// A line that is darker than the bone by less than this share of metal's step, in its mean, is
/// left open. A film that blur or a filter has made smooth lets faint shades of bone pass for
/// certain: of 134 lines told on looks at films without any (make_looks.py) 46 were shallower, of
/// 100 told on films with lines 2 (docs/lucency.md). House choice.
constexpr double kShallow = 0.1;
constexpr int kLastFrontalZone = 7;  // not measured from the side, where more bone lies over a line

bool is_shallow(const ZoneLine& line) {
  if (line.interface != Interface::kStemBone || line.zone > kLastFrontalZone) return false;
  return mean_depth(line.points) < kShallow;
}

/// What the points of one zone say together.
void judge(ZoneLine& line) {
  const Counts c = count(line.points);
  const double seen = c.present + c.absent + c.open;
  line.seen = line.points.empty() ? 0.0 : seen / static_cast<double>(line.points.size());
  if (line.seen < kSeenShare) {
    line.state = State::kNotSeen;
    line.reason =
        "The zone lies outside of the field, under other metal, or where greys are cut off.";
    return;
  }
  const bool long_enough = c.present * kPlacePitchMm >= kShortestMm;
  const bool is_line = long_enough && c.present >= kPresentShare * seen;
  const bool is_free = !long_enough && c.absent >= kAbsentShare * seen;
  if (is_line && !is_shallow(line)) {
    fill_present(line, c);
  } else if (is_free && line.seen >= kFreeSeenShare) {
    line.state = State::kAbsent;
  } else if (is_free) {
    line.state = State::kCannotTell;
    line.reason = "Less than half of the zone is seen, and what is seen has no line.";
  } else {
    line.state = State::kCannotTell;
    line.reason = long_enough && !is_line
                      ? "A line stands beside less than a quarter of the zone."
                      : "What is dark beside the stem may be a line or not; the film does not "
                        "settle it.";
    for (std::size_t i = 0; is_line && i < line.points.size(); ++i) {
      if (line.points[i].state == State::kPresent) leave_open(line.points, i, i + 1);
    }
  }
}

std::vector<ZoneLine> lines_of(const Profiles& profiles, const Course& course, const ZonePlan& plan,
                               const std::vector<PlaceBelief>& beliefs,
                               const std::vector<unsigned char>& judged,
                               const std::vector<double>& steps, const std::vector<Start>& starts,
                               Interface interface) {
  std::vector<LinePoint> points;
  const double faint = interface == Interface::kStemCement ? kFaintBesideCement : kFaint;
  for (std::size_t i = 0; i < course.place.size(); ++i) {
    points.push_back(
        point_of(profiles, course, i, beliefs[i], steps[i], judged[i] != 0, faint, starts[i]));
  }
  drop_doubtful_runs(points, beliefs);
  std::vector<ZoneLine> lines;
  for (std::size_t z = 0; z < plan.zones.size(); ++z) {
    ZoneLine line;
    line.zone = plan.zones[z].number;
    line.interface = interface;
    for (std::size_t i = 0; i < points.size(); ++i) {
      if (course.zone[i] == z) line.points.push_back(points[i]);
    }
    if (plan.zones[z].flank == Flank::kMedial) {
      std::reverse(line.points.begin(), line.points.end());
    }
    for (std::size_t i = 0; i < line.points.size(); ++i) {
      line.points[i].arc = Millimetres{kPlacePitchMm * static_cast<double>(i)};
    }
    judge(line);
    lines.push_back(std::move(line));
  }
  return lines;
}

/// Median width of the metal's edge, mm; 0 when none is seen.
double edge_width_mm(const Profiles& profiles) {
  std::vector<double> seen;
  for (const double one : profiles.softness) {
    if (one > 0.0) seen.push_back(one);
  }
  return median(seen).value_or(0.0);
}

EdgeResponse describe(const Response& response, double edge_width_mm) {
  const Eigen::VectorXd halo = halo_shapes() * response.halo;
  EdgeResponse e;
  e.blur = Millimetres{edge_width_mm};
  e.halo = std::max(0.0, -halo(0));
  e.edges = response.edges;
  for (int i = 0; i < kProfileSamples; ++i) {
    if (-halo(i) > 0.1 * e.halo) e.halo_reach = Millimetres{profile_x(i)};
  }
  return e;
}

/// Which places the film shows, and which follow on their neighbour.
struct Sequence {
  std::vector<unsigned char> judged;
  std::vector<unsigned char> joined;
};

Sequence sequence_of(const Profiles& profiles, const Course& course) {
  Sequence s;
  for (std::size_t i = 0; i < course.place.size(); ++i) {
    s.judged.push_back(profiles.clear[course.place[i]] >= kClearSamples ? 1 : 0);
    // The end of the stem is judged by itself: no canal runs along it.
    s.joined.push_back(
        i > 0 && (course.zone[i] == kTipZone) == (course.zone[i - 1] == kTipZone) ? 1 : 0);
  }
  return s;
}

/// What is dark beside the metal beyond the halo, and brightens slowly outwards, fits no wall; it
/// may be a line about a round stem all the same, so it is not free of one.
void doubt_by_darkness(std::vector<PlaceBelief>& beliefs, const Profiles& profiles,
                       const Course& course, const std::vector<double>& steps,
                       const Response& response) {
  constexpr double kLeastOuterMm = 3.0;  // less than half a millimetre has no mean to speak of
  const Eigen::VectorXd halo = halo_shapes() * response.halo;
  const auto between = [](const Eigen::VectorXd& y, double from, double to) {
    const auto at = [](double x) {
      return static_cast<Eigen::Index>(std::lround((x - kProfileFromMm) / kProfilePitchMm));
    };
    return y.segment(at(from), at(to) - at(from)).mean();
  };
  for (std::size_t i = 0; i < beliefs.size(); ++i) {
    const auto place = static_cast<Eigen::Index>(course.place[i]);
    const Eigen::VectorXd y = profiles.values.col(place) - steps[i] * halo;
    // Beyond what the film shows a profile holds nothing.
    const double seen_mm = profile_x(profiles.clear[course.place[i]]);
    if (seen_mm < kLeastOuterMm) continue;
    const double rise = between(y, 2.5, std::min(4.5, seen_mm)) - between(y, 0.5, 1.3);
    if (rise > kDarkShare * steps[i]) beliefs[i].near_wall = 1.0;
  }
}

/// What is dark from the metal on up to a wall beyond every line that is told is a canal, unless
/// that wall follows the stem: then nobody can tell it from a wide line, and it is not free of one.
void doubt_by_far_wall(std::vector<PlaceBelief>& beliefs,
                       const std::vector<PlaceEvidence>& evidence,
                       const std::vector<unsigned char>& joined, const std::vector<double>& steps) {
  constexpr auto kPlaces = static_cast<std::size_t>(kFollowsMm / kPlacePitchMm);
  const auto dark = [&](std::size_t i) {
    return evidence[i].dark_depth > kFarShare * steps[i] && evidence[i].dark_to > 0.0;
  };
  std::vector<double> walls;
  std::size_t begin = 0;  // of the stretch without a gap
  for (std::size_t end = 1; end <= evidence.size(); ++end) {
    if (joined[end - 1] == 0) begin = end - 1;
    if (end - begin < kPlaces) continue;
    const std::size_t from = end - kPlaces;
    walls.clear();
    for (std::size_t i = from; i < end; ++i) {
      if (dark(i)) walls.push_back(evidence[i].dark_to);
    }
    std::sort(walls.begin(), walls.end());
    const std::size_t few = kPlaces / 10;  // may lie off on either side
    if (walls.size() < kPlaces - 2 * few) continue;
    if (walls[walls.size() - 1 - few] - walls[few] > kFollowsWithinMm) continue;
    for (std::size_t i = from; i < end; ++i) {
      if (dark(i)) beliefs[i].near_wall = 1.0;
    }
  }
}

/// The judged places about the tip.
std::vector<std::size_t> tip_of(const Course& course, const Sequence& sequence) {
  std::vector<std::size_t> tip;
  for (std::size_t i = 0; i < course.zone.size(); ++i) {
    if (course.zone[i] == kTipZone && sequence.judged[i] != 0) tip.push_back(i);
  }
  return tip;
}

/// Lines between the cement and the bone: the same look again, from the mantle's border outwards.
void add_cement_bone(FilmLucency& out, const film::FilmImage& hip_view,
                     const anatomy::Implant& implant, const Profiles& profiles,
                     const Course& course, const std::vector<double>& steps,
                     const std::vector<PlaceEvidence>& evidence, const HaloVector& halo,
                     double contrast, double scale) {
  std::vector<Start> mantle = mantle_border(profiles, course.place, evidence);
  std::vector<double> outward(profiles.places.size(), 0.0);
  for (std::size_t i = 0; i < course.place.size(); ++i) {
    outward[course.place[i]] = mantle[i].mm;
    mantle[i].u = std::hypot(mantle[i].u, kEdgeUMm);
  }
  const Profiles beyond = take_profiles_beyond(hip_view, implant, profiles.places, outward, scale);
  // No metal here: the mantle's own step is what its border may blur, and of the metal's halo only
  // the outer part is left.
  const std::vector<double> mantle_steps(course.place.size(), contrast);
  Response response;
  response.covariance.diagonal().setConstant(kHaloBeyond * kHaloBeyond);
  const auto lines = weigh_lines(beyond, course.place, mantle_steps, response, contrast,
                                 {kShapePower, kBlurMm, halo}, Halo::kSettled);
  const Sequence sequence = sequence_of(beyond, course);
  auto beliefs = hear_neighbours(lines, sequence.judged, sequence.joined);
  doubt_by_weak_evidence(beliefs, lines, tip_of(course, sequence));
  auto found = lines_of(beyond, course, out.plan, beliefs, sequence.judged, steps, mantle,
                        Interface::kCementBone);
  out.lines.insert(out.lines.end(), found.begin(), found.end());
  std::stable_sort(out.lines.begin(), out.lines.end(),
                   [](const ZoneLine& a, const ZoneLine& b) { return a.zone < b.zone; });
}

/// That no line was seen at a place of the zone is no answer, whatever the others say. A line that
/// is there keeps its length: what is open beside it can only add to it.
void leave_open(ZoneLine& line, const char* reason) {
  for (LinePoint& point : line.points) {
    if (point.state == State::kAbsent) point.state = State::kCannotTell;
  }
  if (line.state != State::kAbsent) return;
  line.state = State::kCannotTell;
  line.reason = reason;
}

/// From the side a line about the tip is hardly seen: of 26 clear ones on simulated films none was
/// found, and seven were called absent (docs/lucency.md). No line is no answer there.
void leave_tip_open(FilmLucency& out) {
  constexpr int kLateralTip = 11;
  for (ZoneLine& line : out.lines) {
    if (line.zone != kLateralTip) continue;
    leave_open(line,
               "From the side a line about the tip is hardly seen; that none was is no answer.");
  }
}

/// A line of 1 mm between metal and bone keeps erf(0.5 mm / (sqrt 2 s)) of its depth under a blur
/// of s: 68 % under 0.5 mm, 38 % under 1 mm (derived). Softer than that, no line is no answer.
/// House choice; sharp simulated films read 0.1 to 0.35 mm.
constexpr double kTooSoftMm = 0.5;

void leave_soft_film_open(FilmLucency& out, double edge_width_mm) {
  if (edge_width_mm <= kTooSoftMm) return;
  for (ZoneLine& line : out.lines) {
    leave_open(line, "The film is too soft to show a thin line; that none is seen is no answer.");
  }
  out.flags.push_back({"film_too_soft",
                       "The metal's edges are so soft on this film that thin lines beside the "
                       "stem would not show: zones without a line are left open."});
}

/// What the film says at each place of its lines, and what is believed of it.
struct Heard {
  std::vector<PlaceEvidence> evidence;
  std::vector<PlaceBelief> beliefs;
};

/// Asks for lines in three ways, of which the first is believed where the others and the doubts
/// agree with it. contrast: of typical_contrast; steps: of local_steps.
Heard listen(const Profiles& profiles, const Course& course, const Sequence& sequence,
             const std::vector<double>& steps, const Response& response, double contrast) {
  const auto heard = [&](const std::vector<PlaceEvidence>& evidence) {
    return hear_neighbours(evidence, sequence.judged, sequence.joined);
  };
  const std::array<std::pair<double, Halo>, 3> ways{{{kShapePower, Halo::kSettled},
                                                     {kChordPower, Halo::kSettled},
                                                     {kShapePower, Halo::kAsLearnt}}};
  std::array<std::vector<PlaceEvidence>, 3> weights;
  parallel_within(ways.size(), [&](std::size_t i) {
    const auto [power, halo] = ways[i];
    weights[i] =
        weigh_lines(profiles, course.place, steps, response, contrast, {power, kBlurMm, {}}, halo);
  });
  auto beliefs = heard(weights[0]);
  doubt_by_shape(beliefs, heard(weights[1]));
  doubt_by_halo(beliefs, heard(weights[2]));
  doubt_by_darkness(beliefs, profiles, course, steps, response);
  doubt_by_far_wall(beliefs, weights[0], sequence.joined, steps);
  doubt_by_weak_evidence(beliefs, weights[0], tip_of(course, sequence));
  return {std::move(weights[0]), std::move(beliefs)};
}

std::optional<Entry> entry_of(const film::FilmImage& hip_view, const anatomy::Implant& implant,
                              const LucencyOptions& options) {
  if (!options.entry_px) return find_entry(hip_view, implant, options.scale);
  return Entry{*options.entry_px, Millimetres{kEntryByHandMm}, Source::kGiven};
}

}  // namespace

Expected<FilmLucency> measure(const film::FilmImage& hip_view, const anatomy::Implant& implant,
                              const LucencyOptions& options) {
  if (!implant.shows_tip()) {
    return fail(ErrorKind::kCannotTell, "lines beside the stem",
                "the field ends above the stem's tip, down to which the zones are counted",
                "take a film that shows the whole stem");
  }
  const double scale = options.scale.value;
  const auto entry = entry_of(hip_view, implant, options);
  auto plan = divide(implant, options.scale, options.view, entry, options.inner_borders);
  if (!plan) return tl::unexpected(plan.error());
  const Profiles profiles = take_profiles(hip_view, implant, scale);
  const Course course = course_of(profiles, *plan, implant, scale);
  const std::vector<double> steps = local_steps(profiles, course);
  const double contrast = typical_contrast(profiles, course, steps);
  if (!(contrast > 0.0)) {
    return fail(ErrorKind::kCannotTell, "lines beside the stem", "the film has no contrast there",
                "take a film that is exposed for the bone");
  }
  const Response response = learn_response(profiles, course.teachers);
  const Sequence sequence = sequence_of(profiles, course);
  const auto [evidence, beliefs] = listen(profiles, course, sequence, steps, response, contrast);

  FilmLucency out;
  out.plan = std::move(*plan);
  out.flags = out.plan.flags;
  const double edge_width = edge_width_mm(profiles);
  if (response.edges > 0) out.edge = describe(response, edge_width);
  const bool cemented = options.fixation == Fixation::kCemented;
  const std::vector<Start> at_metal(course.place.size(), {0.0, kEdgeUMm});
  out.lines = lines_of(profiles, course, out.plan, beliefs, sequence.judged, steps, at_metal,
                       cemented ? Interface::kStemCement : Interface::kStemBone);
  if (cemented) {
    add_cement_bone(out, hip_view, implant, profiles, course, steps, evidence, response.halo,
                    contrast, scale);
  }
  leave_tip_open(out);
  leave_soft_film_open(out, edge_width);
  if (!options.fixation) {
    out.flags.push_back(
        {"fixation_assumed", "The stem's fixation is not given; it was measured as uncemented."});
  }
  return out;
}

}  // namespace tidemark::lucency
