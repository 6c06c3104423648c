#include "hypothesis.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "circles.h"
#include "head_rim.h"
#include "tidemark/core/parallel.h"

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr double kSearchSide = 640.0;  ///< long side of the image that is searched for heads, px
constexpr double kUsualHead = 32.0;    ///< mm, when the user did not give the diameter

/// Grey of the stem's body and of what lies beside it.
struct Greys {
  double body = 0.0;
  double beside = 0.0;
  [[nodiscard]] double step() const { return body - beside; }
};

Greys greys_of(const cv::Mat1f& mm_image, const FlankTrace& trace) {
  Greys g;
  double n = 0.0;
  for (std::size_t i = 0; i < trace.left.size(); i += 4) {
    const double y = trace.first_row + static_cast<double>(i);
    g.body += sample(mm_image, {0.5 * (trace.left[i] + trace.right[i]), y});
    g.beside += 0.5 * (sample(mm_image, {trace.left[i] - 4.0, y}) +
                       sample(mm_image, {trace.right[i] + 4.0, y}));
    n += 1.0;
  }
  g.body /= n;
  g.beside /= n;
  return g;
}

/// Is the disc filled with metal? Its darker part against the stem's own step: about 1 for a head,
/// near 0 for a circle that bone and soft tissue happen to draw.
double fill_evidence(const cv::Mat1f& mm_image, const Vec2& head, double radius, const Greys& g) {
  std::vector<float> inside;
  const int r = static_cast<int>(0.85 * radius);
  for (int dy = -r; dy <= r; ++dy) {
    for (int dx = -r; dx <= r; ++dx) {
      if (dx * dx + dy * dy <= r * r) inside.push_back(sample(mm_image, head + Vec2(dx, dy)));
    }
  }
  const auto at = inside.begin() + static_cast<std::ptrdiff_t>(inside.size() / 8);
  std::nth_element(inside.begin(), at, inside.end());
  return std::clamp((*at - g.beside) / g.step(), 0.0, 1.2);
}

struct Neck {
  double evidence = 0.0;
  Vec2 direction = {-0.7, 0.7};
};

/// Does a straight bright bridge lead from the head to the body? Mean over its middle against what
/// lies beside, in units of the stem's own step: about 1 for a neck, 0 for none.
Neck find_neck(const cv::Mat1f& mm_image, const Vec2& head, double radius, const FlankTrace& trace,
               const Greys& g) {
  const Vec2 top(0.5 * (trace.left.front() + trace.right.front()), trace.first_row);
  const Vec2 d = (top - head).normalized();
  const Vec2 across(-d.y(), d.x());
  Neck best;
  for (int turn = -24; turn <= 24; turn += 4) {
    const double a = turn * kDegree;
    const Vec2 along_neck = std::cos(a) * d + std::sin(a) * across;
    const Vec2 side(-along_neck.y(), along_neck.x());
    double sum = 0.0;
    int count = 0;
    for (int beyond = 2; beyond < 14; ++beyond) {
      const Vec2 p = head + (radius + beyond) * along_neck;
      sum += sample(mm_image, p) -
             0.5 * (sample(mm_image, p + 11.0 * side) + sample(mm_image, p - 11.0 * side));
      ++count;
    }
    const double evidence = std::clamp(sum / count / g.step(), 0.0, 1.0);
    if (evidence > best.evidence) best = {evidence, along_neck};
  }
  return best;
}

/// Where a head's rim beside its neck is looked at, as turns away from the neck.
struct BesideNeck {
  /// @param shadow  half of the neck's width as a share of the head's radius
  explicit BesideNeck(double shadow) {
    const double first = std::asin(std::min(0.95, shadow));
    for (std::size_t i = 0; i < turns.size(); ++i) {
      const double a = first + 2.0 * static_cast<double>(i) * kDegree;
      turns[i] = {std::cos(a), std::sin(a)};
    }
  }
  std::array<Vec2, 18> turns;  ///< cosine and sine of each
};

