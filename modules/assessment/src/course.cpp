#include "tidemark/assessment/course.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <limits>

#include "baseline.h"
#include "effective_u.h"
#include "shapes.h"
#include "tidemark/assessment/probability.h"
#include "tidemark/assessment/trust.h"
#include "tidemark/core/least_squares.h"
#include "tidemark/core/number_text.h"
#include "words.h"

namespace tidemark::assessment {
namespace {

constexpr Words<Pattern, 5> kPatterns{{"settled", "continuous", "late", "stable", "cannot_tell"}};

/// Share of each source's variance in a comparison that comes from the reference film.
constexpr double kOfReference = 0.5;
/// Decisive probability of a pattern, as for verdicts (judge.h).
constexpr double kDecisivePattern = 0.95;
/// Below this probability of so bad a fit no shape is believed. House choice.
constexpr double kNoShape = 1e-3;
/// To call a stem settled, early and last film must lie this far apart; to call it stable, it must
/// have been followed for so long (working test after Krismer et al. 1999, proposals).
constexpr int kApartDays = 365;
constexpr int kStableDays = 730;
/// All pairs of films together are taken for contradictory in so many unmoved stems, up or down.
constexpr double kByChance = 0.05;
/// A visit may be this much early for a limit of time to count as reached. House choice.
constexpr int kToleranceDays = 61;

double variance_of(const Measured<Millimetres>& m) {
  return std::pow(effective_u(m.u.value, m.u95.value), 2);
}

/// Variance that the reference film brings into every comparison, mm^2.
double reference_variance(const std::vector<const migration::Migration*>& all) {
  double sum = 0.0;
  double rest = std::numeric_limits<double>::infinity();
  const auto of_source = [](const migration::Migration& m, const std::string& source) {
    double variance = 0.0;
    for (const auto& item : m.budget) {
      if (item.source == source) variance += std::pow(item.u.value, 2);
    }
    return variance;
  };
  for (const auto& item : all.front()->budget) {
    double least = std::numeric_limits<double>::infinity();
    for (const auto* one : all) least = std::min(least, of_source(*one, item.source));
    sum += least;
  }
  for (const auto* one : all) {
    double told = 0.0;
    for (const auto& item : one->budget) told += std::pow(item.u.value, 2);
    rest = std::min(rest, std::max(0.0, variance_of(one->subsidence) - told));
  }
  double whole = std::numeric_limits<double>::infinity();
  for (const auto* one : all) whole = std::min(whole, variance_of(one->subsidence));
  return kOfReference * std::min(whole, sum + rest);
}

/// Points by time with their covariance; nothing but dated, measured comparisons in mm.
void take_points(const HipEvidence& hip, Course& course) {
  std::vector<std::pair<CoursePoint, const migration::Migration*>> found;
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    const ComparisonEvidence& pair = hip.comparisons[i];
    if (!pair.migration || !pair.days || *pair.days <= 0) continue;
    const auto from_surgery = hip.films.at(pair.follow_up).days_from_surgery;
    const int days = course.from_surgery ? from_surgery.value_or(*pair.days) : *pair.days;
    found.push_back({{i, days, *pair.days, pair.migration->subsidence}, &*pair.migration});
  }
  if (found.empty()) return;
  std::stable_sort(found.begin(), found.end(),
                   [](const auto& a, const auto& b) { return a.first.days < b.first.days; });
  std::vector<const migration::Migration*> all;
  for (const auto& [point, migration] : found) {
    course.points.push_back(point);
    all.push_back(migration);
  }
  const double shared = reference_variance(all);
  const auto n = static_cast<Eigen::Index>(all.size());
  course.reference_share = {std::sqrt(shared)};
  course.covariance = Eigen::MatrixXd::Constant(n, n, shared);
  for (Eigen::Index i = 0; i < n; ++i) {
    course.covariance(i, i) = variance_of(all[static_cast<std::size_t>(i)]->subsidence);
  }
}

int reference_day(const Course& course) {
  const CoursePoint& first = course.points.front();
  return first.days - first.days_from_reference;
}

/// Whether the reference film itself stands after the settling window.
bool baseline_is_late(const Course& course) {
  return course.from_surgery && reference_day(course) >= kSettledDays;
}

std::optional<LateRate> fit_late_rate(const Course& course) {
  if (course.points.empty()) return {};
  const bool from_reference = baseline_is_late(course);
  std::vector<Eigen::Index> used;
  for (std::size_t i = 0; i < course.points.size(); ++i) {
    if (course.points[i].days >= kSettledDays) used.push_back(static_cast<Eigen::Index>(i));
  }
  if (used.size() < (from_reference ? 1U : 2U)) return {};
  const auto n = static_cast<Eigen::Index>(used.size());
  const auto point = [&](Eigen::Index i) -> const CoursePoint& {
    return course.points[static_cast<std::size_t>(used[static_cast<std::size_t>(i)])];
  };
  // Where the reference film counts, the line goes through it: s = 0 on its day.
  Eigen::MatrixXd a = Eigen::MatrixXd::Ones(n, from_reference ? 1 : 2);
  Eigen::VectorXd y(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    a(i, 0) = point(i).days_from_reference / kDaysPerYear;
    y(i) = point(i).subsidence.value.value;
  }
  const auto fit = gls(a, y, course.covariance(used, used));
  if (!fit) return {};  // all of one day
  // Films that scatter more than they promise make the rate less certain (Birge).
  const double u = std::sqrt(fit->covariance(0, 0)) * std::max(1.0, birge_ratio(*fit));
  const int first = from_reference ? 0 : point(0).days_from_reference;
  return LateRate{.rate = measured(MillimetresPerYear{fit->estimate(0)}, MillimetresPerYear{u}),
                  .films = static_cast<int>(n) + (from_reference ? 1 : 0),
                  .days = point(n - 1).days_from_reference - first,
                  .chi2 = fit->chi2,
                  .degrees_of_freedom = fit->degrees_of_freedom};
}

std::string in_mm(double value) { return fixed_text(value, 1) + " mm"; }

/// Whether early motion may have come before the reference film, where nobody saw it.
bool hides_early_motion(Baseline baseline) {
  return baseline == Baseline::kLate || baseline == Baseline::kTooLate;
}

std::string since_late_film(const Course& course) {
  return " since the reference film of day " + std::to_string(reference_day(course)) +
         " after surgery";
}

/// The time that the pattern's early motion is of: never one that no film saw.
std::string early_time(const Course& course, Baseline baseline) {
  if (hides_early_motion(baseline)) {
    return " from the reference film of day " + std::to_string(reference_day(course)) +
           " to six months after surgery";
  }
  return course.from_surgery ? " in the first six months"
                             : " in the first six months after the reference film";
}

/// Of a reference film after the first six months: all that is seen is late.
std::string sentence_of_late_motion(Pattern pattern, const ShapeFit& fit, const Course& course) {
  const bool moves = pattern == Pattern::kContinuous || pattern == Pattern::kLate;
  return "The stem sank by " + (moves ? "about " + in_mm(fit.late_mm) : "less than 1 mm") +
         since_late_film(course);
}

std::string sentence_of(Pattern pattern, const ShapeFit& fit, const Course& course,
                        Baseline baseline) {
  if (reference_day(course) >= kEarlyDays) return sentence_of_late_motion(pattern, fit, course);
  const std::string early = early_time(course, baseline);
  switch (pattern) {
    case Pattern::kSettled:
      return "The stem sank by about " + in_mm(fit.early_mm) + early +
             " and by less than 1 mm since";
    case Pattern::kContinuous:
      return "The stem sank by about " + in_mm(fit.early_mm) + early + " and by about " +
             in_mm(fit.late_mm) + " since: it goes on";
    case Pattern::kLate:
      return "The stem sank by less than 1 mm" + early + " and by about " + in_mm(fit.late_mm) +
             " since";
    default:
      return hides_early_motion(baseline)
                 ? "The stem sank by less than 1 mm" + early + " and by less than 1 mm since"
                 : "The stem sank by less than 1 mm, early and late";
  }
}

/// What the films would have to span for a pattern to be named; nothing when they do.
std::optional<std::string> too_short(Pattern pattern, const Course& course, Baseline baseline) {
  const int last = course.points.back().days;
  if (baseline == Baseline::kUnstated) {
    return "how long after the operation the reference film was taken is not known";
  }
  if (baseline == Baseline::kTooLate) return "the reference film is not an early one";
  if (!course.left_out.empty()) return "a film that is or may be later is not in the course";
  // Unseen motion only adds to what moved early: that much may stand, that nothing moved may not.
  if (baseline == Baseline::kLate && (pattern == Pattern::kStable || pattern == Pattern::kLate)) {
    return "early motion before the reference film of day " +
           std::to_string(reference_day(course)) + " after surgery is not seen";
  }
  // As for verdicts: what moved calls for a closer look all the same.
  const bool stands_still = pattern == Pattern::kSettled || pattern == Pattern::kStable;
  if (stands_still && !course.untrusted.empty()) {
    return "a flag says that a film of the course may not show this hip, its scale or its "
           "alignment (" +
           in_one_text(course.untrusted) + ")";
  }
  if (pattern == Pattern::kSettled) {
    // Early motion is known from the latest film of the first six months.
    int early = reference_day(course);
    for (const CoursePoint& p : course.points) {
      if (p.days <= kEarlyDays + kToleranceDays) early = std::max(early, p.days);
    }
    if (last - early < kApartDays - kToleranceDays) {
      return "the films after the first six months span less than a year";
    }
  }
  if (pattern == Pattern::kStable && last < kStableDays - kToleranceDays) {
    return "the stem has been followed for less than two years";
  }
  return {};
}

ShapeFit compared_shapes(const Course& course) {
  CourseData data{static_cast<double>(reference_day(course)),
                  {},
                  Eigen::VectorXd(course.covariance.rows()),
                  course.covariance};
  for (std::size_t i = 0; i < course.points.size(); ++i) {
    data.days.push_back(course.points[i].days);
    data.subsidence(static_cast<Eigen::Index>(i)) = course.points[i].subsidence.value.value;
  }
  return compare_shapes(data);
}

void fit_shapes(Course& course, Baseline baseline) {
  if (course.points.size() < 2) {
    course.text =
        "The course cannot be told: it takes two dated follow-up films besides the "
        "reference film.";
    return;
  }
  const ShapeFit fit = compared_shapes(course);
  const boost::math::chi_squared scatter(static_cast<double>(course.points.size()));
  if (boost::math::cdf(boost::math::complement(scatter, fit.best_chi2)) < kNoShape) {
    course.text =
        "The course cannot be told: no course of a stem that sinks or stands still fits "
        "these numbers; look at the films.";
    return;
  }
  course.probabilities = fit.probabilities;
  course.fitted = fit.band;
  if (course.points.back().days <= kEarlyDays) {
    course.text = "The course cannot be told: the films end within six months of " +
                  std::string(course.from_surgery ? "surgery." : "the reference film.");
    return;
  }
  const auto best = std::max_element(fit.probabilities.begin(), fit.probabilities.end());
  const auto pattern = static_cast<Pattern>(best - fit.probabilities.begin());
  const std::string likeliest =
      sentence_of(pattern, fit, course, baseline) + " (probability " + percent_text(*best) + ")";
  const auto why_not = too_short(pattern, course, baseline);
  if (*best >= kDecisivePattern && !why_not) {
    course.pattern = pattern;
    course.text = likeliest + ".";
    return;
  }
  course.text =
      "The course cannot be told: " + why_not.value_or("no course reaches a probability of 95 %") +
      ". So far the likeliest: " + likeliest + ".";
}

/// Comparisons that are no point and may be later than all that are.
std::vector<std::size_t> left_out_of(const HipEvidence& hip, const Course& course) {
  std::vector<std::size_t> out;
  if (course.points.empty()) return out;
  const auto film_of = [&](std::size_t comparison) -> const FilmEvidence& {
    return hip.films.at(hip.comparisons[comparison].follow_up);
  };
  const auto& last = film_of(course.points.back().comparison).date;
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    const bool is_point = std::any_of(course.points.begin(), course.points.end(),
                                      [&](const CoursePoint& p) { return p.comparison == i; });
    const auto& date = film_of(i).date;
    if (!is_point && (!last || !date || *date > *last)) out.push_back(i);
  }
  return out;
}

