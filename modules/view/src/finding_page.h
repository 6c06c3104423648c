#pragma once

#include <QString>
#include <cstddef>
#include <optional>

#include "tidemark/followup/result.h"
#include "tidemark/report/document.h"

namespace tidemark::view {

/// The page "Finding": the verdict, the numbers of the chosen film, what stands against the
/// verdict, the chosen film limit by limit, what was not measured. What can be explained is a link
/// (help_text.h). HTML.
/// @param chosen index in Result::films
[[nodiscard]] QString finding_html(const followup::Result& result, const report::Document& document,
                                   std::optional<std::size_t> chosen);

/// The paragraphs and lists of a section of the report, HTML; empty: there is none.
[[nodiscard]] QString words_of(const report::Section* section);

}  // namespace tidemark::view
