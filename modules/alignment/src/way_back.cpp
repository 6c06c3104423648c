#include "way_back.h"

#include "matcher.h"

namespace tidemark::alignment {

Raster carried(const Raster& region, const PreparedFilm::Levels& fixed,
               const PreparedFilm::Levels& moving, const Rigid2& moving_from_fixed) {
  Raster out(moving.width, moving.height);
  const Rigid2 back = moving_from_fixed.inverse();
  const Eigen::Matrix2d turn = moving.mm_per_px / fixed.mm_per_px * back.rotation();
  // Half a pixel on, so that cutting off the fraction rounds.
  const Vec2 origin = back.translation / fixed.mm_per_px + Vec2::Constant(0.5);
  for (int y = 0; y < moving.height; ++y) {
    const Vec2 row = origin + static_cast<double>(y) * turn.col(1);
    for (int x = 0; x < moving.width; ++x) {
      const Vec2 p = row + static_cast<double>(x) * turn.col(0);
      if (!(p.x() >= 0.0 && p.y() >= 0.0 && p.x() < region.width && p.y() < region.height))
        continue;
      out.at(x, y) = region.at(static_cast<int>(p.x()), static_cast<int>(p.y()));
    }
  }
  return out;
}

std::optional<Eigen::Vector3d> loop_error(const PreparedFilm::Levels& fixed, const Raster& region,
                                          const PreparedFilm::Levels& moving,
                                          const Alignment& there, const AlignOptions& options) {
  const Rigid2& found = there.moving_from_fixed_mm;
  const std::size_t level = fixed.levels.size() > 1 ? fixed.levels.size() - 2 : 0;
  const auto voters = region_on(moving.levels[level], carried(region, fixed, moving, found));
  if (!voters) return std::nullopt;
  const Matcher::Frame frame{found.inverse(), voters->centre_mm, voters->radius_mm, kWayBackMm};
  Matcher matcher(moving.levels[level], *voters, fixed.levels[level], frame, Freedom::kRigid,
                  options);
  const Match match = matcher.slide({}, Exactness::kNear);
  const Rigid2 loop = frame.base.after(match.motion.about(frame.centre_mm)).after(found);
  const Vec2 shift = loop.apply(there.centre_mm) - there.centre_mm;
  if (match.overlap < options.least_overlap || shift.norm() > kWayBackMm) return std::nullopt;
  return Eigen::Vector3d(shift.x(), shift.y(), loop.angle_rad);
}

}  // namespace tidemark::alignment
