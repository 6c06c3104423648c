#include "tidemark/registry/criteria_share.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/criteria.h"

namespace tidemark::registry {
namespace {

constexpr double kYear = 365.25;

/// A judgement with its day; first examinations only.
struct Judged {
  int days = 0;
  const CohortFinding* finding = nullptr;
};

/// The hip's judgements by a criterion, by day; those without a day cannot be placed and are none.
std::vector<Judged> judged(const CohortHip& hip, const std::string& criterion) {
  std::vector<Judged> out;
  for (const CohortFinding& finding : hip.findings) {
    if (finding.criterion != criterion || finding.verdict == Verdict::kNotApplicable) continue;
    for (const CohortComparison& c : hip.comparisons) {
      if (c.comparison != finding.comparison || c.examination != 1 || !c.days) continue;
      if (!is_after_reference(hip, c)) continue;
      out.push_back({*c.days, &finding});
    }
  }
  std::stable_sort(out.begin(), out.end(), [](auto& a, auto& b) { return a.days < b.days; });
  return out;
}

const CohortFinding* standing(const std::vector<Judged>& rows) {
  for (const Judged& row : rows) {
    if (row.finding->verdict == Verdict::kExceeds) return row.finding;
  }
  return rows.empty() ? nullptr : rows.back().finding;
}

const CohortFinding* at_visit(const CohortHip& hip, const std::vector<Judged>& rows,
                              const Visit& visit) {
  const CohortComparison* film = nearest_to(hip, visit);
  if (film == nullptr) return nullptr;
  for (const Judged& row : rows) {
    if (row.finding->comparison == film->comparison) return row.finding;
  }
  return nullptr;
}

/// Adds hips to a share, one finding (or none) each.
class Tally {
 public:
  explicit Tally(CriterionShare share) : share_(std::move(share)) {}
  void add(const CohortFinding* finding) {
    if (finding == nullptr) {
      ++share_.not_judged;
      return;
    }
    share_.exceeds += finding->verdict == Verdict::kExceeds ? 1U : 0U;
    share_.within += finding->verdict == Verdict::kWithin ? 1U : 0U;
    share_.cannot_tell += finding->verdict == Verdict::kCannotTell ? 1U : 0U;
    if (!finding->probability_exceeds) return;
    sum_ += *finding->probability_exceeds;
    ++with_probability_;
  }
  void leave_out() { ++share_.late_reference; }
  [[nodiscard]] CriterionShare done() const {
    CriterionShare out = share_;
    const std::size_t all = out.exceeds + out.within + out.cannot_tell;
    out.least = share_of(out.exceeds, all);
    out.most = share_of(out.exceeds + out.cannot_tell, all);
    if (with_probability_ > 0) out.expected = sum_ / static_cast<double>(with_probability_);
    return out;
  }

