#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/followup/result.h"
#include "tidemark/followup/series.h"

namespace tidemark::archive {

/// Folder below the output folder that takes the objects.
inline constexpr const char* kFolder = "dicom";

/// One DICOM object as the bytes of a file.
struct Object {
  std::string file;  ///< name inside kFolder
  std::vector<std::byte> bytes;
};

/// What an archive is given of one result.
struct Objects {
  std::vector<Object> objects;
  /// What was left out and why, one sentence each that begins with the name of the film. Holds no
  /// patient's identity.
  std::vector<std::string> notes;
};

/// Makes the DICOM objects of a result (docs/dicom-results.md): one Comprehensive SR by TID 1500
/// (PS3.16) with all measurements, one Grayscale Softcopy Presentation State per measured film, and
/// one Secondary Capture per picture of an aligned pair. A pure function of the result and the
/// bytes of its films: same input, same bytes.
///
/// Patient and study are carried from the headers of the films: the report and the captures go to
/// the study of the newest measured film, each presentation state to the study of its film. Films
/// that are no DICOM objects, or lack an identifier that an archive needs, get no presentation
/// state and no coordinates in the report; the notes say so.
///
/// @param series the films that `result` was measured on, in its order; they are read again
/// @return kCannotTell when no measured film is a DICOM object or the films name more than one
///         patient; kBadInput when a film cannot be read or is not the one that was measured.
[[nodiscard]] Expected<Objects> make_objects(const followup::Result& result,
                                             const followup::Series& series);

/// Removes the objects of an earlier run from `out`/kFolder, and the folder when it is then empty.
/// Files of other names stay.
/// @return kNotWritable when one cannot be removed.
[[nodiscard]] Expected<void> remove_objects(const std::filesystem::path& out);

/// Writes the objects into `out`/kFolder, each whole or not at all, the report last. After an error
/// none of them is left.
/// @return kNotWritable.
[[nodiscard]] Expected<void> write_objects(const Objects& objects,
                                           const std::filesystem::path& out);

}  // namespace tidemark::archive
