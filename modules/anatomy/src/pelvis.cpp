#include "tidemark/anatomy/pelvis.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

#include "edge_field.h"

namespace tidemark::anatomy {
namespace {

// Lengths in mm, which are px of the edge field. House choices, looked at on simulated films of
// pelves from CT.
constexpr double kDegree = std::numbers::pi / 180.0;
constexpr double kLeastBeyondHead = 150.0;  ///< of film medial of the head: else one side only
constexpr double kNearestAxis = 60.0;       ///< from the head's centre
constexpr double kFarthestAxis = 130.0;
constexpr double kMostTilt = 7.0 * kDegree;
constexpr double kAboveHead = -60.0;  ///< the ring: from the sacrum's end to the ischia
constexpr double kBelowHead = 85.0;
constexpr double kBlock = 20.0;
constexpr double kBlockStep = 15.0;
constexpr double kFirstBlock = 10.0;  ///< from the axis
constexpr double kLastBlock = 85.0;
constexpr double kLeastEdges = 0.15;  ///< of a block
constexpr double kMostTurn = 3.0 * kDegree;
constexpr double kTurnStep = 0.15 * kDegree;
constexpr int kTurns = 41;
constexpr double kMostAcross = 6.0;  ///< shift of a block across the axis
constexpr std::size_t kLeastBlocks = 12;
/// A mirror image elsewhere must be less like: of the whole ring, coarsely.
constexpr double kLeastRing = 0.25;
constexpr double kRingLead = 0.03;
/// Standard uncertainty of the direction that no film shows: two halves of a pelvis that are not
/// the same, 1 mm over 200 mm.
constexpr double kAsymmetry = 0.3;  // degrees

constexpr PatchGrid kRing{4.0, 80.0, kAboveHead, kBelowHead, 3.0};
/// About the lesser trochanter: across towards the medial side, along the shaft.
constexpr PatchGrid kTrochanter{-22.0, 12.0, -14.0, 34.0, 1.5};
constexpr PatchGrid kTrochanterCoarsely{-22.0, 12.0, -14.0, 34.0, 2.5};
constexpr double kLeastTrochanter = 0.65;
constexpr double kTrochanterLead = 0.06;
constexpr double kTrochanterUMm = 1.0;

Vec2 normal_of(const Vec2& along) { return {along.y(), -along.x()}; }

/// Both sides of a mirror.
struct Mirror {
  Vec2 origin;
  double tilt =
      0.0;  ///< of the axis from the film's vertical, positive: its lower end to the right
  [[nodiscard]] Vec2 along() const { return {std::sin(tilt), std::cos(tilt)}; }
  [[nodiscard]] PatchFrame here() const { return {origin, -normal_of(along()), along()}; }
  [[nodiscard]] PatchFrame there() const { return {origin, normal_of(along()), along()}; }
};

double ring_likeness(const EdgeField& field, const Mirror& mirror) {
  return likeness(sampled(field, mirror.here(), kRing), sampled(field, mirror.there(), kRing))
      .value_or(-1.0);
}

/// The best of all mirrors, and how like the best one elsewhere is.
struct RingSearch {
  Mirror best;
  double likeness = -1.0;
  double elsewhere = -1.0;
};

RingSearch search_ring(const EdgeField& field, const Vec2& head) {
  std::vector<std::pair<double, Mirror>> all;
  for (const double off : stepped(kNearestAxis, kFarthestAxis, 2.0)) {
    for (const double tilt : stepped(-kMostTilt, kMostTilt, kDegree)) {
      const Mirror mirror{head + Vec2(off, 0.0), tilt};
      all.emplace_back(ring_likeness(field, mirror), mirror);
    }
  }
  RingSearch out;
  for (const auto& [value, mirror] : all) {
    if (value > out.likeness) {
      out.likeness = value;
      out.best = mirror;
    }
  }
  for (const auto& [value, mirror] : all) {
    const bool apart = std::abs(mirror.origin.x() - out.best.origin.x()) > 8.0 ||
                       std::abs(mirror.tilt - out.best.tilt) > 3.0 * kDegree;
    if (apart) out.elsewhere = std::max(out.elsewhere, value);
  }
  return out;
}

/// How like one block is to its mirror image for each turn of the axis, the best shift across.
using TurnCurve = std::vector<double>;

std::optional<TurnCurve> curve_of(const EdgeField& field, const Mirror& mirror, double across,
                                  double along_from) {
  const PatchGrid grid{across, across + kBlock, along_from, along_from + kBlock, 1.5};
  const auto here = sampled(field, mirror.here(), grid);
  if (edge_share(here) < kLeastEdges) return {};
  TurnCurve curve;
  for (int i = 0; i < kTurns; ++i) {
    const double turn = -kMostTurn + kTurnStep * i;
    PatchFrame there = mirror.there();
    there.origin += 2.0 * (across + 0.5 * kBlock) * turn * there.along;
    std::optional<double> best;
    for (const double shift : stepped(-kMostAcross, kMostAcross, 1.0)) {
      PatchFrame shifted = there;
      shifted.origin += shift * there.across;
      const auto value = likeness(here, sampled(field, shifted, grid));
      if (value && (!best || *value > *best)) best = value;
    }
    if (!best) return {};
    curve.push_back(*best);
  }
  return curve;
}

std::vector<TurnCurve> curves_of(const EdgeField& field, const Mirror& mirror) {
  std::vector<TurnCurve> out;
  for (const double across : stepped(kFirstBlock, kLastBlock, kBlockStep)) {
    for (const double level : stepped(kAboveHead, kBelowHead - kBlock - 0.1, kBlockStep)) {
      if (auto curve = curve_of(field, mirror, across, level)) out.push_back(std::move(*curve));
    }
  }
  return out;
}

/// Where the sum of all curves but `without` is highest, by a parabola; radians.
double turn_of(const std::vector<TurnCurve>& curves, std::optional<std::size_t> without) {
  TurnCurve sum(kTurns, 0.0);
  for (std::size_t k = 0; k < curves.size(); ++k) {
    if (without == k) continue;
    for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += curves[k][i];
  }
  const auto top = std::max_element(sum.begin() + 1, sum.end() - 1);
  const auto i = static_cast<double>(top - sum.begin());
  const double bend = *(top - 1) - 2.0 * *top + *(top + 1);
  const double off = bend < 0.0 ? 0.5 * (*(top - 1) - *(top + 1)) / bend : 0.0;
  return -kMostTurn + kTurnStep * (i + std::clamp(off, -1.0, 1.0));
}

/// Standard uncertainty of the turn by leaving out one block after the other (the jackknife:
/// Tukey, Ann Math Stat 29 (1958) 614, from memory). Blocks overlap by a quarter on each side:
/// two in three count.
double spread_of_turn(const std::vector<TurnCurve>& curves, double turn) {
  double sum = 0.0;
  for (std::size_t k = 0; k < curves.size(); ++k) {
    const double off = turn_of(curves, k) - turn;
    sum += off * off;
  }
  const auto n = static_cast<double>(curves.size());
  return std::sqrt(1.5 * (n - 1.0) / n * sum);
}

/// A place of the other femur held against this one's lesser trochanter.
struct Place {
  double across = 0.0;  ///< shift from where the mirror puts it, away from the axis
  double along = 0.0;
  double turn = 0.0;  ///< of the other shaft against the mirrored one
};

class TrochanterSearch {
 public:
  TrochanterSearch(const EdgeField& field, const Femur& femur, const Mirror& mirror,
                   const PatchGrid& grid)
      : field_(field), mirror_(mirror), grid_(grid) {
    const Vec2 here = field.place.from_film(femur.lesser_trochanter->px);
    const Vec2 shaft = femur.shaft_axis->line_px.direction;
    sampled_ = sampled(field, {here, normal_of(shaft), shaft}, grid);
    const Vec2 normal = normal_of(mirror.along());
    const auto mirrored = [&](const Vec2& v) { return Vec2(v - 2.0 * normal.dot(v) * normal); };
    start_ = mirror.origin + mirrored(here - mirror.origin);
    shaft_ = mirrored(shaft);
  }
  [[nodiscard]] Vec2 at(const Place& place) const {
    return start_ + place.across * normal_of(mirror_.along()) + place.along * mirror_.along();
  }
  [[nodiscard]] double operator()(const Place& place) const {
    const Vec2 shaft = Rigid2{place.turn, Vec2::Zero()}.apply(shaft_);
    const PatchFrame there{at(place), -normal_of(shaft), shaft};
    return likeness(sampled_, sampled(field_, there, grid_)).value_or(-1.0);
  }

