#include "tidemark/registry/cohort_study.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "figures.h"
#include "registry/made_cohort.h"
#include "scratch.h"

namespace tidemark::registry {
namespace {

using made::comparison;
using test::Scratch;
using testing::HasSubstr;

Cohort two_groups(std::uint64_t seed = 11) {
  made::Truth late;
  late.rate = 0.4;
  return made::cohort(24, {{"a", {}}, {"b", late}}, seed);
}

/// Every table row as long as its header, every number finite.
void expect_sound(const CohortStudy& study) {
  for (const StudyTable& table : tables_of(study)) {
    std::set<std::string> names;
    for (const StudyColumn& column : table.columns) {
      EXPECT_TRUE(names.insert(column.name).second) << table.name << "." << column.name;
    }
    for (const auto& row : table.rows) {
      ASSERT_EQ(row.size(), table.columns.size()) << table.name;
      for (const Cell& cell : row) {
        const auto* number = std::get_if<double>(&cell);
        EXPECT_TRUE(number == nullptr || std::isfinite(*number)) << table.name;
      }
    }
  }
  for (const Figure& figure : figures_of(study)) {
    EXPECT_EQ(figure.svg.find("nan"), std::string::npos) << figure.name;
    EXPECT_EQ(figure.svg.find("inf"), std::string::npos) << figure.name;
  }
  const std::string page = page_of(study, figures_of(study));
  EXPECT_THAT(page, HasSubstr("Decision support, not a diagnosis"));
  for (const char* word : {"loose", "failed", "nan"}) {
    EXPECT_EQ(page.find(word), std::string::npos) << word;
  }
}

// Ten zones: the reader agrees with five lines and three zones without, says that one line is none
// and that one zone without has one. By hand: observed 8/10; by chance 0.6 x 0.6 + 0.4 x 0.4 =
// 0.52; kappa = (0.8 - 0.52) / 0.48 = 0.5833 (Cohen 1960).
TEST(Marks, AreComparedWithTheProgram) {
  Cohort cohort;
  cohort.groups = {""};
  for (int i = 0; i < 2; ++i) {
    CohortHip hip;
    hip.hip = "h" + std::to_string(i);
    for (int zone = 1; zone <= 5; ++zone) {
      const int number = 5 * i + zone;  // 1 to 6 with a line
      CohortZone place;
      place.film = 1;
      place.days = 100;
      place.zone = zone;
      place.interface = "stem_bone";
      place.state = number <= 6 ? ZoneState::kPresent : ZoneState::kAbsent;
      hip.zones.push_back(place);
      CohortMark mark{place, "R1"};
      if (number == 6) mark.place.state = ZoneState::kAbsent;
      if (number == 7) mark.place.state = ZoneState::kPresent;
      hip.marks.push_back(mark);
    }
    cohort.hips.push_back(hip);
  }
  const auto readings = marks_of(cohort);
  ASSERT_EQ(readings.size(), 2U);
  EXPECT_EQ(readings[0].reader, "R1, program's answer in sight");
  const CohortStudy out = study(cohort, {}, "test");
  ASSERT_TRUE(out.agreement);
  ASSERT_EQ(out.agreement->zones.size(), 1U);
  EXPECT_EQ(out.agreement->zones[0].both_judged, 10U);
  ASSERT_TRUE(out.agreement->zones[0].judged);
  EXPECT_NEAR(out.agreement->zones[0].judged->value, 0.28 / 0.48, 1e-12);
  EXPECT_THAT(out.cautions, testing::Contains(HasSubstr("answer in sight")));
  expect_sound(out);
}

TEST(Visits, BordersLieHalfWay) {
  EXPECT_EQ(visits()[*visit_of(42)].name, "6 weeks");
  EXPECT_EQ(visits()[*visit_of(20)].name, "2 weeks");
  EXPECT_EQ(visits()[*visit_of(66)].name, "6 weeks");
  EXPECT_EQ(visits()[*visit_of(67)].name, "3 months");
  EXPECT_EQ(visits()[*visit_of(800)].name, "2 years");
  EXPECT_FALSE(visit_of(0));
  EXPECT_FALSE(visit_of(-3));
  EXPECT_FALSE(visit_of(40000));
  for (std::size_t i = 1; i < visits().size(); ++i) EXPECT_EQ(visits()[i].from, visits()[i - 1].to);
}

// A visit whose films were all refused stays, as a count; a film without a scale was measured.
TEST(Course, CountsFilmsThatGaveNoValue) {
  Cohort cohort;
  cohort.groups = {""};
  for (int h = 0; h < 3; ++h) {
    CohortHip hip;
    hip.hip = std::to_string(h);
    hip.reference_days = 1;
    auto year = comparison(0, 365, 0.5, 0.2);
    year.measured = false;
    year.subsidence_mm.reset();
    auto later = comparison(1, 730, 0.5, 0.2);
    later.tilt_change_deg = {0.1, 0.2, 0.4};
    if (h == 2) {
      hip.has_scale = false;
      later.subsidence_mm.reset();
    }
    hip.comparisons = {year, later};
    cohort.hips.push_back(hip);
  }
  const auto course = course_of(cohort);
  const auto row = [&](const std::string& visit, Quantity quantity) {
    const auto found = std::find_if(course.begin(), course.end(), [&](const CourseAtVisit& at) {
      return visits()[at.visit].name == visit && at.quantity == quantity;
    });
    EXPECT_NE(found, course.end()) << visit;
    return found == course.end() ? CourseAtVisit{} : *found;
  };
  const CourseAtVisit refused = row("1 year", Quantity::kSubsidence);
  EXPECT_FALSE(refused.location);
  EXPECT_EQ(refused.not_measured, 3U);
  EXPECT_EQ(refused.without_scale, 0U);
  const CourseAtVisit lengths = row("2 years", Quantity::kSubsidence);
  EXPECT_EQ(lengths.location->n, 2U);
  EXPECT_EQ(lengths.not_measured, 0U);
  EXPECT_EQ(lengths.without_scale, 1U);
  EXPECT_EQ(row("2 years", Quantity::kTiltChange).location->n, 3U);
  expect_sound(study(cohort, {}, "test"));
}

// Of a stem that sank 1 mm by three months, and no further, a reference film of day 200 shows
// nothing: as a value at one year it would halve the mean. A film from before the reference film
// shows the motion backwards.
TEST(Course, LeavesOutWhatALateReferenceFilmHides) {
  Cohort cohort;
  cohort.groups = {""};
  for (int h = 0; h < 6; ++h) {
    CohortHip hip;
    hip.hip = std::to_string(h);
    hip.reference_days = h < 3 ? 10 : 200;
    hip.comparisons = {comparison(0, 5, -0.2, 0.2), comparison(1, 365, h < 3 ? 1.0 : 0.0, 0.2)};
    cohort.hips.push_back(hip);
  }
  const auto course = course_of(cohort);
  ASSERT_EQ(course.size(), 3U) << "one year, three quantities: nothing at two weeks";
  EXPECT_EQ(visits()[course[0].visit].name, "1 year");
  EXPECT_EQ(course[0].location->n, 3U);
  EXPECT_EQ(course[0].location->mean, 1.0);
  EXPECT_EQ(course[0].late_reference, 3U);
  const auto done = study(cohort, {}, "test");
  EXPECT_THAT(done.cautions, testing::Contains(HasSubstr("6 follow-up films are not later")));
  EXPECT_THAT(done.cautions, testing::Contains(HasSubstr("left out of the means at visits")));
  expect_sound(done);
}

/// `hips` hips of one course, 1.5 (1 - exp(-t / 30 d)) mm, filmed after half a year and a year.
std::vector<CohortHip> one_course(int hips, int reference_day) {
  std::vector<CohortHip> out;
  for (int h = 0; h < hips; ++h) {
    const auto sunk = [&](int day) {
      const auto at = [](int d) { return 1.5 * (1.0 - std::exp(-d / 30.0)); };
      return at(day) - at(reference_day) + 0.02 * (h % 5 - 2);
    };
    CohortHip hip;
    hip.hip = "hip" + std::to_string(h);
    hip.reference_days = reference_day;
    hip.comparisons = {comparison(0, 183, sunk(183), 0.2), comparison(1, 365, sunk(365), 0.2)};
    out.push_back(hip);
  }
  return out;
}

/// The same as a centre stores it that names no date of surgery: days count from the film.
std::vector<CohortHip> without_surgery(std::vector<CohortHip> hips) {
  for (CohortHip& hip : hips) {
    for (CohortComparison& c : hip.comparisons) *c.days -= *hip.reference_days;
    hip.reference_days.reset();
    hip.days_from_reference = true;
  }
  return hips;
}

Cohort joined(const std::vector<std::vector<CohortHip>>& parts) {
  Cohort out;
  out.groups = {""};
  for (const auto& part : parts) out.hips.insert(out.hips.end(), part.begin(), part.end());
  return out;
}

// The mean is that of the hips whose settling was seen, whatever films the others begin with.
TEST(Course, LeavesOutHipsWhoseSettlingNoFilmSaw) {
  auto undated = one_course(3, 45);
  for (CohortHip& hip : undated) hip.reference_days.reset();
  const Cohort cohort =
      joined({one_course(10, 2), one_course(6, 45), undated, without_surgery(one_course(5, 45))});
  const auto course = course_of(cohort);
  const auto year = std::find_if(course.begin(), course.end(), [](const CourseAtVisit& at) {
    return visits()[at.visit].name == "1 year" && at.quantity == Quantity::kSubsidence;
  });
  ASSERT_NE(year, course.end());
  ASSERT_TRUE(year->location);
  EXPECT_EQ(year->location->n, 10U);
  EXPECT_NEAR(year->location->mean, 1.40, 0.01);
  EXPECT_EQ(year->hidden_settling, 14U);
  EXPECT_EQ(year->late_reference, 0U);
  const auto done = study(cohort, {}, "test");
  EXPECT_THAT(done.cautions, testing::Contains(testing::AllOf(
                                 HasSubstr("The reference film of 6 hips is later than two weeks "
                                           "after surgery: early settling is hidden there."),
                                 HasSubstr("left out of the means at visits"))));
  EXPECT_THAT(done.cautions,
              testing::Contains(HasSubstr("The reference film of 3 hips has no date")));
  EXPECT_THAT(done.cautions,
              testing::Contains(HasSubstr("Of 5 hips the date of surgery is not known")));
  expect_sound(done);
}

// A cohort without dates of surgery has no late reference films that anybody knows of.
TEST(Cautions, TellUnknownSurgeryFromLateReferenceFilms) {
  const auto done = study(joined({without_surgery(one_course(8, 5))}), {}, "test");
  EXPECT_THAT(done.cautions,
              testing::Contains(HasSubstr("Of 8 hips the date of surgery is not known")));
  EXPECT_THAT(done.cautions, testing::Not(testing::Contains(HasSubstr("later than two weeks"))));
  EXPECT_THAT(done.cautions, testing::Not(testing::Contains(HasSubstr("has no date"))));
  expect_sound(done);
}

// One course in all: a centre that films late and dates no surgery has no part in the settling.
TEST(CourseModel, TakesNoHipWhoseReferenceFilmIsOfUnknownTimeAfterSurgery) {
  Cohort dated = made::cohort(24, {{"a", {}}}, 5);
  Cohort mixed = dated;
  for (const CohortHip& hip : without_surgery(one_course(24, 45))) {
    mixed.hips.push_back(hip);
    mixed.hips.back().group = "a";
  }
  const auto alone = model_of(dated, Quantity::kSubsidence);
  const auto together = model_of(mixed, Quantity::kSubsidence);
  ASSERT_TRUE(alone && together);
  EXPECT_EQ(together->hips, alone->hips);
  EXPECT_EQ(together->groups[0].settling->value, alone->groups[0].settling->value);
  EXPECT_THAT(study(mixed, {}, "test").cautions,
              testing::Contains(testing::AllOf(HasSubstr("Of 24 hips the date of surgery"),
                                               HasSubstr("no part in the mixed model"))));
}

// The simulated truth, by the definition of the model: no outside source. Outside checks of the fit
// itself stand in mixed_model_test.cpp.
TEST(CourseModel, FindsWhatWasSimulated) {
  const auto model = model_of(two_groups(), Quantity::kSubsidence);
  ASSERT_TRUE(model) << model.error().sentence();
  EXPECT_EQ(model->hips, 48U);
  EXPECT_NEAR(model->groups[0].settling->value, 0.8, 0.25);
  EXPECT_NEAR(model->groups[1].later_rate->value, 0.4, 0.08);
  EXPECT_NEAR(model->groups[1].later_rate_difference->value, 0.35, 0.1);
  EXPECT_GT(model->groups[1].later_rate_difference->interval.low, 0.2);
  EXPECT_NEAR(model->settling_sd, 0.3, 0.15);
  ASSERT_TRUE(model->later_rate_sd);
}

std::string reason_of_correlation(const CohortStudy& done, const std::string& quantity) {
  for (const StudyTable& table : tables_of(done)) {
    if (table.name != "migration_model") continue;
    for (const auto& row : table.rows) {
      if (row[0] != Cell{quantity} || row[2] != Cell{"correlation"}) continue;
      const auto* reason = std::get_if<std::string>(&row.back());
      return reason == nullptr ? "" : *reason;
    }
  }
  return "no such row";
}

// 60 hips whose rates do not vary: the fit ends at a bound of the variances, where a correlation
// of -1 or 1 is no estimate.
TEST(CourseModel, TellsNoCorrelationOfASingularFit) {
  made::Truth same_rate;
  same_rate.rate_sd = 0.0;
  std::size_t untold = 0;
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    const CohortStudy done = study(made::cohort(30, {{"", same_rate}}, seed), {}, "test");
    const auto& model = done.models.at(0).second;
    ASSERT_TRUE(model) << model.error().sentence();
    if (model->correlation) {
      EXPECT_LT(std::abs(*model->correlation), 0.999) << seed;
      EXPECT_EQ(reason_of_correlation(done, "subsidence_mm"), "");
      continue;
    }
    ++untold;
    EXPECT_EQ(reason_of_correlation(done, "subsidence_mm"), "the films do not tell it");
  }
  EXPECT_GE(untold, 3U);
}

TEST(CourseModel, SaysWhenThereIsTooLittle) {
  Cohort few = made::cohort(2, {{"", {}}}, 3);
  EXPECT_EQ(model_of(few, Quantity::kSubsidence).error().kind, ErrorKind::kCannotTell);
  // Films of the first weeks only: settling without a rate.
  Cohort early = made::cohort(10, {{"", {}}}, 4);
  for (CohortHip& hip : early.hips) {
    std::erase_if(hip.comparisons, [](const auto& c) { return *c.days > 91; });
  }
  const auto model = model_of(early, Quantity::kSubsidence);
  ASSERT_TRUE(model) << model.error().sentence();
  EXPECT_TRUE(model->groups[0].settling);
  EXPECT_FALSE(model->groups[0].later_rate);
  EXPECT_FALSE(model->later_rate_sd);
}

// 50 hips of which two (or four) have films from three months on: their rates scatter by 0.5 mm a
// year, and too little shows it.
TEST(CourseModel, TellsNoRateOfFewHips) {
  made::Truth truth;
  truth.rate_sd = 0.5;
  for (const std::size_t late : {2U, 4U}) {
    Cohort cohort = made::cohort(50, {{"", truth}}, 8);
    for (std::size_t h = late; h < cohort.hips.size(); ++h) {
      std::erase_if(cohort.hips[h].comparisons, [](const auto& c) { return *c.days > 91; });
    }
    const auto model = model_of(cohort, Quantity::kSubsidence);
    ASSERT_TRUE(model) << model.error().sentence();
    EXPECT_TRUE(model->groups[0].settling);
    EXPECT_FALSE(model->groups[0].later_rate);
    EXPECT_FALSE(model->later_rate_sd);
    EXPECT_EQ(model->groups[0].late_hips, late);
    EXPECT_LE(model->groups[0].curve.back().first, 3 * 365.25 / 12);
  }
}

CohortHip judged(const std::string& name, const std::vector<std::pair<int, Verdict>>& rows) {
  CohortHip hip;
  hip.hip = name;
  hip.reference_days = 1;
  int index = 0;
  for (const auto& [days, verdict] : rows) {
    hip.comparisons.push_back(comparison(index, days, 1.0, 0.2));
    hip.findings.push_back({index++, "limit", "subsidence_mm", "mm", 1.5, verdict, 0.5});
  }
  return hip;
}

Cohort five_hips() {
  Cohort out;
  out.groups = {""};
  out.hips = {judged("A", {{365, Verdict::kWithin}, {730, Verdict::kExceeds}}),
              judged("B", {{365, Verdict::kWithin}, {730, Verdict::kCannotTell}}),
              judged("C", {{365, Verdict::kCannotTell}, {730, Verdict::kWithin}}),
              judged("D", {{365, Verdict::kNotApplicable}}),
              judged("E", {{365, Verdict::kExceeds}, {730, Verdict::kWithin}})};
  return out;
}

// Counted by hand.
TEST(CriterionShares, CountHipsOnceAndKeepDoubtApart) {
  const auto shares = criterion_shares(five_hips());
  const CriterionShare& whole = shares.at(0);
  EXPECT_FALSE(whole.visit);
  EXPECT_EQ(whole.exceeds, 2U);
  EXPECT_EQ(whole.cannot_tell, 1U);
  EXPECT_EQ(whole.within, 1U);
  EXPECT_EQ(whole.not_judged, 1U);
  EXPECT_EQ(whole.least->share, 0.5);
  EXPECT_EQ(whole.most->share, 0.75);
  const CriterionShare& year = shares.at(1);
  EXPECT_EQ(visits()[*year.visit].name, "1 year");
  EXPECT_EQ(year.exceeds, 1U);
  EXPECT_EQ(year.within, 2U);
  EXPECT_EQ(year.cannot_tell, 1U);
  EXPECT_EQ(year.not_judged, 1U);
}

// By hand: A event at 2 years, E at 1; B followed to 1 year, C to 2; D never judged.
TEST(CriterionSurvival, TakesEachHipToWhatIsKnownOfIt) {
  const auto all = criterion_survival(five_hips());
  ASSERT_EQ(all.size(), 3U);
  const CriterionSurvival& judged_only = all[0];
  EXPECT_EQ(judged_only.counting, Counting::kJudged);
  EXPECT_EQ(judged_only.left_out[0], 1U);
  ASSERT_EQ(judged_only.curves[0].steps.size(), 2U);
  EXPECT_NEAR(judged_only.curves[0].steps[0].survival, 3.0 / 4.0, 1e-12);
  EXPECT_NEAR(judged_only.curves[0].steps[1].survival, 3.0 / 8.0, 1e-12);
  EXPECT_FALSE(judged_only.log_rank);
  EXPECT_EQ(all[1].counting, Counting::kAsWithin);  // B stays at risk to its second year
  EXPECT_NEAR(all[1].curves[0].steps[1].survival, 3.0 / 4.0 * 2.0 / 3.0, 1e-12);
  EXPECT_EQ(all[2].counting, Counting::kAsBeyond);  // C at 1, B at 2
  EXPECT_NEAR(all[2].curves[0].steps[0].survival, 2.0 / 4.0, 1e-12);
  EXPECT_EQ(all[2].curves[0].events, 4U);
}

/// 100 hips of the group, judged once at two years on days from `first` on; every tenth is beyond.
void add_judged_once(Cohort& cohort, const std::string& group, int first) {
  cohort.groups.push_back(group);
  for (int h = 0; h < 100; ++h) {
    const Verdict verdict = h % 10 == 9 ? Verdict::kExceeds : Verdict::kWithin;
    CohortHip hip = judged(group + std::to_string(h), {{first + h / 2, verdict}});
    hip.group = group;
    cohort.hips.push_back(hip);
  }
}

// Two groups that are alike but for the days of their films within the visit at two years. By the
// films' days the curves ended far below 90 % and the log-rank test told the groups apart.
TEST(CriterionSurvival, HipsOfOneVisitAreAtRiskTogether) {
  Cohort cohort;
  add_judged_once(cohort, "a", 675);
  add_judged_once(cohort, "b", 735);
  for (const CriterionSurvival& s : criterion_survival(cohort)) {
    ASSERT_EQ(s.curves.size(), 2U);
    for (std::size_t g = 0; g < 2; ++g) {
      ASSERT_EQ(s.curves[g].steps.size(), 1U);
      EXPECT_EQ(s.curves[g].steps[0].time, 2.0);
      EXPECT_EQ(s.curves[g].steps[0].at_risk, 100U);
      EXPECT_NEAR(s.curves[g].steps[0].survival, 0.9, 1e-12);
      EXPECT_EQ(s.first_judged[g], 730);
    }
    ASSERT_TRUE(s.log_rank);
    EXPECT_NEAR(s.log_rank->p, 1.0, 1e-9);
  }
  const CohortStudy done = study(cohort, {}, "test");
  EXPECT_THAT(page_of(done, figures_of(done)), HasSubstr("First judged at: 2 years;"));
}

TEST(CriterionSurvival, AGroupOfWhichNoHipWasJudgedStaysTold) {
  Cohort cohort;
  add_judged_once(cohort, "a", 675);
  add_judged_once(cohort, "c", 675);
  for (CohortHip& hip : cohort.hips) {
    if (hip.group == "a") hip.findings[0].verdict = Verdict::kNotApplicable;
  }
  const CohortStudy done = study(cohort, {}, "test");
  ASSERT_EQ(done.survival.size(), 3U);
  for (const CriterionSurvival& s : done.survival) {
    EXPECT_THAT(s.groups, testing::ElementsAre("a", "c"));
    EXPECT_EQ(s.curves[0].hips, 0U);
    EXPECT_EQ(s.left_out[0], 100U);
    EXPECT_FALSE(s.first_judged[0]);
    EXPECT_EQ(s.curves[1].hips, 100U);
    EXPECT_FALSE(s.log_rank);
  }
  const auto tables = tables_of(done);
  const auto summary = std::find_if(tables.begin(), tables.end(),
                                    [](auto& t) { return t.name == "survival_summary"; });
  EXPECT_EQ(summary->rows.size(), 6U);
  expect_sound(done);
}

TEST(CriterionSurvival, TakesTheMilestoneOfTheVisit) {
  EXPECT_EQ(years_of_visit(0), 0.0);
  EXPECT_NEAR(years_of_visit(20), 14.0 / 365.25, 1e-12);
  EXPECT_NEAR(years_of_visit(50), 42.0 / 365.25, 1e-12);
  EXPECT_EQ(years_of_visit(100), 0.25);
  EXPECT_EQ(years_of_visit(200), 0.5);
  EXPECT_EQ(years_of_visit(300), 1.0);
  EXPECT_EQ(years_of_visit(10 * 365), 10.0);
}

CohortZone zone(int film, int number, ZoneState state, std::optional<int> days) {
  CohortZone z;
  z.film = film;
  z.reference = film == 0;
  z.days = days;
  z.zone = number;
  z.interface = "stem_bone";
  z.state = state;
  return z;
}

/// A hip whose zone 1 was and is so, and what the pair of films says of growth there.
struct LineHip {
  ZoneState before, after;
  std::optional<bool> grew;
};

// Counted by hand. A line that the states alone call new is not: the two films were not compared
// there, or the pair leaves open what became of it (as for single hips, docs/lucency.md).
TEST(LucencyMap, KeepsOpenZonesApartAndCountsNewLines) {
  using enum ZoneState;
  Cohort cohort;
  cohort.groups = {""};
  const std::vector<LineHip> hips{{kAbsent, kPresent, true},
                                  {kAbsent, kAbsent, false},
                                  {kPresent, kPresent, {}},
                                  {kAbsent, kNotSeen, {}},
                                  {kCannotTell, kPresent, {}}};
  const auto add = [&](const LineHip& line) {
    CohortHip hip;
    hip.hip = std::to_string(cohort.hips.size());
    hip.zones = {zone(0, 1, line.before, 1), zone(1, 1, line.after, 360)};
    hip.zones[1].grew = line.grew;
    cohort.hips.push_back(hip);
  };
  for (const LineHip& line : hips) add(line);
  const auto map = lucency_map(cohort);
  ASSERT_EQ(map.size(), 2U);
  EXPECT_FALSE(map[0].visit);
  EXPECT_EQ(map[0].present, 1U);
  EXPECT_EQ(map[0].cannot_tell, 1U);
  EXPECT_FALSE(map[0].incidence);
  const ZoneIncidence& year = map[1];
  EXPECT_EQ(year.present, 3U);
  EXPECT_EQ(year.absent, 1U);
  EXPECT_EQ(year.not_seen, 1U);
  EXPECT_EQ(year.share->share, 0.75);
  EXPECT_EQ(*year.least, 0.6);
  EXPECT_EQ(*year.most, 0.8);
  EXPECT_EQ(year.newly, 1U);
  EXPECT_EQ(year.at_start, 2U);
  EXPECT_EQ(year.incidence->share, 0.5);
  EXPECT_EQ(year.not_compared, 0U);
  add({kAbsent, kPresent, {}});
  add({kAbsent, kAbsent, {}});
  const ZoneIncidence more = lucency_map(cohort)[1];
  EXPECT_EQ(more.present, 4U);
  EXPECT_EQ(more.newly, 1U);
  EXPECT_EQ(more.at_start, 2U);
  EXPECT_EQ(more.not_compared, 2U);
  expect_sound(study(cohort, {}, "test"));
}

TEST(PrecisionStudy, PairsFilmsOfOneDay) {
  Cohort cohort;
  cohort.groups = {""};
  made::Dice dice(6);
  for (int h = 0; h < 60; ++h) {
    CohortHip hip;
    hip.hip = std::to_string(100 + h);
    hip.reference_u_mm = 0.1;
    const double moved = dice.normal();
    const double shared = 0.1 * dice.normal();
    for (int e = 1; e <= 2; ++e) {
      auto c = comparison(e - 1, 365, moved + shared + 0.2 * dice.normal(), std::hypot(0.1, 0.2));
      c.examination = e;
      hip.comparisons.push_back(c);
    }
    cohort.hips.push_back(hip);
  }
  const auto study = precision_study(cohort, Quantity::kSubsidence);
  ASSERT_TRUE(study) << study.error().sentence();
  EXPECT_EQ(study->pairs.size(), 60U);
  EXPECT_NEAR(study->pairs[0].promised_u, 0.2 * std::sqrt(2.0), 1e-12);
  EXPECT_NEAR(study->repeatability.sd, 0.2, 0.2 * 4.0 / std::sqrt(120.0));  // 4 standard errors
  EXPECT_NEAR(*study->observed_over_promised, 1.0, 4.0 / std::sqrt(120.0));
  EXPECT_EQ(precision_study(two_groups(), Quantity::kSubsidence).error().kind,
            ErrorKind::kCannotTell);
}

// A second film of the reference film's own visit: what it says of zero motion is error.
TEST(PrecisionStudy, TakesSecondFilmsOfTheReferenceVisit) {
  Cohort cohort;
  cohort.groups = {""};
  for (const double off : {0.1, -0.2, 0.3}) {
    CohortHip hip;
    hip.hip = std::to_string(off);
    auto c = comparison(0, 1, off, 0.2);
    c.examination = 2;
    hip.reference_date = c.date;
    hip.comparisons = {c};
    cohort.hips.push_back(hip);
  }
  // The second film of another visit whose first could not be measured is no pair.
  auto alone = comparison(1, 365, 5.0, 0.2);
  alone.examination = 2;
  cohort.hips[0].comparisons.push_back(alone);
  const auto study = precision_study(cohort, Quantity::kSubsidence);
  ASSERT_TRUE(study);
  EXPECT_NEAR(study->about_zero.rms, std::sqrt(0.14 / 3.0), 1e-12);
  EXPECT_NEAR(study->pairs[0].promised_u, 0.2, 1e-12);
}

TEST(ReaderAgreement, JoinsByHipAndDate) {
  Cohort cohort = two_groups();
  std::vector<Reading> readings = readings_of(cohort, "second");
  for (Reading& reading : readings) {
    for (auto& [quantity, value] : reading.values) value -= 0.25;
  }
  readings.push_back(readings[0]);
  readings.back().hip = "nobody";
  const auto found = reader_agreement(cohort, readings);
  EXPECT_EQ(found.without_film, 1U);
  ASSERT_EQ(found.quantities.size(), 1U);
  EXPECT_NEAR(found.quantities[0].limits.mean, 0.25, 1e-12);
  EXPECT_NEAR(found.quantities[0].limits.sd, 0.0, 1e-9);
  EXPECT_EQ(found.quantities[0].limits.hips, 48U);
}

TEST(ReaderAgreement, ZonesKeepDoubtInTheMiddle) {
  using enum ZoneState;
  Cohort cohort;
  cohort.groups = {""};
  CohortHip hip;
  hip.hip = "A";
  const std::vector<std::pair<ZoneState, ZoneState>> both{
      {kPresent, kPresent},    {kAbsent, kAbsent},  {kAbsent, kPresent},
      {kCannotTell, kPresent}, {kNotSeen, kAbsent}, {kAbsent, kAbsent}};
  Reading reading;
  reading.hip = "A";
  reading.days = 365;
  for (std::size_t i = 0; i < both.size(); ++i) {
    hip.zones.push_back(zone(1, static_cast<int>(i) + 1, both[i].first, 365));
    reading.zones[static_cast<int>(i) + 1] = both[i].second;
  }
  cohort.hips = {hip};
  const auto found = reader_agreement(cohort, {reading});
  ASSERT_EQ(found.zones.size(), 1U);
  EXPECT_EQ(found.zones[0].both_judged, 4U);
  EXPECT_EQ(found.zones[0].both_looked, 5U);
  EXPECT_NEAR(found.zones[0].judged->value, 0.5, 1e-12);  // (3/4 - 1/2) / (1 - 1/2), by hand
}

// Marks of one patient's two hips are one cluster, and a film read twice counts once.
TEST(ReaderAgreement, TakesPatientsAsIndependentAndFilmsOnce) {
  using enum ZoneState;
  Cohort cohort;
  cohort.groups = {""};
  std::vector<Reading> readings;
  for (int h = 0; h < 6; ++h) {
    CohortHip hip;
    hip.hip = std::to_string(h);
    if (h < 4) hip.patient = "P" + std::to_string(h / 2);
    hip.comparisons = {comparison(0, 365, 0.1 * h, 0.2)};
    Reading reading{hip.hip, "", 365, "second", {{Quantity::kSubsidence, 0.1 * h + 0.2}}, {}};
    for (int number = 1; number <= 4; ++number) {
      hip.zones.push_back(zone(1, number, number <= 2 ? kPresent : kAbsent, 365));
      reading.zones[number] = number == 1 || (number == 3 && h == 0) ? kPresent : kAbsent;
    }
    cohort.hips.push_back(hip);
    readings.push_back(reading);
  }
  const auto once = reader_agreement(cohort, readings);
  ASSERT_EQ(once.zones.size(), 1U);
  EXPECT_EQ(once.zones[0].hips_judged, 6U);
  EXPECT_EQ(once.zones[0].judged->clusters, 4U);
  EXPECT_EQ(once.zones[0].both_judged, 24U);
  EXPECT_EQ(once.doubled, 0U);
  readings.push_back(readings[3]);
  const auto twice = reader_agreement(cohort, readings);
  EXPECT_EQ(twice.doubled, 5U);  // four zones and the subsidence
  EXPECT_EQ(twice.zones[0].both_judged, 24U);
  EXPECT_EQ(twice.quantities[0].limits.differences, 6U);
  EXPECT_THAT(study(cohort, readings, "test").cautions,
              testing::Contains(HasSubstr("given twice by one reader")));
  expect_sound(study(cohort, readings, "test"));
}

std::filesystem::path sheet(const Scratch& scratch, const std::string& text) {
  const auto file = scratch.path() / "reader.csv";
  std::ofstream(file) << text;
  return file;
}

TEST(ReaderSheet, IsReadStrictly) {
  const Scratch scratch;
  const auto good = read_reader_sheet(
      sheet(scratch,
            "hip,date,reader,subsidence_mm,zone_1\r\nH-1,2024-03-01,second,-0.40,absent\r\n"
            "H-2,2024-04-01,second,,\r\n"));
  ASSERT_TRUE(good) << good.error().sentence();
  ASSERT_EQ(good->size(), 2U);
  EXPECT_EQ(good->at(0).values.at(Quantity::kSubsidence), -0.4);
  EXPECT_EQ(good->at(0).zones.at(1), ZoneState::kAbsent);
  EXPECT_TRUE(good->at(1).values.empty());
  const auto wrong = [&](const std::string& text) {
    const auto read = read_reader_sheet(sheet(scratch, text));
    return read ? std::string("read") : read.error().sentence();
  };
  EXPECT_THAT(wrong("hip,days,subsidense_mm\nA,3,1\n"), HasSubstr("subsidence_mm"));
  EXPECT_THAT(wrong("hip,subsidence_mm\nA,1\n"), HasSubstr("date"));
  EXPECT_THAT(wrong("hip,days,tilt_change_deg\nA,3,\"1,5\"\n"), HasSubstr("line 2"));
  EXPECT_THAT(wrong("hip,date\nA,2024-02-30\n"), HasSubstr("YYYY-MM-DD"));
  EXPECT_THAT(wrong("hip,days,zone_3\nA,3,maybe\n"), HasSubstr("cannot_tell"));
  EXPECT_THAT(wrong("hip,days\n,3\n"), HasSubstr("names no hip"));
  EXPECT_THAT(wrong("hip,days\n"), HasSubstr("no reading"));
  EXPECT_THAT(wrong("hip,days,reader,zone_1\nA,3,x,absent\nA,4,x,absent\nA,3,x,present\n"),
              HasSubstr("lines 2 and 4 are of the same film and reader"));
  EXPECT_THAT(wrong("hip,date\nA,2024-03-01\n\nA,2024-03-01\n"), HasSubstr("lines 2 and 4"));
  EXPECT_EQ(wrong("hip,days,reader,zone_1\nA,3,x,absent\nA,3,y,absent\nB,3,x,absent\n"), "read");
}

// One of 320 hips beyond is neither nobody nor "100 % not seen beyond": 1 - 1/320 = 99.69 %.
TEST(CohortStudy, NamesNoShareWholeThatIsNot) {
  Cohort cohort;
  cohort.groups = {""};
  for (int h = 0; h < 320; ++h) {
    const Verdict verdict = h == 7 ? Verdict::kExceeds : Verdict::kWithin;
    cohort.hips.push_back(judged(std::to_string(h), {{730, verdict}}));
  }
  const CohortStudy done = study(cohort, {}, "test");
  const auto figures = figures_of(done);
  const std::string page = page_of(done, figures);
  EXPECT_THAT(page, HasSubstr("99.7 % at 2.0 y"));
  EXPECT_THAT(page, HasSubstr("<td>0.3 % to 0.3 %</td>"));
  EXPECT_THAT(page, testing::Not(HasSubstr("100 % at")));
  for (const Figure& figure : figures) {
    if (!figure.name.starts_with("survival-")) continue;
    EXPECT_THAT(figure.caption, testing::Not(HasSubstr("100 / 100 %")));
    EXPECT_THAT(figure.caption, HasSubstr("would be 99.7 % / 99.7 %"));
  }
}

TEST(CohortStudy, WritesSharesSoThatTheyAreNotWholeByRounding) {
  EXPECT_EQ(share_text(0.0), "0 %");
  EXPECT_EQ(share_text(1.0), "100 %");
  EXPECT_EQ(share_text(1e-5), "< 0.1 %");
  EXPECT_EQ(share_text(1.0 - 1e-5), "> 99.9 %");
  EXPECT_EQ(share_text(0.0031), "0.3 %");
  EXPECT_EQ(share_text(0.0996), "10.0 %");
  EXPECT_EQ(share_text(0.1), "10 %");
  EXPECT_EQ(share_text(0.504), "50 %");
  EXPECT_EQ(share_text(0.9), "90 %");
  EXPECT_EQ(share_text(0.9969), "99.7 %");
  EXPECT_EQ(share_text(0.999), "99.9 %");
}

// A film that was aligned wrongly must not press the courses of all others into one line.
TEST(CourseFigure, AnOutlierDoesNotTakeTheAxis) {
  Cohort cohort = joined({one_course(60, 2)});
  cohort.hips[7].comparisons[1].subsidence_mm = {45.0, 0.2, 0.4};
  const auto figures = [](const Cohort& c) { return figures_of(study(c, {}, "test")); };
  const Figure figure = figures(cohort).at(0);
  ASSERT_EQ(figure.name, "course-subsidence_mm");
  EXPECT_THAT(figure.svg, testing::Not(HasSubstr(">40</text>")));
  EXPECT_THAT(figure.svg, HasSubstr(">2</text>"));
  EXPECT_THAT(figure.caption, HasSubstr("One film lies beyond the axis: an arrow head at its edge "
                                        "stands for it."));
  const Figure usual = figures(joined({one_course(60, 2)})).at(0);
  EXPECT_THAT(usual.caption, testing::Not(HasSubstr("beyond the axis")));
}

// Days of hips without a date of surgery count from the reference film: the axes say so.
TEST(CourseFigure, ItsAxisSaysWhatTimeCountsFrom) {
  const auto svg = [](const Cohort& cohort) {
    return figures_of(study(cohort, {}, "test")).at(0).svg;
  };
  EXPECT_THAT(svg(joined({one_course(6, 2)})),
              HasSubstr(">time from surgery (square-root scale)<"));
  EXPECT_THAT(svg(joined({without_surgery(one_course(6, 2))})),
              HasSubstr(">time from the reference film (square-root scale)<"));
  EXPECT_THAT(svg(joined({one_course(6, 2), without_surgery(one_course(6, 2))})),
              HasSubstr(">time from surgery, where that has no date from the reference film "
                        "(square-root scale)<"));
  Cohort undated = five_hips();
  undated.hips = without_surgery(undated.hips);
  for (const Figure& figure : figures_of(study(undated, {}, "test"))) {
    if (!figure.name.starts_with("survival-")) continue;
    EXPECT_THAT(figure.svg, HasSubstr(">years from the reference film<"));
  }
}

TEST(CohortStudy, IsSoundOnWholeAndOnPoorCohorts) {
  Cohort whole = two_groups();
  expect_sound(study(whole, readings_of(whole, "second"), "test"));
  Cohort one = made::cohort(1, {{"", {}}}, 7);
  expect_sound(study(one, readings_of(one, ""), "test"));
  Cohort empty_hip;
  empty_hip.groups = {""};
  empty_hip.hips.resize(1);
  expect_sound(study(empty_hip, {}, "test"));
  Cohort undated = two_groups();
  for (CohortHip& hip : undated.hips) {
    for (CohortComparison& c : hip.comparisons) c.days.reset();
  }
  const auto without_days = study(undated, {}, "test");
  expect_sound(without_days);
  EXPECT_TRUE(without_days.course.empty());
  Cohort still = two_groups();
  for (CohortHip& hip : still.hips) {
    for (CohortFinding& f : hip.findings) f.verdict = Verdict::kWithin;
  }
  const auto no_event = study(still, {}, "test");
  expect_sound(no_event);
  EXPECT_EQ(no_event.survival[0].log_rank.error().kind, ErrorKind::kCannotTell);
  expect_sound(study(five_hips(), {}, "test"));
}

TEST(CohortStudy, IsWrittenWhole) {
  const Scratch scratch;
  const auto folder = scratch.path() / "out";
  const auto done = study(two_groups(), {}, "test");
  ASSERT_TRUE(write_study(done, folder));
  std::ifstream in(folder / "cohort.json");
  const auto json = nlohmann::json::parse(in);
  EXPECT_EQ(json["schema"], "tidemark/cohort/1");
  std::ifstream words(folder / "dictionary.json");
  const auto dictionary = nlohmann::json::parse(words);
  ASSERT_EQ(dictionary["tables"].size(), json["tables"].size());
  for (const auto& table : dictionary["tables"]) {
    std::ifstream csv(folder / table["file"].get<std::string>());
    std::string header;
    std::getline(csv, header);
    std::string expected;
    for (const auto& column : table["columns"]) {
      expected += (expected.empty() ? "" : ",") + column["name"].get<std::string>();
    }
    EXPECT_EQ(header, expected + "\r");
  }
  EXPECT_TRUE(std::filesystem::exists(folder / "cohort.html"));
  EXPECT_TRUE(std::filesystem::exists(folder / "figures/survival-limit.svg"));
}

void write(const std::filesystem::path& file, const std::string& text) {
  std::filesystem::create_directories(file.parent_path());
  std::ofstream(file) << text;
}

std::string read(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::ostringstream out;
  out << in.rdbuf();
  return out.str();
}

TEST(CohortStudy, ReplacesItsOwnFilesOnly) {
  const Scratch scratch;
  const auto done = study(two_groups(), {}, "test");
  for (const char* name : {"criteria.csv", "cohort.html", "figures/criteria.svg", "cohort.json"}) {
    const auto folder = scratch.path() / std::filesystem::path(name).filename();
    write(folder / name, "{\"schema\": \"mine\"}");
    const auto refused = write_study(done, folder);
    ASSERT_FALSE(refused) << name;
    EXPECT_EQ(refused.error().kind, ErrorKind::kNotWritable);
    EXPECT_THAT(refused.error().subject, HasSubstr(name));
    EXPECT_EQ(read(folder / name), "{\"schema\": \"mine\"}");
  }
  const auto folder = scratch.path() / "out";
  write(folder / "notes.txt", "mine");
  ASSERT_TRUE(write_study(done, folder));
  write(folder / "criteria.csv", "old");
  ASSERT_TRUE(write_study(done, folder)) << "beside our cohort.json";
  EXPECT_NE(read(folder / "criteria.csv"), "old");
  EXPECT_EQ(read(folder / "notes.txt"), "mine");
  std::set<std::string> hidden;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (entry.path().filename().string().starts_with(".")) hidden.insert(entry.path());
  }
  EXPECT_TRUE(hidden.empty()) << *hidden.begin();
  // As a run leaves it that was killed after its first table.
  std::filesystem::remove(folder / "cohort.json");
  write(folder / ".cohort.json.unfinished", "");
  EXPECT_TRUE(write_study(done, folder));
}

TEST(CohortStudy, LeavesNoFigureOfAnEarlierRun) {
  const Scratch scratch;
  const auto folder = scratch.path() / "out";
  Cohort rich = two_groups();
  ASSERT_TRUE(write_study(study(rich, readings_of(rich, ""), "test"), folder));
  write(folder / "figures/mine.svg", "mine");
  const auto poor = study(five_hips(), {}, "test");
  ASSERT_TRUE(write_study(poor, folder));
  std::set<std::string> expected{"mine.svg"};
  for (const Figure& figure : figures_of(poor)) expected.insert(figure.name + ".svg");
  std::set<std::string> found;
  for (const auto& item : std::filesystem::directory_iterator(folder / "figures")) {
    found.insert(item.path().filename());
  }
  EXPECT_EQ(found, expected);
  EXPECT_TRUE(std::filesystem::exists(folder / "cohort.html"));
}

}  // namespace
}  // namespace tidemark::registry
