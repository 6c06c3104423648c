#pragma once

#include <filesystem>
#include <functional>

#include "tidemark/core/expected.h"
#include "tidemark/phantom/case.h"
#include "tidemark/phantom/film.h"

namespace tidemark::phantom {

/// Writes one film as a Digital X-Ray Image (for presentation). The patient is invented
/// (PHANTOM-nnnn); identifiers follow from seed, number and index, so the same case gives the same
/// bytes. Uncalibrated: ImagerPixelSpacing is that of the detector.
/// @return kNotWritable when the file cannot be written.
[[nodiscard]] Expected<void> write_dicom(const std::filesystem::path& file,
                                         const RasterOf<std::uint16_t>& pixels,
                                         const CaseSpec& spec, int film_index);

/// Name of the hip in its series and its header: PHANTOM-nnnn.
[[nodiscard]] std::string hip_name(const CaseSpec& spec);

/// The stem with its neck, without the head, as a maker would hand it out: of the hip's own side,
/// in a frame of its own that nothing else tells (drawn from seed and number).
[[nodiscard]] TriangleMesh stem_surface(const Model& model, const CaseSpec& spec);

/// Writes a surface as binary STL.
/// @return kNotWritable when the file cannot be written.
[[nodiscard]] Expected<void> write_stl(const std::filesystem::path& file, const TriangleMesh& mesh);

/// Whether write_case adds the stem's surface (stem.stl, named in series.json as stem.surface).
enum class StemFile { kNone, kWrite };

/// Simulates all films of a case into `folder` (made if missing): film-NN.dcm, series.json and
/// truth.json (docs/truth.md). `progress` is called with the index of each film when it is written.
/// @return kNotWritable, or the error of build_model.
[[nodiscard]] Expected<void> write_case(const std::filesystem::path& folder, const CaseSpec& spec,
                                        unsigned threads,
                                        const std::function<void(int)>& progress = {},
                                        StemFile stem_file = StemFile::kNone);

}  // namespace tidemark::phantom
