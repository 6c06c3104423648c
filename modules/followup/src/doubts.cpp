#include "tidemark/followup/doubts.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "has_flag.h"

namespace tidemark::followup {
namespace {

/// Others say what a film lacks or how it was read, and have their own consequences.
constexpr std::array<std::string_view, 13> kDoubts{"date_contradicts_header",
                                                   "head_in_doubt",
                                                   "head_off_neck",
                                                   "header_dates_differ",
                                                   "implant_uncertain",
                                                   "order_unknown",
                                                   "patient_differs",
                                                   "scale_unchecked",
                                                   "scales_disagree",
                                                   "side_contradicts_header",
                                                   "taken_from_behind",
                                                   "view_contradicts_header",
                                                   "view_turned"};

/// Of a lateral film whose depths the comparisons use.
constexpr std::array<std::string_view, 4> kDoubtsFromSide{
    "back_by_header", "back_by_trochanter", "back_contradicts_header", "head_size_in_doubt"};

template <std::size_t kCount>
bool holds(const std::array<std::string_view, kCount>& ids, const Flag& flag) {
  return std::find(ids.begin(), ids.end(), flag.id) != ids.end();
}

/// Whether a flag of a lateral film speaks against the comparisons: of one that they do not use, no
/// other than that one.
bool is_doubt_from_side(const FilmResult& film, const Flag& flag) {
  if (flag.id == kSideViewNotUsed) return true;
  return uses_side_view(film) && (holds(kDoubts, flag) || holds(kDoubtsFromSide, flag));
}

}  // namespace

bool uses_side_view(const FilmResult& film) {
  return film.side_view && !has_flag(film.flags, kSideViewNotUsed);
}

bool lacks_reference(const Result& result) { return has_flag(result.flags, "no_reference_film"); }

std::vector<FilmDoubt> film_doubts(const Result& result, const ComparisonResult& pair) {
  std::vector<FilmDoubt> out;
  for (const std::size_t film : {pair.reference, pair.follow_up}) {
    for (const Flag& flag : result.films[film].flags) {
      if (holds(kDoubts, flag)) out.push_back({film, flag});
    }
  }
  for (std::size_t film = 0; film < result.films.size(); ++film) {
    if (film == pair.reference || film == pair.follow_up) continue;
    for (const Flag& flag : result.films[film].flags) {
      if (is_doubt_from_side(result.films[film], flag)) out.push_back({film, flag});
    }
  }
  return out;
}

}  // namespace tidemark::followup
