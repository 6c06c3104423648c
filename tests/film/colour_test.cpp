#include <gtest/gtest.h>

#include <array>
#include <functional>
#include <ostream>
#include <string>
#include <vector>

#include "film/dicom_bytes.h"
#include "tidemark/film/film.h"
#include "tidemark/film/stored.h"

namespace tidemark::film {
namespace {

using test::DicomBytes;
using test::film_of;
using test::TempFile;
using test::words;

constexpr int kWidth = 20;
constexpr int kHeight = 16;
constexpr std::size_t kPixels = std::size_t{kWidth} * kHeight;

/// Grey of pixel i: no two neighbours are alike.
int grey(std::size_t i) { return static_cast<int>((7 * i + 3) % 251); }

using Triple = std::array<int, 3>;
using Colours = std::function<Triple(std::size_t)>;

Triple equal(std::size_t i) { return {grey(i), grey(i), grey(i)}; }
Triple neutral(std::size_t i) { return {grey(i), 128, 128}; }

std::string by_pixel(const Colours& colours) {
  std::string out;
  for (std::size_t i = 0; i < kPixels; ++i) {
    for (const int v : colours(i)) out += static_cast<char>(v);
  }
  return out;
}

std::string by_plane(const Colours& colours) {
  std::string out;
  for (std::size_t channel = 0; channel < 3; ++channel) {
    for (std::size_t i = 0; i < kPixels; ++i) out += static_cast<char>(colours(i).at(channel));
  }
  return out;
}

/// Two pixels share their chroma (PS3.3 C.7.6.3.1.2).
std::string by_pair(const Colours& colours) {
  std::string out;
  for (std::size_t i = 0; i < kPixels; i += 2) {
    const Triple a = colours(i);
    for (const int v : {a[0], colours(i + 1)[0], a[1], a[2]}) out += static_cast<char>(v);
  }
  return out;
}

DicomBytes colour_film(const std::string& photometric, const std::string& pixels) {
  return film_of(RasterOf<std::uint16_t>(kWidth, kHeight, 0))
      .us(0x00280002, 3)
      .set(0x00280004, "CS", photometric)
      .us(0x00280006, 0)
      .us(0x00280100, 8)
      .us(0x00280101, 8)
      .us(0x00280102, 7)
      .set(0x7FE00010, "OB", pixels);
}

/// A film of which every grey must come out as it went in.
struct GreyFilm {
  std::string name;
  DicomBytes film;
  std::vector<std::string> notes = {"a grey film stored as colour"};

