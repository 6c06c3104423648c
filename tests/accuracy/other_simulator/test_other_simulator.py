#!/usr/bin/python3
"""Checks of the simulator against closed forms and against its own pictures.

usage: test_other_simulator.py [--meshes DIR] [unittest arguments]   (without the meshes only the closed forms are checked)

Exit: 77 where numpy, scipy or pydicom is missing.
"""
import json
import os
import sys
import tempfile
import types
import unittest

try:
    import numpy as np
    import pydicom
    import scipy  # noqa: F401
except ModuleNotFoundError as missing:
    print(f"test_other_simulator.py: {missing}; scripts/setup installs it", file=sys.stderr)
    sys.exit(77)

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import case  # noqa: E402
import design  # noqa: E402
import drawn  # noqa: E402
import implant  # noqa: E402
import lines  # noqa: E402
import physics  # noqa: E402
import project  # noqa: E402
import scene  # noqa: E402
import truth  # noqa: E402
import unlike  # noqa: E402
import write_dicom  # noqa: E402
from frames import Camera, leg_pose, translation, world_from_anatomy  # noqa: E402

MESHES = None
CAM = Camera(1100.0, 160.0, 12.0, -30.0, 0.15, -150.0, 120.0, 2300, 2000)


def globe(radius, centre):
    a = np.linspace(0.001, np.pi - 0.001, 160)
    b = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    ring = np.stack([np.sin(a)[:, None] * np.cos(b), np.sin(a)[:, None] * np.sin(b), np.repeat(np.cos(a)[:, None], len(b), 1)], -1)
    p, t = implant._loft(ring)
    return p * radius + centre, t


