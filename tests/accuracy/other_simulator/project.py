"""Path lengths through triangle meshes, balls and voxel boxes, seen from a point source. All lengths in mm."""
import numpy as np
from scipy import ndimage, sparse


def ray_directions(cam, cols, rows):
    """Unit directions for the outer product of fractional rows x cols, shape (rows, cols, 3)."""
    u = cam.column_mm(cols)[None, :] - cam.beam_x
    v = cam.row_mm(rows)[:, None] - cam.beam_z
    u, v = np.broadcast_arrays(u, v)
    d = np.stack([u, np.full_like(u, cam.sid), v], -1)
    return d / np.linalg.norm(d, axis=-1, keepdims=True)


def ball_interval(cam, dirs, centre_w, radius):
    """Entry and exit distance along each ray; entry = exit = closest approach where the ray misses."""
    oc = centre_w - cam.source
    b = dirs @ oc
    half = np.sqrt(np.maximum(0.0, radius ** 2 - (oc @ oc - b ** 2)))
    return b - half, b + half


def half_space_interval(cam, dirs, point_w, normal_w):
    """Part of each ray with normal . (p - point) < 0, as (from, to)."""
    along = dirs @ normal_w
    t = ((point_w - cam.source) @ normal_w) / np.where(np.abs(along) < 1e-12, 1e-12, along)
    return np.where(along > 0, -np.inf, t), np.where(along > 0, t, np.inf)


def overlap(a, b):
    return np.maximum(0.0, np.minimum(a[1], b[1]) - np.maximum(a[0], b[0]))


