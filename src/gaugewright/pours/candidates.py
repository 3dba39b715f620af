"""The usual mistakes of a fill, listed: which figure, what it may have been, how often.

The worth of each mistake beforehand is common practice without a source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import chain

import numpy as np
import numpy.typing as npt

from gaugewright.pours.figures import misread_litres, misreadings
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]

WORTH = {
    "litres_mistyped": 0.012,
    "decimal_slip": 0.006,
    "pour_missing": 0.012,
    "pour_twice": 0.010,
    "meter_not_reset": 0.008,
    "counts_mistyped": 0.012,
    "not_settled": 0.012,
    "vehicle_moved": 0.010,
}
"""How often each mistake happens in a fill, spread evenly over its pours."""

SAME_READING_COUNTS = 12
"""Two readings closer than this may be one level read twice. [counts]"""

EXACT, ABOUT, BETWEEN = range(3)
"""How a candidate's change is weighed: one figure, about a mean, or anywhere between limits."""


@dataclass(frozen=True, eq=False)
class Candidates:
    """Every mistake looked for in a fill, one place each; shape (m,)."""

    kind: tuple[str, ...]
    pour: Indices
    """Index in the fill."""
    is_reading: Flags
    """The counts are in doubt, not the litres."""
    how: Indices
    a: Floats
    """Change of the litres [L]; for a reading counts instead [counts]; or the mean or low limit."""
    b: Floats
    """Spread or high limit. [L]"""
    log_worth: Floats
    correction: Floats
    """The figure that would put it right, not a number where it is only estimated."""


@dataclass(frozen=True, slots=True)
class _Group:
    """Candidates of one kind at one pour that differ in the figure meant only."""

    kind: str
    pour: int
    how: int
    worth: float
    a: float = 0.0
    b: float = 0.0
    is_reading: bool = False
    is_typed: bool = False
    """Litres: each figure in ``values`` may have been meant."""
    values: Sequence[float] = field(default=(float("nan"),))


def candidates_of(fill: Fill, component: Component) -> Candidates:
    """Return every candidate mistake of a fill; the worth of each is spread over the pours."""
    groups: list[_Group] = []
    seen = set(component.equations.pours)
    last = max(seen, default=0)
    poured = [p.added_l for p in fill.pours[1:] if p.added_l > 0]
    typical = float(np.median(poured)) if poured else 1.0
    spread = float(np.median(np.abs(np.log(np.array(poured) / typical)))) if poured else 0.0
    number = max(1, len(fill.pours) - 1)
    worth = {kind: value / number for kind, value in WORTH.items()}
    for k in range(1, last + 1):
        groups += _litres_groups(fill, k, typical, worth)
    for k in sorted(seen):
        groups += _reading_groups(fill, k, component, worth)
    return _laid_out(groups, fill, typical, spread)


def _laid_out(groups: list[_Group], fill: Fill, typical: float, spread: float) -> Candidates:
    sizes = np.array([len(g.values) for g in groups], dtype=np.intp)
    spread_out = np.repeat(np.arange(len(groups)), sizes)

    def column(values: list[float]) -> Floats:
        return np.array(values, dtype=np.float64)[spread_out]

    value = np.fromiter(chain.from_iterable(g.values for g in groups), np.float64)
    pour = np.array([g.pour for g in groups], dtype=np.intp)[spread_out]
    is_reading = np.array([g.is_reading for g in groups], dtype=bool)[spread_out]
    how = np.array([g.how for g in groups], dtype=np.intp)[spread_out]
    is_typed = np.array([g.is_typed for g in groups], dtype=bool)[spread_out]
    a = column([g.a for g in groups])
    worth = np.log(column([g.worth / len(g.values) for g in groups]))
    written = np.array([p.added_l for p in fill.pours])[pour]
    a[is_typed] = (value - written)[is_typed]
    worth[is_typed] += _log_more_usual(value[is_typed], written[is_typed], typical, spread)
    is_other_counts = is_reading & (how == EXACT)
    a[is_other_counts] = value[is_other_counts]
    return Candidates(
        kind=tuple(chain.from_iterable((g.kind,) * len(g.values) for g in groups)),
        pour=pour,
        is_reading=is_reading,
        how=how,
        a=a,
        b=column([g.b for g in groups]),
        log_worth=worth,
        correction=value,
    )


