#include "tidemark/followup/doubts.h"

#include <algorithm>
#include <array>
#include <string_view>

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

}  // namespace

bool lacks_reference(const Result& result) {
  return std::any_of(result.flags.begin(), result.flags.end(),
                     [](const Flag& flag) { return flag.id == "no_reference_film"; });
}

std::vector<FilmDoubt> film_doubts(const Result& result, const ComparisonResult& pair) {
  std::vector<FilmDoubt> out;
  for (const std::size_t film : {pair.reference, pair.follow_up}) {
    for (const Flag& flag : result.films[film].flags) {
      if (std::find(kDoubts.begin(), kDoubts.end(), flag.id) != kDoubts.end()) {
        out.push_back({film, flag});
      }
    }
  }
  return out;
}

}  // namespace tidemark::followup
