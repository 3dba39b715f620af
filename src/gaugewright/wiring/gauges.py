"""Sizes of a conductor as people write them: mm², or the American wire gauge.

The gauge is a closed formula, ASTM B258: d = 0.127 mm 92^((36 - n)/39), a solid round wire.
Its copper has 0.017241 ohm mm2/m at 20 °C (IEC 60028, IACS).  Cable is stranded: the lay of
the strands adds 2 % (4.99 against 4.89 ohm per 1000 ft of No. 16 in NEC chapter 9 table 8, the
second from memory), tin 6 % more (the same table, from memory).
"""

import re
from dataclasses import dataclass
from math import isfinite, pi

from gaugewright.errors import InputError
from gaugewright.words import said

COPPER_OHM_MM2_PER_KM = 17.241
STRANDED = 1.02
TINNED = 1.06
THICKEST, THINNEST = -3, 40
"""4/0, and the thinnest that anybody draws by this gauge's name."""
_GAUGE = re.compile(r"(?:awg|ga(?:uge|\.)?)\s*#?(\d/0|\d+)|#?(\d/0|\d+)\s*(?:awg|ga(?:uge|\.)?)")
_AREA = re.compile(r"([-+]?[\d.,]+)\s*(?:mm²|mm2|mm\^2|qmm|sqmm|sq\.? ?mm)?")


@dataclass(frozen=True, slots=True)
class Gauge:
    """A wire of the American wire gauge."""

    number: int
    diameter_mm: float
    area_mm2: float
    ohm_per_km: float
    """Of the solid wire at 20 °C. [ohm/km]"""

    @property
    def name(self) -> str:
        """Return how it is written.

        >>> awg(14).name, awg(-1).name
        ('14 AWG', '2/0 AWG')
        """
        return f"{self.number} AWG" if self.number > 0 else f"{1 - self.number}/0 AWG"


Size = float | Gauge
"""Of a conductor: mm², or a gauge."""


def awg(number: int) -> Gauge:
    """Give a wire of the American wire gauge; -3 is 4/0. Not the SAE gauge, which is thinner.

    >>> wire = awg(18)
    >>> round(wire.diameter_mm, 4), round(wire.area_mm2, 4), round(wire.ohm_per_km, 2)
    (1.0237, 0.823, 20.95)
    """
    if not THICKEST <= number <= THINNEST:
        raise InputError(
            said(
                "{number} is no gauge, wanted 4/0 to {thinnest}", number=number, thinnest=THINNEST
            ),
            field="awg",
        )
    diameter = 0.127 * 92 ** ((36 - number) / 39)
    area = pi / 4 * diameter**2
    return Gauge(number, diameter, area, COPPER_OHM_MM2_PER_KM / area)


def gauge_not_thinner(area_mm2: float) -> Gauge:
    """Give the thinnest even gauge, the ones that shops keep, with at least this area.

    >>> [gauge_not_thinner(area).number for area in (0.5, 0.75, 1.5, 2.5)]
    [20, 18, 14, 12]
    """
    for number in (*range(THINNEST, -1, -2), -1, -2, -3):
        gauge = awg(number)
        if gauge.area_mm2 >= area_mm2:
            return gauge
    raise InputError(
        said("{area_mm2:g} mm² is thicker than any gauge", area_mm2=area_mm2), field="area_mm2"
    )


def read_size(typed: str | float, field: str) -> Size:
    """Read a conductor's size: a bare figure is mm², a gauge has AWG before or behind it.

    >>> read_size("2,5 mm²", "area_mm2"), read_size("0.75", "area_mm2")
    (2.5, 0.75)
    >>> read_size("14 AWG", "area_mm2").number, read_size("awg 2/0", "area_mm2").number
    (14, -1)
    >>> read_size("thick", "area_mm2")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: area_mm2: 'thick' is no size of a conductor, wanted mm² or a \
gauge, such as 2.5 mm² or 14 AWG
    """
    text = str(typed).strip().lower()
    if (gauge := _GAUGE.fullmatch(text)) is not None:
        written = gauge[1] or gauge[2]
        number = 1 - int(written[0]) if written.endswith("/0") else int(written)
        if not THICKEST <= number <= THINNEST or written == "0/0":
            raise InputError(
                said(
                    "{written} AWG is no gauge, wanted 4/0 to {thinnest} AWG",
                    written=written,
                    thinnest=THINNEST,
                ),
                field=field,
            )
        return awg(number)
    found = _AREA.fullmatch(text)
    try:
        area = float(found[1].replace(",", ".")) if found is not None else 0.0
    except ValueError:
        area = 0.0
    if not (isfinite(area) and area > 0):
        raise InputError(
            said(
                "'{typed}' is no size of a conductor, wanted mm² or a gauge, such as 2.5 mm² or "
                "14 AWG",
                typed=str(typed)[:20],
            ),
            field=field,
        )
    return area


def size_in_both(size: Size) -> str:
    """Give a size in mm² and by the gauge.

    >>> size_in_both(awg(14)), size_in_both(1.5)
    ('14 AWG (2.08 mm²)', '1.5 mm² (14 AWG or thicker)')
    """
    if isinstance(size, Gauge):
        return said("{gauge} ({area:.2f} mm²)", gauge=size.name, area=size.area_mm2)
    other = gauge_not_thinner(size).name
    return said("{area:g} mm² ({gauge} or thicker)", area=size, gauge=other)
