#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <functional>
#include <iterator>
#include <ostream>
#include <string>
#include <vector>

#include "film/dicom_bytes.h"
#include "testdata.h"
#include "tidemark/film/film.h"
#include "tidemark/film/stored.h"

namespace tidemark::film {
namespace {

using test::DicomBytes;
using test::film_of;
using test::TempFile;
using test::wedge;
using test::words;

constexpr int kSize = 12;

RasterOf<std::uint16_t> constant_plus(std::vector<std::uint16_t> first_row) {
  RasterOf<std::uint16_t> image(kSize, kSize, 500);
  std::copy(first_row.begin(), first_row.end(), image.values.begin());
  return image;
}

DicomBytes table_item(std::uint16_t count, std::uint16_t first, const std::string& data,
                      const std::string& vr = "US") {
  DicomBytes item;
  item.set(0x00283002, "US", words({count, first, 16})).set(0x00283006, vr, data);
  return item;
}

const std::string kSquares = words({0, 1, 4, 9, 16, 25, 36, 49, 64, 81});  // n -> n^2

/// The first row of the film holds `stored`; `grey` is what read() must make of it.
struct GreyRow {
  std::string name;
  std::string source;
  std::function<void(DicomBytes&)> header;
  std::vector<std::uint16_t> stored;
  std::vector<double> grey;
  std::string note;  // part of a note that must be there; empty: no note at all

