#include "tidemark/phantom/gap.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numbers>
#include <optional>
#include <stdexcept>
#include <utility>

#include "tidemark/phantom/film.h"

namespace tidemark::phantom {
namespace {

/// A right hip seen square from afar, its stem's frame parallel to the film: rays run along z.
CaseSpec square_case(std::uint64_t seed) {
  CaseOptions options;
  options.pixel_pitch.value = 0.4;
  options.follow_ups = 0;
  CaseSpec spec = random_case(seed, 1, options);
  spec.side = Side::kRight;
  spec.seat_tilt.value = 0.0;
  spec.femur.anteversion_deg = 2.0;  // the stem is set 2 degrees less
  FilmSpec& film = spec.films[0];
  film.field = FieldOfView::kHip;
  film.pose = Pose{};
  film.beam.columns = 700;
  film.beam.rows = 840;
  film.beam.pixel_pitch.value = 0.4;
  film.beam.centre_mm = {-6, 62};
  film.beam.turn.value = 0.0;
  film.beam.source_to_detector.value = 1e7;
  return spec;
}

/// The same hip seen square from its right side: rays run along the stem's x, its back lies at the
/// film's right.
CaseSpec side_case(std::uint64_t seed) {
  CaseSpec spec = square_case(seed);
  spec.films[0].view = View::kLateral;
  spec.films[0].pose.rotation.value = -90.0;
  return spec;
}

/// Parts of a hip and a film of it that may have lines: the parts do not depend on them.
std::shared_ptr<const Model> parts_of(CaseSpec spec) {
  spec.compaction = Compaction{};  // asks for the distances from the stem
  const auto model = build_model(spec, 2);
  if (!model) throw std::runtime_error(model.error().sentence());
  return *model;
}

using Lengths = std::array<double, kMaterialCount>;

double length_of(const Lengths& lengths, Material material) {
  return lengths[static_cast<std::size_t>(material)];
}

/// What lies on rays beside the stem, by place along and across its axis on the film, mm in the
/// plane of the stem: along from the stem's entry into the bone, across from the axis, + medial.
class Probe {
 public:
  Probe(std::shared_ptr<const Model> model, const CaseSpec& spec)
      : spec_(spec), model_(std::move(model)) {
    scene_ = make_scene(*model_, spec_, film());
    std::erase_if(scene_.solids, [](const Solid& solid) {  // what never lies beside the stem
      return solid.layer >= Layer::kPelvisInside || solid.layer == Layer::kHead ||
             solid.layer == Layer::kShell || solid.layer == Layer::kLiner;
    });
    truth_ = make_truth(*model_, spec_, film());
    along_ = (truth_.stem_axis[1] - truth_.stem_axis[0]).normalized();
    across_ = {along_.y(), -along_.x()};
    const Vec2 from_axis = truth_.lucency.entry_px - truth_.stem_axis[0];
    origin_ = truth_.stem_axis[0] + along_ * along_.dot(from_axis);
  }

  /// Drops all triangles that no ray between two levels can meet: tracing meets every one.
  Probe& only(double from_mm, double to_mm) {
    const double low = along_.dot(at(from_mm, 0.0)) - 1.0;
    const double high = along_.dot(at(to_mm, 0.0)) + 1.0;
    for (Solid& solid : scene_.solids) {
      std::erase_if(solid.mesh.triangles, [&](const auto& t) {
        std::array<double, 3> y{};
        for (std::size_t i = 0; i < 3; ++i) {
          const Vec3& p = solid.mesh.points[static_cast<std::size_t>(t[i])];
          y[i] = along_.dot(film().beam.project(p));
        }
        const auto [least, most] = std::minmax({y[0], y[1], y[2]});
        return most < low || least > high;
      });
    }
    return *this;
  }
  /// The same about one level.
  Probe& only(double along_mm) { return only(along_mm, along_mm); }

