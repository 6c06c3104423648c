#pragma once

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>

#include <string>
#include <vector>

#include "content.h"
#include "source.h"
#include "tidemark/core/expected.h"
#include "tidemark/followup/result.h"

namespace tidemark::archive {

/// What all objects of a run share.
struct RunFacts {
  std::string tool_version;
  std::string
      hip;  ///< which hip of the patient: two hips of one film share neither series nor things
};

/// The report as a Comprehensive SR object of the study of `home`.
/// @param sources of all films, for the lists of evidence
[[nodiscard]] Expected<std::vector<std::byte>> make_report(const Item& content, Source& home,
                                                           const Sources& sources,
                                                           const RunFacts& run);

/// A presentation state that lays outline, axes, landmarks, borders of the zones and a text over
/// the film; of the film's own study, as PS3.3 has it refer to images of one study only.
[[nodiscard]] Expected<std::vector<std::byte>> make_presentation(const followup::Result& result,
                                                                 const followup::FilmResult& film,
                                                                 Source& source,
                                                                 const RunFacts& run);

/// A Secondary Capture of a picture, of the study of `home`.
/// @param number 1 for the first capture of the run
/// @param shown  films the picture shows; null where a film is no DICOM object
[[nodiscard]] Expected<std::vector<std::byte>> make_capture(const followup::Picture& picture,
                                                            int number, Source& home,
                                                            const std::vector<Source*>& shown,
                                                            const RunFacts& run);

// Pieces of the above.

/// Puts elements; remembers the first failure.
class Writer {
 public:
  explicit Writer(DcmItem& item) : item_(item) {}
  void text(const DcmTagKey& tag, const std::string& value) {
    note(item_.putAndInsertString(tag, value.c_str()));
  }
  void number(const DcmTagKey& tag, int value) {
    note(item_.putAndInsertUint16(tag, static_cast<Uint16>(value)));
  }
  void note(const OFCondition& condition) {
    if (status_.good() && condition.bad()) status_ = condition;
  }
  [[nodiscard]] const OFCondition& status() const { return status_; }

 private:
  DcmItem& item_;
  OFCondition status_ = EC_Normal;
};

/// Names of the three series within a study.
inline constexpr const char* kMeasurements = "report";
inline constexpr const char* kPresentation = "presentation";
inline constexpr const char* kCapture = "capture";

/// Equipment, series and dates that are the same in every object of ours. `kind` is one of the
/// names above.
void put_common(DcmDataset& object, Source& home, const std::string& kind, const RunFacts& run);

/// Gives the object its UID, made of its source's and the hash of its own content, and writes it
/// as a file of explicit little endian.
[[nodiscard]] Expected<std::vector<std::byte>> finish(DcmDataset& object, const std::string& kind,
                                                      const std::string& source_uid);

/// "could not be made (...)" as an error about `what`.
[[nodiscard]] tl::unexpected<Error> not_made(const std::string& what, const OFCondition& why);

}  // namespace tidemark::archive
