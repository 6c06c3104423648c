#include "stem_mask.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "tidemark/core/parallel.h"

namespace tidemark::anatomy {
namespace {

/// How far a flank may lie from where the tracing put it, mm. Small: dense bone beside a flank can
/// be as bright as half way to the metal.
constexpr double kFlankSlack = 2.5;

/// The tracing may end before the tip: metal may go on for so many mm between the flanks drawn out.
constexpr double kBeyond = 15.0;

cv::Point point(const Vec2& p) {
  return {static_cast<int>(std::lround(p.x())), static_cast<int>(std::lround(p.y()))};
}

cv::Mat1b shrunk(const cv::Mat1b& mask, double radius) {
  cv::Mat1b out = blank<cv::Mat1b>(mask.size());
  const cv::Rect held = cv::boundingRect(mask);
  if (!held.empty()) cv::erode(mask(held), out(held), disc_kernel(radius));
  return out;
}

/// Without what is thinner than the disc.
cv::Mat1b opened(const cv::Mat1b& mask, double radius) {
  cv::Mat1b out = blank<cv::Mat1b>(mask.size());
  const cv::Rect held = cv::boundingRect(mask);
  if (!held.empty()) cv::morphologyEx(mask(held), out(held), cv::MORPH_OPEN, disc_kernel(radius));
  return out;
}

/// Without what is thinner than a stem: bridges to wires or to a cup's rim. A slender tip is
/// thinner as well, but lies on the axis.
cv::Mat1b without_bridges(const cv::Mat1b& mask, const RoughStem& s) {
  // House choices. The hair keeps one kernel at the usual 0.4 mm a pixel, where 1.8 / 0.4 falls on
  // either side of a half.
  constexpr double kBridgeMm = 1.8;
  constexpr double kTipMm = 0.8;
  constexpr double kBesideAxisMm = 2.2;
  constexpr double kHair = 1e-6;
  const Line2 axis = s.axis();
  const double end = along(axis, 0.5 * (s.left.back() + s.right.back()));
  const auto on_axis = [&](double at) { return point(axis.point + at * axis.direction); };
  cv::Mat1b corridor = blank<cv::Mat1b>(mask.size());
  cv::line(corridor, on_axis(end - 2.0 * kBeyond / s.mm), on_axis(end + kBeyond / s.mm),
           cv::Scalar(255), static_cast<int>(std::lround(2.0 * kBesideAxisMm / s.mm)));
  return value_of<cv::Mat1b>(opened(mask, kBridgeMm / s.mm + kHair) |
                             (opened(mask, kTipMm / s.mm) & corridor));
}

void fill_flanks(cv::Mat1b& mask, const RoughStem& s) {
  std::vector<cv::Point> ring;
  for (const Vec2& p : s.left) ring.push_back(point(p));
  for (auto p = s.right.rbegin(); p != s.right.rend(); ++p) ring.push_back(point(*p));
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{ring}, cv::Scalar(255));
}

/// Mean of the image over a mask, spread to everywhere by a Gaussian of its own weights. Worked out
/// on pixels twice as wide: sigma is many of them.
cv::Mat1f spread_mean(const cv::Mat1f& image, const cv::Mat1b& mask, double sigma) {
  cv::Mat1f weight;
  mask.convertTo(weight, CV_32F, 1.0 / 255.0);
  const cv::Size half((image.cols + 1) / 2, (image.rows + 1) / 2);
  cv::Mat1f sum;
  cv::resize(value_of<cv::Mat1f>(image.mul(weight)), sum, half, 0.0, 0.0, cv::INTER_AREA);
  cv::resize(weight, weight, half, 0.0, 0.0, cv::INTER_AREA);
  // A wide and a narrow mean together: near the samples the narrow one rules, far away the wide
  // one still has something to say.
  const double s = 0.5 * sigma;
  const auto blurred = [s](const cv::Mat1f& of) {
    return value_of<cv::Mat1f>(wide_blur(of, s, cv::BORDER_CONSTANT) +
                               0.02F * wide_blur(of, 4.0 * s, cv::BORDER_CONSTANT));
  };
  std::array<cv::Mat1f, 2> both;
  parallel_within(2, [&](std::size_t i) { both.at(i) = blurred(i == 0 ? sum : weight); });
  cv::Mat1f mean;
  cv::resize(value_of<cv::Mat1f>(both[0] / (both[1] + 1e-9F)), mean, image.size(), 0.0, 0.0,
             cv::INTER_LINEAR);
  return mean;
}

/// Half way between the metal and what lies beside it, everywhere.
cv::Mat1f half_way(const cv::Mat1f& image, const cv::Mat1b& inside, const cv::Mat1b& outside,
                   double sigma) {
  std::array<cv::Mat1f, 2> means;
  parallel_within(2, [&](std::size_t i) {
    means.at(i) = spread_mean(image, i == 0 ? inside : outside, sigma);
  });
  return value_of<cv::Mat1f>(0.5F * (means[0] + means[1]));
}

void add_beyond_tip(cv::Mat1b& mask, const RoughStem& s) {
  const Vec2 onward = kBeyond / s.mm * s.axis().direction;
  const std::vector<cv::Point> ring{point(s.left.back()), point(s.right.back()),
                                    point(s.right.back() + onward), point(s.left.back() + onward)};
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{ring}, cv::Scalar(255));
}

