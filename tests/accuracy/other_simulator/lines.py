"""Lucent lines beside a stem: where they are, the bone they leave, and their truth on a film.

A line is a layer of soft tissue between the flank of the stem and the bone, `width` mm across it, over a stretch of the
stem axis. Beyond it lies a rim of dense bone, or the compacted bone that a press-fit stem has beside it. Uncemented
stems only.
"""
from dataclasses import dataclass

import numpy as np

import bones
import surface

WIDTHS = [0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0]
LATERAL, MEDIAL = (1, 2, 3), (7, 6, 5)   # zones of a flank, proximal first
TAPER = 2.0    # mm of the axis over which a line runs out
H_BED = 0.4


@dataclass
class Line:
    zone: int
    width: float
    first: float     # share of the zone's length, from its proximal border
    last: float
    rim: float       # thickness of dense bone beyond it, mm; 0: none


@dataclass
class Bed:
    """What the stem lies in on one film."""
    entry: float             # s at which the medial outline passes under the neck cut
    length: float            # shoulder to tip
    lines: list
    compact: float           # thickness of compacted bone, mm
    compact_density: float
    compact_to: float        # s at which it ends

    def third(self):
        return (self.length - self.entry) / 3

    def span(self, line):
        """(from, to) of a line, as s."""
        order = LATERAL if line.zone in LATERAL else MEDIAL
        begin = self.entry + order.index(line.zone) * self.third()
        return begin + line.first * self.third(), begin + line.last * self.third()

    def along(self, s, zones, value):
        """Largest value of the lines of a flank at depth s, running out at their ends over TAPER about the place where
        half of it is left."""
        out = np.zeros_like(s)
        for line in self.lines:
            if line.zone in zones:
                a, b = self.span(line)
                share = np.clip((s - a) / TAPER + 0.5, 0, 1) * np.clip((b - s) / TAPER + 0.5, 0, 1)
                out = np.maximum(out, value(line) * share)
        return out


def entry_of(femur, stem, f_from_s):
    """Depth at which the medial outline of the stem, down the neck's lower edge and on down the flank, passes under the
    plane of the neck cut."""
    d = stem.neck_direction
    below = np.array([d[2], 0.0, -d[0]])
    t = np.arange(stem.offset / d[0], 0.0, -0.1)
    neck = np.array([0.0, 0.0, -stem.neck_origin]) + t[:, None] * d + stem.neck_radius * below
    neck = neck[(neck[:, 2] > 0) | (neck[:, 0] > stem.medial(-neck[:, 2]))]   # not yet in the body
    s = np.arange(0.0, stem.length, 0.1)
    corner = np.argmax(stem.medial(s))
    flank = np.stack([stem.medial(s), np.zeros_like(s), -s], -1)[corner:]
    outline = np.concatenate([neck, flank[flank[:, 2] < neck[-1, 2]]])
    kept = bones.cut_depth(femur, f_from_s(outline)) > 0
    return float(-outline[np.argmax(kept), 2])


def draw(rng, femur, stem, f_from_s, blank):
    """The bed at surgery."""
    lines = []
    for zone in () if blank else (1, 2, 3, 5, 6, 7):
        if rng.random() < 0.6:
            part = rng.choice([1.0, rng.uniform(0.55, 0.9), rng.uniform(0.2, 0.45)])
            first = rng.uniform(0, 1 - part)
            lines.append(Line(zone, float(rng.choice(WIDTHS)), first, first + part, float(rng.uniform(0.6, 1.1) * (rng.random() < 0.6))))
    entry = entry_of(femur, stem, f_from_s)
    bed = Bed(entry, stem.length, lines, float(rng.uniform(1.5, 3.0)), float(rng.uniform(0.3, 0.55)),
              entry + float(rng.uniform(0.75, 1.0)) * (stem.length - entry))
    for line in lines:
        # soft tissue before marrow shows nothing: there a line is one by its rim
        if bed.span(line)[1] > bed.compact_to and line.rim == 0:
            line.rim = 0.8
    return bed


