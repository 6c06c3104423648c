#include "csv_table.h"

#include <algorithm>
#include <set>

namespace tidemark::registry {
namespace {

std::string trimmed(const std::string& text) {
  const auto from = text.find_first_not_of(" \t");
  if (from == std::string::npos) return {};
  return text.substr(from, text.find_last_not_of(" \t") - from + 1);
}

char delimiter_of(std::string_view text) {
  const std::string_view header = text.substr(0, text.find('\n'));
  char best = ',';
  for (const char c : {';', '\t'}) {
    const auto count = [&](char which) { return std::count(header.begin(), header.end(), which); };
    if (count(c) > count(best)) best = c;
  }
  return best;
}

/// Goes through the characters of a CSV text.
class CsvScanner {
 public:
  CsvScanner(std::string_view text, char delimiter) : text_(text), delimiter_(delimiter) {}

  /// The next row with the line it begins on; false at the end.
  bool next(std::vector<std::string>& cells, std::size_t& line) {
    cells.clear();
    if (at_ >= text_.size()) return false;
    line = line_;
    std::string cell;
    bool quoted = false;
    for (; at_ < text_.size(); ++at_) {
      const char c = text_[at_];
      if (c == '\n') ++line_;
      if (quoted && c == '"' && at_ + 1 < text_.size() && text_[at_ + 1] == '"') {
        cell += '"';
        ++at_;
      } else if (c == '"' && (quoted || trimmed(cell).empty())) {
        if (!quoted) cell.clear();
        quoted = !quoted;
      } else if (!quoted && c == delimiter_) {
        cells.push_back(trimmed(cell));
        cell.clear();
      } else if (!quoted && c == '\n') {
        ++at_;
        break;
      } else if (quoted || c != '\r') {
        cell += c;
      }
    }
    open_quote_ = quoted;
    cells.push_back(trimmed(cell));
    return true;
  }
  [[nodiscard]] bool open_quote() const { return open_quote_; }

 private:
  std::string_view text_;
  char delimiter_;
  std::size_t at_ = 0;
  std::size_t line_ = 1;
  bool open_quote_ = false;
};

tl::unexpected<Error> fault(const std::string& name, std::size_t line, const std::string& wrong,
                            const std::string& remedy) {
  return fail(ErrorKind::kBadInput, name, "line " + std::to_string(line) + ": " + wrong, remedy);
}

}  // namespace

Expected<CsvTable> parse_csv(std::string_view text, const std::string& name) {
  if (text.substr(0, 3) == "\xEF\xBB\xBF") text.remove_prefix(3);
  CsvScanner scanner(text, delimiter_of(text));
  CsvTable table;
  std::vector<std::string> cells;
  std::size_t line = 1;
  while (scanner.next(cells, line)) {
    if (scanner.open_quote()) {
      return fault(name, line, "a quote is opened and never closed", "close it");
    }
    if (std::all_of(cells.begin(), cells.end(), [](const auto& cell) { return cell.empty(); })) {
      continue;
    }
    if (table.header.empty()) {
      table.header = cells;
      continue;
    }
    if (cells.size() > table.header.size()) {
      return fault(name, line, "there are more cells than columns",
                   "put cells that hold a comma into quotes");
    }
    cells.resize(table.header.size());
    table.rows.push_back(cells);
    table.lines.push_back(line);
  }
  if (table.header.empty()) {
    return fail(ErrorKind::kBadInput, name, "the table is empty", "see docs/registry.md");
  }
  std::set<std::string> names;
  for (const std::string& column : table.header) {
    if (!column.empty() && !names.insert(column).second) {
      return fault(name, 1, "a column stands twice", "give each column its own name");
    }
  }
  return table;
}

}  // namespace tidemark::registry
