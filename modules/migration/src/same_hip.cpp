#include "tidemark/migration/same_hip.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <iomanip>
#include <limits>
#include <numbers>
#include <sstream>
#include <utility>

#include "stem_in_beam.h"
#include "tidemark/core/robust.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::migration {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

// What marks and edges do not say of themselves, standard uncertainties of a difference between two
// films; house choices unless derived.
constexpr double kHeadFloorMm = 0.4;
constexpr double kLeadFloorMm = 0.5;
constexpr double kLengthFloor = 0.006;  // of the length
/// Blur, scatter and edge enhancement shift an edge by up to 0.3 mm, outward or inward on both
/// flanks alike (docs/design.md): next to nothing is left of it in differences along one flank.
constexpr double kWidthFloorMm = 0.5;
constexpr double kTaperFloorMm = 0.4;
constexpr double kFlareFloorMm = 0.5;
/// What is left of a turned section where its turn is not told by the head.
constexpr double kTurnedWidth = 0.03;
/// A section d deep and w wide gains d sin(t) as it turns by t (derived for corners that are not
/// rounded): its relative gain per radian, either way, standard uncertainty.
constexpr double kSectionGain = 0.4;
/// The shaft: two edges; and its section's change as it turns (a section as 0.85 to 1, turned by 15
/// degrees: 2 %) with its depth against the head's (20 mm of 970: 2 %), derived.
constexpr double kShaftFloorMm = 0.5;
constexpr double kShaftTurned = 0.03;
/// Standard uncertainty of the ratio of sizes where the head may be another one.
constexpr double kResized = 0.3;

/// Distance of an outline from an axis, on one side of it, as a function of the place along it.
class Flank {
 public:
  Flank(const Polyline& points, const Line2& axis, double scale) {
    const Vec2 medial(axis.direction.y(), -axis.direction.x());
    for (const Vec2& p : points) {
      const Vec2 from = scale * (p - axis.point);
      points_.emplace_back(from.dot(axis.direction), from.dot(medial));
    }
  }
  /// Median of the points within 3 mm of a place; nothing where there are too few.
  [[nodiscard]] std::optional<double> at(double along_mm) const {
    constexpr double kWindow = 3.0;
    std::vector<double> near;
    for (const auto& [s, t] : points_) {
      if (std::abs(s - along_mm) < kWindow) near.push_back(t);
    }
    return near.size() < 2 ? std::nullopt : median(near);
  }

 private:
  std::vector<std::pair<double, double>> points_;
};

/// Width between two flanks.
std::optional<double> width_at(const Flank& lateral, const Flank& medial, double along_mm) {
  const auto a = lateral.at(along_mm);
  const auto b = medial.at(along_mm);
  if (!a || !b) return std::nullopt;
  return *b - *a;
}

/// The stem's body in mm: width and what is lost of it between 40 and 80 mm below the shoulder, and
/// how much further from the axis the lateral flank lies at 25 than at 60 mm. The medial flank runs
/// up the neck, whose look changes with the pose, and is left out where it does.
struct Body {
  double width = 0.0;
  double taper = 0.0;
  double flare = 0.0;
};

std::optional<Body> body_of(const MeasuredFilm& film) {
  const Polyline& outline = film.implant.outline_px;
  const double k = film.scale.value.value;
  const Line2& axis = film.implant.axis.line_px;
  const auto tip = std::max_element(
      outline.begin(), outline.end(),
      [&](const Vec2& a, const Vec2& b) { return along(axis, a) < along(axis, b); });
  // The outline runs down the lateral flank to the tip and up the medial one.
  const Flank lateral(Polyline(outline.begin(), tip), axis, k);
  const Flank medial(Polyline(tip, outline.end()), axis, k);
  const double shoulder = k * along(axis, film.implant.shoulder.px);
  const auto near = width_at(lateral, medial, shoulder + 40.0);
  const auto middle = width_at(lateral, medial, shoulder + 60.0);
  const auto far = width_at(lateral, medial, shoulder + 80.0);
  const auto high = lateral.at(shoulder + 25.0);
  const auto low = lateral.at(shoulder + 60.0);
  if (!near || !middle || !far || !high || !low) return std::nullopt;
  return Body{(*near + *middle + *far) / 3.0, *near - *far, *low - *high};
}

