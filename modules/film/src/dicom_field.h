#pragma once

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>

#include <string>
#include <vector>

#include "stated_field.h"

namespace tidemark::film {

/// Display shutter and collimator of a header, as far as their shapes are complete; the rest is
/// noted. Edges in the wrong order are put in order.
/// @param pixel_height_per_width of the stored matrix: a circle's radius counts columns
[[nodiscard]] std::vector<StatedField> stated_fields_of(DcmItem& dataset,
                                                        double pixel_height_per_width,
                                                        std::vector<std::string>& notes);

}  // namespace tidemark::film
