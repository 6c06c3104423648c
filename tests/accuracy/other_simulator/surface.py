"""OBJ meshes, dense smooth samples of their surface, and signed distance grids."""
from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree


def read_obj(path):
    """Vertices (n, 3) and triangles (m, 3) of an OBJ file; polygons are fanned."""
    points, faces = [], []
    with open(path, encoding="ascii", errors="replace") as stream:
        for line in stream:
            if line.startswith("v "):
                points.append([float(t) for t in line.split()[1:4]])
            elif line.startswith("f "):
                ids = [int(t.split("/")[0]) - 1 for t in line.split()[1:]]
                faces += [[ids[0], ids[i], ids[i + 1]] for i in range(1, len(ids) - 1)]
    return np.array(points), np.array(faces)


def vertex_normals(points, faces):
    v = points[faces]
    n = np.cross(v[:, 1] - v[:, 0], v[:, 2] - v[:, 0])
    out = np.zeros_like(points)
    for k in range(3):
        np.add.at(out, faces[:, k], n)
    if np.einsum("ij,ij->", v[:, 0], n) < 0:  # inside-out mesh: six times its volume is negative
        out = -out
    return out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)


def smooth_samples(points, faces, split):
    """Points and normals, split^2 a triangle, on the Phong tessellation of the mesh: curved between the vertices,
    so that a film of it shows no facets. (Boubekeur & Alexa 2008, shape factor 3/4; from memory.)"""
    normals = vertex_normals(points, faces)
    pv, nv = points[faces], normals[faces]
    out_p, out_n = [], []
    for i in range(split):
        for j in range(split - i):
            for up in (True, False):
                if not up and j == split - i - 1:
                    continue
                d = 1 / 3 if up else 2 / 3
                b = np.array([(i + d) / split, (j + d) / split, 0.0])
                b[2] = 1 - b[0] - b[1]
                flat = np.einsum("k,fkj->fj", b, pv)
                onto = flat[:, None] - np.einsum("fkj,fkj->fk", flat[:, None] - pv, nv)[..., None] * nv
                out_p.append(0.25 * flat + 0.75 * np.einsum("k,fkj->fj", b, onto))
                out_n.append(np.einsum("k,fkj->fj", b, nv))
    p, n = np.concatenate(out_p), np.concatenate(out_n)
    return p, n / np.linalg.norm(n, axis=1, keepdims=True)


@dataclass
class Grid:
    """Scalar field, array index (x, y, z), value at origin + h * index, frame and unit as its owner says."""
    values: np.ndarray
    origin: np.ndarray
    h: float

    def at(self, points, order=1, outside=None):
        idx = np.moveaxis((np.asarray(points) - self.origin) / self.h, -1, 0)
        mode = "nearest" if outside is None else "constant"
        return ndimage.map_coordinates(self.values, idx, order=order, mode=mode, cval=outside or 0.0)

    def slab(self, frame_from_world, ys, xs, zs, outside):
        """Values on a lattice of the world, array (y, z, x)."""
        a = frame_from_world.linear / self.h
        step = xs[1] - xs[0]
        matrix = a[:, [1, 2, 0]] * step
        start = frame_from_world.linear @ np.array([xs[0], ys[0], zs[0]]) + frame_from_world.shift
        return ndimage.affine_transform(self.values, matrix, (start - self.origin) / self.h,
                                        (len(ys), len(zs), len(xs)), order=1, mode="constant", cval=outside,
                                        prefilter=False)


def crossings(values, origin, step):
    """Points (n, 3) where the edges of a lattice cross zero; `step` a number or one for each axis."""
    out = []
    for axis in range(3):
        a, b = np.swapaxes(values, 0, axis)[:-1], np.swapaxes(values, 0, axis)[1:]
        where = np.nonzero((a < 0) != (b < 0))
        index = np.stack(where, -1).astype(float)
        index[:, 0] += a[where] / (a[where] - b[where])
        index[:, [0, axis]] = index[:, [axis, 0]]
        out.append(origin + step * index)
    return np.concatenate(out)


def signed_distance(points, normals, low, high, h, band):
    """Distance to the sampled surface, negative inside, exact within `band` and saturated beyond."""
    shape = np.ceil((np.asarray(high) - low) / h).astype(int) + 1
    axes = [low[k] + h * np.arange(shape[k]) for k in range(3)]
    coarse = np.zeros(shape, bool)
    idx = np.rint((points - low) / h).astype(int)
    ok = np.all((idx >= 0) & (idx < shape), 1)
    coarse[tuple(idx[ok].T)] = True
    near = ndimage.distance_transform_edt(~coarse) <= band / h
    where = np.nonzero(near)
    query = np.stack([axes[k][where[k]] for k in range(3)], -1)
    dist, who = cKDTree(points).query(query, workers=1)
    plane = np.einsum("ij,ij->i", query - points[who], normals[who])
    value = np.where(dist < 1.5, plane, np.sign(plane) * dist)
    out = np.full(shape, band, np.float32)
    out[where] = np.clip(value, -band, band)
    label, count = ndimage.label(~near)
    # Each region beyond the band takes the sign of the band at its rim (the box may cut through a bone, so that
    # touching the border says nothing).
    sign = np.zeros(count + 1, np.float32)
    for k, place in enumerate(ndimage.find_objects(label), 1):
        wide = tuple(slice(max(0, p.start - 1), p.stop + 1) for p in place)
        rim = ndimage.binary_dilation(label[wide] == k) & near[wide]
        sign[k] = -band if out[wide][rim].mean() < 0 else band
    out = np.where(label > 0, sign[label], out)
    return Grid(ndimage.gaussian_filter(out, 0.6).astype(np.float32), np.asarray(low, float), h)