  friend void PrintTo(const GreyRow& row, std::ostream* os) { *os << row.source; }
};

class Grey : public testing::TestWithParam<GreyRow> {};

TEST_P(Grey, IsBrightWhereMoreIsAbsorbed) {
  const GreyRow& row = GetParam();
  DicomBytes film = film_of(constant_plus(row.stored));
  row.header(film);
  const TempFile file(film.file());
  const auto read_film = read(file.path());
  ASSERT_TRUE(read_film.has_value()) << read_film.error().sentence();
  for (std::size_t i = 0; i < row.grey.size(); ++i) {
    // Greys have an arbitrary offset.
    EXPECT_NEAR(read_film->pixels.values[i] - read_film->pixels.values[0],
                row.grey[i] - row.grey[0], 1e-5)
        << "stored " << row.stored[i];
  }
  const auto& notes = read_film->facts.notes;
  if (row.note.empty()) {
    EXPECT_TRUE(notes.empty()) << notes.front();
  } else {
    ASSERT_FALSE(notes.empty());
    EXPECT_NE(notes.front().find(row.note), std::string::npos) << notes.front();
  }
}

void nothing(DicomBytes&) {}

INSTANTIATE_TEST_SUITE_P(
    Photometric, Grey,
    testing::Values(
        GreyRow{"Monochrome2",
                "PS3.3 C.7.6.3.1.2: low is black",
                nothing,
                {0, 7, 4095},
                {0, 7, 4095},
                ""},
        GreyRow{"Monochrome1",
                "PS3.3 C.7.6.3.1.2: low is white",
                [](DicomBytes& f) { f.set(0x00280004, "CS", "MONOCHROME1"); },
                {0, 7, 4095},
                {0, -7, -4095},
                ""},
        GreyRow{"Monochrome1Inverse",
                "DX: both say the same",
                [](DicomBytes& f) {
                  f.set(0x00280004, "CS", "MONOCHROME1").set(0x20500020, "CS", "INVERSE");
                },
                {0, 7, 4095},
                {0, -7, -4095},
                ""},
        GreyRow{"Monochrome2Inverse",
                "as DCMTK's dcm2pnm shows it: the shape decides",
                [](DicomBytes& f) { f.set(0x20500020, "CS", "INVERSE"); },
                {0, 7, 4095},
                {0, -7, -4095},
                "PresentationLUTShape contradicts"},
        GreyRow{"Monochrome1Identity",
                "as DCMTK's dcm2pnm shows it: the shape decides",
                [](DicomBytes& f) {
                  f.set(0x00280004, "CS", "MONOCHROME1").set(0x20500020, "CS", "IDENTITY");
                },
                {0, 7, 4095},
                {0, 7, 4095},
                "PresentationLUTShape contradicts"},
        GreyRow{"PhotometricInSmallLetters",
                "house choice: as in capitals",
                [](DicomBytes& f) { f.set(0x00280004, "CS", "monochrome1"); },
                {0, 7, 4095},
                {0, -7, -4095},
                ""},
        GreyRow{"NoPhotometric",
                "house choice: as MONOCHROME2",
                [](DicomBytes& f) { f.drop(0x00280004); },
                {0, 7, 4095},
                {0, 7, 4095},
                ""}),
    [](const auto& row) { return row.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Stored, Grey,
    testing::Values(
        GreyRow{"RubbishAboveHighBit",
                "PS3.5 8.1.1: bits above the high bit mean nothing",
                nothing,
                {0xA000, 0xF007, 0x1FFF},
                {0, 7, 4095},
                ""},
        GreyRow{"Signed",
                "two's complement in the stored bits",
                [](DicomBytes& f) { f.us(0x00280103, 1); },
                {0x0FFF, 0x0800, 0x07FF, 0xF801},
                {-1, -2048, 2047, -2047},
                ""},
        GreyRow{"NoBitsStored",
                "all bits up to the high bit",
                [](DicomBytes& f) { f.drop(0x00280101); },
                {0xA000, 0xF007, 0x1FFF},
                {0, 7, 4095},
                "no BitsStored"},
        GreyRow{"LeftAligned",
                "12 bits at the top of 16 (older standard)",
                [](DicomBytes& f) { f.us(0x00280102, 15); },
                {0x0010, 0xFFF0, 0x007F},
                {1, 4095, 7},
                ""},
        GreyRow{"Padding",
                "PixelPaddingValue takes the nearest true grey (derived)",
                [](DicomBytes& f) { f.us(0x00280120, 0); },
                {0, 1, 9},
                {1, 1, 9},
                ""},
        GreyRow{"PaddingFarBelow",
                "dark as 5 of 100 pixels of the film, which is of 500s (derived)",
                [](DicomBytes& f) {
                  f.us(0x00280101, 16).us(0x00280102, 15).us(0x00280103, 1);
                  f.us(0x00280120, 0x8000);
                },
                {0x8000, 100, 900},
                {500, 100, 900},
                ""},
        GreyRow{"PaddingBrighterThanMetal",
                "low is white, and what is padded is not: dark as above",
                [](DicomBytes& f) { f.set(0x00280004, "CS", "MONOCHROME1").us(0x00280120, 0); },
                {0, 300, 4000},
                {-500, -300, -4000},
                ""},
        GreyRow{"MetalCutOffAtThePaddingsValue",
                "its blur reaches up to it: as bright as the next grey",
                [](DicomBytes& f) { f.set(0x00280004, "CS", "MONOCHROME1").us(0x00280120, 0); },
                {0, 3, 4000},
                {-3, -3, -4000},
                ""},
        GreyRow{"PaddingRange",
                "PixelPaddingRangeLimit",
                [](DicomBytes& f) { f.us(0x00280120, 4090).us(0x00280121, 4095); },
                {4095, 4091, 4089},
                {4089, 4089, 4089},
                ""}),
    [](const auto& row) { return row.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Modality, Grey,
    testing::Values(
        GreyRow{
            "Rescale",
            "PS3.3 C.11.1.1.2: m * SV + b",
            [](DicomBytes& f) { f.set(0x00281053, "DS", "2.5").set(0x00281052, "DS", "-1000"); },
            {0, 4, 400},
            {-1000, -990, 0},
            ""},
        GreyRow{"NegativeSlope",
                "PS3.3 C.11.1.1.2",
                [](DicomBytes& f) { f.set(0x00281053, "DS", "-1").set(0x00281052, "DS", "4095"); },
                {0, 4095},
                {4095, 0},
                ""},
        GreyRow{"SlopeIsText",
                "badVR of the edge cases holds the slope 1A",
                [](DicomBytes& f) { f.set(0x00281053, "DS", "1A"); },
                {3, 9},
                {3, 9},
                "RescaleSlope"},
        GreyRow{"SlopeZero",
                "house choice: taken as 1",
                [](DicomBytes& f) { f.set(0x00281053, "DS", "0"); },
                {3, 9},
                {3, 9},
                "RescaleSlope"},
        GreyRow{"ModalityTable",
                "PS3.3 C.11.1.1.1: ends are held",
                [](DicomBytes& f) { f.item(0x00283000, table_item(10, 3, kSquares)); },
                {0, 3, 5, 12, 4000},
                {0, 0, 4, 81, 81},
                ""},
        GreyRow{"ModalityTableOfBytes",
                "eight-bit entries packed two a word",
                [](DicomBytes& f) {
                  f.item(0x00283000, table_item(4, 0, std::string("\x05\x06\x07\x08", 4), "OW"));
                },
                {0, 1, 2, 3, 9},
                {5, 6, 7, 8, 8},
                ""},
        GreyRow{"SignedTableWithUnsignedFirst",
                "PS3.3 C.11.1.1: the first input has the sign of the pixels, whatever its VR",
                [](DicomBytes& f) {
                  f.us(0x00280103, 1).item(0x00283000, table_item(10, 0xFFFE, kSquares));
                },
                {0, 1, 4094, 4095},  // 12 bits: 0, 1, -2, -1
                {4, 9, 0, 1},
                ""},
        GreyRow{"DamagedTable",
                "fewer entries than the descriptor says",
                [](DicomBytes& f) { f.item(0x00283000, table_item(4000, 0, kSquares)); },
                {3, 9},
                {3, 9},
                "damaged"}),
    [](const auto& row) { return row.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Voi, Grey,
    testing::Values(
        GreyRow{"TableAlone",
                "PS3.3 C.11.2.1.1",
                [](DicomBytes& f) { f.item(0x00283010, table_item(10, 0, kSquares)); },
                {0, 3, 9, 99},
                {0, 9, 81, 81},
                "was applied"},
        GreyRow{"TableAfterRescale",
                "the table's input is the rescaled value",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(10, 0, kSquares)).set(0x00281053, "DS", "2");
                },
                {0, 3},
                {0, 36},
                "was applied"},
        GreyRow{"TableThatRisesAndFalls",
                "house choice: one grey would stand for two exposures",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(5, 0, words({0, 40, 90, 50, 10})));
                },
                {0, 1, 2, 3, 4},
                {0, 1, 2, 3, 4},
                "rises and falls"},
        GreyRow{"TableThatFalls",
                "PS3.3 C.11.2.1.1: may fall",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(5, 0, words({90, 50, 40, 40, 10})));
                },
                {0, 1, 2, 3, 4},
                {90, 50, 40, 40, 10},
                "was applied"},
        GreyRow{"TableThatFallsOnLogarithm",
                "PS3.3 C.11.2: not applied, but low values are shown bright",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(5, 0, words({90, 50, 40, 40, 10})))
                      .set(0x00281040, "CS", "LOG")
                      .set(0x00281041, "SS", words({1}));
                },
                {0, 1, 4},
                {0, -1, -4},
                "not applied"},
        GreyRow{"TableThatFallsUnevenly",
                "the same of a table that falls but for one entry",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(5, 0, words({90, 50, 51, 40, 10})));
                },
                {0, 1, 4},
                {0, -1, -4},
                "rises and falls"},
        GreyRow{"TableThatFallsBesideWindow",
                "two ways to show it: the sign of the exposure tells which is meant",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(5, 0, words({90, 50, 40, 40, 10})))
                      .set(0x00281050, "DS", "2048")
                      .set(0x00281051, "DS", "8192")
                      .set(0x00281041, "SS", words({1}));
                },
                {0, 1, 4},
                {0, -1, -4},
                "not applied"},
        GreyRow{"TableOfOneValue",
                "house choice: it shows nothing",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(3, 0, words({7, 7, 7})));
                },
                {0, 3, 9},
                {0, 3, 9},
                "same value"},
        GreyRow{"TableBesideWindow",
                "house choice: the values themselves are closer to exposure",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(10, 0, kSquares))
                      .set(0x00281050, "DS", "2048")
                      .set(0x00281051, "DS", "8192");
                },
                {0, 3, 9},
                {0, 3, 9},
                "not applied"},
        GreyRow{"TableOnLogarithm",
                "house choice: LOG is what we want already",
                [](DicomBytes& f) {
                  f.item(0x00283010, table_item(10, 0, kSquares)).set(0x00281040, "CS", "LOG");
                },
                {0, 3, 9},
                {0, 3, 9},
                "not applied"},
        GreyRow{"WindowThatCuts",
                "a linear window only cuts off",
                [](DicomBytes& f) { f.set(0x00281050, "DS", "50").set(0x00281051, "DS", "10"); },
                {0, 3, 99},
                {0, 3, 99},
                "would cut off"},
        GreyRow{"WindowOfWidthOne",
                "black and white only (PS3.3 C.11.2.1.2.1), not applied",
                [](DicomBytes& f) { f.set(0x00281050, "DS", "50").set(0x00281051, "DS", "1"); },
                {0, 3, 99},
                {0, 3, 99},
                "would cut off"},
        GreyRow{
            "WindowFarFromTheData",
            "all white, not applied",
            [](DicomBytes& f) { f.set(0x00281050, "DS", "-30000").set(0x00281051, "DS", "100"); },
            {0, 3, 99},
            {0, 3, 99},
            "would cut off"},
        GreyRow{"Sigmoid",
                "not applied, but said",
                [](DicomBytes& f) {
                  f.set(0x00281050, "DS", "2048")
                      .set(0x00281051, "DS", "8192")
                      .set(0x00281056, "CS", "SIGMOID");
                },
                {0, 3, 99},
                {0, 3, 99},
                "sigmoid"}),
    [](const auto& row) { return row.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Relationship, Grey,
    testing::Values(
        GreyRow{"LinearFalling",
                "Lambert-Beer: grey = -ln(exposure), sign 1 = higher is more",
                [](DicomBytes& f) {
                  f.set(0x00280004, "CS", "MONOCHROME1")
                      .set(0x00281040, "CS", "LIN")
                      .set(0x00281041, "SS", words({1}));
                },
                {1, 10, 1000, 0},
                {0, -std::log(10.0), -std::log(1000.0), 0},
                ""},
        GreyRow{"LinearRising",
                "sign -1: exposure is counted from the highest value down",
                [](DicomBytes& f) {
                  f.set(0x00281040, "CS", "LIN").set(0x00281041, "SS", words({0xFFFF}));
                },
                {4094, 4085, 4095},
                {0, -std::log(10.0), 0},
                ""},
        GreyRow{"LinearFluoroscopy",
                "XA: linear values grow with exposure (PS3.3 C.8.7.1.1.2)",
                [](DicomBytes& f) { f.set(0x00080060, "CS", "XA").set(0x00281040, "CS", "LIN"); },
                {1, 10},
                {0, -std::log(10.0)},
                ""},
        GreyRow{"LogarithmicFluoroscopy",
                "the table would make it linear again (from memory)",
                [](DicomBytes& f) {
                  f.set(0x00080060, "CS", "XA")
                      .set(0x00281040, "CS", "LOG")
                      .item(0x00283000, table_item(10, 0, kSquares));
                },
                {0, 3, 9},
                {0, 3, 9},
                "undo the logarithm"},
        GreyRow{"LogIsKept",
                "LOG is linear in log exposure",
                [](DicomBytes& f) {
                  f.set(0x00281040, "CS", "LOG").set(0x00281041, "SS", words({0xFFFF}));
                },
                {0, 3, 9},
                {0, 3, 9},
                ""},
        GreyRow{
            "SignAgainstPhotometric",
            "house choice: as it is shown, and said",
            [](DicomBytes& f) { f.set(0x00281040, "CS", "LOG").set(0x00281041, "SS", words({1})); },
            {0, 3, 9},
            {0, 3, 9},
            "contradicts the way the film asks to be shown"},
        GreyRow{"SignOfAFilmNotToBeShown",
                "PS3.3 C.8.11.3.1.2: 1 = lower values mean less exposure",
                [](DicomBytes& f) {
                  f.set(0x00080068, "CS", "FOR PROCESSING")
                      .set(0x00281040, "CS", "LOG")
                      .set(0x00281041, "SS", words({1}));
                },
                {0, 3, 9},
                {0, -3, -9},
                ""},
        GreyRow{"LinearNotToBeShown",
                "PS3.3 C.8.11.3: linearly proportional to the beam's intensity",
                [](DicomBytes& f) {
                  f.set(0x00080068, "CS", "FOR PROCESSING").set(0x00281040, "CS", "LIN");
                },
                {1, 10},
                {0, -std::log(10.0)},
                ""},
        GreyRow{"LinearBesideATableThatFalls",
                "PS3.3 C.11.2: what the table turns over is shown bright where it is low",
                [](DicomBytes& f) {
                  f.set(0x00281040, "CS", "LIN")
                      .item(0x00283010, table_item(5, 0, words({90, 50, 40, 40, 10})));
                },
                {1, 10},
                {0, -std::log(10.0)},
                "not applied"},
        GreyRow{"SignDecidesBetweenShapeAndPhotometric",
                "house choice: what is said of the exposure has the casting vote",
                [](DicomBytes& f) {
                  f.set(0x00280004, "CS", "MONOCHROME1")
                      .set(0x20500020, "CS", "IDENTITY")
                      .set(0x00281041, "SS", words({1}));
                },
                {0, 7, 4095},
                {0, -7, -4095},
                "Sign decided"},
        GreyRow{"SignOfValuesThatTheSlopeTurnsOver",
                "the sign is of stored values (PS3.3 C.8.11.3.1.2): no contradiction",
                [](DicomBytes& f) {
                  f.set(0x00281053, "DS", "-1")
                      .set(0x00281052, "DS", "4095")
                      .set(0x00281040, "CS", "LOG")
                      .set(0x00281041, "SS", words({1}));
                },
                {0, 3},
                {4095, 4092},
                ""}),
    [](const auto& row) { return row.param.name; });

