"""Health of the table: does the consumption that it shows depend on the level?

An engine does not know how full the tank is. If the table of another tank is keyed in, an
hour's work seems to take more litres at one level than at another. The work done is regressed
on the table's litres at rest and on smooth departures of them that vanish at the table's ends;
not the other way about, since the litres at rest are known far better than what an hour takes.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.units import L_PER_IMPERIAL_GALLON, L_PER_US_GALLON
from gaugewright.watch.health.case import Case, HealthKind, HealthNote
from gaugewright.watch.health.level import Stand, stands
from gaugewright.watch.middles import median
from gaugewright.watch.values import Event, EventKind, Floats

WAVES = 3
"""Departures tried: sin(k π u) of the share u of the table's counts, k = 1 to 3."""
LEAST_DEPARTURE, LEAST_Z = 0.025, 4.0
LEAST_RANGE = 0.12
"""A stretch that goes through less of the tank than this says little about its shape."""
LEAST_STRETCHES = 5
PULL = 0.08
"""Departure of a wave that would be no surprise. Share of the tank."""
LEAST_SCALE, SCALE_Z = 0.06, 5.0
OTHER_UNIT = 0.06
"""A ratio this near to that of two units, as a share of it, is taken for it."""


@dataclass(frozen=True, eq=False)
class Shape:
    """The departure of a table from what consumption says. Shares of the table's litres."""

    at: Floats
    """Shares of the counts, shape (g,)."""
    departure: Floats
    u: Floats
    """Standard uncertainty."""
    stretches: int


def shape_of(case: Case) -> Shape | None:
    """Return how the table departs from regular consumption; None where too little is known."""
    least_l = LEAST_RANGE * case.capacity_l
    usable = [s for s in stands(case) if s.litres.max() - s.litres.min() > least_l]
    if len(usable) < LEAST_STRETCHES:
        return None
    work = _work(case, usable)
    if work is None:
        return None
    groups = np.repeat(np.arange(len(usable)), [s.counts.size for s in usable])
    share = (np.concatenate([s.counts for s in usable]) - case.low) / case.span
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    litres = np.concatenate([s.litres for s in usable]) - case.table.litres[0]
    design = np.column_stack([litres / case.capacity_l, _waves(share)])
    rows, right = _less_mean(design, groups), _less_mean(np.concatenate(work), groups)
    solved = _robust(rows, right, groups)
    if solved is None or solved[0][0] > -0.3:
        return None  # the work does not even go with the litres: nothing can be said
    mean, covariance = solved
    at = np.linspace(0.0, 1.0, 41)
    waves = _waves(at) / mean[0]
    u = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", waves, covariance[1:, 1:], waves), 1e-12))
    # The table gives too much where the true litres are less than its own.
    return Shape(at, -waves @ mean[1:], u, len(usable))


def wrong_table(case: Case) -> Iterator[HealthNote]:
    """A table whose shape or size consumption, engine counter or receipts contradict."""
    found = next(_wrong_size(case), None)
    if found is not None:
        yield found
        return
    shape = shape_of(case)
    if shape is None:
        return
    inner = (shape.at > 0.1) & (shape.at < 0.9)
    large = inner & (np.abs(shape.departure) >= LEAST_DEPARTURE)
    z = np.where(large, np.abs(shape.departure) / shape.u, 0.0)
    worst = int(np.argmax(z))
    size = float(abs(shape.departure[worst]))
    if z[worst] < LEAST_Z:
        return
    counts = case.low + float(shape.at[worst]) * case.span
    more = "too much" if shape.departure[worst] > 0 else "too little"
    yield case.note(
        HealthKind.WRONG_TABLE,
        *case.span_s,
        f"By this table an hour's work takes more litres at some levels than at others, in "
        f"{shape.stretches} stretches alike: near {counts:.0f} counts it gives {more}, about "
        f"{100 * size:.1f} % of the tank ({size * case.capacity_l:.0f} L; "
        f"{z[worst]:.1f} times its standard uncertainty).",
        "Compare what is keyed in with the vehicle's own table (gaugewright compare); it may be "
        "another vehicle's.",
    )


