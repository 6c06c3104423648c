#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "json_assessment.h"
#include "json_history.h"
#include "json_parts.h"
#include "json_seat.h"
#include "tidemark/core/date.h"
#include "tidemark/followup/write.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::followup {
namespace {

/// Scales are small numbers and carry six decimals.
constexpr double kScaleRounding = 1e6;

Json axis_points(const AxisResult& axis) {
  return Json::array({point_json(axis.proximal_px), point_json(axis.distal_px)});
}

std::string name_of(Source source) { return source == Source::kGiven ? "given" : "found"; }

std::string name_of(Side side) { return side == Side::kRight ? "R" : "L"; }

std::string name_of(View view) {
  switch (view) {
    case View::kAp:
      return "AP";
    case View::kPa:
      return "PA";
    case View::kLateral:
      return "LAT";
    case View::kOther:
      break;
  }
  return "OTHER";
}

std::string name_of(Status status) {
  return status == Status::kMeasured ? "measured" : "not_measured";
}

Json flags_json(const std::vector<Flag>& flags) {
  Json out = Json::array();
  for (const Flag& flag : flags) out.push_back({{"id", flag.id}, {"text", flag.text}});
  return out;
}

Json scale_json(const ScaleResult& scale) {
  Json out{{"method", scale.method},
           {"mm_per_px", measured_json(scale.mm_per_px, 1.0, kScaleRounding)}};
  if (!scale.note.empty()) out["note"] = scale.note;
  return out;
}

Json calibration_json(const FilmResult& film) {
  Json out = scale_json(*film.calibration);
  out["others"] = Json::array();
  for (const ScaleResult& other : film.other_scales) out["others"].push_back(scale_json(other));
  return out;
}

Json circle_json(const CircleResult& circle) {
  return {{"centre_px", point_json(circle.centre_px)},
          {"centre_u_px", rounded(circle.centre_u_px)},
          {"diameter_px", rounded(circle.diameter_px)},
          {"diameter_u_px", rounded(circle.diameter_u_px)},
          {"source", name_of(circle.source)}};
}

Json landmark_json(const PointResult& mark) {
  Json out{{"px", point_json(mark.stored_px)}, {"u_px", rounded(mark.u_px)}};
  if (mark.u) out["u_mm"] = rounded(mark.u->value);
  out["source"] = name_of(mark.source);
  return out;
}

Json stem_json(const StemResult& stem) {
  Json outline = Json::array();
  for (const Vec2& p : stem.outline_px) {
    // A hundredth of a pixel is plenty for a line to draw and halves the file.
    outline.push_back({rounded(p.x(), 100.0), rounded(p.y(), 100.0)});
  }
  Json out = Json::object();
  if (stem.tip) out["tip_px"] = point_json(stem.tip->stored_px);
  out.update({{"shoulder_px", point_json(stem.shoulder.stored_px)},
              {"reference_px", point_json(stem.reference_px)},
              {"axis_px", axis_points(stem.axis)},
              {"axis_u_deg", rounded(stem.axis.direction_u.value)},
              {"axis_source", name_of(stem.axis.source)},
              {"confidence", rounded(stem.confidence)},
              {"outline_px", std::move(outline)}});
  return out;
}

Json landmarks_json(const FilmResult& film) {
  Json out = Json::object();
  if (film.stem->tip) out["stem_tip"] = landmark_json(*film.stem->tip);
  out["stem_shoulder"] = landmark_json(film.stem->shoulder);
  if (film.lesser_trochanter) out["lesser_trochanter"] = landmark_json(*film.lesser_trochanter);
  if (film.greater_trochanter) out["greater_trochanter"] = landmark_json(*film.greater_trochanter);
  return out;
}

/// Names and values of lengths in the unit of the result.
struct LengthWriter {
  double mm_per_unit = 1.0;
  std::string suffix = "_mm";

