#include "options.h"

#include <unistd.h>

#include <algorithm>
#include <cstdint>
#include <iostream>
#include <sstream>

#include "tidemark/core/json_reader.h"
#include "tidemark/registry/database.h"

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

constexpr int kMaxThreads = 256;

Error usage(const std::string& command, const std::string& wrong, const std::string& remedy) {
  return {ErrorKind::kUsage, command, wrong, remedy};
}

std::string see_help(const std::string& command) { return "see: tidemark help " + command; }

/// What to do about an option that is not known: the nearest one is meant.
std::string nearest_option(const std::string& word, const po::options_description& known,
                           const std::string& command) {
  std::vector<std::string> names;
  for (const auto& option : known.options()) names.push_back(option->long_name());
  const std::size_t letters = word.find_first_not_of('-');
  const std::string name = letters == std::string::npos ? word : word.substr(letters);
  const auto near = nearest_key(name, names);
  return near ? "did you mean --" + *near + "?" : see_help(command);
}

/// What to write in place of a value that cannot be read.
std::string value_remedy(const po::validation_error& error, const std::string& value,
                         const po::options_description& known, const std::string& command) {
  const std::string option = error.get_option_name();
  const std::size_t letters = option.find_first_not_of('-');
  if (letters == std::string::npos) return see_help(command);
  const auto* named = known.find_nothrow(option.substr(letters), false);
  if (named == nullptr) return see_help(command);
  const po::value_semantic* semantic = named->semantic().get();
  if (dynamic_cast<const po::typed_value<double>*>(semantic) != nullptr) {
    std::string with_point = value;
    std::replace(with_point.begin(), with_point.end(), ',', '.');
    const bool is_number = value.find_first_not_of("0123456789,") == std::string::npos &&
                           std::count(value.begin(), value.end(), ',') == 1;
    return "write a number with a point, e.g. " + (is_number ? with_point : std::string("32.5"));
  }
  if (dynamic_cast<const po::typed_value<int>*>(semantic) != nullptr ||
      dynamic_cast<const po::typed_value<unsigned>*>(semantic) != nullptr ||
      dynamic_cast<const po::typed_value<std::uint64_t>*>(semantic) != nullptr) {
    return "write a whole number";
  }
  return see_help(command);
}

/// Boost keeps the value that it could not read to itself.
class ValueError : public po::validation_error {
 public:
  explicit ValueError(const po::validation_error& from) : po::validation_error(from) {}
  [[nodiscard]] std::string value() const {
    const auto found = m_substitutions.find("value");
    return found == m_substitutions.end() ? std::string() : found->second;
  }
};

std::optional<Millimetres> millimetres(const po::variables_map& values, const char* name) {
  if (values.count(name) == 0) return {};
  return Millimetres{values[name].as<double>()};
}

}  // namespace

po::options_description common_description() {
  po::options_description options("Options");
  auto add = options.add_options();
  add("out", po::value<std::string>()->value_name("DIR"),
      "write result.json, measurements.csv and the pictures there");
  add("side", po::value<std::string>()->value_name("R|L"),
      "side of the hip (default: as the file says)");
  add("head-diameter", po::value<double>()->value_name("MM"),
      "diameter of the head in mm: gives the scale");
  add("stem-length", po::value<double>()->value_name("MM"),
      "length of the stem in mm, shoulder to tip along its axis: a weaker scale");
  add("json", "print result.json on stdout in place of the text");
  add("no-pictures", "draw no films, neither as files nor in the report");
  add("threads", po::value<int>()->value_name("N"),
      "threads to use (default: one per core); the numbers do not depend on it");
  add("help", "print this help");
  return options;
}

