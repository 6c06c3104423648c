#pragma once

#include <cstddef>
#include <map>
#include <string>
#include <vector>

namespace tidemark::followup {

/// What the steps of a measurement said, without loss, by what they were asked: the key is the
/// SHA-256 of the step's name and of everything it was given (the film's SHA-256 and frame, what
/// was found on it, scale, options). A step is a pure function, so the same question has the same
/// answer, and an answer that is found here need not be worked out again. docs/history.md.
struct StepMemory {
  std::map<std::string, std::string> said;
};

/// What a measurement took from an earlier one, and what it leaves to the next.
struct Reuse {
  StepMemory said;                       ///< all that the steps said, taken over or worked out
  std::vector<std::size_t> films;        ///< in Result::films: nothing on them was measured anew
  std::vector<std::size_t> comparisons;  ///< in Result::comparisons, likewise
};

}  // namespace tidemark::followup
