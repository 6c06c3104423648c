#include "tidemark/registry/agreement.h"

#include <gtest/gtest.h>

#include <array>
#include <limits>

#include "registry/made_cohort.h"
#include "registry/reference_values.h"
#include "testdata.h"
#include "tidemark/registry/precision.h"

namespace tidemark::registry {
namespace {

using Groups = std::vector<std::vector<double>>;

Groups first_readings() {
  Groups out;
  for (const auto& row : read_table("worked-examples/bland-altman-1986-pefr.csv")) {
    out.push_back({std::stod(row.at("large1")) - std::stod(row.at("mini1"))});
  }
  return out;
}

// Bland and Altman, Lancet 327 (1986) 307, peak flow of 17 people in l/min.
TEST(LimitsOfAgreement, GiveThePublishedMeters) {
  const auto found = limits_of_agreement(first_readings());
  ASSERT_TRUE(found);
  EXPECT_EQ(found->hips, 17U);
  EXPECT_NEAR(found->mean, -2.117647, 5e-7);                 // the paper: -2.1
  EXPECT_NEAR(found->sd, 38.765130, 5e-7);                   // the paper: 38.8
  EXPECT_NEAR(found->mean - 2.0 * found->sd, -79.6, 0.051);  // the paper takes 2 for 1.96
  EXPECT_NEAR(found->mean + 2.0 * found->sd, 75.4, 0.051);
  EXPECT_NEAR(found->low, -78.10, 5.1e-3);
  EXPECT_NEAR(found->high, 73.86, 5.1e-3);
  EXPECT_NEAR(found->mean_interval.low, -22.0, 0.051);
  EXPECT_NEAR(found->mean_interval.high, 17.8, 0.051);
  // Intervals of the limits are published about mean -+ 2 SD: half-widths are compared.
  EXPECT_NEAR(found->low_interval.high - found->low, (114.2 - 45.1) / 2.0, 0.051);
  EXPECT_NEAR(found->high_interval.high - found->high, (109.9 - 40.9) / 2.0, 0.051);
}

// With several differences a hip the spread is s_R of ISO 5725-2 over hips: its example B.1,
// level 1.
TEST(LimitsOfAgreement, OfSeveralDifferencesAHipTakeTheirSpreadFromIso5725) {
  const Groups hips{{.71, .71, .70, .71},      {.69, .67, .68}, {.66, .65, .69}, {.67, .65, .66},
                    {.70, .69, .66, .71, .69}, {.73, .74, .73}, {.71, .71, .69}, {.70, .65, .68}};
  const auto found = limits_of_agreement(hips);
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->sd, .02636, 5.1e-6);
  EXPECT_EQ(found->hips, 8U);
  EXPECT_EQ(found->differences, 27U);
}

TEST(LimitsOfAgreement, SayWhatTheDataDoNotBear) {
  EXPECT_EQ(limits_of_agreement(Groups{{1.0}, {}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(
      limits_of_agreement(Groups{{1.0}, {std::numeric_limits<double>::infinity()}}).error().kind,
      ErrorKind::kBadInput);
  const auto same = limits_of_agreement(Groups{{1.0}, {1.0}});
  ASSERT_TRUE(same);
  EXPECT_EQ(same->low, 1.0);
}

std::array<Icc, 6> six(const IccForms& forms) {
  return {forms.one_way_single, forms.absolute_single, forms.consistency_single,
          forms.one_way_mean,   forms.absolute_mean,   forms.consistency_mean};
}

// Shrout and Fleiss, Psychol Bull 86 (1979) 420: values .17 .29 .71 .44 .62 .91 are published, more
// digits and intervals recomputed.
TEST(IntraclassCorrelation, GivesThePublishedTable) {
  Eigen::MatrixXd values(6, 4);
  Eigen::Index row = 0;
  for (const auto& cells : read_table("worked-examples/shrout-fleiss-1979.csv")) {
    for (Eigen::Index j = 0; j < 4; ++j) {
      values(row, j) = std::stod(cells.at("judge" + std::to_string(j + 1)));
    }
    ++row;
  }
  const auto forms = intraclass_correlation(values);
  ASSERT_TRUE(forms);
  const std::array<double, 6> published{.17, .29, .71, .44, .62, .91};
  const std::array<double, 6> exact{.165742, .289764, .714841, .442797, .620051, .909316};
  for (std::size_t i = 0; i < 6; ++i) {
    EXPECT_NEAR(six(*forms)[i].value, published[i], 5.1e-3);
    EXPECT_NEAR(six(*forms)[i].value, exact[i], 5.1e-7);
  }
  EXPECT_NEAR(forms->one_way_single.interval.low, -.1329, 5.1e-5);
  EXPECT_NEAR(forms->one_way_single.interval.high, .7226, 5.1e-5);
  EXPECT_NEAR(forms->absolute_single.interval.low, .0188, 5.1e-5);
  EXPECT_NEAR(forms->absolute_single.interval.high, .7611, 5.1e-5);
  EXPECT_NEAR(forms->consistency_single.interval.low, .3425, 5.1e-5);
  EXPECT_NEAR(forms->consistency_single.interval.high, .9459, 5.1e-5);
}

TEST(IntraclassCorrelation, AgreesWithR) {
  const auto rows = read_table("statistics/readers.csv");
  Eigen::MatrixXd values(static_cast<Eigen::Index>(rows.size()), 3);
  for (std::size_t i = 0; i < rows.size(); ++i) {
    for (Eigen::Index j = 0; j < 3; ++j) {
      values(static_cast<Eigen::Index>(i), j) = std::stod(rows[i].at("r" + std::to_string(j + 1)));
    }
  }
  const auto forms = intraclass_correlation(values);
  ASSERT_TRUE(forms);
  for (std::size_t i = 0; i < 6; ++i) {
    const std::string n = std::to_string(i);
    EXPECT_NEAR(six(*forms)[i].value, reference("icc.value." + n), 1e-9) << n;
    EXPECT_NEAR(six(*forms)[i].interval.low, reference("icc.low." + n), 1e-9) << n;
    EXPECT_NEAR(six(*forms)[i].interval.high, reference("icc.high." + n), 1e-9) << n;
  }
  // The readers' levels were simulated at 0, 0.2 and -0.1 (SD 0.153) and their error at 0.3.
  EXPECT_NEAR(forms->reader_sd, 0.153, 0.1);
  EXPECT_NEAR(forms->residual_sd, 0.3, 0.1);
}

TEST(IntraclassCorrelation, SaysWhatTheDataDoNotBear) {
  EXPECT_EQ(intraclass_correlation(Eigen::MatrixXd::Random(2, 2)).error().kind,
            ErrorKind::kCannotTell);
  EXPECT_EQ(intraclass_correlation(Eigen::MatrixXd::Constant(5, 2, 1.0)).error().kind,
            ErrorKind::kCannotTell);
  Eigen::MatrixXd equal(4, 2);
  equal << 1, 1, 2, 2, 3, 3, 5, 5;
  EXPECT_EQ(intraclass_correlation(equal).error().kind, ErrorKind::kCannotTell);
  Eigen::MatrixXd opposed(3, 2);  // the mean of two cannot be stepped up: cut at -1, not a pole
  opposed << 1, 3.1, 2, 2, 3, 1;
  const auto forms = intraclass_correlation(opposed);
  ASSERT_TRUE(forms);
  for (const Icc& icc : six(*forms)) {
    EXPECT_TRUE(std::isfinite(icc.value) && std::isfinite(icc.interval.low) &&
                std::isfinite(icc.interval.high));
    EXPECT_LE(icc.interval.low, icc.interval.high);
  }
}

Eigen::MatrixXd square(const std::string& file) {
  std::ifstream in(tidemark::test::testdata().string() + "/" + file);
  EXPECT_TRUE(in) << file;
  std::vector<double> cells;
  for (std::string cell; std::getline(in, cell);) {
    std::istringstream line(cell);
    while (std::getline(line, cell, ',')) cells.push_back(std::stod(cell));
  }
  const auto size = static_cast<Eigen::Index>(std::lround(std::sqrt(double(cells.size()))));
  return Eigen::Map<Eigen::Matrix<double, -1, -1, Eigen::RowMajor>>(cells.data(), size, size);
}

// Cohen, Educ Psychol Meas 20 (1960) 37: kappa .492 of 200 cases; error as by R's vcd.
TEST(Kappa, GivesThePublishedTable) {
  const auto found =
      cohens_kappa(square("worked-examples/cohen-1960-kappa.csv"), KappaWeights::kNone);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->things, 200U);
  EXPECT_NEAR(found->value, .492, 5.1e-4);
  EXPECT_NEAR(found->value, reference("kappa.cohen1960.0"), 1e-9);
  EXPECT_NEAR(found->standard_error, reference("kappa.cohen1960.1"), 1e-9);
}

// Agresti (1990), 91 couples; R's vcd package.
TEST(Kappa, WeightedAgreesWithR) {
  const auto table = square("statistics/agresti-1990.csv");
  for (const auto& [weights, name] : {std::pair{KappaWeights::kNone, "kappa.none"},
                                      {KappaWeights::kLinear, "kappa.linear"},
                                      {KappaWeights::kQuadratic, "kappa.quadratic"}}) {
    const auto found = cohens_kappa(table, weights);
    ASSERT_TRUE(found);
    EXPECT_NEAR(found->value, reference(std::string(name) + ".0"), 1e-9) << name;
    EXPECT_NEAR(found->standard_error, reference(std::string(name) + ".1"), 1e-9) << name;
  }
}

TEST(Kappa, SaysWhatTheDataDoNotBear) {
  EXPECT_EQ(cohens_kappa(Eigen::MatrixXd::Zero(2, 2), KappaWeights::kNone).error().kind,
            ErrorKind::kCannotTell);
  Eigen::MatrixXd one = Eigen::MatrixXd::Zero(2, 2);
  one(0, 0) = 12;
  EXPECT_EQ(cohens_kappa(one, KappaWeights::kLinear).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(cohens_kappa(Eigen::MatrixXd::Ones(2, 3), KappaWeights::kNone).error().kind,
            ErrorKind::kBadInput);
}

using Tables = std::vector<Eigen::MatrixXd>;

Eigen::MatrixXd table(double both_absent, double only_second, double only_first,
                      double both_present) {
  Eigen::MatrixXd out(2, 2);
  out << both_absent, only_second, only_first, both_present;
  return out;
}

// By hand from the definition: sums (4 1 / 1 4) of three clusters give kappa 0.6; without the first
// (2 1 / 1 2) 1/3, without the second (3 1 / 1 3) 0.5, without the third (3 0 / 0 3) 1. Mean 11/18,
// squares 25/324 + 4/324 + 49/324 = 78/324; times 2/3, root: 0.40062.
TEST(ClusteredKappa, LeavesOneClusterOutAfterTheOther) {
  const auto found = clustered_kappa(
      Tables{table(2, 0, 0, 2), table(1, 0, 0, 1), table(0, 0, 0, 0), table(1, 1, 1, 1)},
      KappaWeights::kNone);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->things, 10U);
  EXPECT_EQ(found->clusters, 3U);
  EXPECT_NEAR(found->value, 0.6, 1e-12);
  ASSERT_TRUE(found->standard_error);
  EXPECT_NEAR(*found->standard_error, std::sqrt(78.0 / 324.0 * 2.0 / 3.0), 1e-12);
  EXPECT_EQ(found->interval->low, -1.0);  // 0.6 -+ 4.30 x 0.40, cut
  EXPECT_EQ(found->interval->high, 1.0);
  EXPECT_EQ(found->reason, "");
}

// One thing a cluster: the things are independent, so both errors estimate the same. Cohen's 200
// cases (1960); the two differ by terms of 1/200.
TEST(ClusteredKappa, OfSingleThingsIsThePlainOne) {
  const auto counts = square("worked-examples/cohen-1960-kappa.csv");
  const auto plain = cohens_kappa(counts, KappaWeights::kNone);
  Tables single;
  for (Eigen::Index i = 0; i < counts.rows(); ++i) {
    for (Eigen::Index j = 0; j < counts.cols(); ++j) {
      Eigen::MatrixXd one = Eigen::MatrixXd::Zero(counts.rows(), counts.cols());
      one(i, j) = 1.0;
      single.insert(single.end(), static_cast<std::size_t>(counts(i, j)), one);
    }
  }
  const auto found = clustered_kappa(single, KappaWeights::kNone);
  ASSERT_TRUE(plain && found && found->standard_error);
  EXPECT_NEAR(found->value, plain->value, 1e-12);
  EXPECT_NEAR(*found->standard_error / plain->standard_error, 1.0, 0.02);
}

// The same sums of 20 clusters of eight: disagreement in ten of them, and gathered in four. By
// cluster its number has the variance 1 (2 or 0, half each) and 4 (5 in a fifth): twice the error.
TEST(ClusteredKappa, IsLessSureWhereDisagreementIsGathered) {
  Tables spread;
  Tables gathered;
  for (int h = 0; h < 20; ++h) {
    spread.push_back(h < 10 ? table(3, 1, 1, 3) : table(4, 0, 0, 4));
    gathered.push_back(h < 4 ? table(1.5, 2.5, 2.5, 1.5) : table(4, 0, 0, 4));
  }
  const auto even = clustered_kappa(spread, KappaWeights::kNone);
  const auto uneven = clustered_kappa(gathered, KappaWeights::kNone);
  ASSERT_TRUE(even && uneven);
  EXPECT_NEAR(even->value, 0.75, 1e-12);
  EXPECT_NEAR(uneven->value, 0.75, 1e-12);
  ASSERT_TRUE(even->interval && uneven->interval);
  EXPECT_NEAR(*uneven->standard_error / *even->standard_error, 2.0, 0.05);
  EXPECT_NEAR(even->interval->low, 0.75 - 2.093024054 * *even->standard_error, 1e-8);  // t(19)
}

TEST(ClusteredKappa, SaysWhyThereIsNoInterval) {
  const auto reason = [](const Tables& tables) {
    const auto found = clustered_kappa(tables, KappaWeights::kNone);
    EXPECT_TRUE(found);
    EXPECT_FALSE(found->interval || found->standard_error);
    return found->reason;
  };
  EXPECT_EQ(reason({table(3, 1, 1, 3)}), "fewer than two patients have such zones");
  // Full agreement: nothing in the films tells how sure it is.
  EXPECT_EQ(reason(Tables(20, table(3, 0, 0, 2))),
            "agreement does not vary from patient to patient");
  EXPECT_EQ(reason(Tables(20, table(3, 1, 1, 2))),
            "agreement does not vary from patient to patient");
  EXPECT_EQ(reason({table(3, 0, 0, 0), table(1, 0, 0, 2)}),
            "without one of the patients there is no kappa");
  EXPECT_EQ(clustered_kappa(Tables{}, KappaWeights::kNone).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(
      clustered_kappa(Tables{table(1, 0, 0, 1), Eigen::MatrixXd::Ones(3, 3)}, KappaWeights::kNone)
          .error()
          .kind,
      ErrorKind::kBadInput);
}

// Readers agree on some hips (a share drawn from 0.6 to 1 for each) better than on others, as they
// do. Of 95 % intervals at least 92 of 100 hold the kappa of many hips; the plain error holds far
// fewer. 400 cohorts of 20 hips: standard error 1.1 of 100.
TEST(ClusteredKappa, IntervalHoldsTheTruthOfHipsThatDiffer) {
  made::Dice dice(31);
  const auto draw = [&](int hips) {
    Tables out;
    for (int h = 0; h < hips; ++h) {
      const double agree = dice.uniform() < 0.5 ? 1.0 : 0.6;
      const double line = dice.uniform() < 0.5 ? 0.8 : 0.2;
      Eigen::MatrixXd counts = Eigen::MatrixXd::Zero(2, 2);
      for (int zone = 0; zone < 28; ++zone) {
        const Eigen::Index first = dice.uniform() < line ? 1 : 0;
        const Eigen::Index second = dice.uniform() < agree ? first : 1 - first;
        counts(first, second) += 1.0;
      }
      out.push_back(counts);
    }
    return out;
  };
  const double truth = clustered_kappa(draw(20000), KappaWeights::kNone)->value;
  constexpr int kCohorts = 400;
  int held = 0;
  int plain = 0;
  for (int i = 0; i < kCohorts; ++i) {
    const Tables tables = draw(20);
    const auto found = clustered_kappa(tables, KappaWeights::kNone);
    ASSERT_TRUE(found && found->interval);
    held += found->interval->low <= truth && truth <= found->interval->high ? 1 : 0;
    Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(2, 2);
    for (const auto& one : tables) sum += one;
    const Interval narrow = cohens_kappa(sum, KappaWeights::kNone)->interval;
    plain += narrow.low <= truth && truth <= narrow.high ? 1 : 0;
  }
  RecordProperty("held", held);
  RecordProperty("plain", plain);
  EXPECT_GE(held, 0.92 * kCohorts);
  EXPECT_LE(held, 0.98 * kCohorts);
  EXPECT_LT(plain, 0.8 * kCohorts);
}

}  // namespace
}  // namespace tidemark::registry
