#include "tidemark/registry/mixed_model.h"

#include <gtest/gtest.h>

#include <map>
#include <random>

#include "registry/reference_values.h"

namespace tidemark::registry {
namespace {

using Subjects = std::vector<MixedSubject>;

struct Line {
  std::vector<double> fixed, random;
  double y, u;
};

Subjects subjects_of(const std::vector<std::pair<std::string, Line>>& lines) {
  std::vector<std::string> order;
  std::map<std::string, std::vector<Line>> by_subject;
  for (const auto& [subject, line] : lines) {
    if (by_subject[subject].empty()) order.push_back(subject);
    by_subject[subject].push_back(line);
  }
  Subjects out;
  for (const std::string& name : order) {
    const auto& rows = by_subject[name];
    const auto n = static_cast<Eigen::Index>(rows.size());
    MixedSubject s{Eigen::VectorXd(n),
                   Eigen::MatrixXd(n, static_cast<Eigen::Index>(rows[0].fixed.size())),
                   Eigen::MatrixXd(n, static_cast<Eigen::Index>(rows[0].random.size())),
                   Eigen::MatrixXd::Zero(n, n)};
    for (Eigen::Index i = 0; i < n; ++i) {
      const Line& row = rows[static_cast<std::size_t>(i)];
      s.y[i] = row.y;
      s.x.row(i) = Eigen::Map<const Eigen::RowVectorXd>(row.fixed.data(), s.x.cols());
      s.z.row(i) = Eigen::Map<const Eigen::RowVectorXd>(row.random.data(), s.z.cols());
      s.measurement(i, i) = row.u * row.u;
    }
    out.push_back(std::move(s));
  }
  return out;
}

Subjects orthodont() {
  std::vector<std::pair<std::string, Line>> lines;
  for (const auto& row : read_table("statistics/orthodont.csv")) {
    const double age = std::stod(row.at("age"));
    lines.push_back({row.at("Subject"), {{1, age}, {1, age}, std::stod(row.at("distance")), 0}});
  }
  return subjects_of(lines);
}

enum class Known { kNothing, kU };

Subjects migration(Known known) {
  std::vector<std::pair<std::string, Line>> lines;
  for (const auto& row : read_table("statistics/migration.csv")) {
    const double days = std::stod(row.at("days"));
    const double s = 1.0 - std::exp(-days / 30.0);
    const double l = std::max(0.0, days - 91.3125) / 365.25;
    const double a = row.at("group") == "a" ? 1.0 : 0.0;
    lines.push_back({row.at("hip"),
                     {{a * s, (1 - a) * s, a * l, (1 - a) * l},
                      {s, l},
                      std::stod(row.at("subsidence_mm")),
                      known == Known::kU ? std::stod(row.at("u_mm")) : 0.0}});
  }
  return subjects_of(lines);
}

/// Tolerance: the other program's own optimiser stops at about 1e-4 of a variance.
void expect_as(const MixedModel& model, const std::string& name, double relative) {
  const auto near = [&](double value, const std::string& what, double floor) {
    const double expected = reference(name + what);
    EXPECT_NEAR(value, expected, relative * std::max(floor, std::abs(expected))) << name << what;
  };
  for (Eigen::Index i = 0; i < model.effects.size(); ++i) {
    near(model.effects[i], ".fixed." + std::to_string(i), 0.1);
  }
  const auto& c = model.effects_covariance;
  for (Eigen::Index i = 0; i < c.size(); ++i) {
    near(c.reshaped()[i], ".fixed_covariance." + std::to_string(i), c.diagonal().minCoeff());
  }
  const auto& g = model.random_covariance;
  for (Eigen::Index i = 0; i < g.size(); ++i) {
    near(g.reshaped()[i], ".random." + std::to_string(i), g.diagonal().minCoeff());
  }
  near(model.residual_sd, ".residual", 0.1);
}

// Pinheiro and Bates, Mixed-Effects Models in S and S-PLUS (2000), 1.4: 16.761 (0.775) and 0.660
// (0.071), SD of the children 2.327 and 0.226, residual 1.310 (from memory); digits from R's nlme
// and lme4.
TEST(MixedModel, GivesThePublishedGrowthOfTheJaw) {
  const auto model = fit_mixed_model(orthodont());
  ASSERT_TRUE(model) << model.error().sentence();
  EXPECT_EQ(model->subjects, 27U);
  EXPECT_EQ(model->observations, 108U);
  EXPECT_NEAR(model->effects[0], 16.761, 5.1e-4);
  EXPECT_NEAR(std::sqrt(model->effects_covariance(0, 0)), .775, 5.1e-4);
  EXPECT_NEAR(model->effects[1], .660, 5.1e-4);
  EXPECT_NEAR(std::sqrt(model->effects_covariance(1, 1)), .071, 5.1e-4);
  EXPECT_NEAR(std::sqrt(model->random_covariance(0, 0)), 2.327, 5.1e-4);
  EXPECT_NEAR(std::sqrt(model->random_covariance(1, 1)), .226, 5.1e-4);
  EXPECT_NEAR(model->residual_sd, 1.310, 5.1e-4);
  expect_as(*model, "orthodont.nlme", 1e-5);
  expect_as(*model, "orthodont.lme4", 5e-4);
  EXPECT_NEAR(model->restricted_log_likelihood, reference("orthodont.nlme.loglik"), 1e-7);
  EXPECT_GE(model->restricted_log_likelihood, reference("orthodont.lme4.loglik") - 1e-9);
  EXPECT_NEAR(model->random_effects[0][0], reference("orthodont.nlme.blup_M01.0"), 1e-4);
  EXPECT_NEAR(model->random_effects[0][1], reference("orthodont.nlme.blup_M01.1"), 1e-5);
}

TEST(MixedModel, OfASimulatedCohortAgreesWithR) {
  const auto model = fit_mixed_model(migration(Known::kNothing));
  ASSERT_TRUE(model) << model.error().sentence();
  expect_as(*model, "migration.lme4", 2e-4);
  expect_as(*model, "migration.nlme", 2e-4);
  EXPECT_NEAR(model->restricted_log_likelihood, reference("migration.lme4.loglik"), 1e-6);
}

TEST(MixedModel, WithKnownUncertaintyAgreesWithMetafor) {
  const auto model = fit_mixed_model(migration(Known::kU));
  ASSERT_TRUE(model) << model.error().sentence();
  expect_as(*model, "migration.metafor", 1e-3);
  const auto none = fit_mixed_model(migration(Known::kU), Residual::kNone);
  ASSERT_TRUE(none);
  expect_as(*none, "migration.metafor_no_residual", 1e-3);
  EXPECT_EQ(none->residual_sd, 0.0);
}

// One observation and an intercept each: the mean of known errors without spread between them is
// the weighted mean, by hand (1/0.01 + 2/0.04 + 1.2/0.01) / 225.
TEST(MixedModel, WithoutSpreadIsTheWeightedMean) {
  const std::vector<std::pair<std::string, Line>> lines{
      {"a", {{1}, {1}, 1.0, 0.5}}, {"b", {{1}, {1}, 2.0, 1.0}}, {"c", {{1}, {1}, 1.2, 0.5}}};
  const auto model = fit_mixed_model(subjects_of(lines), Residual::kNone);
  ASSERT_TRUE(model) << model.error().sentence();
  EXPECT_NEAR(model->random_covariance(0, 0), 0.0, 1e-8);
  EXPECT_NEAR(model->effects[0], (4.0 + 2.0 + 4.8) / 9.0, 1e-6);
  EXPECT_NEAR(model->effects_covariance(0, 0), 1.0 / 9.0, 1e-6);
}

TEST(MixedModel, SaysWhatTheDataDoNotBear) {
  EXPECT_EQ(fit_mixed_model(Subjects{}).error().kind, ErrorKind::kBadInput);
  auto few = subjects_of({{"a", {{1, 1}, {1, 1}, 1.0, 0.1}}, {"b", {{1, 2}, {1, 2}, 2.0, 0.1}}});
  EXPECT_EQ(fit_mixed_model(few).error().kind, ErrorKind::kCannotTell);
  auto twins = orthodont();
  for (auto& subject : twins) subject.x.col(1) = subject.x.col(0);
  EXPECT_EQ(fit_mixed_model(twins).error().kind, ErrorKind::kCannotTell);
  auto broken = orthodont();
  broken[0].y[0] = std::numeric_limits<double>::quiet_NaN();
  EXPECT_EQ(fit_mixed_model(broken).error().kind, ErrorKind::kBadInput);
  broken = orthodont();
  broken[3].x.conservativeResize(2, 2);
  EXPECT_EQ(fit_mixed_model(broken).error().kind, ErrorKind::kBadInput);
}

// Subjects that do not differ: a variance at its bound of 0 is an answer, not a failure.
TEST(MixedModel, FindsNoSpreadWhereThereIsNone) {
  std::mt19937_64 engine(5);  // normal numbers by hand: the library's distribution may differ
  const auto uniform = [&] { return (static_cast<double>(engine() >> 11U) + 0.5) * 0x1.0p-53; };
  std::vector<std::pair<std::string, Line>> lines;
  for (int s = 0; s < 20; ++s) {
    for (int t = 0; t < 4; ++t) {
      const double noise =
          std::sqrt(-2.0 * std::log(uniform())) * std::cos(6.283185307 * uniform());
      lines.push_back(
          {"S" + std::to_string(s), {{1.0, double(t)}, {1.0, double(t)}, 0.1 * noise, 0}});
    }
  }
  const auto model = fit_mixed_model(subjects_of(lines));
  ASSERT_TRUE(model) << model.error().sentence();
  EXPECT_NEAR(model->residual_sd, 0.1, 0.02);
  EXPECT_LT(std::sqrt(model->random_covariance(0, 0)), 0.05);
  EXPECT_TRUE(model->effects_covariance.allFinite());
}

}  // namespace
}  // namespace tidemark::registry
