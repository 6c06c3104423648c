#include <gtest/gtest.h>

#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include "testdata.h"
#include "tidemark/film/film.h"

namespace tidemark::film {
namespace {

// Films are read side by side: the decoders are shared, and results must not depend on it.
TEST(Threads, ReadTheSameFilmsAsOneThread) {
  const std::filesystem::path root = tidemark::test::testdata();
  const std::vector<std::filesystem::path> files{
      root / "dicom-edge-cases/CR_16x16_monochrome1_imagerspacing.dcm",
      root / "dicom-edge-cases/mlut_18.dcm",
      root / "dicom-edge-cases/image_dfl.dcm",
      root / "dicom-edge-cases/rtplan.dcm",
      root / "radiographs/RG3_J2KI.dcm",
      root / "films/wedge16.png",
      root / "films/wedge16-lzw.tif",
      root / "films/wedge8.jpg",
      root / "broken/short.png"};
  std::vector<Expected<FilmImage>> alone;
  for (const auto& file : files) alone.push_back(read(file));
  constexpr std::size_t kThreads = 4;
  std::vector<int> agree(kThreads, 0);
  {
    std::vector<std::jthread> threads;
    for (std::size_t t = 0; t < kThreads; ++t) {
      threads.emplace_back([&, t] {
        for (std::size_t i = 0; i < 2 * files.size(); ++i) {
          const std::size_t k = (i + t) % files.size();
          const auto film = read(files[k]);
          const bool same = film.has_value() == alone[k].has_value() &&
                            (film ? film->pixels.values == alone[k]->pixels.values &&
                                        film->facts.patient_key == alone[k]->facts.patient_key
                                  : film.error().sentence() == alone[k].error().sentence());
          agree[t] += same ? 1 : 0;
        }
      });
    }
  }
  for (const int n : agree) EXPECT_EQ(n, static_cast<int>(2 * files.size()));
}

}  // namespace
}  // namespace tidemark::film
