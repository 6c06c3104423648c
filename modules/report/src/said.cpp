#include "said.h"

#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>

namespace tidemark::report {
namespace {

constexpr int kDeepest = 4;  ///< clauses within clauses

/// The parts of a pattern between its {1}, {2}, ... which stand in this order.
std::vector<std::string> literals_of(const std::string& pattern) {
  std::vector<std::string> out(1);
  for (std::size_t i = 0; i < pattern.size(); ++i) {
    if (pattern[i] == '{' && i + 2 < pattern.size() && pattern[i + 2] == '}') {
      out.emplace_back();
      i += 2;
    } else {
      out.back() += pattern[i];
    }
  }
  return out;
}

/// What stands for {1}, {2}, ... in a text of this pattern.
std::optional<std::vector<std::string>> fillings_of(const std::string& pattern,
                                                    const std::string& text) {
  const auto literals = literals_of(pattern);
  if (!text.starts_with(literals.front()) || !text.ends_with(literals.back())) return {};
  std::vector<std::string> out;
  std::size_t at = literals.front().size();
  if (literals.size() == 1) {
    return text.size() == at ? std::optional(std::move(out)) : std::nullopt;
  }
  for (std::size_t i = 1; i < literals.size(); ++i) {
    const bool last = i + 1 == literals.size();
    if (last && text.size() < at + literals[i].size()) return {};
    const std::size_t end = last ? text.size() - literals[i].size() : text.find(literals[i], at);
    if (end == std::string::npos || end <= at) return {};
    out.push_back(text.substr(at, end - at));
    at = end + literals[i].size();
  }
  return out;
}

/// A decimal number with one point between digits and perhaps a sign. What has more points is the
/// name of something: films come with names like 1.2.840.1.
bool is_decimal(const std::string& token) {
  const std::size_t from = token.starts_with('+') || token.starts_with('-') ? 1 : 0;
  const std::size_t point = token.find('.');
  if (point == std::string::npos || point == from || point + 1 == token.size()) return false;
  for (std::size_t i = from; i < token.size(); ++i) {
    if (i != point && std::isdigit(static_cast<unsigned char>(token[i])) == 0) return false;
  }
  return true;
}

/// Whether a token means the same in every language: a number, a unit, an identifier.
bool is_common(const std::string& token) {
  if (token == "mm" || token == "px" || token == "%" || token == "±") return true;
  return std::none_of(token.begin(), token.end(),
                      [](char c) { return std::islower(static_cast<unsigned char>(c)) != 0; });
}

std::vector<std::string> split(const std::string& text, const std::string& by) {
  std::vector<std::string> out;
  std::size_t from = 0;
  for (std::size_t at = text.find(by); at != std::string::npos; at = text.find(by, from)) {
    out.push_back(text.substr(from, at - from));
    from = at + by.size();
  }
  out.push_back(text.substr(from));
  return out;
}

}  // namespace

Said::Said(std::string_view json) {
  const auto said = nlohmann::ordered_json::parse(json);
  const auto pattern = [](const auto& one) {
    return Pattern{one["en"].template get<std::string>(), one["de"].template get<std::string>()};
  };
  for (const auto& [id, sentences] : said["flags"].items()) {
    for (const auto& one : sentences) flags_.emplace_back(id, pattern(one));
  }
  for (const auto& one : said["clauses"]) clauses_.push_back(pattern(one));
  for (const auto& one : said["words"]) words_.push_back(pattern(one));
}

std::string Said::word(const std::string& text) const {
  const auto found = std::find_if(words_.begin(), words_.end(),
                                  [&](const Pattern& one) { return one.english == text; });
  return found == words_.end() ? std::string{} : found->german;
}

/// What fills a place of a pattern: a clause of its own, or one or more tokens that need no
/// translation. A single token (a file's name) is taken as it is.
std::optional<std::string> Said::filling(const std::string& text, int depth) const {
  if (auto known = clauses(text, depth)) return known;
  std::string out;
  const auto tokens = split(text, " ");
  for (const std::string& token : tokens) {
    std::string told = word(token);
    if (told.empty() && (is_common(token) || tokens.size() == 1)) told = token;
    if (told.empty()) return {};
    if (is_decimal(told)) std::replace(told.begin(), told.end(), '.', ',');
    out += (out.empty() ? "" : " ") + told;
  }
  return out;
}

std::optional<std::string> Said::by(const Pattern& pattern, const std::string& text,
                                    int depth) const {
  const auto fillings = fillings_of(pattern.english, text);
  if (!fillings) return {};
  std::string out = pattern.german;
  for (std::size_t i = 0; i < fillings->size(); ++i) {
    const auto told = filling((*fillings)[i], depth - 1);
    if (!told) return {};
    const std::string place = "{" + std::to_string(i + 1) + "}";
    if (const auto at = out.find(place); at != std::string::npos) {
      out.replace(at, place.size(), *told);
    }
  }
  return out;
}

std::optional<std::string> Said::clause(const std::string& text, int depth) const {
  for (const Pattern& pattern : clauses_) {
    if (auto told = by(pattern, text, depth)) return told;
  }
  return {};
}

std::optional<std::string> Said::clauses(const std::string& text, int depth) const {
  if (depth < 0) return {};
  if (auto whole = clause(text, depth)) return whole;
  const auto parts = split(text, "; ");
  if (parts.size() == 1) return {};
  std::string out;
  for (const std::string& part : parts) {
    const auto told = clause(part, depth);
    if (!told) return {};
    out += (out.empty() ? "" : "; ") + *told;
  }
  return out;
}

std::optional<std::string> Said::sentence(const std::string& text) const {
  return clauses(text, kDeepest);
}

std::optional<std::string> Said::flag(const std::string& id, const std::string& sentence) const {
  for (const auto& [known, pattern] : flags_) {
    if (known != id) continue;
    if (pattern.english.empty()) return pattern.german;
    if (auto told = by(pattern, sentence, kDeepest)) return told;
  }
  return {};
}

std::vector<std::string> sentences_of(const std::string& text) {
  std::vector<std::string> out;
  std::size_t from = 0;
  for (std::size_t at = text.find(". "); at != std::string::npos; at = text.find(". ", at + 1)) {
    const auto next = static_cast<unsigned char>(text[at + 2]);
    // A new sentence begins with a capital or with a sign; an abbreviation goes on in small.
    if (std::islower(next) != 0 || std::isdigit(next) != 0) continue;
    out.push_back(text.substr(from, at + 1 - from));
    from = at + 2;
  }
  if (from < text.size()) out.push_back(text.substr(from));
  return out;
}

}  // namespace tidemark::report
