#include "simulate.h"

#include <algorithm>
#include <cmath>

#include "tidemark/core/uncertainty.h"

namespace tidemark::course_bench {
namespace {

using assessment::Pattern;

constexpr double kYear = assessment::kDaysPerYear;
constexpr double kRelevantMm = 1.0;
constexpr double kEarlyDays = 182.0;

/// Usual visits, days from surgery (common practice, no source).
const std::vector<std::vector<int>>& schedules() {
  static const std::vector<std::vector<int>> all{
      {42, 91, 182, 365, 730}, {42, 182, 365, 730},
      {91, 365, 730, 1096},    {42, 91, 182, 365, 730, 1096, 1461, 1826},
      {42, 365, 730, 1826},    {91, 182, 365, 730, 1826}};
  return all;
}

double exponential(Random& random, double mean) { return -mean * std::log(1.0 - random.uniform()); }

double pick(Random& random, std::initializer_list<double> values) {
  const auto i = static_cast<std::size_t>(random.uniform(0.0, static_cast<double>(values.size())));
  return *(values.begin() + i);
}

/// Not the program's priors: settling is gamma or even, rates are even, times vary.
TrueCourse draw_course(Random& random, Kind kind) {
  TrueCourse out;
  out.kind = kind;
  out.tau_days = random.uniform(15.0, 50.0);
  // Mean and SD of short stems, 1.43 and 1.45 mm (doi:10.1186/s13018-016-0363-4), as an
  // exponential.
  const double settling = exponential(random, 1.43);
  switch (kind) {
    case Kind::kSettled:
      out.settle_mm = 1.0 + settling;
      break;
    case Kind::kContinuous:
      out.settle_mm = settling;
      out.rate = random.uniform(0.5, 3.0);
      out.onset = 91.0;
      break;
    case Kind::kLate:
      out.settle_mm = random.uniform(0.0, 0.4);
      out.rate = random.uniform(0.5, 3.0);
      out.onset = random.uniform(182.0, 1096.0);
      break;
    case Kind::kStable:
      out.settle_mm = random.uniform(0.0, 0.8);
      break;
    case Kind::kCreep:
      out.creep_mm = random.uniform(0.5, 5.0);
      break;
    case Kind::kStep:
      out.settle_mm = random.uniform(0.0, 2.0);
      out.step_mm = random.uniform(1.5, 4.0);
      break;
    case Kind::kRebound:
      out.settle_mm = 1.0 + settling;
      out.rate = random.uniform(0.5, 3.0);
      out.onset = random.uniform(365.0, 1096.0);
      break;
  }
  return out;
}

/// A migration whose budget the program splits between the films.
migration::Migration motion(double value, double u) {
  migration::Migration m;
  m.subsidence = measured(Millimetres{value}, Millimetres{u});
  const double part = u / 2.0;
  m.budget = {{"bone alignment", {part}},
              {"out-of-plane pose", {part}},
              {"stem alignment", {part}},
              {"calibration", {part}}};
  return m;
}

Date day_of(int days) {
  const Date surgery{std::chrono::year{2020}, std::chrono::month{3}, std::chrono::day{1}};
  return Date{std::chrono::sys_days{surgery} + std::chrono::days{days}};
}

void add_film(assessment::HipEvidence& hip, int days) {
  assessment::FilmEvidence film;
  film.name = "film-" + std::to_string(hip.films.size());
  film.date = day_of(days);
  film.days_from_surgery = days;
  hip.films.push_back(std::move(film));
}

/// Visits of one hip: a schedule, each film some days early or late, some left out.
std::vector<int> draw_days(Random& random) {
  const auto& all = schedules();
  const auto which = static_cast<std::size_t>(random.uniform(0.0, static_cast<double>(all.size())));
  std::vector<int> out;
  for (const int day : all[which]) {
    const double jitter = std::min(45.0, 4.0 + 0.08 * day);
    const int taken = day + static_cast<int>(std::lround(random.uniform(-jitter, jitter)));
    if (random.uniform() < 0.9 || day >= 730) out.push_back(taken);
  }
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

}  // namespace

double TrueCourse::at(double day) const {
  const double settled = settle_mm * (1.0 - std::exp(-std::max(0.0, day) / tau_days));
  const double drift = rate * std::max(0.0, day - onset) / kYear;
  const double creep = creep_mm * std::sqrt(std::max(0.0, day) / (2.0 * kYear));
  const double step = step_mm * std::clamp((day - 548.0) / 30.0, 0.0, 1.0);
  return settled + (rate > 0.0 ? drift : 0.0) + creep + step;
}

Case draw_case(Random& random, Kind kind, const Setup& setup) {
  Case out;
  out.truth = draw_course(random, kind);
  out.days = draw_days(random);
  out.reference_day = static_cast<int>(std::lround(random.uniform(1.0, 10.0)));
  const double median = setup.u_mm > 0.0 ? setup.u_mm : pick(random, {0.15, 0.3, 0.5});
  std::vector<double> u;
  for (std::size_t i = 0; i < out.days.size(); ++i) {
    u.push_back(median * std::exp(random.normal(0.0, 0.25)));
  }
  // The program takes half of the smallest variance for the reference film's.
  const double least = *std::min_element(u.begin(), u.end());
  const double shared = std::min(1.0, 0.5 * setup.share_factor) * least * least;
  const double of_reference = random.normal(0.0, std::sqrt(shared));
  out.hip.stem.fixation = Fixation::kUncemented;
  add_film(out.hip, out.reference_day);
  for (std::size_t i = 0; i < out.days.size(); ++i) {
    out.true_mm.push_back(out.truth.at(out.days[i]) - out.truth.at(out.reference_day));
    const double own = random.normal(0.0, std::sqrt(u[i] * u[i] - shared));
    add_film(out.hip, out.days[i]);
    assessment::ComparisonEvidence pair;
    pair.follow_up = out.hip.films.size() - 1;
    pair.days = out.days[i] - out.reference_day;
    pair.migration = motion(out.true_mm[i] + own - of_reference, u[i]);
    out.hip.comparisons.push_back(std::move(pair));
  }
  return out;
}

Pattern true_pattern(const Case& one) {
  const double last = one.days.back();
  const double end = std::min(last, kEarlyDays);
  const double early = one.truth.at(end) - one.truth.at(one.reference_day);
  const double late = one.truth.at(last) - one.truth.at(end);
  if (late > kRelevantMm) return early > kRelevantMm ? Pattern::kContinuous : Pattern::kLate;
  return early > kRelevantMm ? Pattern::kSettled : Pattern::kStable;
}

}  // namespace tidemark::course_bench
