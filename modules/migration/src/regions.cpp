#include "tidemark/migration/regions.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "tidemark/core/uncertainty.h"

namespace tidemark::migration {
namespace {

constexpr double kAlignPitch = 0.22;    ///< mm: finer than the finest gradient (0.3 mm) needs
constexpr double kMetalMargin = 3.0;    ///< mm
constexpr double kNearEnd = 35.0;       ///< mm distal of the stem's reference point
constexpr double kOutlineMargin = 3.0;  ///< mm beyond a bony outline that still votes
constexpr double kFarthest = 70.0;      ///< mm from the stem's axis within which bone is looked for
/// mm about the femur that a film needs: 15 along, 4 by 2 degrees, 5 for the widest Gaussian.
constexpr double kFilmMargin = 25.0;

/// Axes of the stem on the film, in mm of the hip view: s distal, x medial, from the reference
/// point.
struct StemAxes {
  Vec2 origin;
  Vec2 distal;
  Vec2 medial;
  [[nodiscard]] Vec2 in_stem(const Vec2& p_mm) const {
    const Vec2 d = p_mm - origin;
    return {d.dot(distal), d.dot(medial)};
  }
};

StemAxes axes_of(const MeasuredFilm& film) {
  const double k = film.scale.value.value;
  StemAxes a;
  a.origin = k * film.implant.reference_px;
  a.distal = film.implant.axis.line_px.direction;
  a.medial = Vec2(a.distal.y(), -a.distal.x());
  return a;
}

/// Outline of something as x over s, in bins of 1 mm; NaN where nothing is known.
class Border {
 public:
  static constexpr int kBins = 400;
  static constexpr double kFirst = -100.0;
  Border() : x_(kBins, std::numeric_limits<double>::quiet_NaN()) {}

  /// @param keep +1 keeps the largest x of a bin, -1 the smallest
  void add(const Polyline& line_px, const StemAxes& axes, double mm_per_px, int keep) {
    for (const Vec2& p : line_px) {
      const Vec2 q = axes.in_stem(mm_per_px * p);
      const int bin = static_cast<int>(std::floor(q.x() - kFirst));
      if (bin < 0 || bin >= kBins) continue;
      double& x = x_[static_cast<std::size_t>(bin)];
      if (std::isnan(x) || keep * (q.y() - x) > 0.0) x = q.y();
    }
  }
  [[nodiscard]] double at(double s, double otherwise) const {
    const int bin = static_cast<int>(std::floor(s - kFirst));
    if (bin < 0 || bin >= kBins) return otherwise;
    const double x = x_[static_cast<std::size_t>(bin)];
    return std::isnan(x) ? otherwise : x;
  }

