#include "judged.h"

#include <algorithm>
#include <string_view>
#include <utility>

#include "tidemark/followup/doubts.h"

namespace tidemark::followup {
namespace {

/// Says nothing of the motion, and stands beside the zones.
constexpr std::string_view kLinesFlag = "lines_not_validated";

/// The reference film, if the sheet itself names it.
const FilmResult* stated_reference(const Result& result) {
  const auto found = std::find_if(
      result.films.begin(), result.films.end(),
      [](const FilmResult& film) { return film.role == Role::kReference && film.role_stated; });
  return found == result.films.end() ? nullptr : &*found;
}

/// Whether a film of this stem was, or may have been, taken before the reference film.
bool may_be_earlier(const FilmResult& film, const FilmResult& reference) {
  if (&film == &reference || !reference.date || film.stem_shows == StemShows::kNo) return false;
  if (film.date) return *film.date < *reference.date;
  return !film.sha256;  // not read, so that its header could not date it
}

/// Names of the films that speak against the sheet's promise; none where it promises nothing.
std::string earlier_than_promised(const Result& result) {
  std::string out;
  const FilmResult* reference = stated_reference(result);
  if (reference == nullptr) return out;
  for (const FilmResult& film : result.films) {
    if (may_be_earlier(film, *reference)) out += (out.empty() ? "" : ", ") + film.file;
  }
  return out;
}

/// A film that the sheet itself names as the reference film is the one after the operation, unless
/// the series shows an earlier one.
assessment::ReferenceFilm reference_film_of(const Result& result) {
  return stated_reference(result) != nullptr && earlier_than_promised(result).empty()
             ? assessment::ReferenceFilm::kStated
             : assessment::ReferenceFilm::kChosen;
}

assessment::FilmEvidence film_evidence(const FilmResult& film) {
  assessment::FilmEvidence out{
      .name = film.file,
      .date = film.date,
      .days_from_surgery = film.days_from_surgery,
      .tip_below_reference = film.stem ? film.stem->tip_below_reference : std::nullopt,
      .zones = {},
      .signs = film.signs};
  for (const ZoneResult& zone : film.zones) {
    out.zones.push_back({.zone = zone.zone,
                         .interface = zone.interface,
                         .state = zone.state,
                         .seen = zone.seen,
                         .extent = zone.extent,
                         .length = zone.zone_length,
                         .max = zone.max,
                         .rim = zone.rim,
                         .shares = zone.shares,
                         .past_first_centimetre = zone.past_first_centimetre});
  }
  return out;
}

assessment::ComparisonEvidence comparison_evidence(const Result& result,
                                                   const ComparisonResult& pair) {
  std::vector<Flag> flags = pair.flags;
  for (const FilmDoubt& doubt : film_doubts(result, pair)) {
    flags.push_back({doubt.flag.id, result.films[doubt.film].file + ": " + doubt.flag.text});
  }
  return {.reference = pair.reference,
          .follow_up = pair.follow_up,
          .days = pair.days,
          .migration = pair.migration,
          .reason = pair.reason,
          .zones = pair.zones,
          .signs = pair.signs,
          .flags = std::move(flags)};
}

}  // namespace

void flag_broken_promise(Result& result) {
  const auto& films = result.films;
  if (std::any_of(films.begin(), films.end(),
                  [](const FilmResult& film) { return film.days_from_surgery.has_value(); })) {
    return;  // counted from the operation itself
  }
  const std::string earlier = earlier_than_promised(result);
  if (earlier.empty()) return;
  result.flags.push_back(
      {"reference_not_earliest",
       "Earlier than the reference film that the sheet names, or perhaps so: " + earlier +
           ". Without a date of surgery the reference film does not count as the one after the "
           "operation, and nothing is called within a limit; state surgery_date."});
}

assessment::HipEvidence evidence_of(const StemFacts& stem, const Result& result) {
  assessment::HipEvidence out{.stem = {stem.fixation, stem.cement_principle},
                              .lengths = result.length_unit == LengthUnit::kMillimetres
                                             ? assessment::Lengths::kMillimetres
                                             : assessment::Lengths::kPixels,
                              .reference_film = reference_film_of(result),
                              .films = {},
                              .comparisons = {},
                              .flags = result.flags};
  std::erase_if(out.flags, [](const Flag& flag) { return flag.id == kLinesFlag; });
  for (const FilmResult& film : result.films) out.films.push_back(film_evidence(film));
  for (const ComparisonResult& pair : result.comparisons) {
    out.comparisons.push_back(comparison_evidence(result, pair));
  }
  return out;
}

assessment::Assessment judged(const StemFacts& stem, const Result& result, const Options& options) {
  const assessment::HipEvidence hip = evidence_of(stem, result);
  return assessment::assess(
      hip, options.criteria ? *options.criteria : assessment::default_criteria(hip.stem),
      options.signs ? &*options.signs : assessment::default_signs(hip.stem));
}

}  // namespace tidemark::followup
