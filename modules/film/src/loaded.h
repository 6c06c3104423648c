#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "stated_field.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/raster.h"
#include "tidemark/film/film.h"

namespace tidemark::film {

/// A film as its file format gives it, before it is turned upright.
///
/// Either `codes` (the stored bit patterns, with what each of them means) or `floats` is filled.
struct LoadedFilm {
  FilmFacts facts;
  RasterOf<std::uint16_t> codes;
  std::vector<std::int32_t> value_of_code;  ///< stored value as the file means it
  std::vector<float> grey_of_code;          ///< bright = more absorbing, close to log exposure
  Raster floats;                            ///< bright = more absorbing
  double pixel_height_per_width = 1.0;      ///< of the stored matrix
  std::vector<StatedField> stated_fields;
};

/// Reads a DICOM object from memory; the bytes are released as early as possible.
/// @param name  subject of errors.
[[nodiscard]] Expected<LoadedFilm> load_dicom(std::vector<std::byte> bytes,
                                              const std::string& name);

/// Reads a PNG, TIFF or JPEG from memory.
/// @param name  subject of errors.
[[nodiscard]] Expected<LoadedFilm> load_picture(std::span<const std::byte> bytes,
                                                const std::string& name);

/// Checks a matrix size before anything is allocated for it.
/// @return kBadInput when a side is below kMinFilmSide or there are more than kMaxFilmPixels.
[[nodiscard]] Expected<void> check_size(std::int64_t columns, std::int64_t rows,
                                        const std::string& name);

}  // namespace tidemark::film
