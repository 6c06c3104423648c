#include "own_folder.h"

#include <nlohmann/json.hpp>
#include <system_error>

#include "tidemark/core/files.h"

namespace tidemark::registry {
namespace {

namespace fs = std::filesystem;

fs::path mark_of(const OwnFiles& files) {
  return files.folder / ("." + files.seal + ".unfinished");
}

bool is_there(const fs::path& file) {
  std::error_code ignored;
  return fs::symlink_status(file, ignored).type() != fs::file_type::not_found;
}

bool has_own_seal(const OwnFiles& files) {
  const auto text = read_text(files.folder / files.seal);
  if (!text) return false;
  const auto json = nlohmann::json::parse(*text, nullptr, false);
  if (!json.is_object()) return false;
  const auto found = json.find(files.key);
  return found != json.end() && found->is_string() &&
         found->get<std::string>().starts_with(files.begins);
}

}  // namespace

Expected<bool> begin_own(const OwnFiles& files) {
  const bool earlier = is_there(mark_of(files)) || has_own_seal(files);
  for (const std::string& name : files.names) {
    if (earlier || !is_there(files.folder / name)) continue;
    return fail(ErrorKind::kNotWritable, (files.folder / name).string(),
                "there is such a file already, and nothing shows that an earlier run made it",
                "choose another folder with --out, or move the file away");
  }
  std::error_code code;
  fs::create_directories(files.folder, code);
  if (code || !fs::is_directory(files.folder, code)) {
    return fail(ErrorKind::kNotWritable, files.folder.string(), "cannot be made a folder",
                "choose another folder with --out or change its permissions");
  }
  const auto marked = write_file_atomically(mark_of(files), "");
  if (!marked) return tl::unexpected(marked.error());
  fs::remove(files.folder / files.seal, code);  // if it is there, all is there
  if (!code) return earlier;
  return fail(ErrorKind::kNotWritable, files.folder.string(), "the folder cannot be written",
              "choose another one with --out");
}

Expected<void> finish_own(const OwnFiles& files) {
  std::error_code code;
  fs::remove(mark_of(files), code);
  if (!code) return {};
  return fail(ErrorKind::kNotWritable, mark_of(files).string(), "cannot be removed",
              "look at the folder's permissions");
}

}  // namespace tidemark::registry