// The observations, in this order; the last three are absent together.
enum Observed : Eigen::Index { kMedial, kLead, kLength, kWidth, kTaper, kFlare };
constexpr Eigen::Index kWithoutBody = 3;
constexpr Eigen::Index kWithBody = 6;
// What is fitted: angles and beam of both films in units of their scales (Student's t with 4
// degrees of freedom), then anteversion, gain of the section and ratio of scales in units of their
// standard uncertainties.
enum Fitted : Eigen::Index {
  kFlexion1,
  kFlexion2,
  kRotation1,
  kRotation2,
  kBeam1,
  kBeam2,
  kVersion,
  kGain,
  kSize,
  kFittedCount
};
constexpr Eigen::Index kPoses = 6;
using Parameters = Eigen::Matrix<double, kFittedCount, 1>;

/// One implant on two films: what the follow-up shows, and what the reference film and a pose make
/// expect of it.
struct ImplantFit {
  PoseModel model;
  StemLook reference;
  StemLook follow_up;
  std::optional<Body> body;
  Eigen::VectorXd shown;
  Eigen::VectorXd u;    ///< standard uncertainties of what is shown against what is expected
  double size_u = 0.0;  ///< relative

  [[nodiscard]] Eigen::VectorXd expected(const Parameters& p) const;
  [[nodiscard]] Eigen::MatrixXd jacobian(const Parameters& p) const;
  [[nodiscard]] double misfit(const Parameters& p) const;
};

Eigen::VectorXd ImplantFit::expected(const Parameters& p) const {
  const auto leg = [&](Fitted flexion, Fitted rotation, Fitted beam, const StemLook& look) {
    return LegInBeam{kDegree * model.film_flexion.value * p(flexion),
                     kDegree * model.film_rotation.value * p(rotation),
                     look.head_from_middle_mm + Vec2(0.0, model.beam_shift.value * p(beam)),
                     model.source.value};
  };
  const LegInBeam before = leg(kFlexion1, kRotation1, kBeam1, reference);
  const LegInBeam after = leg(kFlexion2, kRotation2, kBeam2, follow_up);
  const double version = kDegree * (front_towards_tube(model.view) * model.anteversion.value +
                                    model.anteversion_spread.value * p(kVersion));
  const BeamLook look = look_in_beam(figure_of(reference, before, version), after);
  const double size = std::exp(size_u * p(kSize));
  Eigen::VectorXd out(shown.size());
  out.head<3>() =
      size * Eigen::Vector3d(look.head_medial_mm, look.head_from_shoulder_mm, look.length_mm);
  if (body) {
    const double gain = 1.0 + kSectionGain * p(kGain) * (after.rotation_rad - before.rotation_rad);
    out.tail<3>() = size * gain * Eigen::Vector3d(body->width, body->taper, body->flare);
  }
  return out;
}

Eigen::MatrixXd ImplantFit::jacobian(const Parameters& p) const {
  constexpr double kStep = 1e-4;
  Eigen::MatrixXd out(shown.size(), kFittedCount);
  for (Eigen::Index i = 0; i < kFittedCount; ++i) {
    const Parameters step = kStep * Parameters::Unit(i);
    out.col(i) = (expected(p + step) - expected(p - step)) / (2.0 * kStep);
  }
  return out;
}

/// Weight of a pose in units of its scale so that weight * z^2 falls off like Student's t.
double t4_weight(double z) { return 5.0 / (4.0 + z * z); }

double ImplantFit::misfit(const Parameters& p) const {
  double sum = (shown - expected(p)).cwiseQuotient(u).squaredNorm();
  for (Eigen::Index i = 0; i < kPoses; ++i) sum += 5.0 * std::log1p(0.25 * p(i) * p(i));
  return sum + p.tail<kFittedCount - kPoses>().squaredNorm();
}

/// Least misfit over pose, anteversion, view and size (Gauss and Newton, steps halved).
Parameters best_fit(const ImplantFit& fit) {
  Parameters p = Parameters::Zero();
  double misfit = fit.misfit(p);
  for (int i = 0; i < 40; ++i) {
    Parameters weight = Parameters::Ones();
    for (Eigen::Index k = 0; k < kPoses; ++k) weight(k) = t4_weight(p(k));
    const Eigen::MatrixXd j = fit.u.cwiseInverse().asDiagonal() * fit.jacobian(p);
    const Eigen::VectorXd r = (fit.shown - fit.expected(p)).cwiseQuotient(fit.u);
    const Eigen::MatrixXd normal = j.transpose() * j + Eigen::MatrixXd(weight.asDiagonal());
    const Parameters step = normal.ldlt().solve(j.transpose() * r - weight.cwiseProduct(p));
    double share = 1.0;
    while (share > 1e-3 && !(fit.misfit(p + share * step) < misfit)) share *= 0.5;
    if (share <= 1e-3) break;
    p += share * step;
    const double before = std::exchange(misfit, fit.misfit(p));
    if (before - misfit < 1e-6) break;
  }
  return p;
}

