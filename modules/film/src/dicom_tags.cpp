#include "dicom_tags.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <random>
#include <string_view>
#include <utility>

#include "limits.h"
#include "tidemark/core/date.h"
#include "tidemark/core/hash.h"
#include "tidemark/film/calibration.h"
#include "words.h"

namespace tidemark::film {
namespace {

std::optional<double> to_number(const std::string& text) {
  const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
  const char* end = text.data() + text.size();
  double value = 0.0;
  const auto [stop, error] = std::from_chars(begin, end, value);
  if (error != std::errc{} || stop != end || !std::isfinite(value)) return std::nullopt;
  return value;
}

/// Two positive distances, or absent. A stated value that cannot be one is noted.
std::optional<Spacing> spacing_of(DcmItem& dataset, const DcmTagKey& tag, const std::string& name,
                                  std::vector<std::string>& notes) {
  if (!dataset.tagExistsWithValue(tag)) return std::nullopt;
  const auto rows = decimal_of(dataset, tag, 0);
  const auto columns = decimal_of(dataset, tag, 1);
  const auto usable = [](const std::optional<double>& mm) {
    return mm && *mm >= kMinSpacingMm && *mm <= kMaxSpacingMm;
  };
  if (usable(rows) && usable(columns)) return Spacing{*rows, *columns};
  notes.push_back(name + " is no distance between pixels (" +
                  text_of(dataset, tag, 0).value_or("?") + ", " +
                  text_of(dataset, tag, 1).value_or("?") + "); it counts as missing");
  return std::nullopt;
}

std::optional<double> positive_of(DcmItem& dataset, const DcmTagKey& tag, const std::string& name,
                                  std::vector<std::string>& notes) {
  if (!dataset.tagExistsWithValue(tag)) return std::nullopt;
  const auto value = decimal_of(dataset, tag);
  if (value && *value > 0.0) return value;
  notes.push_back(name + " is no positive number; it counts as missing");
  return std::nullopt;
}

/// A distance from the source; one that no film of the hip is taken at is in another unit.
std::optional<double> distance_of(DcmItem& dataset, const DcmTagKey& tag, const std::string& name,
                                  double least_mm, std::vector<std::string>& notes) {
  const auto value = positive_of(dataset, tag, name, notes);
  if (!value || (*value >= least_mm && *value <= kMaxSourceToDetectorMm)) return value;
  notes.push_back(name +
                  " is no distance in mm that a film of the hip is taken at; it counts as missing");
  return std::nullopt;
}

ScaleFacts scale_facts_of(DcmItem& dataset, std::vector<std::string>& notes) {
  ScaleFacts scale;
  scale.pixel_spacing = spacing_of(dataset, DCM_PixelSpacing, "PixelSpacing", notes);
  scale.imager_pixel_spacing =
      spacing_of(dataset, DCM_ImagerPixelSpacing, "ImagerPixelSpacing", notes);
  scale.nominal_scanned_spacing =
      spacing_of(dataset, DCM_NominalScannedPixelSpacing, "NominalScannedPixelSpacing", notes);
  scale.calibration_type = text_of(dataset, DCM_PixelSpacingCalibrationType);
  scale.source_to_detector_mm =
      distance_of(dataset, DCM_DistanceSourceToDetector, "DistanceSourceToDetector",
                  kMinSourceToDetectorMm, notes);
  scale.source_to_patient_mm =
      distance_of(dataset, DCM_DistanceSourceToPatient, "DistanceSourceToPatient",
                  kMinSourceToHipMm + kTableToHipMm, notes);
  scale.magnification_factor = positive_of(dataset, DCM_EstimatedRadiographicMagnificationFactor,
                                           "EstimatedRadiographicMagnificationFactor", notes);
  return scale;
}

std::string in_capitals(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(), [](char c) {
    return c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
  });
  return text;
}

std::optional<Side> side_of(DcmItem& dataset) {
  for (const DcmTagKey& tag : {DCM_ImageLaterality, DCM_Laterality}) {
    const std::string text = in_capitals(text_of(dataset, tag).value_or(""));
    if (text == "R" || text == "RIGHT") return Side::kRight;
    if (text == "L" || text == "LEFT") return Side::kLeft;
    if (!text.empty()) return std::nullopt;  // B (both), U (unpaired): the film shows no one side
  }
  return std::nullopt;
}

/// Puts the letters of "A/P", "a.-p." or "P A", which were taken for two words, together.
std::vector<std::string> with_views_joined(const std::vector<std::string>& words) {
  std::vector<std::string> out;
  for (const std::string& word : words) {
    const bool joins =
        !out.empty() && ((out.back() == "A" && word == "P") || (out.back() == "P" && word == "A"));
    if (joins) {
      out.back() += word;
    } else {
      out.push_back(word);
    }
  }
  return out;
}

/// The words of a text in capitals: devices write "A.P.", "A/P", "ap hip" or "AP_OBL".
std::vector<std::string> words_of(const std::string& text) {
  std::vector<std::string> words(1);
  for (const char c : in_capitals(text)) {
    if (c >= 'A' && c <= 'Z') {
      words.back() += c;
    } else if (c != '.' && !words.back().empty()) {
      words.emplace_back();
    }
  }
  if (words.back().empty()) words.pop_back();
  return with_views_joined(words);
}

template <std::size_t N>
bool begins_with_one_of(const std::string& word, const std::array<std::string_view, N>& starts) {
  return std::any_of(starts.begin(), starts.end(),
                     [&](std::string_view start) { return word.starts_with(start); });
}

/// Whether a sequence tells how a view differs from the plain one, by more than how the patient
/// stood or lay: View Modifier Code Sequence (0054,0222), context group 4011.
bool is_modified(DcmItem& item) {
  static constexpr std::array<std::string_view, 5> kPlain{"WEIGHT", "STAND", "ERECT", "SUPINE",
                                                          "RECUMBENT"};
  DcmItem* modifier = nullptr;
  for (long i = 0; item.findAndGetSequenceItem(DCM_ViewModifierCodeSequence, modifier, i).good() &&
                   modifier != nullptr;
       ++i) {
    const auto words = words_of(text_of(*modifier, DCM_CodeMeaning).value_or(""));
    const bool plain = std::any_of(words.begin(), words.end(), [](const std::string& word) {
      return begins_with_one_of(word, kPlain);
    });
    if (!plain) return true;
  }
  return false;
}

/// View Code Sequence (0054,0220), context group 4010: SNOMED codes and their older forms.
std::optional<View> view_from_code(DcmItem& dataset) {
  DcmItem* item = nullptr;
  if (dataset.findAndGetSequenceItem(DCM_ViewCodeSequence, item).bad() || item == nullptr) {
    return std::nullopt;
  }
  const auto code = text_of(*item, DCM_CodeValue);
  if (!code) return std::nullopt;
  const auto is_one_of = [&](std::initializer_list<const char*> codes) {
    return std::any_of(codes.begin(), codes.end(), [&](const char* c) { return *code == c; });
  };
  if (is_one_of({"399173006", "R-10236", "399198007", "R-10232", "399067008"})) {
    return View::kLateral;
  }
  if (is_modified(*item)) return View::kOther;
  if (is_one_of({"399348003", "R-10206"})) return View::kAp;
  if (is_one_of({"272479007", "R-10214"})) return View::kPa;
  return View::kOther;
}

/// Whether the view's code is SNOMED's, in which all views have one; a device's own may mean any.
bool has_common_code(DcmItem& dataset) {
  DcmItem* item = nullptr;
  if (dataset.findAndGetSequenceItem(DCM_ViewCodeSequence, item).bad() || item == nullptr) {
    return false;
  }
  const auto scheme = text_of(*item, DCM_CodingSchemeDesignator);
  return scheme == "SCT" || scheme == "SRT" || scheme == "SNM3" || scheme == "99SDM" ||
         is_modified(*item);
}

/// View Position (0018,5101); a frontal view with a word that makes it another one is another one,
/// and so is one that is called frontal and lateral. Nothing for words that are not known.
std::optional<View> view_from_position(DcmItem& dataset, std::vector<std::string>& notes) {
  static constexpr std::array<std::string_view, 6> kTurned{"OBL",   "AX",     "FROG",
                                                           "INLET", "OUTLET", "JUDET"};
  const auto words = words_of(text_of(dataset, DCM_ViewPosition).value_or(""));
  if (words.empty()) return std::nullopt;
  const auto has = [&](const char* word) {
    return std::find(words.begin(), words.end(), word) != words.end();
  };
  const std::string& first = words.front();
  const bool lateral = first == "LL" || first == "RL" || has("LAT") || has("LATERAL");
  if ((lateral ? 1 : 0) + (has("AP") ? 1 : 0) + (has("PA") ? 1 : 0) > 1) {
    notes.emplace_back("ViewPosition in the header names two views; the film counts as neither");
    return View::kOther;
  }
  if (lateral) return View::kLateral;
  const bool turned = std::any_of(words.begin(), words.end(), [](const std::string& word) {
    return begins_with_one_of(word, kTurned);
  });
  if (turned || first == "LLO" || first == "RLO") return View::kOther;
  if (has("AP")) return View::kAp;
  if (has("PA")) return View::kPa;
  return std::nullopt;
}

/// Of two views the one that is rarer: a film that is none of a plain view must not pass for one.
View rarer_of(View a, View b) {
  static constexpr std::array kRarestFirst{View::kOther, View::kLateral, View::kPa, View::kAp};
  return *std::find_if(kRarestFirst.begin(), kRarestFirst.end(),
                       [&](View one) { return one == a || one == b; });
}

std::optional<View> view_of(DcmItem& dataset, std::vector<std::string>& notes) {
  const auto by_code = view_from_code(dataset);
  const auto by_position = view_from_position(dataset, notes);
  std::optional<View> view = by_position ? by_position : by_code;
  const bool known = by_code && (*by_code != View::kOther || has_common_code(dataset));
  if (known && by_position && *by_code != *by_position) {
    notes.emplace_back(
        "ViewPosition and the view's code in the header name two views; the rarer one was taken");
    view = rarer_of(*by_code, *by_position);
  }
  if (!view && dataset.tagExistsWithValue(DCM_ViewPosition)) view = View::kOther;
  const bool frontal = view == View::kAp || view == View::kPa;
  return frontal && is_modified(dataset) ? View::kOther : view;
}

/// The eight digits of a date: as the standard has it, as its predecessor (2024.01.05) or with the
/// separators other writers put there (2024-01-05, 2024/01/05). Other texts come back as they are.
std::string digits_of_date(std::string text) {
  const auto is_separator = [](char c) { return c == '.' || c == '-' || c == '/'; };
  if (text.size() >= 10 && is_separator(text[4]) && text[7] == text[4]) {
    text.erase(7, 1);
    text.erase(4, 1);
  }
  return text.substr(0, 8);
}

/// The first date that is in the calendar, and what contradicts it among those behind it.
void read_dates(DcmItem& dataset, FilmFacts& facts) {
  for (const DcmTagKey& tag : {DCM_AcquisitionDate, DCM_AcquisitionDateTime, DCM_ContentDate,
                               DCM_SeriesDate, DCM_StudyDate}) {
    const auto text = text_of(dataset, tag);
    if (!text) continue;
    const auto date = parse_date(digits_of_date(*text));
    if (date && !facts.date) facts.date = date;
    if (!date && !facts.date) {
      facts.notes.emplace_back(
          "a date in the header is not in the calendar; the next one was tried");
    }
    if (!date) continue;
    const auto days_off = [&](Date other) { return std::abs(days_between(*facts.date, other)); };
    const int most = facts.contradicting_date ? days_off(*facts.contradicting_date) : kOneVisitDays;
    if (days_off(*date) > most) facts.contradicting_date = date;
  }
}

std::optional<std::array<std::string, 2>> orientation_of(DcmItem& dataset) {
  const auto row = text_of(dataset, DCM_PatientOrientation, 0);
  const auto column = text_of(dataset, DCM_PatientOrientation, 1);
  if (!row || !column) return std::nullopt;
  return std::array{*row, *column};
}

/// A key that tells patients apart within this run and means nothing outside of it: the hash of the
/// id, and that of its issuer, which may be missing on some films of one patient.
std::optional<std::string> patient_key_of(DcmItem& dataset) {
  const auto id = raw_text_of(dataset, DCM_PatientID);
  if (!id) return std::nullopt;
  static const std::string salt = [] {
    std::random_device device;
    return std::to_string(device()) + "-" + std::to_string(device()) + "-";
  }();
  const auto issuer = raw_text_of(dataset, DCM_IssuerOfPatientID);
  const auto hashed = [](const std::string& text) { return sha256_hex(salt + text); };
  return hashed(*id) + (issuer ? kBeforeIssuer + hashed(*issuer) : std::string());
}

void note_flips(DcmItem& dataset, FilmFacts& facts) {
  const auto flip = text_of(dataset, DCM_FieldOfViewHorizontalFlip);
  const auto turn = decimal_of(dataset, DCM_FieldOfViewRotation);
  const std::string end = facts.patient_orientation
                              ? "; PatientOrientation, which describes the stored film, was used"
                              : "; check that the film is not shown mirrored or turned";
  if (flip == "YES") facts.notes.push_back("the detector's image was flipped left to right" + end);
  if (turn && *turn != 0.0) facts.notes.push_back("the detector's image was turned" + end);
}

/// `n` entries of LUT Data: words, or bytes packed two a word with the earlier one low.
std::vector<std::uint16_t> entries_of(DcmElement& data, std::size_t n) {
  const std::size_t bytes = data.getLength();
  const bool packed = bytes >= n && bytes <= n + 1;
  Uint16* words = nullptr;
  Uint8* octets = nullptr;
  if (data.getUint16Array(words).good() && words != nullptr) {
    if (bytes >= 2 * n) return {words, words + n};
    std::vector<std::uint16_t> entries;
    for (std::size_t i = 0; packed && i < n; ++i) {
      const unsigned shift = i % 2 == 0 ? 0U : 8U;
      entries.push_back(static_cast<std::uint16_t>(words[i / 2] >> shift & 0xFFU));
    }
    return entries;
  }
  if (packed && data.getUint8Array(octets).good() && octets != nullptr) return {octets, octets + n};
  return {};
}

/// A table by the tags of its descriptor and of its data; without entries when it is damaged.
LookUpTable table_in(DcmItem& item, const DcmTagKey& descriptor, const DcmTagKey& entries) {
  const auto count = integer_of(item, descriptor, 0);
  const auto first = integer_of(item, descriptor, 1);
  const std::size_t n = count && *count != 0 ? static_cast<std::size_t>(*count & 0xFFFF) : 65536;
  DcmElement* data = nullptr;
  LookUpTable table;
  if (count && first && item.findAndGetElement(entries, data).good() && data != nullptr) {
    table.entries = entries_of(*data, n);
    table.first = static_cast<std::int32_t>(*first);
  }
  return table;
}

std::optional<LookUpTable> table_of(DcmItem& dataset, const DcmTagKey& sequence,
                                    std::vector<std::string>& notes) {
  DcmItem* item = nullptr;
  if (dataset.findAndGetSequenceItem(sequence, item).bad() || item == nullptr) return std::nullopt;
  LookUpTable table = table_in(*item, DCM_LUTDescriptor, DCM_LUTData);
  if (!table.entries.empty()) return table;
  notes.emplace_back("a look-up table in the header is damaged and was not applied");
  return std::nullopt;
}

/// The first input of a table whose inputs are signed, where the file stores it as unsigned (its VR
/// may be either, PS3.3 C.11.1.1).
void make_signed(LookUpTable& table) {
  if (table.first > 0x7FFF) table.first -= 0x10000;
}

Relationship relationship_of(DcmItem& dataset) {
  const auto text = text_of(dataset, DCM_PixelIntensityRelationship);
  if (text == "LIN") return Relationship::kLinear;
  if (text == "LOG") return Relationship::kLogarithmic;
  return text ? Relationship::kDisplay : Relationship::kAbsent;
}

void read_rescale(DcmItem& dataset, GreyRule& rule, std::vector<std::string>& notes) {
  const auto slope = decimal_of(dataset, DCM_RescaleSlope);
  const auto intercept = decimal_of(dataset, DCM_RescaleIntercept);
  const auto usable = [](double v) { return std::abs(v) < 1e9; };
  if (slope && *slope != 0.0 && usable(*slope) && std::abs(*slope) > 1e-9) {
    rule.slope = *slope;
  } else if (dataset.tagExistsWithValue(DCM_RescaleSlope)) {
    notes.emplace_back("RescaleSlope is no usable number and was taken as 1");
  }
  if (intercept && usable(*intercept)) rule.intercept = *intercept;
}

/// Whether low values are shown bright. Where PresentationLUTShape and PhotometricInterpretation
/// disagree, what the file says of the exposure decides; else the shape, which is the newer and
/// more deliberate statement (house choice: either is known to be wrong on films in use).
void settle_inversion(DcmItem& dataset, FilmFacts& facts, GreyRule& rule) {
  rule.shown_inverted = facts.photometric == "MONOCHROME1";
  const auto shape = text_of(dataset, DCM_PresentationLUTShape);
  if (shape != "INVERSE" && shape != "IDENTITY") return;
  const bool by_shape = shape == "INVERSE";
  if (by_shape == rule.shown_inverted) return;
  if (const auto grows = rule.grows_by_sign()) {
    const bool turned = rule.voi_table && !rule.has_window && rule.voi_table->falls();
    rule.shown_inverted = *grows != turned;
    facts.notes.emplace_back(
        "PresentationLUTShape contradicts PhotometricInterpretation; "
        "PixelIntensityRelationshipSign decided");
    return;
  }
  rule.shown_inverted = by_shape;
  facts.notes.emplace_back(
      "PresentationLUTShape contradicts PhotometricInterpretation; the shape was used");
}

/// A value of PixelPaddingValue, whose VR may claim the wrong sign.
std::optional<std::int32_t> padding_of(DcmItem& dataset, const DcmTagKey& tag, bool is_signed) {
  const auto value = integer_of(dataset, tag);
  if (!value) return std::nullopt;
  const auto word = static_cast<std::uint16_t>(*value);
  return is_signed ? static_cast<std::int16_t>(word) : static_cast<std::int32_t>(word);
}

}  // namespace

