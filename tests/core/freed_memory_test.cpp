#include "tidemark/core/freed_memory.h"

#include <gtest/gtest.h>
#include <sys/resource.h>

#include <cstddef>
#include <vector>

namespace tidemark {
namespace {

/// Pages that the system had to hand out while ten buffers of 20 MB came and went.
long faults_of_buffers() {
  const auto faults = [] {
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return usage.ru_minflt;
  };
  const long before = faults();
  for (int i = 0; i < 10; ++i) {
    const std::vector<std::byte> buffer(std::size_t{20} << 20U);
    EXPECT_EQ(buffer.back(), std::byte{0});
  }
  return faults() - before;
}

TEST(FreedMemory, IsNotTakenAnew) {
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
  GTEST_SKIP() << "the sanitizer brings its own heap";
#endif
  keep_freed_memory();
  faults_of_buffers();
  EXPECT_LT(faults_of_buffers(), 500) << "5120 pages of 4 KiB a buffer";
}

}  // namespace
}  // namespace tidemark
