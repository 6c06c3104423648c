"""Checks docs/schemas and docs/examples against each other and against the program.

usage: examples.py TIDEMARK DOCS [unittest arguments]
"""
import copy
import json
import pathlib
import subprocess
import sys
import tempfile
import unittest

import jsonschema

TIDEMARK = pathlib.Path(sys.argv[1])
DOCS = pathlib.Path(sys.argv[2])
del sys.argv[1:3]


def load(name):
    return json.loads((DOCS / name).read_text())


def validator(name):
    schema = load(f"schemas/{name}-1.json")
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def objects(schema):
    """Every object of a schema, with the place where it stands."""
    if isinstance(schema, dict):
        if schema.get("type") == "object":
            yield schema
        for value in schema.values():
            yield from objects(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from objects(value)


def keys(value):
    """Every key used anywhere in a JSON value."""
    if isinstance(value, dict):
        yield from value
        for item in value.values():
            yield from keys(item)
    elif isinstance(value, list):
        for item in value:
            yield from keys(item)


# Keys of the example of a decision table that are ids.
OWN_WORDS = {"coating", "migration", "quiet", "painful"}


class Schemas(unittest.TestCase):
    def test_every_object_is_closed(self):
        for name in ("series", "result", "criteria", "signs"):
            found = list(objects(load(f"schemas/{name}-1.json")))
            self.assertGreater(len(found), 3)
            for schema in found:
                # A map names what its keys are instead.
                if "propertyNames" not in schema:
                    self.assertIs(schema.get("additionalProperties"), False, schema)

    def test_examples_fit(self):
        for name in ("series", "result", "criteria", "signs"):
            errors = list(validator(name).iter_errors(load(f"examples/{name}.json")))
            self.assertEqual([], [f"{e.json_path}: {e.message[:200]}" for e in errors])

    def test_examples_show_every_key(self):
        for name, own in (("series", set()), ("criteria", set()), ("signs", OWN_WORDS)):
            shown = set(keys(load(f"examples/{name}.json")))
            known = {key for schema in objects(load(f"schemas/{name}-1.json"))
                     for key in schema.get("properties", {})}
            self.assertEqual(known, shown - own)

    def test_built_in_criteria_fit(self):
        files = sorted((DOCS.parent / "modules/assessment").glob("*/*.json"))
        self.assertGreater(len(files), 5)
        for file in files:
            with self.subTest(file.name):
                content = json.loads(file.read_text())
                name = content["schema"].split("/")[1]
                errors = [f"{e.json_path}: {e.message[:200]}"
                          for e in validator(name).iter_errors(content)]
                self.assertEqual([], errors)

    def test_schema_of_criteria_refuses_what_is_wrong(self):
        good = load("examples/criteria.json")
        edits = {
            "unknown key": lambda c: c.update(colour=1),
            "unit of another quantity": lambda c: c["criteria"][0].update(unit="deg"),
            "no threshold": lambda c: c["criteria"][0].pop("threshold"),
            "typical with threshold": lambda c: c["criteria"][1].update(threshold=1.0),
            "negative threshold": lambda c: c["criteria"][0].update(threshold=-1.0),
            "no citation": lambda c: c["criteria"][0].pop("citation"),
            "doubtful DOI": lambda c: c["criteria"][0].update(doi="10.1000/xyz?"),
            "point of a shift": lambda c: c["criteria"][0].update(quantity="medial_mm", unit="mm", at="tip"),
        }
        for name, edit in edits.items():
            with self.subTest(name):
                bad = copy.deepcopy(good)
                edit(bad)
                self.assertFalse(validator("criteria").is_valid(bad))

    def test_schema_of_signs_refuses_what_is_wrong(self):
        good = load("examples/signs.json")

        def rule(table, when):
            table["signs"][0]["present"]["when"] = when

        lines = {"lines": "any", "interface": "stem_bone", "zones": [1]}
        edits = {
            "unknown key": lambda t: t.update(colour=1),
            "rule of no kind": lambda t: rule(t, {"colour": 1}),
            "two questions": lambda t: rule(t, {"flagged": True, "pedestal": "new"}),
            "no limit": lambda t: rule(t, {"measure": "tilt_change_deg"}),
            "cortex of no zone": lambda t: rule(t, {"measure": "cortex_change_mm", "above": 0}),
            "extent without share": lambda t: rule(t, {**lines, "lines": "extent"}),
            "zone eight": lambda t: rule(t, {**lines, "zones": [8]}),
            "no citation": lambda t: t["signs"][0].pop("citation"),
        }
        rule(good, lines)
        self.assertTrue(validator("signs").is_valid(good))
        for name, edit in edits.items():
            with self.subTest(name):
                bad = copy.deepcopy(good)
                edit(bad)
                self.assertFalse(validator("signs").is_valid(bad))

    def test_schema_refuses_what_is_wrong(self):
        good = load("examples/result.json")
        measured = next(i for i, c in enumerate(good["comparisons"]) if c["status"] == "measured")
        edits = {
            "unknown key": lambda r: r.update(colour=1),
            "no u95": lambda r: r["comparisons"][measured]["subsidence_mm"].pop("u95"),
            "measured without number": lambda r: r["comparisons"][measured].pop("medial_mm"),
            "refused without reason": lambda r: r["comparisons"][measured].update(
                status="not_measured"),
            "number as text": lambda r: r["films"][0]["tilt_deg"].update(value="1"),
            "point of three": lambda r: r["films"][0]["head"]["centre_px"].append(1),
            "present without extent": lambda r: r["films"][0]["zones"][0].update(
                state="present", extent_fraction=None),
            "open without reason": lambda r: [z.pop("reason") for z in r["films"][0]["zones"]
                                              if z["state"] == "cannot_tell"],
            "progressive as truth value": lambda r: r["comparisons"][measured]["zones"][0].update(
                progressive=True),
            "negative u": lambda r: r["films"][0]["tilt_deg"].update(u=-0.1),
        }
        for name, edit in edits.items():
            with self.subTest(name):
                bad = copy.deepcopy(good)
                edit(bad)
                self.assertFalse(validator("result").is_valid(bad))


class Program(unittest.TestCase):
    """The program and the schema of the sheet must accept and refuse the same sheets."""

    def says(self, sheet):
        """Exit code and stderr for a folder that holds this sheet and no film."""
        with tempfile.TemporaryDirectory() as folder:
            (pathlib.Path(folder) / "series.json").write_text(json.dumps(sheet))
            run = subprocess.run([TIDEMARK, "measure", folder, "--json"], capture_output=True,
                                 text=True)
            return run

    def test_takes_the_example(self):
        run = self.says(load("examples/series.json"))
        self.assertNotIn("series.json", run.stderr)
        self.assertEqual(4, len(json.loads(run.stdout)["films"]))

    def test_refuses_each_value_the_schema_refuses(self):
        good = load("examples/series.json")
        wrong = {"schema": "tidemark/series/9", "hip": "", "side": "X", "surgery_date": "2024",
                 "fixation": "glued", "length_mm": 4.0, "head_diameter_mm": 3.2, "surface": 7,
                 "tip_of_greater_trochanter_to_head_centre_mm": "8", "leg_length_change_mm": 1000,
                 "leg_length_difference_mm": [],
                 "stem_tilt_deg": 90, "file": "", "role": "first", "date": "01.02.2024",
                 "view": "AXIAL", "back": "posterior", "marker_diameter_mm": 0, "centre": [1], "diameter": -1,
                 "head_centre": 5, "head_diameter": 0, "stem_tip": [1, 2, 3],
                 "stem_shoulder": ["a", 1], "lesser_trochanter": {}, "greater_trochanter": None,
                 "stem_axis": [[1, 2]], "shaft_axis": [1, 2], "mm_per_px": 0, "value": 9, "u": 0,
                 "exclude": 1, "stem": 1, "plan": [], "films": [], "marker_px": [1, 2, 3],
                 "landmarks_px": [], "bone_entry": [1], "second_zone_border": [1, "a"],
                 "third_zone_border": 3, "zone_marks": {}, "zone": 15, "interface": "bone",
                 "opinion": "yes", "program": "maybe", "reader": "", "marked_at": "yesterday"}
        self.assertEqual(set(keys(good)), set(wrong))
        for key, value in wrong.items():
            with self.subTest(key):
                bad = copy.deepcopy(good)
                self.replace(bad, key, value)
                self.assertFalse(validator("series").is_valid(bad))
                run = self.says(bad)
                self.assertEqual(3, run.returncode, run.stderr)
                self.assertIn("tidemark: series.json: ", run.stderr)
                self.assertIn(key, run.stderr)

    def replace(self, node, key, value):
        """Replaces the first value of that key, wherever it stands."""
        if isinstance(node, dict):
            if key in node:
                node[key] = value
                return True
            return any(self.replace(item, key, value) for item in node.values())
        return isinstance(node, list) and any(self.replace(item, key, value) for item in node)


if __name__ == "__main__":
    unittest.main()
