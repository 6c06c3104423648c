"""From placed bones, implants and soft parts to the signal of the receptor."""
from dataclasses import dataclass, field

import numpy as np

import bones
import physics
import project
from design import Hip
from frames import Affine


@dataclass
class PlacedHip:
    hip: Hip
    centre: np.ndarray              # of the joint, W
    w_from_f: Affine
    f_from_s: Affine = None
    cavity: object = None
    lining: object = None           # grid of bone density beside the stem
    w_from_p: Affine = None         # anatomical frame of this side's pelvis


@dataclass
class Extras:
    """What is not anatomy or implant."""
    hardware: list = field(default_factory=list)    # lists of meshes in W (staples, wires), one group each
    letters: list = field(default_factory=list)     # (polylines in receptor mm, stroke mm)
    window: tuple = ()                              # collimator: centre (mm), half size (mm), turn (deg), leak


VOXEL_FEMUR = 0.6
VOXEL_LINED = 0.4    # where lines beside the stem matter
VOXEL_PELVIS = 0.9
SUB = 3   # rays per pixel side in metal


def _box_corners(grid):
    ends = grid.h * (np.array(grid.values.shape) - 1)
    return np.array([grid.origin + ends * [a, b, c] for a in (0, 1) for b in (0, 1) for c in (0, 1)])


def _clip_box(cam, points):
    """Part of a world box that can reach the receptor (its own size at the receptor is the widest there is)."""
    lo, hi = points.min(0), points.max(0)
    lo[0], hi[0] = max(lo[0], cam.left - 2), min(hi[0], cam.left + cam.cols * cam.pitch + 2)
    lo[2], hi[2] = max(lo[2], cam.top - cam.rows * cam.pitch - 2), min(hi[2], cam.top + 2)
    return lo, hi


def bone_path(cam, hips, pelvis, w_from_p):
    """Cortex-equivalent path of all bones, mm."""
    total = np.zeros((cam.rows, cam.cols), np.float32)
    for one in hips:
        f_from_w, femur = one.w_from_f.inverse(), one.hip.femur
        voxel, coarse = (VOXEL_LINED, 1) if one.lining else (VOXEL_FEMUR, 2)
        slab = lambda y, x, z: bones.femur_slab(femur, one.cavity, f_from_w, y, x, z, voxel, 0.04, one.lining)
        image = project.slab_path(cam, slab, _clip_box(cam, one.w_from_f(_box_corners(femur.outer))), voxel, coarse)
        total += project.refine(image, coarse, cam.rows, cam.cols)
    full = [bones.mirrored(g) for g in (pelvis.outer, pelvis.inner, pelvis.spongy)]
    reamed = [(one.centre, one.hip.cup.outer_radius) for one in hips if one.hip.cup]
    p_from_w = w_from_p.inverse()
    slab = lambda y, x, z: bones.pelvis_slab(full, p_from_w, y, x, z, VOXEL_PELVIS, reamed)
    image = project.slab_path(cam, slab, _clip_box(cam, w_from_p(_box_corners(full[0]))), VOXEL_PELVIS, 3)
    return total + project.refine(image, 3, cam.rows, cam.cols)


def implant_parts(one):
    """(kind, material, data) of a placed hip: 'mesh' (points W, triangles), 'ball' (centre, radius), 'shell' (centre,
    outer radius, inner radius, axis out of the mouth)."""
    hip = one.hip
    w_from_s = one.w_from_f @ one.f_from_s
    axis = one.w_from_p.direction(hip.cup.axis)
    stem = [hip.stem.body_mesh(), hip.stem.neck_mesh()] + ([hip.collar] if hip.collar else [])
    parts = [("mesh", hip.stem_material, (w_from_s(m[0]), m[1])) for m in stem]
    bed = hip.cup.outer_radius - hip.cup.shell
    outer = {"shell": "ti64", "wire": "cement", "own": "cocr"}[hip.cup.kind]
    parts += [("ball", hip.head_material, (one.centre, hip.stem.head_radius)),
              ("shell", outer, (one.centre, hip.cup.outer_radius, bed, axis)),
              ("shell", "pe", (one.centre, bed, hip.stem.head_radius, axis))]
    if hip.cup.kind == "wire":
        wire = hip.cup.rim_wire()
        parts.append(("mesh", "cocr", (one.w_from_p(wire[0]), wire[1])))
    return parts + [("mesh", "ti64", (one.w_from_p(m[0]), m[1])) for m in hip.screws]


def _extent(cam, part):
    kind, _, data = part
    if kind == "mesh":
        p = cam.to_pixel(data[0])
    else:
        p = cam.to_pixel(data[0] + data[1] * 1.06 * np.array([[1, 0, 1], [-1, 0, -1.0]]))
    return p.min(0), p.max(0)


def _length(cam, part, first, count):
    kind, _, data = part
    if kind == "mesh":
        return project.mesh_path(cam, data[0], data[1], first[0], first[1], count[0], count[1], 1 / SUB)
    dirs = project.ray_directions(cam, first[0] + np.arange(count[0]) / SUB, first[1] + np.arange(count[1]) / SUB)
    if kind == "ball":
        t = project.ball_interval(cam, dirs, data[0], data[1])
        return t[1] - t[0]
    centre, outer, inner, axis = data
    half = project.half_space_interval(cam, dirs, centre, axis)
    return project.overlap(project.ball_interval(cam, dirs, centre, outer), half) \
        - project.overlap(project.ball_interval(cam, dirs, centre, inner), half)


