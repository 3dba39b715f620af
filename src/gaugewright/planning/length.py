"""How long to cut a probe, how sure that is, and what it will then see.

The probe hangs from its seat on the boss.  From the seat down there are the boss and the
flange's own step (``seat_mm``), the tank's depth, less what stays free below the tip; a
cap at the end is part of the probe but is not cut.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf, isfinite, sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.probe import Probe, column_at
from gaugewright.tank.description import Tank
from gaugewright.tank.levels import litres_at
from gaugewright.tank.shapes import solid_of
from gaugewright.units import parse_length_mm
from gaugewright.words import Length, said

Floats = npt.NDArray[np.float64]

TIP_CLEARANCE_MM = 20.0
"""Kept free below the tip for flexing, dirt and water. Common practice, no source. [mm]"""
STAND_OFF_ALLOWANCE_MM = 45.0
"""Cut off beyond the measured stand-off. Common practice, no source. [mm]"""
BLIND_TOP_MM = 20.0
"""Not sensed below the flange: the vent hole. Common practice, no source. [mm]"""
SAME_MM = 0.05
"""Two typed lengths this close are the same. [mm]"""
SAME_CUT_MM = 0.55
"""A cut typed in whole millimetres is still the plan's. [mm]"""
COVERAGE = 1.96

Verdict = Literal["clears", "may touch", "touches"]


@dataclass(frozen=True, slots=True)
class Part:
    """One length that goes into the clearance. [mm]"""

    name: str
    mm: float
    """With its sign: what adds to the clearance is positive."""
    u_mm: float
    """Standard uncertainty; 0 is exact."""
    worst_mm: float
    """The most it is ever wrong."""

    def __post_init__(self) -> None:
        """Refuse what is no length."""
        if not all(isfinite(v) for v in (self.mm, self.u_mm, self.worst_mm)):
            raise InputError(said("must be finite lengths in mm"), field=self.name)
        if self.u_mm < 0 or self.worst_mm < 0:
            raise InputError(said("an uncertainty must not be negative"), field=self.name)


@dataclass(frozen=True, slots=True)
class Cut:
    """A length to cut to, with the stack of what may be wrong."""

    way: str
    cut_length_mm: float
    """From the flange's seat to the cut, cap not included. [mm]"""
    tip_clearance_mm: float
    """From the lowest inside point under the probe to the tip, cap included. [mm]"""
    parts: tuple[Part, ...]
    bottom_flex_mm: float
    """How far the bottom may come up, or the top down. [mm]"""

    @property
    def u_mm(self) -> float:
        """Return the standard uncertainty of the clearance. [mm]"""
        return sqrt(sum(part.u_mm**2 for part in self.parts))

    @property
    def least_mm(self) -> float:
        """Return the clearance with everything as wrong as it ever is, bottom at rest. [mm]"""
        return self.tip_clearance_mm - sum(part.worst_mm for part in self.parts)

    @property
    def flexed_mm(self) -> float:
        """Return the clearance left when the bottom flexes. [mm]"""
        return self.tip_clearance_mm - self.bottom_flex_mm

    @property
    def touch_probability(self) -> float:
        """Return the probability that the tip touches the flexed bottom, errors normal."""
        if self.u_mm == 0:
            return float(self.flexed_mm <= 0)
        return 0.5 * (1 - erf(self.flexed_mm / self.u_mm / sqrt(2)))

    @property
    def verdict(self) -> Verdict:
        """Return whether the tip touches when the bottom flexes.

        ``touches``: with every length as measured.  ``may touch``: with every length as
        wrong as it ever is, or with a probability over 1 in 1,000.
        """
        if self.flexed_mm <= 0:
            return "touches"
        is_close = self.least_mm - self.bottom_flex_mm <= 0 or self.touch_probability > 1e-3
        return "may touch" if is_close else "clears"


