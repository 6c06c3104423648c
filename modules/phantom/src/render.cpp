#include <Eigen/Dense>
#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <optional>
#include <span>
#include <utility>

#include "parallel.h"
#include "tidemark/phantom/scene.h"

namespace tidemark::phantom {
namespace {

using Lengths = std::array<double, kMaterialCount>;

constexpr int kTile = 16;        // pixels a side; small enough for the caches
constexpr int kMargin = 1;       // pixels beyond a tile that are looked at for metal edges
constexpr int kFineSamples = 4;  // a side, in tiles that hold a metal edge

/// A ray as a function of the part s of the way from the source (0) to the detector (1).
struct Ray {
  double length_mm;  ///< source to detector
  double femur_y0;   ///< level in the femur frame: femur_y0 + s * femur_dy
  double femur_dy;
};

Ray make_ray(const Scene& scene, const Vec3& source, const Vec3& on_detector) {
  const Rigid3& f = scene.spongiosa.femur_from_world;
  const Vec3 way = on_detector - source;
  return {way.norm(), f.apply(source).y(), f.rotation.row(1).dot(way)};
}

/// A meeting of ray and surface, sortable by distance: s in the high bits, layer, way (1 in, 0
/// out).
using Crossing = std::uint64_t;

Crossing make_crossing(double s, Layer layer, bool inwards) {
  const auto bits = std::bit_cast<std::uint32_t>(static_cast<float>(std::max(s, 0.0)));
  return static_cast<std::uint64_t>(bits) << 32U | static_cast<std::uint64_t>(layer) << 8U |
         static_cast<std::uint64_t>(inwards ? 1 : 0);
}
double way_of(Crossing c) {
  return double{std::bit_cast<float>(static_cast<std::uint32_t>(c >> 32U))};
}
Layer layer_of(Crossing c) { return static_cast<Layer>(c >> 8U & 0xffU); }

/// Adds `length_mm` of what fills a layer.
void add_length(const Scene& scene, Layer layer, double femur_y, double length_mm, Lengths& sum) {
  const auto put = [&](Material material, double mm) {
    sum[static_cast<std::size_t>(material)] += mm;
  };
  const auto put_mixture = [&](double share) {
    put(Material::kCorticalBone, share * length_mm);
    put(Material::kMarrow, (1.0 - share) * length_mm);
  };
  switch (layer) {
    case Layer::kMarker:
    case Layer::kHead:
      return put(Material::kCobaltChromium, length_mm);
    case Layer::kStem:
    case Layer::kShell:
      return put(Material::kTitaniumAlloy, length_mm);
    case Layer::kLiner:
      return put(Material::kPolyethylene, length_mm);
    case Layer::kGap:
    case Layer::kMembrane:
      return put(Material::kMuscle, length_mm);
    case Layer::kCement:
      return put(Material::kRadiopaqueCement, length_mm);
    case Layer::kCompacted:
      return put_mixture(scene.spongiosa.compacted_at(femur_y));
    case Layer::kRim:
    case Layer::kDenseBone:
    case Layer::kFemur:
    case Layer::kPelvis:
      return put(Material::kCorticalBone, length_mm);
    case Layer::kFemurInside:
      return put_mixture(scene.spongiosa.share_at(femur_y));
    case Layer::kPelvisInside:
      return put_mixture(scene.spongiosa.pelvis);
    case Layer::kMuscle:
      return put(Material::kMuscle, length_mm);
    case Layer::kFat:
      return put(Material::kFat, length_mm);
  }
}

/// Walks along a ray whose crossings are sorted; the layer of highest rank fills each stretch.
Lengths walk(const Scene& scene, const Ray& ray, std::span<const Crossing> crossings) {
  Lengths lengths{};
  std::array<int, kLayerCount> depth{};
  std::uint32_t inside = 0;  // bit of each layer whose depth is positive
  double from = 0.0;
  for (const Crossing crossing : crossings) {
    const double to = way_of(crossing);
    if (inside != 0 && to > from) {
      const auto top = static_cast<Layer>(std::countr_zero(inside));
      add_length(scene, top, ray.femur_y0 + 0.5 * (from + to) * ray.femur_dy,
                 (to - from) * ray.length_mm, lengths);
    }
    from = to;
    const auto layer = static_cast<std::size_t>(layer_of(crossing));
    depth[layer] += (crossing & 1U) != 0 ? 1 : -1;
    const std::uint32_t bit = 1U << layer;
    inside = depth[layer] > 0 ? inside | bit : inside & ~bit;
  }
  return lengths;
}

/// A side of a triangle: positive value on the triangle's inner side. Both triangles that share a
/// side compute the very same number with opposite sign, so no ray slips between them.
struct Side2 {
  double du, dv, u, v, sign;

