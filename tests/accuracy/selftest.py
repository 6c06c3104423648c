"""Checks of the comparison itself: a result with known errors must give exactly these errors.

usage: selftest.py
"""
import argparse
import copy
import json
import math
import pathlib
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from bench import (anatomy, cases, compare, lucency, lysis, numbers, plot,  # noqa: E402
                   reliability, seat, summary, tables)

# A film whose shaft points straight down, 0.1 mm a pixel. Invented.
FILM = {"file": "a.dcm", "mm_per_px": 0.1, "head": {"centre_px": [500, 300], "diameter_px": 320},
        "points_px": {"stem_tip": [400, 1700], "stem_shoulder": [300, 500],
                      "stem_reference": [400, 600], "greater_trochanter": [200, 400],
                      "lesser_trochanter": [550, 800]},
        "stem_axis_px": [[400, 600], [400, 1700]], "shaft_axis_px": [[400, 900], [400, 1800]],
        "tilt_deg": 0.0, "pose_deg": {"flexion": 1.0, "abduction": 0.0, "rotation": -2.0},
        "visible": {"lesser_trochanter": False, "greater_trochanter": True}}
FOUND = {"file": "a.dcm", "status": "measured",
         "calibration": {"mm_per_px": {"value": 0.101, "u": 0.0005, "u95": 0.001}},
         "head": {"centre_px": [503, 304], "centre_u_px": 2.0, "diameter_px": 322,
                  "diameter_u_px": 1.0},
         "stem": {"tip_px": [400, 1710], "shoulder_px": [300, 500], "reference_px": [400, 600],
                  "axis_px": [[400, 600], [400 + 1100 * math.tan(math.radians(-0.5)), 1700]],
                  "axis_u_deg": 0.25},
         "shaft": {"axis_px": [[400, 900], [400, 1800]], "axis_u_deg": 0.1},
         "tilt_deg": {"value": 0.4, "u": 0.2, "u95": 0.4},
         "landmarks": {"stem_tip": {"px": [400, 1710], "u_px": 5.0},
                       "stem_shoulder": {"px": [300, 500], "u_px": 2.0},
                       "greater_trochanter": {"px": [206, 408], "u_px": 5.0}}}


def quantity(value, u):
    return {"value": value, "u": u, "u95": 2.0 * u}


def pair_of(number, subsidence):
    return {"reference": 0, "follow_up": number, "status": "measured", "flags": [],
            "subsidence_mm": quantity(subsidence, 0.2), "medial_mm": quantity(0.1, 0.1),
            "tilt_change_deg": quantity(-0.3, 0.1),
            "features": [{"feature": "shaft", "position_mm": [0, 0],
                          "subsidence_mm": quantity(subsidence + 1.0, 0.3)}],
            "uncertainty_budget": [{"source": "pose", "u_mm": 0.2}]}


TRUE = [{"reference": 0, "follow_up": k, "subsidence_mm": s, "medial_mm": 0.0,
         "tilt_change_deg": 0.0} for k, s in ((1, 2.0), (2, 0.0))]
TRUTH = {"side": "R", "head_diameter_mm": 32.0, "comparisons": TRUE,
         "films": [dict(FILM, file=name) for name in ("a.dcm", "b.dcm", "c.dcm")]}
RUN = {"code": 0, "message": "", "wall_s": 3.0, "cpu_s": 4.0, "peak_mb": 100.0,
       "result": {"films": [FOUND], "comparisons": [pair_of(1, 2.3), pair_of(2, 0.5)]}}


class Numbers(unittest.TestCase):
    def test_statistics(self):
        self.assertEqual(numbers.rms([3.0, -4.0]), math.sqrt(12.5))
        self.assertIsNone(numbers.rms([]))
        self.assertAlmostEqual(numbers.percentile([1, 2, 3, 4, 5], 0.95), 4.8)  # type 7, by hand

    def test_share_interval(self):
        # Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3: 81 of 263.
        low, high = numbers.share_interval(81, 263)
        self.assertAlmostEqual(low, 0.2553, 4)
        self.assertAlmostEqual(high, 0.3662, 4)

    def test_slopes(self):
        inputs = [[x, y] for x in range(4) for y in range(3)]
        (a, b), left = numbers.slopes(inputs, [2.0 * x - 0.5 * y + 7.0 for x, y in inputs])
        self.assertAlmostEqual(a, 2.0)
        self.assertAlmostEqual(b, -0.5)
        self.assertAlmostEqual(left, 0.0)

    def test_angle_does_not_mind_direction(self):
        line, other = [[0, 0], [0, 10]], [[0, 10], [1, 0]]
        self.assertAlmostEqual(numbers.angle_between(line, other),
                               math.degrees(math.atan(0.1)))


