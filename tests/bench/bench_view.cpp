// The review window on one hip, offscreen and without a graphics card: seconds until the first film
// is seen and until the numbers stand, frames a second while the films are moved, seconds until the
// numbers follow a corrected point, memory. JSON.
//
// usage: bench_view FOLDER

#include <QApplication>
#include <QElapsedTimer>
#include <QPixmap>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <string>

#include "overlay.h"
#include "review_window.h"

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

void wait_until(const std::function<bool()>& done) {
  while (!done()) QApplication::processEvents(QEventLoop::AllEvents, 5);
}

bool shows_a_film(const ReviewWindow& window) {
  return window.left()->content().empty.isEmpty() &&
         window.left()->content().first.picture != nullptr;
}

/// Frames a second of the films' part of the window while they are dragged.
double frames_a_second(ReviewWindow& window) {
  constexpr int kFrames = 30;
  QPixmap frame(window.left()->size());
  const WallClock watch;
  for (int i = 0; i < kFrames; ++i) {
    auto camera = window.left()->camera();
    camera.centre += Vec2(i % 2 == 0 ? 7.0 : -7.0, 3.0);
    window.left()->set_camera(camera);
    window.left()->render(&frame);
  }
  return kFrames / watch.seconds();
}

double peak_mb() {
  std::ifstream status("/proc/self/status");
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with("VmHWM:")) return std::atof(line.c_str() + 6) / 1024.0;
  }
  return 0.0;
}

/// Moves the lesser trochanter of a film by two pixels and waits for the numbers.
double correction_s(ReviewWindow& window, std::size_t film) {
  const auto& result = window.hip()->result.films[film];
  if (!result.lesser_trochanter) return -1.0;
  const auto sheet =
      view::moved(window.review()->sheet(), result, {film, view::Grip::kLesserTrochanter},
                  result.lesser_trochanter->stored_px + Vec2(2.0, 2.0));
  const WallClock watch;
  window.correct("bench", *sheet);
  wait_until([&] { return !window.busy(); });
  return watch.seconds();
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
    if (window.hip() == nullptr) {
      std::cerr << "bench_view: " << window.message().toStdString() << "\n";
      return 2;
    }
    out["corrected_follow_up_s"] = correction_s(window, window.chosen());
    out["corrected_reference_s"] = correction_s(window, 0);
    const std::pair<Showing, const char*> ways[] = {{Showing::kSideBySide, "one film"},
                                                    {Showing::kBlend, "blended"},
                                                    {Showing::kDifference, "difference"}};
    for (const auto& [name, width, height] :
         {std::tuple{"1366x740", 1366, 740}, std::tuple{"3840x2160", 3840, 2160}}) {
      window.resize(width, height);
      QApplication::processEvents();
      for (const auto& [way, what] : ways) {
        window.show_as(way);
        out[std::string("frames_a_second ") + name + " " + what] = frames_a_second(window);
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
  try {
    QApplication app(argc, argv);
    return tidemark::bench::run(argv[1]);
  } catch (const std::exception& fault) {
    std::cerr << "bench_view: " << fault.what() << "\n";
    return 2;
  }
}
