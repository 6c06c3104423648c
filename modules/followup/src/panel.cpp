#include "panel.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "tidemark/core/date.h"

namespace tidemark::followup {
namespace {

double percentile(std::vector<float>& values, double share) {
  const auto n = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + n, values.end());
  return static_cast<double>(values[static_cast<std::size_t>(n)]);
}

std::uint32_t packed(double r, double g, double b) {
  const auto part = [](double v) {
    constexpr double kHalf = 0.5;  // never negative, so cutting rounds; std::lround is a call each
    return static_cast<std::uint32_t>(255.0 * std::clamp(v, 0.0, 1.0) + kHalf);
  };
  return (part(r) << 16U) | (part(g) << 8U) | part(b);
}

constexpr double kMarginMm = 10.0;
constexpr double kBelowTipMm = 15.0;

/// px of a film's hip view to its mm frame.
Affine2 mm_from_px(const HipFilm& film) {
  return {film.scale.value.value * Eigen::Matrix2d::Identity(), Vec2::Zero()};
}

/// The film at `fine` by `fine` places in each pixel of the box; not a number beyond the film.
cv::Mat1f sampled(const film::FilmImage& film, const Affine2& film_from_canvas, const Box& box,
                  int fine) {
  const double step = 1.0 / fine;
  const Eigen::Matrix2d linear = step * film_from_canvas.linear;
  const Vec2 first = film_from_canvas.apply(Vec2(box.x + 0.5 * step, box.y + 0.5 * step));
  const cv::Matx23d film_from_sample(linear(0, 0), linear(0, 1), first.x(), linear(1, 0),
                                     linear(1, 1), first.y());
  // OpenCV has no matrix of constant values: it is only read.
  const cv::Mat1f pixels(film.pixels.height, film.pixels.width,
                         const_cast<float*>(film.pixels.values.data()));  // NOLINT
  cv::Mat1f out;
  cv::warpAffine(pixels, out, film_from_sample,
                 {fine * static_cast<int>(box.width), fine * static_cast<int>(box.height)},
                 cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_CONSTANT,
                 std::numeric_limits<float>::quiet_NaN());
  return out;
}

}  // namespace

Affine2 follow_from_reference(const HipFilm& reference, const HipFilm& follow_up,
                              const migration::Migration& migration) {
  const Rigid2& bone = migration.follow_up_from_reference_bone_mm;
  return mm_from_px(follow_up)
      .inverse()
      .after({bone.rotation(), bone.translation})
      .after(mm_from_px(reference));
}

std::vector<Polyline> outline_pieces(const anatomy::Implant& implant) {
  const Polyline& outline = implant.outline_px;
  if (implant.shows_tip() || outline.size() < 3) return {outline};
  std::ptrdiff_t end = 0;  // the last point before the longest step
  double longest = 0.0;
  for (std::ptrdiff_t i = 0; i + 1 < std::ssize(outline); ++i) {
    const auto at = static_cast<std::size_t>(i);
    const double step = (outline[at + 1] - outline[at]).norm();
    if (step <= longest) continue;
    longest = step;
    end = i;
  }
  const auto middle = outline.begin() + end + 1;
  return {Polyline(outline.begin(), middle), Polyline(middle, outline.end())};
}

Box hip_region(const HipFilm& film, double shape) {
  const double px_per_mm = 1.0 / film.scale.value.value;
  const anatomy::Implant& implant = film.implant;
  Polyline points = implant.outline_px;
  const Circle2& head = implant.head.circle_px;
  points.push_back(head.centre - Vec2::Constant(head.radius));
  points.push_back(head.centre + Vec2::Constant(head.radius));
  points.push_back(implant.tip.px + Vec2(0.0, kBelowTipMm * px_per_mm));
  if (const auto& mark = film.femur.greater_trochanter) points.push_back(mark->px);
  const Box needed = box_around(points, kMarginMm * px_per_mm);
  const double width = std::max(needed.width, shape * needed.height);
  return {needed.x - 0.5 * (width - needed.width), needed.y, width, needed.height};
}

Box film_region(const HipFilm& film, const Polyline& points, double margin_mm, double least_shape) {
  const double margin_px = margin_mm / film.scale.value.value;
  Box box = inside_film(box_around(points, margin_px), film.hip_view);
  const double missing = std::max(0.0, least_shape * box.height - box.width);
  box.x -= 0.5 * missing;
  box.width += missing;
  return inside_film(box, film.hip_view);
}

std::string film_title(const FilmResult& result) {
  std::string out = result.file;
  if (result.date) out += ", " + format_date(*result.date);
  if (result.side) out += *result.side == Side::kRight ? ", right hip" : ", left hip";
  return out;
}

double draw_legend(Canvas& canvas, const Vec2& at, const Stroke& stroke, const std::string& text) {
  canvas.line({at + Vec2(0.0, -5.0), at + Vec2(26.0, -5.0)}, stroke);
  const TextStyle style{14.0, kGrey};
  canvas.text(at + Vec2(33.0, 0.0), text, style);
  return at.x() + 33.0 + canvas.text_width(text, style) + 18.0;
}

