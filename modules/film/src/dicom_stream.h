#pragma once

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dcistrmb.h>
#include <dcmtk/dcmdata/dctk.h>

#include <cstddef>
#include <memory>
#include <span>
#include <string>

#include "tidemark/core/expected.h"

namespace tidemark::film {

/// Switches off DCMTK's log and registers its decoders, once per process.
void prepare_dcmtk();

/// Warnings of DCMTK's JPEG decoder on the calling thread so far: it goes on over damaged data with
/// made-up pixels and calls that a success. Decoding runs on the thread that asks for it.
[[nodiscard]] std::size_t jpeg_warnings_here();

/// Whether the bytes say that they are DICOM: "DICM" after the preamble or at the very start. The
/// preamble may hold the first bytes of another format, so ask this before any other format.
[[nodiscard]] bool is_dicom(std::span<const std::byte> bytes);

/// Whether the bytes may be a DICOM object that lost its preamble: they begin with an element of
/// group 0002, 0004 or 0008 in either byte order.
[[nodiscard]] bool may_be_dicom(std::span<const std::byte> bytes);

/// Parses a DICOM object from memory. Nested sequences, element counts and inflated sizes that no
/// film has are refused before they cost stack or memory.
[[nodiscard]] Expected<std::unique_ptr<DcmFileFormat>> parse_dicom(std::span<const std::byte> bytes,
                                                                   const std::string& name);

}  // namespace tidemark::film
