#pragma once

#include <cstddef>
#include <nlohmann/json.hpp>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "tidemark/core/date.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/range.h"

namespace tidemark {

/// The spelling nearest to `word` among `known` by edit distance (insert, delete, replace; a house
/// choice accepts at most half of the letters); nothing when none is near.
/// Source: Levenshtein, Soviet Physics Doklady 10 (1966) 707.
[[nodiscard]] std::optional<std::string> nearest_key(std::string_view word,
                                                     const std::vector<std::string>& known);

/// Reads a JSON file written by a person, strictly: unknown keys, doubled keys, wrong types and
/// numbers out of range are faults, each one sentence that names the place, e.g. "films[1].view is
/// \"AXIAL\"; write AP or PA". Keeps the first fault; after it every reader gives nothing.
///
/// `path` is how the sentence calls the object that is read, "" for the whole file. A key that is
/// absent gives nothing and is no fault, but see `required`.
class JsonReader {
 public:
  using Json = nlohmann::json;

  /// @param subject how errors call the file
  explicit JsonReader(std::string subject) : subject_(std::move(subject)) {}

  /// Notes a fault (kBadInput) unless there is one already.
  void fault(std::string wrong, std::string remedy);
  [[nodiscard]] const std::optional<Error>& first_fault() const { return fault_; }

  /// Parses the text; a key that stands twice in one object, which JSON parsers pass over, is a
  /// fault.
  [[nodiscard]] Json parse(std::string_view text);

  /// Whether `node` is an object with known keys only.
  [[nodiscard]] bool object(const Json& node, const std::string& path,
                            const std::vector<std::string>& known);
  /// Notes a fault for the first of `keys` that `node` lacks.
  void required(const Json& node, const std::string& path, const std::vector<std::string>& keys);

  /// A text that is not empty.
  [[nodiscard]] std::optional<std::string> text(const Json& parent, const std::string& path,
                                                const std::string& key);
  /// Index of the text in `words`.
  [[nodiscard]] std::optional<std::size_t> word(const Json& parent, const std::string& path,
                                                const std::string& key,
                                                std::span<const std::string> words);
  [[nodiscard]] std::optional<double> number(const Json& parent, const std::string& path,
                                             const std::string& key, Range range);
  [[nodiscard]] std::optional<double> number(const Json& node, const std::string& path,
                                             Range range);
  /// YYYY-MM-DD.
  [[nodiscard]] std::optional<Date> date(const Json& parent, const std::string& path,
                                         const std::string& key);
  [[nodiscard]] std::optional<bool> yes_or_no(const Json& parent, const std::string& path,
                                              const std::string& key);
  /// A list of texts that are not empty; an absent key is an empty list.
  [[nodiscard]] std::vector<std::string> texts(const Json& parent, const std::string& path,
                                               const std::string& key);

  [[nodiscard]] static const Json* find(const Json& parent, const std::string& key);
  /// "path.key"
  [[nodiscard]] static std::string at(const std::string& path, const std::string& key);
  /// "path.key[i]"
  [[nodiscard]] static std::string at(const std::string& path, const std::string& key,
                                      std::size_t i);
  /// A value as a fault shows it: a long or composite one is told, not printed.
  [[nodiscard]] static std::string shown(const Json& value);
  /// At most 40 letters in quotes, without control characters.
  [[nodiscard]] static std::string in_quotes(std::string_view text);

 private:
  std::string subject_;
  std::optional<Error> fault_;
};

}  // namespace tidemark
