#pragma once

#include <optional>
#include <vector>

#include "tidemark/film/field.h"

namespace tidemark::film {

/// Which device a header describes.
enum class FieldDevice { kShutter, kCollimator };

/// One of the two as a header states it: the field lies within all outlines, px of the stored
/// matrix (the first pixel's centre is (0, 0)). Nothing is checked against the pixels.
struct StatedField {
  FieldDevice device = FieldDevice::kShutter;
  std::vector<Outline> outlines;  ///< not empty
};

/// The field that the pixels show and what of the stated ones the pixels do not contradict
/// (read_in_field tells the rule). What was used or left aside goes to film.facts.notes.
[[nodiscard]] std::optional<ExposedField> field_of(FilmImage& film,
                                                   const std::vector<StatedField>& stated);

}  // namespace tidemark::film
