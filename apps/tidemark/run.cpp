#include <algorithm>
#include <iostream>
#include <optional>

#include "commands.h"
#include "options.h"
#include "program_id.h"
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

/// What earlier runs left, and the options that use it.
followup::Earlier look_back(const CommonOptions& options, followup::Options& measure) {
  if (!options.history) return {};
  measure.remember = followup::Remember::kKeep;
  const std::string folder = options.earlier ? *options.earlier : *options.out;
  auto earlier = followup::read_earlier(folder, program_id());
  if (!options.anew) measure.before = earlier.memory;
  return earlier;
}

/// Measures, and says what changed since an earlier run.
followup::Result measured(const followup::Series& series, const followup::Options& measure,
                          const followup::Earlier& earlier) {
  followup::Result result = followup::measure(series, measure);
  if (measure.remember == followup::Remember::kKeep) {
    result.history = followup::history_of(result, earlier);
  }
  return result;
}

/// How what the films leave open is stated here: results are read in the window and on paper too,
/// so their sentences name no option.
void tell_options(const followup::Result& result) {
  bool side = false;
  bool head = false;
  for (const followup::FilmResult& film : result.films) {
    for (const Flag& flag : film.flags) side |= flag.id == "side_assumed";
    head |= film.reason.find("state the diameter of the head") != std::string::npos;
  }
  if (side) std::cerr << "tidemark: the side is stated with --side L or --side R\n";
  if (head) std::cerr << "tidemark: the diameter of the head is stated with --head-diameter MM\n";
}

/// Writes the reports and the result; result.json last: where it is, all is.
Expected<void> write_all(const followup::Result& result, const followup::Earlier& earlier,
                         const CommonOptions& options) {
  const std::string& out = *options.out;
  auto written = report::write_report(result, options.language, options.report, out);
  if (!written) return written;
  if (options.history) written = followup::write_history(result, earlier, program_id(), out);
  if (!written) return written;
  return followup::write_output(result, out);
}

}  // namespace

int measure_and_print(const Expected<followup::Series>& series, const CommonOptions& options,
                      const std::function<std::string(const followup::Result&)>& text) {
  if (!series) return report(series.error());
  followup::Options measure = options.measure;
  const followup::Earlier earlier = look_back(options, measure);
  std::optional<Expected<followup::OutputLock>> lock;  // held until everything is written
  if (options.out) {
    const auto free = followup::check_output(*options.out, *series);
    if (!free) return report(free.error());
    lock.emplace(followup::prepare_output(*options.out, options.input));
    if (!*lock) return report(lock->error());
    const auto cleared = archive::remove_objects(*options.out);
    if (!cleared) return report(cleared.error());
  }
  const followup::Result result = measured(*series, measure, earlier);
  int archived = kAllMeasured;
  if (options.dicom_results) {
    archived = write_dicom_results(result, *series, *options.out);
    if (archived == kNotWritableOutput) return archived;
  }
  if (options.out) {
    const auto written = write_all(result, earlier, options);
    if (!written) return report(written.error());
  }
  tell_options(result);
  return print(options.json ? followup::to_json(result) : text(result),
               std::max(followup::exit_code(result), archived));
}

}  // namespace tidemark::app
