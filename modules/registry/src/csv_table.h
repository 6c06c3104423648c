#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "tidemark/core/csv.h"
#include "tidemark/core/expected.h"

namespace tidemark::registry {

/// A table of texts as a CSV file holds it.
struct CsvTable {
  std::vector<std::string> header;
  std::vector<std::vector<std::string>> rows;  ///< each as long as the header
  std::vector<std::size_t> lines;              ///< of the file, where each row begins, from 1
};

/// Reads RFC 4180: quotes, CRLF or LF; also a byte order mark, and semicolons or tabs where the
/// header has more of them than commas, as spreadsheets write. Cells lose spaces at their ends;
/// empty lines are passed over.
/// @return kBadInput: no header, a quote that is not closed, a row with more cells than the header,
///         a doubled column.
[[nodiscard]] Expected<CsvTable> parse_csv(std::string_view text, const std::string& name);

}  // namespace tidemark::registry
