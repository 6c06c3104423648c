#include <png.h>

#include <algorithm>
#include <set>
#include <utility>

#include "make.h"

namespace tidemark::archive {
namespace {

struct Pixels {
  int columns = 0;
  int rows = 0;
  std::vector<Uint8> rgb;
};

Expected<Pixels> decode(const followup::Picture& picture) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  Pixels out;
  const bool begun =
      png_image_begin_read_from_memory(&image, picture.png.data(), picture.png.size()) != 0;
  image.format = PNG_FORMAT_RGB;
  if (begun) out.rgb.resize(PNG_IMAGE_SIZE(image));
  if (!begun || png_image_finish_read(&image, nullptr, out.rgb.data(), 0, nullptr) == 0) {
    png_image_free(&image);
    return fail(ErrorKind::kBadInput, picture.file, "the picture cannot be decoded",
                "measure again");
  }
  out.columns = static_cast<int>(image.width);
  out.rows = static_cast<int>(image.height);
  return out;
}

/// Whether the capture may show a name that is burnt into one of its films (PS3.3, C.7.6.1.1):
/// YES if a film says so, NO if all say no, else not said.
std::string burned_in(const std::vector<Source*>& shown) {
  bool all_say_no = !shown.empty();
  for (const Source* source : shown) {
    const std::string said =
        source == nullptr ? "" : text_of(*source->header, DCM_BurnedInAnnotation);
    if (said == "YES") return "YES";
    all_say_no = all_say_no && said == "NO";
  }
  return all_say_no ? "NO" : "";
}

/// What was made of a film that had lost something by compression says so (PS3.3, C.7.6.1.1.5, from
/// memory). Of several such films the one that was compressed most is told (house choice).
void put_lossy(const std::vector<Source*>& shown, Writer& put) {
  DcmDataset* most = nullptr;
  double most_ratio = -1.0;
  for (const Source* source : shown) {
    if (source == nullptr || text_of(*source->header, DCM_LossyImageCompression) != "01") continue;
    Float64 ratio = 0.0;
    (void)source->header->findAndGetFloat64(DCM_LossyImageCompressionRatio, ratio);
    if (ratio <= most_ratio) continue;
    most_ratio = ratio;
    most = source->header.get();
  }
  if (most == nullptr) return;
  put.text(DCM_LossyImageCompression, "01");
  for (const DcmTagKey& tag : {DCM_LossyImageCompressionRatio, DCM_LossyImageCompressionMethod}) {
    OFString all;
    if (most->findAndGetOFStringArray(tag, all).good() && !all.empty()) {
      put.text(tag, {all.c_str(), all.length()});
    }
  }
}

void put_sources(DcmDataset& object, const std::vector<Source*>& shown, Writer& put) {
  for (const Source* source : shown) {
    if (source == nullptr) continue;
    DcmItem* item = nullptr;
    put.note(object.findOrCreateSequenceItem(DCM_SourceImageSequence, item, -2));
    if (item == nullptr) return;
    Writer of(*item);
    of.text(DCM_ReferencedSOPClassUID, source->facts.image.sop_class);
    of.text(DCM_ReferencedSOPInstanceUID, source->facts.image.sop_instance);
    if (source->several_frames) of.text(DCM_ReferencedFrameNumber, "1");
    put.note(of.status());
  }
}

void put_pixels(const Pixels& pixels, Writer& put, DcmDataset& object) {
  put.number(DCM_SamplesPerPixel, 3);
  put.text(DCM_PhotometricInterpretation, "RGB");
  put.number(DCM_PlanarConfiguration, 0);
  put.number(DCM_Rows, pixels.rows);
  put.number(DCM_Columns, pixels.columns);
  put.number(DCM_BitsAllocated, 8);
  put.number(DCM_BitsStored, 8);
  put.number(DCM_HighBit, 7);
  put.number(DCM_PixelRepresentation, 0);
  put.note(object.putAndInsertUint8Array(DCM_PixelData, pixels.rgb.data(), pixels.rgb.size()));
}

}  // namespace

Expected<std::vector<std::byte>> make_capture(const followup::Picture& picture, int number,
                                              Source& home, const std::vector<Source*>& shown,
                                              const RunFacts& run) {
  const auto pixels = decode(picture);
  if (!pixels) return tl::unexpected(pixels.error());
  DcmDataset object;
  Writer put(object);
  put.text(DCM_SOPClassUID, UID_SecondaryCaptureImageStorage);
  put.text(DCM_Modality, "OT");
  put.text(DCM_ConversionType, "WSD");
  put.text(DCM_SeriesNumber, "903");
  put.text(DCM_InstanceNumber, std::to_string(number));
  put.text(DCM_SeriesDescription, "Tidemark aligned pairs");
  put.text(DCM_ImageType, "DERIVED\\SECONDARY");
  put.text(DCM_DerivationDescription,
           "Follow-up film over the reference film, aligned on the bone; not to be measured on");
  put.text(DCM_PatientOrientation, "");
  const std::string burned = burned_in(shown);
  if (!burned.empty()) put.text(DCM_BurnedInAnnotation, burned);
  put_sources(object, shown, put);
  put_lossy(shown, put);
  put_pixels(*pixels, put, object);
  put_common(object, home, kCapture, run);
  put.text(DCM_SecondaryCaptureDeviceManufacturer, "Tidemark");
  put.text(DCM_SecondaryCaptureDeviceSoftwareVersions, run.tool_version);
  put.text(DCM_Laterality, text_of(*home.header, DCM_ImageLaterality).empty()
                               ? text_of(*home.header, DCM_Laterality)
                               : text_of(*home.header, DCM_ImageLaterality));
  if (const auto carried = carry_identity(*home.header, object); !carried) {
    return tl::unexpected(carried.error());
  }
  if (put.status().bad()) return not_made("capture", put.status());
  return finish(object, "capture " + picture.file, home.facts.image.sop_instance);
}

}  // namespace tidemark::archive