  [[nodiscard]] const FilmSpec& film() const { return spec_.films[0]; }
  [[nodiscard]] const FilmTruth& truth() const { return truth_; }
  [[nodiscard]] Scene& scene() { return scene_; }
  [[nodiscard]] Vec2 at(double along_mm, double across_mm) const {
    return origin_ + (along_mm * along_ + across_mm * across_) / truth_.mm_per_px;
  }
  [[nodiscard]] Lengths lengths(double along_mm, double across_mm) const {
    return trace(scene_, film().beam, at(along_mm, across_mm));
  }
  [[nodiscard]] double length(Material material, double along_mm, double across_mm) const {
    return length_of(lengths(along_mm, across_mm), material);
  }
  /// Across from where a flank's metal ends, lateral (-1) or medial (+1); from the side front (-1)
  /// or back (+1).
  [[nodiscard]] double flank(double along_mm, double side) const {
    double low = 0.0;
    double high = 45.0;
    while (high - low > 1e-3) {
      const double mid = 0.5 * (low + high);
      (length(Material::kTitaniumAlloy, along_mm, side * mid) > 0.0 ? low : high) = mid;
    }
    return low;
  }

 private:
  CaseSpec spec_;
  std::shared_ptr<const Model> model_;
  Scene scene_;
  FilmTruth truth_;
  Vec2 along_, across_, origin_;
};

/// Where, going outwards from the flank, two probes differ in a material by more than `least` mm,
/// for the first and the last time.
std::optional<std::array<double, 2>> differing(const Probe& a, const Probe& b, Material material,
                                               double along_mm, double side, double least) {
  const double flank = a.flank(along_mm, side);
  std::optional<std::array<double, 2>> range;
  for (int i = 0; i < 175; ++i) {
    const double out = 0.02 + 0.04 * i;
    const double across = side * (flank + out);
    const double more = a.length(material, along_mm, across) - b.length(material, along_mm, across);
    if (more <= least) continue;
    if (!range) range = {{out, out}};
    (*range)[1] = out;
  }
  return range;
}

/// Length, along a ray parallel to z that passes a level section of the stem at `out` from its
/// lateral flank, of what is nearer to the section than `width`. Independent of the grids: the
/// section is the superellipse |x/a|^4 + |z/b|^4 = 1, sampled; the taper's slope is left out.
double chord_by_hand(double half_width, double half_depth, double out, double width) {
  const auto distance = [&](double x, double z) {
    double best = 1e9;
    constexpr int kPoints = 1440;
    for (int i = 0; i < kPoints; ++i) {
      const double turn = 2.0 * std::numbers::pi * i / kPoints;
      const auto root = [](double c) { return std::copysign(std::sqrt(std::abs(c)), c); };
      best = std::min(best, std::hypot(x - half_width * root(std::cos(turn)),
                                       z - half_depth * root(std::sin(turn))));
    }
    return best;
  };
  double sum = 0.0;
  constexpr double kStep = 0.02;
  for (int i = -600; i < 600; ++i) {
    if (distance(half_width + out, kStep * i) < width) sum += kStep;
  }
  return sum;
}

Gap full_gap(int zone, double width) {
  Gap gap;
  gap.zone = zone;
  gap.width.value = width;
  return gap;
}

// The line of a known gap: as wide as set, as deep as the soft tissue in it, by chords computed by
// hand and the published coefficients (NIST; mixture rule). In the middle of zone 2.
TEST(Gap, IsAsWideAndAsDeepAsThePhysicsSays) {
  const CaseSpec plain = square_case(3);
  const auto parts = parts_of(plain);
  for (const double width : {0.75, 1.5, 3.0}) {
    CaseSpec gapped = plain;
    gapped.films[0].gaps = {full_gap(2, width)};
    Probe with(parts, gapped);
    Probe without(parts, plain);
    const double along = 1.5 * with.truth().lucency.zones[1].length.value;
    with.only(along);
    without.only(along);
    const auto seen = differing(with, without, Material::kMuscle, along, -1.0, 0.2);
    ASSERT_TRUE(seen.has_value());
    EXPECT_NEAR((*seen)[0], 0.02, 0.03);
    EXPECT_NEAR((*seen)[1], width, 0.06) << width;  // a chord of 0.2 mm: 0.03 mm inside the edge
    const StemShape& s = plain.stem;
    const double y = s.length_mm - along;  // from the shoulder: half way from entry to tip
    const double depth =
        s.half_depth_mm + (s.tip_half_depth_mm - s.half_depth_mm) * y / s.length_mm;
    const double half = with.flank(along, -1.0);
    for (const double part : {0.25, 0.5, 0.75}) {
      const double across = -(half + part * width);
      const Lengths a = with.lengths(along, across);
      Lengths b = without.lengths(along, across);
      const double chord = chord_by_hand(half, depth, part * width, width);
      EXPECT_NEAR(length_of(a, Material::kMuscle) - length_of(b, Material::kMuscle), chord, 0.35)
          << width << " " << part;
      // Soft tissue for what bone and marrow lost, at one energy: 60 keV, 1/mm.
      const double bone =
          length_of(b, Material::kCorticalBone) - length_of(a, Material::kCorticalBone);
      const double expected = 0.06044 * bone +
                              linear_attenuation(Material::kMarrow, 60) * (chord - bone) -
                              0.02171 * chord;
      const SpectralLine line{60.0, 1.0};
      EXPECT_NEAR(std::log(transmission({&line, 1}, a) / transmission({&line, 1}, b)), expected,
                  0.002);
      EXPECT_GT(bone, 0.0);
    }
  }
}

// What is rendered is what is traced, times the published coefficients, also through a gap.
TEST(Gap, IsRenderedAsItIsTraced) {
  CaseSpec spec = square_case(3);
  Gap gap = full_gap(2, 2.0);
  gap.rim = Millimetres{0.8};
  spec.films[0].gaps = {gap};
  Probe probe(parts_of(spec), spec);
  probe.scene().struts.clear();
  const Raster image = render(probe.scene(), probe.film().beam, 2);
  const double along = 1.5 * probe.truth().lucency.zones[1].length.value;
  const double flank = probe.flank(along, -1.0);
  int compared = 0;
  for (int i = 3; i < 20; ++i) {
    const Vec2 px = probe.at(along, -(flank + 0.1 * i)).array().round();
    const double expected =
        transmission(default_spectrum(), trace(probe.scene(), probe.film().beam, px));
    const double beside = transmission(default_spectrum(),
                                       trace(probe.scene(), probe.film().beam, px + Vec2(0.5, 0)));
    if (std::abs(beside / expected - 1.0) > 0.05) continue;  // an edge within the pixel
    ++compared;
    EXPECT_NEAR(image.at(static_cast<int>(px.x()), static_cast<int>(px.y())) / expected, 1.0, 0.06);
  }
  EXPECT_GT(compared, 3);
}

TEST(Gap, RimIsDenseBoneBeyondTheLineAndInsideTheFemur) {
  CaseSpec lined = square_case(3);
  lined.films[0].gaps = {full_gap(1, 2.0), full_gap(7, 2.0)};
  CaseSpec rimmed = lined;
  for (Gap& gap : rimmed.films[0].gaps) gap.rim = Millimetres{0.8};
  const auto parts = parts_of(lined);
  Probe with(parts, rimmed);
  Probe without(parts, lined);
  const double middle = 0.5 * with.truth().lucency.zones[0].length.value;
  with.only(-6.0, middle);
  without.only(-6.0, middle);
  const auto seen = differing(with, without, Material::kCorticalBone, middle, -1.0, 1.0);
  ASSERT_TRUE(seen.has_value());
  EXPECT_NEAR((*seen)[1], 2.8, 0.12);
  // Nothing above the cut on the medial side, and no more bone anywhere than the rim's 0.8 mm.
  EXPECT_FALSE(differing(with, without, Material::kCorticalBone, -6.0, 1.0, 0.01).has_value());
}

// A shell of one thickness keeps it from wherever it is seen.
TEST(Gap, IsAsWideInAnObliqueView) {
  CaseSpec plain = square_case(5);
  const auto parts = parts_of(plain);
  for (const double rotation : {-14.0, 14.0}) {
    plain.films[0].pose = {{5.0}, {-3.0}, {rotation}};
    plain.films[0].beam.source_to_detector.value = 1150.0;
    CaseSpec gapped = plain;
    gapped.films[0].gaps = {full_gap(2, 2.0), full_gap(6, 1.0)};
    Probe with(parts, gapped);
    Probe without(parts, plain);
    const double along = 1.5 * with.truth().lucency.zones[1].length.value;
    with.only(along);
    without.only(along);
    for (const auto& [side, width] : {std::pair{-1.0, 2.0}, std::pair{1.0, 1.0}}) {
      const auto seen = differing(with, without, Material::kMuscle, along, side, 0.2);
      ASSERT_TRUE(seen.has_value());
      EXPECT_NEAR((*seen)[1], width, 0.09) << rotation;
    }
  }
}

/// Where a line of the middle third behind or medially has half its width, truth says that it
/// begins and ends.
void expect_line_where_truth_says(const CaseSpec& plain, int zone_number) {
  CaseSpec gapped = plain;
  Gap gap = full_gap(zone_number, 2.0);
  gap.from = 0.25;
  gap.to = 0.8;
  gapped.films[0].gaps = {gap};
  const auto parts = parts_of(plain);
  Probe with(parts, gapped);
  Probe without(parts, plain);
  const ZoneTruth& zone = with.truth().lucency.zones[5];
  EXPECT_EQ(zone.zone, zone_number);
  ASSERT_EQ(zone.lines.size(), 1U);
  const LineTruth& line = zone.lines[0];
  EXPECT_NEAR(line.fraction, 0.55, 0.02);
  EXPECT_DOUBLE_EQ(line.fraction, (line.to.value - line.from.value) / zone.length.value);
  EXPECT_DOUBLE_EQ(line.width.value, 2.0);
  with.only(zone.length.value, 2.0 * zone.length.value);
  without.only(zone.length.value, 2.0 * zone.length.value);
  const double half_width_out = 1.0;
  std::optional<double> first;
  double last = 0.0;
  for (int i = 0; 0.2 * i < zone.length.value; ++i) {
    const double at = 0.2 * i;
    const double along = zone.length.value + at;
    const double across = with.flank(along, 1.0) + half_width_out;
    if (with.length(Material::kMuscle, along, across) -
            without.length(Material::kMuscle, along, across) <
        0.5) {
      continue;
    }
    if (!first) first = at;
    last = at;
  }
  ASSERT_TRUE(first.has_value());
  EXPECT_NEAR(*first, line.from.value, 0.5);
  EXPECT_NEAR(last, line.to.value, 0.5);
}

TEST(Gap, BeginsAndEndsWhereTruthSays) {
  CaseSpec plain = square_case(4);
  plain.films[0].pose = {{6.0}, {-2.0}, {10.0}};
  plain.films[0].beam.source_to_detector.value = 1150.0;
  expect_line_where_truth_says(plain, 6);
}

// Thirds from the entry to the tip: Gruen, McNeice, Amstutz, Clin Orthop Relat Res 141 (1979)
// 17-27 (from memory); a film without lines has seven empty zones.
TEST(LucencyTruth, HasSevenZonesOfAThirdEach) {
  const CaseSpec spec = square_case(6);
  Probe probe(parts_of(spec), spec);
  const LucencyTruth& truth = probe.truth().lucency;
  ASSERT_EQ(truth.zones.size(), 7U);
  const Vec2 axis = (probe.truth().stem_axis[1] - probe.truth().stem_axis[0]).normalized();
  const double embedded =
      axis.dot(probe.truth().stem_tip - truth.entry_px) * probe.truth().mm_per_px;
  for (int i = 0; i < 7; ++i) {
    const ZoneTruth& zone = truth.zones[static_cast<std::size_t>(i)];
    EXPECT_EQ(zone.zone, i + 1);
    EXPECT_TRUE(zone.lines.empty());
    if (i != 3) {
      EXPECT_NEAR(zone.length.value, embedded / 3.0, 1e-9);
    }
  }
  probe.only(-3.0, 3.0);
  // Medial of the entry there is bone just below, and none just above.
  const double medial = probe.flank(0.0, 1.0);
  EXPECT_GT(probe.length(Material::kCorticalBone, 1.5, medial + 0.8), 1.0);
  EXPECT_LT(probe.length(Material::kCorticalBone, -2.5, medial + 0.8), 0.2);
}

// A line in front shows beside the front and nowhere else. Which side of the film is the front is
// told by the bone: the lesser trochanter lies behind the shaft's axis.
TEST(SideGap, ShowsBesideItsOwnOutlineOnly) {
  const CaseSpec plain = side_case(3);
  const auto parts = parts_of(plain);
  for (const int zone : {9, 13}) {
    CaseSpec gapped = plain;
    gapped.films[0].gaps = {full_gap(zone, 1.5)};
    Probe with(parts, gapped);
    Probe without(parts, plain);
    const FilmTruth& truth = with.truth();
    const Vec2 down = (truth.shaft_axis[1] - truth.shaft_axis[0]).normalized();
    const Vec2 right(down.y(), -down.x());
    ASSERT_GT(right.dot(truth.lesser_trochanter - truth.shaft_axis[0]) * truth.mm_per_px, 10.0);
    const double own = zone == 9 ? -1.0 : 1.0;
    const double along = 1.5 * truth.lucency.zones[1].length.value;
    with.only(along);
    without.only(along);
    const auto seen = differing(with, without, Material::kMuscle, along, own, 0.2);
    ASSERT_TRUE(seen.has_value());
    EXPECT_NEAR((*seen)[0], 0.02, 0.03);
    EXPECT_NEAR((*seen)[1], 1.5, 0.06);
    EXPECT_FALSE(differing(with, without, Material::kMuscle, along, -own, 0.01).has_value());
  }
}

// As deep as the section is broad, by chords computed by hand, but for what of a shell lies round
// its corners, beyond 45 degrees: 0.6 mm at each end. In the middle of zone 9.
TEST(SideGap, IsAsDeepAsTheStemIsBroad) {
  const CaseSpec plain = side_case(3);
  const auto parts = parts_of(plain);
  for (const double width : {0.75, 1.5}) {
    CaseSpec gapped = plain;
    gapped.films[0].gaps = {full_gap(9, width)};
    Probe with(parts, gapped);
    Probe without(parts, plain);
    const double along = 1.5 * with.truth().lucency.zones[1].length.value;
    with.only(along);
    without.only(along);
    const StemShape& s = plain.stem;
    const double y = s.length_mm - along;
    const double breadth =
        s.half_width_mm + (s.tip_half_width_mm - s.half_width_mm) * y / s.length_mm;
    const double depth = with.flank(along, -1.0);
    for (const double part : {0.25, 0.5, 0.75}) {
      const double across = -(depth + part * width);
      const double found = with.length(Material::kMuscle, along, across) -
                           without.length(Material::kMuscle, along, across);
      const double shell = chord_by_hand(depth, breadth, part * width, width);
      EXPECT_LT(found, shell + 0.35) << width << " " << part;  // as for a flank's line
      EXPECT_GT(found, shell - 0.35 - 1.2) << width << " " << part;
    }
  }
}

// Darker (more of the beam arrives) beside the front of the rendered film, and as it was behind.
TEST(SideGap, IsDarkOnTheRenderedFilm) {
  CaseSpec plain = side_case(3);
  plain.compaction = Compaction{};  // dense bone, which the line takes the place of
  const auto parts = parts_of(plain);
  CaseSpec gapped = plain;
  gapped.films[0].gaps = {full_gap(9, 2.0)};
  Probe with(parts, gapped);
  Probe without(parts, plain);
  const Raster dark = render(with.scene(), with.film().beam, 2);
  const Raster bright = render(without.scene(), without.film().beam, 2);
  const double third = with.truth().lucency.zones[1].length.value;
  const auto ratio = [&](double along, double side) {
    const Vec2 px = with.at(along, side * (with.flank(along, side) + 1.0)).array().round();
    const int x = static_cast<int>(px.x());
    const int y = static_cast<int>(px.y());
    return static_cast<double>(dark.at(x, y)) / static_cast<double>(bright.at(x, y));
  };
  for (const double part : {1.3, 1.5, 1.7}) {
    EXPECT_GT(ratio(part * third, -1.0), 1.02) << part;
    EXPECT_NEAR(ratio(part * third, 1.0), 1.0, 1e-3) << part;
  }
  EXPECT_NEAR(ratio(0.5 * third, -1.0), 1.0, 1e-3);  // nor in zone 8
}

// Seen from the front a line before the stem changes nothing beside its flanks, and one beside a
// flank stays a line of its width, but for what of it lay round the corner behind; seen from the
// side that one does not show.
TEST(SideGap, LeavesTheFlanksOfAFrontalFilmAsTheyWere) {
  const CaseSpec plain = square_case(3);
  const auto parts = parts_of(plain);
  CaseSpec before = plain;
  before.films[0].gaps = {full_gap(9, 1.5)};
  CaseSpec beside = plain;
  beside.films[0].gaps = {full_gap(2, 1.5)};
  CaseSpec both = plain;
  both.films[0].gaps = {full_gap(2, 1.5), full_gap(9, 1.5)};
  Probe none(parts, plain);
  Probe front(parts, before);
  Probe flank(parts, beside);
  Probe two(parts, both);
  const double along = 1.5 * none.truth().lucency.zones[1].length.value;
  for (Probe* probe : {&none, &front, &flank, &two}) probe->only(along);
  for (const double side : {-1.0, 1.0}) {
    EXPECT_FALSE(differing(front, none, Material::kMuscle, along, side, 0.2).has_value()) << side;
    EXPECT_FALSE(differing(two, flank, Material::kMuscle, along, side, 0.2).has_value()) << side;
    EXPECT_FALSE(differing(flank, two, Material::kMuscle, along, side, 1.6).has_value()) << side;
  }
  const auto seen = differing(two, none, Material::kMuscle, along, -1.0, 0.2);
  ASSERT_TRUE(seen.has_value());
  EXPECT_NEAR((*seen)[0], 0.02, 0.03);
  EXPECT_NEAR((*seen)[1], 1.5, 0.06);
  EXPECT_TRUE(front.truth().lucency.zones[1].lines.empty());
  EXPECT_EQ(two.truth().lucency.zones[1].lines.size(), 1U);

  CaseSpec from_the_side = side_case(3);
  Probe bare(parts, from_the_side);
  from_the_side.films[0].gaps = {full_gap(2, 1.5)};
  Probe hidden(parts, from_the_side);
  bare.only(along);
  hidden.only(along);
  for (const double side : {-1.0, 1.0}) {
    EXPECT_FALSE(differing(hidden, bare, Material::kMuscle, along, side, 0.2).has_value()) << side;
  }
  for (const ZoneTruth& zone : hidden.truth().lucency.zones) EXPECT_TRUE(zone.lines.empty());
}

// A lateral film is seldom square: the stem's own turn of some 10 degrees, and 15 of the leg.
TEST(SideGap, IsAsWideInAnObliqueView) {
  CaseSpec plain = side_case(5);
  const auto parts = parts_of(plain);
  for (const double rotation : {-110.0, -75.0}) {
    plain.films[0].pose = {{5.0}, {6.0}, {rotation}};
    plain.films[0].beam.source_to_detector.value = 1150.0;
    CaseSpec gapped = plain;
    gapped.films[0].gaps = {full_gap(8, 1.5), full_gap(9, 2.0), full_gap(13, 1.0)};
    for (const auto& [level, side, width] :
         {std::array{0.5, -1.0, 1.5}, std::array{1.5, -1.0, 2.0}, std::array{1.5, 1.0, 1.0}}) {
      Probe with(parts, gapped);
      Probe without(parts, plain);
      const double along = level * with.truth().lucency.zones[1].length.value;
      with.only(along);
      without.only(along);
      const auto seen = differing(with, without, Material::kMuscle, along, side, 0.2);
      ASSERT_TRUE(seen.has_value()) << rotation << " " << level;
      EXPECT_NEAR((*seen)[1], width, 0.12) << rotation << " " << level;
    }
  }
}

TEST(SideGap, BeginsAndEndsWhereTruthSays) {
  CaseSpec plain = side_case(4);
  plain.films[0].pose = {{6.0}, {4.0}, {-80.0}};
  plain.films[0].beam.source_to_detector.value = 1150.0;
  expect_line_where_truth_says(plain, 13);
}

// By hand, for rays square to the stem: thirds from the entry to the tip; the round end is the
// ellipse of the tip's half depth across and half width along, and zones 10 and 12 end where its
// normal is 45 degrees off the axis.
TEST(LucencyTruth, OfALateralFilmHasZones8To14) {
  CaseSpec spec = side_case(6);
  Gap part = full_gap(9, 1.0);
  part.from = 0.25;
  part.to = 0.75;
  spec.films[0].gaps = {part, full_gap(10, 1.5), full_gap(11, 0.75), full_gap(14, 2.0)};
  const auto parts = parts_of(spec);
  Probe probe(parts, spec);
  const LucencyTruth& truth = probe.truth().lucency;
  ASSERT_EQ(truth.zones.size(), 7U);
  const Vec2 axis = (probe.truth().stem_axis[1] - probe.truth().stem_axis[0]).normalized();
  const double third =
      axis.dot(probe.truth().stem_tip - truth.entry_px) * probe.truth().mm_per_px / 3.0;
  for (int i = 0; i < 7; ++i) {
    const ZoneTruth& zone = truth.zones[static_cast<std::size_t>(i)];
    EXPECT_EQ(zone.zone, i + 8);
    if (i != 3) {
      EXPECT_NEAR(zone.length.value, third, 1e-9);
    }
  }
  const double high = spec.stem.tip_half_width_mm;
  const double wide = spec.stem.tip_half_depth_mm;
  const auto end =
      [&](double normal_deg) -> Vec2 {  // of the ellipse, by the direction of its normal
    const double a = normal_deg * std::numbers::pi / 180.0;
    return Vec2(wide * wide * std::sin(a), high * high * std::cos(a)) /
           std::hypot(wide * std::sin(a), high * std::cos(a));
  };
  double arc = 0.0;
  for (int deg = -45; deg < 45; ++deg) arc += (end(deg + 1) - end(deg)).norm();
  const auto only_line = [&](std::size_t index) {
    EXPECT_EQ(truth.zones[index].lines.size(), 1U);
    return truth.zones[index].lines.at(0);
  };
  EXPECT_NEAR(only_line(1).from.value, 0.25 * third, 0.02);
  EXPECT_NEAR(only_line(1).to.value, 0.75 * third, 0.02);
  EXPECT_NEAR(only_line(1).fraction, 0.5, 0.001);
  EXPECT_NEAR(only_line(2).to.value, third - (high - end(45.0).y()), 0.02);
  EXPECT_NEAR(truth.zones[3].length.value, arc, 0.01);
  EXPECT_NEAR(only_line(3).to.value, arc, 0.01);
  EXPECT_DOUBLE_EQ(only_line(6).from.value, 0.0);
  EXPECT_NEAR(only_line(6).to.value, third, 0.02);
  EXPECT_DOUBLE_EQ(only_line(6).width.value, 2.0);
  for (const std::size_t free : {0U, 4U, 5U}) EXPECT_TRUE(truth.zones[free].lines.empty());
}

// The entry lies on the outline of the back, at the level at which a frontal film has it.
TEST(LucencyTruth, EntryOfALateralFilmLiesOnTheBackAtTheSameLevel) {
  const CaseSpec lateral = side_case(6);
  const CaseSpec frontal = square_case(6);
  const auto parts = parts_of(lateral);
  const auto embedded = [](const FilmTruth& truth) {
    const Vec2 axis = (truth.stem_axis[1] - truth.stem_axis[0]).normalized();
    return axis.dot(truth.stem_tip - truth.lucency.entry_px) * truth.mm_per_px;
  };
  EXPECT_NEAR(embedded(Probe(parts, lateral).truth()), embedded(Probe(parts, frontal).truth()),
              0.05);
  for (const double rotation : {-90.0, -110.0, -75.0}) {  // turned, a corner makes the outline
    CaseSpec turned = lateral;
    turned.films[0].pose = {{6.0}, {4.0}, {rotation}};
    Probe side(parts, turned);
    side.only(0.0);
    const double back = side.flank(0.0, 1.0);
    EXPECT_NEAR(
        (side.at(0.0, back) - side.truth().lucency.entry_px).norm() * side.truth().mm_per_px, 0.0,
        0.15)
        << rotation;
  }
}

// Zones 4 and 11 are one cap: either shows on both views, and truth names it by the view.
TEST(SideGap, AboutTheTipShowsFromTheFrontAndFromTheSide) {
  for (const CaseSpec& plain : {square_case(3), side_case(3)}) {
    const auto parts = parts_of(plain);
    Probe without(parts, plain);
    const double tip = 3.0 * without.truth().lucency.zones[1].length.value;
    without.only(tip - 1.0, tip + 4.0);
    for (const int zone : {4, 11}) {
      CaseSpec gapped = plain;
      gapped.films[0].gaps = {full_gap(zone, 1.5)};
      Probe with(parts, gapped);
      with.only(tip - 1.0, tip + 4.0);
      const auto more = [&](double beyond) {
        return with.length(Material::kMuscle, tip + beyond, 0.0) -
               without.length(Material::kMuscle, tip + beyond, 0.0);
      };
      EXPECT_GT(more(0.7), 2.0) << zone;
      EXPECT_LT(more(1.7), 0.05) << zone;
      const ZoneTruth& about = with.truth().lucency.zones[3];
      EXPECT_EQ(about.zone, plain.films[0].view == View::kLateral ? 11 : 4);
      ASSERT_EQ(about.lines.size(), 1U);
      EXPECT_DOUBLE_EQ(about.lines[0].width.value, 1.5);
      EXPECT_NEAR(about.lines[0].fraction, 1.0, 1e-9);
    }
  }
}

TEST(Mantle, IsCementOfItsThicknessWithTheLineBeyond) {
  CaseSpec plain = square_case(7);
  plain.stem.half_width_mm = 5.0;
  plain.stem.tip_half_width_mm = 3.2;
  CaseSpec cemented = plain;
  cemented.mantle = Millimetres{2.5};
  CaseSpec lined = cemented;
  Gap gap = full_gap(1, 1.5);
  gap.interface = GapInterface::kCementBone;
  lined.films[0].gaps = {gap};
  const auto parts = parts_of(plain);
  Probe bare(parts, plain);
  Probe with(parts, cemented);
  Probe line(parts, lined);
  const double middle = 0.5 * with.truth().lucency.zones[0].length.value;
  for (Probe* probe : {&bare, &with, &line}) probe->only(middle);
  const auto cement = differing(with, bare, Material::kRadiopaqueCement, middle, -1.0, 0.2);
  ASSERT_TRUE(cement.has_value());
  EXPECT_NEAR((*cement)[0], 0.02, 0.03);
  EXPECT_NEAR((*cement)[1], 2.5, 0.08);
  const auto soft = differing(line, with, Material::kMuscle, middle, -1.0, 1.0);
  ASSERT_TRUE(soft.has_value());
  EXPECT_NEAR((*soft)[1], 4.0, 0.1);
  EXPECT_DOUBLE_EQ(line.truth().lucency.zones[0].lines.at(0).start.value, 2.5);
  // The same cement with and without the line beyond it.
  const double across = -(with.flank(middle, -1.0) + 1.2);
  EXPECT_NEAR(line.length(Material::kRadiopaqueCement, middle, across),
              with.length(Material::kRadiopaqueCement, middle, across), 1e-6);
}

TEST(Compaction, PutsItsShareOfBoneBesideTheStem) {
  const CaseSpec plain = square_case(3);
  CaseSpec pressed = plain;
  pressed.compaction = Compaction{};
  pressed.compaction->swing = 0.0;
  pressed.compaction->share = 0.5;
  const auto parts = parts_of(plain);
  Probe with(parts, pressed);
  Probe without(parts, plain);
  const double middle = 0.5 * with.truth().lucency.zones[0].length.value;
  with.only(middle);
  without.only(middle);
  const auto seen = differing(with, without, Material::kCorticalBone, middle, -1.0, 0.3);
  ASSERT_TRUE(seen.has_value());
  EXPECT_NEAR((*seen)[1], 2.0, 0.15);
  EXPECT_DOUBLE_EQ(with.truth().lucency.zones[0].compacted, 1.0);
  Spongiosa bone;
  bone.compaction.swing = 0.1;
  EXPECT_NEAR(bone.compacted_at(10.0), 0.55, 1e-12);  // a quarter of the wave of 40 mm
}

}  // namespace
}  // namespace tidemark::phantom
