"""Radiolucent lines zone by zone: width, presence, rim and change against truth (docs/accuracy.md)."""
import math

from . import numbers, tables
from .cases import LATERAL

#: Zones of a view, in the order lateral or front, tip, medial or back.
FRONTAL_ZONES, SIDE_ZONES = range(1, 8), range(8, 15)
INTERFACES = {"uncemented": ("stem_bone",), "cemented": ("stem_cement", "cement_bone")}
CLASSES = (0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)  # mm; a width belongs to the nearest one
MEASURED = (0.75, 3.0)   # mm: widths whose error has a target
CLEAR_WIDTH = 1.0        # mm, and
CLEAR_FRACTION = 0.5     # of the zone: a line that must be found
CHANGE = 0.5             # mm: a change that must be found
GROWN = 1.0              # mm: growth, or width of a new line, that is progressive (docs/lucency.md)
STILL = 0.02             # mm: less than this is no change
OBLIQUE_DEG = 7.0        # flexion or rotation of an oblique view (house choice), and
ROLLED_OUT_DEG = -88.0   # the rotation of a lateral film that is not (docs/truth.md)
#: what -> (limit, sense, unit). Those of what was told: stated before the finder was measured.
#: Those of what was left open, so that no target is met by telling little: house choices, made
#: when docs/lucency.md had 0.28 of clear lines, 0.49 of free zones and a third of changes found.
LIMITS = {
    "width, RMS error, 0.75 to 3 mm, of lines found": (0.25, "<=", "mm"),
    "sensitivity, lines >= 1 mm over >= 50 % of a zone, of zones told": (0.95, ">=", ""),
    "specificity, zones without a line, of zones told": (0.95, ">=", ""),
    "false lines in 100 zones told of halo-only films": (1.0, "<=", ""),
    "lines >= 1 mm over >= 50 % of a zone, left open": (0.25, "<=", ""),
    "zones without a line, left open": (0.50, "<=", ""),
    "changes >= 0.5 mm found, of pairs told": (0.90, ">=", ""),
    "changes >= 0.5 mm found, of all": (0.30, ">=", ""),
    # That none of the above is met by calling every pair changed: house choices.
    "changes told of lines and zones left as they were": (0.05, "<=", ""),
    "progressive: yes of lines and zones left as they were": (0.05, "<=", ""),
    "widths inside u95": (0.90, ">=", ""),
    "changes inside u95, of lines": (0.90, ">=", ""),
}
OF_PAIRS = tuple(what for what in LIMITS if what.startswith(("changes", "progressive")))


def kappa(table):
    """Cohen's coefficient of agreement of a square table of counts: (p_o - p_e) / (1 - p_e), p_e by
    the product of the margins. Source: Cohen, Educational and Psychological Measurement 20 (1960)
    37-46. None for an empty table or one where chance alone agrees always."""
    total = sum(map(sum, table))
    if total == 0:
        return None
    agreed = sum(table[i][i] for i in range(len(table))) / total
    chance = sum(sum(row) * sum(column) for row, column in zip(table, zip(*table))) / total**2
    return (agreed - chance) / (1.0 - chance) if chance < 1.0 else None


def is_lateral(film):
    return film.get("view") == LATERAL


def zones_of_view(film):
    return SIDE_ZONES if is_lateral(film) else FRONTAL_ZONES


def side_films(truth):
    """Indices of the lateral films whose truth knows the zones seen from the side (that of an older
    case may not)."""
    return [i for i, film in enumerate(truth["films"]) if is_lateral(film)
            and any(z["zone"] in SIDE_ZONES for z in film["lucency"]["zones"])]


def traits_of(film):
    """What a film's view and processing were, from its truth. A film may have been enhanced at
    several scales: one gain, or a list of them."""
    pose = film.get("pose_deg", {})
    gains = film.get("processing", {}).get("edge_gain", 0.0)
    straight = ROLLED_OUT_DEG if is_lateral(film) else 0.0
    turned = max(abs(pose.get("flexion", 0.0)), abs(pose.get("rotation", straight) - straight))
    return {"halo": max(gains if isinstance(gains, list) else [gains], default=0.0) > 0.0,
            "oblique": turned >= OBLIQUE_DEG, "fixation": film["lucency"]["fixation"]}


def lines_of(film, zone, interface):
    of = [z for z in film["lucency"]["zones"] if z["zone"] == zone]
    return [l for z in of for l in z["lines"] if l["interface"] == interface]