class ClosedForms(unittest.TestCase):
    def test_titanium_and_bone_transmit_as_tabulated(self):
        # NIST (Hubbell & Seltzer) values through 10 mm at 60 and 80 keV
        for name, t60, t80 in (("ti64", 0.0377, 0.1744), ("bone", 0.5464, 0.6518), ("soft", 0.8049, 0.8243)):
            self.assertAlmostEqual(np.exp(-10 * physics.at(name, 60.0)), t60, delta=6e-4)
            self.assertAlmostEqual(np.exp(-10 * physics.at(name, 80.0)), t80, delta=6e-4)

    def test_attenuation_below_50_kev_is_its_own(self):
        # Between NIST's values at 40 and 50 keV, log-log by hand: bone 0.6655 and 0.4242 cm2/g, soft tissue 0.2688 and 0.2264.
        self.assertAlmostEqual(physics.at("bone", 40.0), 0.6655 * 0.192, delta=1e-6)
        self.assertAlmostEqual(physics.at("bone", 45.0), 0.10074, delta=2e-5)
        self.assertAlmostEqual(physics.at("soft", 45.0), 0.02602, delta=1e-5)
        for beyond in (39.9, 100.1):
            with self.assertRaises(ValueError):
                physics.at("bone", beyond)

    def test_every_line_of_the_tube_lies_in_the_table(self):
        for kvp in np.linspace(70, 85, 7):   # what case.draw_shot draws from
            kev, weight = physics.spectrum(kvp)
            self.assertAlmostEqual(weight.sum(), 1.0, delta=1e-12)
            self.assertTrue(all(physics.at(name, e) > 0 for name in physics.DENSITY for e in kev))

    def test_mesh_path_of_a_globe_is_its_chord(self):
        centre = np.array([30.0, -20.0, -60.0])
        p, t = globe(16.0, centre)
        px = CAM.to_pixel(centre)
        first, n = np.floor(px - 140), 280
        mesh = project.mesh_path(CAM, p, t, first[0] + 0.137, first[1] + 0.291, n, n, 1.0)
        dirs = project.ray_directions(CAM, first[0] + 0.137 + np.arange(n), first[1] + 0.291 + np.arange(n))
        a, b = project.ball_interval(CAM, dirs, centre, 16.0)
        inner = (b - a) > 6
        self.assertLess(np.abs(mesh - (b - a))[inner].max(), 0.03)
        self.assertEqual(mesh[(b - a) == 0].max(), 0.0)

    def test_voxel_path_of_a_globe_is_its_chord(self):
        centre, radius, h = np.array([-20.0, 15.0, 10.0]), 18.0, 0.7

        def slab(ys, xs, zs):
            r = np.sqrt((xs[None, None, :] - centre[0]) ** 2 + (ys[:, None, None] - centre[1]) ** 2 + (zs[None, :, None] - centre[2]) ** 2)
            return np.clip(0.5 - (r - radius) / h, 0, 1).astype(np.float32)
        image = project.refine(project.slab_path(CAM, slab, (centre - 20, centre + 20), h, 2), 2, CAM.rows, CAM.cols)
        px = np.round(CAM.to_pixel(centre)).astype(int)
        cols, rows = np.arange(px[0] - 130, px[0] + 130), np.arange(px[1] - 130, px[1] + 130)
        a, b = project.ball_interval(CAM, project.ray_directions(CAM, cols, rows), centre, radius)
        got = image[rows[0]:rows[-1] + 1, cols[0]:cols[-1] + 1]
        inner = (b - a) > 10
        self.assertLess(np.abs(got - (b - a))[inner].mean(), 0.06)
        self.assertLess(abs((got - (b - a))[inner].mean()), 0.06)
        # centre of mass: no shift between the voxel and the ray geometry
        for axis, positions in ((1, rows), (0, cols)):
            sums = got.sum(axis), (b - a).sum(axis)
            self.assertAlmostEqual(*[(s * positions).sum() / s.sum() for s in sums], delta=0.02)

    def test_ball_truth_is_the_outline_of_its_shadow(self):
        centre, radius = np.array([-60.0, 5.0, 70.0]), 18.0
        lo, hi, factor = scene.metal_factor(CAM, [("ball", "cocr", (centre, radius))], [60.0])
        n = 9
        px, major, minor = truth.sphere_outline(CAM, centre, radius)
        cols = lo[0] + (np.arange((hi - lo)[0] * n) + 0.5) / n - 0.5
        rows = lo[1] + (np.arange((hi - lo)[1] * n) + 0.5) / n - 0.5
        a, b = project.ball_interval(CAM, project.ray_directions(CAM, cols, rows), centre, radius)
        covered = b > a
        self.assertAlmostEqual(covered.sum() / n ** 2, np.pi / 4 * major * minor, delta=0.0005 * major * minor)
        yy, xx = np.nonzero(covered)
        self.assertAlmostEqual(cols[xx].mean(), px[0], delta=0.02)
        self.assertAlmostEqual(rows[yy].mean(), px[1], delta=0.02)
        self.assertLess(factor[0][int(px[1]) - lo[1], int(px[0]) - lo[0]], 1e-6)

    def test_pose_signs(self):
        knee, front = np.array([0.0, 0, -300]), np.array([0.0, 50, 0])
        self.assertGreater(leg_pose(5, 0, 0)(knee)[1], 20)      # flexion: knee anterior
        self.assertLess(leg_pose(0, 5, 0)(knee)[0], -20)        # abduction: knee lateral
        self.assertGreater(leg_pose(0, 0, 5)(front)[0], 4)      # internal rotation: front medial

    def test_migration_of_named_points(self):
        # rotation +2 degrees (varus) and shift (0.4, 1.5): worked table, frame medial +x, distal +y
        stem = plain_stem()
        seat = translation([3.0, 0, 40.0])
        after = design.moved(stem, seat, (1.5, 0.4, 2.0))
        ref = seat(stem.reference())
        for point, dx, dy in (((0, 0), 0.4, 1.5), ((20, -10), 0.737, 2.204), ((8, 130), -4.142, 1.7), ((35, -35), 1.6, 2.743)):
            p = seat.inverse()(ref + np.array([point[0], 0, -point[1]]))
            d = after(p) - seat(p)
            self.assertAlmostEqual(d[0], dx, delta=6e-4)
            self.assertAlmostEqual(-d[2], dy, delta=6e-4)


def plain_stem():
    return implant.StemShape(length=140, tip_width=10, taper_deg=1.5, lateral_flare=5, lateral_flare_length=40, medial_flare=12,
                             medial_flare_length=70, tip_thickness=8, top_thickness=14, round_tip=True, shoulder_flat=6, face_deg=38,
                             ccd_deg=130, neck_origin=25, offset=42, neck_radius=6, head_radius=16)


