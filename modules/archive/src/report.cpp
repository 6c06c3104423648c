#include <dcmtk/dcmsr/dsrcodtn.h>
#include <dcmtk/dcmsr/dsrdoc.h>

#include <array>
#include <set>
#include <string_view>
#include <utility>

#include "codes.h"
#include "make.h"

namespace tidemark::archive {
namespace {

OFString dicom(const std::string& text) { return {text.data(), text.size()}; }

DSRCodedEntryValue dicom(const Code& code) {
  return {dicom(code.value), dicom(code.scheme), dicom(code.meaning)};
}

DSRTypes::E_RelationshipType dicom(Relation relation) {
  switch (relation) {
    case Relation::kContains:
      return DSRTypes::RT_contains;
    case Relation::kHasObservationContext:
      return DSRTypes::RT_hasObsContext;
    case Relation::kHasConceptModifier:
      return DSRTypes::RT_hasConceptMod;
    case Relation::kHasAcquisitionContext:
      return DSRTypes::RT_hasAcqContext;
    case Relation::kHasProperties:
      return DSRTypes::RT_hasProperties;
    case Relation::kInferredFrom:
      return DSRTypes::RT_inferredFrom;
    case Relation::kSelectedFrom:
      break;
  }
  return DSRTypes::RT_selectedFrom;
}

DSRTypes::E_GraphicType dicom(Shape shape) {
  switch (shape) {
    case Shape::kPoint:
      return DSRTypes::GT_Point;
    case Shape::kPolyline:
      return DSRTypes::GT_Polyline;
    case Shape::kCircle:
      break;
  }
  return DSRTypes::GT_Circle;
}

/// Puts content items into DCMTK's tree, which checks every relationship against the IOD.
class TreeWriter {
 public:
  explicit TreeWriter(DSRDocumentTree& tree) : tree_(tree) {}

  void add_root(const Item& item) { add(item, DSRTypes::RT_isRoot, DSRTypes::AM_afterCurrent); }
  [[nodiscard]] const OFCondition& status() const { return status_; }
  [[nodiscard]] const std::string& where() const { return where_; }

 private:
  void note(const Item& item, const OFCondition& condition) {
    if (status_.bad() || condition.good()) return;
    status_ = condition;
    where_ = item.name.meaning;
  }

  /// Printable ASCII: part of every character set, so that texts of ours never clash with a name.
  static OFString clean(std::string text) {
    for (const auto& [sign, ascii] : {std::pair("±", "+/-"), std::pair("\u2212", "-"),
                                      std::pair("\u2013", "-"), std::pair("°", " deg")}) {
      const std::string_view what = sign;
      for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at)) {
        text.replace(at, what.size(), ascii);
      }
    }
    constexpr char kFirst = ' ';
    constexpr char kLast = '~';
    for (char& c : text) {
      if (c < kFirst || c > kLast) c = '?';
    }
    return dicom(text);
  }

  void add(const Item& item, DSRTypes::E_RelationshipType relation, DSRTypes::E_AddMode mode) {
    if (tree_.addContentItem(relation, type_of(item), mode) == 0) {
      note(item, SR_EC_CannotAddContentItem);
      return;
    }
    DSRContentItem& at = tree_.getCurrentContentItem();
    if (!item.name.value.empty()) note(item, at.setConceptName(dicom(item.name)));
    fill(item, at);
    for (const Item& child : item.children) {
      if (status_.bad()) return;
      add(child, dicom(child.relation), DSRTypes::AM_belowCurrent);
    }
    (void)tree_.goUp();
  }

  static DSRTypes::E_ValueType type_of(const Item& item) {
    constexpr std::array kTypes{DSRTypes::VT_Container, DSRTypes::VT_Text, DSRTypes::VT_UIDRef,
                                DSRTypes::VT_Code,      DSRTypes::VT_Num,  DSRTypes::VT_SCoord,
                                DSRTypes::VT_Image};
    return kTypes.at(item.value.index());
  }

  void fill(const Item& item, DSRContentItem& at) {
    if (status_.bad()) return;
    if (std::holds_alternative<Container>(item.value)) {
      const std::string& id = std::get<Container>(item.value).template_id;
      if (!id.empty()) note(item, at.setTemplateIdentification(dicom(id), "DCMR"));
    }
    note(item, std::visit([&](const auto& value) { return set(at, value); }, item.value));
  }

