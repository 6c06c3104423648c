#!/usr/bin/python3
"""What two films of a hip show when they are taken off each other beside the stem, against truth.

usage: flank_difference.py CASE [CASE ...]      (folders with truth.json and DICOM films, head up)

A study, not a part of the program (docs/lucency.md, "Two films taken off each other"). The stem is laid on the film by
truth.json, its flanks by the steepest fall nearby; places of both films that lie as far from the tip are compared. A film's
greys have a gain of their own: it is the median slope between both films from 3 to 8 mm outside of the metal. What all
places have in common is processing (halo); it is taken off as their median. For each zone and each pair of true widths in it,
the mean difference in per cent of the step to the metal, every 0.4 mm from 0.3 mm outwards, and `band`: its least mean over
0.6 mm within 0.3 to 3 mm, less its mean from 3.6 to 4.8 mm. Needs python3-numpy, python3-scipy, python3-pydicom.
"""
import json
import os
import sys

import numpy as np
import pydicom
from scipy import ndimage

X = np.round(np.arange(-4, 10.01, 0.1), 2)   # mm outwards from the metal's edge
ACROSS = np.arange(0, 36, 0.1)               # mm from the stem axis
OUTSIDE = (X > 3) & (X < 8)
SEARCH_MM = 3.0       # about the expected half width
ENTRY_MM = 14.0       # below the shoulder, where truth.json has no lines
FEWEST = 12           # places of a zone


def read(path):
    film = pydicom.dcmread(path)
    grey = film.pixel_array.astype(np.float32)
    return grey.max() - grey if film.PhotometricInterpretation == "MONOCHROME1" else grey


def stem_frame(film):
    """(tip, distal, medial, mm per pixel, length in bone, third of it) on a film, by its truth."""
    points, mm = film["points_px"], film["mm_per_px"]
    a, b = np.array(film["stem_axis_px"])
    distal = (b - a) / np.linalg.norm(b - a)
    tip = np.array(points["stem_tip"])
    medial = np.array([distal[1], -distal[0]])
    if (np.array(film["head"]["centre_px"]) - tip) @ medial < 0:
        medial = -medial
    if "lucency" in film:
        length = (tip - np.array(film["lucency"]["entry_px"])) @ distal * mm
        return tip, distal, medial, mm, length, film["lucency"]["zones"][0]["length_mm"]
    length = (tip - np.array(points["stem_shoulder"])) @ distal * mm - ENTRY_MM
    return tip, distal, medial, mm, length, length / 3


def expected_width(truth, side, up):
    """Half width of the stem `up` mm above its tip: the other simulator's stem as drawn, else roughly."""
    stem = truth["case"].get("stem", {}) if isinstance(truth.get("case"), dict) else {}
    if "tip_width" not in stem:
        return 8 + 0.03 * up
    s = stem["length"] - up
    flare = "lateral_flare" if side < 0 else "medial_flare"
    u = np.clip((stem[flare + "_length"] - s) / stem[flare + "_length"], 0, 1)
    straight = 0.5 * stem["tip_width"] + (stem["length"] - max(s, 0)) * np.tan(np.radians(stem["taper_deg"]))
    return straight + stem[flare] * u ** (1.6 if side < 0 else 2)


def true_width(film, zone, below_border):
    zones = film["lucency"]["zones"] if "lucency" in film else []
    return max([line["width_mm"] for z in zones if z["zone"] == zone for line in z["lines"]
                if line["interface"] == "stem_bone" and line["from_mm"] <= below_border <= line["to_mm"]], default=0.0)


def edges(image, expected):
    """Distance of the metal's edge from the axis in each row: the steepest fall, median over 4 mm."""
    smooth = ndimage.gaussian_filter1d(image, 2, axis=1)
    fall, at = smooth[:, :-4] - smooth[:, 4:], ACROSS[2:-2]
    near = np.abs(at[None] - expected[:, None]) < SEARCH_MM
    return ndimage.median_filter(at[np.argmax(np.where(near, fall, -np.inf), axis=1)], 17)


def profiles(folder, truth, film):
    """{(side, mm above the tip): (zone, true width, profile)} of both flanks."""
    grey = read(os.path.join(folder, film["file"]))
    tip, distal, medial, mm, length, third = stem_frame(film)
    up, out = np.arange(3, length - 1, 0.25), {}
    for side in (-1, 1):
        p = tip - up[:, None, None] * distal / mm + side * ACROSS[None, :, None] / mm * medial
        image = ndimage.map_coordinates(grey, [p[..., 1].ravel(), p[..., 0].ravel()], order=1).reshape(p.shape[:2])
        image = ndimage.uniform_filter1d(image, 9, axis=0)
        edge = edges(image, np.array([expected_width(truth, side, u) for u in up]))
        for i in range(0, len(up), 2):
            number = int((length - up[i]) // third)
            if number > 2 or edge[i] < 2:
                continue
            zone = number + 1 if side < 0 else 7 - number
            width = true_width(film, zone, length - up[i] - number * third)
            out[side, round(2 * up[i]) / 2] = zone, width, np.interp(edge[i] + X, ACROSS, image[i])
    return out


def difference(then, now):
    """(gain, common, own) of profiles, rows are places: what all have in common, and what each has beside it; per cent of
    the step to the metal."""
    a = then[:, OUTSIDE] - then[:, OUTSIDE].mean(1, keepdims=True)
    b = now[:, OUTSIDE] - now[:, OUTSIDE].mean(1, keepdims=True)
    gain = np.median((a * b).sum(1) / (a * a).sum(1))
    left = now - gain * then
    left -= np.median(left[:, OUTSIDE], axis=1)[:, None]
    step = now[:, X < -1.5].mean(1) - np.median(now[:, OUTSIDE], axis=1)
    left *= 100 / step[:, None]
    common = np.median(left, axis=0)
    return gain, common, left - common


def band(mean):
    dark = np.convolve(mean[(X > 0.25) & (X < 3.05)], np.ones(6) / 6, "valid").min()
    return dark - mean[(X > 3.55) & (X < 4.85)].mean()


def report(folder, truth, then, now):
    a, b = (profiles(folder, truth, film) for film in (then, now))
    places = [k for k in b if k in a]
    gain, common, own = difference(np.array([a[k][2] for k in places]), np.array([b[k][2] for k in places]))
    row = lambda v: " ".join(f"{x:4.0f}" for x in v[43:90:4])
    print(f"{folder} {now['file']}: gain {gain:.2f}, in common {row(common)}")
    kinds = [(b[k][0], a[k][1], b[k][1]) for k in places]
    for kind in sorted(set(kinds)):
        rows = own[[i for i, k in enumerate(kinds) if k == kind]]
        if len(rows) >= FEWEST:
            mean = rows.mean(0)
            print(f"  zone {kind[0]}  {kind[1]:.2f} -> {kind[2]:.2f} mm, {len(rows):3d} places | {row(mean)} | band {band(mean):6.1f}")


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    for folder in sys.argv[1:]:
        with open(os.path.join(folder, "truth.json"), encoding="ascii") as stream:
            truth = json.load(stream)
        for film in truth["films"][1:]:
            report(folder, truth, truth["films"][0], film)


if __name__ == "__main__":
    main()
