#include "tidemark/film/calibration.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <ostream>
#include <random>
#include <string>

#include "comma_locale.h"

namespace tidemark::film {
namespace {

using testing::HasSubstr;
using testing::Not;

KnownLength length(double px, double u_px, double mm, double u_mm = 0.0) {
  return {{{px}, {u_px}, {1.96 * u_px}}, {{mm}, {u_mm}, {1.96 * u_mm}}};
}

ScaleFacts detector(double mm) {
  ScaleFacts facts;
  facts.imager_pixel_spacing = Spacing{mm, mm};
  return facts;
}

double relative_u(const ScaleCandidate& c) { return c.mm_per_px.u.value / c.mm_per_px.value.value; }

// The head's centre lies 8.9 mm (43 mm offset, 12 degrees forward) nearer to the tube than the
// stem, over 970 mm: the stem's scale is the head's times this (derived).
const double kStemOverHead = 1.0 + 43.0 * std::sin(12.0 * std::acos(-1.0) / 180.0) / 970.0;

// Literature, derived: true head 32.00 mm, 38.20 mm on the receptor -> M = 1.19375; edge s.d.
// 0.15 mm on each side -> u(M)/M = 0.555 %. With 0.143 mm pixels. The stem lies farther away.
TEST(Calibrate, HeadDiameterGivesMagnificationOf119375) {
  const double px = 38.20 / 0.143;
  const double u_px = 0.15 * std::sqrt(2.0) / 0.143;
  ScaleSources sources;
  sources.head_diameter = length(px, u_px, 32.0);
  sources.dicom = detector(0.143);
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  EXPECT_EQ(scale->best.method, ScaleMethod::kHeadDiameter);
  EXPECT_NEAR(0.143 / scale->best.mm_per_px.value.value, 1.19375 / kStemOverHead, 5e-5);
  // Reading 0.555 %, depth 6.5 mm over 970 mm = 0.670 %, elongation 0.1 %.
  EXPECT_NEAR(relative_u(scale->best), std::sqrt(0.00555 * 0.00555 + 0.00670 * 0.00670 + 1e-6),
              1e-5);
  EXPECT_NEAR(scale->best.mm_per_px.u95.value, 1.96 * scale->best.mm_per_px.u.value, 1e-6);
  EXPECT_TRUE(scale->disagreements.empty());
  EXPECT_TRUE(scale->others.empty());  // the detector's spacing alone is no scale
}

// What is said of a scale goes into result.json: the same bytes on every desktop.
TEST(Calibrate, SaysTheSameWhateverTheLocale) {
  const test::CommaLocale comma;
  if (!comma.in_force()) GTEST_SKIP() << "no locale with a comma can be made here";
  ScaleSources sources;
  sources.head_diameter = length(250.5, 0.1, 32.0);
  sources.marker_diameter = length(400.0, 0.1, 25.4);
  sources.dicom = detector(0.5);
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  EXPECT_EQ(scale->best.note, "head diameter: 32.00 mm over 250.5 px");
  ASSERT_EQ(scale->disagreements.size(), 2U);
  for (const std::string& text : scale->disagreements) EXPECT_THAT(text, Not(HasSubstr(",5")));
  EXPECT_THAT(scale->disagreements[1], HasSubstr("magnification of 3.8"));
}

// Literature, derived: SID 1150, ball 20 mm in front of the hip (OFD 200 instead of 180): lengths
// come out 2.1 % short. That is inside what a marker's uncertainty must allow for.
TEST(Calibrate, MarkerBall20MillimetresInFrontIsWithinItsUncertainty) {
  ScaleSources sources;
  const double pixel = 0.143;
  sources.marker_diameter = length(25.4 * 1.2105 / pixel, 0.0, 25.4);
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  const double truth = pixel / 1.1856;
  EXPECT_NEAR(scale->best.mm_per_px.value.value / truth, 1.0 - 0.0206, 2e-4);
  EXPECT_LT(truth - scale->best.mm_per_px.value.value, scale->best.mm_per_px.u95.value);
  // Mean absolute error 2.55 % (57 hips) of a normal error: standard deviation 3.196 %.
  EXPECT_NEAR(relative_u(scale->best), 0.03196, 1e-5);
}

// The law dM/M = dOFD/SOD, both ways round: on a PA film the tube is behind the patient.
TEST(Calibrate, TheHeadIsNearerToTheTubeThanTheStemOnAnApFilmOnly) {
  ScaleSources sources;
  sources.head_diameter = length(320.0, 0.0, 32.0);
  const auto ap = calibrate(sources);
  sources.view = View::kPa;
  const auto pa = calibrate(sources);
  ASSERT_TRUE(ap.has_value() && pa.has_value());
  EXPECT_NEAR(ap->best.mm_per_px.value.value, 0.1 * kStemOverHead, 1e-5);
  EXPECT_NEAR(pa->best.mm_per_px.value.value, 0.1 * (2.0 - kStemOverHead), 1e-5);
}

// What is left of the depth: 8 degrees of anteversion at an offset of 43 mm, 7 mm of offset, 4
// degrees of flexion at 35 mm (derived): 6.5 mm over 970 mm.
TEST(Calibrate, DepthOfTheHeadCountsAsUncertainty) {
  constexpr double kDegree = 0.017453292519943295;
  ScaleSources sources;
  sources.head_diameter = length(320.0, 0.0, 32.0);
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  const double depth = std::hypot(43.0 * std::cos(12.0 * kDegree) * 8.0 * kDegree,
                                  7.0 * std::sin(12.0 * kDegree), 35.0 * 4.0 * kDegree);
  EXPECT_NEAR(std::sqrt(std::pow(relative_u(scale->best), 2) - 1e-6), depth / 970.0, 6e-5);
}

/// What is magnified by 1.2 at the hip, 970 mm from the source, is so by less at the table, 75 mm
/// behind it, where a factor of DICOM ends.
constexpr double kTableToHip = 970.0 / 1045.0;

TEST(Calibrate, OrderIsHeadMarkerStemDicomAndAllAreKept) {
  ScaleSources sources;
  sources.dicom = detector(0.143);
  sources.dicom.magnification_factor = 1.2 * kTableToHip;
  const double scale_mm = 0.143 / 1.2;
  const double px = 1.0 / scale_mm;
  // Drawn short by the mean of 1 - cos f, f of standard deviation hypot(8, 5, 1.67) degrees.
  sources.stem_length = length(140.0 * px * (1.0 - 0.01398), 1.0, 140.0);
  sources.marker_diameter = length(25.4 * px, 0.5, 25.4);
  sources.head_diameter = length(32.0 * px, 0.5, 32.0, 0.05);
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  EXPECT_EQ(scale->best.method, ScaleMethod::kHeadDiameter);
  ASSERT_EQ(scale->others.size(), 3U);
  EXPECT_EQ(scale->others[0].method, ScaleMethod::kMarkerDiameter);
  EXPECT_EQ(scale->others[1].method, ScaleMethod::kStemLength);
  EXPECT_EQ(scale->others[2].method, ScaleMethod::kDicom);
  for (const auto& other : scale->others) {
    const bool stem = other.method == ScaleMethod::kStemLength;
    EXPECT_NEAR(other.mm_per_px.value.value, scale_mm, stem ? 1e-6 : 1e-12);
    EXPECT_GT(other.mm_per_px.u.value, 0.0);
  }
  EXPECT_TRUE(scale->disagreements.empty());
}

TEST(Calibrate, AHeadOfTheWrongSizeIsFlaggedTwice) {
  ScaleSources sources;
  sources.dicom = detector(0.143);
  sources.dicom.magnification_factor = 1.2 * kTableToHip;
  const double px_per_mm = 1.2 / 0.143;
  sources.head_diameter = length(32.0 * px_per_mm, 0.5, 36.0);  // 36 given for a head of 32
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  ASSERT_EQ(scale->disagreements.size(), 2U);
  EXPECT_THAT(scale->disagreements[0],
              HasSubstr("11.9 % smaller than that from the head diameter"));
  EXPECT_THAT(scale->disagreements[1], HasSubstr("implies a magnification of 1.06"));
}

// A calibrated spacing is a magnification that the header states: 0.143 / 0.100 = 1.43 is that of a
// ball far before the hip, 0.143 / 0.1375 = 1.04 that of the table's top.
TEST(Calibrate, ACalibratedSpacingThatIsNoneOfAHipIsFlagged) {
  const auto doubts_of = [](double spacing, const char* type) {
    ScaleSources sources;
    sources.dicom = detector(0.143);
    sources.dicom.pixel_spacing = Spacing{spacing, spacing};
    sources.dicom.calibration_type = type;
    const auto scale = calibrate(sources);
    EXPECT_TRUE(scale.has_value());
    return scale ? scale->disagreements : std::vector<std::string>();
  };
  const auto before = doubts_of(0.100, "FIDUCIAL");
  ASSERT_EQ(before.size(), 1U);
  EXPECT_THAT(before[0], HasSubstr("(FIDUCIAL)) implies a magnification of 1.43, which films"));
  const auto table = doubts_of(0.1375, "GEOMETRY");
  ASSERT_EQ(table.size(), 1U);
  EXPECT_THAT(table[0], HasSubstr("(GEOMETRY)) implies a magnification of 1.04, which films"));
  EXPECT_TRUE(doubts_of(0.119, "FIDUCIAL").empty());
}

/// Scale by the length of a stem of 140 mm, 0.1 mm a px, that leans out of the film by an angle.
ScaleCandidate by_leaning_stem(double lean_deg) {
  ScaleSources sources;
  sources.stem_length = length(1400.0 * std::cos(lean_deg * std::acos(-1.0) / 180.0), 0.0, 140.0);
  return calibrate(sources).value().best;
}

// Legs laid with a standard deviation of 8 degrees, and 5 degrees of bow and seat: 95 of 100 stems
// lean by less than 1.96 x 9.4 = 18.5 degrees, of which 1 - cos is 5.2 % (arithmetic).
TEST(Calibrate, TheStemsLengthAllowsForAStemThatLeansOutOfTheFilm) {
  for (const double lean : {0.0, 5.0, 10.0, 16.0, 18.5}) {
    const ScaleCandidate scale = by_leaning_stem(lean);
    EXPECT_NEAR(scale.mm_per_px.value.value, 0.1, scale.mm_per_px.u95.value) << lean;
  }
  EXPECT_GE(relative_u(by_leaning_stem(0.0)), 0.019);
}

// The closed forms of the header against 100,000 stems drawn from the same poses by their cosine.
TEST(Calibrate, ForeshorteningIsThatOfDrawnPoses) {
  std::mt19937 random(7);
  std::normal_distribution<double> flexion(0.0, 8.0);
  std::normal_distribution<double> seat(0.0, 5.0);
  std::normal_distribution<double> beam(0.0, std::sqrt(2.0) * 20.0 / 970.0 * 57.29578);
  constexpr int kDraws = 100'000;
  double sum = 0.0;
  double squares = 0.0;
  for (int i = 0; i < kDraws; ++i) {
    const double lean = flexion(random) + seat(random) + beam(random);
    const double shorter = 1.0 - std::cos(lean / 57.29578);
    sum += shorter / kDraws;
    squares += shorter * shorter / kDraws;
  }
  EXPECT_NEAR(stem_foreshortening().mean, sum, 0.0003);  // third order: 1.5 % of it
  EXPECT_NEAR(stem_foreshortening().u, std::sqrt(squares - sum * sum), 0.001);
}

TEST(Calibrate, EachOfSeveralDisagreementsIsNamed) {
  ScaleSources sources;
  sources.head_diameter = length(300.0, 0.3, 32.0);
  sources.stem_length = length(1000.0, 1.0, 140.0);
  sources.marker_diameter = length(246.0, 0.5, 25.4);
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  // 0.1076, 0.1033, 0.1380 mm: head and marker agree within the marker's 6 %, the stem with
  // neither.
  EXPECT_EQ(scale->disagreements.size(), 2U);
}

TEST(Calibrate, NonSquarePixelsAreCountedInViewPixels) {
  ScaleSources sources;
  sources.dicom.imager_pixel_spacing = Spacing{0.15, 0.30};
  sources.dicom.magnification_factor = 1.2 * kTableToHip;
  sources.view_px_per_stored_px = 2.0;  // a stored pixel 0.30 mm wide became two of 0.15
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  EXPECT_NEAR(scale->best.mm_per_px.value.value, 0.15 / 1.2, 1e-12);
}

struct DicomRow {
  std::string name;
  std::string source;
  ScaleFacts facts;
  double mm_per_px;  // 0: no scale
  double relative_u;

