#include "tidemark/followup/history.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "report_facts.h"
#include "tidemark/core/hash.h"
#include "tidemark/followup/result.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

/// Two reports whose films are found in one another.
struct Compared {
  const ReportFacts& before;
  const ReportFacts& after;
  const Result& result;  ///< of which `after` are the facts
  std::vector<Change> changes;
};

const FilmFacts* film_of(const ReportFacts& report, const std::string& sha256) {
  const auto found = std::find_if(report.films.begin(), report.films.end(),
                                  [&](const FilmFacts& film) { return film.sha256 == sha256; });
  return found == report.films.end() ? nullptr : &*found;
}

const PairFacts* pair_of(const ReportFacts& report, const PairFacts& like) {
  const auto found =
      std::find_if(report.pairs.begin(), report.pairs.end(), [&](const PairFacts& pair) {
        return pair.reference_sha256 == like.reference_sha256 &&
               pair.follow_up_sha256 == like.follow_up_sha256;
      });
  return found == report.pairs.end() ? nullptr : &*found;
}

std::string reference_of(const ReportFacts& report) {
  const auto found = std::find_if(report.films.begin(), report.films.end(),
                                  [](const FilmFacts& film) { return film.is_reference; });
  return found == report.films.end() ? std::string{} : found->sha256;
}

Change of_film(ChangeKind kind, const FilmFacts& film) {
  Change out;
  out.kind = kind;
  out.film = film.file;
  out.date = film.date;
  return out;
}

void add_codes(Compared& reports, ChangeKind kind, const std::string& before,
               const std::string& after) {
  if (before == after || before.empty() || after.empty()) return;
  Change change;
  change.kind = kind;
  change.before = before;
  change.after = after;
  reports.changes.push_back(std::move(change));
}

void compare_films(Compared& reports) {
  for (const FilmFacts& film : reports.after.films) {
    const FilmFacts* earlier = film_of(reports.before, film.sha256);
    if (earlier == nullptr) {
      reports.changes.push_back(of_film(ChangeKind::kNewFilm, film));
    } else if (earlier->status != film.status) {
      reports.changes.push_back(of_film(
          film.status == "measured" ? ChangeKind::kNowMeasured : ChangeKind::kNoLongerMeasured,
          film));
    }
  }
  for (const FilmFacts& film : reports.before.films) {
    if (film_of(reports.after, film.sha256) == nullptr) {
      reports.changes.push_back(of_film(ChangeKind::kFilmGone, film));
    }
  }
}

std::string unit_of_key(const std::string& key) { return key.substr(key.rfind('_') + 1); }

void set_values(Change& change, const std::string& what, const Measured<double>& before,
                const Measured<double>& after) {
  change.what = what;
  change.unit = unit_of_key(what);
  change.value_before = before;
  change.value_after = after;
  change.difference = after.value - before.value;
}

const Measured<double>* value_of(const PairFacts& pair, const std::string& key) {
  const auto found = std::find_if(pair.values.begin(), pair.values.end(),
                                  [&](const auto& one) { return one.first == key; });
  return found == pair.values.end() ? nullptr : &found->second;
}

bool differ(const Measured<double>& a, const Measured<double>& b) {
  return a.value != b.value || a.u != b.u || a.u95 != b.u95;
}

/// Codes that are no longer the same; each is a `change`.
/// @param unsaid  what a report says of a name that it does not hold
void compare_codes(Compared& reports, const Change& change, const std::string& unsaid,
                   const std::map<std::string, std::string>& before,
                   const std::map<std::string, std::string>& after) {
  std::map<std::string, std::string> all = after;  // in the order of the names
  for (const auto& [name, code] : before) all.try_emplace(name, unsaid);
  for (const auto& [name, code] : all) {
    const auto earlier = before.find(name);
    const std::string& then = earlier == before.end() ? unsaid : earlier->second;
    if (then == code) continue;
    Change& one = reports.changes.emplace_back(change);
    one.what = name;
    one.before = then;
    one.after = code;
  }
}

