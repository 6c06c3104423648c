#pragma once

#include <optional>
#include <string>

#include "tidemark/core/json_reader.h"
#include "words.h"

// What the readers of criteria and of decision tables share.
namespace tidemark::assessment {

/// Far beyond any real file, small enough to refuse a hostile one at once. House choice.
inline constexpr std::size_t kMaxRuleBytes = 1U << 20U;

template <class Enum, std::size_t N>
std::optional<Enum> chosen(JsonReader& reader, const JsonReader::Json& node,
                           const std::string& path, const std::string& key,
                           const Words<Enum, N>& words) {
  const auto which = reader.word(node, path, key, words.texts());
  if (!which) return {};
  return static_cast<Enum>(*which);
}

/// A text of at most 1,000 characters without control characters, which terminals obey; empty when
/// the key is absent.
[[nodiscard]] std::string short_text(JsonReader& reader, const JsonReader::Json& node,
                                     const std::string& path, const std::string& key);

/// A DOI begins with "10." and holds a slash (ISO 26324, from memory).
[[nodiscard]] std::optional<std::string> read_doi(JsonReader& reader, const JsonReader::Json& node,
                                                  const std::string& path);

}  // namespace tidemark::assessment
