#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <string>
#include <utility>

#include "dicom_stream.h"
#include "limits.h"
#include "loaded.h"
#include "orientation.h"
#include "picture_header.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "tidemark/film/field.h"
#include "tidemark/film/film.h"
#include "tidemark/film/stored.h"
#include "words.h"

namespace tidemark::film {
namespace {

/// Modalities that are no projections through a patient (DICOM PS3.3 C.7.3.1.1.1).
constexpr std::array kNoRadiograph{"CT",    "MR",  "PT", "NM", "US",  "IVUS", "OCT",
                                   "IVOCT", "ES",  "GM", "SM", "XC",  "OP",   "OPT",
                                   "ECG",   "EPS", "HD", "AU", "BMD", "BDUS"};

bool one_value(const LoadedFilm& film) {
  const auto same = [](const auto& values) {
    return std::all_of(values.begin(), values.end(), [&](auto v) { return v == values.front(); });
  };
  if (!film.floats.empty()) return same(film.floats.values);
  const auto grey = [&](std::uint16_t code) { return film.grey_of_code[code]; };
  const auto& codes = film.codes.values;
  return std::all_of(codes.begin(), codes.end(),
                     [&](std::uint16_t c) { return grey(c) == grey(codes.front()); });
}

Expected<LoadedFilm> load(const std::filesystem::path& path) {
  const std::string name = path.filename().string();
  auto bytes = read_file(path, kMaxFilmBytes);
  if (!bytes) return tl::unexpected(bytes.error());
  if (bytes->empty()) return fail(ErrorKind::kBadInput, name, "an empty file", kExportAgain);
  const std::string sha256 = sha256_hex(*bytes);
  const auto loaded = [&]() -> Expected<LoadedFilm> {
    if (is_dicom(*bytes)) return load_dicom(std::move(*bytes), name);
    if (picture_kind(*bytes)) return load_picture(*bytes, name);
    if (may_be_dicom(*bytes)) return load_dicom(std::move(*bytes), name);
    return fail(ErrorKind::kBadInput, name, "not an image (neither DICOM, PNG, TIFF nor JPEG)",
                "give the radiograph itself");
  };
  auto film = loaded();
  if (!film) return film;
  film->facts.file = name;
  film->facts.sha256 = sha256;
  const bool has_floats = !film->floats.empty();
  film->facts.stored_columns = has_floats ? film->floats.width : film->codes.width;
  film->facts.stored_rows = has_floats ? film->floats.height : film->codes.height;
  return film;
}

Expected<void> check_content(const LoadedFilm& film, const std::string& name) {
  const auto& modality = film.facts.modality;
  if (std::find(kNoRadiograph.begin(), kNoRadiograph.end(), modality) != kNoRadiograph.end()) {
    return fail(ErrorKind::kBadInput, name, "not a radiograph (modality " + modality + ")",
                "leave it out");
  }
  if (one_value(film)) {
    return fail(ErrorKind::kBadInput, name, "every pixel has the same value", kExportAgain);
  }
  if (film.pixel_height_per_width > kMaxPixelAspect ||
      film.pixel_height_per_width < 1.0 / kMaxPixelAspect) {
    return fail(ErrorKind::kBadInput, name,
                "an impossible header (pixels more than four times as long as wide)", kExportAgain);
  }
  return {};
}

Raster greys_of(LoadedFilm film) {
  if (!film.floats.empty()) return std::move(film.floats);
  Raster grey(film.codes.width, film.codes.height);
  std::transform(film.codes.values.begin(), film.codes.values.end(), grey.values.begin(),
                 [&](std::uint16_t code) { return film.grey_of_code[code]; });
  return grey;
}

Turn turn_of(FilmFacts& facts) {
  if (facts.format != "DICOM") return {};
  if (!facts.patient_orientation) {
    facts.notes.emplace_back("no PatientOrientation: the film is taken to stand upright");
    return {};
  }
  if (const auto turn = turn_for(*facts.patient_orientation)) return *turn;
  facts.notes.emplace_back("PatientOrientation makes no sense: the film is taken to stand upright");
  return {};
}

/// Resamples the longer side of the pixels to the shorter one. stored_from_view is adapted.
Expected<void> make_square(FilmImage& film, double stored_aspect, const std::string& name) {
  const double aspect =
      film.stored_from_view.linear(0, 0) == 0.0 ? 1.0 / stored_aspect : stored_aspect;
  if (std::abs(aspect - 1.0) <= kSquareTolerance) return {};
  const bool tall = aspect > 1.0;
  const double step = tall ? 1.0 / aspect : aspect;
  const double longer = (tall ? film.pixels.height : film.pixels.width) / step;
  if (auto size =
          check_size(std::llround(longer), tall ? film.pixels.width : film.pixels.height, name);
      !size) {
    return size;
  }
  film.pixels = stretched(film.pixels, tall ? Axis::kY : Axis::kX, step);
  film.stored_from_view.linear.col(tall ? 1 : 0) *= step;
  film.facts.notes.emplace_back("pixels that are not square were resampled to the finer pitch");
  return {};
}

}  // namespace

namespace {

/// A film with what its header says of its field.
struct FilmAsStated {
  FilmImage film;
  std::vector<StatedField> fields;
};

Expected<FilmAsStated> read_stated(const std::filesystem::path& file) {
  auto loaded = load(file);
  if (!loaded) return tl::unexpected(loaded.error());
  const std::string name = loaded->facts.file;
  if (auto content = check_content(*loaded, name); !content) {
    return tl::unexpected(content.error());
  }
  FilmAsStated out;
  FilmImage& film = out.film;
  out.fields = std::move(loaded->stated_fields);
  film.facts = std::move(loaded->facts);
  const double aspect = loaded->pixel_height_per_width;
  const Turn turn = turn_of(film.facts);
  film.pixels = greys_of(std::move(*loaded));
  film.stored_from_view = turn.stored_from_view(film.pixels.width, film.pixels.height);
  film.pixels = turned(std::move(film.pixels), turn);
  if (auto square = make_square(film, aspect, name); !square) {
    return tl::unexpected(square.error());
  }
  return out;
}

Expected<FilmImage> read_unguarded(const std::filesystem::path& file) {
  auto read = read_stated(file);
  if (!read) return tl::unexpected(read.error());
  return std::move(read->film);
}

Expected<FilmInField> read_in_field_unguarded(const std::filesystem::path& file) {
  auto read = read_stated(file);
  if (!read) return tl::unexpected(read.error());
  FilmInField out{std::move(read->film), {}};
  out.field = field_of(out.film, read->fields);
  return out;
}

Expected<StoredFilm> read_stored_unguarded(const std::filesystem::path& file) {
  auto loaded = load(file);
  if (!loaded) return tl::unexpected(loaded.error());
  if (!loaded->floats.empty()) {
    return fail(ErrorKind::kBadInput, loaded->facts.file, "pixels that are not whole numbers",
                "save it as a 16-bit greyscale picture");
  }
  StoredFilm stored;
  stored.values = RasterOf<std::int32_t>(loaded->codes.width, loaded->codes.height);
  std::transform(loaded->codes.values.begin(), loaded->codes.values.end(),
                 stored.values.values.begin(),
                 [&](std::uint16_t code) { return loaded->value_of_code[code]; });
  stored.facts = std::move(loaded->facts);
  return stored;
}

/// Runs `work`; what the libraries throw (in practice only std::bad_alloc) becomes a sentence.
template <class Work>
auto guarded(const std::filesystem::path& file, Work work) -> decltype(work(file)) {
  try {
    return work(file);
  } catch (const std::exception& e) {
    return fail(ErrorKind::kBadInput, file.filename().string(),
                std::string("cannot be read (") + e.what() + ")",
                "free some memory or give a smaller film");
  }
}

}  // namespace

Expected<FilmImage> read(const std::filesystem::path& file) {
  return guarded(file, read_unguarded);
}

Expected<FilmInField> read_in_field(const std::filesystem::path& file) {
  return guarded(file, read_in_field_unguarded);
}

Expected<StoredFilm> read_stored(const std::filesystem::path& file) {
  return guarded(file, read_stored_unguarded);
}

}  // namespace tidemark::film
