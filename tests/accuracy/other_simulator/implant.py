"""A generic uncemented stem, head and cup.

Stem frame S: x medial (in the plane of the neck), y anterior, z proximal, mm; the stem axis is x = y = 0 and the level
of the shoulder is z = 0. `s` below is the distance distal of the shoulder, s = -z.
"""
from dataclasses import dataclass

import numpy as np

SECTION = 3.2   # exponent of the cross-section: a wedge with rounded edges
# A gap before the broad face keeps its width about the section's edges: then it looks as wide on a film that is 20 degrees
# off the side (tested).
FACE_SHARE = 0.75


@dataclass
class StemShape:
    length: float            # shoulder to tip
    tip_width: float         # medio-lateral, at the tip's end of the taper
    taper_deg: float         # half angle of the straight body, medio-lateral
    lateral_flare: float     # extra lateral width at the shoulder
    lateral_flare_length: float
    medial_flare: float
    medial_flare_length: float
    tip_thickness: float     # antero-posterior
    top_thickness: float
    round_tip: bool
    shoulder_flat: float     # width of the flat at the shoulder
    face_deg: float          # slope of the upper face below the horizontal
    ccd_deg: float
    neck_origin: float       # s at which the neck axis meets the stem axis
    offset: float            # head centre to stem axis
    neck_radius: float
    head_radius: float
    corner_radius: float = 2.0

    def lateral(self, s):
        u = np.clip((self.lateral_flare_length - s) / self.lateral_flare_length, 0, 1)
        r = self.corner_radius
        corner = r - np.sqrt(np.maximum(0.0, r ** 2 - np.clip(r - s, 0, r) ** 2))
        return (self._straight(s) + self.lateral_flare * u ** 1.6) * self._tip(s) - corner

    def medial(self, s):
        u = np.clip((self.medial_flare_length - s) / self.medial_flare_length, 0, 1)
        full = (self._straight(s) + self.medial_flare * u ** 2) * self._tip(s)
        return np.minimum(full, self._face(s))

    def half_thickness(self, s):
        u = np.clip(1 - s / self.length, 0, 1)
        return 0.5 * (self.tip_thickness + (self.top_thickness - self.tip_thickness) * u) * self._tip(s)

    def _straight(self, s):
        return 0.5 * self.tip_width + (self.length - np.maximum(s, 0)) * np.tan(np.radians(self.taper_deg))

    def _tip(self, s):
        r = 0.5 * self.tip_width * (1.0 if self.round_tip else 0.35)
        u = np.clip((s - (self.length - r)) / r, 0, 1)
        root = np.sqrt(np.maximum(0.0, 1 - u ** 2))
        if self.round_tip:
            return root
        keep = 1 - r / (0.5 * self.tip_width)
        return np.where(u >= 1, 0.0, keep + (1 - keep) * root)

    def _face(self, s):
        top = -(self._straight(0.0) + self.lateral_flare)
        return top + self.shoulder_flat + np.maximum(s, 0) / np.tan(np.radians(self.face_deg))

    @property
    def neck_direction(self):
        a = np.radians(180 - self.ccd_deg)
        return np.array([np.sin(a), 0.0, np.cos(a)])

    @property
    def head_centre(self):
        a = np.radians(180 - self.ccd_deg)
        return np.array([self.offset, 0.0, -self.neck_origin + self.offset / np.tan(a)])

    def shoulder(self):
        """The point of the body outline that lies farthest in the direction proximal-lateral (45 degrees)."""
        s = np.linspace(0, 30, 3001)
        x = -self.lateral(s)
        k = np.argmax(-x - s)
        return np.array([x[k], 0.0, -s[k]])

    def reference(self):
        return np.array([0.0, 0.0, -10.0])

    def tip(self):
        return np.array([0.0, 0.0, -self.length])

    def body_sections(self):
        near_top = np.array([0.02, 0.08, 0.2, 0.4, 0.7, 1.0, 1.5, 2.2])
        r = 0.5 * self.tip_width * (1.0 if self.round_tip else 0.35)
        near_tip = self.length - r * (1 - np.sin(np.linspace(0, 1, 14) * np.pi / 2))
        near_tip[-1] = self.length - 1e-3
        return np.concatenate([near_top, np.arange(3.0, self.length - r - 0.6, 1.0), near_tip])

    def ring(self, s, count=48):
        """Super-elliptic sections (..., count, 3) at depths s."""
        s = np.asarray(s, float)
        a = np.linspace(0, 2 * np.pi, count, endpoint=False)
        q = 2 / SECTION
        ca, sa = np.sign(np.cos(a)) * np.abs(np.cos(a)) ** q, np.sign(np.sin(a)) * np.abs(np.sin(a)) ** q
        right, left, half = self.medial(s), -self.lateral(s), self.half_thickness(s)
        mid, wide = 0.5 * (right + left), np.maximum(0.5 * (right - left), 1e-3)
        return np.stack([mid[..., None] + wide[..., None] * ca, half[..., None] * sa, np.repeat(-s[..., None], count, -1)], -1)

    def body_mesh(self):
        """Stack of super-elliptic sections, closed at both ends."""
        return _loft(self.ring(self.body_sections()))

    def neck_mesh(self):
        d = self.neck_direction
        start = np.array([0.0, 0.0, -self.neck_origin])
        reach = np.linalg.norm(self.head_centre - start)
        # leaves the body a little below its upper face, ends in the head's bore
        first = self._face_crossing(start, d) - 3.0
        t = np.linspace(first, reach + 0.25 * self.head_radius, 24)
        swell = np.clip((first + 14 - t) / 14, 0, 1) ** 2
        r = self.neck_radius + 2.2 * swell
        a = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        side = np.array([d[2], 0.0, -d[0]])
        ring = (start + t[:, None] * d)[:, None, :] + r[:, None, None] * (np.cos(a)[:, None] * side + np.sin(a)[:, None] * np.array([0, 1.0, 0]))
        return _loft(ring)

    def _face_crossing(self, start, d):
        for t in np.arange(-20, 80, 0.25):
            p = start + t * d
            if p[2] > -0.1 or p[0] > self.medial(max(0.0, -p[2])):
                return t
        return 0.0

    def face_end(self):
        """s at which the outline that a film from the side shows faces 45 degrees distally: there the tip begins."""
        s = np.arange(0.9 * self.length, self.length, 0.02)
        steep = np.diff(self.half_thickness(s)) < -0.02
        return float(s[np.argmax(steep)]) if steep.any() else self.length

    def inside_depth(self, p, grow=0.0):
        """Approximate signed distance of points (..., 3) to the body with its neck, negative inside."""
        s = -p[..., 2]
        body = np.maximum(np.maximum(p[..., 0] - self.medial(s), -self.lateral(s) - p[..., 0]),
                          np.abs(p[..., 1]) - self.half_thickness(s))
        body = np.maximum(body, np.maximum(-s, s - self.length))
        return np.minimum(body, self.neck_depth(p)) - grow

    def neck_depth(self, p, room=2.0):
        """The same to the neck alone, with `room` mm about it."""
        rel = p - np.array([0.0, 0.0, -self.neck_origin])
        t = rel @ self.neck_direction
        radial = np.linalg.norm(rel - t[..., None] * self.neck_direction, axis=-1)
        return np.maximum(radial - self.neck_radius - room, 5 - t)

    def section_depth(self, p, lateral=0.0, medial=0.0, front=0.0, back=0.0):
        """Signed distance of points (..., 3), to first order and within their cross-section, to the body's own
        super-elliptic section, grown by `lateral` and `medial` mm at its flanks and by half of that in front and
        behind, and by `front` and `back` mm at its faces and by FACE_SHARE of that at the flanks; negative inside."""
        s = -p[..., 2]
        right, left = self.medial(s), -self.lateral(s)
        x, y = np.abs(p[..., 0] - 0.5 * (right + left)), np.abs(p[..., 1])
        grown = np.where(p[..., 0] > 0.5 * (right + left), medial, lateral)
        faced = np.where(p[..., 1] > 0, front, back)
        a = np.maximum(0.5 * (right - left), 1e-3) + grown + FACE_SHARE * faced
        b = np.maximum(self.half_thickness(s), 1e-3) + 0.5 * grown + faced
        r = np.maximum((x / a) ** SECTION + (y / b) ** SECTION, 1e-9) ** (1 / SECTION)
        steep = np.hypot((x / (a * r)) ** (SECTION - 1) / a, (y / (b * r)) ** (SECTION - 1) / b)
        return np.maximum((r - 1) / np.maximum(steep, 1e-6), np.maximum(-s, s - self.length))


