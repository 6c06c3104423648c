// Damaged and hostile files: whatever the bytes are, the answer is a film or one sentence, soon,
// and within 1 GiB.

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cstdint>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iterator>
#include <ostream>
#include <random>
#include <string>
#include <thread>

#include "film/dicom_bytes.h"
#include "testdata.h"
#include "tidemark/film/film.h"
#include "tidemark/film/stored.h"

// Under the address sanitizer neither the address space nor the resident set is the program's own:
// shadow, red zones and freed blocks held back count as well. Only the exit is judged there.
#if defined(__SANITIZE_ADDRESS__)
#define TIDEMARK_UNDER_ASAN 1
#endif

namespace tidemark::film {
namespace {

using test::DicomBytes;
using test::film_of;
using test::long_word;
using test::TempFile;
using test::wedge;
using test::words;

std::string content_of(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::string testdata(const std::string& name) {
  return content_of(tidemark::test::testdata() / name);
}

void expect_sentence(const Error& error) {
  EXPECT_EQ(error.kind, ErrorKind::kBadInput);
  EXPECT_FALSE(error.subject.empty());
  EXPECT_FALSE(error.wrong.empty());
  EXPECT_FALSE(error.remedy.empty());
  EXPECT_EQ(error.sentence().find('\n'), std::string::npos);
}

// --- cut off ---------------------------------------------------------------------------------

struct CutRow {
  std::string name;
  std::function<std::string()> content;
  std::size_t stride;  // 1 = cut at every byte

  friend void PrintTo(const CutRow& row, std::ostream* os) { *os << row.name; }
};

class CutOff : public testing::TestWithParam<CutRow> {};

/// Every beginning of a file is refused, or (when only bytes after the pixels are gone) reads as
/// the whole file does. It never gives other pixels.
TEST_P(CutOff, IsRefusedOrStillTheSameFilm) {
  const std::string content = GetParam().content();
  const TempFile file(content);
  const auto whole = read_stored(file.path());
  ASSERT_TRUE(whole.has_value()) << whole.error().sentence();
  std::size_t refused = 0;
  std::size_t tried = 0;
  for (std::size_t n = content.size(); n-- > 0;) {
    if (n % GetParam().stride != 0 && n + 64 < content.size() && n > 1024) continue;
    std::filesystem::resize_file(file.path(), n);
    const auto cut = read_stored(file.path());
    ++tried;
    if (cut) {
      ASSERT_EQ(cut->values.values, whole->values.values) << "cut after " << n;
    } else {
      ++refused;
      expect_sentence(cut.error());
    }
  }
  EXPECT_GT(refused, tried - 300);  // bytes that may go without harm: padding, end markers
}

CutRow cut_row(const std::string& name, const std::string& path, std::size_t stride) {
  return {name, [path] { return testdata(path); }, stride};
}

INSTANTIATE_TEST_SUITE_P(
    Files, CutOff,
    testing::Values(
        cut_row("ExplicitLittle", "dicom-edge-cases/CR_16x16_monochrome1_imagerspacing.dcm", 1),
        cut_row("BigEndian", "dicom-edge-cases/MR_small_bigendian.dcm", 7),
        cut_row("Rle", "dicom-edge-cases/MR_small_RLE.dcm", 5),
        cut_row("JpegLs", "dicom-edge-cases/MR_small_jpeg_ls_lossless.dcm", 3),
        cut_row("Jpeg12", "dicom-edge-cases/JPGExtended.dcm", 11),
        cut_row("Deflated", "dicom-edge-cases/image_dfl.dcm", 3),
        cut_row("Jpeg2000", "radiographs/RG3_J2KI.dcm", 20011),
        cut_row("EightBitVoi", "dicom-edge-cases/vlut_04.dcm", 4093),
        cut_row("Png16", "films/wedge16.png", 1), cut_row("Png8", "films/wedge8.png", 1),
        cut_row("Tiff16", "films/wedge16.tif", 13), cut_row("TiffLzw", "films/wedge16-lzw.tif", 1),
        cut_row("Jpeg", "films/wedge8.jpg", 1)),
    [](const auto& row) { return row.param.name; });

// --- flipped bytes ---------------------------------------------------------------------------

class Flipped : public testing::TestWithParam<CutRow> {};

/// Bytes replaced at random (fixed seed): more often in the header, where they do most harm.
TEST_P(Flipped, NeverCrashesOrHangs) {
  const std::string content = GetParam().content();
  std::mt19937 random(20240305U);
  const auto below = [&](std::size_t n) {
    return static_cast<std::size_t>(random() % static_cast<std::uint32_t>(n));
  };
  const TempFile file(content);
  const std::clock_t start = std::clock();
  for (std::size_t round = 0; round < GetParam().stride; ++round) {
    std::string bad = content;
    const std::size_t flips = 1 + below(8);
    for (std::size_t i = 0; i < flips; ++i) {
      const bool in_header = below(4) != 0;
      const std::size_t reach = in_header ? std::min<std::size_t>(bad.size(), 2048) : bad.size();
      bad[below(reach)] = static_cast<char>(random() & 0xFFU);
    }
    std::ofstream(file.path(), std::ios::binary) << bad;
    const auto film = read(file.path());
    if (!film) expect_sentence(film.error());
    if (film) {
      EXPECT_FALSE(film->pixels.empty());
    }
  }
  // A hang, not a speed; processor time, so that busy neighbours are none. (One that waits without
  // running falls to CTest's time limit.)
  EXPECT_LT(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC, 120.0);
}

INSTANTIATE_TEST_SUITE_P(
    Files, Flipped,
    testing::Values(cut_row("ExplicitLittle",
                            "dicom-edge-cases/CR_16x16_monochrome1_imagerspacing.dcm", 3000),
                    cut_row("BigEndian", "dicom-edge-cases/MR_small_bigendian.dcm", 500),
                    cut_row("Rle", "dicom-edge-cases/MR_small_RLE.dcm", 500),
                    cut_row("JpegLs", "dicom-edge-cases/MR_small_jpeg_ls_lossless.dcm", 500),
                    cut_row("Jpeg12", "dicom-edge-cases/JPGExtended.dcm", 300),
                    cut_row("Deflated", "dicom-edge-cases/image_dfl.dcm", 500),
                    cut_row("Jpeg2000", "radiographs/RG3_J2KI.dcm", 30),
                    cut_row("Sequences", "dicom-edge-cases/nested_priv_SQ.dcm", 500),
                    cut_row("Png16", "films/wedge16.png", 1000),
                    cut_row("Tiff16", "films/wedge16.tif", 500),
                    cut_row("TiffLzw", "films/wedge16-lzw.tif", 500),
                    cut_row("Jpeg", "films/wedge8.jpg", 1000)),
    [](const auto& row) { return row.param.name; });

// --- damaged JPEG data -------------------------------------------------------------------------

/// The film with `count` bytes of its entropy-coded data replaced by others, none a marker's first.
std::string damaged_inside(std::string content, std::size_t count, std::uint32_t seed) {
  constexpr std::size_t kScanHeader = 10;  // of one component
  const std::size_t first = content.find("\xFF\xDA") + kScanHeader;
  const std::size_t last = content.rfind("\xFF\xD9");
  std::mt19937 random(seed);
  for (std::size_t i = 0; i < count; ++i) {
    char& byte = content[first + random() % (last - first)];
    byte = static_cast<char>((static_cast<unsigned char>(byte) + 1 + random() % 250) % 255);
  }
  return content;
}

/// Of 40 films with so many damaged bytes, those that were read with other pixels.
int quietly_damaged(std::size_t count) {
  const std::string content = testdata("dicom-edge-cases/JPGExtended.dcm");
  const TempFile file(content);
  const auto whole = read_stored(file.path());
  EXPECT_TRUE(whole.has_value());
  int quiet = 0;
  for (std::uint32_t seed = 0; seed < 40; ++seed) {
    std::ofstream(file.path(), std::ios::binary) << damaged_inside(content, count, seed);
    const auto film = read_stored(file.path());
    if (!film) expect_sentence(film.error());
    quiet += film && film->values.values != whole->values.values ? 1 : 0;
  }
  return quiet;
}

// The decoder warns and goes on with made-up pixels where codes are none or run out. What stays
// quiet are changed values that keep the number of their bits: JPEG has no check sum (ITU-T T.81),
// and a walk through the codes by our own sees no fault in them either (tried).
TEST(DamagedJpeg, IsNoFilm) {
  EXPECT_LE(quietly_damaged(40), 10);
  EXPECT_LE(quietly_damaged(8), 14);
}

// The decoder's warnings are those of the process; each film has to answer for its own.
TEST(DamagedJpeg, DoesNotSpoilFilmsThatAreReadBesideIt) {
  const std::string content = testdata("dicom-edge-cases/JPGExtended.dcm");
  const TempFile good(content);
  const TempFile bad(damaged_inside(content, 40, 0));
  ASSERT_FALSE(read_stored(bad.path()).has_value());
  std::atomic<bool> stop{false};
  std::thread other([&] {
    while (!stop) static_cast<void>(read_stored(bad.path()));
  });
  int refused = 0;
  for (int i = 0; i < 50; ++i) refused += read_stored(good.path()) ? 0 : 1;
  stop = true;
  other.join();
  EXPECT_EQ(refused, 0);
}

// --- memory and stack ------------------------------------------------------------------------

struct Cost {
  int status = 0;          // of waitpid
  double megabytes = 0.0;  // largest resident set; 0 under the address sanitizer
  double seconds = 0.0;    // of processor
};

/// Reads a file in a process of its own that may have 1 GiB of address space in all. Exit 0: a
/// film, 3: refused.
Cost read_apart(const std::filesystem::path& path) {
  const pid_t child = ::fork();
  if (child == 0) {
#ifndef TIDEMARK_UNDER_ASAN
    const rlimit limit{rlim_t{1} << 30U, rlim_t{1} << 30U};
    ::setrlimit(RLIMIT_AS, &limit);
#endif
    const auto film = read(path);
    ::_exit(film ? 0 : 3);
  }
  Cost cost;
  rusage usage{};
  ::wait4(child, &cost.status, 0, &usage);
#ifndef TIDEMARK_UNDER_ASAN
  cost.megabytes = static_cast<double>(usage.ru_maxrss) / 1024.0;
#endif
  const auto seconds = [](const timeval& t) {
    return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
  };
  cost.seconds = seconds(usage.ru_utime) + seconds(usage.ru_stime);
  return cost;
}

struct CostRow {
  std::string name;
  std::function<std::string()> content;
  int exit_code;

  friend void PrintTo(const CostRow& row, std::ostream* os) { *os << row.name; }
};

class Cost1GiB : public testing::TestWithParam<CostRow> {};

TEST_P(Cost1GiB, IsEnoughForAnyFile) {
  const TempFile file(GetParam().content());
  const Cost cost = read_apart(file.path());
  ASSERT_TRUE(WIFEXITED(cost.status)) << "signal " << WTERMSIG(cost.status);
  EXPECT_EQ(WEXITSTATUS(cost.status), GetParam().exit_code);
  EXPECT_LT(cost.megabytes, 1024.0);
  EXPECT_LT(cost.seconds, 30.0);  // a hang, not a speed
  RecordProperty("megabytes", static_cast<int>(cost.megabytes));
}

std::string header_only(DicomBytes film) { return film.drop(0x7FE00010).file(); }

/// Pixel data whose length field claims a gigabyte.
std::string claims_a_gigabyte() {
  return header_only(film_of(wedge(64, 64))) + words({0x7FE0, 0x0010}) + "OW" +
         std::string(2, '\0') + long_word(1U << 30U) + std::string(5000, 'x');
}

/// A private element in the middle of the header that claims a gigabyte.
std::string gigabyte_in_the_header() {
  DicomBytes start;
  start.set(0x00080060, "CS", "DX");
  return start.file() + words({0x0009, 0x1001}) + "UN" + std::string(2, '\0') +
         long_word(0x40000000U) + film_of(wedge(64, 64)).dataset();
}

/// Sequences within sequences, all of undefined length.
std::string nested(int depth) {
  std::string out = header_only(film_of(wedge(64, 64)));
  for (int i = 0; i < depth; ++i) {
    out += words({0x7001, 0x1001}) + "SQ" + std::string(2, '\0') + long_word(0xFFFFFFFFU) +
           words({0xFFFE, 0xE000}) + long_word(0xFFFFFFFFU);
  }
  return out;
}

/// Very many tiny elements, in falling order, which is the worst for a sorted list.
std::string many_elements(int count) {
  std::string out = header_only(film_of(wedge(64, 64)));
  for (int i = count; i > 0; --i) {
    out += words({static_cast<std::uint16_t>(0x3001 + 2 * (i >> 16)),
                  static_cast<std::uint16_t>(i & 0xFFFF)}) +
           "US" + words({2, 7});
  }
  return out;
}

std::string big_film(int width, int height) { return film_of(wedge(width, height)).file(); }

INSTANTIATE_TEST_SUITE_P(
    Hostile, Cost1GiB,
    testing::Values(CostRow{"ClaimsAGigabyte", claims_a_gigabyte, 3},
                    CostRow{"GigabyteInTheHeader", gigabyte_in_the_header, 3},
                    CostRow{"Nested100000", [] { return nested(100'000); }, 3},
                    CostRow{"Nested1000", [] { return nested(1'000); }, 3},
                    CostRow{"HalfAMillionElements", [] { return many_elements(500'000); }, 3},
                    CostRow{"ZeroBomb", [] { return testdata("broken/deflated-bomb.dcm"); }, 3},
                    CostRow{"PngBomb", [] { return testdata("broken/bomb.png"); }, 3},
                    CostRow{"TiffClaims", [] { return testdata("broken/claims.tif"); }, 3},
                    CostRow{"JpegClaims", [] { return testdata("broken/claims.jpg"); }, 3},
                    CostRow{"TooManyMegapixels", [] { return big_film(9000, 9000); }, 3},
                    CostRow{"LargestFilm", [] { return big_film(8192, 8192); }, 0}),
    [](const auto& row) { return row.param.name; });

TEST(Cost1GiB, LargestFilmTurnedAndStretched) {
  const TempFile file(film_of(wedge(8192, 4096))
                          .set(0x00200020, "CS", "F\\R")
                          .set(0x00181164, "DS", "0.2\\0.1")
                          .file());
  const Cost cost = read_apart(file.path());
  ASSERT_TRUE(WIFEXITED(cost.status)) << "signal " << WTERMSIG(cost.status);
  EXPECT_EQ(WEXITSTATUS(cost.status), 0);
  EXPECT_LT(cost.megabytes, 1024.0);
}

TEST(Cost1GiB, AFileOfHalfATerabyteIsNotRead) {
  const TempFile file(big_film(64, 64));
  std::filesystem::resize_file(file.path(), std::uintmax_t{1} << 39U);  // a sparse file
  const Cost cost = read_apart(file.path());
  ASSERT_TRUE(WIFEXITED(cost.status));
  EXPECT_EQ(WEXITSTATUS(cost.status), 3);
  EXPECT_LT(cost.megabytes, 200.0);
}

}  // namespace
}  // namespace tidemark::film