def true_zone(film, zone, interface):
    """Width of the widest line, and what share of the zone all of them take."""
    lines = lines_of(film, zone, interface)
    widest = max(lines, key=lambda l: l["width_mm"], default=None)
    length = [z["length_mm"] for z in film["lucency"]["zones"] if z["zone"] == zone]
    return {"true_mm": widest["width_mm"] if widest else 0.0,
            "true_fraction": sum(l["fraction"] for l in lines),
            "true_length_mm": sum(l["to_mm"] - l["from_mm"] for l in lines),
            "true_zone_mm": length[0] if length else None,
            "true_rim": any(l["rim"] for l in lines)}


def said(zone):
    """What the program says of a zone, flat."""
    if zone is None:
        return {"state": "missing"}
    row = {"state": zone["state"], "rim": zone.get("sclerotic_rim", "cannot_tell"),
           "fraction": zone.get("extent_fraction"), "zone_mm": zone.get("zone_length_mm"),
           "reason": zone.get("reason", "")}
    for name, key in (("max", "max_mm"), ("mean", "mean_mm"), ("length", "length_mm")):
        value = zone.get(key)
        if isinstance(value, dict):
            row |= {name: value["value"], f"{name}_u95": value["u95"], f"{name}_u": value["u"]}
    return row


def zone_said(zones, zone, interface):
    found = [z for z in zones if z["zone"] == zone and z["interface"] == interface]
    return found[0] if found else None


def film_rows(case, set_name, truth, run):
    """One row for each zone and interface of every frontal film; a film that is lost has rows too."""
    return rows_of_films(case, set_name, [f for f in truth["films"] if not is_lateral(f)], run)


def side_film_rows(case, set_name, truth, run):
    """The same of the lateral films."""
    return rows_of_films(case, set_name, [truth["films"][i] for i in side_films(truth)], run)


def rows_of_films(case, set_name, films, run):
    found = {f["file"]: f for f in ((run["result"] or {}).get("films") or [])}
    rows = []
    for film in films:
        zones = found.get(film["file"], {}).get("zones") or []
        empty = not any(z["lines"] for z in film["lucency"]["zones"])
        for interface in INTERFACES[film["lucency"]["fixation"]]:
            for zone in zones_of_view(film):
                rows.append({"set": set_name, "case": case, "file": film["file"], "zone": zone,
                             "interface": interface, "no_line_on_film": empty}
                            | traits_of(film) | true_zone(film, zone, interface)
                            | said(zone_said(zones, zone, interface)))
    return rows


def pair_rows(case, set_name, truth, run):
    """One row for each zone and interface of every pair."""
    return rows_of_pairs(case, set_name, [tuple(truth["films"][pair[k]] for k in
                                                ("reference", "follow_up"))
                                          for pair in truth["comparisons"]], run, "comparisons")


def side_pair_rows(case, set_name, truth, run):
    """The same of the lateral films, each later one against the first."""
    films = [truth["films"][i] for i in side_films(truth)]
    return rows_of_pairs(case, set_name, [(films[0], later) for later in films[1:]], run,
                         "lateral_comparisons")


def rows_of_pairs(case, set_name, pairs, run, key):
    """`key`: the list of the result that holds what was found of these pairs."""
    result = run["result"] or {}
    names = [f["file"] for f in result.get("films") or []]
    told = {(names[c["reference"]], names[c["follow_up"]]): c for c in result.get(key) or []}
    rows = []
    for then, now in pairs:
        zones = told.get((then["file"], now["file"]), {}).get("zones") or []
        for interface in INTERFACES[now["lucency"]["fixation"]]:
            for zone in zones_of_view(now):
                rows.append(pair_row(then, now, zone, interface,
                                     zone_said(zones, zone, interface))
                            | {"set": set_name, "case": case, "file": now["file"]})
    return rows


def pair_row(then, now, zone, interface, change):
    before, after = (true_zone(f, zone, interface) for f in (then, now))
    row = {"zone": zone, "interface": interface, "fixation": now["lucency"]["fixation"],
           "halo": traits_of(then)["halo"] or traits_of(now)["halo"],
           "oblique": traits_of(then)["oblique"] or traits_of(now)["oblique"],
           "rim": after["true_rim"], "true_before_mm": before["true_mm"],
           "true_change_mm": after["true_mm"] - before["true_mm"],
           "true_longer": abs(after["true_length_mm"] - before["true_length_mm"]) > 3.0}
    if change is None:
        return row | {"progressive": "missing"}
    row["progressive"] = change.get("progressive", "cannot_tell")
    for name, key in (("change", "change_mm"), ("mean_change", "change_mean_mm")):
        if isinstance(change.get(key), dict):
            row |= {name: change[key]["value"], f"{name}_u95": change[key]["u95"]}
    return row


