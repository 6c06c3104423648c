#include "table_parts.h"

#include <numeric>

namespace tidemark::report {
namespace {

using Columns = std::vector<std::size_t>;

Table with_columns(const Table& table, const Columns& columns, std::size_t number) {
  Table out{table.id, table.caption, {}, {}};
  if (number > 0) out.id += "-" + std::to_string(number + 1);
  for (const std::size_t i : columns) out.columns.push_back(table.columns[i]);
  for (const auto& row : table.rows) {
    auto& cells = out.rows.emplace_back();
    for (const std::size_t i : columns) cells.push_back(row[i]);
  }
  return out;
}

/// The columns of each part, in the order of the table.
std::vector<Columns> divided(const std::vector<double>& least, double room) {
  const std::size_t n = least.size();
  Columns newest;  // from the last one backwards
  double left = room - least[0] - least[1];
  std::size_t end = n;
  while (end > 2 && (newest.empty() || least[end - 1] <= left)) {
    left -= least[--end];
    newest.insert(newest.begin(), end);
  }
  std::vector<Columns> out{{0, 1}};
  out[0].insert(out[0].end(), newest.begin(), newest.end());
  for (std::size_t i = 2; i < end;) {
    Columns part{0};
    double free = room - least[0];
    while (i < end && (part.size() == 1 || least[i] <= free)) {
      free -= least[i];
      part.push_back(i++);
    }
    out.push_back(std::move(part));
  }
  return out;
}

}  // namespace

std::vector<Table> parts_of(const Table& table, const std::vector<double>& least, double room) {
  const double whole = std::accumulate(least.begin(), least.end(), 0.0);
  if (whole <= room || least.size() < 4) return {table};
  std::vector<Table> out;
  for (const Columns& columns : divided(least, room)) {
    out.push_back(with_columns(table, columns, out.size()));
  }
  return out;
}

}  // namespace tidemark::report