class Pairs(unittest.TestCase):
    def setUp(self):
        self.rows = compare.pair_rows("case", "set", TRUTH, RUN)

    def test_errors_are_those_put_in(self):
        first = self.rows[0]
        self.assertAlmostEqual(first["subsidence_mm_error"], 0.3)
        self.assertAlmostEqual(first["tilt_change_deg_error"], -0.3)
        self.assertAlmostEqual(first["votes"]["shaft"]["error"], 1.3)

    def test_coverage_and_false_motion(self):
        table = summary.pair_summary(self.rows)
        self.assertEqual(table["subsidence_mm"]["coverage"], 0.5)  # 0.3 inside 0.4, 0.5 outside
        self.assertEqual(table["subsidence_mm"]["unmoved"], 1)
        self.assertEqual(table["subsidence_mm"]["called_moved"], 1.0)
        self.assertAlmostEqual(table["subsidence_mm"]["rms"], math.sqrt((0.09 + 0.25) / 2))
        self.assertAlmostEqual(table["subsidence_mm"]["worst"], 0.5)

    def test_a_lost_pair_counts(self):
        run = copy.deepcopy(RUN)
        run["result"]["comparisons"][1] = {"reference": 0, "follow_up": 2, "reason": "too dark",
                                           "status": "not_measured", "flags": []}
        table = summary.pair_summary(compare.pair_rows("case", "set", TRUTH, run))
        self.assertEqual(table["measured_share"], 0.5)
        self.assertEqual(table["reasons"], {"too dark": 1})

    def test_a_crash_counts(self):
        run = RUN | {"result": None, "code": -11}
        rows = compare.pair_rows("case", "set", TRUTH, run)
        self.assertEqual([r["reason"] for r in rows], ["exit code -11"] * 2)
        self.assertEqual(summary.pair_summary(rows)["measured"], 0)
        lost = compare.film_rows("case", "set", TRUTH, run)
        self.assertTrue(all(r["missing"] for r in lost))

    def test_targets_can_fail_and_pass(self):
        table = summary.pair_summary(self.rows)
        limits = summary.TARGETS | {"subsidence_rms": (0.5, "<=", "mm", "subsidence, RMS error")}
        met = {v["what"]: v["met"] for v in summary.verdicts(table, [RUN], limits)}
        self.assertTrue(met["subsidence, RMS error"])
        self.assertFalse(met["subsidence: share of truths inside u95, lower limit"])
        self.assertTrue(met["three films, peak memory"])
        self.assertTrue(met["pairs off by more than twice u95"])
        self.assertFalse(met["share of unmoved hips called moved"])
        empty = summary.pair_summary([r | {"status": "not_measured", "answered": False}
                                      for r in self.rows])
        self.assertFalse(any(v["met"] for v in summary.verdicts(empty, [], summary.TARGETS)))

    def test_what_is_silently_wrong_is_counted(self):
        run = copy.deepcopy(RUN)
        run["result"]["comparisons"][0]["subsidence_mm"] = quantity(2.9, 0.2)
        table = summary.pair_summary(compare.pair_rows("case", "set", TRUTH, run))
        self.assertEqual(table["subsidence_mm"]["silently_wrong"], 1)

    def test_each_set_has_its_targets(self):
        self.assertEqual(summary.targets_of("a/phantom-still")["subsidence_rms"][0], 1.0)
        # A kept set, and one hip of it.
        for name in ("cases/phantom-still-24x2-seed2024", "phantom-still-24x2-seed2024/hip-0003"):
            self.assertEqual(summary.targets_of(name)["subsidence_rms"][0], 1.0)
        self.assertEqual(summary.targets_of("other-seat")["subsidence_rms"][0], 0.35)
        self.assertNotIn("subsidence_rms", summary.targets_of("other-hard"))

    def test_hard_films_are_not_all_refused(self):
        def met(refused):
            rows = self.rows[:1] * (4 - refused) + [refusal] * refused
            table = summary.pair_summary(rows)
            return {v["target"]: v["met"] for v in
                    summary.verdicts(table, [], summary.targets_of("phantom-hard"))}

        refusal = self.rows[1] | {"status": "not_measured", "reason": "too dark"}
        self.assertTrue(met(2)["measured_share"])
        self.assertFalse(met(3)["measured_share"])
        self.assertTrue(met(2)["answered_share"])
        refusal["answered"] = False
        self.assertFalse(met(1)["answered_share"])

    def test_a_pair_is_answered_by_a_reason(self):
        run = copy.deepcopy(RUN)

        def answered():
            return [r["answered"] for r in compare.pair_rows("case", "set", TRUTH, run)]

        refusal = {"reference": 0, "follow_up": 2, "reason": "too dark", "status": "not_measured"}
        run["result"]["comparisons"][1] = refusal
        self.assertEqual(answered(), [True, True])
        refusal["reason"] = ""
        self.assertEqual(answered(), [True, False])
        run["result"]["comparisons"] = []
        self.assertEqual(answered(), [False, False])
        run["result"]["films"].append({"file": "c.dcm", "status": "not_measured", "reason": "empty"})
        self.assertEqual(answered(), [False, True])

    def test_targets_that_are_not_asked_for_do_not_count(self):
        lines = [("width: RMS (wanted <= 1)", 0.5, True), ("width: bias (wanted <= 1)", 2.0, False)]
        self.assertFalse(summary.all_met(lines, []))
        self.assertTrue(summary.all_met(lines, ["bias"]))
        self.assertFalse(summary.all_met(lines, ["RMS"]))
        self.assertFalse(summary.all_met(lines, ["width"]))  # nothing is left
        self.assertFalse(summary.all_met([], []))

    def test_a_limit_may_be_asked_for_by_option_alone(self):
        table = summary.pair_summary(self.rows)
        names = [v["target"] for v in summary.verdicts(table, [], summary.TARGETS)]
        self.assertNotIn("medial_rms", names)
        limits = summary.TARGETS | {"medial_rms": (0.2, *summary.TARGETS["medial_rms"][1:])}
        met = {v["target"]: v["met"] for v in summary.verdicts(table, [], limits)}
        self.assertTrue(met["medial_rms"])

    def test_reliability(self):
        # Errors 0.3 and 0.5 of u95 0.4: 1.47 and 2.45 standard uncertainties, that is 86 and 98.6 %.
        of = reliability.ratios(self.rows, "subsidence_mm")
        self.assertAlmostEqual(of[0], 1.47, places=2)
        self.assertEqual([reliability.share_within(of, p) for p in (0.84, 0.88, 0.98, 0.99)],
                         [0.0, 0.5, 0.5, 1.0])
        self.assertIn("set: 2 pairs", reliability.page({"set": self.rows}))

    def test_text_and_picture(self):
        films = compare.film_rows("case", "set", TRUTH, RUN)
        self.assertIn("err +0.30", tables.verbose_line(self.rows[0], films))
        self.assertEqual(plot.page("set", self.rows).count("<circle"), 2 * 3 * 2)


