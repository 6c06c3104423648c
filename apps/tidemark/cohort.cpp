#include <filesystem>
#include <sstream>

#include "commands.h"
#include "options.h"
#include "tidemark/followup/measure.h"
#include "tidemark/registry/cohort_study.h"

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

po::options_description description() {
  po::options_description options("Options");
  auto add = options.add_options();
  add("out", po::value<std::string>()->value_name("DIR"), "folder for what is written; needed");
  add("group", po::value<std::string>()->value_name("NAME"),
      "compare hips by the sheet's column group_NAME, or by fixation or side");
  add("reader", po::value<std::string>()->value_name("NAME"),
      "take the hips as this reader corrected them; else those that nobody corrected");
  add("against", po::value<std::string>()->value_name("NAME"),
      "compare with this reader's hips of the same database");
  add("readings", po::value<std::string>()->value_name("FILE"),
      "compare with another reader's sheet (CSV)");
  add("help", "print this help");
  return options;
}

std::optional<std::string> text_of(const po::variables_map& values, const char* name) {
  if (values.count(name) == 0) return std::nullopt;
  return values[name].as<std::string>();
}

/// Another reader's values, from a sheet and from the database.
Expected<std::vector<registry::Reading>> readings(const po::variables_map& values,
                                                  const registry::Database& database) {
  std::vector<registry::Reading> out;
  if (const auto file = text_of(values, "readings")) {
    auto sheet = registry::read_reader_sheet(*file);
    if (!sheet) return tl::unexpected(sheet.error());
    out = std::move(*sheet);
  }
  if (const auto reader = text_of(values, "against")) {
    const auto other = registry::read_cohort(database, {std::nullopt, *reader});
    if (!other) return tl::unexpected(other.error());
    for (auto& reading : registry::readings_of(*other, *reader)) out.push_back(std::move(reading));
  }
  return out;
}

Expected<std::string> run(const po::variables_map& values) {
  const auto out = text_of(values, "out");
  if (!out) {
    return fail(ErrorKind::kUsage, "cohort", "--out DIR is missing", "see: tidemark cohort --help");
  }
  const auto database = registry::Database::open(
      database_file(values["operand"].as<std::vector<std::string>>().front()));
  if (!database) return tl::unexpected(database.error());
  auto cohort = registry::read_cohort(
      *database, {text_of(values, "group"), text_of(values, "reader").value_or("")});
  if (!cohort) return tl::unexpected(cohort.error());
  const auto others = readings(values, *database);
  if (!others) return tl::unexpected(others.error());
  const auto study = registry::study(std::move(*cohort), *others, followup::version());
  const auto written = registry::write_study(study, *out);
  if (!written) return tl::unexpected(written.error());
  const std::filesystem::path folder = *out;
  return std::to_string(study.cohort.hips.size()) + " hips, " +
         std::to_string(study.cohort.groups.size()) +
         " groups\npage: " + (folder / "cohort.html").string() +
         "\ndata: " + (folder / "cohort.json").string() + "\n";
}

}  // namespace

std::string cohort_help() {
  std::ostringstream out;
  out << "Usage: tidemark cohort DB --out DIR [options]\n\n"
         "Statistics of the hips of a registry's database (DB, or the folder of a batch): "
         "migration\n"
         "over time, shares beyond each criterion, radiolucent lines by zone, time to the first\n"
         "film beyond a criterion, precision from double examinations, agreement with another\n"
         "reader. Writes tables (CSV), cohort.json, figures (SVG) and one page into DIR.\n\n"
      << description()
      << "\nExit: 0 done; 2 wrong usage; 3 input unusable; 4 output not writable; 70 a fault of\n"
         "the program.\n";
  return out.str();
}

int run_cohort(const Arguments& arguments) {
  const auto values = parse(arguments, description(), "cohort", "DB");
  if (!values) return report(values.error());
  if (values->count("help") > 0) return print(cohort_help(), kAllMeasured);
  const auto said = run(*values);
  if (!said) return report(said.error());
  return print(*said, kAllMeasured);
}

}  // namespace tidemark::app
