#include "tidemark/view/review.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <system_error>
#include <utility>

#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "tidemark/core/text.h"

namespace tidemark::view {
namespace {

constexpr const char* kSheetFile = "series.json";

/// The file's text, empty when there is none.
Expected<std::string> sheet_text(const std::filesystem::path& folder) {
  std::error_code error;
  const auto file = folder / kSheetFile;
  if (!std::filesystem::exists(file, error)) return std::string();
  return read_text(file);
}

/// Whether JSON gives the name back as it is. It holds UTF-8 only; names of files hold any byte.
bool json_keeps(const std::string& name) {
  const auto text = Sheet(name).dump(-1, ' ', false, Sheet::error_handler_t::ignore);
  return Sheet::parse(text).get<std::string>() == name;
}

/// The name with each byte that cannot be shown as \xHH, so that a person finds the file.
std::string escaped(const std::string& name) {
  constexpr const char* kDigits = "0123456789ABCDEF";
  const std::string shown = printable(name);  // byte by byte
  std::string out;
  for (std::size_t i = 0; i < name.size(); ++i) {
    const auto byte = static_cast<unsigned char>(name[i]);
    if (shown[i] == name[i]) {
      out += name[i];
    } else {
      out += {'\\', 'x', kDigits[byte >> 4U], kDigits[byte & 15U]};
    }
  }
  return out;
}

/// @return kBadInput for a name that neither series.json nor the journal could hold
Expected<void> check_names(const Sheet& sheet) {
  const auto films = sheet.find("films");
  if (films == sheet.end()) return {};
  for (const Sheet& film : *films) {
    if (!film.is_object() || !film.contains("file") || !film["file"].is_string()) continue;
    const auto name = film["file"].get<std::string>();
    if (json_keeps(name)) continue;
    return fail(ErrorKind::kBadInput, escaped(name),
                "the name of this file is not UTF-8, so that no correction could be saved with it",
                "rename the file");
  }
  return {};
}

std::vector<std::string> names_of(const followup::Series& series) {
  std::vector<std::string> out;
  for (const auto& film : series.films) out.push_back(film.file);
  return out;
}

std::vector<std::string> sorted(std::vector<std::string> names) {
  std::sort(names.begin(), names.end());
  return names;
}

std::filesystem::path true_path(const std::filesystem::path& folder) {
  std::error_code error;
  auto path = std::filesystem::canonical(folder, error);
  return error ? folder : path;
}

}  // namespace

/// The file of the steps that are not saved yet. First line {"sheet": SHA-256 of series.json as it
/// was}; then a line {"told", "sheet"} a step.
class Review::Journal {
 public:
  Journal(int descriptor, std::filesystem::path file)
      : descriptor_(descriptor), file_(std::move(file)) {}
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;
  ~Journal() {
    if (!kept_) ::unlink(file_.c_str());
    ::close(descriptor_);
  }

  /// Whether a file of this name still is the one that is open: whoever held it before may have
  /// removed it between our opening and our lock.
  static bool is_still(const std::filesystem::path& file, int descriptor) {
    struct stat open {};
    struct stat named {};
    return ::fstat(descriptor, &open) == 0 && ::stat(file.c_str(), &named) == 0 &&
           open.st_dev == named.st_dev && open.st_ino == named.st_ino;
  }

