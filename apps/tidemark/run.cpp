#include "commands.h"
#include "options.h"
#include "tidemark/followup/write.h"

namespace tidemark::app {

int measure_and_print(const Expected<followup::Series>& series, const CommonOptions& options,
                      const std::function<std::string(const followup::Result&)>& text) {
  if (!series) return report(series.error());
  if (options.out) {
    const auto ready = followup::prepare_output(*options.out, options.input);
    if (!ready) return report(ready.error());
  }
  const followup::Result result = followup::measure(*series, options.measure);
  if (options.out) {
    // result.json is written last: where it is, all is.
    const auto reported =
        report::write_report(result, options.language, options.report, *options.out);
    if (!reported) return report(reported.error());
    const auto written = followup::write_output(result, *options.out);
    if (!written) return report(written.error());
  }
  return print(options.json ? followup::to_json(result) : text(result),
               followup::exit_code(result));
}

}  // namespace tidemark::app
