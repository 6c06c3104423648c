#include "tidemark/phantom/case.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <utility>

namespace tidemark::phantom {
namespace {

std::vector<CaseSpec> hips(CaseSet set, int count) {
  std::vector<CaseSpec> all;
  CaseOptions options;
  options.set = set;
  for (int i = 1; i <= count; ++i) all.push_back(random_case(11, i, options));
  return all;
}

TEST(RandomCase, SameSeedSameHip) {
  const CaseSpec a = random_case(11, 4, {});
  const CaseSpec b = random_case(11, 4, {});
  EXPECT_EQ(a.femur.offset_mm, b.femur.offset_mm);
  EXPECT_EQ(a.films[1].pose.flexion, b.films[1].pose.flexion);
  EXPECT_NE(a.femur.offset_mm, random_case(11, 5, {}).femur.offset_mm);
  EXPECT_NE(a.femur.offset_mm, random_case(12, 4, {}).femur.offset_mm);
}

// The ranges that docs/truth.md promises for the set "seat".
TEST(RandomCase, SeatCoversItsRanges) {
  int left = 0, dark = 0, crisp = 0, pelvis = 0;
  double most = 0, square = 0;
  std::set<double> heads;
  const auto all = hips(CaseSet::kSeat, 400);
  for (const CaseSpec& hip : all) {
    const FilmSpec& last = hip.films.back();
    EXPECT_EQ(hip.films.front().motion.subsidence.value, 0.0);
    EXPECT_GE(last.motion.subsidence.value, 0.0);
    EXPECT_LE(last.motion.subsidence.value, 8.0);
    EXPECT_LE(std::abs(last.motion.medial.value), 1.0);
    EXPECT_LE(std::abs(last.motion.tilt_change.value), 3.0);
    most = std::max(most, last.motion.subsidence.value);
    square += last.pose.flexion.value * last.pose.flexion.value / 400.0;
    left += hip.side == Side::kLeft ? 1 : 0;
    dark += last.processing.photometric == Photometric::kMonochrome1 ? 1 : 0;
    crisp += last.processing.edge_gain > 0.0 ? 1 : 0;
    pelvis += last.field == FieldOfView::kPelvis ? 1 : 0;
    heads.insert(hip.head_diameter.value);
  }
  EXPECT_GT(most, 7.5);
  EXPECT_NEAR(std::sqrt(square), 2.9, 0.4);  // 3 degrees, less what is cut beyond 2.5 SD
  for (const int half : {left, dark, crisp}) EXPECT_NEAR(half, 200, 60);  // 6 SD of 400 coins
  EXPECT_NEAR(pelvis, 80, 48);
  EXPECT_EQ(heads.size(), 3U);
}

TEST(RandomCase, DatesOfManyFollowUpsAscend) {
  CaseOptions options;
  options.follow_ups = 12;
  const CaseSpec hip = random_case(5, 1, options);
  for (std::size_t i = 1; i < hip.films.size(); ++i) {
    EXPECT_LT(hip.films[i - 1].date, hip.films[i].date);
    EXPECT_GE(hip.films[i].motion.subsidence.value, hip.films[i - 1].motion.subsidence.value);
  }
}

TEST(RandomCase, StillDoesNotMove) {
  for (const CaseSpec& hip : hips(CaseSet::kStill, 20)) {
    for (const FilmSpec& film : hip.films) {
      EXPECT_EQ(film.motion.subsidence.value, 0.0);
      EXPECT_EQ(film.motion.tilt_change.value, 0.0);
    }
  }
}

TEST(RandomCase, HardHasEveryKindOfTrouble) {
  int staples = 0, wires = 0, letters = 0, shutters = 0, cropped = 0, wrong = 0, thick = 0,
      both = 0;
  int crisp = 0, dim = 0, rescaled = 0;
  const auto all = hips(CaseSet::kHard, 200);
  for (const CaseSpec& hip : all) {
    const FilmSpec& first = hip.films.front();
    const FilmSpec& last = hip.films.back();
    staples += first.clutter.staples > 0 ? 1 : 0;
    EXPECT_EQ(last.clutter.staples, 0);  // they are out by the first visit
    EXPECT_EQ(first.clutter.wires > 0, last.clutter.wires > 0);
    wires += last.clutter.wires > 0 ? 1 : 0;
    letters += last.clutter.letter ? 1 : 0;
    shutters += last.clutter.collimation ? 1 : 0;
    cropped += last.beam.field_shift_mm.norm() > 0 ? 1 : 0;
    wrong += last.photometric_tag == PhotometricTag::kWrong ? 1 : 0;
    thick += hip.body.half_depth_mm > 120 ? 1 : 0;
    both += hip.other_hip == OtherHip::kReplaced ? 1 : 0;
    crisp += last.processing.edge_gain >= 2.0 ? 1 : 0;
    dim += last.exposure.quanta_per_pixel < 250 ? 1 : 0;
    EXPECT_LE(std::abs(last.beam.turn.value), 5.0);
    const auto scale = [](const Beam& b) {
      return b.pixel_pitch.value / b.magnification(Vec3::Zero()) /
             (b.columns > b.rows ? 1.25 : 1.0);
    };
    rescaled += std::abs(scale(first.beam) / scale(last.beam) - 1.0) > 0.05 ? 1 : 0;
  }
  for (const int count :
       {staples, wires, letters, shutters, cropped, wrong, thick, both, crisp, dim, rescaled}) {
    EXPECT_GT(count, 10);
    EXPECT_LT(count, 190);
  }
}

// What docs/truth.md promises for the set "lucency", and that no other set has any of it.
TEST(RandomCase, LucencyHasEveryKindOfLineAndNone) {
  std::set<double> widths;
  int cemented = 0, oblique = 0, halo = 0, rims = 0, lines = 0, whole = 0, half = 0, wider = 0,
      same = 0, fresh = 0;
  const auto all = hips(CaseSet::kLucency, 300);
  for (const CaseSpec& hip : all) {
    cemented += hip.mantle ? 1 : 0;
    // Marrow along a mantle would look as a line does.
    EXPECT_TRUE(!hip.mantle || (hip.compaction && hip.compaction->reach > 0.95));
    if (hip.number % 6 == 0) {
      EXPECT_TRUE(hip.films[0].gaps.empty() && hip.films[1].gaps.empty());
      EXPECT_GT(hip.films[0].processing.edge_gain, 0.0);
    }
    for (const FilmSpec& film : hip.films) {
      EXPECT_LE(film.motion.subsidence.value, 1.5);
      oblique += std::abs(film.pose.rotation.value) >= 8.0 ? 1 : 0;
      halo += film.processing.edge_gain > 0.0 ? 1 : 0;
    }
    for (const Gap& gap : hip.films[0].gaps) {
      ++lines;
      rims += gap.rim ? 1 : 0;
      whole += gap.to - gap.from > 0.999 ? 1 : 0;
      half += gap.to - gap.from >= 0.5 ? 1 : 0;
      EXPECT_GE(gap.from, 0.0);
      EXPECT_LE(gap.to, 1.0);
      if (gap.interface != GapInterface::kStemCement) widths.insert(gap.width.value);
      EXPECT_EQ(gap.interface == GapInterface::kStemBone, !hip.mantle);
    }
    for (const Gap& gap : hip.films[1].gaps) {
      const auto& before = hip.films[0].gaps;
      const auto was = std::find_if(before.begin(), before.end(),
                                    [&](const Gap& g) { return g.zone == gap.zone; });
      if (was == before.end()) {
        ++fresh;
        continue;
      }
      const double growth = gap.width.value - was->width.value;
      EXPECT_GE(growth, 0.0);
      EXPECT_LE(growth, 1.5);
      (growth > 0.0 ? wider : same) += 1;
    }
  }
  EXPECT_EQ(widths, (std::set<double>{0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0}));
  EXPECT_NEAR(cemented, 120, 51);  // 6 SD of 300 draws
  EXPECT_NEAR(oblique, 300, 74);
  EXPECT_NEAR(halo, 350, 74);
  for (const int count : {rims, whole, half - whole, lines - half, wider, same, fresh}) {
    EXPECT_GT(count, 80);
  }
  for (const CaseSet set : {CaseSet::kSeat, CaseSet::kStill, CaseSet::kHard}) {
    for (const CaseSpec& hip : hips(set, 20)) {
      EXPECT_FALSE(hip.mantle || hip.compaction);
      for (const FilmSpec& film : hip.films) EXPECT_TRUE(film.gaps.empty());
    }
  }
}

bool same(const Gap& a, const Gap& b) {
  return a.zone == b.zone && a.interface == b.interface && a.width == b.width && a.from == b.from &&
         a.to == b.to && a.rim == b.rim;
}

bool same(const FilmSpec& a, const FilmSpec& b) {
  return a.date == b.date && a.view == b.view && a.field == b.field &&
         a.noise_seed == b.noise_seed && a.pose.flexion == b.pose.flexion &&
         a.pose.abduction == b.pose.abduction && a.pose.rotation == b.pose.rotation &&
         a.motion.subsidence == b.motion.subsidence && a.beam.centre_mm == b.beam.centre_mm &&
         a.processing.edge_gain == b.processing.edge_gain &&
         std::equal(a.gaps.begin(), a.gaps.end(), b.gaps.begin(), b.gaps.end(),
                    [](const Gap& g, const Gap& h) { return same(g, h); });
}

// Lateral films come last, hold the day and the motion of a frontal one, and change none.
TEST(RandomCase, LateralFilmsLeaveTheFrontalOnesAsTheyAre) {
  for (const CaseSet set : {CaseSet::kSeat, CaseSet::kHard, CaseSet::kLucency}) {
    CaseOptions options;
    options.set = set;
    options.follow_ups = 2;
    for (int number = 1; number <= 12; ++number) {
      options.lateral = 0;
      const CaseSpec none = random_case(17, number, options);
      options.lateral = 1;
      const CaseSpec one = random_case(17, number, options);
      options.lateral = 2;
      const CaseSpec two = random_case(17, number, options);
      ASSERT_EQ(none.films.size(), 3U);
      ASSERT_EQ(one.films.size(), 4U);
      ASSERT_EQ(two.films.size(), 5U);
      for (std::size_t i = 0; i < 3; ++i) {
        EXPECT_TRUE(same(none.films[i], one.films[i]));
        EXPECT_TRUE(same(none.films[i], two.films[i]));
        EXPECT_EQ(none.films[i].view, View::kAp);
      }
      EXPECT_TRUE(same(one.films[3], two.films[3]));
      EXPECT_FALSE(same(two.films[3], two.films[4]));
      for (const auto& [lateral, frontal] : {std::pair<std::size_t, std::size_t>{3, 0}, {4, 2}}) {
        EXPECT_EQ(two.films[lateral].view, View::kLateral);
        EXPECT_EQ(two.films[lateral].field, FieldOfView::kHip);
        EXPECT_EQ(two.films[lateral].date, two.films[frontal].date);
        EXPECT_EQ(two.films[lateral].motion.subsidence, two.films[frontal].motion.subsidence);
        EXPECT_EQ(two.films[lateral].motion.tilt_change, two.films[frontal].motion.tilt_change);
      }
    }
  }
}

TEST(RandomCase, WithoutAFollowUpThereIsOneLateralFilm) {
  CaseOptions options;
  options.follow_ups = 0;
  options.lateral = 2;
  EXPECT_EQ(random_case(17, 1, options).films.size(), 2U);
}

// What docs/truth.md promises of lateral films of the set "lucency": rolled out by 88 degrees, half
// of them 8 to 15 more or less, lines in zones 8 to 14 that grow as frontal ones do.
TEST(RandomCase, LucencyHasLateralFilmsWithLinesOfTheirOwn) {
  CaseOptions options;
  options.set = CaseSet::kLucency;
  options.lateral = 2;
  int oblique = 0, lines = 0, wider = 0, fresh = 0;
  std::set<int> zones;
  for (int number = 1; number <= 120; ++number) {
    const CaseSpec hip = random_case(11, number, options);
    const FilmSpec& then = hip.films[2];
    const FilmSpec& now = hip.films[3];
    for (const FilmSpec* film : {&then, &now}) {
      const double turned = std::abs(film->pose.rotation.value + 88.0);
      EXPECT_LE(turned, 15.0);
      EXPECT_TRUE(turned <= 4.0 || turned >= 8.0);
      oblique += turned >= 8.0 ? 1 : 0;
      if (number % 6 == 0) {
        EXPECT_TRUE(film->gaps.empty());
        EXPECT_GT(film->processing.edge_gain, 0.0);
      }
      for (const Gap& gap : film->gaps) {
        ++lines;
        zones.insert(gap.zone);
        EXPECT_TRUE(gap.rim || hip.compaction || gap.interface == GapInterface::kStemCement);
        EXPECT_EQ(gap.interface == GapInterface::kStemBone, !hip.mantle);
      }
    }
    for (const Gap& gap : now.gaps) {
      const auto was = std::find_if(then.gaps.begin(), then.gaps.end(),
                                    [&](const Gap& g) { return g.zone == gap.zone; });
      if (was == then.gaps.end()) {
        ++fresh;
        continue;
      }
      EXPECT_GE(gap.width, was->width);
      EXPECT_LE(gap.width.value - was->width.value, 1.5);
      wider += gap.width > was->width ? 1 : 0;
    }
  }
  EXPECT_EQ(zones, (std::set<int>{8, 9, 10, 11, 12, 13, 14}));
  EXPECT_NEAR(oblique, 120, 47);  // 6 SD of 240 coins
  EXPECT_GT(lines, 600);          // 200 films with about 4 and 5 lines
  EXPECT_GT(wider, 100);
  EXPECT_GT(fresh, 30);
}

TEST(DemoCase, MovesOnceAndStops) {
  const CaseSpec demo = demo_case({0.14});
  ASSERT_EQ(demo.films.size(), 3U);
  EXPECT_EQ(demo.films[0].motion.subsidence.value, 0.0);
  EXPECT_EQ(demo.films[1].motion.subsidence.value, 2.5);
  EXPECT_EQ(demo.films[2].motion.subsidence.value, 2.5);
  EXPECT_EQ(demo.films[0].beam.columns, 2000);
  EXPECT_EQ(demo.films[0].beam.rows, 2400);
}

}  // namespace
}  // namespace tidemark::phantom