class Unlike(unittest.TestCase):
    def test_sockets_of_all_kinds_leave_room_for_their_heads(self):
        kinds = set()
        for seed in range(200):
            rng = np.random.default_rng(seed)
            femur = types.SimpleNamespace(head_centre=np.array([42.0, 0, 60]), head_radius=rng.uniform(20, 27))
            stem = unlike.blank_stem(rng, femur, 12.0)
            cup = unlike.socket(rng, femur, stem)
            kinds.add(cup.kind)
            self.assertGreaterEqual(cup.outer_radius - cup.shell - stem.head_radius, 1.5, (seed, cup, stem.head_radius))
        self.assertEqual(kinds, {"shell", "wire", "own"})

    def test_a_collar_has_the_volume_of_its_plate(self):
        stem = plain_stem()
        rng = np.random.default_rng(5)
        reach, half = (lambda r: (r.uniform(6, 11), r.uniform(5, 8)))(np.random.default_rng(5))
        points, faces = unlike.collar(rng, stem)
        a, b, c = (points[faces[:, k]] for k in range(3))
        volume = abs(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)
        # an ellipse of 24 corners has 24/(2 pi) sin(15 deg) of its area (derived)
        self.assertAlmostEqual(volume / (np.pi * reach * half * 2.5), 24 / (2 * np.pi) * np.sin(np.radians(15)), 6)

    def test_cement_weakens_more_than_bone_does(self):
        # bone cement is made to stand out from bone on films (common practice, no source)
        self.assertGreater(physics.at("cement", 60), physics.at("bone", 60))


class Drawn(unittest.TestCase):
    def test_a_femur_is_closed_smooth_and_has_its_landmarks_on_it(self):
        for number in range(3):
            femur = drawn.load_femur(drawn.subject(1, number), 15.0, 1.0)
            for point in (femur.greater, femur.lesser):
                self.assertLess(np.linalg.norm(femur.samples - point, axis=1).min(), 1e-6)
            self.assertAlmostEqual(femur.lesser[2], 0.0, delta=1e-6)
            self.assertLess(femur.greater[0], -8)               # lateral and above
            self.assertGreater(femur.greater[2], 30)
            self.assertLess(femur.lesser[1], -15)               # behind
            # the head is a ball about its centre wherever no neck is
            away = femur.samples - femur.head_centre
            free = (np.linalg.norm(away, axis=1) < femur.head_radius + 1) & (away @ [0.7, 0, 0.7] > 0.5 * femur.head_radius)
            self.assertGreater(free.sum(), 500)
            self.assertLess(np.abs(np.linalg.norm(away[free], axis=1) - femur.head_radius).max(), 0.4)
            # distances grow by one a mm across the surface, to the error of melting
            out = femur.outer.at(femur.samples + 1.5 * femur.normals) - femur.outer.at(femur.samples - 1.5 * femur.normals)
            inside = femur.samples[:, 2] > femur.lowest + 5
            self.assertLess(abs(np.median(out[inside]) - 3.0), 0.3)

    def test_the_same_name_is_the_same_bone_and_another_is_not(self):
        one, again, other = (drawn.shape_of(drawn.subject(1, n), 1.0) for n in (0, 0, 1))
        self.assertEqual(one, again)
        self.assertNotEqual(one, other)
        self.assertAlmostEqual(drawn.shape_of(drawn.subject(1, 0), 1.1).shaft, 1.1 * one.shaft)

    def test_a_case_needs_no_file(self):
        with tempfile.TemporaryDirectory() as folder:
            case.make_case(None, folder, 1, 0, 0, "seat")
            with open(os.path.join(folder, "truth.json"), encoding="ascii") as stream:
                told = json.load(stream)
            self.assertTrue(drawn.is_drawn(told["case"]["subject"]))
            self.assertTrue(all(told["films"][0]["visible"][k] for k in ("head", "stem_tip", "greater_trochanter")))


