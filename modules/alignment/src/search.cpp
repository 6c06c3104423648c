#include "search.h"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "tidemark/core/parallel.h"

namespace tidemark::alignment {
namespace {

/// Unit gradients of a whole level at its pixels, 0 at the rim.
struct Field {
  long columns = 0;
  long rows = 0;
  std::vector<float> x;
  std::vector<float> y;
};

Field unit_field(const FloatImage& image, double noise_floor) {
  const auto size = image.GetBufferedRegion().GetSize();
  Field field{static_cast<long>(size[0]), static_cast<long>(size[1]), {}, {}};
  field.x.resize(size[0] * size[1], 0.0F);
  field.y.resize(size[0] * size[1], 0.0F);
  const float* v = image.GetBufferPointer();
  const auto scale = static_cast<float>(0.5 / image.GetSpacing()[0]);
  const auto floor2 = static_cast<float>(noise_floor * noise_floor);
  for (std::size_t row = 1; row + 1 < size[1]; ++row) {
    for (std::size_t column = 1; column + 1 < size[0]; ++column) {
      const std::size_t i = row * size[0] + column;
      const float gx = scale * (v[i + 1] - v[i - 1]);
      const float gy = scale * (v[i + size[0]] - v[i - size[0]]);
      const float inverse = 1.0F / std::sqrt(gx * gx + gy * gy + floor2);
      field.x[i] = gx * inverse;
      field.y[i] = gy * inverse;
    }
  }
  return field;
}

/// A voting pixel of the fixed level.
struct Voter {
  Vec2 at_mm;
  Vec2 unit;
  float weight;
  float energy;
};

float agreement_of(float cosine, NgfAgreement kind) {
  if (kind == NgfAgreement::kSquaredCosine) return cosine * cosine;
  if (kind == NgfAgreement::kCosine) return cosine;
  const float positive = std::max(cosine, 0.0F);
  return kind == NgfAgreement::kSquaredPositive ? positive * positive : positive;
}

std::vector<Voter> voters_of(const Level& fixed, const LevelRegion& region, const Field& field,
                             NgfAgreement kind) {
  std::vector<Voter> voters;
  const auto& box = region.box_px;
  for (long row = box[2]; row <= box[3]; ++row) {
    for (long column = box[0]; column <= box[1]; ++column) {
      const auto i = static_cast<std::size_t>(row * field.columns + column);
      const float weight = region.weights->GetPixel({{column, row}});
      const Vec2 unit(field.x[i], field.y[i]);
      // A pixel deep under the noise floor says nothing: leave it out of the long search.
      if (!(weight > 0.0F) || unit.squaredNorm() < 0.1) continue;
      FloatImage::PointType point;
      fixed.image->TransformIndexToPhysicalPoint({{column, row}}, point);
      voters.push_back({Vec2(point[0], point[1]), unit, weight,
                        agreement_of(static_cast<float>(unit.norm()), kind)});
    }
  }
  return voters;
}

/// A voter turned and moved to the moving level: nearest pixel and direction there.
struct Landed {
  long column;
  long row;
  float x;
  float y;
  float weight;
  float energy;
};

std::vector<Landed> land(const std::vector<Voter>& voters, const Rigid2& moving_from_fixed,
                         const FloatImage& moving) {
  std::vector<Landed> landed;
  landed.reserve(voters.size());
  const Eigen::Matrix2d rotation = moving_from_fixed.rotation();
  for (const Voter& voter : voters) {
    const Vec2 p = moving_from_fixed.apply(voter.at_mm);
    const Vec2 unit = rotation * voter.unit;
    landed.push_back({std::lround((p.x() - moving.GetOrigin()[0]) / moving.GetSpacing()[0]),
                      std::lround((p.y() - moving.GetOrigin()[1]) / moving.GetSpacing()[1]),
                      static_cast<float>(unit.x()), static_cast<float>(unit.y()), voter.weight,
                      voter.energy});
  }
  return landed;
}

double score(const std::vector<Landed>& landed, const Field& field, const float* usable,
             long columns, long rows, NgfAgreement kind) {
  float agreement = 0.0F;
  float voted = 0.0F;
  float all = 0.0F;
  for (const Landed& l : landed) {
    const long x = l.column + columns;
    const long y = l.row + rows;
    all += l.weight * l.energy;
    if (x < 0 || y < 0 || x >= field.columns || y >= field.rows) continue;
    const auto i = static_cast<std::size_t>(y * field.columns + x);
    const float weight = l.weight * usable[i];
    agreement += weight * agreement_of(l.x * field.x[i] + l.y * field.y[i], kind);
    voted += weight * l.energy;
  }
  return voted > 0.0F ? agreement / std::sqrt(static_cast<double>(voted) * all) : 0.0;
}

/// Scores on a grid of (angle, row, column), each counted from -half to +half.
struct Scores {
  std::array<long, 3> half{};
  std::vector<double> values;

