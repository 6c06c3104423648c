#include "wrapped.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstddef>
#include <cstdlib>

namespace tidemark::film {
namespace {

constexpr double kMostJumps = 0.002;   ///< share of neighbours
constexpr std::size_t kFewer = 10;     ///< times, by another reading
constexpr std::size_t kFewest = 1000;  ///< less is no film's worth

/// Neighbours along the rows whose values differ by more than half of the range; the padding that
/// `stated` names is no grey.
std::size_t jumps(const GreyRule& rule, const GreyRule& stated,
                  const RasterOf<std::uint16_t>& codes) {
  const std::vector<std::int32_t> value = value_table(rule);
  std::vector<std::int32_t> stated_value = value_table(stated);
  std::vector<bool> padding(value.size());
  for (std::size_t code = 0; code < value.size(); ++code) {
    padding[code] = is_padding(stated, stated_value[code]);
  }
  const std::int32_t half = std::int32_t{1} << (rule.bits_stored - 1);
  std::size_t found = 0;
  for (int y = 0; y < codes.height; ++y) {
    for (int x = 1; x < codes.width; ++x) {
      const std::uint16_t a = codes.at(x - 1, y);
      const std::uint16_t b = codes.at(x, y);
      found += !padding[a] && !padding[b] && std::abs(value[a] - value[b]) > half ? 1U : 0U;
    }
  }
  return found;
}

/// The rule with as many bits as the codes of a frame need.
GreyRule with_all_bits(GreyRule rule, int bits_allocated, const RasterOf<std::uint16_t>& codes) {
  const std::uint16_t most = *std::max_element(codes.values.begin(), codes.values.end());
  const int needed = rule.is_signed ? bits_allocated : std::bit_width(most);
  rule.bits_stored = std::max(rule.bits_stored, needed);
  rule.high_bit = rule.bits_stored - 1;
  return rule;
}

}  // namespace

GreyRule unwrapped(const GreyRule& rule, int bits_allocated, const RasterOf<std::uint16_t>& codes,
                   std::vector<std::string>& notes) {
  if (rule.modality_table) return rule;  // it may unwrap what is stored
  const std::size_t as_stated = jumps(rule, rule, codes);
  const double all = static_cast<double>(codes.values.size());
  if (as_stated < kFewest || static_cast<double>(as_stated) < kMostJumps * all) return rule;
  struct Reading {
    GreyRule rule;
    const char* note;
  };
  GreyRule other_sign = rule;
  other_sign.is_signed = !rule.is_signed;
  const std::array readings{
      Reading{with_all_bits(rule, bits_allocated, codes),
              "greys wrap around where BitsStored ends; all bits of the pixels were used"},
      Reading{
          other_sign,
          "greys wrap around by PixelRepresentation; the pixels were read with the other sign"}};
  for (const Reading& reading : readings) {
    if (kFewer * jumps(reading.rule, rule, codes) > as_stated) continue;
    notes.emplace_back(reading.note);
    return reading.rule;
  }
  return rule;
}

}  // namespace tidemark::film