std::optional<std::string> text_of(DcmItem& item, const DcmTagKey& tag, unsigned long index) {
  OFString value;
  if (item.findAndGetOFString(tag, value, index).bad()) return std::nullopt;
  std::string text = plain(std::string(value.c_str(), value.length()));
  if (text.empty()) return std::nullopt;
  return text;
}

std::optional<std::string> raw_text_of(DcmItem& item, const DcmTagKey& tag) {
  OFString value;
  // All of it: a byte of a letter of several may look like the sign between two values.
  if (item.findAndGetOFStringArray(tag, value).bad()) return std::nullopt;
  const std::string text(value.c_str(), value.length());
  constexpr std::string_view kFill(" \0", 2);
  const auto from = text.find_first_not_of(kFill);
  if (from == std::string::npos) return std::nullopt;
  return text.substr(from, text.find_last_not_of(kFill) - from + 1);
}

std::optional<std::int64_t> integer_of(DcmItem& item, const DcmTagKey& tag, unsigned long index) {
  DcmElement* element = nullptr;
  if (item.findAndGetElement(tag, element).bad() || element == nullptr) return std::nullopt;
  Uint16 unsigned_value = 0;
  if (element->getUint16(unsigned_value, index).good()) return unsigned_value;
  Sint16 signed_value = 0;
  if (element->getSint16(signed_value, index).good()) return signed_value;
  Sint32 wide_value = 0;
  if (element->getSint32(wide_value, index).good()) return wide_value;
  return std::nullopt;
}