  [[nodiscard]] double& at(long a, long y, long x) {
    return values[static_cast<std::size_t>(
        ((a + half[0]) * (2 * half[1] + 1) + y + half[1]) * (2 * half[2] + 1) + x + half[2])];
  }
  /// Higher than its neighbours (ties: the first in order counts as higher).
  [[nodiscard]] bool is_peak(long a, long y, long x) {
    const double here = at(a, y, x);
    for (long da = -1; da <= 1; ++da) {
      for (long dy = -1; dy <= 1; ++dy) {
        for (long dx = -1; dx <= 1; ++dx) {
          if (da == 0 && dy == 0 && dx == 0) continue;
          if (std::abs(a + da) > half[0] || std::abs(y + dy) > half[1] ||
              std::abs(x + dx) > half[2]) {
            continue;
          }
          const double there = at(a + da, y + dy, x + dx);
          const bool earlier = std::tie(da, dy, dx) < std::tuple(0L, 0L, 0L);
          if (there > here || (earlier && there == here)) return false;
        }
      }
    }
    return true;
  }
};

}  // namespace

std::vector<Motion> search(const Level& fixed, const LevelRegion& region, const Level& moving,
                           const Matcher::Frame& frame, const std::array<double, 2>& noise_floors,
                           const SearchRange& range, const AlignOptions& options,
                           std::size_t most) {
  const Field fixed_field = unit_field(*fixed.image, noise_floors[0]);
  const Field moving_field = unit_field(*moving.image, noise_floors[1]);
  const auto voters = voters_of(fixed, region, fixed_field, options.agreement);
  const double step_mm = moving.image->GetSpacing()[0];
  const double step_rad = step_mm / std::max(frame.radius_mm, step_mm);
  const Eigen::Matrix2d to_fixed_axes = frame.base.rotation().transpose();
  Scores scores;
  scores.half = {std::lround(range.angle_rad / step_rad), std::lround(range.along_mm / step_mm),
                 std::lround(range.across_mm / step_mm)};
  const auto angles = static_cast<std::size_t>(2 * scores.half[0] + 1);
  scores.values.resize(
      angles * static_cast<std::size_t>((2 * scores.half[1] + 1) * (2 * scores.half[2] + 1)));
  parallel_within(angles, [&](std::size_t i) {
    const long a = static_cast<long>(i) - scores.half[0];
    const Motion turn{static_cast<double>(a) * step_rad, Vec2::Zero()};
    const auto landed = land(voters, frame.base.after(turn.about(frame.centre_mm)), *moving.image);
    for (long y = -scores.half[1]; y <= scores.half[1]; ++y) {
      for (long x = -scores.half[2]; x <= scores.half[2]; ++x) {
        scores.at(a, y, x) =
            score(landed, moving_field, moving.usable->GetBufferPointer(), x, y, options.agreement);
      }
    }
  });
  std::vector<std::pair<double, Motion>> peaks;
  for (long a = -scores.half[0]; a <= scores.half[0]; ++a) {
    for (long y = -scores.half[1]; y <= scores.half[1]; ++y) {
      for (long x = -scores.half[2]; x <= scores.half[2]; ++x) {
        if (!scores.is_peak(a, y, x)) continue;
        const Vec2 there = step_mm * Vec2(static_cast<double>(x), static_cast<double>(y));
        peaks.push_back(
            {scores.at(a, y, x), {static_cast<double>(a) * step_rad, to_fixed_axes * there}});
      }
    }
  }
  std::stable_sort(peaks.begin(), peaks.end(),
                   [](const auto& l, const auto& r) { return l.first > r.first; });
  std::vector<Motion> best;
  for (const auto& peak : peaks) {
    if (best.size() < most) best.push_back(peak.second);
  }
  return best;
}

}  // namespace tidemark::alignment
