#include "tidemark/core/text.h"

#include <array>
#include <cstdint>

namespace tidemark {
namespace {

/// Range of the second byte and number of bytes by the first one.
struct Lead {
  std::uint8_t from, to, second_from, second_to;
  std::size_t length;
};

constexpr std::array kLeads{
    Lead{0xC2, 0xDF, 0x80, 0xBF, 2}, Lead{0xE0, 0xE0, 0xA0, 0xBF, 3},
    Lead{0xE1, 0xEC, 0x80, 0xBF, 3}, Lead{0xED, 0xED, 0x80, 0x9F, 3},
    Lead{0xEE, 0xEF, 0x80, 0xBF, 3}, Lead{0xF0, 0xF0, 0x90, 0xBF, 4},
    Lead{0xF1, 0xF3, 0x80, 0xBF, 4}, Lead{0xF4, 0xF4, 0x80, 0x8F, 4},
};

bool is_continuation(char c) { return (static_cast<std::uint8_t>(c) & 0xC0U) == 0x80U; }

/// Bytes of the well-formed character at the start of `text`, 0 when there is none.
std::size_t character_at(std::string_view text) {
  const auto first = static_cast<std::uint8_t>(text.front());
  if (first < 0x80) return first >= 0x20 && first != 0x7F ? 1 : 0;
  for (const Lead& lead : kLeads) {
    if (first < lead.from || first > lead.to || text.size() < lead.length) continue;
    const auto second = static_cast<std::uint8_t>(text[1]);
    if (second < lead.second_from || second > lead.second_to) return 0;
    if (first == 0xC2 && second < 0xA0) return 0;  // control characters U+0080 to U+009F
    for (std::size_t i = 2; i < lead.length; ++i) {
      if (!is_continuation(text[i])) return 0;
    }
    return lead.length;
  }
  return 0;
}

}  // namespace

std::string printable(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const std::size_t length = character_at(text);
    out += length == 0 ? "?" : text.substr(0, length);
    text.remove_prefix(length == 0 ? 1 : length);
  }
  return out;
}

std::string first_characters(const std::string& text, std::size_t count) {
  std::size_t end = 0;
  for (std::size_t seen = 0; end < text.size(); ++end) {
    if (is_continuation(text[end])) continue;
    if (seen++ == count) break;
  }
  return text.substr(0, end);
}

}  // namespace tidemark
