"""Command-line cases of `tidemark batch`, `merge` and `export`.

usage: batch_cases.py TIDEMARK FILMS [unittest arguments]

Exits with 77 (skipped) when a case was skipped and none failed.

FILMS holds hip-0001 and hip-0002 as `tidemark phantom --hips 2` makes them: the hips that are really
measured. Hips beside them are small films without a stem, which are refused at once: they make a run
long enough to be killed at many moments.
"""
import csv
import hashlib
import json
import os
import pathlib
import pty
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import unittest

import numpy
import pydicom

TIDEMARK = pathlib.Path(sys.argv[1])
FILMS = pathlib.Path(sys.argv[2])
ROOT = pathlib.Path(__file__).resolve().parents[2]
del sys.argv[1:3]

NAME, NUMBER, BORN = "Quillfeather^Bartholomea", "ID-77-4421-X", "19510703"


def digest(folder):
    """Names and contents of all files below a folder."""
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*")) if p.is_file()}


def blank(path, patient="P1", side="R", date="20240301", number=0, size=96,
          **tags):
    """A small film that shows a smooth nothing, with an invented patient."""
    film = pydicom.dcmread(FILMS / "hip-0001" / "film-00.dcm")
    ramp = numpy.add.outer(numpy.arange(size) * (3 + number % 5), numpy.arange(size) * 2 + number)
    film.Rows = film.Columns = size
    film.PixelData = ramp.astype("<u2").tobytes()
    film.PatientID, film.PatientName, film.PatientBirthDate = patient, NAME, BORN
    film.ImageLaterality = side
    film.AcquisitionDate = film.StudyDate = film.SeriesDate = film.ContentDate = date
    film.SOPInstanceUID = f"2.25.{abs(hash((patient, side, date, number))) % 10**18}"
    film.file_meta.MediaStorageSOPInstanceUID = film.SOPInstanceUID
    for key, value in tags.items():
        setattr(film, key, value)
    path.parent.mkdir(parents=True, exist_ok=True)
    film.save_as(path)
    return path


def real(target, hip, patient, name=None, **tags):
    """The films of a simulated hip under another patient's name."""
    target.mkdir(parents=True, exist_ok=True)
    side = json.loads((FILMS / hip / "series.json").read_text())["side"]
    for film in sorted((FILMS / hip).glob("*.dcm")):
        data = pydicom.dcmread(film)
        data.PatientID, data.PatientName, data.PatientBirthDate = patient, NAME, BORN
        data.ImageLaterality = side
        for key, value in tags.items():
            setattr(data, key, value)
        data.save_as(target / f"{name or ''}{film.name}")