// The same exposure stored by four detectors in four ways gives the same film, up to offset, gain
// and rounding: what "close to linear in log exposure" means.
TEST(GreyConsistency, FourWaysToStoreOneExposureAgree) {
  RasterOf<std::uint16_t> linear(kSize, kSize), falling(kSize, kSize), log(kSize, kSize),
      inverse_log(kSize, kSize);
  for (std::size_t i = 0; i < linear.values.size(); ++i) {
    const double exposure = 4000.0 * std::exp(-0.02 * static_cast<double>(i));
    linear.values[i] = static_cast<std::uint16_t>(std::lround(exposure));
    falling.values[i] = static_cast<std::uint16_t>(4095 - linear.values[i]);
    const double optical = 400.0 * std::log(4000.0 / static_cast<double>(linear.values[i]));
    log.values[i] = static_cast<std::uint16_t>(std::lround(optical));
    inverse_log.values[i] = static_cast<std::uint16_t>(4095 - log.values[i]);
  }
  const auto grey = [](const RasterOf<std::uint16_t>& image, const std::string& relationship,
                       std::uint16_t sign, const std::string& photometric) {
    const TempFile file(film_of(image)
                            .set(0x00281040, "CS", relationship)
                            .set(0x00281041, "SS", words({sign}))
                            .set(0x00280004, "CS", photometric)
                            .file());
    return read(file.path()).value().pixels.values;
  };
  const auto a = grey(linear, "LIN", 1, "MONOCHROME1");
  const auto b = grey(falling, "LIN", 0xFFFF, "MONOCHROME2");
  const auto c = grey(log, "LOG", 0xFFFF, "MONOCHROME2");
  const auto d = grey(inverse_log, "LOG", 1, "MONOCHROME1");
  for (std::size_t i = 0; i < a.size(); ++i) {
    EXPECT_NEAR(a[i] - a[0], b[i] - b[0], 1e-5);
    EXPECT_NEAR(400.0 * (a[i] - a[0]), c[i] - c[0], 1.01);  // rounding of two stored values
    EXPECT_NEAR(c[i] - c[0], d[i] - d[0], 1e-5);
  }
}

