#include "tidemark/assessment/probability.h"

#include <algorithm>
#include <cmath>

#include "tidemark/core/number_text.h"

namespace tidemark::assessment {
namespace {

/// Beyond this distance from 0 and 1 whole per cent are enough, within the first none is told.
constexpr double kWhole = 0.1;
constexpr double kLeast = 0.01;
/// Files never say less, nor more than its complement.
constexpr double kLeastInFiles = 1e-4;

}  // namespace

std::string percent_text(double probability) {
  if (probability > 1.0 - kLeast) return "more than 99 %";
  if (probability < kLeast) return "less than 1 %";
  const double tenths = 1000.0 * probability;
  // What is not exact in binary does not cost a digit.
  constexpr double kRounding = 1e-9;
  if (probability > 1.0 - kWhole)
    return fixed_text(std::floor(tenths + kRounding) / 10.0, 1) + " %";
  if (probability < kWhole) return fixed_text(std::ceil(tenths - kRounding) / 10.0, 1) + " %";
  return fixed_text(100.0 * probability, 0) + " %";
}

double told_probability(double probability) {
  return std::clamp(probability, kLeastInFiles, 1.0 - kLeastInFiles);
}

}  // namespace tidemark::assessment
