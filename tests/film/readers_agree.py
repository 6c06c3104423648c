#!/usr/bin/python3
"""Reads the same DICOM films with our reader, with pydicom and with DCMTK's and GDCM's tools.

Stored values must be equal, pixel for pixel (pydicom, on files the other tools have decompressed);
greys must be those DCMTK's dcm2pnm would show with a window from minimum to maximum, up to the
rounding of its 16 bits. The films are made here (a wedge of known values in every way of storing
we promise to read) and taken from TESTDATA.
packages: dcmtk libgdcm-tools python3-pydicom python3-numpy
usage: readers_agree.py FILM_DUMP TESTDATA
"""
import pathlib
import subprocess
import sys
import tempfile
import warnings

import numpy as np
import pydicom
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian, generate_uid

warnings.simplefilter("ignore")
DUMP, TESTDATA = sys.argv[1], pathlib.Path(sys.argv[2])
X, Y = np.meshgrid(np.arange(160), np.arange(96))
WEDGE = (16 * X + 4 * Y).astype(np.uint16)
WEDGE[0, 0], WEDGE[0, -1] = 0, 4095
faults, checks = [], 0


def film(pixels=WEDGE, **tags):
    """A digital radiograph; keywords override or (None) remove tags."""
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.1.1"
    meta.MediaStorageSOPInstanceUID = generate_uid()
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds = FileDataset(None, {}, file_meta=meta, preamble=b"\0" * 128)
    ds.is_little_endian, ds.is_implicit_VR = True, False
    ds.SOPClassUID, ds.SOPInstanceUID = meta.MediaStorageSOPClassUID, meta.MediaStorageSOPInstanceUID
    ds.StudyInstanceUID, ds.SeriesInstanceUID = generate_uid(), generate_uid()
    ds.PatientID, ds.PatientName, ds.Modality = "TM-0001", "", "DX"
    ds.PatientOrientation = ["L", "F"]
    ds.Rows, ds.Columns, ds.SamplesPerPixel = pixels.shape[0], pixels.shape[1], 1
    ds.PhotometricInterpretation, ds.PixelRepresentation = "MONOCHROME2", 0
    ds.BitsAllocated, ds.BitsStored, ds.HighBit = 16, 12, 11
    ds.PixelData = pixels.tobytes()
    for name, value in tags.items():
        setattr(ds, name, value)
    return ds


def table(entries, first=0):
    item = Dataset()
    item.LUTDescriptor, item.ModalityLUTType = [len(entries), first, 16], "US"
    item.LUTData = np.asarray(entries, np.uint16).tobytes()
    item["LUTData"].VR = "OW"
    return Sequence([item])


def run(*command):
    done = subprocess.run([str(c) for c in command], capture_output=True)
    if done.returncode != 0:
        raise RuntimeError(f"{command[0]}: {done.stderr.decode(errors='replace')[:200]}")


def make_films(out):
    """-> paths of films with every encoding and every grey transform."""
    square = [int(65535 * (i / 4095) ** 2) for i in range(4096)]
    films = {
        "base": film(),
        "mono1": film(PhotometricInterpretation="MONOCHROME1"),
        "mono1_inverse": film(PhotometricInterpretation="MONOCHROME1", PresentationLUTShape="INVERSE"),
        "mono1_identity": film(PhotometricInterpretation="MONOCHROME1", PresentationLUTShape="IDENTITY"),
        "mono2_inverse": film(PresentationLUTShape="INVERSE"),
        "rescale": film(RescaleSlope="2.5", RescaleIntercept="-1024", RescaleType="US"),
        "modality_lut": film(ModalityLUTSequence=table(square)),
        "modality_lut_mono1": film(ModalityLUTSequence=table(square), PhotometricInterpretation="MONOCHROME1"),
        "signed": film((WEDGE.astype(np.int32) - 2048).astype(np.int16), PixelRepresentation=1),
        "dirty_high_bits": film((WEDGE | 0xA000).astype(np.uint16)),
        "left_aligned": film((WEDGE << 4).astype(np.uint16), HighBit=15),
        "sixteen_bits": film((WEDGE.astype(np.uint32) * 16).astype(np.uint16), BitsStored=16, HighBit=15),
        "eight_bits": film((WEDGE >> 4).astype(np.uint8), BitsAllocated=8, BitsStored=8, HighBit=7),
        "two_frames": film(np.vstack([WEDGE, WEDGE[::-1]]), Rows=96, NumberOfFrames=2),
    }
    films["two_frames"].SOPClassUID = "1.2.840.10008.5.1.4.1.1.7.3"
    paths = []
    for name, ds in films.items():
        ds.save_as(out / f"{name}.dcm", write_like_original=False)
        paths.append(out / f"{name}.dcm")
    raw = (out / "base.dcm").read_bytes()
    (out / "no_preamble.dcm").write_bytes(raw[132:])
    paths.append(out / "no_preamble.dcm")

    def encoded(source, name, *tool):
        run(tool[0], *tool[1:], out / f"{source}.dcm", out / f"{name}.dcm")
        paths.append(out / f"{name}.dcm")

    encoded("base", "implicit", "dcmconv", "+ti")
    encoded("base", "big_endian", "dcmconv", "+tb")
    encoded("eight_bits", "big_endian8", "dcmconv", "+tb")
    encoded("base", "deflated", "dcmconv", "+td")
    encoded("base", "no_meta", "dcmconv", "-F")
    for source in ("base", "signed", "sixteen_bits", "eight_bits", "two_frames"):
        encoded(source, f"{source}_rle", "dcmcrle")
        encoded(source, f"{source}_jpegls", "dcmcjpls", "+el")
        encoded(source, f"{source}_jpeg_sv1", "dcmcjpeg", "+e1")
        encoded(source, f"{source}_j2k", "gdcmconv", "--j2k")
    encoded("base", "jpeg_p14", "dcmcjpeg", "+el")
    encoded("base", "jpeg12", "dcmcjpeg", "+ee", "+q", "95")
    encoded("base", "jpeg8", "dcmcjpeg", "+eb", "+q", "95")
    encoded("base", "jpegls_near", "dcmcjpls", "+en", "+md", "3")
    encoded("base", "jpegls_fragments", "dcmcjpls", "+el", "+fs", "1")
    encoded("base", "j2k_lossy", "gdcmconv", "--j2k", "--lossy", "-r", "10")
    return paths


