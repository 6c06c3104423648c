#pragma once

#include "image_ops.h"
#include "stem_trace.h"
#include "tidemark/anatomy/implant.h"

namespace tidemark::anatomy {

/// What is made of the core between the traced flanks.
enum class Core {
  kSeed,   ///< the mask has to hang together with it
  kMetal,  ///< and holds it where it holds a good part of it already
};

/// A stem roughly placed: everything in px of one image whose pixels are `mm` wide.
struct RoughStem {
  Circle2 head;
  Polyline left;    ///< lateral flank, proximal to distal
  Polyline right;   ///< medial flank, same rows
  double mm = 1.0;  ///< mm per px of the image these points refer to
  Core core = Core::kSeed;
  LookFrom look = LookFrom::kFront;
  bool sure = false;  ///< much speaks for it: its shoulder may be sought beside the head

  [[nodiscard]] Line2 axis() const;      ///< through the distal half's midpoints, pointing distally
  [[nodiscard]] Vec2 neck_foot() const;  ///< where the neck axis roughly meets the stem axis
};

/// The same stem with its flanks drawn out distally by `mm_more` mm.
[[nodiscard]] RoughStem drawn_out(RoughStem rough, double mm_more);

/// Does a mask fill its domain to the distal end? Then the metal goes on beyond the traced flanks.
[[nodiscard]] bool goes_on(const cv::Mat1b& mask, const RoughStem& rough);

/// Stem, neck and head as a mask on `image`, up to 15 mm beyond the traced flanks: brighter than
/// half way between the metal and what lies beside it, the half way followed locally because
/// neither side has one brightness.
[[nodiscard]] cv::Mat1b stem_mask(const cv::Mat1f& image, const RoughStem& rough);

/// Does the body on a stem mask hang together with the head?
[[nodiscard]] bool reaches_head(const cv::Mat1b& mask, const RoughStem& rough);

}  // namespace tidemark::anatomy
