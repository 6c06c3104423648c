"""Where the outlines of a proximal femur lie, front to back: the numbers of docs/migration.md, "Lateral films".

    /usr/bin/python3 outlines.py --meshes DIR

Each femur stands on its shaft's axis (20 to 90 mm below the lesser trochanter), its neck turned forward by 4, 12 and
20 degrees. Depths in mm, behind +; levels in mm above the lesser trochanter.
"""
import argparse

import numpy as np

import sources

SUBJECTS = [f"{i:02d}" for i in range(8)] + [sources.FEMALE]
VERSIONS = (4, 12, 20)
STEM_LEVEL = (25, 30, 35)  # about that of a stem's reference point
HIDDEN = 20.0  # farther in front of its top the medial outline is that of the shaft


def dense(points, faces):
    """The vertices and some points of each triangle."""
    corner = points[faces]
    shares = [(1 / 3, 1 / 3), (0.5, 0.25), (0.25, 0.5), (0.25, 0.25), (0.5, 0), (0, 0.5), (0.5, 0.5)]
    return np.concatenate([points] + [(1 - a - b) * corner[:, 0] + a * corner[:, 1] + b * corner[:, 2] for a, b in shares])


def onto_z(direction):
    v = np.cross(direction, [0, 0, 1])
    k = np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])
    return np.eye(3) + k + k @ k / (1 + direction[2])


def upright(source):
    """Surface, head and lesser trochanter with the shaft's axis as z axis."""
    points, marks = dense(source.points, source.faces), np.array([source.head_centre, source.lesser])
    points = points[points[:, 2] > marks[1, 2] - 130]
    for _ in range(3):
        middles = []
        for z in np.arange(marks[1, 2] - 90, marks[1, 2] - 20, 5.0):
            near = points[np.abs(points[:, 2] - z) < 2.5]
            middles.append([*(near[:, :2].min(0) + near[:, :2].max(0)) / 2, z])
        centre = np.mean(middles, 0)
        axis = np.linalg.svd(np.array(middles) - centre)[2][0]
        turn = onto_z(axis * np.sign(axis[2]))
        points, marks = (points - centre) @ turn.T, (marks - centre) @ turn.T
    return points, marks


def turned(points, marks, version):
    angle = np.radians(version) - np.arctan2(marks[0, 1], marks[0, 0])
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    return points @ turn.T - [0, 0, marks[1, 2]]


def depths(points):
    """-> {outline: mm behind the shaft's axis}"""
    at = lambda level: points[np.abs(points[:, 2] - level) < 1.5]
    def middle(level):
        section = at(level)
        section = section[section[:, 0] < 10]  # without the neck
        return -(section[:, 1].min() + section[:, 1].max()) / 2
    lateral = lambda level: -at(level)[np.argmin(at(level)[:, 0]), 1]
    medial = lambda level: -at(level)[np.argmax(at(level)[:, 0]), 1]
    above = points[(points[:, 0] < 0) & (points[:, 2] > 30)]
    return {"middle": np.mean([middle(level) for level in STEM_LEVEL]),
            "greater trochanter": -above[np.argmax(above[:, 2]), 1],
            "lesser trochanter": np.mean([medial(level) for level in (-5, 0, 5)]),
            "its top": max(-at(level)[:, 1].min() for level in range(-8, 9, 2)),
            "medial": np.mean([medial(level) for level in (10, 15, 20)]),
            "lateral": np.mean([lateral(level) for level in (0, 10, 20, 30, 40)])}


def told(values):
    return f"{np.mean(values):6.2f}, {np.std(values, ddof=1):4.2f}"


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--meshes", required=True)
    meshes = parser.parse_args().meshes
    rows = []
    for subject in SUBJECTS:
        points, marks = upright(sources.femur(meshes, subject))
        rows += [depths(turned(points, marks, version)) for version in VERSIONS]
    print("middle behind the shaft's axis:", told([r["middle"] for r in rows]))
    for name in ("greater trochanter", "lesser trochanter", "medial", "lateral"):
        seen = [r for r in rows if name != "lesser trochanter" or r["its top"] - r[name] < HIDDEN]
        print(f"{name}, {len(seen)} of {len(rows)}: behind the middle", told([r[name] - r["middle"] for r in seen]),
              "behind the axis", told([r[name] for r in seen]))
        if name == "lesser trochanter":
            print("   behind its top", told([r[name] - r["its top"] for r in seen]))


if __name__ == "__main__":
    main()
