#include <itkImageRegionIterator.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <string>
#include <utility>
#include <vector>

#include "contents.h"
#include "level.h"
#include "tidemark/alignment/align.h"
#include "tidemark/core/parallel.h"

namespace tidemark::alignment {
namespace {

/// Where less than this share of the Gaussian fell on usable pixels, the gradient is bent by the
/// border of the excluded pixels (house choice).
constexpr double kUsableFrom = 0.90;
constexpr double kUsableFully = 0.99;
/// Weight of the film's mean in the filling behind excluded pixels; keeps the quotient finite.
constexpr float kFilling = 2e-3F;

/// Sum of `value(i)` over bin x bin film pixels i, for each pixel of a level.
template <class Value>
FloatImage::Pointer bin_sum(int width, int height, int bin, double mm_per_px, const Value& value) {
  const auto image = FloatImage::New();
  const auto columns = static_cast<itk::SizeValueType>(width / bin);
  const auto rows = static_cast<itk::SizeValueType>(height / bin);
  image->SetRegions(FloatImage::SizeType{{columns, rows}});
  image->SetSpacing(itk_vector(Vec2::Constant(bin * mm_per_px)));
  image->SetOrigin(itk_point(Vec2::Constant(0.5 * (bin - 1) * mm_per_px)));
  image->Allocate(true);
  float* out = image->GetBufferPointer();
  for (std::size_t y = 0; y < rows * static_cast<std::size_t>(bin); ++y) {
    float* line = out + y / static_cast<std::size_t>(bin) * columns;
    std::size_t from = y * static_cast<std::size_t>(width);
    for (std::size_t x = 0; x < columns; ++x) {
      float sum = 0.0F;
      for (int i = 0; i < bin; ++i) sum += value(from++);
      line[x] += sum;
    }
  }
  return image;
}

/// Gaussian in place; beyond the border the film goes on as it ends.
void smooth(FloatImage& image, double sigma_mm) {
  if (!(sigma_mm > 0.0)) return;
  const auto size = image.GetBufferedRegion().GetSize();
  cv::Mat1f pixels(static_cast<int>(size[1]), static_cast<int>(size[0]), image.GetBufferPointer());
  const double sigma = sigma_mm / image.GetSpacing()[0];
  cv::GaussianBlur(pixels, pixels, {}, sigma, sigma, cv::BORDER_REPLICATE);
}

std::size_t size_of(const FloatImage& image) {
  return image.GetBufferedRegion().GetNumberOfPixels();
}

/// Weight 0 at the rim, where gradients look past the film.
void clear_rim(FloatImage* usable) {
  const auto size = usable->GetBufferedRegion().GetSize();
  itk::ImageRegionIterator<FloatImage> it(usable, usable->GetBufferedRegion());
  for (std::size_t y = 0; y < size[1]; ++y) {
    for (std::size_t x = 0; x < size[0]; ++x, ++it) {
      if (x < 2 || y < 2 || x + 2 >= size[0] || y + 2 >= size[1]) it.Set(0.0F);
    }
  }
}

struct Resolution {
  double mm_per_px = 0.0;
  double sigma_mm = 0.0;
  int bin = 1;