# ---- figures from rows ---------------------------------------------------------------------------

def width_class(mm):
    return min(CLASSES, key=lambda c: abs(math.log(c / mm)))


def is_clear(row):
    return row["true_mm"] >= CLEAR_WIDTH and row["true_fraction"] >= CLEAR_FRACTION


def is_told(row):
    return row["state"] in ("present", "absent")


def has_width(row):
    return row["true_mm"] > 0.0 and row["state"] == "present" and "max" in row


def widths(rows):
    """Errors of the widest place of lines that were found."""
    of = [r for r in rows if has_width(r)]
    errors = [r["max"] - r["true_mm"] for r in of]
    held = [abs(e) <= r["max_u95"] for e, r in zip(errors, of)]
    means = [r["mean"] - r["true_mm"] for r in of if "mean" in r]
    return {"n": len(of), "bias": numbers.mean(errors), "rms": numbers.rms(errors),
            "worst": max(map(abs, errors), default=None), "rms_mean": numbers.rms(means),
            "inside": numbers.share(held), "u95": numbers.mean(r["max_u95"] for r in of),
            "interval": numbers.share_interval(sum(held), len(held))}


def in_measured(row):
    return MEASURED[0] - 1e-9 <= row["true_mm"] <= MEASURED[1] + 1e-9


def presence(rows):
    """Sensitivity for clear lines, specificity where there is no line, and what was not told."""
    clear = [r for r in rows if is_clear(r)]
    none = [r for r in rows if r["true_mm"] == 0.0]
    told = [[r for r in of if is_told(r)] for of in (clear, none)]
    hits = sum(r["state"] == "present" for r in told[0])
    quiet = sum(r["state"] == "absent" for r in told[1])
    table = [[hits, len(told[0]) - hits], [len(told[1]) - quiet, quiet]]
    return {"clear": len(clear), "none": len(none),
            "sensitivity": hits / len(told[0]) if told[0] else None,
            "sensitivity_all": hits / len(clear) if clear else None,
            "specificity": quiet / len(told[1]) if told[1] else None,
            "false_all": (len(told[1]) - quiet) / len(none) if none else None,
            "open_clear": 1.0 - len(told[0]) / len(clear) if clear else None,
            "open_none": 1.0 - len(told[1]) / len(none) if none else None,
            "sensitivity_interval": numbers.share_interval(hits, len(told[0])),
            "specificity_interval": numbers.share_interval(quiet, len(told[1])),
            "kappa": kappa(table)}


def halo_only(rows):
    """Zones told of films with edge enhancement and without any line, and how many of them were
    called one. What was left open is no proof."""
    of = [r for r in rows if r["halo"] and r["no_line_on_film"] and is_told(r)]
    return len(of), sum(r["state"] == "present" for r in of)


def changes(rows):
    """What was found of changes >= 0.5 mm, and what was called changed of lines left as they were
    and of zones that stayed free. Found: larger than its u95, or progressive."""
    def grew(r):
        return r.get("change", 0.0) > r.get("change_u95", math.inf) or r["progressive"] == "yes"

    def called(r):
        return abs(r.get("change", 0.0)) > r.get("change_u95", math.inf) or \
            r["progressive"] == "yes"

    def told(of):
        return [r for r in of if "change" in r or r["progressive"] in ("yes", "no")]

    wide = [r for r in rows if r["true_change_mm"] >= CHANGE]
    still = [r for r in rows if abs(r["true_change_mm"]) < STILL and r["true_before_mm"] > 0.0
             and not r["true_longer"]]
    free = [r for r in rows if r["true_before_mm"] == 0.0 and r["true_change_mm"] == 0.0]
    valued = [r for r in rows if "change" in r and (r["true_before_mm"] or r["true_change_mm"])]
    errors = [r["change"] - r["true_change_mm"] for r in valued]
    return {"wide": len(wide), "told": len(told(wide)),
            "found": numbers.share(grew(r) for r in told(wide)),
            "found_all": numbers.share(grew(r) for r in wide),
            "still": len(told(still)), "still_called": numbers.share(map(called, told(still))),
            "free": len(told(free)), "free_called": numbers.share(map(called, told(free))),
            "n": len(valued), "rms": numbers.rms(errors), "bias": numbers.mean(errors),
            "inside": numbers.share(abs(e) <= r["change_u95"] for e, r in zip(errors, valued))}


