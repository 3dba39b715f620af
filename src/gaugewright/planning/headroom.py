r"""The room above a tank that it takes to bring a rigid probe in.

The probe is a straight tube of diameter d and length L below its flange of diameter W,
with a head of height H above.  It goes through a hole of diameter D in a boss of height b
(plate and boss together) on the tank's top.  Heights are above the foot of the boss.

**Upright** its tip must clear the boss: b + L + H.

**At an angle** t from the plumb line:

* A tube leaning in the hole needs the width D cos t - b sin t, which must not be less than
  d; this gives the steepest lean.  In three dimensions nothing changes: where the tube
  meets either rim it is an ellipse with the half axis d / (2 cos t), shifted by
  (b / 2) tan t, and its furthest point from the hole's middle is the end of that axis.
* With the length s already inside, the highest corner of the head stands at
  b + (L - s + H) cos t + (W + d) / 2 sin t: the tube's own half width lifts it, because
  at the start its lower corner rests at the rim.  (Later it may hang a little lower; this
  is kept as the margin of a hand.)
* The flange's lower edge must stay above the boss: tan t <= 2 (L - s) / W.

The probe enters leaning as far as it can, slides in, and is put upright as the flange
comes down.  For each s the height over t is one hump, so it is least at an end: upright,
or leaning as far as it goes.  Who enters leaning follows the steepest lean down to
upright at s = L, and the highest point on that way is what it takes.  The least of both
ways is the headroom needed.  Nothing may stand in the way sideways; a beam beside the hole
is for the person to see.
"""

from dataclasses import dataclass
from math import atan2, cos, degrees, isfinite, pi, sin

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.words import Length, said

Floats = npt.NDArray[np.float64]

_STEPS = 2001


@dataclass(frozen=True, slots=True)
class RigidProbe:
    """What has to be brought in.  Defaults are common practice, no source. [mm]

    >>> RigidProbe(length_mm=500, tube_mm=40, hole_mm=38)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: hole_mm: a hole of 38 mm does not let a tube of 40 mm in
    """

    length_mm: float
    """Below the flange, to the tip."""
    head_mm: float = 60.0
    """Above the flange: head, plug and the bend of the cable."""
    tube_mm: float = 20.0
    flange_mm: float = 80.0
    hole_mm: float = 38.0
    boss_mm: float = 5.0
    """From the inside of the tank's top to the flange's seat: plate and boss."""

    def __post_init__(self) -> None:
        """Refuse sizes that cannot be."""
        for name in self.__slots__:
            value = getattr(self, name)
            least = 0.0 if name in ("head_mm", "boss_mm") else 1e-3
            if not (isfinite(value) and least <= value <= 1e5):
                raise InputError(
                    said("must be a length in mm, found {value:g}", value=value), field=name
                )
        if self.hole_mm < self.tube_mm:
            raise InputError(
                said(
                    "a hole of {hole_mm:g} does not let a tube of {tube_mm:g} in",
                    hole_mm=Length(self.hole_mm),
                    tube_mm=Length(self.tube_mm),
                ),
                field="hole_mm",
            )