class Films(unittest.TestCase):
    def setUp(self):
        self.items = {i["item"]: i for i in compare.film_items(FILM, FOUND)}

    def test_points(self):
        head = self.items["head centre"]
        self.assertAlmostEqual(head["error"], 0.5)             # 3, 4 px at 0.1 mm
        self.assertAlmostEqual(head["along"], 0.4)
        self.assertAlmostEqual(head["ratio"], 5 / math.sqrt(2) / 2)
        self.assertAlmostEqual(self.items["stem tip"]["error"], 1.0)
        self.assertAlmostEqual(self.items["greater trochanter"]["along"], 0.8)

    def test_scalars(self):
        self.assertAlmostEqual(self.items["head diameter"]["error"], 0.2)
        self.assertAlmostEqual(abs(self.items["stem axis"]["error"]), 0.5)
        self.assertAlmostEqual(self.items["tilt"]["ratio"], 2.0)
        self.assertAlmostEqual(self.items["scale"]["error"], 1.0)

    def test_hidden_landmark_is_not_asked_for(self):
        self.assertNotIn("lesser trochanter", self.items)
        seen = FILM | {"visible": {}}
        lost = [i for i in compare.film_items(seen, FOUND) if i["item"] == "lesser trochanter"]
        self.assertTrue(lost[0]["missing"])


class Input(unittest.TestCase):
    def test_the_program_sees_nothing_measured(self):
        with tempfile.TemporaryDirectory() as folder:
            case = pathlib.Path(folder) / "case"
            case.mkdir()
            (case / "a.dcm").write_bytes(b"x")
            (case / "truth.json").write_text("{}")
            (case / "series.json").write_text(json.dumps({
                "side": "L", "stem": {"head_diameter_mm": 32.0, "length_mm": 130.0}, "films": [
                    {"file": "a.dcm", "role": "reference", "mm_per_px": 0.12,
                     "landmarks_px": {"stem_tip": [1, 2]}, "marker_diameter_mm": 25.0}]}))
            films = cases.prepare_input(case, TRUTH, pathlib.Path(folder) / "input")
            self.assertEqual(sorted(p.name for p in films.iterdir()), ["a.dcm", "series.json"])
            self.assertEqual(json.loads((films / "series.json").read_text()),
                             {"side": "R", "films": [{"file": "a.dcm", "role": "reference"}]})

    def test_lateral_films_are_given_when_asked_for(self):
        with tempfile.TemporaryDirectory() as folder:
            case, given = pathlib.Path(folder) / "case", pathlib.Path(folder) / "input"
            case.mkdir()
            sheet = {"films": [{"file": "a.dcm", "role": "reference"},
                               {"file": "b.dcm", "role": "follow-up", "view": "LAT"}]}
            (case / "series.json").write_text(json.dumps(sheet))

            def names(lateral):
                films = cases.prepare_input(case, TRUTH, given, lateral=lateral)
                return [f["file"] for f in json.loads((films / "series.json").read_text())["films"]]

            self.assertEqual(names(0), ["a.dcm"])
            self.assertEqual(names(1), ["a.dcm", "b.dcm"])
            with self.assertRaises(cases.Failure):
                names(2)

    def test_made_sets_with_lateral_films_have_folders_of_their_own(self):
        options = argparse.Namespace(hips=2, follow_ups=1, seed=3, pixel_pitch=None, jobs=1,
                                     tidemark="tidemark", out=pathlib.Path("out"), meshes="m",
                                     lateral=0)
        folders, words = [], []
        for options.lateral in (0, 1, 2):
            folders.append(cases.cache_of("phantom-lucency", options).name)
            words.append([cases.make_command(name, "f", options)[-2:]
                          for name in ("phantom-lucency", "other-lucency")])
        self.assertEqual(folders[1:], [folders[0] + "-lateral", folders[0] + "-lateral2"])
        self.assertNotIn("--lateral", words[0][0] + words[0][1])
        self.assertEqual(words[1:], [[["--lateral", 1]] * 2, [["--lateral", 2]] * 2])

    def test_a_kept_set_is_made_anew_when_what_it_was_made_from_has_changed(self):
        with tempfile.TemporaryDirectory() as folder:
            root = pathlib.Path(folder)
            maker, count = root / "maker", root / "count"
            maker.write_text(f"#!/bin/sh\necho >> {count}\n")
            maker.chmod(0o755)
            options = argparse.Namespace(hips=1, follow_ups=1, seed=3, pixel_pitch=None, jobs=1,
                                         tidemark=maker, out=root, meshes=None, lateral=0, anew=False)

            def times():
                ready = cases.made("phantom-seat", options) / "complete"
                return ready, len(count.read_text())

            self.assertEqual([times()[1], times()[1]], [1, 1])
            options.anew = True
            self.assertEqual(times()[1], 2)
            options.anew = False
            ready, _ = times()
            ready.write_text(ready.read_text().replace("sources ", "sources f"))
            self.assertEqual([times()[1], times()[1]], [3, 3])
            ready.write_text("the command alone, as it was kept before\n")
            self.assertEqual(times()[1], 4)

    def test_a_set_follows_from_sources_and_meshes(self):
        with tempfile.TemporaryDirectory() as folder:
            root = pathlib.Path(folder)
            source = root / "tests/accuracy/other_simulator/physics.py"
            source.parent.mkdir(parents=True)
            source.write_text("a")
            first = cases.digest_of_sources("other", root)
            (source.parent / "preview.py").write_text("a")
            self.assertEqual(cases.digest_of_sources("other", root), first)
            source.write_text("b")
            self.assertNotEqual(cases.digest_of_sources("other", root), first)
            before = cases.digest_of_meshes(root)
            (root / "bone.obj").write_text("v 0 0 0")
            self.assertNotEqual(cases.digest_of_meshes(root), before)
        for simulator in cases.SOURCES:  # the patterns find something
            self.assertNotEqual(cases.digest_of_sources(simulator),
                                cases.digest_of_sources(simulator, "/nonexistent"))

    def test_the_kind_of_a_set_is_a_word_of_its_name(self):
        for name, kind in (("phantom-seat", "seat"), ("a/other-hard", "hard"),
                           ("cases/phantom-still-24x2-seed2024", "still"),
                           ("phantom-hard-8x2-seed5-lateral/hip-0003", "hard"),
                           ("hard/phantom-still", "still"), ("orchard/x", None),
                           ("distillery/hardware", None), ("mine/hip-7", None)):
            self.assertEqual(cases.kind_of(name), kind, name)

    def test_a_folder_without_truth_is_refused(self):
        with tempfile.TemporaryDirectory() as folder, self.assertRaises(cases.Failure):
            cases.folders_with_truth(folder)


