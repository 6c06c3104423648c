"""Result against truth: one row for each pair of films, one for each item of each film."""
import math

from . import numbers

QUANTITIES = ("subsidence_mm", "medial_mm", "tilt_change_deg")
#: What the stem's surface adds to a pair: of the leg against the detector.
OF_SURFACE = ("flexion_change_deg", "rotation_change_deg")
UNMOVED = 0.01  # mm or degrees: below it a set motion counts as none


def quantity_row(name, measured, true):
    return {f"{name}_true": true, f"{name}": measured["value"], f"{name}_u": measured["u"],
            f"{name}_u95": measured["u95"], f"{name}_error": measured["value"] - true}


def second_opinion(pair, true):
    opinion = pair.get("by_landmarks")
    if not opinion:
        return {}
    row = {}
    for name in ("subsidence_mm", "tilt_change_deg"):
        if name in opinion:
            row[f"landmarks_{name}_error"] = opinion[name]["value"] - true[name]
            row[f"landmarks_{name}_u95"] = opinion[name]["u95"]
    return row


def pose_change(truth, pair):
    first, then = (truth["films"][pair[k]].get("pose_deg") for k in ("reference", "follow_up"))
    if not first or not then:
        return {}
    return {f"pose_{k}_deg": then[k] - first[k] for k in ("flexion", "abduction", "rotation")}


def surface_rows(pair, row):
    """Change of the stem's pose by its surface, against that of the leg. (A stem that tilts by t in
    a leg rotated by r is flexed by t sin r with it: a few tenths of a degree on *seat*.)"""
    rows = {}
    for name in OF_SURFACE:
        true = row.get(f"pose_{name.replace('_change', '')}")
        if name in pair and true is not None:
            rows.update(quantity_row(name, pair[name], true))
    return rows


def votes(pair, true):
    """Error of the subsidence as each bony feature alone gives it, with its u95."""
    return {f["feature"]: {"error": f["subsidence_mm"]["value"] - true["subsidence_mm"],
                           "u95": f["subsidence_mm"]["u95"], "position_mm": f["position_mm"]}
            for f in pair.get("features", [])}


def film_refused(pair, truth, result):
    """Whether the result says of a film of the pair why it is not measured."""
    files = [truth["films"][pair[k]]["file"] for k in ("reference", "follow_up")]
    return any(f["file"] in files and f["status"] != "measured" and f.get("reason")
               for f in result["films"])


def pair_row(case, set_name, true, truth, result, run):
    row = {"set": set_name, "case": case, "reference": true["reference"],
           "follow_up": true["follow_up"], "status": "not_measured", "reason": "",
           "answered": False,
           "seconds": run["wall_s"], "cpu_seconds": run["cpu_s"], "peak_mb": run["peak_mb"]}
    row.update({f"{name}_true": true[name] for name in QUANTITIES})
    row.update(pose_change(truth, true))
    if result is None:
        return row | {"reason": run["message"] or f"exit code {run['code']}"}
    found = [c for c in result["comparisons"] if c["reference"] == true["reference"]
             and c["follow_up"] == true["follow_up"]]
    if not found:
        return row | {"reason": "not in the result", "answered": film_refused(true, truth, result)}
    pair = found[0]
    row["status"] = pair["status"]
    row["flags"] = [f["id"] for f in pair.get("flags", [])]
    if pair["status"] != "measured":
        return row | {"reason": pair.get("reason", ""), "answered": bool(pair.get("reason"))}
    row["answered"] = True
    for name in QUANTITIES:
        row.update(quantity_row(name, pair[name], true[name]))
    for place, value in true.get("subsidence_at_mm", {}).items():
        if place in pair.get("subsidence_at_mm", {}):
            measured = pair["subsidence_at_mm"][place]
            row[f"subsidence_at_{place}_error"] = measured["value"] - value
            row[f"subsidence_at_{place}_u95"] = measured["u95"]
    row.update(surface_rows(pair, row))
    row.update(second_opinion(pair, true))
    row["votes"] = votes(pair, true)
    row["budget"] = {b["source"]: b.get("u_mm", b.get("u")) for b in
                     pair.get("uncertainty_budget", [])}
    return row


def pair_rows(case, set_name, truth, run):
    return [pair_row(case, set_name, true, truth, run["result"], run)
            for true in truth["comparisons"]]


# ---- anatomy ----------------------------------------------------------------------------------


def along(axis, vector):
    """Component of a vector along a line given by two points."""
    length = numbers.distance(axis[0], axis[1])
    unit = [(axis[1][k] - axis[0][k]) / length for k in (0, 1)]
    return vector[0] * unit[0] + vector[1] * unit[1]


