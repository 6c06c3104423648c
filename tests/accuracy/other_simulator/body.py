"""Soft parts: trunk, thighs, buttock fat and gas as smooth implicit bodies, integrated along coarse rays."""
from dataclasses import dataclass, field

import numpy as np

import project


@dataclass
class Ellipsoid:
    centre: np.ndarray      # W
    half: np.ndarray        # semi-axes
    turn: np.ndarray        # rotation, rows = axes

    def chord(self, cam, dirs):
        o = (self.turn @ (cam.source - self.centre)) / self.half
        d = (dirs @ self.turn.T) / self.half
        a = np.einsum("...i,...i", d, d)
        b = d @ o
        disc = b * b - a * (o @ o - 1)
        return 2 * np.sqrt(np.maximum(disc, 0)) / a


@dataclass
class Thigh:
    """Elliptic cone about a line: `point` at the level of the lesser trochanter, `axis` pointing up (W)."""
    point: np.ndarray
    axis: np.ndarray
    half_width: float
    half_depth: float
    taper: float            # share lost per 100 mm going down

    def depth(self, p):
        rel = p - self.point
        t = rel @ self.axis
        off = rel - t[..., None] * self.axis
        size = 1 + self.taper * np.clip(t, -300, 60) / 100
        r = np.sqrt((off[..., 0] / self.half_width) ** 2 + (off[..., 1] / self.half_depth) ** 2)
        return (r - size) * self.half_width


@dataclass
class Body:
    """Sizes in mm, in W."""
    mid_x: float
    mid_y: float
    trunk: tuple            # half width, half depth
    crotch_z: float
    thighs: list
    fat: float
    back_y: float           # table
    pannus: float           # belly bulge of the obese
    lumps: list = field(default_factory=list)  # (Ellipsoid, share of muscle turned to fat; -1: to gas)

    def depth(self, p):
        """Signed distance (approximately), negative inside the skin."""
        x, y, z = p[..., 0], p[..., 1], p[..., 2]
        a, b = self.trunk
        belly = b + self.pannus * np.exp(-((z - 110) / 90) ** 2)
        wide = a * (1 - 0.12 * np.exp(-((z - 130) / 70) ** 2))
        r = (np.abs((x - self.mid_x) / wide) ** 2.4 + np.abs((y - self.mid_y) / belly) ** 2.4) ** (1 / 2.4)
        trunk = (r - 1) * np.minimum(wide, belly)
        floor = self.crotch_z + ((x - self.mid_x) / 120) ** 2 * 25 + ((y - 10) / 70) ** 2 * 35
        out = _smooth_max(trunk, floor - z, 70.0)
        for thigh in self.thighs:
            leg = _smooth_max(thigh.depth(p), z - 50, 60.0)
            out = -_smooth_max(-out, -leg, 35.0)
        return _smooth_max(out, y - self.back_y, 12.0)

    def paths(self, cam, step):
        """Muscle and fat path lengths at every `step`-th pixel."""
        cols, rows = np.arange(0, cam.cols + step, step), np.arange(0, cam.rows + step, step)
        dirs = project.ray_directions(cam, cols, rows)
        near = cam.sid - cam.ofd - 230
        ds = 5.0
        muscle = np.zeros(dirs.shape[:2])
        fat = np.zeros_like(muscle)
        for t in np.arange(near, cam.sid - cam.ofd + 230, ds):
            f = self.depth(cam.source + t * dirs)
            skin = np.clip(0.5 - f / ds, 0, 1)
            core = np.clip(0.5 - (f + self.fat) / (2 * ds), 0, 1)
            fat += ds * skin * (1 - core)
            muscle += ds * skin * core
        for lump, change in self.lumps:
            # change > 0: fat replaces muscle; change < 0: gas replaces both (fat path as bookkeeping)
            c = np.minimum(lump.chord(cam, dirs), muscle) * abs(change)
            muscle -= c
            if change > 0:
                fat += c
        return muscle, fat


def _smooth_max(a, b, k):
    h = np.clip(0.5 + 0.5 * (a - b) / k, 0, 1)
    return b + (a - b) * h + k * h * (1 - h)


def random_lumps(rng, hip, medial_sign, thigh_line, gas):
    """Fat planes between muscles along the thigh; bowel gas over the pelvis."""
    out = []
    q, d = thigh_line
    for _ in range(14):
        t = rng.uniform(-230, 40)
        c = q + t * d + np.array([rng.normal(0, 38), rng.normal(0, 38), 0])
        out.append((Ellipsoid(c, np.array([rng.uniform(2, 5), rng.uniform(10, 30), rng.uniform(30, 80)]), _turn(rng, 0.35)), 0.8))
    for _ in range(gas):
        c = hip + np.array([medial_sign * rng.uniform(35, 140), rng.uniform(-70, 10), rng.uniform(20, 140)])
        out.append((Ellipsoid(c, rng.uniform([8, 8, 6], [22, 18, 16]), _turn(rng, 0.8)), -1.0))
    return out


def _turn(rng, spread):
    q, r = np.linalg.qr(np.eye(3) + rng.normal(0, spread, (3, 3)))
    return q * np.sign(np.diag(r))
