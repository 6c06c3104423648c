#include <filesystem>
#include <sstream>
#include <system_error>

#include "commands.h"
#include "options.h"
#include "tidemark/followup/write.h"

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

po::options_description description() {
  po::options_description options = common_description();
  auto add = options.add_options();
  add("accept-pixels", "measure in pixels of the reference film when nothing gives the scale");
  add("criteria", po::value<std::string>()->value_name("NAME|FILE"),
      "judge by this set of criteria (default: the built-in one for stem.fixation of the sheet)");
  add("signs", po::value<std::string>()->value_name("NAME|FILE"),
      "read signs by this decision table (default: the built-in one for stem.fixation)");
  add("switch", po::value<std::vector<std::string>>()->composing()->value_name("ID=CHOICE"),
      "set a switch of the decision table, where authors disagree; may be repeated");
  add("report", po::value<std::string>()->default_value("html,pdf")->value_name("FORMS"),
      "report for people to write with --out: html, pdf, html,pdf or none");
  add("language", po::value<std::string>()->default_value("en")->value_name("CODE"),
      "language of the report: en or de");
  add("earlier", po::value<std::string>()->value_name("DIR"),
      "folder of an earlier result of this hip (default: that of --out, when it holds one)");
  add("anew", "measure every film anew, whatever an earlier run measured");
  add("dicom-results",
      "also write DIR/dicom: a structured report, presentation states and captures of the pairs, "
      "which carry the patient's identity as the films do");
  return options;
}

/// What the report is to be, into `options`.
Expected<CommonOptions> with_report(CommonOptions options, const po::variables_map& values) {
  const auto language = report::language_of(values["language"].as<std::string>());
  if (!language) {
    return fail(ErrorKind::kUsage, "measure", "--language names none that there is",
                "write en or de");
  }
  auto forms = report_forms(values["report"].as<std::string>(), "measure");
  if (!forms) return tl::unexpected(forms.error());
  options.language = *language;
  if (!options.out) return options;
  options.report = std::move(*forms);
  const bool draw = options.measure.pictures == followup::Pictures::kDraw;
  if (draw && !options.report.empty()) options.measure.aligned = followup::Aligned::kKeep;
  return options;
}

/// The switches on the command line, {id, choice}.
Expected<std::vector<std::pair<std::string, std::string>>> switches_of(
    const po::variables_map& values) {
  std::vector<std::pair<std::string, std::string>> out;
  if (values.count("switch") == 0) return out;
  for (const std::string& word : values["switch"].as<std::vector<std::string>>()) {
    const auto at = word.find('=');
    if (at == std::string::npos) {
      return fail(ErrorKind::kUsage, "measure", "--switch " + word + " has no choice",
                  "write ID=CHOICE; see: tidemark criteria --signs all");
    }
    out.emplace_back(word.substr(0, at), word.substr(at + 1));
  }
  return out;
}

/// The decision table that was asked for with its switches; nothing when none was.
Expected<std::optional<assessment::SignTable>> signs_of(const po::variables_map& values,
                                                        const followup::StemFacts& stem) {
  const auto switches = switches_of(values);
  if (!switches) return tl::unexpected(switches.error());
  std::optional<assessment::SignTable> table;
  if (values.count("signs") > 0) {
    auto found = assessment::find_signs(values["signs"].as<std::string>());
    if (!found) return tl::unexpected(found.error());
    table = std::move(*found);
  }
  if (switches->empty()) return table;
  if (!table) {
    const auto* standard = assessment::default_signs({stem.fixation, stem.cement_principle});
    if (standard == nullptr) {
      return fail(ErrorKind::kUsage, "measure",
                  "--switch has no decision table to set, as nothing says how the stem is held",
                  "give stem.fixation in series.json, or --signs");
    }
    table = *standard;
  }
  auto set = assessment::with_switches(std::move(*table), *switches);
  if (!set) return tl::unexpected(set.error());
  return std::optional(std::move(*set));
}

/// Where earlier runs are looked for, into `options`.
Expected<CommonOptions> with_history(CommonOptions options, const po::variables_map& values) {
  options.history = options.out.has_value();
  options.anew = values.count("anew") > 0;
  if (values.count("earlier") == 0) return options;
  options.earlier = values["earlier"].as<std::string>();
  if (!options.out) {
    return fail(ErrorKind::kUsage, "measure", "--earlier needs an output folder",
                "give --out DIR as well");
  }
  std::error_code error;
  if (!std::filesystem::is_regular_file(std::filesystem::path(*options.earlier) / "result.json",
                                        error)) {
    return fail(ErrorKind::kBadInput, *options.earlier, "there is no result.json in it",
                "name the --out folder of an earlier run");
  }
  return options;
}

}  // namespace

std::string measure_help() {
  std::ostringstream out;
  out << "Usage: tidemark measure FOLDER --out DIR [options]\n\n"
         "Measures how far the stem on the films in FOLDER has moved since the reference film:\n"
         "subsidence, medial shift and change of tilt, each with its 95 % interval, and holds "
         "them\n"
         "against published criteria (see: tidemark criteria).\n"
         "FOLDER holds films (DICOM, PNG, TIFF, JPEG) and, if there is one, series.json.\n"
         "Nothing is written into FOLDER.\n\n"
      << description()
      << "\nExit: 0 all measured; 1 some not measured (named); 2 wrong usage; 3 input unusable;\n"
         "4 output not writable; 70 a fault of the program.\n";
  return out.str();
}

int run_measure(const Arguments& arguments) {
  const auto values = parse(arguments, description(), "measure", "FOLDER");
  if (!values) return report(values.error());
  auto options = common_options(*values, "measure", "FOLDER");
  if (!options) return report(options.error());
  if (options->help) return print(measure_help(), kAllMeasured);
  if (!options->out && !options->json) {
    return report({ErrorKind::kUsage, "measure", "there is nowhere to put the result",
                   "give --out DIR, or --json to print it"});
  }
  if (values->count("accept-pixels") > 0) {
    options->measure.without_scale = followup::WithoutScale::kAcceptPixels;
  }
  if (values->count("criteria") > 0) {
    auto criteria = assessment::find_criteria((*values)["criteria"].as<std::string>());
    if (!criteria) return report(criteria.error());
    options->measure.criteria = std::move(*criteria);
  }
  options = with_report(std::move(*options), *values);
  if (!options) return report(options.error());
  options = with_history(std::move(*options), *values);
  if (!options) return report(options.error());
  options->dicom_results = values->count("dicom-results") > 0;
  if (options->dicom_results && !options->out) {
    return report({ErrorKind::kUsage, "measure", "--dicom-results has no place to go",
                   "give --out DIR as well"});
  }
  const auto series = followup::load_series(options->input, options->overrides);
  auto signs = signs_of(*values, series ? series->stem : followup::StemFacts{});
  // A series that cannot be read says so below; without it no table can be chosen.
  if (!signs && (series || signs.error().kind == ErrorKind::kBadInput)) {
    return report(signs.error());
  }
  if (signs) options->measure.signs = std::move(*signs);
  return measure_and_print(series, *options, followup::to_table);
}

}  // namespace tidemark::app
