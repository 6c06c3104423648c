#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <functional>
#include <ostream>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "film/dicom_bytes.h"
#include "tidemark/film/field.h"

namespace tidemark::film {
namespace {

// Films with something to see wherever `open` says so, flat grey elsewhere: no border steps enough
// to be seen by the pixels alone, so what is cut is cut by the header.

using test::DicomBytes;
using test::film_of;
using test::TempFile;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr int kWidth = 960;
constexpr int kHeight = 800;
constexpr int kInwardsPx = 5;  // 1.5 blocks of 960 / 320 px, rounded up
constexpr std::uint16_t kFlat = 1101;

using Where = std::function<bool(double x, double y)>;

/// Never kFlat: even numbers only.
std::uint16_t shade(int x, int y) {
  const double soft =
      900.0 + 500.0 * std::sin((x + 1.7 * y) / 40.0) + 300.0 * std::cos((y - 1.3 * x) / 37.0);
  const double fine = 250.0 * std::sin(x / 4.0) * std::sin(y / 5.0);
  const double bar = std::abs(x - 480) < 30 ? 1800.0 : 0.0;
  return static_cast<std::uint16_t>(2 * std::lround(0.5 * (soft + fine + bar + 200.0)));
}

RasterOf<std::uint16_t> picture(const Where& open) {
  RasterOf<std::uint16_t> out(kWidth, kHeight, kFlat);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      if (open(x, y)) out.at(x, y) = shade(x, y);
    }
  }
  return out;
}

bool everywhere(double, double) { return true; }

struct Cut {
  FilmImage film;
  std::vector<std::string> notes;
};

Cut cut_of(const DicomBytes& file) {
  const TempFile on_disk(file.file());
  auto read = read_in_field(on_disk.path()).value();
  auto notes = read.film.facts.notes;
  return {within_exposed_field(std::move(read.film), read.field), notes};
}

/// The film's first stored column and row, and the last ones.
std::array<int, 4> sides_of(const FilmImage& film) {
  const Vec2 first = film.stored_from_view.apply(Vec2::Zero());
  const Vec2 last =
      film.stored_from_view.apply(Vec2(film.pixels.width - 1.0, film.pixels.height - 1.0));
  return {static_cast<int>(std::lround(first.x())), static_cast<int>(std::lround(first.y())),
          static_cast<int>(std::lround(last.x())), static_cast<int>(std::lround(last.y()))};
}

/// Sets one module's tags: 0 for the display shutter, 0x100 for the collimator.
DicomBytes& rectangle(DicomBytes& film, unsigned module, const std::array<std::string, 4>& given,
                      const std::string& shape = "RECTANGULAR") {
  film.set(0x00181600 + module, "CS", shape);
  for (unsigned i = 0; i < 4; ++i) {
    if (!given.at(i).empty()) film.set(0x00181602 + module + 2 * i, "IS", given.at(i));
  }
  return film;
}

DicomBytes& circle(DicomBytes& film, unsigned module, const std::string& centre,
                   const std::string& radius, const std::string& shape = "CIRCULAR") {
  return film.set(0x00181600 + module, "CS", shape)
      .set(0x00181610 + module, "IS", centre)
      .set(0x00181612 + module, "IS", radius);
}

DicomBytes& polygon(DicomBytes& film, unsigned module, const std::string& vertices) {
  return film.set(0x00181600 + module, "CS", "POLYGONAL").set(0x00181620 + module, "IS", vertices);
}

class StatedField : public testing::TestWithParam<unsigned> {};

INSTANTIATE_TEST_SUITE_P(Both, StatedField, testing::Values(0x000U, 0x100U),
                         [](const auto& p) { return p.param == 0 ? "Shutter" : "Collimator"; });

// Column 101 of the standard is column 100 of the matrix; the edge's own pixels are within.
TEST_P(StatedField, ARectangleCountsFromOne) {
  const auto pixels =
      picture([](double x, double y) { return x >= 100 && x <= 849 && y >= 60 && y <= 699; });
  DicomBytes film = film_of(pixels);
  const Cut cut = cut_of(rectangle(film, GetParam(), {"101", "850", "61", "700"}));
  EXPECT_THAT(sides_of(cut.film),
              ElementsAre(100 + kInwardsPx, 60 + kInwardsPx, 849 - kInwardsPx, 699 - kInwardsPx));
  EXPECT_THAT(cut.notes, ElementsAre(HasSubstr("left out")));
  EXPECT_THAT(cut.notes[0], HasSubstr(GetParam() == 0 ? "display shutter" : "collimator"));
  EXPECT_EQ(cut.film.pixels.at(0, 0), static_cast<float>(shade(100 + kInwardsPx, 60 + kInwardsPx)));
}