// A detector of 12 bits whose values a file stores in 16, signed or not, is the same detector: the
// logarithm is lost where exposures are counted from the lowest value that 16 bits could hold.
TEST(GreyConsistency, LinearExposuresHaveTheSameGreysInWiderPixels) {
  constexpr int kBits = 16;
  RasterOf<std::uint16_t> growing(kSize, kSize), falling(kSize, kSize);
  for (std::size_t i = 0; i < growing.values.size(); ++i) {
    growing.values[i] =
        static_cast<std::uint16_t>(std::lround(4000.0 * std::exp(-0.02 * static_cast<double>(i))));
    falling.values[i] = static_cast<std::uint16_t>(4095 - growing.values[i]);
  }
  const auto greys = [](const DicomBytes& film) {
    return read(TempFile(film.file()).path()).value().pixels.values;
  };
  for (const bool grows : {true, false}) {
    const std::uint16_t sign = grows ? 1 : 0xFFFF;
    const auto film = [&](const RasterOf<std::uint16_t>& codes) {
      return film_of(codes)
          .set(0x00281040, "CS", "LIN")
          .set(0x00281041, "SS", words({sign}))
          .set(0x00280004, "CS", grows ? "MONOCHROME1" : "MONOCHROME2");
    };
    auto codes = grows ? growing : falling;
    const auto narrow = greys(film(codes));
    const auto widened = [&] {
      return film(codes).us(0x00280101, kBits).us(0x00280102, kBits - 1);
    };
    EXPECT_EQ(greys(widened()), narrow) << grows;
    EXPECT_EQ(greys(widened().us(0x00280103, 1)), narrow) << grows;
    codes.values.back() = 0x8000;
    const auto padded = widened().us(0x00280103, 1).set(0x00280120, "SS", words({0x8000}));
    EXPECT_EQ(greys(padded).front(), narrow.front()) << grows << ": padding is no exposure";
  }
}

