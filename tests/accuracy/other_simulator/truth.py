"""Truth of one film, from the 3-D geometry alone (schema tidemark/truth/1). Never looks at a grey value."""
import numpy as np

import bones


def sphere_outline(cam, centre_w, radius):
    """Centre (px), major and minor diameter (px) of the ellipse that a ball throws on the receptor (cone of half
    angle b about a ray at angle a to the normal, cut by the plane at distance sid)."""
    rel = np.asarray(centre_w) - cam.source
    dist = np.linalg.norm(rel)
    a = np.arccos(rel[1] / dist)
    b = np.arcsin(radius / dist)
    far, near = cam.sid * np.tan(a + b), cam.sid * np.tan(a - b)
    minor = cam.sid * np.sin(b) / np.sqrt(np.cos(a) ** 2 - np.sin(b) ** 2)
    across = np.array([rel[0], rel[2]])
    n = np.linalg.norm(across)
    way = across / n if n > 1e-9 else np.array([1.0, 0])
    centre = np.array([cam.beam_x, cam.beam_z]) + way * 0.5 * (far + near)
    px = np.array([(centre[0] - cam.left) / cam.pitch, (cam.top - centre[1]) / cam.pitch])
    return px, abs(far - near) / cam.pitch, 2 * minor / cam.pitch


def foot_of_beam(cam):
    """Where the central ray meets the receptor, px."""
    return _list([(cam.beam_x - cam.left) / cam.pitch, (cam.top - cam.beam_z) / cam.pitch])


def projected_shaft(pix, start_dir, lesser_px, low_px, high_px):
    """Mid-line of the outer outline between two distances below the lesser trochanter; (point, unit direction distal)."""
    d = start_dir / np.linalg.norm(start_dir)
    origin = lesser_px
    mid = lesser_px
    for _ in range(4):
        n = np.array([-d[1], d[0]])
        along, across = (pix - origin) @ d, (pix - origin) @ n
        zero = (lesser_px - origin) @ d
        rows = []
        width = (high_px - low_px) / 35
        order = np.argsort(along)
        for t in np.arange(zero + low_px, zero + high_px, width):
            lo, hi = np.searchsorted(along[order], [t, t + width])
            if hi - lo > 12:
                w = across[order[lo:hi]]
                rows.append((t + 0.5 * width, 0.5 * (w.min() + w.max())))
        rows = np.array(rows)
        slope, shift = np.polyfit(rows[:, 0], rows[:, 1], 1)
        mid = origin + d * rows[:, 0].mean() + n * (slope * rows[:, 0].mean() + shift)
        d = d + slope * n
        d /= np.linalg.norm(d)
    return mid, d


def lesser_trochanter(pix, femur, axis_point, distal, medial, px_per_mm, lesser_px):
    """Most prominent medial point of the projected bulge, and whether it is a bulge of the film's outline at all: a
    local maximum of the medial outline of the whole (uncut) bone that stands 0.4 mm out on both sides and belongs to
    bone near the lesser trochanter that is still there. If not: the most medial point of the trochanter itself."""
    near3 = np.linalg.norm(femur.samples - femur.lesser, axis=1)
    part = np.flatnonzero(near3 < 50)
    t = (pix[part] - lesser_px) @ distal / px_per_mm
    m = (pix[part] - axis_point) @ medial / px_per_mm
    edges = np.arange(-18, 18.01, 0.5)
    k = np.digitize(t, edges) - 1
    ok = (k >= 0) & (k < len(edges) - 1)
    part, t, m, k = part[ok], t[ok], m[ok], k[ok]
    order = np.lexsort((m, k))
    last = np.flatnonzero(np.diff(np.append(k[order], len(edges))))
    who = order[last]
    level, outline = edges[k[who]] + 0.25, m[who]
    smooth = np.convolve(outline, np.ones(3) / 3, "same")
    standing = lambda q: min(smooth[q] - smooth[1:q].min(), smooth[q] - smooth[q + 1:-1].min())
    peaks = [q for q in range(4, len(smooth) - 4) if smooth[q] >= max(smooth[q - 1], smooth[q + 1]) and standing(q) > 0.4
             and near3[part[who[q]]] < 16 and bones.cut_depth(femur, femur.samples[part[who[q]]]) > 0]
    if peaks:
        q = max(peaks, key=standing)
        fit = np.abs(level - level[q]) < 2.3
        a, b, c = np.polyfit(level[fit], outline[fit], 2)
        top = float(np.clip(-b / (2 * a), level[q] - 2.5, level[q] + 2.5)) if a < 0 else level[q]
        along = (lesser_px - axis_point) @ distal + top * px_per_mm
        return axis_point + distal * along + medial * (np.polyval([a, b, c], top) * px_per_mm), True
    close = np.flatnonzero(near3 < 9)
    return pix[close[np.argmax((pix[close] - axis_point) @ medial)]], False


