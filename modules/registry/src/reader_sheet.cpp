#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <tuple>

#include "csv_table.h"
#include "tidemark/core/date.h"
#include "tidemark/core/files.h"
#include "tidemark/core/json_reader.h"
#include "tidemark/core/text.h"
#include "tidemark/registry/reader_agreement.h"

namespace tidemark::registry {
namespace {

constexpr std::size_t kMaxSheetBytes = std::size_t{64} << 20U;  // house choice: a million rows

std::vector<std::string> known_columns() {
  std::vector<std::string> out{"hip", "date", "days", "reader"};
  for (const Quantity quantity : kQuantities) out.push_back(name_of(quantity));
  for (int zone = 1; zone <= 14; ++zone) out.push_back("zone_" + std::to_string(zone));
  return out;
}

std::optional<double> number_in(const std::string& cell) {
  double value = 0.0;
  const char* end = cell.data() + cell.size();
  const auto read = std::from_chars(cell.data() + (cell.starts_with('+') ? 1 : 0), end, value);
  if (read.ec != std::errc{} || read.ptr != end || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::optional<ZoneState> state_in(const std::string& cell) {
  if (cell == "present") return ZoneState::kPresent;
  if (cell == "absent") return ZoneState::kAbsent;
  if (cell == "cannot_tell") return ZoneState::kCannotTell;
  if (cell == "not_seen") return ZoneState::kNotSeen;
  return std::nullopt;
}

/// Reads one cell into the reading; a sentence when it cannot.
std::optional<std::string> take(Reading& reading, const std::string& column,
                                const std::string& cell) {
  if (cell.empty()) return std::nullopt;
  if (column == "hip") {
    reading.hip = cell;
  } else if (column == "reader") {
    reading.reader = printable(cell);
  } else if (column == "date") {
    const auto date = parse_date(cell);
    if (!date) return "write the date as YYYY-MM-DD";
    reading.date = format_date(*date);
  } else if (column == "days") {
    const auto days = number_in(cell);
    if (!days || *days != std::floor(*days) || std::abs(*days) > 40000) return "write whole days";
    reading.days = static_cast<int>(*days);
  } else if (column.starts_with("zone_")) {
    const auto state = state_in(cell);
    if (!state) return "write present, absent, cannot_tell or not_seen";
    reading.zones[std::stoi(column.substr(5))] = *state;
  } else {
    const auto value = number_in(cell);
    if (!value) return "write a number with a point";
    for (const Quantity quantity : kQuantities) {
      if (column == name_of(quantity)) reading.values[quantity] = *value;
    }
  }
  return std::nullopt;
}

std::optional<Error> header_fault(const CsvTable& table, const std::string& name) {
  const auto known = known_columns();
  const auto has = [&](const char* column) {
    return std::find(table.header.begin(), table.header.end(), column) != table.header.end();
  };
  for (const std::string& column : table.header) {
    if (std::find(known.begin(), known.end(), column) != known.end()) continue;
    const auto near = nearest_key(column, known);
    return Error{ErrorKind::kBadInput, name, "there is no column \"" + printable(column) + "\"",
                 near ? "did you mean " + *near + "?" : "see docs/cohort.md"};
  }
  if (has("hip") && (has("date") || has("days"))) return std::nullopt;
  return Error{ErrorKind::kBadInput, name, "it lacks the columns hip and date (or days)",
               "see docs/cohort.md"};
}

/// Two lines of one reader on one film would count it twice.
std::optional<Error> doubled_fault(const std::vector<Reading>& readings,
                                   const std::vector<std::size_t>& lines, const std::string& name) {
  std::map<std::tuple<std::string, std::string, std::string>, std::size_t> seen;
  for (std::size_t i = 0; i < readings.size(); ++i) {
    const Reading& reading = readings[i];
    const std::string film =
        reading.date.empty() ? std::to_string(reading.days.value_or(0)) : reading.date;
    const auto [first, is_new] = seen.try_emplace({reading.reader, reading.hip, film}, lines[i]);
    if (is_new) continue;
    return Error{ErrorKind::kBadInput, name,
                 "lines " + std::to_string(first->second) + " and " + std::to_string(lines[i]) +
                     " are of the same film and reader",
                 "keep one of them"};
  }
  return std::nullopt;
}

}  // namespace

Expected<std::vector<Reading>> read_reader_sheet(const std::filesystem::path& file) {
  const auto text = read_text(file, kMaxSheetBytes);
  if (!text) return tl::unexpected(text.error());
  const std::string name = file.filename().string();
  const auto table = parse_csv(*text, name);
  if (!table) return tl::unexpected(table.error());
  if (auto fault = header_fault(*table, name)) return tl::unexpected(*fault);
  std::vector<Reading> out;
  for (std::size_t r = 0; r < table->rows.size(); ++r) {
    const std::string where = "line " + std::to_string(table->lines[r]);
    Reading reading;
    for (std::size_t c = 0; c < table->header.size(); ++c) {
      const std::string& cell = table->rows[r][c];
      if (const auto wrong = take(reading, table->header[c], cell)) {
        return fail(ErrorKind::kBadInput, name,
                    where + ": " + table->header[c] + " is \"" +
                        first_characters(printable(cell), 40) + "\"",
                    *wrong);
      }
    }
    if (reading.hip.empty() || (reading.date.empty() && !reading.days)) {
      return fail(ErrorKind::kBadInput, name, where + " names no hip, or neither date nor days",
                  "fill it in or take the line out");
    }
    out.push_back(std::move(reading));
  }
  if (out.empty()) return fail(ErrorKind::kBadInput, name, "it holds no reading", "");
  if (auto fault = doubled_fault(out, table->lines, name)) return tl::unexpected(*fault);
  return out;
}

}  // namespace tidemark::registry
