#include "../../modules/followup/src/scale_by_stem.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "followup/invented.h"

namespace tidemark::followup {
namespace {

/// What the head of the later one of two films is found as.
struct LaterHead {
  double larger = 1.0;    ///< than on the earlier film, where the stem is as long on both
  double u_px = 0.3;      ///< of its diameter
  std::string flag = {};  ///< none where empty
};

Result measured_with(const LaterHead& head) {
  Steps steps = invented::steps();
  steps.find_implant = [=](const film::FilmImage& view, const auto&) -> Expected<anatomy::Implant> {
    anatomy::Implant out = invented::implant();
    out.head.diameter_u_px = 0.3;
    if (!view.facts.file.starts_with("late")) return out;
    out.head.circle_px.radius *= head.larger;
    out.head.diameter_u_px = head.u_px;
    if (!head.flag.empty()) out.flags.push_back({head.flag, "A doubt."});
    return out;
  };
  return measure_with(invented::series({"early.dcm", "late.dcm"}), {}, steps);
}

double scale_of(const FilmResult& film) { return film.calibration->mm_per_px.value.value; }

double relative_u(const FilmResult& film) {
  return film.calibration->mm_per_px.u.value / scale_of(film);
}

TEST(ScaleByStem, TakesThePlaceOfADoubtfulHeadThatContradictsIt) {
  for (const char* flag : {"head_in_doubt", "head_off_neck"}) {
    const Result result = measured_with({.larger = 1.2, .flag = flag});
    const FilmResult& late = result.films[1];
    ASSERT_TRUE(late.calibration.has_value()) << late.reason;
    EXPECT_EQ(late.calibration->method, "stem_length");
    EXPECT_THAT(late.calibration->note, testing::HasSubstr("as long as on early.dcm"));
    EXPECT_NEAR(scale_of(late) / scale_of(result.films[0]), 1.0, 1e-9);
    EXPECT_GT(relative_u(late), 0.015);
    EXPECT_LT(relative_u(late), 0.03);
    ASSERT_FALSE(late.other_scales.empty());
    EXPECT_EQ(late.other_scales[0].method, "head_diameter");
    EXPECT_NEAR(late.other_scales[0].mm_per_px.value.value * 1.2, scale_of(late), 1e-9);
  }
}

// Two different heads on one stem, both seen: what differs is told by the comparison, not mended.
TEST(ScaleByStem, LeavesAHeadThatIsSeenWell) {
  const Result result = measured_with({.larger = 1.2});
  EXPECT_EQ(result.films[1].calibration->method, "head_diameter");
  EXPECT_NEAR(scale_of(result.films[1]) * 1.2, scale_of(result.films[0]), 1e-9);
}

TEST(ScaleByStem, JoinsAHeadThatIsHardlyKnown) {
  const Result result = measured_with({.larger = 1.05, .u_px = 4.0});  // 6 %
  const FilmResult& late = result.films[1];
  EXPECT_EQ(late.calibration->method, "stem_length");
  const double ratio = scale_of(late) / scale_of(result.films[0]);
  EXPECT_LT(ratio, 1.0);
  EXPECT_GT(ratio, 0.99);  // the stem knows sixteen times as much
  EXPECT_LT(relative_u(late), 0.03);
}

TEST(ScaleByStem, LeavesADoubtfulHeadThatAgreesAndKnowsMore) {
  const Result result = measured_with({.larger = 1.01, .flag = "head_in_doubt"});
  EXPECT_EQ(result.films[1].calibration->method, "head_diameter");
}

}  // namespace
}  // namespace tidemark::followup