/// Rim of the head on both sides of the neck, where no cup can cover it: mean normalised inward
/// gradient there, 0 to 1. The cup's own circle has nothing there.
double beside_neck(const Gradient& g, double floor, const Circle2& head, const Vec2& neck,
                   const BesideNeck& rim) {
  double sum = 0.0;
  for (const double side : {-1.0, 1.0}) {
    for (const Vec2& turn : rim.turns) {
      const double c = turn.x();
      const double s = side * turn.y();
      const Vec2 out(c * neck.x() - s * neck.y(), s * neck.x() + c * neck.y());
      const Between at = between(g.x.size(), head.centre + head.radius * out);
      const double gx = sample_at(g.x, at);
      const double gy = sample_at(g.y, at);
      const double inward = -(gx * out.x() + gy * out.y());
      sum += std::clamp(inward / (length_of(gx, gy) + floor), -0.5, 1.0);
    }
  }
  return sum / (2.0 * static_cast<double>(rim.turns.size()));
}

/// Noise floor of normalised gradients: what only the clearest edges of a film exceed.
double rim_floor(const Gradient& g) {
  cv::Mat1f strength;
  cv::magnitude(g.x, g.y, strength);
  return quantile(strength, 0.95);
}

/// What a head is tried with.
struct HeadTrial {
  Circle2 head_px;
  double rim = 0.0;      ///< evidence of its rim, 0 to 1
  double head_mm = 0.0;  ///< diameter
  int width_max = FlankSearch{}.width_max;
  LookFrom look = LookFrom::kFront;
};

/// Where the flanks of a stem may lie under a head, on an image of 1 mm pixels.
FlankSearch flanks_under(const Vec2& head, double radius, const HeadTrial& trial) {
  FlankSearch search;
  search.last_row = static_cast<int>(head.y() + 270.0);
  if (trial.look == LookFrom::kSide) {
    // Neck and body are one bar under the head; the leg may swing by some 20 degrees, and stems are
    // 10 to 20 mm thick from front to back (common practice, no source).
    search.x_min = head.x() - 70.0;
    search.x_max = head.x() + 70.0;
    search.first_row = static_cast<int>(head.y() + radius + 4.0);
    search.width_max = std::min(trial.width_max, 24);
    return search;
  }
  search.x_min = head.x() - 80.0;
  search.x_max = head.x() + 6.0;
  search.first_row = static_cast<int>(head.y() + 30.0);
  search.width_max = trial.width_max;
  return search;
}

std::optional<Hypothesis> try_head(const Pyramid& film, const HeadTrial& trial) {
  const auto& [head_px, rim, head_mm, width_max, look] = trial;
  Hypothesis h;
  h.head_px = head_px;
  h.mm_per_px = head_mm / (2.0 * head_px.radius);
  const double tall = h.mm_per_px * film.film().rows;
  if (tall < 110.0 || tall > 700.0) return std::nullopt;  // no hip film is that small or large
  const Scaled mm = scaled(film, h.mm_per_px, 0.8);
  const Vec2 c = mm.from_film(head_px.centre);
  const double radius = head_mm / 2.0;
  const auto trace = trace_flanks(mm.image, flanks_under(c, radius, trial));
  if (!trace) return std::nullopt;
  h.trace = *trace;
  const Greys greys = greys_of(mm.image, h.trace);
  if (greys.step() <= 0.0) return std::nullopt;
  h.look = look;
  const Neck neck = find_neck(mm.image, c, radius, h.trace, greys);
  h.neck_direction = neck.direction;
  h.score = rim + 1.2 * fill_evidence(mm.image, c, radius, greys) +
            1.5 * std::max(0.0, h.trace.evidence) * std::min(1.0, h.trace.length / 80.0) +
            0.7 * neck.evidence;
  return h;
}

/// The film as it is searched for heads.
struct SearchImage {
  explicit SearchImage(const Pyramid& film)
      : long_side(std::max(film.film().rows, film.film().cols)),
        small(scaled(film, std::min(1.0, kSearchSide / long_side), 0.8)) {}
  int long_side;  ///< of the film, px
  Scaled small;
  /// A circle on the small image as one on the film.
  [[nodiscard]] Circle2 on_film(const Circle2& circle) const {
    return {small.to_film(circle.centre), circle.radius / small.factor};
  }
};

