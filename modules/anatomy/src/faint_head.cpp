#include "faint_head.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "tidemark/core/robust.h"

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
/// Radius of the shadow on the image that is searched, px: a quarter to a third of a millimetre
/// each. This and what follows: house choices.
constexpr double kShadowPx = 80.0;
/// Half the way across a rim over which its fall is taken, px.
constexpr double kAcross = 1.5;
/// A step of a rim counts no more than so many usual ones.
constexpr double kMostSteps = 3.0;
/// Steps smaller than this share of the film's range thereabouts are none: clipped greys.
constexpr double kLeastStep = 0.004;
constexpr int kAngleDeg = 3;

/// The shadow and a little more, with the steps that are usual within it.
struct Shadow {
  cv::Mat1f image;
  Vec2 origin = Vec2::Zero();  ///< on the film, px
  double factor = 1.0;
  double usual = 0.0;
  Vec2 middle = Vec2::Zero();  ///< its own, on the image
  [[nodiscard]] Vec2 from_film(const Vec2& p) const {
    return ((p - origin).array() + 0.5) * factor - 0.5;
  }
  [[nodiscard]] Circle2 to_film(const Circle2& c) const {
    const Vec2 centre = ((c.centre.array() + 0.5) / factor - 0.5).matrix() + origin;
    return {centre, c.radius / factor};
  }
};

double usual_step(const cv::Mat1f& image, const Vec2& centre) {
  constexpr int kReach = 72;
  constexpr int kStride = 3;
  std::vector<double> steps;
  for (int y = -kReach; y <= kReach; y += kStride) {
    for (int x = -kReach; x <= kReach; x += kStride) {
      if (x * x + y * y > kReach * kReach) continue;
      const Vec2 p = centre + Vec2(x, y);
      for (const Vec2& out : {Vec2(kAcross, 0.0), Vec2(0.0, kAcross)}) {
        steps.push_back(std::abs(sample(image, p + out) - sample(image, p - out)));
      }
    }
  }
  const double range = quantile(image, 0.99) - quantile(image, 0.05);
  return std::max(median(steps).value_or(0.0), kLeastStep * range);
}

std::optional<Shadow> shadow_of(const cv::Mat1f& film, const Circle2& circle) {
  const double reach = 1.5 * circle.radius;
  const cv::Rect wanted(static_cast<int>(circle.centre.x() - reach),
                        static_cast<int>(circle.centre.y() - reach), static_cast<int>(2.0 * reach),
                        static_cast<int>(2.0 * reach));
  const cv::Rect part = wanted & cv::Rect(0, 0, film.cols, film.rows);
  if (part.width < 40 || part.height < 40) return std::nullopt;
  Shadow s;
  s.origin = Vec2(part.x, part.y);
  const Scaled small = scaled(film(part), std::min(1.0, kShadowPx / circle.radius), 1.0);
  s.image = small.image;
  s.factor = small.factor;
  s.middle = s.from_film(circle.centre);
  s.usual = usual_step(s.image, s.middle);
  if (!(s.usual > 0.0)) return std::nullopt;
  return s;
}

/// Unit vectors to all sides but the neck's.
std::vector<Vec2> directions_off(const Vec2& neck, double neck_px, double radius) {
  constexpr double kBesideDeg = 8.0;
  const double hidden = std::asin(std::min(0.95, 0.5 * neck_px / radius)) + kBesideDeg * kDegree;
  std::vector<Vec2> out;
  for (int deg = 0; deg < 360; deg += kAngleDeg) {
    const Vec2 u(std::cos(deg * kDegree), std::sin(deg * kDegree));
    if (u.dot(neck) < std::cos(hidden)) out.push_back(u);
  }
  return out;
}

/// Mean step across the rim. Where it runs along the shadow's own border the step is that border's
/// and says nothing; half of the rim must say something.
double score_of(const Shadow& s, const Circle2& c, const std::vector<Vec2>& directions) {
  constexpr double kOnBorder = 6.5;  // px
  std::size_t heard = 0;
  double sum = 0.0;
  for (const Vec2& u : directions) {
    const double inside = kShadowPx - (c.centre + c.radius * u - s.middle).norm();
    if (std::abs(inside) < kOnBorder) continue;
    ++heard;
    const double fall = sample(s.image, c.centre + (c.radius - kAcross) * u) -
                        sample(s.image, c.centre + (c.radius + kAcross) * u);
    sum += std::clamp(fall / s.usual, -kMostSteps, kMostSteps);
  }
  if (2 * heard < directions.size()) return -kMostSteps;
  return sum / static_cast<double>(heard);
}

/// The neck on the shadow's image.
struct Along {
  Vec2 foot;
  Vec2 direction;
  double width = 0.0;
};

FaintHead search(const Shadow& s, const Along& neck) {
  constexpr double kStep = 1.5;
  constexpr double kFar = 0.6 * kShadowPx;
  constexpr int kAside = 2;
  const Vec2 across(-neck.direction.y(), neck.direction.x());
  const double at_middle = (s.middle - neck.foot).dot(neck.direction);
  FaintHead best{{s.middle, kShadowPx}, -kMostSteps};
  // Heads are at least 1.5 necks wide (common practice, no source).
  const double least = std::max(0.75 * neck.width, 0.35 * kShadowPx);
  const int radii = static_cast<int>((0.94 * kShadowPx - least) / kStep);
  constexpr int kPlaces = static_cast<int>(kFar / kStep);
  for (int k = 0; k <= radii; ++k) {
    const double r = least + k * kStep;
    const auto directions = directions_off(neck.direction, neck.width, r);
    for (int i = -kPlaces; i <= kPlaces; ++i) {
      const double t = at_middle + i * kStep;
      for (int aside = -kAside; aside <= kAside; ++aside) {
        const Vec2 centre = neck.foot + t * neck.direction + aside * kStep * across;
        const double score = score_of(s, {centre, r}, directions);
        if (score > best.score) best = {{centre, r}, score};
      }
    }
  }
  return best;
}

FaintHead refined(const Shadow& s, FaintHead best, const Along& neck) {
  constexpr double kStep = 0.25;
  const auto directions = directions_off(neck.direction, neck.width, best.circle.radius);
  const Circle2 first = best.circle;
  constexpr int kReach = 6;
  for (int k = -kReach; k <= kReach; ++k) {
    for (int i = -kReach; i <= kReach; ++i) {
      for (int j = -kReach; j <= kReach; ++j) {
        const Circle2 c{first.centre + kStep * Vec2(i, j), first.radius + kStep * k};
        const double score = score_of(s, c, directions);
        if (score > best.score) best = {c, score};
      }
    }
  }
  return best;
}

}  // namespace

std::optional<FaintHead> faint_head(const cv::Mat1f& film, const Circle2& shadow, const Line2& neck,
                                    double neck_px) {
  const auto s = shadow_of(film, shadow);
  if (!s) return std::nullopt;
  const Along along_neck{s->from_film(neck.point), neck.direction, neck_px * s->factor};
  FaintHead best = search(*s, along_neck);
  best = refined(*s, best, along_neck);
  best.circle = s->to_film(best.circle);
  return best;
}

}  // namespace tidemark::anatomy