/// Values of one comparison that both reports hold: the films are the same, so only the way of
/// measuring, or what was stated, can have changed them.
void compare_values(Compared& reports, const PairFacts& before, const PairFacts& after,
                    const FilmFacts& film) {
  for (const auto& [key, value] : after.values) {
    const auto* earlier = value_of(before, key);
    if (earlier == nullptr || !differ(*earlier, value)) continue;
    Change change = of_film(ChangeKind::kValue, film);
    set_values(change, key, *earlier, value);
    reports.changes.push_back(std::move(change));
  }
  compare_codes(reports, of_film(ChangeKind::kVerdict, film), "not_applicable", before.verdicts,
                after.verdicts);
}

void compare_pairs(Compared& reports) {
  for (const PairFacts& pair : reports.after.pairs) {
    const PairFacts* earlier = pair_of(reports.before, pair);
    const FilmFacts* film = film_of(reports.after, pair.follow_up_sha256);
    if (earlier == nullptr || film == nullptr) continue;
    if (earlier->status != pair.status &&
        film_of(reports.before, film->sha256)->status == film->status) {
      reports.changes.push_back(of_film(
          pair.status == "measured" ? ChangeKind::kNowMeasured : ChangeKind::kNoLongerMeasured,
          *film));
    }
    compare_values(reports, *earlier, pair, *film);
  }
  for (const FilmFacts& film : reports.after.films) {
    const FilmFacts* earlier = film_of(reports.before, film.sha256);
    // Of a film that was not measured then, or is not now, that alone is told.
    if (earlier != nullptr && earlier->status == film.status) {
      compare_codes(reports, of_film(ChangeKind::kLine, film), "not_seen", earlier->lines,
                    film.lines);
    }
  }
}

/// The last comparison that has values: comparisons stand in the order of time.
const PairFacts* latest_of(const ReportFacts& report) {
  const auto found = std::find_if(report.pairs.rbegin(), report.pairs.rend(),
                                  [](const PairFacts& pair) { return !pair.values.empty(); });
  return found == report.pairs.rend() ? nullptr : &*found;
}

/// u of the difference of two comparisons' subsidence, the error of their common reference film
/// left out: var(a - b) of the course's covariance.
std::optional<double> difference_u(const Result& result, const std::string& first_sha256,
                                   const std::string& second_sha256) {
  if (!result.assessment) return {};
  const auto& course = result.assessment->course;
  std::optional<Eigen::Index> first;
  std::optional<Eigen::Index> second;
  for (std::size_t i = 0; i < course.points.size(); ++i) {
    const auto& film = result.films[result.comparisons[course.points[i].comparison].follow_up];
    if (film.sha256 == first_sha256) first = static_cast<Eigen::Index>(i);
    if (film.sha256 == second_sha256) second = static_cast<Eigen::Index>(i);
  }
  if (!first || !second || course.covariance.rows() <= std::max(*first, *second)) return {};
  const auto& v = course.covariance;
  const double variance =
      v(*first, *first) + v(*second, *second) - v(*first, *second) - v(*second, *first);
  return variance > 0.0 ? std::optional(std::sqrt(variance)) : std::nullopt;
}

/// Whether one film is known to be no later than another.
bool is_no_later(const FilmFacts* film, const FilmFacts* other) {
  return film != nullptr && other != nullptr && film->date && other->date &&
         *film->date <= *other->date;
}

/// What the newest film adds to the newest one of the last report, both as they are measured now:
/// what was told then may rest on another scale. Nothing where the latter is not measured any more,
/// or where the newest film of now is not the later one: that would tell the course backwards.
void compare_latest(Compared& reports) {
  const PairFacts* before = latest_of(reports.before);
  const PairFacts* after = latest_of(reports.after);
  if (before == nullptr || after == nullptr ||
      before->reference_sha256 != after->reference_sha256 ||
      before->follow_up_sha256 == after->follow_up_sha256) {
    return;
  }
  const FilmFacts* film = film_of(reports.after, after->follow_up_sha256);
  const PairFacts* then = pair_of(reports.after, *before);
  if (then == nullptr || !is_no_later(film_of(reports.after, then->follow_up_sha256), film)) return;
  for (const auto& [key, value] : after->values) {
    const auto* earlier = value_of(*then, key);
    if (earlier == nullptr) continue;
    Change change = of_film(ChangeKind::kLatestValue, *film);
    set_values(change, key, *earlier, value);
    const auto* told = value_of(*before, key);
    if (told != nullptr && differ(*told, *earlier)) change.value_told = *told;
    if (key == "subsidence_mm") {
      change.difference_u =
          difference_u(reports.result, before->follow_up_sha256, after->follow_up_sha256);
    }
    reports.changes.push_back(std::move(change));
  }
}

