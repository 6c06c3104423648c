#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"
#include "tidemark/phantom/case.h"
#include "tidemark/phantom/scene.h"

namespace tidemark::phantom {

/// Extent of a shadow across the femur, mm from the shaft axis in the plane of the stem, medial +.
struct AcrossTruth {
  double lateral_mm = 0.0;
  double medial_mm = 0.0;
};

/// What a line perpendicular to the shaft axis meets on one film.
struct SectionTruth {
  double level_mm = 0.0;            ///< above the lesser trochanter's point along the shaft axis
  AcrossTruth outer;                ///< outer border of the cortex
  AcrossTruth inner;                ///< inner border, of the canal or of cancellous bone
  std::optional<AcrossTruth> stem;  ///< absent beyond the stem's ends
};

/// What is known of one film. Every point in pixels of the stored matrix (column, row), the centre
/// of the first pixel at (0, 0); defined in docs/truth.md.
struct FilmTruth {
  double mm_per_px = 0.0;  ///< in the plane of the stem's reference point
  Circle2 head;
  Circle2 cup;
  Vec2 stem_reference = Vec2::Zero();
  Vec2 stem_tip = Vec2::Zero();
  Vec2 stem_shoulder = Vec2::Zero();
  Vec2 lesser_trochanter = Vec2::Zero();
  Vec2 greater_trochanter = Vec2::Zero();
  std::array<Vec2, 2> stem_axis{};     ///< proximal point first
  std::array<Vec2, 2> shaft_axis{};    ///< proximal point first
  double tilt_deg = 0.0;               ///< stem axis against shaft axis on the film, varus positive
  bool lesser_visible = false;         ///< its point is in the field and on the outline of the bone
  bool greater_visible = false;        ///< its point is in the field
  std::vector<SectionTruth> sections;  ///< where the femur is cut at the level, proximal first
  LucencyTruth lucency;
  std::vector<CavityTruth> cavities;  ///< of simulate() only
};

/// Subsidence of other points of the stem than the reference, mm.
struct PointSubsidence {
  double head_centre = 0.0;
  double shoulder = 0.0;
  double tip = 0.0;
};

/// A finished film: stored grey values and what they show.
struct SimulatedFilm {
  RasterOf<std::uint16_t> pixels;
  FilmTruth truth;
};

/// The parts of one hip, built once for all its films.
struct Model;

/// Builds bones, implant and body of a case.
/// @return kBadInput or kCannotTell when a surface given in the case cannot be used.
[[nodiscard]] Expected<std::shared_ptr<const Model>> build_model(const CaseSpec& spec,
                                                                 unsigned threads);

/// All solids of one film in the world frame of a right hip.
[[nodiscard]] Scene make_scene(const Model& model, const CaseSpec& spec, const FilmSpec& film);

/// The truth of one film.
[[nodiscard]] FilmTruth make_truth(const Model& model, const CaseSpec& spec, const FilmSpec& film);

/// Displacement along the shaft of points of the stem under a motion, mm, distal positive.
[[nodiscard]] PointSubsidence subsidence_of_points(const Model& model, const CaseSpec& spec,
                                                   const Motion& motion);

/// One film with its truth. The same bytes on any number of threads.
[[nodiscard]] SimulatedFilm simulate(const Model& model, const CaseSpec& spec, const FilmSpec& film,
                                     unsigned threads);

/// Scatter, blur and quanta: the signal of each pixel, 1 = unattenuated beam.
[[nodiscard]] Raster expose(const Raster& primary, const FilmSpec& film, unsigned threads);

/// The room's software: log, latitude, edge enhancement, curve, bits.
[[nodiscard]] RasterOf<std::uint16_t> develop(const Raster& signal, const FilmSpec& film,
                                              unsigned threads);

}  // namespace tidemark::phantom
