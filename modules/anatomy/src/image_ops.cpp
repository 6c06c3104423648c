#include "image_ops.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {

cv::Mat1f view_of(const Raster& raster) {
  // OpenCV has no read-only image; nobody here writes through this one.
  return {raster.height, raster.width, const_cast<float*>(raster.values.data())};
}

Vec2 Scaled::from_film(const Vec2& p_px) const { return (p_px.array() + 0.5) * factor - 0.5; }

Vec2 Scaled::to_film(const Vec2& p_here) const { return (p_here.array() + 0.5) / factor - 0.5; }

namespace {

/// Means over whole blocks of k x k pixels: fast, and free of folding.
cv::Mat1f block_mean(const cv::Mat1f& film, int k) {
  const cv::Rect whole(0, 0, film.cols / k * k, film.rows / k * k);
  cv::Mat1f out;
  cv::resize(film(whole), out, {film.cols / k, film.rows / k}, 0.0, 0.0, cv::INTER_AREA);
  return out;
}

}  // namespace

namespace {

/// Brings block means `k` film pixels wide to `factor`.
Scaled from_blocks(const cv::Mat1f& blocks, int k, double factor, double sigma) {
  Scaled out;
  out.factor = factor;
  cv::Mat1f source = blocks;
  const double rest = factor * k;  // 0.5 to 1
  if (rest < 0.8) {
    cv::Mat1f soft;
    cv::GaussianBlur(source, soft, {}, 0.35 / rest);
    source = soft;
  }
  const cv::Size size(std::max(1, static_cast<int>(std::floor(source.cols * rest))),
                      std::max(1, static_cast<int>(std::floor(source.rows * rest))));
  // A warp keeps one exact factor for both axes, which resizing to a whole size would not.
  const double shift = 0.5 / rest - 0.5;
  const cv::Matx23d source_from_here(1.0 / rest, 0.0, shift, 0.0, 1.0 / rest, shift);
  cv::warpAffine(source, out.image, source_from_here, size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  if (sigma > 0.0) cv::GaussianBlur(out.image, out.image, {}, sigma, sigma, cv::BORDER_REPLICATE);
  return out;
}

}  // namespace

Scaled scaled(const cv::Mat1f& film, double factor, double sigma) {
  const int k = std::max(1, static_cast<int>(std::floor(1.0 / factor + 1e-9)));
  return from_blocks(k > 1 ? block_mean(film, k) : film, k, factor, sigma);
}

Pyramid::Pyramid(const cv::Mat1f& film) {
  constexpr int kSmallest = 32;  // px; nothing is looked for on less
  levels_.push_back(film);
  while (std::min(levels_.back().rows, levels_.back().cols) >= 2 * kSmallest) {
    levels_.push_back(block_mean(levels_.back(), 2));
  }
}

int Pyramid::level_for(double factor) const {
  const int wanted = static_cast<int>(std::floor(std::log2(std::max(1.0, 1.0 / factor)) + 1e-9));
  return std::min(wanted, static_cast<int>(levels_.size()) - 1);
}

Scaled scaled(const Pyramid& film, double factor, double sigma) {
  const int n = film.level_for(factor);
  return from_blocks(film.level(n), 1 << n, factor, sigma);
}

cv::Mat1f wide_blur(const cv::Mat1f& image, double sigma, int border) {
  // Three boxes of odd width w have the variance 3 (w^2 - 1) / 12 of the Gaussian they stand for.
  const int w =
      2 * static_cast<int>(std::lround(0.5 * (std::sqrt(4.0 * sigma * sigma + 1.0) - 1.0))) + 1;
  cv::Mat1f out = image.clone();
  for (int pass = 0; pass < 3; ++pass) cv::blur(out, out, {w, w}, {-1, -1}, border);
  return out;
}

cv::Mat1b disc_kernel(double radius) {
  const int r = std::max(1, static_cast<int>(std::lround(radius)));
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * r + 1, 2 * r + 1});
}

cv::Mat1b grown(const cv::Mat1b& mask, double radius) {
  const cv::Mat1b kernel = disc_kernel(radius);
  // Nothing but the mask's surroundings can change; OpenCV looks at every place of what it is
  // given.
  const cv::Rect held = cv::boundingRect(mask);
  const cv::Rect wider(held.tl() - cv::Point(kernel.cols, kernel.rows),
                       held.br() + cv::Point(kernel.cols, kernel.rows));
  const cv::Rect reached = wider & cv::Rect({0, 0}, mask.size());
  cv::Mat1b out = blank<cv::Mat1b>(mask.size());
  if (held.empty()) return out;
  cv::dilate(mask(reached), out(reached), kernel);
  return out;
}