// What a film of exposures x (0 to 1, noise and all) looks like; large enough to be judged.
RasterOf<std::uint16_t> exposures(const std::function<double(double)>& stored) {
  constexpr int kSide = 300;
  RasterOf<std::uint16_t> image(kSide, kSide);
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      const double grain = 0.01 * ((x * 7919 + y * 104729) % 101 - 50) / 50.0;
      const double density = std::clamp((x + 0.3 * y) / 390.0 + grain, 0.0, 1.0);
      image.at(x, y) = static_cast<std::uint16_t>(std::lround(stored(density)));
    }
  }
  return image;
}

// The table is applied where it gives bright greys the room that the film's own values do not.
TEST(VoiTable, IsAppliedUnlessItPressesBrightGreysTogether) {
  std::vector<std::uint16_t> s_shaped;
  std::vector<std::uint16_t> logarithm;
  for (int v = 0; v < 4096; ++v) {
    s_shaped.push_back(
        static_cast<std::uint16_t>(std::lround(4095.0 / (1.0 + std::exp(14.0 - v / 170.0)))));
    logarithm.push_back(static_cast<std::uint16_t>(
        std::lround(4095.0 - 4095.0 * std::log(std::max(v, 40)) / std::log(4095.0))));
  }
  const auto densities = exposures([](double d) { return 4095.0 * d; });
  const auto doses = exposures([](double d) { return 4095.0 * std::pow(0.01, d); });
  const TempFile eye(
      film_of(densities).item(0x00283010, table_item(4096, 0, words(s_shaped))).file());
  const TempFile detector(
      film_of(doses).item(0x00283010, table_item(4096, 0, words(logarithm))).file());
  const auto by_eye = read(eye.path()).value();
  const auto by_detector = read(detector.path()).value();
  EXPECT_NE(by_eye.facts.notes.at(0).find("press bright greys together"), std::string::npos);
  EXPECT_EQ(by_detector.facts.notes.at(0),
            "the VOI LUT was applied: the film has no other statement about its greys");
  for (std::size_t i = 0; i < densities.values.size(); i += 97) {
    EXPECT_EQ(by_eye.pixels.values[i] - by_eye.pixels.values[0],
              densities.values[i] - densities.values[0]);
    EXPECT_EQ(by_detector.pixels.values[i], logarithm[doses.values[i]]);
  }
}

