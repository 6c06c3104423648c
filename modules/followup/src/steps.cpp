#include "tidemark/followup/steps.h"

#include <utility>

#include "pair.h"
#include "stem_surface.h"
#include "tidemark/film/field.h"
#include "tidemark/followup/measure.h"

namespace tidemark::followup {
namespace {

Expected<film::FilmImage> read_exposed(const std::filesystem::path& file) {
  auto read = film::read_in_field(file);
  if (!read) return tl::unexpected(read.error());
  return film::within_exposed_field(std::move(read->film), read->field);
}

}  // namespace

Steps default_steps(const std::shared_ptr<alignment::Memory>& registrations) {
  return {.read = read_exposed,
          .find_implant = anatomy::find_implant,
          .find_femur = anatomy::find_femur,
          .look_for_lines = lucency::measure,
          .read_canal = anatomy::read_canal,
          .find_pelvis = anatomy::find_pelvis,
          .compare_lines = compare_lines,
          .prepare = prepare,
          .compare =
              [registrations](const FilmOfPair& reference, const FilmOfPair& follow_up) {
                return compare(reference, follow_up, registrations.get());
              },
          .compare_together = compare_together,
          .read_stem = read_stem,
          .find_pose = find_pose};
}

Result measure(const Series& series, const Options& options) {
  return measure_with(series, options, default_steps());
}

}  // namespace tidemark::followup
