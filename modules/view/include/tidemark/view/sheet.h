#pragma once

#include <cstddef>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/date.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/followup/series.h"

namespace tidemark::view {

// series.json (docs/series-format.md) as it is corrected: each function gives the sheet anew with
// one value set, or taken out again where the value is absent. All else stays as the user wrote it.
// Pixels are those of the stored matrix. `film` counts from 0 in films[].

/// A sheet with its keys in the order of the file.
using Sheet = nlohmann::ordered_json;

/// What can be put right by hand on one film, as landmarks_px spells it.
enum class Point {
  kLesserTrochanter,
  kGreaterTrochanter,
  kStemTip,
  kStemShoulder,
  kBoneEntry,
  kSecondZoneBorder,
  kThirdZoneBorder,
};
enum class Axis { kStem, kShaft };
[[nodiscard]] std::string key_of(Point point);
[[nodiscard]] std::string key_of(Axis axis);
[[nodiscard]] std::string words_of(Point point);  ///< "lesser trochanter"
[[nodiscard]] std::string words_of(Axis axis);    ///< "stem axis"

struct AxisEnds {
  Vec2 proximal_px = Vec2::Zero();
  Vec2 distal_px = Vec2::Zero();
};

[[nodiscard]] Sheet with_point(Sheet sheet, std::size_t film, Point point,
                               const std::optional<Vec2>& at_px);
[[nodiscard]] Sheet with_axis(Sheet sheet, std::size_t film, Axis axis,
                              const std::optional<AxisEnds>& ends);
/// Sets head_centre and head_diameter.
[[nodiscard]] Sheet with_head(Sheet sheet, std::size_t film, const std::optional<Circle2>& head_px);
[[nodiscard]] Sheet with_scale(Sheet sheet, std::size_t film,
                               const std::optional<MillimetresPerPixel>& scale);
[[nodiscard]] Sheet with_side(Sheet sheet, const std::optional<Side>& side);
[[nodiscard]] Sheet with_head_diameter(Sheet sheet, const std::optional<Millimetres>& diameter);
/// This film is the reference; whichever the sheet named before becomes a follow-up.
[[nodiscard]] Sheet with_reference(Sheet sheet, std::size_t film);
/// Whether a film counts.
enum class Use { kMeasured, kExcluded };
[[nodiscard]] Sheet with_use(Sheet sheet, std::size_t film, Use use);

/// The film's date by its header, where the sheet has none: a film that is left out is not read,
/// and nobody would know any more when it was taken.
[[nodiscard]] Sheet with_date_kept(Sheet sheet, std::size_t film, const std::optional<Date>& date);

/// A reader's mark on a zone: in place of an earlier one of the same reader there.
[[nodiscard]] Sheet with_zone_mark(Sheet sheet, std::size_t film, const followup::ZoneMark& mark);
/// Takes away the mark of this reader on this zone and interface, if there is one.
[[nodiscard]] Sheet without_zone_mark(Sheet sheet, std::size_t film,
                                      const followup::ZoneMark& mark);

/// The text of the file, as it is written.
[[nodiscard]] std::string text_of(const Sheet& sheet);

/// The sheet of a folder without series.json: its films by name, and nothing else.
[[nodiscard]] Sheet sheet_of(const std::vector<std::string>& files);

}  // namespace tidemark::view