/// A header's sign and bits, and what is stored.
struct WrappedRow {
  std::string name;
  std::function<void(DicomBytes&)> header;
  std::function<double(double)> stored;
  std::string note;

  friend void PrintTo(const WrappedRow& row, std::ostream* os) { *os << row.name; }
};

class Wrapped : public testing::TestWithParam<WrappedRow> {};

TEST_P(Wrapped, GreysHangTogether) {
  const auto stored = exposures(GetParam().stored);
  DicomBytes film = film_of(stored);
  GetParam().header(film);
  const TempFile file(film.file());
  const auto read_film = read(file.path());
  ASSERT_TRUE(read_film.has_value()) << read_film.error().sentence();
  const auto truth = exposures([](double d) { return 4000.0 * d; });
  for (std::size_t i = 0; i < truth.values.size(); i += 97) {
    EXPECT_NEAR(read_film->pixels.values[i] - read_film->pixels.values[0],
                truth.values[i] - truth.values[0], 1e-3);
  }
  const auto& notes = read_film->facts.notes;
  ASSERT_EQ(notes.size(), GetParam().note.empty() ? 0U : 1U);
  if (!notes.empty()) {
    EXPECT_NE(notes[0].find(GetParam().note), std::string::npos) << notes[0];
  }
}

INSTANTIATE_TEST_SUITE_P(
    Headers, Wrapped,
    testing::Values(
        WrappedRow{"True", [](DicomBytes&) {}, [](double d) { return 4000.0 * d; }, ""},
        WrappedRow{"TooFewBits", [](DicomBytes& f) { f.us(0x00280101, 11).us(0x00280102, 10); },
                   [](double d) { return 4000.0 * d; }, "BitsStored"},
        WrappedRow{"SignedByMistake",
                   [](DicomBytes& f) { f.us(0x00280101, 16).us(0x00280102, 15).us(0x00280103, 1); },
                   [](double d) { return 31000.0 + 4000.0 * d; }, "PixelRepresentation"},
        WrappedRow{"UnsignedByMistake",
                   [](DicomBytes& f) { f.us(0x00280101, 16).us(0x00280102, 15); },
                   [](double d) {
                     const double value = std::round(4000.0 * d) - 2000.0;
                     return value < 0.0 ? value + 65536.0 : value;
                   },
                   "PixelRepresentation"}),
    [](const auto& row) { return row.param.name; });

