#include <algorithm>
#include <cmath>
#include <utility>

#include "loaded.h"
#include "picture_header.h"
#include "picture_samples.h"
#include "words.h"

namespace tidemark::film {
namespace {

GreyOrFault decode(std::span<const std::byte> bytes, const PictureHeader& header) {
  switch (header.kind) {
    case PictureKind::kPng:
      return decode_png(bytes, header);
    case PictureKind::kTiff:
      return decode_tiff(bytes, header);
    case PictureKind::kJpeg:
      return decode_jpeg(bytes, header);
  }
  return tl::unexpected(PictureFault::kUnsupported);
}

tl::unexpected<Error> refusal(PictureFault fault, const std::string& name) {
  switch (fault) {
    case PictureFault::kDamaged:
      return fail(ErrorKind::kBadInput, name, "a damaged picture", "save it again as PNG or TIFF");
    case PictureFault::kColour:
      return fail(ErrorKind::kBadInput, name, "a colour picture", "save it as a greyscale picture");
    case PictureFault::kUnsupported:
      break;
  }
  return fail(ErrorKind::kBadInput, name, "a kind of picture that is not supported",
              "save it as a plain 16-bit greyscale PNG or TIFF");
}

void fill_tables(LoadedFilm& film, const PictureHeader& header, bool is_signed) {
  constexpr int kCodes = 65536;
  const float white = is_signed ? 0.0F : static_cast<float>((1 << std::min(header.bits, 16)) - 1);
  film.value_of_code.resize(kCodes);
  film.grey_of_code.resize(kCodes);
  for (int code = 0; code < kCodes; ++code) {
    const int value = is_signed ? static_cast<std::int16_t>(code) : code;
    film.value_of_code[static_cast<std::size_t>(code)] = value;
    const auto grey = static_cast<float>(value);
    film.grey_of_code[static_cast<std::size_t>(code)] = header.white_is_zero ? white - grey : grey;
  }
}

FilmFacts facts_of(const PictureHeader& header, int channels) {
  FilmFacts facts;
  facts.format = header.kind == PictureKind::kPng    ? "PNG"
                 : header.kind == PictureKind::kTiff ? "TIFF"
                                                     : "JPEG";
  facts.bits_stored = header.bits;
  if (channels > 2) facts.notes.emplace_back("a grey picture stored as colour");
  if (channels == 2 || channels == 4) facts.notes.emplace_back("the opacity was ignored");
  if (header.pixel_height_per_width != 1.0) {
    facts.notes.emplace_back(
        "the picture's print resolution was used for the shape of its pixels alone");
  } else if (header.has_resolution) {
    facts.notes.emplace_back(
        "the picture's print resolution was ignored: it says nothing about the patient");
  }
  facts.notes.emplace_back("not a DICOM film: greys, side and orientation are taken as shown");
  return facts;
}

}  // namespace

Expected<LoadedFilm> load_picture(std::span<const std::byte> bytes, const std::string& name) {
  const auto header = inspect_picture(bytes, name);
  if (!header) return tl::unexpected(header.error());
  auto samples = decode(bytes, *header);
  if (!samples) return refusal(samples.error(), name);
  if (samples->channels > 2 && !samples->greys.is_grey()) {
    return refusal(PictureFault::kColour, name);
  }
  LoadedFilm film;
  film.facts = facts_of(*header, samples->channels);
  film.pixel_height_per_width = header->pixel_height_per_width;
  if (samples->greys.has_colour()) film.facts.notes.emplace_back(kColouredMarks);
  if (samples->numbers.empty()) {
    film.codes.width = header->columns;
    film.codes.height = header->rows;
    film.codes.values = std::move(samples->codes);
    fill_tables(film, *header, samples->is_signed);
    return film;
  }
  film.floats.width = header->columns;
  film.floats.height = header->rows;
  film.floats.values = std::move(samples->numbers);
  for (float& value : film.floats.values) {
    if (!std::isfinite(value)) {
      return fail(ErrorKind::kBadInput, name, "pixels that are no numbers",
                  "save it again as a 16-bit greyscale picture");
    }
    if (header->white_is_zero) value = -value;
  }
  return film;
}

}  // namespace tidemark::film
