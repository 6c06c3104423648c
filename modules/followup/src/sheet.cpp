#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>
#include <set>
#include <utility>

#include "tidemark/core/date.h"
#include "tidemark/core/hash.h"
#include "tidemark/core/json_reader.h"
#include "tidemark/followup/series.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::followup {
namespace {

using Json = nlohmann::json;

// Largest sheet that is looked at and deepest nesting: house choices, far beyond any real sheet.
constexpr std::size_t kMaxSheetBytes = 4U << 20U;
constexpr std::size_t kMaxFilms = 1000;

// Wide enough for every implant and film, narrow enough to catch another unit. House choices.
constexpr Range kMarkerDiameterMm{5.0, 100.0};
constexpr Range kMmPerPx{0.01, 2.0};
constexpr Range kLengthMm{-200.0, 200.0};
constexpr Range kTiltDeg{-30.0, 30.0};
constexpr Range kPx{-0.5, 100000.0};
constexpr Range kDiameterPx{5.0, 20000.0};
constexpr Range kZones{1.0, 14.0};
constexpr std::size_t kLongestReader = 64;
constexpr std::size_t kMaxMarks = 10000;
/// Standard uncertainty of a scale that was given without one, as a share of it. House choice.
constexpr double kGivenScaleShare = 0.01;
/// Factor of the 95 % interval of a normal distribution, JCGM 100 table G.1.
constexpr double kNormal95 = 1.96;

/// Reads the sheet; adds what only a sheet holds.
class Reader : public JsonReader {
 public:
  using JsonReader::JsonReader;

  std::optional<Vec2> point(const Json& parent, const std::string& path, const std::string& key) {
    const Json* node = find(parent, key);
    return node == nullptr ? std::nullopt : point(*node, at(path, key));
  }

  std::optional<Vec2> point(const Json& node, const std::string& path) {
    if (!node.is_array() || node.size() != 2) {
      fault(path + " is " + shown(node) + ", not a point", "write [column, row] in pixels");
      return {};
    }
    const auto x = number(node[0], path + "[0]", kPx);
    const auto y = number(node[1], path + "[1]", kPx);
    if (!x || !y) return {};
    return Vec2(*x, *y);
  }

