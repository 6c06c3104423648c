#pragma once

#include <itkArray2D.h>
#include <itkImage.h>
#include <itkImageToImageMetricv4.h>

#include <array>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

#include "tidemark/alignment/agreement.h"
#include "tidemark/alignment/ngf_sums.h"

namespace tidemark::alignment {

/// Normalised gradient fields as an ITK v4 metric: how far two images differ in the *direction* of
/// their grey-value edges, whatever the height of the edges. Brightness, contrast, exposure
/// gradients and monotonic look-up tables drop out.
///
///     n(I) = grad I / sqrt(|grad I|^2 + eta^2),   c(p) = < n(F)(p), n(M o T)(p) >
///     value = 1 - sum w m a(c) / sum w m a(|n(F)|)
///
/// with the sums over the points p of the virtual domain, w the fixed weights, m the moving weights
/// looked up at T(p), a() from NgfAgreement and eta the noise floor: edges well below it count for
/// nothing, edges well above it all count alike. The value is 0 for an image with itself (as far as
/// its edges stand out of the noise), about 1 for strangers; smaller is better. A point that falls
/// outside the moving image or on a moving weight of 0 does not vote, neither above nor below the
/// fraction line, so the value is the mean of those who voted. That neither rewards nor punishes
/// the loss of average points; a caller who searches far must look at overlap() as well, and
/// freeze_moving_weights() takes the dependence on overlap out altogether.
///
/// The images must be smooth already (Gaussian sigma of at least one pixel): both are treated as
/// cubic B-splines, gradient and curvature are exact derivatives of the spline, and the derivative
/// with respect to the transform is exact as well (no finite differences).
///
/// Transforms must be linear in the point (translation, rigid, similarity, affine); Initialize()
/// throws otherwise. The moving gradient is turned back into the virtual frame by the transposed
/// matrix of the transform, divided by its mean stretch (the D-th root of the determinant).
///
/// The sum is taken in chunks of fixed size in fixed order: the result is the same bit for bit for
/// any number of work units. Evaluation is const but, as in ITK's other metrics, not re-entrant.
///
/// Works as any itk::ImageToImageMetricv4, also in itk::ImageRegistrationMethodv4. Members of ITK
/// keep ITK's names, our own are snake_case.
///
/// Source: Haber, Modersitzki, "Intensity gradient based registration and fusion of multi-modal
/// images", Methods of Information in Medicine 46 (2007) 292-299 (measure and noise floor). The
/// weighting, the polarity, the chunked sum and the turning of gradients are ours.
template <class TFixedImage, class TMovingImage, class TVirtualImage = TFixedImage>
class NormalizedGradientFieldMetric
    : public itk::ImageToImageMetricv4<TFixedImage, TMovingImage, TVirtualImage, double> {
 public:
  ITK_DISALLOW_COPY_AND_MOVE(NormalizedGradientFieldMetric);

  using Self = NormalizedGradientFieldMetric;
  using Superclass = itk::ImageToImageMetricv4<TFixedImage, TMovingImage, TVirtualImage, double>;
  using Pointer = itk::SmartPointer<Self>;
  using ConstPointer = itk::SmartPointer<const Self>;
  using MeasureType = typename Superclass::MeasureType;
  using DerivativeType = typename Superclass::DerivativeType;
  static constexpr unsigned kDimension = TVirtualImage::ImageDimension;
  static_assert(TFixedImage::ImageDimension == kDimension &&
                    TMovingImage::ImageDimension == kDimension,
                "both images and the virtual domain have one dimension");
  /// Weights between 0 and 1 on the grid of the image they belong to (same size, origin, spacing).
  using WeightImage = itk::Image<float, kDimension>;

  itkNewMacro(Self);
  itkTypeMacro(NormalizedGradientFieldMetric, itk::ImageToImageMetricv4);

  /// Which points of the fixed image vote, and how much; none = all alike.
  void set_fixed_weights(const WeightImage* weights) { fixed_weights_ = weights; }
  /// Which points of the moving image may vote; none = all. Looked up by linear interpolation.
  void set_moving_weights(const WeightImage* weights) { moving_weights_ = weights; }
  void set_agreement(NgfAgreement agreement) { agreement_ = agreement; }
  /// Noise floors in grey value per physical unit. 0 (the default) = estimated by Initialize() as
  /// a factor times a quantile of the gradient magnitudes of the points that may vote (moving: of
  /// the whole image where its weights are above 1/2).
  void set_noise_floors(double fixed, double moving);
  /// quantile between 0 and 1, factor > 0. House choice: the median, 1.
  void set_noise_floor_rule(double quantile, double factor);
  /// The noise floors in use after Initialize(), fixed then moving.
  [[nodiscard]] std::array<double, 2> noise_floors() const { return noise_floor_in_use_; }

  /// Reads the images, builds the splines and the list of voting points.
  /// @throws itk::ExceptionObject a transform that is not linear, weights off the image's grid, or
  ///         no point that may vote.
  void Initialize() override;
  MeasureType GetValue() const override;
  void GetDerivative(DerivativeType& derivative) const override;
  void GetValueAndDerivative(MeasureType& value, DerivativeType& derivative) const override;
  void SetMaximumNumberOfWorkUnits(itk::ThreadIdType number) override { work_units_ = number; }
  itk::ThreadIdType GetMaximumNumberOfWorkUnits() const override { return work_units_; }
  itk::ThreadIdType GetNumberOfWorkUnitsUsed() const override { return work_units_; }

  /// Looks the moving weights up once, at the present transform, and keeps them: from now on the
  /// same points vote with the same weights wherever the transform goes. Until the next
  /// Initialize(). Use it when the transform is known to a fraction of the margin of the weights.
  void freeze_moving_weights();

  /// Share of the fixed weight that voted in the last evaluation, 0 to 1.
  [[nodiscard]] double overlap() const { return overlap_; }
  /// Derivative of the value split by place: one row for each block of `block` physical units (a
  /// square or cube of the virtual domain) that voted, in a fixed order; the rows sum to
  /// the derivative. Their scatter is the scatter of the derivative when points within a block err
  /// together and blocks do not: the middle of the sandwich covariance of an M-estimate (Huber,
  /// Proc. Fifth Berkeley Symposium 1 (1967) 221-233; clustered: Liang, Zeger, Biometrika 73 (1986)
  /// 13-22, doi:10.1093/biomet/73.1.13).
  [[nodiscard]] itk::Array2D<double> block_derivatives(double block) const;

 protected:
  NormalizedGradientFieldMetric();
  ~NormalizedGradientFieldMetric() override = default;

 private:
  using Coefficients = itk::Image<double, kDimension>;
  using Real = ngf_detail::Real<kDimension>;
  using Square = ngf_detail::Square<kDimension>;
  using Sums = ngf_detail::Sums<kDimension>;
  using Change = ngf_detail::Change<kDimension>;
  using Want = ngf_detail::Want;

  /// First and second derivatives of a spline, per step of its grid.
  struct Jet {
    Real gradient{};
    Square hessian{};  // upper triangle only
  };
  /// Cubic B-spline coefficients with the mapping of physical points to their grid.
  struct Spline {
    typename Coefficients::Pointer coefficients;
    Real origin{};
    Square index_from_physical{};
    Real first{};                       // index of the first pixel
    ngf_detail::Grid<kDimension> grid;  // `coefficients`, out of ITK's way: asked at every point
  };
  /// A grid cell: its first pixel as an offset into the buffer, and the place within, 0 to 1.
  struct Cell {
    std::ptrdiff_t offset = 0;
    Real part{};
  };
  /// A linear transform about centre_ and its change with each parameter.
  struct LinearMap : ngf_detail::Affine<kDimension> {
    std::vector<Real> image_by;
    std::vector<Square> matrix_by;
    std::vector<double> log_stretch_by;
  };
  /// What one point says at the present transform. Positions and slopes of the moving image are
  /// counted in steps of its grid.
  struct Vote {
    double weight = 0.0;     // w m; 0 = does not vote
    double agreement = 0.0;  // a(c)
    double energy = 0.0;     // a(|n(F)|)
    double slope = 0.0;      // da/dc
    Real moving_gradient{};
    Real to_matrix{};  // dc/dq / stretch: change of c with the turned gradient q
    Real to_point{};   // change of c with the moving point
    double to_stretch = 0.0;
    Real weight_to_point{};  // change of w m with the moving point
  };
  struct MovingWeight {
    double value = 0.0;
    Real gradient{};  // per step of the grid
  };

  using Taps = std::array<std::array<std::array<double, 4>, 3>, kDimension>;  // axis, order, tap

  template <class TImage>
  static Spline make_spline(const TImage* image);
  template <unsigned VAxes>
  static std::pair<double, Jet> sum_taps(const double* at, const std::ptrdiff_t* strides,
                                         const Taps& taps);
  /// @return nothing where not `before` pixels lie before the cell and `after` behind its first.
  static std::optional<Cell> cell_at(const Spline& spline, const Real& index, unsigned before,
                                     unsigned after);
  static Real index_of(const Spline& spline, const Real& point);
  static Jet evaluate(const Spline& spline, const Cell& cell);
  /// Gradient per physical unit; nothing too close to the border.
  static std::optional<Real> gradient_at(const Spline& spline, const Real& point);
  template <class TTransform>
  static LinearMap linear_map(const TTransform& transform, const Real& centre);
  static void check_weights(const WeightImage* weights, const itk::ImageBase<kDimension>* image);
  template <class TImage, class TMask>
  static typename WeightImage::ConstPointer masked(const WeightImage* weights, const TImage* image,
                                                   const TMask* mask);
  /// A transform that ends on the grid of the moving image in place of its physical points.
  [[nodiscard]] LinearMap map_to_grid() const;
  [[nodiscard]] MovingWeight moving_weight_at(const Cell& cell) const;
  [[nodiscard]] double moving_gradient_quantile() const;
  [[nodiscard]] std::vector<Real> virtual_points() const;
  void collect_samples();
  // All that is made once of one image; the two touch nothing in common.
  void take_fixed();
  void take_moving();
  [[nodiscard]] Vote vote_of(std::size_t sample, const LinearMap& map, Want want) const;
  static void add(const Vote& vote, const Real& at, Want want, Sums* sums);
  [[nodiscard]] double agreement_of(double cosine) const;
  [[nodiscard]] double agreement_slope(double cosine) const;
  [[nodiscard]] Sums sum_range(std::size_t begin, std::size_t end, const LinearMap& map,
                               Want want) const;
  [[nodiscard]] Sums sum_up(const LinearMap& map, Want want) const;
  /// Change of the value with the k-th parameter, turned to descent as ITK's metrics have it.
  [[nodiscard]] static double descent_of(const Sums& part, const Sums& total, const LinearMap& map,
                                         std::size_t k);
  MeasureType finish(const Sums& sums) const;

  typename WeightImage::ConstPointer fixed_weights_;
  typename WeightImage::ConstPointer moving_weights_;
  typename WeightImage::ConstPointer moving_weights_in_use_;
  NgfAgreement agreement_ = NgfAgreement::kSquaredCosine;
  std::array<double, 2> noise_floor_wanted_{};
  std::array<double, 2> noise_floor_in_use_{};
  double noise_floor_quantile_ = 0.5;
  double noise_floor_factor_ = 1.0;
  Spline fixed_spline_;
  Spline moving_spline_;
  Real centre_{};
  ngf_detail::Samples<kDimension> samples_;
  bool frozen_ = false;  // moving weights are folded into the samples
  double total_weight_ = 0.0;
  itk::ThreadIdType work_units_ = 1;
  mutable double overlap_ = 0.0;
};

}  // namespace tidemark::alignment

#include "tidemark/alignment/ngf_metric.hxx"  // IWYU pragma: keep
