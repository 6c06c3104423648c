#pragma once

#include <array>
#include <cstdint>

#include "tidemark/report/drawing.h"

namespace tidemark::report {

// Outlines on films, which are dark: light, with a dark edge, one of them dashed.
inline constexpr std::uint32_t kReferenceOutline = 0x6CC4F5;
inline constexpr std::uint32_t kFollowUpOutline = 0xFFB347;
inline constexpr std::uint32_t kOutlineEdge = 0x101418;

/// Colours of drawings as 0xRRGGBB. Blue and vermilion stay apart for people with any common colour
/// vision (Okabe and Ito, "Color universal design", 2008, from memory), darkened until text in them
/// has a contrast of 4.5 with white (WCAG 2.1, 1.4.3). Nothing is told by colour alone. report.css
/// names the same values.
[[nodiscard]] constexpr std::uint32_t colour_of(Ink ink) {
  switch (ink) {
    case Ink::kText:
      return 0x1B2126;
    case Ink::kMuted:
      return 0x55606B;
    case Ink::kGrid:
      return 0xD5DADF;
    case Ink::kPaper:
      return 0xFFFFFF;
    case Ink::kBand:
      return 0xEEF1F4;
    case Ink::kMeasure:
      return 0x0B5A9C;
    case Ink::kFilmEdge:
      return kOutlineEdge;
    case Ink::kFilmStem:
      return kReferenceOutline;
    case Ink::kFilmBone:
      return kFollowUpOutline;
    case Ink::kAlert:
      break;
  }
  return 0xA83C00;
}

/// On and off, px of a plate.
inline constexpr std::array<double, 2> kFollowUpDash{9.0, 5.0};

}  // namespace tidemark::report
