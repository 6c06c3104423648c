#pragma once

#include <string>

namespace tidemark {

/// A number that somebody stated, e.g. a limit, with no more decimals than it has, at most three,
/// and a point, whatever the locale says.
[[nodiscard]] std::string plain_number(double value);

}  // namespace tidemark
