#pragma once

namespace tidemark {

/// Closed range of a number that is accepted.
struct Range {
  double low;
  double high;
};

}  // namespace tidemark
