"""From detected signal to stored grey values: logarithm, edge enhancement, latitude, look-up curve, bits, polarity."""
from dataclasses import dataclass

import numpy as np
from scipy import ndimage


@dataclass
class Chain:
    curve: str              # linear, sigmoid, gamma
    shape: float            # steepness of the sigmoid, exponent of the gamma
    edge_mm: tuple          # radii of the enhancement bands at the receptor
    edge_gain: tuple
    latitude: float         # share of the large-scale background taken away
    latitude_mm: float
    bits: int
    photometric: str        # MONOCHROME1 or MONOCHROME2
    low_quantile: float
    high_quantile: float


def _wide_blur(image, sigma):
    """Gaussian by a reduced image where sigma allows."""
    step = int(max(1, sigma // 4))
    if step == 1:
        return ndimage.gaussian_filter(image, sigma, truncate=3.0)
    h, w = (n // step * step for n in image.shape)
    small = image[:h, :w].reshape(h // step, step, w // step, step).mean((1, 3))
    small = ndimage.gaussian_filter(small, sigma / step, mode="nearest")
    r = (np.arange(image.shape[0]) - (step - 1) / 2) / step
    c = (np.arange(image.shape[1]) - (step - 1) / 2) / step
    rows = _interp(small, r, 0)
    return _interp(rows, c, 1)


def _interp(image, positions, axis):
    p = np.clip(positions, 0, image.shape[axis] - 1)
    a = np.minimum(p.astype(int), image.shape[axis] - 2)
    f = (p - a).astype(np.float32)
    f = f[:, None] if axis == 0 else f[None, :]
    return np.take(image, a, axis) * (1 - f) + np.take(image, a + 1, axis) * f


def apply(signal, pitch, chain):
    """Stored integers (rows, cols). In MONOCHROME2 sense metal is bright: density is -log(signal)."""
    d = -np.log(signal).astype(np.float32)
    base = d
    for mm, gain in zip(chain.edge_mm, chain.edge_gain):
        d = d + np.float32(gain) * (base - _wide_blur(base, mm / pitch))
    if chain.latitude > 0:
        wide = _wide_blur(base, chain.latitude_mm / pitch)
        d = d - np.float32(chain.latitude) * (wide - wide.mean())
    part, seen = d[::7, ::7], signal[::7, ::7] < 0.5
    low, high = np.quantile(part[seen], chain.low_quantile), np.quantile(part, chain.high_quantile)
    x = (d - low) / (high - low)
    if chain.curve == "sigmoid":
        k = chain.shape
        f = lambda t: 1 / (1 + np.exp(-k * (t - 0.5)))
        y = (f(x) - f(0.0)) / (f(1.0) - f(0.0))
    elif chain.curve == "gamma":
        y = np.clip(x, 0, None) ** chain.shape
    else:
        y = x
    top = 2 ** chain.bits - 1
    y = np.clip(np.rint(y * top), 0, top)
    if chain.photometric == "MONOCHROME1":
        y = top - y
    return y.astype(np.uint16)
