#!/usr/bin/python3
"""Draws each film of a folder of cases beside a copy with its truth on it.

usage: preview.py CASES_DIR PNG_DIR
"""
import json
import os
import sys

import numpy as np
from PIL import Image, ImageDraw
import pydicom


def grey(path):
    """Film in MONOCHROME2 sense, 8 bits."""
    ds = pydicom.dcmread(path)
    top = 2 ** ds.BitsStored - 1
    a = ds.pixel_array.astype(np.float32) * (255 / top)
    return (255 - a if ds.PhotometricInterpretation == "MONOCHROME1" else a).astype(np.uint8)


def draw(canvas, hip, scale):
    at = lambda p: ((p[0] + 0.5) * scale, (p[1] + 0.5) * scale)
    for name, colour in (("head", "red"), ("cup", "orange")):
        (x, y), r = at(hip[name]["centre_px"]), hip[name]["diameter_px"] * scale / 2
        canvas.ellipse((x - r, y - r, x + r, y + r), outline=colour)
    for name, p in hip["points_px"].items():
        x, y = at(p)
        colour = "lime" if hip["visible"].get(name, True) else "magenta"
        canvas.line((x - 8, y, x + 8, y), fill=colour)
        canvas.line((x, y - 8, x, y + 8), fill=colour)
    for name, colour in (("stem_axis_px", "cyan"), ("shaft_axis_px", "yellow")):
        canvas.line([at(p) for p in hip[name]], fill=colour)


def main(cases, out, scale=0.5):
    os.makedirs(out, exist_ok=True)
    for case in sorted(os.listdir(cases)):
        path = os.path.join(cases, case, "truth.json")
        if not os.path.exists(path):
            continue
        with open(path, encoding="ascii") as stream:
            truth = json.load(stream)
        for film in truth["films"]:
            image = Image.fromarray(grey(os.path.join(cases, case, film["file"])))
            size = [int(n * scale) for n in image.size]
            plain = image.resize(size, Image.LANCZOS).convert("RGB")
            marked = plain.copy()
            for hip in [film] + ([film["other_hip"]] if "other_hip" in film else []):
                draw(ImageDraw.Draw(marked), hip, scale)
            both = Image.new("RGB", (2 * size[0], size[1]))
            both.paste(plain, (0, 0))
            both.paste(marked, (size[0], 0))
            both.save(os.path.join(out, f"{case}-{film['file'][:-4]}.png"))


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main(sys.argv[1], sys.argv[2])
