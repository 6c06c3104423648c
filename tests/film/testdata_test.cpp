// Every file of testdata/ that a film reader may meet: read rightly, or refused with this sentence.

#include "testdata.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <ostream>
#include <set>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "film/dicom_bytes.h"
#include "tidemark/core/hash.h"
#include "tidemark/film/calibration.h"
#include "tidemark/film/film.h"
#include "tidemark/film/stored.h"

namespace tidemark::film {
namespace {

using testing::HasSubstr;

std::filesystem::path testdata(const std::string& name) {
  return tidemark::test::testdata() / name;
}

Expected<Calibration> scale_of(const FilmImage& film) {
  ScaleSources sources;
  sources.dicom = film.facts.scale;
  return calibrate(sources);
}

/// `answer`: what comes after the file's name in the sentence; empty for a film that is read.
struct FileRow {
  std::string file;
  std::string answer;

  friend void PrintTo(const FileRow& row, std::ostream* os) { *os << row.file; }
};

const char* const kNoImage =
    "not an image (neither DICOM, PNG, TIFF nor JPEG); give the radiograph itself";
const char* const kSlice = "not a radiograph (modality MR); leave it out";
const char* const kPlan = "no pixel data (modality RTPLAN, not a radiograph); leave it out";

std::string ends_after(const std::string& bytes) {
  return "no pixel data (the file ends after " + bytes +
         " bytes); export it again from the archive";
}

const std::vector<FileRow>& rows() {
  static const std::vector<FileRow> all{
      {"dicom-edge-cases/CR_16x16_monochrome1_imagerspacing.dcm", ""},
      {"dicom-edge-cases/ExplVR_BigEnd.dcm", "a colour image (RGB); export it as a greyscale film"},
      {"dicom-edge-cases/ExplVR_BigEndNoMeta.dcm", kPlan},
      {"dicom-edge-cases/ExplVR_LitEndNoMeta.dcm", kPlan},
      {"dicom-edge-cases/J2K_pixelrep_mismatch.dcm",
       "not a radiograph (modality CT); leave it out"},
      {"dicom-edge-cases/JPEG2000-embedded-sequence-delimiter.dcm",
       "the size inside the JPEG 2000 data is not the size in the header; export it again from the "
       "archive"},
      {"dicom-edge-cases/JPGExtended.dcm", "not a radiograph (modality NM); leave it out"},
      {"dicom-edge-cases/MR_small_RLE.dcm", kSlice},
      {"dicom-edge-cases/MR_small_bigendian.dcm", kSlice},
      {"dicom-edge-cases/MR_small_jpeg_ls_lossless.dcm", kSlice},
      {"dicom-edge-cases/MR_small_padded.dcm", kSlice},
      {"dicom-edge-cases/MR_truncated.dcm",
       "the file ends too early, after 9,630 bytes; export it again from the archive"},
      {"dicom-edge-cases/SC_rgb_rle_16bit.dcm",
       "a colour image (RGB); export it as a greyscale film"},
      {"dicom-edge-cases/UN_sequence.dcm", ends_after("674")},
      {"dicom-edge-cases/badVR.dcm",
       "pixels of 32 bits, where a film has 8 or 16; export it again from the archive"},
      {"dicom-edge-cases/empty_charset_LEI.dcm", ends_after("276")},
      {"dicom-edge-cases/image_dfl.dcm", ""},
      {"dicom-edge-cases/meta_missing_tsyntax.dcm",
       "no image size in the header (Rows or Columns is missing); export it again from the "
       "archive"},
      {"dicom-edge-cases/mlut_18.dcm", ""},
      {"dicom-edge-cases/nested_priv_SQ.dcm",
       "no image size in the header (Rows or Columns is missing); export it again from the "
       "archive"},
      {"dicom-edge-cases/no_meta.dcm", kNoImage},
      {"dicom-edge-cases/no_meta_group_length.dcm", ends_after("408")},
      {"dicom-edge-cases/priv_SQ.dcm", ends_after("546")},
      {"dicom-edge-cases/reportsi_with_empty_number_tags.dcm",
       "no pixel data (modality SR, not a radiograph); leave it out"},
      {"dicom-edge-cases/rtplan.dcm", kPlan},
      {"dicom-edge-cases/rtplan_truncated.dcm",
       "the file ends too early, after 2,129 bytes; export it again from the archive"},
      {"dicom-edge-cases/vlut_04.dcm", ""},
      {"radiographs/RG1_J2KI.dcm", ""},
      {"radiographs/RG3_J2KI.dcm", ""},
      {"radiographs/RG3_J2KR.dcm", ""},
      {"films/wedge-float.tif", ""},
      {"films/wedge16.png", ""},
      {"films/wedge16.tif", ""},
      {"films/wedge16-big-endian.tif", ""},
      {"films/wedge16-lzw.tif", ""},
      {"films/wedge8.jpg", ""},
      {"films/wedge8.png", ""},
      {"films/wedge8-alpha.png", ""},
      {"films/wedge8-as-rgb.dcm", ""},
      {"films/wedge8-as-rgb-j2k.dcm", ""},
      {"films/wedge8-as-rgb-jpeg.dcm", ""},
      {"films/wedge8-as-rgb-jpegls.dcm", ""},
      {"films/wedge8-as-rgb-rle.dcm", ""},
      {"films/wedge8-as-rgb.png", ""},
      {"films/wedge8-as-rgb.tif", ""},
      {"films/wedge8-palette.png", ""},
      {"films/wedge8-progressive.jpg", ""},
      {"films/wedge8-white-is-zero.tif", ""},
      {"broken/empty.dcm", "an empty file; export it again from the archive"},
      {"broken/text.dcm", kNoImage},
      {"broken/colour.png", "a colour picture; save it as a greyscale picture"},
      {"broken/colour.jpg", "a colour picture; save it as a greyscale picture"},
      {"broken/black-and-white.png", "too few grey levels; save it with 8 or 16 bits a pixel"},
      {"broken/one-pixel.png", "only 1 x 1 pixels; give the whole film"},
      {"broken/one-value.png", "every pixel has the same value; export it again from the archive"},
      {"broken/two-pages.tif",
       "a TIFF of several pages; save the page with the film as a file of its own"},
      {"broken/not-a-number.tif",
       "pixels that are no numbers; save it again as a 16-bit greyscale picture"},
      {"broken/bomb.png",
       "the header claims 30,000 x 30,000 pixels, more than any film has; export it again from the "
       "archive"},
      {"broken/mirrored.png",
       "a picture that asks to be turned or mirrored (orientation 2); save it again the way it is "
       "to be seen"},
      {"broken/turned.jpg",
       "a picture that asks to be turned or mirrored (orientation 6); save it again the way it is "
       "to "
       "be seen"},
      {"broken/mirrored.tif",
       "a picture that asks to be turned or mirrored (orientation 2); save it again the way it is "
       "to "
       "be seen"},
      {"broken/short.png", "a damaged picture; save it again as PNG or TIFF"},
      {"broken/claims.tif",
       "the header claims 60,000 x 60,000 pixels, more than any film has; export it again from the "
       "archive"},
      {"broken/tiles.tif",
       "an impossible header (tiles larger than any film); save it again as PNG or TIFF"},
      {"broken/claims.jpg",
       "the header claims 65,500 x 65,500 pixels, more than any film has; export it again from the "
       "archive"},
      {"broken/deflated-bomb.dcm",
       "a DICOM header larger or deeper than any film has; export the film again"},
  };
  return all;
}

class TestdataFile : public testing::TestWithParam<FileRow> {};

TEST_P(TestdataFile, IsReadOrRefusedWithItsSentence) {
  const auto path = testdata(GetParam().file);
  ASSERT_TRUE(std::filesystem::exists(path));
  const auto film = read(path);
  if (GetParam().answer.empty()) {
    ASSERT_TRUE(film.has_value()) << film.error().sentence();
    EXPECT_EQ(film->facts.file, path.filename().string());
    EXPECT_FALSE(film->pixels.empty());
  } else {
    ASSERT_FALSE(film.has_value());
    EXPECT_EQ(film.error().kind, ErrorKind::kBadInput);
    EXPECT_EQ(film.error().sentence(), path.filename().string() + ": " + GetParam().answer);
  }
}

INSTANTIATE_TEST_SUITE_P(All, TestdataFile, testing::ValuesIn(rows()), [](const auto& row) {
  std::string name;
  for (const char c : std::filesystem::path(row.param.file).filename().string()) {
    if (std::isalnum(static_cast<unsigned char>(c)) != 0) name += c;
  }
  return name;
});

TEST(Testdata, EveryFileHasItsRow) {
  std::set<std::string> known;
  for (const FileRow& row : rows()) known.insert(row.file);
  for (const std::string folder : {"dicom-edge-cases", "radiographs", "films", "broken"}) {
    for (const auto& entry : std::filesystem::directory_iterator(testdata(folder))) {
      const std::string name = folder + "/" + entry.path().filename().string();
      if (name.find("LICENSE") == std::string::npos) {
        EXPECT_TRUE(known.contains(name)) << name;
      }
    }
  }
}

// The values the origin of these files states, or that another decoder found (GDCM 3.0.21).
TEST(Radiographs, LosslessPixelsAreThePublishedOnes) {
  const auto film = read_stored(testdata("radiographs/RG3_J2KR.dcm"));
  ASSERT_TRUE(film.has_value());
  std::string bytes;
  for (const std::int32_t v : film->values.values) {
    bytes += static_cast<char>(v & 0xFF);
    bytes += static_cast<char>(v >> 8);
  }
  EXPECT_EQ(sha256_hex(std::as_bytes(std::span(bytes))).substr(0, 16), "85480a0287e37795");
}

TEST(Radiographs, LossyPixelsDifferByAtMostNine) {
  const auto lossless = read_stored(testdata("radiographs/RG3_J2KR.dcm"));
  const auto lossy = read_stored(testdata("radiographs/RG3_J2KI.dcm"));
  ASSERT_TRUE(lossless.has_value() && lossy.has_value());
  std::int32_t worst = 0;
  for (std::size_t i = 0; i < lossless->values.values.size(); ++i) {
    worst = std::max(worst, std::abs(lossless->values.values[i] - lossy->values.values[i]));
  }
  EXPECT_EQ(worst, 9);
}

TEST(Radiographs, NoneOfThemHasAScale) {
  for (const std::string name : {"RG1_J2KI.dcm", "RG3_J2KI.dcm", "RG3_J2KR.dcm"}) {
    const auto film = read(testdata("radiographs/" + name));
    ASSERT_TRUE(film.has_value());
    EXPECT_FALSE(film->facts.scale.pixel_spacing.has_value());  // RG1 says 0\0
    const auto scale = scale_of(*film);
    ASSERT_FALSE(scale.has_value());
    EXPECT_EQ(scale.error().kind, ErrorKind::kCannotTell);
  }
}

TEST(Radiographs, StoredMirroredIsShownWithThePatientsLeftOnTheRight) {
  const auto film = read(testdata("radiographs/RG3_J2KR.dcm"));
  const auto stored = read_stored(testdata("radiographs/RG3_J2KR.dcm"));
  ASSERT_TRUE(film.has_value() && stored.has_value());
  EXPECT_EQ(film->facts.side, Side::kRight);
  EXPECT_EQ(film->stored_from_view.apply(Vec2(0, 5)), Vec2(1759, 5));
  // MONOCHROME1 of 10 bits: low is bright, so greys are what the stored values leave of 1023.
  EXPECT_EQ(film->pixels.at(300, 700),
            1023.0F - static_cast<float>(stored->values.at(1759 - 300, 700)));
}

TEST(EdgeCases, DetectorSpacingIsNamedAndNotUsed) {
  const auto film = read(testdata("dicom-edge-cases/CR_16x16_monochrome1_imagerspacing.dcm"));
  ASSERT_TRUE(film.has_value());
  EXPECT_EQ(film->facts.scale.imager_pixel_spacing->between_rows_mm, 0.1);
  const auto scale = scale_of(*film);
  ASSERT_FALSE(scale.has_value());
  EXPECT_THAT(scale.error().wrong, HasSubstr("ImagerPixelSpacing is at the detector"));
}

// The same test pattern by way of a modality LUT (12 bits signed) and of a VOI LUT (8 bits): the
// greys must be proportional, up to the coarser one's 8 bits.
TEST(EdgeCases, BothLookUpTablesShowTheSamePattern) {
  const auto modality = read(testdata("dicom-edge-cases/mlut_18.dcm"));
  const auto voi = read(testdata("dicom-edge-cases/vlut_04.dcm"));
  ASSERT_TRUE(modality.has_value() && voi.has_value());
  ASSERT_EQ(modality->pixels.values.size(), voi->pixels.values.size());
  const auto range = [](const Raster& r) {
    const auto [low, high] = std::minmax_element(r.values.begin(), r.values.end());
    return std::pair(*low, *high);
  };
  const auto [m_low, m_high] = range(modality->pixels);
  const auto [v_low, v_high] = range(voi->pixels);
  double worst = 0.0;
  for (std::size_t i = 0; i < voi->pixels.values.size(); ++i) {
    const double m = (modality->pixels.values[i] - m_low) / (m_high - m_low);
    const double v = (voi->pixels.values[i] - v_low) / (v_high - v_low);
    worst = std::max(worst, std::abs(m - v));
  }
  EXPECT_LT(worst, 1.0 / 128.0);
}

// The wedge through every kind of picture, and through films that are stored as colour.
TEST(Pictures, HoldTheWedge) {
  for (const FileRow& row : rows()) {
    if (!row.file.starts_with("films/")) continue;
    SCOPED_TRACE(row.file);
    const auto film = read(testdata(row.file));
    ASSERT_TRUE(film.has_value());
    ASSERT_EQ(film->pixels.width, 160);
    ASSERT_EQ(film->pixels.height, 96);
    const bool eight = row.file.find("wedge8") != std::string::npos;
    const bool lossy = row.file.ends_with(".jpg") || row.file.ends_with("-jpeg.dcm");
    const float tolerance = lossy ? 3.0F : 0.0F;  // quality 95 and 98
    for (int y = 0; y < 96; ++y) {
      for (int x = 0; x < 160; ++x) {
        const int twelve = 16 * x + 4 * y;
        const auto truth = static_cast<float>(eight ? twelve >> 4 : twelve);
        ASSERT_NEAR(film->pixels.at(x, y), truth, tolerance) << x << "," << y;
      }
    }
    EXPECT_TRUE(film->stored_from_view.linear.isIdentity());
    EXPECT_FALSE(film->facts.date.has_value());
    const bool dicom = row.file.ends_with(".dcm");
    EXPECT_THAT(film->facts.notes.back(),
                HasSubstr(dicom ? "a grey film stored as colour" : "not a DICOM film"));
  }
}

std::string content_of(const std::string& name) {
  std::ifstream in(testdata(name), std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::string big_endian(std::uint32_t value, int bytes) {
  std::string out;
  for (int i = bytes - 1; i >= 0; --i) {
    out += static_cast<char>(value >> static_cast<unsigned>(8 * i) & 0xFFU);
  }
  return out;
}

/// CRC of a PNG's chunk (PNG, third edition, annex D).
std::uint32_t crc_of(const std::string& bytes) {
  std::uint32_t crc = 0xFFFFFFFFU;
  for (const char c : bytes) {
    crc ^= static_cast<unsigned char>(c);
    for (int i = 0; i < 8; ++i) crc = crc >> 1U ^ ((crc & 1U) != 0 ? 0xEDB88320U : 0U);
  }
  return ~crc;
}

/// The pictures of testdata as scans of 300 x 150 dots an inch: pixels twice as high as wide.
std::string oblong_png() {
  std::string png = content_of("films/wedge8.png");
  const std::size_t at = png.find("pHYs");
  const std::string chunk = "pHYs" + big_endian(11812, 4) + big_endian(5906, 4) + "\x01";
  return png.replace(at, chunk.size() + 4, chunk + big_endian(crc_of(chunk), 4));
}

std::string oblong_jpeg() {
  std::string jpeg = content_of("films/wedge8.jpg");
  return jpeg.replace(13, 5, "\x01" + big_endian(300, 2) + big_endian(150, 2));
}

/// Its directory written anew behind the pixels, little-endian as the file.
std::string oblong_tiff() {
  const std::string tiff = content_of("films/wedge16.tif");
  const auto little = [](std::uint32_t value, int bytes) {
    std::string out = big_endian(value, bytes);
    std::reverse(out.begin(), out.end());
    return out;
  };
  const auto size = static_cast<std::uint32_t>(tiff.size());
  const auto directory = static_cast<unsigned char>(tiff[4]);  // before the pixels, within 256
  const auto entries = static_cast<unsigned char>(tiff[directory]);
  std::string out = tiff + little(300, 4) + little(1, 4) + little(150, 4) + little(1, 4);
  std::string fresh = little(entries + 2U, 2);
  for (unsigned i = 0; i < entries; ++i) {
    const std::string entry = tiff.substr(directory + 2U + 12U * i, 12);
    if (i + 1 == entries) {  // tags rise: 282 and 283 stand before 284
      fresh += little(282, 2) + little(5, 2) + little(1, 4) + little(size, 4);
      fresh += little(283, 2) + little(5, 2) + little(1, 4) + little(size + 8, 4);
    }
    fresh += entry;
  }
  return out.replace(4, 4, little(static_cast<std::uint32_t>(out.size()), 4)) + fresh +
         little(0, 4);
}

// A circle of a head must stay one: two rows of the view for each one that is stored.
TEST(Pictures, PixelsOfUnequalResolutionAreMadeSquare) {
  for (const auto& [name, content] :
       {std::pair{"a.png", oblong_png()}, {"a.jpg", oblong_jpeg()}, {"a.tif", oblong_tiff()}}) {
    const test::TempFile file(content, name);
    const auto film = read(file.path());
    ASSERT_TRUE(film.has_value()) << name << ": " << film.error().sentence();
    EXPECT_EQ(film->pixels.width, film->facts.stored_columns) << name;
    EXPECT_EQ(film->pixels.height, 2 * film->facts.stored_rows - 1) << name;
    EXPECT_NEAR(film->stored_from_view.linear(1, 1), 0.5, 1e-4) << name;
    EXPECT_THAT(film->facts.notes.front(), HasSubstr("shape of its pixels alone")) << name;
  }
}

TEST(Pictures, PrintResolutionIsNoScale) {
  const auto film = read(testdata("films/wedge8.png"));  // 300 dots an inch
  ASSERT_TRUE(film.has_value());
  EXPECT_THAT(film->facts.notes.front(), HasSubstr("print resolution was ignored"));
  EXPECT_FALSE(scale_of(*film).has_value());
}

}  // namespace
}  // namespace tidemark::film
