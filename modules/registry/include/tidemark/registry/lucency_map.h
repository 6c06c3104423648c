#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/registry/cohort.h"
#include "tidemark/registry/estimates.h"

namespace tidemark::registry {

/// Radiolucent lines of one zone at one time: of how many hips, and in how many new.
///
/// A zone that was not seen, or seen but not clear, is neither with nor without a line: it is
/// counted apart, and the share of all hips is a range.
struct ZoneIncidence {
  std::string group;
  std::string interface;
  int zone = 0;
  std::optional<std::size_t>
      visit;  ///< absent: the reference film; of zones 8 to 14 the first lateral one
  std::size_t present = 0, absent = 0, cannot_tell = 0, not_seen = 0;
  std::optional<Share> share;  ///< present of present + absent
  std::optional<double> least,
      most;  ///< share of all hips with a film, if no open one, or every, had a line
  /// Present, absent on the hip's reference film, and new or grown by the pair of films: zones are
  /// found anew on each film, so that a line may cross their border.
  std::size_t newly = 0;
  /// Judged, absent on the hip's reference film, and the pair tells what became of it.
  std::size_t at_start = 0;
  std::size_t not_compared = 0;    ///< likewise, but the pair does not tell
  std::optional<Share> incidence;  ///< newly of at_start; not of the reference film
};

/// All groups, zones and times with a film.
[[nodiscard]] std::vector<ZoneIncidence> lucency_map(const Cohort& cohort);

}  // namespace tidemark::registry
