"""Rows as CSV, everything as JSON."""
import csv
import json

FIXED = ("set", "case", "reference", "follow_up", "status", "reason")


def flat(row):
    """A row with nested values spread over columns."""
    out = {}
    for key, value in row.items():
        if key == "votes":
            for name, vote in value.items():
                out[f"vote_{name}_error"] = vote["error"]
                out[f"vote_{name}_u95"] = vote["u95"]
        elif key == "budget":
            out.update({f"u_{name.replace(' ', '_')}": u for name, u in value.items()})
        elif isinstance(value, (list, tuple)):
            out[key] = " ".join(map(str, value))
        else:
            out[key] = value
    return out


def write_csv(path, rows):
    rows = [flat(r) for r in rows]
    keys = list(dict.fromkeys([k for k in FIXED if any(k in r for r in rows)] +
                              [k for r in rows for k in r]))
    with open(path, "w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, keys, restval="")
        writer.writeheader()
        writer.writerows(rows)


def write_json(path, value):
    path.write_text(json.dumps(value, indent=1) + "\n")