double prior_of_scale(double mm_per_px, double long_side_px, const ImplantOptions& options) {
  if (!options.scale_hint) {
    // Without a hint the field itself is one: cassettes and detectors are 24 to 43 cm long (common
    // practice, no source), a crop may be shorter.
    const double field = mm_per_px * long_side_px;
    return -1.5 * std::max({0.0, std::log(field / 430.0), std::log(200.0 / field)});
  }
  // A detector pitch is 15 to 20 % too large at the patient, hence the lopsided tolerance.
  const double ratio = mm_per_px / options.scale_hint->value;
  const double off = std::max({0.0, 0.72 - ratio, ratio - 1.15});
  return -6.0 * off;
}

/// What the rim beside the neck, 0 to 1 of it, counts among what speaks for a head.
constexpr double kRimScore = 1.5;

/// The head where only its rim beside the neck can be trusted: within a saturated cup its own
/// circle is lost, and the cup's may have been taken for it.
struct HeadSearch {
  Circle2 circle;
  double score = -1.0;
};

HeadSearch search_head(const Gradient& g, double floor, const Hypothesis& h, const Scaled& small) {
  const Vec2 middle = small.from_film(h.head_px.centre);
  const double r0 = h.head_px.radius * small.factor;
  HeadSearch best;
  // The neck is 10 to 14 mm wide (common practice, no source): half of it and the blur beside it.
  const BesideNeck rim(0.5);
  const auto consider = [&](const Vec2& centre, double radius) {
    const double score = beside_neck(g, floor, {centre, radius}, h.neck_direction, rim);
    if (score > best.score) best = {{centre, radius}, score};
  };
  consider(middle, r0);
  const double keep = best.score;
  // First from 0.45 to 1.05 of the radius, then closer about the best.
  const auto look_round = [&](const Circle2& first, const Eigen::Array3d& reach,
                              const Eigen::Array3d& step) {
    const Eigen::Array3i n = (2.0 * reach / step + 1e-9).floor().cast<int>();
    for (int k = 0; k <= n(2); ++k) {
      for (int i = 0; i <= n(0); ++i) {
        for (int j = 0; j <= n(1); ++j) {
          consider(first.centre + Vec2(i * step(0) - reach(0), j * step(1) - reach(1)),
                   first.radius + k * step(2) - reach(2));
        }
      }
    }
  };
  look_round({middle, 0.75 * r0}, {0.3 * r0, 0.3 * r0, 0.3 * r0}, {2.0, 2.0, 1.5});
  const Circle2 rough = best.circle;
  look_round(rough, {2.0, 2.0, 1.5}, {0.5, 0.5, 0.5});
  // What was found by the whole circle stays unless the other is clearly better.
  if (best.score < keep + 0.2) best = {{middle, r0}, keep};
  return best;
}

/// The circle on a neck's midline whose rim beside the neck is the clearest.
HeadSearch search_on_neck(const Gradient& g, double floor, const NeckAxis& neck,
                          const Hypothesis& h, const Scaled& small) {
  const double px = small.factor / h.mm_per_px;  // px of the small image per mm
  const Vec2 foot = small.from_film(neck.line.point);
  const Vec2 across(-neck.line.direction.y(), neck.line.direction.x());
  const double r0 = h.head_px.radius * small.factor;
  // The wrong circle gave the scale, so every length may be a quarter off.
  constexpr double kFarMm = 55.0;
  constexpr double kAsideMm = 1.5;
  constexpr double kStep = 0.5;  // px of the small image
  const int radii = static_cast<int>(0.5 * r0 / kStep);
  HeadSearch best;
  for (int k = 0; k <= radii; ++k) {
    const double radius = 0.75 * r0 + k * kStep;
    const BesideNeck rim((0.5 * neck.width_mm * px + 1.0) / radius);
    const int places = static_cast<int>((kFarMm * px - 0.3 * radius) / kStep);
    for (int i = 0; i <= places; ++i) {
      const Vec2 on_neck = foot - (0.3 * radius + i * kStep) * neck.line.direction;
      for (int aside = -2; aside <= 2; ++aside) {
        const Vec2 centre = on_neck + 0.5 * aside * kAsideMm * px * across;
        const double score = beside_neck(g, floor, {centre, radius}, neck.line.direction, rim);
        if (score > best.score) best = {{centre, radius}, score};
      }
    }
  }
  return best;
}