class Anatomy(unittest.TestCase):
    def rows(self, **changes):
        found = copy.deepcopy(FOUND) | changes
        return [r | {"set": "s", "case": "c", "file": "a.dcm"}
                for r in compare.film_items(FILM, found)]

    def test_a_known_error_and_its_coverage(self):
        # Head 5 px = 0.5 mm off with u 0.2 mm: 2.5 u, beyond the 2.448 u of a plane vector.
        table = anatomy.summary(self.rows())
        self.assertAlmostEqual(table["head centre"]["rms"], 0.5)
        self.assertEqual(table["head centre"]["inside"], 0.0)
        # Tip 10 px = 1 mm along with u 0.5 mm is within; the axis 0.5 degrees with u 0.25 is not.
        self.assertEqual(table["stem tip"]["inside"], 1.0)
        self.assertEqual(table["stem axis"]["inside"], 0.0)
        # The greater trochanter counts along the shaft: 8 px.
        self.assertAlmostEqual(table["greater trochanter"]["rms"], 0.8)
        self.assertAlmostEqual(table["greater trochanter"]["length"], 1.0)
        met = {what.split(" (")[0]: ok for what, _, ok in anatomy.verdicts(table, False)}
        self.assertFalse(met["head centre: RMS error"])
        self.assertTrue(met["greater trochanter: RMS error"])
        self.assertFalse(met["lesser trochanter: share found and right"])

    def test_a_find_of_something_else_is_wrong_and_not_found(self):
        stem = dict(FOUND["stem"], tip_px=[400, 1500])
        marks = dict(FOUND["landmarks"], stem_tip={"px": [400, 1500], "u_px": 5.0})
        table = anatomy.summary(self.rows(stem=stem, landmarks=marks))
        self.assertEqual((table["stem tip"]["wrong"], table["stem tip"]["found"]), (1, 0.0))
        # 20 mm off with u 0.5 mm: it counts against u as well.
        self.assertEqual(table["stem tip"]["inside"], 0.0)

    def test_what_is_wrong_must_say_so(self):
        marks = dict(FOUND["landmarks"], stem_tip={"px": [400, 1500], "u_px": 5.0})

        def silent(*flags, u_px=5.0):
            marks["stem_tip"]["u_px"] = u_px
            rows = [r | {"flags": list(flags)} for r in self.rows(landmarks=marks)]
            table = anatomy.summary(rows)
            met = {what: ok for what, _, ok in anatomy.verdicts(table, True)}
            self.assertEqual(met["stem tip: wrong and not flagged (wanted <= 0)"],
                             table["stem tip"]["silent"] == 0)
            return table["stem tip"]["silent"]

        self.assertEqual(silent(), 1)
        self.assertEqual(silent("file_note", "lesser_trochanter_not_seen"), 1)
        self.assertEqual(silent("implant_uncertain"), 0)
        self.assertEqual(silent(u_px=100.0), 0)  # 200 px within 2.45 u

    def test_lateral_films_are_not_judged(self):
        truth = {"side": "R", "head_diameter_mm": 32.0,
                 "films": [FILM, FILM | {"file": "l.dcm", "view": "LAT"}]}
        rows = anatomy.rows_of("/bin/false", "s", pathlib.Path("c"), truth)
        self.assertEqual({r["file"] for r in rows}, {"a.dcm"})

    def test_a_film_that_is_refused_has_found_nothing(self):
        rows = [r | {"set": "s", "case": "c", "file": "a.dcm"}
                for r in compare.film_items(FILM, None)]
        table = anatomy.summary(rows)
        self.assertEqual([table[k]["found"] for k in ("head centre", "shaft axis")], [0.0, 0.0])
        self.assertFalse(all(ok for _, _, ok in anatomy.verdicts(table, True)))


def true_film(name, widths, fixation="uncemented", numbers_=range(1, 8), **more):
    """A film whose zone z has a line of widths[z] mm over its proximal 60 %."""
    kind = "stem_bone" if fixation == "uncemented" else "cement_bone"
    zones = [{"zone": z, "length_mm": 40.0, "lines": [
        {"interface": kind, "width_mm": widths[z], "from_mm": 0.0, "to_mm": 24.0,
         "fraction": 0.6, "rim": True}] if z in widths else []} for z in numbers_]
    return {"file": name, "lucency": {"fixation": fixation, "zones": zones},
            "pose_deg": {"flexion": 0.0, "rotation": 9.0},
            "processing": {"edge_gain": 1.0}} | more


