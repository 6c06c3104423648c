"""Bone surfaces of the sources in anatomical axes (x medial, y anterior, z proximal; mm), whatever axes they came in.

`ssm-lower-limb`: left femora and whole pelves, +X left, +Y posterior, +Z up, landmarks.csv.
`female-ct` (subject "f0"): right femur, right hip bone, sacrum; OBJ axes x anterior, y up, z right, metres, each about
its own centre; where the centres lie is in the model file that comes with them (values below).
"""
from dataclasses import dataclass
import hashlib
import os

import numpy as np
from scipy.spatial import cKDTree

import surface

FEMALE = "f0"


@dataclass
class FemurSource:
    points: np.ndarray
    faces: np.ndarray
    head_centre: np.ndarray
    head_radius: float
    greater: np.ndarray     # near the tip
    lesser: np.ndarray
    key: str


@dataclass
class PelvisSource:
    parts: list             # [(points, faces)], origin at the hip centre
    middle: float           # x of the mid-plane
    key: str


def _hash(*paths):
    digest = hashlib.sha256()
    for path in paths:
        with open(path, "rb") as stream:
            digest.update(stream.read())
    return digest.hexdigest()


def _landmarks(folder, subject):
    with open(os.path.join(folder, "ssm-lower-limb", "landmarks.csv"), encoding="ascii") as stream:
        names = stream.readline().strip().split(",")
        for line in stream:
            cells = line.strip().split(",")
            if cells[0] == subject:
                return dict(zip(names[1:], map(float, cells[1:])))
    raise KeyError(f"landmarks.csv: no subject {subject}; use one that it lists")


def femur(folder, subject):
    if subject == FEMALE:
        return _female_femur(folder)
    row = _landmarks(folder, subject)
    path = os.path.join(folder, "ssm-lower-limb", f"subject{subject}_femur_left.obj")
    points, faces = surface.read_obj(path)
    turn = np.array([-1.0, -1.0, 1.0])
    mark = lambda name: turn * [row[f"{name}_{c}"] for c in "xyz"]
    return FemurSource(points * turn, faces, mark("head_centre"), row["head_radius"], mark("greater_trochanter_tip"),
                       mark("lesser_trochanter_tip"), _hash(path))


def pelvis(folder, subject):
    if subject == FEMALE:
        return _female_pelvis(folder)
    row = _landmarks(folder, subject)
    path = os.path.join(folder, "ssm-lower-limb", f"subject{subject}_pelvis.obj")
    points, faces = surface.read_obj(path)
    centre = np.array([row[f"head_centre_{c}"] for c in "xyz"])
    points = (points - centre) * [-1.0, -1.0, 1.0]
    normal, offset = mirror_plane(points)
    # level the pelvis: the normal of its mid-plane becomes the x axis, about the hip centre
    axis = np.cross(normal, [1.0, 0, 0])
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    turn = np.eye(3) + k + k @ k / (1 + normal[0])
    return PelvisSource([(points @ turn.T, faces)], float(offset), _hash(path))


def mirror_plane(points):
    """Plane of best mirror symmetry, normal . p = offset, normal[0] > 0, by closest points (reflected) in turns."""
    tree = cKDTree(points)
    normal, offset = np.array([1.0, 0, 0]), 0.5 * (points[:, 0].min() + points[:, 0].max())
    for _ in range(60):
        image = points - 2 * (points @ normal - offset)[:, None] * normal
        dist, who = tree.query(image)
        keep = (dist < np.quantile(dist, 0.8)) & (np.abs(points @ normal - offset) > 15)
        p, q = points[keep], points[who[keep]]
        normal = np.linalg.svd(p - q, full_matrices=False)[2][0]
        normal = normal if normal[0] > 0 else -normal
        offset = float(np.mean(0.5 * (p + q) @ normal))
    return normal, offset


def fit_sphere(points):
    """Algebraic sphere (centre, radius); enough for a head with much of its surface there."""
    a = np.concatenate([2 * points, np.ones((len(points), 1))], 1)
    s = np.linalg.lstsq(a, (points ** 2).sum(1), rcond=None)[0]
    return s[:3], float(np.sqrt(s[3] + s[:3] @ s[:3]))


