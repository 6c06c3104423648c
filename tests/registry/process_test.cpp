#include "process.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <csignal>

namespace tidemark::registry {
namespace {

using std::chrono::milliseconds;

/// Runs one shell script as a worker, to its end.
Finished run(const std::string& script, const std::string& input, Limits limits = {}) {
  Workers workers({"/bin/sh", "-c", script}, limits);
  workers.start(7, input);
  for (;;) {
    auto ended = workers.wait(milliseconds(1000));
    if (!ended.empty()) return ended.front();
  }
}

TEST(Workers, GiveWhatTheyPrint) {
  const std::string much(3'000'000, 'x');  // more than a pipe holds, both ways
  const Finished done = run("cat", much);
  EXPECT_EQ(done.id, 7U);
  EXPECT_EQ(done.ending, Ending::kDone);
  EXPECT_EQ(done.output, much);
}

TEST(Workers, CrashesAreTold) {
  const Finished crashed = run("kill -SEGV $$", "");
  EXPECT_EQ(crashed.ending, Ending::kCrashed);
  EXPECT_TRUE(crashed.by_signal);
  EXPECT_EQ(crashed.code, SIGSEGV);
  EXPECT_EQ(end_of(crashed), "signal 11 (Segmentation fault)");
  EXPECT_EQ(end_of(run("exit 3", "")), "exit code 3");
  const Finished missing = [] {
    Workers workers({"/no/such/program"}, {});
    workers.start(0, "");
    return workers.wait(milliseconds(10000)).front();
  }();
  EXPECT_EQ(missing.ending, Ending::kCrashed);
}

TEST(Workers, HangingOnesAreStopped) {
  for (const char* script : {"sleep 1000", "trap '' TERM; while :; do :; done", "sleep 1000 & wait",
                             "exec >&-; sleep 1000"}) {
    const Finished late = run(script, "", {.seconds = 0.3});
    EXPECT_NE(late.ending, Ending::kDone) << script;
    EXPECT_LT(late.seconds, 60.0) << script;
  }
}

TEST(Workers, OutputHasAnEnd) {
  EXPECT_EQ(run("cat /dev/zero", "").ending, Ending::kTooMuchOutput);
}

// Reading /dev/zero into one line needs as much memory as there is.
TEST(Workers, MemoryHasAnEnd) {
#if defined(__SANITIZE_ADDRESS__)
  GTEST_SKIP() << "the sanitizer needs more address space than any bound allows";
#endif
  const Finished done =
      run("python3 -c \"x = bytearray(2 ** 31)\"", "", {.address_space_mib = 512});
  EXPECT_EQ(done.ending, Ending::kCrashed);
}

TEST(Workers, WorkAtOnceAndDieWithTheirOwner) {
  std::vector<std::size_t> seen;
  {
    Workers workers({"/bin/sh", "-c", "sleep 0.2; cat"}, {});
    for (std::size_t i = 0; i < 4; ++i) workers.start(i, std::to_string(i));
    EXPECT_EQ(workers.running(), 4U);
    while (workers.running() > 0) {
      for (const Finished& done : workers.wait(milliseconds(1000))) {
        EXPECT_EQ(done.output, std::to_string(done.id));
        seen.push_back(done.id);
      }
    }
    Workers forgotten({"/bin/sleep", "1000"}, {});
    forgotten.start(0, "");
  }  // returns at once: the sleeper is killed
  std::sort(seen.begin(), seen.end());
  EXPECT_EQ(seen, (std::vector<std::size_t>{0, 1, 2, 3}));
}

}  // namespace
}  // namespace tidemark::registry
