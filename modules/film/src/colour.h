#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace tidemark::film {

/// Brightness of a colour, in the unit of its channels: luma of ITU-R BT.601, which is also the Y
/// of DICOM's YBR_FULL (PS3.3 C.7.6.3.1.2). Equal channels give themselves.
[[nodiscard]] constexpr double luma(double red, double green, double blue) {
  return 0.299 * red + 0.587 * green + 0.114 * blue;
}

/// Tells a grey film stored as colour from a picture in colours, pixel by pixel.
///
/// Channels of a grey differ by what lossy compression or a tinted copy leaves: at most 4 % of full
/// scale; letters and lines drawn in colour cover at most 1 % of a film (house choices).
class GreyCount {
 public:
  explicit GreyCount(double full_scale) : most_(0.04 * full_scale) {}

  /// Books a pixel by its three channels.
  void add(double red, double green, double blue) {
    const auto [least, most] = std::minmax({red, green, blue});
    book(most - least > most_);
  }
  /// Books a pixel by its chroma, as offsets from neutral.
  void add_chroma(double blue, double red) {
    // A chroma of c moves blue and red by up to 1.77 c away from green's side (BT.601).
    constexpr double kGain = 1.772;
    book(kGain * std::max(std::abs(blue), std::abs(red)) > most_);
  }
  [[nodiscard]] bool is_grey() const { return coloured_ * kMostColoured <= all_; }
  [[nodiscard]] bool has_colour() const { return coloured_ > 0; }

 private:
  static constexpr std::size_t kMostColoured = 100;  ///< one pixel in so many
  void book(bool coloured) {
    coloured_ += coloured ? 1U : 0U;
    ++all_;
  }
  double most_;
  std::size_t coloured_ = 0;
  std::size_t all_ = 0;
};

}  // namespace tidemark::film