class Beds(unittest.TestCase):
    """The bone beside a stem with lines of known width."""

    @classmethod
    def setUpClass(cls):
        cls.stem = plain_stem()
        rows = [lines.Line(2, 2.0, 0.0, 1.0, 0.8), lines.Line(6, 1.0, 0.0, 1.0, 0.0)]
        cls.bed = lines.Bed(20.0, 140.0, rows, 2.0, 0.4, 140.0)
        cls.gone, cls.lining = lines.bed_grids(cls.stem, translation([0, 0, 0]), cls.bed)

    def beside(self, side, s, away):
        """Point `away` mm off the flank, across it (its slope is below 2 degrees here)."""
        flank = self.stem.medial if side > 0 else self.stem.lateral
        return np.array([side * (flank(np.array([s]))[0] + away), 0.0, -s])

    def wall(self, side, s):
        away = np.arange(-1.0, 5.0, 0.05)
        depth = np.array([float(self.gone.at(self.beside(side, s, a)[None])[0]) for a in away])
        return away[np.argmax(depth > 0)]

    def test_wall_stands_as_far_from_the_flank_as_the_line_is_wide(self):
        self.assertAlmostEqual(self.wall(-1, 80.0), 2.0, delta=0.1)
        self.assertAlmostEqual(self.wall(1, 80.0), 1.0, delta=0.1)
        self.assertAlmostEqual(self.wall(1, 115.0), 0.0, delta=0.1)

    def test_bone_reaches_the_sunk_neck(self):
        # medial border of the metal in its mid-plane: flank or the neck's lower edge, a cylinder (textbook geometry)
        d, n = self.stem.neck_direction, self.stem.neck_origin
        below = np.array([d[2], 0.0, -d[0]])
        for s in np.arange(12.0, 60.0, 1.0):
            t = ((n - s) + self.stem.neck_radius * d[0]) / d[2]
            edge = self.stem.medial(np.array([s]))[0]
            if t > 5.0:
                edge = max(edge, t * d[0] + self.stem.neck_radius * below[0])
            self.assertGreater(float(self.gone.at(np.array([[edge + 1.0, 0.0, -s]]))[0]), 0.0, f"{s}")

    def test_rim_and_compacted_bone_begin_at_the_wall(self):
        dense = lambda side, away: float(self.lining.at(self.beside(side, 80.0, away)[None])[0])
        self.assertGreater(dense(-1, 2.3), 0.85)
        self.assertAlmostEqual(dense(-1, 3.4), 0.4, delta=0.05)
        self.assertAlmostEqual(dense(1, 2.0), 0.4, delta=0.05)
        self.assertLess(dense(1, 4.0), 0.05)

    def test_spans_are_shares_of_thirds(self):
        # docs/lucency: 126 mm in bone, borders at 42 and 84 mm; 30 to 60 mm is 12 mm of zone 1 and 18 mm of zone 2
        bed = lines.Bed(0.0, 126.0, [], 2.0, 0.4, 126.0)
        self.assertAlmostEqual(bed.third(), 42.0)
        self.assertEqual(bed.span(lines.Line(5, 1.0, 0.5, 1.0, 0.0)), (105.0, 126.0))


def bed_from_side(stem, rows):
    return lines.Bed(20.0, stem.length, rows, 2.0, 0.4, stem.length, from_side=True, face_end=stem.face_end())


