#pragma once

#include <vector>

#include "pdf_sheet.h"

namespace tidemark::report {

/// What stands where on the pages of a document, before any of it is drawn.
[[nodiscard]] std::vector<Page> laid_out(const Document& document);

}  // namespace tidemark::report
