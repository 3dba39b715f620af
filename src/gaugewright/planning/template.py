"""A paper drilling template at 1:1, one page, as SVG whose user unit is the millimetre.

Laid on the tank's top with the arrow to the front.  A bar of 100 mm is checked with a rule
first: a printer that scales to fit makes a wrong hole.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, isfinite, pi, sin
from types import MappingProxyType
from typing import Literal
from xml.sax.saxutils import escape

from gaugewright.errors import InputError
from gaugewright.words import said

Paper = Literal["A4", "Letter"]
PAPERS: Mapping[Paper, tuple[float, float]] = MappingProxyType(
    {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
)
"""Width and height upright: ISO 216 A4, and 8.5 x 11 inches. [mm]"""
MARGIN_MM = 12.0
BAR_MM = 100.0
HOLE_SAWS_MM = (22, 25, 29, 32, 35, 38, 41, 44, 48, 51, 54, 57, 60, 64, 68, 73, 76)
"""Common sizes of hole saws; 38 mm is common practice for such a flange, no source."""


@dataclass(frozen=True, slots=True)
class Flange:
    """The flange in hand, measured; the defaults are common practice, no source. [mm]

    >>> Flange(hole_mm=60, bolt_circle_mm=54)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: bolt_circle_mm: bolts of 5 mm on a circle of 54 mm
    would break into the hole of 60 mm
    """

    hole_mm: float = 38.0
    bolt_circle_mm: float = 54.0
    """Diameter of the circle through the middles of the bolts. [mm]"""
    bolts: int = 5
    bolt_mm: float = 5.0
    outer_mm: float = 70.0
    first_bolt_deg: float = 0.0
    """From the front arrow, clockwise seen from above. [°]"""

    def __post_init__(self) -> None:
        """Refuse a flange that cannot be."""
        for name in ("hole_mm", "bolt_circle_mm", "bolt_mm", "outer_mm"):
            value = getattr(self, name)
            if not (isfinite(value) and 0 < value <= 1000):
                raise InputError(
                    said("must be above 0 mm, found {value:g}", value=value), field=name
                )
        if not isfinite(self.first_bolt_deg):
            raise InputError(said("must be a finite angle"), field="first_bolt_deg")
        if not 0 <= self.bolts <= 24:
            raise InputError(
                said("must be 0 to 24, found {bolts}", bolts=self.bolts), field="bolts"
            )
        if self.outer_mm <= self.hole_mm:
            raise InputError(
                said(
                    "a flange of {outer_mm:g} mm does not cover a hole of {hole_mm:g} mm",
                    outer_mm=self.outer_mm,
                    hole_mm=self.hole_mm,
                ),
                field="outer_mm",
            )
        if self.bolts and self.bolt_circle_mm - self.bolt_mm < self.hole_mm:
            raise InputError(
                said(
                    "bolts of {bolt_mm:g} mm on a circle of {bolt_circle_mm:g} mm would "
                    "break into the hole of {hole_mm:g} mm",
                    bolt_mm=self.bolt_mm,
                    bolt_circle_mm=self.bolt_circle_mm,
                    hole_mm=self.hole_mm,
                ),
                field="bolt_circle_mm",
            )
        if self.bolts and self.bolt_circle_mm + self.bolt_mm > self.outer_mm:
            raise InputError(
                said(
                    "bolts on a circle of {bolt_circle_mm:g} mm do not fit into a flange of "
                    "{outer_mm:g} mm",
                    bolt_circle_mm=self.bolt_circle_mm,
                    outer_mm=self.outer_mm,
                ),
                field="outer_mm",
            )

    def bolt_centres_mm(self) -> tuple[tuple[float, float], ...]:
        """Give the bolts' middles from the hole's: to the right and to the front. [mm]

        >>> Flange(bolts=4).bolt_centres_mm()[0]
        (0.0, 27.0)
        """
        radius = self.bolt_circle_mm / 2
        turns = [
            self.first_bolt_deg * pi / 180 + 2 * pi * k / self.bolts for k in range(self.bolts)
        ]
        return tuple((radius * sin(t), radius * cos(t)) for t in turns)


def hole_saw_mm(hole_mm: float) -> int:
    """Give the saw for a flange's hole: the common size that is it, or up to 1 mm more.

    >>> hole_saw_mm(38), hole_saw_mm(50)
    (38, 51)
    >>> hole_saw_mm(46)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: hole_mm: no common hole saw cuts 46 mm; the nearest are 44
    and 48 mm, or a step drill or punch of that size
    """
    if not (isfinite(hole_mm) and HOLE_SAWS_MM[0] - 1 <= hole_mm <= HOLE_SAWS_MM[-1]):
        raise InputError(
            said(
                "{hole_mm:g} mm is outside {hole_saws_mm} to {hole_saws_mm_2} mm",
                hole_mm=hole_mm,
                hole_saws_mm=HOLE_SAWS_MM[0],
                hole_saws_mm_2=HOLE_SAWS_MM[-1],
            ),
            field="hole_mm",
        )
    larger = next(size for size in HOLE_SAWS_MM if size >= hole_mm)
    if larger - hole_mm > 1:
        smaller = max(size for size in HOLE_SAWS_MM if size < hole_mm)
        raise InputError(
            said(
                "no common hole saw cuts {hole_mm:g} mm; the nearest are {smaller} and "
                "{larger} mm, or a step drill or punch of that size",
                hole_mm=hole_mm,
                smaller=smaller,
                larger=larger,
            ),
            field="hole_mm",
        )
    return larger


def drilling_template(
    flange: Flange, *, x_mm: float | None, y_mm: float | None, title: str, paper: Paper = "A4"
) -> str:
    """Draw the template as SVG, sized in mm.

    The front of the tank is up, its left side left: what is drawn is seen from above.
    ``x_mm`` is the place behind the front end, ``y_mm`` from the left side; ``None`` where
    it is chosen on the vehicle.

    Raises `InputError` for a paper that is not known or a flange that does not fit on it.

    >>> svg = drilling_template(Flange(), x_mm=500, y_mm=300, title="Tank 1")
    >>> svg[:63]
    '<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="2'
    """
    if paper not in PAPERS:
        raise InputError(
            said("{paper!r} is no paper known here, wanted A4 or Letter", paper=paper),
            field="paper",
        )
    width, height = PAPERS[paper]
    middle = (width / 2, 128.0)
    room = min(width / 2 - MARGIN_MM, middle[1] - 45.0)
    if flange.outer_mm / 2 + 10 > room:
        raise InputError(
            said(
                "a flange of {outer_mm:g} mm does not fit on {paper}, at most {room:g} mm",
                outer_mm=flange.outer_mm,
                paper=paper,
                room=2 * room - 20,
            ),
            field="outer_mm",
        )
    parts = [
        f'<rect width="{width:g}" height="{height:g}" fill="#ffffff"/>',
        *_heading(title, x_mm, y_mm),
        *_arrow(middle, room),
        *_flange(flange, middle),
        *_bar(width, 225.0),
        *_foot(flange, 240.0),
    ]
    label = f"Drilling template 1:1, {title}: hole {flange.hole_mm:g} mm"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{_quoted(label)}">'
        + "".join(parts)
        + "</svg>"
    )


def _heading(title: str, x_mm: float | None, y_mm: float | None) -> list[str]:
    place = "Middle of the hole: ______ mm behind the front end, ______ mm from the left side."
    if x_mm is not None and y_mm is not None:
        place = (
            f"Middle of the hole {x_mm:g} mm behind the front end, {y_mm:g} mm from the left side."
        )
    return [
        _words(MARGIN_MM, 18, f"{title[:60]}: drilling template 1:1", 6, bold=True),
        _words(MARGIN_MM, 25, place, 4),
        _words(MARGIN_MM, 31, "Print at 100 %, not to fit. Measure the bar first.", 4),
    ]  # fmt: skip


def _arrow(middle: tuple[float, float], room: float) -> list[str]:
    x, y = middle
    tip = y - room + 2
    return [
        f'<path d="M{x:g},{tip:g}l-5,9h10z" fill="#14202b"/>',
        _words(x + 8, tip + 7, "FRONT", 6, bold=True),
    ]


def _flange(flange: Flange, middle: tuple[float, float]) -> list[str]:
    x, y = middle
    reach = flange.outer_mm / 2 + 10
    parts = [
        _circle(x, y, flange.outer_mm / 2, "outline", dash="2 1.5"),
        _circle(x, y, flange.hole_mm / 2, "hole", width=0.4),
        f'<path class="cross" d="M{x - reach:g},{y:g}H{x + reach:g}M{x:g},{y - reach:g}'
        f'V{y + reach:g}" stroke="#14202b" stroke-width="0.2" fill="none"/>',
    ]
    if flange.bolts:
        parts.append(_circle(x, y, flange.bolt_circle_mm / 2, "bolt-circle", dash="4 1 1 1"))
    for right, front in flange.bolt_centres_mm():
        bx, by = x + right, y - front
        parts.append(_circle(bx, by, flange.bolt_mm / 2, "bolt", width=0.3))
        parts.append(
            f'<path d="M{bx - 4:.3f},{by:.3f}h8M{bx:.3f},{by - 4:.3f}v8" stroke="#14202b" '
            'stroke-width="0.15" fill="none"/>'
        )
    return parts


def _bar(width: float, y: float) -> list[str]:
    left = (width - BAR_MM) / 2
    ticks = "".join(f"M{left + 10 * k:g},{y:g}v-{3 if k % 5 else 5}" for k in range(11))
    return [
        f'<path class="bar" d="M{left:g},{y:g}h{BAR_MM:g}" stroke="#14202b" stroke-width="0.4"/>',
        f'<path d="{ticks}" stroke="#14202b" stroke-width="0.25" fill="none"/>',
        _words(MARGIN_MM, y + 6, "This bar is 100 mm long. If it is not, do not use the sheet.", 4),
    ]


def _foot(flange: Flange, y: float) -> list[str]:
    bolts = (
        f"{flange.bolts} bolts of {flange.bolt_mm:g} mm on a circle of {flange.bolt_circle_mm:g} mm"
        if flange.bolts
        else "no bolts"
    )
    sizes = f"Hole {flange.hole_mm:g} mm; {bolts}; flange {flange.outer_mm:g} mm."
    hold = "Hold the flange on the sheet before marking: the holes agree."
    caution = "Read the cautions first. No hole in a tank with vapour in it."
    return [
        _words(MARGIN_MM, y, sizes, 4),
        _words(MARGIN_MM, y + 6, hold, 4),
        _words(MARGIN_MM, y + 12, caution, 4, bold=True),
    ]


def _circle(
    x: float, y: float, radius: float, name: str, *, width: float = 0.25, dash: str | None = None
) -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<circle class="{name}" cx="{x:.3f}" cy="{y:.3f}" r="{radius:g}" fill="none" '
        f'stroke="#14202b" stroke-width="{width:g}"{dashes}/>'
    )


def _words(x: float, y: float, text: str, size: float, *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:g}" y="{y:g}" font-family="IBM Plex Mono, monospace" font-size="{size:g}" '
        f'fill="#14202b"{weight}>{escape(text)}</text>'
    )


def _quoted(text: str) -> str:
    return escape(text, {'"': "&quot;"})
