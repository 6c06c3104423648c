#include "finding_page.h"

#include <string>

#include "document_parts.h"
#include "help_text.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "tidemark/followup/doubts.h"
#include "words.h"

namespace tidemark::view {
namespace {

constexpr const char* kLinesFlag = "lines_not_validated";  ///< stands beside the zones

QString escaped(const std::string& text) { return QString::fromStdString(text).toHtmlEscaped(); }

QString linked(const std::string& link, const QString& text) {
  return QString("<a href=\"%1\">%2</a>").arg(QString::fromStdString(link), text);
}

/// A number is never broken between its value and its uncertainty.
QString row_of(const QString& name, double value, double u95, const QString& unit) {
  return QString(
             "<tr><td>%1&nbsp;&nbsp;</td>"
             "<td align=\"right\" style=\"white-space:nowrap\"><b>%2</b>&nbsp;%3</td></tr>")
      .arg(name, QString::fromStdString(with_uncertainty(value, u95)), unit);
}

QString motion_of(const followup::Result& result, std::size_t index) {
  const followup::Lengths lengths = followup::lengths_of(result);
  const QString unit = QString::fromStdString(lengths.unit);
  const auto& m = *result.comparisons[index].migration;
  const auto length = [&](Number number, const char* name, const Measured<Millimetres>& value) {
    return row_of(linked(link_of(index, number), name), value.value.value / lengths.mm_per_unit,
                  value.u95.value / lengths.mm_per_unit, unit);
  };
  return "<table>" + length(Number::kSubsidence, "Subsidence (distal +)", m.subsidence) +
         length(Number::kMedial, "Medial shift", m.medial) +
         row_of(linked(link_of(index, Number::kTiltChange), "Tilt change (varus +)"),
                m.tilt_change.value.value, m.tilt_change.u95.value, "°") +
         "</table>";
}

QString verdicts_of(const assessment::Assessment& assessed, std::size_t comparison) {
  QString out;
  for (std::size_t i = 0; i < assessed.findings.size(); ++i) {
    const assessment::Finding& finding = assessed.findings[i];
    if (finding.comparison != comparison ||
        finding.verdict == assessment::Verdict::kNotApplicable) {
      continue;
    }
    out += "<li><b>" + linked(link_of_verdict(i), escaped(printable(finding.criterion))) + ": " +
           QString::fromStdString(words_of(finding.verdict)) + ".</b> " +
           escaped(printable(finding.text)) + "</li>";
  }
  return out.isEmpty() ? out : "<h4>The chosen film, limit by limit</h4><ul>" + out + "</ul>";
}

/// The comparison whose doubts the verdict of the whole lists: the latest that was measured.
std::optional<std::size_t> latest_pair(const followup::Result& result) {
  std::optional<std::size_t> out;
  for (std::size_t i = 0; i < result.comparisons.size(); ++i) {
    if (result.comparisons[i].migration) out = i;  // in order of time
  }
  return out;
}

/// What stands against the numbers of one comparison: its own doubts and those of its two films.
QString doubts_of(const followup::Result& result, const followup::ComparisonResult& pair) {
  QString out;
  for (const Flag& flag : pair.flags) {
    if (flag.id == kLinesFlag) continue;
    out += "<li>" + escaped(printable(flag.text)) + "</li>";
  }
  for (const followup::FilmDoubt& doubt : followup::film_doubts(result, pair)) {
    out += "<li>" + escaped(printable(result.films[doubt.film].file)) + ": " +
           escaped(printable(doubt.flag.text)) + "</li>";
  }
  return out.isEmpty() ? out
                       : "<p><b>What stands against these numbers</b></p><ul>" + out + "</ul>";
}

/// The numbers of one comparison.
QString numbers_of(const followup::Result& result, std::size_t index) {
  const followup::ComparisonResult& pair = result.comparisons[index];
  const followup::FilmResult& film = result.films[pair.follow_up];
  QString out =
      "<h4>Chosen film: " + linked(link_of_film(pair.follow_up), escaped(printable(film.file)));
  if (film.date) out += ", " + escaped(format_date(*film.date));
  if (pair.days) out += QString(", day %1").arg(*pair.days);
  out += "</h4>";
  if (!pair.migration) return out + "<p>Not measured: " + escaped(printable(pair.reason)) + "</p>";
  out += motion_of(result, index);
  // Those of the latest film stand below the verdict.
  return index == latest_pair(result) ? out : out + doubts_of(result, pair);
}

/// What was not measured, and why: somebody can act on it. The chosen film's pair says it above.
QString refusals_of(const followup::Result& result, std::optional<std::size_t> chosen) {
  QString out;
  const auto name = [&](std::size_t film) {
    return linked(link_of_film(film), escaped(printable(result.films[film].file)));
  };
  for (std::size_t i = 0; i < result.films.size(); ++i) {
    const auto& film = result.films[i];
    if (film.status == followup::Status::kNotMeasured && !film.excluded) {
      out +=
          "<p><b>" + name(i) + " is not measured:</b> " + escaped(printable(film.reason)) + "</p>";
    }
  }
  const auto is_measured = [&](std::size_t film) {
    return result.films[film].status == followup::Status::kMeasured;
  };
  for (const auto& pair : result.comparisons) {
    // Of a film that was not measured its own reason says all.
    if (pair.migration || !is_measured(pair.follow_up) || !is_measured(pair.reference)) continue;
    if (pair.follow_up == chosen) continue;
    out += "<p><b>" + name(pair.follow_up) + " could not be compared with " + name(pair.reference) +
           ":</b> " + escaped(printable(pair.reason)) + "</p>";
  }
  return out;
}

QString verdict_of(const report::Headline& headline) {
  const bool look = headline.finding == report::Finding::kLook;
  const bool calm = headline.finding == report::Finding::kCalm;
  const QString sign = look ? "◆" : calm ? "●" : "○";
  const QString word = look ? "Look closer" : calm ? "Within limits" : "Cannot tell";
  return "<p style=\"font-size:large\"><b>" + sign + " " + linked(link_of_headline(), word) +
         "</b></p>";
}

QString sentences_of(const report::Headline& headline) {
  QString out = "<p>" + escaped(headline.sentence.text) + "</p>";
  if (headline.measured) out += "<p>" + escaped(headline.measured->text) + "</p>";
  return out;
}

/// Of the latest film, which need not be the chosen one.
QString doubts_of(const report::Headline& headline, const followup::Result& result) {
  if (headline.doubts.empty()) return {};
  QString out = "<p><b>What stands against it";
  if (const auto pair = latest_pair(result)) {
    const std::size_t film = result.comparisons[*pair].follow_up;
    out += " (" + escaped(printable(result.films[film].file)) + ")";
  }
  out += "</b></p><ul>";
  for (const report::Phrase& doubt : headline.doubts) out += "<li>" + escaped(doubt.text) + "</li>";
  return out + "</ul>";
}

}  // namespace

QString words_of(const report::Section* section) {
  QString out;
  if (section == nullptr) return out;
  for (const report::Block& block : section->blocks) {
    if (const auto* paragraph = std::get_if<report::Paragraph>(&block)) {
      const QString text = escaped(paragraph->phrase.text);
      out += paragraph->tone == report::Tone::kDoubt ? "<p><b>" + text + "</b></p>"
                                                     : "<p>" + text + "</p>";
    } else if (const auto* items = std::get_if<report::Items>(&block)) {
      out += "<ul>";
      for (const report::Item& item : items->items) {
        const QString about = item.about.empty() ? "" : "<b>" + escaped(item.about) + ".</b> ";
        out += "<li>" + about + escaped(item.phrase.text) + "</li>";
      }
      out += "</ul>";
    }
  }
  return out;
}

QString finding_html(const followup::Result& result, const report::Document& document,
                     std::optional<std::size_t> chosen) {
  QString numbers;
  QString limits;
  for (std::size_t i = 0; i < result.comparisons.size(); ++i) {
    if (result.comparisons[i].follow_up != chosen) continue;
    numbers += numbers_of(result, i);
    if (result.assessment) limits += verdicts_of(*result.assessment, i);
  }
  // The numbers stand where they are seen without scrolling: whoever corrects a point waits for
  // them.
  QString html = verdict_of(document.headline) + numbers + sentences_of(document.headline) +
                 doubts_of(document.headline, result) + limits;
  html += refusals_of(result, chosen);
  html +=
      "<p><small>Underlined words explain themselves: Tab to one, then F1 or Enter; or click "
      "it.</small></p>";
  return html + words_of(section_of(document, "cautions"));
}

}  // namespace tidemark::view
