"""Random but plausible hips: which bone, which stem, where it sits, how it migrates."""
from dataclasses import dataclass, field

import numpy as np

import bones
import drawn
import implant
import unlike
from frames import Affine, about, rotation, translation


@dataclass
class Hip:
    """A replaced hip (or, with stem None, a native one)."""
    side: str
    femur: bones.Femur
    adduction: float                    # of the shaft in the neutral pose, deg
    stem: implant.StemShape = None
    cup: implant.Cup = None
    f_from_s: Affine = None             # seat at surgery
    head_material: str = "cocr"
    stem_material: str = "ti64"
    collar: tuple = None                # mesh, S
    screws: list = field(default_factory=list)   # meshes, pelvis frame of this side
    wires: list = field(default_factory=list)    # meshes, F

    def head_in_f(self, f_from_s):
        return self.femur.head_centre if self.stem is None else f_from_s(self.stem.head_centre)


def canal_width(femur, f_from_s, s):
    """Free room (lateral, medial) beside the stem axis at depth s, in the plane of the stem, mm."""
    x = np.arange(-45.0, 60.0, 0.25)
    pts = f_from_s(np.stack([x, np.zeros_like(x), np.full_like(x, -s)], -1))
    free = femur.inner.at(pts, outside=5.0) < -0.3
    mid = int(round(45 / 0.25))
    left, right = mid, mid
    while left > 0 and free[left - 1]:
        left -= 1
    while right < len(x) - 1 and free[right + 1]:
        right += 1
    return -x[left], x[right]


def _blank_stem(rng, femur, version):
    length = rng.uniform(112, 165)
    offset = np.clip(femur.head_centre[0] / np.cos(np.radians(version)) + rng.normal(0, 2.5), 34, 52)
    return implant.StemShape(
        length=length, tip_width=10, taper_deg=1.2, lateral_flare=rng.uniform(3.0, 7.0), lateral_flare_length=rng.uniform(30, 50),
        medial_flare=1.0, medial_flare_length=rng.uniform(60, 80), tip_thickness=rng.uniform(7, 9), top_thickness=rng.uniform(12, 15),
        round_tip=bool(rng.random() < 0.6), shoulder_flat=rng.uniform(4, 9), face_deg=40, ccd_deg=rng.uniform(126, 134),
        neck_origin=rng.uniform(22, 29), offset=offset, neck_radius=rng.uniform(5.5, 6.6),
        head_radius=float(rng.choice([28, 32, 32, 36, 36, 40])) / 2, corner_radius=rng.uniform(1.5, 3.5))


def _fit_widths(rng, femur, stem, place, calcar, fill):
    """Widths that fill the share `fill` of the canal; `calcar` = depth s at which the neck cut meets the medial side."""
    low, mid = (0.5 * sum(canal_width(femur, place, s)) for s in (stem.length - 10, 0.55 * stem.length))
    stem.tip_width = float(np.clip(2 * fill * low, 7.5, 17))
    want = np.clip(2 * fill * mid, stem.tip_width + 1, 26)
    stem.taper_deg = float(np.clip(np.degrees(np.arctan((want - stem.tip_width) / (2 * 0.45 * stem.length))), 0.5, 3.0))
    levels = np.array([calcar, calcar + 8, calcar + 16, calcar + 24])
    room = np.array([canal_width(femur, place, s)[1] for s in levels])
    grow = np.clip((stem.medial_flare_length - levels) / stem.medial_flare_length, 0.02, 1) ** 2
    spare = (min(fill + 0.04, 0.96) * room - np.array([stem._straight(s) for s in levels])) / grow
    stem.medial_flare = float(np.clip(spare.min(), 1.0, 26.0))
    side_room = min(canal_width(femur, place, s)[0] for s in (4.0, 10.0))
    stem.lateral_flare = float(min(stem.lateral_flare, max(2.0, side_room - 1.5 - stem._straight(0.0))))
    stem.medial_flare_length = float(stem.medial_flare_length)
    width = stem._straight(calcar) + stem.medial_flare * ((stem.medial_flare_length - calcar) / stem.medial_flare_length) ** 2 \
        + stem._straight(0.0) + stem.lateral_flare - stem.shoulder_flat
    stem.face_deg = float(np.clip(np.degrees(np.arctan(max(calcar - 2.0, 6.0) / width)), 22, 55))


