#include "crosses_top.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "tidemark/core/robust.h"

namespace tidemark::anatomy {
namespace {

// House choices, all of them.
constexpr double kFilmMm = 300.0;
constexpr double kPixelMm = 0.7;       ///< of the image that is looked at
constexpr double kNarrowestMm = 10.0;  ///< where it crosses the film's end
constexpr double kShortestMm = 80.0;
constexpr double kWidestMm = 45.0;  ///< on the average of its height
constexpr double kMetalQuantile = 0.985;
constexpr double kAsMetal = 0.75;     ///< of the way from the usual grey to metal's
constexpr double kEdgeMm = 2.0;       ///< over which its border falls
constexpr double kSteepShare = 0.25;  ///< of that way, by which it falls there: bone's is softer

struct Greys {
  double usual = 0.0;
  double metal = 0.0;
  [[nodiscard]] double step() const { return metal - usual; }
};

/// Pieces of what is bright.
struct Pieces {
  cv::Mat1i label;
  cv::Mat1i stats;
};

Pieces bright_pieces(const cv::Mat1f& image, const Greys& greys) {
  Pieces out;
  const cv::Mat1b bright = value_of<cv::Mat1b>(image > greys.usual + kAsMetal * greys.step());
  cv::Mat1d centres;
  cv::connectedComponentsWithStats(bright, out.label, out.stats, centres, 4, CV_32S);
  return out;
}

/// Pixels of a piece in the film's first rows.
int width_at_top(const cv::Mat1i& label, int piece) {
  constexpr int kRow = 2;  // past what smoothing does to the end
  return cv::countNonZero(label.row(kRow) == piece);
}

/// Median fall across the left and right borders of a piece, grey values.
double fall_beside(const cv::Mat1f& image, const cv::Mat1i& label, int piece, int reach) {
  std::vector<double> falls;
  for (int y = 0; y < label.rows; ++y) {
    for (int x = reach; x + reach < label.cols; ++x) {
      if (label(y, x) != piece) continue;
      if (label(y, x - 1) != piece) falls.push_back(image(y, x + reach) - image(y, x - reach));
      if (label(y, x + 1) != piece) falls.push_back(image(y, x - reach) - image(y, x + reach));
    }
  }
  return median(falls).value_or(0.0);
}

}  // namespace

bool stem_crosses_top(const Pyramid& film, std::optional<MillimetresPerPixel> scale) {
  const int long_side = std::max(film.film().rows, film.film().cols);
  const double mm_per_px = scale ? scale->value : kFilmMm / long_side;
  const Scaled small = scaled(film, std::min(1.0, mm_per_px / kPixelMm), 0.8);
  const double mm = mm_per_px / small.factor;  // of a pixel of the small image
  const Greys greys{quantile(small.image, 0.5), quantile(small.image, kMetalQuantile)};
  if (greys.step() <= 0.0) return false;
  const Pieces pieces = bright_pieces(small.image, greys);
  for (int k = 1; k < pieces.stats.rows; ++k) {
    if (pieces.stats(k, cv::CC_STAT_TOP) > 0) continue;
    const double height = pieces.stats(k, cv::CC_STAT_HEIGHT) * mm;
    const double width = pieces.stats(k, cv::CC_STAT_AREA) * mm * mm / height;
    if (height < kShortestMm || width > kWidestMm) continue;
    if (width_at_top(pieces.label, k) * mm < kNarrowestMm) continue;
    const int reach = std::max(1, static_cast<int>(0.5 * kEdgeMm / mm));
    if (fall_beside(small.image, pieces.label, k, reach) > kSteepShare * greys.step()) return true;
  }
  return false;
}

}  // namespace tidemark::anatomy