std::optional<double> decimal_of(DcmItem& item, const DcmTagKey& tag, unsigned long index) {
  const auto text = text_of(item, tag, index);
  return text ? to_number(*text) : std::nullopt;
}

std::string photometric_of(DcmItem& dataset) {
  return in_capitals(text_of(dataset, DCM_PhotometricInterpretation).value_or(""));
}

FilmFacts facts_of(DcmItem& dataset) {
  FilmFacts facts;
  facts.format = "DICOM";
  facts.modality = text_of(dataset, DCM_Modality).value_or("");
  facts.photometric = photometric_of(dataset);
  facts.side = side_of(dataset);
  facts.view = view_of(dataset, facts.notes);
  read_dates(dataset, facts);
  facts.patient_orientation = orientation_of(dataset);
  facts.body_part = text_of(dataset, DCM_BodyPartExamined);
  facts.scale = scale_facts_of(dataset, facts.notes);
  facts.burned_in_annotation = text_of(dataset, DCM_BurnedInAnnotation) == "YES";
  facts.patient_key = patient_key_of(dataset);
  facts.object_uid = raw_text_of(dataset, DCM_SOPInstanceUID);
  note_flips(dataset, facts);
  return facts;
}

std::optional<Palette> palette_of(DcmItem& dataset) {
  Palette palette{table_in(dataset, DCM_RedPaletteColorLookupTableDescriptor,
                           DCM_RedPaletteColorLookupTableData),
                  table_in(dataset, DCM_GreenPaletteColorLookupTableDescriptor,
                           DCM_GreenPaletteColorLookupTableData),
                  table_in(dataset, DCM_BluePaletteColorLookupTableDescriptor,
                           DCM_BluePaletteColorLookupTableData)};
  const bool whole = std::none_of(palette.begin(), palette.end(),
                                  [](const LookUpTable& t) { return t.entries.empty(); });
  return whole ? std::optional(std::move(palette)) : std::nullopt;
}

