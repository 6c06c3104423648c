#include "scale.h"

#include <algorithm>
#include <cmath>

#include "tidemark/core/uncertainty.h"
#include "tidemark/film/calibration.h"
#include "working.h"

namespace tidemark::followup {
namespace {

/// Manufacturing tolerance of a head's diameter, and of a marker ball: design of the measurement
/// (docs/design.md); no published source.
constexpr double kHeadDiameterUMm = 0.05;
constexpr double kMarkerDiameterUMm = 0.1;
/// A stem's length is a nominal one. House choice.
constexpr double kStemLengthUMm = 0.5;
/// Stands in for the head when results are wanted in pixels; its size cancels in them. u spans the
/// usual sizes.
constexpr double kNominalHeadMm = 32.0;
constexpr double kNominalHeadUMm = 4.0;
/// Standard uncertainty of a circle's diameter that the user drew. House choice.
constexpr double kDrawnCircleUPx = 1.0;

template <class Q>
Measured<Q> normal(double value, double u) {
  return measured(Q{value}, Q{u});
}

std::string name_of(film::ScaleMethod method) {
  switch (method) {
    case film::ScaleMethod::kHeadDiameter:
      return "head_diameter";
    case film::ScaleMethod::kMarkerDiameter:
      return "marker_diameter";
    case film::ScaleMethod::kStemLength:
      return "stem_length";
    case film::ScaleMethod::kDicom:
      return "dicom";
    case film::ScaleMethod::kPixels:
      break;
  }
  return "pixels";
}

Measured<Pixels> head_on_film(const Working& film) {
  const auto& head = film.seen->implant.head;
  return normal<Pixels>(2.0 * head.circle_px.radius, head.diameter_u_px);
}

std::optional<film::KnownLength> known_marker(const Working& film) {
  const auto& circle = film.entry.marker_in_stored_px;
  if (!film.entry.marker_diameter || !circle) return {};
  const double k = film::view_px_per_stored_px(film.seen->hip_view);
  return film::KnownLength{
      normal<Pixels>(2.0 * circle->radius * k, kDrawnCircleUPx * k),
      normal<Millimetres>(film.entry.marker_diameter->value, kMarkerDiameterUMm)};
}

std::optional<film::KnownLength> known_stem(const Working& film,
                                            const std::optional<Millimetres>& length) {
  const auto px = stem_on_film(film.seen->implant);
  if (!length || !px) return {};
  return film::KnownLength{*px, normal<Millimetres>(length->value, kStemLengthUMm)};
}

film::ScaleSources sources_of(const Working& film, const StemFacts& stem) {
  return {.head_diameter = {},
          .marker_diameter = known_marker(film),
          .stem_length = known_stem(film, stem.length),
          .dicom = film.seen->hip_view.facts.scale,
          .view_px_per_stored_px = film::view_px_per_stored_px(film.seen->hip_view),
          .view = film.out.view.value_or(View::kAp),
          .accept_pixels = false};
}

/// A scale per view px and where it is from.
struct OwnScale {
  std::string method;
  Measured<MillimetresPerPixel> per_view_px;
  std::string note;
  std::vector<film::ScaleCandidate> others;
  std::vector<std::string> doubts;  ///< one sentence each
};

/// What this film says of its scale without the head; nothing when it says nothing.
std::optional<OwnScale> own_scale(const Working& film, const StemFacts& stem) {
  const auto calibration = film::calibrate(sources_of(film, stem));
  if (film.entry.scale) {
    const double k = film::view_px_per_stored_px(film.seen->hip_view);
    OwnScale own{"given", given_per_view_px(film.entry, k), "given in the sheet", {}, {}};
    if (calibration) {
      own.others = calibration->others;
      own.others.insert(own.others.begin(), calibration->best);
      own.doubts = calibration->disagreements;
    }
    if (auto odd = film::implausible_magnification(own.per_view_px, "the scale given in the sheet",
                                                   film.seen->hip_view.facts.scale, k)) {
      own.doubts.push_back(std::move(*odd));
    }
    return own;
  }
  if (!calibration) return {};
  return OwnScale{name_of(calibration->best.method), calibration->best.mm_per_px,
                  calibration->best.note, calibration->others, calibration->disagreements};
}

/// The scale of a film, which is that of the stem's plane, over that in the plane of the head.
double stem_over_head(const Working& film) {
  return film::stem_over_head(film.out.view.value_or(View::kAp));
}

/// The head's diameter as the films' own scales give it together.
struct HeadSize {
  Measured<Millimetres> diameter;
  std::string method;
  std::size_t films = 0;
};

std::optional<HeadSize> head_from_films(const std::vector<Working*>& films,
                                        const std::vector<std::optional<OwnScale>>& own) {
  double weights = 0.0;
  double sum = 0.0;
  HeadSize head;
  double best_u = 0.0;
  for (std::size_t i = 0; i < films.size(); ++i) {
    if (!own[i]) continue;
    const auto px = head_on_film(*films[i]);
    const auto& scale = own[i]->per_view_px;
    const double k = 1.0 / stem_over_head(*films[i]);
    const double mm = k * px.value.value * scale.value.value;
    const double u = k * std::hypot(px.u.value * scale.value.value, px.value.value * scale.u.value);
    if (!(u > 0.0)) continue;
    weights += 1.0 / (u * u);
    sum += mm / (u * u);
    if (head.films == 0 || u < best_u) {
      best_u = u;
      head.method = own[i]->method;
    }
    ++head.films;
  }
  if (head.films == 0) return {};
  // Films of one clinic share their errors of scale, so more films do not make u smaller.
  head.diameter = normal<Millimetres>(sum / weights, best_u);
  return head;
}

void take_scale(Working& film, ScaleResult shown, const Measured<MillimetresPerPixel>& per_view_px,
                MillimetresPerPixel own_u) {
  HipFilm hip;
  hip.scale = per_view_px;
  hip.scale_u_own = own_u;
  hip.from_behind = film.out.view == View::kPa;
  film.hip = std::move(hip);
  film.out.calibration = std::move(shown);
}

void keep_others(Working& film, const std::vector<film::ScaleCandidate>& candidates) {
  const double k = film::view_px_per_stored_px(film.seen->hip_view);
  for (const film::ScaleCandidate& other : candidates) {
    film.out.other_scales.push_back(
        per_stored_px(name_of(other.method), other.mm_per_px, other.note, k));
  }
}

void doubt_scale(Working& film, const std::vector<std::string>& doubts) {
  for (const std::string& sentence : doubts) {
    film.out.flags.push_back({"scales_disagree", sentence});
  }
}

constexpr const char* kSheet = "the sheet";
constexpr const char* kHeader = "its header (PixelSpacing)";

/// Flags a scale that rests on one number which nothing on this film can contradict.
/// @param from  where the number stands
void doubt_unchecked(Working& film, const std::vector<film::ScaleCandidate>& others,
                     const std::string& from) {
  if (!others.empty() || film::detector_spacing(film.seen->hip_view.facts.scale)) return;
  film.out.flags.push_back(
      {"scale_unchecked", "Nothing else on this film tells its scale, so a wrong number in " +
                              from +
                              " would go unnoticed and make every length wrong in proportion; "
                              "check it."});
}

MillimetresPerPixel head_share(const Working& film, const MillimetresPerPixel& scale) {
  const auto px = head_on_film(film);
  return (px.u / px.value) * scale;
}

Measured<Millimetres> head_stated(const StemFacts& stem) {
  return normal<Millimetres>(stem.head_diameter->value, kHeadDiameterUMm);
}

/// Whether two scales differ by no more than their joint 95 % uncertainty.
bool agree(const Measured<MillimetresPerPixel>& a, const Measured<MillimetresPerPixel>& b) {
  return std::abs(a.value.value - b.value.value) <=
         coverage_factor(kInfiniteFreedom) * std::hypot(a.u.value, b.u.value);
}

/// Scale of one film by the head of known size, its other sources beside it.
void scale_by_head(Working& film, const StemFacts& stem, const Measured<Millimetres>& head) {
  film::ScaleSources sources = sources_of(film, stem);
  sources.head_diameter = film::KnownLength{head_on_film(film), head};
  const auto calibration = film::calibrate(sources);
  if (!calibration) {
    refuse(film, reason_of(calibration.error()));
    return;
  }
  const double k = film::view_px_per_stored_px(film.seen->hip_view);
  const auto& best = calibration->best;
  take_scale(film, per_stored_px(name_of(best.method), best.mm_per_px, best.note, k),
             best.mm_per_px, head_share(film, best.mm_per_px.value));
  keep_others(film, calibration->others);
  doubt_scale(film, calibration->disagreements);
}

/// Scale of one film that the user gave, whatever else is known; what else is known says whether
/// the number can be right.
void scale_as_given(Working& film, const StemFacts& stem, const OwnScale& own) {
  const double k = film::view_px_per_stored_px(film.seen->hip_view);
  take_scale(film, per_stored_px(own.method, own.per_view_px, own.note, k), own.per_view_px,
             own.per_view_px.u);
  std::vector<film::ScaleCandidate> others = own.others;
  if (stem.head_diameter) {
    film::ScaleSources by_head = sources_of(film, stem);
    by_head.head_diameter = film::KnownLength{head_on_film(film), head_stated(stem)};
    if (const auto head = film::calibrate(by_head)) others.insert(others.begin(), head->best);
  }
  keep_others(film, others);
  for (const film::ScaleCandidate& other : others) {
    if (agree(own.per_view_px, other.mm_per_px)) continue;
    film.out.flags.push_back({"scales_disagree", "The scale given in the sheet does not fit what " +
                                                     name_of(other.method) +
                                                     " says; the sheet was followed."});
  }
  doubt_scale(film, own.doubts);
  doubt_unchecked(film, others, kSheet);
}

/// Scale of one film by the head whose size came from the scales of all films.
void scale_by_common_head(Working& film, const HeadSize& head, const std::optional<OwnScale>& own) {
  const auto px = head_on_film(film);
  const double value = stem_over_head(film) * head.diameter.value.value / px.value.value;
  const double u = value * std::hypot(head.diameter.u / head.diameter.value, px.u / px.value);
  const auto scale = normal<MillimetresPerPixel>(value, u);
  const double k = film::view_px_per_stored_px(film.seen->hip_view);
  const std::string note =
      "by the head, whose diameter the scales of " + std::to_string(head.films) + " film(s) give";
  take_scale(film, per_stored_px(head.method, scale, note, k), scale,
             head_share(film, scale.value));
  if (!own) return;
  if (head.films > 1) {
    film.out.other_scales.push_back(
        per_stored_px(own->method, own->per_view_px, "this film alone: " + own->note, k));
  }
  keep_others(film, own->others);
  if (!agree(own->per_view_px, scale)) {
    film.out.flags.push_back(
        {"scales_disagree",
         "The scale of this film alone does not fit the scales of the others by the head."});
  }
  doubt_scale(film, own->doubts);
  const bool by_header = own->method == name_of(film::ScaleMethod::kDicom);
  doubt_unchecked(film, own->others, by_header ? kHeader : kSheet);
}

std::string why_no_scale(const Working& film, const StemFacts& stem) {
  const auto calibration = film::calibrate(sources_of(film, stem));
  return (calibration ? "nothing gives the scale" : calibration.error().wrong) +
         "; state the diameter of the head";
}

/// Lengths in pixels: every film is brought to the same head size, which cancels in the end.
void scale_in_pixels(WorkingSeries& work, const std::vector<Working*>& films) {
  work.length_unit = LengthUnit::kReferencePixels;
  work.flags.push_back({"lengths_in_pixels",
                        "Nothing gives the scale: lengths are in pixels of the reference film. "
                        "Give the head's diameter to get millimetres."});
  for (Working* film : films) {
    // As it is drawn at the stem's depth: from the front and from behind alike.
    const double k = 1.0 / stem_over_head(*film);
    scale_by_common_head(
        *film, {normal<Millimetres>(k * kNominalHeadMm, k * kNominalHeadUMm), "pixels", 0}, {});
    film->hip->in_pixels = true;
    film->out.calibration->note = "a head of 32 mm assumed; cancels in results in pixels";
  }
}

/// Whether a film of this scale would show what films of the hip show: from a little less than stem
/// and head to a whole leg. House choices.
bool makes_a_field(MillimetresPerPixel per_view_px, const film::FilmImage& film) {
  constexpr double kLeastMm = 120.0;
  constexpr double kMostMm = 1300.0;
  const double field = per_view_px.value * std::max(film.pixels.width, film.pixels.height);
  return field >= kLeastMm && field <= kMostMm;
}

}  // namespace

std::optional<Measured<Pixels>> stem_on_film(const anatomy::Implant& implant) {
  if (!implant.shows_tip()) return {};
  const Line2& axis = implant.axis.line_px;
  const double px = along(axis, implant.tip.px) - along(axis, implant.shoulder.px);
  if (!(px > 0.0)) return {};
  return normal<Pixels>(px, std::hypot(implant.tip.u_px, implant.shoulder.u_px));
}

ScaleResult per_stored_px(std::string method, const Measured<MillimetresPerPixel>& per_view_px,
                          std::string note, double view_per_stored) {
  return {std::move(method),
          {view_per_stored * per_view_px.value, view_per_stored * per_view_px.u,
           view_per_stored * per_view_px.u95},
          std::move(note)};
}

Measured<MillimetresPerPixel> given_per_view_px(const FilmEntry& entry, double view_per_stored) {
  const double k = 1.0 / view_per_stored;
  return {k * entry.scale->value, k * entry.scale->u, k * entry.scale->u95};
}

std::optional<MillimetresPerPixel> scale_hint_of(const FilmEntry& entry,
                                                 const film::FilmImage& upright) {
  const double per_view_px = 1.0 / film::view_px_per_stored_px(upright);
  std::optional<MillimetresPerPixel> hint;
  if (entry.scale) {
    hint = per_view_px * entry.scale->value;
  } else if (const auto dicom = film::scale_from_dicom(upright.facts.scale)) {
    hint = per_view_px * dicom->mm_per_px.value;
  }
  // A hint that is far off would hide the head from those who look for it by size.
  if (hint && !makes_a_field(*hint, upright)) return {};
  return hint;
}

void scale_films(WorkingSeries& work, WithoutScale without_scale) {
  std::vector<Working*> films;
  for (Working& film : work.films) {
    if (!film.refused && film.seen) films.push_back(&film);
  }
  const StemFacts& stem = work.series.stem;
  std::vector<std::optional<OwnScale>> own;
  for (const Working* film : films) {
    own.push_back(own_scale(*film, stem));
    if (film->entry.marker_diameter && !film->entry.marker_in_stored_px) {
      work.flags.push_back({"marker_not_located",
                            film->out.file + ": the marker's diameter is given but not its place "
                                             "on the film (marker_px), so it was not used."});
    } else if (film->entry.marker_in_stored_px && !film->entry.marker_diameter) {
      work.flags.push_back({"marker_diameter_missing",
                            film->out.file + ": the marker's place is given but not its diameter "
                                             "(marker_diameter_mm), so it was not used."});
    }
  }
  const auto head = stem.head_diameter ? std::nullopt : head_from_films(films, own);
  if (!stem.head_diameter && !head && without_scale == WithoutScale::kAcceptPixels) {
    scale_in_pixels(work, films);
    return;
  }
  for (std::size_t i = 0; i < films.size(); ++i) {
    if (own[i] && own[i]->method == "given") {
      scale_as_given(*films[i], stem, *own[i]);
    } else if (stem.head_diameter) {
      scale_by_head(*films[i], stem, head_stated(stem));
    } else if (head) {
      scale_by_common_head(*films[i], *head, own[i]);
    } else {
      refuse(*films[i], why_no_scale(*films[i], stem));
    }
  }
}

}  // namespace tidemark::followup
