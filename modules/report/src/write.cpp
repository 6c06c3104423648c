#include "tidemark/report/write.h"

#include <algorithm>
#include <array>
#include <system_error>

#include "tidemark/core/files.h"
#include "tidemark/followup/write.h"

namespace tidemark::report {
namespace {

namespace fs = std::filesystem;

/// Removes the report of an earlier run in the forms that this one does not write: beside the new
/// result.json it would pass for its own. In a folder that held no result a file by such a name is
/// somebody else's.
Expected<void> remove_other_forms(const std::vector<Form>& forms, const fs::path& folder) {
  std::error_code error;
  if (!followup::holds_earlier_output(folder)) return {};
  for (const Form form : std::array{Form::kHtml, Form::kPdf}) {
    const fs::path file = folder / file_of(form);
    std::error_code ignored;
    const bool written = std::find(forms.begin(), forms.end(), form) != forms.end();
    if (written || !fs::is_regular_file(fs::symlink_status(file, ignored))) continue;
    if (!fs::remove(file, error) && error) {
      return fail(ErrorKind::kNotWritable, file.filename().string(),
                  "the report of an earlier run cannot be removed",
                  "choose another folder with --out or change its permissions");
    }
  }
  return {};
}

}  // namespace

std::string file_of(Form form) { return form == Form::kHtml ? "report.html" : "report.pdf"; }

Expected<void> write_report(const followup::Result& result, Language language,
                            const std::vector<Form>& forms, const std::filesystem::path& folder) {
  if (forms.empty()) return remove_other_forms(forms, folder);
  return write_report(document_of(result, language), forms, folder);
}

Expected<void> write_report(const Document& document, const std::vector<Form>& forms,
                            const std::filesystem::path& folder) {
  if (auto removed = remove_other_forms(forms, folder); !removed) return removed;
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
