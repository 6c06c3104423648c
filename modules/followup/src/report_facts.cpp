#include "report_facts.h"

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>

namespace tidemark::followup {
namespace {

using Json = nlohmann::json;

constexpr const char* kSchema = "tidemark/result/1";

/// Values of a comparison that are held against each other, less their unit.
constexpr std::array<const char*, 2> kLengths{"subsidence", "medial"};
constexpr const char* kTiltChange = "tilt_change_deg";

std::string text(const Json& object, const char* key) { return object.value(key, std::string{}); }

Measured<double> measured(const Json& json) {
  return {json.at("value").get<double>(), json.at("u").get<double>(), json.at("u95").get<double>()};
}

FilmFacts film_facts(const Json& json) {
  FilmFacts out{.file = text(json, "file"),
                .sha256 = json.value("sha256", text(json, "file")),
                .is_hashed = json.contains("sha256"),
                .date = parse_date(text(json, "date")),
                .status = text(json, "status"),
                .is_reference = text(json, "role") == "reference",
                .lines = {}};
  for (const Json& zone : json.value("zones", Json::array())) {
    out.lines["zone " + std::to_string(zone.at("zone").get<int>()) + ", " +
              text(zone, "interface")] = text(zone, "state");
  }
  return out;
}

PairFacts pair_facts(const Json& json, const std::vector<FilmFacts>& films,
                     const std::string& length_unit) {
  PairFacts out{.reference_sha256 = films.at(json.at("reference").get<std::size_t>()).sha256,
                .follow_up_sha256 = films.at(json.at("follow_up").get<std::size_t>()).sha256,
                .status = text(json, "status"),
                .values = {},
                .verdicts = {}};
  const std::string suffix = length_unit == "mm" ? "_mm" : "_px";
  for (const char* name : kLengths) {
    if (json.contains(name + suffix)) {
      out.values.emplace_back(name + suffix, measured(json[name + suffix]));
    }
  }
  if (json.contains(kTiltChange)) {
    out.values.emplace_back(kTiltChange, measured(json[kTiltChange]));
  }
  return out;
}

void add_assessment(const Json& json, ReportFacts& out) {
  out.criteria_set = text(json, "criteria_set");
  out.criteria_sha256 = text(json, "criteria_sha256");
  out.pattern = text(json, "pattern");
  if (json.contains("headline")) out.headline = text(json["headline"], "verdict");
  for (const Json& finding : json.value("findings", Json::array())) {
    out.pairs.at(finding.at("comparison").get<std::size_t>()).verdicts[text(finding, "criterion")] =
        text(finding, "verdict");
  }
}

ReportFacts read(const Json& json) {
  ReportFacts out;
  const Json& tool = json.at("tool");
  out.version = text(tool, "version");
  out.options_sha256 = text(tool, "options_sha256");
  out.sheet_sha256 = text(tool, "sheet_sha256");
  out.length_unit = text(json, "length_unit");
  for (const Json& film : json.at("films")) out.films.push_back(film_facts(film));
  for (const Json& pair : json.at("comparisons")) {
    out.pairs.push_back(pair_facts(pair, out.films, out.length_unit));
  }
  if (json.contains("assessment")) add_assessment(json["assessment"], out);
  return out;
}

void rename(ReportFacts& report, const std::string& from, const std::string& to) {
  for (FilmFacts& film : report.films) {
    if (film.sha256 == from) film.sha256 = to;
  }
  for (PairFacts& pair : report.pairs) {
    if (pair.reference_sha256 == from) pair.reference_sha256 = to;
    if (pair.follow_up_sha256 == from) pair.follow_up_sha256 = to;
  }
}

/// Films that `report` has not read get the hash of the file of that name in `read`, unless another
/// of its films has those bytes: then that one is the film.
void take_hashes(ReportFacts& report, const ReportFacts& read) {
  for (const FilmFacts& other : read.films) {
    if (!other.is_hashed) continue;
    const auto& films = report.films;
    const bool known = std::any_of(films.begin(), films.end(), [&](const FilmFacts& film) {
      return film.sha256 == other.sha256;
    });
    const auto unread = std::find_if(films.begin(), films.end(), [&](const FilmFacts& film) {
      return !film.is_hashed && film.file == other.file;
    });
    if (!known && unread != films.end()) rename(report, other.file, other.sha256);
  }
}

/// A result without what need not be the same on two runs.
Json core_of(std::string_view text) {
  Json json = Json::parse(text, nullptr, false);
  if (!json.is_object()) return json;
  json.erase("history");
  for (const char* list : {"films", "comparisons"}) {
    if (!json.contains(list)) continue;
    for (Json& one : json[list]) {
      one.erase("picture");
      one.erase("zones_picture");
    }
  }
  if (json.contains("assessment")) json["assessment"].erase("seat_picture");
  return json;
}

}  // namespace

std::optional<ReportFacts> facts_of(std::string_view result_json) {
  try {
    const Json json = Json::parse(result_json);
    if (text(json, "schema") != kSchema) return {};
    return read(json);
  } catch (const std::exception&) {
    return {};  // another form: nothing can be held against it
  }
}

void name_alike(ReportFacts& one, ReportFacts& other) {
  take_hashes(one, other);
  take_hashes(other, one);
}

bool say_the_same(std::string_view result_json, std::string_view other) {
  const Json one = core_of(result_json);
  return one.is_object() && one == core_of(other);
}

const std::optional<std::string>& base_of(const Earlier& earlier, std::string_view result_json) {
  const bool again = earlier.last_result && say_the_same(*earlier.last_result, result_json);
  return again ? earlier.base_result : earlier.last_result;
}

}  // namespace tidemark::followup
