#include "tidemark/core/parallel.h"

#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

namespace tidemark {
namespace {

class Threads : public testing::TestWithParam<int> {};

TEST_P(Threads, EachIndexIsCalledOnce) {
  std::vector<std::atomic<int>> calls(1000);
  parallel_for(calls.size(), GetParam(), [&](std::size_t i) { ++calls[i]; });
  for (std::size_t i = 0; i < calls.size(); ++i) ASSERT_EQ(calls[i], 1) << "index " << i;
}

TEST_P(Threads, TheExceptionOfTheLowestIndexComesOut) {
  std::vector<char> done(100, 0);
  try {
    parallel_for(done.size(), GetParam(), [&](std::size_t i) {
      if (i == 7) {  // late enough for a higher index to throw first
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
        throw std::runtime_error("seven");
      }
      if (i == 8) throw std::runtime_error("eight");
      done[i] = 1;
    });
    FAIL() << "no exception";
  } catch (const std::runtime_error& error) {
    EXPECT_EQ(std::string(error.what()), "seven");
  }
  for (std::size_t i = 0; i < 7; ++i) EXPECT_EQ(done[i], 1) << "index " << i;
}

TEST_P(Threads, NothingToDoIsFine) {
  parallel_for(0, GetParam(), [](std::size_t) { FAIL(); });
}

TEST_P(Threads, PiecesOfPiecesAreCalledOnceAndTheirLowestExceptionComesOut) {
  std::vector<std::atomic<int>> calls(60);
  try {
    parallel_for(3, GetParam(), [&](std::size_t i) {
      parallel_within(20, [&](std::size_t j) {
        ++calls[20 * i + j];
        if (i == 1 && j >= 7) throw std::runtime_error(j == 7 ? "seven" : "later");
      });
    });
    FAIL() << "no exception";
  } catch (const std::runtime_error& error) {
    EXPECT_EQ(std::string(error.what()), "seven");
  }
  for (std::size_t i = 0; i < 28; ++i) EXPECT_EQ(calls[i], 1) << "index " << i;
}

INSTANTIATE_TEST_SUITE_P(Counts, Threads, testing::Values(-1, 0, 1, 2, 4, 16));

// Two calls that wait for each other end only when they run at the same time.
TEST(ParallelFor, ReallyUsesTwoThreads) {
  std::atomic<int> arrived{0};
  std::vector<char> met(2, 0);
  parallel_for(2, 2, [&](std::size_t i) {
    ++arrived;
    const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds(20);
    while (arrived < 2 && std::chrono::steady_clock::now() < give_up) std::this_thread::yield();
    met[i] = arrived == 2 ? 1 : 0;
  });
  EXPECT_TRUE(met[0] == 1 && met[1] == 1);
}

// One film, two threads: its pieces wait for each other and end only when they run together.
TEST(ParallelWithin, UsesTheThreadsThatAreFree) {
  std::atomic<int> arrived{0};
  std::atomic<int> met{0};
  parallel_for(2, 2, [&](std::size_t film) {
    if (film == 1) return;  // nothing to do here
    parallel_within(2, [&](std::size_t) {
      ++arrived;
      const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds(20);
      while (arrived < 2 && std::chrono::steady_clock::now() < give_up) std::this_thread::yield();
      if (arrived == 2) ++met;
    });
  });
  EXPECT_EQ(met, 2);
}

TEST(ParallelWithin, StaysOnItsThreadOutsideOfAnyOther) {
  const auto here = std::this_thread::get_id();
  parallel_within(50, [&](std::size_t) { EXPECT_EQ(std::this_thread::get_id(), here); });
  parallel_for(1, 1, [&](std::size_t) {
    parallel_within(50, [&](std::size_t) { EXPECT_EQ(std::this_thread::get_id(), here); });
  });
}

TEST(HardwareThreads, IsAtLeastOne) { EXPECT_GE(hardware_threads(), 1); }

}  // namespace
}  // namespace tidemark
