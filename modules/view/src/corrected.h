#pragma once

#include <cstddef>

#include "tidemark/followup/result.h"
#include "tidemark/view/sheet.h"

namespace tidemark::view {

/// The film with its marks where the sheet has them now: numbers follow a correction some time
/// later, and until then the next correction must start from this one. Marks that the sheet has had
/// since before the measurement stay as measured, and so do those given back to the program since.
/// @param measured the sheet that `result` was measured on
[[nodiscard]] followup::FilmResult as_corrected(followup::FilmResult result, std::size_t film,
                                                const Sheet& now, const Sheet& measured);

}  // namespace tidemark::view
