#include "history_files.h"

#include <algorithm>
#include <system_error>

#include "packed.h"
#include "report_facts.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "tidemark/followup/history.h"
#include "tidemark/followup/result.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view kMagic = "tidemark steps 1\n";
constexpr std::size_t kDigestLength = 64;

/// steps.bin as it is packed.
struct StepsFile {
  std::string program;
  std::vector<std::string> results;  ///< SHA-256 of the results it belongs to
  StepMemory memory;
};

std::string packed_steps(const StepsFile& file) {
  packed::Packer pack;
  pack(file.program);
  pack(file.results);
  pack(std::uint64_t{file.memory.said.size()});
  for (const auto& [key, answer] : file.memory.said) {
    pack(key);
    pack(answer);
  }
  const std::string body = pack.take();
  return std::string(kMagic) + sha256_hex(body) + body;
}

std::optional<StepsFile> unpacked_steps(std::string_view text) {
  if (!text.starts_with(kMagic)) return {};
  text.remove_prefix(kMagic.size());
  if (text.size() < kDigestLength) return {};
  const std::string_view body = text.substr(kDigestLength);
  if (sha256_hex(body) != text.substr(0, kDigestLength)) return {};
  packed::Unpacker unpack(body);
  StepsFile out;
  std::uint64_t entries = 0;
  unpack(out.program);
  unpack(out.results);
  unpack(entries);
  for (std::uint64_t i = 0; unpack.good() && i < entries; ++i) {
    std::string key;
    std::string answer;
    unpack(key);
    unpack(answer);
    out.memory.said.emplace(std::move(key), std::move(answer));
  }
  if (!unpack.done()) return {};
  return out;
}

/// The text of a file; nothing when there is none or it cannot be read.
std::optional<std::string> text_of(const fs::path& file) {
  std::error_code error;
  if (!fs::is_regular_file(file, error)) return {};
  auto text = read_text(file);
  if (!text) return {};
  return std::move(*text);
}

bool vouched(const StepsFile& steps, const std::string& text) {
  return std::find(steps.results.begin(), steps.results.end(), sha256_hex(text)) !=
         steps.results.end();
}

}  // namespace

Earlier read_earlier(const fs::path& folder, const std::string& program) {
  Earlier out;
  auto last = text_of(folder / kResultFile);
  if (!last) last = text_of(folder / kLastResultFile);
  const auto bytes = text_of(folder / kStepsFile);
  if (!last && !bytes) return out;
  const auto steps = bytes ? unpacked_steps(*bytes) : std::nullopt;
  if (!steps) {
    out.note =
        std::string("What was measured before is not used: ") + kStepsFile +
        (bytes ? " is not as it was written." : " is missing, so that it cannot be checked.");
    return out;
  }
  if (last && vouched(*steps, *last)) {
    out.last_result = std::move(last);
    auto base = text_of(folder / kEarlierResultFile);
    if (base && vouched(*steps, *base)) out.base_result = std::move(base);
  } else if (last) {
    out.note = std::string("What changed since the last report is not told: its ") + kResultFile +
               " is not as it was written.";
  }
  if (steps->program == program) {
    out.memory = std::make_shared<StepMemory>(steps->memory);
  } else if (out.note.empty() && !steps->memory.said.empty()) {
    out.note =
        "What was measured before is not taken over: another version or build of the "
        "program measured it.";
  }
  return out;
}

Expected<void> write_history(const Result& result, const Earlier& earlier,
                             const std::string& program, const fs::path& folder) {
  const std::string now = to_json(result);
  StepsFile steps{.program = program, .results = {sha256_hex(now)}, .memory = {}};
  if (result.reuse) steps.memory = result.reuse->said;
  const auto& base = base_of(earlier, now);
  for (const auto& text : {earlier.last_result, earlier.base_result}) {
    if (text) steps.results.push_back(sha256_hex(*text));
  }
  auto written = write_file_atomically(folder / kStepsFile, packed_steps(steps));
  if (!written) return written;
  if (base) return write_file_atomically(folder / kEarlierResultFile, *base);
  std::error_code error;
  fs::remove(folder / kEarlierResultFile, error);
  return {};
}

}  // namespace tidemark::followup
