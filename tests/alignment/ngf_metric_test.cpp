#include "tidemark/alignment/ngf_metric.h"

#include <gtest/gtest.h>
#include <itkAffineTransform.h>
#include <itkBSplineInterpolateImageFunction.h>
#include <itkEuler2DTransform.h>
#include <itkEuler3DTransform.h>
#include <itkImageRegionIteratorWithIndex.h>
#include <itkSimilarity2DTransform.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <ostream>
#include <string>
#include <vector>

namespace tidemark::alignment {
namespace {

using Image2 = itk::Image<float, 2>;
using Image3 = itk::Image<float, 3>;
using Metric2 = NormalizedGradientFieldMetric<Image2, Image2>;

/// An image of a smooth function of the physical point; spacing 0.5, the grid turned a little, so
/// that spacing and direction matter.
template <class TImage>
typename TImage::Pointer image_of(unsigned size,
                                  const std::function<double(const itk::Point<double, 3>&)>& f) {
  const auto image = TImage::New();
  typename TImage::SizeType sizes;
  sizes.Fill(size);
  image->SetRegions(sizes);
  typename TImage::SpacingType spacing;
  spacing.Fill(0.5);
  spacing[0] = 0.4;
  image->SetSpacing(spacing);
  typename TImage::DirectionType direction;
  direction.SetIdentity();
  direction(0, 0) = direction(1, 1) = std::cos(0.1);
  direction(0, 1) = -std::sin(0.1);
  direction(1, 0) = std::sin(0.1);
  image->SetDirection(direction);
  image->Allocate();
  itk::ImageRegionIteratorWithIndex<TImage> it(image, image->GetBufferedRegion());
  for (; !it.IsAtEnd(); ++it) {
    typename TImage::PointType point;
    image->TransformIndexToPhysicalPoint(it.GetIndex(), point);
    itk::Point<double, 3> p;
    p.Fill(0.0);
    for (unsigned i = 0; i < TImage::ImageDimension; ++i) p[i] = point[i];
    it.Set(static_cast<float>(f(p)));
  }
  return image;
}

double waves(const itk::Point<double, 3>& p) {
  return std::sin(0.7 * p[0] + 0.2 * p[1]) + std::cos(0.5 * p[1] - 0.3 * p[0] + 0.4 * p[2]) +
         0.7 * std::sin(0.9 * p[1] + 0.6 * p[2]);
}
double other_waves(const itk::Point<double, 3>& p) {
  return 2.0 * waves(p) + 0.5 * std::sin(1.1 * p[0] - 0.6 * p[1] + 0.3 * p[2]);
}

/// Weights that fall off smoothly from the middle, so that the moving weights have a slope.
template <class TImage>
typename TImage::Pointer soft_weights(const TImage* like) {
  const auto image = image_of<TImage>(static_cast<unsigned>(like->GetBufferedRegion().GetSize(0)),
                                      [](const itk::Point<double, 3>& p) {
                                        return 0.5 + 0.5 * std::tanh(0.3 * (12.0 - p[0])) *
                                                         std::tanh(0.3 * (p[1] - 4.0));
                                      });
  return image;
}

/// Worst difference between the metric's derivative and central differences of its value, as a
/// share of the largest component. ITK's metrics give the descent, hence the sign.
template <class TMetric>
double derivative_fault(TMetric* metric, const std::vector<double>& steps) {
  typename TMetric::DerivativeType descent;
  metric->GetDerivative(descent);
  auto parameters = metric->GetParameters();
  double worst = 0.0;
  double largest = 0.0;
  for (unsigned k = 0; k < descent.GetSize(); ++k) {
    auto up = parameters;
    auto down = parameters;
    up[k] += steps[k];
    down[k] -= steps[k];
    metric->SetParameters(up);
    const double high = metric->GetValue();
    metric->SetParameters(down);
    const double low = metric->GetValue();
    worst = std::max(worst, std::abs(descent[k] + (high - low) / (2.0 * steps[k])) * steps[k]);
    largest = std::max(largest, std::abs(descent[k]) * steps[k]);
  }
  metric->SetParameters(parameters);
  return worst / largest;
}

struct DerivativeRow {
  std::string name;
  itk::Transform<double, 2, 2>::Pointer transform;
  std::vector<double> steps;
  NgfAgreement agreement;

