#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <optional>
#include <vector>

#include "assumed_entry.h"
#include "strip.h"
#include "tidemark/core/robust.h"
#include "tidemark/core/sampling.h"
#include "tidemark/lucency/zones.h"

namespace tidemark::lucency {
namespace {

constexpr double kStepMm = 0.25;   // along the outline
constexpr double kSmoothMm = 4.0;  // of the normals
/// Bone is looked for in windows of this width that begin this far from the metal: narrow, as
/// little is left of a thin calcar, and at several distances, as a line may stand before it. Nearer
/// the metal's edge rules. House choice.
constexpr double kWindowMm = 1.2;
constexpr double kFromMm = 0.4;
constexpr double kLastFromMm = 2.8;
constexpr double kEveryMm = 0.4;
constexpr int kWindows = 7;       // the last begins at kLastFromMm
constexpr double kPitchMm = 0.2;  // across
/// Means over this length on either side of the border are compared: long to find it, short to
/// place it. Above, where the outline begins, less will do.
constexpr double kArmMm = 3.0;
constexpr double kShortArmMm = 1.0;
constexpr double kLeastArmMm = 1.0;
/// Slopes of the cut against the outline's normal, mm along per mm out.
constexpr double kMaxSlope = 1.5;
/// The cut is looked for down to this far below the shoulder's level. House choice: cuts lie 5 to
/// 25 mm above the lesser trochanter.
constexpr double kDeepestMm = 28.0;
/// The least border, as a share of the step from what lies beside the metal to the metal.
constexpr double kMinShare = 0.05;
/// Above the cut there is no bone: the most proximal border counts that has this share of the
/// strongest one, which may be that of the lesser trochanter. House choice.
constexpr double kStrong = 0.5;
/// A weaker one above it, of this share and with a dip between them, leaves the level open.
constexpr double kRival = 0.15;
constexpr double kDip = 0.8;  ///< between them
/// A border farther than this from the level that is assumed without one is not believed
/// (docs/lucency.md). House choice.
constexpr double kFarMm = 10.0;
/// Standard uncertainty that no spread on the film shows: RMS error of found levels on both
/// simulators (docs/lucency.md).
constexpr double kPlaceUMm = 1.4;

struct Steps {
  int columns = 0;
  std::vector<float> value;  ///< by row and column: distal mean minus proximal mean
  std::vector<unsigned char> seen;
};

/// Rise from proximal to distal at each place of the strip; rows run distally.
Steps steps_of(const Strip& strip, double arm_mm) {
  const auto rows = static_cast<std::ptrdiff_t>(strip.places.size());
  const auto arm = static_cast<std::ptrdiff_t>(std::lround(arm_mm / kStepMm));
  const auto least = static_cast<std::ptrdiff_t>(std::lround(kLeastArmMm / kStepMm));
  Steps s{strip.columns, std::vector<float>(strip.values.size(), 0.0F),
          std::vector<unsigned char>(strip.values.size(), 0)};
  for (int c = 0; c < strip.columns; ++c) {
    std::vector<double> sum(static_cast<std::size_t>(rows) + 1, 0.0);
    std::vector<int> count(static_cast<std::size_t>(rows) + 1, 0);
    for (std::size_t r = 0; r < static_cast<std::size_t>(rows); ++r) {
      const std::size_t i = strip.index(r, c);
      sum[r + 1] = sum[r] + (strip.seen[i] != 0 ? static_cast<double>(strip.values[i]) : 0.0);
      count[r + 1] = count[r] + (strip.seen[i] != 0 ? 1 : 0);
    }
    for (std::ptrdiff_t r = 0; r + arm < rows; ++r) {
      const auto a = static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, r - arm));
      const auto m = static_cast<std::size_t>(r);
      const auto b = static_cast<std::size_t>(r + arm);
      const int above = count[m] - count[a];
      const int below = count[b] - count[m];
      if (above < std::min(arm, least) || below + 1 < arm) continue;
      const std::size_t i = strip.index(m, c);
      s.value[i] = static_cast<float>((sum[b] - sum[m]) / below - (sum[m] - sum[a]) / above);
      s.seen[i] = 1;
    }
  }
  return s;
}