/// The circle about a neck's end whose rim beside the neck is the clearest, where only a point of
/// the neck's midline is known.
HeadSearch search_towards(const Gradient& g, double floor, const Vec2& on_neck,
                          const Circle2& rough, double neck_px) {
  // Of the rough circle's radius; the head's centre lies within it. House choices.
  constexpr double kFar = 0.45;
  constexpr double kSmallest = 0.6;
  constexpr double kLargest = 1.1;
  HeadSearch best;
  const auto consider = [&](const Circle2& c, const BesideNeck& rim) {
    const Vec2 neck = on_neck - c.centre;
    if (neck.norm() < 0.8 * c.radius) return;
    const double score = beside_neck(g, floor, c, neck.normalized(), rim);
    if (score > best.score) best = {c, score};
  };
  const auto look_round = [&](const Circle2& first, double reach, const Eigen::Vector2d& radii,
                              double step) {
    const int n = static_cast<int>(reach / step);
    const int count = static_cast<int>((radii(1) - radii(0)) / step);
    for (int k = 0; k <= count; ++k) {
      const double radius = radii(0) + step * k;
      const BesideNeck rim((0.5 * neck_px + 1.0) / radius);
      for (int i = -n; i <= n; ++i) {
        for (int j = -n; j <= n; ++j) {
          consider({first.centre + step * Vec2(i, j), radius}, rim);
        }
      }
    }
  };
  const double r = rough.radius;
  look_round(rough, kFar * r, {kSmallest * r, kLargest * r}, 1.5);
  if (best.score <= 0.0) return best;
  const Circle2 first = best.circle;
  look_round(first, 1.5, {first.radius - 1.5, first.radius + 1.5}, 0.5);
  return best;
}

/// Share of the film that is darker than the darker part of a disc: near 1 for metal.
double rank_of(const cv::Mat1f& image, const std::vector<float>& sorted, const Circle2& disc) {
  std::vector<float> inside;
  const int r = static_cast<int>(0.8 * disc.radius);
  for (int dy = -r; dy <= r; ++dy) {
    for (int dx = -r; dx <= r; ++dx) {
      if (dx * dx + dy * dy <= r * r) inside.push_back(sample(image, disc.centre + Vec2(dx, dy)));
    }
  }
  const auto at = inside.begin() + static_cast<std::ptrdiff_t>(inside.size() / 6);
  std::nth_element(inside.begin(), at, inside.end());
  return static_cast<double>(std::lower_bound(sorted.begin(), sorted.end(), *at) - sorted.begin()) /
         static_cast<double>(sorted.size());
}

/// Every third pixel in either direction, sorted: a rank needs no more.
std::vector<float> sorted_sample(const cv::Mat1f& image) {
  std::vector<float> values;
  for (int y = 0; y < image.rows; y += 3) {
    const float* row = image.ptr<float>(y);
    for (int x = 0; x < image.cols; x += 3) values.push_back(row[x]);
  }
  std::sort(values.begin(), values.end());
  return values;
}

/// The discs most worth following: a good rim, and filled with what is bright on this film.
std::vector<DiscCandidate> bright_discs(const cv::Mat1f& image, double low, double high) {
  constexpr int kAll = 45;
  constexpr std::size_t kKeep = 11;
  const std::vector<float> sorted = sorted_sample(image);
  std::vector<std::pair<double, DiscCandidate>> ranked;
  for (const DiscCandidate& d : find_discs(image, low, high, kAll)) {
    ranked.emplace_back(d.rim + rank_of(image, sorted, d.circle), d);
  }
  std::stable_sort(ranked.begin(), ranked.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  // Half by both, half by the rim alone: within a saturated cup every circle is full of brightness.
  std::vector<DiscCandidate> out;
  for (const auto& r : ranked) {
    if (out.size() < kKeep) out.push_back(r.second);
  }
  std::stable_sort(ranked.begin(), ranked.end(),
                   [](const auto& a, const auto& b) { return a.second.rim > b.second.rim; });
  for (std::size_t i = 0; i < std::min(kKeep, ranked.size()); ++i) {
    const DiscCandidate& d = ranked[i].second;
    const bool there = std::any_of(out.begin(), out.end(), [&](const DiscCandidate& o) {
      return o.circle.centre == d.circle.centre && o.circle.radius == d.circle.radius;
    });
    if (!there) out.push_back(d);
  }
  return out;
}

/// Those of n hypotheses that `make` comes to, in their order, on the threads that are free.
std::vector<Hypothesis> each_that_holds(
    std::size_t n, const std::function<std::optional<Hypothesis>(std::size_t)>& make) {
  std::vector<std::optional<Hypothesis>> made(n);
  parallel_within(n, [&](std::size_t i) { made[i] = make(i); });
  std::vector<Hypothesis> out;
  for (auto& h : made) {
    if (h) out.push_back(std::move(*h));
  }
  return out;
}

/// Where a hand has marked the head's centre and nothing else of it: the heads that lie there, if
/// there are any.
void keep_near_given_centre(const ImplantOptions& options, std::vector<Hypothesis>& tried) {
  constexpr double kNearMm = 5.0;  // house choice
  if (!options.given.head_centre_px) return;
  const auto far = [&](const Hypothesis& h) {
    return (h.head_px.centre - *options.given.head_centre_px).norm() * h.mm_per_px > kNearMm;
  };
  if (!std::all_of(tried.begin(), tried.end(), far)) std::erase_if(tried, far);
}

}  // namespace

