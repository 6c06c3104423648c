#include "tidemark/phantom/attenuation.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace tidemark::phantom {
namespace {

constexpr std::size_t kEnergies = 6;
constexpr std::array<double, kEnergies> kEnergyKev{40, 50, 60, 80, 100, 150};

/// cm2/g, in the order of Substance.
constexpr std::array<std::array<double, kEnergies>, 15> kMassAttenuation{{
    {0.2683, 0.2269, 0.2059, 0.1837, 0.1707, 0.1505},  // water
    {0.2688, 0.2264, 0.2048, 0.1823, 0.1693, 0.1492},  // soft tissue, ICRU-44
    {0.2396, 0.2123, 0.1974, 0.1800, 0.1688, 0.1500},  // adipose, ICRU-44 (from memory)
    {0.6655, 0.4242, 0.3148, 0.2229, 0.1855, 0.1480},  // cortical bone, ICRU-44
    {0.2350, 0.2074, 0.1924, 0.1751, 0.1641, 0.1456},  // PMMA
    {0.2275, 0.2084, 0.1970, 0.1823, 0.1719, 0.1534},  // polyethylene (from memory)
    {0.5685, 0.3681, 0.2778, 0.2018, 0.1704, 0.1378},  // aluminium
    {2.214, 1.213, 0.7661, 0.4052, 0.2721, 0.1649},    // titanium
    {2.472, 1.347, 0.8438, 0.4371, 0.2877, 0.1682},    // vanadium
    {2.856, 1.550, 0.9639, 0.4905, 0.3166, 0.1788},    // chromium
    {3.981, 2.144, 1.314, 0.6414, 0.3949, 0.2023},     // cobalt
    {12.94, 7.037, 4.274, 1.962, 1.096, 0.4208},       // molybdenum
    {0.2585, 0.2132, 0.1907, 0.1678, 0.1551, 0.1361},  // oxygen
    {0.9872, 0.5849, 0.4053, 0.2585, 0.2020, 0.1506},  // sulphur
    {24.57, 13.79, 8.511, 3.963, 2.196, 0.7828},       // barium (K edge at 37.4 keV, below)
}};

struct Part {
  Substance substance;
  double grams_per_cm3;  ///< of this substance in the mixture
};

/// The parts of a material; an unused place has no mass.
std::array<Part, 4> parts_of(Material material) {
  constexpr Part kNothing{Substance::kWater, 0.0};
  switch (material) {
    case Material::kFat:
      return {{{Substance::kAdipose, 0.95}, kNothing, kNothing, kNothing}};
    case Material::kMuscle:
      return {{{Substance::kSoftTissue, 1.06}, kNothing, kNothing, kNothing}};
    case Material::kMarrow:
      return {{{Substance::kAdipose, 0.475}, {Substance::kSoftTissue, 0.53}, kNothing, kNothing}};
    case Material::kCorticalBone:
      return {{{Substance::kCorticalBone, 1.92}, kNothing, kNothing, kNothing}};
    case Material::kPolyethylene:
      return {{{Substance::kPolyethylene, 0.94}, kNothing, kNothing, kNothing}};
    case Material::kCement:
      return {{{Substance::kPmma, 1.19}, kNothing, kNothing, kNothing}};
    case Material::kTitaniumAlloy:
      return {{{Substance::kTitanium, 0.90 * 4.43},
               {Substance::kAluminium, 0.06 * 4.43},
               {Substance::kVanadium, 0.04 * 4.43},
               kNothing}};
    case Material::kCobaltChromium:
      return {{{Substance::kCobalt, 0.66 * 8.3},
               {Substance::kChromium, 0.28 * 8.3},
               {Substance::kMolybdenum, 0.06 * 8.3},
               kNothing}};
    case Material::kRadiopaqueCement: {
      // Volumes add: 0.9 / 1.19 + 0.1 / 4.50 cm3 a gram (density of BaSO4: from memory). Shares by
      // mass of Ba, S and O in BaSO4 from the standard atomic weights 137.33, 32.06, 15.999.
      constexpr double kDensity = 1.0 / (0.9 / 1.19 + 0.1 / 4.50);
      constexpr double kFiller = 0.1 * kDensity;
      return {{{Substance::kPmma, 0.9 * kDensity},
               {Substance::kOxygen, 0.2742 * kFiller},
               {Substance::kSulphur, 0.1374 * kFiller},
               {Substance::kBarium, 0.5884 * kFiller}}};
    }
  }
  return {{kNothing, kNothing, kNothing, kNothing}};
}

constexpr std::array<SpectralLine, 4> kSpectrum{{{40, 0.15}, {50, 0.35}, {60, 0.32}, {70, 0.18}}};

}  // namespace

double mass_attenuation(Substance substance, double energy_kev) {
  const auto& row = kMassAttenuation[static_cast<std::size_t>(substance)];
  const double energy = std::clamp(energy_kev, kEnergyKev.front(), kEnergyKev.back());
  std::size_t i = 0;
  while (i + 2 < kEnergies && energy > kEnergyKev[i + 1]) ++i;
  const double t = std::log(energy / kEnergyKev[i]) / std::log(kEnergyKev[i + 1] / kEnergyKev[i]);
  return std::exp((1.0 - t) * std::log(row[i]) + t * std::log(row[i + 1]));
}

double linear_attenuation(Material material, double energy_kev) {
  double per_cm = 0.0;
  for (const Part& part : parts_of(material)) {
    per_cm += part.grams_per_cm3 * mass_attenuation(part.substance, energy_kev);
  }
  return per_cm / 10.0;
}

std::span<const SpectralLine> default_spectrum() { return kSpectrum; }

double transmission(std::span<const SpectralLine> spectrum,
                    const std::array<double, kMaterialCount>& length_mm) {
  double passed = 0.0;
  for (const SpectralLine& line : spectrum) {
    double depth = 0.0;
    for (int m = 0; m < kMaterialCount; ++m) {
      const auto i = static_cast<std::size_t>(m);
      if (length_mm[i] != 0.0) {
        depth += length_mm[i] * linear_attenuation(static_cast<Material>(m), line.energy_kev);
      }
    }
    passed += line.weight * std::exp(-depth);
  }
  return passed;
}

}  // namespace tidemark::phantom
