#pragma once

#include <cstdint>
#include <filesystem>

#include "tidemark/core/expected.h"
#include "tidemark/core/raster.h"
#include "tidemark/film/film.h"

namespace tidemark::film {

/// The stored matrix of a file, untouched: for checks against other readers and for showing what a
/// file holds.
///
/// `values`: stored values, row by row as in the file, masked to the stored bits and sign-extended,
/// before modality LUT, rescale, window and inversion. Of several frames the first.
struct StoredFilm {
  RasterOf<std::int32_t> values;
  FilmFacts facts;
};

/// Reads stored values of any greyscale DICOM image (whatever its modality), PNG, TIFF or JPEG.
/// @return kBadInput as read() does, and for pictures of floating-point numbers; but accepts
///         modalities that are no radiographs and matrices of one single value.
[[nodiscard]] Expected<StoredFilm> read_stored(const std::filesystem::path& file);

}  // namespace tidemark::film
