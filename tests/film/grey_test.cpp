#include <gtest/gtest.h>

#include <cmath>
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
    EXPECT_NEAR(read_film->pixels.values[i], row.grey[i], 1e-5) << "stored " << row.stored[i];
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
                {3},
                {3},
                "RescaleSlope"},
        GreyRow{"SlopeZero",
                "house choice: taken as 1",
                [](DicomBytes& f) { f.set(0x00281053, "DS", "0"); },
                {3},
                {3},
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
                {3},
                {3},
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
    testing::Values(GreyRow{"LinearFalling",
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
                            [](DicomBytes& f) {
                              f.set(0x00080060, "CS", "XA").set(0x00281040, "CS", "LIN");
                            },
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
                    GreyRow{"SignAgainstPhotometric",
                            "house choice: as it is shown, and said",
                            [](DicomBytes& f) {
                              f.set(0x00281040, "CS", "LOG").set(0x00281041, "SS", words({1}));
                            },
                            {0, 3, 9},
                            {0, 3, 9},
                            "contradicts PhotometricInterpretation"}),
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
