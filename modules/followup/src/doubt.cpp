#include "doubt.h"

#include <algorithm>
#include <cstddef>
#include <iomanip>
#include <sstream>
#include <string_view>
#include <vector>

#include "has_flag.h"
#include "tidemark/core/robust.h"
#include "tidemark/core/sampling.h"
#include "tidemark/film/tone.h"
#include "tidemark/migration/pose.h"

namespace tidemark::followup {
namespace {

/// Nearly all right finds have a confidence of 0.95 and more, finds on the wrong side are at most
/// 0.9 (simulated films, docs/accuracy.md). Asking the other side costs time, not right finds.
constexpr double kSureOfSide = 0.95;
/// How sure the find on the other side must be, and by how much surer.
constexpr double kSureOfOther = 0.8;
constexpr double kSurer = 0.1;

/// As kLeastOffsetMm: 25 mm are seen at 33 degrees. House choice.
constexpr double kFrontalOffsetMm = 25.0;

Vec2 head_in_stored_px(const Seen& seen) {
  return seen.hip_view.stored_from_view.apply(seen.implant.head.circle_px.centre);
}

/// Do both speak of one head? Two hips on one film lie a pelvis apart.
bool same_head(const Seen& a, const Seen& b) {
  const double apart = (head_in_stored_px(a) - head_in_stored_px(b)).norm();
  return apart < 2.0 * a.implant.head.circle_px.radius;
}

/// How much brighter than the film's middle grey a stem is, all greys being those of `film`: two
/// looks at one film may have drawn its greys apart differently. Nothing where it is not known.
std::optional<double> brightness_of(const Seen& seen, const film::FilmImage& film) {
  const Raster& greys = film.pixels;
  const Mask& stem = seen.implant.stem;
  const Raster& own = seen.hip_view.pixels;
  if (stem.width != own.width || stem.height != own.height) return {};
  const Affine2 film_from_stored = film.stored_from_view.inverse();
  constexpr int kEvery = 7;  // enough for a median
  std::vector<double> all;
  std::vector<double> of_stem;
  for (std::size_t i = 0; i < greys.values.size(); i += kEvery) all.push_back(greys.values[i]);
  for (int y = 0; y < stem.height; ++y) {
    for (int x = y % kEvery; x < stem.width; x += kEvery) {
      if (stem.at(x, y) == 0) continue;
      const Vec2 stored = seen.hip_view.stored_from_view.apply(Vec2(x, y));
      const auto grey = sample_linear(greys, film_from_stored.apply(stored));
      if (grey) of_stem.push_back(*grey);
    }
  }
  const auto bright = median(of_stem);
  const auto middle = median(all);
  if (!bright || !middle) return {};
  return *bright - *middle;
}

/// Beside metal on the same film, a stem less than half as bright is a shaft of bone: stems of two
/// alloys both stop nearly all of the beam (house choice; on simulated films native femora taken
/// for a stem have 0.2 to 0.3 of it).
bool is_bone_beside(const Seen& asked, const Seen& metal) {
  constexpr double kAsBright = 0.5;
  const auto here = brightness_of(asked, asked.hip_view);
  const auto there = brightness_of(metal, asked.hip_view);
  return here && there && *there > 0.0 && *here < kAsBright * *there;
}

}  // namespace

bool doubts_head(const anatomy::Implant& implant) {
  return has_flag(implant.flags, "head_in_doubt") || has_flag(implant.flags, "head_off_neck");
}

std::string whole_mm(double value) {
  std::ostringstream text;
  text << std::fixed << std::setprecision(0) << value << " mm";
  return text.str();
}

bool doubts_side(const Expected<Seen>& asked, const FilmEntry& entry) {
  const auto& given = entry.landmarks_in_stored_px;
  const bool by_hand = given.stem_axis_px.has_value() || given.stem_tip_px.has_value();
  return !by_hand && (!asked || asked->implant.confidence < kSureOfSide);
}

std::optional<std::string> stands_on_other_side(const Expected<Seen>& asked,
                                                const Expected<Seen>& turned, Side side) {
  if (!turned || turned->implant.confidence < kSureOfOther) return {};
  // Both hips are replaced, and the field cuts the one that is asked for.
  if (!asked && asked.error().wrong == anatomy::kStemLeavesField) return {};
  if (asked && (turned->implant.confidence < asked->implant.confidence + kSurer ||
                (!same_head(*asked, *turned) && !is_bone_beside(*asked, *turned)))) {
    return {};
  }
  const std::string turned_side = word_of(opposite(side));
  return "the stem and its head stand as in a " + turned_side + " hip, not a " + word_of(side) +
         " one: the film is stored mirrored, the side is wrong, or only the " + turned_side +
         " hip is replaced; check the side, or mirror the film back";
}

std::string reason_by_tone(const std::string& wrong, const std::string& fault) {
  return wrong + ": this film's " + fault + kUnprocessed;
}

std::optional<std::string> may_be_bone(const anatomy::Implant& implant, const anatomy::Femur& femur,
                                       const FilmEntry& entry) {
  const auto& given = entry.landmarks_in_stored_px;
  const bool by_hand = given.stem_axis_px || given.stem_tip_px || given.head_centre_px;
  // Of 24 looks at native hips 12 found such a stem, all of them so; of 65 hard films with a stem
  // none was so (docs/anatomy.md).
  const bool flanks = has_flag(implant.flags, "implant_uncertain");
  const bool head = doubts_head(implant);
  const bool no_shaft = has_flag(femur.flags, "shaft_axis_not_seen");
  if (by_hand || (flanks ? 1 : 0) + (head ? 1 : 0) + (no_shaft ? 1 : 0) < 2) return {};
  const std::string remedy =
      "check that the film was taken after the surgery, or mark head and stem by hand";
  // Where the field ends above the tip there is no shaft to be seen: the field may be at fault.
  if (has_flag(implant.flags, "tip_outside_field")) {
    return "so little of what looks like a stem lies within the field that it may be bone; take a "
           "film that shows the whole stem; " +
           remedy;
  }
  return "what looks like a stem with its head may be bone: of head, flanks and a shaft of bone "
         "about them at most one is sure; " +
         remedy;
}

void doubt_views(WorkingSeries& work) {
  for (Working& film : work.films) {
    if (film.refused || !film.hip || !film.seen) continue;
    const anatomy::Femur nothing;
    const double offset =
        migration::stem_look({film.seen->implant, nothing, film.hip->scale}).head_medial_mm;
    const std::string seen =
        "the head lies only " + whole_mm(std::max(0.0, offset)) + " off the stem's axis";
    const bool refused = offset < kLeastOffsetMm;
    const auto fault = refused ? film::fault_of_tone(film.seen->hip_view) : std::nullopt;
    if (fault) {
      refuse(film, reason_by_tone(seen, *fault));
    } else if (refused) {
      refuse(film, seen +
                       ", as on a lateral film or with the leg turned far; name its view in the "
                       "sheet if it is lateral, else take one with the kneecap to the front");
    } else if (offset < kFrontalOffsetMm) {
      film.out.flags.push_back(
          {"view_turned", "On this film " + seen +
                              ": unless the stem's offset is that small, the leg is turned by "
                              "some 30 degrees or more, or the view is oblique."});
    }
  }
}

void doubt_head_diameter(WorkingSeries& work) {
  if (!work.series.stem.head_diameter) return;
  bool used = false;
  for (const Working& film : work.films) {
    if (film.refused || !film.seen || !film.out.calibration) continue;
    if (film.out.calibration->method != "head_diameter") continue;
    used = true;
    if (!film.out.other_scales.empty()) return;
    if (film::detector_spacing(film.seen->hip_view.facts.scale)) return;
  }
  if (!used) return;
  work.flags.push_back(
      {"head_diameter_unchecked",
       "Nothing else on the films tells their scale, so a wrong head diameter would go unnoticed "
       "and make every length wrong in proportion; check it against the implant's record."});
}

}  // namespace tidemark::followup
