"""Reads the DICOM results back with tools that are not ours: pydicom, dciodvfy (dicom3tools),
dsrdump and dcmpschk (DCMTK).

usage: read_back.py TIDEMARK FILMS DOCS [unittest arguments]

FILMS is a folder of simulated films with series.json, as `tidemark phantom --demo` makes it.
"""
import hashlib
import json
import math
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

import numpy
import PIL.Image
import pydicom

TIDEMARK = pathlib.Path(sys.argv[1])
FILMS = pathlib.Path(sys.argv[2])
DOCS = pathlib.Path(sys.argv[3])
del sys.argv[1:4]

SR = "1.2.840.10008.5.1.4.1.1.88.33"  # PS3.6, A: Comprehensive SR Storage
GSPS = "1.2.840.10008.5.1.4.1.1.11.1"  # Grayscale Softcopy Presentation State Storage
FLAGGED = "see the report"  # in the numbers on a film whose comparison carries flags
CAPTURE = "1.2.840.10008.5.1.4.1.1.7"  # Secondary Capture Image Storage


def tidemark(*arguments):
    return subprocess.run([TIDEMARK, *map(str, arguments)], capture_output=True, text=True)


def faults(path):
    """What dciodvfy finds wrong; its exit code says nothing."""
    run = subprocess.run(["dciodvfy", path], capture_output=True, text=True, errors="replace")
    return [line for line in (run.stdout + run.stderr).splitlines() if line.startswith("Error")]


def digest(folder):
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*")) if p.is_file()}


def items(node):
    """Every content item below a node, in document order."""
    for child in node.get("ContentSequence", []):
        yield child
        yield from items(child)


def name_of(item):
    names = item.get("ConceptNameCodeSequence")
    return names[0].CodeValue if names else None


def groups(report):
    return [item for item in items(report) if name_of(item) == "125007"]


def child(item, code):
    found = [c for c in item.ContentSequence if name_of(c) == code]
    return found[0] if found else None


def text(item, code):
    found = child(item, code)
    return found.TextValue if found else None


def value(item):
    return str(item.MeasuredValueSequence[0].NumericValue)


def modifier(item, code):
    found = child(item, code) if "ContentSequence" in item else None
    if found is None:
        return None
    return found.ConceptCodeSequence[0].CodeValue if found.ValueType == "CODE" else found.TextValue


def ascii_of(words):
    """As texts of ours are written: printable ASCII, each other byte of UTF-8 a question mark."""
    for sign, plain in (("±", "+/-"), ("\N{MINUS SIGN}", "-"), ("\N{EN DASH}", "-"), ("°", " deg")):
        words = words.replace(sign, plain)
    return "".join(c if " " <= c <= "~" else "?" * len(c.encode()) for c in words)


def numbers(group, code, method=None, feature=None):
    return [i for i in group.ContentSequence
            if i.ValueType == "NUM" and name_of(i) == code and
            (method is None or modifier(i, "370129005") == method) and
            (feature is None or modifier(i, "FEATURE") == feature)]


class Case(unittest.TestCase):
    films = FILMS

    def setUp(self):
        self.temporary = tempfile.TemporaryDirectory()
        self.folder = pathlib.Path(self.temporary.name)
        self.addCleanup(self.temporary.cleanup)

    def copy_of_films(self):
        films = self.folder / "films"
        shutil.copytree(FILMS, films)
        return films

    def measured(self, films, *more, code=0):
        out = self.folder / f"out-{len(list(self.folder.iterdir()))}"
        run = tidemark("measure", films, "--out", out, "--dicom-results", *more)
        self.assertEqual(code, run.returncode, run.stdout + run.stderr)
        return out, run

    def close(self, printed, exact):
        """The printed decimal is the exact number rounded to its digits. result.json has four (six
        for scales), so half a unit of its last one is allowed beside half of the printed one."""
        decimals = len(printed.partition(".")[2])
        self.assertLessEqual(abs(float(printed) - exact), 0.5 * 10.0 ** -decimals + 0.6e-4, printed)


class OneRun(Case):
    """Looks at one run over the demo films from several sides."""

    @classmethod
    def setUpClass(cls):
        cls.shared = tempfile.TemporaryDirectory()
        cls.out = pathlib.Path(cls.shared.name) / "out"
        cls.run_ = tidemark("measure", FILMS, "--out", cls.out, "--dicom-results")
        cls.result = json.loads((cls.out / "result.json").read_text())
        cls.dicom = cls.out / "dicom"
        cls.report = pydicom.dcmread(cls.dicom / "report.dcm")
        cls.sources = [pydicom.dcmread(FILMS / f["file"], stop_before_pixels=True)
                       for f in cls.result["films"]]

    @classmethod
    def tearDownClass(cls):
        cls.shared.cleanup()


