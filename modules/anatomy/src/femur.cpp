#include "tidemark/anatomy/femur.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "edge_path.h"
#include "medial_bulge.h"
#include "outer_rim.h"
#include "shaft_axis.h"
#include "stem_frame.h"
#include "tidemark/core/parallel.h"

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr float kForbidden = -100.0F;
constexpr double kSmoothingMm = 0.8;  // sigma under which edges of bone are looked for

/// What the finders share.
struct Scene {
  StemFrame frame;
  Gradient g;                         ///< at 0.8 mm smoothing
  double floor = 1.0;                 ///< slope that stands out from the grain
  std::vector<double> lateral_flank;  ///< x of the stem's rims per row; 0 below the tip
  std::vector<double> medial_flank;
  double tip_s = 0.0;
};

void flanks_of(Scene& scene, const Implant& implant) {
  const auto rows = static_cast<std::size_t>(scene.frame.image.rows);
  scene.lateral_flank.assign(rows, 0.0);
  scene.medial_flank.assign(rows, 0.0);
  for (const Vec2& p : implant.outline_px) {
    const Vec2 q = scene.frame.from_film(p);
    const int r = scene.frame.row(q.x());
    for (int k = std::max(0, r - 2); k <= std::min(static_cast<int>(rows) - 1, r + 2); ++k) {
      auto& l = scene.lateral_flank[static_cast<std::size_t>(k)];
      auto& m = scene.medial_flank[static_cast<std::size_t>(k)];
      l = std::min(l, q.y());
      m = std::max(m, q.y());
    }
  }
  scene.tip_s = scene.frame.from_film(implant.tip.px).x();
}

/// The frame at 0.8 mm smoothing minus its course over 6 mm, metal left out of both: what is left
/// are edges, not the slow fall of soft tissue towards the skin.
cv::Mat1f without_background(const StemFrame& f) {
  cv::Mat1f weight;
  cv::Mat1b free;
  cv::bitwise_not(f.metal, free);
  cv::bitwise_and(free, f.seen, free);
  free.convertTo(weight, CV_32F, 1.0 / 255.0);
  const auto masked = value_of<cv::Mat1f>(f.image.mul(weight));
  const auto blurred = [&](const cv::Mat1f& image, double sigma) {
    if (sigma > 6.0) return wide_blur(image, sigma, cv::BORDER_REPLICATE);
    cv::Mat1f out;
    cv::GaussianBlur(image, out, {}, sigma, 0.0, cv::BORDER_REPLICATE);
    return out;
  };
  std::array<cv::Mat1f, 2> smooth;
  parallel_within(2, [&](std::size_t i) {
    const double sigma = (i == 0 ? kSmoothingMm : 6.0) / f.mm;
    smooth.at(i) = blurred(masked, sigma) / (blurred(weight, sigma) + 1e-4F);
  });
  return value_of<cv::Mat1f>(smooth[0] - smooth[1]);
}

/// The value below which a share of the values lies; the vector is reordered.
double quantile(std::vector<float>& v, double share) {
  if (v.empty()) return 0.0;
  const auto at =
      v.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(v.size() - 1));
  std::nth_element(v.begin(), at, v.end());
  return *at;
}

/// Slope of a weak but real bone edge: well above the grain, well below the cortices, and not
/// below what the stem's own blur leaves beside it.
double edge_floor(const StemFrame& f, const Gradient& g) {
  constexpr double kOfMetal = 0.005;  // of metal's step, per sample; house choice
  std::vector<float> slopes;
  std::vector<float> metal;
  std::vector<float> beside;
  for (int y = 2; y < g.x.rows - 2; y += 2) {
    for (int x = 2; x < g.x.cols - 2; x += 2) {
      if (f.seen(y, x) == 0) continue;
      (f.metal(y, x) != 0 ? metal : beside).push_back(f.image(y, x));
      if (f.metal(y, x) == 0) slopes.push_back(length_of(g.x(y, x), g.y(y, x)));
    }
  }
  if (slopes.size() < 100) return 1e-6;
  const double step = quantile(metal, 0.5) - quantile(beside, 0.5);
  return std::max(
      {1e-9, gradient_floor(f, g), 0.35 * quantile(slopes, 0.97), kOfMetal * std::max(0.0, step)});
}

