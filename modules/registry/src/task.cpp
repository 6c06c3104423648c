#include "task.h"

#include <algorithm>
#include <new>
#include <nlohmann/json.hpp>

#include "bytes_text.h"
#include "tidemark/assessment/criteria.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
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
    const auto name = in["criteria"].get<std::string>();
    auto criteria = in.contains("criteria_text")
                        ? assessment::parse_criteria(
                              bytes_of_text(in["criteria_text"].get<std::string>()), name)
                        : assessment::find_criteria(name);
    if (!criteria) return tl::unexpected(criteria.error());
    options.criteria = std::move(*criteria);
  }
  return options;
}

constexpr std::size_t kHashDigits = 64;  // what content_hash() gives of bytes; else a word

struct Measured {
  followup::Result result;
  std::vector<EarlyFilm> early;
  std::vector<std::size_t> kept;
};

bool names_roles(const followup::Series& series) {
  return std::any_of(series.films.begin(), series.films.end(),
                     [](const auto& film) { return film.role.has_value(); });
}

/// Where the first film lies that `is_so`; their number when none is.
template <class IsSo>
std::size_t first_film(const followup::Result& result, const IsSo& is_so) {
  const auto& films = result.films;
  return static_cast<std::size_t>(std::find_if(films.begin(), films.end(), is_so) - films.begin());
}

/// Takes the films out that show no stem and lie before the first one that shows one.
void set_early_aside(followup::Series& series, Measured& out) {
  using followup::StemShows;
  const auto& films = out.result.films;
  const std::size_t first =
      first_film(out.result, [](const auto& film) { return film.stem_shows == StemShows::kYes; });
  if (first == films.size()) return;
  const std::vector<followup::FilmEntry> all = std::move(series.films);
  series.films.clear();
  out.kept.clear();
  for (std::size_t i = 0; i < films.size(); ++i) {
    if (i >= first || films[i].stem_shows != StemShows::kNo) {
      series.films.push_back(all[i]);
      out.kept.push_back(i);
      continue;
    }
    std::optional<std::string> date;
    if (films[i].date) date = format_date(*films[i].date);
    out.early.push_back({films[i].sha256.value_or(""), date,
                         "no stem is seen on it, and a later film shows one: taken to be from "
                         "before the surgery"});
  }
}

/// Measures the hip. Where neither the date of surgery nor a reference film is stated, early films
/// without a stem are set aside, and the first film that can be measured is the reference: one that
/// cannot may be from before the surgery just as well, and stays in the list with its reason.
/// (House choice.)
Measured measured(followup::Series& series, const HipJob& job, const followup::Options& options) {
  Measured out{followup::measure(series, options), {}, {}};
  for (std::size_t i = 0; i < series.films.size(); ++i) out.kept.push_back(i);
  if (job.early_films == EarlyFilms::kKeep || series.surgery_date || names_roles(series)) {
    return out;
  }
  set_early_aside(series, out);
  if (!out.early.empty()) out.result = followup::measure(series, options);
  const std::size_t first = first_film(
      out.result, [](const auto& film) { return film.status == followup::Status::kMeasured; });
  if (first == 0 || first == out.result.films.size()) return out;
  if (out.result.films[first].role != followup::Role::kReference) {
    // Chosen by the program: a role of its own would promise the film after the operation.
    for (std::size_t i = 0; i < series.films.size(); ++i) {
      if (i != first) series.films[i].role = followup::Role::kFollowUp;
    }
    out.result = followup::measure(series, options);
  }
  out.result.flags.push_back(
      {"reference_not_first",
       "The first films of this hip could not be measured, and a later one serves as reference: "
       "motion before that film is not seen. State the date of surgery, or look at those films."});
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
  std::vector<std::optional<std::string>> known(films.size());
  for (std::size_t i = 0; i < done.kept.size(); ++i) {
    known[done.kept[i]] = done.result.films[i].sha256;
  }
  for (std::size_t i = 0; i < films.size(); ++i) {
    out["films"].push_back(known[i] ? *known[i] : content_hash(films[i].path));
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
  if (header.facts.object_uid) {
    out["object_uid"] = text_of_bytes(*header.facts.object_uid);
  };
  if (header.patient_id) out["patient_id"] = text_of_bytes(*header.patient_id);
  if (header.issuer) out["issuer"] = text_of_bytes(*header.issuer);
  return out;
}

json read_headers(const json& task) {
  json out{{"headers", json::array()}};
  for (const json& file : task.at("files")) {
    const auto header = film::read_header(bytes_of_text(file.get<std::string>()));
    if (header) {
      out["headers"].push_back(header_json(*header));
      continue;
    }
    json refused{{"error", error_json(header.error())}};
    const std::string hash = content_hash(bytes_of_text(file.get<std::string>()));
    if (hash.size() == kHashDigits) refused["sha256"] = hash;
    out["headers"].push_back(std::move(refused));
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
  if (in.contains("files")) return dumped(read_headers(in));
  try {
    return dumped(measure_hip(in, write_hip));
  } catch (const std::bad_alloc&) {
    const Error error{ErrorKind::kBadInput, "worker", "it ran out of memory",
                      "give a hip more with --memory"};
    return dumped({{"error", error_json(error)}});
  }
}

Expected<TaskOptions> task_options(const MeasureOptions& options) {
  TaskOptions out;
  out.accept_pixels = options.accept_pixels;
  if (!options.criteria) return out;
  auto criteria = assessment::find_criteria(*options.criteria);
  if (!criteria) return tl::unexpected(criteria.error());
  out.criteria = std::move(*criteria);
  const auto& built_in = assessment::built_in_criteria();
  if (std::any_of(built_in.begin(), built_in.end(),
                  [&](const auto& set) { return set.id == *options.criteria; })) {
    return out;
  }
  auto text = read_text(*options.criteria);
  if (!text) return tl::unexpected(text.error());
  if (sha256_hex(*text) != out.criteria->sha256) {
    return fail(ErrorKind::kBadInput, std::filesystem::path(*options.criteria).filename().string(),
                "it changed while it was read", "start again");
  }
  out.criteria_text = std::move(*text);
  return out;
}

std::string measure_task(const HipJob& job, const TaskOptions& options,
                         const std::filesystem::path& keep_in) {
  json out{{"job", to_json(job)},
           {"options", {{"accept_pixels", options.accept_pixels}}},
           {"keep_in", text_of_bytes(keep_in.string())}};
  if (options.criteria) out["options"]["criteria"] = options.criteria->id;
  if (!options.criteria_text.empty()) {
    out["options"]["criteria_text"] = text_of_bytes(options.criteria_text);
  }
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
