"""Femora and pelves drawn from formulas: another anatomy than the meshes' people, and one that needs no file.

A femur is a flat, slightly bowed cylinder that widens towards the top, with capsules and ellipsoids for neck, head and
trochanters, melted into one another. Shapes are drawn anew for every subject; ranges: house choice, about those of adults.
Frames and types are those of bones.py.
"""
from dataclasses import dataclass, fields
import hashlib

import numpy as np
from scipy import ndimage

import bones
import surface

PREFIX = "drawn-"
LOWEST = -195.0     # of a femur, mm
FINER = 3           # surface points a grid step: the outline of a trochanter is read off them


@dataclass
class Shape:
    """mm but for angle, bow and flatness. The lesser trochanter's tip lies at level 0, x is medial in the plane of the neck."""
    shaft: float            # radius at the isthmus
    top: float              # radius between the trochanters
    flat: float             # depth over width
    bow: float              # 1/mm
    neck: float             # radius
    head: float             # radius
    neck_shaft_deg: float
    offset: float           # of the head's centre
    head_level: float
    greater_x: float
    greater_y: float
    greater_level: float
    greater_size: float
    lesser_x: float
    lesser_y: float
    lesser_size: float

    def head_centre(self):
        return np.array([self.offset, 0.0, self.head_level])


RANGES = {"shaft": (12.5, 16.5), "top": (17, 22), "flat": (0.85, 1.0), "bow": (0, 6e-4), "neck": (14, 17.5), "head": (21, 26),
          "neck_shaft_deg": (120, 138), "offset": (36, 50), "head_level": (44, 56), "greater_x": (-26, -19), "greater_y": (-12, 0),
          "greater_level": (40, 52), "greater_size": (9, 13), "lesser_x": (4, 12), "lesser_y": (-22, -17), "lesser_size": (5, 10)}
UNSCALED = {"flat", "bow", "neck_shaft_deg"}


def subject(seed, number):
    return f"{PREFIX}{seed}-{number}"


def is_drawn(name):
    return name.startswith(PREFIX)


def shape_of(name, scale):
    """The same for the same name, whatever else was drawn."""
    rng = np.random.default_rng(int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "little"))
    values = {f.name: float(rng.uniform(*RANGES[f.name])) for f in fields(Shape)}
    return Shape(**{k: v if k in UNSCALED else v * scale for k, v in values.items()})


def melted(a, b, reach):
    """Union of two bodies given by their distances, rounded where they meet within `reach` (polynomial smooth minimum)."""
    h = np.clip(0.5 + 0.5 * (b - a) / reach, 0, 1)
    return b * (1 - h) + a * h - reach * h * (1 - h)


def capsule(p, a, b, radius_a, radius_b):
    a, b = np.asarray(a, float), np.asarray(b, float)
    d = b - a
    t = np.clip(((p - a) @ d) / (d @ d), 0, 1)
    return np.linalg.norm(p - a - t[..., None] * d, axis=-1) - (radius_a + (radius_b - radius_a) * t)


def ellipsoid(p, centre, half):
    """Distance to first order."""
    rel, half = p - np.asarray(centre, float), np.asarray(half, float)
    k = np.linalg.norm(rel / half, axis=-1)
    slope = np.linalg.norm(rel / half ** 2, axis=-1)
    return k * (k - 1) / np.maximum(slope, 1e-9)


def femur_depth(shape, p):
    """Signed distance of points (..., 3) in the neck's frame, to first order, negative inside."""
    s, z = shape, p[..., 2]
    y = (p[..., 1] - s.bow * np.minimum(z + 20, 0) ** 2) / s.flat
    radius = np.interp(z, [-220, -60, -10, 10, 30, 60], [1.08 * s.shaft, s.shaft, 1.1 * s.shaft, 1.35 * s.shaft, s.top, s.top])
    middle = np.interp(z, [-30, 0, 35], [0, 1.5, -2])
    d = np.maximum(np.hypot(p[..., 0] - middle, y) - radius, z - (s.greater_level - 14))
    lean = np.radians(s.neck_shaft_deg - 90)
    head = s.head_centre()
    base = head - 45 * np.array([np.cos(lean), 0, np.sin(lean)])
    d = melted(d, capsule(p, base, head, 1.2 * s.neck, 0.95 * s.neck), 8)
    g = s.greater_size
    d = melted(d, ellipsoid(p, [0.9 * s.greater_x, s.greater_y, s.greater_level - 18], [1.3 * g, 1.7 * g, 22]), 7)
    d = melted(d, ellipsoid(p, [s.greater_x, s.greater_y - 3, s.greater_level - 8], [0.8 * g, g, 9]), 4)
    root = [0.6 * s.lesser_x, 0.55 * s.lesser_y, 2]
    d = melted(d, capsule(p, root, [s.lesser_x, s.lesser_y, 0], 1.6 * s.lesser_size, s.lesser_size), 6)
    return melted(d, np.linalg.norm(p - head, axis=-1) - s.head, 3)