  friend void PrintTo(const DerivativeRow& row, std::ostream* os) { *os << row.name; }
};

itk::Transform<double, 2, 2>::Pointer rigid(double angle, double x, double y) {
  const auto transform = itk::Euler2DTransform<double>::New();
  transform->SetCenter(itk::Point<double, 2>(std::array<double, 2>{8.0, 9.0}));
  transform->SetAngle(angle);
  itk::Vector<double, 2> translation;
  translation[0] = x;
  translation[1] = y;
  transform->SetTranslation(translation);
  return transform.GetPointer();
}

itk::Transform<double, 2, 2>::Pointer similar() {
  const auto transform = itk::Similarity2DTransform<double>::New();
  transform->SetScale(1.1);
  transform->SetAngle(0.05);
  return transform.GetPointer();
}

itk::Transform<double, 2, 2>::Pointer affine() {
  const auto transform = itk::AffineTransform<double, 2>::New();
  transform->Scale(0.95);
  transform->Shear(0, 1, 0.08);
  return transform.GetPointer();
}

class MetricDerivative : public testing::TestWithParam<DerivativeRow> {};

// Tolerance: central differences with step h err by h^2 f'''/6; steps and waves keep that under
// 1e-5 of the slope. Source: derived.
TEST_P(MetricDerivative, EqualsFiniteDifferences) {
  const auto fixed = image_of<Image2>(48, waves);
  const auto moving = image_of<Image2>(56, other_waves);
  const auto weights = soft_weights(moving.GetPointer());
  const auto metric = Metric2::New();
  metric->SetFixedImage(fixed);
  metric->SetMovingImage(moving);
  metric->SetMovingTransform(GetParam().transform);
  metric->set_moving_weights(weights);
  metric->set_agreement(GetParam().agreement);
  metric->Initialize();
  EXPECT_LT(derivative_fault(metric.GetPointer(), GetParam().steps), 1e-4);
  metric->freeze_moving_weights();
  EXPECT_LT(derivative_fault(metric.GetPointer(), GetParam().steps), 1e-4);
}

const std::vector<double> kRigidSteps = {1e-4, 1e-3, 1e-3};

INSTANTIATE_TEST_SUITE_P(
    Table, MetricDerivative,
    testing::Values(
        DerivativeRow{"RigidSquared", rigid(0.04, 0.3, -0.2), kRigidSteps,
                      NgfAgreement::kSquaredCosine},
        DerivativeRow{"RigidSquaredPositive", rigid(-0.03, 0.2, 0.5), kRigidSteps,
                      NgfAgreement::kSquaredPositive},
        DerivativeRow{"RigidCosine", rigid(0.1, -0.3, 0.1), kRigidSteps, NgfAgreement::kCosine},
        DerivativeRow{
            "Similarity", similar(), {1e-4, 1e-4, 1e-3, 1e-3}, NgfAgreement::kSquaredCosine},
        DerivativeRow{"Affine",
                      affine(),
                      {1e-4, 1e-4, 1e-4, 1e-4, 1e-3, 1e-3},
                      NgfAgreement::kSquaredPositive}),
    [](const auto& row) { return row.param.name; });

TEST(Metric, DerivativeHoldsInThreeDimensions) {
  const auto metric = NormalizedGradientFieldMetric<Image3, Image3>::New();
  metric->SetFixedImage(image_of<Image3>(18, waves));
  metric->SetMovingImage(image_of<Image3>(20, other_waves));
  // Inner points only: a point that leaves the image makes the value jump.
  const auto inner = image_of<Image3>(18, [](const auto& p) {
    return std::min({p[0], p[1], p[2]}) > 2.5 && std::max({p[0], p[1], p[2]}) < 5.5 ? 1.0 : 0.0;
  });
  metric->set_fixed_weights(inner);
  const auto transform = itk::Euler3DTransform<double>::New();
  transform->SetRotation(0.05, -0.03, 0.04);
  metric->SetMovingTransform(transform);
  metric->Initialize();
  EXPECT_LT(derivative_fault(metric.GetPointer(), {1e-4, 1e-4, 1e-4, 1e-3, 1e-3, 1e-3}), 1e-4);
}

// The block sums are the derivative, only sorted by place. Source: derived.
TEST(Metric, BlockDerivativesSumToTheDerivative) {
  const auto metric = Metric2::New();
  metric->SetFixedImage(image_of<Image2>(48, waves));
  metric->SetMovingImage(image_of<Image2>(48, other_waves));
  metric->SetMovingTransform(rigid(0.02, 0.4, 0.1));
  metric->Initialize();
  Metric2::DerivativeType descent;
  metric->GetDerivative(descent);
  const auto rows = metric->block_derivatives(3.0);
  EXPECT_GT(rows.rows(), 20U);
  for (unsigned k = 0; k < 3; ++k) {
    EXPECT_NEAR(rows.get_column(k).sum(), descent[k], 1e-12 * std::abs(descent[k]) + 1e-14);
  }
}

// An image with itself: the cosine is |n|^2 everywhere, so the value at rest can be summed by hand
// from ITK's own spline. Source: reference library (itk::BSplineInterpolateImageFunction).
TEST(Metric, ValueAgreesWithITKsSplineAtRest) {
  const auto fixed = image_of<Image2>(40, waves);
  const auto moving = image_of<Image2>(40, other_waves);
  const double floor = 0.3;
  const auto metric = Metric2::New();
  metric->SetFixedImage(fixed);
  metric->SetMovingImage(moving);
  metric->SetMovingTransform(rigid(0.0, 0.13, -0.21));
  metric->set_noise_floors(floor, floor);
  const auto inner = image_of<Image2>(40, [](const auto& p) {
    return std::min(p[0], p[1]) > 4.0 && std::max(p[0], p[1]) < 12.0 ? 1.0 : 0.0;
  });
  metric->set_fixed_weights(inner);
  metric->Initialize();

  using Spline = itk::BSplineInterpolateImageFunction<Image2, double, double>;
  const auto of_fixed = Spline::New();
  const auto of_moving = Spline::New();
  of_fixed->SetInputImage(fixed);
  of_moving->SetInputImage(moving);
  double agreement = 0.0;
  double energy = 0.0;
  itk::ImageRegionIteratorWithIndex<Image2> it(fixed, fixed->GetBufferedRegion());
  for (; !it.IsAtEnd(); ++it) {
    Image2::PointType point;
    fixed->TransformIndexToPhysicalPoint(it.GetIndex(), point);
    Image2::PointType there = point;
    there[0] += 0.13;
    there[1] -= 0.21;
    if (inner->GetPixel(it.GetIndex()) == 0.0F) continue;
    const auto f = of_fixed->EvaluateDerivative(point);
    const auto m = of_moving->EvaluateDerivative(there);
    const double ff = f.GetSquaredNorm();
    const double cosine =
        (f * m) / std::sqrt((ff + floor * floor) * (m.GetSquaredNorm() + floor * floor));
    agreement += cosine * cosine;
    energy += ff / (ff + floor * floor);
  }
  EXPECT_NEAR(metric->GetValue(), 1.0 - agreement / energy, 1e-6);
}

TEST(Metric, IsTheSameBitForBitWithAnyNumberOfThreads) {
  const auto fixed = image_of<Image2>(200, waves);
  const auto moving = image_of<Image2>(200, other_waves);
  std::vector<double> found;
  for (const unsigned threads : {1U, 2U, 7U}) {
    const auto metric = Metric2::New();
    metric->SetFixedImage(fixed);
    metric->SetMovingImage(moving);
    metric->SetMovingTransform(rigid(0.02, 0.4, 0.1));
    metric->SetMaximumNumberOfWorkUnits(threads);
    metric->Initialize();
    double value = 0.0;
    Metric2::DerivativeType descent;
    metric->GetValueAndDerivative(value, descent);
    const std::vector<double> now = {value, descent[0], descent[1], descent[2]};
    if (found.empty()) found = now;
    EXPECT_EQ(found, now) << threads << " threads";
  }
}

TEST(Metric, RefusesWhatItCannotUse) {
  const auto fixed = image_of<Image2>(40, waves);
  const auto metric = Metric2::New();
  metric->SetFixedImage(fixed);
  metric->SetMovingImage(fixed);
  metric->SetMovingTransform(rigid(0.0, 0.0, 0.0));
  const auto off_grid = image_of<Image2>(39, waves);
  metric->set_fixed_weights(off_grid);
  EXPECT_THROW(metric->Initialize(), itk::ExceptionObject);
  const auto nobody = image_of<Image2>(40, [](const auto&) { return 0.0; });
  metric->set_fixed_weights(nobody);
  EXPECT_THROW(metric->Initialize(), itk::ExceptionObject);
  metric->set_fixed_weights(nullptr);
  EXPECT_NO_THROW(metric->Initialize());
  metric->SetMovingImage(nobody);
  EXPECT_THROW(metric->Initialize(), itk::ExceptionObject);  // no gradient, no noise floor
}

// Points that leave the moving image do not vote at all. Source: derived.
TEST(Metric, LostPointsNeitherHelpNorHarm) {
  const auto fixed = image_of<Image2>(60, waves);
  const auto metric = Metric2::New();
  metric->SetFixedImage(fixed);
  metric->SetMovingImage(fixed);
  const auto half = image_of<Image2>(60, [](const auto& p) { return p[0] < 8.0 ? 1.0 : 0.0; });
  metric->SetMovingTransform(rigid(0.0, 0.0, 0.0));
  metric->set_noise_floors(1e-6, 1e-6);
  metric->Initialize();
  const double whole = metric->GetValue();
  EXPECT_NEAR(metric->overlap(), 1.0, 1e-12);
  metric->set_moving_weights(half);
  metric->Initialize();
  EXPECT_NEAR(metric->GetValue(), whole, 1e-6);
  EXPECT_GT(metric->overlap(), 0.1);
  EXPECT_LT(metric->overlap(), 0.7);
}

}  // namespace
}  // namespace tidemark::alignment
