#include "tidemark/film/tone.h"

#include <algorithm>
#include <boost/math/special_functions/erf.hpp>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <utility>
#include <vector>

#include "blocks.h"

namespace tidemark::film {
namespace {

/// Every so manieth pixel is enough to map greys, or for a percentile of a film alone; both are
/// prime to usual widths.
constexpr std::size_t kToMap = 31;
constexpr std::size_t kToAsk = 127;

std::vector<float> sample_of(const Raster& pixels, std::size_t every) {
  std::vector<float> out;
  out.reserve(pixels.values.size() / every + 1);
  for (std::size_t i = 0; i < pixels.values.size(); i += every) out.push_back(pixels.values[i]);
  return out;
}

double scatter(const std::vector<double>& values) {
  double sum = 0.0;
  double squares = 0.0;
  for (const double v : values) {
    sum += v;
    squares += v * v;
  }
  const double n = static_cast<double>(values.size());
  return std::sqrt(std::max(0.0, squares / n - sum * sum / (n * n)));
}

/// Means over windows of a fifth of the longer side, half a window apart, of blocks.
std::vector<double> local_means(const Raster& blocks) {
  const int side = std::max(2, std::max(blocks.width, blocks.height) / 5);
  std::vector<double> out;
  for (int top = 0; top + side <= blocks.height; top += side / 2) {
    for (int left = 0; left + side <= blocks.width; left += side / 2) {
      double sum = 0.0;
      for (int y = top; y < top + side; ++y) {
        for (int x = left; x < left + side; ++x) sum += blocks.at(x, y);
      }
      out.push_back(sum / (side * side));
    }
  }
  return out;
}

double wide_share_of(const Raster& pixels) {
  const Raster blocks = blocks_of(pixels, block_size_of(pixels));
  const double all = scatter({blocks.values.begin(), blocks.values.end()});
  const auto means = local_means(blocks);
  return all > 0.0 && !means.empty() ? scatter(means) / all : 1.0;
}

/// All of a tone but wide_share.
/// @param sample  of the film's pixels, not empty
Tone tone_at_top(const std::vector<float>& sample) {
  Tone tone;
  constexpr double kNormal = 0.886;  // (z(0.99) - z(0.8)) / (z(0.8) - z(0.2)), derived
  const double bright = quantile(sample, 0.8);
  const double middle = bright - quantile(sample, 0.2);
  if (middle > 0.0) tone.bright_room = (quantile(sample, 0.99) - bright) / middle / kNormal;
  const auto tied =
      std::count(sample.begin(), sample.end(), *std::max_element(sample.begin(), sample.end()));
  tone.tied_at_top = static_cast<double>(tied) / static_cast<double>(sample.size());
  return tone;
}

/// What is cut off, or metal, becomes so many times as bright as bone. House choice.
constexpr double kMetalOverBone = 3.0;

/// Greys stay as they are up to `bone` and rise `steep` times as fast from there.
struct Kink {
  double zero;  ///< the grey that becomes 0
  double bone;
  double steep;
};

FilmImage with_metal_set_apart(FilmImage film, const Kink& kink) {
  for (float& v : film.pixels.values) {
    const double over = std::max(0.0, v - kink.bone);
    v = static_cast<float>(v - kink.zero + (kink.steep - 1.0) * over);
  }
  film.facts.notes.emplace_back(
      "stem and head are seen better with metal set apart from bone, and were measured so");
  film.greys_spread = true;
  return film;
}

double normal_score(double share) {
  return std::numbers::sqrt2 * boost::math::erf_inv(2.0 * share - 1.0);
}

/// Normal score of every grey: of those of a sample by the middle of their ranks, linear between.
class ScoreOfGrey {
 public:
  /// @param sorted  sample, ascending, not empty
  explicit ScoreOfGrey(const std::vector<float>& sorted);
  float operator()(float v) const;

