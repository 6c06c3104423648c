#include "tidemark/report/write.h"

#include "tidemark/core/files.h"

namespace tidemark::report {

std::string file_of(Form form) { return form == Form::kHtml ? "report.html" : "report.pdf"; }

Expected<void> write_report(const followup::Result& result, Language language,
                            const std::vector<Form>& forms, const std::filesystem::path& folder) {
  if (forms.empty()) return {};
  return write_report(document_of(result, language), forms, folder);
}

Expected<void> write_report(const Document& document, const std::vector<Form>& forms,
                            const std::filesystem::path& folder) {
  for (const Form form : forms) {
    const Expected<std::string> bytes =
        form == Form::kHtml ? Expected<std::string>(to_html(document)) : to_pdf(document);
    if (!bytes) return tl::unexpected(bytes.error());
    auto written = write_file_atomically(folder / file_of(form), std::string_view(*bytes));
    if (!written) return written;
  }
  return {};
}

}  // namespace tidemark::report