/// Flags of the points' comparisons that forbid to trust them, each once.
std::vector<std::string> untrusted_in(const HipEvidence& hip, const Course& course) {
  std::vector<std::string> out;
  for (const CoursePoint& point : course.points) {
    for (const std::string& id : untrusted_flags_of(hip.comparisons[point.comparison])) {
      if (std::find(out.begin(), out.end(), id) == out.end()) out.push_back(id);
    }
  }
  return out;
}

/// A film as the start or the end of a change: a point of the course, or the reference film.
using FilmAt = std::optional<std::size_t>;

int day_of(const Course& course, FilmAt film) {
  return film ? course.points[*film].days : reference_day(course);
}

/// What the stem sank from one film to a later one.
Measured<Millimetres> change_between(const Course& course, FilmAt from, std::size_t to) {
  if (!from) return course.points[to].subsidence;
  const auto i = static_cast<Eigen::Index>(*from);
  const auto j = static_cast<Eigen::Index>(to);
  const auto& v = course.covariance;
  const double u = std::sqrt(v(i, i) + v(j, j) - 2.0 * v(i, j));
  return measured(course.points[to].subsidence.value - course.points[*from].subsidence.value,
                  Millimetres{u});
}

}  // namespace

std::string code_of(Pattern pattern) { return kPatterns[pattern]; }

