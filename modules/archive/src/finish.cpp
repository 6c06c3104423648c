#include <dcmtk/dcmdata/dcostrmb.h>

#include <cstring>
#include <span>

#include "identity.h"
#include "make.h"
#include "tidemark/core/hash.h"

namespace tidemark::archive {
namespace {

/// The object as bytes of a file.
Expected<std::vector<std::byte>> serialise(DcmDataset& object, const std::string& kind) {
  DcmFileFormat file(&object);
  constexpr std::size_t kSpare = std::size_t{1} << 16U;  // file meta and padding
  std::vector<std::byte> bytes(
      object.calcElementLength(EXS_LittleEndianExplicit, EET_ExplicitLength) + kSpare);
  DcmOutputBufferStream stream(bytes.data(), static_cast<offile_off_t>(bytes.size()));
  file.transferInit();
  const OFCondition status = file.write(stream, EXS_LittleEndianExplicit, EET_ExplicitLength,
                                        nullptr, EGL_recalcGL, EPD_withoutPadding);
  file.transferEnd();
  if (status.bad()) return not_made(kind, status);
  void* start = nullptr;
  offile_off_t length = 0;
  stream.flushBuffer(start, length);
  bytes.resize(static_cast<std::size_t>(length));
  return bytes;
}

}  // namespace

void put_common(DcmDataset& object, Source& home, const std::string& kind, const RunFacts& run) {
  const Moment moment = moment_of(home);
  Writer put(object);
  put.text(DCM_SeriesInstanceUID, uid_of("series " + home.facts.study + " " + kind + " " +
                                         run.tool_version + " " + run.hip));
  put.text(DCM_Manufacturer, "Tidemark");
  put.text(DCM_ManufacturerModelName, "Tidemark");
  put.text(DCM_DeviceSerialNumber, "0");
  put.text(DCM_SoftwareVersions, run.tool_version);
  const auto stamp = [&](const DcmTagKey& date, const DcmTagKey& time) {
    put.text(date, moment.date);
    put.text(time, moment.time);
  };
  // Not the clock: the same films must give the same bytes (docs/dicom-results.md).
  if (kind == kPresentation) {
    stamp(DCM_PresentationCreationDate, DCM_PresentationCreationTime);
  } else {
    stamp(DCM_ContentDate, DCM_ContentTime);
  }
  for (const DcmTagKey& clock : {DCM_InstanceCreationDate, DCM_InstanceCreationTime,
                                 DCM_InstanceCreatorUID, DCM_SeriesDate, DCM_SeriesTime}) {
    delete object.remove(clock);
  }
}

Expected<std::vector<std::byte>> finish(DcmDataset& object, const std::string& kind,
                                        const std::string& source_uid) {
  Writer put(object);
  put.text(DCM_SOPInstanceUID, uid_of("no content yet"));
  if (put.status().bad()) return not_made(kind, put.status());
  auto blank = serialise(object, kind);
  if (!blank) return blank;
  put.text(DCM_SOPInstanceUID,
           uid_of("object " + source_uid + " " + kind + " " + sha256_hex(*blank)));
  return serialise(object, kind);
}

tl::unexpected<Error> not_made(const std::string& what, const OFCondition& why) {
  return fail(ErrorKind::kBadInput, "DICOM " + what,
              "it could not be made (" + std::string(why.text()) + ")", "please report this");
}

}  // namespace tidemark::archive