  static Expected<std::unique_ptr<Journal>> open(const std::filesystem::path& folder,
                                                 const std::filesystem::path& journals,
                                                 const std::vector<std::string>& files) {
    std::error_code error;
    std::filesystem::create_directories(journals, error);
    std::string name = folder.string();
    for (const std::string& film : files) name += "\n" + film;
    const auto file = journals / (sha256_hex(name).substr(0, 24) + ".jsonl");
    constexpr int kTries = 100;  // each one lost means that a window was closed just then
    for (int i = 0; i < kTries; ++i) {
      const int descriptor = ::open(file.c_str(), O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
      if (descriptor < 0) {
        return fail(ErrorKind::kNotWritable, journals.string(), "the journal cannot be kept there",
                    "make the folder writable or set XDG_STATE_HOME");
      }
      const bool locked = ::flock(descriptor, LOCK_EX | LOCK_NB) == 0;
      if (locked && is_still(file, descriptor)) return std::make_unique<Journal>(descriptor, file);
      ::close(descriptor);
      if (!locked) break;
    }
    return fail(ErrorKind::kBadInput, folder.filename().string(),
                "this hip is open in another window", "go on there, or close it");
  }

  struct Line {
    Sheet json;
    std::size_t end = 0;  ///< bytes of the file with this line and its line break
  };

  /// The lines that can be read. One that cannot is passed over: each step holds the whole sheet,
  /// so that what follows is not worse for it.
  [[nodiscard]] Expected<std::vector<Line>> lines() const {
    std::vector<Line> out;
    const auto text = read_text(file_);
    if (!text) return tl::unexpected(text.error());
    std::size_t from = 0;
    for (auto end = text->find('\n'); end != std::string::npos; end = text->find('\n', from)) {
      Sheet json = Sheet::parse(text->substr(from, end - from), nullptr, false);
      from = end + 1;
      if (json.is_object()) out.push_back({std::move(json), from});
    }
    return out;
  }

  /// Empties it; what follows belongs to the sheet with this text.
  void begin(std::string_view sheet_text) {
    kept_ = false;
    length_ = 0;
    begun_ = write({{"sheet", sha256_hex(sheet_text)}});
  }

  [[nodiscard]] bool add(const std::string& told, const Sheet& sheet) {
    kept_ = true;
    return begun_ && write({{"told", told}, {"sheet", sheet}});
  }

  /// Goes on where an earlier review ended, after this line. A torn one behind it is cut off: what
  /// is written next would be part of it and could not be read either.
  void go_on_after(const Line& line) {
    kept_ = true;
    length_ = line.end;
    begun_ = cut();
  }
  /// Whether its file stays when this review ends.
  void keep(bool unsaved) { kept_ = unsaved; }
  /// Leaves its file where it is: somebody may still need it.
  void leave() { kept_ = true; }
  /// Puts a copy aside under a name that is free, for whoever wants to look.
  /// @return that name; kNotWritable
  [[nodiscard]] Expected<std::string> put_aside() const {
    std::error_code error;
    std::filesystem::path copy;
    int number = 1;
    do {
      copy = file_.string() + ".old-" + std::to_string(number++);
    } while (std::filesystem::exists(copy, error));
    if (std::filesystem::copy_file(file_, copy, error)) return copy.string();
    std::filesystem::remove(copy, error);  // half of one
    return fail(ErrorKind::kNotWritable, file_.string(),
                "it holds corrections of an earlier review that cannot be taken up, and there is "
                "no room to put them aside",
                "make room on the disk, or move the file away");
  }

 private:
  /// After a failure nothing of the line stays.
  [[nodiscard]] bool write(const Sheet& line) {
    const std::string text = line.dump() + "\n";
    if (!cut()) return false;
    if (!append(text)) {
      (void)cut();  // tried again before the next line
      return false;
    }
    length_ += text.size();
    return ::fdatasync(descriptor_) == 0;
  }

  [[nodiscard]] bool append(const std::string& text) const {
    std::size_t written = 0;
    while (written < text.size()) {
      const ssize_t n = ::write(descriptor_, text.data() + written, text.size() - written);
      if (n <= 0) return false;
      written += static_cast<std::size_t>(n);
    }
    return true;
  }

  /// Leaves the whole lines only.
  [[nodiscard]] bool cut() const {
    return ::ftruncate(descriptor_, static_cast<off_t>(length_)) == 0;
  }

  int descriptor_;
  std::filesystem::path file_;
  std::size_t length_ = 0;  ///< of its whole lines, bytes
  bool kept_ = false;
  bool begun_ = false;
};

struct Review::Start {  // NOLINT(bugprone-exception-escape): moving its parts throws nothing
  std::vector<std::string> files;
  Sheet sheet;
  std::string on_disk;
  std::optional<followup::Series> listed;
};

Review::Review(std::filesystem::path folder, Start start, std::unique_ptr<Journal> journal)
    : folder_(std::move(folder)),
      files_(std::move(start.files)),
      start_(std::move(start.sheet)),
      on_disk_(std::move(start.on_disk)),
      listed_(std::move(start.listed)),
      saved_(start_),
      journal_(std::move(journal)) {}

Review::Review(Review&&) noexcept = default;
Review& Review::operator=(Review&&) noexcept = default;
Review::~Review() = default;

Expected<void> check_choice(const std::filesystem::path& folder,
                            const std::vector<std::string>& files) {
  std::error_code error;
  if (files.empty() || !std::filesystem::exists(folder / kSheetFile, error)) return {};
  const auto series = followup::load_series(folder, {});
  if (!series) return tl::unexpected(series.error());
  if (sorted(names_of(*series)) == sorted(files)) return {};
  return fail(ErrorKind::kBadInput, kSheetFile,
              "it lists other films of this folder than those that were chosen",
              "open the folder, or put the chosen films into one of their own");
}

Expected<Review::Start> Review::start_of(const std::filesystem::path& folder,
                                         const std::vector<std::string>& files) {
  if (const auto choice = check_choice(folder, files); !choice) {
    return tl::unexpected(choice.error());
  }
  auto series = followup::load_series(folder, {});
  if (!series) return tl::unexpected(series.error());
  auto text = sheet_text(folder);
  if (!text) return tl::unexpected(text.error());
  Start out;
  out.on_disk = std::move(*text);
  if (!out.on_disk.empty()) {
    out.sheet = Sheet::parse(out.on_disk);
    if (const auto names = check_names(out.sheet); !names) return tl::unexpected(names.error());
    return out;
  }
  // All of the folder's films are the folder, whichever way they were opened.
  if (sorted(files) != sorted(names_of(*series))) out.files = files;
  out.sheet = sheet_of(out.files.empty() ? names_of(*series) : out.files);
  if (const auto names = check_names(out.sheet); !names) return tl::unexpected(names.error());
  if (!out.files.empty()) {
    series = followup::parse_sheet(text_of(out.sheet), kSheetFile, folder);
    if (!series) return tl::unexpected(series.error());
    series->sheet_sha256.reset();  // there is no such file
  }
  out.listed = std::move(*series);
  return out;
}

Expected<Review> Review::open(const std::filesystem::path& given,
                              const std::filesystem::path& journals,
                              const std::vector<std::string>& files) {
  const auto folder = true_path(given);
  auto start = start_of(folder, files);
  if (!start) return tl::unexpected(start.error());
  auto journal = Journal::open(folder, journals, start->files);
  if (!journal) return tl::unexpected(journal.error());
  Review review(folder, std::move(*start), std::move(*journal));
  if (auto taken = review.take_up(); !taken) return tl::unexpected(taken.error());
  return review;
}

Expected<void> Review::take_up() {
  journal_->leave();
  const auto lines = journal_->lines();
  if (!lines) return tl::unexpected(lines.error());
  const bool same = !lines->empty() && lines->front().json.contains("sheet") &&
                    lines->front().json["sheet"] == sha256_hex(on_disk_);
  std::size_t refused = 0;
  for (const Journal::Line& line : *lines) {
    if (!line.json.contains("told") || !line.json.contains("sheet")) continue;
    const Sheet& sheet = line.json["sheet"];
    if (same && followup::parse_sheet(text_of(sheet), kSheetFile, folder_)) {
      steps_.push_back({line.json.value("told", ""), sheet});
    } else {
      ++refused;
    }
  }
  done_ = recovered_ = steps_.size();
  if (refused > 0) {
    const auto where = journal_->put_aside();
    if (!where) return tl::unexpected(where.error());
    note_ = "Unsaved corrections of an earlier review were put aside in " + printable(*where) +
            (same ? ": they do not hold for these films." : ": series.json has changed since.");
  }
  recovered_ > 0 ? journal_->go_on_after(lines->back()) : journal_->begin(on_disk_);
  return {};
}

const Sheet& Review::sheet() const { return done_ == 0 ? start_ : steps_[done_ - 1].sheet; }

Expected<followup::Series> Review::series() const {
  // What was not touched is measured as it stands on the disk, to the byte.
  if (!unsaved() && on_disk_.empty()) return *listed_;
  auto out = followup::parse_sheet(unsaved() ? text_of(sheet()) : on_disk_, kSheetFile, folder_);
  if (out) out->not_listed = films_not_listed();
  return out;
}

std::vector<std::string> Review::films_not_listed() const {
  if (on_disk_.empty()) return {};
  const auto now = followup::load_series(folder_, {});
  return now ? now->not_listed : std::vector<std::string>();
}

std::vector<std::string> Review::films_added() const {
  std::vector<std::string> out;
  if (!on_disk_.empty() || !files_.empty()) return out;
  const auto now = followup::load_series(folder_, {});
  if (!now) return out;
  for (const auto& film : now->films) {
    const auto same = [&](const auto& one) { return one.file == film.file; };
    if (std::none_of(listed_->films.begin(), listed_->films.end(), same)) out.push_back(film.file);
  }
  return out;
}

Expected<void> Review::correct(const std::string& told, const Sheet& sheet) {
  if (sheet == this->sheet()) return {};
  if (auto names = check_names(sheet); !names) return names;
  const auto valid = followup::parse_sheet(text_of(sheet), kSheetFile, folder_);
  if (!valid) return tl::unexpected(valid.error());
  steps_.resize(done_);
  steps_.push_back({told, sheet});
  ++done_;
  return note_step(told);
}

Expected<std::optional<std::string>> Review::undo() {
  if (done_ == 0) return std::nullopt;
  --done_;
  const std::string& told = steps_[done_].told;
  if (auto noted = note_step("undone: " + told); !noted) return tl::unexpected(noted.error());
  return told;
}

Expected<std::optional<std::string>> Review::redo() {
  if (done_ == steps_.size()) return std::nullopt;
  ++done_;
  const std::string& told = steps_[done_ - 1].told;
  if (auto noted = note_step(told); !noted) return tl::unexpected(noted.error());
  return told;
}

Expected<void> Review::note_step(const std::string& told) {
  const bool written = journal_->add(told, sheet());
  journal_->keep(unsaved());
  if (written) return {};
  return fail(ErrorKind::kNotWritable, "journal",
              "this correction would be lost if the program died",
              "save now, or make room on the disk");
}

bool Review::unsaved() const { return sheet() != saved_; }

Expected<void> Review::save() {
  const auto now = sheet_text(folder_);
  if (!now) return tl::unexpected(now.error());
  if (*now != on_disk_) {
    return fail(ErrorKind::kBadInput, kSheetFile,
                "it was changed by someone else since it was opened",
                "open the folder again; your corrections are kept until then");
  }
  std::string text = text_of(sheet());
  auto written = write_file_atomically(folder_ / kSheetFile, text);
  if (!written) return written;
  on_disk_ = std::move(text);
  saved_ = sheet();
  recovered_ = 0;
  journal_->begin(on_disk_);
  return {};
}

void Review::discard() { journal_->begin(on_disk_); }

std::filesystem::path journal_folder() {
  const auto variable = [](const char* name) -> std::filesystem::path {
    const char* value = std::getenv(name);
    return value == nullptr ? "" : value;
  };
  const std::filesystem::path inside = std::filesystem::path("tidemark") / "review";
  if (const auto state = variable("XDG_STATE_HOME"); state.is_absolute()) return state / inside;
  if (const auto home = variable("HOME"); home.is_absolute()) {
    return home / ".local" / "state" / inside;
  }
  std::error_code error;
  return std::filesystem::temp_directory_path(error) / inside;
}

}  // namespace tidemark::view