 private:
  std::vector<double> x_;
};

/// Everything about one film's femur in stem axes.
struct Outlines {
  StemAxes axes;
  Border lateral, medial;  ///< bone
  Border stem_lateral, stem_medial;
  double shoulder_s = -10.0, shoulder_x = -15.0, tip_s = 120.0;
  double bone_top_s = -30.0;   ///< most proximal row that belongs to the femur
  std::optional<Vec2> lesser;  ///< (s, x)
  std::optional<Vec2> greater;
  Polyline greater_outline;  ///< (s, x)
};

Outlines outlines_of(const MeasuredFilm& film) {
  const double k = film.scale.value.value;
  Outlines o;
  o.axes = axes_of(film);
  o.lateral.add(film.femur.lateral_cortex_px, o.axes, k, -1);
  o.lateral.add(film.femur.greater_trochanter_outline_px, o.axes, k, -1);
  o.medial.add(film.femur.medial_cortex_px, o.axes, k, 1);
  o.medial.add(film.femur.lesser_trochanter_outline_px, o.axes, k, 1);
  o.stem_lateral.add(film.implant.outline_px, o.axes, k, -1);
  o.stem_medial.add(film.implant.outline_px, o.axes, k, 1);
  const Vec2 shoulder = o.axes.in_stem(k * film.implant.shoulder.px);
  o.shoulder_s = shoulder.x();
  o.shoulder_x = shoulder.y();
  o.tip_s = o.axes.in_stem(k * film.implant.tip.px).x();
  o.bone_top_s = o.shoulder_s - 20.0;
  if (film.femur.greater_trochanter) {
    o.greater = o.axes.in_stem(k * film.femur.greater_trochanter->px);
    o.bone_top_s = o.greater->x() - kOutlineMargin;
    for (const Vec2& p : film.femur.greater_trochanter_outline_px) {
      o.greater_outline.push_back(o.axes.in_stem(k * p));
    }
  }
  if (film.femur.lesser_trochanter) o.lesser = o.axes.in_stem(k * film.femur.lesser_trochanter->px);
  return o;
}

/// What belongs to the femur at s, as x from and to.
struct Width {
  double lateral, medial;
};

Width width_at(const Outlines& o, double s) {
  const double lateral = o.lateral.at(s, s < 20.0 ? o.shoulder_x - 16.0 : -16.0) - kOutlineMargin;
  double medial = o.medial.at(s, s < 40.0 ? 24.0 : 16.0) + kOutlineMargin;
  // Above the calcar only the greater trochanter is femur; medial of the shoulder lies the neck.
  if (s < 0.0) medial = std::min(medial, o.shoulder_x + 14.0);
  return {std::max(lateral, -kFarthest), std::min(medial, kFarthest)};
}

bool in_bone(const Outlines& o, const Vec2& q) {
  if (q.x() < o.bone_top_s) return false;
  const Width width = width_at(o, q.x());
  return q.y() > width.lateral && q.y() < width.medial;
}

bool near_greater(const Outlines& o, const Vec2& q) {
  if (!o.greater || q.x() > o.shoulder_s + 25.0) return false;
  constexpr double kBand = 5.0;
  return std::any_of(o.greater_outline.begin(), o.greater_outline.end(), [&](const Vec2& p) {
    return std::abs(p.x() - q.x()) < kBand && std::abs(p.y() - q.y()) < kBand;
  });
}

bool near_lesser(const Outlines& o, const Vec2& q) {
  return o.lesser && std::abs(q.x() - o.lesser->x()) < 14.0 && q.y() > o.lesser->y() - 10.0;
}

bool in_calcar(const Outlines& o, const Vec2& q) {
  const double end = o.lesser ? o.lesser->x() - 14.0 : 20.0;
  return q.x() > -8.0 && q.x() < end && q.y() > o.stem_medial.at(q.x(), 5.0);
}

bool in_metaphysis(const Outlines& o, const Vec2& q) {
  return q.x() > o.shoulder_s - 12.0 && q.x() < o.shoulder_s + 50.0 &&
         q.y() < o.stem_lateral.at(q.x(), o.shoulder_x + 8.0);
}

bool in_shaft(const Outlines& o, const Vec2& q) {
  return q.x() > (o.lesser ? o.lesser->x() + 16.0 : 50.0);
}

/// Marks the body's outline; the neck and what is medial of it lie at another depth and are left
/// out.
bool body_point(const Outlines& o, const Vec2& q) {
  return q.x() > o.shoulder_s - 3.0 && (q.y() < o.shoulder_x + 12.0 || q.x() > 18.0);
}

void paint_disc(Raster& raster, const Vec2& centre_px, double radius_px) {
  const int r = static_cast<int>(std::ceil(radius_px));
  const int cx = static_cast<int>(std::lround(centre_px.x()));
  const int cy = static_cast<int>(std::lround(centre_px.y()));
  for (int y = cy - r; y <= cy + r; ++y) {
    for (int x = cx - r; x <= cx + r; ++x) {
      if (!raster.contains(x, y)) continue;
      if (std::hypot(x - centre_px.x(), y - centre_px.y()) <= radius_px) raster.at(x, y) = 1.0F;
    }
  }
}

/// Where the corner of the shoulder lies on the follow-up film minus where `stem` puts it, in the
/// axes of the reference film, mm.
Vec2 corner_miss(const Rigid2& stem, const MeasuredFilm& reference, const MeasuredFilm& follow_up) {
  const Vec2 before = reference.scale.value.value * reference.implant.shoulder.px;
  const Vec2 after = follow_up.scale.value.value * follow_up.implant.shoulder.px;
  return stem.rotation().transpose() * (after - stem.apply(before));
}

/// A position along the stem's axis on the follow-up film against where an alignment puts it.
struct Shift {
  double along_mm = 0.0;
  double variance = 0.0;  ///< mm^2
};

/// How far the shoulder lies off `stem`: by the vote of the proximal end, and by its corner as
/// marked on each film by itself, which is coarser but never lost.
Shift shoulder_shift(const Rigid2& stem, const std::vector<alignment::FeatureVote>& near_end,
                     const MeasuredFilm& reference, const MeasuredFilm& follow_up) {
  constexpr double kCornerFactor = 2.0;  // a corner changes as the stem turns; house choice
  const StemAxes axes = axes_of(reference);
  const auto variance_of = [&](const alignment::FeatureVote& v) {
    return axes.distal.dot(v.covariance * axes.distal);
  };
  const double ka = reference.scale.value.value;
  const double kb = follow_up.scale.value.value;
  const double corner = std::pow(kCornerFactor * ka * reference.implant.shoulder.u_px, 2) +
                        std::pow(kCornerFactor * kb * follow_up.implant.shoulder.u_px, 2);
  Shift shift{corner_miss(stem, reference, follow_up).dot(axes.distal), corner};
  if (near_end.empty()) return shift;
  const alignment::FeatureVote& vote = *std::min_element(
      near_end.begin(), near_end.end(),
      [&](const auto& p, const auto& q) { return variance_of(p) < variance_of(q); });
  const double own = variance_of(vote);
  const double apart = vote.offset_mm.dot(axes.distal) - shift.along_mm;
  shift.variance = 1.0 / (1.0 / own + 1.0 / corner);
  shift.along_mm += apart * shift.variance / own;
  // Two that contradict each other promise too much (Birge).
  shift.variance *= std::max(1.0, apart * apart / (own + corner));
  return shift;
}

/// A part of a film's pixels, first and last inclusive.
struct Part {
  Eigen::Vector2i first;
  Eigen::Vector2i last;
};

ReducedFilm reduce_part(const Raster& pixels, double mm_per_px, const Part& part) {
  const int k = std::max(1, static_cast<int>(std::lround(kAlignPitch / mm_per_px)));
  ReducedFilm out;
  out.mm_per_px = k * mm_per_px;
  out.first_px = part.first;
  out.offset_mm = mm_per_px * (part.first.cast<double>() + Vec2::Constant(0.5 * (k - 1)));
  const Eigen::Vector2i size = (part.last - part.first + Eigen::Vector2i::Ones()) / k;
  out.pixels = Raster(size.x(), size.y());
  for (int y = 0; y < size.y(); ++y) {
    for (int x = 0; x < size.x(); ++x) {
      float sum = 0.0F;
      for (int j = 0; j < k; ++j) {
        const float* row = &pixels.at(part.first.x() + k * x, part.first.y() + k * y + j);
        for (int i = 0; i < k; ++i) sum += row[i];
      }
      out.pixels.at(x, y) = sum / static_cast<float>(k * k);
    }
  }
  return out;
}

/// Marks what lies within r pixels of a mark along its row.
void spread_along_rows(Mask& mask, int r) {
  std::vector<std::uint8_t> line(static_cast<std::size_t>(mask.width));
  for (int y = 0; y < mask.height; ++y) {
    for (int x = 0; x < mask.width; ++x) line[static_cast<std::size_t>(x)] = mask.at(x, y);
    int last = -r - 1;
    for (int x = 0; x < mask.width + r; ++x) {
      if (x < mask.width && line[static_cast<std::size_t>(x)] != 0) last = x;
      const int at = x - r;
      if (at >= 0 && last >= at - r) mask.at(at, y) = 1;
    }
  }
}

/// The same along its column; row by row, as the mask lies in memory.
void spread_along_columns(Mask& mask, int r) {
  const Mask from = mask;
  std::vector<int> last(static_cast<std::size_t>(mask.width), -r - 1);
  for (int y = 0; y < mask.height + r; ++y) {
    for (int x = 0; y < mask.height && x < mask.width; ++x) {
      if (from.at(x, y) != 0) last[static_cast<std::size_t>(x)] = y;
    }
    const int at = y - r;
    for (int x = 0; at >= 0 && x < mask.width; ++x) {
      if (last[static_cast<std::size_t>(x)] >= at - r) mask.at(x, at) = 1;
    }
  }
}

}  // namespace

ReducedFilm reduce(const Raster& pixels, double mm_per_px) {
  return reduce_part(pixels, mm_per_px,
                     {Eigen::Vector2i::Zero(), {pixels.width - 1, pixels.height - 1}});
}

ReducedFilm reduce_to_femur(const Raster& pixels, const MeasuredFilm& found) {
  const double k = found.scale.value.value;
  const Outlines o = outlines_of(found);
  Eigen::AlignedBox2d box;
  for (const Vec2& p : found.implant.outline_px) {
    if (body_point(o, o.axes.in_stem(k * p))) box.extend(p);
  }
  // A greater trochanter that was not found here may have been found on the other film.
  const double top_s = std::min(o.bone_top_s, o.shoulder_s - 30.0);
  const int longest_mm = static_cast<int>(std::ceil(k * std::hypot(pixels.width, pixels.height)));
  for (int step_mm = 0; step_mm < longest_mm; ++step_mm) {
    const double s = top_s + step_mm;
    const Width width = width_at(o, s);
    for (const double x : {width.lateral, width.medial}) {
      const Vec2 p = (o.axes.origin + s * o.axes.distal + x * o.axes.medial) / k;
      if (p.y() < pixels.height) box.extend(p);
    }
  }
  if (box.isEmpty()) return reduce(pixels, k);
  const Vec2 margin = Vec2::Constant(kFilmMargin / k);
  const Eigen::Vector2i last(pixels.width - 1, pixels.height - 1);
  const auto on_film = [&](const Vec2& p) -> Eigen::Vector2i {
    return p.array().round().cast<int>().matrix().cwiseMax(0).cwiseMin(last);
  };
  return reduce_part(pixels, k,
                     {on_film(box.min() - margin), {on_film(box.max() + margin).x(), last.y()}});
}

Mask bone_excluded(const ReducedFilm& film, const MeasuredFilm& found) {
  const Mask& metal = found.implant.metal;
  const int k = static_cast<int>(std::lround(film.mm_per_px / found.scale.value.value));
  Mask out(film.pixels.width, film.pixels.height);
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      std::uint8_t any = 0;
      for (int j = 0; j < k; ++j) {
        for (int i = 0; i < k; ++i)
          any = static_cast<std::uint8_t>(
              any | metal.at(film.first_px.x() + k * x + i, film.first_px.y() + k * y + j));
      }
      out.at(x, y) = any != 0 ? 1 : 0;
    }
  }
  const int r = static_cast<int>(std::lround(kMetalMargin / film.mm_per_px));
  spread_along_rows(out, r);
  spread_along_columns(out, r);
  return out;
}