def cut_by_depth(
    depth_mm: float,
    *,
    seat_mm: float = 0.0,
    tip_clearance_mm: float = TIP_CLEARANCE_MM,
    cap_mm: float = 0.0,
    bottom_flex_mm: float = 5.0,
    u_depth_mm: float = 1.0,
    u_seat_mm: float = 0.5,
    u_cut_mm: float = 0.5,
) -> Cut:
    """Give the cut from the inside depth, by dip stick or from the drawing.

    ``depth_mm`` is from the lowest to the highest inside point at the place, ``seat_mm``
    from there up to the flange's seat: plate, boss, gasket and the flange's own step.
    Standard uncertainties are common practice, no source; at worst a length is twice that
    wrong.

    >>> cut = cut_by_depth(500, seat_mm=8, cap_mm=3)
    >>> cut.cut_length_mm, round(cut.u_mm, 2), cut.least_mm, cut.verdict
    (485.0, 1.22, 16.0, 'clears')
    >>> cut_by_depth(500, bottom_flex_mm=25).verdict
    'touches'
    """
    _require(
        depth_mm=depth_mm, seat_mm=seat_mm, tip_clearance_mm=tip_clearance_mm, cap_mm=cap_mm,
        bottom_flex_mm=bottom_flex_mm,
    )  # fmt: skip
    length = depth_mm + seat_mm - tip_clearance_mm - cap_mm
    if length <= 0:
        raise InputError(
            said(
                "{depth_mm:g} leaves nothing of a probe with {tip_clearance_mm:g} below it",
                depth_mm=Length(depth_mm),
                tip_clearance_mm=Length(tip_clearance_mm),
            ),
            field="depth_mm",
        )
    parts = (
        Part("depth", depth_mm, u_depth_mm, 2 * u_depth_mm),
        Part("seat", seat_mm, u_seat_mm, 2 * u_seat_mm),
        Part("cut", -length, u_cut_mm, 2 * u_cut_mm),
        Part("cap", -cap_mm, 0.0, 0.0),
    )
    return Cut("inside depth", length, tip_clearance_mm, parts, bottom_flex_mm)


def cut_by_stand_off(
    full_length_mm: float,
    stand_off_mm: float,
    *,
    allowance_mm: float = STAND_OFF_ALLOWANCE_MM,
    cap_mm: float = 0.0,
    bottom_flex_mm: float = 5.0,
    u_stand_off_mm: float = 1.0,
    u_cut_mm: float = 0.5,
) -> Cut:
    """Give the cut from how far the uncut probe stands off its seat, tip on the bottom.

    ``full_length_mm`` is the tube below the flange, without a cap.  What is cut off is the
    stand-off and the allowance; the allowance, less a cap put on afterwards, is what stays
    free below the tip.

    >>> cut = cut_by_stand_off(700, 195)
    >>> cut.cut_length_mm, cut.tip_clearance_mm
    (460.0, 45.0)
    """
    _require(
        full_length_mm=full_length_mm, stand_off_mm=stand_off_mm, allowance_mm=allowance_mm,
        cap_mm=cap_mm, bottom_flex_mm=bottom_flex_mm,
    )  # fmt: skip
    length = full_length_mm - stand_off_mm - allowance_mm
    if length <= 0:
        raise InputError(
            said(
                "{stand_off_mm:g} and {allowance_mm:g} to cut off leave nothing of "
                "{full_length_mm:g}",
                stand_off_mm=Length(stand_off_mm),
                allowance_mm=Length(allowance_mm),
                full_length_mm=Length(full_length_mm),
            ),
            field="stand_off_mm",
        )
    clearance = allowance_mm - cap_mm
    if clearance < 0:
        raise InputError(
            said(
                "a cap of {cap_mm:g} is longer than the {allowance_mm:g} cut off for it",
                cap_mm=Length(cap_mm),
                allowance_mm=Length(allowance_mm),
            ),
            field="cap_mm",
        )
    parts = (
        # The probe's own full length is on both sides and drops out.
        Part("stand-off", stand_off_mm, u_stand_off_mm, 2 * u_stand_off_mm),
        Part("cut off", stand_off_mm + allowance_mm, u_cut_mm, 2 * u_cut_mm),
        Part("cap", -cap_mm, 0.0, 0.0),
    )
    return Cut("stand-off", length, clearance, parts, bottom_flex_mm)


def ways_agree(first: Cut, second: Cut) -> tuple[bool, float]:
    """Tell whether two ways of measuring find the same tank, and how far apart they are. [mm]

    Compared are the cuts at equal clearance, against 95 % of both uncertainties.

    >>> ways_agree(cut_by_depth(500, seat_mm=8, cap_mm=0), cut_by_stand_off(700, 193))
    (True, 1.0)
    >>> ways_agree(cut_by_depth(500, seat_mm=8), cut_by_stand_off(700, 180))[0]
    False
    """
    apart = first.cut_length_mm + first.tip_clearance_mm
    apart -= second.cut_length_mm + second.tip_clearance_mm
    return abs(apart) <= COVERAGE * sqrt(first.u_mm**2 + second.u_mm**2), apart


