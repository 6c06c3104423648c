"""Runs the worked example of docs/registry.md, as it stands there but for the number of hips.

usage: docs_case.py TIDEMARK DOCS HIPS
"""
import csv
import os
import pathlib
import re
import subprocess
import sys
import tempfile

tidemark, docs, hips = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]), int(sys.argv[3])
text = (docs / "registry.md").read_text()
script = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.S))
assert script.count("--cohort 40") == 1, "the example has changed"
script = script.replace("--cohort 40", f"--cohort {hips}")
# batch may end with 1, as the text says.
script = re.sub(r"(tidemark batch [^\n]*)", r"\1 || [ $? -eq 1 ]", script)
with tempfile.TemporaryDirectory() as folder:
    path = f"{tidemark.parent}:{os.environ['PATH']}"
    done = subprocess.run(["bash", "-euc", script], cwd=folder, env={**os.environ, "PATH": path},
                          capture_output=True, text=True)
    print(done.stdout, done.stderr)
    assert done.returncode == 0, done.returncode
    with open(pathlib.Path(folder) / "tables" / "comparisons.csv", newline="") as file:
        comparisons = list(csv.DictReader(file))
    with open(pathlib.Path(folder) / "tables" / "hips.csv", newline="") as file:
        table = list(csv.DictReader(file))
    study = pathlib.Path(folder) / "cohort"
    figures = {p.name: p.read_text() for p in (study / "figures").glob("*.svg")}
    page = (study / "cohort.html").read_text()
    with open(study / "migration_by_visit.csv", newline="") as file:
        by_visit = list(csv.DictReader(file))
assert len(table) == hips, len(table)
assert figures and all(text.count("<svg") == 1 for text in figures.values()), sorted(figures)
assert any("at risk" in text for text in figures.values()), "a survival curve without numbers at risk"
assert "not a diagnosis" in page
assert {row["group"] for row in by_visit} >= {"A", "B"}, by_visit
assert {row["group_stem"] for row in table} == {"A", "B"}
assert any(row["examination"] == "2" for row in comparisons), "no double examination"
measured = [row for row in comparisons if row["status"] == "measured"]
# The films are coarse; most of them are measured all the same.
assert len(measured) >= 0.7 * len(comparisons), (len(measured), len(comparisons))
assert all(float(row["subsidence_u95_mm"]) > 0 for row in measured)
