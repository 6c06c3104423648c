#!/usr/bin/env python3
"""Writes the invented files of testdata/films and testdata/broken (packages: numpy, PIL, pydicom;
programs: dcmcjpeg and dcmcrle of dcmtk, gdcmconv of libgdcm-tools).

The films show a wedge without symmetry, v(x, y) = 16 x + 4 y of 160 x 96 pixels (12 bits), or the
same over 16 (8 bits). Run by hand; the files are committed, so that no test needs Python.
usage: make_testdata.py TESTDATA
"""
import pathlib
import struct
import subprocess
import sys
import zlib

import numpy as np
from PIL import Image

ROOT = pathlib.Path(sys.argv[1])
FILMS = ROOT / "films"
BROKEN = ROOT / "broken"
X, Y = np.meshgrid(np.arange(160), np.arange(96))
WEDGE = (16 * X + 4 * Y).astype(np.uint16)
BYTES = (WEDGE >> 4).astype(np.uint8)


def png_chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width, height, bits, colour, raw):
    header = struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + png_chunk(b"IDAT", zlib.compress(raw, 9))
            + png_chunk(b"IEND", b""))


def tiff(width, height, **more):
    """A little-endian TIFF of one strip that holds 8 bytes."""
    tags = {256: (4, width), 257: (4, height), 258: (3, 16), 259: (3, 1), 262: (3, 1), 273: (4, 200),
            277: (3, 1), 278: (4, height), 279: (4, 8)}
    tags.update({int(tag[1:]): value for tag, value in more.items()})
    out = b"II*\0" + struct.pack("<IH", 8, len(tags))
    for tag, (kind, value) in sorted(tags.items()):
        out += struct.pack("<HHII", tag, kind, 1, value)
    return (out + b"\0\0\0\0").ljust(208, b"\0")


def element(group, number, vr, value):
    head = struct.pack("<HH", group, number) + vr
    return head + (b"\0\0" + struct.pack("<I", len(value)) if vr in (b"OB", b"OW", b"UN")
                   else struct.pack("<H", len(value))) + value


def films():
    Image.fromarray(WEDGE).save(FILMS / "wedge16.png")
    Image.fromarray(BYTES).save(FILMS / "wedge8.png", dpi=(300, 300))
    Image.fromarray(np.dstack([BYTES] * 3)).save(FILMS / "wedge8-as-rgb.png")
    Image.fromarray(np.dstack([BYTES, 0 * BYTES + 255])).save(FILMS / "wedge8-alpha.png")
    Image.fromarray(BYTES).convert("P").save(FILMS / "wedge8-palette.png")
    Image.fromarray(WEDGE).save(FILMS / "wedge16.tif")
    Image.fromarray(WEDGE).save(FILMS / "wedge16-lzw.tif", compression="tiff_lzw")
    Image.fromarray(WEDGE.astype(np.float32)).save(FILMS / "wedge-float.tif")
    Image.fromarray(BYTES).save(FILMS / "wedge8-white-is-zero.tif", tiffinfo={262: 0})
    Image.fromarray(np.dstack([BYTES] * 3)).save(FILMS / "wedge8-as-rgb.tif")
    big_endian = WEDGE.astype(">u2").tobytes()
    tags = [(256, 3, 160), (257, 3, 96), (258, 3, 16), (259, 3, 1), (262, 3, 1), (273, 4, 134),
            (277, 3, 1), (278, 3, 96), (279, 4, len(big_endian))]
    body = b"".join(struct.pack(">HHI", tag, kind, 1)
                    + (struct.pack(">HH", value, 0) if kind == 3 else struct.pack(">I", value))
                    for tag, kind, value in tags)
    (FILMS / "wedge16-big-endian.tif").write_bytes(
        (b"MM\0*" + struct.pack(">IH", 8, len(tags)) + body + b"\0\0\0\0").ljust(134, b"\0")
        + big_endian)
    Image.fromarray(BYTES).save(FILMS / "wedge8.jpg", quality=95)
    Image.fromarray(BYTES).save(FILMS / "wedge8-progressive.jpg", quality=95, progressive=True)