@dataclass(frozen=True, slots=True)
class Headroom:
    """The room it takes above the tank's top and, leaning, beside the hole inside."""

    upright_mm: float
    leaning_mm: float
    """Entering at the steepest lean that the hole allows. [mm]"""
    steepest_deg: float
    inside_mm: float
    """How far the tip reaches sideways inside when it enters leaning. [mm]"""

    @property
    def needed_mm(self) -> float:
        """Return the least headroom that will do. [mm]"""
        return min(self.upright_mm, self.leaning_mm)

    def verdict(self, available_mm: float, inside_mm: float | None = None) -> str:
        """Say how the probe goes in, or by how much it does not.

        ``inside_mm`` is the free room beside the hole inside the tank, if known.

        >>> headroom(RigidProbe(500)).verdict(600)
        'upright, 35 mm to spare'
        >>> headroom(RigidProbe(500)).verdict(300)
        'impossible: 300 mm above the tank, 396 mm needed, leaning 51.0° through the hole'
        """
        if not (isfinite(available_mm) and available_mm >= 0):
            raise InputError(
                said("must be 0 mm or more, found {available_mm:g}", available_mm=available_mm),
                field="headroom_mm",
            )
        if available_mm >= self.upright_mm:
            return said(
                "upright, {spare_mm:.0f} to spare",
                spare_mm=Length(available_mm - self.upright_mm),
            )
        if available_mm < self.leaning_mm:
            return said(
                "impossible: {available_mm:g} above the tank, {needed_mm:.0f} needed, "
                "leaning {steepest_deg:.1f}° through the hole",
                available_mm=Length(available_mm),
                needed_mm=Length(self.needed_mm),
                steepest_deg=self.steepest_deg,
            )
        if inside_mm is not None and inside_mm < self.inside_mm:
            return said(
                "not leaning: the tip needs {inside_mm:.0f} beside the hole inside, "
                "{free_mm:.0f} are free; upright needs {upright_mm:.0f} above",
                inside_mm=Length(self.inside_mm),
                free_mm=Length(inside_mm),
                upright_mm=Length(self.upright_mm),
            )
        return said(
            "leaning {steepest_deg:.1f}°, {spare_mm:.0f} to spare; the tip reaches "
            "{inside_mm:.0f} sideways inside",
            steepest_deg=self.steepest_deg,
            spare_mm=Length(available_mm - self.leaning_mm),
            inside_mm=Length(self.inside_mm),
        )


def headroom(probe: RigidProbe) -> Headroom:
    """Give the headroom that a rigid probe takes.

    >>> found = headroom(RigidProbe(500, head_mm=60, tube_mm=20, hole_mm=38, boss_mm=5))
    >>> round(found.upright_mm), round(found.leaning_mm), round(found.steepest_deg, 1)
    (565, 396, 51.0)
    """
    steepest = steepest_lean(probe)
    inserted = np.linspace(0.0, probe.length_mm, _STEPS)
    left = probe.length_mm - inserted
    lean = np.minimum(steepest, np.arctan2(2 * left, probe.flange_mm))
    heights = _height(probe, left, lean)
    # Between two steps the flange may pass the hump of the height; its top is known.
    hump = _hump(probe, steepest)
    sideways = inserted * np.sin(lean) + probe.tube_mm / 2 * np.cos(lean)
    return Headroom(
        upright_mm=probe.boss_mm + probe.length_mm + probe.head_mm,
        leaning_mm=float(max(heights.max(), hump)),
        steepest_deg=degrees(steepest),
        inside_mm=float(sideways.max()),
    )


def steepest_lean(probe: RigidProbe) -> float:
    """Give the steepest lean from the plumb line at which the tube goes through. [rad]

    The root of ``D cos t - b sin t = d``; 0 for a hole that fits the tube exactly.

    >>> round(degrees(steepest_lean(RigidProbe(500, tube_mm=20, hole_mm=40, boss_mm=0))), 6)
    60.0
    """
    size = float(np.hypot(probe.hole_mm, probe.boss_mm))
    own = atan2(probe.boss_mm, probe.hole_mm)
    return float(max(0.0, min(np.arccos(min(probe.tube_mm / size, 1.0)) - own, pi / 2)))


def _height(probe: RigidProbe, left: Floats, lean: Floats) -> Floats:
    half = (probe.flange_mm + probe.tube_mm) / 2
    result: Floats = probe.boss_mm + (left + probe.head_mm) * np.cos(lean) + half * np.sin(lean)
    return result


def _hump(probe: RigidProbe, steepest: float) -> float:
    """Give the height where the flange's edge rests on the boss, at its highest. [mm]

    There tan t = 2 (L - s) / W, so the height is b + W/2 sin t + H cos t + (W + d)/2 sin t,
    for leans up to the steepest that the hole and the length allow.
    """
    along, across = probe.head_mm, probe.flange_mm + probe.tube_mm / 2
    furthest = min(steepest, atan2(2 * probe.length_mm, probe.flange_mm))
    at = min(atan2(across, along), furthest)
    return probe.boss_mm + along * cos(at) + across * sin(at)