/// Probability that chi-squared is as great or greater.
double probability(double chi_squared, Eigen::Index freedom) {
  if (!std::isfinite(chi_squared)) return 0.0;
  return cdf(complement(boost::math::chi_squared(static_cast<double>(freedom)),
                        std::max(0.0, chi_squared)));
}

std::string in_mm(double value) {
  std::ostringstream text;
  text << std::fixed << std::setprecision(1) << std::abs(value) << " mm";
  return text.str();
}

/// A difference as a clause.
std::string clause(Eigen::Index observed, double difference) {
  const bool more = difference > 0.0;
  switch (observed) {
    case kMedial:
      return "the head lies " + in_mm(difference) + (more ? " further from" : " nearer to") +
             " the stem's axis";
    case kLead:
      return "the head stands " + in_mm(difference) + (more ? " lower" : " higher") +
             " against the shoulder";
    case kLength:
      return "the stem looks " + in_mm(difference) + (more ? " longer" : " shorter");
    case kWidth:
      return "the stem looks " + in_mm(difference) + (more ? " wider" : " narrower");
    case kTaper:
      return "the stem narrows by " + in_mm(difference) + (more ? " more" : " less");
    default:
      return "the lateral flank of the stem flares by " + in_mm(difference) +
             (more ? " more" : " less");
  }
}

/// The one of some observations that stands out most, with the uncertainty that pose and marks give
/// it.
Difference worst_of(const ImplantFit& fit, const std::vector<Eigen::Index>& observed) {
  const Eigen::VectorXd off = fit.shown - fit.expected(Parameters::Zero());
  const Eigen::MatrixXd j = fit.jacobian(Parameters::Zero());
  Parameters variance = Parameters::Ones();
  variance.head<kPoses>().setConstant(2.0);  // of Student's t with 4 degrees of freedom
  const Eigen::VectorXd u = (j.cwiseAbs2() * variance + fit.u.cwiseAbs2()).cwiseSqrt();
  const Eigen::Index i =
      *std::max_element(observed.begin(), observed.end(), [&](Eigen::Index p, Eigen::Index q) {
        return std::abs(off(p)) / u(p) < std::abs(off(q)) / u(q);
      });
  return {clause(i, off(i)), measured(Millimetres{off(i)}, Millimetres{u(i)})};
}

ImplantFit implant_fit(const MeasuredFilm& a, const MeasuredFilm& b, const PoseModel& pose,
                       double scale_ratio_u) {
  const auto before = body_of(a);
  const auto after = body_of(b);
  const bool bodies = before && after;
  ImplantFit fit{pose, stem_look(a), stem_look(b), bodies ? before : std::nullopt,
                 {},   {},           scale_ratio_u};
  const StemLook& seen = fit.follow_up;
  const double tips = std::hypot(a.scale.value.value * a.implant.tip.u_px,
                                 b.scale.value.value * b.implant.tip.u_px);
  const double corner = std::hypot(a.scale.value.value * a.implant.shoulder.u_px,
                                   b.scale.value.value * b.implant.shoulder.u_px);
  fit.shown.resize(bodies ? kWithBody : kWithoutBody);
  fit.u.resize(fit.shown.size());
  fit.shown.head<3>() << seen.head_medial_mm, seen.head_from_shoulder_mm, seen.length_mm;
  fit.u.head<3>() << kHeadFloorMm, std::hypot(kLeadFloorMm, corner),
      std::hypot(kLengthFloor * fit.reference.length_mm, corner, tips);
  if (bodies) {
    fit.shown.tail<3>() << after->width, after->taper, after->flare;
    fit.u.tail<3>() << std::hypot(kWidthFloorMm, kTurnedWidth * before->width),
        std::hypot(kTaperFloorMm, kTurnedWidth * before->taper),
        std::hypot(kFlareFloorMm, kTurnedWidth * before->flare);
  }
  return fit;
}

/// How likely the misfit falls by as much or more when some observations need not agree, if they
/// do.
double probability_without(const ImplantFit& fit, double misfit,
                           const std::vector<Eigen::Index>& observed) {
  constexpr double kNothing = 1e3;  // mm: says nothing
  ImplantFit freed = fit;
  for (const Eigen::Index i : observed) freed.u(i) = kNothing;
  return probability(misfit - freed.misfit(best_fit(freed)),
                     static_cast<Eigen::Index>(observed.size()));
}

/// Ways in which an implant may be another one, each with the observations it sets free.
struct Alternative {
  std::vector<Eigen::Index> observed;
  bool stem = true;  ///< not the head alone
};