void compare_settings(Compared& reports) {
  const ReportFacts& before = reports.before;
  const ReportFacts& after = reports.after;
  if (reference_of(before) != reference_of(after)) {
    for (const FilmFacts& film : after.films) {
      if (film.is_reference) {
        reports.changes.push_back(of_film(ChangeKind::kReferenceFilm, film));
      }
    }
  }
  add_codes(reports, ChangeKind::kHeadline, before.headline, after.headline);
  add_codes(reports, ChangeKind::kPattern, before.pattern, after.pattern);
  const bool same_set = before.criteria_sha256 == after.criteria_sha256;
  Change criteria;
  criteria.kind = ChangeKind::kCriteria;
  criteria.before = before.criteria_set;
  criteria.after = after.criteria_set;
  if (!same_set) reports.changes.push_back(std::move(criteria));
  if (before.sheet_sha256 != after.sheet_sha256) {
    reports.changes.emplace_back().kind = ChangeKind::kSheet;
  }
  if (before.options_sha256 != after.options_sha256) {
    reports.changes.emplace_back().kind = ChangeKind::kOptions;
  }
  add_codes(reports, ChangeKind::kProgram, before.version, after.version);
}

std::vector<Change> changes_between(const ReportFacts& before, const ReportFacts& after,
                                    const Result& result) {
  Compared reports{before, after, result, {}};
  compare_films(reports);
  compare_latest(reports);
  compare_settings(reports);
  if (before.length_unit == after.length_unit) compare_pairs(reports);
  return std::move(reports.changes);
}

EarlierReport report_of(const ReportFacts& facts, const std::string& text) {
  EarlierReport out{.sha256 = sha256_hex(text),
                    .version = facts.version,
                    .films = facts.films.size(),
                    .latest = {}};
  for (const FilmFacts& film : facts.films) {
    if (film.date && (!out.latest || *out.latest < *film.date)) out.latest = film.date;
  }
  return out;
}

}  // namespace

std::string code_of(ChangeKind kind) {
  switch (kind) {
    case ChangeKind::kNewFilm:
      return "new_film";
    case ChangeKind::kFilmGone:
      return "film_gone";
    case ChangeKind::kNowMeasured:
      return "now_measured";
    case ChangeKind::kNoLongerMeasured:
      return "no_longer_measured";
    case ChangeKind::kReferenceFilm:
      return "reference_film";
    case ChangeKind::kLatestValue:
      return "latest_value";
    case ChangeKind::kValue:
      return "value";
    case ChangeKind::kLine:
      return "line";
    case ChangeKind::kVerdict:
      return "verdict";
    case ChangeKind::kHeadline:
      return "headline";
    case ChangeKind::kPattern:
      return "pattern";
    case ChangeKind::kCriteria:
      return "criteria";
    case ChangeKind::kSheet:
      return "sheet";
    case ChangeKind::kOptions:
      return "options";
    case ChangeKind::kProgram:
      break;
  }
  return "program";
}

std::optional<History> history_of(const Result& result, const Earlier& earlier) {
  History out;
  out.note = earlier.note;
  if (result.reuse) {
    out.reused_films = result.reuse->films;
    out.reused_comparisons = result.reuse->comparisons;
  }
  const std::string now = to_json(result);
  const auto& base = base_of(earlier, now);
  if (base) {
    auto before = facts_of(*base);
    auto after = facts_of(now);
    if (before && after) {
      name_alike(*before, *after);
      out.earlier = report_of(*before, *base);
      out.changes = changes_between(*before, *after, result);
    }
  }
  if (!out.earlier && out.note.empty() && out.reused_films.empty()) return {};
  return out;
}

}  // namespace tidemark::followup