  [[nodiscard]] Json operator()(const Measured<Millimetres>& m) const {
    return measured_json(m, mm_per_unit);
  }
  [[nodiscard]] double operator()(Millimetres length) const {
    return rounded(length.value / mm_per_unit);
  }
  void add(Json& out, const std::string& name,
           const std::optional<Measured<Millimetres>>& m) const {
    if (m) out[name + suffix] = (*this)(*m);
  }
};

Json side_view_json(const migration::SideView& view, const LengthWriter& length) {
  Json out{{"stem_depth" + length.suffix, length(view.stem_depth)},
           {"stem_lean_deg", measured_json(view.lean)}};
  length.add(out, "lesser_trochanter_depth", view.lesser_trochanter);
  return out;
}

LengthWriter length_writer(const Lengths& lengths) {
  return {lengths.mm_per_unit, "_" + lengths.unit};
}

Json zone_json(const ZoneResult& zone, const LengthWriter& length) {
  Json out{
      {"zone", zone.zone}, {"interface", code_of(zone.interface)}, {"state", code_of(zone.state)}};
  if (!zone.reason.empty()) out["reason"] = zone.reason;
  if (zone.zone_length) out["zone_length" + length.suffix] = length(*zone.zone_length);
  out["seen_fraction"] = rounded(zone.seen);
  length.add(out, "max", zone.max);
  length.add(out, "mean", zone.mean);
  length.add(out, "length", zone.length);
  if (zone.extent) out["extent_fraction"] = rounded(*zone.extent);
  if (zone.depth) {
    out["depth"] = {{"value", rounded(zone.depth->value)},
                    {"u", rounded(zone.depth->u)},
                    {"u95", rounded(zone.depth->u95)}};
  }
  using lucency::Answer;
  out["sclerotic_rim"] =
      zone.rim == Answer::kCannotTell ? Json("cannot_tell") : Json(zone.rim == Answer::kYes);
  return out;
}

Json zone_mark_json(const ZoneMark& mark) {
  return {{"zone", mark.zone},
          {"interface", code_of(mark.interface)},
          {"opinion", code_of(mark.opinion)},
          {"program", code_of(mark.program)},
          {"reader", mark.reader},
          {"marked_at", mark.marked_at}};
}

void add_zones(Json& out, const FilmResult& film, const LengthWriter& length) {
  if (film.zones.empty()) return;
  out["zones"] = Json::array();
  for (const ZoneResult& zone : film.zones) out["zones"].push_back(zone_json(zone, length));
  if (!film.zone_borders.empty()) {
    out["zone_borders_px"] = Json::array();
    out["zone_border_sources"] = Json::array();
    for (const BorderResult& border : film.zone_borders) {
      out["zone_border_sources"].push_back(name_of(border.source));
      out["zone_borders_px"].push_back(
          {point_json(border.lateral_px), point_json(border.medial_px)});
    }
  }
  if (film.edge_response) {
    out["edge_response"] = {{"blur" + length.suffix, length(film.edge_response->blur)},
                            {"halo", rounded(film.edge_response->halo)},
                            {"halo_reach" + length.suffix, length(film.edge_response->halo_reach)},
                            {"edges", film.edge_response->edges}};
  }
  if (film.zones_picture) out["zones_picture"] = *film.zones_picture;
}

Json cortex_json(const lucency::CortexSign& cortex, const LengthWriter& length) {
  Json out{{"zone", cortex.zone}, {"seen_fraction", rounded(cortex.seen)}};
  length.add(out, "thickness", cortex.thickness);
  if (!cortex.thickness) out["reason"] = cortex.reason;
  return out;
}

Json signs_json(const lucency::FilmSigns& signs, const LengthWriter& length) {
  Json out;
  out["cortex"] = Json::array();
  for (const auto& cortex : signs.cortex) out["cortex"].push_back(cortex_json(cortex, length));
  Json calcar = Json::object();
  length.add(calcar, "height", signs.calcar.height);
  length.add(calcar, "above_tip", signs.calcar.above_tip);
  if (!signs.calcar.reason.empty()) calcar["reason"] = signs.calcar.reason;
  out["calcar"] = std::move(calcar);
  Json pedestal{{"present", code_of(signs.pedestal.present)}};
  if (signs.pedestal.below_tip) {
    pedestal["below_tip" + length.suffix] = length(*signs.pedestal.below_tip);
  }
  if (!signs.pedestal.reason.empty()) pedestal["reason"] = signs.pedestal.reason;
  out["pedestal"] = std::move(pedestal);
  return out;
}

Json lysis_json(const lucency::ZoneLysis& lysis, const LengthWriter& length) {
  Json out{{"zone", lysis.zone}, {"state", code_of(lysis.state)}};
  if (!lysis.reason.empty()) out["reason"] = lysis.reason;
  out["seen_fraction"] = rounded(lysis.seen);
  if (lysis.area) {
    out["area" + length.suffix + "2"] =
        measured_json(*lysis.area, length.mm_per_unit * length.mm_per_unit);
  }
  if (lysis.depth) out["depth"] = measured_json(*lysis.depth);
  if (lysis.middle_px) out["middle_px"] = point_json(*lysis.middle_px);
  return out;
}

Json sign_changes_json(const lucency::SignChanges& signs, const LengthWriter& length) {
  Json out;
  out["cortex"] = Json::array();
  for (const auto& cortex : signs.cortex) {
    Json one{{"zone", cortex.zone}};
    length.add(one, "change", cortex.change);
    if (!cortex.change) one["reason"] = cortex.reason;
    out["cortex"].push_back(std::move(one));
  }
  out["calcar"] = Json::object();
  length.add(out["calcar"], "change", signs.calcar);
  if (!signs.calcar) out["calcar"]["reason"] = signs.calcar_reason;
  out["new_pedestal"] = code_of(signs.new_pedestal);
  for (const auto& lysis : signs.lysis) out["lysis"].push_back(lysis_json(lysis, length));
  return out;
}

Json film_json(const FilmResult& film, const LengthWriter& length) {
  Json out;
  out["file"] = film.file;
  if (film.sha256) out["sha256"] = *film.sha256;
  out["role"] = film.role == Role::kReference ? "reference" : "follow-up";
  if (film.date) out["date"] = format_date(*film.date);
  if (film.days_from_surgery) out["days_from_surgery"] = *film.days_from_surgery;
  if (film.view) out["view"] = name_of(*film.view);
  if (film.side) out["side"] = name_of(*film.side);
  out["status"] = name_of(film.status);
  if (film.status == Status::kNotMeasured) out["reason"] = film.reason;
  if (film.calibration) out["calibration"] = calibration_json(film);
  if (film.head) out["head"] = circle_json(*film.head);
  if (film.cup) out["cup"] = circle_json(*film.cup);
  if (film.stem) {
    out["stem"] = stem_json(*film.stem);
    if (film.shaft_axis) {
      out["shaft"] = {{"axis_px", axis_points(*film.shaft_axis)},
                      {"axis_u_deg", rounded(film.shaft_axis->direction_u.value)},
                      {"axis_source", name_of(film.shaft_axis->source)}};
    }
    out["landmarks"] = landmarks_json(film);
  }
  if (film.tilt) out["tilt_deg"] = measured_json(*film.tilt);
  if (film.side_view) out["side_view"] = side_view_json(*film.side_view, length);
  add_zones(out, film, length);
  for (const ZoneMark& mark : film.zone_marks) out["zone_marks"].push_back(zone_mark_json(mark));
  if (film.signs) out["signs"] = signs_json(*film.signs, length);
  if (film.picture) out["picture"] = *film.picture;
  out["flags"] = flags_json(film.flags);
  return out;
}

Json features_json(const std::vector<migration::FeatureSubsidence>& features,
                   const LengthWriter& length) {
  Json out = Json::array();
  for (const auto& one : features) {
    out.push_back(
        {{"feature", one.feature},
         {"position" + length.suffix,
          {length(Millimetres{one.position_mm.x()}), length(Millimetres{one.position_mm.y()})}},
         {"subsidence" + length.suffix, length(one.subsidence)}});
  }
  return out;
}

void add_migration(Json& out, const migration::Migration& m, const LengthWriter& length) {
  out["subsidence" + length.suffix] = length(m.subsidence);
  out["subsidence_at" + length.suffix] = {{"head_centre", length(m.subsidence_at_head_centre)},
                                          {"shoulder", length(m.subsidence_at_shoulder)}};
  if (m.subsidence_at_tip) {
    out["subsidence_at" + length.suffix]["tip"] = length(*m.subsidence_at_tip);
  }
  out["medial" + length.suffix] = length(m.medial);
  out["tilt_change_deg"] = measured_json(m.tilt_change);
  if (m.flexion_change) out["flexion_change_deg"] = measured_json(*m.flexion_change);
  if (m.rotation_change) out["rotation_change_deg"] = measured_json(*m.rotation_change);
  out["uncertainty_budget"] = Json::array();
  for (const auto& item : m.budget) {
    out["uncertainty_budget"].push_back(
        {{"source", item.source}, {"u" + length.suffix, length(item.u)}});
  }
  out["features"] = features_json(m.features, length);
  if (!m.by_landmarks) return;
  auto& opinion = out["by_landmarks"];
  opinion["subsidence" + length.suffix] = length(m.by_landmarks->subsidence);
  if (m.by_landmarks->tilt_change) {
    opinion["tilt_change_deg"] = measured_json(*m.by_landmarks->tilt_change);
  }
  opinion["features"] = features_json(m.by_landmarks->features, length);
}

Json zone_change_json(const lucency::ZoneChange& change, const LengthWriter& length) {
  Json out{{"zone", change.zone}, {"interface", code_of(change.interface)}};
  length.add(out, "change", change.change);
  length.add(out, "change_mean", change.change_mean);
  length.add(out, "change_length", change.change_length);
  out["compared_fraction"] = rounded(change.compared);
  out["progressive"] = code_of(change.progressive);
  out["reason"] = change.reason;
  return out;
}

Json comparison_json(const ComparisonResult& comparison, const LengthWriter& length) {
  Json out;
  out["reference"] = comparison.reference;
  out["follow_up"] = comparison.follow_up;
  if (comparison.days) out["days"] = *comparison.days;
  out["status"] = name_of(comparison.status);
  if (comparison.status == Status::kNotMeasured) out["reason"] = comparison.reason;
  if (comparison.migration) add_migration(out, *comparison.migration, length);
  for (const lucency::ZoneChange& change : comparison.zones) {
    out["zones"].push_back(zone_change_json(change, length));
  }
  if (comparison.signs) out["signs"] = sign_changes_json(*comparison.signs, length);
  if (comparison.picture) out["picture"] = *comparison.picture;
  out["flags"] = flags_json(comparison.flags);
  return out;
}

Json lateral_json(const LateralComparison& pair, const LengthWriter& length) {
  Json out{{"reference", pair.reference}, {"follow_up", pair.follow_up}};
  if (pair.days) out["days"] = *pair.days;
  for (const lucency::ZoneChange& change : pair.zones) {
    out["zones"].push_back(zone_change_json(change, length));
  }
  return out;
}

/// Pretty-prints with one space of indent, but keeps points and other lists of plain numbers, and
/// lists of such lists, on one line: an outline of a thousand points would fill a thousand screens.
bool is_flat(const Json& node) {
  return node.is_array() && std::all_of(node.begin(), node.end(), [](const Json& item) {
           return item.is_number() || is_flat(item);
         });
}

std::string dumped(const Json& node) {
  // File names need not be UTF-8; what is not is replaced, so that the file stays valid JSON.
  return node.dump(-1, ' ', false, Json::error_handler_t::replace);
}

void print(const Json& node, std::size_t depth, std::string& out) {
  const bool is_measured = node.is_object() && node.contains("u95");
  if (!node.is_structured() || node.empty() || is_flat(node) || is_measured) {
    out += dumped(node);
    return;
  }
  const std::string indent(depth + 1, ' ');
  bool first = true;
  out += node.is_object() ? "{" : "[";
  for (const auto& [key, value] : node.items()) {
    out += (first ? "\n" : ",\n") + indent;
    if (node.is_object()) out += dumped(Json(key)) + ": ";
    print(value, depth + 1, out);
    first = false;
  }
  out += "\n" + std::string(depth, ' ') + (node.is_object() ? "}" : "]");
}

}  // namespace

