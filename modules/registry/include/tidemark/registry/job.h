#pragma once

#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/date.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/followup/series.h"

namespace tidemark::registry {

/// What is known of a hip before it is measured. Holds no identity: names are the sheet's own or
/// pseudonyms.
struct HipFacts {
  std::string hip;
  std::string reader;  ///< empty: nobody corrected anything
  std::optional<std::string> patient;
  std::optional<Side> side;
  std::optional<Date> surgery_date;
  std::optional<Fixation> fixation;
  std::optional<CementPrinciple> cement_principle;
  std::optional<Millimetres> head_diameter;
  std::optional<Millimetres> stem_length;
  std::map<std::string, std::string> groups;  ///< columns group_NAME of the sheet, by NAME
};

/// One film of a job.
struct FilmSource {
  std::filesystem::path path;
  std::optional<Date> date;
  std::optional<followup::Role> role;
  std::optional<View> view;
  std::optional<int> examination;  ///< absent: counted among the films of one date and view
};

/// What becomes of films before the first one that shows a stem.
enum class EarlyFilms {
  kKeep,      ///< they are films of the hip that cannot be measured
  kSetAside,  ///< they are taken for films from before the surgery, whose date is not known
};

/// One hip to be measured.
struct HipJob {
  HipFacts facts;
  std::filesystem::path folder;   ///< read as followup::load_series does; empty: `films` count
  std::vector<FilmSource> films;  ///< in the order of the table
  EarlyFilms early_films = EarlyFilms::kKeep;
  std::string fault;  ///< why it cannot be measured, one sentence; empty when it can
};

/// The series to be measured: facts of the job over those of the folder's series.json. Films are
/// called film-00, film-01 and so on, because file names may tell who the patient is.
/// @return as followup::load_series, without names of files and folders and without what stands in
///         the sheet, only its place; or the job's own fault.
[[nodiscard]] Expected<followup::Series> series_of(const HipJob& job);

/// The job as JSON, for a worker process. With paths: not for anything that is kept.
[[nodiscard]] nlohmann::json to_json(const HipJob& job);
[[nodiscard]] HipJob job_of(const nlohmann::json& json);

/// SHA-256 of a file's bytes, or a word that says that there are none to be read.
[[nodiscard]] std::string content_hash(const std::filesystem::path& file);

/// What a job's files hold, by their hashes.
struct JobContents {
  std::optional<std::string> sheet;    ///< of series.json; absent: there is none, or no series
  std::optional<std::string> surface;  ///< content_hash() of the stem's surface; absent: not named
  std::vector<std::string> films;      ///< content_hash() of every film, in their order
  std::size_t not_listed = 0;          ///< films beside the sheet that it does not list
  std::string error;                   ///< why there is no series, one sentence; else empty
};

/// SHA-256 of all that a job's row depends on but the options: facts, sheet, bytes of the films in
/// their order and of the stem's surface, number of films that stand beside the sheet unlisted
/// (which the result tells), or what is wrong. Paths and names of files do not count.
[[nodiscard]] std::string input_hash(const HipJob& job, const JobContents& contents);

}  // namespace tidemark::registry