std::optional<LateChange> late_change(const Course& course, std::size_t comparison) {
  const auto& points = course.points;
  const auto late = std::find_if(points.begin(), points.end(),
                                 [](const CoursePoint& p) { return p.days >= kSettledDays; });
  const auto end = std::find_if(points.begin(), points.end(),
                                [&](const CoursePoint& p) { return p.comparison == comparison; });
  if (late == points.end() || end == points.end()) return {};
  const bool from_reference = baseline_is_late(course);
  const auto first = static_cast<std::size_t>(late - points.begin());
  const auto to = static_cast<std::size_t>(end - points.begin());
  const FilmAt from = from_reference ? FilmAt{} : FilmAt{first};
  const int days = points[to].days - day_of(course, from);
  if (days <= 0) return {};
  LateChange out;
  if (from) out.from = points[*from].comparison;
  out.to = comparison;
  out.days = days;
  out.change = change_between(course, from, to);
  out.starts_late = day_of(course, from) > kEarlyDays + kToleranceDays;
  // The last film of the settling window is the one before; the reference film where none is.
  if (out.starts_late && !from_reference) {
    out.at_most = change_between(course, first > 0 ? FilmAt{first - 1} : FilmAt{}, to);
  }
  return out;
}

std::optional<Rise> rise_in(const Course& course) {
  const std::size_t n = course.points.size();
  if (n < 2) return {};
  const double pairs = 0.5 * static_cast<double>(n * (n - 1));
  double most = coverage_factor(kInfiniteFreedom, 1.0 - kByChance / pairs);
  std::optional<Rise> out;
  for (std::size_t j = 1; j < n; ++j) {
    for (std::size_t i = 0; i < j; ++i) {
      const auto change = change_between(course, i, j);
      const bool later = course.points[j].days > course.points[i].days;
      if (!later || !(change.u.value > 0.0) || -change.value.value <= most * change.u.value) {
        continue;
      }
      most = -change.value.value / change.u.value;
      out = Rise{course.points[i].comparison, course.points[j].comparison, change};
    }
  }
  return out;
}

Course follow(const HipEvidence& hip) {
  Course course;
  course.from_surgery =
      !hip.comparisons.empty() &&
      hip.films.at(hip.comparisons.front().reference).days_from_surgery.has_value();
  if (hip.lengths == Lengths::kPixels) {
    course.text = "The course cannot be told: nothing gives the scale of the films.";
    return course;
  }
  take_points(hip, course);
  if (!course.points.empty()) {
    course.late_change = late_change(course, course.points.back().comparison);
    course.late_rate = fit_late_rate(course);
  }
  course.left_out = left_out_of(hip, course);
  course.untrusted = untrusted_in(hip, course);
  const bool any = !hip.comparisons.empty();
  fit_shapes(course, any ? baseline_of(hip, hip.comparisons.front()) : Baseline::kEarly);
  if (!course.from_surgery && !course.points.empty()) {
    course.text += " The date of surgery is not known; times count from the reference film.";
  }
  return course;
}

}  // namespace tidemark::assessment
