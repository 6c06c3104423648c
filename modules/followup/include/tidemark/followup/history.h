#pragma once

#include <cstddef>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/date.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/units.h"
#include "tidemark/followup/reuse.h"

namespace tidemark::followup {

struct Result;

// What an output folder knows of the last report of the same hip, and what has changed since.
// docs/history.md.

/// What changed. The codes are those of result.json.
enum class ChangeKind {
  kNewFilm,      ///< a film that the last report did not have
  kFilmGone,     ///< one that is no longer there
  kNowMeasured,  ///< a film or comparison that was not measured then
  kNoLongerMeasured,
  kReferenceFilm,  ///< another film is the reference: all comparisons are new
  kLatestValue,    ///< of the latest comparison then and now: two films
  kValue,          ///< of one comparison, which both reports have
  kLine,           ///< what is said of a radiolucent line in one zone of one comparison's film
  kVerdict,        ///< on one criterion, of one comparison
  kHeadline,       ///< the verdict of the whole
  kPattern,        ///< of the course over time
  kCriteria,       ///< the set of criteria
  kSheet,          ///< what series.json says, or whether there is one
  kOptions,        ///< what was stated with the films: side, head diameter, ...
  kProgram,        ///< the version of the program
};
[[nodiscard]] std::string code_of(ChangeKind kind);

/// One thing that changed. Which fields are filled depends on the kind.
struct Change {
  ChangeKind kind = ChangeKind::kNewFilm;
  std::string film;          ///< name of the file; of a comparison that of its follow-up film
  std::optional<Date> date;  ///< of that film
  std::string what;          ///< quantity as in result.json, criterion, or "zone 3, stem_bone"
  std::string unit;          ///< of the values
  std::string before;        ///< code or text; empty where there are values or was nothing
  std::string after;
  std::optional<Measured<double>> value_before;  ///< of kLatestValue: of that film, measured now
  std::optional<Measured<double>> value_after;
  /// Of kLatestValue: what the last report told of its latest film, where that is not value_before.
  std::optional<Measured<double>> value_told;
  std::optional<double> difference;  ///< value_after less value_before
  /// Standard uncertainty of the difference where it is known: of kLatestValue of the subsidence,
  /// with the error of the common reference film left out (assessment::Course).
  std::optional<double> difference_u;
};

/// Which report the changes are since.
struct EarlierReport {
  std::string sha256;  ///< of its result.json
  std::string version;
  std::size_t films = 0;
  std::optional<Date> latest;  ///< date of its latest film
};

/// What a result says of the past.
struct History {
  std::optional<EarlierReport> earlier;
  std::string note;  ///< one sentence: why the last report, or what was measured then, is not used
  std::vector<std::size_t> reused_films;        ///< in Result::films
  std::vector<std::size_t> reused_comparisons;  ///< in Result::comparisons
  std::vector<Change> changes;
};

/// One sentence for a person, in English.
[[nodiscard]] std::string sentence_of(const Change& change);
/// "the last report (2 films, up to 2024-06-03)"
[[nodiscard]] std::string words_of(const EarlierReport& report);

/// What a folder holds of an earlier run. Texts are those of the files.
struct Earlier {
  std::optional<std::string> last_result;  ///< its result.json
  std::optional<std::string> base_result;  ///< the one that result.json tells the changes since
  std::shared_ptr<const StepMemory> memory;
  std::string note;  ///< as History::note
};

/// Reads what an earlier run left in `folder`. Nothing is believed that is not as it was written:
/// steps.bin holds a digest of itself and of the results it belongs to. Steps of another program
/// are not taken over. Whatever is wrong ends in Earlier::note.
/// @param program  names the program to the bit: version, build, libraries
[[nodiscard]] Earlier read_earlier(const std::filesystem::path& folder, const std::string& program);

/// What the result says of the past: what was taken over, what changed since the last report.
///
/// Where the last report says the same of the same films, the changes are since the one before it,
/// so that a report that is made again says the same.
[[nodiscard]] std::optional<History> history_of(const Result& result, const Earlier& earlier);

/// Leaves to the next run in `folder` what it needs: steps.bin, and the result that the changes are
/// since. To be called before write_output(), which writes result.json last.
/// @return kNotWritable
[[nodiscard]] Expected<void> write_history(const Result& result, const Earlier& earlier,
                                           const std::string& program,
                                           const std::filesystem::path& folder);

}  // namespace tidemark::followup
