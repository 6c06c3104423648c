"""Femur and pelvis as density volumes made from outer surfaces.

The meshes have no canal: the cortex is an inward offset whose depth depends on the level, the metaphysis is filled
with cancellous bone whose texture is a random field fixed to the bone (so that it shows true parallax).
Frames: femur F (origin on the shaft axis at the level of the lesser trochanter), pelvis P (origin hip centre).
Densities are fractions of cortical bone over soft tissue.
"""
from dataclasses import dataclass
import hashlib
import os

import numpy as np
from scipy import ndimage

import sources
import surface

H_SDF = 1.2      # mm, distance grids
H_PELVIS = 1.2
BAND = 9.0
KEPT_GRIDS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../../build/other-simulator-grids")


@dataclass
class Femur:
    outer: surface.Grid
    inner: surface.Grid = None
    spongy: surface.Grid = None
    samples: np.ndarray = None       # surface points, F
    normals: np.ndarray = None
    head_centre: np.ndarray = None
    head_radius: float = 0.0
    greater: np.ndarray = None
    lesser: np.ndarray = None
    lowest: float = 0.0
    cut: tuple = ()                  # osteotomy: (point, normal, lateral limit x)


def cached_distance(key, make):
    """Distance grids take seconds: keep them beside the build, by content, to go when that goes."""
    os.makedirs(KEPT_GRIDS, exist_ok=True)
    path = os.path.join(KEPT_GRIDS, hashlib.sha256(key.encode()).hexdigest()[:24] + ".npz")
    if os.path.exists(path):
        with np.load(path) as data:
            return surface.Grid(data["values"], data["origin"], float(data["h"]))
    grid = make()
    np.savez(path + f".{os.getpid()}.npz", values=grid.values, origin=grid.origin, h=grid.h)
    os.replace(path + f".{os.getpid()}.npz", path)
    return grid


def shaft_line(points, z_of, low, high):
    """Point and direction of the line through the mid-points of the outline between two levels along z_of."""
    lev = z_of(points)
    rows = []
    for z in np.arange(low, high, 2.0):
        ring = points[np.abs(lev - z) < 1.5]
        if len(ring) > 20:
            rows.append(0.5 * (ring.min(0) + ring.max(0)))
    rows = np.array(rows)
    mean = rows.mean(0)
    d = np.linalg.svd(rows - mean)[2][0]
    return mean, d if d[2] > 0 else -d


def load_femur(folder, subject, residual_anteversion_deg, scale):
    """Femur of a subject in its own frame F, left or right alike. The x axis is chosen so that the neck is anteverted
    by `residual_anteversion_deg` out of the frontal plane xz: that is how far the leg was not turned in for the film."""
    src = sources.femur(folder, subject)
    p, n = surface.smooth_samples(src.points * scale, src.faces, 5 if len(src.faces) < 10000 else 3)
    lt, head = src.lesser * scale, src.head_centre * scale
    axis = np.array([0.0, 0, 1])
    for _ in range(3):
        mean, axis = shaft_line(p, lambda q: (q - lt) @ axis, -100.0, -20.0)
    neck = head - mean
    neck -= axis * (neck @ axis)
    neck /= np.linalg.norm(neck)
    front = np.cross(axis, neck)
    a = np.radians(residual_anteversion_deg)
    x = np.cos(a) * neck - np.sin(a) * front
    frame = np.stack([x, np.cross(axis, x), axis])
    origin = mean + axis * ((lt - mean) @ axis)
    femur_of = lambda q: (q - origin) @ frame.T
    p, n = femur_of(p), n @ frame.T
    lowest = -195.0
    keep = p[:, 2] > lowest - 15
    p, n = p[keep], n[keep]
    low, high = np.append(p[:, :2].min(0) - 6, lowest), p.max(0) + 6
    key = f"femur 3 {src.key} {residual_anteversion_deg:.6f} {scale:.6f}"
    outer = cached_distance(key, lambda: surface.signed_distance(p, n, low, high, H_SDF, BAND))
    return Femur(outer, samples=p, normals=n, head_centre=femur_of(head), head_radius=src.head_radius * scale,
                 greater=femur_of(src.greater * scale), lesser=femur_of(lt), lowest=lowest)


def axes_of(grid):
    return [grid.origin[k] + grid.h * np.arange(grid.values.shape[k]) for k in range(3)]


def add_canal(femur, rng, cortex_shaft, cortex_rim):
    """Cortex depth: `cortex_shaft` from 60 mm below the lesser trochanter on, down to `cortex_rim` 25 mm above it,
    1.6 times thicker on the medial side around the lesser trochanter (the calcar)."""
    x, y, z = (a.astype(np.float32) for a in axes_of(femur.outer))
    level = np.interp(z, [-100, -60, 0, 25, 60], [cortex_shaft, 0.92 * cortex_shaft, 0.55 * cortex_shaft + 0.4, cortex_rim, cortex_rim])
    calcar = np.exp(-((z - 5) / 28) ** 2)[None, :] * 0.6 / (1 + np.exp(-(x - 8) / 3))[:, None]
    rough = ndimage.gaussian_filter(rng.normal(0, 1, femur.outer.values.shape).astype(np.float32), 2.5)
    rough *= 0.05 * level[None, None, :] / rough.std()
    depth = level[None, None, :] * (1 + calcar[:, None, :]) + rough
    femur.inner = surface.Grid((femur.outer.values + depth).astype(np.float32), femur.outer.origin, H_SDF)