class Valid(OneRun):
    def test_names(self):
        self.assertEqual(0, self.run_.returncode, self.run_.stdout + self.run_.stderr)
        self.assertEqual("", self.run_.stderr)
        self.assertEqual({"report.dcm", "presentation-00.dcm", "presentation-01.dcm",
                          "presentation-02.dcm", "pair-01.dcm", "pair-02.dcm"},
                         {p.name for p in self.dicom.iterdir()})

    def test_dciodvfy_finds_no_error(self):
        for path in self.dicom.iterdir():
            self.assertEqual([], faults(path), path.name)

    def test_dciodvfy_would_find_errors(self):
        for name, keyword in (("report.dcm", "CompletionFlag"), ("pair-01.dcm", "ConversionType"),
                              ("presentation-00.dcm", "PresentationCreationDate")):
            broken = pydicom.dcmread(self.dicom / name)
            delattr(broken, keyword)
            broken.save_as(self.folder / name)
            self.assertNotEqual([], faults(self.folder / name), name)

    def test_dcmtk_reads_them(self):
        dump = subprocess.run(["dsrdump", "+Pc", self.dicom / "report.dcm"], capture_output=True,
                              text=True)
        self.assertEqual(0, dump.returncode, dump.stderr)
        self.assertIn("Comprehensive SR Document", dump.stdout)
        self.assertIn("Subsidence of the stem's reference point", dump.stdout)
        for path in self.dicom.glob("presentation-*.dcm"):
            check = subprocess.run(["dcmpschk", path], capture_output=True, text=True)
            self.assertEqual(0, check.returncode, check.stdout + check.stderr)
            self.assertIn("Test passed", check.stdout + check.stderr)
            self.assertNotIn("Error", check.stdout + check.stderr)

    def test_rows_of_the_templates(self):
        """Order, value types and relationships of TID 1500, 1204, 1001, 1501 and 300 (PS3.16)."""
        root = self.report
        self.assertEqual("126000", name_of(root))
        self.assertEqual("1500", root.ContentTemplateSequence[0].TemplateIdentifier)
        self.assertEqual(["121049", "121005", "121012", "121013", "121015", "121058", "111028",
                          "126010", "C0034375"], [name_of(i) for i in root.ContentSequence])
        allowed = {("CONTAINER", "NUM"): {"CONTAINS", "HAS OBS CONTEXT"},
                   ("NUM", "NUM"): {"HAS PROPERTIES"}, ("NUM", "SCOORD"): {"INFERRED FROM"},
                   ("SCOORD", "IMAGE"): {"SELECTED FROM"}, ("NUM", "CODE"): {"HAS CONCEPT MOD"},
                   ("NUM", "TEXT"): {"HAS CONCEPT MOD"}, ("CODE", "CODE"): {"HAS CONCEPT MOD"},
                   ("IMAGE", "CODE"): {"HAS ACQ CONTEXT"}, ("IMAGE", "NUM"): {"HAS ACQ CONTEXT"},
                   ("IMAGE", "TEXT"): {"HAS ACQ CONTEXT"},
                   ("CONTAINER", "UIDREF"): {"HAS OBS CONTEXT"},
                   ("CONTAINER", "CONTAINER"): {"CONTAINS"}, ("CONTAINER", "IMAGE"): {"CONTAINS"},
                   ("CONTAINER", "TEXT"): {"CONTAINS", "HAS OBS CONTEXT", "HAS CONCEPT MOD"},
                   ("CONTAINER", "CODE"): {"CONTAINS", "HAS OBS CONTEXT", "HAS CONCEPT MOD"}}
        for parent in [root, *items(root)]:
            for item in parent.get("ContentSequence", []):
                kind = (parent.ValueType, item.ValueType)
                self.assertIn(item.RelationshipType, allowed.get(kind, ()), kind)
        self.assertGreater(len(groups(root)), 5)
        for group in groups(root):
            self.assertEqual("1501", group.ContentTemplateSequence[0].TemplateIdentifier)
            self.assertEqual(["112039", "112040", "121071"],
                             [name_of(i) for i in group.ContentSequence][:3])
            site = child(group, "363698007")
            self.assertEqual("71341001", site.ConceptCodeSequence[0].CodeValue)
            self.assertIn(modifier(site, "272741003"), ("24028007", "7771000"))
        for item in items(root):
            if item.ValueType == "NUM":
                measured = item.MeasuredValueSequence[0]
                self.assertLessEqual(len(value(item)), 16)
                self.assertEqual("UCUM", measured.MeasurementUnitsCodeSequence[0].CodingSchemeDesignator)

    def test_codes(self):
        """Short enough, and every code of our own stands in the documentation."""
        page = (DOCS / "dicom-results.md").read_text()
        own = {}
        for item in [self.report, *items(self.report)]:
            for sequence in ("ConceptNameCodeSequence", "ConceptCodeSequence"):
                for code in item.get(sequence, []):
                    self.assertLessEqual(len(code.CodeValue), 16)
                    self.assertLessEqual(len(code.CodeMeaning), 64)
                    if code.CodingSchemeDesignator == "99TIDEMARK":
                        own.setdefault(code.CodeValue, set()).add(code.CodeMeaning)
        self.assertGreater(len(own), 30)
        for code, meanings in own.items():
            self.assertEqual(1, len(meanings), meanings)
            listed = re.sub(r"-\d+$", "-n", code) if code.startswith("ZONE-") else code
            listed = code if code in ("ZONE-SEEN", "ZONE-LENGTH", "ZONE-BORDER") else listed
            self.assertIn(f"`{listed}`", page)
        schemes = [s.CodingSchemeDesignator for s in self.report.CodingSchemeIdentificationSequence]
        self.assertEqual(["99TIDEMARK"], schemes)

    def test_same_bytes_again(self):
        again, _ = self.measured(FILMS, "--threads", "1")
        self.assertEqual(digest(self.out), digest(again))

    def test_identifiers(self):
        uids = [pydicom.dcmread(p, stop_before_pixels=True).SOPInstanceUID
                for p in self.dicom.iterdir()]
        self.assertEqual(len(uids), len(set(uids)))
        for uid in uids:
            self.assertRegex(uid, r"^2\.25\.[1-9][0-9]{20,38}$")


