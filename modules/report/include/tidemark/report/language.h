#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace tidemark::report {

/// Language of a report's own text. Sentences that come with a result (reasons, flags) are English
/// and are marked as such where the page speaks another language.
enum class Language { kEnglish, kGerman };

/// Two-letter code of ISO 639-1: "en", "de".
[[nodiscard]] std::string code_of(Language language);
/// @return absent when there is no text in that language
[[nodiscard]] std::optional<Language> language_of(std::string_view code);
/// The codes of all languages, in the order of the enumeration.
[[nodiscard]] std::vector<std::string> language_codes();

}  // namespace tidemark::report
