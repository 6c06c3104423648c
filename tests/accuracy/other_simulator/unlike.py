"""Hips that differ more than the usual draws do: short to long stems, collars, narrow to wide heads and necks, stems of
cobalt-chromium, sockets of bare polyethylene in cement with a wire to mark their rim, and heads that turn in a shell of
their own. All ranges: house choice."""
import numpy as np

import implant

SCALE = (0.85, 1.12)          # of the bones
FILL = (0.60, 0.95)           # share of the canal that the stem fills
HEADS = [22.2, 26, 28, 32, 36, 40, 44, 48]
LENGTHS = {"short": (85, 110), "usual": (110, 160), "long": (160, 195)}


def blank_stem(rng, femur, version):
    """As design's, with wider ranges."""
    kind = str(rng.choice(list(LENGTHS), p=[0.35, 0.4, 0.25]))
    offset = np.clip(femur.head_centre[0] / np.cos(np.radians(version)) + rng.normal(0, 3.5), 30, 60)
    return implant.StemShape(
        length=rng.uniform(*LENGTHS[kind]), tip_width=10, taper_deg=1.2, lateral_flare=rng.uniform(0.5, 9.0),
        lateral_flare_length=rng.uniform(30, 50), medial_flare=1.0, medial_flare_length=rng.uniform(40, 80),
        tip_thickness=rng.uniform(7, 9), top_thickness=rng.uniform(12, 15), round_tip=bool(rng.random() < 0.5),
        shoulder_flat=rng.uniform(4, 9), face_deg=40, ccd_deg=rng.uniform(120, 138), neck_origin=rng.uniform(22, 29),
        offset=offset, neck_radius=rng.uniform(4.8, 7.2), head_radius=float(rng.choice(HEADS)) / 2,
        corner_radius=rng.uniform(1.5, 3.5))


def socket(rng, femur, stem):
    """A cup of one of three kinds. A head that turns in its own shell is no wider than a native one."""
    kind = str(rng.choice(["shell", "wire", "own"], p=[0.6, 0.2, 0.2]))
    tilt = rng.uniform(30, 60), rng.uniform(0, 35)
    if kind == "own" and stem.head_radius <= 14:
        outer = np.clip(femur.head_radius, stem.head_radius + 5, 30)
        return implant.Cup(outer, rng.uniform(1.2, 2.5), *tilt, 0, "own")
    thick = rng.uniform(2.0, 5.5)
    outer = np.clip(max(femur.head_radius + rng.uniform(1.5, 3.5), stem.head_radius + 2.5 + thick), 22, 36)
    if kind == "wire" and stem.head_radius <= 18:
        return implant.Cup(outer, rng.uniform(1.5, 4.0), *tilt, 0, "wire")
    return implant.Cup(outer, thick, *tilt, int(rng.choice([0, 0, 1, 2])))


def collar(rng, stem):
    """A plate at the medial end of the stem's upper face, mesh in S."""
    s = np.arange(0.0, 60.0, 0.1)
    body = stem._straight(s) + stem.medial_flare * np.clip((stem.medial_flare_length - s) / stem.medial_flare_length, 0, 1) ** 2
    k = int(np.argmax(stem._face(s) >= body))
    slope = np.radians(stem.face_deg)
    along, up = np.array([np.cos(slope), 0.0, -np.sin(slope)]), np.array([np.sin(slope), 0.0, np.cos(slope)])
    reach, half = rng.uniform(6, 11), rng.uniform(5, 8)
    a = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None]
    centre = np.array([body[k], 0, -s[k]]) - 2.0 * along
    ring = centre + reach * np.cos(a) * along + half * np.sin(a) * np.array([0, 1.0, 0])
    return implant._loft(np.stack([ring - 1.25 * up, ring + 1.25 * up]))