def _litres_groups(fill: Fill, k: int, typical: float, worth: dict[str, float]) -> list[_Group]:
    a, before = fill.pours[k].added_l, fill.pours[k - 1].added_l
    found = []
    if a > 0:
        options = misread_litres(a, fill.unit)
        for how, kind, share in (
            ("swapped", "litres_mistyped", 0.55),
            ("digit", "litres_mistyped", 0.25),
            ("slip", "decimal_slip", 1.0),
        ):
            meant = [m.value for m in options if m.how == how]
            if meant:
                found.append(
                    _Group(kind, k, EXACT, share * worth[kind], is_typed=True, values=meant)
                )
        if before > 0 and k > 1 and a - before > 0.1 * typical:
            found.append(
                _Group(
                    "meter_not_reset",
                    k,
                    EXACT,
                    worth["meter_not_reset"],
                    a=-before,
                    values=(a - before,),
                )
            )
        rise = abs(fill.pours[k].counts - fill.pours[k - 1].counts)
        if before > 0 and k > 1 and a == before and rise <= SAME_READING_COUNTS:
            found.append(
                _Group("pour_twice", k, EXACT, worth["pour_twice"], a=-a, values=(0.0,)),
            )
    found.append(
        _Group("litres_mistyped", k, ABOUT, 0.2 * worth["litres_mistyped"], b=0.6 * max(a, typical))
    )
    likely = sorted({round(a, 3), round(before, 3), round(typical, 3)} - {0.0})
    for same in likely:
        share = 0.6 * worth["pour_missing"] / len(likely)
        found.append(_Group("pour_missing", k, ABOUT, share, a=same, b=0.02 * same))
    found.append(
        _Group("pour_missing", k, ABOUT, 0.4 * worth["pour_missing"], a=typical, b=0.4 * typical)
    )
    return found


def _log_more_usual(meant: Floats, written: Floats, typical: float, spread: float) -> Floats:
    """How much more usual one figure is than another among the pours of this fill, as a log."""
    width = max(0.25, 1.5 * spread)
    far = (np.log(written / typical) / width) ** 2 - (np.log(meant / typical) / width) ** 2
    return np.clip(0.5 * far, -3.0, 3.0)


def _reading_groups(
    fill: Fill, k: int, component: Component, worth: dict[str, float]
) -> list[_Group]:
    curves = component.curves
    counts = fill.pours[k].counts
    top = max(curves.probe.counts_full, curves.probe.counts_empty)
    mistyped = worth["counts_mistyped"]
    options = misreadings(round(counts), slips=False)
    found = []
    for how, share in (("swapped", 0.6), ("digit", 0.25)):
        meant = [m.value for m in options if m.how == how and m.value <= top]
        if meant:
            found.append(
                _Group("counts_mistyped", k, EXACT, share * mistyped, is_reading=True, values=meant)
            )
    found.append(
        _Group(
            "counts_mistyped",
            k,
            ABOUT,
            0.15 * mistyped,
            b=0.3 * curves.capacity_l,
            is_reading=True,
        )
    )
    rise = fill.pours[k].added_l
    if k > 0 and rise > 0:
        # The fuel had still this much to rise (to fall, in a draining record).
        low, high = -rise, -0.01 * rise
        if fill.is_draining:
            low, high = -high, -low
        found.append(
            _Group("not_settled", k, BETWEEN, worth["not_settled"], a=low, b=high, is_reading=True)
        )
    return found
