#include "packed.h"

#include <algorithm>

namespace tidemark::followup::packed {
namespace {

/// Where the run of equal values that begins at `from` ends.
std::size_t end_of_run(const std::vector<std::uint8_t>& values, std::size_t from) {
  constexpr std::size_t kWord = sizeof(std::uint64_t);
  const std::uint8_t value = values[from];
  const std::uint64_t all_equal = value * std::uint64_t{0x0101010101010101};
  std::size_t at = from + 1;
  for (; at + kWord <= values.size(); at += kWord) {
    std::uint64_t word = 0;
    std::memcpy(&word, values.data() + at, kWord);
    if (word != all_equal) break;
  }
  while (at < values.size() && values[at] == value) ++at;
  return at;
}

}  // namespace

void Packer::operator()(const Mask& mask) {
  (*this)(mask.width);
  (*this)(mask.height);
  for (std::size_t at = 0; at < mask.values.size();) {
    const std::size_t end = end_of_run(mask.values, at);
    (*this)(mask.values[at]);
    (*this)(static_cast<std::uint32_t>(end - at));
    at = end;
  }
}

void Unpacker::operator()(Mask& mask) {
  int width = 0;
  int height = 0;
  (*this)(width);
  (*this)(height);
  const bool sound = width >= 0 && height >= 0 && (width == 0) == (height == 0);
  const std::uint64_t all =
      sound ? static_cast<std::uint64_t>(width) * static_cast<std::uint64_t>(height) : 0;
  if (!good_ || !sound || all > kMostPixels) return fail();
  mask = Mask(width, height);
  for (std::size_t at = 0; at < mask.values.size();) {
    std::uint8_t value = 0;
    std::uint32_t run = 0;
    (*this)(value);
    (*this)(run);
    if (!good_ || run == 0 || run > mask.values.size() - at) return fail();
    std::fill_n(mask.values.begin() + static_cast<std::ptrdiff_t>(at), run, value);
    at += run;
  }
}

}  // namespace tidemark::followup::packed
