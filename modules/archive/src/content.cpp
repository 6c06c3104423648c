#include "content.h"

#include <set>
#include <utility>

#include "build.h"
#include "identity.h"
#include "tidemark/core/date.h"

namespace tidemark::archive {
namespace {

using followup::ComparisonResult;
using followup::FilmResult;
using followup::Result;

/// TID 1204, TID 1001 and the procedure: in what language, by whom and of what.
void add_context(const Result& result, Item& root) {
  const auto context = Relation::kHasObservationContext;
  root.children.push_back(code_item(Relation::kHasConceptModifier,
                                    dcm("121049", "Language of Content Item and Descendants"),
                                    {"eng", "RFC5646", "English"}));
  root.children.push_back(
      code_item(context, dcm("121005", "Observer Type"), dcm("121007", "Device")));
  root.children.push_back(uid_item(context, dcm("121012", "Device Observer UID"),
                                   uid_of("tidemark " + result.tool_version)));
  root.children.push_back(text_item(context, dcm("121013", "Device Observer Name"), "Tidemark"));
  root.children.push_back(text_item(context, dcm("121015", "Device Observer Model Name"),
                                    "Tidemark " + result.tool_version));
  // CID 100 has no code for a plain radiograph; "Imaging procedure" is its generic entry.
  root.children.push_back(code_item(Relation::kHasConceptModifier,
                                    dcm("121058", "Procedure reported"),
                                    sct("363679005", "Imaging procedure")));
}

/// CID 29, as far as it is of projection radiographs.
std::optional<Code> modality_of(const std::string& modality) {
  if (modality == "DX") return dcm("DX", "Digital Radiography");
  if (modality == "CR") return dcm("CR", "Computed Radiography");
  if (modality == "RF") return dcm("RF", "Radiofluoroscopy");
  if (modality == "XA") return dcm("XA", "X-Ray Angiography");
  return {};
}

Item library_entry(const FilmResult& film, const SourceFacts& source) {
  const auto fact = Relation::kHasAcquisitionContext;
  Item entry{Relation::kContains, {}, source.image};
  if (const auto modality = modality_of(source.modality)) {
    entry.children.push_back(code_item(fact, dcm("121139", "Modality"), *modality));
  }
  if (film.side) {
    entry.children.push_back(
        code_item(fact, dcm("111027", "Image Laterality"),
                  *film.side == Side::kRight ? sct("24028007", "Right") : sct("7771000", "Left")));
  }
  const auto count = [&](Code name, int n) {
    entry.children.push_back({fact, std::move(name), Number{std::to_string(n), unit::pixels()}});
  };
  count(dcm("110910", "Pixel Data Rows"), source.rows);
  count(dcm("110911", "Pixel Data Columns"), source.columns);
  entry.children.push_back(text_item(fact, own("FILE", "Name of the file"), film.file));
  if (film.sha256) {
    entry.children.push_back(text_item(fact, own("SHA256", "SHA-256 of the file"), *film.sha256));
  }
  return entry;
}

/// TID 1600.
Item library(const Result& result, const Sources& sources) {
  Item group = container(Relation::kContains, dcm("126200", "Image Library Group"), "1602");
  for (std::size_t i = 0; i < result.films.size(); ++i) {
    if (sources[i]) group.children.push_back(library_entry(result.films[i], *sources[i]));
  }
  Item out = container(Relation::kContains, dcm("111028", "Image Library"), "1600");
  out.children.push_back(std::move(group));
  return out;
}

Item measurements(const Result& result, const Sources& sources, const Tracking& tracking) {
  Item out = container(Relation::kContains, dcm("126010", "Imaging Measurements"));
  const auto add = [&](std::vector<Item> groups) {
    for (Item& one : groups) out.children.push_back(std::move(one));
  };
  for (std::size_t i = 0; i < result.films.size(); ++i) {
    out.children.push_back(film_group(result, i, sources, tracking));
    add(bone_groups(result, i, sources, tracking));
  }
  for (const ComparisonResult& pair : result.comparisons) {
    out.children.push_back(pair_group(result, pair, sources, tracking));
    add(bone_change_groups(result, pair, tracking));
  }
  for (const auto& pair : result.lateral_comparisons) {
    add(line_change_groups(result, pair.follow_up, pair.zones, tracking));
  }
  add(finding_groups(result, sources, tracking));
  add(sign_groups(result, tracking));
  add(seat_groups(result, sources, tracking));
  return out;
}

/// What holds for the whole report.
Item remarks(const Result& result, const Sources& sources) {
  Item out = container(Relation::kContains, umls("C0034375", "Qualitative Evaluations"));
  const auto add = [&](const char* name, const char* meaning, const std::string& text) {
    out.children.push_back(text_item(Relation::kContains, own(name, meaning), text));
  };
  add("CAUTION", "Caution", followup::kCaution);
  add("UNCERTAINTY", "How uncertainty is stated",
      "Standard Deviation is the standard uncertainty; the range of measurement uncertainty is the "
      "half-width of the interval that covers 95 % (JCGM 100). Subsidence is distal positive, "
      "medial shift medial positive, tilt varus positive, on either side.");
  std::string origin = "Tidemark " + result.tool_version + "; options " + result.options_sha256;
  if (result.sheet_sha256) origin += "; sheet " + *result.sheet_sha256;
  add("PROVENANCE", "Version and SHA-256 of what shaped the numbers", origin);
  if (result.hip) add("HIP", "Name of the hip in the sheet", *result.hip);
  for (std::size_t i = 0; i < sources.size(); ++i) {
    if (sources[i]) continue;
    add("NOT-REFERENCED", "Film that the report cannot refer to",
        result.films[i].file + ": no DICOM object with the identifiers that a reference needs");
  }
  for (const Flag& flag : result.flags) add("FLAG", "Remark", flag.id + ": " + flag.text);
  for (Item& item : headline_items(result)) out.children.push_back(std::move(item));
  return out;
}

}  // namespace

std::string Tracking::uid(const std::string& thing) const {
  return uid_of("tracking " + seed + " " + thing);
}

namespace {

/// How many days of films lie before this one's; nothing where its date is not known.
std::optional<std::size_t> order_of(const FilmResult& film, const Result& result) {
  if (!film.date) return {};
  std::set<Date> before;
  for (const FilmResult& other : result.films) {
    if (other.date && *other.date < *film.date) before.insert(*other.date);
  }
  return before.size();
}

}  // namespace

/// TID 1501 up to the measurements, with the time point by TID 1502.
Item group(const GroupHead& head, const Result& result, const Tracking& tracking) {
  const FilmResult& film = result.films[head.film];
  const auto context = Relation::kHasObservationContext;
  Item out = container(Relation::kContains, dcm("125007", "Measurement Group"), "1501");
  out.children.push_back(text_item(context, dcm("112039", "Tracking Identifier"), head.thing));
  out.children.push_back(
      uid_item(context, dcm("112040", "Tracking Unique Identifier"), tracking.uid(head.thing)));
  out.children.push_back(code_item(Relation::kContains, dcm("121071", "Finding"), head.finding));
  const bool reference = film.role == followup::Role::kReference;
  std::string when = reference ? "reference film" : "follow-up film";
  if (film.date) when += " of " + format_date(*film.date);
  out.children.push_back(text_item(context, umls("C2348792", "Time Point"), when));
  if (reference) {
    out.children.push_back(
        code_item(context, dcm("126072", "Time Point Type"), dcm("121079", "Baseline")));
  }
  if (const auto order = order_of(film, result)) {
    out.children.push_back(
        {context, dcm("126073", "Time Point Order"), Number{std::to_string(*order), unit::one()}});
  }
  out.children.push_back(
      text_item(context, dcm("126070", "Subject Time Point Identifier"), film.file));
  out.children.push_back(finding_site(film.side ? film.side : result.side, head.zone));
  out.children.push_back(
      text_item(Relation::kHasConceptModifier, dcm("111001", "Algorithm Name"), "Tidemark"));
  out.children.push_back(text_item(Relation::kHasConceptModifier,
                                   dcm("111003", "Algorithm Version"), result.tool_version));
  return out;
}

Item report_content(const Result& result, const Sources& sources, const Tracking& tracking) {
  Item root = container(Relation::kContains, dcm("126000", "Imaging Measurement Report"), "1500");
  add_context(result, root);
  root.children.push_back(library(result, sources));
  root.children.push_back(measurements(result, sources, tracking));
  root.children.push_back(remarks(result, sources));
  return root;
}

}  // namespace tidemark::archive