std::vector<Alternative> alternatives(const ImplantFit& fit) {
  std::vector<Alternative> out{{{kMedial, kLead}, false}, {{kLength}}};
  if (fit.body) {
    out.push_back({{kWidth, kTaper, kFlare}});
    out.push_back({{kLength, kWidth, kTaper, kFlare}});
    out.push_back({{kMedial, kLead, kLength, kWidth, kTaper, kFlare}});
  }
  return out;
}

void judge_implant(const MeasuredFilm& a, const MeasuredFilm& b, const PoseModel& pose,
                   double scale_ratio_u, Likeness& out) {
  ImplantFit fit = implant_fit(a, b, pose, scale_ratio_u);
  if (!(fit.reference.length_mm > 0.0) || !fit.shown.allFinite()) return;
  const double misfit = fit.misfit(best_fit(fit));
  const auto others = alternatives(fit);
  // As many chances to look odd as there are alternatives (Bonferroni).
  const auto chances = static_cast<double>(others.size());
  out.implant = 2.0;
  for (const Alternative& other : others) {
    const double alone = probability_without(fit, misfit, other.observed);
    const double p = chances * alone;
    if (other.stem) {
      out.stem = std::min(out.stem, p);
    } else {
      out.head = alone;
      out.head_difference = worst_of(fit, other.observed);
    }
    if (p >= out.implant) continue;
    out.implant = p;
    out.implant_difference = worst_of(fit, other.observed);
  }
  out.implant = std::min(1.0, out.implant);

  fit.size_u = kResized;
  const Parameters resized = best_fit(fit);
  out.size_ratio = std::exp(kResized * resized(kSize));
  // The size is free: it costs a degree of freedom instead of a penalty.
  const double penalty = resized(kSize) * resized(kSize);
  out.implant_resized = probability(fit.misfit(resized) - penalty, fit.shown.size() - 1);
}

/// Widths of the shaft at levels below the stem's reference point, 5 mm apart; a level that is not
/// seen is absent.
std::vector<std::optional<double>> shaft_widths(const MeasuredFilm& film) {
  const double k = film.scale.value.value;
  const Line2& axis = film.femur.shaft_axis->line_px;
  const Flank lateral(film.femur.lateral_cortex_px, axis, k);
  const Flank medial(film.femur.medial_cortex_px, axis, k);
  const double reference = k * along(axis, film.implant.reference_px);
  // Distal of the lesser trochanter with its slope, and as far as films of a hip reach.
  constexpr double kFirst = 75.0;  // mm
  constexpr double kStep = 5.0;    // mm
  constexpr int kLevels = 16;
  std::vector<std::optional<double>> out;
  out.reserve(kLevels);
  for (int i = 0; i < kLevels; ++i) {
    out.push_back(width_at(lateral, medial, reference + kFirst + kStep * i));
  }
  return out;
}

void judge_bone(const MeasuredFilm& a, const MeasuredFilm& b, double scale_ratio_u, Likeness& out) {
  if (!a.femur.shaft_axis || !b.femur.shaft_axis) return;
  const auto before = shaft_widths(a);
  const auto after = shaft_widths(b);
  std::vector<double> apart;
  std::vector<double> widths;
  for (std::size_t i = 0; i < before.size(); ++i) {
    if (!before[i] || !after[i]) continue;
    apart.push_back(*after[i] - *before[i]);
    widths.push_back(*before[i]);
  }
  constexpr std::size_t kFewest = 5;
  if (apart.size() < kFewest) return;
  const double difference = *median(apart);
  const double scatter = kSigmaPerMad * *median_absolute_deviation(apart);
  const double width = *median(widths);
  // Cortices that were followed wrongly on one film differ from level to level: that scatter is
  // taken whole, as neighbouring levels err together.
  const double u =
      std::hypot(kShaftFloorMm, std::hypot(kShaftTurned, scale_ratio_u) * width, scatter);
  out.bone = probability(std::pow(difference / u, 2), 1);
  const double by_size = (out.size_ratio - 1.0) * width;
  out.bone_resized = probability(std::pow((difference - by_size) / u, 2), 1);
  out.bone_difference = {"the shaft of the femur looks " + in_mm(difference) +
                             (difference > 0.0 ? " wider" : " narrower"),
                         measured(Millimetres{difference}, Millimetres{u})};
}

std::string with_allowance(const Difference& d) {
  return d.what + " than on the reference film, where " + in_mm(d.difference.u95.value) +
         " would be within what pose and marks explain";
}