def grid_of(depth, low, high, h):
    """depth(points) on a lattice, one layer of x at a time."""
    shape = np.ceil((np.asarray(high) - low) / h).astype(int) + 1
    x, y, z = (low[k] + h * np.arange(shape[k]) for k in range(3))
    values = np.empty(shape, np.float32)
    for i, at in enumerate(x):
        values[i] = depth(np.stack(np.meshgrid([at], y, z, indexing="ij"), -1))[0]
    return surface.Grid(values, np.asarray(low, float), h)


def surface_of(grid):
    """Points where a finer lattice's edges cross zero, and the unit normals there."""
    fine = ndimage.zoom(grid.values, FINER, order=1)
    step = grid.h * (np.array(grid.values.shape) - 1) / (np.array(fine.shape) - 1)
    points = surface.crossings(fine, grid.origin, step)
    slope = np.stack([surface.Grid(g, grid.origin, grid.h).at(points) for g in np.gradient(grid.values, grid.h)], -1)
    return points, slope / np.linalg.norm(slope, axis=1, keepdims=True)


def farthest(points, near, reach, direction):
    close = points[np.linalg.norm(points - near, axis=1) < reach]
    return close[np.argmax(close @ direction)]


def load_femur(name, residual_anteversion_deg, scale):
    """As bones.load_femur(): the neck leaves the frontal plane by the residual anteversion."""
    shape = shape_of(name, scale)
    a = np.radians(residual_anteversion_deg)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    high = [shape.offset + shape.head + 8, 48, shape.head_level + shape.head + 8]
    grid = grid_of(lambda p: femur_depth(shape, p @ turn), np.array([-60, -48, LOWEST]), high, bones.H_SDF)
    points, normals = surface_of(grid)
    place = lambda p: turn @ np.asarray(p, float)
    greater = farthest(points, place([shape.greater_x, shape.greater_y - 3, shape.greater_level]), 25, np.array([0, 0, 1.0]))
    tip = place([shape.lesser_x, shape.lesser_y, 0])
    lesser = farthest(points, tip, 16, tip / np.linalg.norm(tip))
    down = np.array([0, 0, lesser[2]])
    outer = surface.Grid(np.clip(grid.values, -bones.BAND, bones.BAND), grid.origin - down, grid.h)
    return bones.Femur(outer, samples=points - down, normals=normals, head_centre=place(shape.head_centre()) - down,
                       head_radius=shape.head, greater=greater - down, lesser=lesser - down, lowest=LOWEST)


def pelvis_depth(p, middle):
    """Socket, ilium, pubis, ischium with its ramus, half a sacrum; origin at the hip's centre."""
    d = np.maximum(np.linalg.norm(p - [4, 0, 4.0], axis=-1) - 33, 27 - np.linalg.norm(p, axis=-1))
    d = np.maximum(d, -(p @ np.array([0.7, 0.1, 0.7]) + 8))
    d = melted(d, ellipsoid(p, [28, -15, 75], [14, 40, 60]), 8)
    d = melted(d, capsule(p, [20, 18, -6], [middle - 2, 36, -32], 9, 8), 6)
    d = melted(d, capsule(p, [12, -20, -15], [36, -30, -78], 12, 13), 6)
    d = melted(d, capsule(p, [36, -30, -78], [middle - 4, 32, -48], 9, 7), 6)
    return melted(d, ellipsoid(p, [middle, -48, 62], [38, 14, 55]), 5)


def load_pelvis(scale):
    """As bones.load_pelvis(); one shape for all."""
    middle = 92.0
    grid = grid_of(lambda p: pelvis_depth(p, middle), np.array([-45, -75, -100.0]), [middle, 60, 130], bones.H_PELVIS)
    last = int(np.floor((middle - grid.origin[0]) / grid.h + 1e-6))
    h = grid.h * scale
    outer = surface.Grid(np.clip(grid.values[:last + 1] * np.float32(scale), -bones.BAND, bones.BAND), grid.origin * scale, h)
    return bones.Pelvis(outer, middle=outer.origin[0] + (last + 0.5) * h)
