#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/estimates.h"

namespace tidemark::registry {

// Agreement of two or more readers (or of a program and a reader) on the same things.

/// Differences of two readers and the limits between which 95 of 100 lie. Bland and Altman, Lancet
/// 327 (1986) 307, doi:10.1016/S0140-6736(86)90837-8: standard error of a limit sqrt(3 s^2 / n).
/// Assumes differences that are about normal and do not grow with the size.
struct LimitsOfAgreement {
  std::size_t differences = 0;
  std::size_t hips = 0;  ///< the n of the intervals: differences of one hip are not independent
  double mean = 0.0;
  double sd = 0.0;    ///< of one difference; of several for a hip: s_R of ISO 5725-2 over hips
  double low = 0.0;   ///< mean - 1.96 sd
  double high = 0.0;  ///< mean + 1.96 sd
  Interval mean_interval;
  Interval low_interval;
  Interval high_interval;
};

/// @param by_hip the differences of each hip, one or more each. With several the spread is that
///        between hips and within them together (Bland and Altman, J Biopharm Stat 17 (2007) 571,
///        doi:10.1080/10543400701329422, the true value varies).
/// @return kCannotTell with fewer than two hips; kBadInput when a value is not finite.
[[nodiscard]] Expected<LimitsOfAgreement> limits_of_agreement(
    std::span<const std::vector<double>> by_hip);

/// An intraclass correlation, 1 at most; may be negative in a sample (of means cut at -1).
struct Icc {
  double value = 0.0;
  Interval interval;
};

/// The six forms of Shrout and Fleiss, Psychol Bull 86 (1979) 420,
/// doi:10.1037/0033-2909.86.2.420. One reader's values should be judged by `absolute_single`.
struct IccForms {
  std::size_t targets = 0;
  std::size_t readers = 0;
  Icc one_way_single;      ///< ICC(1,1): each thing read by other readers
  Icc one_way_mean;        ///< ICC(1,k)
  Icc absolute_single;     ///< ICC(2,1): readers are a sample, their levels count
  Icc absolute_mean;       ///< ICC(2,k)
  Icc consistency_single;  ///< ICC(3,1): these readers, their levels do not count
  Icc consistency_mean;    ///< ICC(3,k)
  double reader_sd = 0.0;  ///< between readers, of a level; 0 when below what the residual explains
  double residual_sd = 0.0;
  /// sqrt(reader^2 + residual^2): what one value of any reader is off by; an intermediate
  /// precision (other readers) in the sense of ISO 5725-3.
  double measurement_sd = 0.0;
};

/// @param values one row for each thing, one column for each reader, none missing
/// @return kCannotTell with fewer than three things or two readers, or when nothing varies;
///         kBadInput when a value is not finite.
[[nodiscard]] Expected<IccForms> intraclass_correlation(const Eigen::MatrixXd& values);

enum class KappaWeights {
  kNone,       ///< only the same category agrees
  kLinear,     ///< 1 - |i - j| / (k - 1), ordered categories
  kQuadratic,  ///< 1 - (i - j)^2 / (k - 1)^2, ordered categories
};

/// Agreement of categories beyond chance.
struct Kappa {
  std::size_t things = 0;
  double observed = 0.0;  ///< share that agrees, weighted
  double expected = 0.0;  ///< share that would agree by chance
  double value = 0.0;
  double standard_error = 0.0;  ///< large samples
  Interval interval;            ///< value +- 1.96 standard errors, cut to -1 to 1
};

/// Cohen, Educ Psychol Meas 20 (1960) 37, doi:10.1177/001316446002000104; weights: Cohen, Psychol
/// Bull 70 (1968) 213; standard error: Fleiss, Cohen and Everitt, Psychol Bull 72 (1969) 323.
/// @param counts square: row category of the one reader, column of the other
/// @return kCannotTell without counts, or when both readers use one and the same category only
///         (chance alone agrees always); kBadInput when not square, negative or not finite.
[[nodiscard]] Expected<Kappa> cohens_kappa(const Eigen::MatrixXd& counts, KappaWeights weights);

/// Kappa of things that come in clusters, such as the zones of one patient's hips: they are more
/// alike than those of two patients, and the error of cohens_kappa, which takes all as independent,
/// would be too small.
struct ClusteredKappa {
  std::size_t things = 0;
  std::size_t clusters = 0;                            ///< with at least one thing
  double observed = 0.0, expected = 0.0, value = 0.0;  ///< as in Kappa: of all things together
  std::optional<double> standard_error;                ///< jackknife
  std::optional<Interval> interval;  ///< value +- t(clusters - 1) errors, cut to -1 to 1
  std::string reason;                ///< why there is no interval; empty when there is one
};

/// Error by leaving out one cluster after the other: sqrt((H - 1) / H sum (k_h - mean k)^2) of the
/// kappas k_h without cluster h (delete-one-group jackknife: Efron and Tibshirani, An Introduction
/// to the Bootstrap, 1993, chapter 11; from memory). Student's t with H - 1 degrees of freedom is a
/// house choice. No interval with fewer than two clusters, where kappa hangs on one of them, and
/// where all give the same kappa: agreement without any variation does not tell its error.
/// @param by_cluster tables as for cohens_kappa, all of one size; empty ones count as none
/// @return as cohens_kappa of their sum
[[nodiscard]] Expected<ClusteredKappa> clustered_kappa(std::span<const Eigen::MatrixXd> by_cluster,
                                                       KappaWeights weights);

}  // namespace tidemark::registry