/// Whether another size of the head explains the implant far better than one implant does.
bool resized(const Likeness& l) {
  constexpr double kLeastRatio = 0.04;  // the nearest sizes in use, 28 and 30 mm or 36 and 38 mm
  constexpr double kFits = 0.1;
  return l.implant_resized > kFits && l.bone_resized > kUnlikely &&
         l.implant_resized > 10.0 * l.implant && std::abs(std::log(l.size_ratio)) > kLeastRatio;
}

std::string two_digits(double value) {
  std::ostringstream text;
  text << std::fixed << std::setprecision(2) << value;
  return text.str();
}

/// What is different about the implant, as a clause.
std::string implant_clause(const Likeness& l) {
  if (resized(l)) {
    return "measured by the head, every length of the stem is " + two_digits(l.size_ratio) +
           " of what it is on the reference film";
  }
  return with_allowance(*l.implant_difference);
}

}  // namespace

Likeness likeness(const MeasuredFilm& reference, const MeasuredFilm& follow_up,
                  const PoseModel& pose, double scale_ratio_u) {
  Likeness out;
  judge_implant(reference, follow_up, pose, scale_ratio_u, out);
  judge_bone(reference, follow_up, scale_ratio_u, out);
  return out;
}

double one_hip(const Likeness& l) {
  const double both = l.implant * l.bone;
  return both > 0.0 ? both * (1.0 - std::log(both)) : 0.0;
}

Expected<std::vector<Flag>> doubts(const Likeness& l) {
  const bool other_stem = l.implant < kImpossible && l.stem < kUnlikely;
  const bool other_hip = l.implant < kUnlikely && l.bone < kUnlikely && one_hip(l) < kImpossible;
  if ((l.implant < kImpossible || other_hip) && resized(l)) {
    return fail(ErrorKind::kCannotTell, "comparison",
                implant_clause(l) + ": the head has another diameter or was marked wrong",
                "compare films with the same head only, or correct head_diameter in landmarks_px");
  }
  if (other_stem) {
    return fail(
        ErrorKind::kCannotTell, "comparison",
        "the films do not show the same implant: " + implant_clause(l),
        "check for a revised stem or head, another hip, a turned leg, a point marked wrong or "
        "contrast that a viewer evened out locally");
  }
  if (l.bone < kImpossible) {
    return fail(ErrorKind::kCannotTell, "comparison",
                "the films do not show the same bone: " + with_allowance(*l.bone_difference),
                "check that both films are of this patient and this hip");
  }
  if (other_hip) {
    return fail(ErrorKind::kCannotTell, "comparison",
                "the films show neither the same implant nor the same bone: " + implant_clause(l) +
                    ", and " + with_allowance(*l.bone_difference),
                "check that both films are of this patient and this hip");
  }
  std::vector<Flag> flags;
  if (l.implant < kUnlikely) {
    flags.push_back(
        {"implant_differs", "The implant may not be the same on both films: " + implant_clause(l) +
                                "; look for a revised stem or head, another hip or a turned leg."});
  }
  if (l.implant >= kUnlikely && l.head < kUnlikelyHead) {
    flags.push_back(
        {"head_differs",
         "The head may not stand on the stem as before: " + with_allowance(*l.head_difference) +
             "; if head or neck were exchanged, the subsidence is wrong by up to the "
             "neck's change of length."});
  }
  if (l.bone < kUnlikely) {
    flags.push_back({"bone_differs", "The bone may not be the same on both films: " +
                                         with_allowance(*l.bone_difference) + "."});
  }
  return flags;
}

std::vector<Flag> doubts(const Migration& m, Order order) {
  // House choices, beyond what is reported of stems that still stand in their bone.
  constexpr double kRise = 1.0;       // mm, on top of u95
  constexpr double kFarthest = 15.0;  // mm
  constexpr double kAcross = 6.0;     // mm
  constexpr double kTilt = 10.0;      // degrees
  std::vector<Flag> flags;
  const double along_mm = (order == Order::kAfterReference ? 1.0 : -1.0) * m.subsidence.value.value;
  if (along_mm + m.subsidence.u95.value < -kRise) {
    flags.push_back({"stem_rises", "The stem would have moved " + in_mm(along_mm) +
                                       " out of the bone, which stems do not do: check that both "
                                       "films show the same hip and that the bone is aligned."});
  }
  if (along_mm > kFarthest || std::abs(m.medial.value.value) > kAcross ||
      std::abs(m.tilt_change.value.value) > kTilt) {
    flags.push_back({"motion_implausible",
                     "So great a motion is rare in a stem that still stands in its bone: check "
                     "that both films show the same hip and that the bone is aligned."});
  }
  return flags;
}

}  // namespace tidemark::migration