/// The shoulder stands lateral and proximal of the first traced row.
void add_shoulder(cv::Mat1b& domain, const RoughStem& s, const Vec2& foot) {
  const Vec2 top = s.left.front();
  const Line2 axis = s.axis();
  const Vec2 up = -axis.direction;
  const Vec2 lateral(-axis.direction.y(), axis.direction.x());
  const Vec2 out = lateral.x() < 0.0 ? lateral : Vec2(-lateral);
  const std::vector<cv::Point> shoulder{
      point(top + 9.0 / s.mm * out), point(top + 9.0 / s.mm * out + 45.0 / s.mm * up),
      point(foot + 45.0 / s.mm * up), point(foot), point(s.right.front())};
  cv::fillPoly(domain, std::vector<std::vector<cv::Point>>{shoulder}, cv::Scalar(255));
}

/// The body drawn on upwards beside the head: where the offset is small its shoulder stands within
/// a cup's reach. Not above the head's middle, where a cup's own rim may stand.
void keep_shoulder(cv::Mat1b& keep, const RoughStem& s) {
  // House choices.
  constexpr double kUpMm = 45.0;
  constexpr double kOutMm = 9.0;
  constexpr double kAboveMiddleMm = 3.0;
  constexpr double kOffHeadMm = 6.0;
  const Line2 axis = s.axis();
  const Vec2 up = -kUpMm / s.mm * axis.direction;
  const Vec2 out = kOutMm / s.mm * Vec2(-std::abs(axis.direction.y()), axis.direction.x());
  cv::Mat1b strip = blank<cv::Mat1b>(keep.size());
  const std::vector<cv::Point> ring{point(s.left.front() + out), point(s.left.front() + out + up),
                                    point(s.right.front() + up), point(s.right.front())};
  cv::fillPoly(strip, std::vector<std::vector<cv::Point>>{ring}, cv::Scalar(255));
  cv::circle(strip, point(s.head.centre),
             static_cast<int>(std::lround(s.head.radius + kOffHeadMm / s.mm)), cv::Scalar(0),
             cv::FILLED);
  const double top = s.head.centre.y() - kAboveMiddleMm / s.mm;
  strip.rowRange(0, std::clamp(static_cast<int>(top), 0, strip.rows)).setTo(0);
  keep |= strip;
}

/// Where stem metal may lie at all: round the flanks, up to the shoulder, along the neck, the head.
/// The cup is metal as well and touches the head: outside the head only the neck's corridor counts.
cv::Mat1b domain_of(const cv::Size& size, const RoughStem& s) {
  cv::Mat1b body = blank<cv::Mat1b>(size);
  fill_flanks(body, s);
  add_beyond_tip(body, s);
  const cv::Mat1b round_flanks = grown(body, kFlankSlack / s.mm);
  cv::Mat1b domain = round_flanks.clone();
  const Vec2 foot = s.neck_foot();
  cv::Mat1b corridor = blank<cv::Mat1b>(size);
  cv::line(corridor, point(s.head.centre), point(foot), cv::Scalar(255),
           static_cast<int>(std::lround(26.0 / s.mm)));
  if (s.look == LookFrom::kFront) add_shoulder(domain, s, foot);
  cv::bitwise_or(domain, corridor, domain);
  // Inside the cup's reach nothing but corridor and head.
  cv::Mat1b near_head = blank<cv::Mat1b>(size);
  // Cups are up to 66 mm wide (common practice, no source): what lies farther out is no cup.
  cv::circle(near_head, point(s.head.centre),
             static_cast<int>(std::lround(std::min(2.1 * s.head.radius, 34.0 / s.mm))),
             cv::Scalar(255), cv::FILLED);
  cv::Mat1b keep;
  cv::bitwise_not(near_head, keep);
  cv::bitwise_or(keep, corridor, keep);
  cv::bitwise_or(keep, round_flanks, keep);
  if (s.look == LookFrom::kFront && s.sure) keep_shoulder(keep, s);
  cv::bitwise_and(domain, keep, domain);
  cv::circle(domain, point(s.head.centre), static_cast<int>(std::lround(s.head.radius)),
             cv::Scalar(255), cv::FILLED);
  return domain;
}

