"""One simulated case: visits of a hip; films, sheet and truth written to a folder."""
from dataclasses import asdict, dataclass
import datetime
import json
import os
import time

import numpy as np

import body as bodies
import bones
import design
import drawn
import implant
import lines
import processing
import scene
import seat as seat_truth
import truth
import unlike
import write_dicom
from frames import Affine, Camera, leg_pose, rotation, translation, world_from_anatomy

VERSION = "othersim/2"   # 1: attenuation below 50 keV was that at 50
SUBJECTS = [f"{k:02d}" for k in range(8)] + ["f0"]   # f0: female-ct
# Mean and SD in degrees of flexion, abduction and rotation of the leg on a lateral film: rolled outwards (common practice, no source).
LATERAL_POSE = [(0.0, 4.0), (6.0, 5.0), (-88.0, 9.0)]
VISIT_DAYS = [1, 44, 92, 183, 365, 740, 1100, 1480, 1830]


@dataclass
class Plan:
    """What a set varies between the films of a hip."""
    pose_sd: tuple = (3.0, 2.0, 5.0)   # flexion, abduction, rotation, deg
    shift: float = 15.0                # beam centre, mm
    turn: float = 1.0                  # of the film in its plane, SD, deg
    still: bool = False                # no migration
    hard: bool = False
    lucency: bool = False              # lucent lines beside the stem


PLANS = {"seat": Plan(), "still": Plan(pose_sd=(8.0, 4.0, 12.0), still=True),
         "hard": Plan(pose_sd=(4.0, 3.0, 7.0), shift=25.0, turn=2.5, hard=True),
         "lucency": Plan(pose_sd=(3.0, 2.0, 7.0), still=True, lucency=True)}

STEM_FILE = "stem.stl"
SEEDS = {"hard": 0, "seat": 1, "still": 2, "lucency": 3}   # of the sets


def draw_shot(rng, plan):
    """Geometry and exposure of one film."""
    hard = plan.hard
    return {"sid": float(rng.uniform(1000, 1200)), "ofd": float(rng.uniform(100, 250) if hard else rng.uniform(120, 220)),
            "beam": rng.uniform(-plan.shift, plan.shift, 2), "turn": float(np.clip(rng.normal(0, plan.turn), -5, 5)),
            "pose": [float(rng.normal(0, s)) for s in plan.pose_sd], "pelvis": [float(rng.normal(0, s)) for s in (2.5, 1.0, 1.5)],
            "pitch": float(rng.choice([0.139, 0.143, 0.148, 0.15, 0.16, 0.175, 0.2])), "kvp": float(rng.uniform(70, 85)),
            "scatter": float(rng.uniform(0.35, 0.6) if hard else rng.uniform(0.2, 0.5)),
            "quanta": float(10 ** (rng.uniform(1.9, 2.7) if hard else rng.uniform(2.6, 3.3))),
            "focus": float(rng.choice([0.6, 1.0, 1.2])), "sharpness": float(rng.uniform(0.4, 0.75))}


def draw_chain(rng, hard):
    """Processing of one film."""
    strong = hard or rng.random() < 0.3
    bands = int(rng.integers(1 if hard else 0, 4))
    curve = str(rng.choice(["linear", "sigmoid", "gamma"]))
    return processing.Chain(
        curve=curve, shape=float(rng.uniform(2.5, 6) if curve == "sigmoid" else rng.uniform(0.6, 1.4)),
        edge_mm=tuple(np.sort(rng.uniform(0.3, 3.0, bands))), edge_gain=tuple(rng.uniform(0.3, 2.2 if strong else 0.8, bands)),
        latitude=float(rng.choice([0.0, rng.uniform(0.2, 0.75)])), latitude_mm=float(rng.uniform(12, 40)),
        bits=int(rng.choice([8, 10, 12]) if hard else rng.choice([10, 12, 12, 14])),
        photometric=str(rng.choice(["MONOCHROME1", "MONOCHROME2", "MONOCHROME2"])),
        low_quantile=float(rng.uniform(0.002, 0.03)), high_quantile=float(rng.uniform(0.90, 0.97) if hard else rng.uniform(0.955, 0.998)))


