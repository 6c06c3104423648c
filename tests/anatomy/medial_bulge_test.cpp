#include "../../modules/anatomy/src/medial_bulge.h"

#include <gtest/gtest.h>

#include <cmath>

namespace tidemark::anatomy {
namespace {

constexpr double kMm = 0.4;

/// A medial outline sampled every 0.4 mm from the neck's cut (s = 0) down: a calcar that comes down
/// to the shaft at 14 mm, and a trochanter of a height at a level, its top flat over `flat` mm.
struct Outline {
  EdgePath path;
  std::vector<double> from_shaft;
};

Outline outline_of(double height, double level, double flat) {
  Outline out;
  for (int i = 0; i * kMm < 130.0; ++i) {
    const double s = i * kMm;
    const double calcar = 14.0 + 8.0 * std::exp(-s / 12.0);
    const double away = std::max(0.0, std::abs(s - level) - 0.5 * flat) / 7.0;
    out.from_shaft.push_back(calcar + height * std::exp(-away * away));
    out.path.column.push_back(0.0);
    out.path.evidence.push_back(0.9);
  }
  return out;
}

// The top of a round bulge is the middle of what is as high (derived, for a curve symmetrical about
// its top). A single highest sample lies anywhere on it.
TEST(TrochanterBulge, ItsTopIsTheMiddleOfWhatIsAsHigh) {
  Outline o = outline_of(9.0, 40.0, 6.0);
  o.from_shaft[static_cast<std::size_t>(37.2 / kMm)] += 0.1;  // a grain at the upper end of the top
  const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
  ASSERT_TRUE(bulge.has_value());
  EXPECT_NEAR(bulge->top * kMm, 40.0, 1.0);
  EXPECT_LT(std::abs(bulge->top * kMm - 40.0), 2.0 * bulge->top_u);
}

TEST(TrochanterBulge, AFlatTopIsLessSureThanAPointedOne) {
  const Outline pointed = outline_of(9.0, 40.0, 0.0);
  const Outline flat = outline_of(9.0, 40.0, 8.0);
  const auto a = trochanter_bulge(pointed.path, pointed.from_shaft, kMm);
  const auto b = trochanter_bulge(flat.path, flat.from_shaft, kMm);
  ASSERT_TRUE(a.has_value() && b.has_value());
  EXPECT_LT(a->top_u, b->top_u);
}

// The corner of the neck's cut, as blunt as a trochanter (8 mm) and farther from the shaft: the
// trochanter is what stands out below it.
TEST(TrochanterBulge, ABluntCornerOfTheCutIsNone) {
  Outline o = outline_of(5.0, 32.0, 4.0);
  for (int i = 0; i * kMm < 40.0; ++i) {
    const double away = (i * kMm - 7.0) / 6.0;
    o.from_shaft[static_cast<std::size_t>(i)] += 8.0 * std::exp(-away * away);
  }
  const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
  ASSERT_TRUE(bulge.has_value());
  EXPECT_NEAR(bulge->top * kMm, 32.0, 2.0);
}

// A long cut seen whole: the outline climbs along it from the metal to a corner that stands farther
// out than any trochanter, and comes down to the calcar. What stands out below is the trochanter;
// where nothing does, the corner is none.
TEST(TrochanterBulge, TheFarCornerOfALongCutIsNone) {
  for (const double height : {5.0, 0.0}) {
    Outline o = outline_of(height, 40.0, 4.0);
    for (int i = 0; i * kMm < 26.0; ++i) {
      const double s = i * kMm;
      const double corner = s < 16.0 ? 21.0 + 0.6 * s : 30.6 - 1.4 * (s - 16.0);
      double& d = o.from_shaft[static_cast<std::size_t>(i)];
      d = s < 16.0 ? corner : std::max(corner, d);
    }
    const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
    ASSERT_EQ(bulge.has_value(), height > 0.0);
    if (bulge) {
      EXPECT_NEAR(bulge->top * kMm, 40.0, 1.0);
    }
  }
}

// From the side a crest above stands out farther than the trochanter: where another film shows the
// trochanter, nothing else is it.
TEST(TrochanterBulge, IsSoughtNearWhereAnotherFilmShowsIt) {
  Outline o = outline_of(6.0, 62.0, 2.0);
  Outline none = outline_of(0.0, 62.0, 2.0);
  for (int i = 0; i * kMm < 60.0; ++i) {
    const double away = (i * kMm - 32.0) / 7.0;
    const double crest = 10.0 * std::exp(-away * away);
    o.from_shaft[static_cast<std::size_t>(i)] += crest;
    none.from_shaft[static_cast<std::size_t>(i)] += crest;
  }
  const auto alone = trochanter_bulge(o.path, o.from_shaft, kMm);
  ASSERT_TRUE(alone.has_value());
  EXPECT_NEAR(alone->top * kMm, 32.0, 2.0);
  const int shown = static_cast<int>(57.0 / kMm);  // 5 mm too high
  const auto told = trochanter_bulge(o.path, o.from_shaft, kMm, shown);
  ASSERT_TRUE(told.has_value());
  EXPECT_NEAR(told->top * kMm, 62.0, 2.0);
  EXPECT_FALSE(trochanter_bulge(none.path, none.from_shaft, kMm, shown).has_value());
  EXPECT_FALSE(trochanter_bulge(o.path, o.from_shaft, kMm, -1000).has_value());
  EXPECT_FALSE(trochanter_bulge(o.path, o.from_shaft, kMm, 100000).has_value());
}

// Nor is a trochanter that comes out from behind the metal such a corner, where nothing else stands
// out below it.
TEST(TrochanterBulge, MayBeginBehindTheMetal) {
  const Outline o = outline_of(9.0, 8.0, 6.0);
  const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
  ASSERT_TRUE(bulge.has_value());
  EXPECT_NEAR(bulge->top * kMm, 5.0, 2.0);  // its flat top begins at 5 mm, and the calcar falls
}

// A wire round the shaft stands out by its thickness and its edges are edges; the path has no
// evidence on the metal itself.
TEST(TrochanterBulge, AWireIsNoTrochanter) {
  for (const double height : {0.0, 9.0}) {
    Outline o = outline_of(height, 30.0, 4.0);
    for (int i = static_cast<int>(50.0 / kMm); i < static_cast<int>(56.0 / kMm); ++i) {
      o.from_shaft[static_cast<std::size_t>(i)] += 2.5;
      if (i % 15 > 2) o.path.evidence[static_cast<std::size_t>(i)] = -0.3;
    }
    const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
    if (height == 0.0) {
      EXPECT_FALSE(bulge.has_value());
    } else if (bulge) {  // behind a wire the bone may be given up, not mistaken
      EXPECT_NEAR(bulge->top * kMm, 30.0, 1.5);
    }
  }
}

// A wire just below the trochanter does not end the bone: what is above it is still looked at.
TEST(TrochanterBulge, IsSeenAboveAWire) {
  Outline o = outline_of(7.0, 30.0, 4.0);
  for (int i = static_cast<int>(46.0 / kMm); i < static_cast<int>(52.5 / kMm); ++i) {
    o.path.evidence[static_cast<std::size_t>(i)] = -0.3;
  }
  const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
  ASSERT_TRUE(bulge.has_value());
  EXPECT_NEAR(bulge->top * kMm, 30.0, 1.0);
}

// A loop that is not as bright as metal: the path goes round it along its outer edge.
TEST(TrochanterBulge, ALoopWithEdgesIsNoTrochanter) {
  for (const double height : {0.0, 5.0}) {
    Outline o = outline_of(height, 30.0, 4.0);
    for (const double at : {42.0, 60.0}) {
      for (int i = static_cast<int>(at / kMm); i < static_cast<int>((at + 4.5) / kMm); ++i) {
        const double top = 0.4 * std::sin((i * kMm - at) / 4.5 * 3.14);  // round, as wires are
        o.from_shaft[static_cast<std::size_t>(i)] += 2.6 + top;
      }
    }
    const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
    ASSERT_EQ(bulge.has_value(), height > 0.0);
    if (bulge) {
      EXPECT_NEAR(bulge->top * kMm, 30.0, 1.0);
    }
  }
}

// Where the path steps 4 mm onto the ischium's edge and back there is no trochanter.
TEST(TrochanterBulge, AnotherBonesEdgeIsNoTrochanter) {
  Outline o = outline_of(0.0, 40.0, 2.0);
  for (int i = static_cast<int>(12.0 / kMm); i < static_cast<int>(26.0 / kMm); ++i) {
    o.from_shaft[static_cast<std::size_t>(i)] += 4.0 + 0.5 * std::sin(0.2 * i);
  }
  EXPECT_FALSE(trochanter_bulge(o.path, o.from_shaft, kMm).has_value());
}

// In full profile a trochanter stands out between steep flanks, as a pocket onto another bone does;
// but it is round.
TEST(TrochanterBulge, ARoundOneBetweenSteepFlanksIsNoPocket) {
  Outline o = outline_of(0.0, 40.0, 0.0);
  for (std::size_t i = 0; i < o.from_shaft.size(); ++i) {
    const double away = (static_cast<double>(i) * kMm - 40.0) / 7.0;
    if (std::abs(away) < 1.0) o.from_shaft[i] += 3.0 + 4.0 * (1.0 - away * away);
  }
  const auto bulge = trochanter_bulge(o.path, o.from_shaft, kMm);
  ASSERT_TRUE(bulge.has_value());
  EXPECT_NEAR(bulge->top * kMm, 40.0, 1.5);
}

// Without a bulge the calcar's course tells where it must be: within 3.5 mm of the shaft's 14 mm at
// 12 ln(8 / 3.5) = 9.9 mm, 10 mm below the level (derived from the outline drawn).
TEST(LevelOfHiddenTrochanter, LiesAboveTheFootOfTheCalcar) {
  const Outline o = outline_of(0.0, 40.0, 0.0);
  ASSERT_FALSE(trochanter_bulge(o.path, o.from_shaft, kMm).has_value());
  const auto level = level_of_hidden_trochanter(o.path, o.from_shaft, kMm);
  ASSERT_TRUE(level.has_value());
  EXPECT_NEAR(level->top * kMm, 12.0 * std::log(8.0 / 3.5) - 10.0, 0.8);
  EXPECT_GE(level->top_u, 5.0);
}

TEST(LevelOfHiddenTrochanter, NeedsAnEdge) {
  Outline o = outline_of(0.0, 40.0, 0.0);
  for (double& e : o.path.evidence) e = 0.2;
  EXPECT_FALSE(level_of_hidden_trochanter(o.path, o.from_shaft, kMm).has_value());
}

}  // namespace
}  // namespace tidemark::anatomy
