#pragma once

#include <array>
#include <span>

namespace tidemark::phantom {

/// What a solid of the phantom is made of.
enum class Material {
  kFat,             ///< adipose tissue, ICRU-44
  kMuscle,          ///< soft tissue, ICRU-44
  kMarrow,          ///< taken as half fat, half soft tissue by volume (house choice)
  kCorticalBone,    ///< cortical bone, ICRU-44
  kPolyethylene,    ///< liner of the cup
  kCement,          ///< PMMA
  kTitaniumAlloy,   ///< Ti-6Al-4V, 4.43 g/cm3
  kCobaltChromium,  ///< Co-28Cr-6Mo, 8.3 g/cm3 (66/28/6 by mass); also stands in for steel and lead
  kRadiopaqueCement,  ///< PMMA with 10 % BaSO4 by mass, 1.284 g/cm3 without pores
};
inline constexpr int kMaterialCount = 9;

/// Substances of the published table.
enum class Substance {
  kWater,
  kSoftTissue,
  kAdipose,
  kCorticalBone,
  kPmma,
  kPolyethylene,
  kAluminium,
  kTitanium,
  kVanadium,
  kChromium,
  kCobalt,
  kMolybdenum,
  kOxygen,
  kSulphur,
  kBarium,
};

/// Mass attenuation coefficient in cm2/g at an energy of 40 to 150 keV, between the table's rows by
/// log-log interpolation; energies outside are taken at the nearest end.
/// Source: NIST tables of Hubbell and Seltzer (NISTIR 5632); adipose and polyethylene from memory.
[[nodiscard]] double mass_attenuation(Substance substance, double energy_kev);

/// Linear attenuation coefficient in 1/mm, with coherent scattering.
/// Source: sum over the parts of a mixture of density times mass attenuation (the mixture rule).
[[nodiscard]] double linear_attenuation(Material material, double energy_kev);

/// One line of a spectrum behind the tube's filter: its energy and its share of the signal.
struct SpectralLine {
  double energy_kev;
  double weight;  ///< sums to 1 over a spectrum
};

/// A beam of about 75 kV with aluminium and copper filter, as four lines (house choice).
[[nodiscard]] std::span<const SpectralLine> default_spectrum();

/// Fraction of the beam's signal that passes the given lengths (mm, one per Material).
[[nodiscard]] double transmission(std::span<const SpectralLine> spectrum,
                                  const std::array<double, kMaterialCount>& length_mm);

}  // namespace tidemark::phantom
