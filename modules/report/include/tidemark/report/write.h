#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/report/document.h"

namespace tidemark::report {

/// The document as one self-contained HTML page (HTML 5, UTF-8): styles, drawings and films inside,
/// nothing fetched, readable without script. The same document gives the same bytes.
[[nodiscard]] std::string to_html(const Document& document);

/// The document as PDF (A4, text that can be selected, fonts embedded). The same document gives the
/// same bytes with the same fonts installed.
/// @return kNotWritable when the drawing library refuses (no memory).
[[nodiscard]] Expected<std::string> to_pdf(const Document& document);

/// Forms in which a report is written, and the names of their files.
enum class Form { kHtml, kPdf };
[[nodiscard]] std::string file_of(Form form);  ///< "report.html", "report.pdf"

/// Writes a document in each form into `folder`, each file beside its target and renamed when
/// whole. Where the result of an earlier run was set aside (followup::prepare_output), its report
/// in other forms is removed.
/// @return kNotWritable
[[nodiscard]] Expected<void> write_report(const Document& document, const std::vector<Form>& forms,
                                          const std::filesystem::path& folder);

/// The same of the document of a result.
[[nodiscard]] Expected<void> write_report(const followup::Result& result, Language language,
                                          const std::vector<Form>& forms,
                                          const std::filesystem::path& folder);

}  // namespace tidemark::report
