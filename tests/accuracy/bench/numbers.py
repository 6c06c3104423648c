"""Statistics of errors. Nothing here knows what was measured."""
import math


def rms(values):
    """Root of the mean square, or None without values."""
    values = list(values)
    return math.sqrt(sum(v * v for v in values) / len(values)) if values else None


def mean(values):
    values = list(values)
    return sum(values) / len(values) if values else None


def percentile(values, share):
    """Quantile by linear interpolation between order statistics (type 7 of Hyndman, Fan, The
    American Statistician 50 (1996) 361-365), or None without values."""
    ordered = sorted(values)
    if not ordered:
        return None
    at = share * (len(ordered) - 1)
    low = int(at)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (at - low) * (ordered[high] - ordered[low])


def share(flags):
    """Share of true values, or None without values."""
    flags = list(flags)
    return sum(flags) / len(flags) if flags else None


def share_interval(hits, trials):
    """95 % interval of a share: Wilson, Journal of the American Statistical Association 22 (1927)
    209-212. None without trials."""
    if trials == 0:
        return None
    z = 1.959964
    p = hits / trials
    centre = (p + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z / (1 + z * z / trials) * math.sqrt(p * (1 - p) / trials + z * z / (4 * trials**2))
    return max(0.0, centre - half), min(1.0, centre + half)


def solve(matrix, right):
    """Solution of a small linear system by elimination with the largest pivot, or None."""
    rows = [list(line) + [value] for line, value in zip(matrix, right)]
    size = len(rows)
    for k in range(size):
        pivot = max(range(k, size), key=lambda r: abs(rows[r][k]))
        if abs(rows[pivot][k]) < 1e-12:
            return None
        rows[k], rows[pivot] = rows[pivot], rows[k]
        for r in range(size):
            if r != k:
                factor = rows[r][k] / rows[k][k]
                rows[r] = [a - factor * b for a, b in zip(rows[r], rows[k])]
    return [rows[k][size] / rows[k][k] for k in range(size)]


def slopes(inputs, values):
    """Least squares of values on the inputs and a constant: slope of each input, and RMS of what
    is left. None with fewer than twice as many values as unknowns."""
    lines = [list(line) + [1.0] for line in inputs]
    if not lines or len(lines) < 2 * len(lines[0]):
        return None
    size = range(len(lines[0]))
    found = solve([[sum(l[a] * l[b] for l in lines) for b in size] for a in size],
                  [sum(l[a] * v for l, v in zip(lines, values)) for a in size])
    if found is None:
        return None
    left = [v - sum(f * x for f, x in zip(found, l)) for l, v in zip(lines, values)]
    return found[:-1], rms(left)


def distance(a, b):
    return math.hypot(a[0] - b[0], a[1] - b[1])


def angle_between(line_a, line_b):
    """Angle from the direction of line_a to that of line_b, degrees in (-90, 90]."""
    directions = [math.atan2(l[1][1] - l[0][1], l[1][0] - l[0][0]) for l in (line_a, line_b)]
    turn = math.degrees(directions[1] - directions[0])
    return turn - 180.0 * round(turn / 180.0)
