#pragma once

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "content.h"
#include "tidemark/core/date.h"
#include "tidemark/core/expected.h"

namespace tidemark::archive {

/// One film as an archive knows it: its header without the pixels.
struct Source {
  SourceFacts facts;
  std::unique_ptr<DcmDataset> header;
  bool several_frames = false;
  bool is_grey = false;      ///< stored as MONOCHROME1 or MONOCHROME2
  std::optional<Date> date;  ///< as the result has it, which may be the sheet's
};

/// Reads a film's header again.
/// @param sha256 of the file when it was measured
/// @return nothing when the file is no DICOM object or lacks the UID of study, series, object or
///         class; kBadInput when it cannot be read or its bytes are not those that were measured.
[[nodiscard]] Expected<std::optional<Source>> read_source(const std::filesystem::path& path,
                                                          const std::string& sha256);

/// First value of a text element without padding; empty when it is absent.
[[nodiscard]] std::string text_of(DcmItem& item, const DcmTagKey& tag);

/// A date of a header as PS3.5, 6.2 wants it, also of one that is written 2024.03.02, 2024-03-02 or
/// 2024/03/02; empty where it names no day.
[[nodiscard]] std::string as_da(std::string text);

/// A time of a header as PS3.5, 6.2 wants it, also of one that is written 10:30:00; else empty.
[[nodiscard]] std::string as_tm(std::string text);

/// The elements that say which patient and study `source` belongs to, as they stand there but for
/// dates and times (as_da(), as_tm()), and its character set: the Patient, General Study and (as
/// far as it names a de-identification) Clinical modules of PS3.3, C.7.1 and C.7.2.
[[nodiscard]] Expected<void> carry_identity(DcmDataset& source, DcmDataset& to);

/// Turns the texts of the header into UTF-8 where its character set can be converted; else they
/// stay as they are.
void to_utf8(DcmDataset& header);

/// Whether texts of our own may hold any character beside those of `header`.
[[nodiscard]] bool is_utf8(DcmDataset& header);

/// Whether both headers may be of one patient: the same id (of the same issuer where both name
/// one), or, where one has no id, nothing that contradicts.
[[nodiscard]] bool may_be_same_patient(DcmDataset& a, DcmDataset& b);

/// Date and time that an object made from this film carries; neither is ever empty, because the
/// objects must have both (PS3.3, C.17.2.1 and C.11.10, from memory).
struct Moment {
  std::string date;      ///< DICOM DA
  std::string time;      ///< DICOM TM
  bool made_up = false;  ///< nothing gives a date
};
/// The date is the result's, which everything else goes by; the time that of acquisition, content,
/// series or study, the first whose own date is that one, else (house choice) 00:00:00; without a
/// date, 1900-01-01.
[[nodiscard]] Moment moment_of(const Source& source);

}  // namespace tidemark::archive
