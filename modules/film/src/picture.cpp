#include <itkJPEGImageIO.h>
#include <itkPNGImageIO.h>
#include <itkTIFFImageIO.h>

#include <cmath>
#include <cstring>
#include <mutex>
#include <utility>

#include "loaded.h"
#include "picture_header.h"
#include "words.h"

namespace tidemark::film {
namespace {

using Io = itk::ImageIOBase;

itk::ImageIOBase::Pointer io_for(PictureKind kind) {
  static std::once_flag once;
  std::call_once(once, [] { itk::Object::SetGlobalWarningDisplay(false); });
  switch (kind) {
    case PictureKind::kPng:
      return itk::PNGImageIO::New().GetPointer();
    case PictureKind::kTiff:
      return itk::TIFFImageIO::New().GetPointer();
    case PictureKind::kJpeg:
      return itk::JPEGImageIO::New().GetPointer();
  }
  return nullptr;
}

tl::unexpected<Error> damaged(const std::string& name) {
  return fail(ErrorKind::kBadInput, name, "a damaged picture", "save it again as PNG or TIFF");
}

/// The grey channel of interleaved samples; absent when the channels differ (a colour picture).
/// Two channels are grey and opacity, four are colour and opacity; opacity is dropped.
template <class T>
std::optional<std::vector<T>> grey_of(const std::vector<T>& samples, std::size_t channels) {
  if (channels == 1) return samples;
  std::vector<T> grey(samples.size() / channels);
  for (std::size_t i = 0; i < grey.size(); ++i) {
    const T* p = samples.data() + i * channels;
    if (channels >= 3 && (p[0] != p[1] || p[0] != p[2])) return std::nullopt;
    grey[i] = p[0];
  }
  return grey;
}

/// Reads all samples, whatever ITK says of them, as type T.
template <class T>
Expected<std::vector<T>> samples_of(Io& io, const PictureHeader& header, const std::string& name) {
  const std::size_t pixels =
      static_cast<std::size_t>(header.columns) * static_cast<std::size_t>(header.rows);
  std::vector<T> samples(pixels * io.GetNumberOfComponents());
  io.Read(samples.data());
  auto grey = grey_of(samples, io.GetNumberOfComponents());
  if (!grey) {
    return fail(ErrorKind::kBadInput, name, "a colour picture", "save it as a greyscale picture");
  }
  return std::move(*grey);
}

template <class T>
Expected<LoadedFilm> with_codes(Io& io, const PictureHeader& header, const std::string& name) {
  auto samples = samples_of<T>(io, header, name);
  if (!samples) return tl::unexpected(samples.error());
  LoadedFilm film;
  film.codes = RasterOf<std::uint16_t>(header.columns, header.rows);
  for (std::size_t i = 0; i < samples->size(); ++i) {
    film.codes.values[i] = static_cast<std::uint16_t>((*samples)[i]);
  }
  const bool is_signed = std::is_signed_v<T>;
  const float sign = header.white_is_zero ? -1.0F : 1.0F;
  constexpr int kCodes = 65536;
  film.value_of_code.resize(kCodes);
  film.grey_of_code.resize(kCodes);
  for (int code = 0; code < kCodes; ++code) {
    const int value = is_signed ? static_cast<std::int16_t>(code) : code;
    film.value_of_code[static_cast<std::size_t>(code)] = value;
    film.grey_of_code[static_cast<std::size_t>(code)] = sign * static_cast<float>(value);
  }
  return film;
}

template <class T>
Expected<LoadedFilm> with_floats(Io& io, const PictureHeader& header, const std::string& name) {
  auto samples = samples_of<T>(io, header, name);
  if (!samples) return tl::unexpected(samples.error());
  LoadedFilm film;
  film.floats = Raster(header.columns, header.rows);
  const double sign = header.white_is_zero ? -1.0 : 1.0;
  for (std::size_t i = 0; i < samples->size(); ++i) {
    const auto value = static_cast<float>(sign * static_cast<double>((*samples)[i]));
    if (!std::isfinite(value)) {
      return fail(ErrorKind::kBadInput, name, "pixels that are no numbers",
                  "save it again as a 16-bit greyscale picture");
    }
    film.floats.values[i] = value;
  }
  return film;
}

Expected<LoadedFilm> decode(Io& io, const PictureHeader& header, const std::string& name) {
  switch (io.GetComponentType()) {
    case itk::IOComponentEnum::UCHAR:
      return with_codes<std::uint8_t>(io, header, name);
    case itk::IOComponentEnum::CHAR:
      return with_codes<std::int8_t>(io, header, name);
    case itk::IOComponentEnum::USHORT:
      return with_codes<std::uint16_t>(io, header, name);
    case itk::IOComponentEnum::SHORT:
      return with_codes<std::int16_t>(io, header, name);
    case itk::IOComponentEnum::UINT:
      return with_floats<std::uint32_t>(io, header, name);
    case itk::IOComponentEnum::INT:
      return with_floats<std::int32_t>(io, header, name);
    case itk::IOComponentEnum::FLOAT:
      return with_floats<float>(io, header, name);
    default:
      return fail(ErrorKind::kBadInput, name, "a kind of pixel that no film has",
                  "save it as a 16-bit greyscale picture");
  }
}

void describe(FilmFacts& facts, const PictureHeader& header, unsigned channels) {
  facts.format = header.kind == PictureKind::kPng    ? "PNG"
                 : header.kind == PictureKind::kTiff ? "TIFF"
                                                     : "JPEG";
  facts.bits_stored = header.bits;
  if (channels > 2) facts.notes.emplace_back("a grey picture stored as colour");
  if (channels == 2 || channels == 4) facts.notes.emplace_back("the opacity was ignored");
  if (header.has_resolution) {
    facts.notes.emplace_back(
        "the picture's print resolution was ignored: it says nothing about the patient");
  }
  facts.notes.emplace_back("not a DICOM film: greys, side and orientation are taken as shown");
}

}  // namespace

Expected<LoadedFilm> load_picture(const std::filesystem::path& file,
                                  std::span<const std::byte> bytes, const std::string& name) {
  const auto header = inspect_picture(bytes, name);
  if (!header) return tl::unexpected(header.error());
  try {
    const auto io = io_for(header->kind);
    io->SetFileName(file.string());
    io->ReadImageInformation();
    // One picture of the size we checked: anything else is a file ITK reads in another way.
    const std::size_t pixels =
        static_cast<std::size_t>(header->columns) * static_cast<std::size_t>(header->rows);
    if (io->GetImageSizeInPixels() != static_cast<Io::SizeType>(pixels) ||
        io->GetNumberOfComponents() < 1 || io->GetNumberOfComponents() > 4) {
      return damaged(name);
    }
    itk::ImageIORegion region(io->GetNumberOfDimensions());
    for (unsigned d = 0; d < io->GetNumberOfDimensions(); ++d) {
      region.SetSize(d, io->GetDimensions(d));
      region.SetIndex(d, 0);
    }
    io->SetIORegion(region);
    auto film = decode(*io, *header, name);
    if (film) describe(film->facts, *header, io->GetNumberOfComponents());
    return film;
  } catch (const std::exception&) {
    return damaged(name);
  }
}

}  // namespace tidemark::film
