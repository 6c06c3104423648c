#pragma once

#include <itkBSplineDecompositionImageFilter.h>
#include <itkImageRegionConstIteratorWithIndex.h>
#include <itkImageRegionIterator.h>
#include <itkImageRegionIteratorWithIndex.h>
#include <itkMultiThreaderBase.h>
#include <vnl/vnl_det.h>
#include <vnl/vnl_inverse.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <map>

#include "tidemark/alignment/ngf_metric.h"
#include "tidemark/core/parallel.h"

namespace tidemark::alignment {
namespace ngf_detail {

/// Number of points summed in one go. Fixed, so that the order of the sums does not depend on the
/// number of work units.
constexpr std::size_t kChunk = 2048;
/// Every so many pixels one looks when the moving noise floor is estimated.
constexpr std::size_t kFloorStride = 3;

template <class T>
double dot(const T& a, const T& b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) sum += a[i] * b[i];
  return sum;
}

/// matrix * v
template <class TSquare, class TReal>
TReal times(const TSquare& matrix, const TReal& v) {
  TReal out{};
  for (std::size_t i = 0; i < v.size(); ++i) out[i] = dot(matrix[i], v);
  return out;
}

/// matrix^T * v
template <class TSquare, class TReal>
TReal transposed_times(const TSquare& matrix, const TReal& v) {
  TReal out{};
  for (std::size_t i = 0; i < v.size(); ++i) {
    for (std::size_t j = 0; j < v.size(); ++j) out[j] += matrix[i][j] * v[i];
  }
  return out;
}

/// Weights of the four B-splines that reach a point `t` (0 to 1) past its second knot.
inline std::array<std::array<double, 4>, 3> cubic_taps(double t) {
  const double s = 1.0 - t;
  return {{{s * s * s / 6.0, (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0,
            (4.0 - 6.0 * s * s + 3.0 * s * s * s) / 6.0, t * t * t / 6.0},
           {-0.5 * s * s, -2.0 * t + 1.5 * t * t, 2.0 * s - 1.5 * s * s, 0.5 * t * t},
           {s, 3.0 * t - 2.0, 3.0 * s - 2.0, t}}};
}

/// The value below which a share `q` (0 to 1) of them lies; 0 for none. Takes its copy apart.
inline double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0.0;
  const auto rank = static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + rank, values.end());
  return values[static_cast<std::size_t>(rank)];
}

}  // namespace ngf_detail

