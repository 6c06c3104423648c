#include "measurer.h"

#include <algorithm>
#include <exception>
#include <utility>

#include "tidemark/archive/objects.h"
#include "tidemark/followup/history.h"
#include "tidemark/followup/write.h"
#include "tidemark/report/write.h"

namespace tidemark::view {
namespace {

/// Of answers kept in memory; some hundred corrections of a hip with six films. House choice.
constexpr std::size_t kMostMemory = std::size_t{96} << 20U;

std::size_t size_of(const followup::StepMemory& memory) {
  std::size_t out = 0;
  for (const auto& [key, said] : memory.said) out += key.size() + said.size();
  return out;
}

/// What was said now, and what was said before it as far as there is room: undo asks for that
/// again.
std::shared_ptr<const followup::StepMemory> joined(
    const std::shared_ptr<const followup::StepMemory>& before, followup::StepMemory now) {
  if (before && size_of(*before) + size_of(now) < kMostMemory) {
    now.said.insert(before->said.begin(), before->said.end());
  }
  return std::make_shared<const followup::StepMemory>(std::move(now));
}

template <class Step>
void make_cancellable(Step& step, const std::shared_ptr<std::atomic<bool>>& cancelled) {
  if (!step) return;
  step = [inner = step, cancelled](
             auto&&... arguments) -> decltype(step(std::declval<decltype(arguments)>()...)) {
    if (*cancelled) return fail(ErrorKind::kCannotTell, "film", "the measurement was cancelled");
    return inner(std::forward<decltype(arguments)>(arguments)...);
  };
}

/// Whoever asks in the window has no options to give.
tl::unexpected<Error> without_options(Error error) {
  if (error.remedy.find("--") != std::string::npos) {
    error.remedy = error.kind != ErrorKind::kUsage
                       ? "choose another folder or change its permissions"
                   : error.wrong.find("of the films") != std::string::npos
                       ? "choose a folder outside of it: the films' folder is only read"
                       : "choose another folder";
  }
  return tl::unexpected(std::move(error));
}

/// The document with the reader's name and notes, said to be the reader's, and whether what it
/// rests on is saved.
report::Document signed_document(report::Document document, const ReportOrder& order) {
  if (!order.reviewer.empty()) document.facts.push_back({"Reviewed by", order.reviewer});
  if (!order.notes.empty()) {
    report::Section notes{"reader-notes", "Notes of the reader", {}};
    notes.blocks.emplace_back(report::Paragraph{{order.notes}, report::Tone::kPlain});
    document.sections.insert(document.sections.begin(), std::move(notes));
  }
  if (order.unsaved) {
    report::Section unsaved{"not-saved", "Corrections that were not saved", {}};
    unsaved.blocks.emplace_back(report::Paragraph{
        {"This report was made with corrections that were not in series.json yet. Unless they were "
         "saved afterwards, nobody can measure these numbers again."},
        report::Tone::kDoubt});
    document.sections.insert(document.sections.begin(), std::move(unsaved));
  }
  return document;
}

/// Writes the objects for the archive. That none can be made is no reason to write no report.
/// @return what is to be said of them, a sentence each; kNotWritable
Expected<std::vector<std::string>> write_objects(const followup::Result& result,
                                                 const followup::Series& series,
                                                 const std::filesystem::path& folder) {
  const auto objects = archive::make_objects(result, series);
  // Its remedy names an option of the command line.
  if (!objects) return std::vector{objects.error().subject + ": " + objects.error().wrong};
  auto written = archive::write_objects(*objects, folder);
  if (!written) return tl::unexpected(written.error());
  return objects->notes;
}

/// What the folder holds of an earlier run belongs to the result that is replaced now. The next run
/// there tells what changed since this one; nothing that was measured in the window is taken over.
Expected<void> leave_history(const followup::Result& result, const std::filesystem::path& folder) {
  constexpr const char* kProgram = "tidemark-review";
  return followup::write_history(result, followup::read_earlier(folder, kProgram), kProgram,
                                 folder);
}

tl::unexpected<Error> given_up() {
  return fail(ErrorKind::kCannotTell, "report", "it was given up before anything was written",
              "ask for it again (Ctrl+R)");
}

Expected<Reported> write_all(const followup::Result& result, const followup::Series& series,
                             const ReportOrder& order) {
  Reported out{order.folder};
  const auto free = followup::check_output(order.folder, series);
  if (!free) return without_options(free.error());
  const auto lock = followup::prepare_output(order.folder, order.films);
  if (!lock) return without_options(lock.error());
  const auto ready = archive::remove_objects(order.folder);
  if (!ready) return without_options(ready.error());
  if (order.dicom) {
    auto notes = write_objects(result, series, order.folder);
    if (!notes) return without_options(notes.error());
    out.archive_notes = std::move(*notes);
  }
  const auto document =
      signed_document(report::document_of(result, report::Language::kEnglish), order);
  auto written = report::write_report(document, order.forms, order.folder);
  if (written) written = leave_history(result, order.folder);
  if (written) written = followup::write_output(result, order.folder);
  if (!written) return without_options(written.error());
  return out;
}

}  // namespace

Measurer::Measurer(Post post, Heard heard, Memory memory)
    : post_(std::move(post)),
      heard_(std::move(heard)),
      memory_(std::move(memory)),
      thread_([this] { work(); }) {}

Measurer::~Measurer() {
  cancel();
  {
    const std::scoped_lock lock(mutex_);
    stop_ = true;
  }
  wake_.notify_all();
  thread_.join();
}

Order Measurer::add(Kind kind, std::function<void(Order, const Flag&)> run) {
  const std::scoped_lock lock(mutex_);
  if (kind != Kind::kReport) {
    std::erase_if(waiting_, [kind](const Job& job) { return job.kind == kind; });
    if (running_ && running_kind_ == kind) *running_ = true;
  }
  ++last_;
  waiting_.push_back({kind, std::make_shared<std::atomic<bool>>(false), last_, std::move(run)});
  wake_.notify_all();
  return last_;
}

void Measurer::cancel() {
  std::vector<Order> reports;
  {
    const std::scoped_lock lock(mutex_);
    if (running_) *running_ = true;
    for (const Job& job : waiting_) {
      if (job.kind == Kind::kReport) reports.push_back(job.order);
    }
    waiting_.clear();
  }
  for (const Order order : reports) post_([this, order] { heard_.reported(order, given_up()); });
}

Measurer::Memory Measurer::memory() {
  const std::scoped_lock lock(mutex_);
  return memory_;
}

void Measurer::work() {
  while (true) {
    Job job;
    {
      std::unique_lock lock(mutex_);
      running_.reset();
      wake_.wait(lock, [this] { return stop_ || !waiting_.empty(); });
      if (stop_) return;
      job = std::move(waiting_.front());
      waiting_.pop_front();
      running_ = job.cancelled;
      running_kind_ = job.kind;
    }
    try {
      job.run(job.order, job.cancelled);
    } catch (const std::exception& e) {
      post_([this, what = std::string(e.what())] { heard_.fault(what); });
    }
  }
}

Measurer::FilmAnswer Measurer::read(const std::filesystem::path& file) {
  std::error_code error;
  const auto changed = std::filesystem::last_write_time(file, error);
  const auto size = std::filesystem::file_size(file, error);
  {
    const std::scoped_lock lock(films_mutex_);
    const auto found = films_.find(file);
    if (found != films_.end() && !error && found->second.changed == changed &&
        found->second.size == size) {
      return found->second.film;
    }
  }
  auto in_field = film::read_in_field(file);
  const auto read = std::make_shared<ReadFilm>(
      in_field ? ReadFilm{std::move(in_field->film), std::move(in_field->field)}
               : ReadFilm{tl::unexpected(in_field.error()), {}});
  const std::scoped_lock lock(films_mutex_);
  // What could not be read may be readable the next time, unchanged: a share that was away.
  if (read->film) {
    films_[file] = {changed, size, read};
  } else {
    films_.erase(file);
  }
  return read;
}

void Measurer::keep_only(const std::vector<std::pair<std::string, std::filesystem::path>>& files) {
  const std::scoped_lock lock(films_mutex_);
  const auto gone = std::erase_if(films_, [&](const auto& kept) {
    return std::none_of(files.begin(), files.end(),
                        [&](const auto& file) { return file.second == kept.first; });
  });
  if (gone == 0) return;
  const std::scoped_lock made_lock(made_mutex_);
  made_.clear();
}

std::size_t Measurer::films_kept() {
  const std::scoped_lock lock(films_mutex_);
  return films_.size();
}

FilmFrame Measurer::frame_of(const ReadFilm& kept) {
  const film::FilmImage& shown = *kept.film;
  if (!kept.field) return view::frame_of(shown, shown);
  return view::frame_of(shown, film::within_exposed_field(shown, kept.field));
}

Order Measurer::load(const followup::Series& series, std::size_t first) {
  std::vector<std::pair<std::string, std::filesystem::path>> files;
  for (std::size_t i = 0; i < series.films.size(); ++i) {
    const auto& film = series.films[(i + first) % series.films.size()];
    files.emplace_back(film.file, film.path);
  }
  return add(Kind::kLoad, [this, files](Order order, const Flag& cancelled) {
    keep_only(files);
    for (const auto& [file, path] : files) {
      if (*cancelled) return;
      const FilmAnswer kept = read(path);
      Expected<std::shared_ptr<const LoadedFilm>> answer(nullptr);
      if (kept->film) {
        answer = std::make_shared<const LoadedFilm>(
            LoadedFilm{{kept, &kept->film}, picture_of(kept->film->pixels), frame_of(*kept)});
      } else {
        answer = tl::unexpected(kept->film.error());
      }
      post_([this, order, name = file, answer] { heard_.film(order, name, answer); });
    }
  });
}

Measurer::Prepared Measurer::prepared(const followup::HipFilm& film) {
  const std::string name = followup::name_of(film);
  const std::string& sha256 = film.hip_view.facts.sha256;
  {
    const std::scoped_lock lock(made_mutex_);
    const auto found = made_.find(sha256);
    if (found != made_.end() && found->second.name == name) return found->second.ready;
  }
  auto ready = followup::default_steps().prepare(film);
  if (ready) {
    const std::scoped_lock lock(made_mutex_);
    made_[sha256] = {name, *ready};
  }
  return ready;
}

followup::Steps Measurer::steps(const Flag& cancelled) {
  followup::Steps out = followup::default_steps(registrations_);
  out.read = [this](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    const FilmAnswer kept = read(file);
    if (!kept->film) return kept->film;
    return film::within_exposed_field(*kept->film, kept->field);
  };
  make_cancellable(out.read, cancelled);
  make_cancellable(out.find_implant, cancelled);
  make_cancellable(out.find_femur, cancelled);
  make_cancellable(out.look_for_lines, cancelled);
  make_cancellable(out.compare_lines, cancelled);
  out.prepare = [this](const followup::HipFilm& film) { return prepared(film); };
  make_cancellable(out.prepare, cancelled);
  make_cancellable(out.compare, cancelled);
  return out;
}

followup::Result Measurer::measured(const followup::Series& series, followup::Options options,
                                    const Flag& cancelled) {
  options.remember = followup::Remember::kKeep;
  options.before = memory();
  options.progress = [this, cancelled](std::size_t done, std::size_t all) {
    if (!*cancelled) post_([this, done, all] { heard_.progress(done, all); });
  };
  followup::Result result = followup::measure_with(series, options, steps(cancelled));
  if (!*cancelled && result.reuse) {
    auto all = joined(options.before, std::move(result.reuse->said));
    const std::scoped_lock lock(mutex_);
    memory_ = std::move(all);
  }
  result.reuse.reset();
  return result;
}

void Measurer::tell(Order order, const Flag& cancelled, Clock::time_point begun,
                    followup::Result result, std::optional<std::size_t> early) {
  if (*cancelled) return;
  auto out = std::make_shared<MeasuredHip>();
  out->result = std::move(result);
  out->document = report::document_of(out->result, report::Language::kEnglish);
  out->seconds = std::chrono::duration<double>(Clock::now() - begun).count();
  out->early = early;
  post_([this, order, out] { heard_.measured(order, out); });
}

Order Measurer::measure(const followup::Series& series, const std::optional<Awaited>& awaited) {
  return add(Kind::kMeasure, [this, series, awaited](Order order, const Flag& cancelled) {
    const auto begun = Clock::now();
    followup::Options options;
    options.unroll = followup::Unroll::kKeep;
    if (awaited) {
      const auto& before = awaited->before;
      options.early = followup::Early{
          awaited->follow_up, {before, &before->result}, [&](followup::Result result) {
            tell(order, cancelled, begun, std::move(result), awaited->follow_up);
          }};
    }
    tell(order, cancelled, begun, measured(series, options, cancelled), {});
  });
}

Expected<Reported> Measurer::report(const followup::Series& series, const ReportOrder& order,
                                    const Flag& cancelled) {
  followup::Options options;
  options.pictures = followup::Pictures::kDraw;
  options.aligned = followup::Aligned::kKeep;
  const auto result = measured(series, options, cancelled);
  if (*cancelled) return given_up();
  return write_all(result, series, order);
}

Order Measurer::write_report(const followup::Series& series, const ReportOrder& order) {
  return add(Kind::kReport, [this, series, order](Order number, const Flag& cancelled) {
    const auto answer = report(series, order, cancelled);
    post_([this, number, answer] { heard_.reported(number, answer); });
  });
}

}  // namespace tidemark::view
