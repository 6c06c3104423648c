"""Truth of how the stem is seated, from the 3-D geometry alone (docs/truth.md: sections, flare, pelvis, seat)."""
import numpy as np

import bones
import lines
import surface
import truth

FIRST_MM, STEP_MM, LEVELS = 30.0, 10.0, 15
BAND_MM = 0.75      # of samples about a level


def inner_points(femur):
    """Points on the inner border of the cortex, F: where the grid's edges cross it."""
    p = surface.crossings(femur.inner.values, femur.inner.origin, femur.inner.h)
    return p[bones.cut_depth(femur, p) > 0]


class Frame:
    """Along the shaft (distal +) and across it (medial +) on a film, mm in the plane of the stem from a point on it."""

    def __init__(self, shaft_px, origin_px, inward_px, mm_per_px):
        d = np.subtract(*shaft_px[::-1])
        self.distal = d / np.linalg.norm(d)
        side = np.array([-self.distal[1], self.distal[0]])
        self.medial = side if side @ inward_px > 0 else -side
        self.axis_point, self.mm = np.asarray(shaft_px[0]), mm_per_px
        self.zero = (np.asarray(origin_px) - self.axis_point) @ self.distal

    def __call__(self, px):
        rel = np.asarray(px) - self.axis_point
        return np.stack([((rel @ self.distal) - self.zero) * self.mm, rel @ self.medial * self.mm], -1)

    def pixel(self, along, across):
        return self.axis_point + self.distal * (self.zero + along / self.mm) + self.medial * (across / self.mm)


def extent(cloud, level):
    """(lateral, medial) ends of a cloud (along, across) at a level, or None."""
    near = cloud[np.abs(cloud[:, 0] - level) < BAND_MM, 1]
    return (float(near.min()), float(near.max())) if len(near) > 8 else None


