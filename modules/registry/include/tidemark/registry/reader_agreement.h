#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/agreement.h"
#include "tidemark/registry/cohort.h"
#include "tidemark/registry/migration_course.h"

namespace tidemark::registry {

/// One film as another reader read it (docs/cohort.md, the reader's sheet).
struct Reading {
  std::string hip;
  std::string date;         ///< YYYY-MM-DD of the film; or
  std::optional<int> days;  ///< counted as the cohort counts them
  std::string reader;       ///< "" when the sheet names none
  std::map<Quantity, double> values;
  std::map<int, ZoneState> zones;
};

/// Reads a reader's sheet: comma-separated, UTF-8, RFC 4180. Columns: hip, date or days, reader (if
/// any), subsidence_mm, medial_mm, tilt_change_deg, zone_1 to zone_14 (present, absent,
/// cannot_tell, not_seen); an empty cell is a film not read.
/// @return kBadInput with the line and what is wrong with it; an unknown column names its nearest;
///         a film that one reader has on two lines names both.
[[nodiscard]] Expected<std::vector<Reading>> read_reader_sheet(const std::filesystem::path& file);

/// A film that both read.
struct PairedReading {
  std::string hip;
  double program = 0.0, reader = 0.0;
};

/// The program against one reader, of one quantity.
struct QuantityAgreement {
  std::string reader;
  Quantity quantity = Quantity::kSubsidence;
  std::vector<PairedReading> pairs;
  LimitsOfAgreement limits;     ///< program less reader, all films
  std::optional<IccForms> icc;  ///< last common film of each hip; absent when it cannot be told
  std::string icc_reason;       ///< why it is absent
};

/// The program against one reader, of radiolucent lines.
struct ZoneAgreement {
  std::string reader;
  std::size_t both_judged = 0;  ///< zones that both call present or absent
  std::size_t both_looked = 0;  ///< with cannot_tell in
  std::size_t hips_judged = 0;  ///< hips with a zone that both judged
  std::size_t hips_looked = 0;  ///< hips with a zone that both looked at
  /// Present or absent only. Zones of one patient are one cluster; of a hip whose patient is not
  /// known, those of the hip.
  std::optional<ClusteredKappa> judged;
  /// Absent, cannot_tell, present in this order, linear weights.
  std::optional<ClusteredKappa> weighted;
  std::string reason;  ///< why a kappa is absent
};

struct ReaderAgreement {
  std::size_t readings = 0;
  std::size_t without_film = 0;  ///< readings of films that the cohort does not have
  std::size_t doubled = 0;  ///< values and zones that a reader gave again for one film: left out
  std::vector<QuantityAgreement> quantities;
  std::vector<ZoneAgreement> zones;
};

/// Compares by hip and date, or hip and day.
[[nodiscard]] ReaderAgreement reader_agreement(const Cohort& cohort,
                                               const std::vector<Reading>& readings);

/// The marks of the review window as readings. They were made with the program's answer in sight:
/// "NAME, program's answer in sight" tells them from independent ones.
[[nodiscard]] std::vector<Reading> marks_of(const Cohort& cohort);

/// The hips of another reader of the database as readings, to compare two of them.
[[nodiscard]] std::vector<Reading> readings_of(const Cohort& other, const std::string& reader);

}  // namespace tidemark::registry
