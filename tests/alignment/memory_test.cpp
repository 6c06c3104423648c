#include "tidemark/alignment/memory.h"

#include <gtest/gtest.h>

#include "alignment/scene.h"

namespace tidemark::alignment {
namespace {

FilmSetup setup() { return {.width = 300, .height = 420}; }

Raster film(std::uint32_t noise_seed) {
  FilmSetup noisy = setup();
  noisy.noise = 0.02;
  noisy.seed = noise_seed;
  return draw(Scene(7), {0.0, {-22.5, -40.0}}, noisy);
}

PreparedFilm prepared(std::uint32_t noise_seed) {
  return *prepare(film(noise_seed), setup().mm_per_px, {}, {});
}

std::vector<Feature> features(int to) {
  return {{"bump", rectangle(setup(), 180, 290, 120, to)},
          {"empty", rectangle(setup(), 0, 12, 0, 12)},  // has no vote
          {"texture", rectangle(setup(), 100, 200, 250, 360)}};
}

void expect_same(const std::vector<FeatureVote>& a, const std::vector<FeatureVote>& b) {
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    EXPECT_EQ(a[i].name, b[i].name);
    EXPECT_EQ(a[i].offset_mm, b[i].offset_mm);
    EXPECT_EQ(a[i].covariance, b[i].covariance);
    EXPECT_EQ(a[i].votes, b[i].votes);
  }
}

TEST(Memory, SaysWhatAligningSaysAndKeepsItUnderWhatWasAsked) {
  const Raster region = rectangle(setup(), 15, 285, 15, 405);
  const auto plain = align(prepared(1), region, prepared(2), {}, {});
  ASSERT_TRUE(plain);
  Memory memory;
  for (int round = 0; round < 2; ++round) {
    const auto said = memory.align(prepared(1), region, prepared(2), {}, {});
    ASSERT_TRUE(said);
    EXPECT_EQ(said->moving_from_fixed_mm.translation, plain->moving_from_fixed_mm.translation);
    EXPECT_EQ(said->covariance, plain->covariance);
    EXPECT_EQ(memory.size(), 1U) << "prepared anew from the same pixels";
  }
  Raster smaller = region;
  smaller.at(100, 100) = 0.0F;
  AlignOptions options;
  options.search_along_mm = 11.0;
  AlignOptions threads;
  threads.threads = 2;
  std::size_t kept = 1;
  const auto expect_new = [&](const auto& said) {
    EXPECT_TRUE(said);
    EXPECT_EQ(memory.size(), ++kept);
  };
  expect_new(memory.align(prepared(3), region, prepared(2), {}, {}));
  expect_new(memory.align(prepared(1), region, prepared(3), {}, {}));
  expect_new(memory.align(prepared(1), smaller, prepared(2), {}, {}));
  expect_new(memory.align(prepared(1), region, prepared(2), {0.0, {0.0, 0.5}}, {}));
  expect_new(memory.align(prepared(1), region, prepared(2), {}, options));
  ASSERT_TRUE(memory.align(prepared(1), region, prepared(2), {}, threads));
  EXPECT_EQ(memory.size(), kept) << "threads do not change the answer";
}

TEST(Memory, KeepsRefusals) {
  const Raster nothing(setup().width, setup().height);
  Memory memory;
  for (int round = 0; round < 2; ++round) {
    EXPECT_FALSE(memory.align(prepared(1), nothing, prepared(2), {}, {}));
    EXPECT_EQ(memory.size(), 1U);
  }
}

TEST(Memory, LetsOnlyFeaturesVoteThatAreNew) {
  const PreparedFilm fixed = prepared(1);
  const PreparedFilm moving = prepared(2);
  Memory memory;
  expect_same(memory.vote(fixed, moving, {}, features(260), {}),
              vote(fixed, moving, {}, features(260), {}));
  EXPECT_EQ(memory.size(), 3U);
  expect_same(memory.vote(fixed, moving, {}, features(270), {}),
              vote(fixed, moving, {}, features(270), {}));
  EXPECT_EQ(memory.size(), 4U) << "the bump alone is another one";
  expect_same(memory.vote(fixed, moving, {}, features(260), {}),
              vote(fixed, moving, {}, features(260), {}));
  EXPECT_EQ(memory.size(), 4U);
}

// Letting go costs time, never a vote: not even one that was known when the question was asked.
TEST(Memory, AnswersTheSameWhenItLetsGo) {
  const PreparedFilm fixed = prepared(1);
  const PreparedFilm moving = prepared(2);
  Memory memory(2);
  for (const int to : {260, 270, 260, 260, 270}) {
    expect_same(memory.vote(fixed, moving, {}, features(to), {}),
                vote(fixed, moving, {}, features(to), {}));
  }
  EXPECT_LE(memory.size(), 2U);
}

}  // namespace
}  // namespace tidemark::alignment