@dataclass(frozen=True, eq=False)
class Seen:
    """What a probe will see of its tank."""

    dead_stock_l: float
    """Litres below the tip, tank standing level. [L]"""
    blind_above_l: float
    """Litres above the top of the sensed length. [L]"""
    blind_above_mm: float
    capacity_l: float
    level_mm: Floats
    """Levels above the lowest inside point of the tank, over the sensed length. [mm]"""
    litres: Floats
    litres_per_count: Floats
    smallest_visible_l: Floats
    """The least change that two readings tell apart, 95 %, at each level. [L]"""


def seen_by(tank: Tank, probe: Probe, *, noise_counts: float = 1.0, samples: int = 1) -> Seen:
    """Give what a probe sees: dead stock, the blind part above, litres per count.

    ``noise_counts`` is the standard deviation of one sample, ``samples`` how many are
    averaged.  Two readings differ visibly from 1.96 sqrt(2) of a reading's uncertainty on,
    rounding to whole counts (1/sqrt(12)) included.

    Raises `InputError` for a tip above the tank's top.

    >>> box = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> seen = seen_by(box, Probe(500, 300, tip_clearance_mm=20, active_length_mm=460))
    >>> round(seen.dead_stock_l, 3), round(seen.blind_above_l, 3)
    (12.0, 12.0)
    >>> seen.litres_per_count[0].round(4), seen.smallest_visible_l[0].round(3)
    (np.float64(0.0674), np.float64(0.194))
    """
    if not (isfinite(noise_counts) and noise_counts >= 0):
        raise InputError(
            said("must be 0 or more, found {noise_counts:g}", noise_counts=noise_counts),
            field="noise_counts",
        )
    if samples < 1:
        raise InputError(
            said("must be 1 or more, found {samples}", samples=samples), field="samples"
        )
    low, high = column_at(tank, probe)
    tip = low + probe.tip_clearance_mm
    if tip >= high:
        raise InputError(
            said(
                "{tip_clearance_mm:g} is above the highest inside point there, {high:g}",
                tip_clearance_mm=Length(probe.tip_clearance_mm),
                high=Length(high - low),
            ),
            field="probe.tip_clearance_mm",
        )
    top = min(tip + probe.active_length_mm, high)
    levels = np.linspace(tip, top, 41)
    litres = litres_at(tank, levels)
    capacity = float(litres_at(tank, solid_of(tank).top_mm))
    reach = min(0.5, 0.001 * (top - tip))
    inside = np.clip(levels, tip + reach, top - reach)
    per_mm = (litres_at(tank, inside + reach) - litres_at(tank, inside - reach)) / (2 * reach)
    per_count = per_mm * abs(probe.mm_per_count)
    u_counts = sqrt(noise_counts**2 / samples + 1 / 12)
    return Seen(
        float(litres[0]),
        capacity - float(litres[-1]),
        high - top,
        capacity,
        levels,
        litres,
        per_count,
        COVERAGE * sqrt(2) * u_counts * per_count,
    )


def confirmed(first: str, second: str) -> float:
    """Give a length that was typed twice, the same both times. [mm]

    What is cut off cannot be put back, so the figure is typed again, not clicked.

    >>> confirmed("485", "485,0 mm")
    485.0
    >>> confirmed("485", "458")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: cut_length_mm: 458 mm is not 485 mm as typed before (two digits
    are swapped); measure again and type both anew
    """
    before = parse_length_mm(first, field="cut_length_mm")
    again = parse_length_mm(second, field="cut_length_mm")
    for value in (before, again):
        if value <= 0:
            raise InputError(
                said("must be above 0 mm, found {value:g}", value=value), field="cut_length_mm"
            )
    if abs(before - again) > SAME_MM:
        one, two = f"{before:g}", f"{again:g}"
        swapped = sorted(one) == sorted(two)
        slip = said(" (two digits are swapped)") if swapped and _differ(one, two) == 2 else ""
        raise InputError(
            said(
                "{again:g} is not {before:g} as typed before{slip}; measure again and type both "
                "anew",
                again=Length(again),
                before=Length(before),
                slip=slip,
            ),
            field="cut_length_mm",
        )
    return before


def _differ(one: Sequence[str], two: Sequence[str]) -> int:
    return sum(a != b for a, b in zip(one, two, strict=True))


def _require(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (isfinite(value) and value >= 0):
            raise InputError(said("must be 0 mm or more, found {value:g}", value=value), field=name)
