#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "tidemark/core/expected.h"
#include "tidemark/film/film.h"

namespace tidemark::film {

/// What a DICOM object says of itself beside its pixels: enough to sort a heap of files by patient,
/// side and date. `patient_id` and `issuer` identify a person: they may be hashed with a key and
/// compared, never written, printed or logged.
struct FilmHeader {
  FilmFacts facts;  ///< without what needs the pixels
  bool has_pixels = false;
  std::optional<std::string> patient_id;  ///< (0010,0020), bytes without spaces at the ends
  std::optional<std::string> issuer;      ///< (0010,0021)
  std::optional<std::string> time;        ///< of acquisition or content, as written; orders a day
};

/// Reads the header of a DICOM file; the pixels are not decoded.
/// @return kBadInput as read() does for a file that is missing, empty, damaged or no DICOM object.
[[nodiscard]] Expected<FilmHeader> read_header(const std::filesystem::path& file);

/// Whether read() would take the file for a DICOM object by its first bytes, which may be those of
/// one that lost its preamble; nothing when the file cannot be opened.
[[nodiscard]] std::optional<bool> starts_like_dicom(const std::filesystem::path& file);

}  // namespace tidemark::film
