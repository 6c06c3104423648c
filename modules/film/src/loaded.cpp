#include "loaded.h"

#include "limits.h"
#include "words.h"

namespace tidemark::film {

Expected<void> check_size(std::int64_t columns, std::int64_t rows, const std::string& name) {
  const std::string size = grouped(static_cast<std::uint64_t>(columns)) + " x " +
                           grouped(static_cast<std::uint64_t>(rows)) + " pixels";
  if (columns < kMinFilmSide || rows < kMinFilmSide) {
    return fail(ErrorKind::kBadInput, name, "only " + size, "give the whole film");
  }
  if (columns > kMaxFilmPixels / rows) {
    return fail(ErrorKind::kBadInput, name,
                "the header claims " + size + ", more than any film has", kExportAgain);
  }
  return {};
}

}  // namespace tidemark::film
