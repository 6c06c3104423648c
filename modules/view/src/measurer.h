#pragma once

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "tidemark/alignment/memory.h"
#include "tidemark/core/expected.h"
#include "tidemark/film/field.h"
#include "tidemark/film/film.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/result.h"
#include "tidemark/report/document.h"
#include "tidemark/report/write.h"
#include "tidemark/view/picture.h"
#include "tidemark/view/place.h"

namespace tidemark::view {

/// A film that was read, ready to be shown.
struct LoadedFilm {
  /// Holds a film. Shared with the measurer: a film's pixels are kept once.
  std::shared_ptr<const Expected<film::FilmImage>> read;
  Picture picture;
  FilmFrame frame;
  [[nodiscard]] const film::FilmImage& image() const { return **read; }
};

/// Tells one order from another; counts up.
using Order = std::uint64_t;

/// A measured hip and what is said of it.
struct MeasuredHip {
  followup::Result result;
  report::Document document;
  double seconds = 0.0;
  /// Told early (followup::Early): only the motion of this follow-up film is new, all else is from
  /// before and still being measured. Its place in the result's films.
  std::optional<std::size_t> early = {};
};

/// The follow-up film whose numbers are waited for, and what stands for all others until then.
struct Awaited {
  std::size_t follow_up = 0;
  std::shared_ptr<const MeasuredHip> before;  ///< never empty
};

/// What a report from the window holds.
struct ReportOrder {
  std::filesystem::path folder;  ///< where it goes
  std::vector<report::Form> forms;
  bool dicom = false;
  std::string reviewer;  ///< name and notes of the reader; each may be empty
  std::string notes;
  bool unsaved = false;              ///< corrections are in it that series.json does not have
  std::filesystem::path films = {};  ///< the folder of the hip, in which nothing is written
};

/// A report that was written.
struct Reported {
  std::filesystem::path folder;
  /// Why there are no objects for the archive, or what they do not hold; a sentence each.
  std::vector<std::string> archive_notes = {};
};

/// What the measurer tells, through `post`. A cancelled order is not answered, but for a report: a
/// person waits for it.
struct Heard {
  std::function<void(Order, const std::string& file, Expected<std::shared_ptr<const LoadedFilm>>)>
      film;
  std::function<void(std::size_t done, std::size_t all)> progress;
  /// Twice for one order when something is told early.
  std::function<void(Order, std::shared_ptr<const MeasuredHip>)> measured;
  std::function<void(Order, Expected<Reported>)> reported;
  /// A fault of the program, one sentence.
  std::function<void(const std::string&)> fault;
};

/// Does on a thread of its own what takes longer than a frame: reads films, measures, writes
/// reports. Of measurements, and of films to be shown, only the latest order counts: an earlier one
/// that still runs is cancelled. Answers that steps gave before, and films that were read before
/// and have not changed on the disk (size and time of change), are used again: they change the
/// time, never the result.
class Measurer {
 public:
  /// Has a function called on the thread of the caller, some time later.
  using Post = std::function<void(std::function<void()>)>;

  /// What steps said before (followup::Options::before).
  using Memory = std::shared_ptr<const followup::StepMemory>;

  Measurer(Post post, Heard heard, Memory memory = {});
  Measurer(const Measurer&) = delete;
  Measurer& operator=(const Measurer&) = delete;
  /// Cancels what runs and waits for its end.
  ~Measurer();

  /// Reads the films of a series for showing, in their order but the `first` one first. Those of
  /// another hip are let go of.
  Order load(const followup::Series& series, std::size_t first);
  Order measure(const followup::Series& series, const std::optional<Awaited>& awaited = {});
  Order write_report(const followup::Series& series, const ReportOrder& order);
  /// What the steps have said so far.
  [[nodiscard]] Memory memory();
  /// How many films are kept in memory, those that could not be read among them.
  [[nodiscard]] std::size_t films_kept();
  /// Gives up what runs and what waits; reports among them are answered.
  void cancel();

 private:
  using Flag = std::shared_ptr<std::atomic<bool>>;
  enum class Kind { kLoad, kMeasure, kReport };
  struct Job {
    Kind kind = Kind::kLoad;
    Flag cancelled;
    Order order = 0;
    std::function<void(Order, const Flag&)> run;
  };
  /// A film as it is shown, and the part of it that is measured.
  struct ReadFilm {
    Expected<film::FilmImage> film;
    std::optional<film::ExposedField> field;
  };
  using FilmAnswer = std::shared_ptr<const ReadFilm>;
  struct Cached {
    std::filesystem::file_time_type changed;
    std::uintmax_t size = 0;
    FilmAnswer film;
  };

  Order add(Kind kind, std::function<void(Order, const Flag&)> run);
  void work();
  [[nodiscard]] static FilmFrame frame_of(const ReadFilm& kept);
  [[nodiscard]] FilmAnswer read(const std::filesystem::path& file);
  void keep_only(const std::vector<std::pair<std::string, std::filesystem::path>>& files);
  [[nodiscard]] followup::Steps steps(const Flag& cancelled);
  using Prepared = Expected<std::shared_ptr<const followup::PreparedHip>>;
  [[nodiscard]] Prepared prepared(const followup::HipFilm& film);
  [[nodiscard]] followup::Result measured(const followup::Series& series, followup::Options options,
                                          const Flag& cancelled);
  using Clock = std::chrono::steady_clock;
  void tell(Order order, const Flag& cancelled, Clock::time_point begun, followup::Result result,
            std::optional<std::size_t> early);
  [[nodiscard]] Expected<Reported> report(const followup::Series& series, const ReportOrder& order,
                                          const Flag& cancelled);

  Post post_;
  Heard heard_;
  std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Job> waiting_;
  Flag running_;
  Kind running_kind_ = Kind::kLoad;
  Order last_ = 0;
  bool stop_ = false;
  std::mutex films_mutex_;
  std::map<std::filesystem::path, Cached> films_;
  /// What each film of the hip was last made into: a corrected film is compared with the others.
  struct Made {
    std::string name;  ///< followup::name_of
    std::shared_ptr<const followup::PreparedHip> ready;
  };
  std::mutex made_mutex_;
  std::map<std::string, Made> made_;  ///< by the film's SHA-256
  /// What was registered of this hip's films: most of it is asked again after a correction.
  const std::shared_ptr<alignment::Memory> registrations_ = std::make_shared<alignment::Memory>();
  Memory memory_;
  std::thread thread_;
};

}  // namespace tidemark::view
