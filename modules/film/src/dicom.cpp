#include <algorithm>
#include <array>
#include <utility>

#include "colour.h"
#include "dicom_field.h"
#include "dicom_pixels.h"
#include "dicom_stream.h"
#include "dicom_tags.h"
#include "limits.h"
#include "loaded.h"
#include "tidemark/film/tone.h"
#include "words.h"
#include "wrapped.h"

namespace tidemark::film {
namespace {

/// Height over width of a stored pixel. Spacing in the patient first: it is what the film shows.
double pixel_aspect(DcmItem& dataset, FilmFacts& facts) {
  const ScaleFacts& scale = facts.scale;
  for (const auto& spacing :
       {scale.pixel_spacing, scale.imager_pixel_spacing, scale.nominal_scanned_spacing}) {
    if (spacing) return spacing->between_rows_mm / spacing->between_columns_mm;
  }
  const auto vertical = decimal_of(dataset, DCM_PixelAspectRatio, 0);
  const auto horizontal = decimal_of(dataset, DCM_PixelAspectRatio, 1);
  if (vertical && horizontal && *vertical > 0.0 && *horizontal > 0.0) {
    return *vertical / *horizontal;
  }
  return 1.0;
}

/// Why the pixels could not be read, where their encoding is one that we do not know; what went
/// wrong with them says nothing then.
std::optional<Error> syntax_fault(DcmFileFormat& file, const std::string& name) {
  const std::string uid = text_of(*file.getMetaInfo(), DCM_TransferSyntaxUID).value_or("");
  const E_TransferSyntax syntax = DcmXfer(uid.c_str()).getXfer();
  if (syntax == EXS_JPIPReferenced || syntax == EXS_JPIPReferencedDeflate) {
    return Error{ErrorKind::kBadInput, name, "no pixel data but a link to a server (JPIP)",
                 kExportAgain};
  }
  if (uid.empty() || syntax != EXS_Unknown) return std::nullopt;
  return Error{ErrorKind::kBadInput, name,
               "a compression that is not supported (transfer syntax " + uid + ")",
               "export it uncompressed or as JPEG 2000"};
}

/// An object without pixels: a film that lost them, or no film at all.
tl::unexpected<Error> no_pixels(const FilmFacts& facts, std::size_t file_bytes,
                                const std::string& name) {
  const bool film = facts.modality == "DX" || facts.modality == "CR" || facts.modality == "RF" ||
                    facts.modality == "XA" || facts.modality.empty();
  return fail(ErrorKind::kBadInput, name,
              film ? "no pixel data (the file ends after " + grouped(file_bytes) + " bytes)"
                   : "no pixel data (modality " + facts.modality + ", not a radiograph)",
              film ? kExportAgain : "leave it out");
}

void note_window(DcmItem& dataset, const GreyRule& rule, const LoadedFilm& film,
                 std::vector<std::string>& notes) {
  const auto centre = decimal_of(dataset, DCM_WindowCenter);
  const auto width = decimal_of(dataset, DCM_WindowWidth);
  if (!rule.has_window || !centre || !width || rule.modality_table) return;
  std::size_t outside = 0;
  for (const std::uint16_t code : film.codes.values) {
    const double v = rule.slope * film.value_of_code[code] + rule.intercept;
    outside += std::abs(v - *centre) > *width / 2 ? 1U : 0U;
  }
  constexpr double kNoticeable = 0.01;  // house choice
  if (static_cast<double>(outside) > kNoticeable * static_cast<double>(film.codes.values.size())) {
    notes.emplace_back("the film's display window would cut off greys; it was not applied");
  }
}

/// Encodings that may give other values back than they were given.
bool is_lossy(E_TransferSyntax syntax) {
  constexpr std::array kLossy{EXS_JPEGProcess1,     EXS_JPEGProcess2_4, EXS_JPEGProcess6_8,
                              EXS_JPEGProcess10_12, EXS_JPEGLSLossy,    EXS_JPEG2000};
  return std::find(kLossy.begin(), kLossy.end(), syntax) != kLossy.end();
}

/// A lossy decoder oversteps the end of the range beside edges, and bits above the high bit are
/// cleared: metal would turn black where it is brightest.
void hold_at_white(const GreyRule& rule, RasterOf<std::uint16_t>& codes) {
  if (rule.is_signed || rule.high_bit != rule.bits_stored - 1) return;
  const auto most =
      static_cast<std::uint16_t>((1U << static_cast<unsigned>(rule.bits_stored)) - 1U);
  for (std::uint16_t& code : codes.values) code = std::min(code, most);
}

Raster raster_of(const RasterOf<std::uint16_t>& codes, const std::vector<float>& grey_of_code) {
  Raster grey(codes.width, codes.height);
  std::transform(codes.values.begin(), codes.values.end(), grey.values.begin(),
                 [&](std::uint16_t code) { return grey_of_code[code]; });
  return grey;
}

/// Grey of each bit pattern of a frame. A VOI table that may be applied is left where bright greys
/// have more room by the film's own values: S-shaped tables, made for the eye, press bone and metal
/// together. Tables of linear exposure give the room that is missing there.
std::vector<float> greys_of_codes(const GreyRule& rule, const RasterOf<std::uint16_t>& codes,
                                  std::vector<std::string>& notes) {
  const ValueRange range = range_in_use(rule, codes);
  std::vector<float> own = grey_table(rule, range, VoiTable::kLeft, notes);
  if (!may_use_voi_table(rule, notes)) return own;
  std::vector<std::string> same_notes;
  std::vector<float> shown = grey_table(rule, range, VoiTable::kApplied, same_notes);
  const double room = tone_of(raster_of(codes, own)).bright_room;
  if (tone_of(raster_of(codes, shown)).bright_room < room) {
    notes.emplace_back("the VOI LUT was not applied: it would press bright greys together");
    return own;
  }
  notes.emplace_back("the VOI LUT was applied: the film has no other statement about its greys");
  return shown;
}

/// The rule of greys that were made from colours: they are what is shown, whatever else is stated.
GreyRule rule_of_colours(const PixelLayout& layout) {
  GreyRule rule;
  rule.bits_stored = layout.bits_stored;
  rule.high_bit = layout.samples() == 3 ? layout.bits_stored - 1 : layout.high_bit;
  return rule;
}

/// Brightness of each bit pattern by a palette whose colours are greys on this film.
Expected<std::vector<float>> greys_by_palette(DcmItem& dataset, LoadedFilm& film,
                                              const std::string& name) {
  const auto refused = [&](const std::string& why) {
    return fail(ErrorKind::kBadInput, name, why, kExportGrey);
  };
  const auto palette = palette_of(dataset);
  if (!palette) return refused("a colour image (PALETTE COLOR) whose palette cannot be read");
  std::uint16_t most = 0;
  for (const LookUpTable& t : *palette) {
    most = std::max(most, *std::max_element(t.entries.begin(), t.entries.end()));
  }
  constexpr std::uint16_t kOctet = 255;
  GreyCount greys(most > kOctet ? 65535.0 : kOctet);
  std::vector<std::array<double, 3>> colours;
  std::vector<float> out;
  for (const std::int32_t value : film.value_of_code) {
    const auto& c = colours.emplace_back(
        std::array{(*palette)[0].at(value), (*palette)[1].at(value), (*palette)[2].at(value)});
    out.push_back(static_cast<float>(luma(c[0], c[1], c[2])));
  }
  for (const std::uint16_t code : film.codes.values) {
    const auto& c = colours[code];
    greys.add(c[0], c[1], c[2]);
  }
  if (!greys.is_grey()) return refused("a colour image (PALETTE COLOR)");
  film.facts.notes.emplace_back("a grey film stored with a palette");
  if (greys.has_colour()) film.facts.notes.emplace_back(kColouredMarks);
  return out;
}

}  // namespace

Expected<LoadedFilm> load_dicom(std::vector<std::byte> bytes, const std::string& name) {
  auto file = parse_dicom(bytes, name);
  if (!file) return tl::unexpected(file.error());
  const std::size_t file_bytes = bytes.size();
  std::vector<std::byte>().swap(bytes);  // the parser has its own copy

  DcmDataset& dataset = *(*file)->getDataset();
  LoadedFilm film;
  film.facts = facts_of(dataset);
  if (dataset.tagExists(DCM_FloatPixelData) || dataset.tagExists(DCM_DoubleFloatPixelData)) {
    return fail(ErrorKind::kBadInput, name, "pixels that are not whole numbers", kExportGrey);
  }
  if (!dataset.tagExists(DCM_PixelData)) {
    return no_pixels(film.facts, file_bytes, name);
  }
  const auto layout = layout_of(dataset, name);
  if (!layout) return tl::unexpected(layout.error());
  const bool grey = layout->colour == ColourModel::kGrey;
  GreyRule rule = grey ? grey_rule_of(dataset, film.facts) : rule_of_colours(*layout);
  if (grey) {
    rule.bits_stored = layout->bits_stored;
    rule.high_bit = layout->high_bit;
  }
  if (!dataset.tagExistsWithValue(DCM_BitsStored)) {
    film.facts.notes.emplace_back("no BitsStored in the header: all bits of a pixel were used");
  }

  auto codes = first_frame(dataset, *layout, file_bytes, name, film.facts.notes);
  if (!codes) return tl::unexpected(syntax_fault(**file, name).value_or(codes.error()));
  film.codes = std::move(*codes);
  if (grey) {
    rule = unwrapped(rule, layout->bits_allocated, film.codes, film.facts.notes);
    if (is_lossy(dataset.getOriginalXfer())) hold_at_white(rule, film.codes);
  }
  film.facts.bits_stored = rule.bits_stored;
  film.value_of_code = value_table(rule);
  film.grey_of_code = greys_of_codes(rule, film.codes, film.facts.notes);
  settle_padding(rule, film.codes, film.value_of_code, film.grey_of_code);
  if (layout->colour == ColourModel::kPalette) {
    auto greys = greys_by_palette(dataset, film, name);
    if (!greys) return tl::unexpected(greys.error());
    film.grey_of_code = std::move(*greys);
  }
  film.pixel_height_per_width = pixel_aspect(dataset, film.facts);
  film.stated_fields = stated_fields_of(dataset, film.pixel_height_per_width, film.facts.notes);
  note_window(dataset, rule, film, film.facts.notes);
  return film;
}

}  // namespace tidemark::film
