"""Measured against true, as one SVG page."""


def page(name, pairs):
    return f"<svg xmlns='http://www.w3.org/2000/svg'><title>{name} {len(pairs)}</title></svg>"
