#include <sstream>

#include "commands.h"
#include "options.h"
#include "tidemark/followup/write.h"

namespace tidemark::app {
std::string film_help() {
  std::ostringstream out;
  out << "Usage: tidemark film FILE [options]\n\n"
         "Prints what is found on one film: scale, head, cup, stem, trochanters and tilt, and "
         "with\n"
         "--out draws it. Without a scale, lengths are in pixels.\n\n"
      << common_description()
      << "\nExit: 0 measured; 1 not measured; 2 wrong usage; 3 input unusable; 4 output not\n"
         "writable; 70 a fault of the program.\n";
  return out.str();
}

int run_film(const Arguments& arguments) {
  const auto values = parse(arguments, common_description(), "film", "FILE");
  if (!values) return report(values.error());
  auto options = common_options(*values, "film", "FILE");
  if (!options) return report(options.error());
  if (options->help) return print(film_help(), kAllMeasured);
  options->measure.without_scale = followup::WithoutScale::kAcceptPixels;
  const auto series = followup::series_of_film(options->input, options->overrides);
  return measure_and_print(series, *options, followup::to_film_text);
}

}  // namespace tidemark::app
