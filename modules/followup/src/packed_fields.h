#pragma once

#include "packed.h"
#include "tidemark/followup/steps.h"

// Every struct that a step takes or gives, with the number of its fields.
namespace tidemark::followup::packed {

template <>
inline constexpr std::size_t kFields<Error> = 4;
template <>
inline constexpr std::size_t kFields<Flag> = 2;
template <>
inline constexpr std::size_t kFields<Line2> = 2;
template <>
inline constexpr std::size_t kFields<Circle2> = 2;
template <>
inline constexpr std::size_t kFields<Rigid2> = 2;
template <>
inline constexpr std::size_t kFields<Affine2> = 2;

template <>
inline constexpr std::size_t kFields<anatomy::Landmark> = 3;
template <>
inline constexpr std::size_t kFields<anatomy::GivenLandmarks> = 11;
template <>
inline constexpr std::size_t kFields<anatomy::FoundCircle> = 4;
template <>
inline constexpr std::size_t kFields<anatomy::FoundAxis> = 3;
template <>
inline constexpr std::size_t kFields<anatomy::ImplantOptions> = 4;
template <>
inline constexpr std::size_t kFields<anatomy::FemurOptions> = 3;
template <>
inline constexpr std::size_t kFields<anatomy::Implant> = 12;
template <>
inline constexpr std::size_t kFields<anatomy::Femur> = 10;
template <>
inline constexpr std::size_t kFields<anatomy::SectionSide> = 4;
template <>
inline constexpr std::size_t kFields<anatomy::Section> = 4;
template <>
inline constexpr std::size_t kFields<anatomy::FlareSeat> = 4;
template <>
inline constexpr std::size_t kFields<anatomy::CanalReading> = 2;
template <>
inline constexpr std::size_t kFields<anatomy::Pelvis> = 4;

template <>
inline constexpr std::size_t kFields<lucency::InnerBorders> = 2;
template <>
inline constexpr std::size_t kFields<lucency::LucencyOptions> = 5;
template <>
inline constexpr std::size_t kFields<lucency::Zone> = 5;
template <>
inline constexpr std::size_t kFields<lucency::ZoneBorder> = 3;
template <>
inline constexpr std::size_t kFields<lucency::CutSlope> = 2;
template <>
inline constexpr std::size_t kFields<lucency::ZonePlan> = 8;
template <>
inline constexpr std::size_t kFields<lucency::LinePoint> = 10;
template <>
inline constexpr std::size_t kFields<lucency::ZoneLine> = 12;
template <>
inline constexpr std::size_t kFields<lucency::EdgeResponse> = 4;
template <>
inline constexpr std::size_t kFields<lucency::FilmLucency> = 4;
template <>
inline constexpr std::size_t kFields<lucency::ZoneChange> = 8;

template <>
inline constexpr std::size_t kFields<migration::BudgetItem> = 2;
template <>
inline constexpr std::size_t kFields<migration::FeatureSubsidence> = 3;
template <>
inline constexpr std::size_t kFields<migration::LandmarkOpinion> = 3;
template <>
inline constexpr std::size_t kFields<alignment::Alignment> = 7;
template <>
inline constexpr std::size_t kFields<alignment::FeatureVote> = 6;
template <>
inline constexpr std::size_t kFields<migration::StemLook> = 5;
template <>
inline constexpr std::size_t kFields<migration::StemLooks> = 5;
template <>
inline constexpr std::size_t kFields<surface::StemPose> = 4;
template <>
inline constexpr std::size_t kFields<surface::ConeBeam> = 3;
template <>
inline constexpr std::size_t kFields<surface::PoseMode> = 7;
template <>
inline constexpr std::size_t kFields<surface::SurfacePose> = 3;
template <>
inline constexpr std::size_t kFields<surface::SeenMode> = 3;
template <>
inline constexpr std::size_t kFields<surface::PoseChangeBySurface> = 3;
template <>
inline constexpr std::size_t kFields<migration::StemMotion> = 3;
template <>
inline constexpr std::size_t kFields<migration::PoseDraw> = 8;
template <>
inline constexpr std::size_t kFields<migration::PoseChange> = 4;
template <>
inline constexpr std::size_t kFields<migration::PairMeasured> = 5;
template <>
inline constexpr std::size_t kFields<migration::Depths> = 2;
template <>
inline constexpr std::size_t kFields<migration::SideView> = 3;
template <>
inline constexpr std::size_t kFields<migration::Migration> = 16;

}  // namespace tidemark::followup::packed
