#!/usr/bin/env python3
"""Copies of bench cases whose films look otherwise, with the truth they had.

    make_looks.py --out OUT [--looks blur,noise,...] CASE...

A CASE is a folder with films, series.json and truth.json (docs/accuracy.md). OUT/LOOK/CASE holds the
same films after one processing each, in 12 bits (8 where the look says so), with no word about their
greys: what a viewer's export, a scanner or another maker's processing leaves of them. Then, look by
look: tests/accuracy/run --cases OUT/LOOK. What each look does is this project's choice; no maker's
processing is meant.
"""
import argparse
import io
import pathlib
import shutil

import numpy as np
import pydicom
from PIL import Image
from pydicom.uid import ExplicitVRLittleEndian
from scipy import ndimage

# What a film says of its greys; a look's copy says nothing.
SAYS_GREYS = (
    "PresentationLUTShape PixelIntensityRelationship PixelIntensityRelationshipSign WindowCenter "
    "WindowWidth VOILUTSequence ModalityLUTSequence RescaleSlope RescaleIntercept RescaleType "
    "PresentationIntentType SmallestImagePixelValue LargestImagePixelValue PixelPaddingValue").split()
EIGHT_BITS = ("jpeg50", "jpeg20", "few_greys")


def s_curve(grey, steepness):
    """A logistic curve from 0 to 1 on 0 to 1."""
    low, high = (1.0 / (1.0 + np.exp(-steepness * (x - 0.5))) for x in (0.0, 1.0))
    return (1.0 / (1.0 + np.exp(-steepness * (grey - 0.5))) - low) / (high - low)


def as_jpeg(grey, quality):
    """Through baseline JPEG and back."""
    packed = io.BytesIO()
    Image.fromarray(np.rint(255.0 * grey.clip(0.0, 1.0)).astype(np.uint8)).save(
        packed, "JPEG", quality=quality)
    return np.asarray(Image.open(packed)).astype(float) / 255.0


def sharpened(grey, sigma, gain):
    """Unsharp mask."""
    return grey + gain * (grey - ndimage.gaussian_filter(grey, sigma))


def evened_out(grey, sigma, share):
    """Partly divided by its local scatter."""
    mean = ndimage.gaussian_filter(grey, sigma)
    scatter = np.sqrt(ndimage.gaussian_filter((grey - mean) ** 2, sigma) + 1e-4)
    return 0.5 + (1.0 - share) * (grey - 0.5) + 0.12 * share * (grey - mean) / scatter


def by_bands(grey):
    """Bands of detail amplified, small steps more than large ones, on a flattened ground."""
    ground, detail = grey, np.zeros_like(grey)
    for octave, gain in enumerate((1.8, 1.6, 1.5, 1.4, 1.3, 1.2, 1.1)):
        lower = ndimage.gaussian_filter(grey, 2.0 ** octave)
        band = (ground - lower) / 0.1
        detail += 0.08 * gain * np.sign(band) * np.abs(band) ** 0.7
        ground = lower
    return 0.12 + 0.75 * ground + detail


def equalised(grey):
    """Each grey becomes its rank."""
    known = np.sort(grey.ravel()[::17])
    return np.searchsorted(known, grey.ravel()).reshape(grey.shape) / known.size


def framed(grey, share, border):
    """A border over the film's edge."""
    out = np.full_like(grey, border)
    n = int(share * min(grey.shape))
    out[n:-n, n:-n] = grey[n:-n, n:-n]
    return out


