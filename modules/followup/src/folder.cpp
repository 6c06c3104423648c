#include <algorithm>
#include <array>
#include <cctype>
#include <system_error>
#include <utility>

#include "tidemark/core/files.h"
#include "tidemark/film/header.h"
#include "tidemark/followup/series.h"

namespace tidemark::followup {
namespace {

namespace fs = std::filesystem;
constexpr const char* kSheet = "series.json";

std::string lower_case(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return text;
}

bool is_picture(const fs::path& file) {
  static constexpr std::array kSuffixes{".png", ".tif", ".tiff", ".jpg", ".jpeg"};
  const std::string suffix = lower_case(file.extension().string());
  return std::find(kSuffixes.begin(), kSuffixes.end(), suffix) != kSuffixes.end();
}

/// What cannot be opened counts as a film: nobody can tell that it is none, and left out without a
/// word it would leave its place, which may be that of the reference, to another one.
bool looks_like_film(const fs::path& file) {
  // DICOMDIR starts like a film but is the index of a medium.
  const std::string name = file.filename().string();
  if (name.starts_with('.') || name == "DICOMDIR") return false;
  const std::string suffix = lower_case(file.extension().string());
  if (is_picture(file) || suffix == ".dcm" || suffix == ".dicom") return true;
  return film::starts_like_dicom(file).value_or(true);
}

/// Whether an entry of a folder is a folder, a device or the like, also by a link.
bool is_no_file(const fs::directory_entry& item) {
  std::error_code error;
  const fs::file_type type = item.status(error).type();
  return !error && type != fs::file_type::regular && type != fs::file_type::not_found;
}

FilmEntry entry_of(const fs::path& file) {
  FilmEntry film;
  film.file = file.filename().string();
  film.path = file;
  return film;
}

/// What looks like a film in a folder, by name.
Expected<std::vector<fs::path>> films_in(const fs::path& folder) {
  std::error_code error;
  std::vector<fs::path> out;
  for (fs::directory_iterator it(folder, error), end; !error && it != end; it.increment(error)) {
    if (!is_no_file(*it) && looks_like_film(it->path())) out.push_back(it->path());
  }
  if (error) {
    return fail(ErrorKind::kBadInput, folder.string(), "the folder cannot be read",
                "check its permissions");
  }
  std::sort(out.begin(), out.end(),
            [](const auto& a, const auto& b) { return a.filename() < b.filename(); });
  return out;
}

Expected<Series> series_of_files(const fs::path& folder) {
  const auto files = films_in(folder);
  if (!files) return tl::unexpected(files.error());
  Series series;
  for (const fs::path& file : *files) series.films.push_back(entry_of(file));
  if (series.films.empty()) {
    return fail(ErrorKind::kBadInput, folder.string(), "there is no film in this folder",
                "put the DICOM, PNG, TIFF or JPEG files of one hip into it");
  }
  return series;
}

/// Films that were put beside a sheet which does not list them. A picture counts where the sheet
/// lists pictures; else it may show anything. A folder that cannot be listed names none.
std::vector<std::string> not_listed(const fs::path& folder, const Series& series) {
  const auto listed = [&](const auto& is_it) {
    return std::any_of(series.films.begin(), series.films.end(),
                       [&](const FilmEntry& film) { return is_it(film.path); });
  };
  const bool pictures = listed(is_picture);
  std::vector<std::string> out;
  const auto files = films_in(folder);
  if (!files) return out;
  for (const fs::path& file : *files) {
    if (is_picture(file) && !pictures) continue;
    const fs::path plain = file.lexically_normal();
    if (listed([&](const fs::path& film) { return film.lexically_normal() == plain; })) continue;
    out.push_back(file.filename().string());
  }
  return out;
}

/// An override that is out of range, or nothing. A value that is no number is out of range.
std::optional<Error> fault_of(const std::string& option, const std::optional<Millimetres>& value,
                              Range range) {
  if (!value || (value->value >= range.low && value->value <= range.high)) return {};
  return Error{ErrorKind::kUsage, option, "the value is out of range",
               "give millimetres, from " + std::to_string(static_cast<int>(range.low)) + " to " +
                   std::to_string(static_cast<int>(range.high))};
}

Expected<Series> with_overrides(Series series, const Overrides& overrides) {
  for (const auto& fault : {fault_of("--head-diameter", overrides.head_diameter, kHeadDiameterMm),
                            fault_of("--stem-length", overrides.stem_length, kStemLengthMm)}) {
    if (fault) return tl::unexpected(*fault);
  }
  if (overrides.side) series.side = overrides.side;
  if (overrides.head_diameter) series.stem.head_diameter = overrides.head_diameter;
  if (overrides.stem_length) series.stem.length = overrides.stem_length;
  return series;
}

}  // namespace

Expected<Series> load_series(const fs::path& folder, const Overrides& overrides) {
  std::error_code error;
  const auto status = fs::status(folder, error);
  if (!fs::exists(status)) {
    return fail(ErrorKind::kBadInput, folder.string(), "there is no such folder",
                "give the folder that holds the films of one hip");
  }
  if (!fs::is_directory(status)) {
    return fail(ErrorKind::kBadInput, folder.string(), "this is not a folder",
                "give the folder that holds the films, or use: tidemark film FILE");
  }
  if (!fs::exists(fs::symlink_status(folder / kSheet, error))) {  // a broken link is a sheet lost
    auto series = series_of_files(folder);
    if (!series) return series;
    return with_overrides(std::move(*series), overrides);
  }
  const auto text = read_text(folder / kSheet);
  if (!text) return tl::unexpected(text.error());
  auto series = parse_sheet(*text, kSheet, folder);
  if (!series) return series;
  series->not_listed = not_listed(folder, *series);
  return with_overrides(std::move(*series), overrides);
}

Expected<Series> series_of_film(const fs::path& file, const Overrides& overrides) {
  std::error_code error;
  const auto status = fs::status(file, error);
  if (!fs::exists(status)) {
    return fail(ErrorKind::kBadInput, file.string(), "there is no such file",
                "check the name of the film");
  }
  if (fs::is_directory(status)) {
    return fail(ErrorKind::kBadInput, file.string(), "this is a folder",
                "give one film, or use: tidemark measure FOLDER --out DIR");
  }
  Series series;
  series.films.push_back(entry_of(file));
  series.films.front().role = Role::kReference;
  return with_overrides(std::move(series), overrides);
}

}  // namespace tidemark::followup
