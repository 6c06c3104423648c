#include "scale_by_stem.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "doubt.h"
#include "has_flag.h"
#include "scale.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/film/film.h"

namespace tidemark::followup {
namespace {

/// What a stem's length on two films differs by as the leg is flexed otherwise, relative, standard
/// uncertainty: a stem that leans by 5 degrees in the sagittal plane, legs that differ by 8 degrees
/// (sin 5 degrees x 8 degrees in radians = 0.012), and what the cosine takes beyond that. House
/// choice.
constexpr double kForeshortened = 0.015;
/// A head that is better known than this needs no help.
constexpr double kWellKnown = 0.01;

/// A film whose scale is the head's.
struct ByHead {
  Working* film = nullptr;
  bool in_doubt = false;
  double scale = 0.0;      ///< mm per view px
  double scale_u = 0.0;    ///< relative, of this film alone
  double length_px = 0.0;  ///< of the stem
  double length_u = 0.0;   ///< relative, of the marks
};

std::optional<ByHead> by_head(Working& film) {
  if (film.refused || film.from_side || !film.seen || !film.hip || !film.out.calibration) return {};
  if (film.out.calibration->method != "head_diameter") return {};
  const auto length = stem_on_film(film.seen->implant);
  if (!length) return {};
  ByHead out;
  out.film = &film;
  out.in_doubt = doubts_head(film.seen->implant);
  out.scale = film.hip->scale.value.value;
  out.scale_u = film.hip->scale_u_own.value / out.scale;
  out.length_px = length->value.value;
  out.length_u = length->u / length->value;
  return out;
}

/// The film whose head tells its scale best; nothing where none tells it well.
const ByHead* best_known(const std::vector<ByHead>& films) {
  const ByHead* best = nullptr;
  for (const ByHead& one : films) {
    if (one.in_doubt || has_flag(one.film->seen->implant.flags, "implant_uncertain")) continue;
    if (one.scale_u > kWellKnown) continue;
    if (best == nullptr || one.scale_u < best->scale_u) best = &one;
  }
  return best;
}

/// A value with its relative standard uncertainty.
struct Told {
  double value = 0.0;
  double u = 0.0;
};

/// What head and stem say together of a film's scale; nothing where the head stays.
std::optional<Told> together(const ByHead& film, const Told& stem) {
  const double apart = std::abs(std::log(film.scale / stem.value));
  const bool agree = apart <= coverage_factor(kInfiniteFreedom) * std::hypot(film.scale_u, stem.u);
  if (!agree) return film.in_doubt ? std::optional<Told>(stem) : std::nullopt;
  if (stem.u >= film.scale_u) return {};
  const double w = std::pow(film.scale_u / stem.u, 2);
  return Told{(w * stem.value + film.scale) / (w + 1.0), stem.u * std::sqrt(w / (w + 1.0))};
}

void take(const ByHead& film, const Told& scale, const ByHead& best) {
  Working& working = *film.film;
  HipFilm& hip = *working.hip;
  const Measured<MillimetresPerPixel>& known = best.film->hip->scale;
  const double k = film::view_px_per_stored_px(working.seen->hip_view);
  working.out.other_scales.insert(working.out.other_scales.begin(), *working.out.calibration);
  const double u = scale.value * std::hypot(scale.u, known.u.value / known.value.value);
  hip.scale = measured(MillimetresPerPixel{scale.value}, MillimetresPerPixel{u});
  hip.scale_u_own = MillimetresPerPixel{scale.value * scale.u};
  working.out.calibration =
      per_stored_px("stem_length", hip.scale,
                    "the stem is as long as on " + best.film->out.file +
                        ", since the head of this film does not tell its scale well",
                    k);
}

}  // namespace

void settle_scales_by_stem(WorkingSeries& work) {
  std::vector<ByHead> films;
  for (Working& film : work.films) {
    if (auto one = by_head(film)) films.push_back(*one);
  }
  const ByHead* best = best_known(films);
  if (best == nullptr) return;
  for (const ByHead& film : films) {
    if (&film == best || (!film.in_doubt && film.scale_u <= kWellKnown)) continue;
    const Told stem{best->scale * best->length_px / film.length_px,
                    std::hypot(kForeshortened, film.length_u, best->length_u)};
    if (const auto scale = together(film, stem)) take(film, *scale, *best);
  }
}

}  // namespace tidemark::followup