/// A border through a row at the metal: how oblique it runs, and where its window begins.
struct Course {
  double slope = 0.0;  ///< rows' way, mm along per mm out
  double from_mm = kFromMm;
};

/// How much a straight border through row `row` at the metal stands out: the least of the means
/// over three thirds of its window, so that no single spot makes a border.
std::optional<double> border_strength(const Steps& steps, const Strip& strip, double row,
                                      const Course& course) {
  std::array<double, 3> sum{};
  std::array<int, 3> count{};
  const auto first = static_cast<int>(std::lround((course.from_mm - strip.first_mm) / kPitchMm));
  const auto wide = static_cast<int>(std::lround(kWindowMm / kPitchMm));
  for (int k = 0; k < wide; ++k) {
    const int c = first + k;
    const double r = row + course.slope * strip.x_mm(c) / kStepMm;
    if (r < 0.0 || r > static_cast<double>(strip.places.size() - 1)) return {};
    const std::size_t i = strip.index(static_cast<std::size_t>(std::lround(r)), c);
    if (steps.seen[i] == 0) continue;
    const auto third = static_cast<std::size_t>(3 * k / wide);
    sum.at(third) += static_cast<double>(steps.value[i]);
    ++count.at(third);
  }
  double least = 1e30;
  for (std::size_t k = 0; k < 3; ++k) {
    if (3 * 2 * count.at(k) < wide) return {};
    least = std::min(least, sum.at(k) / count.at(k));
  }
  return least;
}

struct Candidate {
  std::size_t row = 0;
  double strength = 0.0;  ///< 0 where no border is seen
  double from_mm = kFromMm;
};

/// The best border of each row.
std::vector<Candidate> candidates(const Steps& steps, const Strip& strip) {
  std::vector<Candidate> out;
  for (std::size_t row = 0; row < strip.places.size(); ++row) {
    Candidate best{row, 0.0, kFromMm};
    for (int w = 0; w < kWindows; ++w) {
      const double from = kFromMm + w * kEveryMm;
      for (int k = -6; k <= 6; ++k) {
        const auto s =
            border_strength(steps, strip, static_cast<double>(row), {kMaxSlope * k / 6.0, from});
        if (s && *s > best.strength) best = {row, *s, from};
      }
    }
    out.push_back(best);
  }
  return out;
}

/// The medial outline from the neck down to some way below the shoulder, walked distally.
Polyline medial_flank(const anatomy::Implant& implant, double px) {
  const Line2& axis = implant.axis.line_px;
  const Polyline& outline = implant.outline_px;
  const double lowest = along(axis, implant.shoulder.px) + kDeepestMm * px;
  Polyline flank;
  for (std::size_t i = outline.size(); i-- > 0;) {
    if (along(axis, outline[i]) > lowest) break;
    flank.push_back(outline[i]);
  }
  return flank;
}

/// The stretch around a border where borders are at least kDip of it.
struct Peak {
  std::size_t best = 0;  ///< index into the candidates
  std::size_t first = 0;
  std::size_t last = 0;
};

/// The best border of the first stretch from proximal that has a strong one.
std::size_t first_strong(const std::vector<Candidate>& found, double strong) {
  std::size_t best = 0;
  while (found[best].strength < strong) ++best;
  for (std::size_t i = best; i < found.size(); ++i) {
    if (found[i].strength < kDip * found[best].strength) break;
    if (found[i].strength > found[best].strength) best = i;
  }
  return best;
}

/// Whether a border above `best` stands apart from it.
bool has_rival(const std::vector<Candidate>& found, std::size_t best, double rival) {
  double dip = found[best].strength;
  for (std::size_t i = best; i-- > 0;) {
    dip = std::min(dip, found[i].strength);
    if (found[i].strength >= rival && dip <= kDip * found[i].strength) return true;
  }
  return false;
}