  OFCondition set(DSRContentItem& at, const Container&) const {
    return at.setContinuityOfContent(DSRTypes::COC_Separate);
  }
  OFCondition set(DSRContentItem& at, const Text& value) const {
    return at.setStringValue(clean(value.text), OFFalse);
  }
  OFCondition set(DSRContentItem& at, const Uid& value) const {
    return at.setStringValue(dicom(value.uid));
  }
  OFCondition set(DSRContentItem& at, const Code& value) const {
    return at.setCodeValue(dicom(value));
  }
  OFCondition set(DSRContentItem& at, const Number& value) const {
    return at.setNumericValue(DSRNumericMeasurementValue(dicom(value.value), dicom(value.unit)));
  }
  OFCondition set(DSRContentItem& at, const Coordinates& value) const {
    DSRSpatialCoordinatesValue out(dicom(value.shape));
    // PS3.3, C.18.6: 0\0 is the corner of the first pixel, its middle is 0.5\0.5.
    constexpr double kHalf = 0.5;
    for (const Vec2& p : value.stored_px) {
      out.getGraphicDataList().addItem(static_cast<Float32>(p.x() + kHalf),
                                       static_cast<Float32>(p.y() + kHalf));
    }
    return at.setSpatialCoordinates(out);
  }
  OFCondition set(DSRContentItem& at, const ImageReference& value) const {
    DSRImageReferenceValue out(dicom(value.sop_class), dicom(value.sop_instance), OFFalse);
    if (value.first_frame) out.getFrameList().addItem(1);
    return at.setImageReference(out, OFFalse);
  }

  DSRDocumentTree& tree_;
  OFCondition status_ = EC_Normal;
  std::string where_;
};

/// Says whose codes our own are (Coding Scheme Identification Sequence, PS3.3, C.12.1).
void identify_scheme(DSRDocument& document, const RunFacts& run) {
  auto& schemes = document.getCodingSchemeIdentification();
  schemes.addItem(kOwnScheme);
  (void)schemes.setCodingSchemeName("Tidemark private codes");
  (void)schemes.setCodingSchemeVersion(dicom(run.tool_version));
  (void)schemes.setCodingSchemeResponsibleOrganization("Tidemark");
}

/// Films of the report's own study are its evidence; those of other studies are "other evidence"
/// (PS3.3, C.17.2.3).
OFCondition list_evidence(DSRDocument& document, const Source& home, const Sources& sources) {
  std::set<std::string> listed;
  for (const auto& source : sources) {
    if (!source || !listed.insert(source->image.sop_instance).second) continue;
    auto& list = source->study == home.facts.study ? document.getCurrentRequestedProcedureEvidence()
                                                   : document.getPertinentOtherEvidence();
    const OFCondition added =
        list.addItem(dicom(source->study), dicom(source->series), dicom(source->image.sop_class),
                     dicom(source->image.sop_instance), OFFalse);
    if (added.bad()) return added;
  }
  return EC_Normal;
}

}  // namespace

Expected<std::vector<std::byte>> make_report(const Item& content, Source& home,
                                             const Sources& sources, const RunFacts& run) {
  DSRDocument document(DSRTypes::DT_ComprehensiveSR);
  TreeWriter writer(document.getTree());
  writer.add_root(content);
  if (writer.status().bad()) return not_made("report, " + writer.where(), writer.status());
  identify_scheme(document, run);
  if (const auto listed = list_evidence(document, home, sources); listed.bad()) {
    return not_made("report", listed);
  }
  (void)document.createNewSeriesInStudy(dicom(home.facts.study));
  (void)document.completeDocument("Made by software from films; not verified by a person");
  DcmDataset object;
  if (const auto written = document.write(object); written.bad()) {
    return not_made("report", written);
  }
  Writer put(object);
  put.text(DCM_SeriesNumber, "901");
  put.text(DCM_InstanceNumber, "1");
  put.text(DCM_SeriesDescription, "Tidemark measurements");
  put_common(object, home, kMeasurements, run);
  if (const auto carried = carry_identity(*home.header, object); !carried) {
    return tl::unexpected(carried.error());
  }
  if (put.status().bad()) return not_made("report", put.status());
  return finish(object, kMeasurements, home.facts.image.sop_instance);
}

}  // namespace tidemark::archive
