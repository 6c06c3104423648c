#pragma once

#include "tidemark/followup/steps.h"
#include "working.h"

namespace tidemark::followup {

/// Reads the surface that the sheet names and brings it to the side of the hip. What cannot be used
/// is told by a flag of the series, and everything is measured without it. A surface whose front
/// and back differ is laid on the reference film both ways, in case the file shows the other side's
/// stem: the better one is taken.
void load_stem(WorkingSeries& work, const Steps& steps);

/// Lays the stem's surface on a film that has `hip`; a flag of the film when that fails.
void lay_stem(Working& film, const WorkingSeries& work, const Steps& steps);

/// surface::read_mesh and surface::find_stem.
[[nodiscard]] Expected<surface::StemModel> read_stem(const std::filesystem::path& file);

/// surface::find_pose with what the film is known by.
[[nodiscard]] Expected<surface::SurfacePose> find_pose(const surface::StemModel& stem,
                                                       const anatomy::Implant& implant,
                                                       const film::FilmImage& hip_view,
                                                       const Measured<Millimetres>& head_diameter);

}  // namespace tidemark::followup