Expected<po::variables_map> parse(const Arguments& arguments, const po::options_description& known,
                                  const std::string& command, const std::string& operand,
                                  Operands operands) {
  po::options_description all;
  all.add(known);
  all.add_options()("operand", po::value<std::vector<std::string>>());
  po::positional_options_description positions;
  positions.add("operand", -1);
  po::variables_map values;
  try {
    // No abbreviations: a script that says --thr must not change its meaning with a new option.
    const int style = po::command_line_style::unix_style & ~po::command_line_style::allow_guessing;
    po::store(
        po::command_line_parser(arguments).options(all).positional(positions).style(style).run(),
        values);
    po::notify(values);
  } catch (const po::unknown_option& e) {
    return tl::unexpected(
        usage(command, e.what(), nearest_option(e.get_option_name(), known, command)));
  } catch (const po::validation_error& e) {
    return tl::unexpected(
        usage(command, e.what(), value_remedy(e, ValueError(e).value(), known, command)));
  } catch (const po::error& e) {
    return tl::unexpected(usage(command, e.what(), see_help(command)));
  }
  if (values.count("help") > 0) return values;
  const std::size_t given =
      values.count("operand") > 0 ? values["operand"].as<std::vector<std::string>>().size() : 0;
  if (operands == Operands::kNone) {
    if (given == 0) return values;
    return tl::unexpected(usage(
        command,
        "there is no use for \"" + values["operand"].as<std::vector<std::string>>().front() + "\"",
        see_help(command)));
  }
  if (given == 0 && operands == Operands::kOneAtMost) return values;
  if (given > 1 && operands == Operands::kOneOrMore) return values;
  if (given != 1) {
    return tl::unexpected(usage(
        command, given == 0 ? operand + " is missing" : "more than one " + operand + " is given",
        see_help(command)));
  }
  return values;
}

std::filesystem::path database_file(const std::string& operand) {
  const std::filesystem::path path = operand;
  std::error_code ignored;
  return std::filesystem::is_directory(path, ignored) ? path / registry::kDatabaseFile : path;
}

Expected<CommonOptions> common_options(const po::variables_map& values, const std::string& command,
                                       const std::string& operand) {
  CommonOptions options;
  if (values.count("help") > 0) {
    options.help = true;
    return options;
  }
  options.input = values["operand"].as<std::vector<std::string>>().front();
  if (options.input.empty()) {
    return tl::unexpected(usage(command, operand + " is empty", see_help(command)));
  }
  if (values.count("out") > 0) options.out = values["out"].as<std::string>();
  if (options.out && options.out->empty()) {
    return tl::unexpected(usage(command, "--out is empty", "name a folder"));
  }
  if (values.count("side") > 0) {
    const auto& side = values["side"].as<std::string>();
    if (side != "R" && side != "L") {
      return tl::unexpected(usage(command, "--side is neither R nor L", "write R or L"));
    }
    options.overrides.side = side == "R" ? Side::kRight : Side::kLeft;
  }
  options.overrides.head_diameter = millimetres(values, "head-diameter");
  options.overrides.stem_length = millimetres(values, "stem-length");
  options.json = values.count("json") > 0;
  if (values.count("threads") > 0) {
    options.measure.threads = values["threads"].as<int>();
    if (options.measure.threads < 1 || options.measure.threads > kMaxThreads) {
      return tl::unexpected(usage(command, "--threads is out of range", "give 1 to 256"));
    }
  }
  if (options.out && values.count("no-pictures") == 0) {
    options.measure.pictures = followup::Pictures::kDraw;
  }
  options.measure.progress = progress_line();
  return options;
}

Expected<std::vector<report::Form>> report_forms(const std::string& list,
                                                 const std::string& command) {
  std::vector<report::Form> forms;
  if (list == "none") return forms;
  std::istringstream words(list);
  for (std::string word; std::getline(words, word, ',');) {
    if (word != "html" && word != "pdf") {
      return tl::unexpected(usage(command, "--report does not know \"" + word + "\"",
                                  "write html, pdf, both with a comma between, or none"));
    }
    const report::Form form = word == "html" ? report::Form::kHtml : report::Form::kPdf;
    if (std::find(forms.begin(), forms.end(), form) == forms.end()) forms.push_back(form);
  }
  return forms;
}

std::function<void(std::size_t, std::size_t)> progress_line() {
  if (isatty(STDERR_FILENO) == 0) return {};
  return [](std::size_t done, std::size_t all) {
    std::cerr << "\r\033[Kmeasuring: step " << done << " of " << all << std::flush;
    if (done >= all) std::cerr << "\r\033[K" << std::flush;
  };
}

}  // namespace tidemark::app
