#include "tidemark/phantom/write.h"

#include <cmath>
#include <nlohmann/json.hpp>
#include <system_error>

#include "model.h"
#include "tidemark/core/files.h"

namespace tidemark::phantom {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kSimulator = "tidemark-phantom/1";
constexpr const char* kStemFile = "stem.stl";

/// Rounded for print: 1e-4 of a pixel, mm or degree is far below what is simulated.
double round4(double value) { return std::round(value * 1e4) / 1e4; }

Json point(const Vec2& p) { return Json::array({round4(p.x()), round4(p.y())}); }

Json circle(const Circle2& c) {
  return {{"centre_px", point(c.centre)}, {"diameter_px", round4(2.0 * c.radius)}};
}

std::string film_name(std::size_t index) {
  return std::string("film-") + (index < 10 ? "0" : "") + std::to_string(index) + ".dcm";
}

const char* view_word(const FilmSpec& film) { return film.view == View::kLateral ? "LAT" : "AP"; }

const char* side_letter(const CaseSpec& spec) { return spec.side == Side::kLeft ? "L" : "R"; }

Json processing_json(const FilmSpec& film) {
  const Processing& p = film.processing;
  return {
      {"photometric", p.photometric == Photometric::kMonochrome1 ? "MONOCHROME1" : "MONOCHROME2"},
      {"bits_stored", p.bits_stored},
      {"curve", p.curve == GreyCurve::kSigmoid ? "sigmoid" : "linear"},
      {"edge_gain", round4(p.edge_gain)},
      {"edge_radius_mm", round4(p.edge_radius_mm)},
      {"latitude", round4(p.latitude)},
      {"quanta_per_pixel", round4(film.exposure.quanta_per_pixel)},
      {"scatter_to_primary", round4(film.exposure.scatter_to_primary)},
      {"focal_spot_mm", film.exposure.focal_spot.value},
      {"detector_blur_mm", round4(film.exposure.detector_blur.value)}};
}

/// Where the central ray meets the detector, px of the stored matrix.
Vec2 beam_centre(const CaseSpec& spec, const FilmSpec& film) {
  const Beam& beam = film.beam;
  const Vec2 px = beam.project({beam.centre_mm.x(), beam.centre_mm.y(), 0.0});
  return spec.side == Side::kLeft ? mirrored(px, beam.columns) : px;
}

Json beam_json(const CaseSpec& spec, const FilmSpec& film) {
  // On a mirrored film the patient is turned the other way.
  const double turn = spec.side == Side::kLeft ? -film.beam.turn.value : film.beam.turn.value;
  const char* hip_view = film.view == View::kLateral ? "lateral" : "hip";
  return {{"view", film.field == FieldOfView::kPelvis ? "pelvis" : hip_view},
          {"source_to_detector_mm", film.beam.source_to_detector.value},
          {"hip_to_detector_mm", round4(film.beam.hip_to_detector.value)},
          {"pixel_pitch_mm", round4(film.beam.pixel_pitch.value)},
          {"centre_px", point(beam_centre(spec, film))},
          {"turn_deg", round4(turn)},
          {"staples", film.clutter.staples},
          {"wires", film.clutter.wires},
          {"letter", film.clutter.letter},
          {"collimated", film.clutter.collimation.has_value()}};
}

Json motion_json(const Motion& m) {
  return {{"subsidence_mm", round4(m.subsidence.value)},
          {"medial_mm", round4(m.medial.value)},
          {"tilt_change_deg", round4(m.tilt_change.value)}};
}

const char* fixation_word(const CaseSpec& spec) { return spec.mantle ? "cemented" : "uncemented"; }

const char* interface_word(GapInterface interface) {
  switch (interface) {
    case GapInterface::kStemCement:
      return "stem_cement";
    case GapInterface::kCementBone:
      return "cement_bone";
    default:
      return "stem_bone";
  }
}

Json line_json(const LineTruth& line) {
  Json json{{"interface", interface_word(line.interface)},
            {"width_mm", round4(line.width.value)},
            {"start_mm", round4(line.start.value)},
            {"from_mm", round4(line.from.value)},
            {"to_mm", round4(line.to.value)},
            {"fraction", round4(line.fraction)},
            {"rim", line.rim.has_value()}};
  if (line.rim) json["rim_mm"] = round4(line.rim->value);
  return json;
}

Json lucency_json(const CaseSpec& spec, const LucencyTruth& truth) {
  Json zones = Json::array();
  for (const ZoneTruth& zone : truth.zones) {
    Json lines = Json::array();
    for (const LineTruth& line : zone.lines) lines.push_back(line_json(line));
    zones.push_back({{"zone", zone.zone},
                     {"length_mm", round4(zone.length.value)},
                     {"compacted", round4(zone.compacted)},
                     {"lines", lines}});
  }
  return {{"fixation", fixation_word(spec)}, {"entry_px", point(truth.entry_px)}, {"zones", zones}};
}

Json across_json(const AcrossTruth& across) {
  return {round4(across.lateral_mm), round4(across.medial_mm)};
}

Json sections_json(const std::vector<SectionTruth>& sections) {
  Json out = Json::array();
  for (const SectionTruth& section : sections) {
    Json json{{"level_mm", round4(section.level_mm)},
              {"outer_mm", across_json(section.outer)},
              {"inner_mm", across_json(section.inner)}};
    if (section.stem) json["stem_mm"] = across_json(*section.stem);
    out.push_back(json);
  }
  return out;
}

Json cavities_json(const std::vector<CavityTruth>& cavities) {
  Json out = Json::array();
  for (const CavityTruth& cavity : cavities) {
    out.push_back({{"zone", cavity.zone},
                   {"centre_px", point(cavity.centre_px)},
                   {"area_mm2", round4(cavity.area_mm2)},
                   {"half_depth_area_mm2", round4(cavity.half_area_mm2)},
                   {"depth_log", round4(cavity.depth)},
                   {"depth_share", round4(cavity.depth_share)},
                   {"rim", cavity.rim}});
  }
  return out;
}

Json film_json(const CaseSpec& spec, const FilmSpec& film, const FilmTruth& t, std::size_t index) {
  return {{"file", film_name(index)},
          {"view", view_word(film)},
          {"mm_per_px", t.mm_per_px},
          {"head", circle(t.head)},
          {"cup", circle(t.cup)},
          {"points_px",
           {{"stem_reference", point(t.stem_reference)},
            {"stem_tip", point(t.stem_tip)},
            {"stem_shoulder", point(t.stem_shoulder)},
            {"lesser_trochanter", point(t.lesser_trochanter)},
            {"greater_trochanter", point(t.greater_trochanter)}}},
          {"stem_axis_px", {point(t.stem_axis[0]), point(t.stem_axis[1])}},
          {"shaft_axis_px", {point(t.shaft_axis[0]), point(t.shaft_axis[1])}},
          {"tilt_deg", round4(t.tilt_deg)},
          {"pose_deg",
           {{"flexion", round4(film.pose.flexion.value)},
            {"abduction", round4(film.pose.abduction.value)},
            {"rotation", round4(film.pose.rotation.value)}}},
          {"migration", motion_json(film.motion)},
          {"sections", sections_json(t.sections)},
          {"lucency", lucency_json(spec, t.lucency)},
          {"beam", beam_json(spec, film)},
          {"processing", processing_json(film)},
          {"visible",
           {{"lesser_trochanter", t.lesser_visible}, {"greater_trochanter", t.greater_visible}}}};
}

Json series_json(const CaseSpec& spec, StemFile stem_file) {
  Json films = Json::array();
  for (std::size_t i = 0; i < spec.films.size(); ++i) {
    films.push_back({{"file", film_name(i)},
                     {"role", i == 0 ? "reference" : "follow-up"},
                     {"date", spec.films[i].date},
                     {"view", view_word(spec.films[i])}});
  }
  Json stem{{"fixation", fixation_word(spec)}, {"head_diameter_mm", spec.head_diameter.value}};
  if (stem_file == StemFile::kWrite) stem["surface"] = kStemFile;
  return {{"hip", hip_name(spec)},
          {"side", side_letter(spec)},
          {"surgery_date", spec.surgery_date},
          {"stem", stem},
          {"films", films}};
}

Json comparison_json(const Model& model, const CaseSpec& spec, std::size_t follow_up) {
  const Motion& motion = spec.films[follow_up].motion;
  const PointSubsidence at = subsidence_of_points(model, spec, motion);
  Json json{{"reference", 0}, {"follow_up", follow_up}};
  json.update(motion_json(motion));
  json["subsidence_at_mm"] = {{"head_centre", round4(at.head_centre)},
                              {"shoulder", round4(at.shoulder)},
                              {"tip", round4(at.tip)}};
  return json;
}

Expected<void> write_json(const std::filesystem::path& file, const Json& json) {
  return write_file_atomically(file, json.dump(2) + "\n");
}

}  // namespace

