#pragma once

#include <compare>

namespace tidemark {

/// A double that carries its unit in its type. `Millimetres m = 3.0;` and `mm + degrees` do not
/// compile; `Millimetres{3.0}` and `mm + mm` do.
template <class Unit>
struct Quantity {
  double value = 0.0;

  friend constexpr auto operator<=>(Quantity, Quantity) = default;
  friend constexpr Quantity operator+(Quantity a, Quantity b) { return {a.value + b.value}; }
  friend constexpr Quantity operator-(Quantity a, Quantity b) { return {a.value - b.value}; }
  friend constexpr Quantity operator-(Quantity a) { return {-a.value}; }
  friend constexpr Quantity operator*(double k, Quantity a) { return {k * a.value}; }
  friend constexpr double operator/(Quantity a, Quantity b) { return a.value / b.value; }
};

using Millimetres = Quantity<struct MillimetreUnit>;
using Degrees = Quantity<struct DegreeUnit>;
using Pixels = Quantity<struct PixelUnit>;
/// Scale of a film: millimetres in the plane of the stem for one (square) pixel.
using MillimetresPerPixel = Quantity<struct MillimetrePerPixelUnit>;

/// A measured quantity (GUM, JCGM 100): value, standard uncertainty, and half-width of the 95 %
/// coverage interval. A number without its uncertainty is a defect (docs/design.md).
template <class Q>
struct Measured {
  Q value;
  Q u;
  Q u95;
};

}  // namespace tidemark
