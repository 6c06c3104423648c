#include "corrected.h"

#include <array>
#include <optional>
#include <string>

namespace tidemark::view {
namespace {

/// films[film].landmarks_px; nothing where the sheet has none.
Sheet landmarks_of(const Sheet& sheet, std::size_t film) {
  const auto films = sheet.find("films");
  if (films == sheet.end() || film >= films->size()) return {};
  return films->at(film).value("landmarks_px", Sheet());
}

Vec2 point_of(const Sheet& value) { return {value.at(0).get<double>(), value.at(1).get<double>()}; }

/// What the sheet has by hand on one film and had otherwise when it was measured.
class Newer {
 public:
  Newer(std::size_t film, const Sheet& now, const Sheet& measured)
      : now_(landmarks_of(now, film)), then_(landmarks_of(measured, film)) {}

  [[nodiscard]] bool none() const { return now_ == then_; }

  [[nodiscard]] std::optional<Sheet> value(const std::string& key) const {
    const auto found = now_.find(key);
    if (found == now_.end()) return {};
    const auto before = then_.find(key);
    if (before != then_.end() && *before == *found) return {};
    return *found;
  }

  [[nodiscard]] std::optional<Vec2> point(Point what) const {
    const auto at = value(key_of(what));
    return at ? std::optional(point_of(*at)) : std::nullopt;
  }

 private:
  Sheet now_;
  Sheet then_;
};

void put_point(std::optional<followup::PointResult>& to, const std::optional<Vec2>& at) {
  if (!at) return;
  to.emplace();
  to->stored_px = *at;
  to->source = Source::kGiven;
}

void put_head(followup::FilmResult& film, const Newer& newer) {
  const auto centre = newer.value("head_centre");
  const auto diameter = newer.value("head_diameter");
  if (!centre && !diameter) return;
  if (!film.head && !(centre && diameter)) return;  // half a circle cannot be shown
  if (!film.head) film.head.emplace();
  if (centre) film.head->centre_px = point_of(*centre);
  if (diameter) film.head->diameter_px = diameter->get<double>();
  film.head->source = Source::kGiven;
}

std::optional<followup::AxisResult> axis_of(const Newer& newer, Axis axis) {
  const auto ends = newer.value(key_of(axis));
  if (!ends) return {};
  followup::AxisResult out;
  out.proximal_px = point_of(ends->at(0));
  out.distal_px = point_of(ends->at(1));
  out.source = Source::kGiven;
  return out;
}

/// A border stands across the stem: what was set by hand moves it along.
void put_borders(followup::FilmResult& film, const Newer& newer) {
  constexpr std::array kBorders{Point::kBoneEntry, Point::kSecondZoneBorder,
                                Point::kThirdZoneBorder};
  if (!film.stem || film.zone_borders.size() < kBorders.size()) return;
  const Vec2 distal = (film.stem->axis.distal_px - film.stem->axis.proximal_px).normalized();
  for (std::size_t i = 0; i < kBorders.size(); ++i) {
    const auto at = newer.point(kBorders.at(i));
    if (!at) continue;
    auto& border = film.zone_borders[i];
    const Vec2 by = distal.dot(*at - 0.5 * (border.lateral_px + border.medial_px)) * distal;
    border = {border.lateral_px + by, border.medial_px + by, Source::kGiven};
  }
}

void put_stem(followup::StemResult& stem, const Newer& newer) {
  put_point(stem.tip, newer.point(Point::kStemTip));
  std::optional<followup::PointResult> shoulder = stem.shoulder;
  put_point(shoulder, newer.point(Point::kStemShoulder));
  stem.shoulder = *shoulder;
  if (const auto axis = axis_of(newer, Axis::kStem)) stem.axis = *axis;
}

}  // namespace

followup::FilmResult as_corrected(followup::FilmResult result, std::size_t film, const Sheet& now,
                                  const Sheet& measured) {
  const Newer newer(film, now, measured);
  if (newer.none()) return result;
  put_borders(result, newer);
  if (result.stem) put_stem(*result.stem, newer);
  if (const auto axis = axis_of(newer, Axis::kShaft)) result.shaft_axis = *axis;
  put_head(result, newer);
  put_point(result.lesser_trochanter, newer.point(Point::kLesserTrochanter));
  put_point(result.greater_trochanter, newer.point(Point::kGreaterTrochanter));
  return result;
}

}  // namespace tidemark::view