double head_mm_of(const ImplantOptions& options) {
  return options.head_diameter ? options.head_diameter->value : kUsualHead;
}

namespace {

/// The stem of a head whose centre and diameter are given.
std::vector<Hypothesis> head_by_hand(const Pyramid& film, const ImplantOptions& options) {
  const Circle2 head{*options.given.head_centre_px, 0.5 * *options.given.head_diameter_px};
  auto only = try_head(
      film, {.head_px = head, .rim = 1.0, .head_mm = head_mm_of(options), .look = options.look});
  if (!only) return {};
  only->score += kRimScore;  // a hand's rim is a whole one
  return {*only};
}

}  // namespace

std::vector<Hypothesis> hypotheses(const Pyramid& film, const ImplantOptions& options) {
  const SearchImage search(film);
  const Scaled& small = search.small;
  const int long_side = search.long_side;
  const double head_mm = head_mm_of(options);
  if (options.given.head_centre_px && options.given.head_diameter_px) {
    return head_by_hand(film, options);
  }
  double low = 11.0;
  double high = 75.0;
  if (options.scale_hint) {
    const double r = 0.5 * head_mm / options.scale_hint->value * small.factor;
    low = std::max(6.0, 0.8 * r);
    high = 1.5 * r;
  }
  const auto discs = bright_discs(small.image, low, high);
  std::vector<Hypothesis> tried = each_that_holds(discs.size(), [&](std::size_t i) {
    auto h = try_head(film, {.head_px = search.on_film(discs[i].circle),
                             .rim = discs[i].rim,
                             .head_mm = head_mm,
                             .look = options.look});
    if (h) h->score += prior_of_scale(h->mm_per_px, long_side, options);
    return h;
  });
  keep_near_given_centre(options, tried);
  std::stable_sort(tried.begin(), tried.end(),
                   [](const auto& a, const auto& b) { return a.score > b.score; });
  // Circles inside one another tell the same story: the best of each group goes on.
  std::vector<Hypothesis> apart;
  for (const Hypothesis& h : tried) {
    const bool near = std::any_of(apart.begin(), apart.end(), [&](const Hypothesis& other) {
      return (h.head_px.centre - other.head_px.centre).norm() <
             0.4 * std::min(h.head_px.radius, other.head_px.radius);
    });
    if (!near && apart.size() < 6) apart.push_back(h);
  }
  const Gradient g = gradient(small.image);
  const double floor = rim_floor(g);
  auto out = each_that_holds(apart.size(), [&](std::size_t i) -> std::optional<Hypothesis> {
    Hypothesis h = apart[i];
    const HeadSearch again = search_head(g, floor, h, small);
    const Circle2 head = search.on_film(again.circle);
    if ((head.centre - h.head_px.centre).norm() > 1.0 ||
        std::abs(head.radius - h.head_px.radius) > 1.0) {
      auto moved =
          try_head(film, {.head_px = head, .rim = 0.4, .head_mm = head_mm, .look = options.look});
      if (!moved) return std::nullopt;
      h = *moved;
      h.score += prior_of_scale(h.mm_per_px, long_side, options);
    }
    h.score += kRimScore * again.score;
    return h;
  });
  std::stable_sort(out.begin(), out.end(),
                   [](const auto& a, const auto& b) { return a.score > b.score; });
  return out;
}

