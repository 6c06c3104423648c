"""Lucent lines beside a stem: where they are, the bone they leave, and their truth on a film.

A line is a layer of soft tissue between a side of the stem and the bone, `width` mm across it, over a stretch of the
stem axis. Beyond it lies a rim of dense bone, or the compacted bone that a press-fit stem has beside it. Uncemented
stems only. Frontal films have lines at the flanks (zones 1 to 7), lateral ones in front of and behind the stem (8 to 14),
each in a bed of its own: a line of one view shows on no film of the other.
"""
from dataclasses import dataclass, replace

import numpy as np

import bones
import surface

WIDTHS = [0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0]
LATERAL, MEDIAL = (1, 2, 3), (7, 6, 5)   # zones of a flank, proximal first
FRONT, BACK = (8, 9, 10), (14, 13, 12)
SIDES = (LATERAL, MEDIAL, FRONT, BACK)
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
    from_side: bool = False  # as a lateral film shows it: lines in zones 8 to 14
    face_end: float = np.inf   # s at which front and back end and the tip begins

    def zones(self):
        """Those that may have a line."""
        return (8, 9, 10, 12, 13, 14) if self.from_side else (1, 2, 3, 5, 6, 7)

    def third(self):
        return (self.length - self.entry) / 3

    def span(self, line):
        """(from, to) of a line, as s."""
        order = next(side for side in SIDES if line.zone in side)
        begin = self.entry + order.index(line.zone) * self.third()
        return begin + line.first * self.third(), min(begin + line.last * self.third(), self.face_end)

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


def _draw_lines(rng, zones):
    lines = []
    for zone in zones:
        if rng.random() < 0.6:
            part = rng.choice([1.0, rng.uniform(0.55, 0.9), rng.uniform(0.2, 0.45)])
            first = rng.uniform(0, 1 - part)
            lines.append(Line(zone, float(rng.choice(WIDTHS)), first, first + part, float(rng.uniform(0.6, 1.1) * (rng.random() < 0.6))))
    return lines


def _with_rims(bed):
    """Soft tissue before marrow shows nothing: there a line is one by its rim."""
    for line in bed.lines:
        if bed.span(line)[1] > bed.compact_to and line.rim == 0:
            line.rim = 0.8
    return bed


def draw(rng, femur, stem, f_from_s, blank):
    """The bed at surgery, with lines at the flanks."""
    lines = [] if blank else _draw_lines(rng, (1, 2, 3, 5, 6, 7))
    entry = entry_of(femur, stem, f_from_s)
    return _with_rims(Bed(entry, stem.length, lines, float(rng.uniform(1.5, 3.0)), float(rng.uniform(0.3, 0.55)),
                          entry + float(rng.uniform(0.75, 1.0)) * (stem.length - entry)))


def draw_from_side(rng, stem, bed, blank):
    """The same bed with lines in front and behind, drawn by the same rules, in place of those at the flanks."""
    side_on = replace(bed, lines=[], from_side=True, face_end=stem.face_end())
    side_on.lines = [] if blank else _draw_lines(rng, side_on.zones())
    return _with_rims(side_on)


def later(rng, bed, blank):
    """The same bed some time on: most lines wider, some zones with a new one."""
    lines = [Line(x.zone, min(3.5, x.width + (float(rng.uniform(0, 1.5)) if rng.random() < 0.6 else 0.0)), x.first, x.last, x.rim) for x in bed.lines]
    free = [z for z in bed.zones() if z not in [x.zone for x in lines]]
    for zone in () if blank else free:
        if rng.random() < 0.2:
            lines.append(Line(zone, float(rng.choice(WIDTHS[2:])), 0.1, 0.9, 0.8))
    return replace(bed, lines=lines)