def zone_found(zone, state, width=None, interface="stem_bone"):
    out = {"zone": zone, "interface": interface, "state": state, "zone_length_mm": 41.0,
           "sclerotic_rim": "cannot_tell"}
    if width is not None:
        out |= {"max_mm": quantity(width, 0.1), "mean_mm": quantity(width - 0.1, 0.1),
                "extent_fraction": 0.5, "sclerotic_rim": True}
    return out


def zone_change(zone, change, progressive):
    return {"zone": zone, "interface": "stem_bone", "change_mm": quantity(change, 0.2),
            "progressive": progressive}


class Lucency(unittest.TestCase):
    def setUp(self):
        """Then: 1.0 mm in zone 1, 2.0 in zone 2. Now: zone 1 grew by 0.7, zone 3 is new, 2 mm."""
        self.truth = {"films": [true_film("a.dcm", {1: 1.0, 2: 2.0}),
                                true_film("b.dcm", {1: 1.7, 2: 2.0, 3: 2.0})],
                      "comparisons": [{"reference": 0, "follow_up": 1}]}
        a = [zone_found(1, "present", 1.3), zone_found(2, "absent"), zone_found(3, "absent"),
             zone_found(4, "present", 0.5), zone_found(5, "cannot_tell"),
             zone_found(6, "absent"), zone_found(7, "absent")]
        b = [zone_found(z, "absent") for z in (4, 5, 6, 7)] + [
            zone_found(1, "present", 1.8), zone_found(2, "present", 2.0),
            zone_found(3, "cannot_tell")]
        pair = {"reference": 0, "follow_up": 1, "zones": [
            zone_change(1, 0.5, "no"), zone_change(2, 0.5, "no"),
            {"zone": 3, "interface": "stem_bone", "progressive": "cannot_tell"},
            zone_change(6, 0.1, "no")]}
        self.run_ = {"result": {"films": [{"file": "b.dcm", "zones": b},
                                          {"file": "a.dcm", "zones": a}],
                                "comparisons": [pair | {"reference": 1, "follow_up": 0}]}}

    def rows(self, run=None):
        return lucency.film_rows("c", "s", self.truth, run or self.run_)

    def test_kappa(self):
        # Cohen, Educational and Psychological Measurement 20 (1960) 37-46, table 2: 200 cases,
        # (140 - 82) / (200 - 82) = 0.492. From memory; p_e from the margins by hand.
        self.assertAlmostEqual(lucency.kappa([[88, 14, 18], [10, 40, 10], [2, 6, 12]]), 0.492, 3)
        # A common textbook table of 50: p_o 0.7, p_e 0.5. From memory.
        self.assertAlmostEqual(lucency.kappa([[20, 5], [10, 15]]), 0.4)
        self.assertIsNone(lucency.kappa([[4, 0], [0, 0]]))
        self.assertIsNone(lucency.kappa([[0, 0], [0, 0]]))

    def test_widths_are_those_put_in(self):
        w = lucency.widths(self.rows())
        self.assertEqual(w["n"], 3)  # a line where none is has no error of width
        self.assertAlmostEqual(w["rms"], math.sqrt((0.09 + 0.01 + 0.0) / 3))
        self.assertAlmostEqual(w["bias"], 0.4 / 3)
        self.assertAlmostEqual(w["inside"], 2 / 3)  # 0.3 is more than 0.2
        self.assertEqual(lucency.width_class(0.62), 0.75)  # nearest by ratio

    def test_presence(self):
        p = lucency.presence(self.rows())
        self.assertEqual((p["clear"], p["none"]), (5, 9))
        self.assertAlmostEqual(p["sensitivity"], 3 / 4)      # zone 2 on the first film is missed
        self.assertAlmostEqual(p["sensitivity_all"], 3 / 5)  # and zone 3 on the second not told
        self.assertAlmostEqual(p["specificity"], 7 / 8)
        self.assertAlmostEqual(p["kappa"], lucency.kappa([[3, 1], [1, 7]]))

    def test_thin_and_short_lines_count_for_neither(self):
        self.truth["films"][0] = true_film("a.dcm", {1: 0.75, 2: 2.0})
        self.assertEqual(lucency.presence(self.rows())["clear"], 4)
        self.assertEqual(lucency.presence(self.rows())["none"], 9)

    def test_halo_only_films(self):
        self.assertEqual(lucency.halo_only(self.rows()), (0, 0))  # every film has a line
        self.truth["films"][0] = true_film("a.dcm", {})
        self.assertEqual(lucency.halo_only(self.rows()), (6, 2))  # one is open
        self.truth["films"][0]["processing"] = {"edge_gain": 0.0}
        self.assertEqual(lucency.halo_only(self.rows()), (0, 0))
        self.truth["films"][0]["processing"] = {"edge_gain": [0.0, 0.4]}
        self.assertEqual(lucency.halo_only(self.rows()), (6, 2))  # one is open
        self.truth["films"][0]["processing"] = {"edge_gain": []}
        self.assertEqual(lucency.halo_only(self.rows()), (0, 0))

    def test_changes(self):
        c = lucency.changes(lucency.pair_rows("c", "s", self.truth, self.run_))
        self.assertEqual((c["wide"], c["told"], c["found"]), (2, 1, 1.0))  # zone 3 is left open
        self.assertEqual(c["found_all"], 0.5)
        self.assertEqual((c["still"], c["still_called"]), (1, 1.0))
        self.assertEqual((c["free"], c["free_called"]), (1, 0.0))
        self.assertAlmostEqual(c["rms"], math.sqrt((0.04 + 0.25) / 2))

    def test_progress(self):
        # Zone 1 grew by 0.7 mm: judged by neither. Zone 3 is new: open. Zone 2 and the free zone 6
        # are told; of zones 4, 5, 7 nothing is said.
        pairs = lucency.pair_rows("c", "s", self.truth, self.run_)
        self.assertEqual(lucency.progress(pairs), [[0, 0, 1], [0, 2, 3]])
        self.run_["result"]["comparisons"][0]["zones"][1]["progressive"] = "yes"
        pairs = lucency.pair_rows("c", "s", self.truth, self.run_)
        self.assertEqual(lucency.progress(pairs)[1], [1, 1, 3])

    def test_the_interfaces_of_a_cemented_stem_are_told_apart(self):
        self.truth = {"films": [true_film("a.dcm", {1: 1.5}, "cemented")], "comparisons": []}
        zones = [zone_found(1, "present", 1.5, "stem_cement")]
        rows = self.rows({"result": {"films": [{"file": "a.dcm", "zones": zones}]}})
        self.assertEqual(len(rows), 14)
        p = lucency.presence(rows)
        self.assertEqual(p["specificity"], 0.0)  # the line is at the other border
        self.assertEqual(p["sensitivity_all"], 0.0)

    def test_a_lost_film_counts(self):
        p = lucency.presence(self.rows({"result": None}))
        self.assertEqual((p["sensitivity_all"], p["open_clear"]), (0.0, 1.0))
        pairs = lucency.pair_rows("c", "s", self.truth, {"result": None})
        self.assertEqual(lucency.changes(pairs)["found_all"], 0.0)
        self.assertFalse(any(ok for _, _, ok in lucency.verdicts(
            self.rows({"result": None}), pairs)))

    def test_text_and_targets(self):
        rows = self.rows()
        pairs = lucency.pair_rows("c", "s", self.truth, self.run_)
        self.assertIn("of 2 changes", lucency.text(rows, pairs))
        self.assertEqual(len(lucency.verbose_lines(rows)), 7)
        met = [ok for _, _, ok in lucency.verdicts(rows, pairs)]
        # Width, sensitivity, specificity, halo; open: 1 of 5 clear lines, 1 of 9 free zones; changes.
        # Then: one of two unchanged zones was called changed; no false yes; intervals too narrow.
        self.assertEqual(met, [True, False, False, False, True, True, True, True,
                               False, True, False, False])

    def test_targets_are_not_met_by_what_is_left_open(self):
        """One hip is right in everything, 19 are lost: what is told of them all is flawless."""
        truth = {"films": [true_film("a.dcm", {1: 1.0}), true_film("b.dcm", {1: 2.0}),
                           true_film("c.dcm", {})], "comparisons": [{"reference": 0, "follow_up": 1}]}
        films = [{"file": name, "zones": [zone_found(1, *first)] +
                  [zone_found(z, "absent") for z in range(2, 8)]} for name, first in
                 (("a.dcm", ("present", 1.0)), ("b.dcm", ("present", 2.0)), ("c.dcm", ("absent",)))]
        pair = {"reference": 0, "follow_up": 1, "zones": [zone_change(1, 1.0, "yes")] +
                [zone_change(z, 0.0, "no") for z in range(2, 8)]}
        told = {"result": {"films": films, "comparisons": [pair]}}

        def met(runs):
            rows = [r for run in runs for r in lucency.film_rows("c", "s", truth, run)]
            pairs = [r for run in runs for r in lucency.pair_rows("c", "s", truth, run)]
            return {what.split(" (")[0]: ok for what, _, ok in lucency.verdicts(rows, pairs)}

        self.assertTrue(all(met([told] * 20).values()))
        # Nor by calling every pair changed.
        pair["zones"][1:] = [zone_change(z, 1.0, "yes") for z in range(2, 8)]
        self.assertEqual([what for what, ok in met([told] * 20).items() if not ok],
                         ["changes told of lines and zones left as they were",
                          "progressive: yes of lines and zones left as they were"])
        pair["zones"][1:] = [zone_change(z, 0.0, "no") for z in range(2, 8)]
        lost = met([told] + [{"result": None}] * 19)
        self.assertEqual([what for what, ok in lost.items() if not ok],
                         ["lines >= 1 mm over >= 50 % of a zone, left open",
                          "zones without a line, left open", "changes >= 0.5 mm found, of all"])


