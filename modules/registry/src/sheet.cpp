#include "sheet.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <functional>
#include <map>

#include "csv_table.h"
#include "tidemark/core/files.h"
#include "tidemark/core/json_reader.h"
#include "tidemark/core/text.h"

namespace tidemark::registry {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kLongestName = 64;
constexpr std::string_view kGroup = "group_";

std::optional<double> number_of(const std::string& cell, Range range) {
  double value = 0.0;
  const auto [end, error] = std::from_chars(cell.data(), cell.data() + cell.size(), value);
  if (error != std::errc() || end != cell.data() + cell.size()) return {};
  if (!(value >= range.low && value <= range.high)) return {};
  return value;
}

/// A name for people and tables: short, printable, no line ends.
bool is_name(const std::string& cell) {
  return cell.size() <= kLongestName && printable(cell) == cell;
}

/// Puts a cell into its row. @return what to write instead, when it cannot be read
using Reader = std::function<const char*(const std::string& cell, SheetRow& row)>;

const char* read_fixation(const std::string& cell, SheetRow& row) {
  const bool cemented = cell.rfind("cemented", 0) == 0;
  if (cell != "uncemented" && cell != "cemented" && cell != "cemented_polished_taper" &&
      cell != "cemented_composite_beam") {
    return "write uncemented, cemented, cemented_polished_taper or cemented_composite_beam";
  }
  row.facts.fixation = cemented ? Fixation::kCemented : Fixation::kUncemented;
  if (cell == "cemented_polished_taper") {
    row.facts.cement_principle = CementPrinciple::kPolishedTaper;
  }
  if (cell == "cemented_composite_beam") {
    row.facts.cement_principle = CementPrinciple::kCompositeBeam;
  }
  return nullptr;
}

const char* read_view(const std::string& cell, SheetRow& row) {
  static const std::map<std::string, View> views{
      {"AP", View::kAp}, {"PA", View::kPa}, {"LAT", View::kLateral}, {"OTHER", View::kOther}};
  const auto view = views.find(cell);
  if (view == views.end()) return "write AP, PA, LAT or OTHER";
  row.film.view = view->second;
  return nullptr;
}

const char* read_role(const std::string& cell, SheetRow& row) {
  if (cell != "reference" && cell != "follow-up") return "write reference or follow-up";
  row.film.role = cell == "reference" ? followup::Role::kReference : followup::Role::kFollowUp;
  return nullptr;
}

const char* read_side(const std::string& cell, SheetRow& row) {
  if (cell != "R" && cell != "L") return "write R or L";
  row.facts.side = cell == "R" ? Side::kRight : Side::kLeft;
  return nullptr;
}

const char* read_examination(const std::string& cell, SheetRow& row) {
  const auto number = number_of(cell, {1, 99});
  if (!number || *number != static_cast<int>(*number)) return "write 1, 2 and so on";
  row.film.examination = static_cast<int>(*number);
  return nullptr;
}

Reader name_into(std::function<void(SheetRow&, const std::string&)> put) {
  return [put = std::move(put)](const std::string& cell, SheetRow& row) -> const char* {
    if (!is_name(cell)) return "write at most 64 printable characters";
    put(row, cell);
    return nullptr;
  };
}

Reader date_into(std::function<void(SheetRow&, Date)> put) {
  return [put = std::move(put)](const std::string& cell, SheetRow& row) -> const char* {
    const auto date = parse_date(cell);
    if (!date) return "write a date as YYYY-MM-DD";
    put(row, *date);
    return nullptr;
  };
}

Reader length_into(Range range, std::function<void(SheetRow&, double)> put) {
  return [range, put = std::move(put)](const std::string& cell, SheetRow& row) -> const char* {
    const auto value = number_of(cell, range);
    if (!value) return "write millimetres with a point, within the range of series.json";
    put(row, *value);
    return nullptr;
  };
}

const std::map<std::string, Reader>& readers() {
  static const std::map<std::string, Reader> all{
      {"hip", name_into([](SheetRow& row, const std::string& cell) { row.facts.hip = cell; })},
      {"reader",
       name_into([](SheetRow& row, const std::string& cell) { row.facts.reader = cell; })},
      {"patient",
       name_into([](SheetRow& row, const std::string& cell) { row.facts.patient = cell; })},
      {"patient_id",
       [](const std::string& cell, SheetRow& row) -> const char* {
         row.patient_id = cell;
         return nullptr;
       }},
      {"folder",
       [](const std::string& cell, SheetRow& row) -> const char* {
         row.folder = cell;
         return nullptr;
       }},
      {"file",
       [](const std::string& cell, SheetRow& row) -> const char* {
         row.film.path = cell;
         return nullptr;
       }},
      {"side", read_side},
      {"fixation", read_fixation},
      {"view", read_view},
      {"role", read_role},
      {"examination", read_examination},
      {"surgery_date", date_into([](SheetRow& row, Date date) { row.facts.surgery_date = date; })},
      {"date", date_into([](SheetRow& row, Date date) { row.film.date = date; })},
      {"head_diameter_mm", length_into(followup::kHeadDiameterMm,
                                       [](SheetRow& row, double value) {
                                         row.facts.head_diameter = Millimetres{value};
                                       })},
      {"stem_length_mm", length_into(followup::kStemLengthMm, [](SheetRow& row, double value) {
         row.facts.stem_length = Millimetres{value};
       })}};
  return all;
}

bool is_group(const std::string& column) {
  return column.size() > kGroup.size() && column.rfind(kGroup, 0) == 0;
}

/// Columns that are not known are not used; one that nearly is known is a slip of the pen.
Expected<std::string> unused_columns(const CsvTable& table, const std::string& name) {
  std::vector<std::string> known;
  for (const auto& [column, reader] : readers()) known.push_back(column);
  std::size_t unused = 0;
  for (const std::string& column : table.header) {
    if (column.empty() || readers().count(column) > 0 || is_group(column)) continue;
    std::string like = column;
    std::transform(like.begin(), like.end(), like.begin(), [](unsigned char c) {
      return c == ' ' || c == '-' ? '_' : static_cast<char>(std::tolower(c));
    });
    if (std::find(known.begin(), known.end(), like) != known.end() || like.rfind("group", 0) == 0) {
      return fail(ErrorKind::kBadInput, name, "the column \"" + printable(column) + "\" is unknown",
                  "write " + (is_group(like) || like.rfind("group", 0) == 0 ? "group_NAME" : like));
    }
    ++unused;
  }
  if (unused == 0) return std::string();
  return name + ": " + std::to_string(unused) +
         " columns are not used (a column group_NAME would be kept)";
}

SheetRow read_row(const CsvTable& table, std::size_t number, const fs::path& films) {
  SheetRow row;
  row.line = table.lines[number];
  for (std::size_t i = 0; i < table.header.size(); ++i) {
    const std::string& column = table.header[i];
    const std::string& cell = table.rows[number][i];
    if (cell.empty()) continue;
    const auto reader = readers().find(column);
    const char* remedy = nullptr;
    if (reader != readers().end()) {
      remedy = reader->second(cell, row);
    } else if (is_group(column)) {
      if (!is_name(cell)) {
        remedy = "write at most 64 printable characters";
      } else {
        row.facts.groups[column.substr(kGroup.size())] = cell;
      }
    }
    if (remedy != nullptr && row.fault.empty()) {
      row.fault = "line " + std::to_string(row.line) + ": " + column + " cannot be read; " + remedy;
    }
  }
  if (!row.folder.empty()) row.folder = films / row.folder;
  if (!row.film.path.empty()) row.film.path = films / row.film.path;
  if (row.fault.empty() && !row.folder.empty() && !row.film.path.empty()) {
    row.fault = "line " + std::to_string(row.line) + ": it has a folder and a file; write one";
  }
  return row;
}

/// An empty name says nothing.
void unite(std::string& into, const std::string& from, bool& contradict) {
  if (from.empty()) return;
  if (!into.empty() && into != from) contradict = true;
  into = from;
}

template <class T>
void unite(std::optional<T>& into, const std::optional<T>& from, bool& contradict) {
  if (!from) return;
  if (into && !(*into == *from)) contradict = true;
  into = from;
}

}  // namespace