Scene make_scene(const film::FilmImage& film, const Implant& implant, double mm_per_px) {
  Scene scene;
  scene.frame = stem_frame(view_of(film.pixels), implant, mm_per_px, {});
  scene.g = gradient(without_background(scene.frame));
  scene.floor = edge_floor(scene.frame, scene.g);
  flanks_of(scene, implant);
  return scene;
}

/// Evidence for the outer edge of a cortex: bright on the stem's side. `side` -1 lateral, +1
/// medial.
cv::Mat1f cortex_evidence(const Scene& scene, int side, double nearest, double farthest,
                          double outward_bonus) {
  const StemFrame& f = scene.frame;
  cv::Mat1f e(f.image.size(), kForbidden);
  for (int r = 0; r < e.rows; ++r) {
    const double flank = side < 0 ? scene.lateral_flank[static_cast<std::size_t>(r)]
                                  : scene.medial_flank[static_cast<std::size_t>(r)];
    for (int c = 0; c < e.cols; ++c) {
      const double x = f.x_at(c);
      const double away = side * (x - flank);
      if (away < nearest || away > farthest) continue;
      if (f.seen(r, c) == 0 || f.metal(r, c) != 0) {
        e(r, c) = -0.3F;
        continue;
      }
      const double fall = -static_cast<double>(side) * static_cast<double>(scene.g.x(r, c));
      const double size = length_of(scene.g.x(r, c), scene.g.y(r, c));
      e(r, c) = static_cast<float>(fall / (size + scene.floor) + outward_bonus * away);
    }
  }
  return e;
}

/// Lowest row that is still on the film along both cortices.
int last_seen_row(const StemFrame& f) {
  int last = f.image.rows - 1;
  const int a = std::max(0, f.column(-18.0));
  const int b = std::min(f.image.cols - 1, f.column(18.0));
  while (last > 0 && (f.seen(last, a) == 0 || f.seen(last, b) == 0)) --last;
  return last - static_cast<int>(2.0 / f.mm);
}

Polyline to_film(const StemFrame& f, const EdgePath& path) {
  Polyline out;
  for (std::size_t i = 0; i < path.column.size(); ++i) {
    out.push_back(
        f.to_film(f.s_at(path.first_row + static_cast<double>(i)), f.x_at(path.column[i])));
  }
  return out;
}

struct Trochanter {
  Landmark tip;
  Polyline outline_px;
};

/// A shaft's axis as x over the rows of the stem's frame.
class ShaftInFrame {
 public:
  ShaftInFrame(const StemFrame& frame, const Line2& shaft_px)
      : frame_(frame),
        point_(frame.from_film(shaft_px.point)),
        slope_(frame.medial.dot(shaft_px.direction) / frame.distal.dot(shaft_px.direction)) {}
  [[nodiscard]] double x_at_row(int row) const {
    return point_.y() + slope_ * (frame_.s_at(row) - point_.x());
  }

 private:
  const StemFrame& frame_;
  Vec2 point_;  ///< (s, x)
  double slope_;
};

/// Below a stem that stands askew the shaft leaves the stem's axis: the cortices lie about its own.
/// @return whether that moves where they are looked for by more than a little
bool look_about_shaft(Scene& scene, const Line2& shaft_px) {
  constexpr double kLittleMm = 8.0;  // a half shaft more is left of the search's 28; house choice
  const StemFrame& f = scene.frame;
  const ShaftInFrame shaft(f, shaft_px);
  const int last = last_seen_row(f);
  bool moved = false;
  for (int r = std::max(0, f.row(scene.tip_s) + 1); r < f.image.rows; ++r) {
    const double x = shaft.x_at_row(r);
    moved = moved || (std::abs(x) > kLittleMm && r <= last);
    scene.lateral_flank[static_cast<std::size_t>(r)] = x;
    scene.medial_flank[static_cast<std::size_t>(r)] = x;
  }
  return moved;
}