TEST_P(StatedField, SwappedEdgesArePutInOrder) {
  const auto pixels =
      picture([](double x, double y) { return x >= 100 && x <= 849 && y >= 60 && y <= 699; });
  DicomBytes film = film_of(pixels);
  const Cut cut = cut_of(rectangle(film, GetParam(), {"850", "101", "700", "61"}));
  EXPECT_THAT(sides_of(cut.film),
              ElementsAre(100 + kInwardsPx, 60 + kInwardsPx, 849 - kInwardsPx, 699 - kInwardsPx));
}

/// Every pixel well inside is as it was; nothing of the flat grey is left anywhere.
void expect_cut_to(const Cut& cut, const Where& well_inside) {
  int seen = 0;
  for (int y = 0; y < cut.film.pixels.height; ++y) {
    for (int x = 0; x < cut.film.pixels.width; ++x) {
      const Vec2 at = cut.film.stored_from_view.apply(Vec2(x, y));
      const float grey = cut.film.pixels.at(x, y);
      ASSERT_NE(grey, static_cast<float>(kFlat)) << at.transpose();
      if (!well_inside(at.x(), at.y())) continue;
      const auto truth =
          shade(static_cast<int>(std::lround(at.x())), static_cast<int>(std::lround(at.y())));
      ASSERT_EQ(grey, static_cast<float>(truth)) << at.transpose();
      ++seen;
    }
  }
  EXPECT_GT(seen, kWidth * kHeight / 4);
}

TEST_P(StatedField, ACircle) {
  const auto within = [](double r) {
    return [r](double x, double y) { return std::hypot(x - 470.0, y - 390.0) <= r; };
  };
  DicomBytes film = film_of(picture(within(370.0)));
  const Cut cut = cut_of(circle(film, GetParam(), "391\\471", "370"));  // row, column
  EXPECT_THAT(cut.notes, ElementsAre(HasSubstr("left out")));
  expect_cut_to(cut, within(370.0 - 1.5 * kInwardsPx));  // a square is taken off: 5 sqrt(2) at most
  EXPECT_NEAR(cut.film.pixels.width, 2 * 370, 4 * kInwardsPx);
}

// The radius counts columns; rows are twice as far apart.
TEST_P(StatedField, ACircleOnPixelsThatAreNotSquareIsRoundOnTheFilm) {
  const auto within = [](double r) {
    return [r](double x, double y) { return std::hypot(x - 470.0, 2.0 * (y - 390.0)) <= r; };
  };
  DicomBytes film = film_of(picture(within(430.0)));
  film.set(0x00280030, "DS", "0.4\\0.2");
  const Cut cut = cut_of(circle(film, GetParam(), "391\\471", "430"));
  ASSERT_THAT(cut.notes, testing::Contains(HasSubstr("left out")));
  EXPECT_NEAR(cut.film.pixels.width, cut.film.pixels.height, 8);
  EXPECT_NEAR(cut.film.pixels.width, 2 * 430, 6 * kInwardsPx);
}

TEST_P(StatedField, APolygon) {
  // Right-angled at the upper left: (50, 40), (900, 40), (900, 500), (50, 760), as row\column.
  const auto within = [](double by) {
    return [by](double x, double y) {
      const double lower = 760.0 - (x - 50.0) * 260.0 / 850.0;
      return x >= 50 + by && x <= 900 - by && y >= 40 + by && y <= lower - 1.5 * by;
    };
  };
  DicomBytes film = film_of(picture(within(0.0)));
  const Cut cut = cut_of(polygon(film, GetParam(), "41\\51\\41\\901\\501\\901\\761\\51"));
  EXPECT_THAT(cut.notes, ElementsAre(HasSubstr("left out")));
  expect_cut_to(cut, within(kInwardsPx + 1.0));
}

TEST_P(StatedField, SeveralShapesBoundTheFieldTogether) {
  const auto within = [](double by) {
    return [by](double x, double y) {
      return std::hypot(x - 470.0, y - 390.0) <= 370.0 - 1.5 * by && x >= 200 + by;
    };
  };
  DicomBytes film = film_of(picture(within(0.0)));
  circle(film, GetParam(), "391\\471", "370");
  const Cut cut =
      cut_of(rectangle(film, GetParam(), {"201", "960", "1", "800"}, "CIRCULAR\\RECTANGULAR"));
  EXPECT_EQ(sides_of(cut.film)[0], 200 + kInwardsPx);
  expect_cut_to(cut, within(kInwardsPx));
}