def mesh_path(cam, points_w, triangles, first_col, first_row, cols, rows, step):
    """Path length through a closed mesh at pixel positions first + step * index: for each triangle, the signed
    distance source-to-plane of every sample ray inside its projection is added up (exits minus entries)."""
    image = np.zeros(rows * cols)
    pix = cam.to_pixel(points_w)
    grid = (pix - [first_col, first_row]) / step
    tri = grid[triangles]
    lo = np.ceil(tri.min(1)).astype(int)
    hi = np.floor(tri.max(1)).astype(int)
    lo = np.maximum(lo, 0)
    hi = np.minimum(hi, [cols - 1, rows - 1])
    ext = hi - lo + 1
    keep = np.all(ext > 0, 1)
    v = np.asarray(points_w)[triangles]
    normal = np.cross(v[:, 1] - v[:, 0], v[:, 2] - v[:, 0])
    offset = np.einsum("ij,ij->i", normal, v[:, 0] - cam.source)
    keep &= np.linalg.norm(normal, axis=1) > 1e-14
    size = np.maximum(ext[:, 0], ext[:, 1])
    edge = 1
    while np.any(keep):
        pick = keep & (size <= edge)
        keep &= ~pick
        per = max(1, 400000 // (edge * edge))
        ids = np.flatnonzero(pick)
        for k in range(0, len(ids), per):
            _add_triangles(image, cam, ids[k:k + per], edge, lo, ext, tri, normal, offset, first_col, first_row, step, cols)
        edge = edge * 2 if edge < 4 else edge * 3 // 2
    return np.abs(image.reshape(rows, cols))


def _add_triangles(image, cam, ids, edge, lo, ext, tri, normal, offset, first_col, first_row, step, cols):
    k = np.arange(edge)
    gx = (lo[ids, 0][:, None, None] + k[None, None, :]) + np.zeros((1, edge, 1))
    gy = (lo[ids, 1][:, None, None] + k[None, :, None]) + np.zeros((1, 1, edge))
    ok = (k[None, None, :] < ext[ids, 0][:, None, None]) & (k[None, :, None] < ext[ids, 1][:, None, None])
    t = tri[ids]
    sign = []
    for a, b in ((0, 1), (1, 2), (2, 0)):
        ax, ay = t[:, a, 0][:, None, None], t[:, a, 1][:, None, None]
        bx, by = t[:, b, 0][:, None, None], t[:, b, 1][:, None, None]
        sign.append(((bx - ax) * (gy - ay) - (by - ay) * (gx - ax)) > 0)
    inside = ok & ((sign[0] & sign[1] & sign[2]) | ~(sign[0] | sign[1] | sign[2]))
    which, iy, ix = np.nonzero(inside)
    if len(which) == 0:
        return
    gx, gy = gx[which, 0, ix], gy[which, iy, 0]
    du = cam.column_mm(first_col + step * gx) - cam.beam_x
    dv = cam.row_mm(first_row + step * gy) - cam.beam_z
    n = normal[ids][which]
    along = n[:, 0] * du + n[:, 1] * cam.sid + n[:, 2] * dv
    dist = offset[ids][which] / along * np.sqrt(du ** 2 + dv ** 2 + cam.sid ** 2)
    image += np.bincount((gy * cols + gx).astype(int), np.sign(along) * dist, len(image))


def _linear_weights(positions, count):
    """Sparse matrix that interpolates `count` samples at fractional positions; zero outside."""
    base = np.floor(positions).astype(int)
    frac = positions - base
    rows = np.arange(len(positions))
    r = np.concatenate([rows, rows])
    c = np.concatenate([base, base + 1])
    w = np.concatenate([1 - frac, frac])
    ok = (c >= 0) & (c < count)
    return sparse.csr_matrix((w[ok], (r[ok], c[ok])), shape=(len(positions), count), dtype=np.float32)


def slab_path(cam, slab_of, box_w, voxel, coarse):
    """Path-weighted sum through a box of the world. `slab_of(y_values, x_values, z_values)` returns the density array
    (y, z, x); each constant-Y slice is scaled onto the receptor (exact perspective) and added up. Returns the image at
    every `coarse`-th pixel, mm times density."""
    x = np.arange(box_w[0][0], box_w[1][0] + voxel, voxel)
    y = np.arange(box_w[0][1], box_w[1][1] + voxel, voxel)
    z = np.arange(box_w[0][2], box_w[1][2] + voxel, voxel)
    cols = np.arange(0, cam.cols + coarse, coarse)
    rows = np.arange(0, cam.rows + coarse, coarse)
    du, dv = cam.column_mm(cols) - cam.beam_x, cam.row_mm(rows) - cam.beam_z
    image = np.zeros((len(rows), len(cols)), np.float32)
    for k in range(0, len(y), 8):
        ys = y[k:k + 8]
        slab = slab_of(ys, x, z)
        for j, yy in enumerate(ys):
            if not slab[j].any():
                continue
            m = cam.sid / (yy + cam.sid - cam.ofd)
            wx = _linear_weights((cam.beam_x + du / m - x[0]) / voxel, len(x))
            wz = _linear_weights((cam.beam_z + dv / m - z[0]) / voxel, len(z))
            image += wz @ (wx @ slab[j].T).T
    oblique = np.sqrt(du[None, :] ** 2 + dv[:, None] ** 2 + cam.sid ** 2) / cam.sid
    return image * (voxel * oblique).astype(np.float32)


def refine(image, coarse, rows, cols):
    """Cubic interpolation of an image known at every `coarse`-th pixel to all pixels."""
    if coarse == 1:
        return image[:rows, :cols]
    out = ndimage.spline_filter1d(image, 3, axis=0, output=np.float32)
    out = ndimage.spline_filter1d(out, 3, axis=1, output=np.float32)
    wr, wc = _cubic_weights(np.arange(rows) / coarse, image.shape[0]), _cubic_weights(np.arange(cols) / coarse, image.shape[1])
    return wr @ (wc @ out.T).T


def _cubic_weights(positions, count):
    base = np.floor(positions).astype(int)
    f = positions - base
    w = [(1 - f) ** 3 / 6, (3 * f ** 3 - 6 * f ** 2 + 4) / 6, (-3 * f ** 3 + 3 * f ** 2 + 3 * f + 1) / 6, f ** 3 / 6]
    rows = np.arange(len(positions))
    r = np.concatenate([rows] * 4)
    c = np.clip(np.concatenate([base - 1, base, base + 1, base + 2]), 0, count - 1)
    return sparse.csr_matrix((np.concatenate(w), (r, c)), shape=(len(positions), count), dtype=np.float32)