class Case(unittest.TestCase):
    def setUp(self):
        self.temporary = tempfile.TemporaryDirectory()
        self.addCleanup(self.temporary.cleanup)
        self.folder = pathlib.Path(self.temporary.name)
        self.input = self.folder / "share"
        self.out = self.folder / "out"

    def hips(self, blanks=10, measured=("hip-0001",)):
        """A share of hips in folders, most of them quickly refused."""
        for i in range(blanks):
            for visit, date in enumerate(("20240301", "20240501")):
                blank(self.input / f"b{i:02}" / f"{visit}.dcm", f"B{i}", "R", date, i * 2 + visit)
        for hip in measured:
            shutil.copytree(FILMS / hip, self.input / hip)

    def run_batch(self, *more, out=None, source=None, **options):
        return subprocess.run([TIDEMARK, "batch", source or self.input, "--out", out or self.out,
                               *map(str, more)], capture_output=True, text=True, **options)

    def export(self, out=None, *more):
        """The canonical tables: file name -> bytes."""
        target = pathlib.Path(tempfile.mkdtemp(dir=self.folder))
        done = subprocess.run([TIDEMARK, "export", (out or self.out) / "registry.sqlite"
                               if (out or self.out).is_dir() else out, "--out", target, *more],
                              capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        return {p.name: p.read_bytes() for p in target.iterdir()}

    def ask(self, sql, out=None):
        with sqlite3.connect((out or self.out) / "registry.sqlite") as db:
            return db.execute(sql).fetchall()

    def assert_whole(self, out=None):
        self.assertEqual(self.ask("PRAGMA integrity_check", out), [("ok",)])
        self.assertEqual(self.ask("PRAGMA foreign_key_check", out), [])


class Folders(Case):
    def test_table(self):
        self.hips(2)
        (self.input / "empty").mkdir()
        (self.input / "faulty").mkdir()
        (self.input / "faulty" / "series.json").write_text('{"films": 3}')
        done = self.run_batch("--jobs", 2)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assert_whole()
        rows = dict((r[0], r[1:]) for r in self.ask("SELECT hip, status, reason FROM hips"))
        self.assertEqual(len(rows), 5)
        self.assertEqual(rows["PHANTOM-0001"][0], "measured")
        refused = [r for name, r in rows.items() if name != "PHANTOM-0001"]
        self.assertTrue(all(status == "refused" and reason for status, reason in refused), rows)
        # The numbers are those of `tidemark measure`.
        one = self.folder / "one"
        subprocess.run([TIDEMARK, "measure", self.input / "hip-0001", "--out", one, "--no-pictures",
                        "--report", "none"], capture_output=True)
        result = json.loads((one / "result.json").read_text())
        expected = result["comparisons"][0]
        row = self.ask("SELECT subsidence_mm, subsidence_u_mm, subsidence_u95_mm, tilt_change_deg, "
                       "medial_mm, days FROM comparisons JOIN hips USING (hip_id) "
                       "WHERE hip = 'PHANTOM-0001'")
        s = expected["subsidence_mm"]
        self.assertEqual(row, [(s["value"], s["u"], s["u95"], expected["tilt_change_deg"]["value"],
                                expected["medial_mm"]["value"], expected["days"])])
        count = {t: self.ask(f"SELECT count(*) FROM {t} JOIN hips USING (hip_id) WHERE "
                             "hip = 'PHANTOM-0001'")[0][0]
                 for t in ("films", "zones", "zone_changes", "findings", "budget", "seat")}
        self.assertEqual(count, {
            "films": len(result["films"]), "zones": sum(len(f["zones"]) for f in result["films"]),
            "zone_changes": len(expected["zones"]), "budget": len(expected["uncertainty_budget"]),
            "findings": len(result["assessment"]["findings"]),
            "seat": len(result["assessment"]["seat"])})
        self.assert_seat(result["assessment"]["seat"])
        lines = [line for line in done.stderr.splitlines() if line.startswith("tidemark: ")]
        self.assertEqual(len(lines), 5, done.stderr)

    def assert_seat(self, items):
        """The seat's rows are those of result.json, value by value; what was not measured says why."""
        columns = ("quantity", "unit", "value", "u", "u95", "planned", "verdict", "class", "reason")
        rows = self.ask(f"SELECT {', '.join('seat.' + c for c in columns)} FROM seat JOIN hips USING (hip_id) "
                        "WHERE hip = 'PHANTOM-0001' ORDER BY quantity")
        told = [(i["quantity"], i["unit"], *(i.get("measured", {}).get(k) for k in ("value", "u", "u95")),
                 i.get("planned"), i["verdict"], i.get("class", {}).get("id"), i.get("reason"))
                for i in sorted(items, key=lambda item: item["quantity"])]
        self.assertEqual(rows, told)
        self.assertTrue(any(row[2] is not None for row in rows), "nothing of the seat was measured")
        self.assertTrue(all((row[2] is None) == bool(row[8]) for row in rows), rows)

    def test_kept_folders(self):
        self.hips(1)
        self.run_batch("--keep-hips")
        kept = self.out / "hips" / "PHANTOM-0001"
        self.assertTrue({"result.json", "report.html", "measurements.csv"}
                        <= {p.name for p in kept.iterdir()})
        (kept / "result.json").unlink()  # asked for, and not there: measured again
        again = self.run_batch("--keep-hips")
        self.assertIn("1 kept", again.stdout)
        self.assertTrue((kept / "result.json").exists())

    def test_kept_folders_are_those_of_the_table(self):
        """A folder that was kept before the hip was measured again without keeping it is made anew."""
        self.hips(1, ())
        kept = self.out / "hips" / "hip-000001" / "result.json"
        film = self.input / "b00" / "0.dcm"
        told = lambda: json.loads(kept.read_text())["films"][0]["sha256"]
        self.run_batch("--keep-hips")
        before = told()
        self.assertIn("1 kept", self.run_batch("--keep-hips").stdout)
        blank(film, "B0", "R", "20240301", 99)
        self.run_batch()
        self.assertEqual(told(), before)
        self.assertIn("0 kept", self.run_batch("--keep-hips").stdout)
        self.assertEqual(told(), hashlib.sha256(film.read_bytes()).hexdigest())
        self.assertIn("1 kept", self.run_batch("--keep-hips").stdout)
        self.run_batch("--accept-pixels")
        self.assertIn("0 kept", self.run_batch("--keep-hips", "--accept-pixels").stdout)
        self.assertFalse(list(kept.parent.glob("last-*")))

    def test_kept_folders_hold_no_file_of_an_earlier_run(self):
        self.hips(1, ())
        self.run_batch("--keep-hips")
        kept = self.out / "hips" / "hip-000001"
        (kept / "pair-07.png").write_bytes(b"of an earlier run")
        (kept / "notes.txt").write_text("the reader's own")
        blank(self.input / "b00" / "0.dcm", "B0", "R", "20240301", 98)
        self.run_batch("--keep-hips")
        self.assertFalse((kept / "pair-07.png").exists())
        self.assertTrue((kept / "notes.txt").exists())

    def test_usage(self):
        self.hips(1, ())
        for more, code in ((["--shard", "3/2"], 2), (["--jobs", "0"], 2), (["--shard", "x"], 2),
                           (["--criteria", "none-such"], 3)):
            done = self.run_batch(*more)
            self.assertEqual(done.returncode, code, (more, done.stderr))
        self.assertEqual(self.run_batch(source=self.folder / "nowhere").returncode, 3)
        self.assertEqual(self.run_batch(out=self.input / "x").returncode, 2)
        (self.folder / "void").mkdir()
        self.assertEqual(self.run_batch(source=self.folder / "void").returncode, 3)


class Names(Case):
    def test_no_value_of_a_sheet_is_told(self):
        """Films, surfaces and anything typed may be called after the patient; the place is told alone."""
        mark, number = "Zz_Quill", 77442199

        def sheet(folder, text, *films):
            for i, film in enumerate(films):
                blank(self.input / folder / film, number=i)
            (self.input / folder).mkdir(parents=True, exist_ok=True)
            (self.input / folder / "series.json").write_text(text)
        film = f"{mark}.dcm"
        sheet("a", json.dumps({"films": [{"file": film}, {"file": film}]}), film)
        sheet("b", json.dumps({"films": [{"file": f"../{mark}/x.dcm"}]}))
        sheet("c", json.dumps({"stem": {"surface": f"../{mark}.stl"}, "films": [{"file": film}]}), film)
        sheet("d", json.dumps({"side": f'{mark}", "{mark}', "films": [{"file": film}]}), film)
        sheet("e", json.dumps({f"{mark}": 1, "films": [{"file": film}]}), film)
        sheet("f", json.dumps({"hip": number, "films": [{"file": film}]}), film)
        sheet("g", '{"%s": 1, "%s": 2}' % (mark, mark))
        sheet("h", '{"films": [{"file": "x", "mm_per_px": %d%s}]}' % (number, "0" * 400))
        sheet("i", json.dumps({"hip": "I", "films": [{"file": film, "mm_per_px": number}]}), film)
        measured = self.input / "j"
        real(measured, "hip-0001", "J", name=mark)
        (measured / "series.json").write_text(json.dumps({
            "hip": "J", "stem": {"head_diameter_mm": 32, "surface": f"{mark}.stl"},
            "films": [{"file": p.name} for p in sorted(measured.glob("*.dcm"))] + [{"file": f"{mark}-none.dcm"}]}))
        done = self.run_batch("--keep-hips", "--jobs", 2)
        self.assertEqual(done.returncode, 1, done.stderr)
        reasons = dict(self.ask("SELECT hip, reason FROM hips"))
        self.assertEqual(len(reasons), 10)
        told = "\n".join(map(str, reasons.values()))
        for place in ("films[1].file is", "films[0].file is", "stem.surface is", "side is", "key ", "hip is",
                      "films[0].mm_per_px"):
            self.assertIn(place, told)
        self.assertEqual(self.ask("SELECT count(*) FROM flags WHERE flag = 'surface_not_used'"), [(1,)])
        self.assertIn("stem surface: cannot be opened", self.ask("SELECT text FROM flags WHERE flag = 'surface_not_used'")[0][0])
        tables = self.export()
        study = self.folder / "study"
        subprocess.run([TIDEMARK, "cohort", self.out, "--out", study], check=True, capture_output=True)
        files = {str(p): p.read_bytes() for out in (self.out, study) for p in out.rglob("*") if p.is_file()}
        for name, data in {**tables, **files, "stdout": done.stdout.encode(), "stderr": done.stderr.encode()}.items():
            self.assertNotIn(mark.encode(), data, name)
            self.assertNotIn(str(number).encode(), data, name)


class Sheet(Case):
    def write(self, text):
        self.folder.joinpath("sheet.csv").write_text(text, encoding="utf-8")
        return self.folder / "sheet.csv"

    def test_films_and_groups(self):
        real(self.input / "a", "hip-0001", "X1")
        blank(self.input / "b" / "0.dcm")
        sheet = self.write(
            "\ufeffhip;side;surgery_date;head_diameter_mm;group_stem;patient_name;file;date;examination\r\n"
            f"H1;;2024-03-01;32;A;{NAME};share/a/film-00.dcm;2024-03-02;1\r\n"
            f"H1;;2024-03-01;32;A;{NAME};share/a/film-01.dcm;2024-04-15;2\r\n"
            f"H2;R;2024-03-01;32;B;{NAME};share/b/0.dcm;;\r\n"
            f"H3;R;03/01/2024;32;B;{NAME};share/b/0.dcm;;\r\n"
            f"H4;R;;32;B;{NAME};share/b/0.dcm;;\r\nH4;L;;32;B;{NAME};share/b/0.dcm;;\r\n"
            f"H5;R;;32;B;{NAME};share/none.dcm;;\r\n")
        done = self.run_batch(source=sheet)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertIn("1 columns are not used", done.stderr)
        rows = dict((r[0], r[1:]) for r in self.ask("SELECT hip, status, reason FROM hips"))
        self.assertEqual(rows["H1"], ("measured", None))
        self.assertIn("line 5: surgery_date", rows["H3"][1])
        self.assertIn("contradict", rows["H4"][1])
        self.assertEqual({rows[h][0] for h in ("H2", "H3", "H4", "H5")}, {"refused"})
        self.assertEqual(self.ask("SELECT value FROM hip_groups JOIN hips USING (hip_id) "
                                  "WHERE hip = 'H1' AND name = 'stem'"), [("A",)])
        self.assertEqual(self.ask("SELECT examination FROM comparisons JOIN hips USING (hip_id) "
                                  "WHERE hip = 'H1'"), [(2,)])
        self.assertNotIn(NAME, done.stdout + done.stderr)
        for path in self.out.iterdir():
            self.assertNotIn(NAME.encode(), path.read_bytes(), path)

    def test_every_hip_has_a_folder_of_its_own(self):
        rows = [("A/1", ""), ("A_1", ""), ("A@B", ""), ("A", "B"), ("A", ""), (".A", ""), ("_A", "")]
        for i in range(len(rows)):
            blank(self.input / f"{i}.dcm", f"P{i}", number=i)
        self.run_batch("--keep-hips", source=self.write("hip,reader,side,file\n" + "".join(
            f"{hip},{reader},R,share/{i}.dcm\n" for i, (hip, reader) in enumerate(rows))))
        kept = {p.parent.name: json.loads(p.read_text()) for p in self.out.glob("hips/*/result.json")}
        self.assertEqual(sorted(r["hip"] for r in kept.values()), sorted(hip for hip, _ in rows))
        self.assertEqual({name for name in kept if "~" not in name}, {"A_1", "A", "_A"})

    def test_slips(self):
        blank(self.input / "b" / "0.dcm")
        for header, said in (("hip,surgery-date,file", "surgery_date"), ("hip,file,file", "twice")):
            done = self.run_batch(source=self.write(f"{header}\nH1,2024-01-01,share/b/0.dcm\n"))
            self.assertEqual(done.returncode, 3, done.stderr)
            self.assertIn(said, done.stderr)


class Heap(Case):
    def heap(self):
        real(self.input, "hip-0001", NUMBER, "one-")
        blank(self.input / "lateral.dcm", NUMBER, "L", "20240601", 1, ViewPosition="LL")
        blank(self.input / "chest.dcm", NUMBER, "L", "20240602", 2, BodyPartExamined="CHEST")
        blank(self.input / "before.dcm", NUMBER, "L", "20230101", 3)
        blank(self.input / "ct.dcm", NUMBER, "L", "20240603", 4, Modality="CT")
        blank(self.input / "nobody.dcm", "", "L", "20240604", 5)
        blank(self.input / "no-date.dcm", NUMBER, "L", "", 6)
        blank(self.input / "other-l.dcm", "ID-2", "L", "20240301", 7)
        blank(self.input / "other-l2.dcm", "ID-2", "L", "20240501", 8)
        blank(self.input / "other-r.dcm", "ID-2", "R", "20240501", 9)
        blank(self.input / "deep" / "both.dcm", "ID-2", "", "20240601", 10)
        shutil.copy(self.input / "one-film-00.dcm", self.input / "copy.dcm")
        again = pydicom.dcmread(self.input / "other-r.dcm")
        again.SeriesDescription = "sent again"
        again.save_as(self.input / "sent-again.dcm")
        (self.input / "notes.txt").write_text("no film")
        (self.input / "cut.dcm").write_bytes((self.input / "chest.dcm").read_bytes()[:200])

    def test_sorting(self):
        self.heap()
        links = self.folder / "links.csv"
        done = self.run_batch("--links", links)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        with open(links, newline="") as file:
            went = {pathlib.Path(r["path"]).name: (r["hip"], r["what"]) for r in csv.DictReader(file)}
        kinds = {"lateral.dcm": "lateral_view", "chest.dcm": "other_body_part",
                 "ct.dcm": "other_modality", "nobody.dcm": "patient_unknown",
                 "no-date.dcm": "date_unknown", "notes.txt": "unreadable", "cut.dcm": "unreadable"}
        self.assertEqual({n: went[n][1] for n in kinds}, kinds)
        self.assertEqual(sorted(went[n][1][:4] for n in ("copy.dcm", "one-film-00.dcm")),
                         ["copy", "film"])
        self.assertEqual(sorted(went[n][1] for n in ("sent-again.dcm", "other-r.dcm"))[0], "copy")
        hips = {row[0] for row in self.ask("SELECT hip FROM hips")}
        sides = sorted(h.rsplit("-", 1)[1] for h in hips)
        self.assertEqual(sides, ["L", "L", "R"] if self.side() == "L" else ["L", "L", "R", "R"], hips)
        # A film of both hips serves each.
        both = [r["hip"] for r in csv.DictReader(open(links, newline="")) if
                r["path"].endswith("both.dcm")]
        self.assertEqual(len(both), 2)
        aside = dict(self.ask("SELECT kind, count(*) FROM set_aside GROUP BY kind"))
        self.assertEqual(aside["copy"], 2)
        self.assert_anonymous(done)

    def test_links_tell_why_every_file_was_set_aside(self):
        blank(self.input / "chest.dcm", NUMBER, BodyPartExamined="CHEST")
        links = self.folder / "links.csv"
        done = self.run_batch("--links", links)
        self.assertEqual(done.returncode, 3, done.stderr)
        self.assertIn("--links", done.stderr)
        with open(links, newline="") as file:
            self.assertEqual([r["what"] for r in csv.DictReader(file)], ["other_body_part"])
        self.assertFalse((self.out / "registry.sqlite").exists())

    def test_lines_of_a_sheet_that_contradict(self):
        """All lines of a hip count, not the first alone."""
        blank(self.input / "a.dcm", "ID-1", "R", "20240301", 1)
        blank(self.input / "b.dcm", "ID-2", "R", "20240301", 2)
        sheet = self.folder / "implants.csv"
        sheet.write_text("patient_id,side,hip,head_diameter_mm,group_stem,folder\n"
                         "ID-1,R,one,32,A,x\nID-1,R,one,36,A,y\n"
                         "ID-2,R,two,32,,x\nID-2,,,,B,y\nID-3,R,three,32,A,\n")
        done = self.run_batch("--sheet", sheet, "--heap")
        self.assertIn("1 rows of the sheet have no film", done.stderr)
        reasons = dict(self.ask("SELECT hip, reason FROM hips"))
        self.assertIn("contradict", reasons["one"])
        self.assertNotIn("contradict", reasons["two"])
        self.assertEqual(self.ask("SELECT hip, value FROM hip_groups JOIN hips USING (hip_id) WHERE hip = 'two'"),
                         [("two", "B")])

    def test_a_path_cannot_be_guessed(self):
        """What stands for a file that was set aside is no hash of its path, which may be a patient's name."""
        odd = self.input / NAME / "notes.txt"
        blank(self.input / NAME / "a.dcm")
        odd.write_text("no film")
        again = self.input / "notes.txt"
        again.write_text("no film")
        self.run_batch("--heap")
        items = [r[0] for r in self.ask("SELECT item FROM set_aside WHERE kind = 'unreadable'")]
        self.assertEqual(len(items), 2)
        self.assertIn(hashlib.sha256(b"no film").hexdigest(), items)
        for path in (odd, again):
            for said in (str(path), str(path.relative_to(self.input))):
                self.assertNotIn(hashlib.sha256(said.encode()).hexdigest(), items)

    def side(self):
        return json.loads((FILMS / "hip-0001" / "series.json").read_text())["side"]

    def assert_anonymous(self, done):
        texts = [done.stdout.encode(), done.stderr.encode()]
        texts += [p.read_bytes() for p in self.out.rglob("*") if p.is_file()]
        for word in (NUMBER, NAME, BORN, "Quillfeather", "one-film"):
            for text in texts:
                self.assertNotIn(word.encode(), text, word)

    def test_key_and_sheet(self):
        self.heap()
        key = self.folder / "key"
        key.write_text("0123456789abcdef0123456789abcdef\n")
        sheet = self.folder / "implants.csv"
        sheet.write_text("patient_id,side,surgery_date,head_diameter_mm,group_stem\n"
                         f"{NUMBER},L,2024-03-01,32,A\n{NUMBER},R,2024-03-01,32,A\n")
        done = self.run_batch("--pseudonym-key", key, "--sheet", sheet)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        # HMAC-SHA-256 by Python's own library.
        import hmac
        name = "P" + hmac.new(b"0123456789abcdef0123456789abcdef", b"patient\n" + NUMBER.encode(),
                              "sha256").hexdigest()[:16]
        rows = dict((r[0], r[1:]) for r in self.ask("SELECT hip, patient, status FROM hips"))
        self.assertEqual(rows[f"{name}-{self.side()}"], (name, "measured"))
        self.assertEqual(self.ask("SELECT count(*) FROM set_aside WHERE kind = 'before_surgery'"),
                         [(1,)])
        self.assertEqual(self.ask(f"SELECT value FROM hip_groups JOIN hips USING (hip_id) WHERE "
                                  f"hip = '{name}-{self.side()}'"), [("A",)])
        self.assert_anonymous(done)
        key.write_text("short")
        self.assertEqual(self.run_batch("--pseudonym-key", key).returncode, 3)

    def test_early_films(self):
        """No date of surgery: an early film without a stem is taken for one from before it; one that cannot be
        measured for another reason may be either, so it stays in the table but is no reference."""
        for hip, patient in (("hip-0001", "ID-1"), ("hip-0002", "ID-2")):
            real(self.input / patient, hip, patient)
        blank(self.input / "early.dcm", "ID-1", self.side(), "20200101", 3, size=900)
        film = pydicom.dcmread(self.input / "ID-2" / "film-00.dcm")  # mirrored: its stem stands as in the other hip
        film.AcquisitionDate = film.StudyDate = film.SeriesDate = film.ContentDate = "20200101"
        film.SOPInstanceUID = film.file_meta.MediaStorageSOPInstanceUID = "2.25.77"
        film.PixelData = film.pixel_array[:, ::-1].tobytes()
        film.save_as(self.input / "mirrored.dcm")
        sheet = self.folder / "implants.csv"
        heads = {f"ID-{i}": json.loads((FILMS / f"hip-000{i}" / "series.json").read_text())
                 ["stem"]["head_diameter_mm"] for i in (1, 2)}
        sheet.write_text("patient_id,hip,head_diameter_mm\n" + "".join(
            f"{patient},{patient[-1]},{head}\n" for patient, head in heads.items()))
        done = self.run_batch("--heap", "--sheet", sheet, "--jobs", 2)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertEqual(self.ask("SELECT hip, kind, date FROM set_aside"),
                         [("1", "no_stem_yet", "2020-01-01")])
        self.assertEqual(self.ask("SELECT hip, status FROM hips ORDER BY hip"),
                         [("1", "measured"), ("2", "partly")])
        films = self.ask("SELECT hip, film, role, films.status FROM films JOIN hips USING (hip_id) "
                         "ORDER BY hip, film")
        self.assertEqual(films, [("1", 0, "reference", "measured"), ("1", 1, "follow-up", "measured"),
                                 ("2", 0, "follow-up", "not_measured"), ("2", 1, "reference", "measured"),
                                 ("2", 2, "follow-up", "measured")])
        self.assertEqual(self.ask("SELECT hip FROM flags JOIN hips USING (hip_id) WHERE "
                                  "flag = 'reference_not_first'"), [("2",)])
        self.assertIn("film 0", self.ask("SELECT reason FROM hips WHERE hip = '2'")[0][0])
        # The early films change nothing in the numbers.
        numbers = self.ask("SELECT hip, subsidence_mm FROM comparisons JOIN hips USING (hip_id) "
                           "WHERE comparisons.status = 'measured' ORDER BY hip")
        for name in ("early.dcm", "mirrored.dcm"):
            (self.input / name).unlink()
        alone = self.folder / "alone"
        self.assertEqual(self.run_batch("--heap", "--sheet", sheet, out=alone).returncode, 0)
        self.assertEqual(self.ask("SELECT hip, subsidence_mm FROM comparisons JOIN hips USING "
                                  "(hip_id) ORDER BY hip", alone), numbers)
        # What was set aside of a hip goes with it.
        shutil.rmtree(self.input / "ID-1")
        self.run_batch("--heap", "--sheet", sheet, "--prune")
        self.assertEqual(self.ask("SELECT count(*) FROM set_aside"), [(0,)])

    def test_a_first_film_whose_field_cuts_the_stem(self):
        """It shows a stem, so it is none from before the surgery: it stays with its reason, and the hip is `partly`
        measured. The reference is then chosen by the program: nobody says that it is the film after the surgery."""
        real(self.input, "hip-0001", "ID-1")
        film = pydicom.dcmread(self.input / "film-00.dcm")
        truth = json.loads((FILMS / "hip-0001" / "truth.json").read_text())
        middle = int(truth["films"][0]["points_px"]["stem_reference"][0])
        cut = film.pixel_array[:, middle:] if self.side() == "R" else film.pixel_array[:, :middle]
        film.Columns, film.PixelData = cut.shape[1], cut.tobytes()
        film.AcquisitionDate = film.StudyDate = film.SeriesDate = film.ContentDate = "20200101"
        film.SOPInstanceUID = film.file_meta.MediaStorageSOPInstanceUID = "2.25.78"
        film.save_as(self.input / "cut.dcm")
        sheet = self.folder / "implants.csv"
        series = json.loads((FILMS / "hip-0001" / "series.json").read_text())
        sheet.write_text(f"patient_id,hip,head_diameter_mm\nID-1,1,{series['stem']['head_diameter_mm']}\n")
        done = self.run_batch("--heap", "--sheet", sheet, "--keep-hips")
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertEqual(self.ask("SELECT * FROM set_aside"), [])
        self.assertEqual(self.ask("SELECT status FROM hips"), [("partly",)])
        self.assertEqual(self.ask("SELECT film, role, status, date FROM films ORDER BY film"),
                         [(0, "follow-up", "not_measured", "2020-01-01"), (1, "reference", "measured", "2024-03-02"),
                          (2, "follow-up", "measured", self.ask("SELECT max(date) FROM films")[0][0])])
        self.assertIn("outside of the film", self.ask("SELECT reason FROM films WHERE film = 0")[0][0])
        self.assertEqual(self.ask("SELECT count(*) FROM flags WHERE flag = 'reference_not_first'"), [(1,)])
        result = json.loads((self.out / "hips" / "1" / "result.json").read_text())
        findings = result["assessment"]["findings"]
        self.assertTrue(any("nor how long after it" in doubt for f in findings for doubt in f.get("doubts", [])))
        self.assertEqual([], [f for f in findings if f["verdict"] == "within" and "subsidence" in f["quantity"]])


class Resume(Case):
    def test_killed_again_and_again(self):
        self.hips(6, ("hip-0001",))
        whole = self.folder / "whole"
        start = time.monotonic()
        self.run_batch("--jobs", 2, out=whole)
        seconds = time.monotonic() - start
        expected = self.export(whole)
        rng = random.Random(20240301)
        kills = 0
        while kills < 8:
            process = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out, "--jobs",
                                        "2"], stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
            try:
                process.wait(timeout=rng.uniform(0.0, 0.4) * seconds)
                break
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
                kills += 1
                if (self.out / "registry.sqlite").exists():
                    self.assert_whole()
        self.assertGreater(kills, 0)
        self.run_batch("--jobs", 1)
        self.assert_whole()
        self.assertEqual(self.export(), expected)
        twice = self.ask("SELECT hip, count(*) FROM attempts GROUP BY hip HAVING count(*) > 1")
        self.assertEqual(twice, [], f"measured twice in spite of {kills} kills")
        self.assertEqual(self.ask("SELECT count(*) FROM attempts"), [(7,)])
        print(f"{kills} kills")

    def test_no_worker_outlives_its_batch(self):
        self.hips(0, ("hip-0001",))
        process = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out],
                                   stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
        workers = wait_for_workers(process.pid)
        process.kill()
        process.wait()
        deadline = time.monotonic() + 30
        while any(alive(w) for w in workers) and time.monotonic() < deadline:
            time.sleep(0.05)
        self.assertFalse([w for w in workers if alive(w)])

    def test_stopped_by_a_signal(self):
        self.hips(4, ("hip-0001",))
        process = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out],
                                   stderr=subprocess.PIPE, text=True)
        wait_for_workers(process.pid)
        process.send_signal(signal.SIGTERM)
        said = process.communicate(timeout=120)[1]
        self.assertEqual(process.returncode, -signal.SIGTERM)
        self.assertIn("start again with the same command", said)
        self.run_batch()
        self.assertEqual(self.ask("SELECT count(*) FROM hips"), [(5,)])

    def test_crashed_worker(self):
        self.hips(3, ("hip-0001",))
        process = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out],
                                   stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
        measuring = None
        while process.poll() is None and measuring is None:  # the hip that takes long
            for worker in children(process.pid):
                if seconds_used(worker) > 0.3:
                    measuring = worker
            time.sleep(0.01)
        self.assertIsNotNone(measuring)
        os.kill(measuring, signal.SIGSEGV)
        self.assertEqual(process.wait(), 1)
        failed = self.ask("SELECT hip, reason FROM hips WHERE status = 'failed'")
        self.assertEqual(len(failed), 1)
        self.assertIn("signal 11", failed[0][1])
        self.assertEqual(self.ask("SELECT count(*) FROM hips"), [(4,)])
        self.assertIn("4 kept", self.run_batch().stdout)  # not tried again unless asked
        self.run_batch("--retry-failed")
        self.assertEqual(self.ask("SELECT status FROM hips WHERE hip = 'PHANTOM-0001'"),
                         [("measured",)])


