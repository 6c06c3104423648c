#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <vector>

#include "matcher.h"

namespace tidemark::alignment {
namespace {

/// Distance of voting pixels in sigma. A Gaussian of 1 sigma sampled every sigma has lost nothing
/// (0.7 % of its amplitude lies beyond the Nyquist frequency; derived).
constexpr double kVoteDistance = 1.0;

/// Which pixels of a grid vote: every stride-th of each row and column, or of those the ones like
/// the dark fields of a chessboard (sqrt 2 strides apart).
struct Lattice {
  long stride = 1;
  bool chessboard = false;

  [[nodiscard]] long next(long from) const { return (from + stride - 1) / stride * stride; }
  [[nodiscard]] bool holds(long x, long y) const {
    return !chessboard || (x / stride + y / stride) % 2 == 0;
  }
};

/// The lattice whose distance is nearest, as a ratio, to `pixels`.
Lattice lattice_of(double pixels) {
  const long halves = std::max(0L, std::lround(2.0 * std::log2(pixels)));  // powers of sqrt 2
  return {1L << (halves / 2), halves % 2 == 1};
}

/// First and last column and row, inclusive; none when last lies before first.
struct Extent {
  long left, right, top, bottom;
  [[nodiscard]] bool empty() const { return right < left || bottom < top; }
};

/// Where the region has weight, film px.
Extent extent_of(const Raster& region) {
  const auto width = static_cast<std::size_t>(region.width);
  std::vector<std::uint32_t> columns(width, 0);
  Extent out{0, -1, region.height, -1};
  for (long y = 0; y < region.height; ++y) {
    // Bits in place of comparisons: the loops then take several pixels at once.
    const float* row = region.values.data() + static_cast<std::size_t>(y) * width;
    std::uint32_t any = 0;
    for (std::size_t x = 0; x < width; ++x) any |= std::bit_cast<std::uint32_t>(row[x]);
    if (any == 0) continue;
    for (std::size_t x = 0; x < width; ++x) columns[x] |= std::bit_cast<std::uint32_t>(row[x]);
    out.top = std::min(out.top, y);
    out.bottom = y;
  }
  const auto has = [](std::uint32_t bits) { return bits != 0; };
  const auto first = std::find_if(columns.begin(), columns.end(), has);
  const auto last = std::find_if(columns.rbegin(), columns.rend(), has);
  out.left = first - columns.begin();
  out.right = static_cast<long>(columns.rend() - last) - 1;
  return out;
}

/// An image on the level's grid that holds `extent` and a rim for the splines, all zero.
FloatImage::Pointer blank_about(const Extent& extent, const FloatImage& level) {
  FloatImage::RegionType whole;
  whole.SetIndex({{extent.left - kPadPixels - 1, extent.top - kPadPixels - 1}});
  whole.SetUpperIndex({{extent.right + kPadPixels + 1, extent.bottom + kPadPixels + 1}});
  whole.Crop(level.GetLargestPossibleRegion());
  const auto image = FloatImage::New();
  image->SetOrigin(level.GetOrigin());
  image->SetSpacing(level.GetSpacing());
  image->SetRegions(whole);
  image->Allocate(true);
  return image;
}

/// Mean of the region over the film pixels of one level pixel.
float mean_at(const Raster& region, int bin, long x, long y) {
  float sum = 0.0F;
  for (int j = 0; j < bin; ++j) {
    const float* row = &region.at(static_cast<int>(x) * bin, static_cast<int>(y) * bin + j);
    for (int i = 0; i < bin; ++i) sum += row[i];
  }
  return sum / (static_cast<float>(bin) * static_cast<float>(bin));
}

}  // namespace

std::optional<LevelRegion> region_on(const Level& level, const Raster& region) {
  const auto size = level.image->GetBufferedRegion().GetSize();
  const Extent film = extent_of(region);
  const long bin = level.bin;
  const Extent extent{film.left / bin, std::min(film.right / bin, static_cast<long>(size[0]) - 1),
                      film.top / bin, std::min(film.bottom / bin, static_cast<long>(size[1]) - 1)};
  if (film.empty() || extent.empty()) return std::nullopt;
  LevelRegion out;
  out.weights = blank_about(extent, *level.image);
  out.box_px = {extent.right + 1, extent.left - 1, extent.bottom + 1, extent.top - 1};
  // Pixels closer than about sigma say the same thing.
  const Lattice lattice = lattice_of(kVoteDistance * level.sigma_mm / level.image->GetSpacing()[0]);
  Eigen::Vector3d moments = Eigen::Vector3d::Zero();  // sums of w x, w y, w r^2
  for (long y = lattice.next(extent.top); y <= extent.bottom; y += lattice.stride) {
    for (long x = lattice.next(extent.left); x <= extent.right; x += lattice.stride) {
      if (!lattice.holds(x, y)) continue;
      float weight = mean_at(region, level.bin, x, y);
      if (!(weight > 0.0F)) continue;
      out.wanted += weight;
      weight *= level.usable->GetPixel({{x, y}});
      if (!(weight > 0.0F)) continue;
      out.weights->SetPixel({{x, y}}, weight);
      out.box_px = {std::min(out.box_px[0], x), std::max(out.box_px[1], x),
                    std::min(out.box_px[2], y), std::max(out.box_px[3], y)};
      const Vec2 p(static_cast<double>(x), static_cast<double>(y));
      out.total += weight;
      moments += static_cast<double>(weight) * Eigen::Vector3d(p.x(), p.y(), p.squaredNorm());
    }
  }
  if (!(out.total > 0.0)) return std::nullopt;
  const double spacing = level.image->GetSpacing()[0];
  const Vec2 mean = moments.head<2>() / out.total;
  out.centre_mm = spacing * mean + Vec2(level.image->GetOrigin()[0], level.image->GetOrigin()[1]);
  out.radius_mm = spacing * std::sqrt(std::max(0.0, moments(2) / out.total - mean.squaredNorm()));
  return out;
}

BoxMm box_of(const LevelRegion& region) {
  const auto& image = *region.weights;
  const auto corner = [&](long x, long y) {
    return Vec2(image.GetOrigin()[0] + image.GetSpacing()[0] * static_cast<double>(x),
                image.GetOrigin()[1] + image.GetSpacing()[1] * static_cast<double>(y));
  };
  return {corner(region.box_px[0], region.box_px[2]), corner(region.box_px[1], region.box_px[3])};
}

}  // namespace tidemark::alignment
