// Speed and size of the report of one hip, and what taking over from an earlier run saves.
//
// usage: bench_report FOLDER HEAD_DIAMETER_MM [RUNS]
//
// Prints a line of JSON: medians of processor seconds, sizes in MB of 1e6 bytes.

#include <cstdlib>
#include <iostream>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "bench_main.h"
#include "stopwatch.h"
#include "tidemark/followup/measure.h"
#include "tidemark/report/write.h"

namespace tidemark::bench {
namespace {

constexpr double kMegabyte = 1e6;

/// One run over a measured hip: name -> seconds or megabytes.
std::map<std::string, double> one_report(const followup::Result& result) {
  std::map<std::string, double> out;
  const Stopwatch whole;
  const auto document = report::document_of(result, report::Language::kEnglish);
  const std::string page = report::to_html(document);
  out["page_s"] = whole.seconds();
  const auto pdf = report::to_pdf(document);
  out["page_and_pdf_s"] = whole.seconds();
  out["page_mb"] = static_cast<double>(page.size()) / kMegabyte;
  out["pdf_mb"] = pdf ? static_cast<double>(pdf->size()) / kMegabyte : 0.0;
  return out;
}

/// Measuring anew, and again with all that was said before.
std::map<std::string, double> one_measurement(const followup::Series& series) {
  std::map<std::string, double> out;
  followup::Options options{.remember = followup::Remember::kKeep, .threads = 1};
  const Stopwatch anew;
  const auto first = followup::measure(series, options);
  out["anew_s"] = anew.seconds();
  options.before = std::make_shared<followup::StepMemory>(first.reuse->said);
  const Stopwatch again;
  const auto second = followup::measure(series, options);
  out["taken_over_s"] = again.seconds();
  std::size_t bytes = 0;
  for (const auto& [key, answer] : second.reuse->said.said) bytes += answer.size();
  out["steps_mb"] = static_cast<double>(bytes) / kMegabyte;
  return out;
}

int run(const followup::Series& series, int runs) {
  const auto result = followup::measure(series, {.aligned = followup::Aligned::kKeep});
  std::map<std::string, std::vector<double>> all;
  for (int k = 0; k < runs; ++k) {
    for (const auto& [name, value] : one_report(result)) all[name].push_back(value);
    for (const auto& [name, value] : one_measurement(series)) all[name].push_back(value);
  }
  nlohmann::ordered_json out{{"films", series.films.size()}};
  for (const auto& [name, values] : all) out[name] = median(values);
  std::cout << out.dump() << "\n";
  return 0;
}

}  // namespace
}  // namespace tidemark::bench

int main(int count, char** words) {
  using namespace tidemark::bench;
  return bench_main(count, words, "bench_report", "RUNS",
                    [](const tidemark::followup::Series& series, const char* last) {
                      return run(series, runs_of(last));
                    });
}
