// The store without the measuring: run_batch() with workers that print a recorded answer, so that
// its own cost, the growth of the database and the time of queries can be seen on more hips than
// can be measured here.
//
// usage: bench_store ANSWER.json FOLDER HIPS JOBS
//   ANSWER.json is what `tidemark batch-worker` prints for one hip of two films.

#include <chrono>
#include <fstream>
#include <iostream>
#include <string>

#include "tidemark/registry/batch.h"
#include "tidemark/registry/database.h"

namespace fs = std::filesystem;
namespace registry = tidemark::registry;

namespace {

double seconds_since(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

std::string status_line(const char* name) {
  std::ifstream file("/proc/self/status");
  for (std::string line; std::getline(file, line);) {
    if (line.rfind(name, 0) == 0) return line.substr(line.find_first_not_of(" \t", 6));
  }
  return "?";
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 5) {
    std::cerr << "usage: bench_store ANSWER.json FOLDER HIPS JOBS\n";
    return 2;
  }
  const fs::path folder = argv[2];
  const int hips = std::stoi(argv[3]);
  fs::create_directories(folder / "share");
  std::ofstream(folder / "share" / "film.dcm") << "a film that the recorded answer stands for";
  registry::Plan plan;
  plan.root = folder / "share";
  for (int i = 0; i < hips; ++i) {
    registry::HipJob job;
    job.facts.hip = "H" + std::to_string(1000000 + i);
    job.films.resize(2);
    for (auto& film : job.films) film.path = folder / "share" / "film.dcm";
    plan.jobs.push_back(job);
  }
  registry::BatchOptions options;
  options.out = folder / "out";
  options.jobs = std::stoi(argv[4]);
  options.worker = {"/bin/cat", argv[1]};
  const auto start = std::chrono::steady_clock::now();
  const auto observer = [&](const registry::BatchCounts& counts, const registry::HipDone* done) {
    if (done == nullptr || counts.done() % (static_cast<std::size_t>(hips) / 4) != 0) return;
    std::cout << counts.done() << " hips: " << seconds_since(start) << " s, database "
              << fs::file_size(options.out / registry::kDatabaseFile) / 1000 << " kB, resident "
              << status_line("VmRSS:") << "\n";
  };
  const auto counts = registry::run_batch(plan, options, observer);
  if (!counts) {
    std::cerr << counts.error().sentence() << "\n";
    return 1;
  }
  std::cout << counts->measured + counts->partly << " of " << counts->planned
            << " recorded as measured, "
            << static_cast<double>(counts->done()) / seconds_since(start) << " hips/s\n";
  return 0;
}
