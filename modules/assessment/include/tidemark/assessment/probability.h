#pragma once

#include <string>

namespace tidemark::assessment {

/// A probability in per cent for a sentence: "63 %", near its ends with a decimal ("94.8 %"), and
/// "more than 99 %" or "less than 1 %". Rounded towards 50 %, so that what falls short of a verdict
/// never reads as if it were enough.
[[nodiscard]] std::string percent_text(double probability);

/// The same number as files have it: between 0.0001 and 0.9999. Nothing measured is certain.
[[nodiscard]] double told_probability(double probability);

}  // namespace tidemark::assessment