def children(pid):
    out = subprocess.run(["pgrep", "-P", str(pid)], capture_output=True, text=True).stdout
    return [int(p) for p in out.split()]


def wait_for_workers(pid):
    for _ in range(3000):
        found = children(pid)
        if found:
            return found
        time.sleep(0.01)
    raise AssertionError("no worker was started")


def alive(pid):
    try:
        return pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def seconds_used(pid):
    try:
        fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return int(fields[11]) / os.sysconf("SC_CLK_TCK")
    except OSError:
        return 0.0


class Changes(Case):
    def test_only_what_changed_is_measured_again(self):
        self.hips(4, ())
        self.run_batch()
        count = "SELECT count(*) FROM attempts"
        self.assertEqual(self.ask(count), [(4,)])
        film = self.input / "b01" / "0.dcm"
        os.utime(film)  # other times, same bytes
        self.assertIn("4 kept", self.run_batch().stdout)
        blank(film, "B1", "R", "20240301", 99)
        self.assertIn("3 kept", self.run_batch().stdout)
        (self.input / "b02" / "series.json").write_text(
            '{"films": [{"file": "0.dcm"}, {"file": "1.dcm"}], "stem": {"head_diameter_mm": 36}}')
        self.assertIn("3 kept", self.run_batch().stdout)
        self.assertEqual(self.ask(count), [(6,)])
        self.assertIn("0 kept", self.run_batch("--accept-pixels").stdout)
        self.assertIn("4 kept", self.run_batch("--accept-pixels").stdout)
        shutil.rmtree(self.input / "b03")
        self.assertIn("1 more in the database", self.run_batch("--accept-pixels").stdout)
        self.run_batch("--accept-pixels", "--prune")
        self.assertEqual(self.ask("SELECT count(*) FROM hips"), [(3,)])
        self.assert_whole()

    def test_the_surface_of_the_stem_is_input(self):
        """Another surface under the same name: other numbers, so the hip is measured again."""
        self.hips(3, ())
        surface = self.input / "b01" / "stem.stl"
        surface.write_text("solid a\nendsolid a\n")
        (self.input / "b01" / "series.json").write_text(
            '{"films": [{"file": "0.dcm"}, {"file": "1.dcm"}], "stem": {"surface": "stem.stl"}}')
        self.run_batch("--keep-hips")
        self.assertIn("3 kept", self.run_batch("--keep-hips").stdout)
        surface.write_text("solid b\nendsolid b\n")
        self.assertIn("2 kept", self.run_batch("--keep-hips").stdout)
        self.assertIn("3 kept", self.run_batch("--keep-hips").stdout)
        surface.unlink()
        self.assertIn("2 kept", self.run_batch().stdout)
        self.assertIn("3 kept", self.run_batch().stdout)

    def test_a_film_beside_the_sheet_is_input(self):
        """The result says that films stand there unlisted: one that comes or goes changes it."""
        self.hips(3, ())
        (self.input / "b01" / "series.json").write_text('{"films": [{"file": "0.dcm"}, {"file": "1.dcm"}]}')
        self.run_batch()
        self.assertIn("3 kept", self.run_batch().stdout)
        beside = blank(self.input / "b01" / "2.dcm", "B1", "R", "20240701", 50)
        self.assertIn("2 kept", self.run_batch().stdout)
        self.assertIn("3 kept", self.run_batch().stdout)
        beside.unlink()
        self.assertIn("2 kept", self.run_batch().stdout)
        self.assertIn("3 kept", self.run_batch().stdout)

    def test_a_refused_hip_says_what_is_wrong_now(self):
        self.hips(2, ())
        sheet = self.input / "b01" / "series.json"
        reason = lambda: self.ask("SELECT reason FROM hips WHERE reason LIKE 'series.json%'")
        sheet.write_text('{"films": 3}')
        self.run_batch()
        self.assertIn("films", reason()[0][0])
        self.assertIn("2 kept", self.run_batch().stdout)
        sheet.write_text('{"films": [{"file": "0.dcm"}, {"file": "1.dcm"}], "side": "north"}')
        self.assertIn("1 kept", self.run_batch().stdout)
        self.assertIn("side", reason()[0][0])

    def test_hips_of_one_name_beside_a_numbered_one(self):
        """What a double is called is no other hip's name."""
        for i in range(4):
            blank(self.input / f"h{i}" / "0.dcm", f"B{i}", number=i)
            name = ("A", "A", "A#2", "A")[i]
            (self.input / f"h{i}" / "series.json").write_text(
                json.dumps({"hip": name, "films": [{"file": "0.dcm"}]}))
        done = self.run_batch()
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertEqual([r[0] for r in self.ask("SELECT hip FROM hips ORDER BY hip")],
                         ["A", "A#2", "A#3", "A#4"])
        said = dict(self.ask("SELECT hip, reason FROM hips"))
        self.assertEqual({h for h, reason in said.items() if "same name" in reason}, {"A#3", "A#4"})

    def test_every_hip_is_judged_by_the_criteria_as_they_were_at_the_start(self):
        """A file of criteria that is written anew while the batch runs."""
        self.hips(0, ("hip-0001", "hip-0002"))
        criteria = self.folder / "own.json"
        data = json.loads((ROOT / "docs" / "examples" / "criteria.json").read_text())

        def write(number):
            criteria.write_text(json.dumps({**data, "id": f"own-for-test/{number}"}))
        write(1)
        process = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out, "--criteria", criteria],
                                   stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
        wait_for_workers(process.pid)
        write(2)
        said = process.communicate(timeout=600)[1]
        self.assertEqual(process.returncode, 0, said)
        self.assertEqual(self.ask("SELECT DISTINCT criteria_set FROM hips"), [("own-for-test/1",)])
        again = self.run_batch("--criteria", criteria)
        self.assertIn("0 kept", again.stdout)
        self.assertEqual(self.ask("SELECT DISTINCT criteria_set FROM hips"), [("own-for-test/2",)])