class BedsFromTheSide(unittest.TestCase):
    """The bone in front of and behind a stem with lines of known width."""

    @classmethod
    def setUpClass(cls):
        cls.stem = plain_stem()
        cls.bed = bed_from_side(cls.stem, [lines.Line(9, 2.0, 0.0, 1.0, 0.8), lines.Line(12, 1.0, 0.0, 1.0, 0.0)])
        cls.gone, cls.lining = lines.bed_grids(cls.stem, translation([0, 0, 0]), cls.bed)

    def before(self, side, s, away):
        """Points `away` mm off a face (1 front, -1 back), whose slope is below 2 degrees here, in its middle."""
        x = 0.5 * (self.stem.medial(s) - self.stem.lateral(s))
        y = side * (self.stem.half_thickness(s) + np.asarray(away))
        return np.stack([np.full_like(y, x), y, np.full_like(y, -s)], -1)

    def wall(self, side, s):
        away = np.arange(-1.0, 5.0, 0.05)
        return away[np.argmax(self.gone.at(self.before(side, s, away)) > 0)]

    def test_wall_stands_as_far_from_the_face_as_the_line_is_wide(self):
        # zones of 40 mm from 20 mm on: 9 in the middle third in front, 12 in the distal one behind
        self.assertAlmostEqual(self.wall(1, 80.0), 2.0, delta=0.1)
        self.assertAlmostEqual(self.wall(-1, 120.0), 1.0, delta=0.1)
        for side, s in ((1, 40.0), (1, 120.0), (-1, 40.0), (-1, 80.0)):
            self.assertAlmostEqual(self.wall(side, s), 0.0, delta=0.1)

    def test_rim_and_compacted_bone_begin_at_the_wall(self):
        dense = lambda side, s, away: float(self.lining.at(self.before(side, s, [away]))[0])
        self.assertGreater(dense(1, 80.0, 2.4), 0.85)
        self.assertAlmostEqual(dense(1, 80.0, 3.5), 0.4, delta=0.05)
        self.assertAlmostEqual(dense(-1, 120.0, 2.0), 0.4, delta=0.05)
        self.assertLess(dense(-1, 120.0, 4.0), 0.05)

    def test_line_keeps_its_width_20_degrees_off_the_side(self):
        # how far the grown section stands out beyond the stem's own, seen along a turned ray
        s, width = 80.0, 2.0
        x, y = np.meshgrid(np.arange(-25, 25, 0.05), np.arange(-18, 18, 0.05), indexing="ij")
        p = np.stack([x, y, np.full_like(x, -s)], -1)
        stem, bed = self.stem.section_depth(p) < 0, self.stem.section_depth(p, front=width) < 0
        for turn in (-20.0, -10.0, 0.0, 10.0, 20.0):
            out = x * np.sin(np.radians(turn)) + y * np.cos(np.radians(turn))
            self.assertAlmostEqual(out[bed].max() - out[stem].max(), width, delta=0.03 * width + 0.05, msg=f"{turn}")

    def test_lines_end_where_the_tip_begins(self):
        # a round end: half an ellipse, as wide as the tip is thick and as long as the tip's half width (closed form)
        half, along = 0.5 * self.stem.tip_thickness, 0.5 * self.stem.tip_width
        self.assertAlmostEqual(self.stem.length - self.stem.face_end(), along - along ** 2 / np.hypot(along, half), delta=0.15)
        self.assertEqual(self.bed.span(self.bed.lines[1]), (100.0, self.stem.face_end()))
        self.assertEqual(self.bed.span(self.bed.lines[0]), (60.0, 100.0))

    def test_drawn_lines_are_those_of_zones_8_to_14_in_the_same_bed(self):
        rng, frontal = np.random.default_rng(3), lines.Bed(20.0, 140.0, [lines.Line(2, 1.0, 0, 1, 0)], 2.0, 0.4, 90.0)
        for _ in range(40):
            bed = lines.draw_from_side(rng, self.stem, frontal, False)
            for some in (bed, lines.later(rng, bed, False)):
                self.assertLessEqual({x.zone for x in some.lines}, {8, 9, 10, 12, 13, 14})
                self.assertEqual((some.entry, some.compact, some.compact_to, some.from_side), (20.0, 2.0, 90.0, True))
            self.assertTrue(all(x.rim > 0 for x in bed.lines if bed.span(x)[1] > 90.0))   # beyond it lies marrow
        self.assertEqual([x.zone for x in frontal.lines], [2])
        blank = lines.draw_from_side(rng, self.stem, frontal, True)
        self.assertEqual(lines.later(rng, blank, True).lines, [])


