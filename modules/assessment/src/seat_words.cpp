#include "seat_words.h"

#include <array>
#include <span>
#include <string_view>

#include "tidemark/assessment/judge.h"

namespace tidemark::assessment {
namespace {

/// A class of values from `from` (included) up to `to`.
struct Band {
  double from;
  double to;
  const char* id;
  const char* text;
};

/// Classes of one measure, and whose they are.
struct Bands {
  std::span<const Band> bands;
  const char* source;
};

constexpr std::array<Band, 3> kTilts{{{-90.0, -3.0, "valgus", "valgus"},
                                      {-3.0, 3.0, "neutral", "neutral"},
                                      {3.0, 90.0, "varus", "varus"}}};
constexpr std::array<Band, 2> kFills{
    {{0.0, 0.80, "fill_to_80", "up to 80 %"}, {0.80, 9.0, "fill_above_80", "above 80 %"}}};
constexpr std::array<Band, 3> kFlares{{{0.0, 3.0, "stovepipe", "stovepipe canal"},
                                       {3.0, 4.7, "normal_canal", "normal canal"},
                                       {4.7, 99.0, "champagne_flute", "champagne flute"}}};
constexpr std::array<Band, 3> kCortices{{{0.0, 0.49, "dorr_c", "Dorr C by this index"},
                                         {0.49, 0.58, "dorr_b", "Dorr B by this index"},
                                         {0.58, 1.0, "dorr_a", "Dorr A by this index"}}};

Bands bands_of(std::string_view id) {
  if (id == kTilt.id) {
    return {kTilts,
            "neutral 0 ± 3°: Luger et al. 2022, Arch Orthop Trauma Surg 142:2935-2944, doi "
            "10.1007/s00402-021-04176-5"};
  }
  if (id == kFlareIndex.id) {
    return {kFlares, "Noble et al. 1988, Clin Orthop Relat Res 235:148-165 (second hand)"};
  }
  if (id == kCorticalIndex.id) {
    return {kCortices, "Dorr et al. 1993, Bone 14:231-242; limits by a later author (second hand)"};
  }
  for (const FillLevel& level : kFillLevels) {
    if (id == level.words.id) {
      return {kFills,
              "80 %: Arch Orthop Trauma Surg 2022;142:1265-1273, doi 10.1007/s00402-021-03916-x"};
    }
  }
  return {{}, ""};
}

}  // namespace

std::optional<SeatClass> class_of(const SeatWords& words, const Measured<double>& measured) {
  const double guard = kGuard * measured.u;
  const Bands known = bands_of(words.id);
  for (const Band& band : known.bands) {
    if (measured.value - guard >= band.from && measured.value + guard < band.to) {
      return SeatClass{band.id, band.text, known.source};
    }
  }
  return {};
}

}  // namespace tidemark::assessment