def progress(rows):
    """[lines that grew by 1 mm or are new and that wide: said yes, no, open], [lines and free zones
    left as they were: the same]. What lies between is not judged."""
    table = [[0, 0, 0], [0, 0, 0]]
    for r in rows:
        still = abs(r["true_change_mm"]) < STILL and not r["true_longer"]
        if r["true_change_mm"] >= GROWN or still:
            column = {"yes": 0, "no": 1}.get(r["progressive"], 2)
            table[1 if still else 0][column] += 1
    return table


def called_of_unchanged(moved):
    """Share called changed of the lines and free zones that stayed as they were and were told."""
    n = moved["still"] + moved["free"]
    called = sum((moved[f"{what}_called"] or 0.0) * moved[what] for what in ("still", "free"))
    return called / n if n else None


def false_yes(table):
    """Share said to be progressive of those left as they were, of progress() and told."""
    yes, no, _ = table[1]
    return yes / (yes + no) if yes + no else None


def rims(rows):
    """Of lines that were found: [rim there: yes, no, open], [none there: yes, no, open]."""
    table = [[0, 0, 0], [0, 0, 0]]
    for r in rows:
        if r["true_mm"] > 0.0 and r["state"] == "present":
            column = 0 if r["rim"] is True else 1 if r["rim"] is False else 2
            table[0 if r["true_rim"] else 1][column] += 1
    return table


def states(rows):
    names = ("present", "absent", "cannot_tell", "not_seen", "missing")
    kinds = (("clear line", is_clear), ("no line", lambda r: r["true_mm"] == 0.0),
             ("thin or short line", lambda r: r["true_mm"] > 0.0 and not is_clear(r)))
    return [[name] + [sum(r["state"] == s for r in rows if of(r)) for s in names]
            for name, of in kinds]


def thirds(of):
    """Splits by zone: what the zones of a view are called, and which they are."""
    of = list(of)
    pairs = [(of[i], of[6 - i]) for i in range(3)]
    return (*((f"zones {a} and {b}", lambda r, pair=(a, b): r["zone"] in pair) for a, b in pairs),
            (f"zone {of[3]}", lambda r, tip=of[3]: r["zone"] == tip))


SPLITS = (("all", lambda r: True), ("rim", lambda r: r["true_rim"] or r["true_mm"] == 0.0),
          ("no rim", lambda r: not r["true_rim"]), ("halo", lambda r: r["halo"]),
          ("no halo", lambda r: not r["halo"]), ("oblique", lambda r: r["oblique"]),
          ("flat", lambda r: not r["oblique"]),
          ("uncemented", lambda r: r["fixation"] == "uncemented"),
          ("cemented", lambda r: r["fixation"] == "cemented"),
          ("stem_cement", lambda r: r["interface"] == "stem_cement"),
          ("cement_bone", lambda r: r["interface"] == "cement_bone"))


def from_the_side(rows):
    return any(r["zone"] in SIDE_ZONES for r in rows)


def splits(rows):
    return SPLITS + thirds(SIDE_ZONES if from_the_side(rows) else FRONTAL_ZONES)


def verdicts(rows, pairs):
    """[(text, value, met)]; lateral films are not asked for changes where no pair of them is."""
    seen = presence(rows)
    zones, false = halo_only(rows)
    moved = changes(pairs)
    values = (widths([r for r in rows if in_measured(r)])["rms"], seen["sensitivity"],
              seen["specificity"], 100.0 * false / zones if zones else None,
              seen["open_clear"], seen["open_none"], moved["found"], moved["found_all"],
              called_of_unchanged(moved), false_yes(progress(pairs)), widths(rows)["inside"],
              moved["inside"])
    lines = []
    side = from_the_side(rows)
    for (what, (limit, sense, unit)), value in zip(LIMITS.items(), values, strict=True):
        if side:
            if not pairs and what in OF_PAIRS:
                continue
            what = f"lateral films: {what}"
        met = value is not None and (value <= limit if sense == "<=" else value >= limit)
        lines.append((f"{what} (wanted {sense} {limit:g} {unit}".rstrip() + ")", value, met))
    return lines