class Limits(Case):
    def test_time(self):
        self.hips(0, ("hip-0001",))  # a blank one is refused in less than that
        done = self.run_batch("--timeout", 0.05)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertEqual({r[0] for r in self.ask("SELECT status FROM hips")}, {"failed"})
        self.assertIn("longer than the time", self.ask("SELECT reason FROM hips")[0][0])

    def test_memory(self):
        self.hips(0, ("hip-0001",))
        done = self.run_batch("--memory", 40)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertEqual(self.ask("SELECT status FROM hips"), [("failed",)])
        self.assertIn("--memory", self.ask("SELECT reason FROM hips")[0][0])
        self.run_batch("--retry-failed")
        self.assertEqual(self.ask("SELECT status FROM hips"), [("measured",)])


class Targets(Case):
    def test_not_writable(self):
        self.hips(1, ())
        for target in ("/proc/tidemark", "/dev/null/x"):
            done = self.run_batch(out=pathlib.Path(target))
            self.assertEqual(done.returncode, 4, done.stderr)
            self.assertEqual(len(done.stderr.strip().splitlines()), 1, done.stderr)

    def test_another_batch_at_work(self):
        self.hips(0, ("hip-0001",))
        first = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out],
                                 stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
        wait_for_workers(first.pid)
        done = self.run_batch()
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertIn("another batch", done.stderr)
        self.assertEqual(first.wait(), 0)

    def test_no_locks_on_this_file_system(self):
        """A folder that cannot be locked may be another batch's: flock that fails as some network drives let it."""
        if not shutil.which("cc"):
            self.skipTest("no compiler")
        source, library = self.folder / "nolock.c", self.folder / "nolock.so"
        source.write_text("#include <errno.h>\nint flock(int f, int how) { (void)f; (void)how; errno = ENOLCK; return -1; }\n")
        subprocess.run(["cc", "-shared", "-fPIC", "-o", library, source], check=True)
        self.hips(1, ())
        done = self.run_batch(env={**os.environ, "LD_PRELOAD": str(library)})
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertIn("cannot be locked", done.stderr)
        self.assertFalse((self.out / "registry.sqlite").exists())

    def test_other_file_in_its_place(self):
        self.hips(1, ())
        self.out.mkdir()
        (self.out / "registry.sqlite").write_text("x" * 5000)
        done = self.run_batch()
        self.assertEqual(done.returncode, 3, done.stderr)

    def disk(self, size):
        """A file system of its own, of that size."""
        disk = self.folder / "disk"
        disk.mkdir()
        if subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", disk],
                          capture_output=True).returncode:
            self.skipTest("no file system can be mounted here")
        self.addCleanup(subprocess.run, ["umount", "-l", disk])
        return disk

    def remount(self, disk, how):
        subprocess.run(["mount", "-o", f"remount,{how}", disk], check=True)

    def test_disk_full(self):
        self.hips(12, ())
        disk = self.disk("220k")
        done = self.run_batch(out=disk / "out")
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertIn("disk is full", done.stderr)
        self.remount(disk, "size=20m")
        self.run_batch(out=disk / "out")
        self.assert_whole(disk / "out")
        self.assertEqual(self.ask("SELECT count(*) FROM hips", disk / "out"), [(12,)])
        self.run_batch()
        self.assertEqual(self.export(disk / "out"), self.export())

    def test_read_only(self):
        self.hips(3, ())
        disk = self.disk("20m")
        self.run_batch(out=disk / "out")
        blank(self.input / "late" / "0.dcm", "L1", "R", "20240301", 77)
        self.remount(disk, "ro")
        done = self.run_batch(out=disk / "out")
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertEqual(len(done.stderr.strip().splitlines()), 1, done.stderr)
        self.remount(disk, "rw")
        self.assertIn("3 kept", self.run_batch(out=disk / "out").stdout)
        self.assert_whole(disk / "out")
        self.assertEqual(self.ask("SELECT count(*) FROM attempts", disk / "out"), [(4,)])

    def test_share_disappears(self):
        self.hips(8, ("hip-0001",))
        process = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out],
                                   stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
        wait_for_workers(process.pid)
        away = self.folder / "away"
        self.input.rename(away)
        self.input.mkdir()  # an empty mount point stands in its place
        said = process.communicate(timeout=600)[1]
        self.assertEqual(process.returncode, 3, said)
        self.assertIn("disappeared", said)
        self.input.rmdir()
        away.rename(self.input)
        self.run_batch()
        whole = self.folder / "whole"
        self.run_batch(out=whole)
        self.assertEqual(self.export(), self.export(whole))


