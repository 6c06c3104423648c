#include "grey.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>

namespace tidemark::film {
namespace {

constexpr std::size_t kCodes = 65536;
/// Of the range of a film's values: farther off them than that, padding is no exposure. Where metal
/// is cut off at the padding's own value, its blur fills the values up to it. House choice.
constexpr double kPaddingFarOff = 0.01;

/// Exposure of a linear detector from its pixel value: arbitrary unit, at least one grey step.
struct LinearExposure {
  bool grows_with_value = true;
  double lowest = 0.0;
  double highest = 0.0;
  double step = 1.0;

  [[nodiscard]] double operator()(double value) const {
    // Counted from zero where that is possible: detectors are offset-corrected, and shifting them
    // again would bend the logarithm.
    const double origin = grows_with_value ? std::min(0.0, lowest) : highest;
    return std::max(std::abs(value - origin), step);
  }
};

/// Whether a higher value after the modality step means more exposure, and so less absorber.
bool grows_with_exposure(const GreyRule& rule, std::vector<std::string>& notes) {
  const bool as_shown = rule.shown_inverted != rule.is_turned_by_voi_table();
  const auto by_sign = rule.grows_by_sign();
  // A film that is not meant to be shown says nothing by the way it would be.
  if (rule.is_for_processing && by_sign) return *by_sign;
  if (rule.relationship == Relationship::kLinear) {
    // Raw detector values: the tag made for it says more than the way of showing them.
    if (by_sign && !rule.is_fluoroscopic && *by_sign != as_shown) {
      notes.emplace_back(
          "PixelIntensityRelationshipSign contradicts the way the film asks to be shown; the sign "
          "was used");
    }
    if (by_sign) return *by_sign;
    if (rule.is_fluoroscopic || rule.is_for_processing) return rule.keeps_order();
    return as_shown;
  }
  if (by_sign && *by_sign != as_shown) {
    notes.emplace_back(
        "PixelIntensityRelationshipSign contradicts the way the film asks to be shown; it is taken "
        "as it is shown");
  }
  return as_shown;
}

/// The logarithmic values of fluoroscopy carry a table that would make them linear again.
bool modality_table_undoes_logarithm(const GreyRule& rule) {
  return rule.modality_table && rule.is_fluoroscopic &&
         rule.relationship == Relationship::kLogarithmic;
}

double after_modality(const GreyRule& rule, double value) {
  if (modality_table_undoes_logarithm(rule)) return value;
  if (rule.modality_table) return rule.modality_table->at(value);
  return rule.slope * value + rule.intercept;
}

/// All that the file's bits can store.
ValueRange whole_range(const GreyRule& rule) {
  const std::int32_t lowest = rule.is_signed ? -(std::int32_t{1} << (rule.bits_stored - 1)) : 0;
  return {lowest, lowest + (std::int32_t{1} << rule.bits_stored) - 1};
}

/// A code of a frame that stands for an exposure, and how often it does.
struct Exposed {
  std::int32_t value = 0;
  float grey = 0.0F;
  std::size_t pixels = 0;
};

/// The grey below which 5 of 100 exposed pixels lie.
float dark_grey_of(std::vector<Exposed> exposed) {
  std::sort(exposed.begin(), exposed.end(),
            [](const Exposed& a, const Exposed& b) { return a.grey < b.grey; });
  std::size_t all = 0;
  for (const Exposed& e : exposed) all += e.pixels;
  std::size_t below = 0;
  for (const Exposed& e : exposed) {
    below += e.pixels;
    if (20 * below > all) return e.grey;
  }
  return exposed.back().grey;
}

/// @param by_value  sorted by value, not empty
const Exposed& nearest_to(std::int32_t value, const std::vector<Exposed>& by_value) {
  const auto above = std::lower_bound(by_value.begin(), by_value.end(), value,
                                      [](const Exposed& e, std::int32_t v) { return e.value < v; });
  if (above == by_value.begin()) return *above;
  const auto below = std::prev(above);
  if (above == by_value.end()) return *below;
  return above->value - value < value - below->value ? *above : *below;
}

}  // namespace

double LookUpTable::at(double input) const {
  const double index =
      std::clamp(std::round(input) - first, 0.0, static_cast<double>(entries.size()) - 1.0);
  return entries[static_cast<std::size_t>(index)];
}

bool LookUpTable::is_monotone() const {
  return std::is_sorted(entries.begin(), entries.end()) ||
         std::is_sorted(entries.rbegin(), entries.rend());
}

bool LookUpTable::is_flat() const {
  return std::all_of(entries.begin(), entries.end(),
                     [&](std::uint16_t e) { return e == entries.front(); });
}

bool LookUpTable::falls() const {
  const double middle = 0.5 * (static_cast<double>(entries.size()) - 1.0);
  double slope = 0.0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    slope += (static_cast<double>(i) - middle) * entries[i];
  }
  return slope < 0.0;
}