Regions find_regions(const ReducedFilm& film, const MeasuredFilm& found) {
  const Outlines o = outlines_of(found);
  const double k = film.mm_per_px;
  Regions out;
  out.stem = Raster(film.pixels.width, film.pixels.height);
  out.bone = out.stem;
  struct Named {
    const char* name;
    bool (*has)(const Outlines&, const Vec2&);
  };
  constexpr Named kAll[] = {{kGreaterTrochanter, near_greater},
                            {kLesserTrochanter, near_lesser},
                            {kCalcar, in_calcar},
                            {kMetaphysis, in_metaphysis},
                            {kShaft, in_shaft}};
  for (const Named& n : kAll) out.features.push_back({n.name, out.stem});
  out.stem_near_end = {{"shoulder_and_flare", out.stem}, {"shoulder", out.stem}};
  for (const Vec2& p : found.implant.outline_px) {
    const Vec2 p_mm = found.scale.value.value * p;
    const Vec2 q = o.axes.in_stem(p_mm);
    if (!body_point(o, q)) continue;
    paint_disc(out.stem, (p_mm - film.offset_mm) / k, 1.5 / k);
    const Vec2 at = (p_mm - film.offset_mm) / k;
    if (q.x() < kNearEnd) paint_disc(out.stem_near_end[0].region, at, 1.5 / k);
    if (q.x() < o.shoulder_s + 6.0) paint_disc(out.stem_near_end[1].region, at, 1.5 / k);
  }
  for (int y = 0; y < film.pixels.height; ++y) {
    for (int x = 0; x < film.pixels.width; ++x) {
      const Vec2 q = o.axes.in_stem(k * Vec2(x, y) + film.offset_mm);
      if (!in_bone(o, q)) continue;
      out.bone.at(x, y) = 1.0F;
      for (std::size_t i = 0; i < std::size(kAll); ++i) {
        if (!kAll[i].has(o, q)) continue;
        out.features[i].region.at(x, y) = 1.0F;
        break;  // a pixel votes once: the features must stay independent
      }
    }
  }
  return out;
}

