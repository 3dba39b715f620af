"""The probe: counts to level, dead stock below the tip, the blind part above."""

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from difflib import get_close_matches
from math import isfinite
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank, number
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

LENGTHS_MM = (5.0, 20_000.0)
"""The shortest and the longest probe that can be meant. [mm]"""
FEWEST_COUNTS, MOST_COUNTS = 8.0, 2.0**32
"""Counts from empty to full at least, and the largest that a probe sends. [counts]"""


@dataclass(frozen=True, slots=True)
class Probe:
    """Where a probe stands and how its counts follow the level.

    The reading is linear in the wetted length: ``counts_empty`` dry, ``counts_full``
    when ``active_length_mm`` is wet.  Levels are heights above the tip.

    >>> probe = Probe(x_mm=600, y_mm=300, tip_clearance_mm=20, active_length_mm=500)
    >>> float(probe.wetted_mm(2047.5))
    250.0
    >>> float(probe.counts_of(250))
    2047.5
    """

    x_mm: float
    y_mm: float
    tip_clearance_mm: float
    """From the lowest inside point under the probe to its tip. [mm]"""
    active_length_mm: float
    """Wetted length at full scale. [mm]"""
    counts_empty: float = 0.0
    counts_full: float = 4095.0

    def __post_init__(self) -> None:
        """Refuse a probe that cannot be."""
        for name in self.__slots__:
            if not isfinite(getattr(self, name)):
                raise InputError(
                    said("{value} is not a finite number", value=getattr(self, name)), field=name
                )
        if self.tip_clearance_mm < 0:
            raise InputError(
                said(
                    "must not be negative, found {tip_clearance_mm:g} mm",
                    tip_clearance_mm=self.tip_clearance_mm,
                ),
                field="probe.tip_clearance_mm",
            )
        shortest, longest = LENGTHS_MM
        if not shortest <= self.active_length_mm <= longest:
            raise InputError(
                said(
                    "must be {shortest:g} to {longest:g} mm, found {active_length_mm:g} mm",
                    shortest=shortest,
                    longest=longest,
                    active_length_mm=self.active_length_mm,
                ),
                field="probe.active_length_mm",
            )
        if self.counts_full == self.counts_empty:
            raise InputError(
                said(
                    "must differ from the counts dry (probe.counts_empty), "
                    "both are {counts_full:g}",
                    counts_full=self.counts_full,
                ),
                field="probe.counts_full",
            )
        most = max(abs(self.counts_empty), abs(self.counts_full))
        if most > MOST_COUNTS or abs(self.counts_full - self.counts_empty) < FEWEST_COUNTS:
            raise InputError(
                said(
                    "wanted {fewest_counts:g} counts or more from empty to full and none "
                    "beyond {most_counts:.0f}, found {counts_empty:g} to {counts_full:g}",
                    fewest_counts=FEWEST_COUNTS,
                    most_counts=MOST_COUNTS,
                    counts_empty=self.counts_empty,
                    counts_full=self.counts_full,
                ),
                field="probe.counts_full",
            )

    @property
    def mm_per_count(self) -> float:
        """Level change that moves the reading by one count. [mm]"""
        return self.active_length_mm / (self.counts_full - self.counts_empty)

    def wetted_mm(self, counts: npt.ArrayLike) -> Floats:
        """Return the wetted length above the tip, unclipped. [mm]"""
        result: Floats = (
            np.asarray(counts, dtype=np.float64) - self.counts_empty
        ) * self.mm_per_count
        return result

    def counts_of(self, wetted_mm: npt.ArrayLike) -> Floats:
        """Return the counts at a wetted length, unclipped. [counts]"""
        result: Floats = (
            np.asarray(wetted_mm, dtype=np.float64) / self.mm_per_count + self.counts_empty
        )
        return result


def probe_from_mapping(mapping: Mapping[str, Any]) -> Probe:
    """Read a probe from the ``probe`` table of a tank file.

    Takes the table itself, a whole tank file with the table in it, or one with dotted
    names.  Numbers may come as text, with a decimal comma too.

    Raises `InputError` for a field that is missing, misspelt or not a number.

    >>> probe_from_mapping({"x_mm": 600, "y_mm": 300, "tip_clearence_mm": 20})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: probe.tip_clearence_mm: no such field, did you
    mean probe.tip_clearance_mm?
    """
    table = _probe_table(mapping)
    known = {f.name: f.default for f in fields(Probe)}
    given: dict[str, float] = {}
    for name, value in table.items():
        if name not in known:
            near = get_close_matches(name, list(known), n=1, cutoff=0.5)
            hint = f"did you mean probe.{near[0]}?" if near else f"wanted {', '.join(known)}"
            raise InputError(said("no such field, {hint}", hint=hint), field=f"probe.{name}")
        given[name] = number(f"probe.{name}", value)
    for name, default in known.items():
        if default is MISSING and name not in given:
            raise InputError(said("is missing"), field=f"probe.{name}")
    return Probe(**given)


def column_at(tank: Tank, probe: Probe) -> tuple[float, float]:
    """Give the lowest and the highest inside point of the tank at the probe. [mm]

    Raises `InputError` for a probe that stands outside the tank.

    >>> tank = Tank("lying_cylinder", length_mm=1200, diameter_mm=600)
    >>> probe = Probe(x_mm=600, y_mm=700, tip_clearance_mm=20, active_length_mm=500)
    >>> column_at(tank, probe)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: probe.x_mm, probe.y_mm: x 600 mm, y 700 mm is outside
    the tank, which reaches from x 0 to 1200 mm and y 0 to 600 mm
    """
    try:
        return column(solid_of(tank), probe.x_mm, probe.y_mm)
    except InputError as error:
        if error.field is not None:
            raise
        raise InputError(error.problem, field="probe.x_mm, probe.y_mm") from None


def _probe_table(mapping: Mapping[str, Any]) -> dict[str, Any]:
    dotted = {
        name.removeprefix("probe."): value
        for name, value in mapping.items()
        if name.startswith("probe.")
    }
    table = mapping.get("probe")
    if table is not None and not isinstance(table, Mapping):
        raise InputError(said("must be a table, found {table!r}", table=table), field="probe")
    if table is None and not dotted:
        return dict(mapping)
    return {**(table or {}), **dotted}
