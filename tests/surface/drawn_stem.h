#pragma once

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "tidemark/phantom/beam.h"
#include "tidemark/phantom/mesh.h"
#include "tidemark/surface/mesh.h"
#include "tidemark/surface/pose.h"
#include "tidemark/surface/stem_model.h"

namespace tidemark::surface::test {

inline constexpr double kDegree = std::numbers::pi / 180.0;

/// An invented stem, mm, in the stem frame: x medial, y distal of the shoulder, z posterior.
struct Drawn {
  Vec3 neck_direction = Vec3(std::sin(48.0 * kDegree), -std::cos(48.0 * kDegree), 0.0);
  Vec3 neck_root = Vec3(0.0, 22.0, 0.0);
  double neck_end_mm = 52.0;  ///< from the root
  double head_mm = 58.0;      ///< from the root
  double length_mm = 130.0;
  double bow_mm = 0.0;  ///< the body's middle leaves the plane forward by this at the shoulder
  double ball_radius_mm = 0.0;

  [[nodiscard]] Vec3 head() const { return neck_root + head_mm * neck_direction; }
};

inline std::vector<Vec3> ring(double y, const Drawn& d) {
  const double down = y / d.length_mm;
  const double flare = std::pow(std::max(0.0, 1.0 - y / 55.0), 2);
  const double round =
      std::sqrt(std::max(1e-6, 1.0 - std::pow(std::max(0.0, (y - 125.0) / 5.0), 2)));
  const double lateral = -(8.0 - 3.0 * down + 5.0 * flare) * round;
  const double medial = (8.0 - 3.0 * down + 12.0 * flare) * round;
  const double half = (7.0 - 3.0 * down) * round;
  std::vector<Vec3> out;
  for (int j = 0; j < 60; ++j) {
    const double t = 2.0 * std::numbers::pi * j / 60;
    const auto power = [](double c) { return std::copysign(std::sqrt(std::abs(c)), c); };
    out.emplace_back(0.5 * (medial + lateral) + 0.5 * (medial - lateral) * power(std::cos(t)), y,
                     -half * power(std::sin(t)) - d.bow_mm * flare);
  }
  return out;
}

inline phantom::TriangleMesh drawn_phantom_mesh(const Drawn& d) {
  std::vector<std::vector<Vec3>> rings;
  for (double y = 0.0; y < 125.0; y += 1.0) rings.push_back(ring(y, d));
  for (int i = 0; i <= 12; ++i) {
    rings.push_back(ring(125.0 + 5.0 * std::sin(0.5 * std::numbers::pi * i / 12), d));
  }
  phantom::TriangleMesh mesh = phantom::swept_mesh(rings);
  const std::array<Vec3, 2> neck{d.neck_root + 8.0 * d.neck_direction,
                                 d.neck_root + d.neck_end_mm * d.neck_direction};
  std::vector<Vec3> chain;
  for (int i = 0; i <= 30; ++i) chain.push_back(neck[0] + i / 30.0 * (neck[1] - neck[0]));
  phantom::append(mesh, phantom::bar_mesh(chain, 6.0, 48));
  if (d.ball_radius_mm > 0.0) {
    phantom::append(mesh, phantom::sphere_mesh(d.head(), d.ball_radius_mm, 48));
  }
  return mesh;
}

inline Mesh drawn_mesh(const Drawn& d) {
  const phantom::TriangleMesh mesh = drawn_phantom_mesh(d);
  return facing_outwards(welded({mesh.points, mesh.triangles}, 1e-4));
}

/// In some other frame, by a turn that is no multiple of a quarter.
inline Mesh elsewhere(const Mesh& mesh, double mirror = 1.0) {
  const Eigen::Matrix3d turn =
      (Eigen::AngleAxisd(2.1, Vec3(1, 2, -1).normalized()) * Eigen::AngleAxisd(0.4, Vec3::UnitZ()))
          .toRotationMatrix();
  return mapped(mesh, turn * Vec3(mirror, 1, 1).asDiagonal(), Vec3(30.0, -80.0, 11.0));
}

/// How a stem was laid and shot.
struct Shot {
  double flexion_deg = 0.0;                 ///< tip towards the tube +
  double version_deg = 10.0;                ///< neck towards the tube +
  double in_plane_deg = 0.0;                ///< tip lateral +
  double source_mm = 970.0;                 ///< to the plane of the head's centre
  Vec2 head_from_beam = Vec2(30.0, -60.0);  ///< mm: (medial, distal)
  Vec2 beam_off_middle = Vec2::Zero();      ///< of the film, mm
};

/// World from stem, built of the turns of the phantom's pose (docs/truth.md).
inline Eigen::Matrix3d turn_of(const Shot& s) {
  return (Eigen::AngleAxisd(s.in_plane_deg * kDegree, Vec3::UnitZ()) *
          Eigen::AngleAxisd(-s.flexion_deg * kDegree, Vec3::UnitX()) *
          Eigen::AngleAxisd(s.version_deg * kDegree, Vec3::UnitY()))
      .toRotationMatrix();
}

/// The phantom's beam for a shot, the head's centre in the world's origin; pixels of 0.06 mm.
inline phantom::Beam beam_of(const Shot& s) {
  phantom::Beam beam;
  beam.hip_to_detector.value = 180.0;
  beam.source_to_detector.value = s.source_mm + 180.0;
  beam.centre_mm = -s.head_from_beam;
  beam.pixel_pitch.value = 0.06;
  beam.columns = 3200;
  beam.rows = 4200;
  beam.field_shift_mm = 1.18 * Vec2(0.0, 20.0);
  return beam;
}

/// Outline of a mesh's shadow, px: each triangle projected by the phantom's beam and drawn by
/// OpenCV.
inline Polyline outline_px(const phantom::TriangleMesh& mesh, const Vec3& head, const Shot& shot) {
  const phantom::Beam beam = beam_of(shot);
  const Eigen::Matrix3d turn = turn_of(shot);
  std::vector<Vec2> px;
  for (const Vec3& p : mesh.points) px.push_back(beam.project(turn * (p - head)));
  cv::Mat1b mask(beam.rows, beam.columns, static_cast<unsigned char>(0));
  constexpr int kShift = 4;
  for (const auto& t : mesh.triangles) {
    std::array<cv::Point, 3> corners;
    for (std::size_t k = 0; k < 3; ++k) {
      const Vec2 q = px[static_cast<std::size_t>(t[k])] * (1 << kShift);
      corners[k] =
          cv::Point(static_cast<int>(std::lround(q.x())), static_cast<int>(std::lround(q.y())));
    }
    cv::fillConvexPoly(mask, corners.data(), 3, 255, cv::LINE_8, kShift);
  }
  std::vector<std::vector<cv::Point>> rings;
  cv::findContours(mask, rings, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  Polyline out;
  std::size_t longest = 0;
  for (std::size_t i = 0; i < rings.size(); ++i) {
    if (rings[i].size() > rings[longest].size()) longest = i;
  }
  for (const cv::Point& p : rings[longest]) out.emplace_back(p.x, p.y);
  return out;
}

/// The outline as anatomy gives it: smooth at 0.5 mm, open at the head, lateral neck first.
inline OutlineOnFilm film_of(const Drawn& d, const Shot& shot) {
  Drawn without_ball = d;
  without_ball.ball_radius_mm = 0.0;
  const phantom::Beam beam = beam_of(shot);
  const Polyline ring = outline_px(drawn_phantom_mesh(without_ball), d.head(), shot);
  const double k = beam.pixel_pitch.value / beam.magnification(Vec3::Zero());
  OutlineOnFilm film;
  film.head_mm = k * beam.project(Vec3::Zero());
  film.in_plane_rad = shot.in_plane_deg * kDegree;
  film.middle_mm =
      k * (beam.project(Vec3(beam.centre_mm.x(), beam.centre_mm.y(), 0.0))) - shot.beam_off_middle;
  const auto open = [&](std::size_t i) {
    return (k * ring[i % ring.size()] - film.head_mm).norm() < 17.0;
  };
  std::size_t start = 0;  // the ring leaves the head's disc here
  while (!(open(start) && !open(start + 1))) ++start;
  Polyline chain;
  constexpr int kHalf = 6;  // px: means of 0.66 mm
  for (std::size_t i = start + 1; !open(i); i += 8) {
    Vec2 sum = Vec2::Zero();
    for (int j = -kHalf; j <= kHalf; ++j) {
      sum += ring[(i + ring.size() + static_cast<std::size_t>(j + kHalf) - kHalf) % ring.size()];
    }
    chain.push_back(k * sum / (2.0 * kHalf + 1.0));
  }
  // OpenCV walks outer rings anticlockwise as seen (y down): from the head down the lateral flank.
  if (chain.front().x() > chain.back().x()) std::reverse(chain.begin(), chain.end());
  film.outline_mm = chain;
  return film;
}

}  // namespace tidemark::surface::test
