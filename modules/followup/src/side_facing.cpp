#include "side_facing.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "tidemark/core/parallel.h"
#include "tidemark/film/calibration.h"

namespace tidemark::followup {
namespace {

/// Probabilities that front and back are taken for each other. Of the bone's outlines: none of 32
/// simulated films, rule of succession; of what is not tried on films that face the other way, and
/// of the head (a stem may be turned backwards): house choice.
constexpr double kByOutlines = 0.03;
constexpr double kBySingleSign = 0.05;
constexpr double kTurnedInwards = 0.1;
constexpr double kEvenOdds = 0.5;

/// How far an outline stands out at some place, mm, against the mean of itself 15 mm above and
/// below: a trochanter is a hump, the flare of a femur is hollow. 0 where nothing stands out.
double bulge_mm(const Polyline& outline_px, const Line2& shaft, double mm_per_px) {
  constexpr double kReachMm = 15.0;  // house choice: the length of a lesser trochanter
  constexpr double kSameMm = 1.0;
  const auto level = [&](const Vec2& p) { return mm_per_px * along(shaft, p); };
  const auto off = [&](const Vec2& p) { return -mm_per_px * signed_distance(shaft, p); };
  const auto off_at = [&](double wanted_mm) -> std::optional<double> {
    const auto nearest =
        std::min_element(outline_px.begin(), outline_px.end(), [&](const Vec2& a, const Vec2& b) {
          return std::abs(level(a) - wanted_mm) < std::abs(level(b) - wanted_mm);
        });
    if (nearest == outline_px.end() || std::abs(level(*nearest) - wanted_mm) > kSameMm) return {};
    return off(*nearest);
  };
  double most = 0.0;
  for (const Vec2& p : outline_px) {
    const auto above = off_at(level(p) - kReachMm);
    const auto below = off_at(level(p) + kReachMm);
    if (above && below) most = std::max(most, off(p) - 0.5 * (*above + *below));
  }
  return most;
}

/// Lesser trochanter behind the shaft's axis, mm; 0 when it is not seen.
double lesser_mm(const FromSide& seen) {
  return seen.view && seen.view->lesser_trochanter ? seen.view->lesser_trochanter->value.value
                                                   : 0.0;
}

/// How much of a hump the outline round it is, mm; 0 when it is not seen.
double hump_mm(const FromSide& seen) {
  if (!seen.view || !seen.view->lesser_trochanter) return 0.0;
  return bulge_mm(seen.hip.femur.lesser_trochanter_outline_px, seen.hip.femur.shaft_axis->line_px,
                  seen.hip.scale.value.value);
}

/// How far the outline at +x stands from the shaft's axis about the level of the lesser trochanter,
/// as a frontal film tells it, mm: at the back 16 to 27, at the front 11 to 17 (simulated films).
std::optional<double> stands_out_mm(const FromSide& seen) {
  constexpr double kAboveMm = 3.0;   // house choices: about the trochanter and below it, where the
  constexpr double kBelowMm = 12.0;  // flare is narrow
  constexpr double kLeastPoints = 10.0;
  const auto& axis = seen.hip.femur.shaft_axis;
  if (!axis || !seen.lesser_level) return {};
  const double mm = seen.hip.scale.value.value;
  const double level = along(axis->line_px, seen.lesser_level->px);
  double sum = 0.0;
  double points = 0.0;
  for (const Vec2& p : seen.hip.femur.medial_outline_px) {
    const double below = mm * (along(axis->line_px, p) - level);
    if (below < -kAboveMm || below > kBelowMm) continue;
    sum -= mm * signed_distance(axis->line_px, p);
    points += 1.0;
  }
  if (points < kLeastPoints) return {};
  return sum / points;
}

/// Both ways in which a film may face.
struct BothWays {
  Expected<FromSide> rolled;  ///< the leg rolled outwards shows its back medially (common practice)
  Expected<FromSide> turned;
};

/// What says that the film faces as a leg rolled outwards shows (+1), the other way (-1), or
/// nothing (0).
int by_outlines(const BothWays& ways) {
  constexpr double kMoreMm = 3.0;  // 2.6 to 11.4 on 32 simulated films; house choice
  if (!ways.rolled || !ways.turned) return 0;
  const auto rolled = stands_out_mm(*ways.rolled);
  const auto turned = stands_out_mm(*ways.turned);
  if (!rolled || !turned || std::abs(*rolled - *turned) < kMoreMm) return 0;
  return *rolled > *turned ? 1 : -1;
}

/// The head of a stem stands in front of its axis, unless it was put in turned backwards: 19 mm in
/// front to 10 mm behind on simulated films.
int by_head(const BothWays& ways) {
  constexpr double kFarInFront = 12.0;  // mm, house choice
  const FromSide* rolled = ways.rolled ? &*ways.rolled : nullptr;
  const FromSide* turned = ways.turned ? &*ways.turned : nullptr;
  const double behind = rolled != nullptr   ? rolled->head_behind_mm
                        : turned != nullptr ? -turned->head_behind_mm
                                            : 0.0;
  return std::abs(behind) < kFarInFront ? 0 : behind < 0.0 ? 1 : -1;
}

/// A trochanter that is found where a leg rolled outwards shows it. The other way round is rare,
/// and one that is seen there alone is as often none.
int by_trochanter(const BothWays& ways) {
  constexpr double kStandsOut = 4.0;  // mm, house choice: a third of a lesser trochanter's height
  // The flare at the front stands as far out as a trochanter, but it is no hump.
  constexpr double kHump = 3.0;      // mm, house choices: a quarter of a trochanter's height, and
  constexpr double kMoreHump = 2.0;  // well more than what is found on the other side
  if (!ways.rolled) return 0;
  const double other = ways.turned ? lesser_mm(*ways.turned) : 0.0;
  if (lesser_mm(*ways.rolled) > other + kStandsOut) return 1;
  const double other_hump = ways.turned ? hump_mm(*ways.turned) : 0.0;
  return hump_mm(*ways.rolled) > std::max(kHump, kMoreHump + other_hump) ? 1 : 0;
}

/// A trochanter that was marked by hand.
int by_mark(const BothWays& ways) {
  constexpr double kBeside = 4.0;  // mm; nearer to the axis a mark tells nothing; house choice
  const double rolled = ways.rolled ? lesser_mm(*ways.rolled) : 0.0;
  const double turned = ways.turned ? lesser_mm(*ways.turned) : 0.0;
  const double behind = std::abs(rolled) > std::abs(turned) ? rolled : -turned;
  return std::abs(behind) < kBeside ? 0 : behind > 0.0 ? 1 : -1;
}

/// How the film faces by what it shows, and how sure that is.
struct Shown {
  bool rolled = true;
  double wrong = 0.0;
};

/// @return nothing where nothing tells, or one sign says otherwise than another
std::optional<Shown> shown_by(const BothWays& ways, const Working& film) {
  if (film.entry.landmarks_in_stored_px.lesser_trochanter_px) {
    if (const int mark = by_mark(ways)) return Shown{mark > 0, 0.0};
  }
  const int outlines = by_outlines(ways);
  const int head = by_head(ways);
  const int trochanter = outlines == 0 ? by_trochanter(ways) : 0;
  const int sum = outlines + head + trochanter;
  if (sum == 0) return {};
  if (sum < 0) return Shown{false, kTurnedInwards};
  return Shown{true, outlines > 0 ? kByOutlines : kBySingleSign};
}

/// Whether the back of the patient lies at +x of the upright film, by its PatientOrientation.
std::optional<bool> back_at_positive_x(const film::FilmImage& upright) {
  const auto& orientation = upright.facts.patient_orientation;
  if (!orientation) return {};
  const Eigen::Matrix2d view_from_stored = upright.stored_from_view.inverse().linear;
  constexpr std::array kColumns{1.0, 0.0};
  for (std::size_t i = 0; i < 2; ++i) {
    const std::string& letters = orientation->at(i);
    if (letters.empty() || (letters.front() != 'A' && letters.front() != 'P')) continue;
    const Vec2 stored(kColumns.at(i), 1.0 - kColumns.at(i));
    const double x = (view_from_stored * stored).x();
    return letters.front() == 'P' ? x > 0.0 : x < 0.0;
  }
  return {};
}

/// How the film must be turned over so that its back lies at +x.
Side mirrored_for(bool back_at_positive_x) {
  return back_at_positive_x ? Side::kRight : Side::kLeft;
}

BothWays look_both_ways(const Working& film, const FrontalFilm& frontal, const Steps& steps) {
  const Side side = frontal.hip.side;
  std::array<std::optional<Expected<FromSide>>, 2> ways;
  parallel_within(ways.size(), [&](std::size_t i) {
    ways.at(i) = look_from_side(film, i == 0 ? side : opposite(side), frontal, steps);
  });
  return {std::move(*ways[0]), std::move(*ways[1])};
}

std::string word_of_back(bool at_positive_x) { return at_positive_x ? "right" : "left"; }

/// By the sheet; the header may say otherwise.
Expected<FacedFilm> faced_by_sheet(const Working& film, const FrontalFilm& frontal,
                                   const Steps& steps) {
  const bool right = film.entry.back == PictureSide::kRight;
  auto seen = look_from_side(film, mirrored_for(right), frontal, steps);
  if (!seen) return tl::unexpected(seen.error());
  FacedFilm out{std::move(*seen), {mirrored_for(right), 0.0, true}, {}};
  const auto header = back_at_positive_x(*film.upright);
  if (header && *header != right) {
    out.flags.push_back(
        {"back_contradicts_header", "The sheet says the back lies at the " + word_of_back(right) +
                                        " of this lateral film, the file says " +
                                        word_of_back(*header) + "; the sheet was followed."});
  }
  return out;
}

void flag_contradicting_bone(FacedFilm& out) {
  out.flags.push_back(
      {"back_contradicts_header",
       "The file's PatientOrientation puts the back of this lateral film where the picture shows "
       "its front: depth and lean are told without their direction, and zones 8 to 14 are left "
       "open. State back in the sheet."});
}

void flag_header_alone(FacedFilm& out) {
  out.flags.push_back(
      {"back_by_header",
       "The file's PatientOrientation alone says which way this lateral film faces; the picture "
       "shows nothing for or against it. Some devices write it by habit: u of depth and lean holds "
       "that it is wrong once in twenty times. State back in the sheet."});
}

void flag_unknown(FacedFilm& out) {
  out.flags.push_back(
      {"back_unknown",
       "Front and back of this lateral film cannot be told apart: depth and lean are told without "
       "their direction, and zones 8 to 14 are left open. State back in the sheet."});
}

void flag_told_by_bone(FacedFilm& out) {
  out.flags.push_back(
      {"back_by_trochanter",
       "The file does not say which way this lateral film faces; front and back, and with them "
       "zones 8 to 14, were told by the lesser trochanter, the outlines about it or the head, "
       "which can go wrong: look at the picture, or state back in the sheet."});
}

}  // namespace

Expected<FacedFilm> look_with_back_known(const Working& film, const FrontalFilm& frontal,
                                         const Steps& steps) {
  if (film.entry.back) return faced_by_sheet(film, frontal, steps);
  BothWays ways = look_both_ways(film, frontal, steps);
  if (!ways.rolled && !ways.turned) return tl::unexpected(ways.rolled.error());
  const Side side = frontal.hip.side;
  const auto shown = shown_by(ways, film);
  const auto header = back_at_positive_x(*film.upright);
  FacedFilm out;
  bool rolled = ways.rolled.has_value();
  if (header) {
    rolled = mirrored_for(*header) == side;
    if (shown && shown->rolled != rolled) {
      out.facing.wrong = kEvenOdds;
      flag_contradicting_bone(out);
    } else if (!shown) {
      out.facing.wrong = kBySingleSign;
      flag_header_alone(out);
    }
  } else if (shown) {
    rolled = shown->rolled;
    out.facing.wrong = shown->wrong;
    if (shown->wrong > 0.0) flag_told_by_bone(out);
  } else {
    out.facing.wrong = kEvenOdds;
    flag_unknown(out);
  }
  out.facing.mirrored = rolled ? side : opposite(side);
  Expected<FromSide>& seen = rolled ? ways.rolled : ways.turned;
  if (!seen) return tl::unexpected(seen.error());
  out.seen = std::move(*seen);
  return out;
}

std::optional<std::string> facings_in_doubt(const SideFacing& a, const SideFacing& b) {
  constexpr double kSure = 0.05;  // house choice: the risk of an interval
  const bool by_sheet = a.by_sheet && b.by_sheet;
  if (a.wrong <= kSure && b.wrong <= kSure && (a.mirrored == b.mirrored || by_sheet)) return {};
  return "The two lateral films may not face the same way: what is front on one of them may be "
         "back "
         "on the other.";
}

}  // namespace tidemark::followup
