#include "tidemark/core/csv.h"

#include <string_view>

namespace tidemark {

std::string csv_cell(const std::string& text) {
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + "\"";
}

std::string csv_text(const std::string& text) {
  const bool formula =
      !text.empty() && std::string_view("=+-@\t\r").find(text.front()) != std::string_view::npos;
  return csv_cell(formula ? "'" + text : text);
}

}  // namespace tidemark