 private:
  CriterionShare share_;
  double sum_ = 0.0;
  std::size_t with_probability_ = 0;
};

/// The day that a film's judgement counts at: its visit's. Hips of one visit are judged together.
/// By each film's own day those found within on its first days would be at risk no longer when the
/// others are judged, and the share beyond would be of the few that are left.
int day_of_visit(int days) {
  const auto visit = visit_of(days);
  return visit ? visits()[*visit].days : days;
}

/// From three months on milestones are whole months, so that a mark of the axis meets its visit.
double years_of(int day) {
  const double months = 12.0 * day / kYear;
  return day < assessment::kSettledDays ? day / kYear : std::round(months) / 12.0;
}

/// What a hip tells of its time to the event.
struct Followed {
  TimeToEvent end;       ///< first event, or the end of what is known
  int first_judged = 0;  ///< day of the visit
};

std::optional<Followed> followed(const std::vector<Judged>& rows, Counting counting) {
  std::optional<Followed> out;
  for (const Judged& row : rows) {
    const Verdict verdict = row.finding->verdict;
    const bool open = verdict == Verdict::kCannotTell;
    if (row.days < 0 || (open && counting == Counting::kJudged)) continue;
    const bool event = verdict == Verdict::kExceeds || (open && counting == Counting::kAsBeyond);
    const int day = day_of_visit(row.days);
    if (!out) out = Followed{{}, day};
    out->end = {years_of(day), event ? Outcome::kEvent : Outcome::kCensored};
    if (event) return out;
  }
  return out;
}

/// Why a hip takes no part whatever its films show.
bool is_left_out(const CohortHip& hip, const CohortCriterion& criterion) {
  return counts_from_reference(criterion) && entry_of(hip) == Entry::kTooLate;
}

bool is_left_out(const CohortHip& hip, const CohortCriterion& criterion, Counting counting) {
  if (counting != Counting::kJudged) return is_left_out(hip, criterion);
  return counts_from_reference(criterion) && entry_of(hip) != Entry::kEarly;
}

/// Shares of one group: over the whole follow-up, then at each visit that has one.
void add_shares(const Cohort& cohort, const CohortCriterion& criterion, const std::string& group,
                std::vector<CriterionShare>& out) {
  CriterionShare empty;
  empty.criterion = criterion.id;
  empty.group = group;
  Tally whole(empty);
  std::vector<Tally> by_visit;
  for (std::size_t v = 0; v < visits().size(); ++v) {
    empty.visit = v;
    by_visit.emplace_back(empty);
  }
  for (const CohortHip& hip : cohort.hips) {
    if (hip.group != group) continue;
    const bool left_out = is_left_out(hip, criterion);
    const auto rows = judged(hip, criterion.id);
    const auto count = [&](Tally& tally, const CohortFinding* finding) {
      if (left_out) return tally.leave_out();
      tally.add(finding);
    };
    count(whole, standing(rows));
    for (std::size_t v = 0; v < visits().size(); ++v) {
      if (nearest_to(hip, visits()[v]) == nullptr) continue;  // no film: no doubt to count
      count(by_visit[v], at_visit(hip, rows, visits()[v]));
    }
  }
  out.push_back(whole.done());
  for (const Tally& tally : by_visit) {
    const CriterionShare share = tally.done();
    if (share.least) out.push_back(share);
  }
}

void add_curve(const Cohort& cohort, const CohortCriterion& criterion, const std::string& group,
               CriterionSurvival& survival) {
  std::vector<TimeToEvent> hips;
  std::size_t left_out = 0;
  std::size_t late = 0;
  std::optional<int> first;
  for (const CohortHip& hip : cohort.hips) {
    if (hip.group != group) continue;
    if (is_left_out(hip, criterion, survival.counting)) {
      ++late;
      continue;
    }
    const auto told = followed(judged(hip, criterion.id), survival.counting);
    if (!told) {
      ++left_out;
      continue;
    }
    hips.push_back(told->end);
    first = std::min(first.value_or(told->first_judged), told->first_judged);
  }
  survival.groups.push_back(group);
  survival.curves.push_back(kaplan_meier(hips).value_or(SurvivalCurve{}));
  survival.hips.push_back(std::move(hips));
  survival.first_judged.push_back(first);
  survival.late_reference.push_back(late);
  survival.left_out.push_back(left_out);
}

}  // namespace

bool counts_from_reference(const CohortCriterion& criterion) {
  using Late = assessment::Quantity;
  return criterion.quantity != assessment::code_of(Late::kLateSubsidence) &&
         criterion.quantity != assessment::code_of(Late::kLateSubsidenceRate);
}

std::vector<CohortCriterion> criteria_of(const Cohort& cohort) {
  std::map<std::string, CohortCriterion> found;
  for (const CohortHip& hip : cohort.hips) {
    for (const CohortFinding& f : hip.findings) {
      found.try_emplace(f.criterion, CohortCriterion{f.criterion, f.quantity, f.unit, f.threshold});
    }
  }
  std::vector<CohortCriterion> out;
  out.reserve(found.size());
  for (auto& [id, criterion] : found) out.push_back(std::move(criterion));
  return out;
}

std::vector<CriterionShare> criterion_shares(const Cohort& cohort) {
  std::vector<CriterionShare> out;
  for (const CohortCriterion& criterion : criteria_of(cohort)) {
    for (const std::string& group : cohort.groups) add_shares(cohort, criterion, group, out);
  }
  return out;
}

std::string name_of(Counting counting) {
  switch (counting) {
    case Counting::kAsWithin:
      return "cannot_tell_as_within";
    case Counting::kAsBeyond:
      return "cannot_tell_as_beyond";
    case Counting::kJudged:
      break;
  }
  return "judged_only";
}

double years_of_visit(int days) { return years_of(day_of_visit(days)); }

std::vector<CriterionSurvival> criterion_survival(const Cohort& cohort) {
  std::vector<CriterionSurvival> out;
  for (const CohortCriterion& criterion : criteria_of(cohort)) {
    for (const Counting counting : {Counting::kJudged, Counting::kAsWithin, Counting::kAsBeyond}) {
      CriterionSurvival survival;
      survival.criterion = criterion.id;
      survival.counting = counting;
      for (const std::string& group : cohort.groups) {
        add_curve(cohort, criterion, group, survival);
      }
      const auto has_hips = [](const SurvivalCurve& curve) { return curve.hips > 0; };
      if (std::none_of(survival.curves.begin(), survival.curves.end(), has_hips)) continue;
      survival.log_rank = log_rank(survival.hips);
      out.push_back(std::move(survival));
    }
  }
  return out;
}

}  // namespace tidemark::registry
