#pragma once

#include <optional>
#include <string>
#include <vector>

#include "sqlite.h"
#include "task.h"
#include "tidemark/registry/batch.h"
#include "tidemark/registry/job.h"

namespace tidemark::registry {

/// One hip as it goes into the tables.
// NOLINTNEXTLINE(bugprone-exception-escape): moving JSON throws nothing
struct Record {
  HipJob job;
  std::optional<followup::Series> series;  ///< absent when it could not be read
  Answer answer;                           ///< `result` is null when nothing was measured
  HipStatus status = HipStatus::kFailed;
  std::string reason;
  std::string input_sha256;
  std::string options_sha256;
  std::string tool_version;
  double seconds = 0.0;
  long peak_kib = 0;
};

/// What became of a hip, and one sentence when not all was measured.
struct Judged {
  HipStatus status = HipStatus::kRefused;
  std::string reason;
};
[[nodiscard]] Judged judged(const nlohmann::json& result);

/// Removes all rows of a hip, and of the films that were set aside when it was measured. Call it in
/// a transaction.
void remove_hip(const Db& db, const std::string& hip, const std::string& reader);

/// Puts the record in the place of an older one, and notes the attempt. Call it in a transaction.
void write_record(const Db& db, const Record& record, std::int64_t run);

/// Puts what a plan has set aside in the place of what an older one did.
void write_set_aside(const Db& db, const std::vector<SetAside>& files);

}  // namespace tidemark::registry