std::string to_json(const Result& result) {
  Json out;
  out["schema"] = "tidemark/result/1";
  if (result.hip) out["hip"] = *result.hip;
  if (result.side) out["side"] = name_of(*result.side);
  out["tool"] = {{"name", "tidemark"},
                 {"version", result.tool_version},
                 {"options_sha256", result.options_sha256}};
  if (result.sheet_sha256) out["tool"]["sheet_sha256"] = *result.sheet_sha256;
  out["length_unit"] = result.length_unit == LengthUnit::kMillimetres ? "mm" : "reference_px";
  out["films"] = Json::array();
  for (const FilmResult& film : result.films) {
    out["films"].push_back(film_json(film, length_writer(lengths_of(result, film))));
  }
  const LengthWriter length = length_writer(lengths_of(result));
  out["comparisons"] = Json::array();
  for (const ComparisonResult& comparison : result.comparisons) {
    out["comparisons"].push_back(comparison_json(comparison, length));
  }
  for (const LateralComparison& pair : result.lateral_comparisons) {
    out["lateral_comparisons"].push_back(lateral_json(pair, length));
  }
  if (result.assessment) out["assessment"] = assessment_json(*result.assessment);
  if (result.seat) {
    out["assessment"]["seat"] = seat_json(*result.seat);
    if (result.seat->picture) out["assessment"]["seat_picture"] = *result.seat->picture;
  }
  if (result.history) out["history"] = history_json(*result.history);
  out["flags"] = flags_json(result.flags);
  out["caution"] = kCaution;
  std::string text;
  print(out, 0, text);
  return text + "\n";
}

}  // namespace tidemark::followup
