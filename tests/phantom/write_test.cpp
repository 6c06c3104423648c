#include "tidemark/phantom/write.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <string>

#include "scratch.h"
#include "testdata.h"

namespace tidemark::phantom {
namespace {

namespace fs = std::filesystem;

std::string bytes_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// What a command prints on both channels.
std::string output_of(const std::string& command) {
  std::FILE* pipe = popen((command + " 2>&1").c_str(), "r");
  std::string text;
  std::array<char, 4096> part{};
  while (std::fgets(part.data(), part.size(), pipe) != nullptr) text += part.data();
  pclose(pipe);
  return text;
}

/// A small case on disk for as long as the object lives.
class SmallCase {
 public:
  explicit SmallCase(unsigned threads, std::uint64_t seed = 21) {
    CaseOptions options;
    options.pixel_pitch.value = 0.7;
    const auto written = write_case(folder_.path(), random_case(seed, 7, options), threads);
    EXPECT_TRUE(written.has_value()) << written.error().sentence();
  }
  [[nodiscard]] const fs::path& folder() const { return folder_.path(); }

 private:
  test::Scratch folder_;
};

/// One case for all tests that only look.
const fs::path& shared_case() {
  static const SmallCase shared(2);
  return shared.folder();
}

/// Binary STL (from memory): 80 bytes, the number of triangles, 50 bytes each. The stem has its
/// volume on either side and in any frame.
TEST(WriteStl, HoldsTheStemInAFrameOfItsOwn) {
  const CaseSpec spec = random_case(3, 1, {});
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  const TriangleMesh mesh = stem_surface(**model, spec);
  EXPECT_TRUE(is_closed(mesh));
  EXPECT_GT(signed_volume(mesh), 15000.0);  // mm3: 120 x 13 x 10 at least
  const test::Scratch folder;
  ASSERT_TRUE(write_stl(folder / "stem.stl", mesh).has_value());
  EXPECT_EQ(fs::file_size(folder / "stem.stl"), 84 + 50 * mesh.triangles.size());
  const auto read = read_surface(folder / "stem.stl");
  ASSERT_TRUE(read.has_value()) << read.error().sentence();
  EXPECT_NEAR(signed_volume(*read), signed_volume(mesh), 1e-3 * signed_volume(mesh));
}

TEST(WriteCase, SameCaseSameBytesOnAnyNumberOfThreads) {
  const SmallCase one_thread(1);
  const fs::path& a = one_thread.folder();
  const fs::path& b = shared_case();
  for (const char* file : {"film-00.dcm", "film-01.dcm", "truth.json", "series.json"}) {
    ASSERT_FALSE(bytes_of(a / file).empty()) << file;
    EXPECT_EQ(bytes_of(a / file), bytes_of(b / file)) << file;
  }
}

using Json = nlohmann::json;

bool is_point(const Json& json) {
  return json.is_array() && json.size() == 2 && json[0].is_number() && json[1].is_number();
}

/// Holds the truth of a left hip against that of the same hip on the right: points in px are mirror
/// images, the film's turn has the other sign, all else is the same.
/// @return how many points there were
int expect_twins(const Json& left, const Json& right, const std::string& key, int columns) {
  if (key == "side") return 0;
  if (key == "turn_deg") {
    EXPECT_EQ(left.get<double>(), -right.get<double>());
    return 0;
  }
  if (is_point(left) && !key.ends_with("_mm")) {
    EXPECT_NEAR(left[0].get<double>(), columns - 1 - right[0].get<double>(), 2e-4) << key;
    EXPECT_EQ(left[1], right[1]) << key;
    return 1;
  }
  if (!left.is_structured()) {
    EXPECT_EQ(left, right) << key;
    return 0;
  }
  EXPECT_EQ(left.size(), right.size()) << key;
  int points = 0;
  for (const auto& [name, value] : left.items()) {
    const Json& other = left.is_object() ? right.at(name) : right.at(std::stoul(name));
    points += expect_twins(value, other, left.is_object() ? name : key, columns);
  }
  return points;
}

// docs/truth.md: a left hip is the mirror image of the right one, in every point of its truth.
TEST(WriteCase, TheTruthOfALeftHipIsThatOfItsRightTwinMirrored) {
  CaseOptions options;
  options.pixel_pitch.value = 0.7;
  options.set = CaseSet::kLysis;
  options.follow_ups = 1;
  CaseSpec spec = random_case(31, 2, options);
  const auto truth_of = [&](Side side) {
    spec.side = side;
    const test::Scratch folder;
    EXPECT_TRUE(write_case(folder.path(), spec, 2).has_value());
    return Json::parse(bytes_of(folder.path() / "truth.json"));
  };
  const Json left = truth_of(Side::kLeft);
  const Json right = truth_of(Side::kRight);
  ASSERT_EQ(left["films"].size(), 2U);
  EXPECT_NE(left["films"][1]["beam"]["turn_deg"], 0.0);
  ASSERT_FALSE(left["films"][1]["cavities"].empty());
  // Head, cup, five points, two axes, entry and the beam's centre; the cavities of the second film.
  for (std::size_t i = 0; i < 2; ++i) {
    const int cavities = i == 0 ? 0 : static_cast<int>(left["films"][i]["cavities"].size());
    EXPECT_EQ(expect_twins(left["films"][i], right["films"][i], "", spec.films[i].beam.columns),
              13 + cavities);
  }
  expect_twins(left["comparisons"], right["comparisons"], "", 0);
}

// An independent checker of DICOM objects (dicom3tools) and an independent reader.
TEST(WriteCase, FilmsAreValidDigitalXRayImages) {
  for (const std::uint64_t seed : {22U, 23U}) {
    const SmallCase small(2, seed);
    const fs::path& folder = small.folder();
    for (const char* file : {"film-00.dcm", "film-01.dcm"}) {
      const std::string report = output_of("dciodvfy " + (folder / file).string());
      EXPECT_NE(report.find("DXImageForPresentation"), std::string::npos) << report;
      EXPECT_EQ(report.find("Error"), std::string::npos) << report;
    }
  }
}

TEST(WriteCase, AnotherReaderFindsPixelsAndGeometry) {
  const fs::path& folder = shared_case();
  const std::string script =
      "import pydicom,sys\n"
      "d=pydicom.dcmread(sys.argv[1]); a=d.pixel_array\n"
      "assert a.shape==(d.Rows,d.Columns) and a.max()<2**d.BitsStored and a.std()>0\n"
      "assert d.Modality=='DX' and d.ViewPosition=='AP' and d.PatientID=='PHANTOM-0007'\n"
      "assert list(d.PatientOrientation)==['L','F'] and 'PixelSpacing' not in d\n"
      "assert d.file_meta.MediaStorageSOPInstanceUID==d.SOPInstanceUID\n"
      "assert d.SOPInstanceUID.startswith('2.25.') and d.SOPInstanceUID.is_valid\n"
      "assert 900<d.DistanceSourceToDetector<1400 and d.ImagerPixelSpacing[0]>0.5\n"
      "print('good')\n";
  const fs::path file = folder / "check.py";
  std::ofstream(file) << script;
  const std::string said =
      output_of("/usr/bin/python3 " + file.string() + " " + (folder / "film-01.dcm").string());
  EXPECT_EQ(said, "good\n");
}

TEST(WriteCase, TruthAndSeriesTellTheSameStory) {
  const fs::path& folder = shared_case();
  const auto truth = nlohmann::json::parse(bytes_of(folder / "truth.json"));
  const auto series = nlohmann::json::parse(bytes_of(folder / "series.json"));
  EXPECT_EQ(truth["schema"], "tidemark/truth/1");
  EXPECT_EQ(truth["side"], series["side"]);
  EXPECT_EQ(truth["head_diameter_mm"], series["stem"]["head_diameter_mm"]);
  ASSERT_EQ(truth["films"].size(), series["films"].size());
  EXPECT_EQ(truth["comparisons"][0]["subsidence_mm"],
            truth["films"][1]["migration"]["subsidence_mm"]);
  // Derived: the shadow's diameter is the head's over the scale, but for the head's own depth.
  const auto& film = truth["films"][0];
  EXPECT_NEAR(film["head"]["diameter_px"].get<double>() * film["mm_per_px"].get<double>(),
              truth["head_diameter_mm"].get<double>(), 0.6);
}

TEST(WriteCase, TruthKeepsToItsSchema) {
  const fs::path& folder = shared_case();
  const std::string schema = tidemark::test::testdata().string() + "/../docs/schemas/truth.json";
  const fs::path file = folder / "check.py";
  std::ofstream(file) << "import json,sys,jsonschema\n"
                         "s=json.load(open(sys.argv[1]));d=json.load(open(sys.argv[2]))\n"
                         "jsonschema.Draft7Validator.check_schema(s);jsonschema.validate(d,s)\n"
                         "d['films'][0].pop('tilt_deg')\n"
                         "try: jsonschema.validate(d,s)\n"
                         "except jsonschema.ValidationError: print('good')\n";
  EXPECT_EQ(output_of("/usr/bin/python3 " + file.string() + " " + schema + " " +
                      (folder / "truth.json").string()),
            "good\n");
}

/// What must hold of the lines of any film, whatever they are.
void expect_consistent(const nlohmann::json& film) {
  const auto& zones = film["lucency"]["zones"];
  const int first = film["view"] == "LAT" ? 8 : 1;
  ASSERT_EQ(zones.size(), 7U);
  for (std::size_t i = 0; i < 7; ++i) {
    const auto& zone = zones[i];
    EXPECT_EQ(zone["zone"], first + static_cast<int>(i));
    const double length = zone["length_mm"];
    for (const auto& line : zone["lines"]) {
      const double from = line["from_mm"];
      const double to = line["to_mm"];
      EXPECT_GE(from, 0.0);
      EXPECT_LT(from, to);
      EXPECT_LE(to, length + 1e-4);
      EXPECT_NEAR(line["fraction"].get<double>(), (to - from) / length, 1e-4);
      EXPECT_GT(line["width_mm"], 0.0);
      EXPECT_EQ(line["rim"].get<bool>(), line.contains("rim_mm"));
    }
  }
}

// Lateral films of the set "lucency": zones 8 to 14, the entry on the side of the back.
TEST(WriteCase, LinesOfLateralFilmsAreTold) {
  CaseOptions options;
  options.set = CaseSet::kLucency;
  options.pixel_pitch.value = 2.0;
  options.lateral = 2;
  const CaseSpec spec = random_case(21, 7, options);
  const test::Scratch folder;
  ASSERT_TRUE(write_case(folder.path(), spec, 2).has_value());
  const auto truth = nlohmann::json::parse(bytes_of(folder / "truth.json"));
  ASSERT_EQ(truth["films"].size(), 4U);
  EXPECT_EQ(truth["comparisons"].size(), 1U);
  int lines = 0;
  for (std::size_t i = 0; i < 4; ++i) {
    const auto& film = truth["films"][i];
    EXPECT_EQ(film["view"], i < 2 ? "AP" : "LAT");
    expect_consistent(film);
    // Medial and back lie at the film's right in a right hip, at its left in a left one.
    const auto x = [&](const nlohmann::json& px) { return px[0].get<double>(); };
    const double beside = x(film["lucency"]["entry_px"]) - x(film["stem_axis_px"][0]);
    EXPECT_GT(spec.side == Side::kLeft ? -beside : beside, 0.0) << i;
    const std::string says = output_of("dcmdump +P 0020,0020 " +
                                       (folder.path() / film["file"].get<std::string>()).string());
    const char* row = i < 2 ? "[L\\F]" : beside > 0.0 ? "[P\\F]" : "[A\\F]";
    EXPECT_NE(says.find(row), std::string::npos) << says;
    if (i < 2) continue;
    for (const auto& zone : film["lucency"]["zones"]) {
      lines += static_cast<int>(zone["lines"].size());
    }
  }
  EXPECT_GE(lines, static_cast<int>(spec.films[2].gaps.size() + spec.films[3].gaps.size()));
  const fs::path file = folder / "check.py";
  std::ofstream(file) << "import json,sys,jsonschema\n"
                         "jsonschema.validate(*(json.load(open(f)) for f in sys.argv[1:]))\n"
                         "print('good')\n";
  const std::string schema = tidemark::test::testdata().string() + "/../docs/schemas/truth.json";
  EXPECT_EQ(output_of("/usr/bin/python3 " + file.string() + " " + (folder / "truth.json").string() +
                      " " + schema),
            "good\n");
}

TEST(WriteDicom, WrongTagSaysTheOtherKind) {
  CaseSpec spec = random_case(3, 2, {});
  spec.films[0].processing.photometric = Photometric::kMonochrome2;
  spec.films[0].photometric_tag = PhotometricTag::kWrong;
  const test::Scratch folder;
  const fs::path file = folder / "film.dcm";
  ASSERT_TRUE(write_dicom(file, RasterOf<std::uint16_t>(8, 8, 5), spec, 0).has_value());
  EXPECT_NE(output_of("dcmdump +P 0028,0004 " + file.string()).find("MONOCHROME1"),
            std::string::npos);
}

TEST(WriteCase, SaysSoWhenTheFolderCannotBeMade) {
  const test::Scratch folder;
  const fs::path file = folder / "file";
  std::ofstream(file) << "x";
  const auto written = write_case(file / "below", random_case(1, 1, {}), 1);
  ASSERT_FALSE(written.has_value());
  EXPECT_EQ(written.error().kind, ErrorKind::kNotWritable);
}

TEST(WriteCase, ALateralFilmIsListedAndComparedWithNone) {
  CaseOptions options;
  options.pixel_pitch.value = 2.0;
  options.lateral = 1;
  const test::Scratch folder;
  ASSERT_TRUE(write_case(folder.path(), random_case(21, 7, options), 2).has_value());
  const auto sheet = nlohmann::json::parse(bytes_of(folder.path() / "series.json"));
  EXPECT_EQ(sheet["films"].size(), 3U);
  EXPECT_EQ(sheet["films"][2]["view"], "LAT");
  EXPECT_EQ(sheet["films"][2]["date"], sheet["films"][0]["date"]);
  const auto truth = nlohmann::json::parse(bytes_of(folder.path() / "truth.json"));
  EXPECT_EQ(truth["comparisons"].size(), 1U);
  EXPECT_EQ(truth["films"][2]["view"], "LAT");
  options.lateral = 0;  // the other films stay what they are
  const CaseSpec without = random_case(21, 7, options);
  EXPECT_EQ(without.films.size(), 2U);
  EXPECT_EQ(truth["films"][1]["pose_deg"]["flexion"],
            std::round(without.films[1].pose.flexion.value * 1e4) / 1e4);
}

}  // namespace
}  // namespace tidemark::phantom
