// Compiled (syntax only) once for each CASE by ctest. CASE 0 must compile: it proves that the
// others fail for their own reason and not for a missing header.
#include "tidemark/core/units.h"

using namespace tidemark;  // NOLINT: a test file of its own

[[maybe_unused]] static double width_of(Millimetres width) { return width.value; }

int main() {
  const Millimetres mm{3.0};
  [[maybe_unused]] const Degrees deg{1.0};
  [[maybe_unused]] const Pixels px{10.0};
#if CASE == 0
  const Millimetres twice = mm + mm;
  return width_of(twice) > mm / twice ? 1 : 0;
#elif CASE == 1
  return (mm + deg).value > 0.0;  // sum of different units
#elif CASE == 2
  const Millimetres from_number = 3.0;  // a number without a unit
  return from_number.value > 0.0;
#elif CASE == 3
  return mm < px;  // comparison of different units
#elif CASE == 4
  return width_of(px) > 0.0;  // pixels where millimetres are wanted
#elif CASE == 5
  const double number = mm;  // the unit is lost without a word
  return number > 0.0;
#elif CASE == 6
  return mm / px > 1.0;  // a ratio of different units is no pure number
#elif CASE == 7
  return (mm * mm).value > 1.0;  // an area is no length
#elif CASE == 8
  return width_of(3.0) > 0.0;  // a bare number as argument
#endif
}
