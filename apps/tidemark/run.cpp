#include <algorithm>
#include <iostream>

#include "commands.h"
#include "options.h"
#include "tidemark/archive/objects.h"
#include "tidemark/followup/write.h"

namespace tidemark::app {
namespace {

/// Makes and writes the objects for the archive.
/// @return kSomeNotMeasured when none can be made: the measurement is worth keeping nevertheless
int write_dicom_results(const followup::Result& result, const followup::Series& series,
                        const std::string& out) {
  const auto objects = archive::make_objects(result, series);
  if (!objects) return std::min<int>(report(objects.error()), kSomeNotMeasured);
  for (const std::string& note : objects->notes) std::cerr << "tidemark: " << note << "\n";
  const auto written = archive::write_objects(*objects, out);
  return written ? kAllMeasured : report(written.error());
}

}  // namespace

int measure_and_print(const Expected<followup::Series>& series, const CommonOptions& options,
                      const std::function<std::string(const followup::Result&)>& text) {
  if (!series) return report(series.error());
  if (options.out) {
    const auto ready = followup::prepare_output(*options.out, options.input);
    if (!ready) return report(ready.error());
    const auto cleared = archive::remove_objects(*options.out);
    if (!cleared) return report(cleared.error());
  }
  const followup::Result result = followup::measure(*series, options.measure);
  int archived = kAllMeasured;
  if (options.dicom_results) {
    archived = write_dicom_results(result, *series, *options.out);
    if (archived == kNotWritableOutput) return archived;
  }
  if (options.out) {
    // result.json is written last: where it is, all is.
    const auto reported =
        report::write_report(result, options.language, options.report, *options.out);
    if (!reported) return report(reported.error());
    const auto written = followup::write_output(result, *options.out);
    if (!written) return report(written.error());
  }
  return print(options.json ? followup::to_json(result) : text(result),
               std::max(followup::exit_code(result), archived));
}

}  // namespace tidemark::app
