#pragma once

#include <initializer_list>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "said.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/units.h"
#include "tidemark/report/document.h"
#include "tidemark/report/language.h"

namespace tidemark::report {

/// What stands for {name} in a text.
struct Fill {
  std::string_view name;
  std::string value;
};

/// The report's own words in one language: text/*.json, by key. tests/report/texts.py holds every
/// key that the sources use against every language.
class Texts {
 public:
  explicit Texts(Language language);

  /// The text of `key` with its fills; the key in double brackets when there is none.
  [[nodiscard]] std::string operator()(std::string_view key,
                                       std::initializer_list<Fill> fills = {}) const;
  [[nodiscard]] std::optional<std::string> find(const std::string& key) const;
  /// The text of `key`, else this English sentence, marked as English.
  [[nodiscard]] Phrase or_english(const std::string& key, const std::string& sentence) const;
  [[nodiscard]] Phrase english(const std::string& sentence) const;
  /// A sentence that came with the result, in this language where it is known.
  [[nodiscard]] Phrase said(const std::string& sentence) const;
  /// The same of each sentence of a text.
  [[nodiscard]] std::vector<Phrase> all_said(const std::string& text) const;
  /// What a flag says, likewise. The text must be printable.
  [[nodiscard]] Phrase said(const Flag& flag) const;

  /// "+2.10 ± 0.40" with the digits that the interval bears, as the language writes numbers; minus
  /// is U+2212, which is read aloud as such, and nothing breaks across lines.
  [[nodiscard]] std::string signed_number(double value, double u95) const;
  /// The same of what cannot be negative: no sign.
  [[nodiscard]] std::string number(double value, double u95) const;
  /// `value` alone with the digits that an interval of u95 bears.
  [[nodiscard]] std::string plain(double value, double u95) const;

  template <class Q>
  [[nodiscard]] std::string signed_number(const Measured<Q>& m, double unit = 1.0) const {
    return signed_number(m.value.value / unit, m.u95.value / unit);
  }
  template <class Q>
  [[nodiscard]] std::string number(const Measured<Q>& m, double unit = 1.0) const {
    return number(m.value.value / unit, m.u95.value / unit);
  }

  [[nodiscard]] Language language() const { return language_; }
  /// The decimal point, and signs, of a number as this language writes them.
  [[nodiscard]] std::string localised(std::string number) const;

 private:
  Language language_;
  std::map<std::string, std::string, std::less<>> texts_;
  std::optional<Said> said_;  ///< absent in English, in which results speak
};

/// Between a number and its unit: a space at which no line breaks.
inline constexpr const char* kFixedSpace = "\xC2\xA0";

}  // namespace tidemark::report
