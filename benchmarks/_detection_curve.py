"""A drawing of the chance of finding a drain by its litres, as SVG, by hand."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log, sqrt
from xml.sax.saxutils import escape

EDGES_L = (3, 4, 5, 6.5, 8, 10, 13, 16, 20, 26, 33, 40, 60, 100, 200, 500)
Z_95 = 1.96
WIDTH, HEIGHT = 720, 440
LEFT, RIGHT, TOP, BOTTOM = 64, 20, 52, 60
INKS = ("#0b4f6c", "#b3541e")
DASHES = ("", "7 5")
TICKS_L = (3, 5, 10, 20, 40, 100, 200, 500)


@dataclass(frozen=True)
class Point:
    """The drains of one bin: their middle, the share found with its 95 % band, how many. [L]"""

    litres: float
    share: float
    low: float
    high: float
    number: int


@dataclass(frozen=True)
class Curve:
    """One line of the drawing."""

    name: str
    points: tuple[Point, ...]


def curve(name: str, litres: Sequence[float], found: Sequence[bool]) -> Curve:
    """Return the share found in every bin that holds a drain.

    The band is the score interval (Wilson 1927); the drains of one vehicle are not quite
    independent of each other, which it does not know.

    >>> one = curve("all", [3.2, 3.6, 3.8, 3.9], [True, True, False, True]).points[0]
    >>> round(one.litres, 1), one.share, one.number, round(one.low, 2), round(one.high, 2)
    (3.6, 0.75, 4, 0.3, 0.95)
    """
    points = []
    for low_l, high_l in pairwise(EDGES_L):
        hits = [hit for x, hit in zip(litres, found, strict=True) if low_l <= x < high_l]
        inside = [x for x in litres if low_l <= x < high_l]
        if not hits:
            continue
        n, p = len(hits), sum(hits) / len(hits)
        middle = (p + Z_95**2 / (2 * n)) / (1 + Z_95**2 / n)
        half = Z_95 * sqrt(p * (1 - p) / n + Z_95**2 / (4 * n * n)) / (1 + Z_95**2 / n)
        points.append(Point(sum(inside) / n, p, middle - half, middle + half, n))
    return Curve(name, tuple(points))


def drawn(title: str, curves: Sequence[Curve]) -> str:
    """Return the drawing; a line and its points each, the band behind it."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{escape(title)}" font-family="sans-serif" font-size="13" fill="#1b1b1b">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
        f'<text x="{LEFT}" y="24" font-size="15">{escape(title)}</text>',
        *_axes(),
    ]
    for place, one in enumerate(curves):
        parts += _line(one, INKS[place], DASHES[place], TOP + 212 + 24 * place)
    return "\n".join([*parts, "</svg>"]) + "\n"


def _x(litres: float) -> float:
    part = log(litres / EDGES_L[0]) / log(EDGES_L[-1] / EDGES_L[0])
    return LEFT + part * (WIDTH - LEFT - RIGHT)


def _y(share: float) -> float:
    return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def _axes() -> list[str]:
    parts = []
    for percent in range(0, 101, 20):
        y = _y(percent / 100)
        parts.append(
            f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke="#ccc"/>'
            f'<text x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{percent} %</text>'
        )
    for litres in TICKS_L:
        x = _x(litres)
        parts.append(
            f'<path d="M{x:.1f} {TOP}V{HEIGHT - BOTTOM}" stroke="#eee"/>'
            f'<text x="{x:.1f}" y="{HEIGHT - BOTTOM + 18}" text-anchor="middle">{litres}</text>'
        )
    middle = (LEFT + WIDTH - RIGHT) / 2
    parts.append(
        f'<text x="{middle:.0f}" y="{HEIGHT - 14}" text-anchor="middle">litres drained [L]</text>'
    )
    return parts


def _line(one: Curve, ink: str, dash: str, key_y: float) -> list[str]:
    xs = [_x(point.litres) for point in one.points]
    upper = [f"{x:.1f},{_y(p.high):.1f}" for x, p in zip(xs, one.points, strict=True)]
    lower = [f"{x:.1f},{_y(p.low):.1f}" for x, p in zip(xs, one.points, strict=True)]
    line = [f"{x:.1f},{_y(p.share):.1f}" for x, p in zip(xs, one.points, strict=True)]
    style = f'stroke="{ink}" stroke-width="2.5" stroke-dasharray="{dash}" fill="none"'
    key_x = WIDTH - RIGHT - 300
    dots = [
        f'<circle cx="{x:.1f}" cy="{_y(p.share):.1f}" r="4" fill="{ink}"><title>'
        f"{p.litres:.1f} L: {100 * p.share:.0f} % of {p.number} found</title></circle>"
        for x, p in zip(xs, one.points, strict=True)
    ]
    return [
        f'<polygon points="{" ".join(upper + lower[::-1])}" fill="{ink}" fill-opacity="0.14"/>',
        f'<polyline points="{" ".join(line)}" {style}/>',
        *dots,
        f'<path d="M{key_x} {key_y}h36" {style}/>'
        f'<text x="{key_x + 46}" y="{key_y + 4}">{escape(one.name)}</text>',
    ]
