#include "tidemark/anatomy/implant.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "circles.h"
#include "confidence.h"
#include "crosses_top.h"
#include "faint_head.h"
#include "head_rim.h"
#include "hypothesis.h"
#include "image_ops.h"
#include "metal_mask.h"
#include "neck.h"
#include "stem_mask.h"
#include "stem_outline.h"
#include "tidemark/core/parallel.h"

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

bool leaves_film(const Error& error) { return error.wrong == kStemLeavesField; }

/// A head so near to the lateral end of the field that its stem cannot be whole: a stem's lateral
/// flank stands 45 to 65 mm beside the head's centre (common practice, no source).
bool stem_must_leave(const Hypothesis& h) {
  constexpr double kStemMm = 50.0;
  return h.look == LookFrom::kFront && h.head_px.centre.x() * h.mm_per_px < kStemMm;
}

/// Do two hypotheses speak of one hip? Heads of two hips lie a pelvis apart.
bool same_hip(const Hypothesis& a, const Hypothesis& b) {
  return (a.head_px.centre - b.head_px.centre).norm() * a.mm_per_px < 60.0;
}

/// Rough stem of a hypothesis on an image of another scale.
RoughStem rough_stem(const Hypothesis& h, const Scaled& from, const Scaled& to) {
  RoughStem s;
  s.mm = 1.0 / (to.factor / h.mm_per_px);
  s.head = {to.from_film(h.head_px.centre), h.head_px.radius * to.factor};
  s.core = h.core;
  s.look = h.look;
  constexpr double kSureFlanks = 0.35;  // right ones show 0.43 and more (docs/anatomy.md)
  s.sure = h.score >= kSureScore && h.trace.evidence >= kSureFlanks;
  for (std::size_t i = 0; i < h.trace.left.size(); ++i) {
    const double y = h.trace.first_row + static_cast<double>(i);
    s.left.push_back(to.from_film(from.to_film({h.trace.left[i], y})));
    s.right.push_back(to.from_film(from.to_film({h.trace.right[i], y})));
  }
  return s;
}

/// Radii between which a cup's rim may lie about a head, px.
struct CupRadii {
  double least = 0.0;
  double most = 0.0;
};

/// Small heads lie in cups of any size up to 66 mm, and the thinnest shells leave large ones some 3
/// mm of rim (common practice, no source).
CupRadii cup_radii(const Circle2& head, double px) {
  constexpr double kLargeMm = 20.0;
  const bool large = head.radius > kLargeMm * px;
  return {large ? head.radius + 2.5 * px : 1.2 * head.radius,
          std::max(2.4 * head.radius, 33.0 * px)};
}

/// A circle about the head that may be the cup's rim, near a radius.
std::optional<RimFit> cup_rim(const cv::Mat1f& film, const Circle2& head, double radius,
                              double px) {
  auto fit = fit_rim(film, {head.centre, radius}, 2.5 * px, 0.4 * px);
  if (!fit || fit->seen < 0.25 || fit->residual > 0.35 * px) return std::nullopt;
  const CupRadii allowed = cup_radii(head, px);
  const bool plausible = (fit->circle.centre - head.centre).norm() < 9.0 * px &&
                         fit->circle.radius > allowed.least && fit->circle.radius < allowed.most;
  if (!plausible) return std::nullopt;
  return fit;
}

/// Such circles from a ladder of radii.
std::vector<RimFit> cup_rims(const cv::Mat1f& film, const Circle2& head, double px) {
  const CupRadii allowed = cup_radii(head, px);
  const double step = 0.06 * head.radius;
  const double first = allowed.least + step / 3.0;
  std::vector<std::optional<RimFit>> fits(static_cast<std::size_t>((allowed.most - first) / step) +
                                          1);
  parallel_within(fits.size(), [&](std::size_t i) {
    fits.at(i) = cup_rim(film, head, first + step * static_cast<double>(i), px);
  });
  std::vector<RimFit> rims;
  for (const auto& fit : fits) {
    if (fit) rims.push_back(*fit);
  }
  return rims;
}