  friend void PrintTo(const DicomRow& row, std::ostream* os) { *os << row.source; }
};

class FromDicom : public testing::TestWithParam<DicomRow> {};

TEST_P(FromDicom, FollowsTheDecisionTable) {
  const auto scale = scale_from_dicom(GetParam().facts);
  if (GetParam().mm_per_px == 0.0) {
    EXPECT_FALSE(scale.has_value()) << scale->note;
    return;
  }
  ASSERT_TRUE(scale.has_value());
  EXPECT_NEAR(scale->mm_per_px.value.value, GetParam().mm_per_px, 5e-7);
  EXPECT_NEAR(relative_u(*scale), GetParam().relative_u, 5e-5);
  EXPECT_FALSE(scale->note.empty());
}

ScaleFacts facts_of(double pixel, double imager, const char* type = nullptr) {
  ScaleFacts facts;
  if (pixel > 0.0) facts.pixel_spacing = Spacing{pixel, pixel};
  if (imager > 0.0) facts.imager_pixel_spacing = Spacing{imager, imager};
  if (type != nullptr) facts.calibration_type = type;
  return facts;
}

ScaleFacts with_factor(double factor) {
  ScaleFacts facts = facts_of(0.143, 0.143);
  facts.magnification_factor = factor;
  return facts;
}

ScaleFacts with_distances(double sid, double sod) {
  ScaleFacts facts = detector(0.143);
  facts.source_to_detector_mm = sid;
  facts.source_to_patient_mm = sod;
  return facts;
}

ScaleFacts scanned(double pixel, double nominal) {
  ScaleFacts facts = facts_of(pixel, 0.0);
  facts.nominal_scanned_spacing = Spacing{nominal, nominal};
  return facts;
}

// u: FIDUCIAL 3.196 % (mean absolute error 2.55 %); GEOMETRY 70/sqrt(3)/970 = 4.166 %; factor and
// SOD/SID 90/sqrt(3)/970 = 5.357 %. Those two end at the table (PS3.3 C.8.7.5), 75 mm behind the
// hip (house choice).
INSTANTIATE_TEST_SUITE_P(
    Rows, FromDicom,
    testing::Values(
        DicomRow{"Fiducial", "PS3.3 10.7.1.3", facts_of(0.119, 0.143, "FIDUCIAL"), 0.119, 0.03196},
        DicomRow{"Geometry", "PS3.3 10.7.1.3", facts_of(0.119, 0.143, "GEOMETRY"), 0.119, 0.04166},
        DicomRow{"DifferentNoType", "PS3.3 10.7.1.3: different = corrected", facts_of(0.119, 0.143),
                 0.119, 0.04166},
        DicomRow{"FiducialAlone", "the type says so", facts_of(0.119, 0.0, "FIDUCIAL"), 0.119,
                 0.03196},
        DicomRow{"FiducialOfMillimetres", "no film of a hip is 3 m long",
                 facts_of(1.19, 0.0, "FIDUCIAL"), 0.0, 0.0},
        DicomRow{"EqualIsTheDetector", "PS3.3 10.7.1.3", facts_of(0.143, 0.143), 0.0, 0.0},
        DicomRow{"EqualWithType", "no hip has magnification 1", facts_of(0.143, 0.143, "GEOMETRY"),
                 0.0, 0.0},
        DicomRow{"PixelSpacingAlone", "cannot be determined (PS3.3 10.7.1.3)", facts_of(0.143, 0.0),
                 0.0, 0.0},
        DicomRow{"ImagerAlone", "at the detector", detector(0.143), 0.0, 0.0},
        DicomRow{"LargerThanDetector", "no object is behind the detector",
                 facts_of(0.2, 0.143, "GEOMETRY"), 0.0, 0.0},
        DicomRow{"Nothing", "", {}, 0.0, 0.0},
        // 0.143 / 1.2 * 970 / 1045.
        DicomRow{"Factor", "PS3.3 C.8.7.5", with_factor(1.2), 0.1106140, 0.05357},
        DicomRow{"FactorOne", "not a magnification", with_factor(1.0), 0.0, 0.0},
        DicomRow{"FactorNonsense", "not a magnification", with_factor(120.0), 0.0, 0.0},
        // The table 105 mm above the detector, the hip 180 mm: M = 1.18557 (literature: 1.1856).
        DicomRow{"Distances", "PS3.3 C.8.7.5", with_distances(1150.0, 1045.0), 0.1206174, 0.05357},
        DicomRow{"DistancesSwapped", "source farther than detector", with_distances(970.0, 1150.0),
                 0.0, 0.0},
        // 115 and 97 cm, 100 and 70 cm, 1.15 and 0.97 m: the ratio is right, the unit is not.
        DicomRow{"DistancesInCm", "PS3.3 C.8.7.5: mm", with_distances(115.0, 97.0), 0.0, 0.0},
        DicomRow{"DistancesInCmLessThanTheTable", "PS3.3 C.8.7.5: mm", with_distances(100.0, 70.0),
                 0.0, 0.0},
        DicomRow{"DistancesInM", "PS3.3 C.8.7.5: mm", with_distances(1.15, 0.97), 0.0, 0.0},
        DicomRow{"DistancesInTenthsOfMm", "PS3.3 C.8.7.5: mm", with_distances(11500.0, 9700.0), 0.0,
                 0.0},
        DicomRow{"DistanceTooShort", "no hip lies 400 mm from the tube",
                 with_distances(700.0, 475.0), 0.0, 0.0},
        DicomRow{"ScannedSheet", "the sheet's own spacing", scanned(0.17, 0.17), 0.0, 0.0},
        DicomRow{"ScannedAndCorrected", "differs from the sheet's", scanned(0.142, 0.17), 0.142,
                 0.04166}),
    [](const auto& row) { return row.param.name; });

TEST(FromDicomAll, EveryWayIsComputed) {
  ScaleFacts facts = facts_of(0.119, 0.143, "FIDUCIAL");
  facts.magnification_factor = 1.19;
  facts.source_to_detector_mm = 1150.0;
  facts.source_to_patient_mm = 970.0;
  const auto all = scales_from_dicom(facts);
  ASSERT_EQ(all.size(), 3U);
  EXPECT_THAT(all[0].note, HasSubstr("FIDUCIAL"));
  EXPECT_THAT(all[1].note, HasSubstr("EstimatedRadiographicMagnificationFactor"));
  EXPECT_THAT(all[2].note, HasSubstr("DistanceSourceToPatient"));
}

struct NoScaleRow {
  std::string name;
  ScaleFacts facts;
  std::string says;