def place(hip, f_from_s, pose, centre_w, turn):
    """The head stays in the joint at centre_w; the femur turns about it. Returns (w_from_anatomy, w_from_f)."""
    w_from_a = Affine(turn.linear @ world_from_anatomy(hip.side, np.zeros(3)).linear, np.asarray(centre_w, float))
    return w_from_a, w_from_a @ leg_pose(*pose) @ rotation(1, -hip.adduction) @ translation(-hip.head_in_f(f_from_s))


def place_all(hips, seats, shot):
    """Placed hips (the first is the measured one, its joint at the origin of W) and w_from_p of its side."""
    turn = rotation(1, shot["turn"])
    p = shot["pelvis"]
    lean = rotation(0, p[0]) @ rotation(1, p[1]) @ rotation(2, p[2])
    out, first = [], None
    for hip, seat, pose in zip(hips, seats, (shot["pose"], shot.get("other_pose"))):
        if first is None:
            w_from_a, w_from_f = place(hip, seat, pose, np.zeros(3), turn)
            first = w_from_p = w_from_a @ lean
            centre = np.zeros(3)
        else:
            # the other joint is the mirror image of the first in the pelvis
            flip = np.diag([-1.0, 1, 1])
            centre = first(np.array([2 * shot["middle"], 0, 0]))
            w_from_p = Affine(first.linear @ flip, centre)
            w_from_f = place(hip, seat, pose, centre, turn)[1]
        out.append(scene.PlacedHip(hip, centre, w_from_f, seat, w_from_p=w_from_p))
    return out, first