/// Evidence for the medial outline round the lesser trochanter: not farther from the stem or from
/// the shaft than the trochanter or the calcar stand out, which keeps the ischium's edges away.
cv::Mat1f medial_evidence(const Scene& scene, const Line2& shaft_px) {
  constexpr double kFromStem = 19.0;  // mm, house choice
  constexpr double kFromShaft =
      33.0;  // mm: half a shaft, 14 to 17, and a tall trochanter, 12 to 15
  // A thin stem in a wide femur: so far from the shaft's axis bone stands whatever the stem is.
  constexpr double kBoneMm = 28.0;
  const StemFrame& f = scene.frame;
  const ShaftInFrame shaft(f, shaft_px);
  cv::Mat1f e = cortex_evidence(scene, 1, 1.5, kFromShaft + kFromStem, 0.004);
  for (int r = 0; r < e.rows; ++r) {
    const double axis_x = shaft.x_at_row(r);
    const double from_stem = scene.medial_flank[static_cast<std::size_t>(r)] + kFromStem;
    const double farthest = std::min(axis_x + kFromShaft, std::max(from_stem, axis_x + kBoneMm));
    for (int c = std::max(0, f.column(farthest)); c < e.cols; ++c) e(r, c) = kForbidden;
  }
  return e;
}

/// The femur's medial outline from beside the neck's cut down.
struct MedialOutline {
  EdgePath path;
  Polyline px;
};

std::optional<MedialOutline> trace_medial(const Scene& scene, const Line2& shaft_px) {
  const StemFrame& f = scene.frame;
  const cv::Mat1f e = medial_evidence(scene, shaft_px);
  auto path = best_path(e, f.row(-15.0), std::min(f.row(120.0), last_seen_row(f)), {3, 0.10});
  if (!path) return std::nullopt;
  path = with_outer_rim(f, std::move(*path));
  Polyline px = to_film(f, *path);
  return MedialOutline{std::move(*path), std::move(px)};
}

/// The outer edges of the shaft's cortices.
struct Cortices {
  std::optional<EdgePath> lateral;
  std::optional<EdgePath> medial;
};

Cortices trace_cortices(const Scene& scene) {
  constexpr double kFarthest = 28.0;  // mm, house choice
  const StemFrame& f = scene.frame;
  Cortices out;
  parallel_within(2, [&](std::size_t i) {
    (i == 0 ? out.lateral : out.medial) =
        best_path(cortex_evidence(scene, i == 0 ? -1 : 1, 1.5, kFarthest, 0.002), f.row(20.0),
                  last_seen_row(f), {1, 0.3});
  });
  return out;
}

/// The shaft's axis before anything is known of the lesser trochanter.
std::optional<Line2> rough_shaft(const StemFrame& f, const Cortices& cortices) {
  if (!cortices.lateral || !cortices.medial) return std::nullopt;
  const auto fit = fit_shaft(f, *cortices.lateral, *cortices.medial, {45.0, 115.0, 0.0});
  if (!fit) return std::nullopt;
  return fit->line_px;
}

/// The femur's lateral outline from under the greater trochanter's tip to the shaft.
Polyline trace_lateral(const Scene& scene) {
  constexpr double kFromStem = 40.0;  // mm: the trochanter's bulk, house choice
  const StemFrame& f = scene.frame;
  const cv::Mat1f e = cortex_evidence(scene, -1, 1.5, kFromStem, 0.004);
  const auto path = best_path(e, f.row(-5.0), std::min(f.row(60.0), last_seen_row(f)), {3, 0.10});
  return path ? to_film(f, *path) : Polyline{};
}

std::vector<double> distances_from(const Line2& shaft_px, const Polyline& outline,
                                   double mm_per_px) {
  const Vec2 medial(shaft_px.direction.y(), -shaft_px.direction.x());
  std::vector<double> mm;
  mm.reserve(outline.size());
  for (const Vec2& p : outline) mm.push_back(medial.dot(p - shaft_px.point) * mm_per_px);
  return mm;
}

