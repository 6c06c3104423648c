#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "tidemark/core/date.h"
#include "tidemark/core/units.h"
#include "tidemark/followup/history.h"

namespace tidemark::followup {

/// What result.json says, as far as two of them are compared.
struct FilmFacts {
  std::string file;
  std::string sha256;      ///< the file's name where the report has none: it was not read
  bool is_hashed = false;  ///< it has one
  std::optional<Date> date;
  std::string status;
  bool is_reference = false;
  std::map<std::string, std::string> lines;  ///< "zone 3, stem_bone" -> "present"
};
struct PairFacts {
  std::string reference_sha256;
  std::string follow_up_sha256;
  std::string status;
  /// By key of result.json, in the order in which they are told.
  std::vector<std::pair<std::string, Measured<double>>> values;
  std::map<std::string, std::string> verdicts;  ///< by criterion
};
struct ReportFacts {
  std::string version;
  std::string options_sha256;
  std::string sheet_sha256;
  std::string criteria_set;
  std::string criteria_sha256;
  std::string length_unit;
  std::string headline;
  std::string pattern;
  std::vector<FilmFacts> films;
  std::vector<PairFacts> pairs;
};

/// @return absent when the text is no result.json of the form 1
[[nodiscard]] std::optional<ReportFacts> facts_of(std::string_view result_json);

/// A film that only one of two reports read, as the other leaves it out or could not read it, is
/// found in the other by its file's name, and bears its SHA-256 in both.
void name_alike(ReportFacts& one, ReportFacts& other);

/// Whether two results say the same, apart from their history and the names of pictures.
[[nodiscard]] bool say_the_same(std::string_view result_json, std::string_view other);

/// The result that the changes of `result_json` are told since: the last one, or where that says
/// the same, the one before it. Absent when there is none. Part of `earlier`.
[[nodiscard]] const std::optional<std::string>& base_of(const Earlier& earlier,
                                                        std::string_view result_json);

}  // namespace tidemark::followup
