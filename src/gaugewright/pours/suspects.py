"""What may have gone wrong in a fill, weighed by the model that fits the table.

For every pour and every usual mistake the same equations are asked: how probable are
all readings together if this figure was wrong in this way?  A mistake in litres moves
every later reading by the same volume, one in a reading moves that reading alone, a
moved vehicle changes the slope from there on.  Weights follow Bayes' rule; the worth
of each mistake beforehand is common practice without a source.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr, logsumexp

from gaugewright.pours.figures import misreadings
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component

Floats = npt.NDArray[np.float64]

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

MOVE_DEG = 1.3
"""How far a vehicle that moves changes its slope, standard deviation. [°]"""


@dataclass(frozen=True, slots=True)
class Suspect:
    """One way in which one pour may be wrong."""

    kind: str
    pour: int
    """Index in the fill."""
    log_weight: float
    correction: float | None = None
    """The figure that would put it right: litres, or counts for ``counts_mistyped``."""
    exact: bool = False
    """Whether the correction is one particular figure rather than an estimate."""
    shift_l: float = 0.0
    """By how much the fill's litres change from there on (or that reading's). [L]"""


@dataclass(frozen=True, eq=False)
class Weighed:
    """All suspects of a fill with the log weight of a clean fill."""

    suspects: tuple[Suspect, ...]
    log_clean: float
    component_log_weights: Floats
    """Log weight of each component, mistakes included, shape (c,)."""

    @property
    def log_all(self) -> float:
        """Log weight of everything together."""
        logs = [s.log_weight for s in self.suspects]
        return float(logsumexp([*logs, self.log_clean]))

    @property
    def clean(self) -> float:
        """Probability that nothing is wrong."""
        return float(np.exp(self.log_clean - self.log_all))


@dataclass(frozen=True, eq=False)
class _Filter:
    """Matched filter of one component: the change that explains most, and its u."""

    found: Floats
    u: Floats

    def exact(self, change: Floats) -> Floats:
        """Log Bayes factor of one particular change against none."""
        return np.asarray(
            0.5 * ((self.found / self.u) ** 2 - ((change - self.found) / self.u) ** 2)
        )

    def normal(self, mean: Floats, spread: Floats) -> Floats:
        total = spread**2 + self.u**2
        return np.asarray(
            0.5 * ((self.found / self.u) ** 2 - (self.found - mean) ** 2 / total)
            - 0.5 * np.log(total / self.u**2)
        )

    def between(self, low: Floats, high: Floats) -> Floats:
        """Log Bayes factor of a change anywhere between two limits, evenly."""
        a, b = (low - self.found) / self.u, (high - self.found) / self.u
        # The side on which both limits lie keeps the difference of logs exact.
        flip = a > 0
        a, b = np.where(flip, -b, a), np.where(flip, -a, b)
        mass = log_ndtr(b) + np.log1p(-np.exp(np.minimum(log_ndtr(a) - log_ndtr(b), -1e-12)))
        return np.asarray(
            mass
            + np.log(self.u * np.sqrt(2 * np.pi) / (high - low))
            + 0.5 * (self.found / self.u) ** 2
        )


def weigh(fill: Fill, components: list[Component]) -> Weighed:
    """Return every suspect of a fill with its weight over all degrees of distrust."""
    base = np.array([c.log_weight for c in components])
    base = base - logsumexp(base)
    tables = [_suspects_of(fill, component) for component in components]
    keys: dict[tuple[str, int, float | None, bool], list[float]] = {}
    shifts: dict[tuple[str, int, float | None, bool], float] = {}
    per_component = base.copy()
    best = int(
        np.argmax(
            [b + max([0.0, *(s.log_weight for s in t)]) for b, t in zip(base, tables, strict=True)]
        )
    )
    for index in [best, *(i for i in range(len(tables)) if i != best)]:
        rows = tables[index]
        per_component[index] = base[index] + logsumexp([0.0, *(s.log_weight for s in rows)])
        for s in rows:
            key = (s.kind, s.pour, s.correction if s.exact else None, s.exact)
            keys.setdefault(key, []).append(base[index] + s.log_weight)
            shifts.setdefault(key, s.shift_l)
    estimates = {(s.kind, s.pour): s.correction for s in tables[best] if not s.exact}
    suspects = [
        Suspect(
            kind,
            pour,
            float(logsumexp(logs)),
            value if exact else estimates.get((kind, pour)),
            exact,
            shifts[(kind, pour, value, exact)],
        )
        for (kind, pour, value, exact), logs in keys.items()
    ]
    suspects.sort(key=lambda s: -s.log_weight)
    return Weighed(tuple(suspects), 0.0, per_component)


def _suspects_of(fill: Fill, component: Component) -> list[Suspect]:
    """All suspects under one component; weights are relative to a clean fill."""
    eq = component.equations
    n = len(eq.observed)
    if n < 2:
        return []
    scaled = eq.design * component.prior_u
    total = scaled @ scaled.T + eq.noise
    factor = cho_factor(total, lower=True)
    pull = cho_solve(factor, eq.observed)
    row_of = np.full(n, -1)
    row_of[: len(eq.pours)] = eq.pours
    pours = range(1, len(fill.pours))
    steps = np.array([row_of >= k for k in pours], dtype=np.float64).T
    last = max(eq.pours, default=0)
    live = [j for j, k in enumerate(pours) if k <= last]
    ones = np.eye(n)[:, : len(eq.pours)]
    litres = _filter(factor, pull, steps[:, live])
    readings = _filter(factor, pull, ones)
    number = max(1, len(fill.pours) - 1)
    found = list(_litre_suspects(fill, litres, [list(pours)[j] for j in live], number))
    found += _reading_suspects(fill, component, readings, number)
    found += _moves(fill, component, factor, pull, row_of, number)
    return found


def _filter(factor: tuple[Floats, bool], pull: Floats, directions: Floats) -> _Filter:
    weight = np.einsum("ij,ij->j", directions, cho_solve(factor, directions))
    weight = np.maximum(weight, 1e-30)
    return _Filter(-(directions.T @ pull) / weight, 1.0 / np.sqrt(weight))


def _litre_suspects(fill: Fill, stats: _Filter, pours: list[int], number: int) -> Iterable[Suspect]:
    """Mistakes in the litres of one pour."""
    sign = -1.0 if fill.is_draining else 1.0
    added = np.array([p.added_l for p in fill.pours])
    typical = float(np.median(added[1:][added[1:] > 0])) if (added[1:] > 0).any() else 1.0
    for j, k in enumerate(pours):
        one = _Filter(stats.found[[j]] * sign, stats.u[[j]])
        a, before = float(added[k]), float(added[k - 1])

        def exact(
            kind: str, value: float, worth: float, k: int = k, a: float = a, one: _Filter = one
        ) -> Suspect:
            change = value - a
            weight = float(one.exact(np.array([change]))[0]) + np.log(worth / number)
            return Suspect(kind, k, weight, value, True, change)

        if a > 0:
            options = misreadings(a)
            swaps = [m for m in options if m.how == "swapped"]
            digits = [m for m in options if m.how == "digit"]
            for m in swaps:
                yield exact(
                    "litres_mistyped", m.value, 0.55 * WORTH["litres_mistyped"] / len(swaps)
                )
            for m in digits:
                yield exact(
                    "litres_mistyped", m.value, 0.25 * WORTH["litres_mistyped"] / len(digits)
                )
            for m in (m for m in options if m.how == "slip"):
                yield exact("decimal_slip", m.value, 0.5 * WORTH["decimal_slip"])
            if before > 0 and k > 1 and a - before > 0.1 * typical:
                yield exact("meter_not_reset", a - before, WORTH["meter_not_reset"])
            rise = fill.pours[k].counts - fill.pours[k - 1].counts
            if before > 0 and k > 1 and a == before:
                noise = 12.0 + 0.002 * abs(fill.pours[k].counts)
                if abs(rise) <= noise:
                    yield exact("pour_twice", 0.0, WORTH["pour_twice"])
        wide = float(one.normal(np.zeros(1), np.array([0.6 * max(a, typical)]))[0])
        estimate = max(0.0, a + float(one.found[0]))
        yield Suspect(
            "litres_mistyped",
            k,
            wide + np.log(0.2 * WORTH["litres_mistyped"] / number),
            estimate,
            False,
            float(one.found[0]),
        )
        for same in {a, before, typical} - {0.0}:
            weight = float(one.normal(np.array([same]), np.array([0.02 * same]))[0])
            yield Suspect(
                "pour_missing",
                k,
                weight + np.log(0.6 / 3 * WORTH["pour_missing"] / number),
                float(one.found[0]),
                False,
                float(one.found[0]),
            )
        loose = float(one.normal(np.array([typical]), np.array([0.4 * typical]))[0])
        yield Suspect(
            "pour_missing",
            k,
            loose + np.log(0.4 * WORTH["pour_missing"] / number),
            float(one.found[0]),
            False,
            float(one.found[0]),
        )


def _reading_suspects(
    fill: Fill, component: Component, stats: _Filter, number: int
) -> Iterable[Suspect]:
    """Mistakes in one reading."""
    curves = component.curves
    order = np.argsort(curves.counts)
    scale, litres = curves.counts[order], curves.litres[order]
    top = max(curves.probe.counts_full, curves.probe.counts_empty)
    sign = -1.0 if fill.is_draining else 1.0
    for j, k in enumerate(component.equations.pours):
        one = _Filter(stats.found[[j]], stats.u[[j]])
        counts = fill.pours[k].counts
        here = float(np.interp(counts, scale, litres))
        options = [m for m in misreadings(round(counts), slips=False) if m.value <= top]
        for how, share in (("swapped", 0.6), ("digit", 0.25)):
            chosen = [m for m in options if m.how == how]
            for m in chosen:
                change = here - float(np.interp(m.value, scale, litres))
                weight = float(one.exact(np.array([change]))[0])
                worth = share * WORTH["counts_mistyped"] / len(chosen) / number
                yield Suspect("counts_mistyped", k, weight + np.log(worth), m.value, True, -change)
        wide = float(one.normal(np.zeros(1), np.array([0.3 * curves.capacity_l]))[0])
        estimate = float(np.interp(here - float(one.found[0]), litres, scale))
        yield Suspect(
            "counts_mistyped",
            k,
            wide + np.log(0.15 * WORTH["counts_mistyped"] / number),
            estimate,
            False,
            -float(one.found[0]),
        )
        rise = fill.pours[k].added_l
        if k > 0 and rise > 0:
            lag = _Filter(-sign * one.found, one.u)
            weight = float(lag.between(np.array([0.01 * rise]), np.array([rise]))[0])
            yield Suspect(
                "not_settled",
                k,
                weight + np.log(WORTH["not_settled"] / number),
                estimate,
                False,
                -float(one.found[0]),
            )


def _moves(
    fill: Fill,
    component: Component,
    factor: tuple[Floats, bool],
    pull: Floats,
    row_of: Floats,
    number: int,
) -> Iterable[Suspect]:
    """The vehicle moved before pour k: the slope differs from there on."""
    eq = component.equations
    columns = eq.design[:, -2:]
    if not columns.any():
        return
    ratio = MOVE_DEG / 0.87
    for k in range(1, len(fill.pours)):
        after = row_of >= k
        if not after.any() or (row_of[: len(eq.pours)] >= k).all():
            continue
        directions = np.where(after[:, None], columns * ratio, 0.0)
        white = cho_solve(factor, directions)
        gram = np.eye(2) + directions.T @ white
        hit = directions.T @ pull
        gain = 0.5 * float(hit @ np.linalg.solve(gram, hit)) - 0.5 * float(
            np.linalg.slogdet(gram)[1]
        )
        shift = directions @ np.linalg.solve(gram, hit)
        largest = float(shift[np.argmax(np.abs(shift))])
        yield Suspect(
            "vehicle_moved", k, gain + np.log(WORTH["vehicle_moved"] / number), None, False, largest
        )
