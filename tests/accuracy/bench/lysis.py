"""Focal loss of bone zone by zone: state, area and depth of every pair against truth (docs/accuracy.md)."""
from . import numbers, tables

ZONES = (1, 2, 3, 5, 6, 7)
LEAST_MM2 = 19.6    # of area at half depth: smaller ones are not asked for (docs/lucency.md)
LEAST_FOUND = 0.5   # of cavities that large, and
MOST_OPEN = 0.6     # of free zones: house choices, made when the table of docs/lucency.md was known


def zone_of(signs, zone):
    return next((z for z in signs.get("lysis", []) if z["zone"] == zone), None)


def true_zone(film, zone):
    """The cavity of a zone that is new since the first film, the largest one; None where there is none."""
    of = [c for c in film.get("cavities", []) if c["zone"] == zone]
    return max(of, key=lambda c: c["half_depth_area_mm2"], default=None)


def rows_of(case, set_name, truth, run):
    """One row for each zone of both flanks and every pair."""
    result = run["result"] or {}
    names = [f["file"] for f in result.get("films") or []]
    told = {names[c["follow_up"]]: c for c in result.get("comparisons") or []}
    rows = []
    for pair in truth["comparisons"]:
        film = truth["films"][pair["follow_up"]]
        signs = told.get(film["file"], {}).get("signs") or {}
        for zone in ZONES:
            rows.append({"set": set_name, "case": case, "file": film["file"]}
                        | row_of(zone, true_zone(film, zone), zone_of(signs, zone)))
    return rows


def row_of(zone, cavity, said):
    row = {"zone": zone, "true_mm2": cavity["half_depth_area_mm2"] if cavity else 0.0,
           "true_depth": cavity["depth_share"] if cavity else 0.0,
           "true_rim": bool(cavity and cavity["rim"]),
           "state": said["state"] if said else "missing", "reason": (said or {}).get("reason", "")}
    if said and "area_mm2" in said:
        row |= {"area": said["area_mm2"]["value"], "area_u95": said["area_mm2"]["u95"],
                "depth": said["depth"]["value"]}
    return row


def is_clear(row):
    return row["true_mm2"] >= LEAST_MM2


def areas(rows):
    """Of cavities that were found."""
    of = [r for r in rows if r["true_mm2"] > 0.0 and "area" in r]
    errors = [r["area"] - r["true_mm2"] for r in of]
    return {"n": len(of), "bias": numbers.mean(errors), "rms": numbers.rms(errors),
            "relative": numbers.rms(e / r["true_mm2"] for e, r in zip(errors, of)),
            "inside": numbers.share(abs(e) <= r["area_u95"] for e, r in zip(errors, of)),
            "u95": numbers.mean(r["area_u95"] for r in of)}


KINDS = (("cavity of 19.6 mm2 and more", is_clear),
         ("smaller cavity", lambda r: 0.0 < r["true_mm2"] < LEAST_MM2),
         ("none", lambda r: r["true_mm2"] == 0.0))
STATES = ("present", "absent", "cannot_tell", "not_seen", "missing")


def text(rows):
    lines = [[name] + [sum(r["state"] == s for r in rows if of(r)) for s in STATES]
             for name, of in KINDS]
    by_zone = [[f"none, zone {zone}"] + [sum(r["state"] == s for r in rows
                                             if r["zone"] == zone and not r["true_mm2"])
                                         for s in STATES] for zone in ZONES]
    a = areas(rows)
    cell = tables.cell
    return (tables.table(["zones with", "present", "absent", "cannot tell", "not seen", "missing"],
                         lines + by_zone) +
            f"\n\narea of {a['n']} found: bias {cell(a['bias'], 1)}, RMS {cell(a['rms'], 1)} mm2, relative RMS "
            f"{cell(a['relative'], 2)}, inside u95 {cell(a['inside'], 2)}, mean u95 {cell(a['u95'], 1)} mm2")


def verdicts(rows):
    """[(text, value, met)]. A value that is absent does not meet its target: where the program told
    nothing, nothing false is no merit."""
    free = [r for r in rows if not r["true_mm2"]]
    told = [r["state"] for r in free if r["state"] in ("present", "absent")]
    lines = [at_most("free zones called present, share of those told", 0.0,
                     numbers.share(s == "present" for s in told)),
             at_most("free zones left open or not told of", MOST_OPEN,
                     1.0 - len(told) / len(free) if free else None),
             at_most("zones of which the result says nothing", 0.0,
                     numbers.share(r["state"] == "missing" for r in rows))]
    clear = [r for r in rows if is_clear(r)]
    if clear:
        found = numbers.share(r["state"] == "present" for r in clear)
        lines.append((f"cavities of {LEAST_MM2:g} mm2 and more called present (wanted >= "
                      f"{LEAST_FOUND:g})", found, found >= LEAST_FOUND))
    return lines


def at_most(what, limit, value):
    return f"{what} (wanted <= {limit:g})", value, value is not None and value <= limit


def verbose_lines(rows):
    """One line for each zone that has a cavity or was called to have one."""
    return [f"{r['case']} {r['file']} zone {r['zone']}: true {r['true_mm2']:.0f} mm2 x {r['true_depth']:.2f}"
            f"{' rim' if r['true_rim'] else ''} | {r['state']}"
            + (f" {r['area']:.0f}±{r['area_u95']:.0f} x {r['depth']:.2f}" if "area" in r else "")
            + f" {r['reason']}".rstrip() for r in rows if r["true_mm2"] or r["state"] == "present"]