Gradient gradient(const cv::Mat1f& image) {
  Gradient g;
  const cv::Mat1f along = (cv::Mat1f(1, 3) << -0.5F, 0.0F, 0.5F);
  cv::filter2D(image, g.x, CV_32F, along, {-1, -1}, 0, cv::BORDER_REPLICATE);
  cv::filter2D(image, g.y, CV_32F, along.t(), {-1, -1}, 0, cv::BORDER_REPLICATE);
  return g;
}

float quantile(const cv::Mat1f& image, double q) {
  const int step =
      std::max(1, static_cast<int>(std::sqrt(static_cast<double>(image.total()) / 1e5)));
  std::vector<float> values;
  for (int y = 0; y < image.rows; y += step) {
    const float* row = image.ptr<float>(y);
    for (int x = 0; x < image.cols; x += step) values.push_back(row[x]);
  }
  const auto at = static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

std::vector<float> profile(const cv::Mat1f& image, const Vec2& centre, const Vec2& direction,
                           double half, double step, int lanes) {
  const int n = 2 * static_cast<int>(std::ceil(half / step)) + 1;
  const Vec2 across(-direction.y(), direction.x());
  std::vector<float> values(static_cast<std::size_t>(n), 0.0F);
  for (int lane = 0; lane < lanes; ++lane) {
    const int middle = n / 2;
    const Vec2 start = centre + (lane - 0.5 * (lanes - 1)) * across - middle * step * direction;
    for (int i = 0; i < n; ++i) {
      values[static_cast<std::size_t>(i)] += sample(image, start + i * step * direction);
    }
  }
  for (float& v : values) v /= static_cast<float>(lanes);
  return values;
}

std::vector<float> gaussian_weights(double sigma_samples) {
  const double sigma = std::max(0.3, sigma_samples);
  const int reach = static_cast<int>(std::ceil(4.0 * sigma));
  std::vector<float> weights;
  double sum = 0.0;
  for (int i = 0; i <= reach; ++i) {
    const double w = std::exp(-0.5 * (i / sigma) * (i / sigma));
    weights.push_back(static_cast<float>(w));
    sum += i == 0 ? w : 2.0 * w;
  }
  for (float& w : weights) w = static_cast<float>(w / sum);
  return weights;
}

namespace {

/// Values smoothed, the ends drawn out.
std::vector<float> smooth(const std::vector<float>& values, const std::vector<float>& weights) {
  const std::size_t reach = weights.size() - 1;
  std::vector<float> wide(values.size() + 2 * reach);
  std::fill_n(wide.begin(), reach, values.front());
  std::copy(values.begin(), values.end(), wide.begin() + static_cast<std::ptrdiff_t>(reach));
  std::fill_n(wide.end() - static_cast<std::ptrdiff_t>(reach), reach, values.back());
  std::vector<float> out(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) out[i] = weights[0] * wide[i + reach];
  for (std::size_t k = 1; k <= reach; ++k) {
    const float w = weights[k];
    const float* before = wide.data() + reach - k;
    const float* after = wide.data() + reach + k;
    for (std::size_t i = 0; i < values.size(); ++i) out[i] += w * (before[i] + after[i]);
  }
  return out;
}

}  // namespace

Edge steepest(const std::vector<float>& values, double sigma_samples, int sign) {
  return steepest(values, gaussian_weights(sigma_samples), sign);
}

Edge steepest(const std::vector<float>& values, const std::vector<float>& weights, int sign) {
  const std::size_t n = values.size();
  const std::vector<float> soft = smooth(values, weights);
  std::vector<double> slope(n, 0.0);
  for (std::size_t i = 1; i + 1 < n; ++i) slope[i] = 0.5 * sign * (soft[i + 1] - soft[i - 1]);
  const auto best = std::max_element(slope.begin(), slope.end());
  const auto i = static_cast<std::size_t>(best - slope.begin());
  Edge edge{static_cast<double>(i), *best};
  if (i > 0 && i + 1 < slope.size()) {
    const double bend = slope[i - 1] - 2.0 * slope[i] + slope[i + 1];
    if (bend < 0.0) edge.index += 0.5 * (slope[i - 1] - slope[i + 1]) / bend;
  }
  return edge;
}

}  // namespace tidemark::anatomy
