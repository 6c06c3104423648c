#include "lucency_case.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "gap.h"

namespace tidemark::phantom {
namespace {

constexpr std::array<double, 7> kWidths{0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0};
constexpr double kWidest = 4.0;  // mm, after it grew

/// Part of a zone: whole, half of it or more, or less than half. The short one about the tip is
/// always whole.
void draw_length(CountedRandom& random, Gap& gap) {
  if (random.chance(0.5) || about_the_tip(gap.zone)) return;
  const double part = random.chance(0.5) ? random.uniform(0.52, 0.85) : random.uniform(0.2, 0.45);
  const double room = 1.0 - part;
  // At a border or well away from it: two lines either touch or stand apart.
  const double start = random.unit();
  gap.from = start < 0.3 ? 0.0 : start > 0.7 ? room : std::clamp(start * room, 0.12, room);
  gap.to = gap.from + part;
  if (gap.to > 0.88) gap.to = 1.0;
}

/// A dark line shows where bone denser than marrow lies beyond it: compacted bone or a rim.
bool needs_rim(const CaseSpec& hip, const Gap& gap) {
  if (gap.interface == GapInterface::kStemCement) return false;
  if (!hip.compaction || about_the_tip(gap.zone)) return true;
  const double zone_end = (third_of(gap.zone) + 1) / 3.0;
  return zone_end > hip.compaction->reach + 0.02;
}

/// A gap inside the mantle leaves cement standing.
void keep_mantle(const CaseSpec& hip, Gap& gap) {
  if (gap.interface != GapInterface::kStemCement) return;
  gap.width.value = std::min(gap.width.value, hip.mantle->value - 1.0);
}

Gap draw_gap(CountedRandom& random, const CaseSpec& hip, int zone) {
  Gap gap;
  gap.zone = zone;
  gap.width.value = kWidths[static_cast<std::size_t>(random.uniform(0.0, 7.0))];
  if (hip.mantle) {
    gap.interface = random.chance(0.4) ? GapInterface::kStemCement : GapInterface::kCementBone;
  }
  keep_mantle(hip, gap);
  draw_length(random, gap);
  const double rim = random.uniform(0.5, 1.0);
  const bool wanted = random.chance(0.5);
  if (gap.interface != GapInterface::kStemCement && (wanted || needs_rim(hip, gap))) {
    gap.rim = Millimetres{rim};
  }
  return gap;
}

/// The lines of the next film: some wider, some longer, some as they were, some new in one of the
/// seven zones from `first_zone` on.
std::vector<Gap> grown(CountedRandom& random, const CaseSpec& hip, std::vector<Gap> gaps,
                       double chance_of_new, int first_zone = 1) {
  for (Gap& gap : gaps) {
    if (random.chance(0.6)) {
      gap.width.value = std::min(kWidest, gap.width.value + random.uniform(0.0, 1.5));
      keep_mantle(hip, gap);
    }
    if (random.chance(0.25)) {
      gap.from = 0.0;
      gap.to = 1.0;
    }
  }
  for (int zone = first_zone; zone < first_zone + 7; ++zone) {
    const bool taken =
        std::any_of(gaps.begin(), gaps.end(), [&](const Gap& gap) { return gap.zone == zone; });
    const bool wanted = random.chance(chance_of_new);
    const Gap gap = draw_gap(random, hip, zone);
    if (wanted && !taken) gaps.push_back(gap);
  }
  return gaps;
}

/// A stem that leaves room for its mantle.
void cement(CountedRandom& random, CaseSpec& hip) {
  const double mantle = random.uniform(2.0, 3.5);
  hip.mantle = Millimetres{mantle};
  StemShape& stem = hip.stem;
  stem.tip_half_width_mm = std::max(3.0, stem.tip_half_width_mm - 0.4 * mantle);
  stem.half_width_mm = std::max(stem.tip_half_width_mm + 1.2, stem.half_width_mm - 0.8 * mantle);
  stem.tip_half_depth_mm = 0.8 * stem.tip_half_width_mm;
  stem.half_depth_mm = std::max(4.2, stem.half_depth_mm - 0.4 * mantle);
}

/// A stem too slim for its canal: marrow lies beside its distal part, ever wider, and is no line.
void leave_canal_open(StemShape& stem) {
  stem.tip_half_width_mm = std::max(3.0, 0.75 * stem.tip_half_width_mm);
  stem.tip_half_depth_mm = 0.8 * stem.tip_half_width_mm;
}

void tilt_view(CountedRandom& random, FilmSpec& film) {
  const bool oblique = random.chance(0.5);
  const double flat = 2.0;
  film.pose.flexion.value = random.bounded_normal(0.0, oblique ? 6.0 : flat, 2.0);
  const double turn = random.uniform(8.0, 15.0) * (random.chance(0.5) ? 1.0 : -1.0);
  film.pose.rotation.value = oblique ? turn : random.bounded_normal(0.0, flat, 2.0);
}

/// A hip without any line has only enhanced films.
void enhance(FilmSpec& film) {
  if (film.processing.edge_gain != 0.0) return;
  film.processing.edge_gain = CountedRandom(mix({film.noise_seed, 0x9a})).uniform(0.4, 1.4);
}

/// Every sixth hip has no line at all: the halo on its films is none.
bool has_lines(const CaseSpec& hip) { return hip.number % 6 != 0; }

/// Lines are there at once in six zones of ten; later one free zone in five gets a new one.
double chance_of_line(bool on_first_film) { return on_first_film ? 0.6 : 0.2; }

}  // namespace

Compaction draw_compaction(CountedRandom& random) {
  Compaction c;
  c.thickness.value = random.uniform(1.5, 3.0);
  c.share = random.uniform(0.35, 0.55);
  c.swing = random.uniform(0.0, 0.05);
  c.wave.value = random.uniform(20.0, 60.0);
  c.phase_rad = random.uniform(0.0, 2.0 * std::numbers::pi);
  c.reach = random.chance(0.5) ? 0.97 : random.uniform(0.55, 0.9);  // marrow beside the rest
  return c;
}

void add_lucency(CountedRandom& random, CaseSpec& hip) {
  if (random.chance(0.4)) cement(random, hip);
  Compaction compaction = draw_compaction(random);
  // Marrow along a mantle looks as a line does: about cement lies bone all the way.
  if (hip.mantle) compaction.reach = 0.97;
  if (random.chance(0.8) || hip.mantle) hip.compaction = compaction;
  if (!hip.mantle && !(hip.compaction && compaction.reach > 0.95)) leave_canal_open(hip.stem);
  const Motion last{{random.chance(0.5) ? random.uniform(0.0, 1.5) : 0.0}, {}, {}};
  const double last_film = static_cast<double>(hip.films.size()) - 1.0;
  std::vector<Gap> gaps;
  for (std::size_t i = 0; i < hip.films.size(); ++i) {
    FilmSpec& film = hip.films[i];
    const double part = i == 0 ? 0.0 : static_cast<double>(i) / last_film;
    film.motion = {{part * last.subsidence.value}, {}, {}};
    tilt_view(random, film);
    if (!has_lines(hip)) enhance(film);
    gaps = grown(random, hip, std::move(gaps), chance_of_line(i == 0));
    if (has_lines(hip)) film.gaps = gaps;
  }
}

void add_side_lucency(CountedRandom& random, CaseSpec& hip) {
  std::vector<Gap> gaps;
  bool first = true;
  for (FilmSpec& film : hip.films) {
    if (film.view != View::kLateral) continue;
    tilt_view(random, film);
    film.pose.rotation = kRolledOut + film.pose.rotation;
    film.facing_tag = FacingTag::kTrue;  // lines are what this set is about
    if (!has_lines(hip)) enhance(film);
    gaps = grown(random, hip, std::move(gaps), chance_of_line(first), 8);
    if (has_lines(hip)) film.gaps = gaps;
    first = false;
  }
}

}  // namespace tidemark::phantom