  friend void PrintTo(const NoScaleRow& row, std::ostream* os) { *os << row.name; }
};

class NoScale : public testing::TestWithParam<NoScaleRow> {};

TEST_P(NoScale, IsNotMeasuredAndSaysWhatTheHeaderHolds) {
  ScaleSources sources;
  sources.dicom = GetParam().facts;
  const auto scale = calibrate(sources);
  ASSERT_FALSE(scale.has_value());
  EXPECT_EQ(scale.error().kind, ErrorKind::kCannotTell);
  EXPECT_THAT(scale.error().wrong, HasSubstr(GetParam().says));
  EXPECT_THAT(scale.error().remedy, HasSubstr("diameter of the head"));
}

TEST_P(NoScale, OrInPixelsWhenAccepted) {
  ScaleSources sources;
  sources.dicom = GetParam().facts;
  sources.accept_pixels = true;
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  EXPECT_EQ(scale->best.method, ScaleMethod::kPixels);
  EXPECT_EQ(scale->best.mm_per_px.value.value, 1.0);
  EXPECT_THAT(scale->best.note, HasSubstr("pixels"));
}

INSTANTIATE_TEST_SUITE_P(Rows, NoScale,
                         testing::Values(NoScaleRow{"Nothing", {}, "no spacing in the header"},
                                         NoScaleRow{"Detector", detector(0.143), "at the detector"},
                                         NoScaleRow{"Sheet", scanned(0.17, 0.17), "scanned sheet"},
                                         NoScaleRow{"Unknown", facts_of(0.143, 0.0),
                                                    "does not say whether"},
                                         NoScaleRow{"TooLarge", facts_of(1.19, 0.0, "FIDUCIAL"),
                                                    "none that a film of the hip has"}),
                         [](const auto& row) { return row.param.name; });

TEST(Calibrate, PixelsAreNeverPreferredToAScale) {
  ScaleSources sources;
  sources.accept_pixels = true;
  sources.head_diameter = length(266.0, 0.5, 32.0);
  const auto scale = calibrate(sources);
  ASSERT_TRUE(scale.has_value());
  EXPECT_EQ(scale->best.method, ScaleMethod::kHeadDiameter);
}

TEST(Calibrate, ASizeThatIsNoSizeIsRefused) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const KnownLength& bad : {length(0.0, 0.0, 32.0), length(266.0, 0.5, -32.0),
                                 length(nan, 0.0, 32.0), length(266.0, nan, 32.0)}) {
    ScaleSources sources;
    sources.head_diameter = bad;
    const auto scale = calibrate(sources);
    ASSERT_FALSE(scale.has_value());
    EXPECT_EQ(scale.error().kind, ErrorKind::kBadInput);
    EXPECT_THAT(scale.error().sentence(),
                HasSubstr("head diameter: its size is no positive number"));
  }
}

}  // namespace
}  // namespace tidemark::film