TEST_P(StatedField, IsThatOfTheStoredMatrixOnATurnedFilm) {
  const auto pixels = picture([](double x, double y) { return x >= 100 && y <= 699; });
  DicomBytes film = film_of(pixels);
  film.set(0x00200020, "CS", "F\\R");  // rows run to the feet, columns to the right
  const Cut cut = cut_of(rectangle(film, GetParam(), {"101", "960", "1", "700"}));
  EXPECT_EQ(cut.film.pixels.width, 700 - kInwardsPx);
  EXPECT_EQ(cut.film.pixels.height, kWidth - 100 - kInwardsPx);
  for (int y = 0; y < cut.film.pixels.height; y += 3) {
    for (int x = 0; x < cut.film.pixels.width; x += 3) {
      const Vec2 at = cut.film.stored_from_view.apply(Vec2(x, y));
      ASSERT_EQ(cut.film.pixels.at(x, y),
                static_cast<float>(shade(static_cast<int>(std::lround(at.x())),
                                         static_cast<int>(std::lround(at.y())))));
    }
  }
}

// What is left aside must leave the film byte for byte as it is without the tags.
struct AsideRow {
  std::string name;
  std::function<void(DicomBytes&, unsigned)> state;
  std::string note;  ///< empty: nothing is said

  friend void PrintTo(const AsideRow& row, std::ostream* os) { *os << row.name; }
};

class StatedFieldAside : public testing::TestWithParam<std::tuple<AsideRow, unsigned>> {};

TEST_P(StatedFieldAside, LeavesTheFilmAsItIs) {
  const auto& [row, module] = GetParam();
  const auto pixels = picture(everywhere);
  const Cut plain = cut_of(film_of(pixels));
  DicomBytes film = film_of(pixels);
  row.state(film, module);
  const Cut cut = cut_of(film);
  EXPECT_EQ(cut.film.pixels.width, plain.film.pixels.width);
  EXPECT_EQ(cut.film.pixels.values, plain.film.pixels.values);
  EXPECT_EQ(cut.film.stored_from_view.offset, plain.film.stored_from_view.offset);
  if (row.note.empty()) {
    EXPECT_THAT(cut.notes, IsEmpty());
  } else {
    EXPECT_THAT(cut.notes, ElementsAre(HasSubstr(row.note)));
  }
}

AsideRow edges(const std::string& name, const std::array<std::string, 4>& given,
               const std::string& note) {
  return {name, [given](DicomBytes& f, unsigned m) { rectangle(f, m, given); }, note};
}

AsideRow round(const std::string& name, const std::string& centre, const std::string& radius,
               const std::string& note) {
  return {name, [=](DicomBytes& f, unsigned m) { circle(f, m, centre, radius); }, note};
}

AsideRow corners(const std::string& name, const std::string& vertices, const std::string& note) {
  return {name, [=](DicomBytes& f, unsigned m) { polygon(f, m, vertices); }, note};
}

const char* const kGoesOn = "shows more outside";
const char* const kTooLittle = "less than a quarter";
const char* const kDamaged = "incomplete or unknown";

std::string many_corners() {
  std::string out = "1";
  for (int i = 0; i < 2500; ++i) out += "\\1";
  return out + "\\1\\1\\1";
}

INSTANTIATE_TEST_SUITE_P(
    Rows, StatedFieldAside,
    testing::Combine(
        testing::
            Values(edges("WholeFilm", {"1", "960", "1", "800"}, ""),
                   edges("CountedFromZero", {"0", "959", "0", "799"}, ""),
                   edges("BeyondTheFilm", {"-50", "1500", "-9", "4000"}, ""),
                   edges("CutsAwayABone", {"1", "960", "1", "600"}, kGoesOn),
                   edges("OfAnotherMatrix", {"1", "470", "1", "390"}, kTooLittle),
                   edges("HalfOfTheFilm", {"1", "500", "1", "800"}, kGoesOn),
                   edges("Zeros", {"0", "0", "0", "0"}, kTooLittle),
                   edges("OffTheFilm", {"2000", "3000", "1", "800"}, kTooLittle),
                   edges("EdgeMissing", {"100", "850", "60", ""}, kDamaged),
                   edges("EdgeIsNoNumber", {"100", "eight", "60", "700"}, kDamaged),
                   edges("EdgeIsHuge", {"1", "2147483647", "1", "800"}, kDamaged),
                   round("CircleInTheBone", "400\\480", "390", kGoesOn),
                   round("CircleAboutTheFilm", "400\\480", "700", ""),
                   round("NoRadius", "400\\480", "0", kDamaged),
                   round("NegativeRadius", "400\\480", "-300", kDamaged),
                   round("HalfACentre", "400", "300", kDamaged),
                   corners("TwoCorners", "1\\1\\800\\960", kDamaged),
                   corners("OddNumbers", "1\\1\\1\\960\\800\\960\\800", kDamaged),
                   corners("FarTooManyCorners", many_corners(), kDamaged),
                   corners("NoArea", "1\\1\\400\\480\\800\\960", kTooLittle),
                   AsideRow{
                       "NoShape",
                       [](DicomBytes& f, unsigned m) {
                         rectangle(f, m, {"100", "850", "60", "700"}).drop(0x00181600 + m);
                       },
                       kDamaged},
                   AsideRow{
                       "Bitmap",
                       [](DicomBytes& f, unsigned m) { f.set(0x00181600 + m, "CS", "BITMAP"); },
                       kDamaged}),
        testing::Values(0x000U, 0x100U)),
    [](const auto& p) {
      return std::get<0>(p.param).name + (std::get<1>(p.param) == 0 ? "Shutter" : "Collimator");
    });