GreyRule grey_rule_of(DcmItem& dataset, FilmFacts& facts) {
  GreyRule rule;
  rule.bits_stored = static_cast<int>(integer_of(dataset, DCM_BitsStored).value_or(0));
  rule.high_bit = static_cast<int>(integer_of(dataset, DCM_HighBit).value_or(rule.bits_stored - 1));
  rule.is_signed = integer_of(dataset, DCM_PixelRepresentation).value_or(0) == 1;
  rule.padding_low = padding_of(dataset, DCM_PixelPaddingValue, rule.is_signed);
  rule.padding_high = padding_of(dataset, DCM_PixelPaddingRangeLimit, rule.is_signed);
  rule.modality_table = table_of(dataset, DCM_ModalityLUTSequence, facts.notes);
  if (rule.modality_table && rule.is_signed) make_signed(*rule.modality_table);
  read_rescale(dataset, rule, facts.notes);
  rule.voi_table = table_of(dataset, DCM_VOILUTSequence, facts.notes);
  const bool signed_input = rule.modality_table ? false : rule.is_signed || rule.intercept < 0.0;
  if (rule.voi_table && signed_input) make_signed(*rule.voi_table);
  rule.has_window = decimal_of(dataset, DCM_WindowWidth).value_or(0.0) > 0.0;
  if (rule.has_window && text_of(dataset, DCM_VOILUTFunction) == "SIGMOID") {
    facts.notes.emplace_back("the film asks to be shown with a sigmoid window; it was not applied");
  }
  rule.relationship = relationship_of(dataset);
  if (const auto sign = integer_of(dataset, DCM_PixelIntensityRelationshipSign);
      sign && *sign != 0) {
    rule.relationship_sign = *sign == 0xFFFF || *sign < 0 ? -1 : 1;
  }
  rule.is_for_processing = text_of(dataset, DCM_PresentationIntentType) == "FOR PROCESSING";
  settle_inversion(dataset, facts, rule);
  rule.is_fluoroscopic = facts.modality == "XA" || facts.modality == "RF";
  return rule;
}

}  // namespace tidemark::film
