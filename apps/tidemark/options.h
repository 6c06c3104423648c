#pragma once

#include <boost/program_options.hpp>
#include <optional>
#include <string>

#include "commands.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/series.h"

namespace tidemark::app {

/// What `measure` and `film` take alike.
struct CommonOptions {
  std::string input;  ///< folder or file
  std::optional<std::string> out;
  followup::Overrides overrides;
  followup::Options measure;
  bool json = false;
  bool help = false;
};

/// The options both commands have, for parsing and for their help.
[[nodiscard]] boost::program_options::options_description common_description();

/// Parses without abbreviations. `known` are the command's options, `operand` is the name of its
/// one operand in messages ("FOLDER").
/// @return kUsage with one sentence.
[[nodiscard]] Expected<boost::program_options::variables_map> parse(
    const Arguments& arguments, const boost::program_options::options_description& known,
    const std::string& command, const std::string& operand);

/// The values of common_description(), checked.
/// @return kUsage with one sentence.
[[nodiscard]] Expected<CommonOptions> common_options(
    const boost::program_options::variables_map& values, const std::string& command,
    const std::string& operand);

/// Draws a progress line on stderr when that is a terminal; empty otherwise.
[[nodiscard]] std::function<void(std::size_t, std::size_t)> progress_line();

}  // namespace tidemark::app
