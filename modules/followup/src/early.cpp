#include "early.h"

#include <algorithm>

#include "judged.h"

namespace tidemark::followup {
namespace {

/// The film as it is now; what stands beside the stem is looked at later and stays.
FilmResult with_stem_and_bone(const FilmResult& before, const FilmResult& now) {
  FilmResult out = now;
  out.zones = before.zones;
  out.zone_borders = before.zone_borders;
  out.edge_response = before.edge_response;
  out.signs = before.signs;
  return out;
}

}  // namespace

bool stands_for(const Result& before, const WorkingSeries& work,
                const std::vector<ComparisonResult>& pairs) {
  const bool same_films = std::equal(
      before.films.begin(), before.films.end(), work.films.begin(), work.films.end(),
      [](const FilmResult& film, const Working& now) { return film.sha256 == now.out.sha256; });
  return same_films && std::equal(before.comparisons.begin(), before.comparisons.end(),
                                  pairs.begin(), pairs.end(), [](const auto& a, const auto& b) {
                                    return a.reference == b.reference && a.follow_up == b.follow_up;
                                  });
}

Result with_pair(const Result& before, const WorkingSeries& work, const ComparisonResult& pair,
                 const Options& options) {
  Result out = before;
  for (const std::size_t i : {pair.reference, pair.follow_up}) {
    out.films[i] = with_stem_and_bone(before.films[i], work.films[i].out);
  }
  for (ComparisonResult& old : out.comparisons) {
    if (old.follow_up != pair.follow_up) continue;
    const ComparisonResult beside = old;
    old = pair;
    old.zones = beside.zones;
    old.signs = beside.signs;
  }
  const auto& calibration = work.films[pair.reference].out.calibration;
  if (calibration) out.reference_scale = calibration->mm_per_px.value;
  out.side = work.side;
  out.length_unit = work.length_unit;
  out.assessment = judged(work.series.stem, out, options);
  return out;
}

}  // namespace tidemark::followup