def _female_mesh(folder, name):
    """Right-side mesh about the centre of its box, (medial, anterior, proximal), mm."""
    path = os.path.join(folder, "female-ct", name + ".obj")
    points, faces = surface.read_obj(path)
    used, faces = np.unique(faces, return_inverse=True)
    points, faces = points[used] * 1000, faces.reshape(-1, 3)
    points = np.stack([-points[:, 2], points[:, 0], points[:, 1]], -1)
    points -= 0.5 * (points.min(0) + points.max(0))
    return points, faces, path


def _female_femur(folder):
    points, faces, path = _female_mesh(folder, "FemurR")
    top = points[:, 2].max()
    head = points[(points[:, 2] > top - 30) & (points[:, 0] > np.median(points[points[:, 2] > top - 30, 0]))]
    centre, radius = fit_sphere(head)
    for _ in range(8):
        near = np.abs(np.linalg.norm(points - centre, axis=1) - radius) < 1.5
        centre, radius = fit_sphere(points[near & (points[:, 2] > centre[2] - 0.3 * radius) & (points[:, 0] > centre[0] - 0.5 * radius)])
    shaft = points[(points[:, 2] < top - 110) & (points[:, 2] > top - 200)].mean(0)
    side = points[(points[:, 0] < centre[0] - 25) & (points[:, 2] > top - 40)]
    greater = side[np.argmax(side[:, 2])]
    # the lesser trochanter: farthest from the shaft 35 degrees behind the neck, 38 to 78 mm below the head centre
    zone = points[(points[:, 2] < centre[2] - 38) & (points[:, 2] > centre[2] - 78)]
    neck = (centre - shaft)[:2] / np.linalg.norm((centre - shaft)[:2])
    c, s = np.cos(np.radians(35)), np.sin(np.radians(35))
    lesser = zone[np.argmax((zone - shaft)[:, :2] @ [c * neck[0] + s * neck[1], c * neck[1] - s * neck[0]])]
    return FemurSource(points, faces, centre, radius, greater, lesser, _hash(path))


# Centres of the boxes in the frame of the sacrum (x anterior, y left, z up; m), from the source's model file.
_HIP_BONE_CENTRE = np.array([-0.027854 + 0.040563, -0.059775 - 0.021757, 0.016250 - 0.043279])
_SACRUM_CENTRE = np.array([-0.040420, 0.0, -0.004548])
_JOINT = np.array([-0.027854 + 0.055449, -0.059775 - 0.030999, 0.016250 - 0.085942])


def _female_pelvis(folder):
    hip, hip_faces, hip_path = _female_mesh(folder, "PelvisR")
    sacrum, sacrum_faces, sacrum_path = _female_mesh(folder, "Sacrum")
    # sacrum frame -> anatomical axes of the right side: medial = left = +y, anterior = +x
    place = lambda c: 1000 * np.array([c[1], c[0], c[2]])
    hip, sacrum = hip + place(_HIP_BONE_CENTRE), sacrum + place(_SACRUM_CENTRE)
    normals = surface.vertex_normals(hip, hip_faces)
    centre = place(_JOINT)
    for _ in range(12):
        rel = hip - centre
        dist = np.linalg.norm(rel, axis=1)
        cup = (dist < 34) & (np.einsum("ij,ij->i", rel, normals) < -0.8 * dist)
        centre, _ = fit_sphere(hip[cup])
    parts = [(hip - centre, hip_faces), (sacrum - centre, sacrum_faces)]
    # neutral tilt: front of the iliac spine and of the pubis in one frontal plane (common practice)
    spine = parts[0][0][parts[0][0][:, 2] > 40]
    spine = spine[np.argmax(spine[:, 1])]
    pubis = parts[0][0][parts[0][0][:, 0] > parts[0][0][:, 0].max() - 12]
    pubis = pubis[np.argmax(pubis[:, 1])]
    angle = np.arctan2(spine[1] - pubis[1], spine[2] - pubis[2])
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    return PelvisSource([(p @ turn.T, f) for p, f in parts], float(-centre[0]), _hash(hip_path, sacrum_path))
