#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>

#include "tidemark/registry/agreement.h"

namespace tidemark::registry {
namespace {

/// Mean squares of the two-way table without repeats: things (rows), readers (columns), residual,
/// and within things.
struct MeanSquares {
  double n = 0.0;  ///< things
  double k = 0.0;  ///< readers
  double rows = 0.0, columns = 0.0, residual = 0.0, within = 0.0;
};

MeanSquares mean_squares(const Eigen::MatrixXd& values) {
  MeanSquares out;
  out.n = static_cast<double>(values.rows());
  out.k = static_cast<double>(values.cols());
  const double grand = values.mean();
  const Eigen::VectorXd row = values.rowwise().mean().array() - grand;
  const Eigen::RowVectorXd column = values.colwise().mean().array() - grand;
  const Eigen::MatrixXd deviation = values.array() - grand;
  const Eigen::MatrixXd rest = (deviation.colwise() - row).rowwise() - column;
  out.rows = out.k * row.squaredNorm() / (out.n - 1.0);
  out.columns = out.n * column.squaredNorm() / (out.k - 1.0);
  out.residual = rest.squaredNorm() / ((out.n - 1.0) * (out.k - 1.0));
  out.within = (deviation.colwise() - row).squaredNorm() / (out.n * (out.k - 1.0));
  return out;
}

/// F(0.975) with these degrees of freedom.
double f975(double above, double below) {
  return boost::math::quantile(boost::math::fisher_f(above, below), 0.975);
}

/// Spearman-Brown: from one reader to the mean of k; cut at -1, below which it has a pole.
double stepped_up(double single, double k) {
  const double bottom = 1.0 + (k - 1.0) * single;
  return bottom > 0.0 ? std::max(-1.0, k * single / bottom) : -1.0;
}

Icc mean_of(const Icc& single, double k) {
  return {stepped_up(single.value, k),
          {stepped_up(single.interval.low, k), stepped_up(single.interval.high, k)}};
}

/// ICC(1,1) and ICC(3,1) are the same function of their ratio F of mean squares.
Icc from_ratio(double f, double k, double numerator_freedom, double denominator_freedom) {
  const auto at = [k](double ratio) { return (ratio - 1.0) / (ratio + k - 1.0); };
  return {at(f),
          {at(f / f975(numerator_freedom, denominator_freedom)),
           at(f * f975(denominator_freedom, numerator_freedom))}};
}

/// ICC(2,1); interval with Satterthwaite's degrees of freedom (Shrout and Fleiss 1979, p. 424).
Icc absolute(const MeanSquares& ms) {
  const double n = ms.n;
  const double k = ms.k;
  const double value = (ms.rows - ms.residual) /
                       (ms.rows + (k - 1.0) * ms.residual + k * (ms.columns - ms.residual) / n);
  const double f_columns = ms.columns / ms.residual;
  const double a = n * (1.0 + (k - 1.0) * value) - k * value;
  const double top = k * value * f_columns + a;
  const double bottom = (n - 1.0) * k * k * value * value * f_columns * f_columns + a * a;
  const double freedom = std::max(1.0, (k - 1.0) * (n - 1.0) * top * top / bottom);
  const double above = f975(n - 1.0, freedom);
  const double below = f975(freedom, n - 1.0);
  const double rest = k * ms.columns + (k * n - k - n) * ms.residual;
  return {value,
          {n * (ms.rows - above * ms.residual) / (above * rest + n * ms.rows),
           n * (below * ms.rows - ms.residual) / (rest + n * below * ms.rows)}};
}

}  // namespace

Expected<IccForms> intraclass_correlation(const Eigen::MatrixXd& values) {
  const auto cannot = [](const char* wrong) {
    return fail(ErrorKind::kCannotTell, "intraclass correlation", wrong);
  };
  if (values.rows() < 3 || values.cols() < 2)
    return cannot("fewer than three things or two readers");
  if (!values.allFinite()) {
    return fail(ErrorKind::kBadInput, "intraclass correlation", "a value is not a finite number");
  }
  const MeanSquares ms = mean_squares(values);
  if (ms.rows <= 0.0) return cannot("the things do not differ");
  if (ms.residual <= 1e-12 * ms.rows)
    return cannot("but for a constant the readers agree to the last digit");
  IccForms out;
  out.targets = static_cast<std::size_t>(values.rows());
  out.readers = static_cast<std::size_t>(values.cols());
  out.one_way_single = from_ratio(ms.rows / ms.within, ms.k, ms.n - 1.0, ms.n * (ms.k - 1.0));
  out.consistency_single =
      from_ratio(ms.rows / ms.residual, ms.k, ms.n - 1.0, (ms.n - 1.0) * (ms.k - 1.0));
  out.absolute_single = absolute(ms);
  out.one_way_mean = mean_of(out.one_way_single, ms.k);
  out.absolute_mean = mean_of(out.absolute_single, ms.k);
  out.consistency_mean = mean_of(out.consistency_single, ms.k);
  const double reader_variance = std::max(0.0, (ms.columns - ms.residual) / ms.n);
  out.reader_sd = std::sqrt(reader_variance);
  out.residual_sd = std::sqrt(ms.residual);
  out.measurement_sd = std::sqrt(reader_variance + ms.residual);
  return out;
}

}  // namespace tidemark::registry
