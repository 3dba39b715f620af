"""The little of SVG that the drawings need: elements, paths, colours, the hatch."""

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

PAPER, SHEET, INK, SOFT = "#fbfaf6", "#ffffff", "#14202b", "#51606d"
DRAFT, FUEL, FUEL_LINE = "#1f4e8c", "#f3c46b", "#8a5a08"
GOOD, WARN, STOP = "#14603a", "#8a4b00", "#9b1c1c"
MONO = "IBM Plex Mono, monospace"


def figure(value: float) -> str:
    """Write a coordinate with at most two decimals and no needless zeros.

    >>> figure(12.0), figure(0.126), figure(-0.001)
    ('12', '0.13', '0')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, *children: str, **attributes: str | float | None) -> str:
    """Write one element; ``_`` in a name is ``-``, a trailing ``_`` falls off.

    >>> element("line", x1=0, x2=4.5, class_="ink", stroke_width=2)
    '<line x1="0" x2="4.5" class="ink" stroke-width="2"/>'
    >>> element("text", escape("a < b"), x=1)
    '<text x="1">a &lt; b</text>'
    """
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        label = key.rstrip("_").replace("_", "-")
        text = value if isinstance(value, str) else figure(value)
        parts.append(f"{label}={quoteattr(text)}")
    inside = "".join(children)
    head = " ".join(parts)
    return f"<{head}>{inside}</{name}>" if inside else f"<{head}/>"


def group(*children: str, **attributes: str | float | None) -> str:
    """Put elements into one group."""
    return element("g", *children, **attributes)


def line(
    x1: float, y1: float, x2: float, y2: float, width: float = 1.2, role: str = "ink",
    dash: str | None = None,
) -> str:  # fmt: skip
    """Draw a straight line in the colour of its role."""
    return element(
        "line", x1=x1, y1=y1, x2=x2, y2=y2,
        class_=f"s-{role}", stroke=COLOURS[role], stroke_width=width, stroke_dasharray=dash,
    )  # fmt: skip


def words(
    text: str, x: float, y: float, size: float, role: str = "ink", *,
    bold: bool = False, anchor: str = "start", extra: str = "", halo: bool = False,
) -> str:  # fmt: skip
    """Write words in the tabular face, in the colour of their role.

    ``halo`` clears the paper around them where they stand on lines.
    """
    return element(
        "text", escape(text), x=x, y=y,
        class_=" ".join(n for n in (f"f-{role}", "m", extra, "halo" if halo else "") if n),
        fill=COLOURS[role],
        stroke=PAPER if halo else None, stroke_width=5 if halo else None,
        paint_order="stroke" if halo else None,
        font_family=MONO, font_size=size, text_anchor=anchor,
        font_weight="600" if bold else None,
    )  # fmt: skip


def rect(
    x: float, y: float, width: float, height: float, *,
    fill: str | None = None, edge: str | None = None, edge_width: float = 1.2,
    opacity: float | None = None,
) -> str:  # fmt: skip
    """Draw a rectangle filled and edged in the colours of its roles."""
    names = [f"f-{fill}" if fill else "", f"s-{edge}" if edge else ""]
    return element(
        "rect", x=x, y=y, width=max(width, 0.0), height=max(height, 0.0),
        class_=" ".join(n for n in names if n) or None,
        fill=COLOURS[fill] if fill else "none",
        stroke=COLOURS[edge] if edge else None,
        stroke_width=edge_width if edge else None, fill_opacity=opacity,
    )  # fmt: skip


COLOURS = {
    "paper": PAPER, "sheet": SHEET, "ink": INK, "soft": SOFT, "draft": DRAFT,
    "fuel": FUEL, "fuelline": FUEL_LINE, "good": GOOD, "warn": WARN, "stop": STOP,
}  # fmt: skip
"""Role → colour where no style sheet says otherwise; amber is for fuel only."""


def polygon_path(loops: Iterable[Floats]) -> str:
    """Give the ``d`` of closed polygons.

    >>> polygon_path([np.array([[0, 0], [4, 0], [4, 3.0]])])
    'M0,0L4,0L4,3Z'
    """
    return "".join(
        "M" + "L".join(f"{figure(x)},{figure(y)}" for x, y in loop) + "Z" for loop in loops
    )


def polyline_path(points: Floats) -> str:
    """Give the ``d`` of an open line through points."""
    return "M" + "L".join(f"{figure(x)},{figure(y)}" for x, y in points)


def hatch(name: str, spacing: float = 6.0) -> str:
    """Give the pattern of a wall that is cut: thin lines at 45 degrees."""
    return element(
        "pattern",
        rect(0, 0, spacing, spacing, fill="paper"),
        line(0, 0, 0, spacing, 1.1),
        id=name, width=spacing, height=spacing,
        patternTransform="rotate(45)", patternUnits="userSpaceOnUse",
    )  # fmt: skip


def fuel_pattern(name: str) -> str:
    """Give the pattern of a liquid in section: short dashes, one above the other."""
    return element(
        "pattern",
        rect(0, 0, 16, 12, fill="fuel"),
        line(0, 3, 9, 3, 1, "fuelline"),
        line(8, 9, 16, 9, 1, "fuelline"),
        id=name, width=16, height=12, patternUnits="userSpaceOnUse",
    )  # fmt: skip


def drawing(
    width: float, height: float, label: str, *children: str, css_class: str, defs: str = "",
    data: dict[str, str | float] | None = None,
) -> str:  # fmt: skip
    """Close the drawing: an image with its one sentence for those who cannot see it."""
    attributes: dict[str, str | float | None] = {
        "xmlns": "http://www.w3.org/2000/svg",
        "viewBox": f"0 0 {figure(width)} {figure(height)}",
        "class_": css_class,
        "role": "img",
        "aria_label": label,
    }
    for key, value in (data or {}).items():
        attributes[f"data_{key}"] = value if isinstance(value, str) else repr(float(value))
    body = (element("defs", defs) if defs else "") + "".join(children)
    return element("svg", body, **attributes)
