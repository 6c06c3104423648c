#include "tidemark/followup/steps.h"

#include "pair.h"
#include "tidemark/followup/measure.h"

namespace tidemark::followup {

Steps default_steps() {
  return {.read = film::read,
          .find_implant = anatomy::find_implant,
          .find_femur = anatomy::find_femur,
          .look_for_lines = lucency::measure,
          .compare_lines = compare_lines,
          .prepare = prepare,
          .compare = compare,
          .compare_together = compare_together};
}

Result measure(const Series& series, const Options& options) {
  return measure_with(series, options, default_steps());
}

}  // namespace tidemark::followup