class Content(OneRun):
    def pair_groups(self):
        return [g for g in groups(self.report) if text(g, "112039") == "migration of the stem"]

    def of_film(self, film, thing):
        return [g for g in groups(self.report) if text(g, "112039") == thing and
                text(g, "126070") == self.result["films"][film]["file"]]

    def same(self, item, measured):
        self.close(value(item), measured["value"])
        self.close(value(child(item, "386136009")), measured["u"])
        self.close(value(child(item, "371884006")), measured["u95"])
        # Two significant digits of the interval, no more (JCGM 100, 7.2.6).
        digits = value(child(item, "371884006")).replace(".", "").lstrip("0")
        self.assertTrue(len(digits) <= 2 or measured["u95"] >= 99.5, digits)

    def test_migration(self):
        found = self.pair_groups()
        self.assertEqual(len(self.result["comparisons"]), len(found))
        for pair, group in zip(self.result["comparisons"], found):
            by = "BONE-ALIGNMENT"
            at = pair["subsidence_at_mm"]
            for code, measured in (("SUBSIDENCE", pair["subsidence_mm"]),
                                   ("SUBSIDENCE-HEAD", at["head_centre"]),
                                   ("SUBSIDENCE-SHLD", at["shoulder"]),
                                   ("SUBSIDENCE-TIP", at["tip"]), ("MEDIAL", pair["medial_mm"]),
                                   ("TILT-CHANGE", pair["tilt_change_deg"])):
                item, = numbers(group, code, by)
                self.same(item, measured)
                unit = item.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue
                self.assertEqual("deg" if code == "TILT-CHANGE" else "mm", unit)
            for one in pair["features"]:
                item, = numbers(group, "SUBSIDENCE-FEAT", "ONE-FEATURE", one["feature"])
                self.same(item, one["subsidence_mm"])
            if "by_landmarks" in pair:
                item, = numbers(group, "SUBSIDENCE", "LANDMARKS")
                self.same(item, pair["by_landmarks"]["subsidence_mm"])
            budget = {modifier(i, "BUDGET-SOURCE"): value(i) for i in numbers(group, "BUDGET")}
            self.assertEqual({b["source"] for b in pair["uncertainty_budget"]}, set(budget))
            for row in pair["uncertainty_budget"]:
                self.close(budget[row["source"]], row["u_mm"])
            self.assertEqual(str(pair["days"]), value(numbers(group, "DAYS")[0]))
            self.assertEqual("MEASURED", modifier(group, "STATUS"))

    def test_films(self):
        for i, film in enumerate(self.result["films"]):
            group, = self.of_film(i, "stem")
            self.same(numbers(group, "TILT")[0], film["tilt_deg"])
            self.same(numbers(group, "SCALE")[0], film["calibration"]["mm_per_px"])
            self.close(value(numbers(group, "HEAD-DIAMETER")[0]), film["head"]["diameter_px"])
            self.assertEqual("MEASURED", modifier(group, "STATUS"))
            listed = [g for g in group.ContentSequence if name_of(g) == "FLAG"]
            self.assertEqual([f["id"] for f in film["flags"]],
                             [g.TextValue.partition(":")[0] for g in listed])

    def test_lines(self):
        words = {"present": "PRESENT", "absent": "ABSENT", "cannot_tell": "CANNOT-TELL",
                 "not_seen": "NOT-SEEN", "yes": "YES", "no": "NO"}
        seen = 0
        for i, film in enumerate(self.result["films"]):
            for zone in film["zones"]:
                group, change = (self.of_film(i, f"line in zone {zone['zone']}, Stem to bone")
                                 + [None])[:2]
                self.assertEqual(f"ZONE-{zone['zone']}",
                                 modifier(child(group, "363698007"), "106233006"))
                self.assertEqual(words[zone["state"]], modifier(group, "LINE"))
                self.close(value(numbers(group, "ZONE-SEEN")[0]), zone["seen_fraction"])
                if "max_mm" in zone:
                    self.same(numbers(group, "LINE-WIDTH-MAX")[0], zone["max_mm"])
                if "reason" in zone:
                    self.assertEqual(zone["reason"], text(group, "REASON"))
                for pair in self.result["comparisons"]:
                    if pair["follow_up"] != i:
                        continue
                    then = next(z for z in pair["zones"] if z["zone"] == zone["zone"])
                    self.assertEqual(words[then["progressive"]], modifier(change, "PROGRESSIVE"))
                    seen += 1
        self.assertGreaterEqual(seen, 7)

    def test_signs(self):
        for i, film in enumerate(self.result["films"]):
            height = film["signs"]["calcar"].get("height_mm")
            group = self.of_film(i, "calcar")[0]
            if height:
                self.same(numbers(group, "CALCAR-HEIGHT")[0], height)
            for cortex in film["signs"]["cortex"]:
                group = self.of_film(i, f"cortex beside zone {cortex['zone']}")[0]
                if "thickness_mm" in cortex:
                    self.same(numbers(group, "CORTEX")[0], cortex["thickness_mm"])
                else:
                    self.assertEqual(cortex["reason"], text(group, "REASON"))

    def test_findings(self):
        words = {"exceeds": "EXCEEDS", "within": "WITHIN", "cannot_tell": "CANNOT-TELL",
                 "not_applicable": "NOT-APPLIED"}
        findings = self.result["assessment"]["findings"]
        self.assertGreaterEqual(len(findings), 10)
        for finding in findings:
            pair = self.result["comparisons"][finding["comparison"]]
            group, = self.of_film(pair["follow_up"], f"criterion {finding['criterion']}")
            self.assertEqual(words[finding["verdict"]], modifier(group, "VERDICT"))
            self.assertTrue(text(group, "CRITERION-FROM").startswith(ascii_of(finding["citation"])))
            self.assertEqual(ascii_of(finding["text"]), text(group, "FINDING-TEXT"))
            for code, key in (("JUDGED", "measured"), ("LIMIT", "threshold"),
                              ("PROBABILITY", "probability_exceeds")):
                items = numbers(group, code)
                self.assertEqual(1 if key in finding else 0, len(items), code)
                if key == "measured" and items:
                    self.same(items[0], finding[key])
                    self.assertEqual(finding["quantity"], modifier(items[0], "QUANTITY"))
                    images = [image for _, image, _ in self.points(items[0])]
                    self.assertEqual({self.sources[pair[k]].SOPInstanceUID
                                      for k in ("reference", "follow_up")}, set(images))
                elif items:
                    self.close(value(items[0]), finding[key])
                if key == "probability_exceeds" and items:
                    self.assertEqual(f"{finding[key]:.4f}", value(items[0]))

    def seat_values(self, group):
        """The numbers of a group, without the time point's place in the order."""
        return [i for i in group.ContentSequence if i.ValueType == "NUM" and i.RelationshipType == "CONTAINS"]

    def seat_group(self, report, quantity):
        group, = [g for g in groups(report) if text(g, "112039") == f"seat {quantity}"]
        return group

    def test_seat(self):
        """Every measure of the audit: value, unit, method, site with laterality, coordinates, class, or the reason."""
        seat = self.result["assessment"]["seat"]
        codes = set()
        for item in seat:
            group = self.seat_group(self.report, item["quantity"])
            self.assertEqual(self.result["films"][0]["file"], text(group, "126070"))
            self.assertEqual("MEASURED" if "measured" in item else "NOT-MEASURED", modifier(group, "STATUS"))
            self.assertEqual(ascii_of(item["definition"]), text(group, "DEFINITION"))
            for key, code in (("reason", "REASON"), ("remark", "TO-BE-READ")):
                self.assertEqual(ascii_of(item[key]) if key in item else None, text(group, code))
            self.assertEqual(item["class"]["id"].upper().replace("_", "-") if "class" in item else None,
                             modifier(group, "SEAT-CLASS"))
            values = self.seat_values(group)
            self.assertEqual(1 if "measured" in item else 0, len(values))  # nothing is planned
            for number in values:
                codes.add(name_of(number))
                self.same(number, item["measured"])
                unit = number.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue
                self.assertEqual(item["unit"], unit)
                self.assertTrue(modifier(number, "370129005"))
                found = self.points(number)
                self.assertEqual(len(item["places"]), len(found))
                for (_, image, points), place in zip(found, item["places"]):
                    self.assertEqual(self.sources[0].SOPInstanceUID, image)
                    numpy.testing.assert_allclose(points, place["px"], atol=1e-3)
        self.assertGreaterEqual(len(codes), 8)  # a code of its own for each

    def test_seat_is_read_by_dcmtk(self):
        dump = subprocess.run(["dsrdump", "+Pc", "+Pl", self.dicom / "report.dcm"], capture_output=True, text=True)
        self.assertEqual(0, dump.returncode, dump.stderr)
        told = {re.sub(r"^\s*<|>$", "", line) for line in dump.stdout.splitlines()}
        for item in self.result["assessment"]["seat"]:
            self.assertIn(f'has obs context TEXT:(112039,DCM,"Tracking Identifier")="seat {item["quantity"]}"', told)
            for number in self.seat_values(self.seat_group(self.report, item["quantity"])):
                code = number.ConceptNameCodeSequence[0]
                unit = number.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0]
                self.assertIn(f'contains NUM:({code.CodeValue},99TIDEMARK,"{code.CodeMeaning}")="{value(number)}" '
                              f'({unit.CodeValue},UCUM,"{unit.CodeMeaning}")', told)

    def test_seat_against_a_plan(self):
        films = self.copy_of_films()
        sheet = json.loads((films / "series.json").read_text())
        sheet["plan"] = {"stem_tilt_deg": 0.0, "leg_length_change_mm": 4.0}
        (films / "series.json").write_text(json.dumps(sheet))
        out, _ = self.measured(films)
        self.assertEqual([], faults(out / "dicom" / "report.dcm"))
        report = pydicom.dcmread(out / "dicom" / "report.dcm")
        seat = json.loads((out / "result.json").read_text())["assessment"]["seat"]
        planned = [item for item in seat if "planned" in item]
        self.assertEqual(2, len(planned))
        for item in planned:
            group = self.seat_group(report, item["quantity"])
            self.assertEqual(item["verdict"].upper().replace("_", "-"), modifier(group, "AGAINST-PLAN"))
            self.close(value(numbers(group, "PLANNED")[0]), item["planned"])
            self.close(value(numbers(group, "PLAN-TOLERANCE")[0]), item["tolerance"])

    def test_signs_of_fixation(self):
        words = {"yes": "YES", "no": "NO", "cannot_tell": "CANNOT-TELL"}
        for report in self.result["assessment"]["signs"]["reports"]:
            film = self.result["comparisons"][report["comparison"]]["follow_up"]
            self.assertGreater(len(report["signs"]), 5)
            for sign in report["signs"]:
                group, = self.of_film(film, f"sign {sign['id']}")
                self.assertEqual(words[sign["answer"]], modifier(group, "SIGN-PRESENT"))
                self.assertEqual(ascii_of(sign["text"]), text(group, "FINDING-TEXT"))
                self.assertEqual(sign["basis"], text(group, "SIGN-BASIS"))
                self.assertTrue(text(group, "SIGN-FROM").startswith(ascii_of(sign["citation"])))

    def test_course_and_headline(self):
        assessment = self.result["assessment"]
        course, = [g for g in groups(self.report)
                   if text(g, "112039") == "course of the stem over time"]
        self.assertEqual(assessment["pattern"].replace("_", "-").upper(), modifier(course, "PATTERN"))
        for code, key, inner in (("LATE-RATE", "late_rate", "rate_mm_per_year"),
                                 ("LATE-CHANGE", "late_change", "change_mm")):
            items = numbers(course, code)
            self.assertEqual(1 if key in assessment["course"] else 0, len(items))
            if items:
                self.same(items[0], assessment["course"][key][inner])
        remarks = child(self.report, "C0034375")
        words = {"exceeds": "EXCEEDS", "within": "WITHIN", "cannot_tell": "CANNOT-TELL"}
        self.assertEqual(words[assessment["headline"]["verdict"]], modifier(remarks, "HEADLINE"))
        self.assertEqual(ascii_of(assessment["headline"]["sentence"]),
                         text(remarks, "HEADLINE-TEXT"))
        self.assertIn(assessment["criteria_sha256"], text(remarks, "CRITERIA"))

    def test_axes_of_a_change_of_tilt(self):
        for pair, group in zip(self.result["comparisons"], self.pair_groups()):
            (item, *_) = numbers(group, "TILT-CHANGE", "BONE-ALIGNMENT")
            wanted = [p for k in ("reference", "follow_up") for p in
                      (self.result["films"][pair[k]]["stem"]["axis_px"],
                       self.result["films"][pair[k]]["shaft"]["axis_px"])]
            numpy.testing.assert_allclose([p for _, _, p in self.points(item)], wanted, atol=1e-3)

    def points(self, item):
        """[(what, image, points in stored px)]: 0.5 off, PS3.3, C.18.6."""
        return [(name_of(c), c.ContentSequence[0].ReferencedSOPSequence[0].ReferencedSOPInstanceUID,
                 numpy.array(c.GraphicData).reshape(-1, 2) - 0.5)
                for c in item.get("ContentSequence", []) if c.ValueType == "SCOORD"]

    def test_coordinates(self):
        for i, film in enumerate(self.result["films"]):
            group, = self.of_film(i, "stem")
            places = {}
            for item in group.ContentSequence:
                for what, image, points in self.points(item):
                    self.assertEqual(self.sources[i].SOPInstanceUID, image)
                    places.setdefault(what, points)
            stem = film["stem"]
            expected = {"STEM-OUTLINE": stem["outline_px"], "STEM-AXIS": stem["axis_px"],
                        "SHAFT-AXIS": film["shaft"]["axis_px"], "STEM-TIP": [stem["tip_px"]],
                        "STEM-SHOULDER": [stem["shoulder_px"]],
                        "REFERENCE-POINT": [stem["reference_px"]],
                        "LT": [film["landmarks"]["lesser_trochanter"]["px"]],
                        "GT": [film["landmarks"]["greater_trochanter"]["px"]]}
            for what, points in expected.items():
                # The outline has two decimals in result.json; float32 resolves 1e-4 at 2,000 px.
                numpy.testing.assert_allclose(places[what], points, rtol=0, atol=0.0052)
            circle = places["HEAD-OUTLINE"]
            numpy.testing.assert_allclose(circle[0], film["head"]["centre_px"], atol=1e-3)
            self.assertAlmostEqual(film["head"]["diameter_px"] / 2,
                                   math.dist(circle[0], circle[1]), delta=1e-3)

    def test_zone_borders(self):
        for i, film in enumerate(self.result["films"]):
            for zone in film["zones"]:
                group = self.of_film(i, f"line in zone {zone['zone']}, Stem to bone")[0]
                found = [p for _, _, p in self.points(numbers(group, "ZONE-SEEN")[0])]
                first = min(zone["zone"] - 1, 7 - zone["zone"])
                expected = film["zone_borders_px"][first:first + 2]
                numpy.testing.assert_allclose(found, expected, atol=1e-3)

    def is_flagged(self, film):
        """Whether the film's own comparison carries flags; those of films are not looked at."""
        return any(p["follow_up"] == film and p["status"] == "measured" and p["flags"]
                   for p in self.result["comparisons"])

    def test_presentation(self):
        for i, film in enumerate(self.result["films"]):
            state = pydicom.dcmread(self.dicom / f"presentation-{i:02}.dcm")
            source = self.sources[i]
            inverse = source.PhotometricInterpretation == "MONOCHROME1"
            self.assertEqual("INVERSE" if inverse else "IDENTITY", state.PresentationLUTShape)
            area = state.DisplayedAreaSelectionSequence[0]
            self.assertEqual([1, 1], list(area.DisplayedAreaTopLeftHandCorner))
            self.assertEqual([source.Columns, source.Rows],
                             list(area.DisplayedAreaBottomRightHandCorner))
            layers = {a.GraphicLayer: a for a in state.GraphicAnnotationSequence}
            lines = {name: [numpy.array(g.GraphicData).reshape(-1, 2) - 0.5
                            for g in a.get("GraphicObjectSequence", [])]
                     for name, a in layers.items()}
            for layer, points in (("IMPLANT", film["stem"]["outline_px"]),
                                  ("IMPLANT", film["stem"]["axis_px"]),
                                  ("BONE", film["shaft"]["axis_px"]),
                                  ("ZONES", film["zone_borders_px"][0])):
                self.assertTrue(any(len(g) == len(points) and numpy.allclose(g, points, atol=0.0052)
                                    for g in lines[layer]), layer)
            words = [t.UnformattedTextValue for t in layers["BONE"].TextObjectSequence]
            self.assertTrue(any("not a diagnosis" in w for w in words), words)
            self.assertEqual(self.is_flagged(i), any(FLAGGED in w for w in words), words)
            for annotation in layers.values():
                reference = annotation.ReferencedImageSequence[0]
                self.assertEqual(source.SOPInstanceUID, reference.ReferencedSOPInstanceUID)

    def test_numbers_on_a_film_say_that_they_are_flagged(self):
        films = self.copy_of_films()
        sheet = json.loads((films / "series.json").read_text())
        sheet["films"][1]["date"] = "2024-04-17"  # another day than the header's
        (films / "series.json").write_text(json.dumps(sheet))
        out, _ = self.measured(films, "--no-pictures")
        self.assertIn("date_contradicts_header", [
            f["id"] for f in json.loads((out / "result.json").read_text())["films"][1]["flags"]])
        for i, flagged in enumerate((False, True, False)):
            state = pydicom.dcmread(out / "dicom" / f"presentation-{i:02}.dcm")
            words = [t.UnformattedTextValue for a in state.GraphicAnnotationSequence
                     for t in a.get("TextObjectSequence", [])]
            self.assertEqual(flagged, any(FLAGGED in w for w in words), words)

    def test_capture_is_the_picture(self):
        for pair in self.result["comparisons"]:
            capture = pydicom.dcmread(self.dicom / f"pair-{pair['follow_up']:02}.dcm")
            with PIL.Image.open(self.out / pair["picture"]) as picture:
                numpy.testing.assert_array_equal(numpy.asarray(picture.convert("RGB")),
                                                 capture.pixel_array)
            self.assertEqual([self.sources[pair[k]].SOPInstanceUID
                              for k in ("reference", "follow_up")],
                             [s.ReferencedSOPInstanceUID for s in capture.SourceImageSequence])
            self.assertEqual("NO", capture.BurnedInAnnotation)

    def test_cautions(self):
        remarks = child(self.report, "C0034375")
        self.assertEqual(self.result["caution"], text(remarks, "CAUTION"))
        self.assertIn(self.result["tool"]["options_sha256"], text(remarks, "PROVENANCE"))
        self.assertEqual("UNVERIFIED", self.report.VerificationFlag)


