#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "tidemark/lucency/lucency.h"

namespace tidemark::lucency {

/// One interface in one zone, then and now. Widths are compared at the same places of the stem
/// (same distance along its axis, same flank), where both films could be judged.
struct ZoneChange {
  int zone = 0;
  Interface interface = Interface::kStemBone;
  std::optional<Measured<Millimetres>>
      change;  ///< of the width where it grew most; where it did not grow, where it shrank most
  std::optional<Measured<Millimetres>> change_mean;    ///< mean over the places in common
  std::optional<Measured<Millimetres>> change_length;  ///< of the line's length in the zone
  double compared = 0.0;                               ///< share of the zone judged on both films
  Answer progressive = Answer::kCannotTell;
  std::string reason;  ///< one sentence: why it is progressive, or why it cannot be told
};

/// Whether something gave the films' scale, or lengths are those of a nominal head.
enum class ScaleTrust { kMeasured, kNominal };

/// Where the points of a line stand on the stem, one for each, so that two films of one stem agree:
/// distance from the level of its tip along the axis, distal positive; in the tip zone the length
/// along the outline from the stem axis, medial positive. (LinePoint::along counts from the entry
/// level, which belongs to the bone and moves along the stem when the stem subsides.)
[[nodiscard]] std::vector<Millimetres> places_on_stem(const FilmLucency& film,
                                                      const ZoneLine& line);

/// What became of the line at one interface of a zone; null where nothing was compared.
[[nodiscard]] const ZoneChange* change_at(std::span<const ZoneChange> changes, int zone,
                                          Interface interface);

/// Change of the lines between the reference film and a follow-up of the same stem.
///
/// Progressive: the width grew by at least 1 mm, or the line reached a zone that had none, by more
/// than its own u95 in either case (docs/lucency.md; from memory, no one source). No: the change
/// plus its u95 stays below that.
/// @param trust  without a scale no limit in mm decides; a line that is new, or none on either
/// film,
///               is told all the same
[[nodiscard]] std::vector<ZoneChange> compare(const FilmLucency& reference,
                                              const FilmLucency& follow_up,
                                              ScaleTrust trust = ScaleTrust::kMeasured);

}  // namespace tidemark::lucency
