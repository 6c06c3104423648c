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
#include "words.h"

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

  auto codes = first_frame(dataset, *layout, file_bytes, name, film.facts.notes);
  if (!codes) return tl::unexpected(codes.error());
  film.codes = std::move(*codes);
  film.facts.bits_stored = layout->bits_stored;
  film.value_of_code = value_table(rule);
  film.grey_of_code = grey_table(rule, film.facts.notes);
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
