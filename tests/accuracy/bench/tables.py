"""Tables as text."""
from . import reliability
from .compare import OF_SURFACE, QUANTITIES


def cell(value, digits=3):
    if value is None:
        return "-"
    return f"{value:.{digits}f}" if isinstance(value, float) else str(value)


def table(heads, rows):
    """Columns aligned, first one left, others right."""
    cells = [heads] + [[c if isinstance(c, str) else cell(c) for c in row] for row in rows]
    widths = [max(len(row[k]) for row in cells) for k in range(len(heads))]
    lines = ["  ".join(c.ljust(w) if k == 0 else c.rjust(w)
                       for k, (c, w) in enumerate(zip(row, widths))).rstrip() for row in cells]
    return "\n".join([lines[0], "-" * len(lines[0])] + lines[1:])


def pair_table(summary):
    heads = ["quantity", "n", "bias", "RMS", "95 %", "worst", "inside u95", "mean u95",
             "RMS err/u", "unmoved", "called"]
    names = list(QUANTITIES) + ["subsidence_at_head_centre", "subsidence_at_shoulder",
                                "subsidence_at_tip", "landmarks_subsidence_mm",
                                "landmarks_tilt_change_deg"]
    names += [name for name in OF_SURFACE if summary[name]["n"]]
    rows = []
    for name in names:
        s = summary[name]
        unmoved = [s["unmoved"], s["called_moved"]] if name in QUANTITIES else ["", ""]
        rows.append([name, s["n"], s["bias"], s["rms"], s["p95"], s["worst"], s["coverage"],
                     s["mean_u95"], s["ratio_rms"]] + unmoved)
    for name, s in summary["votes"].items():
        rows.append([f"vote of {name}", s["n"], s["bias"], s["rms"], "", "", s["coverage"],
                     s["mean_u95"], "", "", ""])
    return table(heads, rows)


def pose_table(summary):
    """Errors per degree of change of pose; empty without poses."""
    if not summary["pose"]:
        return ""
    heads = ["error per degree of pose", "flexion", "abduction", "rotation", "RMS left", "of RMS"]
    return table(heads, [[name, p["flexion"], p["abduction"], p["rotation"], p["left"],
                          summary[name]["rms"]] for name, p in summary["pose"].items()])


def film_table(summary):
    heads = ["item", "unit", "n", "found", "bias", "RMS", "along shaft", "95 %", "worst", "mean u",
             "RMS err/u"]
    return table(heads, [[name, s["unit"], s["n"], s["found"], s["bias"], s["rms"], s["along"],
                          s["p95"], s["worst"], s["mean_u"], s["ratio"]]
                         for name, s in summary.items()])


def verdict_table(rows):
    return "\n".join(f"{'pass' if r['met'] else 'FAIL'}  {r['what']}: {cell(r['value'], 4)}"
                     f"{r.get('note', '')} {r['unit']} (wanted {r['sense']} {r['limit']:g})"
                     for r in rows)


def reliability_table(rows):
    """Share of truths inside the interval of each probability."""
    heads = ["reliability", "quantity", "n"] + [f"{p:.0%}" for p in reliability.SHOWN]
    return table(heads, [[*r[:2], r[2], *(cell(v, 2) for v in r[3:])] for r in rows])


def film_flags(films, row):
    flags = [f"{r['file']}:{flag}" for r in films if r["case"] == row["case"]
             for flag in r["flags"]]
    return list(dict.fromkeys(flags))


def quantity_line(row, name, label):
    return (f"{label} {row[name + '_true']:+.2f} err {row[name + '_error']:+.2f} "
            f"u {row[name + '_u']:.2f}")


def verbose_line(row, films):
    """One pair: errors, u, pose change, error of each vote, second opinion, flags."""
    head = f"{row['case']} {row['reference']}-{row['follow_up']}"
    if row["status"] != "measured":
        return f"{head} NOT MEASURED: {row['reason']}"
    parts = [head + " " + quantity_line(row, "subsidence_mm", "sub"),
             quantity_line(row, "tilt_change_deg", "tilt"), quantity_line(row, "medial_mm", "med")]
    if "pose_flexion_deg" in row:
        parts.append(f"dpose f{row['pose_flexion_deg']:+.1f} a{row['pose_abduction_deg']:+.1f} "
                     f"r{row['pose_rotation_deg']:+.1f}")
    parts += [quantity_line(row, name, name.split("_")[0]) for name in OF_SURFACE
              if f"{name}_error" in row]
    parts.append(" ".join(f"{n}:{v['error']:+.2f}±{v['u95']:.2f}" for n, v in row["votes"].items()))
    if "landmarks_subsidence_mm_error" in row:
        parts.append(f"landmarks {row['landmarks_subsidence_mm_error']:+.2f}"
                     f"±{row['landmarks_subsidence_mm_u95']:.2f}")
    parts.append(" ".join(f"{n.replace(' ', '_')}={u:.2f}" for n, u in row["budget"].items()
                          if u is not None))
    parts.append(",".join(row["flags"] + film_flags(films, row)))
    return " | ".join(parts)


def verbose_film_lines(films):
    """One line a film: error of every item, and the items that were not found."""
    lines = []
    for key in dict.fromkeys((r["case"], r["file"]) for r in films):
        items = [r for r in films if (r["case"], r["file"]) == key]
        words = [f"{r['item']} MISSING" if r.get("missing") else
                 f"{r['item']} {r['error']:+.2f}" +
                 (f" (along {r['along']:+.2f})" if "along" in r else "") for r in items]
        lines.append(f"{key[0]} {key[1]} | " + " | ".join(words))
    return lines
