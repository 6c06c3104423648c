// The review window on one hip, offscreen and without a graphics card: seconds until the first film
// is seen and until the numbers stand, frames a second that are seen while the films are dragged
// and zoomed by the mouse, seconds until the numbers follow a corrected point, memory after each
// step. JSON.
//
// usage: bench_view FOLDER

#include <QApplication>
#include <QElapsedTimer>
#include <QMouseEvent>
#include <QWheelEvent>
#include <cstdlib>
#include <ctime>
#include <exception>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <tuple>
#include <vector>

#include "overlay.h"
#include "review_window.h"
#include "tidemark/core/freed_memory.h"

namespace tidemark::bench {
namespace {

using view::ReviewWindow;
using view::Showing;

/// Wall time, which is what a surgeon waits.
class WallClock {
 public:
  WallClock() { clock_.start(); }
  [[nodiscard]] double seconds() const { return 1e-9 * static_cast<double>(clock_.nsecsElapsed()); }

 private:
  QElapsedTimer clock_;
};

/// Asleep between events, as a window is: who asks all the time takes a core from the measurement.
void wait_until(const std::function<bool()>& done) {
  while (!done()) {
    QApplication::processEvents(QEventLoop::AllEvents | QEventLoop::WaitForMoreEvents);
  }
}

bool shows_a_film(const ReviewWindow& window) {
  return window.left()->content().empty.isEmpty() &&
         window.left()->content().first.picture != nullptr;
}

/// Counts how often a widget was drawn.
class Frames : public QObject {
 public:
  explicit Frames(QWidget* of) : of_(of) { of_->installEventFilter(this); }
  ~Frames() override { of_->removeEventFilter(this); }
  bool eventFilter(QObject* object, QEvent* event) override {
    if (event->type() == QEvent::Paint) ++drawn;
    return QObject::eventFilter(object, event);
  }
  int drawn = 0;

 private:
  QWidget* of_;
};

/// What is seen while the films are moved.
struct Seen {
  double frames_a_second = 0.0;
  double processor_ms = 0.0;  ///< of a frame, all threads: what a busy machine leaves as it is
  int coarseness = 1;         ///< px of the screen
  double full_s = 0.0;        ///< from letting go until the films stand in full again
};

/// `move` sends one event of the mouse to the left film; each is waited for until it is seen.
Seen seen_while(ReviewWindow& window, const std::function<void(int)>& move) {
  constexpr int kFrames = 40;
  view::FilmCanvas* canvas = window.left();
  Seen out;
  const auto one = [&](int i) {
    const Frames frames(canvas);
    move(i);
    wait_until([&] { return frames.drawn > 0; });
  };
  one(0);  // the first may stand for a resize
  const WallClock watch;
  const std::clock_t worked = std::clock();
  for (int i = 1; i <= kFrames; ++i) one(i);
  out.frames_a_second = kFrames / watch.seconds();
  out.processor_ms = 1e3 * static_cast<double>(std::clock() - worked) / CLOCKS_PER_SEC / kFrames;
  out.coarseness = canvas->coarseness();
  const WallClock rest;
  wait_until([&] { return canvas->coarseness() == 1; });
  QApplication::processEvents();
  out.full_s = rest.seconds();
  return out;
}

void send_mouse(QWidget* to, QEvent::Type type, const QPointF& at) {
  const bool moved = type == QEvent::MouseMove;
  const bool up = type == QEvent::MouseButtonRelease;
  QMouseEvent event(type, at, to->mapToGlobal(at.toPoint()), moved ? Qt::NoButton : Qt::LeftButton,
                    up ? Qt::NoButton : Qt::LeftButton, Qt::NoModifier);
  QApplication::sendEvent(to, &event);
}

Seen dragged(ReviewWindow& window) {
  view::FilmCanvas* canvas = window.left();
  const QPointF from(12.0, 0.5 * canvas->height());  // no handle stands at the border
  send_mouse(canvas, QEvent::MouseButtonPress, from);
  const Seen out = seen_while(window, [&](int i) {
    send_mouse(canvas, QEvent::MouseMove, from + QPointF(i % 2 == 0 ? 9.0 : -9.0, 0.5 * i));
  });
  send_mouse(canvas, QEvent::MouseButtonRelease, from);
  return out;
}

Seen zoomed(ReviewWindow& window) {
  view::FilmCanvas* canvas = window.left();
  const QPointF at(0.5 * canvas->width(), 0.5 * canvas->height());
  return seen_while(window, [&](int i) {
    QWheelEvent event(at, canvas->mapToGlobal(at.toPoint()), {}, QPoint(0, i % 2 == 0 ? 120 : -120),
                      Qt::NoButton, Qt::NoModifier, Qt::NoScrollPhase, false);
    QApplication::sendEvent(canvas, &event);
  });
}

double peak_mb() {
  std::ifstream status("/proc/self/status");
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with("VmHWM:")) return std::atof(line.c_str() + 6) / 1024.0;
  }
  return 0.0;
}

