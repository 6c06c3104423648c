#include "words.h"

namespace tidemark::film {

std::string grouped(std::uint64_t number) {
  std::string digits = std::to_string(number);
  for (std::size_t i = digits.size(); i > 3;) {
    i -= 3;
    digits.insert(i, ",");
  }
  return digits;
}

std::string cut_off(std::size_t bytes) {
  return "the file ends too early, after " + grouped(bytes) + (bytes == 1 ? " byte" : " bytes");
}

std::string plain(const std::string& text) {
  constexpr std::size_t kLongest = 64;
  std::string out;
  for (const char c : text.substr(0, kLongest)) out += c >= ' ' && c <= '~' ? c : '?';
  const std::size_t first = out.find_first_not_of(' ');
  if (first == std::string::npos) return {};
  return out.substr(first, out.find_last_not_of(' ') - first + 1);
}

}  // namespace tidemark::film
