#include <algorithm>
#include <array>
#include <cctype>
#include <string>
#include <string_view>
#include <utility>

#include "help_parts.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"

namespace tidemark::view {
namespace {

using followup::FilmResult;

/// A way to the scale of a film: how it goes, and on whose numbers it rests (film/calibration.h).
struct Way {
  std::string_view method;
  const char* how;
  const char* source;
};

constexpr std::array<Way, 6> kWays{{
    {"head_diameter",
     "The circle fitted to the head's rim is held against the diameter that the sheet gives. On an "
     "AP film the head lies some 9 mm nearer the tube than the stem; that is taken off, and "
     "what the neck's turn leaves unknown of it is part of the uncertainty.",
     "Depth of the head before the stem: offset by Noble et al. 1988, Clin Orthop Relat Res "
     "235:148-165 (from memory), anteversion: house choice."},
    {"marker_diameter", "A ball of known size beside the thigh is held against its shadow.",
     "Mean error of such scales: comparison of four ways to calibrate, J Bone Joint Surg Br 2010 "
     "(abstract)."},
    {"stem_length",
     "The stem's length from shoulder to tip is held against that of the sheet, or, where the head "
     "of this film is in doubt, against that on the film whose head is seen best. A stem out of "
     "the film's plane looks shorter.",
     "A stem out of plane by up to 10°, and 1.5 % between two films of one hip: house choices."},
    {"dicom", "The file's own header, carried from the detector to the plane of the stem.",
     "DICOM PS3.3, 10.7 and C.8.7.6; the depth of the hip: house choice."},
    {"given", "As the sheet gives it; it stands in for every other way.",
     "By hand, from series.json; without an uncertainty of its own 1 % is taken: house choice."},
    {"pixels", "Nothing gives a scale. Lengths are in pixels, and no limit in mm is judged.",
     "No source: there is none."},
}};

const Way* way_of(const std::string& method) {
  for (const Way& one : kWays) {
    if (one.method == method) return &one;
  }
  return nullptr;
}

std::string in_micrometres(const Measured<MillimetresPerPixel>& scale) {
  std::string out = with_uncertainty(1e3 * scale.value.value, 1e3 * scale.u95.value) + " µm/px";
  if (out.front() == '+') out.erase(0, 1);
  return out;
}

void add_scale(const HelpFrom& from, std::size_t index, Help& to) {
  const FilmResult& film = from.result.films[index];
  to.value = scale_of(from, index);
  if (!film.calibration) {
    to.facts.emplace_back("This film has no scale yet.");
    to.sources.emplace_back("No source: there is no scale.");
    return;
  }
  if (const Way* way = way_of(film.calibration->method)) {
    to.measured.emplace_back(way->how);
    to.sources.emplace_back(way->source);
  }
  if (!film.calibration->note.empty()) to.facts.push_back(printable(film.calibration->note) + ".");
  for (const auto& other : film.other_scales) {
    to.facts.push_back("Beside it: " + in_micrometres(other.mm_per_px) + " (" +
                       printable(other.note.empty() ? other.method : other.note) + ").");
  }
}

/// What a point is, how the program finds it, and whose definition it is (docs/anatomy.md).
struct PointWords {
  const char* means;
  const char* how;
  const char* source;
};

constexpr const char* kHeadFit =
    "Circle through the steepest fall of grey along 360 rays, by re-weighted geometric least "
    "squares. Neighbouring rays share pixels, so only one in each smoothing length counts for the "
    "uncertainty. A circle that does not lie on the neck's midline is not the head.";
constexpr const char* kHeadSource =
    "Circle fit: Gander, Golub, Strebel, BIT 34 (1994) 558-578, doi:10.1007/BF01934268. Head on "
    "the neck's midline: common practice, no source.";

constexpr PointWords kInnerBorderWords{
    "A border between zones, square to the stem's axis: only its level counts. Its zones end there "
    "on this film; what became of the lines is told by the zones of the later film.",
    "At one and two thirds of the way from the upper border to the stem's tip, unless a hand "
    "placed it.",
    "Zones: Gruen, McNeice, Amstutz, Clin Orthop 141 (1979) 17; thirds: from memory "
    "(docs/lucency.md)."};
constexpr PointWords kStemAxisWords{
    "One of two points through which the stem's axis is drawn. Tilt is the angle between "
    "it and the shaft's axis.",
    "A robust line through the midpoints of the stem's flanks, where they run straight. "
    "Blur moves both flanks alike and cancels.",
    "Definition: house choice (docs/anatomy.md)."};
constexpr PointWords kShaftAxisWords{
    "One of two points through which the axis of the femur's shaft is drawn. Subsidence runs "
    "along that of the reference film, and tilt is told against it.",
    "Least-squares line through the midpoints between both cortices, 20 to 90 mm below the "
    "lesser trochanter.",
    "Definition: house choice (docs/anatomy.md)."};
constexpr std::array<std::pair<Grip, PointWords>, 13> kPoints{{
    {Grip::kLesserTrochanter,
     {"The most prominent point of the lesser trochanter on the medial outline of the "
      "femur. It votes on the subsidence, with at least 1 mm, and the levels of the seat "
      "audit and of the shaft's axis count from it.",
      "Calcar and shaft follow a convex course; the trochanter is what stands above it by "
      "0.8 mm at least, and the point is the middle of its summit.",
      "Definition: common practice, no source. Limits: house choice."}},
    {Grip::kGreaterTrochanter,
     {"The most proximal point of the greater trochanter along the shaft. It votes on the "
      "subsidence, with at least 1 mm, and the seat audit holds it against the head.",
      "One path of steepest falls over rays from beside the shoulder; its most proximal "
      "point, if the path is an edge there.",
      "Definition: common practice, no source. Limits: house choice."}},
    {Grip::kStemTip,
     {"The distal end of the stem. How long the stem looks tells of its flexion, and the "
      "subsidence of this point is told beside that of the reference point.",
      "Where the stem's axis leaves the outline, by a parabola through 2 mm on either side: "
      "the middle of a flat or bevelled end.",
      "Definition: house choice (docs/anatomy.md)."}},
    {Grip::kStemShoulder,
     {"The most proximal lateral corner of the stem's body. The reference point, whose "
      "motion is the subsidence, lies on the axis 10 mm distal to its level.",
      "Where the outline reaches farthest half way between lateral and proximal; what blur "
      "cuts off the corner is put back.",
      "Definition: house choice (docs/truth.md)."}},
    {Grip::kBoneEntry,
     {"The level at which the stem enters the bone: the upper border of the zones. The "
      "borders that no hand has placed follow from it.",
      "The border of the cut neck beside the medial flank, where grey rises from proximal "
      "to distal; where none is found, 9 mm below the shoulder's level.",
      "Zones: Gruen, McNeice, Amstutz, Clin Orthop 141 (1979) 17. Upper border: house "
      "choice (docs/lucency.md)."}},
    {Grip::kSecondZoneBorder, kInnerBorderWords},
    {Grip::kThirdZoneBorder, kInnerBorderWords},
    {Grip::kHeadCentre,
     {"The centre of the femoral head. Where the head's diameter is known the head gives the "
      "film's scale, and the seat audit measures offset and height from its centre.",
      kHeadFit, kHeadSource}},
    {Grip::kHeadEdge,
     {"A place on the rim of the head: moving it changes the diameter, and with it the "
      "scale of a film that is scaled by its head.",
      kHeadFit, kHeadSource}},
    {Grip::kStemAxisProximal, kStemAxisWords},
    {Grip::kStemAxisDistal, kStemAxisWords},
    {Grip::kShaftAxisProximal, kShaftAxisWords},
    {Grip::kShaftAxisDistal, kShaftAxisWords},
}};

PointWords words_for(Grip grip) {
  const auto found = std::find_if(kPoints.begin(), kPoints.end(),
                                  [grip](const auto& one) { return one.first == grip; });
  return found->second;  // every grip stands there (tests/view/window/help_test.cpp)
}

std::string place_text(const Vec2& px) {
  return "column " + fixed_text(px.x(), 1) + ", row " + fixed_text(px.y(), 1) +
         " of the stored film";
}

void add_point(const std::optional<followup::PointResult>& point, Help& to) {
  if (!point) {
    to.value = "not found on this film";
    return;
  }
  to.value = told(point->source);
  to.facts.push_back("It lies at " + place_text(point->stored_px) + ".");
  std::string u = "Standard uncertainty in each direction " +
                  fixed_text(point->u_px, decimals_borne_by(point->u_px)) + " px";
  if (point->u) {
    u += ", " + fixed_text(point->u->value, decimals_borne_by(point->u->value)) + " mm";
  }
  to.facts.push_back(u + ".");
}

void add_circle(const std::optional<followup::CircleResult>& circle, Help& to) {
  if (!circle) {
    to.value = "not found on this film";
    return;
  }
  to.value = told(circle->source);
  to.facts.push_back("Its centre lies at " + place_text(circle->centre_px) +
                     ", standard uncertainty " + fixed_text(circle->centre_u_px, 2) + " px.");
  to.facts.push_back("Its diameter is " + fixed_text(circle->diameter_px, 1) +
                     " px, standard uncertainty " + fixed_text(circle->diameter_u_px, 2) + " px.");
}

void add_axis(const std::optional<followup::AxisResult>& axis, Help& to) {
  if (!axis) {
    to.value = "not found on this film";
    return;
  }
  to.value = told(axis->source);
  const double u = axis->direction_u.value;
  to.facts.push_back("Standard uncertainty of its direction " +
                     fixed_text(u, decimals_borne_by(u)) + "°.");
}

/// @param border  counted from the proximal one
void add_border(const FilmResult& film, std::size_t border, Help& to) {
  to.value = border < film.zone_borders.size() ? told(film.zone_borders[border].source)
                                               : "the film is not divided into zones";
}

void add_found(const FilmResult& film, Grip grip, Help& to) {
  const auto of_stem = [&](auto part) {
    return film.stem ? std::optional((*film.stem).*part) : std::nullopt;
  };
  switch (grip) {
    case Grip::kLesserTrochanter:
      return add_point(film.lesser_trochanter, to);
    case Grip::kGreaterTrochanter:
      return add_point(film.greater_trochanter, to);
    case Grip::kStemTip:
      return add_point(of_stem(&followup::StemResult::tip), to);
    case Grip::kStemShoulder:
      return add_point(of_stem(&followup::StemResult::shoulder), to);
    case Grip::kBoneEntry:
      return add_border(film, 0, to);
    case Grip::kSecondZoneBorder:
      return add_border(film, 1, to);
    case Grip::kThirdZoneBorder:
      return add_border(film, 2, to);
    case Grip::kHeadCentre:
    case Grip::kHeadEdge:
      return add_circle(film.head, to);
    case Grip::kStemAxisProximal:
    case Grip::kStemAxisDistal:
      return add_axis(of_stem(&followup::StemResult::axis), to);
    case Grip::kShaftAxisProximal:
    case Grip::kShaftAxisDistal:
      return add_axis(film.shaft_axis, to);
  }
}

}  // namespace

Help help_of_film(const HelpFrom& from, std::size_t film) {
  const FilmResult& one = from.result.films.at(film);
  Help out;
  out.title = "Scale of " + printable(one.file);
  out.means.emplace_back(
      "How much in the plane of the stem one pixel of the stored film stands for. Every length in "
      "mm on this film is made with it, angles are not. ± is the half-width of the 95 % interval.");
  if (one.status == followup::Status::kNotMeasured) {
    out.facts.push_back((one.excluded ? "Left out: " : "Not measured: ") + printable(one.reason));
  }
  add_scale(from, film, out);
  std::string seen = one.role == followup::Role::kReference ? "Reference film" : "Follow-up film";
  if (one.date) seen += " of " + format_date(*one.date);
  if (one.side) seen += ", " + word_of(*one.side) + " hip";
  out.facts.push_back(seen + ".");
  if (one.head) {
    out.facts.push_back("The head's circle is " + fixed_text(one.head->diameter_px, 1) +
                        " px wide, " + told(one.head->source) + ".");
  }
  add_by_hand(out, one);
  add_flags(out, "", one.flags);
  out.sources.emplace_back(kGum);
  return out;
}

Help help_of(const HelpFrom& from, const Handle& handle) {
  const FilmResult& film = from.result.films.at(handle.film);
  const PointWords words = words_for(handle.grip);
  Help out;
  std::string name = words_of(handle.grip);
  name.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(name.front())));
  out.title = name + " on " + printable(film.file);
  out.means.emplace_back(words.means);
  out.means.emplace_back(
      "Placed by hand it replaces what the program found, is drawn as a square and marked in every "
      "result. E snaps it to the edge, Del gives it back to the program.");
  out.measured.emplace_back(words.how);
  add_found(film, handle.grip, out);
  add_flags(out, "", film.flags);
  out.sources.emplace_back(words.source);
  return out;
}

Help help_of_edits() {
  Help out;
  out.title = "What was put right by hand";
  out.means.emplace_back(
      "Each line is one correction, the latest last. Undo (Ctrl+Z) and redo (Ctrl+Y) have no limit "
      "and go on beyond saving.");
  out.means.emplace_back(
      "Points by hand replace those that the program found. They are drawn as squares and marked "
      "in "
      "every result. The films are never changed: corrections go to series.json when you save, so "
      "that batch and command line say the same.");
  out.measured.emplace_back(
      "Every correction is measured anew by the same function that the command line calls. It is "
      "kept in a journal on the disk until it is saved.");
  out.sources.emplace_back(kHouseChoice);
  return out;
}

}  // namespace tidemark::view