def receptor(shot, low, high, centre):
    """Camera whose receptor shows the rectangle low..high (x, z of W, in the plane of the hip)."""
    sid, ofd, pitch = shot["sid"], shot["ofd"], shot["pitch"]
    beam = np.asarray(centre) + shot["beam"]
    m = sid / (sid - ofd)
    left, bottom = beam + (np.asarray(low) - beam) * m
    right, top = beam + (np.asarray(high) - beam) * m
    return Camera(sid, ofd, float(beam[0]), float(beam[1]), pitch, float(left), float(top),
                  int((top - bottom) / pitch) // 2 * 2, int((right - left) / pitch) // 2 * 2)


def field_hip(rng, placed, extent, crop):
    """Rectangle of an AP hip film: 15 mm below the tip, 90 mm of shaft below the lesser trochanter, greater trochanter
    inside, unless `crop` takes one of them away."""
    one = placed[0]
    inward = -1.0 if one.hip.side == "L" else 1.0
    tip = (one.w_from_f @ one.f_from_s)(one.hip.stem.tip())
    shaft, gt = one.w_from_f(np.array([0, 0, -92.0])), one.w_from_f(one.hip.femur.greater)
    jit = rng.uniform(-8, 8, 4)
    low_z = min(tip[2] - max(extent["down"] + jit[0], 17), shaft[2] - 8)
    high_z = max(extent["up"] + jit[1], gt[2] + 18)
    if crop == "tip":
        low_z = tip[2] + rng.uniform(5, 25)
    if crop == "greater trochanter":
        high_z = gt[2] - rng.uniform(3, 12)
    a, b = sorted([inward * (extent["medial"] + jit[2]), -inward * (extent["lateral"] + jit[3])])
    return (min(a, gt[0] - 22, tip[0] - 30), low_z), (max(b, gt[0] + 22, tip[0] + 30), high_z)


def field_pelvis(rng, placed):
    """Rectangle of an AP pelvis film: both hips, down to below the longer stem."""
    x = [p.centre[0] for p in placed]
    tips = [(p.w_from_f @ p.f_from_s)(p.hip.stem.tip())[2] for p in placed if p.hip.stem]
    side = rng.uniform(75, 105, 2)
    shaft = placed[0].w_from_f(np.array([0, 0, -92.0]))[2]
    return (min(x) - side[0], min(min(tips) - rng.uniform(17, 35), shaft - 6)), (max(x) + side[1], rng.uniform(70, 120))


def make_body(rng, placed, middle_w, obese):
    """Soft parts round the placed femora."""
    fat = rng.uniform(45, 80) if obese else rng.uniform(8, 32)
    gap = rng.uniform(-70, -20) if obese else rng.uniform(-50, 35)
    lateral, depth = rng.uniform(44, 60), rng.uniform(78, 92) + 0.5 * fat
    taper, back = rng.uniform(0.05, 0.12), rng.uniform(85, 105)
    thighs = []
    shafts = [p.w_from_f(np.zeros(3)) for p in placed]
    axes = [_unit(p.w_from_f.direction(np.array([0, 0, 1.0]))) for p in placed]
    if len(placed) == 1:
        shafts.append(np.array([2 * middle_w - shafts[0][0], shafts[0][1], shafts[0][2]]))
        axes.append(axes[0] * [-1, 1, 1])
    for q, d in zip(shafts, axes):
        out = np.sign(q[0] - middle_w)
        skin, inner = q[0] + out * (lateral + 0.9 * fat), middle_w + out * gap / 2
        thighs.append(bodies.Thigh(np.array([0.5 * (skin + inner), q[1] + 8, q[2]]), d, 0.5 * abs(skin - inner), depth, taper))
    half = abs(shafts[0][0] - middle_w) + rng.uniform(28, 45) + 0.8 * fat
    return bodies.Body(mid_x=middle_w, mid_y=rng.uniform(-15, 0), trunk=(half, rng.uniform(85, 102) + 0.8 * fat), crotch_z=rng.uniform(-95, -75),
                       thighs=thighs, fat=fat, back_y=back, pannus=rng.uniform(10, 60) if obese else 0.0)


def staples(rng, body, shaft_point, outward):
    """Row of skin staples along the lateral thigh, meshes in W."""
    out = []
    y0, z = rng.uniform(-25, 25), rng.uniform(40, 60)
    slope = rng.normal(0, 0.25)
    for _ in range(int(rng.integers(14, 26))):
        y = y0 + slope * z + rng.normal(0, 1.2)
        t = np.arange(10.0, 220.0, 1.0)
        line = np.stack([shaft_point[0] + outward * t, np.full_like(t, y), np.full_like(t, z)], -1)
        depth = body.depth(line)
        hit = np.flatnonzero(depth > 0)
        if len(hit):
            p = line[hit[0]]
            along = _unit(np.array([0.0, 1.0, rng.normal(0, 0.3)]))
            inward = np.array([-outward, 0, rng.normal(0, 0.1)])
            path = np.array([p - 3.2 * along + 3.5 * inward, p - 3.2 * along, p + 3.2 * along, p + 3.2 * along + 3.5 * inward])
            out.append(implant.tube_mesh(path, 0.3, 8))
        z -= rng.uniform(4.5, 7.5)
    return out


GLYPHS = {"L": [[(0, 1), (0, 0), (0.6, 0)]],
          "R": [[(0, 0), (0, 1), (0.35, 1), (0.55, 0.9), (0.6, 0.75), (0.55, 0.6), (0.35, 0.5), (0, 0.5)], [(0.3, 0.5), (0.62, 0)]],
          "1": [[(0.05, 0.8), (0.25, 1), (0.25, 0)]], "7": [[(0, 1), (0.6, 1), (0.25, 0)]], "4": [[(0.45, 0), (0.45, 1), (0, 0.3), (0.62, 0.3)]]}


def letters(rng, cam, side):
    """The side's lead letter, often with a figure, near a lateral corner of the receptor."""
    height, stroke = rng.uniform(10, 16), rng.uniform(1.6, 2.6)
    text = side + str(rng.choice(["", "1", "7", "4", "47"]))
    width, tall = cam.cols * cam.pitch, cam.rows * cam.pitch
    x = cam.left + width * (rng.uniform(0.84, 0.9) if side == "L" else rng.uniform(0.04, 0.08))
    y = cam.top - tall * rng.uniform(0.1, 0.9)
    turn = np.radians(rng.normal(0, 8))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    lines = []
    for k, glyph in enumerate(text):
        lines += [(np.array(s, float) + [0.95 * k, 0]) * height @ spin.T + [x, y] for s in GLYPHS[glyph]]
    return [(lines, stroke)]


def make_extras(rng, plan, placed, cam, body, film):
    """Hard sets only: staples on the first film, wires, letters, collimator borders."""
    extras = scene.Extras()
    for one in placed:
        if one.hip.wires:
            extras.hardware.append([(one.w_from_f(p), t) for p, t in one.hip.wires])
    if not plan.hard:
        return extras
    if film == 0 and rng.random() < 0.7:
        outward = 1.0 if placed[0].hip.side == "L" else -1.0
        group = staples(rng, body, placed[0].w_from_f(np.zeros(3)), outward)
        extras.hardware += [[m] for m in group]
    if rng.random() < 0.7:
        extras.letters = letters(rng, cam, placed[0].hip.side)
    if rng.random() < 0.6:
        size = np.array([cam.cols, cam.rows]) * cam.pitch
        margin = rng.uniform(-4, 14, 4)
        lo = np.array([cam.left + margin[0], cam.top - size[1] + margin[1]])
        hi = np.array([cam.left + size[0] - margin[2], cam.top - margin[3]])
        extras.window = (0.5 * (lo + hi), 0.5 * (hi - lo), float(rng.normal(0, 1.2)), float(rng.uniform(0.002, 0.02)))
    return extras


def draw_hips(rng, plan, meshes, subject, side, scale, other):
    """The measured hip and, in part of the hard cases, the other one."""
    hips = [design.make_hip(rng, meshes, subject, side, scale, other=other)]
    pelvis_view = plan.hard and rng.random() < 0.4
    if pelvis_view:
        other = "R" if side == "L" else "L"
        hips.append(design.make_hip(rng, meshes, subject, other, scale, native=bool(rng.random() < 0.35)))
    if plan.hard and rng.random() < 0.4:
        for z in rng.uniform(-55, -12, int(rng.integers(1, 3))):
            hips[0].wires += design.cerclage(rng, hips[0].femur, float(z))
    return hips, pelvis_view


def cavities(placed, start, between):
    """Bone that has made way for the stem: at surgery, half way and now."""
    for k, one in enumerate(placed):
        if one.hip.stem:
            seats = [start, between, one.f_from_s] if k == 0 else [one.f_from_s]
            one.cavity = bones.cavity(one.hip.femur, one.hip.stem, seats, 0.15)


def make_case(meshes, folder, seed, number, followups, set_name, stem_surface=False, lateral=0, other=False):
    """Writes one case, with `lateral` lateral films, `other` one of the wider draws of unlike.py; without `meshes` of bones
    that drawn.py draws. Returns seconds per film."""
    began = time.time()
    plan = PLANS[set_name]
    rng = np.random.default_rng([seed, number, SEEDS[set_name]])
    subject = SUBJECTS[(number + seed) % len(SUBJECTS)] if meshes else drawn.subject(seed, number)
    side = "LR"[int(rng.random() < 0.5)]
    scale = float(rng.uniform(*(unlike.SCALE if other else (0.94, 1.06))))
    hips, pelvis_view = draw_hips(rng, plan, meshes, subject, side, scale, other)
    pelvis = bones.load_pelvis(meshes, subject, scale) if meshes else drawn.load_pelvis(scale)
    bones.fill_pelvis(pelvis, rng, rng.uniform(1.3, 2.0), rng.uniform(0.07, 0.13), rng.uniform(0.3, 0.5))
    steps = design.migrations(rng, followups, plan.still)
    habits = {"obese": bool(rng.random() < (0.5 if plan.hard else 0.15)), "body_seed": int(rng.integers(1 << 31)),
              "spacing": str(rng.choice(["imager", "imager", "both", "none"])), "pelvis_view": pelvis_view,
              "extent": {"up": rng.uniform(55, 95), "down": rng.uniform(22, 55), "lateral": rng.uniform(70, 115), "medial": rng.uniform(75, 110)}}
    day = datetime.date(2021, 1, 4) + datetime.timedelta(int(rng.integers(0, 900)))
    os.makedirs(folder, exist_ok=True)
    beds, side_beds = draw_beds(rng, seed, number, hips[0], followups) if plan.lucency else ([None] * (followups + 1),) * 2
    films, seats = [], []
    for k in range(followups + 1):
        seats.append(design.moved(hips[0].stem, hips[0].f_from_s, steps[k]))
        date = (day + datetime.timedelta(VISIT_DAYS[k % len(VISIT_DAYS)] + 365 * (k // len(VISIT_DAYS)) * 5)).isoformat()
        films.append(make_film(rng, plan, hips, pelvis, steps[k], habits, folder, number, k, date, beds[k]))
    for visit in lateral_days(lateral, followups):  # drawn apart so that the others stay what they are
        side_on = np.random.default_rng([seed, number, 0x1A7] + [visit] * (visit > 0))
        pose = [float(side_on.normal(m, s)) for m, s in LATERAL_POSE]
        films.append(make_film(side_on, plan, hips, pelvis, steps[visit], habits | {"pelvis_view": False}, folder, number, len(films),
                               films[visit][1], side_beds[visit], pose))
    if stem_surface:
        implant.write_stl(os.path.join(folder, STEM_FILE), hips[0].stem, side, np.random.default_rng([seed, number, 0x53]))
    write_sheet(folder, number, side, day, hips[0].stem, films, STEM_FILE if stem_surface else None)
    write_truth(folder, seed, number, set_name, subject, hips, films, steps, seats)
    return (time.time() - began) / len(films)


def lateral_days(lateral, followups):
    """The films whose day has a lateral one too: the first, with two of them also the last."""
    return [0, followups][:lateral if followups else min(lateral, 1)]


def draw_beds(rng, seed, number, hip, followups):
    """What the stem lies in on each day, as frontal films and as lateral ones show it; one hip in five has no line at all."""
    blank = bool(rng.random() < 0.2)
    beds = [lines.draw(rng, hip.femur, hip.stem, hip.f_from_s, blank)]
    for _ in range(followups):
        beds.append(lines.later(rng, beds[-1], blank))
    side_on = np.random.default_rng([seed, number, 0x1B7])
    from_side = [lines.draw_from_side(side_on, hip.stem, beds[0], blank)]
    for _ in range(followups):
        from_side.append(lines.later(side_on, from_side[-1], blank))
    return beds, from_side


def make_film(rng, plan, hips, pelvis, step, habits, folder, number, k, date, bed, lateral_pose=None):
    """Exposes, processes and writes film k, from the side when that pose is given; returns (truth entry, date)."""
    start, half, seat = (design.moved(hips[0].stem, hips[0].f_from_s, [share * v for v in step]) for share in (0.0, 0.5, 1.0))
    shot = draw_shot(rng, plan)
    if lateral_pose:
        shot["pose"] = lateral_pose
    shot["middle"] = pelvis.middle
    shot["other_pose"] = [float(rng.normal(0, s)) for s in plan.pose_sd]
    placed, w_from_p = place_all(hips, [seat] + [h.f_from_s for h in hips[1:]], shot)
    cavities(placed, start, half)
    if bed:
        placed[0].cavity, placed[0].lining = lines.bed_grids(hips[0].stem, placed[0].f_from_s, bed)
    inward = -1.0 if hips[0].side == "L" else 1.0
    middle_w = inward * pelvis.middle
    crop = str(rng.choice(["none", "none", "none", "none", "tip", "greater trochanter"])) if plan.hard and k else "none"
    if habits["pelvis_view"]:
        crop = "none"
        cam = receptor(shot, *field_pelvis(rng, placed), (middle_w, -35.0))
    else:
        cam = receptor(shot, *field_hip(rng, placed, habits["extent"], crop), (0.0, -40.0))
    same = np.random.default_rng(habits["body_seed"])
    body = make_body(same, placed, middle_w, habits["obese"])
    line = (placed[0].w_from_f(np.array([16.0, -8, 0])), _unit(placed[0].w_from_f.direction(np.array([0, 0, 1.0]))))
    body.lumps = bodies.random_lumps(same, np.zeros(3), inward, line, int(rng.integers(0, 6)))
    extras = make_extras(rng, plan, placed, cam, body, k)
    signal = scene.expose(cam, placed, pelvis, w_from_p, body, extras, shot, rng)
    chain = draw_chain(rng, plan.hard)
    name = f"film-{k:02d}.dcm"
    write_dicom.write(os.path.join(folder, name), processing.apply(signal, cam.pitch, chain), hip=f"TM-{number + 1:04d}", side=hips[0].side,
                      date=date, bits=chain.bits, photometric=chain.photometric, pitch=cam.pitch, spacing=habits["spacing"],
                      sid=shot["sid"] if rng.random() < 0.6 else None, ofd=shot["ofd"] if rng.random() < 0.4 else None,
                      laterality=bool(rng.random() < 0.75) and not habits["pelvis_view"],
                      body_part="PELVIS" if habits["pelvis_view"] else "HIP", number=k,
                      view=("LL" if hips[0].side == "L" else "RL") if lateral_pose else "AP",
                      # lines are what that set is about; elsewhere the lesser trochanter must tell which way a film faces
                      faces=lateral_pose is not None and plan.lucency)
    entry = {"file": name, **truth.of_hip(cam, placed[0], hips[0].stem.body_mesh()[0])}
    entry |= seat_truth.of_film(cam, placed[0], entry)
    if habits["pelvis_view"]:
        entry["pelvis"] = seat_truth.of_pelvis(cam, placed, pelvis.middle, w_from_p)
    entry |= {
             "pose_deg": dict(zip(("flexion", "abduction", "rotation"), shot["pose"])),
             "beam": {"centre_px": truth.foot_of_beam(cam)},
             "migration": dict(zip(("subsidence_mm", "medial_mm", "tilt_change_deg"), step)),
             "processing": {**asdict(chain), **{n: shot[n] for n in ("sid", "ofd", "turn", "kvp", "scatter", "quanta", "pitch")},
                            "crop": crop, "pelvis_view": habits["pelvis_view"], "obese": habits["obese"],
                            "collimator": bool(extras.window), "letters": bool(extras.letters), "hardware": len(extras.hardware)}}
    if lateral_pose:
        entry["view"] = "LAT"
    if bed:
        entry["lucency"] = lines.truth_of(cam, placed[0].w_from_f @ placed[0].f_from_s, hips[0].stem, bed, entry)
    if len(placed) > 1 and placed[1].hip.stem:
        entry["other_hip"] = truth.of_hip(cam, placed[1], placed[1].hip.stem.body_mesh()[0])
    return entry, date


def write_sheet(folder, number, side, day, stem, films, surface=None):
    rows = [{"file": t["file"], "role": "follow-up" if k else "reference", "date": date, "view": t.get("view", "AP")} for k, (t, date) in enumerate(films)]
    write_json(folder, "series.json", {"hip": f"TM-{number + 1:04d}", "side": side, "surgery_date": day.isoformat(), "stem": {
        "fixation": "uncemented", "length_mm": round(stem.length, 1), "head_diameter_mm": 2 * stem.head_radius} | ({"surface": surface} if surface else {}), "films": rows})


def write_truth(folder, seed, number, set_name, subject, hips, films, steps, seats):
    hip = hips[0]
    comparisons = [{"reference": 0, "follow_up": k, "subsidence_mm": steps[k][0], "medial_mm": steps[k][1], "tilt_change_deg": steps[k][2],
                    "subsidence_at_mm": truth.displacement(hip.stem, seats[0], seats[k])} for k in range(1, len(seats))]
    write_json(folder, "truth.json", {
        "schema": "tidemark/truth/1", "simulator": VERSION, "seed": seed, "side": hip.side, "head_diameter_mm": 2 * hip.stem.head_radius,
        "films": [t for t, _ in films], "comparisons": comparisons, "seat": seat_truth.of_seat(hips, seats[0]),
        "case": {"number": number, "set": set_name, "subject": subject, "stem": asdict(hip.stem), "cup": asdict(hip.cup), "head": hip.head_material,
                 "metal": hip.stem_material, "collar": hip.collar is not None}})


def _unit(v):
    return v / np.linalg.norm(v)


def write_json(folder, name, data):
    plain = lambda v: v.item() if isinstance(v, np.generic) else v.tolist() if isinstance(v, np.ndarray) else str(v)
    path = os.path.join(folder, name)
    with open(path + ".part", "w", encoding="ascii") as stream:
        json.dump(data, stream, indent=1, default=plain)
        stream.write("\n")
    os.replace(path + ".part", path)
