#pragma once

#include <string>

namespace tidemark {

/// A cell as RFC 4180 writes it: quoted where it must be.
[[nodiscard]] std::string csv_cell(const std::string& text);

/// As csv_cell; a text that a spreadsheet would run as a formula gets an apostrophe in front.
[[nodiscard]] std::string csv_text(const std::string& text);

}  // namespace tidemark
