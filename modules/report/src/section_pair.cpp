#include <algorithm>

#include "jpeg_of.h"
#include "sections.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using followup::AlignedFilm;
using followup::AlignedFilms;
using followup::ComparisonResult;
using followup::FilmResult;

/// What an inset shows around tip or shoulder. House choice: a fifth of the stem, so that a tenth
/// of a millimetre is a line's width.
constexpr double kInsetMm = 26.0;

/// Results count px from the centre of the first one, plates from its corner.
Vec2 from_corner(const Vec2& px) { return px + Vec2(0.5, 0.5); }

std::string title_of(const Source& from, const ComparisonResult* pair, const FilmResult& film) {
  if (pair != nullptr) return from.say("plate.follow_up", {{"when", when(from, *pair)}});
  return from.say("plate.reference",
                  {{"when", film.date ? format_date(*film.date) : printable(film.file)}});
}

Plate plate_of(const AlignedFilm& film) {
  Plate out;
  out.jpeg = jpeg_of(film.grey);
  out.outline.reserve(film.outline_px.size());
  std::transform(film.outline_px.begin(), film.outline_px.end(), std::back_inserter(out.outline),
                 from_corner);
  out.head = {from_corner(film.head_px.centre), film.head_px.radius};
  if (film.tip_px) out.tip = from_corner(*film.tip_px);
  out.shoulder = from_corner(film.shoulder_px);
  out.reference = from_corner(film.reference_px);
  return out;
}

/// A square window around a point, inside of the plate where it can be.
Window window_at(const Vec2& middle, double side, const Document& document) {
  const double x =
      std::clamp(middle.x() - 0.5 * side, 0.0, std::max(0.0, document.plate_width - side));
  const double y =
      std::clamp(middle.y() - 0.5 * side, 0.0, std::max(0.0, document.plate_height - side));
  return {x, y, side, side};
}

const ComparisonResult* pair_of(const followup::Result& result, std::size_t film) {
  const auto found =
      std::find_if(result.comparisons.begin(), result.comparisons.end(),
                   [&](const auto& pair) { return pair.migration && pair.follow_up == film; });
  return found == result.comparisons.end() ? nullptr : &*found;
}

AlignedPair pair_block(const Source& from, const Document& document, std::size_t plate,
                       const ComparisonResult& pair) {
  const followup::Lengths lengths = followup::lengths_of(from.result);
  const auto& m = *pair.migration;
  const std::string subsidence =
      from.say.signed_number(m.subsidence, lengths.mm_per_unit) + unit_of(lengths);
  const std::string tilt = from.say.signed_number(m.tilt_change) + "°";
  AlignedPair out;
  out.follow_up = plate;
  out.title = from.say("pair.title", {{"when", when(from, pair)}});
  out.caption = from.say("pair.numbers", {{"subsidence", subsidence}, {"tilt", tilt}});
  out.description = from.say("pair.description", {{"when", when(from, pair)}});
  out.whole = {0.0, 0.0, document.plate_width, document.plate_height};
  const double side = kInsetMm * document.px_per_mm;
  const Plate& first = document.plates[0];
  const Plate& second = document.plates[plate];
  out.at_shoulder = window_at(0.5 * (first.shoulder + second.shoulder), side, document);
  if (first.tip && second.tip) {
    out.at_tip = window_at(0.5 * (*first.tip + *second.tip), side, document);
  } else {
    out.caption += " " + from.say("pair.no_tip");
  }
  return out;
}

}  // namespace

Section pair_section(const Source& from, Document& document) {
  Section out{"pair", from.say("pair.heading"), {}};
  if (!from.result.aligned) return out;
  const AlignedFilms& aligned = *from.result.aligned;
  document.plate_width = aligned.films.front().grey.width;
  document.plate_height = aligned.films.front().grey.height;
  document.px_per_mm = aligned.px_per_mm;
  std::vector<const ComparisonResult*> pairs;
  for (const AlignedFilm& film : aligned.films) {
    pairs.push_back(pair_of(from.result, film.film));
    document.plates.push_back(plate_of(film));
    document.plates.back().title = title_of(from, pairs.back(), from.result.films[film.film]);
  }
  if (pairs.size() < 2) return out;  // the reference film alone
  out.blocks.emplace_back(Paragraph{{from.say("pair.how_to_read")}});
  for (std::size_t i = pairs.size(); i-- > 1;) {
    if (pairs[i] != nullptr) out.blocks.emplace_back(pair_block(from, document, i, *pairs[i]));
  }
  return out;
}

}  // namespace tidemark::report
