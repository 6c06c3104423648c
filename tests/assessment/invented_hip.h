#pragma once

#include <cmath>
#include <string>
#include <vector>

#include "tidemark/assessment/evidence.h"
#include "tidemark/core/uncertainty.h"

// A hip as it could have been measured, for tests.
namespace tidemark::assessment::invented {

inline Measured<Millimetres> mm(double value, double u) {
  return measured(Millimetres{value}, Millimetres{u});
}
inline Measured<Degrees> deg(double value, double u) {
  return measured(Degrees{value}, Degrees{u});
}

/// Subsidence, u and day of one follow-up film.
struct Visit {
  int day = 0;  ///< from surgery
  double subsidence_mm = 0.0;
  double u_mm = 0.3;
  double tilt_deg = 0.0;
  double tilt_u_deg = 0.2;
  double medial_mm = 0.1;
};

inline migration::Migration motion(const Visit& visit) {
  migration::Migration m;
  m.subsidence = mm(visit.subsidence_mm, visit.u_mm);
  m.subsidence_at_head_centre = mm(visit.subsidence_mm + 0.3, visit.u_mm);
  m.subsidence_at_shoulder = mm(visit.subsidence_mm - 0.2, visit.u_mm);
  m.subsidence_at_tip = mm(visit.subsidence_mm + 0.1, visit.u_mm);
  m.medial = mm(visit.medial_mm, 0.2);
  m.tilt_change = deg(visit.tilt_deg, visit.tilt_u_deg);
  const double part = visit.u_mm / 2.0;
  m.budget = {{"bone alignment", {part}},
              {"out-of-plane pose", {part}},
              {"stem alignment", {part}},
              {"calibration", {part}}};
  return m;
}

/// Surgery on day 0, the reference film on `reference_day`.
inline HipEvidence hip(const std::vector<Visit>& visits, int reference_day = 1) {
  HipEvidence out;
  out.stem.fixation = Fixation::kUncemented;
  const Date surgery{std::chrono::year{2020}, std::chrono::month{3}, std::chrono::day{1}};
  const auto film = [&](int day) {
    FilmEvidence one;
    one.name = "film-" + std::to_string(out.films.size());
    one.date = Date{std::chrono::sys_days{surgery} + std::chrono::days{day}};
    one.days_from_surgery = day;
    out.films.push_back(one);
  };
  film(reference_day);
  for (const Visit& visit : visits) {
    film(visit.day);
    ComparisonEvidence pair;
    pair.reference = 0;
    pair.follow_up = out.films.size() - 1;
    pair.days = visit.day - reference_day;
    pair.migration = motion(visit);
    out.comparisons.push_back(pair);
  }
  return out;
}

/// The same without a date of surgery.
inline HipEvidence without_surgery(HipEvidence hip) {
  for (FilmEvidence& film : hip.films) film.days_from_surgery.reset();
  return hip;
}

/// A film whose day is not known.
inline HipEvidence with_undated(HipEvidence hip, std::size_t comparison) {
  FilmEvidence& film = hip.films[hip.comparisons[comparison].follow_up];
  film.date.reset();
  film.days_from_surgery.reset();
  hip.comparisons[comparison].days.reset();
  return hip;
}

}  // namespace tidemark::assessment::invented
