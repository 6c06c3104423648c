#include <gtest/gtest.h>

#include <Eigen/LU>
#include <array>
#include <cmath>
#include <functional>
#include <ostream>
#include <string>

#include "film/dicom_bytes.h"
#include "tidemark/film/film.h"

namespace tidemark::film {
namespace {

using test::DicomBytes;
using test::film_of;
using test::TempFile;
using test::wedge;

constexpr int kWidth = 14;  // of the upright scene
constexpr int kHeight = 11;

/// One way to store the scene. `scene_of(c, r)` says which upright pixel (x to the patient's left,
/// y to the feet) the stored pixel in column c, row r shows; written down by hand from PS3.3
/// C.7.6.1.1.1 (direction of a row = towards higher columns).
struct OrientationRow {
  std::string name;
  std::string tag;
  bool swapped;
  std::function<std::array<int, 2>(int, int)> scene_of;

  friend void PrintTo(const OrientationRow& row, std::ostream* os) { *os << row.tag; }
};

class Orientation : public testing::TestWithParam<OrientationRow> {};

RasterOf<std::uint16_t> stored_matrix(const OrientationRow& row) {
  const auto scene = wedge(kWidth, kHeight);
  RasterOf<std::uint16_t> stored(row.swapped ? kHeight : kWidth, row.swapped ? kWidth : kHeight);
  for (int r = 0; r < stored.height; ++r) {
    for (int c = 0; c < stored.width; ++c) {
      const auto [x, y] = row.scene_of(c, r);
      stored.at(c, r) = scene.at(x, y);
    }
  }
  return stored;
}

TEST_P(Orientation, EveryStoredOrderGivesTheSameUprightFilm) {
  const auto stored = stored_matrix(GetParam());
  const TempFile file(film_of(stored).set(0x00200020, "CS", GetParam().tag).file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  ASSERT_EQ(film->pixels.width, kWidth);
  ASSERT_EQ(film->pixels.height, kHeight);
  const auto scene = wedge(kWidth, kHeight);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      ASSERT_EQ(film->pixels.at(x, y), static_cast<float>(scene.at(x, y))) << x << ", " << y;
      const Vec2 p = film->stored_from_view.apply(Vec2(x, y));
      const int c = static_cast<int>(p.x());
      const int r = static_cast<int>(p.y());
      ASSERT_EQ(Vec2(c, r), p);  // whole stored pixels, exactly
      ASSERT_TRUE(stored.contains(c, r));
      ASSERT_EQ(stored.at(c, r), scene.at(x, y));
    }
  }
}

INSTANTIATE_TEST_SUITE_P(
    All8, Orientation,
    testing::Values(
        OrientationRow{"LF", "L\\F", false,
                       [](int c, int r) {
                         return std::array{c, r};
                       }},
        OrientationRow{"RF", "R\\F", false,
                       [](int c, int r) {
                         return std::array{kWidth - 1 - c, r};
                       }},
        OrientationRow{"LH", "L\\H", false,
                       [](int c, int r) {
                         return std::array{c, kHeight - 1 - r};
                       }},
        OrientationRow{"RH", "R\\H", false,
                       [](int c, int r) {
                         return std::array{kWidth - 1 - c, kHeight - 1 - r};
                       }},
        OrientationRow{"FL", "F\\L", true,
                       [](int c, int r) {
                         return std::array{r, c};
                       }},
        OrientationRow{"FR", "F\\R", true,
                       [](int c, int r) {
                         return std::array{kWidth - 1 - r, c};
                       }},
        OrientationRow{"HL", "H\\L", true,
                       [](int c, int r) {
                         return std::array{r, kHeight - 1 - c};
                       }},
        OrientationRow{"HR", "H\\R", true,
                       [](int c, int r) {
                         return std::array{kWidth - 1 - r, kHeight - 1 - c};
                       }},
        // Oblique films name a second direction; the first letter is the predominant one.
        OrientationRow{"LAndAWhileF", "LA\\FP", false,
                       [](int c, int r) {
                         return std::array{c, r};
                       }}),
    [](const auto& row) { return row.param.name; });

/// Lateral films: the feet go down by turning alone, whatever the front of the body does.
struct LateralRow {
  std::string name;
  std::string tag;
  std::function<std::array<int, 2>(int, int)> stored_of_view;  // for a kWidth x kHeight matrix
  bool swapped;

