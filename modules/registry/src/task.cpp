#include "task.h"

#include <nlohmann/json.hpp>

#include "bytes_text.h"
#include "tidemark/assessment/criteria.h"
#include "tidemark/film/header.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/write.h"
#include "tidemark/registry/worker.h"

namespace tidemark::registry {
namespace {

using nlohmann::json;

json error_json(const Error& error) {
  return {{"kind", static_cast<int>(error.kind)},
          {"subject", error.subject},
          {"wrong", error.wrong},
          {"remedy", error.remedy}};
}

Error error_from(const json& in) {
  return {static_cast<ErrorKind>(in.at("kind").get<int>()), in.at("subject").get<std::string>(),
          in.at("wrong").get<std::string>(), in.at("remedy").get<std::string>()};
}

Expected<followup::Options> measure_options(const json& in) {
  followup::Options options;
  options.threads = 1;
  if (in.at("accept_pixels").get<bool>()) {
    options.without_scale = followup::WithoutScale::kAcceptPixels;
  }
  if (in.contains("criteria")) {
    auto criteria = assessment::find_criteria(in["criteria"].get<std::string>());
    if (!criteria) return tl::unexpected(criteria.error());
    options.criteria = std::move(*criteria);
  }
  return options;
}

/// Films before the first one that shows a stem, when a later one does and the sheet names no
/// reference. Without the date of surgery that is all there is to tell them by.
std::size_t early_films(const followup::Series& series, const followup::Result& result) {
  for (const auto& film : series.films) {
    if (film.role) return 0;
  }
  std::size_t first = 0;
  while (first < result.films.size() && !result.films[first].stem &&
         !result.films[first].unreadable && result.films[first].date) {
    ++first;
  }
  const bool later = first < result.films.size() && result.films[first].stem.has_value();
  return later ? first : 0;
}

struct Measured {
  followup::Result result;
  std::vector<EarlyFilm> early;
  std::vector<std::size_t> kept;
};

Measured measured(followup::Series& series, const HipJob& job, const followup::Options& options) {
  Measured out{followup::measure(series, options), {}, {}};
  for (std::size_t i = 0; i < series.films.size(); ++i) out.kept.push_back(i);
  if (job.early_films == EarlyFilms::kKeep || series.surgery_date) return out;
  const std::size_t early = early_films(series, out.result);
  if (early == 0) return out;
  for (std::size_t i = 0; i < early; ++i) {
    const auto& film = out.result.films[i];
    std::optional<std::string> date;
    if (film.date) date = format_date(*film.date);
    out.early.push_back({film.sha256.value_or(""), date,
                         "no stem is seen on it, and a later film shows one: taken to be from "
                         "before the surgery"});
  }
  const auto count = static_cast<std::ptrdiff_t>(early);
  series.films.erase(series.films.begin(), series.films.begin() + count);
  out.kept.erase(out.kept.begin(), out.kept.begin() + count);
  out.result = followup::measure(series, options);
  return out;
}

json early_json(const std::vector<EarlyFilm>& films) {
  json out = json::array();
  for (const EarlyFilm& film : films) {
    out.push_back({{"sha256", film.sha256}, {"reason", film.reason}});
    if (film.date) out.back()["date"] = *film.date;
  }
  return out;
}

json measure_hip(const json& task, const WriteHip& write_hip) {
  const HipJob job = job_of(task.at("job"));
  auto series = series_of(job);
  if (!series) return {{"error", error_json(series.error())}};
  json out{{"films", json::array()}};
  if (series->sheet_sha256) out["sheet_sha256"] = *series->sheet_sha256;
  const auto films = series->films;
  auto options = measure_options(task.at("options"));
  if (!options) return {{"error", error_json(options.error())}};
  const std::string keep_in = bytes_of_text(task.at("keep_in").get<std::string>());
  if (!keep_in.empty()) {
    options->pictures = followup::Pictures::kDraw;
    options->aligned = followup::Aligned::kKeep;
  }
  const Measured done = measured(*series, job, *options);
  const std::size_t first = films.size() - done.result.films.size();
  for (std::size_t i = 0; i < films.size(); ++i) {
    const std::optional<std::string> known =
        i >= first ? done.result.films[i - first].sha256 : std::nullopt;
    out["films"].push_back(known ? *known : content_hash(films[i].path));
  }
  out["early"] = early_json(done.early);
  out["kept"] = done.kept;
  if (!keep_in.empty()) {
    const auto written = write_hip(done.result, *series, keep_in);
    if (!written) return {{"error", error_json(written.error())}};
  }
  out["result"] = json::parse(followup::to_json(done.result));
  return out;
}

json header_json(const film::FilmHeader& header) {
  json out{{"sha256", header.facts.sha256},
           {"modality", header.facts.modality},
           {"has_pixels", header.has_pixels}};
  if (header.facts.side) out["side"] = *header.facts.side == Side::kRight ? "R" : "L";
  if (header.facts.view) out["view"] = static_cast<int>(*header.facts.view);
  if (header.facts.date) out["date"] = format_date(*header.facts.date);
  if (header.facts.body_part) out["body_part"] = *header.facts.body_part;
  if (header.time) out["time"] = text_of_bytes(*header.time);
  if (header.object_uid) out["object_uid"] = text_of_bytes(*header.object_uid);
  if (header.patient_id) out["patient_id"] = text_of_bytes(*header.patient_id);
  if (header.issuer) out["issuer"] = text_of_bytes(*header.issuer);
  return out;
}

json read_headers(const json& task) {
  json out{{"headers", json::array()}};
  for (const json& file : task.at("files")) {
    const auto header = film::read_header(bytes_of_text(file.get<std::string>()));
    out["headers"].push_back(header ? header_json(*header)
                                    : json{{"error", error_json(header.error())}});
  }
  return out;
}

std::string dumped(const json& value) {
  // Header texts may be in any character set: what is not UTF-8 is replaced.
  return value.dump(-1, ' ', false, json::error_handler_t::replace);
}

}  // namespace

std::string run_task(const std::string& task, const WriteHip& write_hip) {
  const json in = json::parse(task);
  return dumped(in.contains("files") ? read_headers(in) : measure_hip(in, write_hip));
}

std::string measure_task(const HipJob& job, const MeasureOptions& options,
                         const std::filesystem::path& keep_in) {
  json out{{"job", to_json(job)},
           {"options", {{"accept_pixels", options.accept_pixels}}},
           {"keep_in", text_of_bytes(keep_in.string())}};
  if (options.criteria) out["options"]["criteria"] = *options.criteria;
  return dumped(out);
}

std::string header_task(const std::vector<std::filesystem::path>& files) {
  json out{{"files", json::array()}};
  for (const auto& file : files) out["files"].push_back(text_of_bytes(file.string()));
  return out.dump();
}

Answer answer_of(const std::string& text) {
  const json in = json::parse(text);
  Answer out;
  if (in.contains("error")) {
    out.error = error_from(in["error"]);
    return out;
  }
  out.result = in.at("result");
  out.films = in.at("films").get<std::vector<std::string>>();
  if (in.contains("sheet_sha256")) out.sheet_sha256 = in["sheet_sha256"].get<std::string>();
  for (const json& film : in.at("early")) {
    std::optional<std::string> date;
    if (film.contains("date")) date = film["date"].get<std::string>();
    out.early.push_back(
        {film.at("sha256").get<std::string>(), date, film.at("reason").get<std::string>()});
  }
  out.kept = in.at("kept").get<std::vector<std::size_t>>();
  return out;
}

}  // namespace tidemark::registry