/// The cup's rim is metal's: of all circles the one whose seen part and steepness together are the
/// most. Dense bone draws a fainter one round it. Where another circle has much of its weight, the
/// cup may be that one, and u says so.
std::optional<FoundCircle> find_cup(const cv::Mat1f& film, const Circle2& head, double mm_per_px) {
  const double px = 1.0 / mm_per_px;
  const std::vector<RimFit> rims = cup_rims(film, head, px);
  if (rims.empty()) return std::nullopt;
  const auto weight = [](const RimFit& r) { return r.seen * r.strength; };
  const RimFit& best =
      *std::max_element(rims.begin(), rims.end(),
                        [&](const RimFit& a, const RimFit& b) { return weight(a) < weight(b); });
  double doubt = 0.0;
  for (const RimFit& other : rims) {
    const double apart = std::abs(other.circle.radius - best.circle.radius);
    if (apart > 0.4 * px)
      doubt = std::max(doubt, 0.5 * apart * std::pow(weight(other) / weight(best), 2));
  }
  // Blur and a shell that is not quite opaque: 0.05 mm on the centre, 0.25 % on the diameter, as
  // for the head.
  const double radius_u = std::hypot(best.radius_u, 0.0025 * best.circle.radius, doubt);
  return FoundCircle{best.circle, std::hypot(best.centre_u, 0.05 * px), 2.0 * radius_u,
                     Source::kFound};
}