/// Lesser trochanter: the bulge of the medial outline between the neck's cut and the shaft.
std::optional<Trochanter> find_lesser(const Scene& scene, const MedialOutline& outline,
                                      const Line2& shaft_px, double mm_per_px,
                                      const std::optional<Landmark>& by_other_film) {
  std::optional<int> sample;
  if (by_other_film) {
    const double s = scene.frame.from_film(by_other_film->px).x();
    sample = scene.frame.row(s) - outline.path.first_row;
  }
  const auto bulge = trochanter_bulge(outline.path, distances_from(shaft_px, outline.px, mm_per_px),
                                      scene.frame.mm, sample);
  if (!bulge) return std::nullopt;
  // Smoothing draws the edge of a round bone inwards: a dome's steepest fall lies 0.765 sigma
  // within it (derived, docs/anatomy.md).
  constexpr double kInset = 0.765 * kSmoothingMm;
  const Vec2 medial(shaft_px.direction.y(), -shaft_px.direction.x());
  const Vec2 top = outline.px[static_cast<std::size_t>(bulge->top)] + kInset / mm_per_px * medial;
  return Trochanter{{top, bulge->top_u / mm_per_px, Source::kFound}, outline.px};
}

/// Where the lesser trochanter is, along s: its own place, or what the outline says of it.
ShaftStretch stretch_below(const Scene& scene, const std::optional<MedialOutline>& outline,
                           const std::optional<Landmark>& lesser, const Line2& shaft_px,
                           double mm_per_px) {
  constexpr double kFrom = 20.0;  // mm below the lesser trochanter (docs/truth.md)
  constexpr double kTo = 90.0;
  constexpr double kUsualLevel =
      25.0;  // mm below the reference point, and its spread; house choice
  constexpr double kUsualLevelU = 8.0;
  double level = kUsualLevel;
  double u = kUsualLevelU;
  if (lesser) {
    level = scene.frame.from_film(lesser->px).x();
    u = lesser->u_px * mm_per_px;
  } else if (outline) {
    const auto guess = level_of_hidden_trochanter(
        outline->path, distances_from(shaft_px, outline->px, mm_per_px), scene.frame.mm);
    if (guess) {
      level = scene.frame.s_at(outline->path.first_row + guess->top);
      u = guess->top_u;
    }
  }
  return {level + kFrom, level + kTo, u};
}

/// Whether the film ends so close by that a bone may go on beyond it.
bool at_the_border(const StemFrame& f, const Vec2& p_px) {
  constexpr double kMargin = 2.0;  // mm, house choice
  const Vec2 q = f.from_film(p_px);
  for (const Vec2& d : {Vec2(-1, 0), Vec2(1, 0), Vec2(0, -1), Vec2(0, 1)}) {
    const int row = f.row(q.x() + kMargin * d.x());
    const int col = f.column(q.y() + kMargin * d.y());
    if (row < 0 || col < 0 || row >= f.seen.rows || col >= f.seen.cols) continue;
    if (f.seen(row, col) == 0) return true;
  }
  return false;
}

/// Mean evidence over 10 degrees, from a ray on, if that is a bone's edge there and no path through
/// grain.
std::optional<double> support_from(const EdgePath& path, int ray) {
  // Right ones showed 0.62 and more on 101 of 104 simulated films, paths through heavy grain 0.36
  // to 0.44 (docs/anatomy.md); house choice.
  constexpr double kLeastSupport = 0.5;
  constexpr int kRays = 7;
  const int last = static_cast<int>(path.evidence.size()) - 1;
  double support = 0.0;
  for (int k = 0; k < kRays; ++k) {
    support += path.evidence[static_cast<std::size_t>(std::clamp(ray + k, 0, last))] / kRays;
  }
  if (support < kLeastSupport) return std::nullopt;
  return support;
}

/// Rays about a point of the frame, one row of an evidence map each. Degrees; 0 is proximal,
/// negative lateral.
struct Rays {
  static constexpr double kStepDeg = 1.5;
  static constexpr double kFromDeg = -110.0;
  static constexpr double kToDeg = 55.0;
  static constexpr double kReachMm = 56.0;  ///< a tall trochanter, 45, and some
  static constexpr int kCount = static_cast<int>((kToDeg - kFromDeg) / kStepDeg) + 1;

