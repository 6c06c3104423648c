// Seconds of each step of one hip, on one thread: median of several runs, as JSON.
//
// usage: bench_steps FOLDER HEAD_DIAMETER_MM [RUNS]

#include <cstdlib>
#include <exception>
#include <functional>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "bench_main.h"
#include "stopwatch.h"
#include "tidemark/alignment/align.h"
#include "tidemark/core/freed_memory.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/series.h"
#include "tidemark/migration/regions.h"

namespace tidemark::bench {
namespace {

/// Seconds spent in each step of one run, all films together.
using Seconds = std::map<std::string, double>;

/// A step that adds its time to `seconds`. One thread only.
template <class Step>
auto timed(Step step, std::string name, Seconds* seconds) {
  return [step = std::move(step), name = std::move(name), seconds](const auto&... arguments) {
    const Stopwatch watch;
    auto result = step(arguments...);
    (*seconds)[name] += watch.seconds();
    return result;
  };
}

/// What compare() does inside, once more and piece by piece.
void time_inside(const followup::FilmOfPair& reference, const followup::FilmOfPair& follow_up,
                 Seconds* seconds) {
  const migration::MeasuredFilm a{reference.hip.implant, reference.hip.femur, reference.hip.scale};
  const migration::MeasuredFilm b{follow_up.hip.implant, follow_up.hip.femur, follow_up.hip.scale};
  const alignment::AlignOptions options = alignment::for_bone({});
  const migration::Regions& regions = *reference.ready->regions;
  const Rigid2 start = migration::to_reduced(migration::rough_alignment(a, b),
                                             reference.ready->reduced, follow_up.ready->reduced);
  Stopwatch watch;
  const auto bone =
      alignment::align(reference.ready->bone, regions.bone, follow_up.ready->bone, start, options);
  (*seconds)["  align bone"] += watch.seconds();
  if (!bone) return;
  watch = Stopwatch();
  const auto votes = alignment::vote(reference.ready->bone, follow_up.ready->bone,
                                     bone->moving_from_fixed_mm, regions.features, options);
  (*seconds)["  vote"] += watch.seconds();
}

followup::Steps timed_steps(Seconds* seconds) {
  followup::Steps steps = followup::default_steps();
  steps.read = timed(steps.read, "read", seconds);
  steps.find_implant = timed(steps.find_implant, "implant", seconds);
  steps.find_femur = timed(steps.find_femur, "femur", seconds);
  steps.prepare = timed(steps.prepare, "prepare", seconds);
  const auto compare = timed(steps.compare, "compare (align, vote, derive)", seconds);
  steps.compare = [compare, seconds](const followup::FilmOfPair& reference,
                                     const followup::FilmOfPair& follow_up) {
    time_inside(reference, follow_up, seconds);
    return compare(reference, follow_up);
  };
  return steps;
}

/// Wall seconds of the whole, as the program calls it.
double whole(const followup::Series& series, followup::Pictures pictures) {
  const Stopwatch watch;
  const auto result = followup::measure(series, {.pictures = pictures, .threads = 1});
  return watch.seconds();
}

Seconds one_run(const followup::Series& series) {
  Seconds seconds;
  const auto result = followup::measure_with(series, {.threads = 1}, timed_steps(&seconds));
  const double plain = whole(series, followup::Pictures::kNone);
  seconds["whole, no pictures"] = plain;
  seconds["pictures"] = whole(series, followup::Pictures::kDraw) - plain;
  return seconds;
}

int run(const followup::Series& series, int runs) {
  keep_freed_memory();
  std::map<std::string, std::vector<double>> all;
  for (int k = 0; k < runs; ++k) {
    for (const auto& [name, value] : one_run(series)) all[name].push_back(value);
  }
  nlohmann::ordered_json out;
  for (const auto& [name, values] : all) out[name] = median(values);
  std::cout << out.dump() << "\n";
  return 0;
}

}  // namespace
}  // namespace tidemark::bench

int main(int count, char** words) {
  return tidemark::bench::bench_main(
      count, words, "bench_steps", "RUNS",
      [](const tidemark::followup::Series& series, const char* last) {
        return tidemark::bench::run(series, tidemark::bench::runs_of(last));
      });
}
