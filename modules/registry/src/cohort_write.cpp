#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>

#include "csv_table.h"
#include "own_folder.h"
#include "tidemark/core/files.h"
#include "tidemark/registry/cohort_study.h"

namespace tidemark::registry {
namespace {

using Json = nlohmann::ordered_json;

/// Six significant digits: more than any of these numbers bears.
double rounded(double value) {
  if (value == 0.0) return 0.0;
  std::array<char, 32> digits{};
  const auto end =
      std::to_chars(digits.begin(), digits.end(), value, std::chars_format::general, 6);
  double out = 0.0;
  std::from_chars(digits.data(), end.ptr, out);
  return out;
}

std::string number_cell(double value) {
  std::array<char, 32> digits{};
  const auto end = std::to_chars(digits.begin(), digits.end(), rounded(value));
  return {digits.data(), end.ptr};
}

std::string cell_text(const Cell& cell) {
  if (const auto* text = std::get_if<std::string>(&cell)) return csv_text(*text);
  if (const auto* number = std::get_if<double>(&cell)) return number_cell(*number);
  if (const auto* whole = std::get_if<std::int64_t>(&cell)) return std::to_string(*whole);
  return "";
}

std::string csv_of(const StudyTable& table) {
  std::string out;
  for (std::size_t i = 0; i < table.columns.size(); ++i) {
    out += (i > 0 ? "," : "") + csv_cell(table.columns[i].name);
  }
  out += "\r\n";
  for (const auto& row : table.rows) {
    for (std::size_t i = 0; i < row.size(); ++i) out += (i > 0 ? "," : "") + cell_text(row[i]);
    out += "\r\n";
  }
  return out;
}

/// A list of objects; what is absent has no key.
Json json_rows(const StudyTable& table) {
  Json rows = Json::array();
  for (const auto& row : table.rows) {
    Json object = Json::object();
    for (std::size_t i = 0; i < row.size(); ++i) {
      const std::string& name = table.columns[i].name;
      if (const auto* text = std::get_if<std::string>(&row[i])) object[name] = *text;
      if (const auto* number = std::get_if<double>(&row[i])) object[name] = rounded(*number);
      if (const auto* whole = std::get_if<std::int64_t>(&row[i])) object[name] = *whole;
    }
    rows.push_back(std::move(object));
  }
  return rows;
}

std::string json_text(const Json& json) {
  return json.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string study_json(const CohortStudy& study, const std::vector<StudyTable>& tables) {
  Json json;
  json["schema"] = "tidemark/cohort/1";
  json["tool"]["version"] = study.tool_version;
  json["group_by"] = study.cohort.group_name;
  json["groups"] = study.cohort.groups;
  json["hips"] = {{"in_study", study.cohort.hips.size()},
                  {"refused", study.cohort.refused},
                  {"failed", study.cohort.failed},
                  {"without_group", study.cohort.without_group},
                  {"lengths_in_pixels", study.cohort.lengths_in_pixels}};
  json["measured_by"] = {{"tool_versions", study.cohort.tool_versions},
                         {"options_sha256", study.cohort.option_sets}};
  json["criteria_sets"] = study.cohort.criteria_sets;
  json["cautions"] = study.cautions;
  for (const StudyTable& table : tables) json["tables"][table.name] = json_rows(table);
  return json_text(json);
}

std::string dictionary_json(const std::vector<StudyTable>& tables) {
  Json json;
  json["schema"] = "tidemark/cohort-dictionary/1";
  for (const StudyTable& table : tables) {
    Json columns = Json::array();
    for (const StudyColumn& column : table.columns) {
      Json entry{{"name", column.name}};
      if (!column.unit.empty()) entry["unit"] = column.unit;
      if (!column.meaning.empty()) entry["meaning"] = column.meaning;
      columns.push_back(std::move(entry));
    }
    json["tables"].push_back(
        {{"file", table.name + ".csv"}, {"meaning", table.meaning}, {"columns", columns}});
  }
  return json_text(json);
}

OwnFiles own_files(const std::filesystem::path& folder, const std::vector<StudyTable>& tables,
                   const std::vector<Figure>& figures) {
  OwnFiles out{folder, "cohort.json", "schema", "tidemark/cohort/", {}};
  out.names = {"cohort.json", "cohort.html", "dictionary.json"};
  for (const StudyTable& table : tables) out.names.push_back(table.name + ".csv");
  for (const Figure& figure : figures) out.names.push_back("figures/" + figure.name + ".svg");
  return out;
}

/// Figures that this run may not have stay out of its folder: an earlier one may have had other
/// groups, criteria or readers.
void remove_earlier_figures(const std::filesystem::path& folder) {
  namespace fs = std::filesystem;
  static constexpr std::array kOurs{"course-",  "criteria.",  "survival-",
                                    "lucency-", "precision-", "agreement-"};
  std::error_code ignored;
  std::vector<fs::path> old;
  for (const auto& item : fs::directory_iterator(folder / "figures", ignored)) {
    const std::string name = item.path().filename().string();
    const auto begins = [&](const char* start) { return name.starts_with(start); };
    if (name.ends_with(".svg") && std::any_of(kOurs.begin(), kOurs.end(), begins)) {
      old.push_back(item.path());
    }
  }
  for (const fs::path& file : old) fs::remove(file, ignored);
  fs::remove(folder / "cohort.html", ignored);  // it shows them
}

Expected<void> prepare(const OwnFiles& own) {
  const auto ready = begin_own(own);
  if (!ready) return tl::unexpected(ready.error());
  if (*ready) remove_earlier_figures(own.folder);
  std::error_code code;
  std::filesystem::create_directories(own.folder / "figures", code);
  if (!code) return {};
  return fail(ErrorKind::kNotWritable, own.folder.string(), "the folder cannot be written",
              "choose another one with --out");
}

}  // namespace

Expected<void> write_study(const CohortStudy& study, const std::filesystem::path& folder) {
  const auto tables = tables_of(study);
  const auto figures = figures_of(study);
  const OwnFiles own = own_files(folder, tables, figures);
  if (auto ready = prepare(own); !ready) return ready;
  for (const StudyTable& table : tables) {
    auto done = write_file_atomically(folder / (table.name + ".csv"), csv_of(table));
    if (!done) return done;
  }
  for (const Figure& figure : figures) {
    auto done = write_file_atomically(folder / "figures" / (figure.name + ".svg"), figure.svg);
    if (!done) return done;
  }
  auto done = write_file_atomically(folder / "dictionary.json", dictionary_json(tables));
  if (done) done = write_file_atomically(folder / "cohort.html", page_of(study, figures));
  if (done) done = write_file_atomically(folder / "cohort.json", study_json(study, tables));
  if (done) done = finish_own(own);
  return done;
}

}  // namespace tidemark::registry
