#include <gtest/gtest.h>

#include <cmath>

#include "registry/made_cohort.h"
#include "tidemark/core/statistics.h"
#include "tidemark/registry/migration_course.h"

// How often the intervals of the mixed model hold the truth of simulated cohorts. The truth is that
// of the simulation, by the definition of the model; the number that must hold it follows from 95 %
// and the binomial distribution.

namespace tidemark::registry {
namespace {

/// What a model said of one number over many cohorts.
class Said {
 public:
  Said(const char* what, double truth) : what_(what), truth_(truth) {}
  void add(const ModelEstimate& e) {
    values_.push_back(e.value);
    squares_ += e.standard_error * e.standard_error;
    held_ += e.interval.low <= truth_ && truth_ <= e.interval.high ? 1 : 0;
  }
  [[nodiscard]] std::size_t told() const { return values_.size(); }
  /// 95 of 100 hold the truth, within four standard errors of the binomial distribution; and the
  /// stated error is the true scatter, within four of its own: an interval that is too wide would
  /// hold the truth always.
  void check() const {
    const auto n = static_cast<double>(values_.size());
    const double band = 4.0 * std::sqrt(0.95 * 0.05 * n);
    EXPECT_GE(held_, 0.95 * n - band) << what_ << ", of " << n;
    EXPECT_LE(held_, 0.95 * n + band) << what_ << ", of " << n;
    const double stated = std::sqrt(squares_ / n);
    EXPECT_NEAR(stated / *standard_deviation(values_), 1.0, 4.0 / std::sqrt(2.0 * n)) << what_;
    testing::Test::RecordProperty(std::string(what_) + "_held", held_);
  }

 private:
  const char* what_;
  double truth_;
  std::vector<double> values_;
  double squares_ = 0.0;
  int held_ = 0;
};

/// Takes the films from three months on from a hip.
void end_early(CohortHip& hip) {
  std::erase_if(hip.comparisons, [](const auto& c) { return *c.days > 91; });
}

TEST(CourseCoverage, OfFifteenHips) {
  Said settling("settling", 0.8);
  Said rate("rate", 0.05);
  for (std::uint64_t seed = 900; seed < 1300; ++seed) {
    const auto model = model_of(made::cohort(15, {{"", {}}}, seed), Quantity::kSubsidence);
    ASSERT_TRUE(model) << model.error().sentence();
    settling.add(*model->groups[0].settling);
    rate.add(*model->groups[0].later_rate);
  }
  EXPECT_EQ(rate.told(), 400U);
  settling.check();
  rate.check();
}

// 20 hips of which `late` have films from three months on, whose rates scatter by 0.5 mm a year.
void few_late_hips(std::size_t late) {
  made::Truth truth;
  truth.rate_sd = 0.5;
  Said rate("rate", 0.05);
  for (std::uint64_t seed = 0; seed < 300; ++seed) {
    Cohort cohort = made::cohort(20, {{"", truth}}, 20000 + 1000 * late + seed);
    for (std::size_t h = late; h < cohort.hips.size(); ++h) end_early(cohort.hips[h]);
    const auto model = model_of(cohort, Quantity::kSubsidence);
    if (model && model->groups[0].later_rate) rate.add(*model->groups[0].later_rate);
  }
  EXPECT_GE(rate.told(), 280U);  // now and then a hip has no late film, or no other
  rate.check();
}

TEST(CourseCoverage, OfFiveLateHips) { few_late_hips(5); }

// 12 hips against 4, of one truth: the smaller group's rate and the difference.
TEST(CourseCoverage, OfUnequalGroups) {
  made::Truth truth;
  truth.rate_sd = 0.5;
  Said rate("rate", 0.05);
  Said difference("difference", 0.0);
  Said settling("settling", 0.0);
  for (std::uint64_t seed = 40000; seed < 40150; ++seed) {
    Cohort cohort = made::cohort(12, {{"a", truth}, {"b", truth}}, seed);
    cohort.hips.resize(16);
    const auto model = model_of(cohort, Quantity::kSubsidence);
    ASSERT_TRUE(model) << model.error().sentence();
    const GroupModel& b = model->groups[1];
    rate.add(*b.later_rate);
    difference.add(*b.later_rate_difference);
    settling.add(*b.settling_difference);
  }
  rate.check();
  difference.check();
  settling.check();
}

}  // namespace
}  // namespace tidemark::registry
