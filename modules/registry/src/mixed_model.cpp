#include "tidemark/registry/mixed_model.h"

#include <nlopt.h>

#include <Eigen/Dense>
#include <cmath>
#include <memory>
#include <numbers>
#include <optional>

namespace tidemark::registry {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using Parameters = std::vector<double>;  ///< lower triangle of L by rows, then s if estimated

constexpr double kNoLikelihood = 1e100;  // V is not positive definite there: keep away

struct Problem {
  std::span<const MixedSubject> subjects;
  Residual residual = Residual::kEstimated;
  Index fixed = 0;
  Index random = 0;
  double y_scale = 1.0;  ///< the parameters are sought in multiples of it
  VectorXd z_scale;      ///< root mean square of each column of Z

  [[nodiscard]] std::size_t size() const {
    const auto q = static_cast<std::size_t>(random);
    return q * (q + 1) / 2 + (residual == Residual::kEstimated ? 1 : 0);
  }
};

/// G and s^2 of a set of parameters.
struct Variances {
  MatrixXd random;
  double residual = 0.0;
};

Variances variances_of(const Problem& problem, const double* parameters) {
  MatrixXd lower = MatrixXd::Zero(problem.random, problem.random);
  for (Index row = 0; row < problem.random; ++row) {
    for (Index column = 0; column <= row; ++column) {
      lower(row, column) = *parameters++ * problem.y_scale / problem.z_scale[row];
    }
  }
  Variances out{lower * lower.transpose(), 0.0};
  if (problem.residual == Residual::kEstimated) {
    out.residual = *parameters * *parameters * problem.y_scale * problem.y_scale;
  }
  return out;
}

MatrixXd covariance_of(const MixedSubject& subject, const Variances& variances) {
  MatrixXd v = subject.z * variances.random * subject.z.transpose();
  if (subject.measurement.size() > 0) v += subject.measurement;
  v.diagonal().array() += variances.residual;
  return v;
}

/// Generalised least squares at given variances.
struct Profile {
  VectorXd effects;
  MatrixXd covariance;
  double log_likelihood = 0.0;
};

std::optional<Profile> profile_at(const Problem& problem, const Variances& variances) {
  MatrixXd information = MatrixXd::Zero(problem.fixed, problem.fixed);
  VectorXd score = VectorXd::Zero(problem.fixed);
  double log_determinant = 0.0;
  double squares = 0.0;
  Index observations = 0;
  for (const MixedSubject& subject : problem.subjects) {
    const Eigen::LLT<MatrixXd> root(covariance_of(subject, variances));
    if (root.info() != Eigen::Success) return std::nullopt;
    const VectorXd diagonal = root.matrixL().toDenseMatrix().diagonal();
    if (diagonal.minCoeff() <= 1e-9 * diagonal.maxCoeff()) return std::nullopt;
    const MatrixXd x = root.matrixL().solve(subject.x);
    const VectorXd y = root.matrixL().solve(subject.y);
    information += x.transpose() * x;
    score += x.transpose() * y;
    squares += y.squaredNorm();
    log_determinant += 2.0 * diagonal.array().log().sum();
    observations += subject.y.size();
  }
  const Eigen::LLT<MatrixXd> root(information);
  if (root.info() != Eigen::Success) return std::nullopt;
  Profile out;
  out.effects = root.solve(score);
  out.covariance = root.solve(MatrixXd::Identity(problem.fixed, problem.fixed));
  const double rest = squares - score.dot(out.effects);
  log_determinant += 2.0 * root.matrixL().toDenseMatrix().diagonal().array().log().sum();
  const auto freedom = static_cast<double>(observations - problem.fixed);
  out.log_likelihood = -0.5 * (log_determinant + rest + freedom * std::log(2.0 * std::numbers::pi));
  if (!std::isfinite(out.log_likelihood)) return std::nullopt;
  return out;
}

double objective(unsigned /*size*/, const double* parameters, double* /*gradient*/, void* data) {
  const auto& problem = *static_cast<const Problem*>(data);
  const auto profile = profile_at(problem, variances_of(problem, parameters));
  return profile ? -2.0 * profile->log_likelihood : kNoLikelihood;
}

struct Optimum {
  Parameters parameters;
  double value = kNoLikelihood;
};

/// Diagonal of L and s are not negative; the rest of L is free.
Parameters lower_bounds(const Problem& problem) {
  Parameters bounds;
  for (Index row = 0; row < problem.random; ++row) {
    bounds.insert(bounds.end(), static_cast<std::size_t>(row), -1e3);
    bounds.push_back(0.0);
  }
  if (problem.residual == Residual::kEstimated) bounds.push_back(0.0);
  return bounds;
}

Parameters start_at(const Problem& problem, double diagonal, double residual) {
  Parameters start;
  for (Index row = 0; row < problem.random; ++row) {
    start.insert(start.end(), static_cast<std::size_t>(row), 0.0);
    start.push_back(diagonal);
  }
  if (problem.residual == Residual::kEstimated) start.push_back(residual);
  return start;
}

std::optional<Optimum> optimise(Problem& problem, Parameters start) {
  using Solver = std::unique_ptr<nlopt_opt_s, decltype(&nlopt_destroy)>;
  const auto size = static_cast<unsigned>(start.size());
  const Solver solver(nlopt_create(NLOPT_LN_BOBYQA, size), &nlopt_destroy);
  nlopt_set_min_objective(solver.get(), &objective, &problem);
  nlopt_set_lower_bounds(solver.get(), lower_bounds(problem).data());
  nlopt_set_upper_bounds1(solver.get(), 1e3);
  nlopt_set_ftol_abs(solver.get(), 1e-10);
  nlopt_set_xtol_abs1(solver.get(), 1e-7);
  nlopt_set_maxeval(solver.get(), 5000);
  nlopt_set_initial_step1(solver.get(), 0.3);
  Optimum out{std::move(start), kNoLikelihood};
  const nlopt_result code = nlopt_optimize(solver.get(), out.parameters.data(), &out.value);
  const bool ended = code > 0 || code == NLOPT_ROUNDOFF_LIMITED;
  if (!ended || code == NLOPT_MAXEVAL_REACHED || out.value >= kNoLikelihood) return std::nullopt;
  return out;
}

Optimum best_of_starts(Problem& problem) {
  Optimum best;
  for (const auto& [diagonal, residual] : {std::pair{0.7, 0.7}, {0.1, 1.0}, {1.0, 0.1}}) {
    auto found = optimise(problem, start_at(problem, diagonal, residual));
    if (!found) continue;
    // Once more from where it ended: a trust region that shrank on a ridge starts afresh.
    if (auto again = optimise(problem, found->parameters)) found = again;
    if (found->value < best.value) best = *found;
  }
  return best;
}

std::optional<Error> fault_of(std::span<const MixedSubject> subjects) {
  const auto bad = [](const char* wrong) {
    return Error{ErrorKind::kBadInput, "mixed model", wrong, ""};
  };
  if (subjects.empty()) return bad("there is no subject");
  for (const MixedSubject& s : subjects) {
    const Index n = s.y.size();
    const bool fits =
        n > 0 && s.x.rows() == n && s.z.rows() == n && s.x.cols() == subjects[0].x.cols() &&
        s.z.cols() == subjects[0].z.cols() &&
        (s.measurement.size() == 0 || (s.measurement.rows() == n && s.measurement.cols() == n));
    if (!fits) return bad("the sizes of a subject's matrices do not fit");
    if (!s.y.allFinite() || !s.x.allFinite() || !s.z.allFinite() || !s.measurement.allFinite()) {
      return bad("a value is not a finite number");
    }
  }
  return std::nullopt;
}

/// All observations below one another.
MixedSubject stacked(std::span<const MixedSubject> subjects) {
  Index rows = 0;
  for (const MixedSubject& s : subjects) rows += s.y.size();
  MixedSubject out{VectorXd(rows),
                   MatrixXd(rows, subjects[0].x.cols()),
                   MatrixXd(rows, subjects[0].z.cols()),
                   {}};
  Index row = 0;
  for (const MixedSubject& s : subjects) {
    out.y.segment(row, s.y.size()) = s.y;
    out.x.middleRows(row, s.y.size()) = s.x;
    out.z.middleRows(row, s.y.size()) = s.z;
    row += s.y.size();
  }
  return out;
}

Expected<Problem> problem_of(std::span<const MixedSubject> subjects, Residual residual) {
  const auto cannot = [](const char* wrong) {
    return fail(ErrorKind::kCannotTell, "mixed model", wrong);
  };
  const MixedSubject all = stacked(subjects);
  Problem out;
  out.subjects = subjects;
  out.residual = residual;
  out.fixed = all.x.cols();
  out.random = all.z.cols();
  if (static_cast<std::size_t>(all.y.size()) <= static_cast<std::size_t>(out.fixed) + out.size()) {
    return cannot("there are no more observations than parameters");
  }
  const Eigen::ColPivHouseholderQR<MatrixXd> solver(all.x);
  if (solver.rank() < out.fixed) return cannot("the fixed effects cannot be told apart");
  const VectorXd rest = all.y - all.x * solver.solve(all.y);
  const double scale =
      std::sqrt(rest.squaredNorm() / static_cast<double>(all.y.size() - out.fixed));
  out.y_scale = scale > 0.0 ? scale : 1.0;
  out.z_scale = (all.z.colwise().squaredNorm() / static_cast<double>(all.y.size())).cwiseSqrt();
  if (out.z_scale.size() > 0 && out.z_scale.minCoeff() <= 0.0) {
    return cannot("a random effect touches no observation");
  }
  return out;
}

}  // namespace

