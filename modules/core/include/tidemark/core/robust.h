#pragma once

#include <optional>
#include <span>

namespace tidemark {

/// Median, in the unit of the values; the mean of the two middle ones when their number is even.
/// @return absent when there is no value or one is not finite.
[[nodiscard]] std::optional<double> median(std::span<const double> values);

/// Median of the distances from the median (MAD), in the unit of the values, not scaled.
/// @return absent when there is no value or one is not finite.
[[nodiscard]] std::optional<double> median_absolute_deviation(std::span<const double> values);

/// MAD times this is the standard deviation of a normal distribution: 1 / Phi^-1(3/4).
inline constexpr double kSigmaPerMad = 1.4826022185056018;

/// The value that has half of the weight on either side; the mean of two neighbours when the half
/// falls exactly between them, so that equal weights give median().
/// @param weights one for each value, finite, none negative.
/// @return absent when the sizes differ, something is not finite, a weight is negative or all are
/// 0.
[[nodiscard]] std::optional<double> weighted_median(std::span<const double> values,
                                                    std::span<const double> weights);

/// How strongly a point far from the fit may pull it.
enum class Loss {
  kSquared,  ///< least squares: best for normal errors, and one stray point ruins it
  kHuber,    ///< linear beyond 1.345 sigma: stray points pull with a bounded force
  kTukey,    ///< bisquare: no pull at all beyond 4.685 sigma; stands up to nearly half of the
             ///< points being stray, because the fits begin at the least median of squares
};

/// Tuning constants, in units of sigma: 95 % efficiency under normal errors. Source: Holland and
/// Welsch, Commun Stat Theory Methods 6 (1977) 813-827, doi:10.1080/03610927708827533 (from
/// memory).
inline constexpr double kHuberTuning = 1.345;
inline constexpr double kTukeyTuning = 4.685;

/// Weight in iteratively reweighted least squares of a residual given in units of sigma, 0 to 1.
[[nodiscard]] double robust_weight(Loss loss, double residual_in_sigma);

}  // namespace tidemark
