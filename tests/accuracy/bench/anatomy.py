"""Film by film: what is found, how far off, and whether it says so itself (docs/accuracy.md)."""
import json
import math
import subprocess

from . import compare, lucency, numbers, tables

#: item -> (field of a row, largest RMS, unit). Stated before the finders were measured against them.
LIMITS = {
    "head centre": ("error", 0.1, "mm"),
    "stem tip": ("error", 0.3, "mm"),
    "stem shoulder": ("error", 0.3, "mm"),
    "stem axis": ("error", 0.1, "deg"),
    "shaft axis": ("error", 0.3, "deg"),
    "greater trochanter": ("along", 1.0, "mm"),
    "lesser trochanter": ("along", 1.5, "mm"),
}
OUTLINES = ("cup centre", "tilt")  # must be found as well, without a limit of their own
LEAST_FOUND = 0.98
LEAST_FOUND_HARD = 0.90
COVERAGE = (0.93, 0.97)
RATIO = (0.75, 1.33)  # of RMS error over u: "near 1"
MOST_SILENT = 0  # finds that are wrong and not told to be in doubt
#: Flags of a film that say so; the others are about files, scales, sheets and what was not seen.
DOUBTS = frozenset(("implant_uncertain", "head_in_doubt", "head_off_neck", "head_size_in_doubt",
                    "axes_disagree", "shaft_axis_not_seen", "view_turned"))
#: Beyond this a find is not the thing it is called, whatever u says. House choice.
WRONG = {"mm": 10.0, "deg": 3.0}
#: In units of u what 95 % of errors keep within: of one number, and of the length of a plane vector
#: with equal independent parts, sqrt(-2 ln 0.05).
WITHIN = {"scalar": 1.959964, "point": math.sqrt(-2.0 * math.log(0.05))}


def film_found(tidemark, case, truth, film):
    """What `tidemark film` tells of one film, or None."""
    command = [str(tidemark), "film", str(case / film["file"]), "--side", truth["side"],
               "--head-diameter", str(truth["head_diameter_mm"]), "--threads", "1",
               "--no-pictures", "--json"]
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=False)
    try:
        return json.loads(done.stdout)["films"][0]
    except (ValueError, KeyError, IndexError):
        return None


def rows_of(tidemark, set_name, case, truth):
    rows = []
    for film in truth["films"]:
        if lucency.is_lateral(film):  # its truth is that of the frontal films' depths
            continue
        found = film_found(tidemark, case, truth, film)
        flags = [f["id"] for f in found.get("flags", [])] if found else []
        for item in compare.film_items(film, found):
            rows.append({"set": set_name, "case": case.name, "file": film["file"], "flags": flags}
                        | item)
    return rows


def is_wrong(row):
    return not row.get("missing") and abs(row["error"]) > WRONG.get(row["unit"], math.inf)


def is_silent(row):
    """Whether a find is wrong and neither a flag nor its own u (what it holds 95 % of errors in)
    tells."""
    return is_wrong(row) and not DOUBTS & set(row.get("flags", ())) and not inside(row)


def inside(row):
    """Does the stated u hold the error? None where no u is stated."""
    if not row.get("u"):
        return None
    point = "along" in row
    return abs(row["error"]) <= WITHIN["point" if point else "scalar"] * row["u"]


def item_summary(rows, name):
    of = [r for r in rows if r["item"] == name]
    right = [r for r in of if not r.get("missing") and not is_wrong(r)]
    # Whether u holds is asked of wrong finds too: that they are far off is what u should have told.
    held = [h for h in map(inside, (r for r in of if not r.get("missing"))) if h is not None]
    field = LIMITS.get(name, ("error",))[0]
    return {"n": len(of), "found": len(right) / len(of) if of else None,
            "wrong": sum(map(is_wrong, of)),
            "silent": sum(map(is_silent, of)) if any(not r.get("missing") for r in of) else None,
            "rms": numbers.rms(r[field] for r in right),
            "length": numbers.rms(r["error"] for r in right),
            "mean_u": numbers.mean(r["u"] for r in right if r.get("u")),
            "ratio": numbers.rms(r["ratio"] for r in right if "ratio" in r),
            "inside": numbers.share(held),
            "interval": numbers.share_interval(sum(held), len(held))}


def summary(rows):
    names = list(LIMITS) + list(OUTLINES)
    return {name: item_summary(rows, name) for name in names}


def verdicts(table, hard):
    """[(text, value, met)]; coverage is met while its 95 % interval reaches into COVERAGE."""
    least = LEAST_FOUND_HARD if hard else LEAST_FOUND
    lines = []
    for name, s in table.items():
        lines.append((f"{name}: share found and right (wanted >= {least:g})", s["found"],
                      s["found"] is not None and s["found"] >= least))
        lines.append((f"{name}: wrong and not flagged (wanted <= {MOST_SILENT})", s["silent"],
                      s["silent"] is not None and s["silent"] <= MOST_SILENT))
        if name in LIMITS:
            _, limit, unit = LIMITS[name]
            lines.append((f"{name}: RMS error (wanted <= {limit:g} {unit})", s["rms"],
                          s["rms"] is not None and s["rms"] <= limit))
        if s["ratio"] is not None:
            lines.append((f"{name}: RMS err/u (wanted {RATIO[0]:g} to {RATIO[1]:g})", s["ratio"],
                          RATIO[0] <= s["ratio"] <= RATIO[1]))
        if s["interval"]:
            low, high = s["interval"]
            lines.append((f"{name}: inside its 95 % [{low:.3f}, {high:.3f}] (wanted "
                          f"{COVERAGE[0]:g} to {COVERAGE[1]:g})", s["inside"],
                          low <= COVERAGE[1] and high >= COVERAGE[0]))
    return lines


def text(table):
    heads = ["item", "n", "found", "wrong", "not flagged", "RMS", "RMS length", "mean u", "RMS err/u",
             "inside 95 %"]
    return tables.table(heads, [[name, s["n"], s["found"], s["wrong"], s["silent"], s["rms"], s["length"],
                                 s["mean_u"], s["ratio"], s["inside"]]
                                for name, s in table.items()])


def verdict_text(lines):
    return "\n".join(f"{'pass' if met else 'FAIL'}  {what}: {tables.cell(value, 4)}"
                     for what, value, met in lines)
