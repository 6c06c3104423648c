#pragma once

#include "tidemark/migration/migration.h"

namespace tidemark::migration {

/// The anatomical frame of a film, in mm of its hip view.
struct AnatomicalFrame {
  Vec2 origin = Vec2::Zero();   ///< the stem's reference point
  Vec2 distal = Vec2::UnitY();  ///< along the shaft axis
  Vec2 medial = Vec2::UnitX();

  [[nodiscard]] Vec2 of(const Vec2& p_mm) const {  ///< (medial, distal)
    const Vec2 d = p_mm - origin;
    return {d.dot(medial), d.dot(distal)};
  }
};

/// Along the shaft; along the stem where no shaft's axis is seen.
[[nodiscard]] AnatomicalFrame anatomical_frame(const MeasuredFilm& film);
/// The same origin, along the stem.
[[nodiscard]] AnatomicalFrame frame_along_stem(const MeasuredFilm& film);

}  // namespace tidemark::migration