  Vec2 centre;  ///< (s, x)
  [[nodiscard]] static Vec2 direction(int ray) {
    const double a = (kFromDeg + ray * kStepDeg) * kDegree;
    return {-std::cos(a), std::sin(a)};
  }
  [[nodiscard]] Vec2 at(int ray, double mm) const { return centre + mm * direction(ray); }
};

/// Falls of grey outwards along the rays.
cv::Mat1f ray_evidence(const Scene& scene, const Rays& rays) {
  constexpr double kNearest = 3.0;  // mm
  const StemFrame& f = scene.frame;
  const int cells = static_cast<int>(Rays::kReachMm / f.mm);
  cv::Mat1f e(Rays::kCount, cells, kForbidden);
  for (int i = 0; i < Rays::kCount; ++i) {
    const Vec2 out = Rays::direction(i);
    for (int k = 0; k < cells; ++k) {
      const double r = k * f.mm;
      if (r < kNearest) continue;
      const Vec2 q = rays.at(i, r);
      const int row = f.row(q.x());
      const int col = f.column(q.y());
      if (row < 1 || col < 1 || row > f.image.rows - 2 || col > f.image.cols - 2) continue;
      if (f.seen(row, col) == 0 || f.metal(row, col) != 0) {
        e(i, k) = -0.4F;
        continue;
      }
      const double gx = scene.g.x(row, col);
      const double gy = scene.g.y(row, col);
      const double fall = -(gy * out.x() + gx * out.y());
      e(i, k) = static_cast<float>(fall / (length_of(gx, gy) + scene.floor) + 0.003 * r);
    }
  }
  return e;
}

/// What the rays about one point show.
struct ByRays {
  std::optional<Trochanter> found;
  bool leaves_film = false;  ///< the outline is seen, and its tip lies where the film ends
  /// How far proximal along the shaft an outline is seen to rise from its lateral side, px.
  double rises_to = -std::numeric_limits<double>::infinity();
};

/// What lies within 6 degrees medially of a ray's point, nearer than 8 mm beyond it, and hides that
/// side of a tip.
enum class Hides { kNothing, kStem, kOtherMetal };

Hides hidden_medially(const Scene& scene, const Rays& rays, int ray, double at_mm) {
  constexpr int kRays = 4;
  constexpr double kBeyond = 8.0;  // mm; house choices
  constexpr double kOffStem = 4.0;
  const StemFrame& f = scene.frame;
  Hides out = Hides::kNothing;
  for (int i = ray + 1; i <= std::min(Rays::kCount - 1, ray + kRays); ++i) {
    const int first = static_cast<int>(0.5 * at_mm / f.mm);
    const int last = static_cast<int>((at_mm + kBeyond) / f.mm);
    for (int k = first; k <= last; ++k) {
      const Vec2 q = rays.at(i, k * f.mm);
      const int row = f.row(q.x());
      const int col = f.column(q.y());
      if (row < 0 || col < 0 || row >= f.metal.rows || col >= f.metal.cols) continue;
      if (f.metal(row, col) == 0) continue;
      if (q.y() < scene.lateral_flank[static_cast<std::size_t>(row)] - kOffStem) {
        return Hides::kOtherMetal;
      }
      out = Hides::kStem;
    }
  }
  return out;
}

/// Whether an outline still climbs along the shaft at a ray: by more than half of its way over the
/// 6 degrees before it. House choice.
bool still_climbs(const Polyline& outline_px, const std::vector<double>& level, int ray) {
  constexpr double kHalf = 0.5;
  const auto at = static_cast<std::size_t>(ray);
  const auto before = static_cast<std::size_t>(std::max(0, ray - 4));
  const double way = (outline_px[at] - outline_px[before]).norm();
  return level[at] - level[before] > kHalf * way;
}

/// u of a tip along an outline that is seen with so much support; where only its lateral side is
/// seen, the tip may lie under what hides the other one. mm, house choices.
double tip_u(double support, bool hidden) {
  constexpr double kUnderMetal = 1.5;
  return std::hypot(0.4 + 0.4 / support, hidden ? kUnderMetal : 0.0);
}

