#include <iostream>
#include <sstream>

#include "commands.h"
#include "options.h"
#include "tidemark/registry/dictionary.h"
#include "tidemark/registry/export.h"
#include "tidemark/registry/merge.h"

// tidemark merge and tidemark export: what is done with the databases of batches.

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

po::options_description merge_description() {
  po::options_description options("Options");
  auto add = options.add_options();
  add("out", po::value<std::string>()->value_name("FILE"), "the database to write");
  add("allow-missing", "merge though parts of --shard are missing or were not finished");
  add("help", "print this help");
  return options;
}

po::options_description export_description() {
  po::options_description options("Options");
  auto add = options.add_options();
  add("out", po::value<std::string>()->value_name("DIR"), "folder for the files");
  add("pseudonym-key", po::value<std::string>()->value_name("FILE"),
      "replace names of hips and patients by pseudonyms from this key, which you keep");
  add("dictionary", "print the data dictionary in place of writing files");
  add("help", "print this help");
  return options;
}

}  // namespace

std::string merge_help() {
  std::ostringstream out;
  out << "Usage: tidemark merge DATABASE ... --out FILE [options]\n\n"
         "Puts the databases of several batches (DATABASE, or the folder of a batch), e.g. of the\n"
         "parts of --shard, into one. Every part must be there and finished.\n\n"
      << merge_description()
      << "\nExit: 0 done; 2 wrong usage; 3 input unusable, e.g. one hip with different results;\n"
         "4 output not writable; 70 a fault of the program.\n";
  return out.str();
}

std::string export_help() {
  std::ostringstream out;
  out << "Usage: tidemark export DATABASE --out DIR [options]\n\n"
         "Writes the tables of a database (DATABASE, or the folder of a batch) as CSV files, with\n"
         "datapackage.json that says what each column means. Equal results give equal files.\n\n"
      << export_description()
      << "\nExit: 0 done; 2 wrong usage; 3 input unusable; 4 output not writable; 70 a fault of\n"
         "the program.\n";
  return out.str();
}

int run_merge(const Arguments& arguments) {
  const auto values =
      parse(arguments, merge_description(), "merge", "DATABASE", Operands::kOneOrMore);
  if (!values) return report(values.error());
  if (values->count("help") > 0) return print(merge_help(), kAllMeasured);
  if (values->count("out") == 0) {
    return report(
        {ErrorKind::kUsage, "merge", "there is nowhere to put the database", "give --out FILE"});
  }
  std::vector<std::filesystem::path> parts;
  for (const auto& part : (*values)["operand"].as<std::vector<std::string>>()) {
    parts.push_back(database_file(part));
  }
  const auto missing = values->count("allow-missing") > 0 ? registry::MissingParts::kAllow
                                                          : registry::MissingParts::kRefuse;
  const auto merged = registry::merge_databases(parts, (*values)["out"].as<std::string>(), missing);
  if (!merged) return report(merged.error());
  std::string said = std::to_string(merged->hips) + " hips from " +
                     std::to_string(merged->databases) + " databases\n";
  for (const std::string& lack : merged->missing) said += "NOT WHOLE: " + lack + "\n";
  return print(said, kAllMeasured);
}

int run_export(const Arguments& arguments) {
  const auto values =
      parse(arguments, export_description(), "export", "DATABASE", Operands::kOneAtMost);
  if (!values) return report(values.error());
  if (values->count("help") > 0) return print(export_help(), kAllMeasured);
  if (values->count("dictionary") > 0) {
    return print(registry::to_markdown(registry::dictionary()), kAllMeasured);
  }
  if (values->count("operand") == 0 || values->count("out") == 0) {
    return report({ErrorKind::kUsage, "export", "a database and --out DIR are needed",
                   "see: tidemark help export"});
  }
  const auto database = registry::Database::open(
      database_file((*values)["operand"].as<std::vector<std::string>>().front()));
  if (!database) return report(database.error());
  std::optional<registry::PseudonymKey> key;
  if (values->count("pseudonym-key") > 0) {
    auto read = registry::read_key((*values)["pseudonym-key"].as<std::string>());
    if (!read) return report(read.error());
    key = std::move(*read);
  }
  const auto files = registry::export_tables(*database, (*values)["out"].as<std::string>(), key);
  if (!files) return report(files.error());
  return print(std::to_string(*files) + " files\n", kAllMeasured);
}

}  // namespace tidemark::app
