#include <itkEuler2DTransform.h>
#include <itkImage.h>
#include <itkImageMaskSpatialObject.h>
#include <itkImageRegistrationMethodv4.h>
#include <itkMattesMutualInformationImageToImageMetricv4.h>
#include <itkMultiThreaderBase.h>
#include <itkRegistrationParameterScalesFromPhysicalShift.h>
#include <itkRegularStepGradientDescentOptimizerv4.h>

#include <algorithm>

#include "registration.h"

namespace tidemark::bench {
namespace {

using Picture = itk::Image<float, 2>;
using MaskPicture = itk::Image<unsigned char, 2>;
using Motion = itk::Euler2DTransform<double>;
using Method = itk::ImageRegistrationMethodv4<Picture, Picture, Motion>;
using Metric = itk::MattesMutualInformationImageToImageMetricv4<Picture, Picture>;
using Optimizer = itk::RegularStepGradientDescentOptimizerv4<double>;
using Scales = itk::RegistrationParameterScalesFromPhysicalShift<Metric>;
using Region = itk::ImageMaskSpatialObject<2>;

template <class TPicture, class TRaster>
typename TPicture::Pointer picture(const TRaster& raster, double mm_per_px) {
  auto out = TPicture::New();
  out->SetRegions(typename TPicture::SizeType{{static_cast<itk::SizeValueType>(raster.width),
                                               static_cast<itk::SizeValueType>(raster.height)}});
  out->Allocate();
  const double spacing[2] = {mm_per_px, mm_per_px};
  out->SetSpacing(spacing);
  std::transform(raster.values.begin(), raster.values.end(), out->GetBufferPointer(),
                 [](auto v) { return static_cast<typename TPicture::PixelType>(v); });
  return out;
}

Region::Pointer region(const Mask& mask, double mm_per_px) {
  auto out = Region::New();
  out->SetImage(picture<MaskPicture>(mask, mm_per_px));
  out->Update();
  return out;
}

/// Mean of the voting pixels: the centre the motion turns about.
Vec2 centre_of(const Mask& mask, double mm_per_px) {
  Vec2 sum = Vec2::Zero();
  double count = 0.0;
  for (int y = 0; y < mask.height; ++y) {
    for (int x = 0; x < mask.width; ++x) {
      if (mask.at(x, y) == 0) continue;
      sum += Vec2(x, y);
      count += 1.0;
    }
  }
  return count > 0.0 ? Vec2(sum / count * mm_per_px) : sum;
}

Motion::Pointer motion_of(const Rigid2& start, const Vec2& centre) {
  auto out = Motion::New();
  Motion::InputPointType at;
  at[0] = centre.x();
  at[1] = centre.y();
  out->SetCenter(at);
  out->SetAngle(start.angle_rad);
  const Vec2 shift = start.apply(centre) - centre;
  Motion::OutputVectorType translation;
  translation[0] = shift.x();
  translation[1] = shift.y();
  out->SetTranslation(translation);
  return out;
}

Rigid2 rigid_of(const Motion& motion) {
  const auto offset = motion.GetOffset();
  return {.angle_rad = motion.GetAngle(), .translation = Vec2(offset[0], offset[1])};
}

Metric::Pointer metric_of(const Task& task) {
  auto metric = Metric::New();
  metric->SetNumberOfHistogramBins(32);
  metric->SetFixedImageMask(region(task.fixed_voting, task.fixed_mm_per_px));
  metric->SetMovingImageMask(region(task.moving_usable, task.moving_mm_per_px));
  return metric;
}

Optimizer::Pointer optimizer_of(Metric* metric) {
  auto scales = Scales::New();
  scales->SetMetric(metric);
  auto optimizer = Optimizer::New();
  optimizer->SetScalesEstimator(scales);
  optimizer->SetLearningRate(1.0);
  optimizer->SetMinimumStepLength(0.005);
  optimizer->SetRelaxationFactor(0.6);
  optimizer->SetNumberOfIterations(150);
  return optimizer;
}

void set_levels(Method* method) {
  Method::ShrinkFactorsArrayType shrink(3);
  Method::SmoothingSigmasArrayType sigma(3);
  for (unsigned level = 0; level < 3; ++level) {
    shrink[level] = 4U >> level;
    sigma[level] = level == 0 ? 1.2 : level == 1 ? 0.6 : 0.3;
  }
  method->SetNumberOfLevels(3);
  method->SetShrinkFactorsPerLevel(shrink);
  method->SetSmoothingSigmasPerLevel(sigma);
  method->SmoothingSigmasAreSpecifiedInPhysicalUnitsOn();
  method->SetMetricSamplingStrategy(Method::MetricSamplingStrategyEnum::REGULAR);
  method->SetMetricSamplingPercentage(0.25);
}

}  // namespace

std::optional<Rigid2> by_itk_mutual_information(const Task& task) {
  itk::MultiThreaderBase::SetGlobalDefaultNumberOfThreads(1);
  auto metric = metric_of(task);
  auto motion = motion_of(task.start, centre_of(task.fixed_voting, task.fixed_mm_per_px));
  auto method = Method::New();
  method->SetFixedImage(picture<Picture>(task.fixed, task.fixed_mm_per_px));
  method->SetMovingImage(picture<Picture>(task.moving, task.moving_mm_per_px));
  method->SetMetric(metric);
  method->SetOptimizer(optimizer_of(metric));
  method->SetInitialTransform(motion);
  method->InPlaceOn();
  set_levels(method);
  try {
    method->Update();
  } catch (const itk::ExceptionObject&) {
    return std::nullopt;
  }
  return rigid_of(*method->GetTransform());
}

}  // namespace tidemark::bench
