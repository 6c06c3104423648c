#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "tidemark/assessment/criteria.h"
#include "tidemark/assessment/signs.h"
#include "tidemark/followup/result.h"
#include "tidemark/followup/series.h"
#include "tidemark/followup/steps.h"

namespace tidemark::followup {

/// What happens when nothing gives the scale of a film.
enum class WithoutScale {
  kRefuse,        ///< the film is not measured, and the reason says what is missing
  kAcceptPixels,  ///< lengths come out in stored px of the reference film
};

/// Whether Result::pictures is filled.
enum class Pictures { kNone, kDraw };

/// Whether Result::aligned is filled: a megabyte a film.
enum class Aligned { kNone, kKeep };

/// Whether Result::unrolled is filled: 300 kB a film.
enum class Unroll { kNone, kKeep };

/// Whether Result::reuse is filled: some 100 kB a film.
enum class Remember { kNone, kKeep };

/// One pair that is told before the rest is measured: who corrects a point waits for its numbers.
struct Early {
  std::size_t follow_up = 0;  ///< its place in Series::films
  /// Stands for all that is not measured yet; never empty. Where it is of other films or pairs
  /// nothing is told early, nor where a film from the side is to be measured.
  std::shared_ptr<const Result> before;
  /// Called at most once, from within measure(): `before` with the motion of that pair, stem and
  /// bone of its films and the judgement as they are now. The result may differ from it in this
  /// pair too, when other pairs tell more of the depths (migration::with_others).
  std::function<void(Result)> tell;
};

/// How a series is measured.
struct Options {
  WithoutScale without_scale = WithoutScale::kRefuse;
  Pictures pictures = Pictures::kNone;
  /// What the hip is judged by; absent: the built-in criteria for its stem.
  std::optional<assessment::CriteriaSet> criteria = {};
  /// The decision table of signs, its switches set; absent: the built-in one for its stem.
  std::optional<assessment::SignTable> signs = {};
  Aligned aligned = Aligned::kNone;
  Unroll unroll = Unroll::kNone;
  Remember remember = Remember::kNone;
  /// What the steps said before, read with Remember::kKeep; changes the time, never the result.
  std::shared_ptr<const StepMemory> before = {};
  int threads = 0;  ///< 0 = one per core; changes the time, never the result
  /// Called with (steps done, steps in all), one call at a time, from any thread. May be empty.
  std::function<void(std::size_t done, std::size_t all)> progress = {};
  std::optional<Early> early = {};  ///< changes when something is told, never the result
};

/// Measures one hip: reads its films, finds implant and bone on each, and compares each follow-up
/// with the reference, and judges what was measured. A pure function of the series, the criteria
/// and the bytes of its films.
///
/// Films: the side is the sheet's, else the DICOM header's, else the one on which the stem is seen
/// best over all films (flag side_assumed). The date is the sheet's, else the header's. The
/// reference is the sheet's, else the earliest dated film, else the first by name.
///
/// Scale: head diameter of the sheet or caller, marker, stem length, DICOM (film::calibrate). When
/// the head's diameter is not known, the films' own scales give it, and it then serves all films:
/// the head is the same object on each, so errors of scale between films cancel.
///
/// @param series holds at least one film
///
/// Refusals are no errors: a film or a comparison that cannot be measured is in the list with its
/// reason.
[[nodiscard]] Result measure(const Series& series, const Options& options);

/// As measure(), with other steps.
[[nodiscard]] Result measure_with(const Series& series, const Options& options, const Steps& steps);

/// Version of the program, e.g. "0.1.0".
[[nodiscard]] std::string version();

}  // namespace tidemark::followup