def of_hip(cam, one, body_points_s):
    """Truth entries of one placed hip (scene.PlacedHip) on one film."""
    hip, femur, stem, w_from_f = one.hip, one.hip.femur, one.hip.stem, one.w_from_f
    pix = cam.to_pixel(w_from_f(femur.samples))
    w_from_s = w_from_f @ one.f_from_s
    scale = cam.pitch / cam.magnification(w_from_s(stem.reference()))
    lesser_px = cam.to_pixel(w_from_f(femur.lesser))
    start = cam.to_pixel(w_from_f(np.array([0, 0, -80.0]))) - cam.to_pixel(w_from_f(np.zeros(3)))
    inward = cam.to_pixel(w_from_f(np.array([60.0, 0, -50]))) - cam.to_pixel(w_from_f(np.array([0, 0, -50.0])))
    lt, seen = lesser_px, True
    for _ in range(3):
        axis_point, distal = projected_shaft(pix, start, lt, 20 / scale, 90 / scale)
        medial = np.array([-distal[1], distal[0]])
        medial = medial if medial @ inward > 0 else -medial
        lt, seen = lesser_trochanter(pix, femur, axis_point, distal, medial, 1 / scale, lesser_px)
    kept = bones.cut_depth(femur, femur.samples) > 0
    patch = np.flatnonzero((np.linalg.norm(femur.samples - femur.greater, axis=1) < 28) & kept)
    gt = pix[patch[np.argmin(pix[patch] @ distal)]]
    axis_px = cam.to_pixel(w_from_s(np.array([[0, 0, -0.5 * stem.length], stem.tip()])))
    stem_dir = (axis_px[1] - axis_px[0]) / np.linalg.norm(axis_px[1] - axis_px[0])
    body = cam.to_pixel(w_from_s(body_points_s))
    tip = axis_px[1] + ((body - axis_px[1]) @ stem_dir).max() * stem_dir
    # the corner that a film shows: the outline's extreme half way between proximal and lateral
    side = np.array([-stem_dir[1], stem_dir[0]])
    side = side if side @ medial < 0 else -side
    shoulder = body[np.argmax(body @ (side - stem_dir))]
    points = {"stem_reference": cam.to_pixel(w_from_s(stem.reference())), "stem_tip": tip,
              "stem_shoulder": shoulder, "lesser_trochanter": lt, "greater_trochanter": gt}
    inside = {k: bool(np.all(p >= 0) and np.all(p <= [cam.cols - 1, cam.rows - 1])) for k, p in points.items()}
    inside["lesser_trochanter"] &= bool(seen)
    hc, hmaj, hmin = sphere_outline(cam, w_from_s(stem.head_centre), stem.head_radius)
    cc, cmaj, cmin = sphere_outline(cam, one.centre, hip.cup.outer_radius)
    inside["head"] = bool(np.all(hc > 0.5 * hmaj) and np.all(hc < np.array([cam.cols, cam.rows]) - 0.5 * hmaj))
    shaft = [axis_point + distal * ((lt - axis_point) @ distal + k / scale) for k in (20, 90)]
    return {
        "mm_per_px": round(float(scale), 8),
        "head": {"centre_px": _list(hc), "diameter_px": round(float(np.sqrt(hmaj * hmin)), 4), "minor_px": round(float(hmin), 4)},
        "cup": {"centre_px": _list(cc), "diameter_px": round(float(np.sqrt(cmaj * cmin)), 4)},
        "points_px": {k: _list(p) for k, p in points.items()},
        "stem_axis_px": [_list(p) for p in axis_px], "shaft_axis_px": [_list(p) for p in shaft],
        # varus: the tip lateral of the shaft's direction
        "tilt_deg": round(float(np.degrees(np.arcsin(np.clip(stem_dir @ -medial, -1, 1)))), 5),
        "visible": inside,
    }


def _list(p):
    return [round(float(v), 4) for v in p]


def displacement(stem, f_from_s_ref, f_from_s):
    """Distal motion (mm, along the shaft, in F) of head centre, shoulder and tip between two stem positions."""
    out = {}
    for name, p in (("head_centre", stem.head_centre), ("shoulder", stem.shoulder()), ("tip", stem.tip())):
        out[name] = round(float(f_from_s_ref(p)[2] - f_from_s(p)[2]), 5)
    return out
