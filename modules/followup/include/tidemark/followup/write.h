#pragma once

#include <filesystem>
#include <string>
#include <utility>

#include "tidemark/core/expected.h"
#include "tidemark/followup/result.h"
#include "tidemark/followup/series.h"

namespace tidemark::followup {

/// Where the result.json of an earlier run waits while a new one is made (docs/history.md).
inline constexpr const char* kLastResultFile = "last-result.json";

/// result.json as text (docs/result-format.md, docs/schemas/result-1.json). Every coordinate is in
/// stored px of its file; every measured quantity is {value, u, u95}; what is unknown is absent.
[[nodiscard]] std::string to_json(const Result& result);

/// measurements.csv: one line per comparison, measured or not, after a header line
/// (docs/result-format.md). RFC 4180, UTF-8, a point as the decimal sign.
[[nodiscard]] std::string to_csv(const Result& result);

/// zones.csv: one line per measured film, zone and interface, after a header line
/// (docs/result-format.md); the form of measurements.csv.
[[nodiscard]] std::string to_zones_csv(const Result& result);

/// The table for people that `tidemark measure` prints, with the caution under it.
[[nodiscard]] std::string to_table(const Result& result);

/// What is known of each film, for people: `tidemark film`.
[[nodiscard]] std::string to_film_text(const Result& result);

/// Whether the results of this series may go into `folder`.
/// @return kUsage when the result.json there names another hip and shares no film with the series
[[nodiscard]] Expected<void> check_output(const std::filesystem::path& folder,
                                          const Series& series);

/// An output folder that no other run writes into, as long as this lives. On a file system without
/// locks it holds nobody up.
class OutputLock {
 public:
  /// @return kNotWritable when another run holds it, or no file can be made in it.
  static Expected<OutputLock> take(const std::filesystem::path& folder);
  OutputLock(OutputLock&& other) noexcept;
  OutputLock& operator=(OutputLock&&) = delete;
  OutputLock(const OutputLock&) = delete;
  OutputLock& operator=(const OutputLock&) = delete;
  ~OutputLock();

 private:
  OutputLock(std::filesystem::path folder, int file) : folder_(std::move(folder)), file_(file) {}
  std::filesystem::path folder_;
  int file_;
};

/// Whether files by our names in a folder that prepare_output() has passed may be of an earlier
/// run.
[[nodiscard]] bool holds_earlier_output(const std::filesystem::path& folder);

/// Makes sure that `folder` exists and takes files, and sets aside a result.json from an earlier
/// run as last-result.json, so that a run that dies leaves none and loses none.
/// @param input  the folder of the films, or one film
/// @return what to hold until write_output() has ended; kNotWritable with what to do, also when
///         another run writes there or files by our names are not ours; kUsage when `folder` is
///         the folder of the films, or lies inside of `input`.
[[nodiscard]] Expected<OutputLock> prepare_output(const std::filesystem::path& folder,
                                                  const std::filesystem::path& input);

/// Writes pictures, measurements.csv, zones.csv and, last, result.json into `folder`. Each file is
/// written beside its target and renamed when whole. Pictures of an earlier run, whose result
/// prepare_output() set aside, go where this one does not write them.
/// @return kNotWritable; result.json is then absent.
[[nodiscard]] Expected<void> write_output(const Result& result,
                                          const std::filesystem::path& folder);

}  // namespace tidemark::followup
