"""Rigid transforms and the X-ray camera.

World W of a film: +X patient left, +Y posterior (away from the tube), +Z superior, mm; the origin is the nominal
hip centre (pelvis films: the mid-point between the hips). Anatomical frames (femur F, pelvis P, stem S) all use
x medial, y anterior, z proximal, mm, and reach W by a signed diagonal, so that a right hip is the mirror image of
a left one and nothing else differs.
"""
from dataclasses import dataclass

import numpy as np


@dataclass
class Affine:
    """p_in_b = linear @ p_in_a + shift."""
    linear: np.ndarray
    shift: np.ndarray

    def __call__(self, points):
        return np.asarray(points, float) @ self.linear.T + self.shift

    def direction(self, vectors):
        return np.asarray(vectors, float) @ self.linear.T

    def __matmul__(self, other):
        return Affine(self.linear @ other.linear, self.linear @ other.shift + self.shift)

    def inverse(self):
        inv = np.linalg.inv(self.linear)
        return Affine(inv, -inv @ self.shift)


def translation(shift):
    return Affine(np.eye(3), np.asarray(shift, float))


def rotation(axis, angle_deg):
    """Right-handed turn about coordinate axis 0, 1 or 2."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    m = np.eye(3)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    m[i, i], m[i, j], m[j, i], m[j, j] = c, -s, s, c
    return Affine(m, np.zeros(3))


def about(centre, turn):
    return translation(centre) @ turn @ translation(-np.asarray(centre, float))


def world_from_anatomy(side, hip_centre_w):
    """Signed diagonal: x medial, y anterior, z proximal -> world. Determinant -1 on the right."""
    x = -1.0 if side == "L" else 1.0
    return Affine(np.diag([x, -1.0, 1.0]), np.asarray(hip_centre_w, float))


def leg_pose(flexion_deg, abduction_deg, rotation_deg):
    """Turn of the femur in its own frame about the origin. Flexion: distal end goes anterior; abduction: distal end
    goes lateral; rotation: front of the femur turns medially (internal +). Rotation acts first, abduction last."""
    # About +x, distal (-z) must move to +y: a right-handed turn takes -z to +y. About +y, -z must move to lateral (-x):
    # a right-handed turn takes -z to -x. About +z, anterior (+y) must move medially (+x): a left-handed turn.
    return rotation(1, abduction_deg) @ rotation(0, flexion_deg) @ rotation(2, -rotation_deg)


@dataclass
class Camera:
    """Point source at W (beam_x, -(sid - ofd), beam_z); flat receptor at Y = +ofd; pixel (0, 0) centre at detector
    coordinates (left_mm, top_mm); columns run to +X, rows to -Z. All in mm but rows and cols."""
    sid: float
    ofd: float
    beam_x: float
    beam_z: float
    pitch: float
    left: float
    top: float
    rows: int
    cols: int

    @property
    def source(self):
        return np.array([self.beam_x, -(self.sid - self.ofd), self.beam_z])

    def to_detector(self, points_w):
        p = np.asarray(points_w, float)
        m = self.sid / (p[..., 1] + self.sid - self.ofd)
        return np.stack([self.beam_x + (p[..., 0] - self.beam_x) * m, self.beam_z + (p[..., 2] - self.beam_z) * m], -1)

    def to_pixel(self, points_w):
        d = self.to_detector(points_w)
        return np.stack([(d[..., 0] - self.left) / self.pitch, (self.top - d[..., 1]) / self.pitch], -1)

    def magnification(self, point_w):
        return self.sid / (point_w[1] + self.sid - self.ofd)

    def column_mm(self, col):
        return self.left + np.asarray(col, float) * self.pitch

    def row_mm(self, row):
        return self.top - np.asarray(row, float) * self.pitch
