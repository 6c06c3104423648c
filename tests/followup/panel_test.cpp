#include "../../modules/followup/src/panel.h"

#include <gtest/gtest.h>

#include "followup/invented.h"

namespace tidemark::followup {
namespace {

// A box of 200 x 100 shows 100 x 100 px: the height limits it to 1 canvas px per px, centred.
TEST(Panel, ShowsTheRegionAsLargeAsTheBoxAllows) {
  const Panel panel = panel_of({10.0, 20.0, 200.0, 100.0}, {0.0, 0.0, 100.0, 100.0}, Side::kRight);
  EXPECT_DOUBLE_EQ(panel.canvas_per_px, 1.0);
  EXPECT_TRUE(panel.canvas_from_view.apply(Vec2(0.0, 0.0)).isApprox(Vec2(60.0, 20.0)));
  EXPECT_TRUE(panel.canvas_from_view.apply(Vec2(100.0, 100.0)).isApprox(Vec2(160.0, 120.0)));
}

// A left hip is measured as its mirror image and shown as films hang: lateral on the right.
TEST(Panel, LeftHipIsShownTheWayFilmsHang) {
  const Panel panel = panel_of({0.0, 0.0, 100.0, 100.0}, {0.0, 0.0, 100.0, 100.0}, Side::kLeft);
  EXPECT_TRUE(panel.canvas_from_view.apply(Vec2(0.0, 50.0)).isApprox(Vec2(100.0, 50.0)));
  EXPECT_TRUE(panel.canvas_from_view.apply(Vec2(100.0, 50.0)).isApprox(Vec2(1e-300, 50.0)));
}

TEST(Panel, ToneRisesFromDarkThroughBoneToMetal) {
  const Tone tone{1.0, 3.0, 7.0};
  EXPECT_EQ(tone(0.0), 0.0);
  EXPECT_EQ(tone(1.0), 0.0);
  EXPECT_LT(tone(2.0), tone(3.0));
  EXPECT_LT(tone(3.0), tone(5.0));
  EXPECT_DOUBLE_EQ(tone(7.0), 1.0);
  EXPECT_DOUBLE_EQ(tone(99.0), 1.0);
}

// Grey where both films are alike, blue where only the first is bright, orange where only the
// second is, dim where one of them has no film.
TEST(Panel, TwoFilmsBecomeTwoColours) {
  Raster first(4, 1);
  Raster second(4, 1);
  first.values = {0.4F, 1.0F, 0.0F, 1.0F};
  second.values = {0.4F, 0.0F, 1.0F, kNoFilm};
  const auto rgb = in_two_colours(first, second);
  EXPECT_EQ(rgb.values[0], 0x666666U);
  EXPECT_EQ(rgb.values[1], 0x0080FFU);
  EXPECT_EQ(rgb.values[2], 0xFF8000U);
  EXPECT_EQ(rgb.values[3], 0x595959U);  // 0.35 of white
}

TEST(Panel, OutsideOfTheFilmIsMarkedAsSuch) {
  const auto film = invented::image("a.dcm");
  const Panel panel = panel_of({0.0, 0.0, 20.0, 20.0}, {-10.0, -10.0, 20.0, 20.0}, Side::kRight);
  const Raster raster = shown(film, Tone{0.0, 500.0, 2000.0}, panel, {});
  EXPECT_EQ(raster.at(2, 2), kNoFilm);
  EXPECT_GT(raster.at(18, 18), 0.0F);
}

TEST(Canvas, OddTextsDoNotSpoilThePicture) {
  Canvas canvas(40, 20, kDark);
  canvas.text({2.0, 15.0}, "\xff\x1b\xc3", {});
  const auto png = canvas.png();
  ASSERT_TRUE(png.has_value());
  EXPECT_GT(png->size(), 50U);
}

TEST(OutlinePieces, AreTwoWhereTheFieldCutsTheStem) {
  anatomy::Implant implant;
  implant.outline_px = {{0.0, 0.0}, {0.0, 2.0}, {0.0, 4.0}, {9.0, 4.0}, {9.0, 2.0}};
  EXPECT_EQ(outline_pieces(implant).size(), 1U) << "round the tip";
  implant.end = anatomy::StemEnd::kFieldBorder;
  const auto pieces = outline_pieces(implant);
  ASSERT_EQ(pieces.size(), 2U);
  EXPECT_EQ(pieces[0].size(), 3U);
  EXPECT_EQ(pieces[1].size(), 2U);
}

}  // namespace
}  // namespace tidemark::followup
