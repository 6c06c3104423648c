#pragma once

#include <itkBSplineDecompositionImageFilter.h>
#include <itkImageRegionConstIteratorWithIndex.h>
#include <itkImageRegionIterator.h>
#include <itkImageRegionIteratorWithIndex.h>
#include <itkMultiThreaderBase.h>
#include <vnl/vnl_det.h>
#include <vnl/vnl_inverse.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "tidemark/alignment/ngf_metric.h"

namespace tidemark::alignment {
namespace ngf_detail {

/// Number of points summed in one go. Fixed, so that the order of the sums does not depend on the
/// number of work units.
constexpr std::size_t kChunk = 2048;
/// Every so many pixels one looks when the moving noise floor is estimated.
constexpr std::size_t kFloorStride = 3;

/// A point this close to a grid line lies on it, pixels. Else rounding would decide whether the
/// outermost points vote.
constexpr double kOnGrid = 1e-9;

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
  const auto inverse = image->GetInverseDirection();
  for (unsigned i = 0; i < kDimension; ++i) {
    spline.origin[i] = image->GetOrigin()[i];
    for (unsigned j = 0; j < kDimension; ++j) {
      spline.index_from_physical[i][j] = inverse[i][j] / image->GetSpacing()[i];
    }
  }
  return spline;
}

template <class F, class M, class V>
template <unsigned VAxes>
auto NormalizedGradientFieldMetric<F, M, V>::sum_taps(const double* at,
                                                      const itk::OffsetValueType* strides,
                                                      const Taps& taps) -> Jet {
  Jet sum;
  if constexpr (VAxes == 0) {
    sum.value = *at;
  } else {
    constexpr unsigned kLast = VAxes - 1;
    for (unsigned k = 0; k < 4; ++k) {
      const Jet part =
          sum_taps<kLast>(at + static_cast<std::ptrdiff_t>(k) * strides[kLast], strides, taps);
      const double w = taps[kLast][0][k];
      const double dw = taps[kLast][1][k];
      sum.value += w * part.value;
      sum.gradient[kLast] += dw * part.value;
      sum.hessian[kLast][kLast] += taps[kLast][2][k] * part.value;
      for (unsigned i = 0; i < kLast; ++i) {
        sum.gradient[i] += w * part.gradient[i];
        sum.hessian[i][kLast] += dw * part.gradient[i];
        for (unsigned j = i; j < kLast; ++j) sum.hessian[i][j] += w * part.hessian[i][j];
      }
    }
  }
  return sum;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::evaluate(const Spline& spline, const Real& point)
    -> std::optional<Jet> {
  const auto& region = spline.coefficients->GetBufferedRegion();
  Real offset{};
  for (unsigned i = 0; i < kDimension; ++i) offset[i] = point[i] - spline.origin[i];
  const Real index = ngf_detail::times(spline.index_from_physical, offset);
  Taps taps;
  itk::OffsetValueType start = 0;
  const itk::OffsetValueType* strides = spline.coefficients->GetOffsetTable();
  for (unsigned i = 0; i < kDimension; ++i) {
    const double first = static_cast<double>(region.GetIndex(i));
    const double cell = std::floor(index[i] + ngf_detail::kOnGrid);
    if (!(cell >= first + 1.0 && cell + 2.0 < first + static_cast<double>(region.GetSize(i)))) {
      return std::nullopt;
    }
    taps[i] = ngf_detail::cubic_taps(index[i] - cell);
    start += static_cast<itk::OffsetValueType>(cell - 1.0 - first) * strides[i];
  }
  Jet in_index =
      sum_taps<kDimension>(spline.coefficients->GetBufferPointer() + start, strides, taps);
  for (unsigned i = 0; i < kDimension; ++i) {
    for (unsigned j = 0; j < i; ++j) in_index.hessian[i][j] = in_index.hessian[j][i];
  }
  const Square& p = spline.index_from_physical;
  Jet jet;
  jet.value = in_index.value;
  jet.gradient = ngf_detail::transposed_times(p, in_index.gradient);
  Square half{};  // hessian * p
  for (unsigned i = 0; i < kDimension; ++i) {
    half[i] = ngf_detail::transposed_times(p, in_index.hessian[i]);
  }
  for (unsigned i = 0; i < kDimension; ++i) {
    for (unsigned j = 0; j < kDimension; ++j) {
      for (unsigned k = 0; k < kDimension; ++k) jet.hessian[i][j] += p[k][i] * half[k][j];
    }
  }
  return jet;
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
  moving_weights_in_use_ = masked(moving_weights_.GetPointer(), this->m_MovingImage.GetPointer(),
                                  this->m_MovingImageMask.GetPointer());
  fixed_spline_ = make_spline(this->m_FixedImage.GetPointer());
  moving_spline_ = make_spline(this->m_MovingImage.GetPointer());
  frozen_ = false;
  collect_samples();
  noise_floor_in_use_[1] = noise_floor_wanted_[1] > 0.0
                               ? noise_floor_wanted_[1]
                               : noise_floor_factor_ * moving_gradient_quantile();
  if (!(noise_floor_in_use_[0] > 0.0 && noise_floor_in_use_[1] > 0.0)) {
    itkExceptionMacro(
        "an image has no gradient where it may vote: no noise floor can be estimated");
  }
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
  samples_.clear();
  centre_ = {};
  total_weight_ = 0.0;
  const LinearMap map = linear_map(*this->m_FixedTransform, Real{});
  std::vector<Real> gradients;
  std::vector<double> magnitudes;
  for (const Real& point : virtual_points()) {
    Real fixed_point = ngf_detail::times(map.matrix, point);
    for (unsigned i = 0; i < kDimension; ++i) fixed_point[i] += map.image[i];
    const float weight = weight_at(fixed_point);
    if (!(weight > 0.0F)) continue;
    const auto jet = evaluate(fixed_spline_, fixed_point);
    if (!jet) continue;
    Real turned = ngf_detail::transposed_times(map.matrix, jet->gradient);
    for (double& t : turned) t *= map.stretch;
    samples_.push_back({point, {}, weight});
    gradients.push_back(turned);
    magnitudes.push_back(std::sqrt(ngf_detail::dot(turned, turned)));
    total_weight_ += weight;
    for (unsigned i = 0; i < kDimension; ++i) centre_[i] += weight * point[i];
  }
  if (samples_.empty()) itkExceptionMacro("no point of the fixed image may vote");
  for (double& c : centre_) c /= total_weight_;
  noise_floor_in_use_[0] =
      noise_floor_wanted_[0] > 0.0
          ? noise_floor_wanted_[0]
          : noise_floor_factor_ * ngf_detail::quantile(magnitudes, noise_floor_quantile_);
  for (std::size_t n = 0; n < samples_.size(); ++n) {
    const double length = std::hypot(magnitudes[n], noise_floor_in_use_[0]);
    for (unsigned i = 0; i < kDimension; ++i) {
      samples_[n].at[i] -= centre_[i];
      samples_[n].unit[i] = static_cast<float>(gradients[n][i] / length);
    }
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
    const auto jet = evaluate(moving_spline_, real);
    if (jet) magnitudes.push_back(std::sqrt(ngf_detail::dot(jet->gradient, jet->gradient)));
  }
  return ngf_detail::quantile(std::move(magnitudes), noise_floor_quantile_);
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::moving_weight_at(const Real& point) const
    -> MovingWeight {
  if (moving_weights_in_use_.IsNull() || frozen_) return {1.0, {}};
  const auto& region = moving_weights_in_use_->GetBufferedRegion();
  const itk::OffsetValueType* strides = moving_weights_in_use_->GetOffsetTable();
  Real offset{};
  for (unsigned i = 0; i < kDimension; ++i) offset[i] = point[i] - moving_spline_.origin[i];
  const Real index = ngf_detail::times(moving_spline_.index_from_physical, offset);
  Real part{};
  itk::OffsetValueType start = 0;
  for (unsigned i = 0; i < kDimension; ++i) {
    const double first = static_cast<double>(region.GetIndex(i));
    const double cell = std::floor(index[i] + ngf_detail::kOnGrid);
    if (!(cell >= first && cell + 1.0 < first + static_cast<double>(region.GetSize(i)))) return {};
    part[i] = index[i] - cell;
    start += static_cast<itk::OffsetValueType>(cell - first) * strides[i];
  }
  MovingWeight out;
  Real by_index{};
  for (unsigned corner = 0; corner < (1U << kDimension); ++corner) {
    itk::OffsetValueType at = start;
    double share = 1.0;
    for (unsigned i = 0; i < kDimension; ++i) {
      const bool far = (corner >> i & 1U) != 0;
      share *= far ? part[i] : 1.0 - part[i];
      at += far ? strides[i] : 0;
    }
    const double value = moving_weights_in_use_->GetBufferPointer()[at];
    out.value += share * value;
    for (unsigned i = 0; i < kDimension; ++i) {
      double slope = (corner >> i & 1U) != 0 ? value : -value;
      for (unsigned j = 0; j < kDimension; ++j) {
        if (j != i) slope *= (corner >> j & 1U) != 0 ? part[j] : 1.0 - part[j];
      }
      by_index[i] += slope;
    }
  }
  out.gradient = ngf_detail::transposed_times(moving_spline_.index_from_physical, by_index);
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
auto NormalizedGradientFieldMetric<F, M, V>::vote_of(const Sample& sample,
                                                     const LinearMap& map) const -> Vote {
  using ngf_detail::dot;
  Real point = ngf_detail::times(map.matrix, sample.at);
  for (unsigned i = 0; i < kDimension; ++i) point[i] += map.image[i];
  const MovingWeight moving_weight = moving_weight_at(point);
  if (!(moving_weight.value > 0.0)) return {};
  const auto jet = evaluate(moving_spline_, point);
  if (!jet) return {};
  Real unit{};
  for (unsigned i = 0; i < kDimension; ++i) unit[i] = sample.unit[i];
  Real turned = ngf_detail::transposed_times(map.matrix, jet->gradient);
  for (double& t : turned) t *= map.stretch;
  const double squared = dot(turned, turned) + noise_floor_in_use_[1] * noise_floor_in_use_[1];
  const double length = std::sqrt(squared);
  const double cosine = dot(unit, turned) / length;

  Vote vote;
  vote.weight = sample.weight * moving_weight.value;
  vote.agreement = agreement_of(cosine);
  vote.slope = agreement_slope(cosine);
  vote.energy = agreement_of(std::sqrt(dot(unit, unit)));
  vote.moving_gradient = jet->gradient;
  Real by_turned{};
  for (unsigned i = 0; i < kDimension; ++i) {
    by_turned[i] = unit[i] / length - cosine * turned[i] / squared;
    vote.to_matrix[i] = map.stretch * by_turned[i];
    vote.weight_to_point[i] = sample.weight * moving_weight.gradient[i];
  }
  vote.to_stretch = dot(by_turned, turned);
  vote.to_point = ngf_detail::times(jet->hessian, ngf_detail::times(map.matrix, vote.to_matrix));
  return vote;
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::Sums::add(const Vote& vote, const Real& at,
                                                       const LinearMap& map, Want want) {
  if (!(vote.weight > 0.0)) return;
  agreement += vote.weight * vote.agreement;
  energy += vote.weight * vote.energy;
  weight += vote.weight;
  ++votes;
  if (want == Want::kValue) return;
  for (std::size_t k = 0; k < map.image_by.size(); ++k) {
    const Square& by = map.matrix_by[k];
    Real step = ngf_detail::times(by, at);  // of the moving point with parameter k
    for (unsigned i = 0; i < kDimension; ++i) step[i] += map.image_by[k][i];
    const double cosine_by =
        ngf_detail::dot(vote.moving_gradient, ngf_detail::times(by, vote.to_matrix)) +
        ngf_detail::dot(vote.to_point, step) + vote.to_stretch * map.log_stretch_by[k];
    const double weight_by = ngf_detail::dot(vote.weight_to_point, step);
    agreement_by[k] += vote.weight * vote.slope * cosine_by + weight_by * vote.agreement;
    energy_by[k] += weight_by * vote.energy;
  }
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::Sums::add(const Sums& other) {
  agreement += other.agreement;
  energy += other.energy;
  weight += other.weight;
  votes += other.votes;
  for (std::size_t k = 0; k < agreement_by.size(); ++k) {
    agreement_by[k] += other.agreement_by[k];
    energy_by[k] += other.energy_by[k];
  }
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::sum_chunk(std::size_t begin, std::size_t end,
                                                       const LinearMap& map, Want want) const
    -> Sums {
  Sums sums;
  sums.agreement_by.resize(map.image_by.size(), 0.0);
  sums.energy_by.resize(map.image_by.size(), 0.0);
  for (std::size_t n = begin; n < end; ++n) {
    sums.add(vote_of(samples_[n], map), samples_[n].at, map, want);
  }
  return sums;
}

template <class F, class M, class V>
auto NormalizedGradientFieldMetric<F, M, V>::sum_up(Want want) const -> Sums {
  const LinearMap map = linear_map(*this->m_MovingTransform, centre_);
  const std::size_t chunks = (samples_.size() + ngf_detail::kChunk - 1) / ngf_detail::kChunk;
  std::vector<Sums> parts(chunks);
  const auto run = [&](itk::SizeValueType chunk) {
    const std::size_t begin = chunk * ngf_detail::kChunk;
    parts[chunk] =
        sum_chunk(begin, std::min(begin + ngf_detail::kChunk, samples_.size()), map, want);
  };
  if (work_units_ > 1 && chunks > 1) {
    const auto threader = itk::MultiThreaderBase::New();
    threader->SetNumberOfWorkUnits(work_units_);
    threader->ParallelizeArray(0, chunks, run, nullptr);
  } else {
    for (std::size_t chunk = 0; chunk < chunks; ++chunk) run(chunk);
  }
  Sums total;
  total.agreement_by.resize(map.image_by.size(), 0.0);
  total.energy_by.resize(map.image_by.size(), 0.0);
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
  return finish(sum_up(Want::kValue));
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::GetDerivative(DerivativeType& derivative) const {
  MeasureType value = 0.0;
  GetValueAndDerivative(value, derivative);
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::GetValueAndDerivative(
    MeasureType& value, DerivativeType& derivative) const {
  const Sums sums = sum_up(Want::kDerivative);
  value = finish(sums);
  derivative.SetSize(static_cast<itk::SizeValueType>(sums.agreement_by.size()));
  derivative.Fill(0.0);
  if (!(sums.energy > 0.0)) return;
  // ITK's metrics hand out the direction of *descent*.
  for (unsigned k = 0; k < derivative.GetSize(); ++k) {
    derivative[k] = (sums.agreement_by[k] - (1.0 - value) * sums.energy_by[k]) / sums.energy;
  }
}

template <class F, class M, class V>
void NormalizedGradientFieldMetric<F, M, V>::freeze_moving_weights() {
  if (frozen_) return;
  const LinearMap map = linear_map(*this->m_MovingTransform, centre_);
  std::vector<Sample> kept;
  kept.reserve(samples_.size());
  for (Sample sample : samples_) {
    Real point = ngf_detail::times(map.matrix, sample.at);
    for (unsigned i = 0; i < kDimension; ++i) point[i] += map.image[i];
    sample.weight *= static_cast<float>(moving_weight_at(point).value);
    if (sample.weight > 0.0F) kept.push_back(sample);
  }
  samples_ = std::move(kept);
  frozen_ = true;
}

template <class F, class M, class V>
itk::Array2D<double> NormalizedGradientFieldMetric<F, M, V>::block_derivatives(double block) const {
  const LinearMap map = linear_map(*this->m_MovingTransform, centre_);
  const std::size_t parameters = map.image_by.size();
  std::map<std::array<long, kDimension>, Sums> blocks;  // ordered: same rows, same order, always
  Sums total;
  total.agreement_by.resize(parameters, 0.0);
  total.energy_by.resize(parameters, 0.0);
  for (const Sample& sample : samples_) {
    std::array<long, kDimension> key{};
    for (unsigned i = 0; i < kDimension; ++i) {
      key[i] = static_cast<long>(std::floor((sample.at[i] + centre_[i]) / block));
    }
    Sums& sums = blocks[key];
    sums.agreement_by.resize(parameters, 0.0);
    sums.energy_by.resize(parameters, 0.0);
    sums.add(vote_of(sample, map), sample.at, map, Want::kDerivative);
  }
  for (const auto& [key, sums] : blocks) total.add(sums);
  std::vector<const Sums*> voted;
  for (const auto& [key, sums] : blocks) {
    if (sums.votes > 0) voted.push_back(&sums);
  }
  itk::Array2D<double> rows(static_cast<unsigned>(voted.size()), static_cast<unsigned>(parameters));
  if (!(total.energy > 0.0)) return rows;
  const double mean = total.agreement / total.energy;
  for (unsigned r = 0; r < voted.size(); ++r) {
    for (unsigned k = 0; k < parameters; ++k) {
      rows(r, k) = (voted[r]->agreement_by[k] - mean * voted[r]->energy_by[k]) / total.energy;
    }
  }
  return rows;
}

}  // namespace tidemark::alignment
