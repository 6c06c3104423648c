#include "tidemark/view/sheet.h"

#include <cmath>
#include <utility>

#include "tidemark/lucency/codes.h"

namespace tidemark::view {
namespace {

constexpr const char* kLandmarks = "landmarks_px";
constexpr const char* kMarks = "zone_marks";

/// A hundredth of a pixel: far below what a hand can place.
double rounded(double px) { return std::round(100.0 * px) / 100.0; }

Sheet json_of(const Vec2& p) { return Sheet::array({rounded(p.x()), rounded(p.y())}); }

void put(Sheet& object, const std::string& key, const std::optional<Sheet>& value) {
  if (value) {
    object[key] = *value;
  } else {
    object.erase(key);
  }
}

/// Sets keys of films[film].landmarks_px; an object that is left empty goes.
void put_landmark(Sheet& sheet, std::size_t film, const std::string& key,
                  const std::optional<Sheet>& value) {
  Sheet& entry = sheet.at("films").at(film);
  if (!entry.contains(kLandmarks)) {
    if (!value) return;
    entry[kLandmarks] = Sheet::object();
  }
  put(entry[kLandmarks], key, value);
  if (entry[kLandmarks].empty()) entry.erase(kLandmarks);
}

}  // namespace

std::string key_of(Point point) {
  switch (point) {
    case Point::kLesserTrochanter:
      return "lesser_trochanter";
    case Point::kGreaterTrochanter:
      return "greater_trochanter";
    case Point::kStemTip:
      return "stem_tip";
    case Point::kStemShoulder:
      return "stem_shoulder";
    case Point::kSecondZoneBorder:
      return "second_zone_border";
    case Point::kThirdZoneBorder:
      return "third_zone_border";
    case Point::kBoneEntry:
      break;
  }
  return "bone_entry";
}

std::string key_of(Axis axis) { return axis == Axis::kStem ? "stem_axis" : "shaft_axis"; }

std::string words_of(Point point) {
  switch (point) {
    case Point::kLesserTrochanter:
      return "lesser trochanter";
    case Point::kGreaterTrochanter:
      return "greater trochanter";
    case Point::kStemTip:
      return "stem tip";
    case Point::kStemShoulder:
      return "stem shoulder";
    case Point::kSecondZoneBorder:
      return "second border of the zones";
    case Point::kThirdZoneBorder:
      return "third border of the zones";
    case Point::kBoneEntry:
      break;
  }
  return "upper border of the zones";
}

std::string words_of(Axis axis) { return axis == Axis::kStem ? "stem axis" : "shaft axis"; }

Sheet with_point(Sheet sheet, std::size_t film, Point point, const std::optional<Vec2>& at_px) {
  put_landmark(sheet, film, key_of(point),
               at_px ? std::optional(json_of(*at_px)) : std::optional<Sheet>());
  return sheet;
}

Sheet with_axis(Sheet sheet, std::size_t film, Axis axis, const std::optional<AxisEnds>& ends) {
  std::optional<Sheet> value;
  if (ends) value = Sheet::array({json_of(ends->proximal_px), json_of(ends->distal_px)});
  put_landmark(sheet, film, key_of(axis), value);
  return sheet;
}

Sheet with_head(Sheet sheet, std::size_t film, const std::optional<Circle2>& head_px) {
  std::optional<Sheet> centre;
  std::optional<Sheet> diameter;
  if (head_px) {
    centre = json_of(head_px->centre);
    diameter = rounded(2.0 * head_px->radius);
  }
  put_landmark(sheet, film, "head_centre", centre);
  put_landmark(sheet, film, "head_diameter", diameter);
  return sheet;
}

Sheet with_scale(Sheet sheet, std::size_t film, const std::optional<MillimetresPerPixel>& scale) {
  put(sheet.at("films").at(film), "mm_per_px",
      scale ? std::optional(Sheet(scale->value)) : std::optional<Sheet>());
  return sheet;
}

Sheet with_side(Sheet sheet, const std::optional<Side>& side) {
  std::optional<Sheet> value;
  if (side) value = *side == Side::kRight ? "R" : "L";
  put(sheet, "side", value);
  return sheet;
}

Sheet with_head_diameter(Sheet sheet, const std::optional<Millimetres>& diameter) {
  if (!sheet.contains("stem")) {
    if (!diameter) return sheet;
    sheet["stem"] = Sheet::object();
  }
  put(sheet["stem"], "head_diameter_mm",
      diameter ? std::optional(Sheet(diameter->value)) : std::optional<Sheet>());
  if (sheet["stem"].empty()) sheet.erase("stem");
  return sheet;
}

Sheet with_reference(Sheet sheet, std::size_t film) {
  Sheet& films = sheet.at("films");
  for (std::size_t i = 0; i < films.size(); ++i) {
    if (i == film) {
      films[i]["role"] = "reference";
    } else if (films[i].value("role", "") == "reference") {
      films[i]["role"] = "follow-up";
    }
  }
  return sheet;
}

Sheet with_use(Sheet sheet, std::size_t film, Use use) {
  put(sheet.at("films").at(film), "exclude",
      use == Use::kExcluded ? std::optional(Sheet(true)) : std::optional<Sheet>());
  return sheet;
}

Sheet with_date_kept(Sheet sheet, std::size_t film, const std::optional<Date>& date) {
  Sheet& entry = sheet.at("films").at(film);
  if (date && !entry.contains("date")) entry["date"] = format_date(*date);
  return sheet;
}

Sheet without_zone_mark(Sheet sheet, std::size_t film, const followup::ZoneMark& mark) {
  Sheet& entry = sheet.at("films").at(film);
  if (!entry.contains(kMarks)) return sheet;
  Sheet kept = Sheet::array();
  for (const Sheet& one : entry[kMarks]) {
    const bool same = one.value("zone", 0) == mark.zone &&
                      one.value("interface", "") == lucency::code_of(mark.interface) &&
                      one.value("reader", "") == mark.reader;
    if (!same) kept.push_back(one);
  }
  put(entry, kMarks, kept.empty() ? std::optional<Sheet>() : std::optional(kept));
  return sheet;
}

Sheet with_zone_mark(Sheet sheet, std::size_t film, const followup::ZoneMark& mark) {
  sheet = without_zone_mark(std::move(sheet), film, mark);
  Sheet one;
  one["zone"] = mark.zone;
  one["interface"] = lucency::code_of(mark.interface);
  one["opinion"] = followup::code_of(mark.opinion);
  one["program"] = lucency::code_of(mark.program);
  one["reader"] = mark.reader;
  one["marked_at"] = mark.marked_at;
  sheet.at("films").at(film)[kMarks].push_back(std::move(one));
  return sheet;
}

std::string text_of(const Sheet& sheet) { return sheet.dump(2) + "\n"; }

Sheet sheet_of(const std::vector<std::string>& files) {
  Sheet sheet;
  sheet["films"] = Sheet::array();
  for (const std::string& file : files) sheet["films"].push_back({{"file", file}});
  return sheet;
}

}  // namespace tidemark::view
