#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/migration/derive.h"

namespace tidemark::migration {

/// How a vote came about: by registration (all of which rest on one alignment of the bone) or by a
/// landmark marked on each film.
enum class VoteKind { kRegistered, kMarked };

/// What one opinion says in one direction: mm, and the variance of its own noise, mm^2.
struct Reading {
  double value = 0.0;
  double variance = 0.0;
};

/// One opinion on the motion of the stem's reference point, with what moves it.
struct Opinion {
  std::string feature;
  VoteKind kind = VoteKind::kRegistered;
  Vec2 at = Vec2::Zero();         ///< (medial, distal) of the stem's reference point, mm
  std::optional<Reading> along;   ///< subsidence as this feature sees it; absent: it says nothing
  std::optional<Reading> across;  ///< medial shift as this feature sees it
  double covariance = 0.0;        ///< of both, mm^2
};

/// What errs in all opinions alike.
struct SharedErrors {
  PoseChange pose;
  Depths depths;         ///< of the features, before this pair is looked at
  double angle_u = 0.0;  ///< rad, of the bone's alignment
  double scale_u = 0.0;  ///< relative, of the ratio of the films' scales
};

/// One story of which opinions are wild, in one pose: its probability, and mean and variance of the
/// subsidence if it is true.
struct Story {
  double probability = 0.0;
  double mean = 0.0;
  double variance = 0.0;
};

/// The medial shift, where an opinion says anything across the shaft: by the readings alone, less
/// what rotation does at the features' depths. (What Trust presumes of it weighs the poses only.)
struct AcrossConsensus {
  double mean = 0.0;
  double variance = 0.0;
};

/// Change of pose by the stem's look and by what the votes say of it together: of PoseDraw::flexion
/// and ::rolled, rad.
struct PoseByAll {
  double flexion_mean = 0.0;
  double flexion_square = 0.0;  ///< expected
  double rolled_mean = 0.0;
  double rolled_square = 0.0;
};

struct Consensus {
  double mean = 0.0;
  double variance = 0.0;
  // Its parts: own noise, angle, and doubt which opinions are wild; pose; scale.
  double own = 0.0;
  double pose = 0.0;
  double scale = 0.0;
  std::vector<Story> stories;
  std::optional<AcrossConsensus> medial;
  Depths depths;   ///< as SharedErrors::depths, after this pair
  PoseByAll seen;  ///< SharedErrors::pose, after this pair
};

/// Subsidence and medial shift by all opinions: generalised least squares in every story (each
/// opinion sound or wild, the registration as a whole in place or slid) in every pose, weighed by
/// how well they explain the opinions (a flat prior on the subsidence, Trust's on the medial
/// shift).
///
/// A feature's depth moves it along the shaft when the leg is flexed otherwise, and across when it
/// is rotated otherwise: what is read across tells the depths at which the features of this very
/// pair registered, and with them what flexion did along the shaft.
/// @return nothing when there is no opinion along the shaft
[[nodiscard]] std::optional<Consensus> consensus(const std::vector<Opinion>& opinions,
                                                 const SharedErrors& shared, const Trust& trust);

/// Half width about `mean` of the interval that holds 95 % of the mixture of normals, each widened
/// by the variance `added`.
[[nodiscard]] double half_width_95(const Consensus& c, double added);

}  // namespace tidemark::migration
