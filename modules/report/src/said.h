#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace tidemark::report {

/// Sentences that come with a result, in German: text/said.json. Each English sentence is a pattern
/// whose {1}, {2} stand for what differs from film to film; tests/report/texts.py holds the file
/// against the sources that say them.
class Said {
 public:
  /// @param json the text of said.json
  explicit Said(std::string_view json);

  /// What a flag says. One whose sentence is unknown is told in general where its id has a text
  /// for that (a pattern that is empty); else nothing.
  [[nodiscard]] std::optional<std::string> flag(const std::string& id,
                                                const std::string& sentence) const;
  /// A sentence, or clauses joined by "; ". Nothing unless every part of it is known.
  [[nodiscard]] std::optional<std::string> sentence(const std::string& text) const;

 private:
  struct Pattern {
    std::string english;
    std::string german;
  };
  [[nodiscard]] std::optional<std::string> by(const Pattern& pattern, const std::string& text,
                                              int depth) const;
  [[nodiscard]] std::optional<std::string> clause(const std::string& text, int depth) const;
  [[nodiscard]] std::optional<std::string> clauses(const std::string& text, int depth) const;
  [[nodiscard]] std::optional<std::string> filling(const std::string& text, int depth) const;
  [[nodiscard]] std::string word(const std::string& text) const;

  std::vector<std::pair<std::string, Pattern>> flags_;  ///< by id
  std::vector<Pattern> clauses_;
  std::vector<Pattern> words_;
};

/// The sentences of a text, each with its full stop.
[[nodiscard]] std::vector<std::string> sentences_of(const std::string& text);

}  // namespace tidemark::report