def native(path, out):
    """The film without compression, by other people's tools."""
    syntax = str(getattr(getattr(pydicom.dcmread(path, force=True), "file_meta", None),
                         "TransferSyntaxUID", ""))
    to = out / ("native-" + path.name)
    if syntax.startswith("1.2.840.10008.1.2.4.9"):
        run("gdcmconv", "--raw", path, to)
    elif syntax.startswith("1.2.840.10008.1.2.4.8"):
        run("dcmdjpls", path, to)
    elif syntax.startswith("1.2.840.10008.1.2.4"):
        run("dcmdjpeg", path, to)
    elif syntax == "1.2.840.10008.1.2.5":
        run("dcmdrle", path, to)
    elif syntax and syntax != "1.2.840.10008.1.2.2":
        run("dcmconv", "+te", path, to)
    else:
        return path  # pydicom reads big endian and bare data sets itself
    return to


def ours(what, path):
    out = subprocess.run([DUMP, what, str(path)], capture_output=True, check=True).stdout
    line, _, pixels = out.partition(b"\n")
    if not line.startswith(b"OK "):
        raise RuntimeError(line.decode())
    columns, rows = map(int, line.split()[1:3])
    kind = {"stored": np.int32, "view": np.float32}[what]
    return np.frombuffer(pixels, kind).reshape(rows, columns)


def stored_by_pydicom(path):
    ds = pydicom.dcmread(path, force=True)
    if "TransferSyntaxUID" not in getattr(ds, "file_meta", Dataset()):
        ds.file_meta = FileMetaDataset()
        ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    values = ds.pixel_array.astype(np.int64)
    if values.ndim == 3:
        values = values[0]
    bits = ds.BitsStored
    values = (values >> (ds.HighBit + 1 - bits)) & ((1 << bits) - 1)  # pydicom does not mask
    if ds.PixelRepresentation == 1:
        values = np.where(values >= 1 << (bits - 1), values - (1 << bits), values)
    return values


def shown_by_dcmtk(path, out, options):
    run("dcm2pnm", *options, "--write-16-bit-pnm", path, out / "shown.pgm")
    text = (out / "shown.pgm").read_text()
    fields = " ".join(line for line in text.splitlines() if not line.startswith("#")).split()
    columns, rows = int(fields[1]), int(fields[2])
    return np.array(fields[4:], float).reshape(rows, columns)


def check(name, condition, what):
    global checks
    checks += 1
    if not condition:
        faults.append(f"{name}: {what}")


def compare(path, out, show=("+Wm",)):
    plain = native(path, out)
    mine, theirs = ours("stored", path), stored_by_pydicom(plain)
    check(path.name, mine.shape == theirs.shape, f"shape {mine.shape}, pydicom {theirs.shape}")
    if mine.shape != theirs.shape:
        return
    worst = int(np.abs(mine - theirs).max())
    check(path.name, worst == 0, f"stored values differ from pydicom's by up to {worst}")
    if show is None:
        return
    view = ours("view", path).astype(float)
    shown = shown_by_dcmtk(plain, out, show)
    scaled = (view - view.min()) / (view.max() - view.min()) * 65535
    low, high = shown.min(), shown.max()
    shown = (shown - low) / (high - low) * 65535
    worst = float(np.abs(scaled - shown).max())
    slope = float(pydicom.dcmread(plain, force=True).get("RescaleSlope", 1) or 1)
    # DCMTK rounds rescaled values to whole numbers; that shows where the slope is none.
    allowed = 20 if slope == round(slope) else 20 + 65535 / (view.max() - view.min())
    check(path.name, worst < allowed, f"greys differ from dcm2pnm's by up to {worst:.1f} of 65,535")


def main():
    with tempfile.TemporaryDirectory() as folder:
        out = pathlib.Path(folder)
        for path in make_films(out):
            try:
                compare(path, out)
            except Exception as error:  # one fault a film, then the next film
                check(path.name, False, error)
        edge, real = TESTDATA / "dicom-edge-cases", TESTDATA / "radiographs"
        for path, show in [
                (edge / "CR_16x16_monochrome1_imagerspacing.dcm", ("+Wm",)),
                (edge / "mlut_18.dcm", ("+Wm",)), (edge / "vlut_04.dcm", ("+Wl", "1")),
                (edge / "image_dfl.dcm", ("+Wm",)), (edge / "MR_small_bigendian.dcm", None),
                (edge / "MR_small_RLE.dcm", None), (edge / "MR_small_jpeg_ls_lossless.dcm", None),
                (edge / "MR_small_padded.dcm", None), (edge / "JPGExtended.dcm", None),
                (edge / "J2K_pixelrep_mismatch.dcm", None), (real / "RG1_J2KI.dcm", ("+Wm",)),
                (real / "RG3_J2KI.dcm", None), (real / "RG3_J2KR.dcm", None)]:
            try:
                compare(path, out, show)
            except Exception as error:
                check(path.name, False, error)
    print("\n".join(faults) or f"readers agree: {checks} comparisons")
    return 1 if faults else 0


sys.exit(main())