def _grown_depth(stem, bed, p, extra):
    """About the signed distance of points (S) to the stem grown by its lines and by `extra(line)` beyond them. The bed of
    a press-fit stem has the stem's own shape, rounded edges and all: a box about it would leave soft tissue at the edges
    that an oblique ray shows as a line where there is none."""
    s = -p[..., 2]
    slope = lambda f: np.sqrt(1 + ((f(s + 0.5) - f(s - 0.5)) / 1.0) ** 2)   # across the flank, not across the axis
    lateral = bed.along(s, LATERAL, lambda line: line.width + extra(line)) * slope(stem.lateral)
    medial = bed.along(s, MEDIAL, lambda line: line.width + extra(line)) * slope(stem.medial)
    front, back = (bed.along(s, side, lambda line: line.width + extra(line)) * slope(stem.half_thickness) for side in (FRONT, BACK))
    return stem.section_depth(p, lateral, medial, front, back)


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


class _FilmAxis:
    """Places along the stem axis on a film, mm in the plane of the stem from the entry level on."""

    def __init__(self, cam, w_from_s, stem, bed, film):
        self.cam, self.w_from_s, self.stem = cam, w_from_s, stem
        top, end = np.array(film["stem_axis_px"])
        self.way, self.mm_per_px = (end - top) / np.linalg.norm(end - top), film["mm_per_px"]
        # which way from the axis a film from the side has the back
        self.backwards = self._px([0, -1.0, -bed.entry]) - self._px([0, 0, -bed.entry])
        self.entry_px = self.edge(BACK, bed.entry)

    def _px(self, p):
        return self.cam.to_pixel(self.w_from_s(np.array(p, float)))

    def edge(self, side, s):
        """Where the shadow of the level section ends in front or behind, px: turned, an edge of the section makes it."""
        ring = self._px(self.stem.ring(s))
        out = np.array([-self.way[1], self.way[0]])
        out = out if (out @ self.backwards > 0) == (side == BACK) else -out
        return ring[np.argmax(ring @ out)]

    def mm(self, px):
        return float((np.asarray(px) - self.entry_px) @ self.way) * self.mm_per_px


def _line_rows(bed, zone, zone_mm, ends):
    """Lines of a zone; `ends(line)`: mm from its proximal border."""
    rows = []
    for x in bed.lines:
        if x.zone == zone:
            start, stop = ends(x)
            rows.append({"interface": "stem_bone", "width_mm": round(x.width, 4), "from_mm": round(start, 4), "to_mm": round(stop, 4),
                         "fraction": round((stop - start) / zone_mm, 4), "rim": x.rim > 0} | ({"rim_mm": round(x.rim, 4)} if x.rim > 0 else {}))
    return rows


def truth_of(cam, w_from_s, stem, bed, film):
    """`lucency` of truth.json, `film` being what truth.of_hip said: zones 4 and 11 have no lines."""
    if bed.from_side:
        return _truth_from_side(_FilmAxis(cam, w_from_s, stem, bed, film), stem, bed, film)
    at = lambda s: cam.to_pixel(w_from_s(np.array([0, 0, -float(s)])))
    shown = np.linalg.norm(at(stem.length) - at(bed.entry)) * film["mm_per_px"] / (stem.length - bed.entry)
    zone_mm = bed.third() * shown
    entry = cam.to_pixel(w_from_s(np.array([float(stem.medial(bed.entry)), 0, -bed.entry])))
    return _lucency(bed, range(1, 8), zone_mm, stem.tip_width, entry, lambda x: (x.first * zone_mm, x.last * zone_mm))


def _truth_from_side(axis, stem, bed, film):
    zone_mm = axis.mm(film["points_px"]["stem_tip"]) / 3

    def ends(line):
        side = FRONT if line.zone in FRONT else BACK
        border = side.index(line.zone) * zone_mm
        return [float(np.clip(axis.mm(axis.edge(side, s)) - border, 0, zone_mm)) for s in bed.span(line)]
    return _lucency(bed, range(8, 15), zone_mm, stem.tip_thickness, axis.entry_px, ends)


def _lucency(bed, zones, zone_mm, tip_mm, entry_px, ends):
    rows = [{"zone": zone, "length_mm": round(float(tip_mm if zone in (4, 11) else zone_mm), 4), "lines": _line_rows(bed, zone, zone_mm, ends)}
            for zone in zones]
    return {"fixation": "uncemented", "entry_px": [round(float(v), 4) for v in entry_px], "zones": rows}