Expected<void> write_case(const std::filesystem::path& folder, const CaseSpec& spec,
                          unsigned threads, const std::function<void(int)>& progress,
                          StemFile stem_file) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (error) {
    return fail(ErrorKind::kNotWritable, folder.string(), "the folder cannot be made",
                "choose another output folder");
  }
  const auto model = build_model(spec, threads);
  if (!model) return tl::unexpected(model.error());
  Json films = Json::array();
  Json comparisons = Json::array();
  for (std::size_t i = 0; i < spec.films.size(); ++i) {
    const SimulatedFilm film = simulate(**model, spec, spec.films[i], threads);
    const auto index = static_cast<int>(i);
    auto written = write_dicom(folder / film_name(i), film.pixels, spec, index);
    if (!written) return written;
    films.push_back(film_json(spec, spec.films[i], film.truth, i));
    if (!spec.films[i].cavities.empty()) {
      films.back()["cavities"] = cavities_json(film.truth.cavities);
    }
    if (i > 0 && spec.films[i].view != View::kLateral) {
      comparisons.push_back(comparison_json(**model, spec, i));
    }
    if (progress) progress(index);
  }
  const Json truth{{"schema", "tidemark/truth/1"},
                   {"simulator", kSimulator},
                   {"seed", spec.seed},
                   {"side", side_letter(spec)},
                   {"head_diameter_mm", spec.head_diameter.value},
                   {"films", films},
                   {"comparisons", comparisons}};
  if (auto ok = write_json(folder / "truth.json", truth); !ok) return ok;
  if (stem_file == StemFile::kWrite) {
    if (auto ok = write_stl(folder / kStemFile, stem_surface(**model, spec)); !ok) return ok;
  }
  return write_json(folder / "series.json", series_json(spec, stem_file));
}

}  // namespace tidemark::phantom