ByRays greater_by_rays(const Scene& scene, const Rays& rays, const Line2& shaft_px,
                       double mm_per_px) {
  constexpr int kSide = 15;  // rays, 22 degrees
  const StemFrame& f = scene.frame;
  const auto path = best_path(ray_evidence(scene, rays), 0, Rays::kCount - 1, {4, 0.06});
  if (!path) return {};
  Trochanter t;
  std::vector<double> level;
  int best = -1;
  for (int i = 0; i < Rays::kCount; ++i) {
    const Vec2 q = rays.at(i, path->column[static_cast<std::size_t>(i)] * f.mm);
    t.outline_px.push_back(f.to_film(q.x(), q.y()));
    level.push_back(-shaft_px.direction.dot(t.outline_px.back()));
    const bool real = path->evidence[static_cast<std::size_t>(i)] > 0.25;
    if (real && (best < 0 || level.back() > level[static_cast<std::size_t>(best)])) best = i;
  }
  if (best < 2 || best > Rays::kCount - 3) return {};
  const auto about = support_from(*path, best - 3);
  const auto lateral = support_from(*path, best - 6);
  const bool whole = about && share_of_edge(*path, best - kSide, best + kSide + 1) >= kShareOfABone;
  const bool rises = lateral && share_of_edge(*path, best - 2 * kSide, best + 1) >= kShareOfABone;
  ByRays out;
  if (rises) out.rises_to = level[static_cast<std::size_t>(best)];
  const double at_mm = path->column[static_cast<std::size_t>(best)] * f.mm;
  const Hides hides = hidden_medially(scene, rays, best, at_mm);
  // Metal that cuts a climbing outline hides the tip itself.
  if (hides != Hides::kNothing && still_climbs(t.outline_px, level, best)) return out;
  const bool hidden = !whole && rises && hides == Hides::kOtherMetal;
  if (!whole && !hidden) return out;
  const Vec2& tip = t.outline_px[static_cast<std::size_t>(best)];
  out.leaves_film = at_the_border(f, tip);
  if (out.leaves_film) return out;
  t.tip = {tip, tip_u(hidden ? *lateral : *about, hidden) / mm_per_px, Source::kFound};
  out.found = std::move(t);
  return out;
}

/// Greater trochanter: its outline by rays round a point of it beside the stem: just below the
/// shoulder, and where that stands above the bone farther down. What is seen from there must be as
/// high as what rose before it on another's path: else it is a piece of the outline, not its tip.
std::optional<Trochanter> find_greater(const Scene& scene, const Implant& implant,
                                       const Line2& shaft_px, double mm_per_px) {
  // House choices, mm.
  constexpr double kBelow = 4.0;
  constexpr double kBeside = 3.0;
  constexpr std::array kFartherBelow{14.0, 24.0};
  constexpr double kBesideFlank = 5.0;
  constexpr double kLower = 4.0;
  const StemFrame& f = scene.frame;
  const Vec2 shoulder = f.from_film(implant.shoulder.px);
  ByRays seen = greater_by_rays(scene, {shoulder + Vec2(kBelow, -kBeside)}, shaft_px, mm_per_px);
  double rises_to = seen.rises_to;
  for (const double below : kFartherBelow) {
    if (seen.found || seen.leaves_film) break;
    const double s = shoulder.x() + below;
    const int row = std::clamp(f.row(s), 0, f.image.rows - 1);
    const double flank = scene.lateral_flank[static_cast<std::size_t>(row)];
    seen = greater_by_rays(scene, {Vec2(s, flank - kBesideFlank)}, shaft_px, mm_per_px);
    if (seen.found && !std::isfinite(seen.rises_to)) seen.found.reset();
    rises_to = std::max(rises_to, seen.rises_to);
  }
  if (!seen.found) return std::nullopt;
  const double tip = -shaft_px.direction.dot(seen.found->tip.px);
  if (tip * mm_per_px < rises_to * mm_per_px - kLower) return std::nullopt;
  return seen.found;
}

Landmark by_hand(const Vec2& px, double mm_per_px) {
  constexpr double kByHandMm = 0.7;  // a careful click on a round bony outline; house choice
  return {px, kByHandMm / mm_per_px, Source::kGiven};
}

