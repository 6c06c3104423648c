#pragma once

namespace tidemark::lucency {

/// Where a resection level that is not seen is assumed, mm below the shoulder's level: a cut
/// oblique by some 45 degrees meets the shoulder laterally and the medial flank about this much
/// further down (house choice).
inline constexpr double kAssumedEntryMm = 9.0;
/// Standard uncertainty of that, by the films of both simulators on which no level is found
/// (docs/lucency.md).
inline constexpr double kAssumedEntryUMm = 7.0;

}  // namespace tidemark::lucency