TEST(StatedFields, AShapeThatIsCompleteIsUsedBesideOneThatIsNot) {
  DicomBytes film = film_of(picture([](double x, double) { return x >= 100; }));
  const Cut cut = cut_of(rectangle(film, 0, {"101", "960", "1", "800"}, "CIRCULAR\\RECTANGULAR"));
  EXPECT_EQ(sides_of(cut.film)[0], 100 + kInwardsPx);
  EXPECT_THAT(cut.notes, ElementsAre(HasSubstr(kDamaged), HasSubstr("left out")));
}

TEST(StatedFields, ShutterAndCollimatorBoundTheFieldTogether) {
  DicomBytes film =
      film_of(picture([](double x, double y) { return x >= 100 && y >= 60 && y <= 699; }));
  rectangle(film, 0, {"101", "960", "1", "800"});
  const Cut cut = cut_of(rectangle(film, 0x100, {"1", "960", "61", "700"}));
  EXPECT_THAT(sides_of(cut.film),
              ElementsAre(100 + kInwardsPx, 60 + kInwardsPx, kWidth - 1, 699 - kInwardsPx));
  EXPECT_EQ(cut.notes.size(), 2U);
}

TEST(StatedFields, OneThatThePixelsContradictDoesNotSpoilTheOther) {
  DicomBytes film = film_of(picture([](double x, double) { return x >= 100; }));
  rectangle(film, 0, {"1", "500", "1", "800"});
  const Cut cut = cut_of(rectangle(film, 0x100, {"101", "960", "1", "800"}));
  EXPECT_THAT(sides_of(cut.film), ElementsAre(100 + kInwardsPx, 0, kWidth - 1, kHeight - 1));
  EXPECT_THAT(cut.notes, ElementsAre(HasSubstr(kGoesOn), HasSubstr("left out")));
}

TEST(StatedFields, ThatTogetherLeaveTooLittleAreBothLeftAside) {
  // Each leaves two fifths of a film that shows something in their narrow overlap only.
  const auto pixels = picture([](double x, double) { return x >= 384 && x < 576; });
  const Cut plain = cut_of(film_of(pixels));
  DicomBytes film = film_of(pixels);
  rectangle(film, 0, {"1", "576", "1", "800"});
  const Cut cut = cut_of(rectangle(film, 0x100, {"385", "960", "1", "800"}));
  EXPECT_EQ(cut.film.pixels.values, plain.film.pixels.values);
  EXPECT_THAT(cut.notes, testing::Contains(HasSubstr("together")));
}

TEST(StatedFields, SmoothFadingOutsideIsNothingToSee) {
  // As of scatter behind lead: a slow slope of 12 % of the film's spread.
  auto pixels = picture([](double x, double) { return x >= 200; });
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < 200; ++x) pixels.at(x, y) = static_cast<std::uint16_t>(900 + x);
  }
  DicomBytes film = film_of(pixels);
  const Cut cut = cut_of(rectangle(film, 0, {"201", "960", "1", "800"}));
  EXPECT_EQ(sides_of(cut.film)[0], 200 + kInwardsPx);
}

TEST(StatedFields, AFilmWithoutIsReadAsEver) {
  const TempFile file(film_of(picture(everywhere)).file());
  const FilmImage read_alone = read(file.path()).value();
  const FilmInField in_field = read_in_field(file.path()).value();
  EXPECT_EQ(in_field.film.pixels.values, read_alone.pixels.values);
  EXPECT_EQ(in_field.film.facts.notes, read_alone.facts.notes);
  EXPECT_FALSE(in_field.field);
}

TEST(StatedFields, AFileThatCannotBeReadIsRefusedAsEver) {
  const TempFile file("not a film\n");
  const auto in_field = read_in_field(file.path());
  ASSERT_FALSE(in_field);
  EXPECT_EQ(in_field.error().sentence(), read(file.path()).error().sentence());
}

}  // namespace
}  // namespace tidemark::film