template <class F, class M, class V>
NormalizedGradientFieldMetric<F, M, V>::NormalizedGradientFieldMetric() {
  // The base would fill gradient images that this metric never looks at.
  this->m_UseFixedImageGradientFilter = false;
  this->m_UseMovingImageGradientFilter = false;
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::set_noise_floors(double fixed, double moving) {
  noise_floor_wanted_ = {fixed, moving};
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::set_noise_floor_rule(double quantile, double factor) {
  noise_floor_quantile_ = quantile;
  noise_floor_factor_ = factor;
}

template <class F, class M, class V>
template <class TImage>
auto NormalizedGradientFieldMetric<F, M, V>::make_spline(const TImage* image) -> Spline {
  using Decomposition = itk::BSplineDecompositionImageFilter<TImage, Coefficients>;
  const auto decomposition = Decomposition::New();
  decomposition->SetSplineOrder(3);
  decomposition->SetInput(image);
  decomposition->Update();
  Spline spline;
  spline.coefficients = decomposition->GetOutput();
  spline.grid.values = spline.coefficients->GetBufferPointer();
  const auto inverse = image->GetInverseDirection();
  for (unsigned i = 0; i < kDimension; ++i) {
    spline.origin[i] = image->GetOrigin()[i];
    spline.first[i] = static_cast<double>(image->GetBufferedRegion().GetIndex(i));
    spline.grid.size[i] = static_cast<std::ptrdiff_t>(image->GetBufferedRegion().GetSize(i));
    spline.grid.strides[i] = spline.coefficients->GetOffsetTable()[i];
    for (unsigned j = 0; j < kDimension; ++j) {
      spline.index_from_physical[i][j] = inverse[i][j] / image->GetSpacing()[i];
    }
  }
  return spline;
}

template <class F, class M, class V>
template <unsigned VAxes>
auto NormalizedGradientFieldMetric<F, M, V>::sum_taps(const double* at,
                                                      const std::ptrdiff_t* strides,
                                                      const Taps& taps) -> std::pair<double, Jet> {
  std::pair<double, Jet> sum{};
  auto& [value, jet] = sum;
  if constexpr (VAxes == 0) {
    value = *at;
  } else {
    constexpr unsigned kLast = VAxes - 1;
    for (unsigned k = 0; k < 4; ++k) {
      const auto [part_value, part] =
          sum_taps<kLast>(at + static_cast<std::ptrdiff_t>(k) * strides[kLast], strides, taps);
      const double w = taps[kLast][0][k];
      const double dw = taps[kLast][1][k];
      value += w * part_value;
      jet.gradient[kLast] += dw * part_value;
      jet.hessian[kLast][kLast] += taps[kLast][2][k] * part_value;
      for (unsigned i = 0; i < kLast; ++i) {
        jet.gradient[i] += w * part.gradient[i];
        jet.hessian[i][kLast] += dw * part.gradient[i];
        for (unsigned j = i; j < kLast; ++j) jet.hessian[i][j] += w * part.hessian[i][j];
      }
    }
  }
  return sum;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::cell_at(const Spline& spline, const Real& index,
                                                     unsigned before, unsigned after)
    -> std::optional<Cell> {
  Cell cell;
  for (unsigned i = 0; i < kDimension; ++i) {
    const double from_first = index[i] + ngf_detail::kOnGrid;
    // Written so that NaN fails as well; what passes is positive, so that cutting is rounding down.
    const auto end = static_cast<double>(spline.grid.size[i] - static_cast<std::ptrdiff_t>(after));
    if (!(from_first >= before && from_first < end)) return std::nullopt;
    const auto whole = static_cast<std::ptrdiff_t>(from_first);
    cell.part[i] = index[i] - static_cast<double>(whole);
    cell.offset += whole * spline.grid.strides[i];
  }
  return cell;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::index_of(const Spline& spline, const Real& point)
    -> Real {
  Real offset{};
  for (unsigned i = 0; i < kDimension; ++i) offset[i] = point[i] - spline.origin[i];
  Real index = ngf_detail::times(spline.index_from_physical, offset);
  for (unsigned i = 0; i < kDimension; ++i) index[i] -= spline.first[i];
  return index;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::evaluate(const Spline& spline, const Cell& cell)
    -> Jet {
  Taps taps;
  const double* at = spline.grid.values + cell.offset;
  for (unsigned i = 0; i < kDimension; ++i) {
    taps[i] = ngf_detail::cubic_taps(cell.part[i]);
    at -= spline.grid.strides[i];
  }
  return sum_taps<kDimension>(at, spline.grid.strides.data(), taps).second;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::gradient_at(const Spline& spline, const Real& point)
    -> std::optional<Real> {
  const auto cell = cell_at(spline, index_of(spline, point), 1, 2);
  if (!cell) return std::nullopt;
  return ngf_detail::transposed_times(spline.index_from_physical, evaluate(spline, *cell).gradient);
}

template <class F, class M, class V>
template <class TTransform>
auto NormalizedGradientFieldMetric<F, M, V>::linear_map(const TTransform& transform,
                                                        const Real& centre) -> LinearMap {
  typename TTransform::InputPointType at;
  for (unsigned i = 0; i < kDimension; ++i) at[i] = centre[i];
  const auto image = transform.TransformPoint(at);
  typename TTransform::JacobianType here;
  transform.ComputeJacobianWithRespectToParameters(at, here);
  const unsigned parameters = here.cols();
  LinearMap map;
  map.image_by.resize(parameters);
  map.matrix_by.resize(parameters);
  map.log_stretch_by.resize(parameters, 0.0);
  vnl_matrix_fixed<double, kDimension, kDimension> matrix;
  for (unsigned j = 0; j < kDimension; ++j) {
    auto beside = at;
    beside[j] += 1.0;  // exact for any step: the map is linear
    const auto moved = transform.TransformPoint(beside);
    typename TTransform::JacobianType there;
    transform.ComputeJacobianWithRespectToParameters(beside, there);
    for (unsigned i = 0; i < kDimension; ++i) {
      matrix(i, j) = map.matrix[i][j] = moved[i] - image[i];
      for (unsigned k = 0; k < parameters; ++k) {
        map.matrix_by[k][i][j] = there(i, k) - here(i, k);
        map.image_by[k][i] = here(i, k);
      }
    }
  }
  for (unsigned i = 0; i < kDimension; ++i) map.image[i] = image[i];
  map.stretch = std::pow(std::abs(vnl_det(matrix)), -1.0 / kDimension);
  const auto inverse = vnl_inverse(matrix);
  for (std::size_t k = 0; k < parameters; ++k) {
    for (unsigned i = 0; i < kDimension; ++i) {
      for (unsigned j = 0; j < kDimension; ++j) {
        map.log_stretch_by[k] -= inverse(i, j) * map.matrix_by[k][j][i] / kDimension;
      }
    }
  }
  return map;
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::check_weights(
    const WeightImage* weights, const itk::ImageBase<kDimension>* image) {
  if (weights == nullptr) return;
  const double tolerance = 1e-6 * image->GetSpacing()[0];
  if (weights->GetBufferedRegion() != image->GetBufferedRegion() ||
      weights->GetOrigin().EuclideanDistanceTo(image->GetOrigin()) > tolerance ||
      (weights->GetSpacing() - image->GetSpacing()).GetNorm() > tolerance) {
    itkGenericExceptionMacro("weights do not lie on the grid of their image");
  }
}

template <class F, class M, class V>
template <class TImage, class TMask>
auto NormalizedGradientFieldMetric<F, M, V>::masked(const WeightImage* weights, const TImage* image,
                                                    const TMask* mask) ->
    typename WeightImage::ConstPointer {
  if (mask == nullptr) return weights;
  const auto out = WeightImage::New();
  out->CopyInformation(image);
  out->SetRegions(image->GetBufferedRegion());
  out->Allocate();
  itk::ImageRegionIteratorWithIndex<WeightImage> it(out, out->GetBufferedRegion());
  for (; !it.IsAtEnd(); ++it) {
    typename TMask::PointType point;
    out->TransformIndexToPhysicalPoint(it.GetIndex(), point);
    const float inside = mask->IsInsideInWorldSpace(point) ? 1.0F : 0.0F;
    it.Set(weights == nullptr ? inside : inside * weights->GetPixel(it.GetIndex()));
  }
  return typename WeightImage::ConstPointer(out.GetPointer());
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::Initialize() {
  Superclass::Initialize();
  if (!this->m_MovingTransform->IsLinear() || !this->m_FixedTransform->IsLinear()) {
    itkExceptionMacro("transforms must be linear in the point");
  }
  check_weights(fixed_weights_, this->m_FixedImage);
  check_weights(moving_weights_, this->m_MovingImage);
  frozen_ = false;
  parallel_within(2, [this](std::size_t image) { image == 0 ? take_fixed() : take_moving(); });
  if (!(noise_floor_in_use_[0] > 0.0 && noise_floor_in_use_[1] > 0.0)) {
    itkExceptionMacro(
        "an image has no gradient where it may vote: no noise floor can be estimated");
  }
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::take_fixed() {
  fixed_spline_ = make_spline(this->m_FixedImage.GetPointer());
  collect_samples();
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::take_moving() {
  moving_weights_in_use_ = masked(moving_weights_.GetPointer(), this->m_MovingImage.GetPointer(),
                                  this->m_MovingImageMask.GetPointer());
  moving_spline_ = make_spline(this->m_MovingImage.GetPointer());
  noise_floor_in_use_[1] = noise_floor_wanted_[1] > 0.0
                               ? noise_floor_wanted_[1]
                               : noise_floor_factor_ * moving_gradient_quantile();
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::virtual_points() const -> std::vector<Real> {
  std::vector<Real> points;
  const auto add = [&points](const auto& point) {
    Real real{};
    for (unsigned i = 0; i < kDimension; ++i) real[i] = point[i];
    points.push_back(real);
  };
  if (this->m_UseSampledPointSet) {
    const auto* list = this->m_VirtualSampledPointSet->GetPoints();
    for (auto it = list->Begin(); it != list->End(); ++it) add(it.Value());
    return points;
  }
  points.reserve(this->GetVirtualRegion().GetNumberOfPixels());
  itk::ImageRegionConstIteratorWithIndex<V> it(this->m_VirtualImage, this->GetVirtualRegion());
  for (; !it.IsAtEnd(); ++it) {
    typename Superclass::VirtualPointType point;
    this->m_VirtualImage->TransformIndexToPhysicalPoint(it.GetIndex(), point);
    add(point);
  }
  return points;
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::collect_samples() {
  const auto weights = masked(fixed_weights_.GetPointer(), this->m_FixedImage.GetPointer(),
                              this->m_FixedImageMask.GetPointer());
  const auto weight_at = [&](const Real& fixed_point) {
    if (weights.IsNull()) return 1.0F;
    typename WeightImage::PointType point;
    for (unsigned i = 0; i < kDimension; ++i) point[i] = fixed_point[i];
    typename WeightImage::IndexType index;
    return weights->TransformPhysicalPointToIndex(point, index) ? weights->GetPixel(index) : 0.0F;
  };
  centre_ = {};
  total_weight_ = 0.0;
  const LinearMap map = linear_map(*this->m_FixedTransform, Real{});
  std::vector<Real> points;
  std::vector<float> of_points;
  std::vector<Real> gradients;
  std::vector<double> magnitudes;
  for (const Real& point : virtual_points()) {
    Real fixed_point = ngf_detail::times(map.matrix, point);
    for (unsigned i = 0; i < kDimension; ++i) fixed_point[i] += map.image[i];
    const float weight = weight_at(fixed_point);
    if (!(weight > 0.0F)) continue;
    const auto gradient = gradient_at(fixed_spline_, fixed_point);
    if (!gradient) continue;
    Real turned = ngf_detail::transposed_times(map.matrix, *gradient);
    for (double& t : turned) t *= map.stretch;
    points.push_back(point);
    of_points.push_back(weight);
    gradients.push_back(turned);
    magnitudes.push_back(std::sqrt(ngf_detail::dot(turned, turned)));
    total_weight_ += weight;
    for (unsigned i = 0; i < kDimension; ++i) centre_[i] += weight * point[i];
  }
  if (points.empty()) itkExceptionMacro("no point of the fixed image may vote");
  for (double& c : centre_) c /= total_weight_;
  noise_floor_in_use_[0] =
      noise_floor_wanted_[0] > 0.0
          ? noise_floor_wanted_[0]
          : noise_floor_factor_ * ngf_detail::quantile(magnitudes, noise_floor_quantile_);
  samples_.resize(points.size());
  for (std::size_t n = 0; n < points.size(); ++n) {
    const double length = std::hypot(magnitudes[n], noise_floor_in_use_[0]);
    double squared = 0.0;
    for (unsigned i = 0; i < kDimension; ++i) {
      samples_.at[i][n] = points[n][i] - centre_[i];
      samples_.unit[i][n] = static_cast<float>(gradients[n][i] / length);
      squared += std::pow(static_cast<double>(samples_.unit[i][n]), 2);
    }
    samples_.weight[n] = of_points[n];
    samples_.energy[n] = agreement_of(std::sqrt(squared));
  }
}

template <class F, class M, class V>
double NormalizedGradientFieldMetric<F, M, V>::moving_gradient_quantile() const {
  std::vector<double> magnitudes;
  std::size_t n = 0;
  itk::ImageRegionConstIteratorWithIndex<M> it(this->m_MovingImage,
                                               this->m_MovingImage->GetBufferedRegion());
  for (; !it.IsAtEnd(); ++it) {
    if (n++ % ngf_detail::kFloorStride != 0) continue;
    if (moving_weights_in_use_.IsNotNull() &&
        moving_weights_in_use_->GetPixel(it.GetIndex()) < 0.5F) {
      continue;
    }
    typename M::PointType point;
    this->m_MovingImage->TransformIndexToPhysicalPoint(it.GetIndex(), point);
    Real real{};
    for (unsigned i = 0; i < kDimension; ++i) real[i] = point[i];
    const auto gradient = gradient_at(moving_spline_, real);
    if (gradient) magnitudes.push_back(std::sqrt(ngf_detail::dot(*gradient, *gradient)));
  }
  return ngf_detail::quantile(std::move(magnitudes), noise_floor_quantile_);
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::moving_weight_at(const Cell& cell) const
    -> MovingWeight {
  if (moving_weights_in_use_.IsNull() || frozen_) return {1.0, {}};
  const auto& strides = moving_spline_.grid.strides;
  const float* first = moving_weights_in_use_->GetBufferPointer() + cell.offset;
  std::array<double, 1U << kDimension> values{};
  bool all_alike = true;
  for (unsigned corner = 0; corner < values.size(); ++corner) {
    std::ptrdiff_t at = 0;
    for (unsigned i = 0; i < kDimension; ++i) at += (corner >> i & 1U) != 0 ? strides[i] : 0;
    values[corner] = first[at];
    all_alike = all_alike && values[corner] == values[0];
  }
  if (all_alike) return {values[0], {}};  // nearly everywhere: 0 or 1
  MovingWeight out;
  for (unsigned corner = 0; corner < values.size(); ++corner) {
    const auto share = [&](unsigned i) {
      return (corner >> i & 1U) != 0 ? cell.part[i] : 1.0 - cell.part[i];
    };
    double whole = values[corner];
    for (unsigned i = 0; i < kDimension; ++i) whole *= share(i);
    out.value += whole;
    for (unsigned i = 0; i < kDimension; ++i) {
      double slope = (corner >> i & 1U) != 0 ? values[corner] : -values[corner];
      for (unsigned j = 0; j < kDimension; ++j) slope *= j == i ? 1.0 : share(j);
      out.gradient[i] += slope;
    }
  }
  return out;
}

template <class F, class M, class V>
double NormalizedGradientFieldMetric<F, M, V>::agreement_of(double cosine) const {
  switch (agreement_) {
    case NgfAgreement::kSquaredCosine:
      return cosine * cosine;
    case NgfAgreement::kSquaredPositive:
      return cosine > 0.0 ? cosine * cosine : 0.0;
    case NgfAgreement::kPositiveCosine:
      return std::max(cosine, 0.0);
    case NgfAgreement::kCosine:
      break;
  }
  return cosine;
}

template <class F, class M, class V>
double NormalizedGradientFieldMetric<F, M, V>::agreement_slope(double cosine) const {
  switch (agreement_) {
    case NgfAgreement::kSquaredCosine:
      return 2.0 * cosine;
    case NgfAgreement::kSquaredPositive:
      return cosine > 0.0 ? 2.0 * cosine : 0.0;
    case NgfAgreement::kPositiveCosine:
      return cosine > 0.0 ? 1.0 : 0.0;
    case NgfAgreement::kCosine:
      break;
  }
  return 1.0;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::map_to_grid() const -> LinearMap {
  LinearMap map = linear_map(*this->m_MovingTransform, centre_);
  const Square& p = moving_spline_.index_from_physical;
  const auto on_grid = [&p](const Square& matrix) {
    Square out{};
    for (unsigned i = 0; i < kDimension; ++i) out[i] = ngf_detail::transposed_times(matrix, p[i]);
    return out;
  };
  map.image = index_of(moving_spline_, map.image);
  map.matrix = on_grid(map.matrix);
  for (Real& image : map.image_by) image = ngf_detail::times(p, image);
  for (Square& matrix : map.matrix_by) matrix = on_grid(matrix);
  return map;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::vote_of(std::size_t sample, const LinearMap& map,
                                                     Want want) const -> Vote {
  using ngf_detail::dot;
  Real index = ngf_detail::times(map.matrix, samples_.point(sample));
  for (unsigned i = 0; i < kDimension; ++i) index[i] += map.image[i];
  const auto cell = cell_at(moving_spline_, index, 1, 2);
  if (!cell) return {};
  const MovingWeight moving_weight = moving_weight_at(*cell);
  if (!(moving_weight.value > 0.0)) return {};
  Jet jet = evaluate(moving_spline_, *cell);
  Real unit{};
  for (unsigned i = 0; i < kDimension; ++i) unit[i] = samples_.unit[i][sample];
  Real turned = ngf_detail::transposed_times(map.matrix, jet.gradient);
  for (double& t : turned) t *= map.stretch;
  const double squared = dot(turned, turned) + noise_floor_in_use_[1] * noise_floor_in_use_[1];
  const double per_length = 1.0 / std::sqrt(squared);
  const double cosine = dot(unit, turned) * per_length;

  Vote vote;
  vote.weight = samples_.weight[sample] * moving_weight.value;
  vote.agreement = agreement_of(cosine);
  vote.energy = samples_.energy[sample];
  if (want == Want::kValue) return vote;
  vote.slope = agreement_slope(cosine);
  vote.moving_gradient = jet.gradient;
  Real by_turned{};
  for (unsigned i = 0; i < kDimension; ++i) {
    by_turned[i] = (unit[i] - cosine * turned[i] * per_length) * per_length;
    vote.to_matrix[i] = map.stretch * by_turned[i];
    vote.weight_to_point[i] = samples_.weight[sample] * moving_weight.gradient[i];
    for (unsigned j = 0; j < i; ++j) jet.hessian[i][j] = jet.hessian[j][i];
  }
  vote.to_stretch = dot(by_turned, turned);
  vote.to_point = ngf_detail::times(jet.hessian, ngf_detail::times(map.matrix, vote.to_matrix));
  return vote;
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::add(const Vote& vote, const Real& at, Want want,
                                                 Sums* sums) {
  if (!(vote.weight > 0.0)) return;
  sums->agreement += vote.weight * vote.agreement;
  sums->energy += vote.weight * vote.energy;
  sums->weight += vote.weight;
  ++sums->votes;
  if (want == Want::kValue) return;
  const double slope = vote.weight * vote.slope;
  for (unsigned i = 0; i < kDimension; ++i) {
    const double point = slope * vote.to_point[i] + vote.agreement * vote.weight_to_point[i];
    const double gradient = slope * vote.moving_gradient[i];
    const double energy_point = vote.energy * vote.weight_to_point[i];
    sums->agreement_change.by_point[i] += point;
    sums->energy_change.by_point[i] += energy_point;
    for (unsigned j = 0; j < kDimension; ++j) {
      sums->agreement_change.by_matrix[i][j] += point * at[j] + gradient * vote.to_matrix[j];
      sums->energy_change.by_matrix[i][j] += energy_point * at[j];
    }
  }
  sums->agreement_change.by_stretch += slope * vote.to_stretch;
}

template <class F, class M, class V>
double NormalizedGradientFieldMetric<F, M, V>::descent_of(const Sums& part, const Sums& total,
                                                          const LinearMap& map, std::size_t k) {
  const auto by_parameter = [&](const Change& change) {
    double sum = change.by_stretch * map.log_stretch_by[k] +
                 ngf_detail::dot(change.by_point, map.image_by[k]);
    for (unsigned i = 0; i < kDimension; ++i) {
      sum += ngf_detail::dot(change.by_matrix[i], map.matrix_by[k][i]);
    }
    return sum;
  };
  const double mean = total.agreement / total.energy;
  return (by_parameter(part.agreement_change) - mean * by_parameter(part.energy_change)) /
         total.energy;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::sum_range(std::size_t begin, std::size_t end,
                                                       const LinearMap& map, Want want) const
    -> Sums {
  if constexpr (kDimension == 2) {
    const bool weighed = moving_weights_in_use_.IsNotNull() && !frozen_;
    return ngf_detail::sum_in_plane(samples_, begin, end, map, moving_spline_.grid,
                                    weighed ? moving_weights_in_use_->GetBufferPointer() : nullptr,
                                    {agreement_, noise_floor_in_use_[1]}, want);
  } else {
    Sums sums;
    for (std::size_t n = begin; n < end; ++n) {
      add(vote_of(n, map, want), samples_.point(n), want, &sums);
    }
    return sums;
  }
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::sum_up(const LinearMap& map, Want want) const -> Sums {
  const std::size_t chunks = (samples_.size() + ngf_detail::kChunk - 1) / ngf_detail::kChunk;
  std::vector<Sums> parts(chunks);
  const auto run = [&](itk::SizeValueType chunk) {
    const std::size_t begin = chunk * ngf_detail::kChunk;
    parts[chunk] =
        sum_range(begin, std::min(begin + ngf_detail::kChunk, samples_.size()), map, want);
  };
  if (work_units_ > 1 && chunks > 1) {
    const auto threader = itk::MultiThreaderBase::New();
    threader->SetNumberOfWorkUnits(work_units_);
    threader->ParallelizeArray(0, chunks, run, nullptr);
  } else {
    parallel_within(chunks, run);  // on threads that wait for others of the films
  }
  Sums total;
  for (const Sums& part : parts) total.add(part);
  return total;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::finish(const Sums& sums) const -> MeasureType {
  this->m_NumberOfValidPoints = sums.votes;
  overlap_ = total_weight_ > 0.0 ? sums.weight / total_weight_ : 0.0;
  // Nobody votes: as bad as no agreement at all.
  this->m_Value = sums.energy > 0.0 ? 1.0 - sums.agreement / sums.energy : 1.0;
  return this->m_Value;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::GetValue() const -> MeasureType {
  return finish(sum_up(map_to_grid(), Want::kValue));
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::GetDerivative(DerivativeType& derivative) const {
  MeasureType value = 0.0;
  GetValueAndDerivative(value, derivative);
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::GetValueAndDerivative(
    MeasureType& value, DerivativeType& derivative) const {
  const LinearMap map = map_to_grid();
  const Sums sums = sum_up(map, Want::kDerivative);
  value = finish(sums);
  derivative.SetSize(static_cast<itk::SizeValueType>(map.image_by.size()));
  derivative.Fill(0.0);
  if (!(sums.energy > 0.0)) return;
  for (unsigned k = 0; k < derivative.GetSize(); ++k) {
    derivative[k] = descent_of(sums, sums, map, k);
  }
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::freeze_moving_weights() {
  if (frozen_) return;
  const LinearMap map = map_to_grid();
  std::size_t kept = 0;
  for (std::size_t n = 0; n < samples_.size(); ++n) {
    Real index = ngf_detail::times(map.matrix, samples_.point(n));
    for (unsigned i = 0; i < kDimension; ++i) index[i] += map.image[i];
    const auto cell = cell_at(moving_spline_, index, 0, 1);
    samples_.weight[n] *= cell ? static_cast<float>(moving_weight_at(*cell).value) : 0.0F;
    if (samples_.weight[n] > 0.0F) samples_.copy(n, kept++);
  }
  samples_.resize(kept);
  frozen_ = true;
}

template <class F, class M, class V>
itk::Array2D<double> NormalizedGradientFieldMetric<F, M, V>::block_derivatives(double block) const {
  const LinearMap map = map_to_grid();
  std::map<std::array<long, kDimension>, Sums> blocks;  // ordered: same rows, same order, always
  const auto key_of = [&](std::size_t n) {
    std::array<long, kDimension> key{};
    for (unsigned i = 0; i < kDimension; ++i) {
      key[i] = static_cast<long>(std::floor((samples_.at[i][n] + centre_[i]) / block));
    }
    return key;
  };
  for (std::size_t begin = 0; begin < samples_.size();) {
    const auto key = key_of(begin);
    std::size_t end = begin + 1;  // neighbours share a block
    while (end < samples_.size() && key_of(end) == key) ++end;
    blocks[key].add(sum_range(begin, end, map, Want::kDerivative));
    begin = end;
  }
  Sums total;
  std::vector<const Sums*> voted;
  for (const auto& [key, block_sums] : blocks) {
    total.add(block_sums);
    if (block_sums.votes > 0) voted.push_back(&block_sums);
  }
  const auto parameters = static_cast<unsigned>(map.image_by.size());
  itk::Array2D<double> rows(static_cast<unsigned>(voted.size()), parameters);
  if (!(total.energy > 0.0)) return rows;
  for (unsigned r = 0; r < voted.size(); ++r) {
    for (unsigned k = 0; k < parameters; ++k) rows(r, k) = descent_of(*voted[r], total, map, k);
  }
  return rows;
}

}  // namespace tidemark::alignment
