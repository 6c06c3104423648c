"""Does the stated uncertainty hold? For each probability p, the share of truths that lie within the
interval that should hold p of them, if the errors were normal with u = u95 / 1.96. On the
diagonal: u is right; above it: too wide; below it: it promises too much."""
from statistics import NormalDist

from .compare import QUANTITIES
from .plot import GAP, HEIGHT, LEFT, TOP, UNITS, WIDTH, Frame, document

LEVELS = tuple(k / 100 for k in range(2, 100, 2)) + (0.95, 0.99)
SHOWN = (0.5, 0.68, 0.8, 0.9, 0.95, 0.99)
COLOURS = ("#1f5f99", "#c0392b", "#2e7d32", "#8e44ad", "#b9770e", "#444444")
FACTOR = NormalDist().inv_cdf(0.975)


def ratios(pairs, name):
    """|error| in standard uncertainties, of the pairs that were measured."""
    return sorted(FACTOR * abs(r[f"{name}_error"]) / r[f"{name}_u95"] for r in pairs
                  if r["status"] == "measured")


def share_within(sorted_ratios, level):
    """Share of truths inside the interval of this probability; None without pairs."""
    if not sorted_ratios:
        return None
    reach = NormalDist().inv_cdf(0.5 + 0.5 * level)
    return sum(r <= reach for r in sorted_ratios) / len(sorted_ratios)


def curve(pairs, name):
    """[(probability stated, share seen)]"""
    of = ratios(pairs, name)
    return [(p, share_within(of, p)) for p in sorted(set(LEVELS)) if of]


def rows(sets):
    """Of each set and quantity: [set, quantity, n, share at each of SHOWN]. `sets`: name -> pairs."""
    out = []
    for name, pairs in sets.items():
        for quantity in QUANTITIES:
            of = ratios(pairs, quantity)
            if of:
                out.append([name, quantity, len(of)] + [share_within(of, p) for p in SHOWN])
    return out


def diagram(frame, sets, quantity):
    frame.axes("probability stated", f"{UNITS[quantity].split(',')[0]}: share of truths inside")
    frame.line(0.0, 0.0, 1.0, 1.0, "stroke='#888888' stroke-dasharray='4 3'")
    for k, (name, pairs) in enumerate(sets.items()):
        points = curve(pairs, quantity)
        colour = COLOURS[k % len(COLOURS)]
        for (x0, y0), (x1, y1) in zip(points, points[1:]):
            frame.line(x0, y0, x1, y1, f"stroke='{colour}' stroke-width='2'")
        if points:
            frame.marks.append(
                f"<text x='{frame.left + 14}' y='{frame.top + 18 + 15 * k}' fill='{colour}'>"
                f"{name}: {len(ratios(pairs, quantity))} pairs</text>")
    return frame.marks


def page(sets):
    """One diagram for each quantity, one line for each set."""
    marks = []
    for k, quantity in enumerate(QUANTITIES):
        frame = Frame(LEFT + k * (WIDTH + GAP), TOP, (0.0, 1.0), (0.0, 1.0))
        marks += diagram(frame, sets, quantity)
    return document("stated uncertainty against errors seen; above the diagonal: stated too wide",
                    marks, LEFT + 3 * (WIDTH + GAP), TOP + HEIGHT + GAP)