/// A line downwards.
Line2 downwards(Line2 line) {
  if (line.direction.y() < 0.0) line.direction *= -1.0;
  return line;
}

void apply_given(const GivenLandmarks& given, double mm_per_px, Femur& femur) {
  if (given.lesser_trochanter_px) {
    femur.lesser_trochanter = by_hand(*given.lesser_trochanter_px, mm_per_px);
  }
  if (given.greater_trochanter_px) {
    femur.greater_trochanter = by_hand(*given.greater_trochanter_px, mm_per_px);
  }
  if (given.shaft_axis_px) {
    femur.shaft_axis = {downwards(*given.shaft_axis_px), {0.5}, Source::kGiven};
  }
}

void flag_what_is_missing(Femur& femur) {
  if (!femur.lesser_trochanter) {
    femur.flags.push_back(
        {"lesser_trochanter_not_seen", "The lesser trochanter was not seen on this film."});
  }
  if (!femur.shaft_axis) {
    femur.flags.push_back(
        {"shaft_axis_not_seen", "Too little of the shaft's cortices was seen for its axis."});
  }
  if (!femur.greater_trochanter) {
    femur.flags.push_back(
        {"greater_trochanter_not_seen", "The greater trochanter was not seen on this film."});
  }
}

}  // namespace

Expected<Femur> find_femur(const film::FilmImage& hip_view, const Implant& implant,
                           const FemurOptions& options) {
  const double mm_per_px = options.scale.value;
  if (!(mm_per_px > 0.0)) {
    return fail(ErrorKind::kBadInput, hip_view.facts.file, "the scale is not a positive number",
                "give the head's diameter");
  }
  Scene scene = make_scene(hip_view, implant, mm_per_px);
  const StemFrame& f = scene.frame;
  Femur femur;
  Cortices cortices;
  parallel_within(2, [&](std::size_t i) {
    if (i == 0) {
      femur.lateral_outline_px = trace_lateral(scene);
    } else {
      cortices = trace_cortices(scene);
    }
  });
  Line2 shaft = rough_shaft(f, cortices).value_or(implant.axis.line_px);
  if (look_about_shaft(scene, shaft)) {
    cortices = trace_cortices(scene);
    shaft = rough_shaft(f, cortices).value_or(shaft);
  }
  const auto& [lateral, medial] = cortices;
  if (lateral && medial) {
    femur.lateral_cortex_px = to_film(f, *lateral);
    femur.medial_cortex_px = to_film(f, *medial);
  }
  const auto& given = options.given;
  if (given.shaft_axis_px) shaft = downwards(*given.shaft_axis_px);
  const auto outline = trace_medial(scene, shaft);
  // The trochanter says which stretch of the shaft is its axis, and the axis what is farthest from
  // it.
  constexpr int kRounds = 3;
  std::optional<Trochanter> lesser;
  for (int round = 0; round < kRounds; ++round) {
    if (outline) lesser = find_lesser(scene, *outline, shaft, mm_per_px, options.lesser_level);
    if (!lateral || !medial || given.shaft_axis_px) break;
    std::optional<Landmark> level = options.lesser_level;
    if (lesser) level = lesser->tip;
    if (given.lesser_trochanter_px) level = by_hand(*given.lesser_trochanter_px, mm_per_px);
    const auto stretch = stretch_below(scene, outline, level, shaft, mm_per_px);
    const auto fit = fit_shaft(f, *lateral, *medial, stretch);
    if (!fit) break;
    femur.shaft_axis = {fit->line_px, {fit->direction_u_rad / kDegree}, Source::kFound};
    shaft = fit->line_px;
  }
  if (outline) femur.medial_outline_px = outline->px;
  if (lesser) {
    femur.lesser_trochanter = lesser->tip;
    femur.lesser_trochanter_outline_px = lesser->outline_px;
  }
  if (auto gt = find_greater(scene, implant, shaft, mm_per_px)) {
    femur.greater_trochanter = gt->tip;
    femur.greater_trochanter_outline_px = gt->outline_px;
  }
  apply_given(given, mm_per_px, femur);
  flag_what_is_missing(femur);
  return femur;
}

}  // namespace tidemark::anatomy