Rigid2 rough_alignment(const MeasuredFilm& reference, const MeasuredFilm& follow_up) {
  Rigid2 r;
  r.angle_rad = angle_between(reference.implant.axis.line_px.direction,
                              follow_up.implant.axis.line_px.direction);
  const Vec2 a = reference.scale.value.value * reference.implant.reference_px;
  const Vec2 b = follow_up.scale.value.value * follow_up.implant.reference_px;
  r.translation = b - r.rotation() * a;
  return r;
}

alignment::Alignment stem_by_shape(const MeasuredFilm& reference, const MeasuredFilm& follow_up) {
  constexpr double kDegree = std::numbers::pi / 180.0;
  alignment::Alignment out;
  out.moving_from_fixed_mm = rough_alignment(reference, follow_up);
  out.centre_mm = reference.scale.value.value * reference.implant.reference_px;
  const double u_point = std::hypot(reference.scale.value.value * reference.implant.shoulder.u_px,
                                    follow_up.scale.value.value * follow_up.implant.shoulder.u_px);
  const double u_angle = kDegree * std::hypot(reference.implant.axis.direction_u.value,
                                              follow_up.implant.axis.direction_u.value);
  out.covariance.diagonal() << 0.04, 2.0 * u_point * u_point, u_angle * u_angle;
  return out;
}