def metal_factor(cam, parts, kev):
    """(first pixel, end pixel, factor per energy) by which a group of parts weakens the signal: SUB x SUB rays a
    pixel, averaged after the exponential, so that edges are right to a fraction of a pixel."""
    ext = [_extent(cam, p) for p in parts]
    lo = np.maximum(np.floor(np.min([e[0] for e in ext], 0)).astype(int) - 2, 0)
    hi = np.minimum(np.ceil(np.max([e[1] for e in ext], 0)).astype(int) + 3, [cam.cols, cam.rows])
    if np.any(hi <= lo):
        return None
    nx, ny = (hi - lo) * SUB
    start = lo - 0.5 + 0.5 / SUB
    total = [np.zeros((ny, nx), np.float32) for _ in kev]
    for part, (low, high) in zip(parts, ext):
        a = np.maximum(np.floor((low - start) * SUB).astype(int) - 4, 0)
        b = np.minimum(np.ceil((high - start) * SUB).astype(int) + 4, [nx, ny])
        if np.any(b <= a):
            continue
        length = _length(cam, part, start + a / SUB, b - a).astype(np.float32)
        for e, t in zip(kev, total):
            t[a[1]:b[1], a[0]:b[0]] += length * np.float32(physics.at(part[1], e) - physics.at("soft", e))
    return lo, hi, [np.exp(-t).reshape(ny // SUB, SUB, nx // SUB, SUB).mean((1, 3)) for t in total]


def soft_paths(cam, body):
    step = 12
    muscle, fat = body.paths(cam, step)
    fine = lambda image: project.refine(image.astype(np.float32), step, cam.rows, cam.cols)
    return fine(np.maximum(muscle, 0)), fine(fat)


def primary(cam, kvp, muscle, fat, bone, groups):
    """Primary signal, open field 1."""
    kev, weight = physics.spectrum(kvp)
    factors = [f for f in (metal_factor(cam, g, kev) for g in groups) if f]
    out = np.zeros((cam.rows, cam.cols), np.float32)
    for k, (e, w) in enumerate(zip(kev, weight)):
        soft = physics.at("soft", e)
        layer = muscle * np.float32(soft) + fat * np.float32(physics.at("fat", e)) + bone * np.float32(physics.at("bone", e) - soft)
        layer = np.float32(w) * np.exp(-layer)
        for lo, hi, factor in factors:
            layer[lo[1]:hi[1], lo[0]:hi[0]] *= factor[k]
        out += layer
    return out


def letter_factor(cam, letters):
    """Transmission of lead letters lying on the receptor."""
    out = np.ones((cam.rows, cam.cols), np.float32)
    for lines, stroke in letters:
        allp = np.concatenate(lines)
        pix = np.stack([(allp[:, 0] - cam.left) / cam.pitch, (cam.top - allp[:, 1]) / cam.pitch], -1)
        pad = stroke / cam.pitch + 3
        lo = np.maximum(np.floor(pix.min(0) - pad).astype(int), 0)
        hi = np.minimum(np.ceil(pix.max(0) + pad).astype(int), [cam.cols, cam.rows])
        if np.any(hi <= lo):
            continue
        x = cam.column_mm(np.arange(lo[0], hi[0]))[None, :]
        y = cam.row_mm(np.arange(lo[1], hi[1]))[:, None]
        dist = np.full((hi - lo)[::-1], 1e9)
        for line in lines:
            for a, b in zip(line[:-1], line[1:]):
                d = b - a
                t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1]) / (d @ d), 0, 1)
                dist = np.minimum(dist, np.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1]))
        cover = np.clip(0.5 - (dist - 0.5 * stroke) / cam.pitch, 0, 1)
        out[lo[1]:hi[1], lo[0]:hi[0]] *= (1 - 0.985 * cover).astype(np.float32)
    return out


def window_factor(cam, window):
    """Collimator blades: 1 inside, `leak` outside, penumbra 1.2 mm."""
    centre, half, turn, leak = window
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    x = cam.column_mm(np.arange(cam.cols))[None, :] - centre[0]
    y = cam.row_mm(np.arange(cam.rows))[:, None] - centre[1]
    out = np.maximum(np.abs(c * x + s * y) - half[0], np.abs(c * y - s * x) - half[1])
    return (leak + (1 - leak) * np.clip(0.5 - out / 1.2, 0, 1)).astype(np.float32)


def expose(cam, hips, pelvis, w_from_p, body, extras, shot, rng):
    """Detected signal of one film, open field 1. `shot` holds kvp, scatter, focus, detected quanta per pixel behind
    the hip, sharpness."""
    muscle, fat = soft_paths(cam, body)
    bone = bone_path(cam, hips, pelvis, w_from_p)
    groups = [implant_parts(one) for one in hips if one.hip.stem]
    groups += [[("mesh", "cocr", m) for m in group] for group in extras.hardware]
    signal = primary(cam, shot["kvp"], muscle, fat, bone, groups)
    open_shape = window_factor(cam, extras.window) if extras.window else None
    if open_shape is not None:
        signal *= open_shape
    if extras.letters:
        signal *= letter_factor(cam, extras.letters)
    signal += physics.scatter(signal, cam.pitch, shot["scatter"], rng)
    hip_px = np.clip(cam.to_pixel(hips[0].centre).astype(int), 200, [cam.cols - 200, cam.rows - 200])
    near = signal[hip_px[1] - 200:hip_px[1] + 500:5, hip_px[0] - 200:hip_px[0] + 200:5]
    quanta = shot["quanta"] / np.median(near)
    magn = cam.sid / (cam.sid - cam.ofd)
    blur = np.hypot(shot["focus"] * (magn - 1) / np.sqrt(12) / cam.pitch, shot["sharpness"])
    return physics.detect(signal, quanta, blur, 0.45, 2e-5, rng)
