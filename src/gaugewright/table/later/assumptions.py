"""What is assumed about a table's later life where nobody measured: each figure in one place.

Standard uncertainties unless the name says otherwise; common practice without a published
source.  A user who knows better gives the measured value instead.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mounting:
    """How well a probe's zero, span, tip and place are known.

    Counts are for a scale of 4095; other scales in proportion.
    """

    u_tip_mm: float = 2.0
    """Clearance of the tip from the bottom, 3 mm either way. [mm]"""
    u_zero_counts: float = 2.2
    """Dry reading taken on the bench. [counts]"""
    u_span_counts: float = 2.2
    """Reading taken fully immersed. [counts]"""
    u_place_mm: float = 5.0
    """Where it stands, along and across; counts where the bottom is not flat. [mm]"""


def mounting(**known: float | None) -> Mounting:
    """Return how well a probe is known; what nobody gave (``None``) stays as assumed.

    >>> mounting(u_tip_mm=1.0, u_place_mm=None).u_tip_mm
    1.0
    """
    return Mounting(**{name: value for name, value in known.items() if value is not None})


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far two tanks of one model differ from each other."""

    u_mm: float = 2.0
    """Each dimension, 3 mm either way. [mm]"""
    departure: float = 0.35
    """Walls and inner parts: share of what is left open for a tank nobody filled."""
    size: float = 0.004
    """Without a tank file: all litres together, as a share of them."""
    walls: float = 0.003
    """Without a tank file: the cross-section at each height, as a share of it."""
    other_model: float = 0.08
    """What it is worth before any pour that the two are not of one model after all."""


REACHES = (0.5, 0.1)
"""How the errors of a table of which only the band is known hang together: over half of the
scale or over a tenth of it, both as probable."""
BEYOND = 0.03
"""Cross-section above the height that the old probe saw, as a share of the described one."""
