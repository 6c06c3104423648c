#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "figures.h"

namespace tidemark::registry {
namespace {

constexpr double kLeft = 80, kTop = 46, kCell = 78, kRow = 34;

using Time = std::optional<std::size_t>;

/// One grid: a group and an interface.
struct Grid {
  std::set<Time> times;
  std::set<int> zones;
  std::map<std::pair<int, Time>, const ZoneIncidence*> cells;
};

std::string time_label(const Time& time) { return time ? visits()[*time].name : "reference"; }

/// A cell's height is all hips: black with a line, hatched open, white without.
void draw_cell(SvgCanvas& canvas, const ZoneIncidence& z, double x, double y) {
  const double width = 14;
  const double height = kRow - 6;
  const auto all = static_cast<double>(z.present + z.absent + z.cannot_tell + z.not_seen);
  const double line = height * static_cast<double>(z.present) / all;
  const double open = height * static_cast<double>(z.cannot_tell + z.not_seen) / all;
  const double bottom = y + 3 + height;
  canvas.box({x, y + 3}, width, height, {"#000", 0.8, "#fff", ""});
  canvas.box({x, bottom - line - open}, width, open, {"#000", 0.6, "url(#hatch)", ""});
  canvas.box({x, bottom - line}, width, line, {"#000", 0.6, "#000", ""});
  const std::string words = std::to_string(z.present) + "/" + std::to_string(z.present + z.absent);
  canvas.text({x + 20, y + 16}, words,
              {12, Anchor::kStart, "#000", z.present > 0 ? "bold" : "normal"});
  if (z.cannot_tell + z.not_seen > 0) {
    canvas.text({x + 20, y + 29}, "? " + std::to_string(z.cannot_tell + z.not_seen), {11});
  }
}

Figure draw(const Grid& grid, const std::string& group, const std::string& interface) {
  SvgCanvas canvas(kLeft + kCell * static_cast<double>(grid.times.size()) + 10,
                   kTop + kRow * static_cast<double>(grid.zones.size()) + 12);
  canvas.text({8, kTop - 10}, "zone", {12});
  double y = kTop;
  for (const int zone : grid.zones) {
    canvas.text({14, y + 22}, std::to_string(zone), {13, Anchor::kStart, "#000", "bold"});
    double x = kLeft;
    for (const Time& time : grid.times) {
      if (y == kTop) canvas.text({x - 2, kTop - 10}, time_label(time), {12});
      const auto cell = grid.cells.find({zone, time});
      if (cell != grid.cells.end()) draw_cell(canvas, *cell->second, x, y);
      x += kCell;
    }
    canvas.line({8, y + kRow}, {x - 8, y + kRow}, {"#ddd", 0.8, "none", ""});
    y += kRow;
  }
  std::string place = interface;
  std::replace(place.begin(), place.end(), '_', ' ');
  const std::string title =
      "Radiolucent lines by zone and time, " + place + (group.empty() ? "" : ", " + group);
  std::string name = "lucency-" + interface + (group.empty() ? "" : "-" + group);
  for (char& c : name) {
    if (std::isalnum(static_cast<unsigned char>(c)) == 0) c = '-';
  }
  return {name, title,
          "Hips with a line / hips judged; after ? the hips whose zone is not clear or not seen. "
          "Bars: all hips with a film; black with a line, hatched open, white without. Newly seen "
          "lines: table lucency. Not validated yet.",
          canvas.svg(title)};
}

}  // namespace

std::vector<Figure> lucency_figures(const CohortStudy& study) {
  std::map<std::pair<std::string, std::string>, Grid> grids;
  for (const ZoneIncidence& z : study.lucency) {
    if (z.present + z.absent + z.cannot_tell + z.not_seen == 0) continue;
    Grid& grid = grids[{z.group, z.interface}];
    grid.times.insert(z.visit);
    grid.zones.insert(z.zone);
    grid.cells[{z.zone, z.visit}] = &z;
  }
  std::vector<Figure> out;
  for (const auto& [key, grid] : grids) out.push_back(draw(grid, key.first, key.second));
  return out;
}

}  // namespace tidemark::registry