/// How far within a head's rim its steepest fall may lie, px.
///
/// A head that lets X-rays through is a dome: its grey rises from the rim as the square root of the
/// depth, and under a blur of s its steepest fall lies 0.765 s within the rim (derived: the largest
/// value of the convolution of 1/sqrt(t) with a Gaussian). An opaque head is a plateau whose fall
/// stays at the rim. Which of both it is shows when the fall is looked for under a second, wider
/// blur. That is not exact enough to move the rim by: from film to film of one hip it scatters more
/// than the rim itself, which is within the same for all of them. So it counts as uncertainty.
double rim_inset(const cv::Mat1f& film, const RimFit& rim, double sigma, double px) {
  constexpr double kDome = 0.765;
  constexpr double kFilmBlur = 0.12;  // mm, focus and detector; house choice
  const double wide = 2.0 * sigma;
  const auto soft = fit_rim(film, rim.circle, 3.0 * px, wide * px);
  if (!soft) return 0.0;
  const double inset = kDome * std::hypot(sigma, kFilmBlur) * px;
  const double softer = kDome * std::hypot(wide, kFilmBlur) * px;
  const double dome =
      std::clamp((rim.circle.radius - soft->circle.radius) / (softer - inset), 0.0, 1.0);
  return dome * inset;
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

/// How well a point is placed by a careful click, mm; house choice.
constexpr double kByHandMm = 0.3;

void apply_given_head(const GivenLandmarks& given, double mm_per_px, FoundCircle& head) {
  const double by_hand = kByHandMm / mm_per_px;
  if (given.head_centre_px) {
    head.circle_px.centre = *given.head_centre_px;
    head.centre_u_px = by_hand;
    head.source = Source::kGiven;
  }
  if (given.head_diameter_px) {
    head.circle_px.radius = 0.5 * *given.head_diameter_px;
    head.diameter_u_px = std::numbers::sqrt2 * by_hand;  // two clicks
    head.source = Source::kGiven;
  }
}

/// Nearer to an end of the film than this the outline is that of the film, mm.
constexpr double kFilmEndMm = 1.5;

/// How the film's own ends cut the outline of a stem.
enum class Cut { kNone, kDistal, kElsewhere };

/// A flank that runs along a side of the field for 10 mm, nearer than this, is that side's edge:
/// the border found lies a little within the lead, whose halo reaches farther. House choices.
constexpr double kBesideSideMm = 3.5;
constexpr int kMostBesideSide = 20;  // half millimetres of outline

/// A stem is cut distally where the film's lower end, and nothing else of the film, crosses it.
Cut cut_by_ends(const Polyline& outline, const cv::Size& film, double mm_per_px) {
  constexpr int kMost = 10;  // half millimetres of outline; house choice
  int on_end = 0;
  int elsewhere = 0;
  int beside = 0;
  for (const Vec2& p : outline) {
    const double lower = film.height - 1 - p.y();
    const double sides = std::min(p.x(), film.width - 1 - p.x());
    const double others = std::min(p.y(), sides);
    if (sides * mm_per_px < kBesideSideMm) ++beside;
    if (std::min(lower, others) * mm_per_px < kFilmEndMm) ++on_end;
    if (others * mm_per_px < kFilmEndMm) ++elsewhere;
  }
  if (beside > kMostBesideSide) return Cut::kElsewhere;
  if (on_end <= kMost) return Cut::kNone;
  return elsewhere > 0 ? Cut::kElsewhere : Cut::kDistal;
}

/// The mask reaches the film's end where the outline, which looks for a fall of grey, can stop
/// short of it.
Cut cut_of(const StemShape& shape, const cv::Size& film, double mm_per_px) {
  const Cut traced = cut_by_ends(shape.outline, film, mm_per_px);
  return traced != Cut::kNone ? traced : cut_by_ends(shape.of_mask, film, mm_per_px);
}

/// What is left of an outline that the film's lower end cuts: both flanks, down to 4 mm above it,
/// where neither blur nor enhancement of that end reaches. Nothing is known of the tip.
void end_at_field(StemShape& shape, const cv::Size& film, double mm_per_px) {
  constexpr double kOffEndMm = 4.0;
  constexpr double kUnknownMm = 100.0;
  std::erase_if(shape.outline,
                [&](const Vec2& p) { return (film.height - 1 - p.y()) * mm_per_px < kOffEndMm; });
  double end = -1e9;
  for (const Vec2& p : shape.outline) end = std::max(end, along(shape.axis, p));
  shape.tip = {shape.axis.point + end * shape.axis.direction, kUnknownMm / mm_per_px,
               Source::kFound};
}

/// Why an outline cannot be a stem's, if it cannot. Limits are wide: 60 to 350 mm covers short and
/// revision stems (common practice, no source).
std::optional<std::string> implausible(const StemShape& shape, Cut cut, const Hypothesis& h) {
  const double mm_per_px = h.mm_per_px;
  // On a frontal film the leg hangs down; a lateral one may show it bent.
  constexpr double kMostLeanDeg = 40.0;
  const double lean = std::acos(std::clamp(shape.axis.direction.y(), -1.0, 1.0)) / kDegree;
  if (h.look == LookFrom::kFront && lean > kMostLeanDeg) {
    return "what looks like a stem lies across the film";
  }
  const double length =
      (along(shape.axis, shape.tip.px) - along(shape.axis, shape.shoulder.px)) * mm_per_px;
  if (length < 60.0 && cut == Cut::kDistal) return kStemLeavesField;
  if (length < 60.0 || length > 350.0) return "what looks like a stem has no stem's length";
  if (cut == Cut::kElsewhere) return kStemLeavesField;
  return std::nullopt;
}

tl::unexpected<Error> no_stem(const film::FilmImage& film, const std::string& wrong) {
  if (wrong == kStemLeavesField) {
    return fail(ErrorKind::kCannotTell, film.facts.file, wrong,
                "take a film whose field holds the head and the stem in its whole width");
  }
  return fail(ErrorKind::kCannotTell, film.facts.file, wrong,
              "check that the film was taken after the surgery and from the front, stands upright "
              "and shows the side that was operated, or mark head and stem by hand");
}

/// A hypothesis followed to the end.
struct Followed {
  Hypothesis hypothesis;
  RimFit rim;  ///< of the head
  StemShape shape;
  StemEnd end = StemEnd::kTip;
  Scaled fine;  ///< the film as the mask has it
  cv::Mat1b mask;
  std::optional<NeckAxis> neck;  ///< absent when it is not seen
  /// Distance of the head's centre from the neck's midline; 0 where that says nothing. From the
  /// side neck and body are one bar, whose midline need not meet the head: the next circle on that
  /// line would be the cup's rim.
  [[nodiscard]] double off_neck_mm() const {
    if (!neck || hypothesis.look == LookFrom::kSide) return 0.0;
    return std::abs(signed_distance(neck->line, rim.circle.centre)) * hypothesis.mm_per_px;
  }
};

/// Heads on simulated films lie within 1.4 mm of their neck's midline (docs/anatomy.md); house
/// choice.
constexpr double kOffNeckMm = 3.0;

/// Whether the circle that was found is not the stem's head: it lies off the neck, or elsewhere
/// than where a hand has put the head without its size.
bool is_another_head(const Followed& found, const GivenLandmarks& given) {
  constexpr double kElsewhereMm = 3.0;  // house choice
  if (!given.head_centre_px) return found.off_neck_mm() > kOffNeckMm;
  const double away = (*given.head_centre_px - found.rim.circle.centre).norm();
  return !given.head_diameter_px && away * found.hypothesis.mm_per_px > kElsewhereMm;
}

/// What is perhaps some other circle: nothing is known of the head then but that it is about as
/// large, `kOtherCircle` of its diameter (house choice).
constexpr double kOtherCircle = 0.1;

void widen_head(const Followed& found, Implant& implant) {
  const double off_px = found.off_neck_mm() / found.hypothesis.mm_per_px;
  implant.head.centre_u_px = std::hypot(implant.head.centre_u_px, off_px);
  implant.head.diameter_u_px =
      std::hypot(implant.head.diameter_u_px, kOtherCircle * 2.0 * found.rim.circle.radius);
}

/// Whether the neck is as wide as necks are where it leaves the head: 10 to 14 mm (common practice,
/// no source). A cup taken for the head makes all lengths too small.
bool has_a_neck(const Followed& found) {
  constexpr double kThinnestNeckMm = 8.5;
  constexpr double kWidestNeckMm = 20.0;
  const Polyline& outline = found.shape.outline;
  const double neck = (outline.front() - outline.back()).norm() * found.hypothesis.mm_per_px;
  return neck >= kThinnestNeckMm && neck <= kWidestNeckMm;
}

/// Share of the rim beside the neck that lies on the circle that was found.
double rim_seen(const cv::Mat1f& film, const Followed& found) {
  const Hypothesis& h = found.hypothesis;
  return rim_beside_neck(film, found.rim.circle, h.neck_direction, h.mm_per_px);
}

/// Whether the circle may be a cup's, concentric with the head.
bool may_be_cup(const cv::Mat1f& film, const Followed& found) {
  return !has_a_neck(found) || rim_seen(film, found) < kOnRim;
}

void doubt_head_if_another(const cv::Mat1f& film, const Followed& found,
                           const ImplantOptions& options, Implant& implant) {
  const GivenLandmarks& given = options.given;
  if (is_another_head(found, given)) {
    implant.flags.push_back({"head_off_neck",
                             "The circle taken for the head does not lie on the line of the neck; "
                             "mark the head's centre and diameter by hand."});
  } else if (!given.head_centre_px && found.hypothesis.look == LookFrom::kFront &&
             found.hypothesis.faint) {
    implant.flags.push_back(
        {"head_in_doubt",
         "The head is seen only faintly within the shadow of its cup; look whether the circle lies "
         "on it, or mark the head's centre and diameter by hand."});
    return;  // its circle's own u is a wide one
  } else if (!given.head_centre_px && found.hypothesis.look == LookFrom::kFront &&
             may_be_cup(film, found)) {
    implant.flags.push_back(
        {"head_in_doubt",
         "The circle taken for the head may be a cup's: little of it is seen beside the neck, or "
         "the neck would be thinner or wider than necks are; mark the head's centre and diameter "
         "by hand."});
  } else {
    return;
  }
  widen_head(found, implant);
}

/// Cup and masks: all that is metal.
void add_metal(const cv::Mat1f& film, const Followed& found, Implant& implant) {
  const double mm_per_px = found.hypothesis.mm_per_px;
  const Scaled& fine = found.fine;
  cv::Mat1b metal;
  parallel_within(2, [&](std::size_t i) {
    if (i == 0) {
      implant.cup = find_cup(film, found.rim.circle, mm_per_px);
    } else {
      metal = foreign_metal(fine.image, found.mask, mm_per_px / fine.factor,
                            found.shape.edge_contrast) |
              found.mask;
      implant.stem = to_film_mask(found.mask, fine, film.size());
    }
  });
  if (implant.cup) {
    const Vec2 c = fine.from_film(implant.cup->circle_px.centre);
    cv::circle(metal, {static_cast<int>(std::lround(c.x())), static_cast<int>(std::lround(c.y()))},
               static_cast<int>(std::lround(implant.cup->circle_px.radius * fine.factor)),
               cv::Scalar(255), cv::FILLED);
  }
  implant.metal = to_film_mask(metal, fine, film.size());
}

Implant assemble(const cv::Mat1f& film, const Followed& found, const ImplantOptions& options) {
  const Hypothesis& h = found.hypothesis;
  const RimFit& rim = found.rim;
  const StemShape& shape = found.shape;
  Implant implant;
  // What blur, halo and a head that is not quite opaque do to the rim is no scatter along it: 0.03
  // mm on the centre and 0.25 % on the diameter (simulated films, docs/accuracy.md).
  implant.head = {rim.circle, std::hypot(rim.centre_u, 0.03 / h.mm_per_px),
                  std::hypot(2.0 * rim.radius_u, 0.005 * rim.circle.radius), Source::kFound};
  doubt_head_if_another(film, found, options, implant);
  implant.outline_px = shape.outline;
  implant.axis = {shape.axis, {shape.axis_u_rad / kDegree}, Source::kFound};
  implant.tip = shape.tip;
  implant.end = found.end;
  if (found.end == StemEnd::kFieldBorder) {
    implant.flags.push_back({"tip_outside_field",
                             "The field ends above the stem's tip: nothing is said of the tip or "
                             "by zone; the motion is that of the stem's part that is seen."});
  }
  implant.shoulder = shape.shoulder;
  apply_given_head(options.given, h.mm_per_px, implant.head);
  implant.reference_px = reference_point(implant, {h.mm_per_px});
  add_metal(film, found, implant);
  implant.confidence = confidence_of({h.score, h.trace.evidence, shape.axis_u_rad / kDegree});
  constexpr double kSure = 0.6;  // right finds on simulated films score 0.79 and more; house choice
  if (implant.confidence < kSure) {
    implant.flags.push_back({"implant_uncertain",
                             "Stem and head were found with little evidence; look at the picture "
                             "before you rely on any number of this film."});
  }
  return implant;
}

/// The rim of a head that only faint_head() has seen: where it stands free beside the neck it is
/// fitted as any other, if that is the same circle; else it is known as well as it was found.
RimFit faint_rim(const cv::Mat1f& film, const Hypothesis& h) {
  // Two heads found so lay within 0.9 % of their diameters and 0.11 mm of their centres
  // (docs/anatomy.md); house choices.
  constexpr double kCentreMm = 0.3;
  constexpr double kRadius = 0.02;
  constexpr double kReachMm = 1.2;
  constexpr double kSameMm = 0.6;
  const double px = 1.0 / h.mm_per_px;
  const double radius_u = kRadius * h.head_px.radius;
  const auto fit = fit_rim(film, h.head_px, kReachMm * px, kHeadBlurMm * px);
  const bool same = fit && (fit->circle.centre - h.head_px.centre).norm() < kSameMm * px &&
                    std::abs(fit->circle.radius - h.head_px.radius) < kSameMm * px;
  RimFit rim = same ? *fit : RimFit{.circle = h.head_px};
  rim.centre_u = kCentreMm * px;
  rim.radius_u = radius_u;
  return rim;
}

std::optional<RimFit> head_rim_of(const cv::Mat1f& film, const Hypothesis& h) {
  if (h.faint) return faint_rim(film, h);
  auto rim = fit_head(film, h.head_px, h.mm_per_px);
  if (!rim) return std::nullopt;
  rim->radius_u = std::hypot(rim->radius_u, rim_inset(film, *rim, kHeadBlurMm, 1.0 / h.mm_per_px));
  return rim;
}

/// Follows one hypothesis to the end.
Expected<Followed> follow(const film::FilmImage& hip_view, const Pyramid& pyramid, Hypothesis h) {
  const cv::Mat1f& film = pyramid.film();
  const Scaled mm{{}, h.mm_per_px};  // only for its coordinates
  const auto rim = head_rim_of(film, h);
  if (!rim) return no_stem(hip_view, "the head's rim could not be followed");
  h.head_px = rim->circle;
  const Scaled fine = scaled(pyramid, std::min(1.0, h.mm_per_px / 0.4), 0.7);
  RoughStem rough = rough_stem(h, mm, fine);
  cv::Mat1b mask = stem_mask(fine.image, rough);
  // The flanks' tracing may have stopped short; the metal itself tells.
  constexpr int kMostSteps = 12;
  for (int step = 0; step < kMostSteps && goes_on(mask, rough); ++step) {
    rough = drawn_out(std::move(rough), 12.0);
    mask = stem_mask(fine.image, rough);
  }
  if (!reaches_head(mask, rough)) {
    return no_stem(hip_view, "no stem was found that hangs together with the head");
  }
  auto shape = trace_outline(film, fine, mask, h.head_px, h.mm_per_px);
  if (!shape) return no_stem(hip_view, "the outline of the stem could not be followed");
  const Cut cut = cut_of(*shape, film.size(), h.mm_per_px);
  if (cut == Cut::kDistal) end_at_field(*shape, film.size(), h.mm_per_px);
  if (const auto why = implausible(*shape, cut, h)) return no_stem(hip_view, *why);
  const auto neck = neck_axis(shape->outline, h.mm_per_px);
  const StemEnd end = cut == Cut::kDistal ? StemEnd::kFieldBorder : StemEnd::kTip;
  return Followed{h, *rim, *shape, end, fine, mask, neck};
}

/// As follow(), and where that fails or leads out of the field, with flanks that lie closer
/// together: beside a bright thigh the outer edge of a cortex can be clearer than the stem's.
Expected<Followed> follow_either(const film::FilmImage& hip_view, const Pyramid& pyramid,
                                 const Hypothesis& h, const ImplantOptions& options) {
  auto first = follow(hip_view, pyramid, h);
  if (first && first->end == StemEnd::kTip) return first;
  const auto narrower = with_narrower_stem(pyramid, h, options);
  if (!narrower) return first;
  auto second = follow(hip_view, pyramid, *narrower);
  if (!second || (first && second->end != StemEnd::kTip)) return first;
  return second;
}

/// Whether the circle may be the border of a cup in whose shadow the head lies.
bool look_for_faint_head(const cv::Mat1f& film, const Followed& found,
                         const ImplantOptions& options) {
  return !options.given.head_centre_px && options.look == LookFrom::kFront &&
         may_be_cup(film, found);
}

/// The neck of a stem whose scale is too small because a cup's border was taken for the head.
std::optional<NeckAxis> neck_at_any_scale(const Followed& found) {
  if (found.neck) return found.neck;
  constexpr double kStep = 1.2;
  double mm_per_px = found.hypothesis.mm_per_px;
  for (int k = 0; k < 4; ++k) {
    mm_per_px *= kStep;
    auto neck = neck_axis(found.shape.outline, mm_per_px);
    if (!neck) continue;
    neck->width_mm *= found.hypothesis.mm_per_px / mm_per_px;
    return neck;
  }
  return std::nullopt;
}

/// The stem with the head that is seen faintly within the circle that may be its cup's; nothing
/// where none is, or where it is no better a head.
std::optional<Followed> with_faint_head(const film::FilmImage& hip_view, const Pyramid& pyramid,
                                        const Followed& first, const ImplantOptions& options) {
  constexpr double kLeastScore = 1.4;  // a wrong one had 1.34, see docs/anatomy.md
  constexpr double kSmaller = 0.93;    // else it is the same circle
  const auto neck = neck_at_any_scale(first);
  if (!neck) return std::nullopt;
  const Circle2& shadow = first.rim.circle;
  const auto head =
      faint_head(pyramid.film(), shadow, neck->line, neck->width_mm / first.hypothesis.mm_per_px);
  if (!head || head->score < kLeastScore || head->circle.radius > kSmaller * shadow.radius) {
    return std::nullopt;
  }
  auto h = with_faint(pyramid, head->circle, options);
  if (!h) return std::nullopt;
  auto second = follow_either(hip_view, pyramid, *h, options);
  if (!second || !has_a_neck(*second)) return std::nullopt;
  return std::move(*second);
}

/// The stem with the head on its neck whose rim beside the neck is seen, where the circle that was
/// found shows none there; nothing where there is no such head.
std::optional<Followed> with_open_head(const film::FilmImage& hip_view, const Pyramid& pyramid,
                                       const Followed& first, const ImplantOptions& options) {
  const auto neck = neck_at_any_scale(first);
  const Vec2& lateral = first.shape.outline.front();
  const Vec2& medial = first.shape.outline.back();
  const auto h = neck ? with_head_on_neck(pyramid, first.hypothesis, *neck, options)
                      : with_head_towards(pyramid, first.hypothesis, 0.5 * (lateral + medial),
                                          (medial - lateral).norm(), options);
  if (!h) return std::nullopt;
  auto second = follow_either(hip_view, pyramid, *h, options);
  if (!second || may_be_cup(pyramid.film(), *second) || second->off_neck_mm() > kOffNeckMm) {
    return std::nullopt;
  }
  constexpr double kClearlyMore = 0.15;  // of the rim; house choice
  if (rim_seen(pyramid.film(), *second) < rim_seen(pyramid.film(), first) + kClearlyMore) {
    return std::nullopt;
  }
  return std::move(*second);
}

/// As follow(), with the head whose rim beside the neck is seen, and where the head turns out to
/// lie off its neck, with the head that lies on it.
Expected<Followed> follow_on_neck(const film::FilmImage& hip_view, const Pyramid& pyramid,
                                  const Hypothesis& h, const ImplantOptions& options) {
  const bool by_hand = options.given.head_centre_px.has_value();  // the user's head stays
  const auto on_rim = by_hand ? std::nullopt : with_rim_beside_neck(pyramid, h, options);
  auto first = follow_either(hip_view, pyramid, on_rim.value_or(h), options);
  if (!first && on_rim) first = follow_either(hip_view, pyramid, h, options);
  if (!first || first->off_neck_mm() <= kOffNeckMm) return first;
  if (by_hand) return first;
  const auto other = with_head_on_neck(pyramid, first->hypothesis, *first->neck, options);
  if (!other) return first;
  auto second = follow(hip_view, pyramid, *other);
  return second && second->off_neck_mm() <= kOffNeckMm ? second : first;
}

}  // namespace

