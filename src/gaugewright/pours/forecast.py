"""Where the next pour should land, from what has been learnt so far."""

from dataclasses import replace

import numpy as np

from gaugewright.pours.expected import Expected
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.fill import Fill, Pour
from gaugewright.table.fit import Fit
from gaugewright.table.rows import Doubts, Setting


def forecast(
    fill: Fill, added_l: float, result: Fit, assumed: Assumptions, doubts: Doubts
) -> Expected | None:
    """Return the forecast of the reading after one more pour, or ``None`` off the scale.

    ``result`` is the fit of ``fill``; ``added_l`` what will be poured (taken out, in a
    draining record). [L]
    """
    last = fill.pours[-1]
    coming = replace(last, step=last.step + 1, added_l=added_l, counts=last.counts, counts_sd=None)
    longer = replace(fill, pours=(*fill.pours, coming))
    means, seconds = 0.0, 0.0
    for weight, component in zip(result.weights, result.components, strict=True):
        if weight < 1e-3:
            continue
        found = _one(longer, coming, component, assumed, doubts)
        if found is None:
            return None
        means += weight * found[0]
        seconds += weight * (found[1] ** 2 + found[0] ** 2)
    total = float(sum(w for w in result.weights if w >= 1e-3))
    mean = means / total
    spread = float(np.sqrt(max(seconds / total - mean**2, 0.0)))
    return Expected(len(fill.pours), mean, 1.96 * spread, 0.0, float("nan"))


def _one(
    longer: Fill, coming: Pour, component: object, assumed: Assumptions, doubts: Doubts
) -> tuple[float, float] | None:
    from gaugewright.table.fit import Component

    assert isinstance(component, Component)
    curves = component.curves
    setting = Setting(longer, curves, assumed, doubts)
    index = len(longer.pours) - 1
    wetted = curves.wetted_mm[curves.tip_index :]
    found = setting.readings((coming,) * len(wetted), wetted)
    design = setting.design(found.effects, found.slopes, np.full(len(wetted), index, dtype=np.intp))
    estimate = component.posterior.estimate
    inside = found.litres + design @ estimate.mean - setting.start[0]
    target = float(setting.poured[index])
    if not inside[0] < target < inside[-1]:
        return None
    counts = curves.probe.counts_of(wetted)
    at = float(np.interp(target, np.maximum.accumulate(inside), counts))
    near = int(np.argmin(np.abs(counts - at)))
    known = float(design[near] @ estimate.covariance @ design[near])
    per_count = abs(curves.probe.mm_per_count) * max(float(found.per_mm_l[near]), 1e-9)
    u_counts = assumed.u_counts * abs(curves.probe.counts_full - curves.probe.counts_empty) / 4095
    deliveries = assumed.u_delivery_l**2
    return at, float(np.hypot(np.sqrt(known + deliveries) / per_count, u_counts))