def write_stl(path, stem, side, rng):
    """Body and neck as a maker would hand them out: of the hip's own side (patient axes), binary STL, in a frame of
    its own that is drawn from `rng`."""
    turn, upper = np.linalg.qr(rng.normal(size=(3, 3)))
    turn = turn * np.sign(np.diag(upper))
    turn[:, 0] *= np.sign(np.linalg.det(turn))
    linear = turn @ np.diag([-1.0 if side == "L" else 1.0, -1.0, 1.0])
    shift = rng.normal(0, 50, 3)
    corners = np.concatenate([(points @ linear.T + shift)[faces] for points, faces in (stem.body_mesh(), stem.neck_mesh())])
    record = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    record["normal"] = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    record["corners"] = corners
    with open(path, "wb") as stream:
        stream.write(b" " * 80 + np.uint32(len(corners)).tobytes() + record.tobytes())


def _loft(ring):
    """Closed mesh through rings (n, k, 3), outward or inward orientation alike all over."""
    n, k, _ = ring.shape
    points = np.concatenate([ring.reshape(-1, 3), ring[0].mean(0)[None], ring[-1].mean(0)[None]])
    i, j = np.meshgrid(np.arange(n - 1), np.arange(k), indexing="ij")
    a, b = i * k + j, i * k + (j + 1) % k
    quads = np.concatenate([np.stack([a, b, a + k], -1).reshape(-1, 3), np.stack([b, b + k, a + k], -1).reshape(-1, 3)])
    jj = np.arange(k)
    caps = [np.stack([np.full(k, n * k), (jj + 1) % k, jj], -1),
            np.stack([np.full(k, n * k + 1), (n - 1) * k + jj, (n - 1) * k + (jj + 1) % k], -1)]
    return points, np.concatenate([quads, *caps])