Rigid2 bone_start(const MeasuredFilm& reference, const MeasuredFilm& follow_up,
                  const Rigid2& stem) {
  if (!reference.femur.shaft_axis || !follow_up.femur.shaft_axis) return stem;
  const Line2& a = reference.femur.shaft_axis->line_px;
  const Line2& b = follow_up.femur.shaft_axis->line_px;
  const Vec2 origin = reference.scale.value.value * reference.implant.reference_px;
  Rigid2 start;
  start.angle_rad = angle_between(a.direction, b.direction);
  start.translation = stem.apply(origin) - start.rotation() * origin;
  const Vec2 on_axis = start.apply(reference.scale.value.value * a.point);
  const Line2 target{follow_up.scale.value.value * b.point, b.direction};
  const Vec2 normal(-b.direction.y(), b.direction.x());
  start.translation -= signed_distance(target, on_axis) * normal;
  return start;
}

Rigid2 near_end_start(const Rigid2& stem, const MeasuredFilm& reference,
                      const MeasuredFilm& follow_up) {
  const StemAxes axes = axes_of(reference);
  const Vec2 miss = corner_miss(stem, reference, follow_up);
  Rigid2 start = stem;
  start.translation += stem.rotation() * (miss.dot(axes.distal) * axes.distal);
  return start;
}