def side_film(name, widths, rotation=-88.0):
    return true_film(name, widths, numbers_=range(8, 15), view="LAT",
                     pose_deg={"flexion": 0.0, "rotation": rotation})


class LateralLucency(unittest.TestCase):
    def setUp(self):
        """Two frontal films without a word from the program. From the side, then: 1.0 mm in zone 9;
        now it grew by 1.5, and zone 14 is new."""
        self.truth = {"films": [true_film("a.dcm", {1: 1.0}), true_film("b.dcm", {1: 1.0}),
                                side_film("c.dcm", {9: 1.0}),
                                side_film("d.dcm", {9: 2.5, 14: 1.5}, rotation=-100.0)],
                      "comparisons": [{"reference": 0, "follow_up": 1}]}
        c = [zone_found(9, "present", 1.2), zone_found(10, "present", 0.8)] + [
            zone_found(z, "absent") for z in (8, 12, 13, 14)]
        d = [zone_found(9, "present", 2.5), zone_found(14, "absent")]
        change = {"reference": 0, "follow_up": 2,
                  "zones": [zone_change(9, 1.3, "yes"), zone_change(10, 0.0, "no")]}
        self.run_ = {"result": {"films": [{"file": "c.dcm", "zones": c}, {"file": "a.dcm"},
                                          {"file": "d.dcm", "zones": d}],
                                "lateral_comparisons": [change]}}

    def rows(self):
        return lucency.side_film_rows("c", "s", self.truth, self.run_)

    def pairs(self):
        return lucency.side_pair_rows("c", "s", self.truth, self.run_)

    def test_each_view_has_rows_of_its_own(self):
        frontal = lucency.film_rows("c", "s", self.truth, self.run_)
        self.assertEqual({r["file"] for r in frontal}, {"a.dcm", "b.dcm"})
        self.assertEqual({r["zone"] for r in frontal}, set(range(1, 8)))
        self.assertEqual({(r["file"], r["zone"]) for r in self.rows()},
                         {(f, z) for f in ("c.dcm", "d.dcm") for z in range(8, 15)})

    def test_presence_and_width(self):
        p = lucency.presence(self.rows())
        self.assertEqual((p["clear"], p["none"]), (3, 11))
        self.assertAlmostEqual(p["sensitivity"], 2 / 3)  # zone 14 of the second film is missed
        self.assertAlmostEqual(p["specificity"], 4 / 5)  # zone 10 of the first is none
        self.assertAlmostEqual(p["open_none"], 6 / 11)   # 11 of the first, five of the second
        self.assertAlmostEqual(lucency.widths(self.rows())["rms"], math.sqrt(0.04 / 2))

    def test_a_lateral_film_is_oblique_against_its_own_pose(self):
        self.assertEqual([lucency.traits_of(f)["oblique"] for f in self.truth["films"][2:]],
                         [False, True])

    def test_pairs(self):
        c = lucency.changes(self.pairs())
        self.assertEqual((c["wide"], c["told"], c["found"]), (2, 1, 1.0))  # zone 14 is not told
        self.assertEqual(c["found_all"], 0.5)
        self.assertAlmostEqual(c["rms"], 0.2)  # 1.3 of 1.5
        self.assertEqual((c["free"], c["free_called"]), (1, 0.0))
        # Of frontal films alone the result says nothing.
        self.assertEqual(lucency.changes(lucency.pair_rows("c", "s", self.truth, self.run_))["told"], 0)

    def test_one_lateral_film_makes_no_pair_and_is_not_asked_for_changes(self):
        self.truth["films"].pop()
        self.assertEqual(self.pairs(), [])
        words = [what for what, _, _ in lucency.verdicts(self.rows(), [])]
        self.assertEqual(len(words), 7)
        self.assertTrue(all(what.startswith("lateral films: ") for what in words))
        self.assertNotIn("progressive", lucency.text(self.rows(), []))

    def test_text_names_the_zones(self):
        text = lucency.text(self.rows(), self.pairs())
        for words in ("zones 8 and 14", "zones 10 and 12", "zone 11", "length of zones 8-10, 12-14",
                      "of 1 changes"):
            self.assertIn(words, text)
        self.assertEqual(len(lucency.verdicts(self.rows(), self.pairs())), 12)
        met = dict((what.split(" (")[0], ok) for what, _, ok in
                   lucency.verdicts(self.rows(), self.pairs()))
        self.assertFalse(met["lateral films: sensitivity, lines >= 1 mm over >= 50 % of a zone, of zones told"])
        self.assertTrue(met["lateral films: width, RMS error, 0.75 to 3 mm, of lines found"])

    def test_a_truth_that_knows_frontal_zones_only_has_no_rows(self):
        self.truth["films"][2:] = [true_film("c.dcm", {1: 1.0}, view="LAT")]
        self.assertEqual(self.rows(), [])
        self.assertEqual(self.pairs(), [])


