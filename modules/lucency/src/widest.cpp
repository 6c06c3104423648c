#include "widest.h"

#include <algorithm>
#include <cstddef>

#include "tidemark/core/robust.h"

namespace tidemark::lucency {
namespace {

constexpr double kNormal95 = 1.96;   // JCGM 100, table G.1
constexpr std::size_t kStretch = 8;  // places: 4 mm
/// A stretch this much less certain than the line's usual place is not its widest. House choice.
constexpr double kWildU = 2.5;

double usual_u(const std::vector<Measured<Millimetres>>& widths) {
  std::vector<double> all;
  for (const auto& width : widths) all.push_back(width.u.value);
  return median(all).value_or(0.0);
}

std::vector<Measured<Millimetres>> stretches(const std::vector<Measured<Millimetres>>& widths) {
  const std::size_t n = std::min(kStretch, widths.size());
  std::vector<Measured<Millimetres>> out;
  std::vector<double> near;
  for (std::size_t i = 0; i + n <= widths.size(); ++i) {
    near.clear();
    double u = 0.0;
    for (std::size_t k = i; k < i + n; ++k) {
      near.push_back(widths[k].value.value);
      u += widths[k].u.value / static_cast<double>(n);
    }
    out.push_back({{median(near).value_or(0.0)}, {u}, {kNormal95 * u}});
  }
  return out;
}

}  // namespace

Measured<Millimetres> widest(const std::vector<Measured<Millimetres>>& widths) {
  const std::vector<Measured<Millimetres>> all = stretches(widths);
  if (all.empty()) return {};
  const auto by_u = [](const auto& a, const auto& b) { return a.u.value < b.u.value; };
  Measured<Millimetres> best = *std::min_element(all.begin(), all.end(), by_u);
  const double most = std::max(kWildU * usual_u(widths), best.u.value);
  for (const auto& one : all) {
    if (one.u.value <= most && one.value.value > best.value.value) best = one;
  }
  return best;
}

}  // namespace tidemark::lucency