  friend void PrintTo(const LateralRow& row, std::ostream* os) { *os << row.tag; }
};

class LateralOrientation : public testing::TestWithParam<LateralRow> {};

TEST_P(LateralOrientation, IsTurnedButNeverMirrored) {
  const auto stored = wedge(kWidth, kHeight);
  const TempFile file(film_of(stored).set(0x00200020, "CS", GetParam().tag).file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  EXPECT_GT(film->stored_from_view.linear.determinant(), 0.0);
  ASSERT_EQ(film->pixels.width, GetParam().swapped ? kHeight : kWidth);
  for (int y = 0; y < film->pixels.height; ++y) {
    for (int x = 0; x < film->pixels.width; ++x) {
      const auto [c, r] = GetParam().stored_of_view(x, y);
      ASSERT_EQ(film->pixels.at(x, y), static_cast<float>(stored.at(c, r)));
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Derived, LateralOrientation,
                         testing::Values(LateralRow{"AF", "A\\F",
                                                    [](int x, int y) {
                                                      return std::array{x, y};
                                                    },
                                                    false},
                                         LateralRow{"PF", "P\\F",
                                                    [](int x, int y) {
                                                      return std::array{x, y};
                                                    },
                                                    false},
                                         LateralRow{
                                             "AH", "A\\H",
                                             [](int x, int y) {
                                               return std::array{kWidth - 1 - x, kHeight - 1 - y};
                                             },
                                             false},
                                         LateralRow{"FA", "F\\A",
                                                    [](int x, int y) {
                                                      return std::array{y, kHeight - 1 - x};
                                                    },
                                                    true},
                                         LateralRow{"HP", "H\\P",
                                                    [](int x, int y) {
                                                      return std::array{kWidth - 1 - y, x};
                                                    },
                                                    true}),
                         [](const auto& row) { return row.param.name; });

TEST(OrientationNotes, AbsentOrSenselessIsTakenAsUprightAndSaid) {
  for (const std::string tag : {"", "L\\R", "F\\H", "X\\Y", "L"}) {
    DicomBytes film = film_of(wedge(kWidth, kHeight));
    film.set(0x00200020, "CS", tag);
    const TempFile file(film.file());
    const auto read_film = read(file.path());
    ASSERT_TRUE(read_film.has_value());
    EXPECT_TRUE(read_film->stored_from_view.linear.isIdentity());
    ASSERT_FALSE(read_film->facts.notes.empty()) << tag;
    EXPECT_NE(read_film->facts.notes.front().find("PatientOrientation"), std::string::npos);
  }
}

TEST(OrientationNotes, SmallLettersAreLetters) {
  DicomBytes film = film_of(wedge(kWidth, kHeight));
  film.set(0x00200020, "CS", "r\\f");
  const TempFile file(film.file());
  const auto read_film = read(file.path()).value();
  EXPECT_TRUE(read_film.facts.notes.empty());
  EXPECT_EQ(read_film.stored_from_view.linear(0, 0), -1.0);
}

TEST(OrientationNotes, FlippedDetectorIsNoted) {
  const TempFile file(film_of(wedge(kWidth, kHeight))
                          .set(0x00187034, "CS", "YES")
                          .set(0x00187032, "DS", "90")
                          .file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value());
  ASSERT_EQ(film->facts.notes.size(), 2U);
  EXPECT_NE(film->facts.notes[0].find("flipped"), std::string::npos);
  EXPECT_NE(film->facts.notes[1].find("turned"), std::string::npos);
}

// Pixels twice as tall as wide: rows double, so that a line at 45 degrees in the patient is one on
// the view. The wedge is linear, and cubic convolution is exact on linear images.
TEST(SquarePixels, TallPixelsGetMoreRows) {
  const auto stored = wedge(kWidth, kHeight);
  const TempFile file(film_of(stored).set(0x00181164, "DS", "0.30\\0.15").file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  EXPECT_EQ(film->pixels.width, kWidth);
  EXPECT_EQ(film->pixels.height, 2 * (kHeight - 1) + 1);
  EXPECT_EQ(view_px_per_stored_px(*film), 1.0);
  for (int y = 2; y < film->pixels.height - 2; ++y) {
    const Vec2 p = film->stored_from_view.apply(Vec2(3, y));
    EXPECT_EQ(p, Vec2(3.0, 0.5 * y));
    EXPECT_NEAR(film->pixels.at(3, y), 16.0 * p.x() + 3.0 * p.y() + 1.0, 1e-4);
  }
}

TEST(SquarePixels, WidePixelsOnATurnedFilm) {
  // Stored columns run to the feet; pixels 0.1 mm tall and 0.25 mm wide: 2.5 view rows a column.
  const auto stored = wedge(kWidth, kHeight);
  const TempFile file(
      film_of(stored).set(0x00200020, "CS", "F\\L").set(0x00181164, "DS", "0.1\\0.25").file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  EXPECT_EQ(film->pixels.width, kHeight);
  EXPECT_EQ(film->pixels.height, static_cast<int>(2.5 * (kWidth - 1)) + 1);
  EXPECT_DOUBLE_EQ(view_px_per_stored_px(*film), 2.5);
  for (int y = 3; y < film->pixels.height - 3; ++y) {
    const Vec2 p = film->stored_from_view.apply(Vec2(4, y));
    EXPECT_NEAR(p.x(), y / 2.5, 1e-12);
    EXPECT_EQ(p.y(), 4.0);
    EXPECT_NEAR(film->pixels.at(4, y), 16.0 * p.x() + 3.0 * p.y() + 1.0, 1e-3);
  }
}

TEST(SquarePixels, AspectRatioAloneIsEnough) {
  const TempFile file(film_of(wedge(kWidth, kHeight)).set(0x00280034, "IS", "3\\2").file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value());
  EXPECT_EQ(film->pixels.height, static_cast<int>(1.5 * (kHeight - 1)) + 1);
  EXPECT_FALSE(film->facts.scale.pixel_spacing.has_value());
}

TEST(SquarePixels, NearlySquareIsLeftAlone) {
  const TempFile file(
      film_of(wedge(kWidth, kHeight)).set(0x00181164, "DS", "0.143000\\0.143001").file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value());
  EXPECT_TRUE(film->stored_from_view.linear.isIdentity());
  EXPECT_TRUE(film->facts.notes.empty());
}

TEST(SquarePixels, ImpossiblePixelsAreRefused) {
  const TempFile file(film_of(wedge(kWidth, kHeight)).set(0x00181164, "DS", "9\\0.15").file());
  const auto film = read(file.path());
  ASSERT_FALSE(film.has_value());
  EXPECT_EQ(film.error().sentence(),
            "film.dcm: an impossible header (pixels more than four times as long as wide); export "
            "it again from the archive");
}

}  // namespace
}  // namespace tidemark::film
