#include "tidemark/core/plain_number.h"

#include <cmath>

#include "tidemark/core/number_text.h"

namespace tidemark {

std::string plain_number(double value) {
  for (int decimals = 0; decimals < 3; ++decimals) {
    const double scale = std::pow(10.0, decimals);
    if (std::abs(std::round(value * scale) / scale - value) < 1e-9) {
      return fixed_text(value, decimals);
    }
  }
  return fixed_text(value, 3);
}

}  // namespace tidemark
