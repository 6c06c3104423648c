#pragma once

#include <cstdlib>
#include <exception>
#include <functional>
#include <iostream>
#include <string>

#include "tidemark/followup/series.h"

namespace tidemark::bench {

/// main() of `program FOLDER HEAD_DIAMETER_MM [LAST]`.
/// @param last  how the usage calls the word that may be left out
/// @param run   the work on the folder's series; its second argument is LAST, null when left out
/// @return what `run` returns; 2 for wrong usage, a folder that is no series, or an exception
inline int bench_main(int count, char** words, const std::string& program, const char* last,
                      const std::function<int(const followup::Series&, const char*)>& run) {
  if (count < 3 || count > 4) {
    std::cerr << "usage: " << program << " FOLDER HEAD_DIAMETER_MM [" << last << "]\n";
    return 2;
  }
  try {
    followup::Overrides overrides;
    overrides.head_diameter = Millimetres{std::atof(words[2])};
    const auto series = followup::load_series(words[1], overrides);
    if (!series) {
      std::cerr << program << ": " << words[1] << ": cannot be read as a series\n";
      return 2;
    }
    return run(*series, count == 4 ? words[3] : nullptr);
  } catch (const std::exception& fault) {
    std::cerr << program << ": " << fault.what() << "\n";
    return 2;
  }
}

/// Number of runs as written on the command line; 5 when left out.
inline int runs_of(const char* word) { return word == nullptr ? 5 : std::atoi(word); }

}  // namespace tidemark::bench