std::optional<Peak> peak_of(const std::vector<Candidate>& found, double least) {
  if (found.size() < 20) return {};
  double top = 0.0;
  for (const Candidate& c : found) top = std::max(top, c.strength);
  if (!(top > least)) return {};
  Peak p;
  p.best = first_strong(found, kStrong * top);
  if (has_rival(found, p.best, kRival * top)) return {};
  p.first = p.last = p.best;
  const double dip = kDip * found[p.best].strength;
  while (p.first > 0 && found[p.first - 1].strength > dip) --p.first;
  while (p.last + 1 < found.size() && found[p.last + 1].strength > dip) ++p.last;
  return p;
}

/// Slope of the border through a row, distally per way outwards: the middle of those that make it
/// stand out nearly as much as the best.
std::optional<CutSlope> slope_at(const Steps& steps, const Strip& strip, double row,
                                 double from_mm) {
  constexpr int kSlopes = 12;          // on either side
  constexpr double kNearly = 0.8;      // of the best; house choice
  constexpr double kStraightU = 0.15;  // a cut is not quite straight; house choice
  std::array<std::optional<double>, 2 * kSlopes + 1> strength;
  double top = 0.0;
  const auto slope_of = [](std::size_t i) {
    return kMaxSlope * (static_cast<double>(i) - kSlopes) / kSlopes;
  };
  for (std::size_t i = 0; i < strength.size(); ++i) {
    strength.at(i) = border_strength(steps, strip, row, {slope_of(i), from_mm});
    top = std::max(top, strength.at(i).value_or(0.0));
  }
  double sum = 0.0;
  double mean = 0.0;
  double square = 0.0;
  for (std::size_t i = 0; i < strength.size(); ++i) {
    const double weight = strength.at(i).value_or(0.0) - kNearly * top;
    if (weight <= 0.0) continue;
    const double slope = slope_of(i);
    sum += weight;
    mean += weight * slope;
    square += weight * slope * slope;
  }
  if (!(sum > 0.0)) return {};
  mean /= sum;
  return CutSlope{mean,
                  std::hypot(std::sqrt(std::max(0.0, square / sum - mean * mean)), kStraightU)};
}

/// The same against the stem axis instead of the outline's normal; the usual one where that cannot
/// be told.
CutSlope against_axis(const std::optional<CutSlope>& by_normal, const Place& place,
                      const Line2& axis) {
  constexpr double kLeast = 0.2;  // of the border's run that must lead medially; house choice
  if (!by_normal) return {};
  const Vec2 medial(axis.direction.y(), -axis.direction.x());
  Vec2 distal(-place.out_px.y(), place.out_px.x());
  if (distal.dot(axis.direction) < 0.0) distal = -distal;
  const Vec2 border = place.out_px + by_normal->value * distal;
  const double out = border.dot(medial) / border.norm();
  if (out < kLeast) return {};
  // d(tan)/d(tan') between two directions of reference: the squares of both secants.
  const double turn = (1.0 + std::pow(border.dot(axis.direction) / border.dot(medial), 2)) /
                      (1.0 + by_normal->value * by_normal->value);
  return {border.dot(axis.direction) / border.dot(medial), turn * by_normal->u};
}

/// Places the border among the candidates of a short arm, within the peak of the long one.
std::optional<Entry> entry_from(const std::vector<Candidate>& coarse,
                                const std::vector<Candidate>& fine, const Steps& fine_steps,
                                const Strip& strip, const Line2& axis, double least) {
  const auto peak = peak_of(coarse, least);
  if (!peak) return {};
  const std::size_t from = coarse[peak->first].row;
  const std::size_t to = coarse[peak->last].row;
  double top = 0.0;
  for (const Candidate& c : fine) {
    if (c.row >= from && c.row <= to) top = std::max(top, c.strength);
  }
  double sum = 0.0;
  double mean = 0.0;
  double square = 0.0;
  for (const Candidate& c : fine) {
    if (c.row < from || c.row > to || c.strength < 0.8 * top) continue;
    const auto row = static_cast<double>(c.row);
    sum += 1.0;
    mean += row;
    square += row * row;
  }
  if (!(sum > 0.0)) return {};
  mean /= sum;
  const double spread_mm = kStepMm * std::sqrt(std::max(0.0, square / sum - mean * mean));
  const Place& place = strip.places[static_cast<std::size_t>(std::lround(mean))];
  const double from_mm = coarse[peak->best].from_mm;
  return Entry{place.edge_px, Millimetres{std::hypot(spread_mm, kPlaceUMm)}, Source::kFound,
               against_axis(slope_at(fine_steps, strip, mean, from_mm), place, axis)};
}

