#include "tidemark/registry/plan.h"

#include <algorithm>
#include <map>
#include <set>

#include "heap.h"
#include "sheet.h"
#include "tidemark/core/text.h"

namespace tidemark::registry {
namespace {

namespace fs = std::filesystem;

std::string numbered(const char* prefix, std::size_t number) {
  std::string digits = std::to_string(number);
  digits.insert(0, digits.size() < 6 ? 6 - digits.size() : 0, '0');
  return prefix + digits;
}

/// Whether a file may be a film by its name or its first bytes is left to followup; here only what
/// cannot be one is left out.
bool is_candidate(const fs::path& file) {
  const std::string name = file.filename().string();
  return name.front() != '.' && name != "DICOMDIR" && name != "series.json";
}

bool holds_films(const fs::path& folder) {
  std::error_code error;
  for (const auto& item : fs::directory_iterator(folder, error)) {
    if (item.is_regular_file(error) && is_candidate(item.path())) return true;
  }
  return false;
}

Expected<std::vector<fs::path>> files_below(const fs::path& root) {
  std::error_code error;
  std::vector<fs::path> files;
  const auto options = fs::directory_options::skip_permission_denied;
  for (auto item = fs::recursive_directory_iterator(root, options, error);
       item != fs::recursive_directory_iterator(); item.increment(error)) {
    if (error) break;
    std::error_code ignored;
    if (item->is_regular_file(ignored) && is_candidate(item->path())) {
      files.push_back(item->path());
    }
  }
  if (error) {
    return fail(ErrorKind::kBadInput, root.filename().string(), "the folder cannot be read",
                "check its permissions");
  }
  std::sort(files.begin(), files.end());
  return files;
}

/// Hips of one name: the first keeps it, the others get one that no hip of the input has, and say
/// what is wrong.
void part_doubles(Plan& plan) {
  std::set<std::pair<std::string, std::string>> taken;
  for (const HipJob& job : plan.jobs) taken.emplace(job.facts.hip, job.facts.reader);
  std::map<std::pair<std::string, std::string>, int> seen;
  for (HipJob& job : plan.jobs) {
    const std::string name = job.facts.hip;
    int& times = seen[{name, job.facts.reader}];
    if (++times == 1) continue;
    while (!taken.emplace(name + "#" + std::to_string(times), job.facts.reader).second) ++times;
    job.facts.hip = name + "#" + std::to_string(times);
    job.fault = "another hip of the input has the same name; give each hip its own";
  }
}

void sort_jobs(Plan& plan) {
  const auto key = [](const HipJob& job) { return std::tie(job.facts.hip, job.facts.reader); };
  std::stable_sort(plan.jobs.begin(), plan.jobs.end(),
                   [&](const HipJob& a, const HipJob& b) { return key(a) < key(b); });
  part_doubles(plan);
  std::stable_sort(plan.jobs.begin(), plan.jobs.end(),
                   [&](const HipJob& a, const HipJob& b) { return key(a) < key(b); });
}

Plan finished(Plan plan, const fs::path& root) {
  plan.root = root;
  sort_jobs(plan);
  return plan;
}

/// The folder's name for its hip when the sheet series.json gives none.
std::string folder_hip(const fs::path& folder, std::size_t number, const PlanOptions& options) {
  const std::string name = folder.filename().string();
  if (options.folder_names) return first_characters(printable(name), 64);
  if (options.key) return pseudonym(*options.key, "H", "folder", name);
  return numbered("hip-", number);
}

Expected<Plan> plan_folders(const fs::path& root, const PlanOptions& options) {
  std::error_code error;
  std::vector<fs::path> folders;
  for (const auto& item : fs::directory_iterator(root, error)) {
    std::error_code ignored;
    if (item.is_directory(ignored) && is_candidate(item.path())) folders.push_back(item.path());
  }
  if (error) {
    return fail(ErrorKind::kBadInput, root.filename().string(), "the folder cannot be read",
                "check its permissions");
  }
  std::sort(folders.begin(), folders.end());
  Plan plan;
  for (std::size_t i = 0; i < folders.size(); ++i) {
    HipJob job;
    job.folder = folders[i];
    const auto series = followup::load_series(folders[i], {});
    job.facts.hip = series && series->hip ? *series->hip : folder_hip(folders[i], i + 1, options);
    plan.links.push_back({job.facts.hip, "folder", folders[i]});
    plan.jobs.push_back(std::move(job));
  }
  return finished(std::move(plan), root);
}

Expected<Plan> plan_heap(const fs::path& root, const PlanOptions& options) {
  std::optional<Sheet> sheet;
  if (options.sheet) {
    auto read = read_sheet(*options.sheet, root);
    if (!read) return tl::unexpected(read.error());
    sheet = std::move(*read);
  }
  const auto files = files_below(root);
  if (!files) return tl::unexpected(files.error());
  auto headers = read_headers(*files, options);
  if (!headers) return tl::unexpected(headers.error());
  Plan plan = sort_heap(std::move(*headers), sheet, options.key, root);
  if (sheet) plan.notes.insert(plan.notes.end(), sheet->notes.begin(), sheet->notes.end());
  return finished(std::move(plan), root);
}

Expected<Plan> plan_sheet(const fs::path& file, const PlanOptions& options) {
  const fs::path films =
      options.films.value_or(file.has_parent_path() ? file.parent_path() : fs::path("."));
  const auto sheet = read_sheet(file, films);
  if (!sheet) return tl::unexpected(sheet.error());
  std::map<std::pair<std::string, std::string>, std::vector<const SheetRow*>> hips;
  Plan plan;
  plan.root_is_listed = false;
  plan.notes = sheet->notes;
  std::size_t nameless = 0;
  for (const SheetRow& row : sheet->rows) {
    if (row.facts.hip.empty()) {
      ++nameless;
    } else {
      hips[{row.facts.hip, row.facts.reader}].push_back(&row);
    }
  }
  if (nameless > 0) {
    plan.notes.push_back(std::to_string(nameless) +
                         " rows of the sheet name no hip and are not used");
  }
  for (const auto& [name, rows] : hips) {
    HipJob job = job_of_rows(rows);
    const std::string& identity = rows.front()->patient_id;
    if (!job.facts.patient && !identity.empty() && options.key) {
      job.facts.patient = pseudonym(*options.key, "P", "patient", identity);
    }
    if (!job.folder.empty()) plan.links.push_back({job.facts.hip, "folder", job.folder});
    for (std::size_t i = 0; i < job.films.size(); ++i) {
      plan.links.push_back({job.facts.hip, "film-" + std::to_string(i), job.films[i].path});
    }
    plan.jobs.push_back(std::move(job));
  }
  return finished(std::move(plan), films);
}

}  // namespace

Expected<void> check_hips(const Plan& plan, const fs::path& input) {
  if (!plan.jobs.empty()) return {};
  return fail(ErrorKind::kBadInput, input.filename().string(), "there is no hip in it",
              plan.set_aside.empty() ? "see docs/registry.md"
                                     : "every file was set aside; --links FILE lists why");
}

Expected<Plan> plan_of(const fs::path& input, const PlanOptions& options) {
  std::error_code error;
  const auto status = fs::status(input, error);
  if (!fs::exists(status)) {
    return fail(ErrorKind::kBadInput, input.string(), "there is no such file or folder",
                "give a CSV sheet, a folder of hips or a folder of films");
  }
  if (!fs::is_directory(status)) return plan_sheet(input, options);
  if (fs::exists(input / "series.json", error)) {
    return fail(ErrorKind::kBadInput, input.string(), "this is the folder of one hip",
                "measure it with: tidemark measure FOLDER, or give the folder above it");
  }
  const bool heap = options.layout == Layout::kHeap ||
                    (options.layout == Layout::kByItself && holds_films(input));
  if (!heap && options.sheet) {
    return fail(ErrorKind::kUsage, "batch", "--sheet goes with a heap of films",
                "give the sheet itself in place of the folder, or add --heap");
  }
  return heap ? plan_heap(input, options) : plan_folders(input, options);
}

}  // namespace tidemark::registry