# ---- text ----------------------------------------------------------------------------------------

def width_text(rows):
    heads = ["true width, mm", "n", "bias", "RMS", "worst", "RMS of mean", "inside u95", "mean u95"]
    groups = [(f"{c:g}", [r for r in rows if r["true_mm"] and width_class(r["true_mm"]) == c])
              for c in CLASSES]
    groups += [("0.75 to 3", [r for r in rows if in_measured(r)])]
    groups += [(f"0.75 to 3, {name}", [r for r in rows if in_measured(r) and keep(r)])
               for name, keep in splits(rows)[1:]]
    figures = [(name, widths(of)) for name, of in groups]
    return tables.table(heads, [[name, w["n"], w["bias"], w["rms"], w["worst"], w["rms_mean"],
                                 w["inside"], w["u95"]] for name, w in figures])


def presence_text(rows):
    heads = ["zones", "clear", "sens.", "of all", "open", "none", "spec.", "false of all", "open",
             "kappa"]
    figures = [(name, presence([r for r in rows if keep(r)])) for name, keep in splits(rows)]
    return tables.table(heads, [[name, p["clear"], p["sensitivity"], p["sensitivity_all"],
                                 p["open_clear"], p["none"], p["specificity"], p["false_all"],
                                 p["open_none"], p["kappa"]] for name, p in figures])


def change_text(pairs):
    c = changes(pairs)
    heads = ["change of width", "n", "told", "called changed"]
    lines = [["0.5 mm and more", c["wide"], c["told"], c["found"]],
             ["line left as it was", "", c["still"], c["still_called"]],
             ["no line on either", "", c["free"], c["free_called"]]]
    cell = tables.cell
    grew, still = progress(pairs)
    told = "progressive: of {0} yes {1[0]}, no {1[1]}, open {1[2]}".format
    return (tables.table(heads, lines) + "\n" +
            told("lines grown by 1 mm or new", grew) + "\n" + told("what stayed as it was", still) + f"\nof all changes found {cell(c['found_all'])}; error of "
            f"{c['n']} changes: bias {cell(c['bias'])}, RMS {cell(c['rms'])} mm, inside u95 "
            f"{cell(c['inside'])}")


def text(rows, pairs):
    zones, false = halo_only(rows)
    table = rims(rows)
    lengths = [r["zone_mm"] - r["true_zone_mm"] for r in rows
               if r.get("zone_mm") and r["zone"] not in (4, 11) and r["true_zone_mm"]]
    side = from_the_side(rows)
    parts = [tables.table(["zones with", "present", "absent", "cannot tell", "not seen",
                           "missing"], states(rows)),
             presence_text(rows), width_text(rows),
             *([] if side and not pairs else [change_text(pairs)]),
             f"halo-only films: {false} false lines in {zones} zones told",
             f"rim there: said yes {table[0][0]}, no {table[0][1]}, open {table[0][2]}; none there: "
             f"yes {table[1][0]}, no {table[1][1]}, open {table[1][2]}",
             f"length of zones {'8-10, 12-14' if side else '1-3, 5-7'}: bias {tables.cell(numbers.mean(lengths))}, RMS "
             f"{tables.cell(numbers.rms(lengths))} mm"]
    return "\n\n".join(parts)


def verbose_lines(rows):
    """One line for each zone that has a line or was called to have one."""
    lines = []
    for r in rows:
        if not r["true_mm"] and r["state"] == "absent":
            continue
        view = ("H" if r["halo"] else "-") + ("O" if r["oblique"] else "-")
        found = f" {r['max']:.2f}±{r['max_u95']:.2f}" if "max" in r else ""
        part = f" x {r['fraction']:.2f}" if r.get("fraction") is not None and found else ""
        lines.append(f"{r['case']} {r['file']} {view} zone {r['zone']} {r['interface']}: true "
                     f"{r['true_mm']:.2f} x {r['true_fraction']:.2f}"
                     f"{' rim' if r['true_rim'] else ''} | {r['state']}{found}{part} "
                     f"{r.get('reason', '')}".rstrip())
    return lines


def verdict_text(lines):
    return "\n".join(f"{'pass' if met else 'FAIL'}  {what}: {tables.cell(value, 4)}"
                     for what, value, met in lines)
