#include "tidemark/anatomy/implant.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "circles.h"
#include "hypothesis.h"
#include "image_ops.h"
#include "metal_mask.h"
#include "stem_mask.h"
#include "stem_outline.h"

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

/// Rough stem of a hypothesis on an image of another scale.
RoughStem rough_stem(const Hypothesis& h, const Scaled& from, const Scaled& to) {
  RoughStem s;
  s.mm = 1.0 / (to.factor / h.mm_per_px);
  s.head = {to.from_film(h.head_px.centre), h.head_px.radius * to.factor};
  for (std::size_t i = 0; i < h.trace.left.size(); ++i) {
    const double y = h.trace.first_row + static_cast<double>(i);
    s.left.push_back(to.from_film(from.to_film({h.trace.left[i], y})));
    s.right.push_back(to.from_film(from.to_film({h.trace.right[i], y})));
  }
  return s;
}

std::optional<FoundCircle> find_cup(const cv::Mat1f& film, const Circle2& head, double mm_per_px) {
  const double px = 1.0 / mm_per_px;
  std::optional<RimFit> best;
  for (int i = 0; i <= 18; ++i) {
    const double ratio = 1.22 + 0.06 * i;  // of the cup to the head
    const Circle2 start{head.centre, head.radius * ratio};
    const auto fit = fit_rim(film, start, 2.5 * px, 0.4 * px);
    if (!fit || fit->seen < 0.25 || fit->residual > 0.35 * px) continue;
    const bool plausible = (fit->circle.centre - head.centre).norm() < 9.0 * px &&
                           fit->circle.radius > 1.2 * head.radius &&
                           fit->circle.radius < 2.4 * head.radius;
    if (plausible && (!best || fit->seen > best->seen)) best = fit;
  }
  if (!best) return std::nullopt;
  return FoundCircle{best->circle, best->centre_u, 2.0 * best->radius_u, Source::kFound};
}

/// Masks on the film's own grid from a mask on a coarser one.
Mask to_film_mask(const cv::Mat1b& mask, const Scaled& scale, const cv::Size& size) {
  Mask out(size.width, size.height);
  cv::Mat1b target(size.height, size.width, out.values.data());
  const double shift = 0.5 * scale.factor - 0.5;
  const cv::Matx23d here_from_film(scale.factor, 0.0, shift, 0.0, scale.factor, shift);
  cv::warpAffine(mask, target, here_from_film, size, cv::INTER_NEAREST | cv::WARP_INVERSE_MAP);
  return out;
}

void apply_given(const GivenLandmarks& given, double mm_per_px, Implant& implant) {
  const double by_hand = 0.3 / mm_per_px;  // a careful click; house choice
  if (given.head_centre_px) {
    implant.head.circle_px.centre = *given.head_centre_px;
    implant.head.centre_u_px = by_hand;
    implant.head.source = Source::kGiven;
  }
  if (given.head_diameter_px) {
    implant.head.circle_px.radius = 0.5 * *given.head_diameter_px;
    implant.head.diameter_u_px = std::numbers::sqrt2 * by_hand;  // two clicks
    implant.head.source = Source::kGiven;
  }
  if (given.stem_tip_px) implant.tip = {*given.stem_tip_px, by_hand, Source::kGiven};
  if (given.stem_shoulder_px) implant.shoulder = {*given.stem_shoulder_px, by_hand, Source::kGiven};
  if (given.stem_axis_px) {
    implant.axis.line_px = *given.stem_axis_px;
    if (implant.axis.line_px.direction.y() < 0.0) implant.axis.line_px.direction *= -1.0;
    implant.axis.direction_u = {0.2};
    implant.axis.source = Source::kGiven;
  }
}

Vec2 reference_point(const Line2& axis, const Vec2& shoulder, double mm_per_px) {
  return axis.point + (along(axis, shoulder) + 10.0 / mm_per_px) * axis.direction;
}

/// Why an outline cannot be a stem's, if it cannot. Limits are wide: 60 to 350 mm covers short and
/// revision stems (common practice, no source).
std::optional<std::string> implausible(const StemShape& shape, const cv::Size& film,
                                       double mm_per_px) {
  const double length =
      (along(shape.axis, shape.tip.px) - along(shape.axis, shape.shoulder.px)) * mm_per_px;
  if (length < 60.0 || length > 350.0) return "what looks like a stem has no stem's length";
  int on_border = 0;
  for (const Vec2& p : shape.outline) {
    const double edge = std::min({p.x(), p.y(), film.width - 1 - p.x(), film.height - 1 - p.y()});
    if (edge * mm_per_px < 1.5) ++on_border;
  }
  if (on_border > 10) return "part of the stem lies outside of the film";
  return std::nullopt;
}