  Side2() = default;
  Side2(const Vec2& a, const Vec2& b, double s)
      : du(b.x() - a.x()), dv(b.y() - a.y()), u(a.x()), v(a.y()), sign(s) {}
  [[nodiscard]] bool holds(double pu, double pv) const {
    const double e = du * (pv - v) - dv * (pu - u);
    return sign > 0 ? e >= 0 : e < 0;
  }
};

/// A triangle as the detector sees it.
struct Shadow {
  std::array<Side2, 3> sides;
  double plane_u, plane_v, plane_0;  ///< 1/s at a pixel = plane_u * u + plane_v * v + plane_0
  double s_min, s_max;
  float u_min, u_max, v_min, v_max;
  Layer layer;
  bool inwards;
};

/// All triangles of a scene before one beam, sorted into tiles.
struct Shadows {
  std::vector<Shadow> shadows;
  int tiles_x = 0;
  int tiles_y = 0;
  std::vector<std::uint32_t> starts;   ///< of each tile in members
  std::vector<std::uint32_t> members;  ///< indices of shadows, in order
};

struct Corners {
  std::array<Vec3, 3> p;
  std::array<Vec2, 3> px;
  std::array<int, 3> id;
};

/// The plane of a triangle as 1/s = (n . way to the pixel) / (n . way to a corner).
void set_plane(Shadow& shadow, const Corners& c, const Beam& beam) {
  const Vec3 source = beam.source();
  const Vec3 normal = (c.p[1] - c.p[0]).cross(c.p[2] - c.p[0]);
  const double height = normal.dot(c.p[0] - source);
  const Vec3 origin = beam.on_detector({0, 0}) - source;
  const Vec3 step_u = beam.on_detector({1, 0}) - source - origin;
  const Vec3 step_v = beam.on_detector({0, 1}) - source - origin;
  shadow.plane_u = normal.dot(step_u) / height;
  shadow.plane_v = normal.dot(step_v) / height;
  shadow.plane_0 = normal.dot(origin) / height;
  shadow.inwards = height < 0.0;
}

/// Sets the shadow; false when the triangle is seen edge on.
bool set_shadow(Shadow& shadow, const Corners& c, Layer layer, const Beam& beam) {
  const Vec2 a = c.px[1] - c.px[0];
  const Vec2 b = c.px[2] - c.px[0];
  const double area = a.x() * b.y() - a.y() * b.x();
  if (area == 0.0) return false;
  for (std::size_t i = 0; i < 3; ++i) {
    const std::size_t j = (i + 1) % 3;
    const double way = area > 0 ? 1.0 : -1.0;
    shadow.sides[i] =
        c.id[i] < c.id[j] ? Side2(c.px[i], c.px[j], way) : Side2(c.px[j], c.px[i], -way);
  }
  set_plane(shadow, c, beam);
  const auto [u0, u1] = std::minmax({c.px[0].x(), c.px[1].x(), c.px[2].x()});
  const auto [v0, v1] = std::minmax({c.px[0].y(), c.px[1].y(), c.px[2].y()});
  shadow.u_min = static_cast<float>(u0 - 1e-3);
  shadow.u_max = static_cast<float>(u1 + 1e-3);
  shadow.v_min = static_cast<float>(v0 - 1e-3);
  shadow.v_max = static_cast<float>(v1 + 1e-3);
  std::array<double, 3> s{};
  for (std::size_t i = 0; i < 3; ++i) s[i] = 1.0 / beam.magnification(c.p[i]);
  shadow.s_min = std::min({s[0], s[1], s[2]});
  shadow.s_max = std::max({s[0], s[1], s[2]});
  shadow.layer = layer;
  return true;
}

struct TileRange {
  int x0, x1, y0, y1;
};

TileRange tiles_of(const Shadow& shadow, const Shadows& all) {
  const auto tile = [](double pixel) { return static_cast<int>(std::floor(pixel / kTile)); };
  return {std::max(0, tile(double{shadow.u_min} - kMargin)),
          std::min(all.tiles_x - 1, tile(double{shadow.u_max} + kMargin + 1)),
          std::max(0, tile(double{shadow.v_min} - kMargin)),
          std::min(all.tiles_y - 1, tile(double{shadow.v_max} + kMargin + 1))};
}

void sort_into_tiles(Shadows& all) {
  const auto tile_count =
      static_cast<std::size_t>(all.tiles_x) * static_cast<std::size_t>(all.tiles_y);
  const auto for_each_tile = [&](const Shadow& shadow, const auto& visit) {
    const TileRange r = tiles_of(shadow, all);
    for (int y = r.y0; y <= r.y1; ++y) {
      for (int x = r.x0; x <= r.x1; ++x) {
        visit(static_cast<std::size_t>(y) * static_cast<std::size_t>(all.tiles_x) +
              static_cast<std::size_t>(x));
      }
    }
  };
  all.starts.assign(tile_count + 1, 0);
  for (const Shadow& shadow : all.shadows) {
    for_each_tile(shadow, [&](std::size_t tile) { ++all.starts[tile + 1]; });
  }
  for (std::size_t i = 1; i <= tile_count; ++i) all.starts[i] += all.starts[i - 1];
  all.members.resize(all.starts.back());
  std::vector<std::uint32_t> next(all.starts.begin(), all.starts.end() - 1);
  for (std::size_t i = 0; i < all.shadows.size(); ++i) {
    for_each_tile(all.shadows[i], [&](std::size_t tile) {
      all.members[next[tile]++] = static_cast<std::uint32_t>(i);
    });
  }
}

Shadows cast_shadows(const Scene& scene, const Beam& beam) {
  Shadows all;
  all.tiles_x = (beam.columns + kTile - 1) / kTile;
  all.tiles_y = (beam.rows + kTile - 1) / kTile;
  for (const Solid& solid : scene.solids) {
    std::vector<Vec2> px;
    px.reserve(solid.mesh.points.size());
    for (const Vec3& p : solid.mesh.points) px.push_back(beam.project(p));
    for (const auto& t : solid.mesh.triangles) {
      Corners corners;
      for (std::size_t i = 0; i < 3; ++i) {
        const auto point = static_cast<std::size_t>(t[i]);
        corners.p[i] = solid.mesh.points[point];
        corners.px[i] = px[point];
        corners.id[i] = t[i];
      }
      Shadow shadow;
      if (!set_shadow(shadow, corners, solid.layer, beam)) continue;
      if (shadow.u_max < -2 || shadow.v_max < -2 ||
          shadow.u_min > static_cast<float>(beam.columns + 1) ||
          shadow.v_min > static_cast<float>(beam.rows + 1)) {
        continue;
      }
      all.shadows.push_back(shadow);
    }
  }
  sort_into_tiles(all);
  return all;
}

/// A square of rays: `count` a side, `spacing` pixels apart, the first at (u0, v0).
struct RayBlock {
  int count;
  double spacing;
  double u0;
  double v0;
};

/// The sorted crossings of every ray of a block.
struct BlockCrossings {
  std::vector<std::uint32_t> starts;
  std::vector<Crossing> crossings;
};

/// Room that a thread uses again and again.
struct Workspace {
  std::vector<std::pair<std::uint32_t, Crossing>> met;
  BlockCrossings block;
};

void meet_triangle(const Shadow& shadow, const RayBlock& block,
                   std::vector<std::pair<std::uint32_t, Crossing>>& met) {
  const auto range = [&](double low, double high, double origin) {
    return std::pair{
        std::max(0, static_cast<int>(std::ceil((low - origin) / block.spacing))),
        std::min(block.count - 1, static_cast<int>(std::floor((high - origin) / block.spacing)))};
  };
  const auto [i0, i1] = range(shadow.u_min, shadow.u_max, block.u0);
  const auto [j0, j1] = range(shadow.v_min, shadow.v_max, block.v0);
  for (int j = j0; j <= j1; ++j) {
    const double v = block.v0 + j * block.spacing;
    for (int i = i0; i <= i1; ++i) {
      const double u = block.u0 + i * block.spacing;
      if (!shadow.sides[0].holds(u, v) || !shadow.sides[1].holds(u, v) ||
          !shadow.sides[2].holds(u, v)) {
        continue;
      }
      const double inverse = shadow.plane_u * u + shadow.plane_v * v + shadow.plane_0;
      // A triangle seen almost edge on has no well-conditioned plane: stay between its corners.
      const double s =
          inverse > 0 ? std::clamp(1.0 / inverse, shadow.s_min, shadow.s_max) : shadow.s_max;
      met.emplace_back(static_cast<std::uint32_t>(j * block.count + i),
                       make_crossing(s, shadow.layer, shadow.inwards));
    }
  }
}

void meet_tile(const Shadows& all, std::size_t tile, const RayBlock& block, Workspace& room) {
  room.met.clear();
  for (std::uint32_t m = all.starts[tile]; m < all.starts[tile + 1]; ++m) {
    meet_triangle(all.shadows[all.members[m]], block, room.met);
  }
  auto& [starts, crossings] = room.block;
  const auto rays = static_cast<std::size_t>(block.count) * static_cast<std::size_t>(block.count);
  starts.assign(rays + 2, 0);
  for (const auto& [ray, crossing] : room.met) ++starts[ray + 2];
  for (std::size_t i = 2; i < starts.size(); ++i) starts[i] += starts[i - 1];
  crossings.resize(room.met.size());
  for (const auto& [ray, crossing] : room.met) crossings[starts[ray + 1]++] = crossing;
  for (std::size_t i = 0; i < rays; ++i) {
    std::sort(crossings.begin() + starts[i], crossings.begin() + starts[i + 1]);
  }
}

std::span<const Crossing> crossings_of(const BlockCrossings& block, std::size_t ray) {
  return std::span(block.crossings)
      .subspan(block.starts[ray], block.starts[ray + 1] - block.starts[ray]);
}

/// Whether the rays of a tile and its margin do not all meet the same metal layers.
bool holds_metal_edge(const BlockCrossings& block, std::size_t rays) {
  std::optional<std::uint32_t> first;
  for (std::size_t ray = 0; ray < rays; ++ray) {
    std::uint32_t met = 0;
    for (const Crossing c : crossings_of(block, ray)) {
      if (is_metal(layer_of(c))) met |= 1U << static_cast<unsigned>(layer_of(c));
    }
    if (first && *first != met) return true;
    first = met;
  }
  return false;
}

/// What one film's tiles share.
struct RenderJob {
  const Scene& scene;
  const Beam& beam;
  const Raster& struts;
  std::array<std::array<float, kMaterialCount>, 8> mu{};  ///< 1/mm, by spectral line
  std::array<float, 8> weight{};
  std::size_t lines = 0;
};

float transmission_of(const RenderJob& job, const Lengths& lengths, float strut_mm) {
  std::array<float, kMaterialCount> mm{};
  for (std::size_t m = 0; m < mm.size(); ++m) mm[m] = static_cast<float>(lengths[m]);
  mm[static_cast<std::size_t>(Material::kCorticalBone)] += strut_mm;
  mm[static_cast<std::size_t>(Material::kMarrow)] -= strut_mm;
  float passed = 0.0F;
  for (std::size_t line = 0; line < job.lines; ++line) {
    float depth = 0.0F;
    for (std::size_t m = 0; m < mm.size(); ++m) depth += mm[m] * job.mu[line][m];
    passed += job.weight[line] * std::exp(-depth);
  }
  return passed;
}

/// Mean transmission of fine x fine rays in the middle part of a block of rays.
void fill_tile(const RenderJob& job, const RayBlock& block, const BlockCrossings& crossings,
               int tile_x, int tile_y, int fine, int margin, Raster& out) {
  const Vec3 source = job.beam.source();
  for (int y = tile_y; y < std::min(tile_y + kTile, out.height); ++y) {
    for (int x = tile_x; x < std::min(tile_x + kTile, out.width); ++x) {
      float sum = 0.0F;
      for (int j = 0; j < fine; ++j) {
        for (int i = 0; i < fine; ++i) {
          const int bi = (x - tile_x + margin) * fine + i;
          const int bj = (y - tile_y + margin) * fine + j;
          const Vec2 px(block.u0 + bi * block.spacing, block.v0 + bj * block.spacing);
          const auto met = crossings_of(
              crossings, static_cast<std::size_t>(bj) * static_cast<std::size_t>(block.count) +
                             static_cast<std::size_t>(bi));
          if (met.empty()) {
            sum += 1.0F;
            continue;
          }
          const Ray ray = make_ray(job.scene, source, job.beam.on_detector(px));
          sum += transmission_of(job, walk(job.scene, ray, met), job.struts.at(x, y));
        }
      }
      out.at(x, y) = sum / static_cast<float>(fine * fine);
    }
  }
}

void render_tile(const RenderJob& job, const Shadows& all, int tile, Workspace& room, Raster& out) {
  const int tile_x = tile % all.tiles_x * kTile;
  const int tile_y = tile / all.tiles_x * kTile;
  const RayBlock coarse{kTile + 2 * kMargin, 1.0, double(tile_x - kMargin),
                        double(tile_y - kMargin)};
  const auto index = static_cast<std::size_t>(tile);
  meet_tile(all, index, coarse, room);
  if (!holds_metal_edge(room.block, static_cast<std::size_t>(coarse.count) *
                                        static_cast<std::size_t>(coarse.count))) {
    return fill_tile(job, coarse, room.block, tile_x, tile_y, 1, kMargin, out);
  }
  const double spacing = 1.0 / kFineSamples;
  const double first = 0.5 * spacing - 0.5;
  const RayBlock fine{kTile * kFineSamples, spacing, tile_x + first, tile_y + first};
  meet_tile(all, index, fine, room);
  fill_tile(job, fine, room.block, tile_x, tile_y, kFineSamples, 0, out);
}

struct StrutShadow {
  Vec2 from, to;
  double radius_px;
  float thickness_mm;
};

constexpr double kStrutReach = 3.0;  // standard deviations

void draw_strut(const StrutShadow& strut, int row_begin, int row_end, Raster& out) {
  const double reach = kStrutReach * strut.radius_px;
  const Vec2 low = strut.from.cwiseMin(strut.to).array() - reach;
  const Vec2 high = strut.from.cwiseMax(strut.to).array() + reach;
  const Vec2 way = strut.to - strut.from;
  const double length2 = std::max(way.squaredNorm(), 1e-12);
  const int y1 = std::min(row_end - 1, static_cast<int>(std::floor(high.y())));
  const int x1 = std::min(out.width - 1, static_cast<int>(std::floor(high.x())));
  for (int y = std::max(row_begin, static_cast<int>(std::ceil(low.y()))); y <= y1; ++y) {
    for (int x = std::max(0, static_cast<int>(std::ceil(low.x()))); x <= x1; ++x) {
      const Vec2 p = Vec2(x, y) - strut.from;
      const double t = std::clamp(p.dot(way) / length2, 0.0, 1.0);
      const double d2 = (p - t * way).squaredNorm();
      if (d2 > reach * reach) continue;
      const auto falloff =
          static_cast<float>(std::exp(-0.5 * d2 / (strut.radius_px * strut.radius_px)));
      out.at(x, y) += strut.thickness_mm * falloff;
    }
  }
}

/// Extra length of bone per pixel from all struts.
Raster draw_struts(const Scene& scene, const Beam& beam, unsigned threads) {
  std::vector<StrutShadow> shadows;
  shadows.reserve(scene.struts.size());
  for (const Strut& strut : scene.struts) {
    const double radius = strut.radius_mm * beam.magnification(strut.from) / beam.pixel_pitch.value;
    // A strut thinner than a pixel is drawn one pixel wide with the same amount of bone.
    const double drawn = std::max(radius, 0.5);
    shadows.push_back({beam.project(strut.from), beam.project(strut.to), drawn,
                       static_cast<float>(strut.thickness_mm * radius / drawn)});
  }
  Raster extra(beam.columns, beam.rows);
  constexpr int kBand = 64;
  for_each_index((beam.rows + kBand - 1) / kBand, threads, [&](int band) {
    const int begin = band * kBand;
    const int end = std::min(beam.rows, begin + kBand);
    for (const StrutShadow& strut : shadows) {
      const double reach = kStrutReach * strut.radius_px;
      if (std::max(strut.from.y(), strut.to.y()) + reach < begin ||
          std::min(strut.from.y(), strut.to.y()) - reach > end) {
        continue;
      }
      draw_strut(strut, begin, end, extra);
    }
  });
  return extra;
}

}  // namespace

double Spongiosa::share_at(double y_in_femur_mm) const {
  const double t = std::clamp((y_in_femur_mm - level_mm) / ramp_mm + 0.5, 0.0, 1.0);
  return top + (bottom - top) * t * t * (3.0 - 2.0 * t);
}

double Spongiosa::compacted_at(double y_in_femur_mm) const {
  const double turn = 2.0 * std::numbers::pi * y_in_femur_mm / compaction.wave.value;
  return std::clamp(compaction.share + compaction.swing * std::sin(turn + compaction.phase_rad),
                    0.0, 1.0);
}

std::array<double, kMaterialCount> trace(const Scene& scene, const Beam& beam, const Vec2& p_px) {
  const Vec3 source = beam.source();
  const Vec3 target = beam.on_detector(p_px);
  const Vec3 way = target - source;
  std::vector<Crossing> crossings;
  for (const Solid& solid : scene.solids) {
    for (const auto& t : solid.mesh.triangles) {
      // Moeller and Trumbore's test (1997).
      const Vec3& a = solid.mesh.points[static_cast<std::size_t>(t[0])];
      const Vec3 ab = solid.mesh.points[static_cast<std::size_t>(t[1])] - a;
      const Vec3 ac = solid.mesh.points[static_cast<std::size_t>(t[2])] - a;
      const Vec3 h = way.cross(ac);
      const double det = ab.dot(h);
      if (std::abs(det) < 1e-14) continue;
      const double u = (source - a).dot(h) / det;
      const Vec3 q = (source - a).cross(ab);
      const double v = way.dot(q) / det;
      if (u < 0 || v < 0 || u + v > 1) continue;
      crossings.push_back(make_crossing(ac.dot(q) / det, solid.layer, det > 0));
    }
  }
  std::sort(crossings.begin(), crossings.end());
  return walk(scene, make_ray(scene, source, target), crossings);
}

Raster render(const Scene& scene, const Beam& beam, unsigned threads) {
  const Raster struts = draw_struts(scene, beam, threads);
  const Shadows all = cast_shadows(scene, beam);
  RenderJob job{scene, beam, struts};
  for (const SpectralLine& line : default_spectrum()) {
    for (std::size_t m = 0; m < kMaterialCount; ++m) {
      job.mu[job.lines][m] =
          static_cast<float>(linear_attenuation(static_cast<Material>(m), line.energy_kev));
    }
    job.weight[job.lines++] = static_cast<float>(line.weight);
  }
  Raster out(beam.columns, beam.rows, 1.0F);
  // A row of tiles at a time: each needs room of its own, and making it per tile is slow.
  for_each_index(all.tiles_y, threads, [&](int row) {
    Workspace room;
    for (int x = 0; x < all.tiles_x; ++x) {
      render_tile(job, all, row * all.tiles_x + x, room, out);
    }
  });
  return out;
}

}  // namespace tidemark::phantom
