#pragma once

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>

#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "grey.h"
#include "tidemark/film/film.h"

namespace tidemark::film {

/// Value number `index` as cleaned text (see plain()); absent when empty or not there.
[[nodiscard]] std::optional<std::string> text_of(DcmItem& item, const DcmTagKey& tag,
                                                 unsigned long index = 0);

/// Photometric Interpretation (0028,0004) in capitals; empty when not said.
[[nodiscard]] std::string photometric_of(DcmItem& dataset);

/// The bytes of a value as they stand, without spaces at the ends: two ids that differ in a letter
/// beyond ASCII stay two. Identifies a person: never to be shown.
[[nodiscard]] std::optional<std::string> raw_text_of(DcmItem& item, const DcmTagKey& tag);

/// Stands in FilmFacts::patient_key before the issuer's part, if there is one.
inline constexpr char kBeforeIssuer = '/';

/// A whole number stored as US, SS or IS.
[[nodiscard]] std::optional<std::int64_t> integer_of(DcmItem& item, const DcmTagKey& tag,
                                                     unsigned long index = 0);

/// A finite decimal number (DS, FL, FD); absent for text, NaN or infinity.
[[nodiscard]] std::optional<double> decimal_of(DcmItem& item, const DcmTagKey& tag,
                                               unsigned long index = 0);

/// Everything FilmFacts holds that comes from a DICOM header; oddities go to its notes.
[[nodiscard]] FilmFacts facts_of(DcmItem& dataset);

/// Red, green and blue of each stored value (PS3.3 C.7.6.3.1.5).
using Palette = std::array<LookUpTable, 3>;

/// The palette of a film stored with one; absent when a table of it is missing, segmented or
/// damaged.
[[nodiscard]] std::optional<Palette> palette_of(DcmItem& dataset);

/// What the header says about grey values. bits_stored and high_bit are as read, unchecked.
[[nodiscard]] GreyRule grey_rule_of(DcmItem& dataset, FilmFacts& facts);

}  // namespace tidemark::film
