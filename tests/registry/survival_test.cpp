#include "tidemark/registry/survival.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "registry/reference_values.h"

namespace tidemark::registry {
namespace {

TimeToEvent event(double time) { return {time, Outcome::kEvent}; }
TimeToEvent censored(double time) { return {time, Outcome::kCensored}; }

std::vector<TimeToEvent> arm(const std::string& file, const std::string& group,
                             const std::string& name, const std::string& time,
                             const std::string& happened) {
  std::vector<TimeToEvent> out;
  for (const auto& row : read_table(file)) {
    if (row.at(group) != name) continue;
    const double t = std::stod(row.at(time));
    out.push_back(row.at(happened) == "1" ? event(t) : censored(t));
  }
  return out;
}

std::vector<TimeToEvent> leukaemia(const std::string& name) {
  return arm("worked-examples/freireich-1963-6mp.csv", "arm", name, "weeks", "relapse");
}

struct Row {
  double time;
  std::size_t at_risk, events;
  double survival, se, plain_low, plain_high, log_low, log_high, hazard;
};

// Freireich et al., Blood 21 (1963) 699; estimates as in textbooks of survival analysis,
// recomputed.
TEST(KaplanMeier, GivesThePublishedCurveOfTheTreatedArm) {
  const std::vector<Row> table{{6, 21, 3, .857143, .0764, .7075, 1.0, .6197, .9516, .142857},
                               {7, 17, 1, .806723, .0869, .6363, .9771, .5631, .9228, .201681},
                               {10, 15, 1, .752941, .0963, .5641, .9418, .5032, .8894, .268347},
                               {13, 12, 1, .690196, .1068, .4808, .8995, .4316, .8491, .351681},
                               {16, 11, 1, .627451, .1141, .4039, .8510, .3675, .8049, .442590},
                               {22, 7, 1, .537815, .1282, .2865, .7891, .2678, .7468, .585447},
                               {23, 6, 1, .448179, .1346, .1844, .7120, .1881, .6801, .752114}};
  const auto curve = kaplan_meier(leukaemia("6mp"));
  ASSERT_TRUE(curve);
  EXPECT_EQ(curve->hips, 21U);
  EXPECT_EQ(curve->events, 9U);
  for (const Row& row : table) {
    const SurvivalStep* step = step_at(*curve, row.time);
    ASSERT_TRUE(step && step->log_log) << row.time;
    EXPECT_EQ(step->time, row.time);
    EXPECT_EQ(step->at_risk, row.at_risk);
    EXPECT_EQ(step->events, row.events);
    EXPECT_NEAR(step->survival, row.survival, 5e-7);
    EXPECT_NEAR(*step->standard_error, row.se, 5.1e-5);
    EXPECT_NEAR(step->plain->low, row.plain_low, 5.1e-5);
    EXPECT_NEAR(step->plain->high, row.plain_high, 5.1e-5);
    EXPECT_NEAR(step->log_log->low, row.log_low, 5.1e-5);
    EXPECT_NEAR(step->log_log->high, row.log_high, 5.1e-5);
    EXPECT_NEAR(step->cumulative_hazard, row.hazard, 5.1e-7);
  }
  EXPECT_EQ(curve->median, 23.0);
}

TEST(KaplanMeier, GivesThePublishedCurveOfTheUntreatedArm) {
  const auto curve = kaplan_meier(leukaemia("placebo"));
  ASSERT_TRUE(curve);
  const std::vector<std::pair<double, double>> table{
      {1, .9048},  {2, .8095},  {3, .7619},  {4, .6667},  {5, .5714},  {8, .3810},
      {11, .2857}, {12, .1905}, {15, .1429}, {17, .0952}, {22, .0476}, {23, 0.0}};
  for (const auto& [time, survival] : table) {
    EXPECT_NEAR(step_at(*curve, time)->survival, survival, 5.1e-5) << time;
  }
  EXPECT_EQ(curve->median, 8.0);
  EXPECT_FALSE(curve->steps.back().standard_error);
  EXPECT_FALSE(curve->steps.back().log_log);
}

// R's survival package on simulated hips with tied visits.
TEST(KaplanMeier, AgreesWithR) {
  for (const std::string group : {"a", "b", "c"}) {
    const auto hips = arm("statistics/survival.csv", "group", group, "time", "event");
    const auto curve = kaplan_meier(hips);
    ASSERT_TRUE(curve);
    const std::string km = "km." + group + ".";
    const auto check = [&](const std::string& what, std::size_t i, std::optional<double> value) {
      const std::string name = km + what + "." + std::to_string(i);
      EXPECT_EQ(value.has_value(), has_reference(name)) << name;
      if (value && has_reference(name)) {
        EXPECT_NEAR(*value, reference(name), 1e-9) << name;
      }
    };
    for (std::size_t i = 0; i < curve->steps.size(); ++i) {
      const SurvivalStep& step = curve->steps[i];
      check("time", i, step.time);
      check("risk", i, static_cast<double>(step.at_risk));
      check("surv", i, step.survival);
      check("hazard", i, step.cumulative_hazard);
      check("se", i, step.standard_error);
      if (step.survival < 1.0) {  // at 1 R gives an interval of no width, and we an exact one
        check("plain_low", i, step.plain ? std::optional(step.plain->low) : std::nullopt);
        check("plain_high", i, step.plain ? std::optional(step.plain->high) : std::nullopt);
      }
      EXPECT_EQ(step.exact.has_value(), step.survival == 1.0);
      check("loglog_low", i, step.log_log ? std::optional(step.log_log->low) : std::nullopt);
      check("loglog_high", i, step.log_log ? std::optional(step.log_log->high) : std::nullopt);
    }
    EXPECT_FALSE(has_reference(km + "time." + std::to_string(curve->steps.size())));
    for (const auto& [what, value] : {std::pair{"median", curve->median},
                                      {"median_low", curve->median_low},
                                      {"median_high", curve->median_high}}) {
      EXPECT_EQ(value.has_value(), has_reference(km + what)) << km << what;
      if (value && has_reference(km + what)) {
        EXPECT_NEAR(*value, reference(km + what), 1e-9) << km << what;
      }
    }
  }
}

TEST(KaplanMeier, AllCensoredStaysAtOneWithoutMedian) {
  const std::vector<TimeToEvent> hips{censored(1), censored(2)};
  const auto curve = kaplan_meier(hips);
  ASSERT_TRUE(curve);
  EXPECT_EQ(curve->steps.back().survival, 1.0);
  EXPECT_EQ(curve->steps.back().standard_error, 0.0);
  // None of two, and of one: (0.05 / 2)^(1 / n) by Clopper and Pearson's formula.
  for (const std::size_t i : {0U, 1U}) {
    const SurvivalStep& step = curve->steps[i];
    EXPECT_FALSE(step.plain);
    ASSERT_TRUE(step.exact);
    EXPECT_NEAR(step.exact->low, std::pow(0.025, 1.0 / (2.0 - static_cast<double>(i))), 1e-9);
    EXPECT_EQ(step.exact->high, 1.0);
  }
  EXPECT_FALSE(curve->steps.back().log_log);
  EXPECT_FALSE(curve->median);
  EXPECT_FALSE(curve->median_low);
}

TEST(KaplanMeier, OneHipIsACurve) {
  const std::vector<TimeToEvent> hips{event(2)};
  const auto curve = kaplan_meier(hips);
  ASSERT_TRUE(curve);
  EXPECT_EQ(curve->steps.back().survival, 0.0);
  EXPECT_FALSE(curve->steps.back().plain);
  EXPECT_EQ(curve->median, 2.0);
}

TEST(KaplanMeier, EventsComeBeforeCensoringsOfTheSameTime) {
  const std::vector<TimeToEvent> hips{censored(1), event(1), censored(3)};
  EXPECT_NEAR(kaplan_meier(hips)->steps[0].survival, 2.0 / 3.0, 1e-12);
}

TEST(KaplanMeier, RefusesTimesThatAreNone) {
  EXPECT_EQ(kaplan_meier({}).error().kind, ErrorKind::kBadInput);
  const std::vector<TimeToEvent> before{event(-1)};
  EXPECT_EQ(kaplan_meier(before).error().kind, ErrorKind::kBadInput);
  const std::vector<TimeToEvent> none{event(std::numeric_limits<double>::quiet_NaN())};
  EXPECT_EQ(kaplan_meier(none).error().kind, ErrorKind::kBadInput);
}

TEST(KaplanMeier, CountsWhoIsAtRiskBetweenSteps) {
  const auto hips = leukaemia("6mp");
  EXPECT_EQ(at_risk(hips, 0), 21U);
  EXPECT_EQ(at_risk(hips, 10), 15U);
  EXPECT_EQ(at_risk(hips, 30), 4U);
  EXPECT_EQ(step_at(*kaplan_meier(hips), 5.9), nullptr);
}

// Published: chi-square 16.79.
TEST(LogRank, GivesThePublishedTestOfTheTrial) {
  const std::vector<std::vector<TimeToEvent>> groups{leukaemia("6mp"), leukaemia("placebo")};
  const auto test = log_rank(groups);
  ASSERT_TRUE(test);
  EXPECT_EQ(test->observed[0], 9.0);
  EXPECT_NEAR(test->expected[0], 19.250501, 5e-7);
  EXPECT_NEAR(test->chi_square, 16.792941, 5e-7);
  EXPECT_EQ(test->degrees_of_freedom, 1);
  EXPECT_NEAR(test->p, 4.1688e-5, 5e-10);
}

TEST(LogRank, GivesTheSumDoneByHand) {
  const std::vector<std::vector<TimeToEvent>> groups{{event(1), censored(3), event(5)},
                                                     {event(2), censored(4), event(6)}};
  const auto test = log_rank(groups);
  ASSERT_TRUE(test);
  EXPECT_NEAR(test->expected[0], 1.4, 1e-12);
  EXPECT_NEAR(test->chi_square, 0.486486, 5e-7);
  EXPECT_NEAR(test->p, 0.485499, 5.1e-7);
}

TEST(LogRank, AgreesWithROnTwoAndThreeGroups) {
  std::vector<std::vector<TimeToEvent>> groups;
  for (const std::string group : {"a", "b", "c"}) {
    groups.push_back(arm("statistics/survival.csv", "group", group, "time", "event"));
  }
  const auto three = log_rank(groups);
  ASSERT_TRUE(three);
  EXPECT_NEAR(three->chi_square, reference("logrank3.chisq"), 1e-9);
  expect_digits(three->p, reference("logrank3.p"), 9, "p");
  for (std::size_t g = 0; g < 3; ++g) {
    EXPECT_NEAR(three->observed[g], reference("logrank3.observed." + std::to_string(g)), 1e-9);
    EXPECT_NEAR(three->expected[g], reference("logrank3.expected." + std::to_string(g)), 1e-9);
  }
  groups.pop_back();
  EXPECT_NEAR(log_rank(groups)->chi_square, reference("logrank2.chisq"), 1e-9);
}

TEST(LogRank, SaysWhenThereIsNothingToCompare) {
  using Groups = std::vector<std::vector<TimeToEvent>>;
  EXPECT_EQ(log_rank(Groups{{event(1), event(2)}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(log_rank(Groups{{event(1)}, {}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(log_rank(Groups{{censored(1)}, {censored(2)}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(log_rank(Groups{{event(1)}, {event(1)}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(log_rank(Groups{}).error().kind, ErrorKind::kCannotTell);
}

}  // namespace
}  // namespace tidemark::registry