/// The part of `mask` that hangs together with the seeds, holes filled.
cv::Mat1b connected_to(const cv::Mat1b& mask, const cv::Mat1b& seeds) {
  cv::Mat1i labels;
  const int n = cv::connectedComponents(mask, labels, 4);
  std::vector<int> hits(static_cast<std::size_t>(n), 0);
  for (int y = 0; y < mask.rows; ++y) {
    for (int x = 0; x < mask.cols; ++x) {
      if (seeds(y, x) != 0 && labels(y, x) > 0) ++hits[static_cast<std::size_t>(labels(y, x))];
    }
  }
  cv::Mat1b out = blank<cv::Mat1b>(mask.size());
  for (int y = 0; y < mask.rows; ++y) {
    for (int x = 0; x < mask.cols; ++x) {
      if (hits[static_cast<std::size_t>(labels(y, x))] > 20) out(y, x) = 255;
    }
  }
  std::vector<std::vector<cv::Point>> rings;
  cv::findContours(out, rings, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  cv::Mat1b filled = blank<cv::Mat1b>(mask.size());
  cv::drawContours(filled, rings, -1, cv::Scalar(255), cv::FILLED);
  return filled;
}

}  // namespace

Line2 RoughStem::axis() const {
  const std::size_t n = left.size();
  const std::size_t a = n / 2;
  Vec2 mean = Vec2::Zero();
  for (std::size_t i = a; i < n; ++i) mean += 0.5 * (left[i] + right[i]);
  mean /= static_cast<double>(n - a);
  Eigen::Matrix2d scatter = Eigen::Matrix2d::Zero();
  for (std::size_t i = a; i < n; ++i) {
    const Vec2 d = 0.5 * (left[i] + right[i]) - mean;
    scatter += d * d.transpose();
  }
  const double angle = 0.5 * std::atan2(2.0 * scatter(0, 1), scatter(0, 0) - scatter(1, 1));
  Vec2 direction(std::cos(angle), std::sin(angle));
  if (direction.y() < 0.0) direction = -direction;
  return {mean, direction};
}

Vec2 RoughStem::neck_foot() const {
  const Line2 line = axis();
  // From the side the flanks were traced up to the head.
  if (look == LookFrom::kSide)
    return 0.5 * (left.front() + right.front()) + 4.0 / mm * line.direction;
  const double s = along(line, head.centre);
  const Vec2 foot = line.point + s * line.direction;
  // A neck at 125 to 145 degrees to the stem descends 0.7 to 1.4 mm per mm of offset.
  return foot + 0.9 * (head.centre - foot).norm() * line.direction;
}

RoughStem drawn_out(RoughStem rough, double mm_more) {
  const Vec2 direction = rough.axis().direction;
  const Vec2 left = rough.left.back();
  const Vec2 right = rough.right.back();
  const int rows = static_cast<int>(std::lround(mm_more));
  for (int i = 1; i <= rows; ++i) {
    rough.left.push_back(left + i / rough.mm * direction);
    rough.right.push_back(right + i / rough.mm * direction);
  }
  return rough;
}

bool goes_on(const cv::Mat1b& mask, const RoughStem& rough) {
  const Vec2 onward = (kBeyond - 1.5) / rough.mm * rough.axis().direction;
  constexpr int kPoints = 16;
  int filled = 0;
  for (int i = 1; i < kPoints; ++i) {
    const double t = static_cast<double>(i) / kPoints;
    const cv::Point p = point((1.0 - t) * rough.left.back() + t * rough.right.back() + onward);
    if (p.x >= 0 && p.y >= 0 && p.x < mask.cols && p.y < mask.rows && mask(p) != 0) ++filled;
  }
  return filled > kPoints / 2;
}

bool reaches_head(const cv::Mat1b& mask, const RoughStem& s) {
  cv::Mat1i labels;
  cv::connectedComponents(mask, labels, 8);
  const auto label = [&](const Vec2& p) {
    const cv::Point q = point(p);
    return q.x >= 0 && q.y >= 0 && q.x < labels.cols && q.y < labels.rows ? labels(q) : 0;
  };
  const std::size_t middle = s.left.size() / 2;
  const int body = label(0.5 * (s.left[middle] + s.right[middle]));
  if (body == 0) return false;
  // The field may end within the head, beyond its middle: its part next to the neck counts as well.
  constexpr double kNearNeck = 0.8;  // of the radius
  const Vec2 to_neck = (s.neck_foot() - s.head.centre).normalized();
  return label(s.head.centre) == body ||
         label(s.head.centre + kNearNeck * s.head.radius * to_neck) == body;
}

