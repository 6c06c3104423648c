#pragma once

#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>

#include "tidemark/followup/result.h"
#include "tidemark/followup/reuse.h"
#include "tidemark/followup/steps.h"

namespace tidemark::followup {

/// What is asked of the steps in one measurement: answered from before where it can be, and noted.
/// May be used from several threads at once.
class Ledger {
 public:
  explicit Ledger(std::shared_ptr<const StepMemory> before) : before_(std::move(before)) {}

  /// The answer to this question from before, noted as taken over.
  /// @param subject  the film or the pair of films it is about, by their SHA-256
  [[nodiscard]] std::optional<std::string_view> recall(const std::string& key,
                                                       const std::string& subject);
  /// Notes an answer that was worked out.
  void note(const std::string& key, const std::string& subject, std::string answer);
  /// Whether something was asked about this film or pair, and all of it taken over.
  [[nodiscard]] bool all_recalled(const std::string& subject) const;
  [[nodiscard]] StepMemory take() { return std::move(said_); }

 private:
  std::shared_ptr<const StepMemory> before_;
  mutable std::mutex mutex_;
  StepMemory said_;
  std::map<std::string, bool> recalled_;  ///< by subject
};

/// The steps, asking the ledger first. They refer to the ledger, which must outlive them.
[[nodiscard]] Steps remembering(const Steps& steps, Ledger& ledger);

/// What came from before in a result whose steps asked this ledger.
[[nodiscard]] Reuse reuse_of(const Result& result, Ledger& ledger);

}  // namespace tidemark::followup