def seat_stem(rng, femur, residual, cut_level, other=False):
    """A stem that fits this femur and its seat f_from_s: neck version, height (head near the native centre), lean of up
    to 2 degrees, axis near the middle of the canal at the tip."""
    version = float(np.clip(residual + rng.normal(-2, 4), 5, 20))
    stem = (unlike.blank_stem if other else _blank_stem)(rng, femur, version)
    level = femur.head_centre[2] + rng.normal(1.5, 2.5) - stem.head_centre[2]
    level = max(level, cut_level + 14)
    place = translation([0, 0, level]) @ rotation(1, rng.uniform(-2, 2)) @ rotation(2, version)
    lat, med = canal_width(femur, place, stem.length - 8)
    shift = 0.5 * (med - lat) * 0.8
    place = translation([shift * np.cos(np.radians(version)) + rng.normal(0, 0.5), rng.normal(0, 0.5), 0]) @ place
    _fit_widths(rng, femur, stem, place, level - cut_level, rng.uniform(*(unlike.FILL if other else (0.72, 0.93))))
    return stem, place


def make_hip(rng, meshes, subject, side, scale, native=False, other=False):
    """`other`: of the wider draws of unlike.py."""
    residual = float(rng.uniform(11, 23))
    if drawn.is_drawn(subject):
        femur = drawn.load_femur(subject, residual, scale)
    else:
        femur = bones.load_femur(meshes, subject, residual, scale)
    bones.add_canal(femur, rng, rng.uniform(5.0, 8.0), rng.uniform(1.2, 1.9))
    bones.add_spongy(femur, rng, rng.uniform(0.18, 0.30), rng.uniform(0.45, 0.75))
    hip = Hip(side, femur, rng.uniform(2, 7))
    if native:
        return hip
    cut_level = rng.uniform(13, 21)
    hip.stem, hip.f_from_s = seat_stem(rng, femur, residual, cut_level, other)
    bones.osteotomy(femur, rng, hip.stem, hip.f_from_s, cut_level)
    hip.cup = unlike.socket(rng, femur, hip.stem) if other else usual_cup(rng, femur, hip.stem)
    hip.head_material = str(rng.choice(["cocr", "alumina"]))
    hip.screws = hip.cup.screw_meshes(rng)
    if other:
        hip.stem_material = str(rng.choice(["ti64", "cocr"], p=[0.75, 0.25]))
        hip.collar = unlike.collar(rng, hip.stem) if rng.random() < 0.4 else None
    return hip


def usual_cup(rng, femur, stem):
    """A metal shell, large enough for the bone's socket and the stem's head."""
    thick = rng.uniform(3.2, 4.5)
    outer = np.clip(max(femur.head_radius + rng.uniform(1.5, 3.5), stem.head_radius + 4.5 + thick), 22, 32)
    return implant.Cup(outer, thick, rng.uniform(36, 50), rng.uniform(10, 25), int(rng.choice([0, 0, 1, 2])))


def cerclage(rng, femur, z):
    """Wire loop on the bone at level z (F), with its twist."""
    ring = femur.samples[np.abs(femur.samples[:, 2] - z) < 1.2]
    centre = ring.mean(0)
    a = np.arctan2(ring[:, 1] - centre[1], ring[:, 0] - centre[0])
    r = np.hypot(*(ring - centre)[:, :2].T)
    t = np.linspace(-np.pi, np.pi, 73)
    reach = np.array([r[np.abs(np.angle(np.exp(1j * (a - v)))) < 0.2].max() for v in t]) + 0.9
    lean = rng.normal(0, 0.06, 2)
    path = np.stack([reach * np.cos(t), reach * np.sin(t), reach * (lean[0] * np.cos(t) + lean[1] * np.sin(t))], -1) + [centre[0], centre[1], z]
    knot_at = path[rng.integers(10, 60)]
    out = (knot_at - centre) * [1, 1, 0]
    out /= np.linalg.norm(out)
    knot = knot_at + np.linspace(0, 7, 8)[:, None] * (0.5 * out + np.array([0, 0, -0.85]))
    return [implant.tube_mesh(path, 0.75), implant.tube_mesh(knot, 1.2)]


def migrations(rng, count, still):
    """Cumulative (subsidence mm, medial mm, tilt deg) per film; zero on the first, settling towards the last."""
    kind = rng.random()
    total = 0.0 if still else rng.uniform(0, 0.5) if kind < 0.3 else rng.uniform(0.5, 3) if kind < 0.75 else rng.uniform(3, 8)
    medial = 0.0 if still else rng.uniform(-1, 1)
    tilt = 0.0 if still else float(np.clip(rng.normal(0, 1.0), -3, 3))
    share = 1 - np.exp(-np.arange(count + 1) * rng.uniform(0.6, 1.6))
    share = share / share[-1] if count else share
    return [(float(total * s), float(medial * s), float(tilt * s)) for s in share]


def moved(stem, f_from_s, migration):
    """Seat in F after (subsidence, medial, tilt) about the stem's reference point, in the frontal plane xz of F."""
    sub, med, tilt = migration
    ref = f_from_s(stem.reference())
    return translation([med, 0, -sub]) @ about(ref, rotation(1, tilt)) @ f_from_s