/// Seconds until the numbers follow a corrected point.
struct Followed {
  double motion_s = 0.0;  ///< of the chosen film
  double all_s = 0.0;     ///< of all films, with lines and seat
};

/// Moves a point of a film by two pixels and waits for the numbers.
Followed corrected(ReviewWindow& window, const view::Handle& handle, const Vec2& stored_px) {
  const auto before = window.hip();
  const auto sheet = view::moved(window.review()->sheet(), before->result.films[handle.film],
                                 handle, stored_px + Vec2(2.0, 2.0), {});
  const WallClock watch;
  window.correct("bench", *sheet);
  wait_until([&] { return window.hip() != before || !window.busy(); });
  Followed out;
  out.motion_s = watch.seconds();
  wait_until([&] { return !window.busy(); });
  out.all_s = watch.seconds();
  return out;
}

/// The points that a reader corrects, of one film.
void correct_all(ReviewWindow& window, std::size_t film, const std::string& name,
                 std::map<std::string, double>& out) {
  const auto& found = window.hip()->result.films[film];
  std::vector<std::tuple<std::string, view::Grip, Vec2>> points;
  if (found.lesser_trochanter) {
    points.emplace_back("lesser", view::Grip::kLesserTrochanter,
                        found.lesser_trochanter->stored_px);
  }
  if (found.stem && found.stem->tip) {
    points.emplace_back("tip", view::Grip::kStemTip, found.stem->tip->stored_px);
  }
  if (found.stem) {
    points.emplace_back("shoulder", view::Grip::kStemShoulder, found.stem->shoulder.stored_px);
  }
  if (found.head) {
    points.emplace_back("head", view::Grip::kHeadCentre, found.head->centre_px);
    points.emplace_back("head's edge", view::Grip::kHeadEdge,
                        found.head->centre_px + Vec2(0.5 * found.head->diameter_px, 0.0));
  }
  for (const auto& [what, grip, at] : points) {
    const Followed followed = corrected(window, {film, grip}, at);
    std::string row = "corrected ";
    row.append(name).append(" ").append(what);
    out[row + " motion_s"] = followed.motion_s;
    out[row + " all_s"] = followed.all_s;
  }
}

int run(const std::filesystem::path& folder) {
  std::map<std::string, double> out;
  const auto journals = std::filesystem::temp_directory_path() / "tidemark-bench-view";
  std::filesystem::remove_all(journals);
  {
    const WallClock watch;
    ReviewWindow window(journals);
    window.resize(1366, 740);
    window.show();
    window.open(folder);
    wait_until([&] { return shows_a_film(window) || !window.busy(); });
    window.grab();
    out["first_film_s"] = watch.seconds();
    wait_until([&] { return !window.busy(); });
    out["numbers_s"] = watch.seconds();
    out["peak_mb when measured"] = peak_mb();
    if (window.hip() == nullptr) {
      std::cerr << "bench_view: " << window.message().toStdString() << "\n";
      return 2;
    }
    correct_all(window, window.chosen(), "follow-up", out);
    correct_all(window, 0, "reference", out);
    out["peak_mb when corrected"] = peak_mb();
    const std::pair<Showing, const char*> ways[] = {{Showing::kSideBySide, "side by side"},
                                                    {Showing::kBlend, "blended"},
                                                    {Showing::kDifference, "difference"}};
    for (const auto& [name, width, height] :
         {std::tuple{"1366x740", 1366, 740}, std::tuple{"3840x2160", 3840, 2160}}) {
      window.resize(width, height);
      QApplication::processEvents();
      for (const auto& [way, what] : ways) {
        window.show_as(way);
        QApplication::processEvents();
        const std::string where = std::string(" ") + name + " " + what;
        const Seen drag = dragged(window);
        out["drag_frames_a_second" + where] = drag.frames_a_second;
        out["drag_processor_ms_a_frame" + where] = drag.processor_ms;
        out["drag_coarseness" + where] = drag.coarseness;
        out["full_again_s" + where] = drag.full_s;
        out["wheel_frames_a_second" + where] = zoomed(window).frames_a_second;
      }
    }
    out["films"] = static_cast<double>(window.hip()->result.films.size());
  }
  std::filesystem::remove_all(journals);
  out["peak_mb"] = peak_mb();
  std::cout << nlohmann::json(out).dump(1) << "\n";
  return 0;
}

}  // namespace
}  // namespace tidemark::bench

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: bench_view FOLDER\n";
    return 2;
  }
  if (qEnvironmentVariableIsEmpty("QT_QPA_PLATFORM")) qputenv("QT_QPA_PLATFORM", "offscreen");
  tidemark::keep_freed_memory();
  try {
    QApplication app(argc, argv);
    return tidemark::bench::run(argv[1]);
  } catch (const std::exception& fault) {
    std::cerr << "bench_view: " << fault.what() << "\n";
    return 2;
  }
}
