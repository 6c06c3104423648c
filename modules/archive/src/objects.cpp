#include "tidemark/archive/objects.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <optional>
#include <regex>
#include <span>
#include <system_error>
#include <utility>

#include "identity.h"
#include "make.h"
#include "tidemark/core/files.h"

namespace tidemark::archive {
namespace {

namespace fs = std::filesystem;
using followup::FilmResult;
using followup::Result;
using followup::Status;

constexpr const char* kReport = "report.dcm";

std::string numbered(const std::string& stem, std::size_t i) {
  const std::string number = std::to_string(i);
  return stem + (number.size() < 2 ? "-0" : "-") + number + ".dcm";
}

bool is_ours(const std::string& name) {
  static const std::regex ours(R"(report\.dcm|(presentation|pair)-[0-9]{2,}\.dcm)");
  return std::regex_match(name, ours);
}

/// One entry per film; absent where it is no DICOM object or was not read.
using Films = std::vector<std::optional<Source>>;

Expected<Films> read_films(const Result& result, const followup::Series& series,
                           std::vector<std::string>& notes) {
  Films out;
  for (std::size_t i = 0; i < result.films.size(); ++i) {
    const FilmResult& film = result.films[i];
    out.emplace_back();
    if (!film.sha256) continue;
    auto source = read_source(series.films[i].path, *film.sha256);
    if (!source) return tl::unexpected(source.error());
    if (*source) {
      out.back() = std::move(**source);
      out.back()->date = film.date;
    } else if (film.status == Status::kMeasured) {
      notes.push_back(film.file +
                      ": no DICOM object with the identifiers an archive needs; it gets no "
                      "presentation state, and the report no coordinates on it");
    }
  }
  return out;
}

/// The newest measured film that is a DICOM object: where the report goes.
std::optional<std::size_t> newest(const Result& result, const Films& films) {
  std::optional<std::size_t> best;
  for (std::size_t i = 0; i < films.size(); ++i) {
    if (!films[i] || result.films[i].status != Status::kMeasured) continue;
    const bool older = best && result.films[*best].date &&
                       (!result.films[i].date || *result.films[i].date < *result.films[*best].date);
    if (!older) best = i;
  }
  return best;
}

/// Each film against each: one that names nobody may be of either of two patients.
Expected<void> one_patient(const Result& result, const Films& films) {
  for (std::size_t i = 1; i < films.size(); ++i) {
    for (std::size_t k = 0; k < i; ++k) {
      if (!films[i] || !films[k] || may_be_same_patient(*films[k]->header, *films[i]->header)) {
        continue;
      }
      return fail(ErrorKind::kCannotTell, result.films[i].file,
                  "it names another patient than " + result.films[k].file +
                      ", so no DICOM results are made",
                  "measure films of one patient only");
    }
  }
  return {};
}

/// Which hip of the patient this is: its side; where no side is known, its name in the sheet. Not
/// both: naming a hip later must not break the thread of what is tracked.
std::string hip_of(const Result& result) {
  std::optional<Side> side = result.side;
  for (const FilmResult& film : result.films) {
    if (!side && film.role == followup::Role::kReference) side = film.side;
  }
  if (side) return *side == Side::kRight ? "R" : "L";
  return result.hip.value_or("");
}

/// Films whose objects carry a date that nothing gives.
void note_dates(const Result& result, const Films& films, std::vector<std::string>& notes) {
  for (std::size_t i = 0; i < films.size(); ++i) {
    if (!films[i] || result.films[i].status != Status::kMeasured) continue;
    if (!moment_of(*films[i]).made_up) continue;
    notes.push_back(
        result.films[i].file +
        ": neither header nor sheet has its date; what is made of it carries 1900-01-01");
  }
}

Sources facts_of(const Films& films) {
  Sources out;
  for (const auto& film : films) {
    out.emplace_back();
    if (film) out.back() = film->facts;
  }
  return out;
}

/// Names the reference film: its object's UID, else its content.
std::string reference_of(const Result& result, const Films& films) {
  for (std::size_t i = 0; i < films.size(); ++i) {
    if (result.films[i].role != followup::Role::kReference) continue;
    return films[i] ? films[i]->facts.image.sop_instance : result.films[i].sha256.value_or("");
  }
  return films.front() ? films.front()->facts.image.sop_instance : "";
}

/// Names the hip in tracking UIDs.
std::string seed_of(const Result& result, const Films& films, const std::string& hip) {
  return reference_of(result, films) + " " + hip;
}

Expected<void> add_presentations(const Result& result, Films& films, const RunFacts& run,
                                 Objects& out) {
  for (std::size_t i = 0; i < films.size(); ++i) {
    const FilmResult& film = result.films[i];
    if (!films[i] || film.status != Status::kMeasured) continue;
    if (films[i]->several_frames) {
      out.notes.push_back(film.file + ": of several frames; it gets no presentation state");
      continue;
    }
    if (!films[i]->is_grey) {  // a grayscale presentation state refers to grey images only
      out.notes.push_back(film.file + ": stored as colour; it gets no presentation state");
      continue;
    }
    auto bytes = make_presentation(result, film, *films[i], run);
    if (!bytes) return tl::unexpected(bytes.error());
    out.objects.push_back({numbered("presentation", i), std::move(*bytes)});
  }
  return {};
}

Expected<void> add_captures(const Result& result, Films& films, std::size_t home,
                            const RunFacts& run, Objects& out) {
  int number = 0;
  for (const auto& pair : result.comparisons) {
    if (!pair.picture) continue;
    const auto picture = std::find_if(result.pictures.begin(), result.pictures.end(),
                                      [&](const auto& one) { return one.file == *pair.picture; });
    if (picture == result.pictures.end()) continue;
    std::vector<Source*> shown;
    for (const std::size_t i : {pair.reference, pair.follow_up}) {
      shown.push_back(films[i] ? &*films[i] : nullptr);
    }
    auto bytes = make_capture(*picture, ++number, *films[home], shown, run);
    if (!bytes) return tl::unexpected(bytes.error());
    out.objects.push_back({numbered("pair", pair.follow_up), std::move(*bytes)});
  }
  if (number == 0 && !result.comparisons.empty()) {
    out.notes.emplace_back("pictures: none of an aligned pair was drawn, so none is captured");
  }
  return {};
}

}  // namespace

Expected<Objects> make_objects(const Result& result, const followup::Series& series) {
  assert(series.films.size() == result.films.size());
  Objects out;
  auto films = read_films(result, series, out.notes);
  if (!films) return tl::unexpected(films.error());
  const auto home = newest(result, *films);
  if (!home) {
    return fail(ErrorKind::kCannotTell, "DICOM results",
                "none can be made, because no film that was measured is a DICOM object with the "
                "identifiers an archive needs",
                "give the films as the archive holds them, or leave out --dicom-results");
  }
  if (auto same = one_patient(result, *films); !same) return tl::unexpected(same.error());
  note_dates(result, *films, out.notes);
  const RunFacts run{result.tool_version, hip_of(result)};
  if (auto made = add_presentations(result, *films, run, out); !made) {
    return tl::unexpected(made.error());
  }
  if (auto made = add_captures(result, *films, *home, run, out); !made) {
    return tl::unexpected(made.error());
  }
  const Sources sources = facts_of(*films);
  auto report = make_report(report_content(result, sources, {seed_of(result, *films, run.hip)}),
                            *(*films)[*home], sources, run);
  if (!report) return tl::unexpected(report.error());
  out.objects.push_back({kReport, std::move(*report)});
  return out;
}

Expected<void> remove_objects(const fs::path& out) {
  std::error_code error;
  const fs::path folder = out / kFolder;
  std::vector<fs::path> old;
  for (const auto& entry : fs::directory_iterator(folder, error)) {
    if (is_ours(entry.path().filename().string())) old.push_back(entry.path());
  }
  if (error) return {};  // there is no such folder
  for (const fs::path& file : old) {
    fs::remove(file, error);
    if (error) {
      return fail(ErrorKind::kNotWritable, folder.string(),
                  "the DICOM results of an earlier run cannot be removed",
                  "choose another folder with --out or change its permissions");
    }
  }
  fs::remove(folder, error);  // succeeds only when it is empty
  return {};
}

Expected<void> write_objects(const Objects& objects, const fs::path& out) {
  std::error_code error;
  const fs::path folder = out / kFolder;
  fs::create_directories(folder, error);
  if (error || !fs::is_directory(folder)) {
    return fail(ErrorKind::kNotWritable, folder.string(), "cannot be made a folder",
                "choose another folder with --out or change its permissions");
  }
  for (const Object& object : objects.objects) {
    auto written = write_file_atomically(folder / object.file, std::span(object.bytes));
    if (written) continue;
    (void)remove_objects(out);
    return written;
  }
  return {};
}

}  // namespace tidemark::archive