std::vector<alignment::FeatureVote> better_votes(
    std::vector<alignment::FeatureVote> about_first, const Rigid2& first,
    const std::vector<alignment::FeatureVote>& about_second, const Rigid2& second) {
  for (alignment::FeatureVote vote : about_second) {
    const Vec2 moved = second.apply(vote.position_mm) - first.apply(vote.position_mm);
    vote.offset_mm += first.rotation().transpose() * moved;
    const auto same = std::find_if(about_first.begin(), about_first.end(),
                                   [&](const auto& v) { return v.name == vote.name; });
    if (same == about_first.end()) {
      about_first.push_back(std::move(vote));
    } else if (vote.agreement > same->agreement) {
      *same = std::move(vote);
    }
  }
  return about_first;
}

StemMotion held_at_near_end(const alignment::Alignment& stem,
                            const std::vector<alignment::FeatureVote>& near_end,
                            const MeasuredFilm& reference, const MeasuredFilm& follow_up) {
  StemMotion out{stem, std::nullopt};
  const StemAxes axes = axes_of(reference);
  const Shift shoulder = shoulder_shift(stem.moving_from_fixed_mm, near_end, reference, follow_up);
  Rigid2& motion = out.alignment.moving_from_fixed_mm;
  const Eigen::Matrix2d turn = motion.rotation();
  motion.translation += turn * (shoulder.along_mm * axes.distal);
  const double ka = reference.scale.value.value;
  const double kb = follow_up.scale.value.value;
  // Where a point marked on each film lies against where the shoulder's motion puts it.
  const auto miss = [&](const Vec2& before_px, const Vec2& after_px) -> Vec2 {
    return turn.transpose() * (kb * after_px - motion.apply(ka * before_px));
  };
  const Vec2 head_miss =
      miss(reference.implant.head.circle_px.centre, follow_up.implant.head.circle_px.centre);
  const Vec2 tip_miss = miss(reference.implant.tip.px, follow_up.implant.tip.px);
  const StemLook before = stem_look(reference);
  StemLook after = before;
  after.head_medial_mm += head_miss.dot(axes.medial);
  after.head_from_shoulder_mm += head_miss.dot(axes.distal);
  after.length_mm += tip_miss.dot(axes.distal);
  after.head_from_middle_mm = stem_look(follow_up).head_from_middle_mm;
  const double heads_u =
      std::hypot(ka * reference.implant.head.centre_u_px, kb * follow_up.implant.head.centre_u_px);
  out.looks = {
      .reference = before,
      .follow_up = after,
      .turn_rad = motion.angle_rad,
      .shoulder_u_mm = std::sqrt(shoulder.variance),
      .tips_u_mm = std::hypot(ka * reference.implant.tip.u_px, kb * follow_up.implant.tip.u_px),
      .heads_u_mm = heads_u};

  // The axis lies between shoulder and head, at (1 - share) of the one and share of the other.
  const double share = -before.shoulder_medial_mm /
                       std::max(20.0, before.head_medial_mm - before.shoulder_medial_mm);
  motion.translation += turn * (share * head_miss.dot(axes.distal) * axes.distal);
  const double head_variance =
      heads_u * heads_u + std::pow(before.head_medial_mm, 2) * stem.covariance(2, 2);
  const Eigen::Matrix2d along = axes.distal * axes.distal.transpose();
  const Eigen::Matrix2d across = Eigen::Matrix2d::Identity() - along;
  const Eigen::Matrix2d planar = stem.covariance.topLeftCorner<2, 2>();
  const double held = std::pow(1.0 - share, 2) * shoulder.variance + share * share * head_variance;
  out.alignment.covariance.topLeftCorner<2, 2>() = across * planar * across + held * along;
  return out;
}

Rigid2 to_reduced(const Rigid2& full, const ReducedFilm& reference, const ReducedFilm& follow_up) {
  return {full.angle_rad, full.apply(reference.offset_mm) - follow_up.offset_mm};
}

Rigid2 from_reduced(const Rigid2& reduced, const ReducedFilm& reference,
                    const ReducedFilm& follow_up) {
  return {reduced.angle_rad, reduced.apply(-reference.offset_mm) + follow_up.offset_mm};
}

}  // namespace tidemark::migration
