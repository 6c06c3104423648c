"""Measured against true and error against true, as one SVG page written by hand: nothing beyond
the standard library is assumed."""
from xml.sax.saxutils import escape

from .compare import QUANTITIES

WIDTH, HEIGHT, LEFT, TOP, GAP = 420, 260, 70, 60, 70
UNITS = {"subsidence_mm": "subsidence, mm", "medial_mm": "medial, mm",
         "tilt_change_deg": "tilt change, deg"}
INSIDE, OUTSIDE = "#1f5f99", "#c0392b"


def nice_step(span):
    """Tick distance of 1, 2 or 5 times a power of ten, for about five ticks."""
    step = 1.0
    while span / step > 6:
        step *= 10
    while span / step < 0.6:
        step /= 10
    for part in (0.1, 0.2, 0.5):
        if span / (step * part) <= 6:
            return step * part
    return step


class Frame:
    """One diagram: maps values to the page and collects its marks."""

    def __init__(self, left, top, x_range, y_range):
        self.left, self.top = left, top
        self.x_range, self.y_range = widened(x_range), widened(y_range)
        self.marks = []

    def x(self, value):
        low, high = self.x_range
        return self.left + WIDTH * (value - low) / (high - low)

    def y(self, value):
        low, high = self.y_range
        return self.top + HEIGHT * (high - value) / (high - low)

    def line(self, x0, y0, x1, y1, style):
        self.marks.append(f"<line x1='{self.x(x0):.1f}' y1='{self.y(y0):.1f}' x2='{self.x(x1):.1f}'"
                          f" y2='{self.y(y1):.1f}' {style}/>")

    def dot(self, x, y, colour, title):
        self.marks.append(f"<circle cx='{self.x(x):.1f}' cy='{self.y(y):.1f}' r='3' "
                          f"fill='{colour}'><title>{escape(title)}</title></circle>")

    def text(self, x, y, words, anchor="middle"):
        self.marks.append(f"<text x='{x:.1f}' y='{y:.1f}' text-anchor='{anchor}'>"
                          f"{escape(words)}</text>")

    def axes(self, x_label, y_label):
        grid = "stroke='#dddddd'"
        for value in ticks(self.x_range):
            self.line(value, self.y_range[0], value, self.y_range[1], grid)
            self.text(self.x(value), self.top + HEIGHT + 16, f"{value:g}")
        for value in ticks(self.y_range):
            self.line(self.x_range[0], value, self.x_range[1], value, grid)
            self.text(self.left - 6, self.y(value) + 4, f"{value:g}", "end")
        self.text(self.left + WIDTH / 2, self.top + HEIGHT + 34, x_label)
        self.text(self.left, self.top - 8, y_label, "start")


def widened(pair):
    low, high = pair
    margin = max(0.05 * (high - low), 0.05)
    return low - margin, high + margin


def ticks(pair):
    step = nice_step(pair[1] - pair[0])
    first = int(pair[0] // step) + 1
    values = [round(step * k, 9) for k in range(first, first + 12)]
    return [v for v in values if v <= pair[1]]


def label_of(row):
    return f"{row['case']} {row['reference']}-{row['follow_up']}"


def draw(frame, rows, name, value_key, true_line):
    frame.axes("true", f"{UNITS[name]}: " + ("measured, bars u95" if value_key == name else
                                             "measured minus true, bars u95"))
    low, high = frame.x_range
    frame.line(low, low if true_line else 0.0, high, high if true_line else 0.0,
               "stroke='#888888'")
    for row in rows:
        value, u95 = row[value_key], row[f"{name}_u95"]
        inside = abs(row[f"{name}_error"]) <= u95
        colour = INSIDE if inside else OUTSIDE
        true = row[f"{name}_true"]
        frame.line(true, value - u95, true, value + u95, f"stroke='{colour}' stroke-opacity='0.5'")
        frame.dot(true, value, colour, f"{label_of(row)}: {value:+.3f} ± {u95:.3f}, true {true:+.3f}")


def pair_of_frames(rows, name, top):
    trues = [r[f"{name}_true"] for r in rows]
    spans = [(r[name] - r[f"{name}_u95"], r[name] + r[f"{name}_u95"]) for r in rows]
    low = min(trues + [s[0] for s in spans])
    high = max(trues + [s[1] for s in spans])
    x_range = (min(trues), max(trues))
    first = Frame(LEFT, top, x_range, (low, high))
    draw(first, rows, name, name, True)
    reach = max(abs(r[f"{name}_error"]) + r[f"{name}_u95"] for r in rows)
    second = Frame(LEFT + WIDTH + GAP, top, x_range, (-reach, reach))
    draw(second, rows, name, f"{name}_error", False)
    return first.marks + second.marks


def page(name, pairs):
    """One row of two diagrams for each quantity; truths outside of u95 are red."""
    rows = [r for r in pairs if r["status"] == "measured"]
    marks = []
    if rows:
        for k, quantity in enumerate(QUANTITIES):
            marks += pair_of_frames(rows, quantity, TOP + k * (HEIGHT + GAP))
    return document(f"{name}: {len(rows)} of {len(pairs)} pairs measured; red: truth outside of u95",
                    marks, LEFT + 2 * WIDTH + GAP + 30, TOP + len(QUANTITIES) * (HEIGHT + GAP))


def document(title, marks, width, height):
    """An SVG page with a title and marks."""
    return (f"<svg xmlns='http://www.w3.org/2000/svg' width='{width}' height='{height}' "
            "font-family='sans-serif' font-size='12'>\n"
            f"<rect width='{width}' height='{height}' fill='white'/>\n"
            f"<text x='{LEFT}' y='24' font-size='16'>{escape(title)}</text>\n"
            + "\n".join(marks) + "\n</svg>\n")
