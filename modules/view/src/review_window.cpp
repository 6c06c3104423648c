#include "review_window.h"

#include <QAction>
#include <QApplication>
#include <QCloseEvent>
#include <QDateTime>
#include <QDragEnterEvent>
#include <QLabel>
#include <QListWidget>
#include <QMenuBar>
#include <QMessageBox>
#include <QMimeData>
#include <QProgressBar>
#include <QPushButton>
#include <QSlider>
#include <QStatusBar>
#include <QTimer>
#include <QUrl>
#include <algorithm>
#include <cmath>
#include <utility>

#include "corrected.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"
#include "tidemark/view/snap.h"
#include "zone_state.h"

namespace tidemark::view {
namespace {

constexpr double kSnapReachMm = 3.0;   ///< house choice: more would leave the figure
constexpr double kSnapReachPx = 20.0;  ///< where no scale is known
/// What all films and marks may take while they are moved: 30 frames a second, and what else is
/// done for each.
constexpr double kFrameMs = 26.0;
constexpr int kHipNamePx = 160;   ///< room for it where the window asks
constexpr int kReaderBytes = 64;  ///< what the sheet takes

QString text_of(const std::string& text) { return QString::fromStdString(text); }

std::vector<std::string> names_of(const followup::Series& series) {
  std::vector<std::string> out;
  for (const auto& film : series.films) out.push_back(film.file);
  return out;
}

QString words_of(const Reported& report) {
  QString out = "The report is in " + text_of(printable(report.folder.string())) + ".";
  for (const std::string& note : report.archive_notes) out += "\n" + text_of(printable(note)) + ".";
  return out;
}

bool lies_on(const film::FilmFacts& film, const Vec2& stored_px) {
  const Vec2 corner(film.stored_columns - 0.5, film.stored_rows - 0.5);
  return stored_px.minCoeff() >= -0.5 && (corner - stored_px).minCoeff() >= 0.0;
}

/// Whether the side of the hip is a guess that the user should put right.
bool side_is_guessed(const followup::Result& result) {
  if (!result.side) return true;
  return std::any_of(result.films.begin(), result.films.end(), [](const auto& film) {
    return std::any_of(film.flags.begin(), film.flags.end(),
                       [](const Flag& flag) { return flag.id == "side_assumed"; });
  });
}

/// The box about the points, widened by a share of its height.
struct WorldBox {
  Vec2 low = Vec2::Constant(1e9);
  Vec2 high = Vec2::Constant(-1e9);
  void add(const Vec2& p) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  [[nodiscard]] bool any() const { return low.x() <= high.x(); }
};

Camera camera_on(const WorldBox& box, const QSize& size, double margin) {
  const Vec2 span = (box.high - box.low).cwiseMax(Vec2::Constant(1.0));
  const double zoom = std::min(size.width() / (span.x() * (1.0 + margin)),
                               size.height() / (span.y() * (1.0 + margin)));
  return {0.5 * (box.low + box.high), std::max(zoom, 0.02)};
}

}  // namespace

ReviewWindow::ReviewWindow(std::filesystem::path journals, Measurer::Memory memory)
    : journals_(std::move(journals)) {
  build();
  measurer_ = std::make_unique<Measurer>(
      [this](std::function<void()> done) {
        QMetaObject::invokeMethod(this, std::move(done), Qt::QueuedConnection);
      },
      heard(), std::move(memory));
  connect(qApp, &QApplication::focusChanged, this, [this](QWidget*, QWidget* now) {
    if (now == nullptr || now->window() != this || qobject_cast<QMenuBar*>(now) != nullptr) return;
    last_focus_ = now;
  });
  refresh();
}

ReviewWindow::~ReviewWindow() {
  qApp->disconnect(this);  // the focus wanders while the parts go, one after the other
}

Heard ReviewWindow::heard() {
  Heard out;
  out.film = [this](Order order, const std::string& file,
                    const Expected<std::shared_ptr<const LoadedFilm>>& film) {
    if (order != load_order_) return;
    --loading_;
    take_film(file, film);
  };
  out.progress = [this](std::size_t done, std::size_t all) {
    progress_->setMaximum(static_cast<int>(all));
    progress_->setValue(static_cast<int>(done));
  };
  out.measured = [this](Order order, const std::shared_ptr<const MeasuredHip>& hip) {
    if (order == measure_order_) take_hip(hip);
  };
  out.reported = [this](Order order, const Expected<Reported>& report) {
    const bool awaited = reports_.erase(order) > 0;
    const QString text = report ? words_of(*report) : text_of(report.error().sentence());
    awaited ? say(text) : say_also(text);  // what is said of another hip stays
    refresh();
  };
  out.fault = [this](const std::string& what) {
    measuring_ = false;
    reports_.clear();
    loading_ = 0;
    say("A fault of the program: " + text_of(printable(what)) +
        "; please report it. Your corrections are kept.");
    refresh();
  };
  return out;
}

void ReviewWindow::take_film(const std::string& file,
                             const Expected<std::shared_ptr<const LoadedFilm>>& film) {
  const auto found = films_.find(file);
  // The canvases show it until refresh() below.
  const auto before = found == films_.end() ? nullptr : found->second;
  const bool other = before && (!film || before->read != (*film)->read);
  unreadable_.erase(file);
  if (film) {
    films_[file] = *film;
    if (!camera_by_hand_ && !hip_) fit();
  } else {
    films_.erase(file);
    unreadable_[file] = film.error().sentence();
    say(text_of(film.error().sentence()));
  }
  if (other) fill_time_line();  // its thumbnail is another one
  update_time_line();
  refresh();
}

QString ReviewWindow::message() const { return message_->text(); }

void ReviewWindow::say(const QString& text) {
  message_->setText(text);
  message_bar_->setVisible(!text.isEmpty());
}

void ReviewWindow::say_also(const QString& text) {
  say(message().isEmpty() ? text : message() + "\n" + text);
}

void ReviewWindow::say_not_listed() {
  const auto names = review_->films_not_listed();
  if (names.empty()) return;
  const bool more = names.size() > 1;
  const QString text =
      text_of(printable(names.front())) +
      (more ? QString(" and %1 more films stand").arg(names.size() - 1) : QString(" stands")) +
      " beside series.json, which does not list " + (more ? "them" : "it") +
      ": not measured. List what belongs to this hip in series.json and open it again.";
  if (!message().contains(text)) say_also(text);
}

void ReviewWindow::open_in(const std::filesystem::path& folder,
                           const std::vector<std::string>& files) {
  finish_pending();
  std::error_code error;
  if (const auto choice = check_choice(folder, files); !choice) {
    say(text_of(choice.error().sentence()));  // what is open stays
    return;
  }
  if (review_ && std::filesystem::equivalent(review_->folder(), folder, error)) {
    if (const auto readable = followup::load_series(folder, {}); !readable) {
      say(text_of(readable.error().sentence()));  // what is open stays
      return;
    }
    review_.reset();  // opened again: its journal must be let go of first
  }
  auto next = Review::open(folder, journals_, files);
  if (!next && review_) {
    say(text_of(next.error().sentence()));  // the hip that is open stays
    return;
  }
  set_review(std::move(next));
}

void ReviewWindow::open_these(const std::vector<std::filesystem::path>& paths) {
  if (paths.empty()) return;
  std::error_code error;
  if (paths.size() == 1 && std::filesystem::is_directory(paths.front(), error)) {
    open(paths.front());
    return;
  }
  const auto folder = paths.front().parent_path();
  std::vector<std::string> files;
  for (const auto& path : paths) {
    if (path.parent_path() != folder || std::filesystem::is_directory(path, error)) {
      say("These films stand in more than one place; put the films of one hip into one folder and "
          "open that.");
      return;
    }
    files.push_back(path.filename().string());
  }
  std::sort(files.begin(), files.end());
  open_in(folder, files);
}

void ReviewWindow::finish_pending() {
  for (FilmCanvas* canvas : {left_, right_}) canvas->let_go();
}

void ReviewWindow::set_review(Expected<Review> review) {
  measurer_->cancel();
  films_.clear();
  unreadable_.clear();
  hip_.reset();
  series_.reset();
  review_.reset();
  picked_.reset();
  loading_ = 0;
  ++load_order_;  // what is still on its way is of the hip before
  ++measure_order_;
  reports_.clear();
  measuring_ = chosen_for_good_ = camera_by_hand_ = false;
  forget_asked();
  say("");
  if (!review) {
    say(text_of(review.error().sentence()));
    fill_time_line();
    refresh();
    return;
  }
  review_.emplace(std::move(*review));
  if (const auto series = review_->series(); !series) {
    say(text_of(series.error().sentence()));
    review_.reset();
    fill_time_line();
    refresh();
    return;
  }
  if (review_->unsaved() && review_->recovered() > 0) {
    say(QString("%1 corrections that were not saved the last time are back; undo takes them away.")
            .arg(review_->recovered()));
  }
  if (!review_->note().empty()) say_also(text_of(review_->note()));
  say_not_listed();
  remeasure();
}

std::size_t ReviewWindow::reference_now() const {
  const std::size_t n = series_->films.size();
  std::size_t out = hip_ ? std::min(reference_, n - 1) : 0;
  for (std::size_t i = 0; i < n; ++i) {
    const bool known = hip_ && hip_->result.films.size() == n;
    const auto role = known ? hip_->result.films[i].role : series_->films[i].role;
    if (role == followup::Role::kReference) out = i;
  }
  return out;
}

/// Which film is the reference, and which one is looked at. The latter is chosen once: whoever
/// corrects a film must see what becomes of that film.
void ReviewWindow::settle_films() {
  const std::size_t n = series_->films.size();
  const std::size_t reference = reference_now();
  const bool became_reference = chosen_ == reference && reference != reference_;
  reference_ = reference;
  if (chosen_for_good_ && chosen_ < n && !became_reference) return;
  chosen_ = reference_ == n - 1 && n > 1 ? n - 2 : n - 1;
  chosen_for_good_ = hip_ != nullptr;
  if (!hip_) return;
  for (const auto& pair : hip_->result.comparisons) {
    if (pair.migration) chosen_ = pair.follow_up;  // the latest
  }
}

void ReviewWindow::load_films() {
  loading_ = static_cast<int>(series_->films.size());
  load_order_ = measurer_->load(*series_, reference_);
}

/// The sheet lists other films than before.
void ReviewWindow::take_other_films() {
  hip_.reset();
  picked_.reset();
  chosen_for_good_ = false;
  settle_films();
  fill_time_line();
  load_films();
}

void ReviewWindow::remeasure() {
  auto series = review_->series();
  if (!series) {
    say(text_of(series.error().sentence()));
    return;
  }
  const bool other_films = !series_ || names_of(*series) != names_of(*series_);
  series_ = std::move(*series);
  if (other_films) take_other_films();
  measuring_ = true;
  progress_->setValue(0);
  std::optional<Awaited> awaited;
  if (hip_ && chosen_ != reference_) awaited = Awaited{chosen_, hip_};
  measure_order_ = measurer_->measure(*series_, awaited);
  ordered_ = review_->sheet();
  refresh();
}

void ReviewWindow::measure_again() {
  if (!review_) return;
  finish_pending();
  const auto added = review_->films_added();
  if (!added.empty() && review_->done() == 0) {
    open(std::filesystem::path(review_->folder()));  // a copy: the review goes
    return;
  }
  if (!added.empty()) {
    say(text_of(printable(added.front())) +
        (added.size() > 1 ? QString(" and %1 more films are").arg(added.size() - 1) : " is") +
        " new in this folder and not measured: what was corrected belongs to the films before. "
        "Take the corrections back, then press F5.");
  }
  say_not_listed();
  load_films();  // at once where a film has not changed on the disk
  remeasure();
}

void ReviewWindow::take_hip(const std::shared_ptr<const MeasuredHip>& hip) {
  const bool first = !hip_;
  hip_ = hip;
  told_ = ordered_;
  measuring_ = hip->early.has_value();
  if (!measuring_) measured_ = ordered_;
  settle_films();
  if (picked_ && picked_->film != reference_ && picked_->film != chosen_) picked_.reset();
  update_time_line();
  if (first && !camera_by_hand_) fit();
  if (!measuring_) status_->setText(QString("Measured in %1 s").arg(hip->seconds, 0, 'f', 2));
  refresh();
}

void ReviewWindow::correct(const std::string& told, const Sheet& sheet) {
  if (!review_) return;
  const auto done = review_->correct(told, sheet);
  if (!done) say(text_of(done.error().sentence()));
  remeasure();
}

void ReviewWindow::take_step(const Expected<std::optional<std::string>>& step,
                             const QString& what) {
  if (!step) say(text_of(step.error().sentence()));
  if (step && !*step) return;
  if (step) status_->setText(what + text_of(**step));
  remeasure();
}

void ReviewWindow::undo() {
  if (!review_) return;
  finish_pending();
  take_step(review_->undo(), "Undone: ");
}

void ReviewWindow::redo() {
  if (!review_) return;
  finish_pending();
  take_step(review_->redo(), "Done again: ");
}

void ReviewWindow::save() {
  if (!review_) return;
  finish_pending();
  const auto saved = review_->save();
  say(saved ? "" : text_of(saved.error().sentence()));
  if (saved) {
    status_->setText("Saved to series.json");
    say_not_listed();
  }
  refresh();
}

void ReviewWindow::report_to(const ReportOrder& order) {
  if (!review_) return;
  finish_pending();
  const auto series = review_->series();
  if (!series) {
    say(text_of(series.error().sentence()));
    return;
  }
  ReportOrder now = order;
  now.unsaved = review_->unsaved();
  now.films = review_->folder();
  reports_.insert(measurer_->write_report(*series, now));
  refresh();
}

void ReviewWindow::cancel() {
  if (!busy()) return;
  measurer_->cancel();
  say("Cancelled.");
  for (const auto& film : loading_ > 0 ? series_->films : std::vector<followup::FilmEntry>()) {
    if (films_.contains(film.file) || unreadable_.contains(film.file)) continue;
    unreadable_[film.file] = "This film was not read: reading was cancelled. F5 reads it.";
  }
  measuring_ = false;
  reports_.clear();
  loading_ = 0;
  ++measure_order_;  // no answer is awaited
  refresh();
}

void ReviewWindow::show_as(Showing showing) {
  finish_pending();
  showing_ = showing;
  flipped_ = false;
  actions_[QString("show-%1").arg(static_cast<int>(showing) + 1)]->setChecked(true);
  showing == Showing::kFlicker ? flicker_->start() : flicker_->stop();
  if (!camera_by_hand_) fit();
  refresh();
}

void ReviewWindow::choose(std::size_t film) {
  if (!series_ || film >= series_->films.size() || film == chosen_) return;
  finish_pending();  // it is found by where its film lies now
  chosen_ = film;
  chosen_for_good_ = true;
  if (picked_ && picked_->film != reference_) picked_.reset();
  refresh();
}

const LoadedFilm* ReviewWindow::film_at(std::size_t index) const {
  if (!series_ || index >= series_->films.size()) return nullptr;
  const auto found = films_.find(series_->films[index].file);
  return found == films_.end() ? nullptr : found->second.get();
}

std::optional<Affine2> ReviewWindow::follow_from_reference_film() const {
  const LoadedFilm* reference = film_at(reference_);
  const LoadedFilm* chosen = film_at(chosen_);
  if (reference == nullptr || chosen == nullptr || !hip_) return {};
  for (const auto& pair : hip_->result.comparisons) {
    if (pair.follow_up != chosen_ || pair.reference != reference_) continue;
    return follow_from_reference(hip_->result, pair, reference->frame, chosen->frame, laid_on_);
  }
  return {};
}

std::optional<Affine2> ReviewWindow::film_from_world(std::size_t film) const {
  if (film_at(film) == nullptr || (film != reference_ && film != chosen_)) return {};
  if (film == reference_) return Affine2{};
  if (auto aligned = follow_from_reference_film()) return aligned;
  const LoadedFilm* reference = film_at(reference_);
  if (hip_ == nullptr || reference == nullptr) return Affine2{};
  return roughly_placed(hip_->result.films[reference_], hip_->result.films[film],
                        reference->image(), film_at(film)->image());
}

followup::FilmResult ReviewWindow::film_now(std::size_t film) const {
  return as_corrected(hip_->result.films[film], film, review_->sheet(), measured_);
}

Whose ReviewWindow::whose(std::size_t film) const {
  return film == reference_ ? Whose::kReference : Whose::kFollowUp;
}

void ReviewWindow::add_overlay(CanvasContent& content, std::size_t film) const {
  const auto from_world = film_from_world(film);
  if (!hip_ || !from_world || film >= hip_->result.films.size()) return;
  const Affine2 view_from_stored = film_at(film)->image().stored_from_view.inverse();
  const auto* unrolled = unrolled_of(hip_->result, film);
  const auto* strip = unrolled == nullptr ? nullptr : &unrolled->strips.back();
  Overlay more = overlay_of(film_now(film), film,
                            {from_world->inverse(), view_from_stored, whose(film)}, strip);
  auto& to = content.overlay;
  to.lines.insert(to.lines.end(), more.lines.begin(), more.lines.end());
  to.points.insert(to.points.end(), more.points.begin(), more.points.end());
}

QString ReviewWindow::title_of(std::size_t film) const {
  const auto& entry = series_->films[film];
  QString out = film == reference_ ? "Reference  " : "Follow-up  ";
  out += text_of(printable(entry.file));
  auto date = entry.date;
  if (hip_ && film < hip_->result.films.size()) date = hip_->result.films[film].date;
  if (date) out += "  " + text_of(format_date(*date));
  return out;
}

CanvasContent ReviewWindow::content_of(std::size_t film) const {
  CanvasContent out;
  if (!series_) {
    out.empty = "Open the folder of a hip (Ctrl+O), or drop its films here.";
    return out;
  }
  out.title = title_of(film);
  const LoadedFilm* loaded = film_at(film);
  if (loaded == nullptr) {
    const auto why = unreadable_.find(series_->films[film].file);
    out.empty = why == unreadable_.end() ? "Reading the film …" : text_of(why->second);
    return out;
  }
  out.first = {&loaded->picture, film_from_world(film).value_or(Affine2{})};
  out.films = {film};
  add_overlay(out, film);
  return out;
}

CanvasContent ReviewWindow::both_films() const {
  const auto aligned = follow_from_reference_film();
  if (!aligned) {
    CanvasContent out = content_of(reference_);
    if (!series_ || film_at(chosen_) == nullptr || measuring_) return out;
    out.empty = chosen_ == reference_
                    ? "This is the reference film. Choose a follow-up film in the time line to "
                      "lay it on this one."
                    : "These two films are not aligned, so they cannot be laid over each other; "
                      "the panel says why.";
    return out;
  }
  CanvasContent out;
  out.title = title_of(reference_) + "   with   " + title_of(chosen_) +
              (laid_on_ == LaidOn::kBone ? "   bone on bone" : "   stem on stem");
  out.first = {&film_at(reference_)->picture, Affine2{}};
  out.second = {&film_at(chosen_)->picture, *aligned};
  out.films = {reference_, chosen_};
  switch (showing_) {
    case Showing::kEdge:
      out.mix = Mix::kEdge;
      break;
    case Showing::kFlicker:
      out.mix = flipped_ ? Mix::kSecond : Mix::kFirst;
      break;
    case Showing::kDifference:
      out.mix = Mix::kDifference;
      break;
    default:
      out.mix = Mix::kBlend;
  }
  const bool flicker = showing_ == Showing::kFlicker;
  if (!flicker || !flipped_) add_overlay(out, reference_);
  // Where both lie over each other one name is enough.
  if (!flicker) {
    for (PointMark& mark : out.overlay.points) mark.name.clear();
  }
  if (!flicker || flipped_) add_overlay(out, chosen_);
  return out;
}

QString ReviewWindow::stale_words() const {
  if (!hip_ || !review_) return {};
  const bool of_this_sheet = told_ == review_->sheet();
  if (of_this_sheet && !hip_->early && !measuring_) return {};
  // What was cancelled or failed stays behind the corrections until it is measured.
  const QString then = measuring_ ? "" : " Press F5 to measure again.";
  if (of_this_sheet && hip_->early == chosen_) {
    return "How this stem moved is measured anew; lines, seat and other films are from before" +
           (measuring_ ? QString(" and still being measured.") : "." + then);
  }
  return (measuring_ ? "Measuring again: these are the numbers from before."
                     : "These numbers are from before your last correction.") +
         then;
}

void ReviewWindow::refresh() {
  const bool two = showing_ == Showing::kSideBySide;
  right_->setVisible(two && series_ && series_->films.size() > 1);
  left_->set_content(two ? content_of(reference_) : both_films());
  if (two && series_) right_->set_content(content_of(chosen_));
  for (FilmCanvas* canvas : {left_, right_}) {
    canvas->set_camera(camera_);
    canvas->set_window(window_);
    canvas->set_share(share_);
    canvas->set_shown(layers_);
    canvas->set_picked(picked_);
  }
  const bool known = series_ && chosen_ < series_->films.size();
  panel_->show_hip(hip_.get(), series_ ? std::optional(chosen_) : std::nullopt,
                   known ? series_->films[chosen_].zone_marks : std::vector<followup::ZoneMark>());
  panel_->show_steps(review());
  panel_->set_stale(stale_words());
  const bool asks_side = series_ && !series_->side && hip_ && side_is_guessed(hip_->result);
  const bool asks = review_ && (!series_->stem.head_diameter || asks_side);
  asking_bar_->setVisible(asks);
  share_slider_->setEnabled(showing_ == Showing::kBlend || showing_ == Showing::kEdge);
  progress_->setVisible(busy());
  cancel_button_->setVisible(busy());
  refresh_title();
  update_actions();
}

QString ReviewWindow::hip_name() const {
  if (!review_) return {};
  return text_of(
      printable(series_ && series_->hip ? *series_->hip : review_->folder().filename().string()));
}

void ReviewWindow::refresh_title() {
  QString title = "Tidemark review";
  const QString hip = hip_name();
  if (review_) title = hip + (review_->unsaved() ? " (not saved)" : "") + " – " + title;
  setWindowTitle(title);
  asked_hip_->setText(asked_hip_->fontMetrics().elidedText(hip, Qt::ElideMiddle, kHipNamePx) + ":");
}

void ReviewWindow::fit() {
  WorldBox box;
  if (hip_ && reference_ < hip_->result.films.size() && film_at(reference_) != nullptr) {
    const Affine2 view = film_at(reference_)->image().stored_from_view.inverse();
    const auto& film = hip_->result.films[reference_];
    if (film.stem) {
      for (const Vec2& p : film.stem->outline_px) box.add(view.apply(p));
    }
    if (film.head) {
      const double px = film::view_px_per_stored_px(film_at(reference_)->image());
      box.add(view.apply(film.head->centre_px) - Vec2(0.0, px * film.head->diameter_px));
    }
    if (film.greater_trochanter) box.add(view.apply(film.greater_trochanter->stored_px));
  }
  if (!box.any()) {
    fit_whole();
    return;
  }
  set_camera(camera_on(box, left_->size(), 0.16));
  camera_by_hand_ = false;
}

void ReviewWindow::fit_whole() {
  const LoadedFilm* film = film_at(reference_);
  if (film == nullptr) film = film_at(chosen_);
  if (film == nullptr) return;
  WorldBox box;
  box.add(Vec2::Zero());
  box.add(Vec2(film->image().pixels.width, film->image().pixels.height));
  set_camera(camera_on(box, left_->size(), 0.0));
  camera_by_hand_ = false;
}

void ReviewWindow::set_camera(const Camera& camera) {
  camera_ = camera;
  left_->set_camera(camera);
  right_->set_camera(camera);
}

void ReviewWindow::hurry() {
  const double canvases = right_->isVisible() ? 2.0 : 1.0;
  for (FilmCanvas* canvas : {left_, right_}) canvas->hurry(kFrameMs / canvases);
}

void ReviewWindow::set_window(const Window& window) {
  window_ = window;
  left_->set_window(window);
  right_->set_window(window);
  status_->setText(
      QString("Grey level %1, width %2").arg(window.level, 0, 'f', 2).arg(window.width, 0, 'f', 2));
}

void ReviewWindow::set_share(double share) {
  share_ = std::clamp(share, 0.0, 1.0);
  const QSignalBlocker quiet(share_slider_);
  share_slider_->setValue(static_cast<int>(std::lround(100.0 * share_)));
  left_->set_share(share_);
  right_->set_share(share_);
}

void ReviewWindow::handle_moved(const Handle& handle, const Vec2& world) {
  const auto from_world = film_from_world(handle.film);
  if (!review_ || !hip_ || !from_world) return;
  const film::FilmImage& film = film_at(handle.film)->image();
  const Vec2 stored_px = film.stored_from_view.apply(from_world->apply(world));
  // A sheet with a point there would take the whole film out of the measurement.
  if (handle.grip != Grip::kHeadEdge && !lies_on(film.facts, stored_px)) {
    say("This place lies outside of the film; the point stays where it was.");
    refresh();
    return;
  }
  const auto sheet = moved(review_->sheet(), film_now(handle.film), handle, stored_px,
                           film.stored_from_view.inverse());
  if (!sheet) return;
  correct(words_of(handle.grip) + " on " + printable(series_->films[handle.film].file), *sheet);
}

void ReviewWindow::pick(const std::optional<Handle>& handle) {
  picked_ = handle;
  left_->set_picked(handle);
  right_->set_picked(handle);
  if (handle && series_ && handle->film < series_->films.size()) {
    const bool seen = left_->place_of(*handle) || right_->place_of(*handle);
    status_->setText("Picked: " + text_of(words_of(handle->grip)) + " on " +
                     text_of(printable(series_->films[handle->film].file)) +
                     (seen ? ". Arrow keys or mouse move it, E snaps it to the edge, Del gives it "
                             "back to the program."
                           : ". It was not found: double click where it is, or press Enter to put "
                             "it into the middle."));
  }
  update_actions();
}

void ReviewWindow::pick_grip(Grip grip) {
  if (!series_) return;
  // The film in front first; asked again, the other one.
  std::size_t film = active_film();
  if (picked_ && picked_->grip == grip && picked_->film == film) {
    film = film == reference_ ? chosen_ : reference_;
  }
  for (const Layer layer : {Layer::kLandmarks, Layer::kHead, Layer::kAxes}) show_layer(layer);
  if (is_zone_border(grip)) show_layer(Layer::kZones);
  pick(Handle{film, grip});
  refresh();
}

void ReviewWindow::pick_next(int step) {
  const auto all = active()->handles();
  if (all.empty()) return;
  const auto n = static_cast<int>(all.size());
  const auto found = picked_ ? std::find(all.begin(), all.end(), *picked_) : all.end();
  const int at = found == all.end() ? (step > 0 ? -1 : n) : static_cast<int>(found - all.begin());
  pick(all[static_cast<std::size_t>((at + step + n) % n)]);
}

void ReviewWindow::snap() {
  if (!picked_ || !hip_) return;
  const LoadedFilm* film = film_at(picked_->film);
  const auto from_world = film_from_world(picked_->film);
  const FilmCanvas* canvas = active();
  const auto at = canvas->place_of(*picked_);
  if (film == nullptr || !from_world || !at) return;
  double reach = kSnapReachPx;
  if (const auto& scale = hip_->result.films[picked_->film].calibration) {
    const double px = film::view_px_per_stored_px(film->image());
    reach = kSnapReachMm / scale->mm_per_px.value.value * px;
  }
  const auto edge = snapped(film->image().pixels, from_world->apply(*at), reach);
  if (!edge) {
    say("No edge stands out near this point; move it closer to one.");
    return;
  }
  handle_moved(*picked_, from_world->inverse().apply(*edge));
}

void ReviewWindow::give_back() {
  if (!picked_ || !review_) return;
  const Sheet sheet = given_back(review_->sheet(), *picked_);
  if (sheet == review_->sheet()) return;
  correct(words_of(picked_->grip) + " on " + printable(series_->films[picked_->film].file) +
              ": as found by the program",
          sheet);
}

void ReviewWindow::toggle_layer(Layer layer, bool shown) {
  if (shown) {
    layers_.insert(layer);
  } else {
    layers_.erase(layer);
  }
  left_->set_shown(layers_);
  right_->set_shown(layers_);
}

void ReviewWindow::show_layer(Layer layer) { layer_actions_.at(layer)->setChecked(true); }

void ReviewWindow::lay_on(LaidOn laid_on) {
  laid_on_ = laid_on;
  refresh();
}

void ReviewWindow::go_to(const ZoneStrips::Place& place) {
  // The past of a lateral film is another lateral film, which is not shown.
  const bool past = place.past && place.past->film == reference_ && film_at(reference_) != nullptr;
  const auto& at = past ? place.past : place.present;
  if (!at || !(at->film == reference_ || at->film == chosen_)) return;
  const auto from_world = film_from_world(at->film);
  if (!from_world) return;
  const Vec2 on_film = film_at(at->film)->image().stored_from_view.inverse().apply(at->stored_px);
  for (const Layer layer : {Layer::kZones, Layer::kLines}) show_layer(layer);
  camera_by_hand_ = true;
  set_camera({from_world->inverse().apply(on_film), std::max(camera_.zoom, 2.0)});
  refresh();
}

void ReviewWindow::set_reader(const QString& reader) {
  reader_ = QString::fromStdString(printable(reader.simplified().toStdString()));
  while (reader_.toUtf8().size() > kReaderBytes) reader_.chop(1);
}

void ReviewWindow::mark_zone(const ZonePlace& place, std::optional<followup::Opinion> opinion) {
  if (!review_ || !series_ || chosen_ >= series_->films.size()) return;
  finish_pending();
  if (!reader_.isEmpty()) {
    mark_zone_of(chosen_, place, opinion);
    return;
  }
  // Another film may be chosen, or another hip opened, by the time somebody has answered.
  ask_reader([this, film = chosen_, file = series_->films[chosen_].file, folder = review_->folder(),
              place, opinion] {
    const bool same = review_ && review_->folder() == folder && series_ &&
                      film < series_->films.size() && series_->films[film].file == file;
    if (same) mark_zone_of(film, place, opinion);
  });
}

void ReviewWindow::mark_zone_of(std::size_t film, const ZonePlace& place,
                                std::optional<followup::Opinion> opinion) {
  const std::string reader = reader_.toStdString();
  const std::string where = "zone " + std::to_string(place.zone) + " on " +
                            printable(series_->films[film].file) + ", " + reader + ": ";
  const std::string now =
      QDateTime::currentDateTimeUtc().toString("yyyy-MM-ddTHH:mm:ssZ").toStdString();
  const followup::ZoneMark mark{
      place.zone,    place.interface, opinion.value_or(followup::Opinion::kCannotTell),
      place.program, reader,          now};
  if (opinion) {
    correct(where + code_of(*opinion), with_zone_mark(review_->sheet(), film, mark));
  } else {
    correct(where + "no mark", without_zone_mark(review_->sheet(), film, mark));
  }
}

FilmCanvas* ReviewWindow::active() const {
  return right_->isVisible() && right_->hasFocus() ? right_ : left_;
}

std::size_t ReviewWindow::active_film() const {
  if (showing_ != Showing::kSideBySide) return chosen_;
  return active() == right_ ? chosen_ : reference_;
}

bool ReviewWindow::leaves_reports() {
  if (reports_.empty()) return true;
  QMessageBox box(QMessageBox::Question, "The report is not written yet",
                  "The report is still being made. If the window is closed now, it will not be "
                  "written.",
                  QMessageBox::NoButton, this);
  QAbstractButton* leave = box.addButton("&Close without the report", QMessageBox::DestructiveRole);
  QPushButton* stay = box.addButton("&Back", QMessageBox::RejectRole);
  box.setDefaultButton(stay);
  box.exec();
  return box.clickedButton() == leave;
}

void ReviewWindow::closeEvent(QCloseEvent* event) {
  finish_pending();
  if (!leaves_reports()) {
    event->ignore();
    return;
  }
  if (!review_ || !review_->unsaved()) {
    event->accept();
    return;
  }
  QMessageBox box(QMessageBox::Question, "Corrections are not saved",
                  "The corrections of this hip are not in series.json yet. They can be kept and "
                  "will be back when you open the hip again.",
                  QMessageBox::NoButton, this);
  QAbstractButton* save_now = box.addButton("&Save", QMessageBox::AcceptRole);
  QAbstractButton* keep = box.addButton("&Keep for later", QMessageBox::RejectRole);
  QAbstractButton* drop = box.addButton("&Discard", QMessageBox::DestructiveRole);
  QAbstractButton* stay = box.addButton("&Back", QMessageBox::NoRole);
  box.exec();
  if (box.clickedButton() == save_now) save();
  if (box.clickedButton() == drop) review_->discard();
  const bool saved = box.clickedButton() == save_now && !review_->unsaved();
  const bool leave = saved || box.clickedButton() == keep || box.clickedButton() == drop;
  event->setAccepted(leave && box.clickedButton() != stay);
}

void ReviewWindow::dragEnterEvent(QDragEnterEvent* event) {
  if (event->mimeData()->hasUrls()) event->acceptProposedAction();
}

void ReviewWindow::dropEvent(QDropEvent* event) {
  std::vector<std::filesystem::path> paths;
  for (const QUrl& url : event->mimeData()->urls()) {
    if (url.isLocalFile()) paths.emplace_back(url.toLocalFile().toStdString());
  }
  event->acceptProposedAction();
  open_these(paths);
}

void ReviewWindow::resizeEvent(QResizeEvent* event) {
  QMainWindow::resizeEvent(event);
  if (!camera_by_hand_) QTimer::singleShot(0, this, [this] { fit(); });
}

}  // namespace tidemark::view