class TruthFromTheSide(unittest.TestCase):
    """A stem alone before the camera, its front outwards, without a mesh."""

    def see(self, side, rows, turn=-88.0, flexion=0.0):
        stem = plain_stem()
        bed = bed_from_side(stem, rows)
        w_from_s = world_from_anatomy(side, np.array([0, 0, 40.0])) @ leg_pose(flexion, 6.0, turn)
        axis = CAM.to_pixel(w_from_s(np.array([[0, 0, -0.5 * stem.length], stem.tip()])))
        film = {"stem_axis_px": axis, "points_px": {"stem_tip": axis[1]}, "mm_per_px": CAM.pitch / CAM.magnification(w_from_s(stem.reference()))}
        return stem, bed, w_from_s, film, lines.truth_of(CAM, w_from_s, stem, bed, film)

    def outline(self, w_from_s, film, depth, grid_step=0.25):
        """(along the axis, across it) in mm of the shadow of the places where `depth`(p in S) is negative."""
        x, y, s = np.meshgrid(np.arange(-16, 30, grid_step), np.arange(-13, 13, grid_step), np.arange(15.0, 140, 2.0), indexing="ij")
        p = np.stack([x, y, -s], -1)
        px = CAM.to_pixel(w_from_s(p[depth(p) < 0]))
        d = (film["stem_axis_px"][1] - film["stem_axis_px"][0])
        d = d / np.linalg.norm(d)
        rel = (px - film["stem_axis_px"][0]) * film["mm_per_px"]
        return np.stack([rel @ d, rel @ np.array([1.0, 0])], -1), d

    def test_back_lies_where_a_frontal_film_has_medial_and_the_file_says_so(self):
        for side, sign, faces in (("R", 1, "P"), ("L", -1, "A")):
            _, _, w_from_s, film, told = self.see(side, [])
            self.assertGreater(sign * (np.array(told["entry_px"]) - film["stem_axis_px"][0])[0], 20)
            back = CAM.to_pixel(w_from_s(np.array([0, -9.0, -60]))) - CAM.to_pixel(w_from_s(np.array([0, 9.0, -60])))
            self.assertGreater(sign * back[0], 50)
            self.assertEqual(self.written(side, "LL", True), [faces, "F"])
            self.assertEqual(self.written(side, "LL", False), ["L", "F"])

    @staticmethod
    def written(side, view, faces):
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "film.dcm")
            write_dicom.write(path, np.zeros((8, 8), np.uint16), hip="TM-0001", side=side, date="2021-01-04", bits=12, photometric="MONOCHROME2",
                              pitch=0.15, spacing="imager", sid=None, ofd=None, laterality=True, body_part="HIP", number=0, view=view, faces=faces)
            return list(pydicom.dcmread(path).PatientOrientation)

    def test_zones_are_thirds_from_the_entry_at_the_back_to_the_tip(self):
        for turn, flexion in ((-88.0, 0.0), (-75.0, 6.0), (-100.0, -6.0)):
            stem, bed, w_from_s, film, told = self.see("R", [lines.Line(9, 2.0, 0.25, 0.75, 0.8)], turn, flexion)
            self.assertEqual([z["zone"] for z in told["zones"]], list(range(8, 15)))
            entry, d = np.array(told["entry_px"]), film["stem_axis_px"][1] - film["stem_axis_px"][0]
            down = (film["stem_axis_px"][1] - entry) @ d / np.linalg.norm(d) * film["mm_per_px"]
            self.assertAlmostEqual(told["zones"][0]["length_mm"], down / 3, delta=1e-3)
            # the entry lies on the metal's outline, at its level
            cloud, _ = self.outline(w_from_s, film, stem.section_depth, 0.125)
            level = (entry - film["stem_axis_px"][0]) @ d / np.linalg.norm(d) * film["mm_per_px"]
            across = (entry - film["stem_axis_px"][0])[0] * film["mm_per_px"]
            near = cloud[np.abs(cloud[:, 0] - level) < 1.2, 1]
            self.assertAlmostEqual(near.max(), across, delta=0.3)

    def test_the_shadow_of_the_gap_is_where_truth_says(self):
        for side, turn, flexion in (("R", -88.0, 0.0), ("L", -75.0, 5.0)):
            for zone in (9, 13):
                stem, bed, w_from_s, film, told = self.see(side, [lines.Line(zone, 2.0, 0.25, 0.75, 0.0)], turn, flexion)
                metal, d = self.outline(w_from_s, film, stem.section_depth)
                room, _ = self.outline(w_from_s, film, lambda p: lines._grown_depth(stem, bed, p, lambda line: 0.0))
                entry = np.array(told["entry_px"])
                back = np.sign((entry - film["stem_axis_px"][0])[0])
                start = (entry - film["stem_axis_px"][0]) @ d * film["mm_per_px"]
                row = told["zones"][zone - 8]
                border = start + row["length_mm"]   # both are the middle zone of their side
                line, = row["lines"]
                self.assertEqual((line["width_mm"], line["interface"], line["rim"]), (2.0, "stem_bone", False))
                self.assertTrue(all(not z["lines"] for z in told["zones"] if z["zone"] != zone))
                way = back if zone == 13 else -back
                wide = lambda level, to: self.reach(room, level, to) - self.reach(metal, level, to)
                middle = border + 0.5 * (line["from_mm"] + line["to_mm"])
                self.assertAlmostEqual(wide(middle, way), 2.0, delta=0.3)
                self.assertAlmostEqual(wide(middle, -way), 0.0, delta=0.3)
                for end in ("from_mm", "to_mm"):
                    out = -3.0 if end == "from_mm" else 3.0
                    self.assertLess(wide(border + line[end] + out, way), 0.3)
                    self.assertGreater(wide(border + line[end] - out, way), 1.7)

    @staticmethod
    def reach(cloud, level, way):
        return (way * cloud[np.abs(cloud[:, 0] - level) < 1.2, 1]).max()

    def test_lateral_days(self):
        self.assertEqual([case.lateral_days(*v) for v in ((0, 2), (1, 2), (2, 2), (2, 0), (1, 0))], [[], [0], [0, 2], [0], [0]])