tl::unexpected<Error> no_stem(const film::FilmImage& film, const std::string& wrong) {
  return fail(
      ErrorKind::kCannotTell, film.facts.file, wrong,
      "check that the film shows the operated hip and its side, or mark head and stem by hand");
}

Implant assemble(const cv::Mat1f& film, const Hypothesis& h, const RimFit& rim,
                 const StemShape& shape, const Scaled& fine, const cv::Mat1b& mask,
                 const ImplantOptions& options) {
  Implant implant;
  // What blur, halo and a head that is not quite opaque do to the rim is no scatter along it: 0.03
  // mm on the centre and 0.25 % on the diameter (simulated films, docs/accuracy.md).
  implant.head = {rim.circle, std::hypot(rim.centre_u, 0.03 / h.mm_per_px),
                  std::hypot(2.0 * rim.radius_u, 0.005 * rim.circle.radius), Source::kFound};
  implant.cup = find_cup(film, rim.circle, h.mm_per_px);
  implant.outline_px = shape.outline;
  implant.axis = {shape.axis, {shape.axis_u_rad / kDegree}, Source::kFound};
  implant.tip = shape.tip;
  implant.shoulder = shape.shoulder;
  apply_given(options.given, h.mm_per_px, implant);
  implant.reference_px = reference_point(implant.axis.line_px, implant.shoulder.px, h.mm_per_px);
  auto metal = value_of<cv::Mat1b>(
      foreign_metal(fine.image, mask, h.mm_per_px / fine.factor, shape.edge_contrast) | mask);
  if (implant.cup) {
    const Vec2 c = fine.from_film(implant.cup->circle_px.centre);
    cv::circle(metal, {static_cast<int>(std::lround(c.x())), static_cast<int>(std::lround(c.y()))},
               static_cast<int>(std::lround(implant.cup->circle_px.radius * fine.factor)),
               cv::Scalar(255), cv::FILLED);
  }
  implant.stem = to_film_mask(mask, fine, film.size());
  implant.metal = to_film_mask(metal, fine, film.size());
  // All evidence together comes to about 4; below 2 nothing on a film looks like a stem with a
  // head.
  implant.confidence = std::clamp(0.45 * (h.score - 2.2), 0.0, 1.0);
  constexpr double kSure = 0.6;  // right finds on simulated films score 0.79 and more; house choice
  if (implant.confidence < kSure) {
    implant.flags.push_back({"implant_uncertain",
                             "Stem and head were found with little evidence; look at the picture "
                             "before you rely on any number of this film."});
  }
  return implant;
}

/// Follows one hypothesis to the end.
Expected<Implant> follow(const film::FilmImage& hip_view, const Pyramid& pyramid, Hypothesis h,
                         const ImplantOptions& options) {
  const cv::Mat1f& film = pyramid.film();
  const Scaled mm{{}, h.mm_per_px};  // only for its coordinates
  const double px = 1.0 / h.mm_per_px;
  const auto rim = fit_rim(film, h.head_px, 3.0 * px, 0.25 * px);
  if (!rim) return no_stem(hip_view, "the head's rim could not be followed");
  h.head_px = rim->circle;
  const Scaled fine = scaled(pyramid, std::min(1.0, h.mm_per_px / 0.4), 0.7);
  const RoughStem rough = rough_stem(h, mm, fine);
  const cv::Mat1b mask = stem_mask(fine.image, rough);
  if (!reaches_head(mask, rough)) {
    return no_stem(hip_view, "no stem was found that hangs together with the head");
  }
  const auto shape = trace_outline(film, fine, mask, h.head_px, h.mm_per_px);
  if (!shape) return no_stem(hip_view, "the outline of the stem could not be followed");
  if (const auto why = implausible(*shape, film.size(), h.mm_per_px)) {
    return no_stem(hip_view, *why);
  }
  return assemble(film, h, *rim, *shape, fine, mask, options);
}

}  // namespace

Expected<Implant> find_implant(const film::FilmImage& hip_view, const ImplantOptions& options) {
  const cv::Mat1f film = view_of(hip_view.pixels);
  if (film.rows < 100 || film.cols < 100) {
    return fail(ErrorKind::kBadInput, hip_view.facts.file, "the film is too small to show a hip",
                "export it at full size");
  }
  std::optional<Error> first;
  const Pyramid pyramid(film);
  for (const Hypothesis& h : hypotheses(pyramid, options)) {
    if (h.score < 2.0) break;
    auto implant = follow(hip_view, pyramid, h, options);
    if (implant) return implant;
    if (!first) first = implant.error();
  }
  if (first) return tl::unexpected(*first);
  return no_stem(hip_view, "no femoral stem with its head was found");
}

}  // namespace tidemark::anatomy
