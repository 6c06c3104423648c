#include "tidemark/surface/cone_beam.h"

#include <gtest/gtest.h>
#include <vtkCellArray.h>
#include <vtkNew.h>
#include <vtkPoints.h>
#include <vtkPolyData.h>
#include <vtkStaticCellLocator.h>

#include <cmath>
#include <opencv2/calib3d.hpp>
#include <ostream>

#include "../../modules/surface/src/fit.h"
#include "drawn_stem.h"

namespace tidemark::surface {
namespace {

using test::kDegree;

/// Lengths and separations on the film, in mm of the plane of the head's centre.
struct Published {
  const char* source;
  Vec3 from, to;  ///< mm from the head's centre, stem frame
  double flexion_deg;
  double version_deg;
  Vec2 head_off;  ///< of the head from the central ray, mm
  double source_mm;
  double expected_mm;  ///< along the film
  double tolerance;
  friend void PrintTo(const Published& p, std::ostream* os) { *os << p.source; }
};

class Formulas : public testing::TestWithParam<Published> {};

TEST_P(Formulas, ConeBeam) {
  const Published& p = GetParam();
  const StemPose pose{0.0, p.flexion_deg * kDegree, p.version_deg * kDegree, p.head_off};
  const ConeBeam beam{p.source_mm, Vec2::Zero(), 1.0};
  const Vec2 d =
      shadow_of(p.to, Vec3::Zero(), pose, beam) - shadow_of(p.from, Vec3::Zero(), pose, beam);
  EXPECT_NEAR(d.norm(), p.expected_mm, p.tolerance);
}

constexpr double kFar = 1e9;  // parallel rays
// Source: ../shared/literature.md 5.2 and 5.3 (derived there, printed digits): M = SID/(SID - OFD),
// L cos f, g cos f + d sin f, FO cos theta, h dz/(SOD - dz).
INSTANTIATE_TEST_SUITE_P(
    Literature, Formulas,
    testing::Values(
        Published{"L 100, 10 deg", {0, 0, 0}, {0, 100, 0}, 10, 0, {0, 0}, kFar, 98.481, 5e-4},
        Published{"L 150, 20 deg", {0, 0, 0}, {0, 150, 0}, -20, 0, {0, 0}, kFar, 140.954, 5e-4},
        // The deeper landmark (z +, behind) is carried distally by flexion.
        Published{"g 30 d 15, 5 deg", {0, 0, 0}, {0, 30, 15}, 5, 0, {0, 0}, kFar, 31.193, 5e-4},
        Published{"g 30 d 15, -5 deg", {0, 0, 0}, {0, 30, 15}, -5, 0, {0, 0}, kFar, 28.579, 5e-4},
        Published{"FO 45, 20 deg", {0, 0, 0}, {45, 0, 0}, 0, 20, {0, 0}, kFar, 42.286, 5e-4},
        // SID 1150, OFD 180 (the head) and 200 (20 mm nearer to the tube), 100 mm off the ray. On
        // the detector 2.105 mm between the two; per mm of the head's plane less by M = 1.1856.
        Published{"SID 1150, h 100",
                  {0, 0, 0},
                  {0, 0, -20},
                  0,
                  0,
                  {0, 100},
                  970.0,
                  100.0 * 20.0 / 950.0,
                  1e-9},
        // The same by the printed magnifications 1.2105 and 1.1856.
        Published{"magnifications",
                  {0, 0, -20},
                  {100, 0, -20},
                  0,
                  0,
                  {0, 0},
                  970.0,
                  100.0 * 1.2105 / 1.1856,
                  6e-3}));

UnknownVector some_unknowns() {
  UnknownVector x = UnknownVector::Zero();
  x << 0.05, 0.11, 0.2, 100.0, 60.0, 0.01, 0.1, std::log(930.0), 80.0, 140.0, 1.5, 0.001;
  return x;
}

TEST(ShadowSlopes, EqualDifferences) {
  const auto stem = find_stem(test::drawn_mesh({}));
  ASSERT_TRUE(stem.has_value());
  const Vec3 p(-9.0, 40.0, 5.0);
  const UnknownVector x = some_unknowns();
  const ShadowSlopes s = shadow_slopes(*stem, p, x);
  EXPECT_LT((s.at - shadow_of(p, head_of(*stem, x(kNeck)), pose_of(x), beam_of(x))).norm(), 1e-10);
  for (int i = 0; i < kUnknowns; ++i) {
    const double h = 1e-5;
    const Vec2 up = shadow_slopes(*stem, p, x + h * UnknownVector::Unit(i)).at;
    const Vec2 down = shadow_slopes(*stem, p, x - h * UnknownVector::Unit(i)).at;
    EXPECT_LT((s.slope.col(i) - (up - down) / (2.0 * h)).norm(), 1e-5) << "unknown " << i;
  }
}

/// The rim slides over the surface: its fixed-point slope must still be that of the rim itself.
TEST(MatchSlopes, EqualDifferencesOfTheSlidingRim) {
  const test::Drawn drawn;
  const auto stem = find_stem(test::drawn_mesh(drawn));
  ASSERT_TRUE(stem.has_value());
  const Rim rim(stem->mesh);
  const OutlineOnFilm film = test::film_of(drawn, {.flexion_deg = 6.0, .version_deg = 12.0});
  const Belief belief;
  Problem problem{*stem, rim, film, belief, {}, 1.0};
  for (std::size_t i = 30; i + 30 < film.outline_mm.size(); i += 9) {
    const Vec2 way = (film.outline_mm[i + 1] - film.outline_mm[i - 1]).normalized();
    problem.points.push_back({film.outline_mm[i], Vec2(-way.y(), way.x())});
  }
  const auto found = find_pose(*stem, film);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const PoseMode& m = found->modes.front();
  UnknownVector x;
  x << m.pose.in_plane_rad, m.pose.flexion_rad, m.pose.version_rad, m.pose.head_mm,
      std::log(m.beam.magnified), m.edge_mm, std::log(m.beam.source_mm), m.beam.centre_mm,
      m.neck_mm, m.head_size_log;
  const auto here = match(problem, x, 2.0);
  ASSERT_GT(here.size(), 30U);
  for (const int i : {kInPlane, kFlexion, kVersion, kHeadY, kLogScale, kNeck}) {
    const double h = i == kHeadY || i == kNeck ? 0.2 : 4e-3;
    const auto up = match(problem, x + h * UnknownVector::Unit(i), 2.0);
    const auto down = match(problem, x - h * UnknownVector::Unit(i), 2.0);
    ASSERT_EQ(up.size(), here.size());
    ASSERT_EQ(down.size(), here.size());
    double sum = 0.0;
    double all = 0.0;
    for (std::size_t k = 0; k < here.size(); ++k) {
      const double slope = (up[k].off_mm - down[k].off_mm) / (2.0 * h);
      sum += std::pow(slope - here[k].slope(i), 2);
      all += slope * slope;
    }
    // The rim of a mesh jumps from edge to edge: 5 % of the slope, root mean square.
    EXPECT_LT(std::sqrt(sum / all), 0.05) << "unknown " << i;
  }
}

/// Reference library: OpenCV's solvePnP gives back the pose whose shadows we cast.
TEST(ShadowOf, AgreesWithSolvePnP) {
  const test::Drawn drawn;
  const StemPose pose{4.0 * kDegree, 7.0 * kDegree, -15.0 * kDegree, Vec2(90.0, 50.0)};
  const ConeBeam beam{960.0, Vec2(70.0, 130.0), 1.02};
  std::vector<cv::Point3d> solid;
  std::vector<cv::Point2d> flat;
  for (const Vec3& p : {Vec3(0, 0, 0), Vec3(-12, 3, 2), Vec3(30, -20, -6), Vec3(4, 60, 5),
                        Vec3(-4, 120, -3), Vec3(15, 10, 7), Vec3(2, 128, 3)}) {
    solid.emplace_back(p.x(), p.y(), p.z());
    const Vec2 q = shadow_of(p, drawn.head(), pose, beam);
    flat.emplace_back(q.x(), q.y());
  }
  const double focal = beam.source_mm * beam.magnified;
  const cv::Matx33d camera(focal, 0, beam.centre_mm.x(), 0, focal, beam.centre_mm.y(), 0, 0, 1);
  cv::Vec3d turn;
  cv::Vec3d shift;
  ASSERT_TRUE(cv::solvePnP(solid, flat, camera, cv::noArray(), turn, shift));
  cv::Matx33d rotation;
  cv::Rodrigues(turn, rotation);
  const Eigen::Matrix3d ours = rotation_of(pose);
  for (int i = 0; i < 3; ++i) {
    for (int j = 0; j < 3; ++j) EXPECT_NEAR(rotation(i, j), ours(i, j), 1e-5);
  }
  const Vec3 head = ours * drawn.head() + Vec3(shift[0], shift[1], shift[2]);
  EXPECT_NEAR(head.z(), beam.source_mm, 1e-2);
}

/// Reference library: VTK's rays against the same surface. Just outside of the rim a ray misses,
/// just inside it hits.
TEST(Rim, IsWhereVtkRaysGraze) {
  const test::Drawn drawn;
  const Mesh mesh = test::drawn_mesh(drawn);
  const StemPose pose{0.03, 5.0 * kDegree, 14.0 * kDegree, Vec2(20.0, -60.0)};
  const ConeBeam beam{950.0, Vec2::Zero(), 1.0};
  vtkNew<vtkPoints> points;
  points->SetDataTypeToDouble();
  const Eigen::Matrix3d turn = rotation_of(pose);
  for (const Vec3& p : mesh.points) {  // the world: source at the origin
    const Vec3 q = turn * (p - drawn.head()) + Vec3(20.0, -60.0, 950.0);
    points->InsertNextPoint(q.data());
  }
  vtkNew<vtkCellArray> cells;
  for (const auto& t : mesh.triangles) cells->InsertNextCell({t[0], t[1], t[2]});
  vtkNew<vtkPolyData> data;
  data->SetPoints(points);
  data->SetPolys(cells);
  vtkNew<vtkStaticCellLocator> rays;
  rays->SetDataSet(data);
  rays->BuildLocator();
  const auto hits = [&](const Vec2& film) {
    const Vec3 from = Vec3::Zero();
    const Vec3 to = 1.5 * Vec3(film.x(), film.y(), 950.0);
    double t = 0.0;
    Vec3 at;
    Vec3 parametric;
    int sub = 0;
    return rays->IntersectWithLine(from.data(), to.data(), 1e-9, t, at.data(), parametric.data(),
                                   sub) != 0;
  };
  const auto rim = Rim(mesh).seen(drawn.head(), pose, beam);
  ASSERT_GT(rim.size(), 150U);
  int outline = 0;
  int wrong = 0;  // at ends of the two shells that lie within each other, and at slivers
  for (const RimEdge& e : rim) {
    const Vec2 middle = 0.5 * (e.a_mm + e.b_mm);
    if (!hits(middle - 0.005 * e.outward)) ++wrong;
    // Of rims that are not covered by other metal, that is of the silhouette.
    if (hits(middle + 1.0 * e.outward)) continue;
    ++outline;
    if (hits(middle + 0.005 * e.outward)) ++wrong;
  }
  EXPECT_LE(wrong, static_cast<int>(rim.size()) / 40);
  EXPECT_GT(outline, 120);
}

}  // namespace
}  // namespace tidemark::surface
