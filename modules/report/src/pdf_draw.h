#pragma once

#include <string>
#include <vector>

#include "pdf_sheet.h"
#include "tidemark/core/expected.h"

namespace tidemark::report {

/// Draws pages that are laid out as one PDF file.
[[nodiscard]] Expected<std::string> draw_pages(const Document& document,
                                               const std::vector<Page>& pages);

}  // namespace tidemark::report