def _wrong_size(case: Case) -> Iterator[HealthNote]:
    """Receipts or the engine's counter against the table's litres, all levels together."""
    for name, pairs in (("receipts", _receipts(case)), ("engine's counter", _counter(case))):
        if len(pairs) < 4:
            continue
        true, seen = np.array(pairs).T
        ratio = seen / true
        middle = median(ratio)
        u = 1.4826 * median(np.abs(ratio - middle)) / np.sqrt(ratio.size) + 0.003
        if abs(middle - 1.0) < LEAST_SCALE or abs(middle - 1.0) < SCALE_Z * u:
            continue
        way = "more" if middle > 1 else "less"
        unit = _other_unit(middle)
        yield case.note(
            HealthKind.WRONG_TABLE,
            *case.span_s,
            f"The table shows {100 * abs(middle - 1):.0f} % {way} litres than the {name} "
            f"(median of {ratio.size}, standard uncertainty {100 * u:.1f} %){unit}.",
            "Compare what is keyed in with the vehicle's own table (gaugewright compare), and the "
            f"{name} with another source, before either is believed.",
        )
        return


def _other_unit(ratio: float) -> str:
    """Return what a ratio looks like, if it is that of another unit of volume."""
    gallons = {"US gallons": L_PER_US_GALLON, "imperial gallons": L_PER_IMPERIAL_GALLON}
    for name, litres in gallons.items():
        if abs(ratio / litres - 1) < OTHER_UNIT:
            return f", as if those were {name}, not litres"
        if abs(ratio * litres - 1) < OTHER_UNIT:
            return f", as if the table were in {name}, not litres"
    return ""


def _receipts(case: Case) -> list[tuple[float, float]]:
    """Litres of a receipt and of the refuel nearest to it, within an hour and a half. [L]"""
    pairs = []
    refuels = case.events(EventKind.REFUEL)
    for delivery in case.deliveries:
        near = [e for e in refuels if abs(e.end_s - delivery.time_s) < 5400.0]
        if near and delivery.litres > 0.1 * case.capacity_l:
            best = min(near, key=lambda e: abs(e.end_s - delivery.time_s))
            # One that ends at the probe's top is seen in part only.
            at_top = best.after_l >= case.table.litres[-1] - 0.02 * case.capacity_l
            if not at_top and _highest(case, best) < case.kept.get("top", np.inf):
                pairs.append((delivery.litres, best.litres))
    return pairs


def _highest(case: Case, refuel: Event) -> float:
    """Highest counts of a block in a refuel and just after it."""
    at = np.searchsorted(case.blocks.start_s, [refuel.start_s, refuel.end_s + 600.0])
    means = case.blocks.mean[at[0] : at[1]]
    return float(means[np.isfinite(means)].max(initial=-np.inf))


def _counter(case: Case) -> list[tuple[float, float]]:
    """Litres by the engine's counter and by the table in each stretch without events. [L]"""
    pairs: list[tuple[float, float]] = []
    for stand in stands(case) if case.track.engine_fuel_l is not None else ():
        used = float(stand.engine_l[-1] - stand.engine_l[0])
        if used > LEAST_RANGE * case.capacity_l:
            pairs.append((used, float(stand.litres[0] - stand.litres[-1])))
    return pairs


def _less_mean(values: Floats, groups: npt.NDArray[np.int64]) -> Floats:
    """Return the values, or rows of them, less the mean of their group; groups follow in order."""
    first = np.flatnonzero(np.diff(groups, prepend=-1))
    sums = np.add.reduceat(values, first, axis=0)
    result: Floats = values - (sums.T / np.bincount(groups)).T[groups]
    return result


def _waves(share: Floats) -> Floats:
    return np.stack([np.sin(k * np.pi * share) for k in range(1, WAVES + 1)], axis=1)


