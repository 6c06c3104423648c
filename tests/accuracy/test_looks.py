#!/usr/bin/env python3
"""make_looks.py on a film of a few greys: what each look must and must not do."""
import pathlib
import subprocess
import sys
import tempfile
import unittest

try:
    import numpy as np
    import pydicom
    import make_looks
except ModuleNotFoundError as error:
    print(f"skipped: {error}")
    sys.exit(77)

HERE = pathlib.Path(__file__).parent


def drawn():
    """A bar of metal in bone in soft tissue, 0 to 1, no two columns alike."""
    grey = np.full((120, 100), 0.3) + 0.001 * np.arange(100)[None, :]
    grey[:, 30:70] += 0.2
    grey[:, 45:55] += 0.3
    return grey


def write_case(folder):
    folder.mkdir()
    film = pydicom.Dataset()
    film.file_meta = pydicom.dataset.FileMetaDataset()
    film.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    film.file_meta.MediaStorageSOPClassUID = film.SOPClassUID = "1.2.840.10008.5.1.4.1.1.1.1"
    film.file_meta.MediaStorageSOPInstanceUID = film.SOPInstanceUID = "2.25.1"
    film.SamplesPerPixel, film.PixelRepresentation = 1, 0
    film.Rows, film.Columns = drawn().shape
    film.BitsAllocated, film.BitsStored, film.HighBit = 16, 12, 11
    film.PhotometricInterpretation = "MONOCHROME1"
    film.PresentationLUTShape = "INVERSE"
    film.WindowCenter, film.WindowWidth = 2048, 4096
    film.PixelData = np.rint(4095 * (1.0 - drawn())).astype(np.uint16).tobytes()
    film["PixelData"].VR = "OW"
    film.is_little_endian, film.is_implicit_VR = True, False
    film.save_as(folder / "film-00.dcm", write_like_original=False)
    (folder / "truth.json").write_text("{}")


class Looks(unittest.TestCase):
    def test_each_keeps_the_film_a_film(self):
        for look in make_looks.LOOKS:
            out = make_looks.looked(drawn(), look, np.random.default_rng(1))
            with self.subTest(look):
                self.assertEqual(out.shape, drawn().shape)
                self.assertTrue(0.0 <= out.min() < out.max() <= 1.0)
                self.assertEqual(np.array_equal(out, drawn()), look == "plain")

    def test_curves_keep_the_order_of_greys(self):
        order = np.argsort(drawn()[60])
        for look in ("gamma2.2", "gamma0.45", "s6", "s10", "ranks", "dark"):
            out = make_looks.looked(drawn(), look, None)[60]
            with self.subTest(look):
                self.assertTrue(np.all(np.diff(out[order]) >= 0.0))

    def test_a_steep_curve_presses_metal_and_bone_together(self):
        def step(grey):
            return (grey[60, 50] - grey[60, 35]) / (grey[60, 35] - grey[60, 10])
        self.assertLess(step(make_looks.looked(drawn(), "s10", None)), 0.75 * step(drawn()))

    def test_written_films_say_nothing_of_their_greys_and_keep_the_truth(self):
        with tempfile.TemporaryDirectory() as place:
            place = pathlib.Path(place)
            write_case(place / "case-00")
            subprocess.run([sys.executable, HERE / "make_looks.py", "--out", place / "out", "--looks",
                            "plain,few_greys", place / "case-00"], check=True)
            for look, bits in (("plain", 12), ("few_greys", 8)):
                (case,) = (place / "out" / look).iterdir()
                self.assertTrue((case / "truth.json").exists())
                film = pydicom.dcmread(case / "film-00.dcm")
                self.assertEqual((film.BitsStored, film.PhotometricInterpretation),
                                 (bits, "MONOCHROME2"))
                self.assertNotIn("PresentationLUTShape", film)
                self.assertNotIn("WindowCenter", film)
                if look == "plain":
                    self.assertLess(np.abs(make_looks.greys_of(film) - drawn()).max(), 2e-4)


if __name__ == "__main__":
    unittest.main()
