#include "tidemark/registry/precision.h"

#include <gtest/gtest.h>

#include <limits>
#include <sstream>

#include "registry/reference_values.h"
#include "testdata.h"

namespace tidemark::registry {
namespace {

using Groups = std::vector<std::vector<double>>;

struct Level {
  const char* name;
  Groups laboratories;
  double mean, repeatability, reproducibility;  // as printed by the standard, three decimals
  double exact_r, exact_between, exact_reproducibility;  // recomputed, five decimals
};

// ISO 5725-2:1994, example B.1, sulphur in coal, mass per cent (data from memory; the recomputed
// values agree with the standard's at all four levels).
const std::vector<Level> kSulphur{{"level 1",
                                   {{.71, .71, .70, .71},
                                    {.69, .67, .68},
                                    {.66, .65, .69},
                                    {.67, .65, .66},
                                    {.70, .69, .66, .71, .69},
                                    {.73, .74, .73},
                                    {.71, .71, .69},
                                    {.70, .65, .68}},
                                   .690,
                                   .015,
                                   .026,
                                   .01512,
                                   .02160,
                                   .02636},
                                  {"level 2",
                                   {{1.20, 1.18, 1.23, 1.21},
                                    {1.22, 1.21, 1.22},
                                    {1.28, 1.31, 1.30},
                                    {1.23, 1.18, 1.20},
                                    {1.31, 1.22, 1.22, 1.24},
                                    {1.39, 1.36, 1.37},
                                    {1.20, 1.26, 1.26},
                                    {1.24, 1.22, 1.30}},
                                   1.252,
                                   .029,
                                   .061,
                                   .02878,
                                   .05334,
                                   .06061},
                                  {"level 3",
                                   {{1.68, 1.70, 1.68, 1.69},
                                    {1.64, 1.64, 1.65},
                                    {1.61, 1.61, 1.62},
                                    {1.68, 1.66, 1.66},
                                    {1.64, 1.67, 1.60, 1.66, 1.68},
                                    {1.70, 1.73, 1.73},
                                    {1.69, 1.70, 1.68},
                                    {1.67, 1.68, 1.67}},
                                   1.667,
                                   .017,
                                   .035,
                                   .01708,
                                   .03028,
                                   .03477},
                                  {"level 4",
                                   {{3.26, 3.26, 3.20, 3.24},
                                    {3.20, 3.20, 3.20},
                                    {3.37, 3.36, 3.38},
                                    {3.16, 3.22, 3.23},
                                    {3.20, 3.19, 3.18, 3.27, 3.24},
                                    {3.27, 3.31, 3.29},
                                    {3.27, 3.24, 3.23},
                                    {3.25, 3.26, 3.26}},
                                   3.250,
                                   .026,
                                   .058,
                                   .02608,
                                   .05205,
                                   .05822}};

TEST(Reproducibility, GivesTheExampleOfIso5725) {
  for (const Level& level : kSulphur) {
    const auto found = reproducibility(level.laboratories);
    ASSERT_TRUE(found) << level.name;
    EXPECT_NEAR(found->mean, level.mean, 5.1e-4) << level.name;
    EXPECT_NEAR(found->repeatability_sd, level.repeatability, 5.1e-4) << level.name;
    EXPECT_NEAR(found->reproducibility_sd, level.reproducibility, 5.1e-4) << level.name;
    EXPECT_NEAR(found->repeatability_sd, level.exact_r, 5.1e-6) << level.name;
    EXPECT_NEAR(found->between_sd, level.exact_between, 5.1e-6) << level.name;
    EXPECT_NEAR(found->reproducibility_sd, level.exact_reproducibility, 5.1e-6) << level.name;
  }
  const auto first = reproducibility(kSulphur[0].laboratories);
  EXPECT_NEAR(first->repeatability_limit, 0.0423, 5.1e-5);
  EXPECT_NEAR(first->reproducibility_limit, 0.0738, 5.1e-5);
}

/// Groups and certified mean squares of a NIST file of one-way analysis of variance.
struct Certified {
  Groups groups;
  double within = 0.0;
  double between = 0.0;
};

Certified nist(const std::string& file) {
  std::ifstream in(tidemark::test::testdata().string() + "/nist/" + file);
  EXPECT_TRUE(in) << file;
  Certified out;
  bool data = false;
  for (std::string line; std::getline(in, line);) {
    std::istringstream words(line);
    std::string first;
    words >> first;
    double freedom = 0.0;
    double squares = 0.0;
    if (first == "Between") words >> first >> freedom >> squares >> out.between;
    if (first == "Within") words >> first >> freedom >> squares >> out.within;
    const bool numbers = !first.empty() && std::isdigit(static_cast<unsigned char>(first[0])) != 0;
    if (data && numbers && out.groups.empty()) {  // the line that numbers the treatments
      out.groups.resize(1);
      for (std::string number; words >> number;) out.groups.emplace_back();
    } else if (data && numbers) {
      std::istringstream cells(line);
      for (auto& group : out.groups) cells >> group.emplace_back();
      EXPECT_TRUE(cells) << file << ": " << line;
    }
    data = data || (first == "Data:" && line.find("Factor") == std::string::npos);
  }
  EXPECT_GT(out.within, 0.0) << file;
  EXPECT_GE(out.groups.size(), 2U) << file;
  return out;
}

// Certified within and between mean squares, NIST Statistical Reference Datasets. Digits: what
// doubles bear, as the sets have 7 or 13 constant leading digits (SmLs04t, SmLs07t).
TEST(Repeatability, GivesTheCertifiedMeanSquaresOfNist) {
  for (const auto& [file, digits] : {std::pair{"SiRstvt.dat", 9},
                                     {"AtmWtAgt.dat", 8},
                                     {"SmLs01t.dat", 10},
                                     {"SmLs04t.dat", 7},
                                     {"SmLs07t.dat", 2}}) {
    const Certified set = nist(file);
    const auto within = repeatability(set.groups);
    ASSERT_TRUE(within) << file;
    expect_digits(within->sd * within->sd, set.within, digits, file);
    const auto both = reproducibility(set.groups);
    const auto size = static_cast<double>(set.groups[0].size());
    const double between = both->between_sd * both->between_sd * size + set.within;
    if (set.between > set.within) expect_digits(between, set.between, digits, file);
  }
}

Groups readers() {
  Groups out;
  for (const auto& row : read_table("statistics/readers.csv")) {
    out.push_back({std::stod(row.at("r1")), std::stod(row.at("r2")), std::stod(row.at("r3"))});
  }
  return out;
}

TEST(Repeatability, AgreesWithR) {
  const auto found = repeatability(readers());
  ASSERT_TRUE(found);
  EXPECT_EQ(found->degrees_of_freedom, 60);
  expect_digits(found->sd, reference("precision.sd"), 9, "anova");
  expect_digits(found->sd_interval.low, reference("precision.sd_interval.0"), 9, "qchisq");
  expect_digits(found->sd_interval.high, reference("precision.sd_interval.1"), 9, "qchisq");
  expect_digits(reproducibility(readers())->between_sd, reference("precision.between_sd"), 6,
                "lmer");
}

// Bland and Altman, Lancet 327 (1986) 307: within-subject SD of both meters, recomputed;
// coefficient of repeatability 1.96 sqrt(2) s_w.
TEST(Repeatability, GivesThePublishedMeters) {
  Groups large;
  Groups mini;
  std::vector<double> large_differences;
  for (const auto& row : read_table("worked-examples/bland-altman-1986-pefr.csv")) {
    large.push_back({std::stod(row.at("large1")), std::stod(row.at("large2"))});
    mini.push_back({std::stod(row.at("mini1")), std::stod(row.at("mini2"))});
    large_differences.push_back(large.back()[1] - large.back()[0]);
  }
  EXPECT_NEAR(repeatability(large)->sd, 15.3067, 5.1e-5);
  EXPECT_NEAR(repeatability(mini)->sd, 19.9108, 5.1e-5);
  EXPECT_NEAR(repeatability(large)->smallest_detectable_change, 42.43, 5.1e-3);
  EXPECT_NEAR(repeatability(mini)->smallest_detectable_change, 55.19, 5.1e-3);
  const auto pairs = double_examinations(large_differences);
  ASSERT_TRUE(pairs);
  EXPECT_NEAR(2.0 * pairs->rms, 43.2938, 5.1e-5);  // the paper: 43.3
  EXPECT_NEAR(pairs->error_of_one, 15.3067, 5.1e-5);
  EXPECT_NEAR(pairs->smallest_detectable_change, 42.43, 5.1e-3);
}

// Dahlberg's error of five pairs, by hand: sqrt(0.31 / 10).
TEST(DoubleExaminations, GiveDahlbergsError) {
  const std::vector<double> differences{0.3, -0.1, 0.2, -0.4, 0.1};
  const auto found = double_examinations(differences);
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->error_of_one, 0.17607, 5.1e-6);
  EXPECT_NEAR(found->rms, 0.24900, 5.1e-6);
  EXPECT_NEAR(found->precision95, 2.570582 * 0.248998, 1e-6);  // t(0.975, 5), handbook table
  EXPECT_NEAR(found->mean_difference, 0.02, 1e-12);
}

TEST(Precision, SaysWhatTheDataDoNotBear) {
  EXPECT_EQ(repeatability(Groups{}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(repeatability(Groups{{1.0}, {2.0}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(reproducibility(Groups{{1.0, 2.0}, {}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(double_examinations(std::vector{0.1}).error().kind, ErrorKind::kCannotTell);
  const double nan = std::numeric_limits<double>::quiet_NaN();
  EXPECT_EQ(repeatability(Groups{{1.0, nan}}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(double_examinations(std::vector{0.1, nan}).error().kind, ErrorKind::kBadInput);
  const auto one = repeatability(Groups{{1.0, 1.2}, {4.0}});
  ASSERT_TRUE(one);
  EXPECT_EQ(one->groups, 1U);
  EXPECT_NEAR(one->sd, 0.141421, 5e-7);
  // Groups closer together than chance alone puts them: between is 0, not the root of less.
  EXPECT_EQ(reproducibility(Groups{{0.0, 2.0}, {0.0, 2.0}})->between_sd, 0.0);
}

}  // namespace
}  // namespace tidemark::registry
