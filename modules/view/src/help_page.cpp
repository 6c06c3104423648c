#include <QString>
#include <charconv>
#include <string>
#include <string_view>
#include <vector>

#include "help_text.h"

namespace tidemark::view {
namespace {

// help:KIND/INDEX[/NUMBER]
constexpr std::string_view kScheme = "help:";
constexpr std::string_view kNumber = "number";
constexpr std::string_view kVerdict = "verdict";
constexpr std::string_view kHeadline = "headline";
constexpr std::string_view kFilm = "film";
constexpr std::size_t kNone = std::string_view::npos;

std::string link(std::string_view kind, std::size_t index) {
  return std::string(kScheme) + std::string(kind) + "/" + std::to_string(index);
}

std::vector<std::string_view> parts_of(std::string_view text) {
  std::vector<std::string_view> out;
  while (true) {
    const auto end = text.find('/');
    out.push_back(text.substr(0, end));
    if (end == std::string_view::npos) return out;
    text.remove_prefix(end + 1);
  }
}

std::optional<std::size_t> index_of(std::string_view text) {
  std::size_t out = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
  if (error != std::errc{} || end != text.data() + text.size()) return {};
  return out;
}

std::string escaped(const std::string& text) {
  return QString::fromStdString(text).toHtmlEscaped().toStdString();
}

std::string paragraphs(const char* heading, const std::vector<std::string>& all) {
  std::string out;
  for (const std::string& one : all) out += "<p>" + escaped(one) + "</p>";
  return all.empty() ? out : "<h4>" + std::string(heading) + "</h4>" + out;
}

std::string list(const char* heading, const std::vector<std::string>& all) {
  std::string out;
  for (const std::string& one : all) out += "<li>" + escaped(one) + "</li>";
  return all.empty() ? out : "<h4>" + std::string(heading) + "</h4><ul>" + out + "</ul>";
}

}  // namespace

std::string link_of(std::size_t comparison, Number number) {
  return link(kNumber, comparison) + "/" + std::to_string(static_cast<int>(number));
}
std::string link_of_verdict(std::size_t finding) { return link(kVerdict, finding); }
std::string link_of_headline() { return link(kHeadline, 0); }
std::string link_of_film(std::size_t film) { return link(kFilm, film); }

std::optional<Help> help_of_link(const HelpFrom& from, const std::string& link) {
  if (!link.starts_with(kScheme)) return {};
  const auto parts = parts_of(std::string_view(link).substr(kScheme.size()));
  const auto index = parts.size() > 1 ? index_of(parts[1]) : std::nullopt;
  if (!index) return {};
  if (parts[0] == kHeadline) return help_of_headline(from);
  if (parts[0] == kFilm && *index < from.result.films.size()) return help_of_film(from, *index);
  if (parts[0] == kVerdict && from.result.assessment &&
      *index < from.result.assessment->findings.size()) {
    return help_of_verdict(from, *index);
  }
  const std::size_t number = parts.size() > 2 ? index_of(parts[2]).value_or(kNone) : kNone;
  if (parts[0] == kNumber && number <= static_cast<std::size_t>(Number::kTiltChange) &&
      *index < from.result.comparisons.size()) {
    return help_of(from, *index, static_cast<Number>(number));
  }
  return {};
}

std::string html_of(const Help& help) {
  std::string out = "<h3>" + escaped(help.title) + "</h3>";
  if (!help.value.empty()) {
    out += "<p style=\"font-size:large\"><b>" + escaped(help.value) + "</b></p>";
  }
  out += paragraphs("What it means", help.means);
  out += list("On this hip", help.facts);
  out += paragraphs("How it is measured", help.measured);
  return out + list("Source", help.sources);
}

std::string general_help() {
  return R"(
<h3>What the numbers mean</h3>
<p>Each number explains itself: go to it with Tab and the arrow keys (on the page Finding Tab goes from one underlined
word to the next) and press <b>F1</b>: what it means, how it was measured on these films, and its source. Of a film F1 tells
the scale, of a picked point what it is.</p>
<p><b>±</b> is the half-width of the 95 % interval: of a hundred such intervals ninety-five hold the true value
(GUM, JCGM 100). A number whose interval holds zero shows no motion.</p>
<p><b>Above the limit, within, cannot tell</b>: the value is held against published criteria with
the rule of JCGM 106. Above or within is said at a probability of 95 %; otherwise the film cannot tell.
A limit comes from groups of patients and says nothing certain of this hip.</p>
<p><b>Points by hand</b> replace those that the program found. They are drawn as squares, marked in the report, and
kept in series.json; the films are never changed. The batch and the command line then say the same.</p>
<p>If bone edges fall on each other and only the stem differs, the stem has moved. If bone edges
differ too, or an outline lies beside the shadow of its own stem, do not trust the number.</p>
)";
}

}  // namespace tidemark::view
