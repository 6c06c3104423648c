#include "pair.h"

#include <utility>

namespace tidemark::followup {

Expected<HipFilm> prepare(HipFilm film) { return film; }

Expected<migration::Migration> compare(const HipFilm& reference, const HipFilm& follow_up) {
  return fail(ErrorKind::kCannotTell,
              reference.hip_view.facts.file + " and " + follow_up.hip_view.facts.file,
              "this build does not compare films yet", "use a later version");
}

}  // namespace tidemark::followup