class Lysis(unittest.TestCase):
    TRUTH = {"films": [{"file": "a"}, {"file": "b", "cavities": [
        {"zone": 3, "half_depth_area_mm2": 40.0, "depth_share": 0.5, "rim": False},
        {"zone": 5, "half_depth_area_mm2": 10.0, "depth_share": 0.5, "rim": True}]}],
        "comparisons": [{"reference": 0, "follow_up": 1}]}

    def rows(self, told):
        result = {"films": [{"file": "a"}, {"file": "b"}],
                  "comparisons": [{"reference": 0, "follow_up": 1, "signs": {"lysis": told}}]}
        return lysis.rows_of("c", "s", self.TRUTH, {"result": result})

    def test_an_area_is_held_against_the_cavity_of_its_zone(self):
        rows = self.rows([{"zone": 3, "state": "present", "depth": {"value": 0.4},
                           "area_mm2": {"value": 44.0, "u95": 5.0}}])
        self.assertEqual([r["zone"] for r in rows if lysis.is_clear(r)], [3])
        area = lysis.areas(rows)
        self.assertEqual((area["n"], area["bias"], area["inside"]), (1, 4.0, 1.0))
        self.assertEqual(sum(r["state"] == "missing" for r in rows), 5)

    def test_a_false_one_is_seen(self):
        rows = self.rows([{"zone": 1, "state": "present", "depth": {"value": 0.4},
                           "area_mm2": {"value": 44.0, "u95": 5.0}}])
        self.assertEqual([r["zone"] for r in rows if r["state"] == "present" and not r["true_mm2"]], [1])
        self.assertEqual(lysis.areas(rows)["n"], 0)
        self.assertFalse(lysis.verdicts(rows)[0][2])

    def test_targets(self):
        def met(*states):
            told = [{"zone": z, "state": s} for z, s in zip(lysis.ZONES, states)]
            return [ok for _, _, ok in lysis.verdicts(self.rows(told))]

        # Zone 3 has a cavity that must be found, zone 5 a small one; four zones are free.
        self.assertEqual(met("absent", "absent", "present", "absent", "absent", "absent"), [True] * 4)
        self.assertEqual(met("absent", "absent", "cannot_tell", "absent", "absent", "absent"),
                         [True, True, True, False])
        self.assertEqual(met(*["cannot_tell"] * 6), [False, False, True, False])
        self.assertEqual(met("absent", "absent", "present"), [True, True, False, True])
        self.assertEqual(met("absent", "present", "present", "absent", "absent", "absent"),
                         [False, True, True, True])