class Identity(Case):
    def run_with(self, charset, name):
        films = self.copy_of_films()
        for path in films.glob("*.dcm"):
            film = pydicom.dcmread(path)
            film.SpecificCharacterSet = charset
            film.PatientName = name
            film.PatientID = "ZYXID-77"
            film.PatientBirthDate = "19330107"
            film.AccessionNumber = "ZYXACC"
            film.save_as(path)
        out, run = self.measured(films)
        return out, run

    def look(self, charset, name):
        out, run = self.run_with(charset, name)
        for path in (out / "dicom").iterdir():
            self.assertEqual([], faults(path), path.name)
            held = pydicom.dcmread(path, stop_before_pixels=True)
            self.assertEqual(name, str(held.PatientName), path.name)
            self.assertEqual(("ZYXID-77", "19330107", "ZYXACC"),
                             (held.PatientID, held.PatientBirthDate, held.AccessionNumber))
        secrets = [s.lower() for part in re.split(r"[\^=]", name) if part
                   for s in (part.encode("utf-8"),)] + [b"zyxid", b"19330107", b"zyxacc"]
        if charset == "ISO_IR 100":
            secrets += [part.encode("latin-1").lower() for part in name.split("^")]
        others = {p.name: p.read_bytes() for p in out.iterdir() if p.is_file()}
        self.assertIn("result.json", others)
        for where, content in {**others, "stdout": run.stdout.encode(),
                               "stderr": run.stderr.encode()}.items():
            # Numbers and pictures packed as bytes spell any three of them by chance.
            packed = where.endswith((".bin", ".png", ".pdf"))
            for secret in [s for s in secrets if len(s) > 4] if packed else secrets:
                self.assertNotIn(secret, content.lower(), f"{where} holds {secret!r}")

    def test_western(self):
        self.look("ISO_IR 100", "Zyxmüller^Jörgqw")

    def test_utf8(self):
        self.look("ISO_IR 192", "Zyxwáng^Xiaoqwdong=王^小東")

    def test_unconvertible_set_is_left_as_it_is(self):
        """An unknown character set is carried with its bytes: nobody can say what they mean."""
        films = self.copy_of_films()
        for path in films.glob("*.dcm"):
            film = pydicom.dcmread(path)
            film.PatientName = "Zyxqw^Plain"
            film.save_as(path)
            path.write_bytes(path.read_bytes().replace(b"ISO_IR 100", b"ISO_IR 999")
                             .replace(b"Zyxqw^Plain", b"Zyxq\xe9^Plain"))
        out, _ = self.measured(films)
        raw = (out / "dicom" / "report.dcm").read_bytes()
        self.assertIn(b"ISO_IR 999", raw)
        self.assertIn(b"Zyxq\xe9^Plain", raw)