  /// Gaussian that a mean over `bin` pixels lacks to `sigma_mm` (variances add).
  [[nodiscard]] double missing_sigma() const {
    const double box = (static_cast<double>(bin) * bin - 1.0) / 12.0 * mm_per_px * mm_per_px;
    return std::sqrt(std::max(0.0, sigma_mm * sigma_mm - box));
  }
};

/// A level of a film in which every pixel may vote.
Level whole_level(const Raster& pixels, const Resolution& r) {
  Level level;
  level.sigma_mm = r.sigma_mm;
  level.bin = r.bin;
  level.image = bin_mean(pixels, r.bin, r.mm_per_px);
  smooth(*level.image, r.missing_sigma());
  level.usable = FloatImage::New();
  level.usable->CopyInformation(level.image);
  level.usable->SetRegions(level.image->GetBufferedRegion());
  level.usable->Allocate();
  level.usable->FillBuffer(1.0F);
  clear_rim(level.usable);
  return level;
}

/// Normalised convolution: excluded pixels neither give nor take grey value, so their edges leave
/// no trace outside. Source: Knutsson, Westin, CVPR 1993, 515-523, doi:10.1109/CVPR.1993.341081.
Level masked_level(const Raster& pixels, const Mask& excluded, const Resolution& r) {
  Level level;
  level.sigma_mm = r.sigma_mm;
  level.bin = r.bin;
  const auto weight = [&](std::size_t i) { return excluded.values[i] == 0 ? 1.0F : 0.0F; };
  std::array<double, 2> total{};  // of greys and of shares
  parallel_within(total.size(), [&](std::size_t part) {
    const auto raw = bin_sum(pixels.width, pixels.height, r.bin, r.mm_per_px, [&](std::size_t i) {
      return part == 0 ? weight(i) * pixels.values[i] : weight(i);
    });
    for (std::size_t i = 0; i < size_of(*raw); ++i) total.at(part) += raw->GetBufferPointer()[i];
    smooth(*raw, r.missing_sigma());
    (part == 0 ? level.image : level.usable) = raw;
  });
  const auto mean = static_cast<float>(total[1] > 0.0 ? total[0] / total[1] : 0.0);
  const float area = static_cast<float>(r.bin) * static_cast<float>(r.bin);
  float* image = level.image->GetBufferPointer();
  float* usable = level.usable->GetBufferPointer();
  for (std::size_t i = 0; i < size_of(*level.image); ++i) {
    const float share = std::max(usable[i] / area, 0.0F);
    image[i] = (image[i] / area + kFilling * mean) / (share + kFilling);
    const double t = std::clamp((share - kUsableFrom) / (kUsableFully - kUsableFrom), 0.0, 1.0);
    usable[i] = static_cast<float>(t * t * (3.0 - 2.0 * t));
  }
  clear_rim(level.usable);
  return level;
}

/// Of all that a film is prepared from.
std::size_t contents_of(const Raster& pixels, double mm_per_px, const Mask& excluded,
                        const std::vector<double>& level_mm) {
  std::vector<double> numbers = level_mm;
  numbers.push_back(mm_per_px);
  numbers.push_back(pixels.width);
  return hash_of(std::vector{hash_of(pixels.values), hash_of(excluded.values), hash_of(numbers)});
}

}  // namespace

FloatImage::Pointer bin_mean(const Raster& pixels, int bin, double mm_per_px) {
  auto image = bin_sum(pixels.width, pixels.height, bin, mm_per_px,
                       [&](std::size_t i) { return pixels.values[i]; });
  const float share = 1.0F / (static_cast<float>(bin) * static_cast<float>(bin));
  for (std::size_t i = 0; i < size_of(*image); ++i) image->GetBufferPointer()[i] *= share;
  return image;
}

Expected<PreparedFilm> prepare(const Raster& pixels, double mm_per_px, const Mask& excluded,
                               const AlignOptions& options) {
  const auto bad = [](std::string wrong, std::string remedy) {
    return fail(ErrorKind::kBadInput, "alignment", std::move(wrong), std::move(remedy));
  };
  if (pixels.width < 16 || pixels.height < 16) return bad("the film is too small", "use the film");
  if (!(mm_per_px > 0.0) || !std::isfinite(mm_per_px)) {
    return bad("the film has no scale", "calibrate it first");
  }
  if (!excluded.empty() && (excluded.width != pixels.width || excluded.height != pixels.height)) {
    return bad("the excluded pixels are not those of the film", "use a mask of the film's size");
  }
  if (options.level_mm.empty()) return bad("no resolution is asked for", "give level_mm");
  auto levels = std::make_shared<PreparedFilm::Levels>();
  levels->mm_per_px = mm_per_px;
  levels->width = pixels.width;
  levels->height = pixels.height;
  levels->contents = contents_of(pixels, mm_per_px, excluded, options.level_mm);
  const bool masked = std::any_of(excluded.values.begin(), excluded.values.end(),
                                  [](std::uint8_t v) { return v != 0; });
  for (const double sigma : options.level_mm) {
    const int bin = std::max(1, static_cast<int>(std::floor(sigma / mm_per_px)));
    if (!(sigma > 0.0) || pixels.width / bin < 16 || pixels.height / bin < 16) {
      return bad("a resolution does not fit the film", "check level_mm and the scale");
    }
    const Resolution r{mm_per_px, sigma, bin};
    levels->levels.push_back(masked ? masked_level(pixels, excluded, r) : whole_level(pixels, r));
  }
  return PreparedFilm(std::move(levels));
}

}  // namespace tidemark::alignment