namespace {

/// The part of an image that a stem and what lies beside it can touch.
cv::Rect region_of(const cv::Size& size, const RoughStem& s) {
  Vec2 low = s.head.centre;
  Vec2 high = s.head.centre;
  for (const Polyline* flank : {&s.left, &s.right}) {
    for (const Vec2& p : *flank) {
      low = low.cwiseMin(p);
      high = high.cwiseMax(p);
    }
  }
  constexpr double kRound = 60.0;  // mm: shoulder, the run beyond the tip, and the ground beside
  const double margin = kRound / s.mm;
  const cv::Rect wanted(point(low - Vec2(margin, margin)), point(high + Vec2(margin, margin)));
  return wanted & cv::Rect({0, 0}, size);
}

RoughStem moved(RoughStem s, const Vec2& by) {
  s.head.centre += by;
  for (Vec2& p : s.left) p += by;
  for (Vec2& p : s.right) p += by;
  return s;
}

/// What rises over less than 9 mm along the stem, by a good part of metal's own step: a wire round
/// the bone is no example of what lies beside the stem.
cv::Mat1b wires(const cv::Mat1f& image, const cv::Mat1b& body, const cv::Mat1b& beside, double mm) {
  const int tall = static_cast<int>(std::lround(9.0 / mm)) | 1;
  cv::Mat1f opened;
  cv::morphologyEx(image, opened, cv::MORPH_OPEN,
                   cv::getStructuringElement(cv::MORPH_RECT, {1, tall}));
  const double step = cv::mean(image, body)[0] - cv::mean(image, beside)[0];
  return grown(value_of<cv::Mat1b>(image - opened > std::max(0.0, 0.6 * step)), 1.0 / mm);
}

/// The core between the traced flanks on every row of which the mask holds a good part already:
/// where the thigh's edge shades a stem from side to side, half of it can be darker than half way.
/// Rows beyond the metal's end hold nothing of the mask and stay empty.
void fill_core(cv::Mat1b& mask, const cv::Mat1b& core) {
  constexpr double kGoodPart = 0.4;  // house choice
  for (int y = 0; y < mask.rows; ++y) {
    const int wide = cv::countNonZero(core.row(y));
    const int held = cv::countNonZero(value_of<cv::Mat1b>(core.row(y) & mask.row(y)));
    if (wide > 0 && held >= kGoodPart * wide) mask.row(y) |= core.row(y);
  }
}

cv::Mat1b mask_within(const cv::Mat1f& image, const RoughStem& s) {
  const cv::Mat1b domain = domain_of(image.size(), s);
  auto body = blank<cv::Mat1b>(image.size());
  fill_flanks(body, s);
  // A head is often brighter by far than a titanium stem: it is metal by position, not by grey.
  auto head = blank<cv::Mat1b>(image.size());
  cv::circle(head, point(s.head.centre), static_cast<int>(std::lround(1.1 * s.head.radius)),
             cv::Scalar(255), cv::FILLED);
  const cv::Mat1b body_core = shrunk(body, 1.5 / s.mm);
  cv::Mat1b inside = body_core.clone();
  // What lies beside the traced flanks; the cup's side of the head is no example of "beside".
  auto outside = value_of<cv::Mat1b>(grown(body, 6.0 / s.mm) - grown(body, 2.0 / s.mm));
  outside.rowRange(0, std::clamp(static_cast<int>(s.left.front().y() + 4.0 / s.mm), 0, image.rows))
      .setTo(0);
  const cv::Mat1b wire = wires(image, body_core, outside, s.mm);
  cv::Mat1b mask;
  double sigma = 6.0 / s.mm;
  for (int round = 0; round < 3; ++round) {
    outside.setTo(0, wire);
    mask = (image > half_way(image, inside, outside, sigma)) & domain;
    cv::circle(mask, point(s.head.centre), static_cast<int>(std::lround(s.head.radius)),
               cv::Scalar(255), cv::FILLED);
    mask = connected_to(mask, body_core);
    mask = without_bridges(mask, s);
    if (s.core == Core::kMetal) fill_core(mask, body_core);
    mask = connected_to(mask, body_core);
    inside = shrunk(mask, 1.5 / s.mm);
    inside.setTo(0, head);
    outside = (grown(mask, 6.0 / s.mm) - grown(mask, 2.0 / s.mm)) & domain;
    sigma = 4.0 / s.mm;
  }
  return mask;
}

}  // namespace

cv::Mat1b stem_mask(const cv::Mat1f& image, const RoughStem& s) {
  const cv::Rect region = region_of(image.size(), s);
  cv::Mat1b mask = blank<cv::Mat1b>(image.size());
  if (region.width < 50 || region.height < 50) return mask;
  mask_within(image(region), moved(s, Vec2(-region.x, -region.y))).copyTo(mask(region));
  return mask;
}

}  // namespace tidemark::anatomy