def halved(grey):
    """Down to half its size and up again."""
    height, width = grey.shape
    small = Image.fromarray(grey.astype(np.float32)).resize((width // 2, height // 2), Image.BOX)
    return np.asarray(small.resize((width, height), Image.BICUBIC)).astype(float)


LOOKS = {
    "plain": lambda grey, rng: grey,
    "blur": lambda grey, rng: ndimage.gaussian_filter(grey, 2.0),
    "noise3": lambda grey, rng: grey + rng.normal(0.0, 0.03, grey.shape),
    "noise6": lambda grey, rng: grey + rng.normal(0.0, 0.06, grey.shape),
    "grain": lambda grey, rng: grey + 0.15 * ndimage.gaussian_filter(
        rng.normal(0.0, 1.0, grey.shape), 1.5),
    "median": lambda grey, rng: ndimage.median_filter(grey, 5),
    "half": lambda grey, rng: halved(grey),
    "jpeg50": lambda grey, rng: as_jpeg(grey, 50),
    "jpeg20": lambda grey, rng: as_jpeg(grey, 20),
    "few_greys": lambda grey, rng: np.floor(63.999 * grey) / 63.0,
    "edges5": lambda grey, rng: sharpened(grey, 5.0, 2.0),
    "edges20": lambda grey, rng: sharpened(grey, 20.0, 1.5),
    "edges60": lambda grey, rng: sharpened(grey, 60.0, 1.5),
    "gamma2.2": lambda grey, rng: grey ** 2.2,
    "gamma0.45": lambda grey, rng: grey ** 0.45,
    "s6": lambda grey, rng: s_curve(grey, 6.0),
    "s10": lambda grey, rng: s_curve(grey, 10.0),
    "ranks": lambda grey, rng: equalised(grey),
    "evened": lambda grey, rng: evened_out(grey, 80.0, 0.6),
    "bands": lambda grey, rng: by_bands(grey),
    "heel_across": lambda grey, rng: grey * np.linspace(0.65, 1.15, grey.shape[1])[None, :],
    "heel_along": lambda grey, rng: grey * np.linspace(1.15, 0.6, grey.shape[0])[:, None],
    "dark": lambda grey, rng: 0.02 + 0.25 * grey,
    "cut_off": lambda grey, rng: 0.1 + 1.5 * grey,
    "cut_at_60": lambda grey, rng: grey / 0.6,
    "cut_at_45": lambda grey, rng: grey / 0.45,
    "black_frame": lambda grey, rng: framed(grey, 0.06, 0.0),
    "white_frame": lambda grey, rng: framed(grey, 0.06, 1.0),
    "negative": lambda grey, rng: 1.0 - grey,
}


def greys_of(film):
    """0 (air) to 1, as stored but for MONOCHROME1."""
    grey = film.pixel_array.astype(float) / ((1 << film.BitsStored) - 1)
    return 1.0 - grey if film.PhotometricInterpretation == "MONOCHROME1" else grey


def looked(grey, look, rng):
    """One look of a film whose greys are 0 to 1, cut off there."""
    return LOOKS[look](grey, rng).clip(0.0, 1.0)


def write_look(source, target, look, rng):
    """One film, uncompressed."""
    film = pydicom.dcmread(source)
    grey = looked(greys_of(film), look, rng)
    bits = 8 if look in EIGHT_BITS else 12
    stored = np.rint(((1 << bits) - 1) * grey).astype(np.uint8 if bits == 8 else np.uint16)
    for name in SAYS_GREYS:
        if name in film:
            delattr(film, name)
    film.PhotometricInterpretation = "MONOCHROME2"
    film.PixelRepresentation = 0
    film.BitsStored, film.HighBit, film.BitsAllocated = bits, bits - 1, 8 if bits == 8 else 16
    packed = stored.tobytes()
    film.PixelData = packed + b"\0" * (len(packed) % 2)
    film["PixelData"].VR = "OB" if bits == 8 else "OW"
    film.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    film.save_as(target)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--out", type=pathlib.Path, required=True)
    parser.add_argument("--looks", default=",".join(LOOKS), help="default: all of %(default)s")
    parser.add_argument("--seed", type=int, default=1, help="of grain and noise")
    parser.add_argument("cases", type=pathlib.Path, nargs="+", metavar="CASE")
    options = parser.parse_args()
    looks = options.looks.split(",")
    unknown = [look for look in looks if look not in LOOKS]
    if unknown:
        parser.error(f"no look is called {unknown[0]}; there are {', '.join(LOOKS)}")
    for look in looks:
        rng = np.random.default_rng(options.seed)
        for case in options.cases:
            # Cases of two sets may have one name.
            place = options.out / look / f"{case.resolve().parent.name}_{case.name}"
            place.mkdir(parents=True, exist_ok=True)
            for file in sorted(case.iterdir()):
                if file.suffix == ".dcm":
                    write_look(file, place / file.name, look, rng)
                elif file.suffix == ".json":
                    shutil.copy(file, place / file.name)


if __name__ == "__main__":
    main()
