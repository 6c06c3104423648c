#!/usr/bin/python3
"""Checks of the simulator against closed forms and against its own pictures.

usage: test_other_simulator.py [--meshes DIR]   (without the meshes only the closed forms are checked)
"""
import os
import sys
import unittest

import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import case  # noqa: E402
import design  # noqa: E402
import implant  # noqa: E402
import lines  # noqa: E402
import physics  # noqa: E402
import project  # noqa: E402
import scene  # noqa: E402
import truth  # noqa: E402
from frames import Camera, leg_pose, translation  # noqa: E402

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