class Studies(Case):
    def test_each_object_in_its_study(self):
        out, _ = self.measured(FILMS)
        films = [pydicom.dcmread(FILMS / f"film-{i:02}.dcm", stop_before_pixels=True)
                 for i in range(3)]
        self.assertEqual(3, len({f.StudyInstanceUID for f in films}))
        for path in (out / "dicom").iterdir():
            held = pydicom.dcmread(path, stop_before_pixels=True)
            film = films[int(path.stem[-2:])] if path.stem.startswith("pres") else films[2]
            for keyword in ("StudyInstanceUID", "StudyDate", "StudyTime", "StudyID"):
                self.assertEqual(film[keyword].value, held[keyword].value, path.name)
            self.assertNotIn(held.SeriesInstanceUID, [f.SeriesInstanceUID for f in films])
        report = pydicom.dcmread(out / "dicom" / "report.dcm")

        def listed(keyword):
            return {(study.StudyInstanceUID, sop.ReferencedSOPInstanceUID)
                    for study in report.get(keyword, [])
                    for series in study.ReferencedSeriesSequence
                    for sop in series.ReferencedSOPSequence}
        self.assertEqual({(films[2].StudyInstanceUID, films[2].SOPInstanceUID)},
                         listed("CurrentRequestedProcedureEvidenceSequence"))
        self.assertEqual({(f.StudyInstanceUID, f.SOPInstanceUID) for f in films[:2]},
                         listed("PertinentOtherEvidenceSequence"))

    def test_dates_are_those_of_the_film(self):
        out, _ = self.measured(FILMS)
        film = pydicom.dcmread(FILMS / "film-02.dcm", stop_before_pixels=True)
        for name in ("report", "pair-01"):
            held = pydicom.dcmread(out / "dicom" / f"{name}.dcm", stop_before_pixels=True)
            self.assertEqual((film.AcquisitionDate, film.AcquisitionTime),
                             (held.ContentDate, held.ContentTime))

    def test_tracking_stays_when_a_film_is_added(self):
        def tracked(out):
            report = pydicom.dcmread(out / "dicom" / "report.dcm")
            return {text(g, "112039"): child(g, "112040").UID for g in groups(report)}
        films = self.copy_of_films()
        whole, _ = self.measured(films)
        sheet = json.loads((films / "series.json").read_text())
        sheet["films"].pop()
        (films / "series.json").write_text(json.dumps(sheet))
        fewer, _ = self.measured(films)
        before, after = tracked(fewer), tracked(whole)
        self.assertGreater(len(before), 7)
        self.assertEqual(before, {k: after[k] for k in before})
        reports = {pydicom.dcmread(o / "dicom" / "report.dcm").SOPInstanceUID
                   for o in (whole, fewer)}
        self.assertEqual(2, len(reports))


    def with_headers(self, change):
        """The films with `change(film, number)` done to each header."""
        films = self.copy_of_films()
        for number, path in enumerate(sorted(films.glob("*.dcm"))):
            film = pydicom.dcmread(path)
            change(film, number)
            film.save_as(path)
        return films

    def objects(self, out):
        return {p.name: pydicom.dcmread(p) for p in (out / "dicom").iterdir()}

    def test_both_hips_of_one_film(self):
        """The same objects measured as right and as left hip: neither tracked things nor series are shared.
        Simulated by mirrored pixels under the same identifiers."""
        def mirror(film, number):
            film.PixelData = film.pixel_array[:, ::-1].tobytes()
            film.ImageLaterality = {"R": "L", "L": "R"}[film.ImageLaterality]
        one, _ = self.measured(FILMS)
        films = self.with_headers(mirror)
        sheet = json.loads((films / "series.json").read_text())
        sheet["side"] = {"R": "L", "L": "R"}[sheet["side"]]
        (films / "series.json").write_text(json.dumps(sheet))
        other, _ = self.measured(films)
        one, other = self.objects(one), self.objects(other)
        tracked = [{child(g, "112040").UID for g in groups(run["report.dcm"])} for run in (one, other)]
        self.assertGreater(len(tracked[0]), 7)
        self.assertEqual(set(), tracked[0] & tracked[1])
        self.assertEqual(set(), {o.SeriesInstanceUID for o in one.values()} &
                         {o.SeriesInstanceUID for o in other.values()})
        for run in (one, other):
            of_series = {}
            for name, held in run.items():
                of_series.setdefault(held.SeriesInstanceUID, set()).add(held.get("Laterality"))
            self.assertEqual({1}, {len(sides) for sides in of_series.values()})

    def test_missing_times(self):
        """Date and time come from one moment; the objects are valid whatever the header lacks."""
        def without(*names):
            def change(film, number):
                for name in names:
                    if name in film:
                        delattr(film, name)
            return change
        clocks = ("AcquisitionTime", "ContentTime", "StudyTime", "SeriesTime", "AcquisitionDateTime")
        dates = tuple(c.replace("Time", "Date") for c in clocks[:4])
        film = pydicom.dcmread(FILMS / "film-02.dcm", stop_before_pixels=True)
        for names, sheet_has_dates, moment in (
                (("AcquisitionTime",), True, (film.ContentDate, film.ContentTime)),
                (clocks, True, (film.AcquisitionDate, "000000")),
                (clocks + dates, True, ("20240603", "000000")),
                (clocks + dates, False, ("19000101", "000000"))):
            films = self.with_headers(without(*names))
            if not sheet_has_dates:
                sheet = json.loads((films / "series.json").read_text())
                for node in (sheet, *sheet["films"]):
                    for key in ("date", "surgery_date"):
                        node.pop(key, None)
                (films / "series.json").write_text(json.dumps(sheet))
            out, run = self.measured(films, "--no-pictures")
            shutil.rmtree(films)
            self.assertEqual("1900-01-01" in run.stderr, not sheet_has_dates, run.stderr)
            for name, held in self.objects(out).items():
                self.assertEqual([], faults(out / "dicom" / name), name)
                if name == "report.dcm":
                    self.assertEqual(moment, (held.ContentDate, held.ContentTime))
                if name == "presentation-02.dcm":
                    self.assertEqual(moment, (held.PresentationCreationDate, held.PresentationCreationTime))

    def test_dates_in_another_form(self):
        """PS3.5, 6.2: DA is eight digits. A time belongs to its own date; nothing else is made of it."""
        def write(film, number):
            film.StudyDate = film.PatientBirthDate = "1951.07.03" if number < 2 else "no day"
            film.AcquisitionDate = film.SeriesDate = f"{film.AcquisitionDate[:4]}-{film.AcquisitionDate[4:6]}-" \
                f"{film.AcquisitionDate[6:]}"
            film.AcquisitionTime, film.StudyTime = "10:30:15", "25:00"
            film.ContentDate, film.ContentTime = "20260301", "111111"
        films = self.with_headers(write)
        day = json.loads((films / "series.json").read_text())["films"][2]["date"].replace("-", "")
        out, _ = self.measured(films)
        held = self.objects(out)
        for name in held:
            self.assertEqual([], faults(out / "dicom" / name), name)
        report = held["report.dcm"]
        self.assertEqual((report.ContentDate, report.ContentTime), (day, "103015"))
        self.assertEqual((report.StudyDate, report.StudyTime, report.PatientBirthDate), ("", "", ""))
        self.assertEqual(held["presentation-00.dcm"].PatientBirthDate, "19510703")
        def of_another_day(film, number):
            film.AcquisitionTime = ""
            film.ContentDate, film.ContentTime = "20260301", "111111"
            film.SeriesTime = film.StudyTime = ""
        shutil.rmtree(films)
        out, _ = self.measured(self.with_headers(of_another_day))
        report = self.objects(out)["report.dcm"]
        self.assertEqual((report.ContentDate, report.ContentTime), (day, "000000"))

    def test_a_film_stored_as_colour(self):
        """It gets no presentation state; everything else is made."""
        def to_colour(film, number):
            if number != 1:
                return
            grey = film.pixel_array.astype(numpy.float64)
            if film.PhotometricInterpretation == "MONOCHROME1":
                grey = grey.max() - grey
            grey = (255 * (grey - grey.min()) / (grey.max() - grey.min())).astype(numpy.uint8)
            film.PixelData = numpy.stack([grey] * 3, axis=-1).tobytes()
            film.SamplesPerPixel, film.PlanarConfiguration, film.PhotometricInterpretation = 3, 0, "RGB"
            film.BitsAllocated = film.BitsStored = 8
            film.HighBit = 7
        out, run = self.measured(self.with_headers(to_colour))
        self.assertIn("film-01.dcm: stored as colour", run.stderr)
        self.assertEqual({"report.dcm", "presentation-00.dcm", "presentation-02.dcm", "pair-01.dcm",
                          "pair-02.dcm"}, set(self.objects(out)))

    def test_lossy_films(self):
        """PS3.3, C.7.6.1.1.5 (from memory): what was made of lossily compressed films says so."""
        def compress(film, number):
            film.LossyImageCompression = "01" if number == 1 else "00"
            if number == 1:
                film.LossyImageCompressionRatio, film.LossyImageCompressionMethod = "12.5", "ISO_10918_1"
        out, _ = self.measured(self.with_headers(compress))
        held = self.objects(out)
        self.assertEqual(("01", 12.5, "ISO_10918_1"), (
            held["pair-01.dcm"].LossyImageCompression, held["pair-01.dcm"].LossyImageCompressionRatio,
            held["pair-01.dcm"].LossyImageCompressionMethod))
        self.assertNotIn("LossyImageCompression", held["pair-02.dcm"])
        for name in held:
            self.assertEqual([], faults(out / "dicom" / name), name)

    def test_order_of_time_points(self):
        """By date, whatever the order of the sheet; one day is one time point."""
        films = self.copy_of_films()
        sheet = json.loads((films / "series.json").read_text())
        sheet["films"] = [sheet["films"][i] for i in (2, 0, 1)]
        (films / "series.json").write_text(json.dumps(sheet))
        out, _ = self.measured(films)
        told = {(text(g, "126070"), value(child(g, "126073")))
                for g in groups(self.objects(out)["report.dcm"])}
        self.assertEqual({("film-00.dcm", "0"), ("film-01.dcm", "1"), ("film-02.dcm", "2")}, told)