// Padding may be any value: where it meets the film, nothing wraps around.
TEST(WrappedGreys, ArePaddingNowhere) {
  auto stored = exposures([](double d) { return 4000.0 * d; });
  for (std::size_t i = 0; i < stored.values.size(); i += 4) stored.values[i] = 65535;
  const TempFile file(
      film_of(stored).us(0x00280101, 16).us(0x00280102, 15).us(0x00280120, 65535).file());
  EXPECT_TRUE(read(file.path()).value().facts.notes.empty());
}

// A lossy decoder gives back more than the header's bits hold: that is white, not black. The
// picture holds x + y / 4, to 3 (see testdata_test.cpp).
TEST(LossyGreys, StayBrightBeyondTheStoredBits) {
  std::ifstream picture(tidemark::test::testdata() / "films/wedge8.jpg", std::ios::binary);
  std::string jpeg{std::istreambuf_iterator<char>(picture), {}};
  if (jpeg.size() % 2 != 0) jpeg += '\0';
  const auto item = [](const std::string& content) {
    return words({0xFFFE, 0xE000}) + test::long_word(static_cast<std::uint32_t>(content.size())) +
           content;
  };
  const TempFile file(film_of(RasterOf<std::uint16_t>(160, 96))
                          .us(0x00280100, 8)
                          .us(0x00280101, 7)
                          .us(0x00280102, 6)
                          .drop(0x7FE00010)
                          .file("1.2.840.10008.1.2.4.50") +
                      words({0x7FE0, 0x0010}) + "OB" + words({0, 0xFFFF, 0xFFFF}) + item("") +
                      item(jpeg) + words({0xFFFE, 0xE0DD, 0, 0}));
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  for (int x = 0; x < 160; ++x) {
    EXPECT_NEAR(film->pixels.at(x, 40), std::min(x + 10, 127), 3.0) << x;
  }
}

