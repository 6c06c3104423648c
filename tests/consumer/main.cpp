#include <iostream>
#include <vector>

#include "tidemark/core/circle_fit.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/series.h"

/// Calls one function that computes, one that reads and one that is compiled into the topmost
/// module.
int main() {
  const std::vector<tidemark::Vec2> points{{13, -16}, {7, -16}, {10, -25}, {15, -20}};
  const auto fit = tidemark::fit_circle(points);
  const auto series = tidemark::followup::load_series("/nonexistent/tidemark", {});
  const bool good = fit && fit->circle.radius > 4.999 && fit->circle.radius < 5.001 && !series &&
                    !tidemark::followup::version().empty();
  std::cout << "Tidemark " << tidemark::followup::version() << ": " << (good ? "usable" : "broken")
            << "\n";
  return good ? 0 : 1;
}
