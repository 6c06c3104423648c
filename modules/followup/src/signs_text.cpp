#include "tables.h"
#include "tidemark/core/text.h"

namespace tidemark::followup {
namespace {

using assessment::SignReport;
using lucency::Answer;

/// Titles of the signs with an answer, "a; b".
std::string titles(const SignReport& report, Answer answer) {
  std::string out;
  for (const auto& sign : report.signs) {
    if (sign.answer == answer) out += (out.empty() ? "" : "; ") + sign.title;
  }
  return out;
}

std::size_t count(const SignReport& report, Answer answer) {
  std::size_t out = 0;
  for (const auto& sign : report.signs) out += sign.answer == answer ? 1 : 0;
  return out;
}

/// The last comparison of which anything can be told, else null.
const SignReport* last_told(const std::vector<SignReport>& reports) {
  for (std::size_t i = reports.size(); i-- > 0;) {
    if (count(reports[i], Answer::kCannotTell) < reports[i].signs.size()) return &reports[i];
  }
  return nullptr;
}

std::string line(const std::string& text) { return "  " + printable(text) + "\n"; }

}  // namespace

std::string sign_lines(const Result& result) {
  const assessment::SignAssessment& signs = result.assessment->signs;
  if (signs.table.empty()) return signs.reason.empty() ? "" : line(signs.reason);
  const SignReport* report = last_told(signs.reports);
  if (report == nullptr) {
    return line("Signs of fixation (" + signs.table + "): none can be told.");
  }
  const FilmResult& film = result.films.at(result.comparisons.at(report->comparison).follow_up);
  const std::string present = titles(*report, Answer::kYes);
  const std::string absent = titles(*report, Answer::kNo);
  std::string out = line("Signs of fixation on " + film.file + " (" + signs.table + "):");
  if (!present.empty()) out += "  " + line("present: " + present + ".");
  if (!absent.empty()) out += "  " + line("absent: " + absent + ".");
  out +=
      "  " + line("cannot tell: " + std::to_string(count(*report, Answer::kCannotTell)) + " of " +
                  std::to_string(report->signs.size()) + " signs; result.json says why.");
  if (report->score) out += "  " + line(report->score->text);
  for (const auto& one : report->explanations) {
    if (one.answer != Answer::kYes) continue;
    out += "  " + line("What was measured would fit: " + one.title + ". Next: " + one.next);
  }
  for (const std::string& doubt : report->doubts) out += "  " + line(doubt);
  return out;
}

}  // namespace tidemark::followup
