#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/date.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/lucency/change.h"
#include "tidemark/lucency/lucency.h"
#include "tidemark/lucency/signs.h"
#include "tidemark/migration/migration.h"

namespace tidemark::assessment {

// What was measured on one hip, as far as it is judged. Lengths in mm in the plane of the stem;
// distal, medial and varus positive; nothing here identifies a patient.

/// How the stem is held, as far as it is known.
struct StemHold {
  std::optional<Fixation> fixation;
  std::optional<CementPrinciple> principle;  ///< of a cemented stem
};

/// One place with a line, as a share of the whole zone.
struct LinePlace {
  double share = 0.0;
  Measured<Millimetres> width;
};

/// Parts of a zone along its interface, as shares of the whole zone.
struct ZoneShares {
  double line = 0.0;
  double no_line = 0.0;
  double open = 0.0;    ///< seen, but it cannot be told
  double unseen = 0.0;  ///< outside of the film or covered
  /// What `line` is made of; empty when only the zone's greatest width is known.
  std::vector<LinePlace> places = {};
};

/// What one interface of one zone shows on one film (lucency::ZoneLine without its points).
struct ZoneEvidence {
  int zone = 0;
  lucency::Interface interface = lucency::Interface::kStemBone;
  lucency::State state = lucency::State::kNotSeen;
  double seen = 0.0;                                   ///< share of the zone that could be judged
  std::optional<double> extent;                        ///< share of the seen part with a line
  std::optional<Millimetres> length;                   ///< of the zone along the interface
  std::optional<Measured<Millimetres>> max;            ///< greatest width, when a line is present
  lucency::Answer rim = lucency::Answer::kCannotTell;  ///< bright rim beside the line
  std::optional<ZoneShares> shares;                    ///< sum 1; absent when not divided
  /// The same without what lies within 10 mm of the entry level; sum below 1 in zones 1 and 7.
  std::optional<ZoneShares> past_first_centimetre;
};

/// One film of the series.
struct FilmEvidence {
  std::string name;  ///< its file name
  std::optional<Date> date;
  std::optional<int> days_from_surgery;
  /// From the level of the stem's reference point to that of its tip, along the stem axis.
  std::optional<Millimetres> tip_below_reference;
  std::vector<ZoneEvidence> zones;  ///< empty when lines were not looked for
  std::optional<lucency::FilmSigns> signs;
};

/// One follow-up film against the reference film.
struct ComparisonEvidence {
  std::size_t reference = 0;  ///< index in HipEvidence::films
  std::size_t follow_up = 0;
  std::optional<int> days;                        ///< from the reference film to the follow-up film
  std::optional<migration::Migration> migration;  ///< absent: not measured
  std::string reason;                             ///< one sentence, when not measured
  std::vector<lucency::ZoneChange> zones;
  std::optional<lucency::SignChanges> signs;
  std::vector<Flag> flags;
};

/// Whether the lengths are millimetres. Without a scale they are told in pixels, which no threshold
/// in mm can judge.
enum class Lengths { kMillimetres, kPixels };

/// Who says which film is the reference film.
enum class ReferenceFilm {
  kStated,  ///< the user's sheet: it is the film taken after the operation
  kChosen,  ///< nobody, the first one was taken: how long after the operation is not known
};

/// One hip.
struct HipEvidence {
  StemHold stem;
  Lengths lengths = Lengths::kMillimetres;
  ReferenceFilm reference_film = ReferenceFilm::kChosen;
  std::vector<FilmEvidence> films;
  std::vector<ComparisonEvidence> comparisons;  ///< in the order of time, where dates are known
  std::vector<Flag> flags;                      ///< of the whole series
};

}  // namespace tidemark::assessment