Expected<Implant> find_implant(const film::FilmImage& hip_view, const ImplantOptions& options) {
  const cv::Mat1f film = view_of(hip_view.pixels);
  if (film.rows < 100 || film.cols < 100) {
    return fail(ErrorKind::kBadInput, hip_view.facts.file, "the film is too small to show a hip",
                "export it at full size");
  }
  const Pyramid pyramid(film);
  std::optional<Hypothesis> refused;
  std::optional<Error> why;
  const std::vector<Hypothesis> all = hypotheses(pyramid, options);
  for (const Hypothesis& h : all) {
    if (h.score < score_wanted(options.look, refused.has_value())) break;
    // One whose head lies within the refused one's reach is part of the same hip.
    if (refused && refused->score >= kSureScore && same_hip(*refused, h) && leaves_film(*why))
      continue;
    auto found = follow_on_neck(hip_view, pyramid, h, options);
    if (found) {
      if (look_for_faint_head(pyramid.film(), *found, options)) {
        auto other = with_open_head(hip_view, pyramid, *found, options);
        if (!other) other = with_faint_head(hip_view, pyramid, *found, options);
        if (other) found = std::move(*other);
      }
      return with_given(assemble(pyramid.film(), *found, options), options);
    }
    if (!refused) {
      refused = h;
      why = found.error();
    }
  }
  const bool beside = !all.empty() && stem_must_leave(refused.value_or(all.front()));
  if (beside || stem_crosses_top(pyramid, options.scale_hint)) {
    return no_stem(hip_view, kStemLeavesField);
  }
  if (why) return tl::unexpected(*why);
  return no_stem(hip_view, "no femoral stem with its head was found");
}