// Not only up to an offset: what is measured must not hang on how a film is stored.
TEST(GreyConsistency, OnePictureHasTheSameGreysHoweverStored) {
  const auto picture = wedge(kSize, kSize);
  auto negative = picture;
  for (std::uint16_t& v : negative.values) v = static_cast<std::uint16_t>(4095 - v);
  const auto greys = [](DicomBytes film) {
    const TempFile file(film.file());
    return read(file.path()).value();
  };
  const auto plain = greys(film_of(picture)).pixels.values;
  EXPECT_EQ(plain.front(), picture.values.front());
  EXPECT_EQ(greys(film_of(negative).set(0x00280004, "CS", "MONOCHROME1")).pixels.values, plain);
  EXPECT_EQ(greys(film_of(picture).set(0x00281052, "DS", "-1000")).pixels.values, plain);
  EXPECT_EQ(greys(film_of(negative).set(0x00281053, "DS", "-1").set(0x00281052, "DS", "4095"))
                .pixels.values,
            plain);
  auto ends = picture;
  ends.values[0] = 0;
  ends.values[1] = 4095;
  auto ends_negative = ends;
  for (std::uint16_t& v : ends_negative.values) v = static_cast<std::uint16_t>(4095 - v);
  EXPECT_EQ(inverted(greys(film_of(ends_negative))).pixels.values,
            greys(film_of(ends)).pixels.values);
}

TEST(Stored, IsBeforeEveryTable) {
  const TempFile file(film_of(wedge(kSize, kSize))
                          .set(0x00280004, "CS", "MONOCHROME1")
                          .set(0x00281053, "DS", "-3")
                          .item(0x00283010, table_item(10, 0, kSquares))
                          .file());
  const auto stored = read_stored(file.path());
  ASSERT_TRUE(stored.has_value());
  const auto truth = wedge(kSize, kSize);
  for (std::size_t i = 0; i < truth.values.size(); ++i) {
    EXPECT_EQ(stored->values.values[i], truth.values[i]);
  }
}

TEST(Stored, EightBits) {
  RasterOf<std::uint16_t> pixels(kSize, kSize);
  std::string bytes;
  for (std::size_t i = 0; i < pixels.values.size(); ++i) bytes += static_cast<char>(i);
  const TempFile file(film_of(pixels)
                          .us(0x00280100, 8)
                          .us(0x00280101, 8)
                          .us(0x00280102, 7)
                          .set(0x7FE00010, "OB", bytes)
                          .file());
  const auto stored = read_stored(file.path());
  ASSERT_TRUE(stored.has_value()) << stored.error().sentence();
  for (int i = 0; i < kSize * kSize; ++i) {
    EXPECT_EQ(stored->values.values[static_cast<std::size_t>(i)], i & 0xFF);
  }
}

}  // namespace
}  // namespace tidemark::film
