#include "item.h"

#include <cmath>

#include "tidemark/core/number_text.h"

namespace tidemark::archive {
namespace {

constexpr int kMostDecimals = 6;
constexpr int kDecimalsOfJson = 4;  // as result.json has

}  // namespace

int decimals_of(double u95) {
  if (!(u95 > 0.0) || !std::isfinite(u95)) return kDecimalsOfJson;
  int decimals = 0;
  // 0.995 and more would be printed with three digits: "1.00".
  while (decimals < kMostDecimals && u95 * std::pow(10.0, decimals) < 9.95) ++decimals;
  return decimals;
}

std::string number_text(double value, double u95) { return fixed_text(value, decimals_of(u95)); }

}  // namespace tidemark::archive
