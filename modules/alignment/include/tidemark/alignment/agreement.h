#pragma once

namespace tidemark::alignment {

/// How the cosine c between two unit gradients becomes agreement.
enum class NgfAgreement {
  kSquaredCosine,    ///< c^2: an edge may be bright-to-dark in one image and dark-to-bright in the
                     ///< other (two kinds of image)
  kSquaredPositive,  ///< c^2 where c > 0, else 0: the same side must be bright in both (one kind)
  kPositiveCosine,   ///< c where c > 0, else 0
  kCosine,           ///< c itself: an edge of the wrong polarity counts against
};

}  // namespace tidemark::alignment
