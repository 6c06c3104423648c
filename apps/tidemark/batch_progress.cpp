#include "batch_progress.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <iostream>
#include <string>

#include "tidemark/core/number_text.h"

namespace tidemark::app {
namespace {

constexpr int kBarWidth = 20;
constexpr std::chrono::milliseconds kRedraw{250};
constexpr int kUsualWidth = 80;

int terminal_width() {
  winsize size{};
  const bool known = ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0;
  return known ? size.ws_col : kUsualWidth;
}

std::string bar(double share) {
  const int full = static_cast<int>(std::floor(share * kBarWidth));
  return "[" + std::string(static_cast<std::size_t>(full), '=') +
         std::string(static_cast<std::size_t>(kBarWidth - full), ' ') + "]";
}

}  // namespace

std::string duration_text(double seconds) {
  const auto whole = static_cast<long>(std::lround(seconds));
  if (whole < 60) return std::to_string(whole) + " s";
  if (whole < 3600) {
    return std::to_string(whole / 60) + " min " + std::to_string(whole % 60) + " s";
  }
  return std::to_string(whole / 3600) + " h " + std::to_string(whole % 3600 / 60) + " min";
}

std::string bar_of(const registry::BatchCounts& counts, double seconds, int width) {
  const auto planned = static_cast<double>(std::max<std::size_t>(counts.planned, 1));
  const auto done = static_cast<double>(counts.done());
  const std::size_t fresh = counts.done() - counts.unchanged;
  std::string text = std::to_string(counts.done()) + " of " + std::to_string(counts.planned) +
                     " hips " + bar(std::min(done / planned, 1.0));
  if (fresh > 0 && seconds > 0.0) {
    const double rate = static_cast<double>(fresh) / seconds;
    text += " " + fixed_text(rate, rate < 10 ? 2 : 0) + "/s";
    if (done < planned) text += ", " + duration_text((planned - done) / rate) + " left";
  }
  text += " | " + std::to_string(counts.measured + counts.partly) + " measured, " +
          std::to_string(counts.refused) + " refused, " + std::to_string(counts.failed) + " failed";
  if (counts.unchanged > 0) text += ", " + std::to_string(counts.unchanged) + " kept";
  const auto room = static_cast<std::size_t>(std::max(width - 1, 1));
  return text.substr(0, room);
}

BatchProgress::BatchProgress()
    : terminal_(isatty(STDERR_FILENO) != 0), start_(std::chrono::steady_clock::now()) {}

void BatchProgress::headers(std::size_t done, std::size_t all) {
  const auto now = std::chrono::steady_clock::now();
  if (!terminal_ || (now - drawn_ < kRedraw && done < all)) return;
  drawn_ = now;
  std::cerr << "\r\033[Kreading headers: " << done << " of " << all << " files" << std::flush;
}

void BatchProgress::operator()(const registry::BatchCounts& counts, const registry::HipDone* done) {
  const auto now = std::chrono::steady_clock::now();
  if (!terminal_) {
    if (done == nullptr) return;
    std::cerr << "tidemark: " << done->hip << ": " << registry::code_of(done->status) << " in "
              << fixed_text(done->seconds, 1) << " s"
              << (done->reason.empty() ? "" : ": " + done->reason) << "\n";
    return;
  }
  if (now - drawn_ < kRedraw && counts.done() < counts.planned) return;
  drawn_ = now;
  const double seconds = std::chrono::duration<double>(now - start_).count();
  std::cerr << "\r\033[K" << bar_of(counts, seconds, terminal_width()) << std::flush;
}

void BatchProgress::clear() const {
  if (terminal_) std::cerr << "\r\033[K" << std::flush;
}

}  // namespace tidemark::app