  friend void PrintTo(const GreyFilm& row, std::ostream* os) { *os << row.name; }
};

class GreyInColour : public testing::TestWithParam<GreyFilm> {};

TEST_P(GreyInColour, IsReadAsItsBrightness) {
  const TempFile file(GetParam().film.file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  for (std::size_t i = 0; i < kPixels; ++i) {
    ASSERT_EQ(film->pixels.values[i], static_cast<float>(grey(i))) << "pixel " << i;
  }
  EXPECT_EQ(film->facts.notes, GetParam().notes);
}

std::string table(const std::function<int(int)>& entry) {
  std::vector<std::uint16_t> out(256);
  for (int i = 0; i < 256; ++i) {
    out[static_cast<std::size_t>(i)] = static_cast<std::uint16_t>(257 * entry(i));
  }
  return words(out);
}

/// Indices count down, so that a palette which is ignored is seen to be.
DicomBytes palette_film(const std::function<int(int)>& blue) {
  RasterOf<std::uint16_t> indices(kWidth, kHeight);
  for (std::size_t i = 0; i < kPixels; ++i) {
    indices.values[i] = static_cast<std::uint16_t>(255 - grey(i));
  }
  DicomBytes film = film_of(indices).set(0x00280004, "CS", "PALETTE COLOR");
  film.us(0x00280101, 8).us(0x00280102, 7);
  for (std::uint32_t channel = 1; channel <= 3; ++channel) {
    film.set(0x00281100 + channel, "US", words({256, 0, 16}));
    film.set(0x00281200 + channel, "OW",
             table(channel == 3 ? blue : [](int i) { return 255 - i; }));
  }
  return film;
}

INSTANTIATE_TEST_SUITE_P(
    Stored, GreyInColour,
    testing::Values(
        GreyFilm{"Rgb", colour_film("RGB", by_pixel(equal))},
        GreyFilm{"RgbByPlane", colour_film("RGB", by_plane(equal)).us(0x00280006, 1)},
        GreyFilm{"YbrFull", colour_film("YBR_FULL", by_pixel(neutral))},
        GreyFilm{"YbrFull422", colour_film("YBR_FULL_422", by_pair(neutral))},
        GreyFilm{"NearlyEqual", colour_film("YBR_FULL", by_pixel([](std::size_t i) {
                                              return Triple{grey(i), 131, 126};
                                            }))},
        // Three pixels of 320 are under 1 %.
        GreyFilm{"MarksInColour",
                 colour_film("YBR_FULL", by_pixel([](std::size_t i) {
                               return Triple{grey(i), i < 3 ? 30 : 128, 128};
                             })),
                 {"a grey film stored as colour",
                  "marks in colour were read by their brightness; the film itself is grey"}}),
    [](const auto& row) { return row.param.name; });

TEST(GreyInColour, PaletteGivesItsBrightness) {
  const TempFile file(palette_film([](int i) { return 255 - i; }).file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  for (std::size_t i = 0; i < kPixels; ++i) {
    ASSERT_NEAR(film->pixels.values[i], 257.0 * grey(i), 0.01) << "pixel " << i;
  }
  EXPECT_EQ(film->facts.notes, std::vector<std::string>{"a grey film stored with a palette"});
}

TEST(GreyInColour, LumaIsThatOfBt601) {
  // Within 4 % of full scale of each other: ITU-R BT.601, 0.299 R + 0.587 G + 0.114 B.
  const TempFile file(colour_film("RGB", by_pixel([](std::size_t i) {
                                    const int g = 20 + grey(i) / 2;
                                    return Triple{g, g + 9, g + 2};
                                  }))
                          .file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  // 0.587 * 9 + 0.114 * 2 = 5.511
  const int half = grey(5) / 2;
  EXPECT_EQ(film->pixels.values[5], static_cast<float>(20 + half + 6));
}

struct ColourPicture {
  std::string name;
  DicomBytes film;
  std::string kind;

  friend void PrintTo(const ColourPicture& row, std::ostream* os) { *os << row.name; }
};

class InColours : public testing::TestWithParam<ColourPicture> {};

TEST_P(InColours, IsRefused) {
  const TempFile file(GetParam().film.file());
  const auto film = read(file.path());
  ASSERT_FALSE(film.has_value());
  EXPECT_EQ(film.error().sentence(),
            "film.dcm: a colour image (" + GetParam().kind + "); export it as a greyscale film");
}

INSTANTIATE_TEST_SUITE_P(
    Stored, InColours,
    testing::Values(
        ColourPicture{"Rgb", colour_film("RGB", by_pixel([](std::size_t i) {
                                           return Triple{grey(i), 255 - grey(i), 90};
                                         })),
                      "RGB"},
        // 4 of 320 pixels are more than 1 %.
        ColourPicture{"MoreThanMarks", colour_film("RGB", by_pixel([](std::size_t i) {
                                                     return i < 4 ? Triple{255, 255, 0} : equal(i);
                                                   })),
                      "RGB"},
        ColourPicture{"Ybr", colour_film("YBR_FULL", by_pixel([](std::size_t i) {
                                           return Triple{grey(i), 128, 160};
                                         })),
                      "YBR"},
        ColourPicture{"Palette", palette_film([](int i) { return i; }), "PALETTE COLOR"},
        ColourPicture{"UnknownModel", colour_film("CMYK", by_pixel(equal)), "CMYK"}),
    [](const auto& row) { return row.param.name; });

}  // namespace
}  // namespace tidemark::film
