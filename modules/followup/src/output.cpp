#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <system_error>

#include "history_files.h"
#include "output_folder.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "tidemark/core/text.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

namespace fs = std::filesystem;

tl::unexpected<Error> not_writable(const fs::path& folder, const std::string& wrong) {
  return fail(ErrorKind::kNotWritable, folder.string(), wrong,
              "choose another folder with --out or change its permissions");
}

bool lies_in(const fs::path& inner, const fs::path& outer) {
  const fs::path relative = inner.lexically_relative(outer);
  return !relative.empty() && *relative.begin() != "..";
}

/// Removes what an earlier run has drawn and this one has not: beside the new result.json it would
/// pass for its own. In a folder that held no result a file by such a name is somebody else's.
Expected<void> remove_earlier_pictures(const Result& result, const fs::path& folder) {
  std::error_code error;
  if (!holds_earlier_output(folder)) return {};
  std::vector<fs::path> left_over;
  for (fs::directory_iterator item(folder, error), end; !error && item != end;
       item.increment(error)) {
    const std::string name = item->path().filename().string();
    const bool drawn = std::any_of(result.pictures.begin(), result.pictures.end(),
                                   [&](const Picture& picture) { return picture.file == name; });
    std::error_code ignored;
    if (drawn || !is_picture_name(name) || !fs::is_regular_file(item->symlink_status(ignored))) {
      continue;
    }
    left_over.push_back(item->path());
  }
  for (const fs::path& file : left_over) {
    if (!error) fs::remove(file, error);
  }
  if (error) return not_writable(folder, "the pictures of an earlier run cannot be removed");
  return {};
}

/// The result that a run into this folder would replace, or an empty value.
nlohmann::json result_in(const fs::path& folder) {
  std::error_code error;
  for (const char* name : {kResultFile, kLastResultFile}) {
    if (!fs::is_regular_file(folder / name, error)) continue;
    const auto text = read_text(folder / name);
    return text ? nlohmann::json::parse(*text, nullptr, false) : nlohmann::json();
  }
  return {};
}

/// Whether a result is of one of these films, by its bytes.
bool is_of_a_film_of(const nlohmann::json& result, const Series& series) {
  std::set<std::string> known;
  for (const auto& film : result.value("films", nlohmann::json::array())) {
    const bool read = film.is_object() && film.contains("sha256") && film["sha256"].is_string();
    if (read) known.insert(film["sha256"].get<std::string>());
  }
  return std::any_of(series.films.begin(), series.films.end(), [&](const FilmEntry& film) {
    const auto bytes = read_file(film.path);
    return bytes && known.contains(sha256_hex(*bytes));
  });
}

}  // namespace

Expected<void> check_output(const fs::path& folder, const Series& series) {
  const nlohmann::json result = result_in(folder);
  if (!result.is_object() || !result.contains("hip") || !result["hip"].is_string()) return {};
  const auto hip = result["hip"].get<std::string>();
  if (series.hip == hip || is_of_a_film_of(result, series)) return {};
  return fail(
      ErrorKind::kUsage, folder.string(),
      "the result there is of another hip (" + printable(hip) + ") and of none of these films",
      "choose another folder with --out, or remove that result first");
}

Expected<OutputLock> prepare_output(const fs::path& folder, const fs::path& input) {
  std::error_code error;
  const fs::path target = fs::weakly_canonical(folder, error);
  const fs::path source = fs::weakly_canonical(input, error);
  const bool is_film = fs::is_regular_file(source, error);
  if (is_film ? target == source.parent_path() : lies_in(target, source)) {
    return fail(
        ErrorKind::kUsage, folder.string(),
        is_film ? "this is the folder of the film" : "this lies inside the folder of the films",
        "choose a folder outside of it with --out: the films' folder is only read");
  }
  fs::create_directories(folder, error);
  if (error || !fs::is_directory(folder)) return not_writable(folder, "cannot be made a folder");
  if (auto owner = check_owner(folder); !owner) return tl::unexpected(owner.error());
  auto lock = OutputLock::take(folder);
  if (!lock) return lock;
  // Kept under another name until the new one stands, so that a run that dies loses nothing.
  if (fs::exists(fs::symlink_status(folder / kResultFile, error))) {
    fs::rename(folder / kResultFile, folder / kLastResultFile, error);
    if (error) return not_writable(folder, "the result of an earlier run cannot be set aside");
  }
  const fs::path probe = folder / ".tidemark-probe";
  if (const auto written = write_file_atomically(probe, std::string_view{}); !written) {
    return not_writable(folder, "no file can be written here");
  }
  fs::remove(probe, error);
  return lock;
}

Expected<void> write_output(const Result& result, const fs::path& folder) {
  if (auto removed = remove_earlier_pictures(result, folder); !removed) return removed;
  for (const Picture& picture : result.pictures) {
    auto written =
        write_file_atomically(folder / picture.file, std::as_bytes(std::span(picture.png)));
    if (!written) return written;
  }
  auto table = write_file_atomically(folder / "measurements.csv", to_csv(result));
  if (!table) return table;
  auto zones = write_file_atomically(folder / "zones.csv", to_zones_csv(result));
  if (!zones) return zones;
  auto written = write_file_atomically(folder / kResultFile, to_json(result));
  if (!written) return written;
  std::error_code error;
  fs::remove(folder / kLastResultFile, error);
  return {};
}

}  // namespace tidemark::followup
