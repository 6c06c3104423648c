#pragma once

#include <string>

#include "item.h"

namespace tidemark::archive {

// Codes of the report. DCM, SCT, UMLS and UCUM ones are those of PS3.16 as DCMTK's tables hold
// them; what no published scheme names has a code of our own (docs/dicom-results.md lists them).

inline constexpr const char* kOwnScheme = "99TIDEMARK";

inline Code dcm(const char* value, const char* meaning) { return {value, "DCM", meaning}; }
inline Code sct(const char* value, const char* meaning) { return {value, "SCT", meaning}; }
inline Code umls(const char* value, const char* meaning) { return {value, "UMLS", meaning}; }
inline Code ucum(const char* value, const char* meaning) { return {value, "UCUM", meaning}; }
inline Code own(const std::string& value, const std::string& meaning) {
  return {value, kOwnScheme, meaning};
}

namespace unit {
inline Code millimetres() { return ucum("mm", "millimeter"); }
inline Code square_millimetres() { return ucum("mm2", "square millimeter"); }
inline Code square_pixels() { return ucum("{square_pixels}", "square pixels"); }
inline Code degrees() { return ucum("deg", "degree"); }
inline Code pixels() { return ucum("{pixels}", "pixels"); }
inline Code millimetres_per_pixel() { return ucum("mm/{pixels}", "millimeter per pixel"); }
inline Code one() { return ucum("1", "no units"); }
inline Code millimetres_per_year() { return ucum("mm/a", "millimeter per year"); }
inline Code days() { return ucum("d", "day"); }
}  // namespace unit

namespace code {
inline Code measurement_method() { return sct("370129005", "Measurement Method"); }
inline Code finding_site() { return sct("363698007", "Finding Site"); }
inline Code laterality() { return sct("272741003", "Laterality"); }
inline Code topographical_modifier() { return sct("106233006", "Topographical modifier"); }
inline Code standard_deviation() { return sct("386136009", "Standard Deviation"); }
inline Code range_of_uncertainty() {
  return sct("371884006", "+/-, range of measurement uncertainty");
}
inline Code femoral_stem() { return dcm("112310", "Femoral Stem"); }
inline Code lucency() { return dcm("112084", "Lucency"); }
}  // namespace code

}  // namespace tidemark::archive
