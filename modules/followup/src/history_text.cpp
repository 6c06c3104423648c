#include <cmath>

#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "tidemark/followup/history.h"

namespace tidemark::followup {
namespace {

std::string film_words(const Change& change) {
  return change.film + (change.date ? " of " + format_date(*change.date) : std::string{});
}

std::string quantity_words(const std::string& key) {
  if (key.starts_with("subsidence")) return "subsidence";
  return key.starts_with("medial") ? "medial shift" : "tilt change";
}

std::string value_words(const Measured<double>& value, const std::string& unit) {
  return with_uncertainty(value.value, value.u95) + " " + unit;
}

/// "by +0.31 mm (u 0.12 mm)", "by +0.31 mm, 1.2 times its standard uncertainty"
std::string difference_words(const Change& change) {
  const int decimals = decimals_borne_by(change.value_after->u95);
  std::string out = "by " + signed_text(*change.difference, decimals) + " " + change.unit;
  if (change.difference_u) {
    return out + " (standard uncertainty " + fixed_text(*change.difference_u, 2) + " " +
           change.unit + ")";
  }
  if (change.kind != ChangeKind::kValue || !(change.value_before->u > 0.0)) return out;
  return out + ", " + fixed_text(std::abs(*change.difference) / change.value_before->u, 1) +
         " times its standard uncertainty";
}

std::string values_sentence(const Change& change) {
  const std::string quantity = quantity_words(change.what);
  const std::string from_to = value_words(*change.value_before, change.unit) + " to " +
                              value_words(*change.value_after, change.unit);
  if (change.kind == ChangeKind::kLatestValue) {
    return "The latest " + quantity + " went from " + from_to + ", " + difference_words(change) +
           "." +
           (change.value_told
                ? " The last report told " + value_words(*change.value_told, change.unit) +
                      " of the earlier film."
                : "");
  }
  return "On " + film_words(change) + " the " + quantity + " is now told otherwise: " + from_to +
         ", " + difference_words(change) + ".";
}

std::string spaced(std::string code) {
  for (char& c : code) c = c == '_' ? ' ' : c;
  return code;
}

std::string from_to(const Change& change) {
  return "from \"" + spaced(change.before) + "\" to \"" + spaced(change.after) + "\"";
}

}  // namespace

std::string words_of(const EarlierReport& report) {
  return "the last report (" + std::to_string(report.films) +
         (report.films == 1 ? " film" : " films") +
         (report.latest ? ", up to " + format_date(*report.latest) : std::string{}) + ")";
}

std::string sentence_of(const Change& change) {
  switch (change.kind) {
    case ChangeKind::kNewFilm:
      return "New film: " + film_words(change) + ".";
    case ChangeKind::kFilmGone:
      return "No longer there: film " + film_words(change) + ".";
    case ChangeKind::kNowMeasured:
      return film_words(change) + " is measured now; it was not.";
    case ChangeKind::kNoLongerMeasured:
      return film_words(change) + " is not measured any more.";
    case ChangeKind::kReferenceFilm:
      return "Another film is the reference: " + film_words(change) +
             "; values of both reports cannot be held against each other.";
    case ChangeKind::kLatestValue:
    case ChangeKind::kValue:
      return values_sentence(change);
    case ChangeKind::kLine:
      return "Radiolucent line on " + film_words(change) + ", " + spaced(change.what) + ": " +
             from_to(change) + ".";
    case ChangeKind::kVerdict:
      return "Verdict on " + change.what + " for " + film_words(change) + ": " + from_to(change) +
             ".";
    case ChangeKind::kHeadline:
      return "The verdict of the whole went " + from_to(change) + ".";
    case ChangeKind::kPattern:
      return "The course over time went " + from_to(change) + ".";
    case ChangeKind::kCriteria:
      return change.before == change.after
                 ? "The set of criteria " + change.after + " has other content."
                 : "Another set of criteria: " + change.after + " in place of " + change.before +
                       ".";
    case ChangeKind::kSheet:
      return "What series.json says is not what it said then.";
    case ChangeKind::kOptions:
      return "What is stated with the films (side, head diameter, stem length, criteria) changed.";
    case ChangeKind::kProgram:
      break;
  }
  return "Another version of the program: " + change.after + " in place of " + change.before + ".";
}

}  // namespace tidemark::followup