/// Where a collar or a corner of the stem lies across the normals no bone is seen, nor in what
/// metal blurs about it.
void hide_stem(Strip& strip, const Mask& stem, double mm_per_px) {
  constexpr int kRows = 2;  // on either side
  constexpr double kAboutMm = 0.4;
  const auto is_stem = [&](std::size_t row, double x_mm) {
    const Place& place = strip.places[row];
    const Vec2 p = place.edge_px + x_mm / mm_per_px * place.out_px;
    const auto x = static_cast<int>(std::lround(p.x()));
    const auto y = static_cast<int>(std::lround(p.y()));
    return x >= 0 && y >= 0 && x < stem.width && y < stem.height && stem.at(x, y) != 0;
  };
  const auto rows = static_cast<std::ptrdiff_t>(strip.places.size());
  for (std::ptrdiff_t row = 0; row < rows; ++row) {
    for (int c = 0; c < strip.columns; ++c) {
      bool near = false;
      for (int k = -kRows; k <= kRows; ++k) {
        const auto beside =
            static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(row + k, 0, rows - 1));
        for (const double way : {-kAboutMm, 0.0, kAboutMm}) {
          near = near || is_stem(beside, strip.x_mm(c) + way);
        }
      }
      if (near) strip.seen[strip.index(static_cast<std::size_t>(row), c)] = 0;
    }
  }
}

/// Median step from 3 mm outside of the metal to 1.5 mm inside.
double step_to_metal(const Raster& film, const std::vector<Place>& places, double mm_per_px) {
  std::vector<double> steps;
  for (const Place& p : places) {
    const auto in = sample_linear(film, p.edge_px - 1.5 / mm_per_px * p.out_px);
    const auto out = sample_linear(film, p.edge_px + 3.0 / mm_per_px * p.out_px);
    if (in && out) steps.push_back(*in - *out);
  }
  return median(steps).value_or(0.0);
}

}  // namespace

std::optional<Entry> find_entry(const film::FilmImage& hip_view, const anatomy::Implant& implant,
                                MillimetresPerPixel scale) {
  if (!(scale.value > 0.0) || implant.outline_px.size() < 20) return {};
  const Polyline flank = medial_flank(implant, 1.0 / scale.value);
  auto places = places_along(flank, scale.value, kStepMm, kSmoothMm);
  if (places.size() < 40) return {};
  // A flank alone does not tell out from in by its turning: out is away from the stem axis' side.
  const Line2& axis = implant.axis.line_px;
  const Vec2 medial(axis.direction.y(), -axis.direction.x());
  for (Place& p : places) {
    if (p.out_px.dot(medial) < 0.0) p.out_px = -p.out_px;
  }
  const double step = step_to_metal(hip_view.pixels, places, scale.value);
  Strip strip = unroll(hip_view.pixels, implant.stem, implant.metal, std::move(places), scale.value,
                       {kFromMm, kLastFromMm + kWindowMm, kPitchMm});
  hide_stem(strip, implant.stem, scale.value);
  const Steps fine = steps_of(strip, kShortArmMm);
  auto entry = entry_from(candidates(steps_of(strip, kArmMm), strip), candidates(fine, strip), fine,
                          strip, axis, kMinShare * step);
  if (!entry) return {};
  const double below_mm = scale.value * (entry->px - implant.shoulder.px).dot(axis.direction);
  if (std::abs(below_mm - kAssumedEntryMm) > kFarMm) return {};
  return entry;
}

}  // namespace tidemark::lucency
