#include "tidemark/phantom/case.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "cavity.h"
#include "lucency_case.h"
#include "random.h"

namespace tidemark::phantom {
namespace {

/// Day of a film: the day after surgery, 6 weeks, 3, 6 and 12 months, then once a year.
std::string film_date(int index) {
  constexpr std::array<const char*, 5> kFirst{"2024-03-02", "2024-04-15", "2024-06-03",
                                              "2024-09-02", "2025-03-03"};
  if (index < static_cast<int>(kFirst.size())) return kFirst[static_cast<std::size_t>(index)];
  return std::to_string(2021 + index) + "-03-02";
}

FemurShape random_femur(CountedRandom& random, std::uint64_t seed) {
  FemurShape f;
  f.scale = random.bounded_normal(1.0, 0.06, 2.0);
  f.offset_mm = random.bounded_normal(43.0, 4.0, 2.0);
  f.head_height_mm = random.bounded_normal(52.0, 3.0, 2.0);
  f.anteversion_deg = random.bounded_normal(12.0, 5.0, 2.0);
  f.shaft_radius_mm = random.bounded_normal(13.8, 0.9, 2.0);
  f.cortex_mm = random.bounded_normal(6.2, 0.9, 2.0);
  f.cortex_start = random.bounded_normal(0.0, 6.0, 2.0);
  f.lesser_size = random.bounded_normal(1.0, 0.1, 2.0);
  f.lesser_level_mm = random.bounded_normal(0.0, 3.0, 2.0);
  f.lesser_turn_deg = random.bounded_normal(46.0, 6.0, 2.0);
  f.greater_size = random.bounded_normal(1.0, 0.06, 2.0);
  f.greater_height_mm = random.bounded_normal(0.0, 3.0, 2.0);
  f.bow_mm = random.uniform(0.5, 3.5);
  f.texture_seed = mix({seed, 1});
  return f;
}

/// A stem that suits the femur: fills about 85 % of the canal 60 mm below the lesser trochanter.
StemShape random_stem(CountedRandom& random, const FemurShape& femur) {
  StemShape s;
  const double k = femur.scale;
  s.neck_angle_deg = random.uniform(130.0, 136.0);
  s.head_offset_mm = (femur.offset_mm + random.normal(-1.0, 1.5)) * k;
  s.length_mm = random.uniform(108.0, 138.0) * k;
  const double canal = (femur.shaft_radius_mm + 0.2 - femur.cortex_mm) * k;
  s.tip_half_width_mm = std::clamp(0.62 * canal, 3.4, 6.0);
  s.half_width_mm = std::clamp(0.98 * canal, s.tip_half_width_mm + 1.2, 9.5);
  s.tip_half_depth_mm = 0.8 * s.tip_half_width_mm;
  s.half_depth_mm = random.uniform(5.6, 7.0) * k;
  s.flare_mm = random.uniform(2.0, 5.5);
  s.flare_length_mm = random.uniform(38.0, 55.0);
  s.medial_length_mm = random.uniform(60.0, 76.0);
  s.neck_radius_mm = random.uniform(5.8, 6.8);
  return s;
}

Processing random_processing(CountedRandom& random) {
  Processing p;
  p.bits_stored = 10 + static_cast<int>(random.uniform(0.0, 5.0));
  p.photometric = random.chance(0.5) ? Photometric::kMonochrome1 : Photometric::kMonochrome2;
  p.curve = random.chance(0.7) ? GreyCurve::kSigmoid : GreyCurve::kLinear;
  p.edge_gain = random.chance(0.5) ? random.uniform(0.4, 1.4) : 0.0;
  p.edge_radius_mm = random.uniform(0.5, 2.5);
  p.latitude = random.uniform(0.45, 0.95);
  p.window_shift = random.uniform(-0.06, 0.06);
  p.window_scale = random.uniform(0.85, 1.2);
  return p;
}

Pose random_pose(CountedRandom& random, CaseSet set) {
  const double wide = set == CaseSet::kStill ? 1.0 : 0.0;
  const double flexion = 3.0 + 5.0 * wide;
  const double abduction = 2.0 + 2.0 * wide;
  const double rotation = 5.0 + 7.0 * wide;
  return {{random.bounded_normal(0.0, flexion, 2.5)},
          {random.bounded_normal(-3.0, abduction, 2.5)},  // legs hang a little inwards
          {random.bounded_normal(0.0, rotation, 2.5)}};
}

/// The field on the detector is 280 x 336 mm for one hip, 420 x 350 mm for the pelvis.
Beam random_beam(CountedRandom& random, FieldOfView field, Millimetres pitch, double mid_x) {
  Beam b;
  const bool pelvis = field == FieldOfView::kPelvis;
  const double coarser = pelvis ? 1.25 : 1.0;
  b.pixel_pitch.value = pitch.value * coarser;
  b.columns = static_cast<int>(std::lround((pelvis ? 420.0 : 280.0) / b.pixel_pitch.value));
  b.rows = static_cast<int>(std::lround((pelvis ? 350.0 : 336.0) / b.pixel_pitch.value));
  b.source_to_detector.value = 1150.0 + 10.0 * std::round(random.normal(0.0, 2.0));
  b.hip_to_detector.value = random.bounded_normal(180.0, 8.0, 2.0);
  const double x = pelvis ? mid_x : -6.0;
  const double y = pelvis ? 55.0 : 62.0;
  b.centre_mm = {random.bounded_normal(x, 7.0, 2.0), random.bounded_normal(y, 9.0, 2.0)};
  b.turn.value = random.bounded_normal(0.0, 0.8, 2.0);
  return b;
}

Motion random_motion(CountedRandom& random, CaseSet set) {
  if (set == CaseSet::kStill) return {};
  return {{random.uniform(0.0, 8.0)}, {random.uniform(-1.0, 1.0)}, {random.uniform(-3.0, 3.0)}};
}

/// The part of the final motion reached by follow-up i of n: most of it early, as stems settle.
double settled(int i, int n) {
  return n <= 1 ? 1.0 : (1.0 - std::exp(-1.6 * i)) / (1.0 - std::exp(-1.6 * n));
}

FilmSpec random_film(CountedRandom& random, const CaseSpec& hip, const CaseOptions& options,
                     int index) {
  FilmSpec film;
  film.date = film_date(index);
  const bool pelvis = random.chance(0.2) || hip.other_hip == OtherHip::kReplaced;
  film.field = pelvis ? FieldOfView::kPelvis : FieldOfView::kHip;
  film.pose = random_pose(random, options.set);
  film.beam = random_beam(random, film.field, options.pixel_pitch, 89.0 * hip.femur.scale);
  film.processing = random_processing(random);
  film.exposure.quanta_per_pixel = random.uniform(900.0, 2500.0);
  film.exposure.scatter_to_primary = random.uniform(0.2, 0.5);
  film.exposure.focal_spot.value = random.chance(0.6) ? 1.0 : 1.2;
  film.exposure.detector_blur.value = random.uniform(0.07, 0.14);
  film.noise_seed = mix(
      {hip.seed, static_cast<std::uint64_t>(hip.number), 77, static_cast<std::uint64_t>(index)});
  return film;
}

/// A lateral film of the day of a frontal one: the leg is rolled outwards until the femur is seen
/// from its side.
FilmSpec lateral_film(CountedRandom& random, const CaseSpec& hip, const CaseOptions& options,
                      int index) {
  FilmSpec film = random_film(random, hip, options, index);
  film.field = FieldOfView::kHip;
  film.view = View::kLateral;
  film.pose = {{random.bounded_normal(0.0, 4.0, 2.0)},
               {random.bounded_normal(6.0, 5.0, 2.0)},
               {random.bounded_normal(kRolledOut.value, 9.0, 2.0)}};
  film.motion = hip.films[static_cast<std::size_t>(index)].motion;
  film.beam = random_beam(random, film.field, options.pixel_pitch, 0.0);
  film.noise_seed = mix({hip.seed, static_cast<std::uint64_t>(hip.number), 77,
                         0x1a7 + static_cast<std::uint64_t>(index)});
  return film;
}

/// Each from random numbers of its own, so that none changes another film.
void add_lateral_films(std::uint64_t own, const CaseOptions& options, CaseSpec& hip) {
  std::vector<int> days;
  if (options.lateral >= 1) days.push_back(0);
  if (options.lateral >= 2 && options.follow_ups > 0) days.push_back(options.follow_ups);
  for (const int day : days) {
    CountedRandom side_on(day == 0 ? mix({own, 0x1a})
                                   : mix({own, 0x1a, static_cast<std::uint64_t>(day)}));
    hip.films.push_back(lateral_film(side_on, hip, options, day));
  }
}

/// What hangs on the hip and not on the film.
void make_hip_hard(CountedRandom& random, CaseSpec& hip) {
  if (random.chance(0.25)) {  // much soft tissue
    hip.body = {random.uniform(135.0, 165.0), random.uniform(40.0, 70.0),
                random.uniform(105.0, 125.0)};
  }
  if (random.chance(0.5)) hip.other_hip = OtherHip::kReplaced;
}

/// Another room: magnification and pixel pitch differ from film to film, up to some 15 % together.
void change_room(CountedRandom& random, Beam& beam) {
  beam.source_to_detector.value = random.uniform(1000.0, 1250.0);
  beam.hip_to_detector.value = random.uniform(120.0, 235.0);
  const double pitch = beam.pixel_pitch.value * random.uniform(0.95, 1.08);
  beam.columns = static_cast<int>(std::lround(beam.columns * beam.pixel_pitch.value / pitch));
  beam.rows = static_cast<int>(std::lround(beam.rows * beam.pixel_pitch.value / pitch));
  beam.pixel_pitch.value = pitch;
}

/// Less detector: a strip is missing on each side.
void crop(CountedRandom& random, Beam& beam) {
  beam.columns = static_cast<int>(beam.columns * random.uniform(0.72, 0.9));
  beam.rows = static_cast<int>(beam.rows * random.uniform(0.85, 0.95));
  beam.field_shift_mm = {random.uniform(-12.0, 4.0), random.uniform(-8.0, 8.0)};
}

void make_film_hard(CountedRandom& random, const CaseSpec& hip, bool with_wires, FilmSpec& film) {
  film.beam.turn.value = random.uniform(-5.0, 5.0);
  if (random.chance(0.6)) change_room(random, film.beam);
  film.clutter.letter = random.chance(0.6);
  film.clutter.wires = with_wires ? 1 + static_cast<int>(random.uniform(0.0, 2.0)) : 0;
  if (random.chance(0.35)) {
    film.clutter.collimation = Collimation{
        {0.5 * film.beam.columns * film.beam.pixel_pitch.value * random.uniform(0.72, 0.95)},
        {0.5 * film.beam.rows * film.beam.pixel_pitch.value * random.uniform(0.85, 0.96)},
        {random.uniform(-2.0, 2.0)}};
  } else if (random.chance(0.4)) {
    crop(random, film.beam);
  }
  if (random.chance(0.4)) film.processing.edge_gain = random.uniform(2.0, 4.5);
  if (random.chance(0.3)) film.exposure.quanta_per_pixel = random.uniform(80.0, 250.0);
  if (random.chance(0.3)) film.processing.window_scale = random.uniform(0.5, 0.7);
  if (random.chance(0.15)) film.photometric_tag = PhotometricTag::kWrong;
  if (hip.body.half_depth_mm > 120.0) {
    film.exposure.scatter_to_primary = random.uniform(0.6, 1.1);
    film.exposure.quanta_per_pixel = random.uniform(200.0, 600.0);
  }
}

/// What hangs on the hip and not on the film, in ordinary sets.
void draw_hip(CountedRandom& random, std::uint64_t own, CaseSpec& hip) {
  hip.side = random.chance(0.5) ? Side::kRight : Side::kLeft;
  constexpr std::array<double, 3> kHeads{28.0, 32.0, 36.0};
  hip.head_diameter.value = kHeads[static_cast<std::size_t>(random.uniform(0.0, 3.0))];
  hip.femur = random_femur(random, own);
  hip.stem = random_stem(random, hip.femur);
  hip.cup.outer_diameter_mm = std::max(
      hip.head_diameter.value + 16.0, 2.0 * std::round(random.normal(26.5, 1.2) * hip.femur.scale));
  hip.cup.inclination_deg = random.bounded_normal(42.0, 4.0, 2.0);
  hip.cup.anteversion_deg = random.bounded_normal(16.0, 5.0, 2.0);
  hip.body = {random.uniform(85.0, 112.0), random.uniform(10.0, 28.0), random.uniform(72.0, 88.0)};
  hip.seat_tilt.value = random.bounded_normal(0.3, 1.0, 2.0);
  hip.seat_medial.value = random.bounded_normal(0.0, 0.5, 2.0);
}

void add_frontal_films(CountedRandom& random, std::uint64_t own, const CaseOptions& options,
                       CaseSpec& hip) {
  CountedRandom trouble(mix({own, 0x44}));
  const bool hard = options.set == CaseSet::kHard;
  if (hard) make_hip_hard(trouble, hip);
  const bool with_wires = trouble.chance(0.3);
  const Motion last = random_motion(random, options.set);
  for (int i = 0; i <= options.follow_ups; ++i) {
    FilmSpec film = random_film(random, hip, options, i);
    if (hard) {
      make_film_hard(trouble, hip, with_wires, film);
      if (i == 0 && trouble.chance(0.6)) film.clutter.staples = 14;
    }
    const double part = i == 0 ? 0.0 : settled(i, options.follow_ups);
    film.motion = {part * last.subsidence, part * last.medial, part * last.tilt_change};
    hip.films.push_back(film);
  }
}

}  // namespace

CaseSpec random_case(std::uint64_t seed, int number, const CaseOptions& options) {
  const std::uint64_t own = mix({seed, static_cast<std::uint64_t>(number)});
  CountedRandom random(own);
  CaseSpec hip;
  hip.seed = seed;
  hip.number = number;
  draw_hip(random, own, hip);
  hip.surfaces = options.surfaces;
  add_frontal_films(random, own, options, hip);
  const bool lucent = options.set == CaseSet::kLucency;
  if (lucent) {
    CountedRandom lines(mix({own, 0x4c}));
    add_lucency(lines, hip);
  }
  if (options.set == CaseSet::kLysis) {
    CountedRandom cavities(mix({own, 0x0c}));
    add_lysis(cavities, hip);
  }
  add_lateral_films(own, options, hip);
  if (lucent) {
    CountedRandom lines(mix({own, 0x4c, 0x1a}));
    add_side_lucency(lines, hip);
  }
  return hip;
}

CaseSpec demo_case(Millimetres pixel_pitch) {
  CaseOptions options;
  options.follow_ups = 2;
  options.pixel_pitch = pixel_pitch;
  CaseSpec hip = random_case(2024, 1, options);
  hip.number = 1;
  hip.side = Side::kRight;
  hip.head_diameter.value = 32.0;
  hip.cup.outer_diameter_mm = 54.0;
  CountedRandom random(20240301);
  for (std::size_t i = 0; i < hip.films.size(); ++i) {
    FilmSpec& film = hip.films[i];
    film.field = FieldOfView::kHip;
    film.beam = random_beam(random, FieldOfView::kHip, pixel_pitch, 89.0);
    film.motion = i == 0 ? Motion{} : Motion{{2.5}, {0.2}, {0.6}};
  }
  return hip;
}

}  // namespace tidemark::phantom
