#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/phantom/case.h"

namespace tidemark::phantom {

/// One hip of the invented cohort.
struct CohortHip {
  CaseSpec spec;
  std::string stem_design;        ///< "A" or "B"
  std::string centre;             ///< "north" or "south"
  std::vector<int> examinations;  ///< of each film: 2 for the second film of a visit, else 1
};

/// The hip with this number of an invented cohort for demonstrations and tests: two stem designs,
/// operated on over three years, films after surgery, at about 6 weeks, 1 and 2 years; a third of
/// the hips was not seen at 2 years. Stems of design A settle by 1 mm and stop; of design B they
/// settle by 1.4 mm, and four in ten go on by about 1.5 mm a year. Every fourth hip has a second
/// film of its 1-year visit, taken anew. All of that is invented and says nothing of any stem.
[[nodiscard]] CohortHip cohort_hip(std::uint64_t seed, int number, Millimetres pixel_pitch);

/// Simulates hips 1 to `hips` into folder/hip-NNNN and writes folder/cohort.csv, a sheet for
/// `tidemark batch` with one line a film (docs/registry.md).
/// @return kNotWritable, or the error of build_model.
[[nodiscard]] Expected<void> write_cohort(const std::filesystem::path& folder, std::uint64_t seed,
                                          int hips, Millimetres pixel_pitch, unsigned threads);

}  // namespace tidemark::phantom
