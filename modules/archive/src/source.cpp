#include "source.h"

#include <dcmtk/dcmdata/dcistrmb.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <mutex>
#include <regex>
#include <span>
#include <utility>
#include <vector>

#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"

namespace tidemark::archive {
namespace {

constexpr std::size_t kPreamble = 128;

bool says_dicm(std::span<const std::byte> bytes, std::size_t at) {
  constexpr std::size_t kLength = 4;
  return bytes.size() >= at + kLength && std::memcmp(bytes.data() + at, "DICM", kLength) == 0;
}

/// The object in these bytes, or null when they are of another kind. film::read has parsed the
/// very same bytes before with its guards against hostile headers.
std::unique_ptr<DcmFileFormat> parse(std::span<const std::byte> bytes) {
  static std::once_flag once;
  std::call_once(once, [] { OFLog::configure(OFLogger::OFF_LOG_LEVEL); });  // may name a patient
  if (!says_dicm(bytes, kPreamble) && says_dicm(bytes, 0)) bytes = bytes.subspan(4);
  DcmInputBufferStream stream;
  stream.setBuffer(bytes.data(), static_cast<offile_off_t>(bytes.size()));
  stream.setEos();
  auto file = std::make_unique<DcmFileFormat>();
  file->transferInit();
  const OFCondition status = file->read(stream);
  file->transferEnd();
  if (status.bad()) return nullptr;
  return file;
}

std::optional<SourceFacts> facts_of(DcmDataset& header) {
  SourceFacts facts;
  facts.image.sop_class = text_of(header, DCM_SOPClassUID);
  facts.image.sop_instance = text_of(header, DCM_SOPInstanceUID);
  facts.study = text_of(header, DCM_StudyInstanceUID);
  facts.series = text_of(header, DCM_SeriesInstanceUID);
  for (const std::string* needed :
       {&facts.image.sop_class, &facts.image.sop_instance, &facts.study, &facts.series}) {
    if (needed->empty()) return {};
  }
  facts.modality = text_of(header, DCM_Modality);
  Uint16 rows = 0;
  Uint16 columns = 0;
  (void)header.findAndGetUint16(DCM_Rows, rows);
  (void)header.findAndGetUint16(DCM_Columns, columns);
  facts.rows = rows;
  facts.columns = columns;
  return facts;
}

const std::array identity_tags{
    // Patient module
    DCM_PatientName, DCM_PatientID, DCM_IssuerOfPatientID, DCM_IssuerOfPatientIDQualifiersSequence,
    DCM_PatientBirthDate, DCM_PatientBirthTime, DCM_PatientSex, DCM_OtherPatientIDsSequence,
    DCM_PatientIdentityRemoved, DCM_DeidentificationMethod, DCM_DeidentificationMethodCodeSequence,
    // General Study module
    DCM_StudyInstanceUID, DCM_StudyDate, DCM_StudyTime, DCM_ReferringPhysicianName, DCM_StudyID,
    DCM_AccessionNumber, DCM_IssuerOfAccessionNumberSequence, DCM_StudyDescription,
    // of objects that hold texts of their source
    DCM_TimezoneOffsetFromUTC, DCM_LongitudinalTemporalInformationModified};

/// Type 2: there, though it may be empty (PS3.5, 7.4.3).
const std::array type_2_tags{
    DCM_PatientName, DCM_PatientID, DCM_PatientBirthDate,       DCM_PatientSex,     DCM_StudyDate,
    DCM_StudyTime,   DCM_StudyID,   DCM_ReferringPhysicianName, DCM_AccessionNumber};

}  // namespace

Expected<std::optional<Source>> read_source(const std::filesystem::path& path,
                                            const std::string& sha256) {
  const std::string name = path.filename().string();
  const auto bytes = read_file(path);
  if (!bytes) return tl::unexpected(bytes.error());
  if (sha256_hex(*bytes) != sha256) {
    return fail(ErrorKind::kBadInput, name, "the file has changed since it was measured",
                "measure again");
  }
  if (!says_dicm(*bytes, kPreamble) && !says_dicm(*bytes, 0)) {
    // Without preamble a DICOM object looks like nothing in particular; other formats have marks.
    const auto first = bytes->empty() ? 0U : std::to_integer<unsigned>(bytes->front());
    if (first != 0x08U && first != 0x02U && first != 0x00U) return std::optional<Source>{};
  }
  const auto file = parse(*bytes);
  if (!file) return std::optional<Source>{};
  Source source;
  source.header.reset(file->getAndRemoveDataset());
  delete source.header->remove(DCM_PixelData);
  const auto facts = facts_of(*source.header);
  if (!facts) return std::optional<Source>{};
  source.facts = *facts;
  Sint32 frames = 1;
  (void)source.header->findAndGetSint32(DCM_NumberOfFrames, frames);
  source.several_frames = frames > 1;
  source.facts.image.first_frame = source.several_frames;
  const std::string photometric = text_of(*source.header, DCM_PhotometricInterpretation);
  source.is_grey = photometric == "MONOCHROME1" || photometric == "MONOCHROME2";
  to_utf8(*source.header);
  return std::optional<Source>(std::move(source));
}

std::string text_of(DcmItem& item, const DcmTagKey& tag) {
  OFString value;
  if (item.findAndGetOFString(tag, value).bad()) return {};
  while (!value.empty() && (value.back() == ' ' || value.back() == '\0')) value.pop_back();
  return {value.c_str(), value.length()};
}

std::string as_da(std::string text) {
  constexpr std::size_t kAfterYear = 4;
  constexpr std::size_t kAfterMonth = 7;
  if (text.size() > kAfterMonth && (text[kAfterYear] == '.' || text[kAfterYear] == '/') &&
      text[kAfterMonth] == text[kAfterYear]) {
    text[kAfterYear] = text[kAfterMonth] = '-';
  }
  const auto date = parse_date(text);
  if (!date) return {};
  std::string out = format_date(*date);
  out.erase(std::remove(out.begin(), out.end(), '-'), out.end());
  return out;
}

std::string as_tm(std::string text) {
  // Hours, or with minutes, or with seconds and their fraction; the last second may be a leap one.
  static const std::regex valid(
      "([01][0-9]|2[0-3])([0-5][0-9](([0-5][0-9]|60)([.][0-9]{1,6})?)?)?");
  text.erase(std::remove(text.begin(), text.end(), ':'), text.end());
  return std::regex_match(text, valid) ? text : std::string();
}

Expected<void> carry_identity(DcmDataset& source, DcmDataset& to) {
  const auto carry = [&](const DcmTagKey& tag) {
    DcmElement* element = nullptr;
    // A copy: the source serves several objects.
    if (source.findAndGetElement(tag, element, OFFalse, OFTrue).bad() || element == nullptr) return;
    if (to.insert(element, OFTrue).bad()) delete element;
  };
  delete to.remove(DCM_SpecificCharacterSet);
  carry(DCM_SpecificCharacterSet);
  for (const DcmTagKey& tag : identity_tags) carry(tag);
  const auto mend = [&](const DcmTagKey& tag, std::string (*as)(std::string)) {
    const std::string text = text_of(to, tag);
    if (!text.empty()) (void)to.putAndInsertString(tag, as(text).c_str());
  };
  for (const DcmTagKey& tag : {DCM_PatientBirthDate, DCM_StudyDate}) mend(tag, as_da);
  for (const DcmTagKey& tag : {DCM_PatientBirthTime, DCM_StudyTime}) mend(tag, as_tm);
  for (const DcmTagKey& tag : type_2_tags) {
    if (!to.tagExists(tag)) (void)to.insertEmptyElement(tag);
  }
  if (text_of(to, DCM_StudyInstanceUID).empty()) {
    return fail(ErrorKind::kBadInput, "DICOM results", "the study of the film cannot be carried");
  }
  return {};
}

void to_utf8(DcmDataset& header) {
  const std::unique_ptr<DcmDataset> copy(static_cast<DcmDataset*>(header.clone()));
  if (copy->convertToUTF8().bad()) return;
  (void)copy->putAndInsertString(DCM_SpecificCharacterSet, "ISO_IR 192");
  header = *copy;
}

bool is_utf8(DcmDataset& header) {
  return text_of(header, DCM_SpecificCharacterSet) == "ISO_IR 192";
}

bool may_be_same_patient(DcmDataset& a, DcmDataset& b) {
  const auto agree = [&](const DcmTagKey& tag) {
    const std::string x = text_of(a, tag);
    const std::string y = text_of(b, tag);
    return x.empty() || y.empty() || x == y;
  };
  const bool both_have_id =
      !text_of(a, DCM_PatientID).empty() && !text_of(b, DCM_PatientID).empty();
  // Names are written in many ways; they count only where no id can.
  if (both_have_id) return agree(DCM_PatientID) && agree(DCM_IssuerOfPatientID);
  return agree(DCM_PatientName) && agree(DCM_PatientBirthDate);
}

Moment moment_of(const Source& source) {
  const std::array<std::pair<DcmTagKey, DcmTagKey>, 4> kinds{
      {{DCM_AcquisitionDate, DCM_AcquisitionTime},
       {DCM_ContentDate, DCM_ContentTime},
       {DCM_SeriesDate, DCM_SeriesTime},
       {DCM_StudyDate, DCM_StudyTime}}};
  constexpr const char* kMidnight = "000000";
  if (!source.date) return {"19000101", kMidnight, true};
  const std::string day = as_da(format_date(*source.date));
  for (const auto& [date, time] : kinds) {
    if (as_da(text_of(*source.header, date)) != day) continue;
    if (auto clock = as_tm(text_of(*source.header, time)); !clock.empty()) return {day, clock};
  }
  return {day, kMidnight};
}

}  // namespace tidemark::archive
