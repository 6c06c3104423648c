#include "texts.h"

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>

#include "embedded.h"
#include "tidemark/core/number_text.h"

namespace tidemark::report {
namespace {

void replace_all(std::string& text, std::string_view what, std::string_view with) {
  for (std::size_t at = text.find(what); at != std::string::npos;
       at = text.find(what, at + with.size())) {
    text.replace(at, what.size(), with);
  }
}

constexpr std::array kLanguages{Language::kEnglish, Language::kGerman};

}  // namespace

std::string code_of(Language language) { return language == Language::kGerman ? "de" : "en"; }

std::optional<Language> language_of(std::string_view code) {
  const auto found = std::find_if(kLanguages.begin(), kLanguages.end(),
                                  [&](Language one) { return code_of(one) == code; });
  if (found == kLanguages.end()) return {};
  return *found;
}

std::vector<std::string> language_codes() {
  std::vector<std::string> out;
  std::transform(kLanguages.begin(), kLanguages.end(), std::back_inserter(out), code_of);
  return out;
}

Texts::Texts(Language language)
    : language_(language),
      texts_(nlohmann::json::parse(language == Language::kGerman ? kGermanText : kEnglishText)
                 .get<std::map<std::string, std::string, std::less<>>>()) {
  if (language == Language::kGerman) said_.emplace(kSaidText);
}

std::string Texts::operator()(std::string_view key, std::initializer_list<Fill> fills) const {
  const auto found = texts_.find(key);
  if (found == texts_.end()) return "[[" + std::string(key) + "]]";
  std::string text = found->second;
  for (const Fill& fill : fills) {
    replace_all(text, "{" + std::string(fill.name) + "}", fill.value);
  }
  return text;
}

std::optional<std::string> Texts::find(const std::string& key) const {
  const auto found = texts_.find(key);
  if (found == texts_.end()) return {};
  return found->second;
}

Phrase Texts::english(const std::string& sentence) const {
  return {sentence, language_ != Language::kEnglish};
}

Phrase Texts::said(const std::string& sentence) const {
  auto own = said_ ? said_->sentence(sentence) : std::nullopt;
  return own ? Phrase{std::move(*own), false} : english(sentence);
}

std::vector<Phrase> Texts::all_said(const std::string& text) const {
  // As one where it is known as one: it may hold full stops of its own.
  Phrase whole = said(text);
  if (!whole.in_english) return {std::move(whole)};
  std::vector<Phrase> out;
  for (const std::string& sentence : sentences_of(text)) out.push_back(said(sentence));
  return out;
}

Phrase Texts::said(const Flag& flag) const {
  auto own = said_ ? said_->flag(flag.id, flag.text) : std::nullopt;
  return own ? Phrase{std::move(*own), false} : english(flag.text);
}

Phrase Texts::or_english(const std::string& key, const std::string& sentence) const {
  const auto own = language_ == Language::kEnglish ? std::nullopt : find(key);
  return own ? Phrase{*own, false} : english(sentence);
}

std::string Texts::localised(std::string number) const {
  replace_all(number, "-", "\xE2\x88\x92");
  replace_all(number, " ", kFixedSpace);
  if (language_ == Language::kGerman) replace_all(number, ".", ",");
  return number;
}

std::string Texts::signed_number(double value, double u95) const {
  return localised(with_uncertainty(value, u95));
}

std::string Texts::number(double value, double u95) const {
  const std::string text = with_uncertainty(value, u95);
  return localised(text.front() == '+' ? text.substr(1) : text);
}

std::string Texts::plain(double value, double u95) const {
  return localised(fixed_text(value, decimals_borne_by(u95)));
}

}  // namespace tidemark::report