def spongy_texture(shape, rng, h):
    """Unit-variance random field: plates along z, plates along two oblique directions and a fine isotropic part."""
    def streaks(sigma):
        f = ndimage.gaussian_filter(rng.normal(0, 1, shape).astype(np.float32), [s / h for s in sigma], truncate=2.5)
        return f / f.std()

    def sheared(f, slope):
        z = np.arange(shape[2])
        out = np.empty_like(f)
        for k in z:
            out[:, :, k] = np.roll(f[:, :, k], int(round(slope * (k - shape[2] / 2))), axis=0)
        return out
    total = streaks((0.5, 2.2, 3.4)) + 0.9 * sheared(streaks((0.5, 2.0, 3.2)), 0.55) \
        + 0.7 * sheared(streaks((0.5, 1.6, 2.6)), -0.8) + 0.9 * streaks((2.2, 2.2, 3.2)) + 0.6 * streaks((0.4, 0.9, 1.4))
    return total / total.std()


def add_spongy(femur, rng, level, contrast):
    """Cancellous density on a 0.6 mm grid above z = -70: dense near the cortex and under the cut, thin in the middle,
    fading into the marrow canal; multiplied by the texture."""
    h = 0.6
    low = np.array([femur.outer.origin[0], femur.outer.origin[1], -70.0])
    high = femur.outer.origin + femur.outer.h * (np.array(femur.outer.values.shape) - 1)
    shape = np.ceil((high - low) / h).astype(int)
    tex = spongy_texture(tuple(shape), rng, h)
    grid = surface.Grid(tex, low, h)
    x, y, z = axes_of(grid)
    pts = np.stack(np.meshgrid(x, y, z, indexing="ij"), -1).astype(np.float32)
    deep = -femur.inner.at(pts).astype(np.float32)
    fade = np.interp(z, [-60, -15, 15, 40], [0.0, 0.35, 0.8, 1.0]).astype(np.float32)
    rim = np.exp(-np.maximum(deep, 0) / 3.5)
    mean = level * (fade[None, None, :] * (0.75 + 0.5 * rim) + 0.35 * rim * (1 - fade)[None, None, :])
    grid.values = np.clip(mean * (1 + contrast * tex), 0.0, 0.9).astype(np.float32)
    femur.spongy = grid


def osteotomy(femur, rng, stem, f_from_s, level):
    """Plane of the neck cut: 42 to 52 degrees to the shaft, meeting the medial outline `level` mm above the lesser
    trochanter; a second, vertical cut beside the stem's shoulder keeps the greater trochanter."""
    p = medial_outline(femur, level)
    a = np.radians(rng.uniform(42, 52))
    d = np.array([np.sin(a), 0.0, np.cos(a)])
    limit = max(f_from_s(stem.shoulder())[0] + rng.uniform(-2, 3), femur.greater[0] + rng.uniform(8, 11))
    femur.cut = (p, d, limit)


def medial_outline(femur, z):
    """Most medial surface point (F) at a level."""
    ring = femur.samples[(np.abs(femur.samples[:, 2] - z) < 1.5)]
    return ring[np.argmax(ring[:, 0])]


def cut_depth(femur, pts):
    """Negative inside the removed head and neck."""
    if not femur.cut:
        return np.full(np.shape(pts)[:-1], BAND)
    p, d, limit = femur.cut
    return np.maximum(-((pts - p) @ d), limit - pts[..., 0])


def cavity(femur, stem, f_from_s_list, margin):
    """Grid in F, negative where bone has made way for any of the given stem positions."""
    corners = []
    box = np.array([[-stem.lateral(np.array([0.0]))[0] - 6, -14, -stem.length - 4], [stem.offset, 14, 40]])
    for t in f_from_s_list:
        c = np.stack(np.meshgrid(*box.T, indexing="ij"), -1).reshape(-1, 3)
        corners.append(t(c))
    corners = np.concatenate(corners)
    h = 0.6
    low, high = corners.min(0) - 2, corners.max(0) + 2
    shape = np.ceil((high - low) / h).astype(int)
    grid = surface.Grid(np.full(shape, 5.0, np.float32), low, h)
    x, y, z = axes_of(grid)
    for i in range(0, shape[2], 32):
        pts = np.stack(np.meshgrid(x, y, z[i:i + 32], indexing="ij"), -1)
        for t in f_from_s_list:
            d = stem.inside_depth(t.inverse()(pts), margin)
            grid.values[:, :, i:i + 32] = np.minimum(grid.values[:, :, i:i + 32], np.clip(d, -5, 5))
    return grid


