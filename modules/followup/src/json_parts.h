#pragma once

#include <cmath>
#include <nlohmann/json.hpp>
#include <vector>

#include "tidemark/core/flag.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"

// What the writers of result.json share.
namespace tidemark::followup {

using Json = nlohmann::ordered_json;

/// Decimals kept of mm, degrees and px: well below every uncertainty here, and stable to read.
inline constexpr double kRounding = 1e4;

inline double rounded(double value, double grain = kRounding) {
  const double r = std::round(value * grain) / grain;
  return r == 0.0 ? 0.0 : r;  // no "-0.0"
}

/// [x, y] in px.
inline Json point_json(const Vec2& p) { return {rounded(p.x()), rounded(p.y())}; }

/// {value, u, u95}; lengths of a Measured<Q> divided by `unit`.
template <class Unit>
Json measured_json(const Measured<Quantity<Unit>>& m, double unit = 1.0, double grain = kRounding) {
  return {{"value", rounded(m.value.value / unit, grain)},
          {"u", rounded(m.u.value / unit, grain)},
          {"u95", rounded(m.u95.value / unit, grain)}};
}
inline Json measured_json(const Measured<double>& m) {
  return {{"value", rounded(m.value)}, {"u", rounded(m.u)}, {"u95", rounded(m.u95)}};
}

}  // namespace tidemark::followup
