#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <algorithm>
#include <chrono>
#include <functional>
#include <map>
#include <ostream>
#include <string>

#include "film/dicom_bytes.h"
#include "tidemark/film/film.h"
#include "tidemark/film/header.h"
#include "tidemark/film/patient_key.h"
#include "tidemark/film/stored.h"

namespace tidemark::film {
namespace {

using test::DicomBytes;
using test::film_of;
using test::TempFile;
using test::wedge;
using test::words;
using testing::HasSubstr;

constexpr int kWidth = 20;
constexpr int kHeight = 16;

std::string good_film() { return film_of(wedge(kWidth, kHeight)).file(); }

/// Bad content and the sentence it must get, word for word.
struct RefusalRow {
  std::string name;
  std::string content;
  std::string sentence;

  friend void PrintTo(const RefusalRow& row, std::ostream* os) { *os << row.name; }
};

class Refusal : public testing::TestWithParam<RefusalRow> {};

TEST_P(Refusal, IsOneSentenceWithFileFaultAndRemedy) {
  const TempFile file(GetParam().content);
  const auto film = read(file.path());
  ASSERT_FALSE(film.has_value());
  EXPECT_EQ(film.error().kind, ErrorKind::kBadInput);  // exit 3
  EXPECT_EQ(film.error().sentence(), GetParam().sentence);
}

std::string changed(const std::function<void(DicomBytes&)>& change) {
  DicomBytes film = film_of(wedge(kWidth, kHeight));
  change(film);
  return film.file();
}

std::string changed_in(const std::string& syntax, const std::function<void(DicomBytes&)>& change) {
  DicomBytes film = film_of(wedge(kWidth, kHeight));
  change(film);
  return film.file(syntax);
}

const char* const kAgain = "; export it again from the archive";

INSTANTIATE_TEST_SUITE_P(
    NoImage, Refusal,
    testing::Values(
        RefusalRow{"Empty", "", std::string("film.dcm: an empty file") + kAgain},
        RefusalRow{
            "OneByte", "D",
            "film.dcm: not an image (neither DICOM, PNG, TIFF nor JPEG); give the radiograph "
            "itself"},
        RefusalRow{
            "Text", "not a film\n",
            "film.dcm: not an image (neither DICOM, PNG, TIFF nor JPEG); give the radiograph "
            "itself"},
        RefusalRow{"CutOff", good_film().substr(0, good_film().size() - 9),
                   "film.dcm: the file ends too early, after 993 bytes; export it again from the "
                   "archive"},
        RefusalRow{"NoPixels", changed([](DicomBytes& f) { f.drop(0x7FE00010); }),
                   "film.dcm: no pixel data (the file ends after 350 bytes); export it again from "
                   "the archive"},
        RefusalRow{"APlan", changed([](DicomBytes& f) {
                     f.drop(0x7FE00010).set(0x00080060, "CS", "RTPLAN");
                   }),
                   "film.dcm: no pixel data (modality RTPLAN, not a radiograph); leave it out"},
        RefusalRow{"ASlice", changed([](DicomBytes& f) { f.set(0x00080060, "CS", "CT"); }),
                   "film.dcm: not a radiograph (modality CT); leave it out"},
        RefusalRow{
            "OfFloats", changed([](DicomBytes& f) {
              f.drop(0x7FE00010).set(0x7FE00008, "OW", std::string(4 * kWidth * kHeight, '\1'));
            }),
            "film.dcm: pixels that are not whole numbers; export it as a greyscale film"},
        RefusalRow{"UnknownCompression",
                   changed_in("1.2.840.10008.1.2.4.201",
                              [](DicomBytes& f) { f.set(0x7FE00010, "OB", "\xFF\x4F"); }),
                   "film.dcm: a compression that is not supported (transfer syntax "
                   "1.2.840.10008.1.2.4.201); export it uncompressed or as JPEG 2000"},
        RefusalRow{
            "OnAServer",
            changed_in("1.2.840.10008.1.2.4.94",
                       [](DicomBytes& f) { f.drop(0x7FE00010).set(0x7FE00010, "OB", ""); }),
            "film.dcm: no pixel data but a link to a server (JPIP); export it again from the "
            "archive"},
        RefusalRow{"NoSize", changed([](DicomBytes& f) { f.drop(0x00280010); }),
                   "film.dcm: no image size in the header (Rows or Columns is missing); export it "
                   "again from the archive"}),
    [](const auto& row) { return row.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Pixels, Refusal,
    testing::Values(
        RefusalRow{"TooShort", changed([](DicomBytes& f) { f.us(0x00280010, kHeight + 1); }),
                   "film.dcm: pixel data of the wrong length (640 bytes, 680 expected); export it "
                   "again from the archive"},
        RefusalRow{"TooLong", film_of(wedge(60, 40)).us(0x00280010, 30).file(),
                   "film.dcm: pixel data of the wrong length (4,800 bytes, 3,600 expected); export "
                   "it again from the archive"},
        RefusalRow{"OnePixel", film_of(wedge(1, 1)).file(),
                   "film.dcm: only 1 x 1 pixels; give the whole film"},
        RefusalRow{"OneValue", film_of(RasterOf<std::uint16_t>(kWidth, kHeight, 77)).file(),
                   "film.dcm: every pixel has the same value; export it again from the archive"},
        RefusalRow{"TwoHundredMegapixels",
                   changed([](DicomBytes& f) { f.us(0x00280010, 16000).us(0x00280011, 12500); }),
                   "film.dcm: the header claims 12,500 x 16,000 pixels, more than any film has; "
                   "export it again from the archive"},
        RefusalRow{"LargestClaim",
                   changed([](DicomBytes& f) { f.us(0x00280010, 65535).us(0x00280011, 65535); }),
                   "film.dcm: the header claims 65,535 x 65,535 pixels, more than any film has; "
                   "export it again from the archive"},
        RefusalRow{"ManyFrames",
                   changed([](DicomBytes& f) { f.set(0x00280008, "IS", "2147483647"); }),
                   "film.dcm: pixel data of the wrong length (640 bytes, 1,374,389,534,080 "
                   "expected); export it again from the archive"},
        RefusalRow{"ColourCutOff",
                   changed([](DicomBytes& f) { f.us(0x00280002, 3).set(0x00280004, "CS", "RGB"); }),
                   "film.dcm: pixel data of the wrong length (640 bytes, 1,920 expected); export "
                   "it again from the archive"},
        RefusalRow{
            "Palette", changed([](DicomBytes& f) { f.set(0x00280004, "CS", "PALETTE COLOR"); }),
            "film.dcm: a colour image (PALETTE COLOR) whose palette cannot be read; export it "
            "as a greyscale film"}),
    [](const auto& row) { return row.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Bits, Refusal,
    testing::Values(
        RefusalRow{"BitsStoredZero", changed([](DicomBytes& f) { f.us(0x00280101, 0); }),
                   std::string("film.dcm: an impossible header (BitsStored 0 of 16)") + kAgain},
        RefusalRow{"BitsStoredTooMany", changed([](DicomBytes& f) { f.us(0x00280101, 17); }),
                   std::string("film.dcm: an impossible header (BitsStored 17 of 16)") + kAgain},
        RefusalRow{"HighBitTooHigh", changed([](DicomBytes& f) { f.us(0x00280102, 200); }),
                   std::string("film.dcm: an impossible header (HighBit 200 with BitsStored 12)") +
                       kAgain},
        RefusalRow{
            "HighBitTooLow", changed([](DicomBytes& f) { f.us(0x00280102, 3); }),
            std::string("film.dcm: an impossible header (HighBit 3 with BitsStored 12)") + kAgain},
        RefusalRow{"BitsAllocated32", changed([](DicomBytes& f) { f.us(0x00280100, 32); }),
                   std::string("film.dcm: pixels of 32 bits, where a film has 8 or 16") + kAgain},
        RefusalRow{"BitsAllocatedMissing", changed([](DicomBytes& f) { f.drop(0x00280100); }),
                   std::string("film.dcm: pixels of 0 bits, where a film has 8 or 16") + kAgain}),
    [](const auto& row) { return row.param.name; });

TEST(ReadPath, MissingFolderAndPipeAreRefusedWithoutHanging) {
  const TempFile file(good_film());
  const auto folder = file.path().parent_path();
  const auto pipe = folder / "pipe";
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  for (const auto& path : {folder / "missing.dcm", folder, pipe}) {
    const auto film = read(path);
    ASSERT_FALSE(film.has_value()) << path;
    EXPECT_EQ(film.error().kind, ErrorKind::kBadInput);
    EXPECT_EQ(film.error().subject, path.filename().string());
    EXPECT_FALSE(film.error().wrong.empty());
    EXPECT_FALSE(film.error().remedy.empty());
  }
}

TEST(ReadDicom, WithoutPreambleWithoutMetaAndWithBareMagic) {
  const auto truth = read(TempFile(good_film()).path());
  ASSERT_TRUE(truth.has_value());
  const std::string dataset = film_of(wedge(kWidth, kHeight)).dataset();
  for (const std::string& content : {good_film().substr(132), good_film().substr(128), dataset}) {
    const TempFile file(content);
    const auto film = read(file.path());
    ASSERT_TRUE(film.has_value()) << film.error().sentence();
    EXPECT_EQ(film->pixels.values, truth->pixels.values);
  }
}

TEST(ReadDicom, IsKnownByItsFirstBytesWhereverReadKnowsIt) {
  const DicomBytes film = film_of(wedge(kWidth, kHeight)).set(0x00080016, "UI", "1.2");
  EXPECT_EQ(starts_like_dicom(TempFile(film.file()).path()), true);
  EXPECT_EQ(starts_like_dicom(TempFile(film.dataset()).path()), true) << "no preamble";
  EXPECT_EQ(starts_like_dicom(TempFile("a note of somebody").path()), false);
  EXPECT_EQ(starts_like_dicom(TempFile("").path()), false);
  EXPECT_FALSE(starts_like_dicom("/nowhere/at/all").has_value());
}

TEST(ReadDicom, MetaHeaderOfAnotherEncodingIsSeenThrough) {
  const TempFile file(film_of(wedge(kWidth, kHeight)).file("1.2.840.10008.1.2"));
  const auto film = read_stored(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  EXPECT_EQ(film->values.at(3, 5), 16 * 3 + 3 * 5 + 1);
}

TEST(ReadDicom, PreambleOfAnotherFormatIsStillDicom) {
  std::string both = good_film();
  both.replace(0, 4, std::string("II*\0", 4));  // PS3.10 7.1 allows it
  const TempFile file(both);
  ASSERT_TRUE(read(file.path()).has_value());
  EXPECT_EQ(read(file.path())->facts.format, "DICOM");
}

TEST(ReadDicom, FewBytesAfterThePixelsAreIgnored) {
  auto pixels = words(wedge(kWidth, kHeight).values) + std::string(128, '\x7F');
  const TempFile file(film_of(wedge(kWidth, kHeight)).set(0x7FE00010, "OW", pixels).file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  EXPECT_EQ(film->pixels.at(3, 2), 16.0F * 3 + 3.0F * 2 + 1);
  EXPECT_THAT(film->facts.notes, testing::ElementsAre(HasSubstr("after the last pixel")));
}

TEST(ReadDicom, FirstOfSeveralFrames) {
  auto second = wedge(kWidth, kHeight);
  for (auto& v : second.values) v = static_cast<std::uint16_t>(4000 - v);
  const TempFile file(
      film_of(wedge(kWidth, kHeight))
          .set(0x00280008, "IS", "2")
          .set(0x7FE00010, "OW", words(wedge(kWidth, kHeight).values) + words(second.values))
          .file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  EXPECT_EQ(film->pixels.at(0, 0), 1.0F);
  EXPECT_THAT(film->facts.notes, testing::ElementsAre(HasSubstr("first of 2 frames")));
}

TEST(Facts, AreKeptAsRead) {
  const TempFile file(film_of(wedge(kWidth, kHeight))
                          .set(0x00080022, "DA", "20240415")
                          .set(0x00080020, "DA", "20240101")
                          .set(0x00180015, "CS", "HIP")
                          .set(0x00185101, "CS", "AP")
                          .set(0x00200062, "CS", "L")
                          .set(0x00280030, "DS", "0.119\\0.119")
                          .set(0x00280A02, "CS", "FIDUCIAL")
                          .set(0x00181164, "DS", "0.143\\0.143")
                          .set(0x00181110, "DS", "1150")
                          .set(0x00181111, "DS", "+970.0")
                          .set(0x00181114, "DS", "1.19")
                          .file(),
                      "hip one.dcm");
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  const FilmFacts& facts = film->facts;
  using namespace std::chrono_literals;
  EXPECT_EQ(facts.file, "hip one.dcm");
  EXPECT_EQ(facts.sha256.size(), 64U);
  EXPECT_EQ(facts.format, "DICOM");
  EXPECT_EQ(facts.modality, "DX");
  EXPECT_EQ(facts.photometric, "MONOCHROME2");
  EXPECT_EQ(facts.stored_columns, kWidth);
  EXPECT_EQ(facts.stored_rows, kHeight);
  EXPECT_EQ(facts.bits_stored, 12);
  EXPECT_EQ(facts.side, Side::kLeft);
  EXPECT_EQ(facts.view, View::kAp);
  EXPECT_EQ(facts.date, 2024y / 4 / 15);
  EXPECT_EQ(facts.body_part, "HIP");
  EXPECT_EQ(facts.patient_orientation, (std::array<std::string, 2>{"L", "F"}));
  EXPECT_DOUBLE_EQ(facts.scale.pixel_spacing->between_rows_mm, 0.119);
  EXPECT_DOUBLE_EQ(facts.scale.imager_pixel_spacing->between_columns_mm, 0.143);
  EXPECT_EQ(facts.scale.calibration_type, "FIDUCIAL");
  EXPECT_EQ(facts.scale.source_to_detector_mm, 1150.0);
  EXPECT_EQ(facts.scale.source_to_patient_mm, 970.0);
  EXPECT_EQ(facts.scale.magnification_factor, 1.19);
  EXPECT_TRUE(facts.notes.empty());
}

// PS3.3 C.8.7.5: both are in mm. Some devices write cm.
TEST(Facts, DistancesInAnotherUnitCountAsMissing) {
  const TempFile file(film_of(wedge(kWidth, kHeight))
                          .set(0x00181110, "DS", "115")
                          .set(0x00181111, "DS", "97")
                          .file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value());
  EXPECT_FALSE(film->facts.scale.source_to_detector_mm.has_value());
  EXPECT_FALSE(film->facts.scale.source_to_patient_mm.has_value());
  ASSERT_EQ(film->facts.notes.size(), 2U);
  EXPECT_EQ(film->facts.notes[1],
            "DistanceSourceToPatient is no distance in mm that a film of the hip is taken at; it "
            "counts as missing");
}

TEST(Facts, AbsentIsAbsent) {
  const TempFile file(good_film());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value());
  EXPECT_FALSE(film->facts.side.has_value());
  EXPECT_FALSE(film->facts.view.has_value());
  EXPECT_FALSE(film->facts.date.has_value());
  EXPECT_FALSE(film->facts.body_part.has_value());
  EXPECT_FALSE(film->facts.patient_key.has_value());
  EXPECT_FALSE(film->facts.scale.pixel_spacing.has_value());
  EXPECT_FALSE(film->facts.scale.source_to_patient_mm.has_value());
}

struct SpacingRow {
  std::string name;
  std::string text;
  bool usable;

  friend void PrintTo(const SpacingRow& row, std::ostream* os) { *os << row.text; }
};

class SpacingText : public testing::TestWithParam<SpacingRow> {};

TEST_P(SpacingText, IsPositiveAndFiniteOrMissing) {
  const TempFile file(
      film_of(wedge(kWidth, kHeight)).set(0x00280030, "DS", GetParam().text).file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  EXPECT_EQ(film->facts.scale.pixel_spacing.has_value(), GetParam().usable);
  EXPECT_EQ(film->facts.notes.empty(), GetParam().usable);
}

INSTANTIATE_TEST_SUITE_P(Rows, SpacingText,
                         testing::Values(SpacingRow{"Plain", "0.143\\0.143", true},
                                         SpacingRow{"SpacesAndPlus", " +0.143 \\ 1.43e-1 ", true},
                                         SpacingRow{"Zero", "0.000\\0.000", false},
                                         SpacingRow{"NotANumber", "NaN\\NaN", false},
                                         SpacingRow{"Infinite", "inf\\inf", false},
                                         SpacingRow{"Negative", "-0.143\\-0.143", false},
                                         SpacingRow{"OneValue", "0.143", false},
                                         SpacingRow{"Comma", "0,143\\0,143", false},
                                         SpacingRow{"Huge", "1e300\\1e300", false},
                                         SpacingRow{"Tiny", "1e-300\\1e-300", false}),
                         [](const auto& row) { return row.param.name; });

TEST(Facts, DateFallsBackAndNonsenseIsSaid) {
  using namespace std::chrono_literals;
  const TempFile file(film_of(wedge(kWidth, kHeight))
                          .set(0x00080022, "DA", "20240230")
                          .set(0x00080020, "DA", "2024.03.02")
                          .file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value());
  EXPECT_EQ(film->facts.date, 2024y / 3 / 2);
  EXPECT_EQ(film->facts.notes.size(), 1U);
}

// A film scanned or sent again keeps the day of its visit in one tag and gets another in the next.
TEST(Facts, DatesOfOneHeaderThatContradictEachOtherAreKept) {
  const auto facts_of = [](const std::map<DicomBytes::Tag, std::string>& dates) {
    const TempFile file(changed([&](DicomBytes& film) {
      for (const auto& [tag, date] : dates) film.set(tag, "DA", date);
    }));
    return read(file.path()).value().facts;
  };
  const auto sent_again =
      facts_of({{0x00080020, "20240415"}, {0x00080021, "20240420"}, {0x00080023, "20260301"}});
  EXPECT_EQ(sent_again.date, std::chrono::year{2026} / 3 / 1);
  EXPECT_EQ(sent_again.contradicting_date, std::chrono::year{2024} / 4 / 15) << "the furthest";
  const auto one_visit = facts_of({{0x00080020, "20240401"}, {0x00080022, "20240415"}});
  EXPECT_EQ(one_visit.date, std::chrono::year{2024} / 4 / 15);
  EXPECT_FALSE(one_visit.contradicting_date.has_value()) << "14 days";
  EXPECT_TRUE(facts_of({{0x00080020, "20240331"}, {0x00080022, "20240415"}}).contradicting_date)
      << "15 days";
}

TEST(Facts, BurntInTextAndTheObjectsUidAreKept) {
  const auto facts_of = [](const std::string& burnt, const std::string& uid) {
    const TempFile file(changed(
        [&](DicomBytes& film) { film.set(0x00080018, "UI", uid).set(0x00280301, "CS", burnt); }));
    return read(file.path()).value().facts;
  };
  const auto named = facts_of("YES", "1.2.3.44");
  EXPECT_TRUE(named.burned_in_annotation);
  EXPECT_EQ(named.object_uid, "1.2.3.44");
  const auto none = facts_of("NO", "");
  EXPECT_FALSE(none.burned_in_annotation);
  EXPECT_FALSE(none.object_uid.has_value()) << "empty ones are not one object";
}

TEST(Facts, DatesWithSeparatorsAreRead) {
  using namespace std::chrono_literals;
  for (const char* text : {"2024.03.02", "2024-03-02", "2024/03/02", "20240302-20240303"}) {
    const TempFile file(changed([&](DicomBytes& f) { f.set(0x00080022, "DA", text); }));
    EXPECT_EQ(read(file.path()).value().facts.date, 2024y / 3 / 2) << text;
  }
  for (const char* text : {"02.03.2024", "2024-03/02", "2024-3-2"}) {
    const TempFile file(changed([&](DicomBytes& f) { f.set(0x00080022, "DA", text); }));
    EXPECT_FALSE(read(file.path()).value().facts.date.has_value()) << text;
  }
}

TEST(Facts, SideAndViewFromEveryPlace) {
  const auto facts = [](const std::function<void(DicomBytes&)>& change) {
    const TempFile file(changed(change));
    return read(file.path()).value().facts;
  };
  EXPECT_EQ(facts([](DicomBytes& f) { f.set(0x00200060, "CS", "R"); }).side, Side::kRight);
  EXPECT_EQ(facts([](DicomBytes& f) { f.set(0x00200062, "CS", "left"); }).side, Side::kLeft);
  EXPECT_EQ(facts([](DicomBytes& f) { f.set(0x00200062, "CS", "Right"); }).side, Side::kRight);
  EXPECT_FALSE(facts([](DicomBytes& f) { f.set(0x00200062, "CS", "B"); }).side.has_value());
  const auto code = [&](const std::string& value) {
    DicomBytes item;
    item.set(0x00080100, "SH", value);
    return facts([&](DicomBytes& f) { f.item(0x00540220, item); }).view;
  };
  EXPECT_EQ(code("399348003"), View::kAp);
  EXPECT_EQ(code("R-10206"), View::kAp);
  EXPECT_EQ(code("272479007"), View::kPa);
  EXPECT_EQ(code("399173006"), View::kLateral);
  EXPECT_EQ(code("399198007"), View::kLateral);
  EXPECT_EQ(code("1234"), View::kOther);
  const auto position = [&](const std::string& text) {
    return facts([&](DicomBytes& f) { f.set(0x00185101, "CS", text); }).view;
  };
  EXPECT_EQ(position("LL"), View::kLateral);
  for (const char* ap : {"AP", "A.P.", "ap hip", "AP_PELVIS"}) EXPECT_EQ(position(ap), View::kAp);
  EXPECT_EQ(position("PA"), View::kPa);
  for (const char* other : {"AX", "APOLLO", "LLO", "?", "AP OBLIQUE", "AP_OBL", "ap axial",
                            "AP INLET", "PA AX", "AP FROG LEG", "OBLIQUE"}) {
    EXPECT_EQ(position(other), View::kOther) << other;
  }
}

struct PositionRow {
  const char* text;
  View view;
};

void PrintTo(const PositionRow& row, std::ostream* out) { *out << row.text; }

class Position : public testing::TestWithParam<PositionRow> {};

TEST_P(Position, IsReadHoweverItIsWritten) {
  const TempFile file(changed([](DicomBytes& f) { f.set(0x00185101, "CS", GetParam().text); }));
  EXPECT_EQ(read(file.path()).value().facts.view, GetParam().view);
}

INSTANTIATE_TEST_SUITE_P(
    Words, Position,
    testing::Values(PositionRow{"A/P", View::kAp}, PositionRow{"A-P", View::kAp},
                    PositionRow{"a.-p.", View::kAp}, PositionRow{"P/A", View::kPa},
                    PositionRow{"Huefte a.p.", View::kAp}, PositionRow{"HIP_AP", View::kAp},
                    PositionRow{"Becken p.a.", View::kPa}, PositionRow{"HIP LAT", View::kLateral},
                    PositionRow{"Becken axial", View::kOther},
                    PositionRow{"HIP AP OBL", View::kOther}, PositionRow{"AP LAT", View::kOther},
                    PositionRow{"AP/LAT", View::kOther}, PositionRow{"AP PA", View::kOther},
                    PositionRow{"LAP", View::kOther}, PositionRow{"A", View::kOther},
                    PositionRow{"AP LL", View::kAp}));

TEST(Facts, APositionOfTwoViewsSaysSo) {
  const TempFile file(changed([](DicomBytes& f) { f.set(0x00185101, "CS", "AP LAT"); }));
  const auto notes = read(file.path()).value().facts.notes;
  EXPECT_EQ(std::count_if(notes.begin(), notes.end(),
                          [](const auto& n) { return n.starts_with("ViewPosition"); }),
            1);
}

/// A code of a view, with a modifier's meaning inside of it.
DicomBytes view_code(const std::string& value, const std::string& modifier = {},
                     const std::string& scheme = "SCT") {
  DicomBytes item;
  item.set(0x00080100, "SH", value).set(0x00080102, "SH", scheme);
  if (!modifier.empty()) {
    DicomBytes inner;
    inner.set(0x00080100, "SH", "R-102CD").set(0x00080104, "LO", modifier);
    item.item(0x00540222, inner);
  }
  return item;
}

// PS3.3 C.8.11.5: a modifier stands within the code of the view. An AP film of a leg that is turned
// out as a frog's is no frontal one; one that is taken standing is.
TEST(Facts, AModifiedViewIsNoPlainOne) {
  const auto view = [](const std::string& code, const std::string& modifier) {
    const TempFile file(
        changed([&](DicomBytes& f) { f.item(0x00540220, view_code(code, modifier)); }));
    return read(file.path()).value().facts.view;
  };
  EXPECT_EQ(view("399348003", "frog leg"), View::kOther);
  EXPECT_EQ(view("399348003", "Oblique"), View::kOther);
  EXPECT_EQ(view("272479007", "axial"), View::kOther);
  EXPECT_EQ(view("399348003", "Weight-bearing"), View::kAp);
  EXPECT_EQ(view("399173006", "frog leg"), View::kLateral);
}

TEST(Facts, OfTwoViewsTheRarerOneIsTaken) {
  const auto facts = [](const std::string& position, const std::string& code,
                        const std::string& scheme = "SCT") {
    const TempFile file(changed([&](DicomBytes& f) {
      f.set(0x00185101, "CS", position).item(0x00540220, view_code(code, {}, scheme));
    }));
    return read(file.path()).value().facts;
  };
  const auto two = facts("AP", "399173006");
  EXPECT_EQ(two.view, View::kLateral);
  ASSERT_EQ(two.notes.size(), 1U);
  EXPECT_THAT(two.notes[0], testing::HasSubstr("name two views"));
  EXPECT_EQ(facts("PA", "399348003").view, View::kPa);
  EXPECT_EQ(facts("AP", "1234").view, View::kOther);
  EXPECT_EQ(facts("AP", "1234", "99HOUSE").view, View::kAp) << "a device's own code may mean AP";
  EXPECT_EQ(facts("LL", "399348003").view, View::kLateral);
  EXPECT_TRUE(facts("AP", "399348003").notes.empty());
  EXPECT_EQ(facts("HIP", "399348003").view, View::kAp);
}

TEST(Facts, PatientKeyTellsPatientsApartAndHidesThem) {
  const auto key = [](const std::string& id) {
    const TempFile file(film_of(wedge(kWidth, kHeight)).set(0x00100020, "LO", id).file());
    return read(file.path()).value().facts.patient_key;
  };
  const auto one = key("TM-0001");
  ASSERT_TRUE(one.has_value());
  EXPECT_EQ(one, key("TM-0001 "));
  EXPECT_NE(one, key("TM-0002"));
  EXPECT_EQ(one->find("0001"), std::string::npos);
}

// Cyrillic in ISO 8859-5: of one length, and without a letter of ASCII.
TEST(Facts, PatientKeyTellsIdsBeyondAsciiApart) {
  const auto key = [](const std::string& id) {
    const TempFile file(film_of(wedge(kWidth, kHeight))
                            .set(0x00080005, "CS", "ISO_IR 144")
                            .set(0x00100020, "LO", id)
                            .file());
    return read(file.path()).value().facts.patient_key.value();
  };
  EXPECT_FALSE(may_be_same_patient(key("\xB0\xB1-17"), key("\xB2\xB3-17")));
  EXPECT_TRUE(may_be_same_patient(key("\xB0\xB1-17"), key("\xB0\xB1-17 ")));
  const std::string longer(70, 'x');  // cut after 64 letters both would be one
  EXPECT_FALSE(may_be_same_patient(key(longer + "1"), key(longer + "2")));
}

// An archive that reads films from a disc may drop or add the issuer.
TEST(Facts, IssuersOfIdsCountWhereBothFilmsNameOne) {
  const auto key = [](const std::string& id, const std::string& issuer) {
    auto film = film_of(wedge(kWidth, kHeight)).set(0x00100020, "LO", id);
    if (!issuer.empty()) film.set(0x00100021, "LO", issuer);
    const TempFile file(film.file());
    return read(file.path()).value().facts.patient_key.value();
  };
  EXPECT_TRUE(may_be_same_patient(key("17", "HOUSE A"), key("17", "")));
  EXPECT_TRUE(may_be_same_patient(key("17", ""), key("17", "HOUSE A")));
  EXPECT_TRUE(may_be_same_patient(key("17", "HOUSE A"), key("17", "HOUSE A")));
  EXPECT_FALSE(may_be_same_patient(key("17", "HOUSE A"), key("17", "HOUSE B")));
  EXPECT_FALSE(may_be_same_patient(key("17", "HOUSE A"), key("18", "")));
}

TEST(Facts, TextOfTheHeaderIsPlainAscii) {
  const TempFile file(
      film_of(wedge(kWidth, kHeight))
          .set(0x00180015, "CS", "\x1b[31m\xff\xfe H\xc3\xbc" + std::string(500, 'x'))
          .file());
  const auto film = read(file.path());
  ASSERT_TRUE(film.has_value());
  ASSERT_TRUE(film->facts.body_part.has_value());
  EXPECT_LE(film->facts.body_part->size(), 64U);
  for (const char c : *film->facts.body_part) EXPECT_TRUE(c >= ' ' && c <= '~');
}

}  // namespace
}  // namespace tidemark::film