Vec2 reference_point(const Implant& implant, MillimetresPerPixel scale) {
  constexpr double kBelowShoulderMm = 10.0;
  const Line2& axis = implant.axis.line_px;
  return axis.point +
         (along(axis, implant.shoulder.px) + kBelowShoulderMm / scale.value) * axis.direction;
}

GivenLandmarks for_search(const GivenLandmarks& given) {
  GivenLandmarks out;
  out.head_centre_px = given.head_centre_px;
  out.head_diameter_px = given.head_diameter_px;
  return out;
}

Implant with_given(Implant found, const ImplantOptions& options) {
  const GivenLandmarks& given = options.given;
  if (!given.stem_tip_px && !given.stem_shoulder_px && !given.stem_axis_px) return found;
  const double mm_per_px = head_mm_of(options) / (2.0 * found.head.circle_px.radius);
  const double by_hand = kByHandMm / mm_per_px;
  if (given.stem_tip_px) {
    found.tip = {*given.stem_tip_px, by_hand, Source::kGiven};
    found.end = StemEnd::kTip;
    std::erase_if(found.flags, [](const Flag& flag) { return flag.id == "tip_outside_field"; });
  }
  if (given.stem_shoulder_px) found.shoulder = {*given.stem_shoulder_px, by_hand, Source::kGiven};
  if (given.stem_axis_px) {
    found.axis.line_px = *given.stem_axis_px;
    if (found.axis.line_px.direction.y() < 0.0) found.axis.line_px.direction *= -1.0;
    found.axis.direction_u = {0.2};
    found.axis.source = Source::kGiven;
  }
  if (given.stem_shoulder_px || given.stem_axis_px) {
    found.reference_px = reference_point(found, {mm_per_px});
  }
  return found;
}

}  // namespace tidemark::anatomy