class Refusals(Case):
    def as_png(self, path):
        film = pydicom.dcmread(path)
        grey = film.pixel_array.astype(numpy.float64)
        if film.PhotometricInterpretation == "MONOCHROME1":
            grey = grey.max() - grey
        grey = (grey - grey.min()) / (grey.max() - grey.min()) * 65535
        PIL.Image.fromarray(grey.astype(numpy.uint16)).save(path.with_suffix(".png"))
        path.unlink()

    def turned_to_png(self, which):
        films = self.copy_of_films()
        sheet = json.loads((films / "series.json").read_text())
        for i in which:
            self.as_png(films / f"film-{i:02}.dcm")
            sheet["films"][i]["file"] = f"film-{i:02}.png"
        (films / "series.json").write_text(json.dumps(sheet))
        return films

    def test_no_film_is_dicom(self):
        out, run = self.measured(self.turned_to_png((0, 1, 2)), code=1)
        self.assertIn("no film that was measured is a DICOM object", run.stderr)
        self.assertEqual(1, run.stderr.count("\n"))
        self.assertFalse((out / "dicom").exists())
        self.assertTrue((out / "result.json").exists())

    def test_some_are(self):
        out, run = self.measured(self.turned_to_png((0,)))
        self.assertIn("film-00.png: no DICOM object", run.stderr)
        self.assertEqual({"report.dcm", "presentation-01.dcm", "presentation-02.dcm",
                          "pair-01.dcm", "pair-02.dcm"},
                         {p.name for p in (out / "dicom").iterdir()})
        for path in (out / "dicom").iterdir():
            self.assertEqual([], faults(path), path.name)
        report = pydicom.dcmread(out / "dicom" / "report.dcm")
        self.assertIn("film-00.png", text(child(report, "C0034375"), "NOT-REFERENCED"))

    def test_two_patients(self):
        films = self.copy_of_films()
        other = pydicom.dcmread(films / "film-01.dcm")
        other.PatientID = "ZYXID-78"
        other.save_as(films / "film-01.dcm")
        out, run = self.measured(films, code=1)
        self.assertIn("film-01.dcm: it names another patient", run.stderr)
        self.assertNotIn("ZYXID", run.stderr)
        self.assertFalse((out / "dicom").exists())
        self.assertTrue((out / "result.json").exists())

    def test_two_patients_beside_a_nameless_film(self):
        """The newest film names nobody and may be of either; the other two are of two patients."""
        films = self.copy_of_films()
        for number, identity in enumerate(("ZYXID-77", "ZYXID-78", "")):
            film = pydicom.dcmread(films / f"film-0{number}.dcm")
            film.PatientID = identity
            film.PatientName = film.PatientBirthDate = ""
            film.save_as(films / f"film-0{number}.dcm")
        out, run = self.measured(films, code=1)
        self.assertIn("film-01.dcm: it names another patient than film-00.dcm", run.stderr)
        self.assertFalse((out / "dicom").exists())

    def test_needs_a_folder(self):
        run = tidemark("measure", FILMS, "--json", "--dicom-results")
        self.assertEqual(2, run.returncode)
        self.assertIn("--out", run.stderr)

    def test_not_writable(self):
        out = self.folder / "out"
        out.mkdir()
        (out / "dicom").write_text("in the way")
        run = tidemark("measure", FILMS, "--out", out, "--dicom-results")
        self.assertEqual(4, run.returncode, run.stderr)
        self.assertIn("dicom", run.stderr)
        self.assertEqual(["dicom"], [p.name for p in out.iterdir()])

    def test_none_of_an_earlier_run_stays(self):
        out, _ = self.measured(FILMS)
        (out / "dicom" / "mine.txt").write_text("kept")
        self.assertEqual(0, tidemark("measure", FILMS, "--out", out).returncode)
        self.assertEqual(["mine.txt"], [p.name for p in (out / "dicom").iterdir()])

    def test_without_pictures(self):
        out, run = self.measured(FILMS, "--no-pictures")
        self.assertIn("none of an aligned pair was drawn", run.stderr)
        self.assertEqual([], list((out / "dicom").glob("pair-*")))
        self.assertEqual([], faults(out / "dicom" / "report.dcm"))


if __name__ == "__main__":
    unittest.main()
