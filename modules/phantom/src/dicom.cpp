#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>

#include <algorithm>
#include <cstdio>
#include <string>
#include <utility>

#include "random.h"
#include "tidemark/phantom/write.h"

namespace tidemark::phantom {
namespace {

/// 2.25.<128 bits as a decimal number> (PS3.5, B.2), from a hash instead of a clock.
std::string make_uid(const CaseSpec& spec, std::uint64_t kind, std::uint64_t index) {
  const auto part = [&](std::uint64_t half) {
    return mix({spec.seed, static_cast<std::uint64_t>(spec.number), kind, index, half});
  };
  __extension__ using Wide = unsigned __int128;
  Wide value = static_cast<Wide>(part(0)) << 64U | part(1);
  std::string digits;
  for (; value > 0; value /= 10) digits += static_cast<char>('0' + static_cast<int>(value % 10));
  std::reverse(digits.begin(), digits.end());
  return "2.25." + digits;
}

std::string decimal(double value, int places) {
  std::string text(24, '\0');
  text.resize(
      static_cast<std::size_t>(std::snprintf(text.data(), text.size(), "%.*f", places, value)));
  return text;
}

std::string dicom_date(std::string iso) {
  std::erase(iso, '-');
  return iso;
}

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
  void code(const DcmTagKey& sequence, const char* value, const char* scheme, const char* meaning) {
    DcmItem* item = nullptr;
    note(item_.findOrCreateSequenceItem(sequence, item));
    if (item == nullptr) return;
    note(item->putAndInsertString(DCM_CodeValue, value));
    note(item->putAndInsertString(DCM_CodingSchemeDesignator, scheme));
    note(item->putAndInsertString(DCM_CodeMeaning, meaning));
  }
  void note(const OFCondition& condition) {
    if (first_.good() && condition.bad()) first_ = condition;
  }
  [[nodiscard]] const OFCondition& status() const { return first_; }