class Shards(Case):
    def test_one_two_and_seven(self):
        self.hips(7, ("hip-0001",))
        self.run_batch()
        expected = self.export()
        for count in (2, 7):
            parts = []
            for i in range(1, count + 1):
                out = self.folder / f"part-{count}-{i}"
                self.run_batch("--shard", f"{i}/{count}", out=out)
                parts.append(out / "registry.sqlite")
            merged = self.folder / f"merged-{count}.sqlite"
            done = subprocess.run([TIDEMARK, "merge", *parts, "--out", merged],
                                  capture_output=True, text=True)
            self.assertEqual(done.returncode, 0, done.stderr)
            self.assertEqual(self.export(merged), expected)
            sizes = [sqlite3.connect(p).execute("SELECT count(*) FROM hips").fetchone()[0]
                     for p in parts]
            self.assertEqual(sum(sizes), 8)
            self.assertLess(max(sizes), 8)
        # The same part twice is no fault, other options are one.
        done = subprocess.run([TIDEMARK, "merge", *parts, *parts, "--out", merged])
        self.assertEqual(done.returncode, 0)
        self.assertEqual(self.export(merged), expected)
        other = self.folder / "other"
        self.run_batch("--accept-pixels", "--shard", "1/2", out=other)
        done = subprocess.run([TIDEMARK, "merge", *parts, other / "registry.sqlite", "--out",
                               self.folder / "x.sqlite"], capture_output=True, text=True)
        self.assertEqual(done.returncode, 3)
        self.assertIn("different options", done.stderr)
        self.assertFalse(list(self.folder.glob("x.sqlite*")))

    def merge(self, *parts, out="merged.sqlite"):
        return subprocess.run([TIDEMARK, "merge", *map(str, parts), "--out", self.folder / out],
                              capture_output=True, text=True)

    def parts(self, count):
        self.hips(6, ())
        out = [self.folder / f"part-{i}" for i in range(1, count + 1)]
        for i, part in enumerate(out, 1):
            self.run_batch("--shard", f"{i}/{count}", out=part)
        return out

    def assert_refused(self, done, *said):
        self.assertEqual(done.returncode, 3, done.stdout + done.stderr)
        self.assertEqual(len(done.stderr.strip().splitlines()), 1, done.stderr)
        for words in said:
            self.assertIn(words, done.stderr)
        self.assertFalse(list(self.folder.glob("merged.sqlite*")))

    def test_a_part_is_missing(self):
        parts = self.parts(3)
        self.assert_refused(self.merge(parts[0], parts[2]), "part 2 of 3 is missing")
        self.assert_refused(self.merge(parts[0]), "part 2 of 3", "part 3 of 3")
        other = self.folder / "other"
        self.run_batch("--shard", "1/2", out=other)
        self.assert_refused(self.merge(*parts, other), "2 and 3 parts")
        done = self.merge(parts[0], parts[2], "--allow-missing")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("part 2 of 3 is missing", done.stdout)
        # What was put together in spite of that does not pass for a whole later.
        (self.folder / "merged.sqlite").rename(self.folder / "some.sqlite")
        self.assert_refused(self.merge(self.folder / "some.sqlite"), "part 2 of 3 is missing")
        done = self.merge(*parts)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertNotIn("missing", done.stdout)
        self.assertEqual(self.merge(self.folder / "merged.sqlite", out="again.sqlite").returncode, 0)

    def test_a_part_was_not_finished(self):
        parts = self.parts(2)
        with sqlite3.connect(parts[1] / "registry.sqlite") as db:  # as a kill leaves it
            db.execute("UPDATE runs SET ended = NULL, outcome = NULL")
        db.close()
        self.assert_refused(self.merge(*parts), "part-2", "part 2 of 2")
        self.run_batch("--shard", "2/2", out=parts[1])
        self.assertEqual(self.merge(*parts).returncode, 0)

    def test_batches_of_two_hospitals(self):
        """Whole runs over different inputs are no parts of each other."""
        self.hips(2, ())
        blank(self.folder / "share2" / "c" / "0.dcm", "C1", number=50)
        (self.folder / "share2" / "c" / "series.json").write_text('{"hip": "C1", "films": [{"file": "0.dcm"}]}')
        self.run_batch()
        two = self.folder / "two"
        self.run_batch(source=self.folder / "share2", out=two)
        done = self.merge(self.out, two)  # folders of batches
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("3 hips from 2 databases", done.stdout)
        with sqlite3.connect(two / "registry.sqlite") as db:
            db.execute("UPDATE runs SET outcome = 'stopped'")
        db.close()
        (self.folder / "merged.sqlite").unlink()
        self.assert_refused(self.merge(self.out, two), "two", "stopped")

    def test_nothing_is_lost_by_a_merge(self):
        """What stands at --out is replaced only by a table that holds all of it."""
        parts = self.parts(2)
        notes = self.folder / "notes.txt"
        notes.write_text("mine")
        done = self.merge(*parts, out="notes.txt")
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertIn("no registry", done.stderr)
        self.assertEqual(notes.read_text(), "mine")
        self.assertEqual(self.merge(*parts).returncode, 0)
        self.assertEqual(self.merge(*parts).returncode, 0)  # again
        whole = self.export(self.folder / "merged.sqlite")
        done = self.merge(parts[0], "--allow-missing")
        self.assertEqual(done.returncode, 4, done.stdout + done.stderr)
        self.assertIn("that no part has", done.stderr)
        self.assertEqual(self.export(self.folder / "merged.sqlite"), whole)
        self.assertEqual(list(self.folder.glob("*.part-*")), [])
        done = self.merge(parts[0], self.folder / "merged.sqlite", "--allow-missing")  # itself a part
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(self.export(self.folder / "merged.sqlite"), whole)
        (self.folder / "empty").touch()
        self.assertEqual(self.merge(*parts, out="empty").returncode, 0)

    def test_folder_of_the_merged_database_is_missing(self):
        self.hips(1, ())
        self.run_batch()
        done = self.merge(self.out, out="nowhere/m.sqlite")
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertIn("nowhere: there is no such folder", done.stderr)
        self.assertNotIn(".part", done.stderr)

    def test_slurm_script(self):
        """The number of parts is the last task's number, not that of the tasks (Slurm's own variables)."""
        stub = self.folder / "stub"
        stub.write_text('#!/bin/sh\necho "$@"\n')
        stub.chmod(0o755)

        def script(task, least, most, count):
            return subprocess.run(
                [ROOT / "scripts" / "cluster" / "slurm_array.sh", "in", "out"], capture_output=True, text=True,
                env={**os.environ, "TIDEMARK": str(stub), "SLURM_ARRAY_TASK_ID": str(task),
                     "SLURM_ARRAY_TASK_MIN": str(least), "SLURM_ARRAY_TASK_MAX": str(most),
                     "SLURM_ARRAY_TASK_COUNT": str(count)})
        self.assertIn("--shard 3/7 ", script(3, 1, 7, 7).stdout)
        self.assertIn("--shard 3/7 ", script(3, 1, 7, 3).stdout)  # --array=1,3,7: merge names the parts that lack
        for done in (script(2, 2, 100, 99), script(0, 0, 9, 10)):
            self.assertEqual(done.returncode, 2, done.stdout)
            self.assertIn("--array=1-", done.stderr)


