#!/usr/bin/env python3
"""`tidemark cohort` on a simulated database: its tables against a second computation from the database.

    cohort.py TIDEMARK
"""
import collections
import csv
import json
import math
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest
import xml.dom.minidom

import numpy
import scipy.stats
import sqlite3

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import cohort_database  # noqa: E402

TIDEMARK = sys.argv.pop(1)


def run(*arguments):
    return subprocess.run([TIDEMARK, "cohort", *map(str, arguments)], capture_output=True, text=True)


VISITS = [14, 42, 91, 183, 365] + [int(365.25 * year) for year in range(2, 31)]


def visit(day):
    """Milestone that a day belongs to: the nearest one, the earlier days from one on."""
    return next((a for a, b in zip(VISITS, VISITS[1:]) if day < (a + b + 1) // 2), VISITS[-1])


class Cohort(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.database = pathlib.Path(cls.folder.name) / "registry.sqlite"
        cohort_database.make(cls.database, 90, 4)
        cls.out = pathlib.Path(cls.folder.name) / "out"
        cls.done = run(cls.database, "--out", cls.out, "--group", "design")
        cls.db = sqlite3.connect(cls.database)

    @classmethod
    def tearDownClass(cls):
        cls.db.close()
        cls.folder.cleanup()

    def table(self, name):
        with open(self.out / f"{name}.csv", newline="", encoding="utf-8") as file:
            return list(csv.DictReader(file))

    def hips(self):
        return self.db.execute(
            "SELECT h.hip_id, g.value, h.surgery_date IS NULL FROM hips h JOIN hip_groups g USING (hip_id)"
            " WHERE h.status IN ('measured', 'partly')").fetchall()

    def reference_day(self, hip, undated):
        """Day of the reference film, 0 where days count from it."""
        return 0 if undated else self.db.execute(
            "SELECT days_from_surgery FROM films WHERE hip_id = ? AND role = 'reference'", (hip,)).fetchone()[0]

    def test_ends_well_and_writes_all(self):
        self.assertEqual(self.done.returncode, 0, self.done.stderr)
        for name in ("cohort.html", "cohort.json", "dictionary.json", "survival.csv"):
            self.assertTrue((self.out / name).exists(), name)
        data = json.loads((self.out / "cohort.json").read_text())
        self.assertEqual(data["schema"], "tidemark/cohort/1")
        self.assertEqual(data["hips"]["refused"],
                         self.db.execute("SELECT count(*) FROM hips WHERE status = 'refused'").fetchone()[0])
        for figure in (self.out / "figures").glob("*.svg"):
            xml.dom.minidom.parse(str(figure))

    def test_nothing_is_not_a_number(self):
        for file in [*self.out.glob("*.csv"), *self.out.glob("*.json")]:
            self.assertIsNone(re.search(r"\b(nan|inf|null)\b", file.read_text(), re.I), file.name)

    def test_no_dates_and_no_patients_leave(self):
        for file in self.out.rglob("*"):
            if file.is_file():
                text = file.read_text()
                self.assertIsNone(re.search(r"20(18|19|2\d)-\d\d-\d\d|P-\d{4}", text), file.name)

    def test_visits_as_scipy_computes_them(self):
        values = collections.defaultdict(dict)
        late, hidden = collections.Counter(), collections.Counter()
        for hip, group, undated in self.hips():
            for day, days, value in self.db.execute(
                    "SELECT days_from_surgery, days, subsidence_mm FROM comparisons WHERE hip_id = ?"
                    " AND examination = 1 AND status = 'measured'", (hip,)):
                day = days if undated else day
                if 274 <= day < 548:  # one film a hip falls to the first year's visit
                    if self.reference_day(hip, undated) > 91:
                        late[group] += 1
                    elif undated or self.reference_day(hip, undated) > 14:
                        hidden[group] += 1
                    else:
                        values[group][hip] = value
        compared = 0
        for row in self.table("migration_by_visit"):
            if row["visit"] != "1 year" or row["quantity"] != "subsidence_mm":
                continue
            compared += 1
            sample = numpy.array(list(values[row["group"]].values()))
            self.assertEqual(int(row["n"]), len(sample))
            self.assertGreaterEqual(int(row["late_reference"]), late[row["group"]])  # some were not measured
            self.assertGreaterEqual(int(row["hidden_settling"]), hidden[row["group"]])
            self.assertAlmostEqual(float(row["mean"]), sample.mean(), places=5)
            low, high = scipy.stats.t.interval(0.95, len(sample) - 1, sample.mean(), scipy.stats.sem(sample))
            self.assertAlmostEqual(float(row["mean_low"]), low, places=5)
            self.assertAlmostEqual(float(row["mean_high"]), high, places=5)
            self.assertAlmostEqual(float(row["median"]), numpy.median(sample), places=5)
        self.assertEqual(compared, len(values))
        self.assertGreater(sum(late.values()), 0)
        self.assertGreater(sum(hidden.values()), 0)
        self.assertEqual(compared, 2)  # designs

    def test_survival_by_a_second_product(self):
        times = collections.defaultdict(list)
        late = collections.Counter()
        for hip, group, undated in self.hips():
            reference = self.reference_day(hip, undated)
            if undated or reference > 14:  # against such a film nothing is within, or may not be
                late[group, "judged_only"] += 1
                late[group, "all"] += reference > 91
                continue
            last = None
            rows = self.db.execute(
                "SELECT c.days_from_surgery, c.days, f.verdict FROM findings f JOIN comparisons c"
                " USING (hip_id, comparison) WHERE hip_id = ? AND criterion = 'tilt-limit' AND examination = 1"
                " ORDER BY c.days", (hip,)).fetchall()
            for from_surgery, days, said in rows:
                day = days if undated else from_surgery
                if said == "exceeds":
                    last = (visit(day), 1)
                    break
                if said == "within":
                    last = (visit(day), 0)
            if last:
                times[group].append(last)
        found = [r for r in self.table("survival") if r["criterion"] == "tilt-limit" and r["counting"] == "judged_only"]
        self.assertTrue(found)
        summaries = [r for r in self.table("survival_summary") if r["criterion"] == "tilt-limit"]
        self.assertEqual(len(summaries), 6)  # designs, ways of counting
        for row in summaries:
            counting = "judged_only" if row["counting"] == "judged_only" else "all"
            self.assertEqual(int(row["late_reference"]), late[row["group"], counting])
            self.assertGreater(int(row["late_reference"]), 0)
        for group, hips in times.items():
            rows = [r for r in found if r["group"] == group]
            survival = 1.0
            self.assertEqual(len(rows), len({day for day, _ in hips}))
            for row, day in zip(rows, sorted({day for day, _ in hips})):
                risk = sum(t >= day for t, _ in hips)
                survival *= 1 - sum(t == day and event for t, event in hips) / risk
                self.assertEqual(int(row["at_risk"]), risk)
                self.assertAlmostEqual(float(row["years"]), day / 365.25, delta=0.005)
                self.assertAlmostEqual(float(row["survival"]), survival, places=5)

    def test_shares_by_a_second_count(self):
        counts = collections.Counter()
        for hip, group, undated in self.hips():
            if self.reference_day(hip, undated) > 91:
                counts[group, "late_reference"] += 1
                continue
            rows = [v for v, in self.db.execute(
                "SELECT verdict FROM findings f JOIN comparisons c USING (hip_id, comparison) WHERE hip_id = ?"
                " AND criterion = 'early-limit' AND examination = 1 AND verdict <> 'not_applicable'"
                " ORDER BY c.days", (hip,))]
            said = "exceeds" if "exceeds" in rows else rows[-1] if rows else "not_judged"
            counts[group, said] += 1
        compared = 0
        for row in self.table("criteria"):
            if row["criterion"] == "early-limit" and row["visit"] == "whole_follow_up":
                compared += 1
                for said in ("exceeds", "within", "cannot_tell", "not_judged", "late_reference"):
                    self.assertEqual(int(row[said]), counts[row["group"], said], (row["group"], said))
                n = sum(int(row[s]) for s in ("exceeds", "within", "cannot_tell"))
                low = scipy.stats.binomtest(int(row["exceeds"]), n).proportion_ci(0.95, "exact").low
                self.assertAlmostEqual(float(row["low"]), low, places=5)
        self.assertEqual(compared, 2)  # designs

    def test_left_out_hips_by_group(self):
        counts = dict(self.db.execute(
            "SELECT value, count(*) FROM hips JOIN hip_groups USING (hip_id) WHERE status = 'refused'"
            " GROUP BY value"))
        rows = self.table("groups")
        self.assertEqual([row["group"] for row in rows], ["design A", "design B"])
        for row in rows:
            self.assertEqual(int(row["refused"]), counts.get(row["group"], 0))
            self.assertEqual(int(row["failed"]), 0)
        self.assertGreater(sum(counts.values()), 0)

    def test_hips_of_two_option_sets_are_named(self):
        file = pathlib.Path(self.folder.name) / "mixed.sqlite"
        cohort_database.make(file, 12, 4)
        out = pathlib.Path(self.folder.name) / "mixed"
        said = lambda: [text for text in json.loads((out / "cohort.json").read_text())["cautions"]
                        if text.startswith("The hips were measured")]
        self.assertEqual(run(file, "--out", out).returncode, 0)
        self.assertEqual(said(), [])
        with sqlite3.connect(file) as db:
            db.execute("UPDATE hips SET options_sha256 = '1' WHERE hip = 'H-0003'")
        db.close()
        self.assertEqual(run(file, "--out", out).returncode, 0)
        self.assertEqual(len(said()), 1)
        self.assertIn("2 sets of options", said()[0])
        self.assertIn("2 sets of options", (out / "cohort.html").read_text())

    def test_double_examinations_by_a_second_sum(self):
        differences = [b - a for a, b in self.db.execute(
            "SELECT a.subsidence_mm, b.subsidence_mm FROM comparisons a JOIN comparisons b USING (hip_id, days)"
            " JOIN hip_groups USING (hip_id) WHERE a.examination = 1 AND b.examination = 2"
            " AND a.status = 'measured' AND b.status = 'measured'")]
        row = next(r for r in self.table("precision") if r["quantity"] == "subsidence_mm")
        self.assertEqual(int(row["pairs"]), len(differences))
        self.assertAlmostEqual(float(row["rms"]), math.sqrt(numpy.mean(numpy.square(differences))), places=5)

    def test_same_bytes_twice(self):
        again = pathlib.Path(self.folder.name) / "again"
        run(self.database, "--out", again, "--group", "design")
        for file in self.out.rglob("*"):
            if file.is_file():
                self.assertEqual(file.read_bytes(), (again / file.relative_to(self.out)).read_bytes(), file.name)

    def test_another_reader(self):
        sheet = pathlib.Path(self.folder.name) / "reader.csv"
        rows = self.db.execute(
            "SELECT h.hip, f.date, round(subsidence_mm - 0.5, 4) FROM comparisons c JOIN hips h USING (hip_id)"
            " JOIN films f ON f.hip_id = c.hip_id AND f.film = c.follow_up WHERE c.examination = 1"
            " AND c.status = 'measured'").fetchall()
        noise = numpy.random.default_rng(1).normal(0, 0.1, len(rows)).round(4)
        rows = [(hip, date, round(value + off, 4)) for (hip, date, value), off in zip(rows, noise)]
        with open(sheet, "w", newline="") as file:
            csv.writer(file).writerows([("hip", "date", "subsidence_mm"), *rows])
        out = pathlib.Path(self.folder.name) / "read"
        done = run(self.database, "--out", out, "--readings", sheet)
        self.assertEqual(done.returncode, 0, done.stderr)
        data = json.loads((out / "cohort.json").read_text())["tables"]["reader_agreement"]
        self.assertEqual(len(data), 1)
        self.assertEqual(data[0]["films"], len(rows))
        self.assertAlmostEqual(data[0]["mean_difference"], 0.5 - noise.mean(), places=4)
        self.assertGreater(data[0]["icc_3_1"], data[0]["icc_2_1"])

    def test_wrong_use(self):
        def refused(code, part, *arguments):
            done = run(*arguments)
            self.assertEqual(done.returncode, code, done.stderr)
            self.assertEqual(done.stderr.count("\n"), 1, done.stderr)
            self.assertIn(part, done.stderr)

        out = pathlib.Path(self.folder.name) / "no"
        refused(2, "--out DIR is missing", self.database)
        refused(3, "no such group", self.database, "--out", out, "--group", "colour")
        refused(3, "reader", self.database, "--out", out, "--reader", "nobody")
        refused(3, "no such database", self.folder.name + "/none", "--out", out)
        refused(4, "", self.database, "--out", "/proc/none")
        self.assertFalse(out.exists())


if __name__ == "__main__":
    unittest.main()
