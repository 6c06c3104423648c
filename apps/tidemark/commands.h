#pragma once

#include <string>
#include <vector>

#include "tidemark/core/expected.h"

namespace tidemark::app {

/// Exit codes (docs/cli.md). 1 comes from followup::exit_code.
enum ExitCode {
  kAllMeasured = 0,
  kSomeNotMeasured = 1,
  kWrongUsage = 2,
  kUnusableInput = 3,
  kNotWritableOutput = 4,
  kOurFault = 70,
};

using Arguments = std::vector<std::string>;  ///< what follows the command's name

/// tidemark measure FOLDER --out DIR
[[nodiscard]] int run_measure(const Arguments& arguments);
/// tidemark film FILE
[[nodiscard]] int run_film(const Arguments& arguments);
/// tidemark phantom --out DIR: simulated hips with their truth
[[nodiscard]] int run_phantom(const Arguments& arguments);
/// tidemark criteria [ID]
[[nodiscard]] int run_criteria(const Arguments& arguments);
/// tidemark cohort DB --out DIR
[[nodiscard]] int run_cohort(const Arguments& arguments);
/// tidemark batch INPUT --out DIR
[[nodiscard]] int run_batch(const Arguments& arguments);
/// tidemark batch-worker: one task of a batch, from standard input to standard output
[[nodiscard]] int run_batch_worker();
/// tidemark merge DATABASE ... --out FILE
[[nodiscard]] int run_merge(const Arguments& arguments);
/// tidemark export DATABASE --out DIR
[[nodiscard]] int run_export(const Arguments& arguments);
/// tidemark help [COMMAND]
[[nodiscard]] int run_help(const Arguments& arguments);

/// Help of one command as printed by `tidemark COMMAND --help`.
[[nodiscard]] std::string measure_help();
[[nodiscard]] std::string film_help();
[[nodiscard]] std::string criteria_help();
[[nodiscard]] std::string cohort_help();
[[nodiscard]] std::string batch_help();
[[nodiscard]] std::string merge_help();
[[nodiscard]] std::string export_help();
[[nodiscard]] std::string phantom_help();

/// Prints "tidemark: subject: wrong; remedy" on stderr and gives the exit code of its kind.
[[nodiscard]] int report(const Error& error);
/// Prints on stdout; kNotWritableOutput (said on stderr) when that fails, else `code`.
[[nodiscard]] int print(const std::string& text, int code);

}  // namespace tidemark::app
