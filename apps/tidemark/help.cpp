#include <iostream>

#include "commands.h"

namespace tidemark::app {
namespace {

constexpr const char* kOverview =
    "Usage: tidemark COMMAND ...\n"
    "\n"
    "Measures on hip films taken over time whether a femoral stem has moved.\n"
    "\n"
    "Commands:\n"
    "  measure FOLDER --out DIR   measure the films of one hip\n"
    "  film FILE                  tell what is found on one film\n"
    "  cohort DB --out DIR        statistics of the hips of a registry's database\n"
    "  batch INPUT --out DIR      measure thousands of hips into one database\n"
    "  merge DB ... --out FILE    put the databases of several batches together\n"
    "  export DB --out DIR        write the tables of a database as CSV\n"
    "  criteria [ID]              list what hips are judged by, explain one criterion\n"
    "  phantom ...                make simulated films of known truth\n"
    "  help [COMMAND]             print help\n"
    "\n"
    "Options:\n"
    "  --help                     print this help\n"
    "  --version                  print the version\n";

}  // namespace

int report(const Error& error) {
  std::cerr << "tidemark: " << error.sentence() << "\n";
  switch (error.kind) {
    case ErrorKind::kUsage:
      return kWrongUsage;
    case ErrorKind::kBadInput:
      return kUnusableInput;
    case ErrorKind::kNotWritable:
      return kNotWritableOutput;
    case ErrorKind::kCannotTell:
    case ErrorKind::kNotConverged:
      break;
  }
  return kSomeNotMeasured;
}

int print(const std::string& text, int code) {
  std::cout << text << std::flush;
  if (std::cout) return code;
  return report({ErrorKind::kNotWritable, "standard output", "it takes no more text",
                 "check where it leads"});
}

int run_help(const Arguments& arguments) {
  if (arguments.empty()) return print(kOverview, kAllMeasured);
  const std::string& command = arguments.front();
  if (arguments.size() == 1 && command == "measure") return print(measure_help(), kAllMeasured);
  if (arguments.size() == 1 && command == "film") return print(film_help(), kAllMeasured);
  if (arguments.size() == 1 && command == "cohort") return print(cohort_help(), kAllMeasured);
  if (arguments.size() == 1 && command == "criteria") return print(criteria_help(), kAllMeasured);
  if (arguments.size() == 1 && command == "batch") return print(batch_help(), kAllMeasured);
  if (arguments.size() == 1 && command == "merge") return print(merge_help(), kAllMeasured);
  if (arguments.size() == 1 && command == "export") return print(export_help(), kAllMeasured);
  if (arguments.size() == 1 && command == "help") return print(kOverview, kAllMeasured);
  if (arguments.size() == 1 && command == "phantom") return print(phantom_help(), kAllMeasured);
  return report({ErrorKind::kUsage, "help", "there is no such command", "see: tidemark help"});
}

}  // namespace tidemark::app