class Export(Case):
    def test_the_folder_of_a_batch(self):
        self.hips(1, ())
        self.run_batch()
        done = subprocess.run([TIDEMARK, "export", self.out, "--out", self.folder / "tables"],
                              capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertTrue((self.folder / "tables" / "hips.csv").exists())
        for command in ("export", "merge", "cohort"):
            done = subprocess.run([TIDEMARK, command, "x" * 300, "--out", self.folder / "y"],
                                  capture_output=True, text=True)
            self.assertEqual(done.returncode, 3, (command, done.stderr))
            self.assertIn("no such database", done.stderr)

    def test_files_of_others_stay(self):
        self.hips(1, ())
        self.run_batch()
        target = self.folder / "tables"

        def export():
            return subprocess.run([TIDEMARK, "export", self.out, "--out", target], capture_output=True, text=True)
        target.mkdir()
        for name in ("hips.csv", "datapackage.json"):
            (target / name).write_text('{"name": "mine"}')
            done = export()
            self.assertEqual(done.returncode, 4, done.stdout + done.stderr)
            self.assertIn(name, done.stderr)
            self.assertEqual({p.name: p.read_text() for p in target.iterdir()}, {name: '{"name": "mine"}'})
            (target / name).unlink()
        (target / "notes.csv").write_text("mine")
        for _ in range(2):  # what an export wrote the next one replaces
            self.assertEqual(export().returncode, 0)
        self.assertEqual((target / "notes.csv").read_text(), "mine")
        self.assertEqual([p.name for p in target.iterdir() if p.name.startswith(".")], [])
        (target / "datapackage.json").rename(target / ".datapackage.json.unfinished")  # as a kill leaves it
        self.assertEqual(export().returncode, 0)

    def test_tables_and_dictionary(self):
        self.hips(1)
        self.run_batch()
        files = self.export()
        package = json.loads(files["datapackage.json"])
        named = {r["path"]: r for r in package["resources"]}
        self.assertEqual(set(named), set(files) - {"datapackage.json"})
        for path, resource in named.items():
            rows = list(csv.reader(files[path].decode().splitlines()))
            fields = resource["schema"]["fields"]
            self.assertEqual(rows[0], [f["name"] for f in fields], path)
            for row in rows[1:]:
                for cell, field in zip(row, fields, strict=True):
                    if cell and field["type"] == "number":
                        float(cell)
                    if cell and field["type"] == "integer":
                        int(cell)
        # Floats come back as they stand in the database.
        exported = [float(r["subsidence_mm"]) for r in
                    csv.DictReader(files["comparisons.csv"].decode().splitlines())
                    if r["subsidence_mm"]]
        self.assertEqual(exported, [r[0] for r in self.ask(
            "SELECT subsidence_mm FROM comparisons JOIN hips USING (hip_id) WHERE subsidence_mm "
            "IS NOT NULL ORDER BY hip")])

    def test_readers_marks(self):
        self.hips(0)
        sheet = self.input / "hip-0001" / "series.json"
        self.run_batch()
        self.assertEqual(self.ask("SELECT count(*) FROM zone_marks"), [(0,)])
        state, = self.ask("SELECT state FROM zones WHERE film = 1 AND zone = 2")[0]
        data = json.loads(sheet.read_text())
        data["films"][1]["zone_marks"] = [
            {"zone": 2, "interface": "stem_bone", "opinion": "agree", "program": state, "reader": "R1",
             "marked_at": "2026-01-31T09:30:00Z"}]
        sheet.write_text(json.dumps(data))
        self.run_batch()  # a changed sheet is measured again
        self.assertEqual(
            self.ask("SELECT film, zone, interface, mark_reader, opinion, program, marked_at FROM zone_marks"),
            [(1, 2, "stem_bone", "R1", "agree", state, "2026-01-31T09:30:00Z")])
        self.assertIn("zone_marks.csv", self.export())
        done = subprocess.run([TIDEMARK, "cohort", self.out / "registry.sqlite", "--out", self.folder / "study"],
                              capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        told = "".join(p.read_text(errors="replace") for p in (self.folder / "study").rglob("*") if p.is_file())
        if state in ("present", "absent", "cannot_tell"):
            self.assertIn("R1, program", told)
        self.assertIn("answer in sight", told)

    def test_pseudonyms(self):
        self.hips(1)
        self.run_batch()
        key = self.folder / "key"
        key.write_text("a key that nobody guesses, ever\n")
        plain, hidden = self.export(), self.export(None, "--pseudonym-key", key)
        self.assertNotIn(b"PHANTOM", b"".join(hidden.values()))
        self.assertEqual(hidden, self.export(None, "--pseudonym-key", key))
        self.assertEqual(len(plain["comparisons.csv"].splitlines()),
                         len(hidden["comparisons.csv"].splitlines()))


class Terminal(Case):
    def test_bar(self):
        self.hips(6, ())
        parent, child = pty.openpty()
        process = subprocess.Popen([TIDEMARK, "batch", self.input, "--out", self.out], stderr=child,
                                   stdout=subprocess.DEVNULL)
        os.close(child)
        said = b""
        while True:
            try:
                block = os.read(parent, 4096)
            except OSError:
                break
            if not block:
                break
            said += block
        process.wait()
        text = said.decode()
        self.assertRegex(text, r"6 of 6 hips \[=+\]")
        self.assertRegex(text, r"\d+(\.\d+)?/s")
        self.assertRegex(text, r"6 refused")
        self.assertNotIn("\n", text)


if __name__ == "__main__":
    result = unittest.main(exit=False).result
    if not result.wasSuccessful() or result.testsRun == 0:
        sys.exit(1)
    for test, why in result.skipped:
        print(f"skipped: {test.id()}: {why}", file=sys.stderr)
    sys.exit(77 if result.skipped else 0)
