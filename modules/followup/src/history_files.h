#pragma once

// Names of the files of an output folder that reach into the next run (docs/history.md).
namespace tidemark::followup {

inline constexpr const char* kResultFile = "result.json";
/// The result that result.json tells the changes since.
inline constexpr const char* kEarlierResultFile = "earlier-result.json";
inline constexpr const char* kStepsFile = "steps.bin";

}  // namespace tidemark::followup