def tube_mesh(path, radius, around=12):
    """Round wire or screw along a polyline (n, 3)."""
    path = np.asarray(path, float)
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    helper = np.where(np.abs(tangent[:, [2]]) < 0.8, np.array([[0, 0, 1.0]]), np.array([[1.0, 0, 0]]))
    u = np.cross(tangent, helper)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    w = np.cross(tangent, u)
    a = np.linspace(0, 2 * np.pi, around, endpoint=False)
    r = np.broadcast_to(np.asarray(radius, float), len(path))
    return _loft(path[:, None] + r[:, None, None] * (np.cos(a)[:, None] * u[:, None] + np.sin(a)[:, None] * w[:, None]))


@dataclass
class Cup:
    """Hemispherical shell about the hip centre. `axis` points out of its mouth (pelvis frame). `kind`: "shell" of metal with
    a liner, "wire" bare polyethylene in a mantle of cement `shell` thick with a wire about its rim, "own" a shell that
    belongs to the head and turns in the bone's socket."""
    outer_radius: float
    shell: float
    inclination_deg: float   # radiographic
    anteversion_deg: float   # radiographic
    screws: int
    kind: str = "shell"

    @property
    def axis(self):
        i, a = np.radians(self.inclination_deg), np.radians(self.anteversion_deg)
        return np.array([-np.sin(i) * np.cos(a), np.sin(a), -np.cos(i) * np.cos(a)])

    def rim_wire(self):
        """The wire that marks the rim of a cup without metal."""
        helper = np.cross(self.axis, [0.0, 1.0, 0.0])
        u = helper / np.linalg.norm(helper)
        t = np.linspace(0, 2 * np.pi, 73)[:, None]
        return tube_mesh((self.outer_radius - self.shell - 1.0) * (np.cos(t) * u + np.sin(t) * np.cross(self.axis, u)), 0.5)

    def screw_meshes(self, rng):
        out = []
        for _ in range(self.screws):
            d = np.array([0.35, -0.35, 0.9]) + rng.normal(0, 0.12, 3)
            d /= np.linalg.norm(d)
            t = np.linspace(self.outer_radius - 2, self.outer_radius + rng.uniform(18, 30), 90)
            thread = 2.5 + 0.55 * (2 * np.abs((t / 2.4) % 1 - 0.5) - 0.5)
            out.append(tube_mesh(t[:, None] * d, thread, 16))
        return out
