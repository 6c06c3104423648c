#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "item.h"
#include "tidemark/followup/result.h"

namespace tidemark::archive {

/// What the content needs of a source film that is a DICOM object.
struct SourceFacts {
  ImageReference image;
  std::string study;
  std::string series;
  std::string modality;
  int rows = 0;
  int columns = 0;
};

/// One entry per film of the result; absent where the film is no DICOM object.
using Sources = std::vector<std::optional<SourceFacts>>;

/// What names the same stem, zone or sign in every report of one hip: a UID of the name of the
/// thing, of the reference film and of the side, as a film may show both hips.
struct Tracking {
  std::string seed;  ///< names the reference film and which hip on it

  [[nodiscard]] std::string uid(const std::string& thing) const;
};

/// The whole content of the report, from the title down.
[[nodiscard]] Item report_content(const followup::Result& result, const Sources& sources,
                                  const Tracking& tracking);

// Parts of it: groups of TID 1501 below "Imaging Measurements".

/// What a group is about and when.
struct GroupHead {
  std::string thing;  ///< tracking identifier, e.g. "stem" or "zone 3, stem-bone"
  Code finding;
  std::optional<int> zone;
  std::size_t film = 0;  ///< whose time point it is
};
[[nodiscard]] Item group(const GroupHead& head, const followup::Result& result,
                         const Tracking& tracking);

/// Scale, outlines, landmarks and tilt of one film.
[[nodiscard]] Item film_group(const followup::Result& result, std::size_t film,
                              const Sources& sources, const Tracking& tracking);
/// Migration of one comparison, or why it was not measured.
[[nodiscard]] Item pair_group(const followup::Result& result,
                              const followup::ComparisonResult& pair, const Sources& sources,
                              const Tracking& tracking);
/// Lines of one film: a group per zone and interface; and its other signs.
[[nodiscard]] std::vector<Item> bone_groups(const followup::Result& result, std::size_t film,
                                            const Sources& sources, const Tracking& tracking);
/// Stem axis and shaft axis of a film as coordinates of a measurement.
void add_axes(const followup::FilmResult& film, const std::optional<SourceFacts>& source,
              Item& item);
/// A group per criterion and comparison with its verdict; the course over time.
[[nodiscard]] std::vector<Item> finding_groups(const followup::Result& result,
                                               const Sources& sources, const Tracking& tracking);
/// A group per measure of the seat on the reference film: value, class, plan, or the reason.
[[nodiscard]] std::vector<Item> seat_groups(const followup::Result& result, const Sources& sources,
                                            const Tracking& tracking);
/// A group per sign of fixation or loosening and comparison.
[[nodiscard]] std::vector<Item> sign_groups(const followup::Result& result,
                                            const Tracking& tracking);
/// The verdict of the whole, its doubt, the set of criteria, cautions: qualitative evaluations.
[[nodiscard]] std::vector<Item> headline_items(const followup::Result& result);
/// What became of the lines of a film since an earlier one.
[[nodiscard]] std::vector<Item> line_change_groups(const followup::Result& result,
                                                   std::size_t follow_up,
                                                   std::span<const lucency::ZoneChange> zones,
                                                   const Tracking& tracking);
/// What became of lines and other signs since the reference film.
[[nodiscard]] std::vector<Item> bone_change_groups(const followup::Result& result,
                                                   const followup::ComparisonResult& pair,
                                                   const Tracking& tracking);

}  // namespace tidemark::archive