 private:
  DcmItem& item_;
  OFCondition first_ = EC_Normal;
};

void put_identity(Writer& to, const CaseSpec& spec, int index) {
  const auto i = static_cast<std::uint64_t>(index);
  const FilmSpec& film = spec.films[static_cast<std::size_t>(index)];
  const std::string date = dicom_date(film.date);
  to.text(DCM_SpecificCharacterSet, "ISO_IR 100");
  to.text(DCM_SOPClassUID, UID_DigitalXRayImageStorageForPresentation);
  to.text(DCM_SOPInstanceUID, make_uid(spec, 3, i));
  to.text(DCM_StudyInstanceUID, make_uid(spec, 1, i));
  to.text(DCM_SeriesInstanceUID, make_uid(spec, 2, i));
  to.text(DCM_PatientName, "PHANTOM^" + hip_name(spec).substr(8));
  to.text(DCM_PatientID, hip_name(spec));
  for (const DcmTagKey& empty :
       {DCM_PatientBirthDate, DCM_PatientSex, DCM_ReferringPhysicianName, DCM_AccessionNumber}) {
    to.text(empty, "");
  }
  for (const DcmTagKey& day :
       {DCM_StudyDate, DCM_SeriesDate, DCM_AcquisitionDate, DCM_ContentDate}) {
    to.text(day, date);
  }
  for (const DcmTagKey& time :
       {DCM_StudyTime, DCM_SeriesTime, DCM_AcquisitionTime, DCM_ContentTime}) {
    to.text(time, "101500");
  }
  to.text(DCM_StudyID, std::to_string(index + 1));
  to.text(DCM_SeriesNumber, "1");
  to.text(DCM_InstanceNumber, "1");
  to.text(DCM_Modality, "DX");
  to.text(DCM_Manufacturer, "Tidemark phantom");
  to.text(DCM_PresentationIntentType, "FOR PRESENTATION");
  const char* hip = film.view == View::kLateral ? "Hip lateral" : "Hip AP";
  to.text(DCM_StudyDescription, film.field == FieldOfView::kHip ? hip : "Pelvis AP");
}

/// Codes of CID 4010 (DICOM PS3.16, from memory).
void put_view(Writer& to, const CaseSpec& spec, const FilmSpec& film) {
  if (film.view != View::kLateral) {
    to.code(DCM_ViewCodeSequence, "R-10206", "SRT", "antero-posterior");
    to.text(DCM_ViewPosition, "AP");
    return;
  }
  const bool left = spec.side == Side::kLeft;
  to.code(DCM_ViewCodeSequence, left ? "R-10236" : "R-10232", "SRT",
          left ? "left lateral" : "right lateral");
  to.text(DCM_ViewPosition, left ? "LL" : "RL");
}

/// Directions of rows and columns. The back of a right hip lies at the film's right, that of a left
/// one, its mirror image, at the left.
const char* orientation_of(const CaseSpec& spec, const FilmSpec& film) {
  if (film.view != View::kLateral || film.facing_tag != FacingTag::kTrue) return "L\\F";
  return spec.side == Side::kLeft ? "A\\F" : "P\\F";
}

void put_geometry(Writer& to, const CaseSpec& spec, const FilmSpec& film) {
  const bool pelvis = film.field == FieldOfView::kPelvis;
  const std::string pitch = decimal(film.beam.pixel_pitch.value, 4);
  to.text(DCM_ImagerPixelSpacing, pitch + "\\" + pitch);
  to.text(DCM_DistanceSourceToDetector, decimal(film.beam.source_to_detector.value, 1));
  to.text(DCM_KVP, "75");
  to.text(DCM_FocalSpots, decimal(film.exposure.focal_spot.value, 1));
  to.text(DCM_DetectorType, "DIRECT");
  to.text(DCM_BodyPartExamined, pelvis ? "PELVIS" : "HIP");
  if (pelvis) {
    to.code(DCM_AnatomicRegionSequence, "T-D6000", "SRT", "Pelvis");
    to.text(DCM_ImageLaterality, "B");
  } else {
    to.code(DCM_AnatomicRegionSequence, "T-15710", "SRT", "Hip joint");
    to.text(DCM_ImageLaterality, spec.side == Side::kLeft ? "L" : "R");
  }
  put_view(to, spec, film);
  to.text(DCM_PositionerType, "");
  to.text(DCM_PatientOrientation, orientation_of(spec, film));
}

/// What the header says: MONOCHROME1, that is, dark is dense.
bool says_dark_is_dense(const FilmSpec& film) {
  const bool truly = film.processing.photometric == Photometric::kMonochrome1;
  return film.photometric_tag == PhotometricTag::kTrue ? truly : !truly;
}

void put_pixel_facts(Writer& to, const RasterOf<std::uint16_t>& pixels, const FilmSpec& film) {
  const Processing& how = film.processing;
  const bool dark_is_dense = says_dark_is_dense(film);
  to.text(DCM_ImageType, "ORIGINAL\\PRIMARY");
  to.number(DCM_SamplesPerPixel, 1);
  to.text(DCM_PhotometricInterpretation, dark_is_dense ? "MONOCHROME1" : "MONOCHROME2");
  to.number(DCM_Rows, pixels.height);
  to.number(DCM_Columns, pixels.width);
  to.number(DCM_BitsAllocated, 16);
  to.number(DCM_BitsStored, how.bits_stored);
  to.number(DCM_HighBit, how.bits_stored - 1);
  to.number(DCM_PixelRepresentation, 0);
  to.text(DCM_PixelIntensityRelationship, "LOG");
  to.text(DCM_RescaleIntercept, "0");
  to.text(DCM_RescaleSlope, "1");
  to.text(DCM_RescaleType, "US");
  to.text(DCM_PresentationLUTShape, dark_is_dense ? "INVERSE" : "IDENTITY");
  to.text(DCM_LossyImageCompression, "00");
  to.text(DCM_BurnedInAnnotation, "NO");
  const double range = static_cast<double>(1 << how.bits_stored);
  to.text(DCM_WindowCenter, decimal(0.5 * range, 1));
  to.text(DCM_WindowWidth, decimal(range, 1));
}

}  // namespace

std::string hip_name(const CaseSpec& spec) {
  const std::string digits = std::to_string(spec.number);
  return "PHANTOM-" + std::string(digits.size() < 4 ? 4 - digits.size() : 0, '0') + digits;
}

Expected<void> write_dicom(const std::filesystem::path& file, const RasterOf<std::uint16_t>& pixels,
                           const CaseSpec& spec, int film_index) {
  OFLog::configure(OFLogger::OFF_LOG_LEVEL);
  const FilmSpec& film = spec.films[static_cast<std::size_t>(film_index)];
  DcmFileFormat dicom;
  DcmDataset& data = *dicom.getDataset();
  Writer to(data);
  put_identity(to, spec, film_index);
  put_geometry(to, spec, film);
  put_pixel_facts(to, pixels, film);
  const bool dark_is_dense = says_dark_is_dense(film);
  to.note(data.putAndInsertSint16(DCM_PixelIntensityRelationshipSign, dark_is_dense ? 1 : -1));
  to.note(data.insertEmptyElement(DCM_AcquisitionContextSequence));
  to.note(data.putAndInsertUint16Array(DCM_PixelData, pixels.values.data(),
                                       static_cast<unsigned long>(pixels.values.size())));
  if (to.status().good()) {
    to.note(dicom.saveFile(file.c_str(), EXS_LittleEndianExplicit));
  }
  if (to.status().bad()) {
    return fail(ErrorKind::kNotWritable, file.filename().string(),
                std::string("the film cannot be written (") + to.status().text() + ")",
                "choose another output folder");
  }
  return {};
}

}  // namespace tidemark::phantom
