#include <algorithm>
#include <map>
#include <span>

#include "bytes_text.h"
#include "heap.h"
#include "process.h"
#include "task.h"

namespace tidemark::registry {
namespace {

using nlohmann::json;

constexpr std::size_t kChunk = 32;  ///< files a worker; house choice
constexpr std::chrono::milliseconds kTick{200};

HeapFile file_of(const std::filesystem::path& path, const json& in) {
  HeapFile file;
  file.path = path;
  if (in.contains("error")) {
    file.error = in["error"].at("wrong").get<std::string>();
    if (in.contains("sha256")) file.sha256 = in["sha256"].get<std::string>();
    return file;
  }
  const auto text = [&](const char* key) {
    return in.contains(key) ? bytes_of_text(in[key].get<std::string>()) : std::string();
  };
  file.sha256 = text("sha256");
  file.modality = text("modality");
  file.has_pixels = in.at("has_pixels").get<bool>();
  if (in.contains("side")) file.side = in["side"] == "R" ? Side::kRight : Side::kLeft;
  if (in.contains("view")) file.view = static_cast<View>(in["view"].get<int>());
  if (in.contains("date")) file.date = parse_date(in["date"].get<std::string>());
  file.body_part = text("body_part");
  file.time = text("time");
  file.object_uid = text("object_uid");
  file.patient_id = text("patient_id");
  file.issuer = text("issuer");
  return file;
}

/// Reads the headers chunk by chunk; a chunk whose worker dies is read again file by file.
class HeaderReader {
 public:
  HeaderReader(const std::vector<std::filesystem::path>& files, const PlanOptions& options)
      : files_(files), options_(options), workers_(options.worker, Limits{}) {
    for (std::size_t i = 0; i < files.size(); i += kChunk) {
      chunks_.push_back({i, std::min(files.size(), i + kChunk)});
    }
    out_.resize(files.size());
  }

  Expected<std::vector<HeapFile>> run() {
    while (next_ < chunks_.size() || workers_.running() > 0) {
      if (options_.stop && options_.stop()) {
        return fail(ErrorKind::kBadInput, "batch", "stopped while the headers were read",
                    "start again with the same command");
      }
      while (next_ < chunks_.size() &&
             workers_.running() < static_cast<std::size_t>(options_.jobs)) {
        start(next_++);
      }
      for (const Finished& worker : workers_.wait(kTick)) take(worker);
      if (options_.progress) options_.progress(done_, files_.size());
    }
    return std::move(out_);
  }

 private:
  struct Chunk {
    std::size_t begin = 0;
    std::size_t end = 0;
  };

  void start(std::size_t number) {
    const Chunk& chunk = chunks_[number];
    const auto first = files_.begin() + static_cast<std::ptrdiff_t>(chunk.begin);
    const auto last = files_.begin() + static_cast<std::ptrdiff_t>(chunk.end);
    workers_.start(number, header_task({first, last}));
  }

  void take(const Finished& worker) {
    const Chunk chunk = chunks_[worker.id];
    if (worker.ending == Ending::kDone) {
      const json answer = json::parse(worker.output, nullptr, false);
      if (answer.is_object() && answer.contains("headers") &&
          answer["headers"].size() == chunk.end - chunk.begin) {
        for (std::size_t i = chunk.begin; i < chunk.end; ++i) {
          out_[i] = file_of(files_[i], answer["headers"][i - chunk.begin]);
        }
        done_ += chunk.end - chunk.begin;
        return;
      }
    }
    if (chunk.end - chunk.begin == 1) {
      out_[chunk.begin].path = files_[chunk.begin];
      out_[chunk.begin].error = "reading it ended by " + end_of(worker);
      ++done_;
      return;
    }
    for (std::size_t i = chunk.begin; i < chunk.end; ++i) chunks_.push_back({i, i + 1});
  }

  const std::vector<std::filesystem::path>& files_;
  const PlanOptions& options_;
  Workers workers_;
  std::vector<Chunk> chunks_;
  std::size_t next_ = 0;
  std::size_t done_ = 0;
  std::vector<HeapFile> out_;
};

}  // namespace

Expected<std::vector<HeapFile>> read_headers(const std::vector<std::filesystem::path>& files,
                                             const PlanOptions& options) {
  return HeaderReader(files, options).run();
}

}  // namespace tidemark::registry