bool GreyRule::keeps_order() const {
  if (modality_table_undoes_logarithm(*this)) return true;
  return modality_table ? !modality_table->falls() : slope > 0.0;
}

bool GreyRule::is_turned_by_voi_table() const {
  if (!voi_table || !voi_table->falls()) return false;
  return !has_window || grows_by_sign() == !shown_inverted;
}

std::optional<bool> GreyRule::grows_by_sign() const {
  if (!relationship_sign) return std::nullopt;
  return (*relationship_sign > 0) == keeps_order();
}

std::vector<std::int32_t> value_table(const GreyRule& rule) {
  const int shift = rule.high_bit + 1 - rule.bits_stored;
  const auto mask = static_cast<std::int32_t>((1U << static_cast<unsigned>(rule.bits_stored)) - 1U);
  const std::int32_t half = std::int32_t{1} << (rule.bits_stored - 1);
  std::vector<std::int32_t> table(kCodes);
  for (std::size_t code = 0; code < kCodes; ++code) {
    const std::int32_t v = (static_cast<std::int32_t>(code) >> shift) & mask;
    table[code] = rule.is_signed && v >= half ? v - mask - 1 : v;
  }
  return table;
}

ValueRange range_in_use(const GreyRule& rule, const RasterOf<std::uint16_t>& codes) {
  const std::vector<std::int32_t> values = value_table(rule);
  std::vector<bool> used(kCodes);
  for (const std::uint16_t code : codes.values) used[code] = true;
  std::optional<ValueRange> seen;
  for (std::size_t code = 0; code < kCodes; ++code) {
    const std::int32_t v = values[code];
    if (!used[code] || is_padding(rule, v)) continue;
    seen =
        seen ? ValueRange{std::min(seen->lowest, v), std::max(seen->highest, v)} : ValueRange{v, v};
  }
  if (!seen) return whole_range(rule);
  ValueRange bits{0, 0};
  while (bits.highest < seen->highest) bits.highest = 2 * bits.highest + 1;
  if (seen->lowest < 0) bits.lowest = -1;
  while (bits.lowest > seen->lowest) bits.lowest *= 2;
  return bits;
}

