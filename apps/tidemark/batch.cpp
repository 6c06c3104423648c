#include "tidemark/registry/batch.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <csignal>
#include <iostream>
#include <iterator>
#include <sstream>

#include "batch_progress.h"
#include "commands.h"
#include "options.h"
#include "tidemark/core/csv.h"
#include "tidemark/core/files.h"
#include "tidemark/followup/write.h"
#include "tidemark/registry/database.h"
#include "tidemark/registry/worker.h"

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

constexpr int kMaxJobs = 1024;
constexpr const char* kHipFolders = "hips";

volatile std::sig_atomic_t stop_signal = 0;
void note_signal(int signal) { stop_signal = signal; }

po::options_description description() {
  po::options_description options("Options");
  auto add = options.add_options();
  add("out", po::value<std::string>()->value_name("DIR"),
      "folder of the database, registry.sqlite");
  add("jobs", po::value<int>()->default_value(1)->value_name("N"),
      "hips at a time, each in a process of its own with one thread");
  add("shard", po::value<std::string>()->value_name("I/N"),
      "measure only part I of N, e.g. 3/7; see: tidemark help merge");
  add("heap", "sort all DICOM files below INPUT by their headers, whatever folder they are in");
  add("sheet", po::value<std::string>()->value_name("FILE"),
      "CSV with facts of a heap's hips, by patient_id and side");
  add("films", po::value<std::string>()->value_name("DIR"),
      "where the paths of a CSV sheet begin (default: beside it)");
  add("folder-names", "folders' names are codes, no identities: they name the hips");
  add("pseudonym-key", po::value<std::string>()->value_name("FILE"),
      "names for hips that have none come from this key, which you keep (default: numbers)");
  add("links", po::value<std::string>()->value_name("FILE"),
      "also write which file went to which hip: for you alone, its paths may tell names");
  add("criteria", po::value<std::string>()->value_name("NAME|FILE"),
      "judge by this set of criteria (default: the built-in one for the stem's fixation)");
  add("accept-pixels", "measure in pixels of the reference film when nothing gives the scale");
  add("keep-hips", "also write DIR/hips/HIP with all that tidemark measure writes");
  add("timeout", po::value<double>()->default_value(300)->value_name("S"),
      "seconds that one hip may take");
  add("memory", po::value<int>()->default_value(4096)->value_name("MIB"),
      "address space that one hip may take");
  add("retry-failed", "measure hips again whose worker crashed, hung or ran out of memory");
  add("prune", "drop rows of hips that INPUT no longer has");
  add("help", "print this help");
  return options;
}

tl::unexpected<Error> usage(const std::string& wrong, const std::string& remedy) {
  return fail(ErrorKind::kUsage, "batch", wrong, remedy);
}

std::optional<std::string> text(const po::variables_map& values, const char* name) {
  if (values.count(name) == 0) return {};
  return values[name].as<std::string>();
}

Expected<registry::Shard> shard_of(const std::string& text) {
  registry::Shard shard;
  const char* end = text.data() + text.size();
  const auto first = std::from_chars(text.data(), end, shard.index);
  const bool slash = first.ec == std::errc() && first.ptr != end && *first.ptr == '/';
  const auto second = slash ? std::from_chars(first.ptr + 1, end, shard.count) : first;
  if (!slash || second.ec != std::errc() || second.ptr != end || shard.index < 1 ||
      shard.count < shard.index) {
    return usage("--shard is no part of a whole", "write I/N with I from 1 to N, e.g. 3/7");
  }
  return shard;
}

Expected<registry::PlanOptions> plan_options(const po::variables_map& values) {
  registry::PlanOptions plan;
  if (values.count("heap") > 0) plan.layout = registry::Layout::kHeap;
  plan.folder_names = values.count("folder-names") > 0;
  if (const auto sheet = text(values, "sheet")) plan.sheet = *sheet;
  if (const auto films = text(values, "films")) plan.films = *films;
  plan.jobs = values["jobs"].as<int>();
  if (const auto file = text(values, "pseudonym-key")) {
    auto key = registry::read_key(*file);
    if (!key) return tl::unexpected(key.error());
    plan.key = std::move(*key);
  }
  plan.worker = {"/proc/self/exe", "batch-worker"};
  plan.stop = [] { return stop_signal != 0; };
  return plan;
}

Expected<registry::BatchOptions> batch_options(const po::variables_map& values) {
  registry::BatchOptions batch;
  const auto out = text(values, "out");
  if (!out || out->empty()) return usage("there is nowhere to put the database", "give --out DIR");
  batch.out = *out;
  batch.jobs = values["jobs"].as<int>();
  if (batch.jobs < 1 || batch.jobs > kMaxJobs) {
    return usage("--jobs is out of range", "give 1 to 1024");
  }
  batch.seconds_per_hip = values["timeout"].as<double>();
  if (!(batch.seconds_per_hip > 0.0 && batch.seconds_per_hip <= 86400.0)) {
    return usage("--timeout is out of range", "give seconds, up to 86400");
  }
  const int memory = values["memory"].as<int>();
  if (memory < 1) return usage("--memory is out of range", "give MiB, e.g. 4096");
  batch.memory_mib = static_cast<std::size_t>(memory);
  if (const auto shard = text(values, "shard")) {
    const auto part = shard_of(*shard);
    if (!part) return tl::unexpected(part.error());
    batch.shard = *part;
  }
  batch.measure.criteria = text(values, "criteria");
  batch.measure.accept_pixels = values.count("accept-pixels") > 0;
  batch.retry_failed = values.count("retry-failed") > 0;
  batch.prune = values.count("prune") > 0;
  if (values.count("keep-hips") > 0) batch.keep_hips = kHipFolders;
  batch.worker = {"/proc/self/exe", "batch-worker"};
  batch.stop = [] { return stop_signal != 0; };
  return batch;
}

