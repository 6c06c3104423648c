#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "overlay.h"
#include "tidemark/followup/result.h"
#include "tidemark/report/document.h"

namespace tidemark::view {

// Help in place: of each number of the window what it means, how it was measured on these very
// films, and where its definition comes from. Pure functions of what was measured; what the report
// says already is taken from its document.

/// What is said of one number.
struct Help {
  std::string title;
  std::string value;                  ///< the number as it stands; empty: none
  std::vector<std::string> means;     ///< paragraphs
  std::vector<std::string> measured;  ///< how, paragraphs
  std::vector<std::string> facts;     ///< of this hip, one sentence each
  /// Each names a publication or a standard, or says that there is none: "house choice",
  /// "common practice, no source".
  std::vector<std::string> sources;
};

/// What was measured, and what the report says of it.
struct HelpFrom {
  const followup::Result& result;    // NOLINT: a view for the length of one call
  const report::Document& document;  // NOLINT
};

/// A number of a comparison.
enum class Number { kSubsidence, kMedial, kTiltChange };
/// A chart of the course.
enum class CourseChart { kSubsidence, kTilt };
/// A column of the table of zones, from the left.
enum class ZoneColumn { kZone, kProgram, kReaders, kWidest, kSince };

/// @param comparison index in Result::comparisons
[[nodiscard]] Help help_of(const HelpFrom& from, std::size_t comparison, Number number);
/// @param finding index in Assessment::findings
[[nodiscard]] Help help_of_verdict(const HelpFrom& from, std::size_t finding);
[[nodiscard]] Help help_of_headline(const HelpFrom& from);
[[nodiscard]] Help help_of(const HelpFrom& from, CourseChart chart);
/// @param film index in Result::films
/// @param row  index in FilmResult::zones
[[nodiscard]] Help help_of_zone(const HelpFrom& from, std::size_t film, std::size_t row,
                                ZoneColumn column);
/// The interface unrolled.
[[nodiscard]] Help help_of_strips(const HelpFrom& from, std::size_t film);
/// @param row index in SeatResult::items
[[nodiscard]] Help help_of_seat(const HelpFrom& from, std::size_t row);
/// A film and its scale.
[[nodiscard]] Help help_of_film(const HelpFrom& from, std::size_t film);
/// A point of a film; it need not have been found.
[[nodiscard]] Help help_of(const HelpFrom& from, const Handle& handle);
/// The list of corrections.
[[nodiscard]] Help help_of_edits();

// Links of the page "Finding" to the help of its numbers.

[[nodiscard]] std::string link_of(std::size_t comparison, Number number);
[[nodiscard]] std::string link_of_verdict(std::size_t finding);
[[nodiscard]] std::string link_of_headline();
[[nodiscard]] std::string link_of_film(std::size_t film);
/// What a link leads to; absent: it is none of these, or of a hip with fewer films.
[[nodiscard]] std::optional<Help> help_of_link(const HelpFrom& from, const std::string& link);

/// As a page, HTML.
[[nodiscard]] std::string html_of(const Help& help);
/// What holds for all numbers, HTML.
[[nodiscard]] std::string general_help();

}  // namespace tidemark::view