def point_item(name, found, u_px, true_px, film):
    """Error of a point: its length, its part along the shaft, and its RMS part per axis over u."""
    scale = film["mm_per_px"]
    delta = [found[k] - true_px[k] for k in (0, 1)]
    length = math.hypot(*delta)
    row = {"item": name, "unit": "mm", "error": length * scale,
           "along": along(film["shaft_axis_px"], delta) * scale}
    if u_px:
        row["u"] = u_px * scale
        row["ratio"] = length / math.sqrt(2.0) / u_px
    return row


def scalar_item(name, unit, error, u):
    row = {"item": name, "unit": unit, "error": error}
    if u:
        row["u"] = u
        row["ratio"] = error / u
    return row


def disc_items(name, found, true, film):
    scale = film["mm_per_px"]
    return [point_item(f"{name} centre", found["centre_px"], found.get("centre_u_px"),
                       true["centre_px"], film),
            scalar_item(f"{name} diameter", "mm",
                        (found["diameter_px"] - true["diameter_px"]) * scale,
                        found.get("diameter_u_px", 0.0) * scale)]


def missing(name):
    return {"item": name, "missing": True}


def stem_items(found, film):
    points, stem = film["points_px"], found["stem"]
    items = []
    marks = found.get("landmarks", {})
    for name, key in (("stem tip", "stem_tip"), ("stem shoulder", "stem_shoulder")):
        mark = marks.get(key)
        place = mark["px"] if mark else stem.get(key.replace("stem_", "") + "_px")
        if place is None:  # the field ends above the tip
            items.append(missing(name))
            continue
        items.append(point_item(name, place, mark and mark.get("u_px"), points[key], film))
    if "reference_px" in stem:
        items.append(point_item("stem reference point", stem["reference_px"], None,
                                points["stem_reference"], film))
    items.append(scalar_item("stem axis", "deg",
                             numbers.angle_between(film["stem_axis_px"], stem["axis_px"]),
                             stem.get("axis_u_deg")))
    return items


def bone_items(found, film):
    items = []
    shaft = found.get("shaft")
    items.append(scalar_item("shaft axis", "deg",
                             numbers.angle_between(film["shaft_axis_px"], shaft["axis_px"]),
                             shaft.get("axis_u_deg")) if shaft else missing("shaft axis"))
    tilt = found.get("tilt_deg")
    items.append(scalar_item("tilt", "deg", tilt["value"] - film["tilt_deg"], tilt["u"])
                 if tilt else missing("tilt"))
    for name in ("greater_trochanter", "lesser_trochanter"):
        mark, seen = found.get("landmarks", {}).get(name), film.get("visible", {}).get(name, True)
        label = name.replace("_", " ")
        if mark and seen:
            items.append(point_item(label, mark["px"], mark.get("u_px"),
                                    film["points_px"][name], film))
        elif seen:
            items.append(missing(label))
        elif mark:
            items.append({"item": label + ", hidden but found", "unit": "", "error": 0.0})
    return items


def film_items(film, found):
    """All items of one film; those not found carry `missing`."""
    if found is None or found.get("status") != "measured":
        names = ["head centre", "head diameter", "stem tip", "stem shoulder", "stem axis",
                 "shaft axis", "tilt", "greater trochanter"]
        names += ["cup centre", "cup diameter"] if "cup" in film else []
        if film.get("visible", {}).get("lesser_trochanter", True):
            names.append("lesser trochanter")
        return [missing(name) for name in names]
    items = disc_items("head", found["head"], film["head"], film)
    if "cup" in film:
        items += (disc_items("cup", found["cup"], film["cup"], film) if "cup" in found else
                  [missing("cup centre"), missing("cup diameter")])
    scale = found.get("calibration", {}).get("mm_per_px")
    if scale:
        items.append(scalar_item("scale", "%", 100.0 * (scale["value"] / film["mm_per_px"] - 1.0),
                                 100.0 * scale["u"] / film["mm_per_px"]))
    return items + stem_items(found, film) + bone_items(found, film)


def film_rows(case, set_name, truth, run):
    result = run["result"]
    found = {f["file"]: f for f in result["films"]} if result else {}
    rows = []
    for film in truth["films"]:
        if film.get("view") == "LAT":  # its truth is that of the frontal films' depths
            continue
        measured = found.get(film["file"])
        flags = [f["id"] for f in measured.get("flags", [])] if measured else []
        for item in film_items(film, measured):
            rows.append({"set": set_name, "case": case, "file": film["file"], "flags": flags}
                        | item)
    return rows
