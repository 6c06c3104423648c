#include "matcher.h"

#include <itkCompositeTransform.h>
#include <itkEuler2DTransform.h>
#include <itkLBFGS2Optimizerv4.h>
#include <itkRegionOfInterestImageFilter.h>
#include <itkTranslationTransform.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>

#include "tidemark/alignment/ngf_metric.h"

namespace tidemark::alignment {
namespace {

using Metric = NormalizedGradientFieldMetric<FloatImage, FloatImage>;
using Composite = itk::CompositeTransform<double, 2>;
using Euler = itk::Euler2DTransform<double>;
using Shift = itk::TranslationTransform<double, 2>;

/// Largest half step of the numerical curvature, mm at the region's radius.
constexpr double kWidestCurvatureStep = 1.0;
constexpr int kCurvatureRounds = 4;
/// Slope (per mm) at which the optimiser stops.
constexpr double kSlopeExact = 2e-4;
constexpr double kSlopeNear = 2e-3;
constexpr int kMaxIterations = 30;
constexpr int kMaxLineSearch = 12;

/// A rigid transform whose first parameter is the angle times a radius: all three parameters are
/// then millimetres and weigh alike, which the optimiser (it takes no scales) needs.
class MillimetreRigid : public Euler {
 public:
  using Self = MillimetreRigid;
  using Superclass = Euler;
  using Pointer = itk::SmartPointer<Self>;
  itkNewMacro(Self);
  itkTypeMacro(MillimetreRigid, Euler2DTransform);

  void set_radius(double radius_mm) { radius_mm_ = radius_mm; }
  void SetParameters(const ParametersType& parameters) override {
    ParametersType inner = parameters;
    inner[0] /= radius_mm_;
    Superclass::SetParameters(inner);
  }
  const ParametersType& GetParameters() const override {
    Superclass::GetParameters();
    this->m_Parameters[0] *= radius_mm_;
    return this->m_Parameters;
  }
  void ComputeJacobianWithRespectToParameters(const InputPointType& point,
                                              JacobianType& jacobian) const override {
    Superclass::ComputeJacobianWithRespectToParameters(point, jacobian);
    for (unsigned i = 0; i < 2; ++i) jacobian(i, 0) /= radius_mm_;
  }

 private:
  double radius_mm_ = 1.0;
};

FloatImage::Pointer cut(FloatImage* image, const BoxMm& box) {
  FloatImage::IndexType low;
  FloatImage::IndexType high;
  for (unsigned i = 0; i < 2; ++i) {
    const double spacing = image->GetSpacing()[i];
    const double origin = image->GetOrigin()[i];
    const auto k = static_cast<Eigen::Index>(i);
    low[i] = static_cast<itk::IndexValueType>(std::floor((box.low(k) - origin) / spacing));
    high[i] = static_cast<itk::IndexValueType>(std::ceil((box.high(k) - origin) / spacing));
  }
  FloatImage::RegionType region;
  region.SetIndex(low);
  region.SetUpperIndex(high);
  if (!region.Crop(image->GetLargestPossibleRegion())) return nullptr;
  const auto filter = itk::RegionOfInterestImageFilter<FloatImage, FloatImage>::New();
  filter->SetInput(image);
  filter->SetRegionOfInterest(region);
  filter->Update();
  return filter->GetOutput();
}

/// The box that holds the image of `box` under a motion.
BoxMm image_of(const BoxMm& box, const Rigid2& motion) {
  BoxMm out{Vec2::Constant(std::numeric_limits<double>::max()),
            Vec2::Constant(std::numeric_limits<double>::lowest())};
  for (const Vec2& corner :
       {box.low, Vec2(box.high.x(), box.low.y()), box.high, Vec2(box.low.x(), box.high.y())}) {
    const Vec2 p = motion.apply(corner);
    out.low = out.low.cwiseMin(p);
    out.high = out.high.cwiseMax(p);
  }
  return out;
}

Euler::Pointer itk_rigid(const Rigid2& motion) {
  const auto transform = Euler::New();
  transform->SetAngle(motion.angle_rad);
  transform->SetTranslation(itk_vector(motion.translation));
  return transform;
}

}  // namespace

Rigid2 Motion::about(const Vec2& centre_mm) const {
  const Rigid2 turn{angle_rad, Vec2::Zero()};
  return {angle_rad, centre_mm + shift_mm - turn.apply(centre_mm)};
}

BoxMm BoxMm::grown(double margin) const {
  return {low - Vec2::Constant(margin), high + Vec2::Constant(margin)};
}

struct Matcher::Itk {
  Metric::Pointer metric = Metric::New();
  Composite::Pointer transform = Composite::New();
  MillimetreRigid::Pointer rigid = MillimetreRigid::New();
  Shift::Pointer shift = Shift::New();
  Freedom freedom = Freedom::kRigid;
  double radius_mm = 1.0;
  double curvature_step_mm = 0.0;

