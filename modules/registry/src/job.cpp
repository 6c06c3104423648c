#include "tidemark/registry/job.h"

#include <array>
#include <cstdio>
#include <regex>

#include "bytes_text.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"

namespace tidemark::registry {
namespace {

using nlohmann::json;

std::string alias_of(std::size_t film) {
  std::string digits = std::to_string(film);
  if (digits.size() < 2) digits.insert(0, "0");
  return "film-" + digits;
}

std::string code_of(Side side) { return side == Side::kRight ? "R" : "L"; }
std::string code_of(Fixation fixation) {
  return fixation == Fixation::kCemented ? "cemented" : "uncemented";
}
std::string code_of(CementPrinciple principle) {
  return principle == CementPrinciple::kPolishedTaper ? "polished_taper" : "composite_beam";
}

json facts_json(const HipFacts& facts) {
  json out{{"hip", facts.hip}, {"reader", facts.reader}, {"groups", facts.groups}};
  if (facts.patient) out["patient"] = *facts.patient;
  if (facts.side) out["side"] = code_of(*facts.side);
  if (facts.surgery_date) out["surgery_date"] = format_date(*facts.surgery_date);
  if (facts.fixation) out["fixation"] = code_of(*facts.fixation);
  if (facts.cement_principle) out["cement_principle"] = code_of(*facts.cement_principle);
  if (facts.head_diameter) out["head_diameter_mm"] = facts.head_diameter->value;
  if (facts.stem_length) out["stem_length_mm"] = facts.stem_length->value;
  return out;
}

json film_json(const FilmSource& film) {
  json out = json::object();
  if (film.date) out["date"] = format_date(*film.date);
  if (film.role) out["role"] = *film.role == followup::Role::kReference ? "reference" : "follow-up";
  if (film.view) out["view"] = static_cast<int>(*film.view);
  if (film.examination) out["examination"] = *film.examination;
  return out;
}

FilmSource film_of(const json& in) {
  FilmSource film;
  film.path = bytes_of_text(in.at("path").get<std::string>());
  if (in.contains("date")) film.date = parse_date(in["date"].get<std::string>());
  if (in.contains("role")) {
    film.role = in["role"] == "reference" ? followup::Role::kReference : followup::Role::kFollowUp;
  }
  if (in.contains("view")) film.view = static_cast<View>(in["view"].get<int>());
  if (in.contains("examination")) film.examination = in["examination"].get<int>();
  return film;
}

HipFacts facts_of(const json& in) {
  HipFacts facts;
  facts.hip = in.at("hip").get<std::string>();
  facts.reader = in.at("reader").get<std::string>();
  facts.groups = in.at("groups").get<std::map<std::string, std::string>>();
  if (in.contains("patient")) facts.patient = in["patient"].get<std::string>();
  if (in.contains("side")) facts.side = in["side"] == "R" ? Side::kRight : Side::kLeft;
  if (in.contains("surgery_date")) {
    facts.surgery_date = parse_date(in["surgery_date"].get<std::string>());
  }
  if (in.contains("fixation")) {
    facts.fixation = in["fixation"] == "cemented" ? Fixation::kCemented : Fixation::kUncemented;
  }
  if (in.contains("cement_principle")) {
    facts.cement_principle = in["cement_principle"] == "polished_taper"
                                 ? CementPrinciple::kPolishedTaper
                                 : CementPrinciple::kCompositeBeam;
  }
  if (in.contains("head_diameter_mm")) {
    facts.head_diameter = Millimetres{in["head_diameter_mm"].get<double>()};
  }
  if (in.contains("stem_length_mm")) {
    facts.stem_length = Millimetres{in["stem_length_mm"].get<double>()};
  }
  return facts;
}

/// What is wrong with a sheet, by its place alone: what stands there may be a patient's name or
/// number, in the name of a film above all. The quotes are those of JsonReader.
std::string without_values(const std::string& wrong) {
  static const std::regex texts(R"re(".*")re");  // the first quote to the last: texts hold quotes
  static const std::regex numbers(R"re( is -?[0-9][^,]*)re");
  static const std::regex too_large(R"re( \([-+.eE0-9]*\))re");
  std::string out = std::regex_replace(wrong, texts, "\"...\"");
  out = std::regex_replace(out, numbers, " is \"...\"");
  return std::regex_replace(out, too_large, "");
}

/// The folder's series. Its errors may name the folder, which may be a patient's name.
Expected<followup::Series> folder_series(const HipJob& job) {
  auto series = followup::load_series(
      job.folder, {job.facts.side, job.facts.head_diameter, job.facts.stem_length});
  if (series) return series;
  Error error = series.error();
  if (error.subject != "series.json") error.subject = "folder";
  error.wrong = without_values(error.wrong);
  return tl::unexpected(error);
}

followup::Series listed_series(const HipJob& job) {
  followup::Series series;
  series.side = job.facts.side;
  series.stem.head_diameter = job.facts.head_diameter;
  series.stem.length = job.facts.stem_length;
  for (const FilmSource& source : job.films) {
    followup::FilmEntry entry;
    entry.path = source.path;
    entry.date = source.date;
    entry.role = source.role;
    entry.view = source.view;
    series.films.push_back(std::move(entry));
  }
  return series;
}

}  // namespace

Expected<followup::Series> series_of(const HipJob& job) {
  if (!job.fault.empty()) return fail(ErrorKind::kBadInput, "sheet", job.fault);
  if (job.folder.empty() && job.films.empty()) {
    return fail(ErrorKind::kBadInput, "sheet", "there is no film of this hip", "add its films");
  }
  auto series = job.folder.empty() ? listed_series(job) : folder_series(job);
  if (!series) return series;
  series->hip = job.facts.hip;
  if (job.facts.surgery_date) series->surgery_date = job.facts.surgery_date;
  if (job.facts.fixation) {
    series->stem.fixation = job.facts.fixation;
    series->stem.cement_principle = job.facts.cement_principle;
  }
  for (std::size_t i = 0; i < series->films.size(); ++i) series->films[i].file = alias_of(i);
  for (std::size_t i = 0; i < series->not_listed.size(); ++i) {
    series->not_listed[i] = alias_of(series->films.size() + i);
  }
  if (series->stem.surface) series->stem.surface = "stem surface";
  return series;
}

json to_json(const HipJob& job) {
  json out{{"facts", facts_json(job.facts)},
           {"folder", text_of_bytes(job.folder.string())},
           {"films", json::array()},
           {"set_early_aside", job.early_films == EarlyFilms::kSetAside},
           {"fault", job.fault}};
  for (const FilmSource& film : job.films) {
    json one = film_json(film);
    one["path"] = text_of_bytes(film.path.string());
    out["films"].push_back(std::move(one));
  }
  return out;
}

HipJob job_of(const json& in) {
  HipJob job;
  job.facts = facts_of(in.at("facts"));
  job.folder = bytes_of_text(in.at("folder").get<std::string>());
  for (const json& film : in.at("films")) job.films.push_back(film_of(film));
  if (in.at("set_early_aside").get<bool>()) job.early_films = EarlyFilms::kSetAside;
  job.fault = in.at("fault").get<std::string>();
  return job;
}

std::string content_hash(const std::filesystem::path& file) {
  const auto bytes = read_file(file);
  return bytes ? sha256_hex(*bytes) : "unreadable";
}

std::string input_hash(const HipJob& job, const JobContents& contents) {
  json all{{"facts", facts_json(job.facts)},
           {"sheet", contents.sheet.value_or("")},
           {"stated", json::array()},
           {"films", contents.films},
           {"set_early_aside", job.early_films == EarlyFilms::kSetAside},
           {"fault", job.fault}};
  // Only where there is one: the hashes of all other hips stay what they were in older databases.
  if (contents.surface) all["surface"] = *contents.surface;
  if (contents.not_listed > 0) all["not_listed"] = contents.not_listed;
  if (!contents.error.empty()) all["error"] = contents.error;
  for (const FilmSource& film : job.films) all["stated"].push_back(film_json(film));
  const std::string text = "tidemark/input/1\n" + all.dump();
  return sha256_hex(text);
}

}  // namespace tidemark::registry
