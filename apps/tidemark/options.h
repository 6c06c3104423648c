#pragma once

#include <boost/program_options.hpp>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "commands.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/series.h"
#include "tidemark/report/write.h"

namespace tidemark::app {

/// What `measure` and `film` take alike.
struct CommonOptions {
  std::string input;  ///< folder or file
  std::optional<std::string> out;
  followup::Overrides overrides;
  followup::Options measure;
  std::vector<report::Form> report;  ///< written into `out`
  report::Language language = report::Language::kEnglish;
  bool json = false;
  /// What earlier runs left is used, and what the next one needs is left: in `out`, or here.
  bool history = false;
  std::optional<std::string> earlier;  ///< folder of an earlier result, in place of `out`
  bool anew = false;                   ///< nothing is taken over from before
  bool dicom_results = false;          ///< objects for the archive, into DIR/dicom
  bool help = false;
};

/// The options both commands have, for parsing and for their help.
[[nodiscard]] boost::program_options::options_description common_description();

/// How many operands a command takes.
enum class Operands { kOne, kOneAtMost, kOneOrMore, kNone };

/// Parses without abbreviations. `known` are the command's options, `operand` is the name of its
/// one operand in messages ("FOLDER"). An option that is not known is answered with the nearest
/// one.
/// @return kUsage with one sentence.
[[nodiscard]] Expected<boost::program_options::variables_map> parse(
    const Arguments& arguments, const boost::program_options::options_description& known,
    const std::string& command, const std::string& operand, Operands operands = Operands::kOne);

/// The database that an operand names: the file itself, or that of a batch's folder.
[[nodiscard]] std::filesystem::path database_file(const std::string& operand);

/// The values of common_description(), checked.
/// @return kUsage with one sentence.
[[nodiscard]] Expected<CommonOptions> common_options(
    const boost::program_options::variables_map& values, const std::string& command,
    const std::string& operand);

/// The forms named in a list like "html,pdf"; none for "none".
/// @return kUsage with one sentence.
[[nodiscard]] Expected<std::vector<report::Form>> report_forms(const std::string& list,
                                                               const std::string& command);

/// What both commands do once the series is known: prepares the folder, measures, writes, and
/// prints the result as `text` or as JSON.
/// @return the exit code; an error, that of the series included, has been said on stderr.
[[nodiscard]] int measure_and_print(
    const Expected<followup::Series>& series, const CommonOptions& options,
    const std::function<std::string(const followup::Result&)>& text);

/// Draws a progress line on stderr when that is a terminal; empty otherwise.
[[nodiscard]] std::function<void(std::size_t, std::size_t)> progress_line();

}  // namespace tidemark::app