def seat_film(**more):
    rows = [{"level_mm": level, "stem_mm": [-5.0, 5.0], "inner_mm": [-10.0, 10.0],
             "outer_mm": [-15.0, 15.0]} for level in (20, 0, -20, -70, -100)]
    return FILM | {"sections": rows, "visible": {"lesser_trochanter": True},
                   "entry_px": [430, 600]} | more


def seat_item(name, value):
    return {"quantity": name, "measured": quantity(value, 0.1)}


class Seat(unittest.TestCase):
    """The sections of the film have the stem fill half of the canal at every level."""

    def rows(self, items, **more):
        return seat.rows_of("c", "s", {"films": [seat_film(**more)]},
                            {"result": {"assessment": {"seat": items}}})

    def met(self, rows):
        return {what.split(" (")[0].split(" [")[0]: ok for what, _, ok in
                seat.verdicts(seat.summary(rows))}

    def test_a_known_error_and_its_coverage(self):
        s = seat.summary(self.rows([seat_item("canal_fill_0", 0.6),
                                    seat_item("canal_fill_minus_20", 0.8)]))
        self.assertAlmostEqual(s["canal_fill_0"]["rms"], 0.1)
        self.assertEqual((s["canal_fill_0"]["inside"], s["canal_fill_minus_20"]["inside"]), (1.0, 0.0))

    def test_truth_is_that_of_the_film(self):
        known = seat.truths(seat_film())
        self.assertAlmostEqual(known["canal_fill_0"], 0.5)
        self.assertAlmostEqual(known["cortical_index"], 1 - 20 / 30)
        self.assertAlmostEqual(known["canal_flare_index"], 1.0)
        self.assertAlmostEqual(known["greater_trochanter_to_head_centre_mm"], -10.0)  # 100 px above
        self.assertAlmostEqual(known["femoral_offset_mm"], 10.0)
        self.assertAlmostEqual(known["neck_cut_above_lesser_trochanter_mm"], 20.0)
        self.assertIsNone(known["leg_length_difference_mm"])

    def test_what_the_result_leaves_out_counts(self):
        rows = self.rows([seat_item("canal_fill_0", 0.5)])
        met = self.met(rows)
        self.assertTrue(met["canal_fill_0: share measured"])
        self.assertFalse(met["canal_fill_minus_20: share measured"])
        self.assertEqual(seat.summary(rows)["canal_fill_minus_20"]["n"], 1)
        self.assertIn(("femoral_offset_mm", "not in the result", 1), seat.reasons(rows))

    def test_a_hidden_lesser_trochanter_is_not_asked_for(self):
        met = self.met(self.rows([], visible={"lesser_trochanter": False}))
        self.assertNotIn("canal_fill_0: share measured", met)
        self.assertFalse(met["femoral_offset_mm: share measured"])

    def test_nothing_with_truth_meets_nothing(self):
        self.assertFalse(all(ok for _, _, ok in seat.verdicts({})))


class Crashed(unittest.TestCase):
    """Every run crashed: no target of any mode is met, and there is one."""

    RUN = RUN | {"result": None, "code": -11}

    def nothing_met(self, lines):
        self.assertGreater(len(lines), 0)
        self.assertEqual([what for what, _, ok in lines if ok], [])

    def test_pairs(self):
        for kind in ("seat", "still", "hard", "lucency", "lysis"):
            table = summary.pair_summary(compare.pair_rows("c", "s", TRUTH, self.RUN))
            rows = summary.verdicts(table, [], summary.targets_of(f"phantom-{kind}"))
            self.nothing_met([(r["what"], r["value"], r["met"]) for r in rows])

    def test_anatomy(self):
        rows = [r | {"set": "s", "case": "c", "file": "a.dcm"} for r in compare.film_items(FILM, None)]
        for hard in (False, True):
            self.nothing_met(anatomy.verdicts(anatomy.summary(rows), hard))

    def test_seat(self):
        truth = {"films": [seat_film()], "seat": {"femoral_offset_mm": 40.0}}
        rows = seat.rows_of("c", "s", truth, self.RUN)
        self.nothing_met(seat.verdicts(seat.summary(rows)))
        self.assertEqual({r["reason"] for r in rows}, {"exit code -11"})
        self.assertIn("femoral_offset_mm, in space", {r["quantity"] for r in rows})

    def test_lucency(self):
        truth = {"films": [true_film("a.dcm", {1: 1.0}), true_film("b.dcm", {1: 2.0}),
                           true_film("c.dcm", {})], "comparisons": [{"reference": 0, "follow_up": 1}]}
        self.nothing_met(lucency.verdicts(lucency.film_rows("c", "s", truth, self.RUN),
                                          lucency.pair_rows("c", "s", truth, self.RUN)))

    def test_lysis(self):
        self.nothing_met(lysis.verdicts(lysis.rows_of("c", "s", Lysis.TRUTH, self.RUN)))


if __name__ == "__main__":
    unittest.main()
