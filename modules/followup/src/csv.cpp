#include <array>
#include <charconv>
#include <cmath>
#include <cstdint>

#include "tidemark/core/date.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

/// One line of cells, quoted where RFC 4180 asks for it. Absent values are empty cells.
class Row {
 public:
  void text(const std::string& value) {
    const bool quote = value.find_first_of(",\"\r\n") != std::string::npos;
    std::string cell;
    for (const char c : value) cell += c == '"' ? std::string("\"\"") : std::string(1, c);
    // A sheet program would run a cell that starts like a formula.
    if (!cell.empty() && std::string("=+-@").find(cell.front()) != std::string::npos) {
      cell.insert(cell.begin(), '\'');
    }
    add(quote ? "\"" + cell + "\"" : cell);
  }
  void number(double value) {
    std::array<char, 32> digits{};
    const double r = std::round(value * 1e4) / 1e4;
    const auto end = std::to_chars(digits.begin(), digits.end(), r == 0.0 ? 0.0 : r);
    add(std::string(digits.data(), end.ptr));
  }
  void count(std::size_t value) { add(std::to_string(value)); }
  void days(const std::optional<int>& value) { add(value ? std::to_string(*value) : ""); }
  void date(const std::optional<Date>& value) { add(value ? format_date(*value) : ""); }
  void empty(std::size_t cells) {
    for (std::size_t i = 0; i < cells; ++i) add("");
  }
  template <class Q>
  void measured(const Measured<Q>& m, double unit = 1.0) {
    number(m.value.value / unit);
    number(m.u.value / unit);
    number(m.u95.value / unit);
  }
  [[nodiscard]] std::string line() const { return line_ + "\r\n"; }

 private:
  void add(const std::string& cell) {
    if (cells_++ > 0) line_ += ',';
    line_ += cell;
  }
  std::string line_;
  std::size_t cells_ = 0;
};

constexpr std::size_t kMeasuredCells = 18;

void header_of(Row& row, const std::string& unit) {
  for (const char* name : {"hip", "side", "reference_file", "follow_up_file", "reference_date",
                           "follow_up_date", "days", "status", "reason"}) {
    row.text(name);
  }
  for (const std::string& name :
       {"subsidence" + unit, "subsidence_at_head_centre" + unit, "subsidence_at_shoulder" + unit,
        "subsidence_at_tip" + unit, "medial" + unit, std::string("tilt_change_deg")}) {
    const auto cut = name.rfind('_');
    row.text(name);
    row.text(std::string(name).insert(cut, "_u"));
    row.text(std::string(name).insert(cut, "_u95"));
  }
  row.text("flags");
  row.text("tool_version");
}

std::string flag_ids(const Result& result, const ComparisonResult& comparison) {
  std::string ids;
  const auto append = [&ids](const std::vector<Flag>& flags) {
    for (const Flag& flag : flags) ids += (ids.empty() ? "" : " ") + flag.id;
  };
  append(comparison.flags);
  append(result.films[comparison.reference].flags);
  append(result.films[comparison.follow_up].flags);
  append(result.flags);
  return ids;
}

void fill(Row& row, const Result& result, const ComparisonResult& comparison, double unit) {
  const FilmResult& reference = result.films[comparison.reference];
  const FilmResult& follow_up = result.films[comparison.follow_up];
  row.text(result.hip.value_or(""));
  row.text(!result.side ? "" : *result.side == Side::kRight ? "R" : "L");
  row.text(reference.file);
  row.text(follow_up.file);
  row.date(reference.date);
  row.date(follow_up.date);
  row.days(comparison.days);
  row.text(comparison.status == Status::kMeasured ? "measured" : "not_measured");
  row.text(comparison.reason);
  if (const auto& m = comparison.migration) {
    row.measured(m->subsidence, unit);
    row.measured(m->subsidence_at_head_centre, unit);
    row.measured(m->subsidence_at_shoulder, unit);
    row.measured(m->subsidence_at_tip, unit);
    row.measured(m->medial, unit);
    row.measured(m->tilt_change);
  } else {
    row.empty(kMeasuredCells);
  }
  row.text(flag_ids(result, comparison));
  row.text(result.tool_version);
}

}  // namespace

std::string to_csv(const Result& result) {
  const bool pixels = result.length_unit == LengthUnit::kReferencePixels;
  const double unit = pixels && result.reference_scale ? result.reference_scale->value : 1.0;
  Row header;
  header_of(header, pixels ? "_px" : "_mm");
  std::string out = header.line();
  for (const ComparisonResult& comparison : result.comparisons) {
    Row row;
    fill(row, result, comparison, unit);
    out += row.line();
  }
  return out;
}

}  // namespace tidemark::followup