class Films(unittest.TestCase):
    """One hip of the bone meshes, seen under known poses."""

    @classmethod
    def setUpClass(cls):
        if MESHES is None:
            raise unittest.SkipTest("no --meshes")
        cls.hips = {s: design.make_hip(np.random.default_rng(5), MESHES, "02", s, 1.0) for s in "LR"}

    def see(self, side="L", migration=(0.0, 0, 0), pose=(0.0, 0, 0)):
        hip = self.hips[side]
        shot = {"sid": 1100.0, "ofd": 160.0, "beam": np.zeros(2), "turn": 0.0, "pose": pose, "pelvis": (0, 0, 0), "pitch": 0.15, "middle": 95.0}
        seat = design.moved(hip.stem, hip.f_from_s, migration)
        placed, _ = case.place_all([hip], [seat], shot)
        cam = case.receptor(shot, (-110.0, -220.0), (110.0, 90.0), (0.0, -40.0))
        return cam, placed[0], truth.of_hip(cam, placed[0], hip.stem.body_mesh()[0])

    def test_sides_are_mirror_images(self):
        (cam, _, left), (_, _, right) = self.see("L", pose=(3, -2, 6)), self.see("R", pose=(3, -2, 6))
        for name, p in left["points_px"].items():
            q = right["points_px"][name]
            self.assertAlmostEqual(p[0] + q[0], -2 * cam.left / cam.pitch, delta=1e-3, msg=name)
            self.assertAlmostEqual(p[1], q[1], delta=1e-3, msg=name)
        self.assertAlmostEqual(left["tilt_deg"], right["tilt_deg"], delta=1e-4)

    def test_anatomy_lies_where_it_should(self):
        for side, inward in (("L", -1), ("R", 1)):
            _, _, t = self.see(side)
            p = {k: np.array(v) for k, v in t["points_px"].items()}
            head = np.array(t["head"]["centre_px"])
            self.assertGreater(inward * (head - p["stem_reference"])[0], 100)          # head medial of the stem
            self.assertGreater(inward * (p["lesser_trochanter"] - p["stem_tip"])[0], 0)
            self.assertGreater(p["stem_tip"][1], p["lesser_trochanter"][1])            # tip below, rows grow downwards
            self.assertGreater(inward * (head - p["greater_trochanter"])[0], 150)
            self.assertGreater(p["stem_reference"][1], p["stem_shoulder"][1])

    def test_shadow_of_the_stem_ends_at_the_truth(self):
        for pose in ((0, 0, 0), (6, 3, -10)):
            cam, one, t = self.see("R", pose=pose)
            body = scene.implant_parts(one)[0]
            lo, hi, factor = scene.metal_factor(cam, [body], [60.0])
            mask = factor[0] < 0.97
            rows, cols = np.nonzero(mask)
            px = np.stack([cols + lo[0], rows + lo[1]], -1)
            axis = np.array(t["stem_axis_px"])
            d = (axis[1] - axis[0]) / np.linalg.norm(axis[1] - axis[0])
            tip = np.array(t["points_px"]["stem_tip"])
            self.assertAlmostEqual(((px - tip) @ d).max(), 0.0, delta=1.2)
            lateral = np.array([-d[1], d[0]])
            lateral = lateral if lateral[0] < 0 else -lateral     # right hip: lateral is image left
            corner = np.array(t["points_px"]["stem_shoulder"])
            diagonal = (lateral - d) / np.sqrt(2)
            self.assertAlmostEqual(((px - corner) @ diagonal).max(), 0.0, delta=1.6)

    def test_stem_axis_is_the_centre_line_of_the_shadow(self):
        cam, one, t = self.see("L", pose=(4, 2, 8))
        lo, hi, factor = scene.metal_factor(cam, [scene.implant_parts(one)[0]], [60.0])
        a, b = np.array(t["stem_axis_px"])
        for share in (0.3, 0.6, 0.8):
            c = a + share * (b - a)
            row = int(round(c[1]))
            line = 1 - factor[0][row - lo[1]]
            cols = np.arange(len(line)) + lo[0]
            x = a[0] + (row - a[1]) / (b - a)[1] * (b - a)[0]
            near = line * (np.abs(cols - x) < 100)
            self.assertAlmostEqual((near * cols).sum() / near.sum(), x, delta=0.5)

    def test_subsidence_and_tilt_appear_on_the_film(self):
        _, _, before = self.see("R")
        cam, _, after = self.see("R", migration=(5.0, 0.0, 0.0))
        self.assertAlmostEqual(self.gap(after) - self.gap(before), 5.0, delta=0.15)
        self.assertAlmostEqual(after["tilt_deg"], before["tilt_deg"], delta=0.05)
        _, _, leaned = self.see("R", migration=(0.0, 0.0, 2.0))
        self.assertAlmostEqual(leaned["tilt_deg"] - before["tilt_deg"], 2.0, delta=0.08)
        tip = np.array(leaned["points_px"]["stem_tip"]) - np.array(leaned["points_px"]["lesser_trochanter"])
        old = np.array(before["points_px"]["stem_tip"]) - np.array(before["points_px"]["lesser_trochanter"])
        self.assertLess((tip - old)[0], -10)                      # right hip, varus: tip to the image left (lateral)

    @staticmethod
    def gap(t, landmark="greater_trochanter"):
        """Stem reference below a landmark along the shaft, mm in the plane of the stem."""
        a, b = np.array(t["shaft_axis_px"])
        d = (b - a) / np.linalg.norm(b - a)
        return (np.array(t["points_px"]["stem_reference"]) - t["points_px"][landmark]) @ d * t["mm_per_px"]

    def test_flexion_alone_imitates_subsidence(self):
        # the lesser trochanter lies some 25 mm behind the stem: it goes distal by depth times sine, the gap shrinks
        _, _, flat = self.see("L")
        _, _, bent = self.see("L", pose=(5.0, 0, 0))
        hip = self.hips["L"]
        depth = hip.f_from_s(hip.stem.reference())[1] - hip.femur.lesser[1]
        shift = self.gap(bent, "lesser_trochanter") - self.gap(flat, "lesser_trochanter")
        self.assertGreater(depth, 15)
        self.assertAlmostEqual(shift, -depth * np.sin(np.radians(5)), delta=1.0)
        self.assertLess(shift, -0.3)


if __name__ == "__main__":
    if "--meshes" in sys.argv:
        at = sys.argv.index("--meshes")
        MESHES = sys.argv[at + 1]
        del sys.argv[at:at + 2]
    unittest.main()
