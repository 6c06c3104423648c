#include <dcmtk/dcmpstat/dvpstat.h>

#include <algorithm>
#include <array>
#include <utility>

#include "build.h"
#include "make.h"
#include "tidemark/core/number_text.h"
#include "tidemark/followup/doubts.h"

namespace tidemark::archive {
namespace {

using followup::FilmResult;

/// Objects of one graphic layer (PS3.3, C.10.5 and C.10.7).
class Layer {
 public:
  Layer(DcmDataset& object, const ImageReference& image, const char* name) : object_(object) {
    DcmItem* annotation = nullptr;
    note(object.findOrCreateSequenceItem(DCM_GraphicAnnotationSequence, annotation, -2));
    if (annotation == nullptr) return;
    annotation_ = annotation;
    Writer put(*annotation);
    put.text(DCM_GraphicLayer, name);
    DcmItem* of = nullptr;
    put.note(annotation->findOrCreateSequenceItem(DCM_ReferencedImageSequence, of));
    if (of != nullptr) {
      put.note(of->putAndInsertString(DCM_ReferencedSOPClassUID, image.sop_class.c_str()));
      put.note(of->putAndInsertString(DCM_ReferencedSOPInstanceUID, image.sop_instance.c_str()));
    }
    note(put.status());
  }

  void line(const Polyline& stored_px) {
    if (stored_px.size() >= 2) graphic("POLYLINE", stored_px);
  }
  void point(const Vec2& stored_px) { graphic("POINT", {stored_px}); }
  void circle(const followup::CircleResult& circle) {
    graphic("CIRCLE", {circle.centre_px, circle.centre_px + Vec2(0.5 * circle.diameter_px, 0.0)});
  }
  void words(const std::string& text, const Vec2& stored_px) {
    DcmItem* item = nullptr;
    if (annotation_ == nullptr) return;
    note(annotation_->findOrCreateSequenceItem(DCM_TextObjectSequence, item, -2));
    if (item == nullptr) return;
    Writer put(*item);
    put.text(DCM_AnchorPointAnnotationUnits, "PIXEL");
    put.text(DCM_UnformattedTextValue, text);
    const auto at = in_dicom({stored_px});
    put.note(item->putAndInsertFloat32Array(DCM_AnchorPoint, at.data(), 2));
    put.text(DCM_AnchorPointVisibility, "N");
    note(put.status());
  }
  [[nodiscard]] const OFCondition& status() const { return status_; }

 private:
  /// PIXEL units count from the corner of the first pixel, whose middle is 0.5\0.5.
  static std::vector<Float32> in_dicom(const Polyline& stored_px) {
    constexpr double kHalf = 0.5;
    std::vector<Float32> out;
    for (const Vec2& p : stored_px) {
      out.push_back(static_cast<Float32>(p.x() + kHalf));
      out.push_back(static_cast<Float32>(p.y() + kHalf));
    }
    return out;
  }

  void graphic(const char* type, const Polyline& stored_px) {
    DcmItem* item = nullptr;
    if (annotation_ == nullptr) return;
    note(annotation_->findOrCreateSequenceItem(DCM_GraphicObjectSequence, item, -2));
    if (item == nullptr) return;
    const std::vector<Float32> data = in_dicom(stored_px);
    Writer put(*item);
    put.text(DCM_GraphicAnnotationUnits, "PIXEL");
    put.number(DCM_GraphicDimensions, 2);
    put.number(DCM_NumberOfGraphicPoints, static_cast<int>(stored_px.size()));
    put.note(item->putAndInsertFloat32Array(DCM_GraphicData, data.data(), data.size()));
    put.text(DCM_GraphicType, type);
    if (std::string(type) == "CIRCLE") put.text(DCM_GraphicFilled, "N");
    note(put.status());
  }
  void note(const OFCondition& condition) {
    if (status_.good() && condition.bad()) status_ = condition;
  }