Tone tone_of(const film::FilmImage& film, const Mask& metal, const Box& region_px) {
  std::vector<float> bone;
  std::vector<float> all;
  const Box region = inside_film(region_px, film);
  const int right = static_cast<int>(region.x + region.width);
  const int bottom = static_cast<int>(region.y + region.height);
  for (int y = static_cast<int>(region.y); y < bottom; y += 3) {
    for (int x = static_cast<int>(region.x); x < right; x += 3) {
      const float value = film.pixels.at(x, y);
      if (!std::isfinite(value)) continue;
      all.push_back(value);
      if (metal.contains(x, y) && metal.at(x, y) == 0) bone.push_back(value);
    }
  }
  if (bone.empty()) bone = all;
  if (all.empty()) return {};
  Tone tone{percentile(bone, 0.02), percentile(bone, 0.995), percentile(all, 0.999)};
  const double least = 1e-6 + 1e-3 * std::abs(tone.dark);
  tone.bone_bright = std::max(tone.bone_bright, tone.dark + least);
  tone.bright = std::max(tone.bright, tone.bone_bright + least);
  return tone;
}

Panel panel_of(const Box& box, const Box& region_px, Side side) {
  const double k = std::min(box.width / region_px.width, box.height / region_px.height);
  const double mirror = side == Side::kLeft ? -1.0 : 1.0;
  Panel panel{box, {}, k};
  panel.canvas_from_view.linear << mirror * k, 0.0, 0.0, k;
  const Vec2 middle_px(region_px.x + 0.5 * region_px.width, region_px.y + 0.5 * region_px.height);
  const Vec2 middle(box.x + 0.5 * box.width, box.y + 0.5 * box.height);
  panel.canvas_from_view.offset = middle - panel.canvas_from_view.linear * middle_px;
  return panel;
}

Raster shown(const film::FilmImage& film, const Tone& tone, const Panel& panel,
             const Affine2& film_from_frame) {
  Raster out(static_cast<int>(panel.box.width), static_cast<int>(panel.box.height), kNoFilm);
  const Affine2 film_from_canvas = film_from_frame.after(panel.canvas_from_view.inverse());
  // Two by two samples a pixel against aliasing where the film is shrunk, else one.
  const int fine = film_from_canvas.linear.col(0).norm() > 1.0 ? 2 : 1;
  const cv::Mat1f samples = sampled(film, film_from_canvas, panel.box, fine);
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      double sum = 0.0;
      int seen = 0;
      for (int sub = 0; sub < fine * fine; ++sub) {
        const float value = samples(fine * y + sub / fine, fine * x + sub % fine);
        if (!std::isfinite(value)) continue;
        sum += tone(value);
        ++seen;
      }
      if (seen > 0) out.at(x, y) = static_cast<float>(sum / seen);
    }
  }
  return out;
}

RasterOf<std::uint32_t> in_grey(const Raster& film) {
  RasterOf<std::uint32_t> out(film.width, film.height);
  std::transform(film.values.begin(), film.values.end(), out.values.begin(),
                 [](float v) { return packed(v, v, v); });
  return out;
}

RasterOf<std::uint32_t> in_two_colours(const Raster& first, const Raster& second) {
  RasterOf<std::uint32_t> out(first.width, first.height);
  for (std::size_t i = 0; i < out.values.size(); ++i) {
    const double a = first.values[i];
    const double b = second.values[i];
    const bool both = first.values[i] >= 0.0F && second.values[i] >= 0.0F;
    const double one = 0.35 * std::max(a, b);
    out.values[i] = both ? packed(b, 0.5 * (a + b), a) : packed(one, one, one);
  }
  return out;
}

Box box_around(const Polyline& points, double margin) {
  constexpr double kFar = std::numeric_limits<double>::max();
  Vec2 low(kFar, kFar);
  Vec2 high(-kFar, -kFar);
  for (const Vec2& p : points) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  return {low.x() - margin, low.y() - margin, high.x() - low.x() + 2.0 * margin,
          high.y() - low.y() + 2.0 * margin};
}

Box inside_film(const Box& box, const film::FilmImage& film) {
  const double x = std::clamp(box.x, 0.0, film.pixels.width - 1.0);
  const double y = std::clamp(box.y, 0.0, film.pixels.height - 1.0);
  return {x, y, std::clamp(box.x + box.width, x, film.pixels.width - 1.0) - x,
          std::clamp(box.y + box.height, y, film.pixels.height - 1.0) - y};
}

Polyline mapped(const Polyline& points, const Affine2& b_from_a) {
  Polyline out;
  out.reserve(points.size());
  for (const Vec2& p : points) out.push_back(b_from_a.apply(p));
  return out;
}

void draw_scale_bar(Canvas& canvas, const Panel& panel, double mm_per_px, double length_mm) {
  const double length = length_mm / mm_per_px * panel.canvas_per_px;
  const Vec2 left(panel.box.x + 16.0, panel.box.y + panel.box.height - 16.0);
  canvas.line({left, left + Vec2(length, 0.0)}, {kWhite, 3.0});
  const int shown_mm = static_cast<int>(std::lround(length_mm));
  canvas.text(left + Vec2(0.0, -9.0), std::to_string(shown_mm) + " mm", {14.0, kWhite});
}

}  // namespace tidemark::followup