Expected<void> write_links(const registry::Plan& plan, const std::string& file) {
  std::string lines = "hip,what,path\n";
  for (const registry::Link& link : plan.links) {
    lines += csv_text(link.hip) + "," + link.what + "," + csv_text(link.path.string()) + "\n";
  }
  return write_file_atomically(file, lines);
}

std::string summary(const registry::BatchCounts& counts, const std::string& out) {
  std::ostringstream text;
  text << counts.planned << " hips: " << counts.measured << " measured, " << counts.partly
       << " in part, " << counts.refused << " refused, " << counts.failed << " failed, "
       << counts.unchanged << " kept from an earlier run\n";
  if (counts.pruned > 0) text << counts.pruned << " that the input no longer has were dropped\n";
  if (counts.not_in_input > 0) {
    text << counts.not_in_input
         << " more in the database that the input does not have (--prune drops them)\n";
  }
  text << "Database: " << (std::filesystem::path(out) / registry::kDatabaseFile).string() << "\n"
       << followup::kCaution << "\n";
  return text.str();
}

/// Signals that ask for an end let the batch close its database first.
void catch_signals() {
  struct sigaction action {};
  action.sa_handler = note_signal;
  for (const int signal : {SIGINT, SIGTERM, SIGHUP}) sigaction(signal, &action, nullptr);
}

/// Ends as the signal would have done.
int end_by_signal(const BatchProgress& progress) {
  progress.clear();
  std::cerr << "tidemark: stopped; start again with the same command: what is done is kept\n";
  std::signal(stop_signal, SIG_DFL);
  std::raise(stop_signal);
  return kSomeNotMeasured;
}

Expected<void> write_hip(const followup::Result& result, const followup::Series& /*series*/,
                         const std::filesystem::path& folder) {
  std::error_code ignored;
  std::filesystem::create_directories(folder, ignored);
  // As followup::prepare_output does: no old result beside new pictures, and who writes sees that
  // files by our names are of an earlier run.
  std::filesystem::rename(folder / "result.json", folder / "last-result.json", ignored);
  const auto reported =
      report::write_report(result, report::Language::kEnglish,
                           {report::Form::kHtml, report::Form::kPdf}, folder.string());
  if (!reported) return tl::unexpected(reported.error());
  return followup::write_output(result, folder);  // result.json is its last
}

}  // namespace

std::string batch_help() {
  std::ostringstream out;
  out << "Usage: tidemark batch INPUT --out DIR [options]\n\n"
         "Measures many hips into DIR/registry.sqlite. INPUT is a CSV sheet of hips, a folder "
         "with\n"
         "a folder for each hip, or a heap of DICOM films that is sorted by patient, side and "
         "date.\n"
         "A batch that was stopped or killed goes on with the same command; hips whose films, "
         "facts\n"
         "and options are unchanged are not measured again. See docs/registry.md.\n\n"
      << description()
      << "\nExit: 0 all measured; 1 some hips not or only in part (the table says why); 2 wrong "
         "usage;\n"
         "3 input unusable; 4 output not writable; 70 a fault of the program.\n";
  return out.str();
}

int run_batch(const Arguments& arguments) {
  const auto values = parse(arguments, description(), "batch", "INPUT");
  if (!values) return report(values.error());
  if (values->count("help") > 0) return print(batch_help(), kAllMeasured);
  const auto options = batch_options(*values);
  if (!options) return report(options.error());
  auto plan_by = plan_options(*values);
  if (!plan_by) return report(plan_by.error());
  catch_signals();
  BatchProgress progress;
  plan_by->progress = [&](std::size_t done, std::size_t all) { progress.headers(done, all); };
  const auto input = (*values)["operand"].as<std::vector<std::string>>().front();
  const auto plan = registry::plan_of(input, *plan_by);
  if (stop_signal != 0) return end_by_signal(progress);
  progress.clear();
  if (!plan) return report(plan.error());
  for (const std::string& note : plan->notes) std::cerr << "tidemark: " << note << "\n";
  if (const auto links = text(*values, "links")) {
    const auto written = write_links(*plan, *links);
    if (!written) return report(written.error());
  }
  if (const auto any = registry::check_hips(*plan, input); !any) return report(any.error());
  const auto counts = registry::run_batch(*plan, *options, std::ref(progress));
  if (stop_signal != 0) return end_by_signal(progress);
  progress.clear();
  if (!counts) return report(counts.error());
  return print(summary(*counts, (*values)["out"].as<std::string>()),
               counts->not_whole > 0 ? kSomeNotMeasured : kAllMeasured);
}

int run_batch_worker() {
  const std::string task{std::istreambuf_iterator<char>(std::cin), {}};
  return print(registry::run_task(task, write_hip), kAllMeasured);
}

}  // namespace tidemark::app
