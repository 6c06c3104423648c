"""Attenuation, spectrum, scatter, blur and noise.

Mass attenuation (cm^2/g): NIST tables of Hubbell & Seltzer at 40, 50, 60, 80, 100 keV; polyethylene and alumina are
mixtures by weight of H, C, O and Al (H, C, O values from memory, good to 1 %), cement is acrylic with a tenth of barium
sulphate (barium from memory). Tube spectrum: three lines standing
for 75-85 kVp after filtration, energy-weighted detector (house choice).
"""
import numpy as np
from scipy import ndimage

ENERGY = np.array([40.0, 50, 60, 80, 100])
MASS = {  # cm^2/g
    "soft": [0.2688, 0.2264, 0.2048, 0.1823, 0.1693], "bone": [0.6655, 0.4242, 0.3148, 0.2229, 0.1855],
    "water": [0.2683, 0.2269, 0.2059, 0.1837, 0.1707], "ti": [2.214, 1.213, 0.7661, 0.4052, 0.2721],
    "al": [0.5685, 0.3681, 0.2778, 0.2018, 0.1704], "v": [2.472, 1.347, 0.8438, 0.4371, 0.2877],
    "cr": [2.856, 1.550, 0.9639, 0.4905, 0.3166], "co": [3.981, 2.144, 1.314, 0.6414, 0.3949],
    "mo": [12.94, 7.037, 4.274, 1.962, 1.096], "o": [0.2585, 0.2132, 0.1907, 0.1678, 0.1551],
    "fat": [0.2396, 0.2123, 0.1974, 0.1800, 0.1688], "pe": [0.2275, 0.2083, 0.1970, 0.1823, 0.1719],
    "ba": [24.57, 13.79, 8.511, 3.963, 2.196],  # its K edge lies at 37.4 keV
}
DENSITY = {"soft": 1.06, "fat": 0.95, "bone": 1.92, "pe": 0.94, "ti64": 4.43, "cocr": 8.3, "alumina": 3.97, "cement": 1.25}


def linear(name):
    """1/mm at ENERGY."""
    m = {k: np.array(v) for k, v in MASS.items()}
    if name == "ti64":
        mass = 0.90 * m["ti"] + 0.06 * m["al"] + 0.04 * m["v"]
    elif name == "cocr":
        mass = 0.66 * m["co"] + 0.28 * m["cr"] + 0.06 * m["mo"]
    elif name == "cement":
        mass = 0.06 * m["ba"] + 0.94 * m["pe"]
    elif name == "alumina":
        mass = 0.53 * m["al"] + 0.47 * m["o"]
    else:
        mass = m[name]
    return 0.1 * mass * DENSITY[name]


def at(name, kev):
    """1/mm, log-log between the table's energies; there is no value beyond them."""
    if not ENERGY[0] <= kev <= ENERGY[-1]:
        raise ValueError(f"{kev:g} keV: the table of attenuation holds {ENERGY[0]:g} to {ENERGY[-1]:g} keV")
    return np.exp(np.interp(np.log(kev), np.log(ENERGY), np.log(linear(name))))


def spectrum(kvp):
    """Energies (keV) and weights, sum 1, of the detected open field."""
    kev = np.array([0.62, 0.77, 0.93]) * kvp + np.array([2.0, 0, -2])
    return kev, np.array([0.42, 0.38, 0.20])


def primary(paths, kvp):
    """Detected primary over open field; `paths` maps a material to mm; bone, cancellous and metal are given as excess
    over what they displace where the caller says so with the key 'bone-soft'."""
    kev, weight = spectrum(kvp)
    total = None
    for e, w in zip(kev, weight):
        mu = None
        for name, length in paths.items():
            parts = name.split("-")
            k = at(parts[0], e) - (at(parts[1], e) if len(parts) > 1 else 0.0)
            term = length * np.float32(k)
            mu = term if mu is None else mu + term
        out = np.float32(w) * np.exp(-mu)
        total = out if total is None else total + out
    return total


def scatter(image, pitch, fraction, rng):
    """Smooth scatter field that makes up `fraction` of the mean signal behind the body: two wide Gaussians of the
    primary, the wider fed by the whole field (Gaussian kernels: common practice)."""
    step = 16
    small = image[:image.shape[0] // step * step, :image.shape[1] // step * step]
    small = small.reshape(small.shape[0] // step, step, -1, step).mean((1, 3))
    small = np.minimum(small, np.quantile(small, 0.9))
    s = pitch * step
    wide = 0.5 * ndimage.gaussian_filter(small, 45 / s, mode="nearest") + 0.5 * ndimage.gaussian_filter(small, 18 / s, mode="nearest")
    wide *= fraction / (1 - fraction) * rng.uniform(0.95, 1.05)
    out = ndimage.zoom(wide, step, order=1, grid_mode=True, mode="nearest")
    full = np.empty(image.shape, np.float32)
    h, w = out.shape
    full[:h, :w] = out
    full[h:, :w] = out[-1:, :]
    full[:, w:] = full[:, w - 1:w]
    return full


def detect(signal, quanta, blur_px, after_px, read_noise, rng):
    """Blur of focal spot and converter, quantum noise (normal, `quanta` per pixel in the open field), blur of the
    read-out, electronic noise (share of the open field)."""
    out = ndimage.gaussian_filter(signal, blur_px, output=np.float32)
    noise = rng.standard_normal(out.shape, dtype=np.float32)
    noise *= np.sqrt(np.maximum(out, 1e-7) / quanta)
    out += ndimage.gaussian_filter(noise, after_px) if after_px > 0 else noise
    out += rng.standard_normal(out.shape, dtype=np.float32) * np.float32(read_noise)
    return np.maximum(out, 1e-7)
