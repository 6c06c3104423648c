#pragma once

namespace tidemark {

/// Side of the patient's body.
enum class Side { kRight, kLeft };

/// View of a projection radiograph.
enum class View { kAp, kPa, kLateral, kOther };

/// Where a value comes from.
enum class Source { kFound, kGiven };  ///< found on the film | given by the user in the sheet

}  // namespace tidemark