def femur_slab(femur, cavity_grid, f_from_w, ys, xs, zs, voxel, marrow, lining=None):
    """Density on a world lattice: cortex 1, cancellous as made (at least `lining`, a grid in F), marrow slightly below
    soft tissue."""
    outer = femur.outer.slab(f_from_w, ys, xs, zs, BAND)
    if outer.min() > voxel:
        return np.zeros_like(outer)
    inner = femur.inner.slab(f_from_w, ys, xs, zs, BAND)
    soft = 1 / voxel
    solid = np.clip(0.5 - outer * soft, 0, 1)
    core = np.clip(0.5 - inner * soft, 0, 1)
    fill = femur.spongy.slab(f_from_w, ys, xs, zs, 0.0) - marrow
    if lining is not None:
        fill = np.maximum(fill, lining.slab(f_from_w, ys, xs, zs, 0.0))
    dense = solid * (1 - core + core * fill)
    if not femur.cut:
        return dense.astype(np.float32)
    gone = np.clip(0.5 - cavity_grid.slab(f_from_w, ys, xs, zs, 5.0) * soft, 0, 1)
    p, d, limit = femur.cut
    iy, iz, ix = np.meshgrid(ys, zs, xs, indexing="ij", sparse=True)
    lin, sh = f_from_w.linear, f_from_w.shift
    n = d @ lin
    cut = -((n[0] * ix + n[1] * iy + n[2] * iz) + (sh - p) @ d)
    cut = np.maximum(cut, limit - (lin[0, 0] * ix + lin[0, 1] * iy + lin[0, 2] * iz + sh[0]))
    gone = np.maximum(gone, np.clip(0.5 - cut * soft, 0, 1))
    return (dense * (1 - gone)).astype(np.float32)


@dataclass
class Pelvis:
    """Half of the pelvis from its lateral side to the mid-plane x = middle; the other half is its mirror image."""
    outer: surface.Grid
    inner: surface.Grid = None
    spongy: surface.Grid = None
    middle: float = 0.0


def load_pelvis(folder, subject, scale):
    """Half a pelvis, origin at the hip centre. The grid is made once a subject, at scale 1."""
    src = sources.pelvis(folder, subject)

    def make():
        both = [surface.smooth_samples(p, f, 4 if len(f) < 12000 else 2) for p, f in src.parts]
        p, n = np.concatenate([b[0] for b in both]), np.concatenate([b[1] for b in both])
        keep = p[:, 0] < src.middle + 12
        p, n = p[keep], n[keep]
        low, high = p.min(0) - 8, p.max(0) + 8
        high[0] = src.middle
        return surface.signed_distance(p, n, low, high, H_PELVIS, BAND)
    grid = cached_distance(f"pelvis 3 {src.key}", make)
    outer = surface.Grid(grid.values * np.float32(scale), grid.origin * scale, grid.h * scale)
    last = int(np.floor((src.middle - grid.origin[0]) / grid.h + 1e-6))
    outer.values = outer.values[:last + 1]
    return Pelvis(outer, middle=outer.origin[0] + (last + 0.5) * outer.h)


def fill_pelvis(pelvis, rng, cortex, level, contrast):
    pelvis.inner = surface.Grid(pelvis.outer.values + np.float32(cortex), pelvis.outer.origin, pelvis.outer.h)
    shape = pelvis.outer.values.shape
    f = ndimage.gaussian_filter(rng.normal(0, 1, shape).astype(np.float32), 0.6)
    g = ndimage.gaussian_filter(rng.normal(0, 1, shape).astype(np.float32), 2.5)
    tex = f / f.std() + 0.8 * g / g.std()
    pelvis.spongy = surface.Grid(np.clip(level * (1 + contrast * tex), 0, 0.9).astype(np.float32), pelvis.outer.origin, pelvis.outer.h)


def mirrored(grid):
    """Grid and its mirror image about the plane half a step behind its last x sample, as one grid."""
    return surface.Grid(np.concatenate([grid.values, grid.values[::-1]]), grid.origin, grid.h)


def pelvis_slab(full, p_from_w, ys, xs, zs, voxel, cups):
    """`full` = (outer, inner, spongy) grids; `cups` = [(centre in W, radius)] reamed away."""
    outer = full[0].slab(p_from_w, ys, xs, zs, BAND)
    if outer.min() > voxel:
        return np.zeros_like(outer)
    soft = 1 / voxel
    solid = np.clip(0.5 - outer * soft, 0, 1)
    core = np.clip(0.5 - full[1].slab(p_from_w, ys, xs, zs, BAND) * soft, 0, 1)
    c = solid * (1 - core + core * full[2].slab(p_from_w, ys, xs, zs, 0.0))
    iy, iz, ix = np.meshgrid(ys, zs, xs, indexing="ij", sparse=True)
    for centre, radius in cups:
        r = np.sqrt((ix - centre[0]) ** 2 + (iy - centre[1]) ** 2 + (iz - centre[2]) ** 2) - radius
        c *= np.clip(0.5 + r * soft, 0, 1)
    return c.astype(np.float32)