  void set(const Motion& motion) const {
    if (freedom == Freedom::kRigid) {
      rigid->SetAngle(motion.angle_rad);
      rigid->SetTranslation(itk_vector(motion.shift_mm));
    } else {
      shift->SetOffset(itk_vector(motion.shift_mm));
    }
  }
  [[nodiscard]] Motion motion() const {
    if (freedom == Freedom::kRigid) {
      return {rigid->GetAngle(), {rigid->GetTranslation()[0], rigid->GetTranslation()[1]}};
    }
    return {0.0, {shift->GetOffset()[0], shift->GetOffset()[1]}};
  }
  /// ITK's order is angle, x, y; ours x, y, angle.
  [[nodiscard]] std::vector<unsigned> order() const {
    if (freedom == Freedom::kRigid) return {1, 2, 0};
    return {0, 1};
  }
  /// Millimetres of ITK's parameter per unit of ours (radians for the angle).
  [[nodiscard]] double per_parameter(unsigned itk_index) const {
    return freedom == Freedom::kRigid && itk_index == 0 ? radius_mm : 1.0;
  }
  [[nodiscard]] Match match(const Motion& motion, double value) const {
    return {motion, 1.0 - value, metric->overlap(),
            static_cast<int>(metric->GetNumberOfValidPoints())};
  }
};

Matcher::Matcher(const Level& fixed, const LevelRegion& region, const Level& moving,
                 const Frame& frame, Freedom freedom, const AlignOptions& options)
    : itk_(std::make_unique<Itk>()) {
  const double spacing = fixed.image->GetSpacing()[0];
  const BoxMm box = box_of(region);
  const BoxMm padded = box.grown(kPadPixels * spacing);
  const BoxMm there =
      image_of(box, frame.base).grown(frame.reach_mm + kPadPixels * moving.image->GetSpacing()[0]);
  const auto fixed_cut = cut(fixed.image, padded);
  const auto weights = cut(region.weights, padded);
  const auto moving_cut = cut(moving.image, there);
  const auto usable = cut(moving.usable, there);
  if (moving_cut.IsNull()) itkGenericExceptionMacro("the region lies outside the moving film");

  itk_->freedom = freedom;
  itk_->radius_mm = std::max(frame.radius_mm, 1.0);
  itk_->curvature_step_mm = options.curvature_step_mm;
  itk_->rigid->set_radius(itk_->radius_mm);
  itk_->rigid->SetCenter(itk_point(frame.centre_mm));
  itk_->transform->AddTransform(itk_rigid(frame.base));
  if (freedom == Freedom::kRigid) {
    itk_->transform->AddTransform(itk_->rigid);
  } else {
    itk_->transform->AddTransform(itk_->shift);
  }
  itk_->transform->SetOnlyMostRecentTransformToOptimizeOn();

  Metric& metric = *itk_->metric;
  metric.SetFixedImage(fixed_cut);
  metric.SetMovingImage(moving_cut);
  metric.SetMovingTransform(itk_->transform);
  metric.set_fixed_weights(weights);
  metric.set_moving_weights(usable);
  metric.set_agreement(options.agreement);
  metric.set_noise_floor_rule(options.noise_floor_quantile, options.noise_floor_factor);
  metric.SetMaximumNumberOfWorkUnits(static_cast<itk::ThreadIdType>(std::max(options.threads, 1)));
  metric.Initialize();
}

Matcher::~Matcher() = default;

std::array<double, 2> Matcher::noise_floors() const { return itk_->metric->noise_floors(); }

Match Matcher::slide(const Motion& start, Exactness exactness) {
  itk_->set(start);
  const auto optimizer = itk::LBFGS2Optimizerv4::New();
  optimizer->SetMetric(itk_->metric);
  optimizer->SetSolutionAccuracy(exactness == Exactness::kExact ? kSlopeExact : kSlopeNear);
  optimizer->SetMaximumIterations(kMaxIterations);
  optimizer->SetMaximumLineSearchEvaluations(kMaxLineSearch);
  optimizer->StartOptimization();
  const Motion end = itk_->motion();
  return itk_->match(end, itk_->metric->GetValue());
}

void Matcher::freeze(const Motion& motion) {
  itk_->set(motion);
  itk_->metric->freeze_moving_weights();
}

Match Matcher::at(const Motion& motion) {
  itk_->set(motion);
  return itk_->match(motion, itk_->metric->GetValue());
}

Eigen::VectorXd Matcher::slope_at(const Motion& motion) {
  itk_->set(motion);
  Metric::DerivativeType descent;
  itk_->metric->GetDerivative(descent);
  const auto order = itk_->order();
  Eigen::VectorXd slope(static_cast<Eigen::Index>(order.size()));
  for (std::size_t i = 0; i < order.size(); ++i) {
    slope(static_cast<Eigen::Index>(i)) = -descent[order[i]] * itk_->per_parameter(order[i]);
  }
  return slope;
}

Eigen::MatrixXd Matcher::curvature_with(const Motion& motion, const Eigen::VectorXd& steps) {
  Eigen::MatrixXd curvature(steps.size(), steps.size());
  for (Eigen::Index i = 0; i < steps.size(); ++i) {
    Motion up = motion;
    Motion down = motion;
    if (i == 2) {
      up.angle_rad += steps(i);
      down.angle_rad -= steps(i);
    } else {
      up.shift_mm(i) += steps(i);
      down.shift_mm(i) -= steps(i);
    }
    curvature.col(i) = (slope_at(up) - slope_at(down)) / (2.0 * steps(i));
  }
  return 0.5 * (curvature + curvature.transpose());
}

Eigen::MatrixXd Matcher::curvature_at(const Motion& motion, const Eigen::MatrixXd& scatter) {
  const Eigen::Index size = scatter.rows();
  Eigen::VectorXd unit = Eigen::VectorXd::Ones(size);  // one millimetre of each parameter
  if (size == 3) unit(2) = 1.0 / itk_->radius_mm;
  const double least = itk_->curvature_step_mm;
  Eigen::VectorXd steps = least * unit;
  Eigen::MatrixXd curvature = curvature_with(motion, steps);
  for (int round = 0; round < kCurvatureRounds; ++round) {
    const Eigen::LDLT<Eigen::MatrixXd> factor(curvature);
    if (!factor.isPositive()) break;
    const Eigen::MatrixXd inverse = factor.solve(Eigen::MatrixXd::Identity(size, size));
    const Eigen::VectorXd wide = 2.0 * (inverse * scatter * inverse).diagonal().cwiseSqrt();
    const Eigen::VectorXd next = wide.cwiseMax(least * unit).cwiseMin(kWidestCurvatureStep * unit);
    const bool settled = (next.array() < 1.3 * steps.array()).all();
    if (settled) break;
    steps = steps.cwiseMax(next);
    curvature = curvature_with(motion, steps);
  }
  return curvature;
}

Eigen::MatrixXd Matcher::scatter_at(const Motion& motion, double block_mm) {
  itk_->set(motion);
  const auto order = itk_->order();
  const auto size = static_cast<Eigen::Index>(order.size());
  const auto rows = itk_->metric->block_derivatives(block_mm);
  Eigen::MatrixXd blocks(static_cast<Eigen::Index>(rows.rows()), size);
  for (unsigned r = 0; r < rows.rows(); ++r) {
    for (std::size_t i = 0; i < order.size(); ++i) {
      blocks(static_cast<Eigen::Index>(r), static_cast<Eigen::Index>(i)) =
          rows(r, order[i]) * itk_->per_parameter(order[i]);
    }
  }
  const double n = static_cast<double>(rows.rows());
  const double free = n - static_cast<double>(size);
  return blocks.transpose() * blocks * (free > 0.0 ? n / free : n);
}

}  // namespace tidemark::alignment