 private:
  const EdgeField& field_;
  Mirror mirror_;
  PatchGrid grid_;
  std::vector<EdgeSample> sampled_;
  Vec2 start_;
  Vec2 shaft_;
};

/// Steps downhill from a place, halving the steps.
std::pair<double, Place> climbed(const TrochanterSearch& value_at, Place place, double value) {
  for (int halvings = 0; halvings < 5; ++halvings) {
    const double step = 1.5 * std::pow(0.5, halvings);
    bool moved = true;
    while (moved) {
      moved = false;
      const double turn = step * kDegree;
      for (const Place& way : {Place{step, 0, 0}, Place{-step, 0, 0}, Place{0, step, 0},
                               Place{0, -step, 0}, Place{0, 0, turn}, Place{0, 0, -turn}}) {
        const Place next{place.across + way.across, place.along + way.along, place.turn + way.turn};
        const double there = value_at(next);
        if (there <= value) continue;
        value = there;
        place = next;
        moved = true;
      }
    }
  }
  return {value, place};
}

/// The likeliest place on a coarse grid, and how like the best one elsewhere is.
struct CoarsePlace {
  Place best;
  double likeness = -1.0;
  double elsewhere = -1.0;
};

CoarsePlace search_places(const TrochanterSearch& value_at) {
  std::vector<std::pair<double, Place>> all;
  for (const double turn : stepped(-8.0 * kDegree, 8.0 * kDegree, 4.0 * kDegree)) {
    for (const double across : stepped(-36.0, 36.0, 3.0)) {
      for (const double along : stepped(-39.0, 39.0, 3.0)) {
        const Place place{across, along, turn};
        all.emplace_back(value_at(place), place);
      }
    }
  }
  CoarsePlace out;
  for (const auto& [value, place] : all) {
    if (value <= out.likeness) continue;
    out.likeness = value;
    out.best = place;
  }
  for (const auto& [value, place] : all) {
    const bool apart = std::abs(place.along - out.best.along) > 8.0 ||
                       std::abs(place.across - out.best.across) > 8.0;
    if (apart) out.elsewhere = std::max(out.elsewhere, value);
  }
  return out;
}

void find_other_trochanter(const EdgeField& field, const Femur& femur, const Mirror& mirror,
                           double mm_per_px, Pelvis& out) {
  if (!femur.lesser_trochanter || !femur.shaft_axis) {
    out.reason = "The lesser trochanter of the measured hip is not seen.";
    return;
  }
  const CoarsePlace coarse = search_places({field, femur, mirror, kTrochanterCoarsely});
  const TrochanterSearch value_at(field, femur, mirror, kTrochanter);
  const auto [value, place] = climbed(value_at, coarse.best, value_at(coarse.best));
  if (value < kLeastTrochanter || coarse.likeness - coarse.elsewhere < kTrochanterLead) {
    out.reason =
        "The other femur does not show a lesser trochanter like that of this one: hidden, or the "
        "other leg lies otherwise.";
    return;
  }
  out.other_lesser_trochanter =
      Landmark{field.place.to_film(value_at.at(place)), kTrochanterUMm / mm_per_px, Source::kFound};
}

}  // namespace

Expected<Pelvis> find_pelvis(const film::FilmImage& hip_view, const Implant& implant,
                             const Femur& femur, MillimetresPerPixel scale) {
  const std::string subject = "pelvis";
  if (!(scale.value > 0.0)) {
    return fail(ErrorKind::kBadInput, subject, "the scale is not positive", "give a scale");
  }
  const Vec2 head_px = implant.head.circle_px.centre;
  if ((hip_view.pixels.width - head_px.x()) * scale.value < kLeastBeyondHead) {
    return fail(ErrorKind::kCannotTell, subject, "the film shows one hip only",
                "take an AP film of the pelvis");
  }
  const EdgeField field = edge_field(hip_view.pixels, implant, scale);
  const RingSearch ring = search_ring(field, field.place.from_film(head_px));
  if (ring.likeness < kLeastRing || ring.likeness - ring.elsewhere < kRingLead) {
    return fail(ErrorKind::kCannotTell, subject,
                "the two sides of the pelvis do not show as mirror images of each other",
                "look at the whole pelvis by eye");
  }
  const auto curves = curves_of(field, ring.best);
  if (curves.size() < kLeastBlocks) {
    return fail(ErrorKind::kCannotTell, subject, "too little of the pelvic ring is seen",
                "look at the whole pelvis by eye");
  }
  const double turn = turn_of(curves, {});
  // The far side lies lower by a positive turn: the axis leans the other way.
  const Mirror mirror{ring.best.origin, ring.best.tilt - turn};
  Pelvis out;
  out.axis_px = {field.place.to_film(mirror.origin), mirror.along()};
  out.direction_u = Degrees{std::hypot(spread_of_turn(curves, turn) / kDegree, kAsymmetry)};
  find_other_trochanter(field, femur, mirror, scale.value, out);
  return out;
}

}  // namespace tidemark::anatomy