 private:
  /// Number of the part of the range that a grey lies in.
  [[nodiscard]] std::size_t part_of(float v) const {
    return static_cast<std::size_t>((v - grey_.front()) * parts_per_grey_);
  }
  std::vector<float> grey_;  ///< distinct
  std::vector<float> score_;
  /// First of grey_ in each part: a film has millions of pixels, and a search among all greys for
  /// each took a twelfth of the time of a hard film.
  std::vector<std::size_t> first_;
  float parts_per_grey_ = 0.0F;
};

ScoreOfGrey::ScoreOfGrey(const std::vector<float>& sorted) {
  constexpr std::size_t kParts = 4096;
  const auto n = static_cast<double>(sorted.size());
  for (std::size_t i = 0; i < sorted.size();) {
    std::size_t j = i;
    while (j < sorted.size() && sorted[j] == sorted[i]) ++j;
    grey_.push_back(sorted[i]);
    score_.push_back(static_cast<float>(normal_score(0.5 * static_cast<double>(i + j) / n)));
    i = j;
  }
  const float range = grey_.back() - grey_.front();
  if (range > 0.0F) parts_per_grey_ = static_cast<float>(kParts) / range;
  first_.assign(kParts + 2, grey_.size());
  for (std::size_t k = grey_.size(); k-- > 0;) first_[part_of(grey_[k])] = k;
  for (std::size_t part = first_.size() - 1; part-- > 0;) {
    first_[part] = std::min(first_[part], first_[part + 1]);
  }
}

float ScoreOfGrey::operator()(float v) const {
  if (!(v > grey_.front())) return score_.front();
  if (v > grey_.back()) return score_.back();
  const auto at = [&](std::size_t k) { return grey_.begin() + static_cast<std::ptrdiff_t>(k); };
  const std::size_t part = part_of(v);
  const auto above = std::lower_bound(at(first_[part]), at(first_[part + 1]), v);
  const auto k = static_cast<std::size_t>(above - grey_.begin());
  if (grey_[k] == v) return score_[k];
  const float t = (v - grey_[k - 1]) / (grey_[k] - grey_[k - 1]);
  return score_[k - 1] + t * (score_[k] - score_[k - 1]);
}

}  // namespace

Tone tone_of(const Raster& pixels) {
  if (pixels.values.empty()) return {};
  Tone tone = tone_at_top(sample_of(pixels, kToAsk));
  tone.wide_share = wide_share_of(pixels);
  return tone;
}

FilmImage with_spread_greys(FilmImage film) {
  std::vector<float> sorted = sample_of(film.pixels, kToMap);
  std::sort(sorted.begin(), sorted.end());
  const ScoreOfGrey score_of(sorted);
  for (float& v : film.pixels.values) v = score_of(v);
  return film;
}

FilmImage with_room_for_bright(FilmImage film) {
  // Asked of every film: the quick part of its tone is enough.
  if (film.pixels.values.empty()) return film;
  if (!tone_at_top(sample_of(film.pixels, kToAsk)).can_be_spread()) return film;
  film = with_spread_greys(std::move(film));
  film.facts.notes.emplace_back(
      "bright greys are pressed together; all greys were spread evenly before anything was "
      "measured");
  film.greys_spread = true;
  film.greys_pressed = true;
  return film;
}

bool asks_for_second_look(const FilmImage& film) {
  constexpr double kLittleRoom = 0.35;
  if (film.greys_spread || film.pixels.values.empty()) return false;
  return tone_at_top(sample_of(film.pixels, kToAsk)).bright_room < kLittleRoom;
}

std::optional<FilmImage> spread_for_second_look(const FilmImage& film) {
  if (film.greys_spread || film.pixels.values.empty()) return {};
  if (!tone_at_top(sample_of(film.pixels, kToAsk)).differs_at_top()) return {};
  FilmImage out = with_spread_greys(film);
  out.facts.notes.emplace_back(
      "stem and head are seen better with all greys spread evenly, and were measured so");
  out.greys_spread = true;
  out.greys_pressed = asks_for_second_look(film);
  return out;
}

std::optional<FilmImage> dark_opened_for_second_look(const FilmImage& film) {
  constexpr double kBackground = 0.005;  // of the range
  constexpr double kDark = 0.15;
  constexpr double kNoLongerDark = 0.25;
  constexpr double kLeastDark = 0.2;      // of what is no background
  constexpr double kMostBetween = 0.125;  // of the same
  constexpr double kPower = 0.4;
  if (film.greys_spread || film.pixels.values.empty()) return {};
  const std::vector<float> sample = sample_of(film.pixels, kToAsk);
  const double low = quantile(sample, 0.005);
  const double range = quantile(sample, 0.998) - low;
  if (!(range > 0.0)) return {};
  const auto brighter_than = [&](double share) {
    return static_cast<double>(std::count_if(sample.begin(), sample.end(),
                                             [&](float v) { return v > low + share * range; }));
  };
  const double shown = brighter_than(kBackground);
  const double not_dark = brighter_than(kDark);
  const double between = not_dark - brighter_than(kNoLongerDark);
  if (shown - not_dark < kLeastDark * shown || between > kMostBetween * shown) return {};
  FilmImage out = film;
  for (float& v : out.pixels.values) {
    v = static_cast<float>(std::pow(std::max(0.0, (v - low) / range), kPower));
  }
  out.facts.notes.emplace_back(
      "stem and head are seen better with the dark greys drawn apart, and were measured so");
  out.greys_spread = true;
  return out;
}

std::optional<FilmImage> cut_off_metal_set_apart_for_second_look(const FilmImage& film,
                                                                 double bone_share) {
  constexpr double kLeastCut = 0.02;
  constexpr double kBrightBone = 0.55;
  if (film.greys_spread || film.pixels.values.empty()) return {};
  std::vector<float> below = sample_of(film.pixels, kToAsk);
  const auto all = static_cast<double>(below.size());
  const float top = *std::max_element(below.begin(), below.end());
  std::erase(below, top);
  if (below.empty() || all - static_cast<double>(below.size()) < kLeastCut * all) return {};
  const double low = quantile(below, 0.005);
  const double range = top - low;
  const double bright = (quantile(below, bone_share) - low) / range;
  if (bright < kBrightBone || !(bright < 1.0)) return {};
  const double steep = (kMetalOverBone - 1.0) * bright / (1.0 - bright);
  return with_metal_set_apart(film, {low, low + bright * range, steep});
}

std::optional<FilmImage> metal_set_apart_for_second_look(const FilmImage& film, float metal) {
  constexpr double kBone = 0.8;  // of the way from the median to metal
  constexpr double kBrightest = 0.92;
  if (film.greys_spread || film.pixels.values.empty()) return {};
  const std::vector<float> sample = sample_of(film.pixels, kToAsk);
  const double middle = quantile(sample, 0.5);
  const double rise = metal - middle;
  if (!(rise > 0.0) || metal < quantile(sample, kBrightest)) return {};
  const double steep = (kMetalOverBone - kBone) / (1.0 - kBone);
  return with_metal_set_apart(film, {middle, middle + kBone * rise, steep});
}

std::optional<std::string> fault_of_tone(const FilmImage& film) {
  const Tone tone = tone_of(film.pixels);
  if (tone.is_pressed() || tone.is_cut() || film.greys_pressed) {
    return "bright greys are pressed together or cut off, so that metal does not stand out from "
           "bone";
  }
  if (tone.is_levelled()) {
    return "greys were evened out region by region, so that metal is no brighter than the bone "
           "about it";
  }
  return {};
}

}  // namespace tidemark::film