def later(rng, bed, blank):
    """The same bed some time on: most lines wider, some zones with a new one."""
    lines = [Line(x.zone, min(3.5, x.width + (float(rng.uniform(0, 1.5)) if rng.random() < 0.6 else 0.0)), x.first, x.last, x.rim) for x in bed.lines]
    free = [z for z in (1, 2, 3, 5, 6, 7) if z not in [x.zone for x in lines]]
    for zone in () if blank else free:
        if rng.random() < 0.2:
            lines.append(Line(zone, float(rng.choice(WIDTHS[2:])), 0.1, 0.9, 0.8))
    return Bed(bed.entry, bed.length, lines, bed.compact, bed.compact_density, bed.compact_to)


def _grown_depth(stem, bed, p, extra):
    """About the signed distance of points (S) to the stem grown by its lines and by `extra(line)` beyond them. The bed of
    a press-fit stem has the stem's own shape, rounded edges and all: a box about it would leave soft tissue at the edges
    that an oblique ray shows as a line where there is none."""
    s = -p[..., 2]
    slope = lambda f: np.sqrt(1 + ((f(s + 0.5) - f(s - 0.5)) / 1.0) ** 2)   # across the flank, not across the axis
    lateral = bed.along(s, LATERAL, lambda line: line.width + extra(line)) * slope(stem.lateral)
    medial = bed.along(s, MEDIAL, lambda line: line.width + extra(line)) * slope(stem.medial)
    return stem.section_depth(p, lateral, medial)


def bed_grids(stem, f_from_s, bed):
    """(gone, lining) in F: negative where there is no bone, and the least density of what fills the canal there."""
    corners = f_from_s(np.stack(np.meshgrid([-stem.lateral(np.array([0.0]))[0] - 12, stem.offset], [-16, 16], [-stem.length - 6, 40],
                                            indexing="ij"), -1).reshape(-1, 3))
    low, high = corners.min(0) - 2, corners.max(0) + 2
    shape = np.ceil((high - low) / H_BED).astype(int)
    gone = surface.Grid(np.full(shape, 5.0, np.float32), low, H_BED)
    lining = surface.Grid(np.zeros(shape, np.float32), low, H_BED)
    x, y, z = bones.axes_of(gone)
    s_from_f = f_from_s.inverse()
    for i in range(0, shape[2], 32):
        p = s_from_f(np.stack(np.meshgrid(x, y, z[i:i + 32], indexing="ij"), -1))
        # no room about a neck that is sunk below the cut: it would be a wedge of soft tissue beside zone 7, 20 mm long,
        # that any reader would call a line
        wall = np.minimum(_grown_depth(stem, bed, p, lambda line: 0.0), stem.neck_depth(p, 0.0))
        rim = _grown_depth(stem, bed, p, lambda line: line.rim)
        s = -p[..., 2]
        compact = bed.compact_density * np.clip(0.5 - (wall - bed.compact) / H_BED, 0, 1) * np.clip((bed.compact_to - s) / 4, 0, 1)
        compact = np.where((s > 0) & (s < stem.length), compact, 0.0)
        dense = 0.95 * np.clip(0.5 - rim / H_BED, 0, 1)
        gone.values[:, :, i:i + 32] = np.clip(wall, -5, 5)
        lining.values[:, :, i:i + 32] = np.maximum(compact, dense)
    return gone, lining


def truth_of(cam, w_from_s, stem, bed, mm_per_px):
    """`lucency` of truth.json: zone 4 has no lines."""
    at = lambda s: cam.to_pixel(w_from_s(np.array([0, 0, -float(s)])))
    shown = np.linalg.norm(at(stem.length) - at(bed.entry)) * mm_per_px / (stem.length - bed.entry)
    zone_mm = bed.third() * shown
    zones = []
    for zone in range(1, 8):
        length = zone_mm if zone != 4 else stem.tip_width
        rows = [{"interface": "stem_bone", "width_mm": round(x.width, 4), "from_mm": round(x.first * zone_mm, 4), "to_mm": round(x.last * zone_mm, 4),
                 "fraction": round(x.last - x.first, 4), "rim": x.rim > 0} for x in bed.lines if x.zone == zone]
        zones.append({"zone": zone, "length_mm": round(float(length), 4), "lines": rows})
    entry = cam.to_pixel(w_from_s(np.array([float(stem.medial(bed.entry)), 0, -bed.entry])))
    return {"fixation": "uncemented", "entry_px": [round(float(v), 4) for v in entry], "zones": zones}
