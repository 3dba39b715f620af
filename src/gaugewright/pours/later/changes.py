"""What may have changed since a table was made, as other curves and another probe.

Each change is a handful of sizes, and about each size one more unknown column, so that
every size between them is covered: the same way in which the fit holds several degrees of
distrust against each other.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.table.curves import Column, Curves

Floats = npt.NDArray[np.float64]

UNCHANGED, TIP, ZERO, SPAN, DENT = (
    "unchanged",
    "tip_moved",
    "zero_drifted",
    "span_changed",
    "tank_dented",
)
WORTH = {TIP: 0.06, ZERO: 0.06, SPAN: 0.03, DENT: 0.05}
"""How often each is found at a re-check; common practice without a source."""
USUAL_TIP_MM = 8.0
USUAL_SHARE = 0.01
"""Standard deviation of a drift of zero or span, as a share of the scale."""
WIDE, WIDE_USUAL = 0.15, (3.0, 4.0, 5.0)
"""Share of drifted zeros that are past all that is usual (water in a joint, an earth that
failed), and how often the usual drift they are; common practice without a source."""
DENT_AT = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Heights of a dent, as shares of the grid."""
DENT_HALF = 0.12
"""A dent reaches so far up and down, as a share of the grid."""
DENTS = ((0.015, 0.008), (0.04, 0.015))
"""Sizes of a dent and the spread about each, as shares of the capacity."""
MOVED = "moved"


@dataclass(frozen=True, eq=False)
class Changed:
    """One change of one size, and the spread about it."""

    kind: str
    size: float
    """Of the middle: mm for a tip, counts for zero and span, litres for a dent."""
    spread: float
    curves: Curves
    """With the change made, and the column `MOVED` for what differs from its middle."""
    log_worth: float
    dry_counts: float
    """What one spread more moves the reading of the dry probe. [counts]"""
    full_counts: float
    """The same of the probe fully immersed. [counts]"""
    least: float | None = None
    """No smaller size can be: a tip stands on the bottom at the lowest, a dent takes litres."""


def changes_of(curves: Curves) -> Iterator[Changed]:
    """Yield everything that may have changed, with its worth beforehand."""
    yield from _sized(TIP, _tips(curves))
    yield from _sized(ZERO, _drifts(curves, ZERO))
    yield from _sized(SPAN, _drifts(curves, SPAN))
    yield from _sized(DENT, _dents(curves))


def unchanged(curves: Curves) -> Changed:
    """Return the curves as they are."""
    share = float(np.log1p(-sum(WORTH.values())))
    still = Column(MOVED, MOVED, np.zeros_like(curves.wetted_mm))
    curves = replace(curves, columns=(*curves.columns, still))
    return Changed(UNCHANGED, 0.0, 0.0, curves, share, 0.0, 0.0)


def _sized(kind: str, found: list[tuple[float, Changed]]) -> Iterator[Changed]:
    total = sum(weight for weight, _ in found)
    for weight, change in found:
        yield replace(change, log_worth=float(np.log(WORTH[kind] * weight / total)))


def _tips(curves: Curves) -> list[tuple[float, Changed]]:
    """The tip hangs higher (positive) or lower; lower only down to the bottom."""
    spread = 0.4 * USUAL_TIP_MM
    clearance = curves.probe.tip_clearance_mm
    found = []
    for size in np.arange(-2.5, 2.51, 0.5) * USUAL_TIP_MM:
        if size < -clearance:
            continue
        there = shifted(curves, float(size))
        moved = Column(MOVED, MOVED, there.per_mm_l * spread)
        there = replace(there, columns=(*there.columns, moved))
        weight = float(np.exp(-0.5 * (size / USUAL_TIP_MM) ** 2))
        found.append((weight, Changed(TIP, float(size), spread, there, 0.0, 0.0, 0.0, -clearance)))
    return found


def shifted(curves: Curves, up_mm: float) -> Curves:
    """Return the curves of the same tank with the probe hung higher by ``up_mm``."""
    wetted = curves.wetted_mm
    at = wetted + up_mm
    over = np.maximum(at - wetted[-1], 0.0) * float(curves.per_mm_l[-1])
    described = curves.described
    if described is not None:
        described = replace(described, tip_mm=described.tip_mm + up_mm)
    return replace(
        curves,
        litres=np.interp(at, wetted, curves.litres) + over,
        per_mm_l=np.interp(at, wetted, curves.per_mm_l),
        columns=tuple(
            replace(each, effect_l=np.interp(at, wetted, each.effect_l)) for each in curves.columns
        ),
        described=described,
    )


def _drifts(curves: Curves, kind: str) -> list[tuple[float, Changed]]:
    """The zero drifted: all readings by as much.  The span: in proportion to the wet part."""
    probe = curves.probe
    scale = probe.counts_full - probe.counts_empty
    usual = USUAL_SHARE * abs(scale)
    per_count = curves.per_mm_l * probe.mm_per_count
    wet = np.clip(curves.wetted_mm / probe.active_length_mm, 0.0, None)
    near = np.arange(-2.5, 2.51, 0.5)
    weights = np.exp(-0.5 * near**2)
    times = near
    if kind == ZERO:
        far = np.array([sign * each for each in WIDE_USUAL for sign in (-1.0, 1.0)])
        times = np.concatenate([near, far])
        each_far = np.full(len(far), WIDE / (1.0 - WIDE) * weights.sum() / len(far))
        weights = np.concatenate([weights, each_far])
    found = []
    for size, weight in zip(times * usual, weights, strict=True):
        full = probe.counts_full + float(size)
        empty = probe.counts_empty + (float(size) if kind == ZERO else 0.0)
        spread = (0.3 if abs(size) < 2.75 * usual else 0.5) * usual
        effect = -spread * per_count * (1.0 if kind == ZERO else wet)
        there = replace(
            curves,
            probe=replace(probe, counts_empty=empty, counts_full=full),
            columns=(*curves.columns, Column(MOVED, MOVED, effect)),
        )
        dry = spread if kind == ZERO else 0.0
        found.append((float(weight), Changed(kind, float(size), spread, there, 0.0, dry, spread)))
    return found


def _dents(curves: Curves) -> list[tuple[float, Changed]]:
    """The tank holds less above some height."""
    wetted, capacity = curves.wetted_mm, curves.capacity_l
    share = (wetted - wetted[0]) / (wetted[-1] - wetted[0])
    found = []
    for at in DENT_AT:
        t = np.clip((share - at) / (2 * DENT_HALF) + 0.5, 0.0, 1.0)
        step = t * t * (3.0 - 2.0 * t)
        for size, spread in DENTS:
            moved = Column(MOVED, MOVED, -spread * capacity * step)
            there = replace(
                curves,
                litres=curves.litres - size * capacity * step,
                columns=(*curves.columns, moved),
            )
            change = Changed(DENT, size * capacity, spread * capacity, there, 0.0, 0.0, 0.0, 0.0)
            found.append((1.0, change))
    return found
