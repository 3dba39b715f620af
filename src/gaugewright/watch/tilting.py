"""The level as it would be with the vehicle standing level, where the log tells the tilt.

How many litres a degree of pitch and of roll moves the reading is learnt from this vehicle's
own stops: from one place to the next the fuel hardly changes, the tilt does. The tank's shape
may make it more at half full, so that each has two coefficients.
"""

from dataclasses import replace

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.bins import Bins
from gaugewright.watch.spells import Spells
from gaugewright.watch.values import Floats, Track

FEWEST_STOPS = 15
STIR_DEG = 0.3
_FURTHEST_S = 4 * 3600.0
_TRIES = 5


def levelled(track: Track, table: Table, bins: Bins, spells: Spells) -> tuple[Bins, Floats]:
    """Return the bins with the part of the level that goes with the tilt taken off. [L]

    Beside them the variance that this adds from bin to bin, running up: a tilt that changes
    moves the level by a coefficient that is known only so well. [L²]

    The same bins where the log has no tilt or too few stops to learn from.
    """
    tilts = [t for t in (track.pitch_deg, track.roll_deg) if t is not None]
    nothing = np.zeros(bins.time_s.size)
    if not tilts:
        return bins, nothing
    part = np.clip(bins.level_l / float(table.litres[-1]), 0.0, 1.0)
    columns = [
        feature
        for tilt in tilts
        for mean in [_binned(tilt, bins)]
        for feature in (mean, mean * part * (1 - part))
    ]
    features = np.column_stack(columns)
    stops = np.flatnonzero(spells.still & (spells.high - spells.low >= 3))
    if stops.size < FEWEST_STOPS or not np.isfinite(features).all():
        return bins, nothing
    ends, starts = spells.high[stops[:-1]] - 1, spells.low[stops[1:]] + 2
    apart = bins.time_s[starts] - bins.time_s[ends]
    near = apart < _FURTHEST_S
    ends, starts, apart = ends[near], starts[near], apart[near]
    if ends.size < FEWEST_STOPS:
        return bins, nothing
    rows = np.column_stack([features[starts] - features[ends], -apart / 3600.0])
    per_degree, covariance = _robust(rows, bins.level_l[starts] - bins.level_l[ends])
    turned = np.diff(features, axis=0, prepend=features[:1])
    turned[np.abs(turned) < STIR_DEG] = 0.0
    added = np.einsum("ij,jk,ik->i", turned, covariance[:-1, :-1], turned)
    level = bins.level_l - features @ per_degree[:-1]
    return replace(bins, level_l=level), np.cumsum(added)


def _binned(values: Floats, bins: Bins) -> Floats:
    """Return the mean over each bin's records."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    means: Floats = (sums[bins.last + 1] - sums[bins.first]) / (bins.last + 1 - bins.first)
    return means


def _robust(rows: Floats, steps: Floats) -> tuple[Floats, Floats]:
    """Return least-squares coefficients and covariance, far steps, the refuels, left out."""
    kept = np.abs(steps) <= 3 * np.median(np.abs(steps)) + 1e-9
    coefficients = np.zeros(rows.shape[1])
    for _ in range(_TRIES):
        coefficients, *_ = np.linalg.lstsq(rows[kept], steps[kept], rcond=None)
        left = np.abs(steps - rows @ coefficients)
        kept = left <= 4.4 * np.median(left[kept]) + 1e-9
    spread = float(np.sum((steps - rows @ coefficients)[kept] ** 2)) / max(
        int(kept.sum()) - rows.shape[1], 1
    )
    covariance: Floats = spread * np.linalg.pinv(rows[kept].T @ rows[kept])
    return coefficients, covariance