def _work(case: Case, usable: list[Stand]) -> list[Floats] | None:
    """Work done up to each level, as a share of the tank by the usual rates; None if unclear.

    By the engine's counter where there is one; else by hours on the move and hours of running,
    at the rates that fit the table's litres from end to end of each stretch.
    """
    if all(np.isfinite(s.engine_l).all() for s in usable):
        return [(s.engine_l - s.engine_l[0]) / case.capacity_l for s in usable]
    hours = np.array([(s.moved_h[-1] - s.moved_h[0], s.ran_h[-1] - s.ran_h[0]) for s in usable])
    fall = np.array([s.litres[0] - s.litres[-1] for s in usable]) / case.capacity_l
    rates = _not_negative(hours, fall)
    if not rates.any():
        return None
    return [
        rates[0] * (s.moved_h - s.moved_h[0]) + rates[1] * (s.ran_h - s.ran_h[0]) for s in usable
    ]


def usual_rates(case: Case) -> tuple[float, float] | None:
    """Litres an hour on the move and an hour of running at rest; None if unknown. [L/h]"""
    least_l = LEAST_RANGE * case.capacity_l
    usable = [s for s in stands(case) if s.litres.max() - s.litres.min() > least_l]
    if not usable:
        return None
    hours = np.array([(s.moved_h[-1] - s.moved_h[0], s.ran_h[-1] - s.ran_h[0]) for s in usable])
    rates = _not_negative(hours, np.array([s.litres[0] - s.litres[-1] for s in usable]))
    return (float(rates[0]), float(rates[1])) if rates.any() else None


def _not_negative(rows: Floats, right: Floats) -> Floats:
    """Return the two coefficients of least squares, of which neither may be negative.

    Where the best of all has a negative one, the best allowed has a zero (Lawson and Hanson,
    Solving Least Squares Problems, 1974, chapter 23).
    """
    free: Floats = np.linalg.lstsq(rows, right, rcond=None)[0].astype(np.float64)
    tried: list[Floats] = [free] if (free >= 0).all() else [
        np.where(np.arange(2) == k, max(float(rows[:, k] @ right), 0.0), 0.0)
        / max(float(rows[:, k] @ rows[:, k]), 1e-300)
        for k in range(2)
    ]  # fmt: skip
    return min(tried, key=lambda two: float(np.sum((rows @ two - right) ** 2)))


def _robust(
    rows: Floats, right: Floats, groups: npt.NDArray[np.int64]
) -> tuple[Floats, Floats] | None:
    """Least squares with outliers weighed down, covariance over whole stretches.

    Huber's weights (1981); sandwich covariance by clusters (Liang and Zeger, Biometrika 73(1),
    1986), so that levels of one stretch need not be independent.
    """
    used = rows
    if right.size < 4 * used.shape[1]:
        return None
    # A weak pull to no departure keeps levels that were never visited from running away.
    ridge = np.zeros(used.shape[1])
    ridge[-WAVES:] = 1.0 / PULL**2
    weight = np.ones(right.size)
    size = max(float(np.std(right)), 1e-3)
    for _ in range(8):
        weighted = (used * weight[:, None]).T / size**2
        normal = weighted @ used + np.diag(ridge)
        mean = np.linalg.solve(normal, weighted @ right)
        misfit = right - used @ mean
        size = 1.4826 * median(np.abs(misfit)) + 1e-3
        weight = np.minimum(1.0, 1.5 * size / np.maximum(np.abs(misfit), 1e-12))
    inverse = np.linalg.inv(normal * size**2)
    number = int(groups[-1]) + 1
    scores = np.zeros((number, used.shape[1]))
    np.add.at(scores, groups, used * (weight * misfit)[:, None])
    middle = scores.T @ scores * number / max(number - used.shape[1], 1)
    covariance: Floats = inverse @ middle @ inverse
    return np.asarray(mean, np.float64), covariance