  DcmDataset& object_;
  DcmItem* annotation_ = nullptr;
  OFCondition status_ = EC_Normal;
};

/// Name, order and colour (CIELab as PS3.3, C.10.7.1.1 scales it; from sRGB) of the layers.
struct LayerStyle {
  const char* name;
  const char* description;
  std::array<Uint16, 3> lab;
};
constexpr std::array kLayers{
    LayerStyle{"IMPLANT", "Outline and axis of the stem, head and cup", {0xB1F0, 0x7080, 0x5B80}},
    LayerStyle{"BONE", "Shaft axis and landmarks", {0xBE00, 0x9080, 0xC600}},
    LayerStyle{"ZONES", "Borders of the zones", {0xFFFF, 0x8080, 0x8080}}};

void add_layer_list(DcmDataset& object, Writer& put) {
  int order = 0;
  for (const LayerStyle& style : kLayers) {
    DcmItem* item = nullptr;
    put.note(object.findOrCreateSequenceItem(DCM_GraphicLayerSequence, item, -2));
    if (item == nullptr) return;
    Writer of(*item);
    of.text(DCM_GraphicLayer, style.name);
    of.note(item->putAndInsertString(DCM_GraphicLayerOrder, std::to_string(++order).c_str()));
    of.note(item->putAndInsertUint16Array(DCM_GraphicLayerRecommendedDisplayCIELabValue,
                                          style.lab.data(), style.lab.size()));
    of.text(DCM_GraphicLayerDescription, style.description);
    put.note(of.status());
  }
}

void draw_implant(const FilmResult& film, Layer& layer) {
  if (film.head) layer.circle(*film.head);
  if (film.cup) layer.circle(*film.cup);
  if (!film.stem) return;
  layer.line(film.stem->outline_px);
  layer.line({film.stem->axis.proximal_px, film.stem->axis.distal_px});
  layer.point(film.stem->shoulder.stored_px);
  layer.point(film.stem->reference_px);
  if (film.stem->tip) {
    layer.point(film.stem->tip->stored_px);
    layer.words("tip", film.stem->tip->stored_px);
  }
  layer.words("shoulder", film.stem->shoulder.stored_px);
}

void draw_bone(const FilmResult& film, Layer& layer) {
  if (film.shaft_axis) layer.line({film.shaft_axis->proximal_px, film.shaft_axis->distal_px});
  const auto mark = [&](const std::optional<followup::PointResult>& point, const char* name) {
    if (!point) return;
    layer.point(point->stored_px);
    layer.words(name, point->stored_px);
  };
  mark(film.lesser_trochanter, "LT");
  mark(film.greater_trochanter, "GT");
}

std::string with_interval(const char* name, const Value& m) {
  const int decimals = decimals_of(*m.u95);
  return std::string(name) + " " + fixed_text(m.value, decimals) + " +/- " +
         fixed_text(*m.u95, decimals) + " " + (m.unit.value == "{pixels}" ? "px" : m.unit.value);
}

/// What was measured, at the corner of the film.
std::string numbers_of(const followup::Result& result, const FilmResult& film) {
  constexpr const char* kNewLine = "\r\n";
  std::string out;
  if (film.tilt) out += with_interval("tilt", degrees_of(*film.tilt)) + kNewLine;
  for (const auto& pair : result.comparisons) {
    if (&result.films[pair.follow_up] != &film || !pair.migration) continue;
    const CodedLengths lengths{lengths_of(result)};
    out += with_interval("subsidence", lengths.of(pair.migration->subsidence)) + kNewLine;
    out += with_interval("medial shift", lengths.of(pair.migration->medial)) + kNewLine;
    out += with_interval("tilt change", degrees_of(pair.migration->tilt_change)) + kNewLine;
    // Their sentences are too long for a film.
    const bool doubted = !pair.flags.empty() || !followup::film_doubts(result, pair).empty();
    if (doubted) out += std::string("these numbers carry flags: see the report") + kNewLine;
  }
  out += std::string("+/- covers 95 %; distal, medial and varus are positive") + kNewLine;
  return out + followup::kCaution;
}

void draw_zones(const FilmResult& film, Layer& layer) {
  for (const auto& border : film.zone_borders) layer.line({border.lateral_px, border.medial_px});
  for (const auto& zone : film.zones) {
    if (zone.state != lucency::State::kPresent || film.zone_borders.size() < 5) continue;
    constexpr int kZonesOfOneView = 7;
    const int of_view = zone.zone > kZonesOfOneView ? zone.zone - kZonesOfOneView : zone.zone;
    const auto first = static_cast<std::size_t>(std::min(of_view - 1, kZonesOfOneView - of_view));
    const auto& above = film.zone_borders[first];
    const auto& below = film.zone_borders[first + 1];
    const bool lateral = of_view <= 4;
    layer.words("line in zone " + std::to_string(zone.zone),
                lateral ? Vec2(0.5 * (above.lateral_px + below.lateral_px))
                        : Vec2(0.5 * (above.medial_px + below.medial_px)));
  }
}

/// What every presentation state needs, from the image: displayed area, shape and window.
Expected<void> start(Source& source, DcmDataset& object) {
  DVPresentationState state;
  DcmDataset copy(*source.header);
  OFCondition status = state.createFromImage(copy, DVPSO_ignoreOverlays, DVPSV_preferVOILUT,
                                             OFFalse, OFFalse, OFTrue);
  if (status.good()) status = state.setPresentationLabel("TIDEMARK");
  if (status.good()) status = state.setPresentationDescription("Tidemark: what was found");
  if (status.good()) status = state.setPresentationCreatorsName("Tidemark^");
  if (status.good()) status = state.write(object, OFTrue);
  if (status.bad()) return not_made("presentation state", status);
  return {};
}

}  // namespace

Expected<std::vector<std::byte>> make_presentation(const followup::Result& result,
                                                   const FilmResult& film, Source& source,
                                                   const RunFacts& run) {
  DcmDataset object;
  if (const auto begun = start(source, object); !begun) return tl::unexpected(begun.error());
  for (const DcmTagKey& old : {DCM_GraphicAnnotationSequence, DCM_GraphicLayerSequence}) {
    delete object.remove(old);
  }
  Writer put(object);
  add_layer_list(object, put);
  Layer implant(object, source.facts.image, kLayers[0].name);
  draw_implant(film, implant);
  Layer bone(object, source.facts.image, kLayers[1].name);
  draw_bone(film, bone);
  bone.words(numbers_of(result, film), Vec2::Zero());
  Layer zones(object, source.facts.image, kLayers[2].name);
  draw_zones(film, zones);
  for (const Layer* layer : {&implant, &bone, &zones}) put.note(layer->status());
  put.text(DCM_SeriesNumber, "902");
  put.text(DCM_InstanceNumber, "1");
  put.text(DCM_SeriesDescription, "Tidemark outlines");
  put_common(object, source, kPresentation, run);
  const std::optional<Side> side = film.side ? film.side : result.side;
  put.text(DCM_Laterality, side ? (*side == Side::kRight ? "R" : "L") : "");
  if (const auto carried = carry_identity(*source.header, object); !carried) {
    return tl::unexpected(carried.error());
  }
  if (put.status().bad()) return not_made("presentation state", put.status());
  return finish(object, kPresentation, source.facts.image.sop_instance);
}

}  // namespace tidemark::archive
