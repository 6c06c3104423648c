#include <exception>
#include <iostream>
#include <string>

#include "commands.h"
#include "tidemark/core/freed_memory.h"
#include "tidemark/followup/measure.h"

namespace {

using tidemark::app::Arguments;

int run(int argc, char** argv) {
  namespace app = tidemark::app;
  if (argc < 2) {
    return app::report(
        {tidemark::ErrorKind::kUsage, "usage", "no command is given", "see: tidemark help"});
  }
  const std::string command = argv[1];
  const Arguments arguments(argv + 2, argv + argc);
  if (command == "measure") return app::run_measure(arguments);
  if (command == "film") return app::run_film(arguments);
  if (command == "phantom") return app::run_phantom(arguments);
  if (command == "criteria") return app::run_criteria(arguments);
  if (command == "cohort") return app::run_cohort(arguments);
  if (command == "batch") return app::run_batch(arguments);
  if (command == "batch-worker") return app::run_batch_worker();
  if (command == "merge") return app::run_merge(arguments);
  if (command == "export") return app::run_export(arguments);
  if (command == "help" || command == "--help") return app::run_help(arguments);
  if (command == "--version") {
    return app::print("tidemark " + tidemark::followup::version() + "\n", app::kAllMeasured);
  }
  return app::report(
      {tidemark::ErrorKind::kUsage, command, "there is no such command", "see: tidemark help"});
}

}  // namespace

int main(int argc, char** argv) {
  tidemark::keep_freed_memory();
  try {
    return run(argc, argv);
  } catch (const std::exception& e) {
    std::cerr << "tidemark: fault of the program: " << e.what()
              << "; please report it with the command that led to it\n";
    return tidemark::app::kOurFault;
  }
}