  std::optional<Line2> line(const Json& parent, const std::string& path, const std::string& key) {
    const Json* node = find(parent, key);
    if (node == nullptr) return {};
    if (!node->is_array() || node->size() != 2) {
      fault(at(path, key) + " is " + Reader::shown(*node) + ", not a line",
            "write [[column, row], [column, row]], the proximal point first");
      return {};
    }
    const auto a = point((*node)[0], at(path, key) + "[0]");
    const auto b = point((*node)[1], at(path, key) + "[1]");
    if (!a || !b) return {};
    if ((*b - *a).norm() < 1.0) {
      fault(at(path, key) + " has two points at the same place", "write two points far apart");
      return {};
    }
    return Line2{*a, (*b - *a).normalized()};
  }
};

template <class T, std::size_t N>
std::array<std::string, N> codes_of(const std::array<T, N>& values) {
  std::array<std::string, N> out;
  std::transform(values.begin(), values.end(), out.begin(), [](T value) { return code_of(value); });
  return out;
}

template <class Q>
std::optional<Q> in_unit(std::optional<double> value) {
  if (!value) return {};
  return Q{*value};
}

/// Why a file name is refused, or nothing. A sheet must not reach outside of its folder.
bool stays_inside(const std::string& file) {
  const std::filesystem::path path(file);
  if (path.is_absolute() || path.has_root_name()) return false;
  return std::none_of(path.begin(), path.end(), [](const auto& part) { return part == ".."; });
}

StemFacts read_stem(Reader& reader, const Json& node, const std::string& path,
                    const std::filesystem::path& folder) {
  if (!reader.object(node, path, {"fixation", "length_mm", "head_diameter_mm", "surface"})) {
    return {};
  }
  static const std::array<std::string, 4> fixations{
      "cemented", "uncemented", "cemented_polished_taper", "cemented_composite_beam"};
  StemFacts stem;
  if (const auto which = reader.word(node, path, "fixation", fixations)) {
    stem.fixation = *which == 1 ? Fixation::kUncemented : Fixation::kCemented;
    if (*which == 2) stem.cement_principle = CementPrinciple::kPolishedTaper;
    if (*which == 3) stem.cement_principle = CementPrinciple::kCompositeBeam;
  }
  stem.length = in_unit<Millimetres>(reader.number(node, path, "length_mm", kStemLengthMm));
  stem.head_diameter =
      in_unit<Millimetres>(reader.number(node, path, "head_diameter_mm", kHeadDiameterMm));
  stem.surface = reader.text(node, path, "surface");
  if (!stem.surface) return stem;
  if (!stays_inside(*stem.surface)) {
    reader.fault(path + ".surface is " + Reader::in_quotes(*stem.surface) +
                     ", which leads out of the folder",
                 "put the surface into the folder and name it from there");
  }
  stem.surface_path = folder / *stem.surface;
  return stem;
}

Plan read_plan(Reader& reader, const Json& node, const std::string& path) {
  if (!reader.object(node, path,
                     {"tip_of_greater_trochanter_to_head_centre_mm", "leg_length_change_mm",
                      "leg_length_difference_mm", "stem_tilt_deg"})) {
    return {};
  }
  return Plan{
      .greater_trochanter_to_head_centre = in_unit<Millimetres>(
          reader.number(node, path, "tip_of_greater_trochanter_to_head_centre_mm", kLengthMm)),
      .leg_length_change =
          in_unit<Millimetres>(reader.number(node, path, "leg_length_change_mm", kLengthMm)),
      .leg_length_difference =
          in_unit<Millimetres>(reader.number(node, path, "leg_length_difference_mm", kLengthMm)),
      .stem_tilt = in_unit<Degrees>(reader.number(node, path, "stem_tilt_deg", kTiltDeg))};
}

anatomy::GivenLandmarks read_landmarks(Reader& reader, const Json& node, const std::string& path) {
  if (!reader.object(node, path,
                     {"head_centre", "head_diameter", "stem_tip", "stem_shoulder",
                      "lesser_trochanter", "greater_trochanter", "stem_axis", "shaft_axis",
                      "bone_entry", "second_zone_border", "third_zone_border"})) {
    return {};
  }
  return {.head_centre_px = reader.point(node, path, "head_centre"),
          .head_diameter_px = reader.number(node, path, "head_diameter", kDiameterPx),
          .stem_tip_px = reader.point(node, path, "stem_tip"),
          .stem_shoulder_px = reader.point(node, path, "stem_shoulder"),
          .lesser_trochanter_px = reader.point(node, path, "lesser_trochanter"),
          .greater_trochanter_px = reader.point(node, path, "greater_trochanter"),
          .stem_axis_px = reader.line(node, path, "stem_axis"),
          .shaft_axis_px = reader.line(node, path, "shaft_axis"),
          .bone_entry_px = reader.point(node, path, "bone_entry"),
          .second_zone_border_px = reader.point(node, path, "second_zone_border"),
          .third_zone_border_px = reader.point(node, path, "third_zone_border")};
}

std::optional<Circle2> read_circle(Reader& reader, const Json& node, const std::string& path) {
  if (!reader.object(node, path, {"centre", "diameter"})) return {};
  const auto centre = reader.point(node, path, "centre");
  const auto diameter = reader.number(node, path, "diameter", kDiameterPx);
  if (centre && diameter) return Circle2{*centre, *diameter / 2.0};
  reader.fault(path + " is not complete", "give centre and diameter");
  return {};
}

std::optional<Measured<MillimetresPerPixel>> read_scale(Reader& reader, const Json& node,
                                                        const std::string& path) {
  double u = 0.0;
  std::optional<double> value;
  if (node.is_object()) {
    if (!reader.object(node, path, {"value", "u"})) return {};
    value = reader.number(node, path, "value", kMmPerPx);
    const auto given_u = reader.number(node, path, "u", {1e-6, 1.0});
    if (!value || !given_u) {
      reader.fault(path + " is not complete", "give value and u, its standard uncertainty");
      return {};
    }
    u = *given_u;
  } else {
    value = reader.number(node, path, kMmPerPx);
    if (!value) return {};
    u = kGivenScaleShare * *value;
  }
  return Measured<MillimetresPerPixel>{{*value}, {u}, {kNormal95 * u}};
}

/// The mark in a node, or nothing after a fault.
std::optional<ZoneMark> read_zone_mark(Reader& reader, const Json& node, const std::string& path) {
  using lucency::Interface;
  using lucency::State;
  static constexpr std::array kInterfaces{Interface::kStemBone, Interface::kStemCement,
                                          Interface::kCementBone};
  static constexpr std::array kOpinions{Opinion::kAgree, Opinion::kDisagree, Opinion::kCannotTell};
  static constexpr std::array kStates{State::kPresent, State::kAbsent, State::kCannotTell,
                                      State::kNotSeen};
  static const auto interfaces = codes_of(kInterfaces);
  static const auto opinions = codes_of(kOpinions);
  static const auto states = codes_of(kStates);
  if (!reader.object(node, path,
                     {"zone", "interface", "opinion", "program", "reader", "marked_at"})) {
    return {};
  }
  const auto zone = reader.number(node, path, "zone", kZones);
  const auto interface = reader.word(node, path, "interface", interfaces);
  const auto opinion = reader.word(node, path, "opinion", opinions);
  const auto program = reader.word(node, path, "program", states);
  const auto who = reader.text(node, path, "reader");
  const auto when = reader.text(node, path, "marked_at");
  if (reader.first_fault()) return {};
  if (!zone || !interface || !opinion || !program || !who || !when) {
    reader.fault(path + " is not complete",
                 "give zone, interface, opinion, program, reader and marked_at");
    return {};
  }
  if (*zone != std::floor(*zone)) {
    reader.fault(path + ".zone is no whole number", "write 1 to 14");
  }
  if (who->empty() || who->size() > kLongestReader) {
    reader.fault(path + ".reader has not 1 to 64 characters", "give initials");
  }
  if (!is_utc_time(*when)) {
    reader.fault(path + ".marked_at is " + Reader::in_quotes(*when) + ", not a time",
                 "write it in UTC as 2026-01-31T09:30:00Z");
  }
  return ZoneMark{static_cast<int>(*zone),
                  kInterfaces.at(*interface),
                  kOpinions.at(*opinion),
                  kStates.at(*program),
                  *who,
                  *when};
}

std::vector<ZoneMark> read_zone_marks(Reader& reader, const Json& node, const std::string& path) {
  std::vector<ZoneMark> marks;
  if (!node.is_array() || node.size() > kMaxMarks) {
    reader.fault(path + " is no list of marks", "list one mark for each zone that was looked at");
    return marks;
  }
  for (std::size_t i = 0; i < node.size(); ++i) {
    const std::string place = path + "[" + std::to_string(i) + "]";
    const auto mark = read_zone_mark(reader, node[i], place);
    if (!mark) return marks;
    const bool twice = std::any_of(marks.begin(), marks.end(), [&](const ZoneMark& other) {
      return other.zone == mark->zone && other.interface == mark->interface &&
             other.reader == mark->reader;
    });
    if (twice) {
      reader.fault(place + " is a second mark of one reader on one place", "keep the last one");
      return marks;
    }
    marks.push_back(*mark);
  }
  return marks;
}

FilmEntry read_film(Reader& reader, const Json& node, const std::string& path,
                    const std::filesystem::path& folder) {
  static const std::array<std::string, 2> roles{"reference", "follow-up"};
  static const std::array<std::string, 4> views{"AP", "PA", "LAT", "OTHER"};
  static const std::array<std::string, 2> backs{"left", "right"};
  FilmEntry film;
  if (!reader.object(node, path,
                     {"file", "role", "date", "view", "back", "marker_diameter_mm", "marker_px",
                      "mm_per_px", "landmarks_px", "zone_marks", "exclude"})) {
    return film;
  }
  const auto file = reader.text(node, path, "file");
  if (!file) {
    reader.fault(path + " names no file", "give file, the name of the film in this folder");
    return film;
  }
  if (!stays_inside(*file)) {
    reader.fault(path + ".file is " + Reader::in_quotes(*file) + ", which leads out of the folder",
                 "put the film into the folder and name it from there");
  }
  film.file = *file;
  film.path = folder / *file;
  if (const auto role = reader.word(node, path, "role", roles)) {
    film.role = *role == 0 ? Role::kReference : Role::kFollowUp;
  }
  film.date = reader.date(node, path, "date");
  if (const auto view = reader.word(node, path, "view", views)) {
    static constexpr std::array kMeaning{View::kAp, View::kPa, View::kLateral, View::kOther};
    film.view = kMeaning.at(*view);
  }
  if (const auto back = reader.word(node, path, "back", backs)) {
    film.back = *back == 0 ? PictureSide::kLeft : PictureSide::kRight;
  }
  film.marker_diameter =
      in_unit<Millimetres>(reader.number(node, path, "marker_diameter_mm", kMarkerDiameterMm));
  if (const Json* marker = Reader::find(node, "marker_px")) {
    film.marker_in_stored_px = read_circle(reader, *marker, path + ".marker_px");
  }
  if (const Json* scale = Reader::find(node, "mm_per_px")) {
    film.scale = read_scale(reader, *scale, path + ".mm_per_px");
  }
  if (const Json* landmarks = Reader::find(node, "landmarks_px")) {
    film.landmarks_in_stored_px = read_landmarks(reader, *landmarks, path + ".landmarks_px");
  }
  if (const Json* marks = Reader::find(node, "zone_marks")) {
    film.zone_marks = read_zone_marks(reader, *marks, path + ".zone_marks");
  }
  film.excluded = reader.yes_or_no(node, path, "exclude").value_or(false);
  return film;
}

void check_films(Reader& reader, const std::vector<FilmEntry>& films) {
  std::set<std::string> names;
  std::optional<std::size_t> reference;
  for (std::size_t i = 0; i < films.size(); ++i) {
    const std::string path = "films[" + std::to_string(i) + "]";
    if (!names.insert(films[i].file).second) {
      reader.fault(
          path + ".file is " + Reader::in_quotes(films[i].file) + ", which is listed twice",
          "list each film once");
    }
    if (films[i].role != Role::kReference) continue;
    if (reference) {
      reader.fault(
          path + " is a second reference film",
          "keep the role reference for films[" + std::to_string(*reference) + "] or for this one");
    }
    reference = i;
  }
}

std::vector<FilmEntry> read_films(Reader& reader, const Json& sheet,
                                  const std::filesystem::path& folder) {
  std::vector<FilmEntry> films;
  const Json* list = Reader::find(sheet, "films");
  if (list == nullptr || !list->is_array() || list->empty()) {
    reader.fault(list == nullptr ? "films is missing" : "films is no list of films",
                 "list the films as [{\"file\": \"film-00.dcm\"}, ...]");
    return films;
  }
  if (list->size() > kMaxFilms) {
    reader.fault("films has " + std::to_string(list->size()) + " entries",
                 "one sheet holds the films of one hip");
    return films;
  }
  for (std::size_t i = 0; i < list->size(); ++i) {
    films.push_back(read_film(reader, (*list)[i], "films[" + std::to_string(i) + "]", folder));
    if (reader.first_fault()) return films;
  }
  check_films(reader, films);
  return films;
}

Series read_series(Reader& reader, const Json& sheet, const std::filesystem::path& folder) {
  static const std::array<std::string, 1> schemas{"tidemark/series/1"};
  static const std::array<std::string, 2> sides{"R", "L"};
  Series series;
  if (!reader.object(sheet, "",
                     {"schema", "hip", "side", "surgery_date", "stem", "plan", "films"})) {
    return series;
  }
  (void)reader.word(sheet, "", "schema", schemas);
  series.hip = reader.text(sheet, "", "hip");
  if (series.hip && series.hip->size() > 64) {
    reader.fault("hip has more than 64 characters", "give a short name of your own for this hip");
  }
  if (const auto side = reader.word(sheet, "", "side", sides)) {
    series.side = *side == 0 ? Side::kRight : Side::kLeft;
  }
  series.surgery_date = reader.date(sheet, "", "surgery_date");
  if (const Json* stem = Reader::find(sheet, "stem"))
    series.stem = read_stem(reader, *stem, "stem", folder);
  if (const Json* plan = Reader::find(sheet, "plan"))
    series.plan = read_plan(reader, *plan, "plan");
  series.films = read_films(reader, sheet, folder);
  return series;
}

}  // namespace

Expected<Series> parse_sheet(std::string_view text, const std::string& sheet,
                             const std::filesystem::path& folder) {
  Reader reader(sheet);
  if (text.size() > kMaxSheetBytes) {
    return fail(ErrorKind::kBadInput, sheet, "larger than 4 MiB", "a sheet describes one hip");
  }
  const Json json = reader.parse(text);
  Series series;
  if (!reader.first_fault()) {
    if (!json.is_object()) {
      reader.fault("it holds " + Reader::shown(json) + ", not an object", "write it in braces");
    } else {
      series = read_series(reader, json, folder);
    }
  }
  if (reader.first_fault()) return tl::unexpected(*reader.first_fault());
  series.sheet_sha256 = sha256_hex(text);
  return series;
}

}  // namespace tidemark::followup