def mesh_extent(cloud, faces, level):
    """The same of a mesh, by its edges."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    a, b = cloud[edges[:, 0]], cloud[edges[:, 1]]
    cross = (a[:, 0] - level) * (b[:, 0] - level) < 0
    a, b = a[cross], b[cross]
    if not len(a):
        return None
    x = a[:, 1] + (level - a[:, 0]) / (b[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    return float(x.min()), float(x.max())


def sections(outer, inner, stem, faces):
    rows = []
    for k in range(LEVELS):
        level = FIRST_MM - STEP_MM * k
        o, i, s = extent(outer, -level), extent(inner, -level), mesh_extent(stem, faces, -level)
        if o is None or i is None:
            continue
        row = {"level_mm": level, "outer_mm": _list(o), "inner_mm": _list(i)}
        if s is not None:
            row["stem_mm"] = _list(s)
        rows.append(row)
    return rows


def flare(frame, neck, inner, stem, faces):
    """Where the neck's axis meets the lateral flank, and how far the inner border lies from there, square to the
    flank over 8 mm (anatomy::flare_seat). `neck`: two points of its axis, (along, across)."""
    levels = np.arange(stem[:, 0].min() + 0.5, stem[:, 0].max() - 20, 1.0)
    flank = np.array([(t, mesh_extent(stem, faces, t)[0]) for t in levels])
    wall = [(t, extent(inner, t)) for t in levels]
    wall = np.array([(t, e[0]) for t, e in wall if e is not None])
    way = neck[0] - neck[1]
    on_neck = neck[0][1] + (flank[:, 0] - neck[0][0]) / way[0] * way[1]
    hit = np.flatnonzero(np.diff(np.sign(on_neck - flank[:, 1])))
    if not len(hit) or len(wall) < 5:
        return None
    k = hit[0]
    d = on_neck - flank[:, 1]
    t = flank[k, 0] + d[k] / (d[k] - d[k + 1])
    at = lambda level: np.interp(level, flank[:, 0], flank[:, 1])
    tangent = np.array([8.0, at(t + 4) - at(t - 4)])
    tangent /= np.linalg.norm(tangent)
    out = np.array([tangent[1], -tangent[0]])
    out = out if out[1] < 0 else -out
    start = np.array([t, at(t)])
    reach = np.arange(-3.0, 40.0, 0.05)
    ray = start + reach[:, None] * out
    inside = ray[:, 1] > np.interp(ray[:, 0], wall[:, 0], wall[:, 1])
    if not inside.any() or inside.all() or ray[:, 0].min() < wall[0, 0]:
        return None
    return {"px": _list(frame.pixel(*start)), "gap_mm": round(float(reach[np.argmin(inside)]), 4)}


def of_film(cam, one, entry):
    """Keys of a film for its replaced hip; `entry` is what truth.of_hip said."""
    femur, stem = one.hip.femur, one.hip.stem
    w_from_s = one.w_from_f @ one.f_from_s
    lt = entry["points_px"]["lesser_trochanter"]
    inward = cam.to_pixel(one.w_from_f(np.array([60.0, 0, -50]))) - cam.to_pixel(one.w_from_f(np.array([0, 0, -50.0])))
    frame = Frame(np.array(entry["shaft_axis_px"]), lt, inward, entry["mm_per_px"])
    seen = lambda f: frame(cam.to_pixel(one.w_from_f(f)))
    points, faces = stem.body_mesh()
    shadow = frame(cam.to_pixel(w_from_s(points)))
    outer = seen(femur.samples[bones.cut_depth(femur, femur.samples) > 0])
    inner = seen(inner_points(femur))
    neck = frame(cam.to_pixel(w_from_s(np.array([[0, 0, -stem.neck_origin], stem.head_centre]))))
    depth = lines.entry_of(femur, stem, one.f_from_s)
    out = {"sections": sections(outer, inner, shadow, faces),
           "entry_px": _list(cam.to_pixel(w_from_s(np.array([float(stem.medial(depth)), 0, -depth]))))}
    found = flare(frame, neck, inner, shadow, faces)
    return out | ({"flare": found} if found else {})


def _leg(hip, f_from_s):
    """Lesser trochanter below the joint in the neutral pose, mm."""
    a = np.radians(hip.adduction)
    rel = hip.femur.lesser - hip.head_in_f(f_from_s)
    return -(np.cos(a) * rel[2] + np.sin(a) * rel[0])


def of_seat(hips, f_from_s):
    """What the audit asks for, in space and with the legs laid straight: `seat` of truth.json."""
    hip, femur = hips[0], hips[0].femur
    head = f_from_s(hip.stem.head_centre)
    kept = femur.samples[(np.linalg.norm(femur.samples - femur.greater, axis=1) < 28) & (bones.cut_depth(femur, femur.samples) > 0)]
    out = {"greater_trochanter_to_head_centre_mm": round(float(kept[:, 2].max() - head[2]), 4),
           "femoral_offset_mm": round(float(np.hypot(head[0], head[1])), 4)}
    if len(hips) > 1:
        out["leg_length_difference_mm"] = round(float(_leg(hip, f_from_s) - _leg(hips[1], hips[1].f_from_s)), 4)
    return out


def of_pelvis(cam, placed, middle, w_from_p):
    """Both joints of the pelvis, which are each other's mirror image, and of the other hip what a film can show."""
    centres = cam.to_pixel(w_from_p(np.array([[0.0, 0, 0], [2 * middle, 0, 0]])))
    out = {"hip_centres_px": [_list(p) for p in centres]}
    if len(placed) < 2:
        return out
    other = placed[1]
    femur = other.hip.femur
    pix = cam.to_pixel(other.w_from_f(femur.samples))
    lesser = cam.to_pixel(other.w_from_f(femur.lesser))
    start = cam.to_pixel(other.w_from_f(np.array([0, 0, -80.0]))) - cam.to_pixel(other.w_from_f(np.zeros(3)))
    inward = cam.to_pixel(other.w_from_f(np.array([60.0, 0, -50]))) - cam.to_pixel(other.w_from_f(np.array([0, 0, -50.0])))
    scale = cam.pitch / cam.magnification(other.centre)
    lt, seen = lesser, True
    for _ in range(3):
        axis_point, distal = truth.projected_shaft(pix, start, lt, 20 / scale, 90 / scale)
        medial = np.array([-distal[1], distal[0]])
        medial = medial if medial @ inward > 0 else -medial
        lt, seen = truth.lesser_trochanter(pix, femur, axis_point, distal, medial, 1 / scale, lesser)
    return out | {"other_lesser_trochanter_px": _list(lt), "other_lesser_trochanter_visible": bool(seen),
                  "other_head_centre_px": _list(cam.to_pixel(other.centre)), "other_replaced": other.hip.stem is not None}


def _list(p):
    return [round(float(v), 4) for v in p]