def colour_film():
    """The wedge of bytes as a DICOM object of three equal channels, uncompressed."""
    meta = element(2, 0x10, b"UI", b"1.2.840.10008.1.2.1\0")
    us = lambda number, value: element(0x28, number, b"US", struct.pack("<H", value))
    body = (element(8, 0x16, b"UI", b"1.2.840.10008.5.1.4.1.1.7\0") + element(8, 0x18, b"UI", b"1.2.3.4\0")
            + element(8, 0x60, b"CS", b"DX") + element(0x20, 0x20, b"CS", b"L\\F ") + us(2, 3)
            + element(0x28, 4, b"CS", b"RGB ") + us(6, 0) + us(0x10, 96) + us(0x11, 160) + us(0x100, 8)
            + us(0x101, 8) + us(0x102, 7) + us(0x103, 0)
            + element(0x7FE0, 0x10, b"OB", np.dstack([BYTES] * 3).tobytes()))
    return b"\0" * 128 + b"DICM" + element(2, 0, b"UL", struct.pack("<I", len(meta))) + meta + body


def colour_films():
    plain = FILMS / "wedge8-as-rgb.dcm"
    plain.write_bytes(colour_film())
    for kind, words in {"jpeg": ["dcmcjpeg", "+eb", "+q", "98"], "rle": ["dcmcrle"],
                        "j2k": ["gdcmconv", "--j2k"], "jpegls": ["gdcmconv", "--jpegls"]}.items():
        subprocess.run([*words, plain, FILMS / f"wedge8-as-rgb-{kind}.dcm"], check=True)


def broken():
    (BROKEN / "empty.dcm").write_bytes(b"")
    (BROKEN / "text.dcm").write_bytes(b"not a film\n" * 40)
    Image.fromarray(np.dstack([BYTES, BYTES, BYTES // 2])).save(BROKEN / "colour.png")
    turned = Image.Exif()
    turned[274] = 6
    Image.fromarray(BYTES).save(BROKEN / "turned.jpg", quality=90, exif=turned)
    turned[274] = 2
    Image.fromarray(BYTES).save(BROKEN / "mirrored.png", exif=turned)
    Image.fromarray(BYTES).save(BROKEN / "mirrored.tif", tiffinfo={274: 2})
    Image.fromarray(np.dstack([BYTES, BYTES, BYTES // 2])).save(BROKEN / "colour.jpg")
    Image.fromarray(BYTES).convert("1").save(BROKEN / "black-and-white.png")
    Image.fromarray(BYTES[:1, :1]).save(BROKEN / "one-pixel.png")
    Image.fromarray(0 * BYTES + 7).save(BROKEN / "one-value.png")
    Image.fromarray(BYTES).save(BROKEN / "two-pages.tif", save_all=True,
                                append_images=[Image.fromarray(BYTES)])
    floats = WEDGE.astype(np.float32)
    floats[3, 3] = np.nan
    Image.fromarray(floats).save(BROKEN / "not-a-number.tif")
    (BROKEN / "bomb.png").write_bytes(png(30000, 30000, 16, 0, b"\0" * (1 << 20)))
    (BROKEN / "short.png").write_bytes(png(160, 96, 16, 0, b"\0" * 100))
    (BROKEN / "claims.tif").write_bytes(tiff(60000, 60000))
    (BROKEN / "tiles.tif").write_bytes(tiff(160, 96, t322=(4, 1 << 30), t323=(4, 1 << 30)))
    jpeg = bytearray((FILMS / "wedge8.jpg").read_bytes())
    start = jpeg.index(b"\xff\xc0")
    jpeg[start + 5:start + 9] = struct.pack(">HH", 65500, 65500)
    (BROKEN / "claims.jpg").write_bytes(jpeg)
    meta = (element(2, 1, b"OB", b"\0\1") + element(2, 2, b"UI", b"1.2.840.10008.5.1.4.1.1.1.1\0")
            + element(2, 3, b"UI", b"1.2.3.4\0") + element(2, 0x10, b"UI", b"1.2.840.10008.1.2.1.99"))
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    out = packer.compress(element(8, 0x60, b"CS", b"DX"))
    out += packer.compress(struct.pack("<HH", 0x0009, 0x1001) + b"UN\0\0" + struct.pack("<I", 0xF0000000))
    for _ in range(600):
        out += packer.compress(b"\0" * (1 << 20))
    (BROKEN / "deflated-bomb.dcm").write_bytes(
        b"\0" * 128 + b"DICM" + element(2, 0, b"UL", struct.pack("<I", len(meta))) + meta + out
        + packer.flush())


FILMS.mkdir(exist_ok=True)
BROKEN.mkdir(exist_ok=True)
films()
colour_films()
broken()