Expected<Sheet> read_sheet(const fs::path& file, const fs::path& films) {
  const std::string name = file.filename().string();
  const auto text = read_text(file);
  if (!text) return tl::unexpected(text.error());
  const auto table = parse_csv(*text, name);
  if (!table) return tl::unexpected(table.error());
  const auto unused = unused_columns(*table, name);
  if (!unused) return tl::unexpected(unused.error());
  Sheet sheet;
  if (!unused->empty()) sheet.notes.push_back(*unused);
  for (std::size_t i = 0; i < table->rows.size(); ++i) {
    sheet.rows.push_back(read_row(*table, i, films));
  }
  return sheet;
}

HipJob job_of_rows(const std::vector<const SheetRow*>& rows) {
  HipJob job;
  bool contradict = false;
  std::optional<double> head;
  std::optional<double> length;
  for (const SheetRow* row : rows) {
    unite(job.facts.hip, row->facts.hip, contradict);
    unite(job.facts.reader, row->facts.reader, contradict);
    unite(job.facts.patient, row->facts.patient, contradict);
    unite(job.facts.side, row->facts.side, contradict);
    unite(job.facts.surgery_date, row->facts.surgery_date, contradict);
    unite(job.facts.fixation, row->facts.fixation, contradict);
    unite(job.facts.cement_principle, row->facts.cement_principle, contradict);
    const auto plain = [](const std::optional<Millimetres>& value) {
      return value ? std::optional<double>(value->value) : std::nullopt;
    };
    unite(head, plain(row->facts.head_diameter), contradict);
    unite(length, plain(row->facts.stem_length), contradict);
    for (const auto& [name, value] : row->facts.groups) {
      const auto [known, is_new] = job.facts.groups.emplace(name, value);
      if (!is_new && known->second != value) contradict = true;
    }
    if (job.fault.empty()) job.fault = row->fault;
    if (!row->folder.empty()) {
      if (!job.folder.empty() && job.folder != row->folder) contradict = true;
      job.folder = row->folder;
    }
    if (!row->film.path.empty()) job.films.push_back(row->film);
  }
  if (head) job.facts.head_diameter = Millimetres{*head};
  if (length) job.facts.stem_length = Millimetres{*length};
  if (job.fault.empty() && (contradict || (!job.folder.empty() && !job.films.empty()))) {
    job.fault = "lines of this hip, the first is " + std::to_string(rows.front()->line) +
                ", contradict each other; make its facts the same on each";
  }
  return job;
}

}  // namespace tidemark::registry