Expected<MixedModel> fit_mixed_model(std::span<const MixedSubject> subjects, Residual residual) {
  if (auto fault = fault_of(subjects)) return tl::unexpected(*fault);
  auto problem = problem_of(subjects, residual);
  if (!problem) return tl::unexpected(problem.error());
  const Optimum best = best_of_starts(*problem);
  const auto not_converged = [] {
    return fail(ErrorKind::kNotConverged, "mixed model",
                "the likelihood has no maximum to be found");
  };
  if (best.value >= kNoLikelihood) return not_converged();
  const Variances variances = variances_of(*problem, best.parameters.data());
  const auto profile = profile_at(*problem, variances);
  if (!profile) return not_converged();
  MixedModel out;
  out.subjects = subjects.size();
  out.effects = profile->effects;
  out.effects_covariance = profile->covariance;
  out.random_covariance = variances.random;
  out.residual_sd = std::sqrt(variances.residual);
  out.restricted_log_likelihood = profile->log_likelihood;
  for (const MixedSubject& subject : subjects) {
    out.observations += static_cast<std::size_t>(subject.y.size());
    const Eigen::LLT<MatrixXd> root(covariance_of(subject, variances));
    const VectorXd rest = subject.y - subject.x * out.effects;
    out.random_effects.emplace_back(variances.random * subject.z.transpose() * root.solve(rest));
  }
  return out;
}

}  // namespace tidemark::registry