std::vector<float> grey_table(const GreyRule& rule, ValueRange range, VoiTable use,
                              std::vector<std::string>& notes) {
  const ValueRange whole = whole_range(rule);
  const bool voi = use == VoiTable::kApplied;
  // What is looked up is as the table shows it; anything else is as the modality step gives it.
  const bool inverted = voi ? rule.shown_inverted : grows_with_exposure(rule, notes);
  const double sign = inverted ? -1.0 : 1.0;
  if (modality_table_undoes_logarithm(rule)) {
    notes.emplace_back("the modality LUT was not applied: it would undo the logarithm");
  }
  const bool linear = rule.relationship == Relationship::kLinear;
  LinearExposure exposure{sign < 0.0, after_modality(rule, range.lowest),
                          after_modality(rule, range.highest),
                          rule.modality_table ? 1.0 : std::abs(rule.slope)};
  if (exposure.lowest > exposure.highest) std::swap(exposure.lowest, exposure.highest);
  const auto grey_of = [&](std::int32_t value) {
    const double v = after_modality(rule, value);
    if (linear) return static_cast<float>(-std::log(exposure(v)));
    return static_cast<float>(sign * (voi ? rule.voi_table->at(v) : v));
  };

  std::vector<float> of_value;
  for (std::int32_t value = whole.lowest; value <= whole.highest; ++value) {
    of_value.push_back(grey_of(value));
  }
  // One picture has the same greys however it is stored, to the last bit: without this the rounding
  // of filters depends on an offset, and with it whether a feature on the verge is used.
  const auto from = of_value.begin() + (linear ? range.lowest - whole.lowest : 0);
  const auto to = linear ? of_value.begin() + (range.highest - whole.lowest + 1) : of_value.end();
  const float least = *std::min_element(from, to);
  for (float& grey : of_value) grey -= least;

  const std::vector<std::int32_t> values = value_table(rule);
  std::vector<float> table(kCodes);
  for (std::size_t code = 0; code < kCodes; ++code) {
    table[code] = of_value[static_cast<std::size_t>(values[code] - whole.lowest)];
  }
  return table;
}

bool is_padding(const GreyRule& rule, std::int32_t value) {
  if (!rule.padding_low) return false;
  const std::int32_t other = rule.padding_high.value_or(*rule.padding_low);
  return value >= std::min(*rule.padding_low, other) && value <= std::max(*rule.padding_low, other);
}

bool may_use_voi_table(const GreyRule& rule, std::vector<std::string>& notes) {
  if (!rule.voi_table) return false;
  const bool tells_exposure =
      rule.relationship == Relationship::kLinear || rule.relationship == Relationship::kLogarithmic;
  if (rule.has_window || tells_exposure) {
    notes.emplace_back("the VOI LUT was not applied: the film's own values are closer to exposure");
    return false;
  }
  if (rule.voi_table->is_flat()) {
    notes.emplace_back("the VOI LUT was not applied: it gives every grey the same value");
    return false;
  }
  if (!rule.voi_table->is_monotone()) {
    notes.emplace_back("the VOI LUT was not applied: it both rises and falls");
    return false;
  }
  return true;
}

void settle_padding(const GreyRule& rule, const RasterOf<std::uint16_t>& codes,
                    const std::vector<std::int32_t>& value_of_code,
                    std::vector<float>& grey_of_code) {
  if (!rule.padding_low) return;
  std::vector<std::size_t> pixels(kCodes);
  for (const std::uint16_t code : codes.values) ++pixels[code];
  std::vector<Exposed> exposed;
  std::vector<std::size_t> padding;
  for (std::size_t code = 0; code < kCodes; ++code) {
    if (pixels[code] == 0) continue;
    if (is_padding(rule, value_of_code[code])) {
      padding.push_back(code);
    } else {
      exposed.push_back({value_of_code[code], grey_of_code[code], pixels[code]});
    }
  }
  if (padding.empty() || exposed.empty()) return;
  std::sort(exposed.begin(), exposed.end(),
            [](const Exposed& a, const Exposed& b) { return a.value < b.value; });
  const double range = static_cast<double>(exposed.back().value) - exposed.front().value;
  const float dark = dark_grey_of(exposed);
  for (const std::size_t code : padding) {
    const Exposed& nearest = nearest_to(value_of_code[code], exposed);
    const double off = std::abs(static_cast<double>(nearest.value) - value_of_code[code]);
    grey_of_code[code] = off > kPaddingFarOff * range ? dark : nearest.grey;
  }
}

}  // namespace tidemark::film