namespace {

/// Rim beside the neck, 0 to 1 of it, without which no head is seen there; house choice.
constexpr double kLeastRim = 0.35;

/// The stem under another head than the search for discs gave.
/// @param beside_neck  what its rim beside the neck says for it, 0 to 1
std::optional<Hypothesis> with_head(const Pyramid& film, const Circle2& head_px, double beside_neck,
                                    const ImplantOptions& options) {
  auto moved = try_head(
      film, {.head_px = head_px, .rim = 0.4, .head_mm = head_mm_of(options), .look = options.look});
  if (!moved) return std::nullopt;
  const int long_side = std::max(film.film().rows, film.film().cols);
  moved->score += prior_of_scale(moved->mm_per_px, long_side, options) + kRimScore * beside_neck;
  return moved;
}

}  // namespace

std::optional<Hypothesis> with_head_on_neck(const Pyramid& film, const Hypothesis& h,
                                            const NeckAxis& neck, const ImplantOptions& options) {
  const SearchImage search(film);
  const Gradient g = gradient(search.small.image);
  const HeadSearch found = search_on_neck(g, rim_floor(g), neck, h, search.small);
  if (found.score < kLeastRim) return std::nullopt;
  return with_head(film, search.on_film(found.circle), found.score, options);
}

std::optional<Hypothesis> with_head_towards(const Pyramid& film, const Hypothesis& h,
                                            const Vec2& on_neck, double neck_px,
                                            const ImplantOptions& options) {
  const SearchImage search(film);
  const Scaled& small = search.small;
  const Gradient g = gradient(small.image);
  const Circle2 rough{small.from_film(h.head_px.centre), h.head_px.radius * small.factor};
  const HeadSearch found =
      search_towards(g, rim_floor(g), small.from_film(on_neck), rough, neck_px * small.factor);
  if (found.score < kLeastRim) return std::nullopt;
  return with_head(film, search.on_film(found.circle), found.score, options);
}

std::optional<Hypothesis> with_rim_beside_neck(const Pyramid& film, const Hypothesis& h,
                                               const ImplantOptions& options) {
  constexpr double kBetter = 0.3;  // house choice
  if (h.look != LookFrom::kFront) return std::nullopt;
  const cv::Mat1f& full = film.film();
  const auto fit = fit_head(full, h.head_px, h.mm_per_px);
  const Circle2 now = fit ? fit->circle : h.head_px;
  const double seen = rim_beside_neck(full, now, h.neck_direction, h.mm_per_px);
  if (seen >= kOnRim) return std::nullopt;
  const auto circle = circle_beside_neck(full, now, h.neck_direction, h.mm_per_px);
  if (!circle) return std::nullopt;
  const double better = rim_beside_neck(full, *circle, h.neck_direction, h.mm_per_px);
  if (better < seen + kBetter) return std::nullopt;
  return with_head(film, *circle, better, options);
}

std::optional<Hypothesis> with_faint(const Pyramid& film, const Circle2& head_px,
                                     const ImplantOptions& options) {
  auto h = with_head(film, head_px, 0.5, options);
  if (h) h->faint = true;
  return h;
}

std::optional<Hypothesis> with_narrower_stem(const Pyramid& film, const Hypothesis& h,
                                             const ImplantOptions& options) {
  constexpr int kNarrower = 4;  // mm: a cortex is thicker (common practice, no source)
  const int distal = static_cast<int>(h.trace.right.back() - h.trace.left.back());
  const int width_max = distal - kNarrower;
  if (width_max < FlankSearch{}.width_min + kNarrower) return std::nullopt;
  auto narrower = try_head(film, {h.head_px, 0.4, head_mm_of(options), width_max, options.look});
  constexpr double kLeastEvidence = 0.3;  // as docs/anatomy.md: right flanks show 0.43 and more
  if (!narrower || narrower->trace.evidence < kLeastEvidence) return std::nullopt;
  narrower->faint = h.faint;
  // The shading that hid the flanks from the first search also splits the metal.
  narrower->core = Core::kMetal;
  return narrower;
}

}  // namespace tidemark::anatomy
