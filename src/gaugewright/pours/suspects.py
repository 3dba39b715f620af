"""What may have gone wrong in a fill, weighed by the model that fits the table.

For every pour and every usual mistake the same equations are asked: how probable are
all readings together if this figure was wrong in this way?  A mistake in litres moves
every later reading by the same volume, one in a reading moves that reading alone, a
moved vehicle changes the slope from there on.  Weights follow Bayes' rule; the worth
of each mistake beforehand is common practice without a source.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr, logsumexp

from gaugewright.pours.figures import misreadings
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component
from gaugewright.table.rows import interpolated_effects

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

LEAST_L2 = 1e-6
"""Least variance of a reading. [L²]"""
SAME_READING_COUNTS = 12
"""Two readings closer than this may be one level read twice. [counts]"""


@dataclass(frozen=True, slots=True)
class Suspect:
    """One way in which one pour may be wrong."""

    kind: str
    pour: int
    """Index in the fill."""
    log_weight: float
    """Against a clean fill, all degrees of distrust together."""
    correction: float | None = None
    """The figure that would put it right: litres, or counts for a reading."""
    exact: bool = False
    """Whether the correction is one particular figure rather than an estimate."""
    u_correction: float = 0.0
    """Standard uncertainty of an estimate, in the correction's unit."""
    shift_l: float = 0.0
    """How far the fill's litres are off if this is so. [L]"""


@dataclass(frozen=True, eq=False)
class Weighed:
    """All suspects of a fill, the weightiest first."""

    suspects: tuple[Suspect, ...]
    shape_weights: Floats
    """Probability of each component with mistakes allowed for, shape (c,)."""

    @cached_property
    def log_all(self) -> float:
        """Log weight of a clean fill and all suspects together."""
        return float(logsumexp([0.0, *[s.log_weight for s in self.suspects]]))

    @property
    def clean(self) -> float:
        """Probability that nothing is wrong."""
        return float(np.exp(-self.log_all))

    def mass(self, suspect: Suspect) -> float:
        """Probability of one suspect."""
        return float(np.exp(suspect.log_weight - self.log_all))


# How a candidate's change is weighed: one figure, about a mean, or anywhere between limits.
EXACT, ABOUT, BETWEEN = range(3)


@dataclass(slots=True)
class _Candidates:
    """Columns of one table of candidates, filled once for a fill."""

    kind: list[str]
    pour: list[int]
    is_reading: list[bool]
    how: list[int]
    a: list[float]
    """Change of the litres [L]; for a reading counts instead [counts]; or the mean or low limit."""
    b: list[float]
    """Spread or high limit. [L]"""
    worth: list[float]
    correction: list[float]

    @classmethod
    def empty(cls) -> "_Candidates":
        return cls([], [], [], [], [], [], [], [])

    def add(
        self,
        kind: str,
        pour: int,
        how: int,
        a: float,
        b: float,
        worth: float,
        correction: float = np.nan,
        *,
        is_reading: bool = False,
    ) -> None:
        for column, value in zip(
            (
                self.kind,
                self.pour,
                self.is_reading,
                self.how,
                self.a,
                self.b,
                self.worth,
                self.correction,
            ),
            (kind, pour, is_reading, how, a, b, worth, correction),
            strict=True,
        ):
            column.append(value)  # type: ignore[attr-defined]


def weigh(fill: Fill, components: list[Component]) -> Weighed:
    """Return every suspect of a fill with its weight over all degrees of distrust."""
    listed = _listed(fill, components[0])
    base = np.array([c.log_weight for c in components])
    base = base - logsumexp(base)
    tables = [_weights_of(fill, component, listed) for component in components]
    moves = [_moves(fill, component) for component in components]
    logs = np.array([t.logs for t in tables]) + base[:, None]
    move_logs = np.array(moves) + base[:, None]
    per_component = np.logaddexp(base, logsumexp(np.column_stack([logs, move_logs]), axis=1))
    per_component = np.exp(per_component - logsumexp(per_component))
    total = logsumexp(logs, axis=0) if logs.size else np.zeros(0)
    leading = tables[int(np.argmax(per_component))]
    suspects = [
        Suspect(
            listed.kind[i],
            listed.pour[i],
            float(total[i]),
            float(listed.correction[i] if listed.how[i] == EXACT else leading.estimate[i]),
            listed.how[i] == EXACT,
            float(leading.u_estimate[i]),
            float(leading.shift_l[i]),
        )
        for i in np.argsort(-total)
    ]
    move_total = logsumexp(move_logs, axis=0)
    suspects += [
        Suspect("vehicle_moved", k, float(w))
        for k, w in enumerate(move_total, start=1)
        if np.isfinite(w)
    ]
    suspects.sort(key=lambda s: -s.log_weight)
    return Weighed(tuple(suspects), per_component)


def _listed(fill: Fill, component: Component) -> _Candidates:
    """Every candidate mistake of a fill; the worth of each is spread over the pours."""
    found = _Candidates.empty()
    seen = set(component.equations.pours)
    last = max(seen, default=0)
    number = max(1, len(fill.pours) - 1)
    poured = [p.added_l for p in fill.pours[1:] if p.added_l > 0]
    typical = float(np.median(poured)) if poured else 1.0
    spread = float(np.median(np.abs(np.log(np.array(poured) / typical)))) if poured else 0.0
    for k in range(1, last + 1):
        _list_litres(found, fill, k, typical, spread, number)
    for k in sorted(seen):
        _list_reading(found, fill, k, component, number)
    return found


def _list_litres(
    found: _Candidates, fill: Fill, k: int, typical: float, spread: float, number: int
) -> None:
    a, before = fill.pours[k].added_l, fill.pours[k - 1].added_l
    worth = {kind: value / number for kind, value in WORTH.items()}
    if a > 0:
        options = misreadings(a)
        for how, kind, share in (
            ("swapped", "litres_mistyped", 0.55),
            ("digit", "litres_mistyped", 0.25),
            ("slip", "decimal_slip", 1.0),
        ):
            chosen = [m.value for m in options if m.how == how]
            for value in chosen:
                usual = _more_usual(value, a, typical, spread)
                found.add(
                    kind, k, EXACT, value - a, 0.0, share * usual * worth[kind] / len(chosen), value
                )
        if before > 0 and k > 1 and a - before > 0.1 * typical:
            found.add(
                "meter_not_reset", k, EXACT, -before, 0.0, worth["meter_not_reset"], a - before
            )
        rise = abs(fill.pours[k].counts - fill.pours[k - 1].counts)
        if before > 0 and k > 1 and a == before and rise <= SAME_READING_COUNTS:
            found.add("pour_twice", k, EXACT, -a, 0.0, worth["pour_twice"], 0.0)
    found.add(
        "litres_mistyped", k, ABOUT, 0.0, 0.6 * max(a, typical), 0.2 * worth["litres_mistyped"]
    )
    likely = sorted({round(a, 3), round(before, 3), round(typical, 3)} - {0.0})
    for same in likely:
        found.add(
            "pour_missing", k, ABOUT, same, 0.02 * same, 0.6 * worth["pour_missing"] / len(likely)
        )
    found.add("pour_missing", k, ABOUT, typical, 0.4 * typical, 0.4 * worth["pour_missing"])


def _more_usual(meant: float, written: float, typical: float, spread: float) -> float:
    """How much more usual one figure is than another among the pours of this fill."""
    width = max(0.25, 1.5 * spread)
    far = (np.log(written / typical) / width) ** 2 - (np.log(meant / typical) / width) ** 2
    return float(np.exp(np.clip(0.5 * far, -3.0, 3.0)))


def _list_reading(
    found: _Candidates, fill: Fill, k: int, component: Component, number: int
) -> None:
    curves = component.curves
    counts = fill.pours[k].counts
    top = max(curves.probe.counts_full, curves.probe.counts_empty)
    worth = {kind: value / number for kind, value in WORTH.items()}
    options = [m for m in misreadings(round(counts), slips=False) if m.value <= top]
    for how, share in (("swapped", 0.6), ("digit", 0.25)):
        chosen = [m.value for m in options if m.how == how]
        for value in chosen:
            found.add(
                "counts_mistyped",
                k,
                EXACT,
                value,
                0.0,
                share * worth["counts_mistyped"] / len(chosen),
                value,
                is_reading=True,
            )
    found.add(
        "counts_mistyped",
        k,
        ABOUT,
        0.0,
        0.3 * curves.capacity_l,
        0.15 * worth["counts_mistyped"],
        is_reading=True,
    )
    rise = fill.pours[k].added_l
    if k > 0 and rise > 0:
        # The fuel had still this much to rise (to fall, in a draining record).
        low, high = -rise, -0.01 * rise
        if fill.is_draining:
            low, high = -high, -low
        found.add("not_settled", k, BETWEEN, low, high, worth["not_settled"], is_reading=True)


@dataclass(frozen=True, eq=False)
class _Weights:
    """Log Bayes factors of all candidates under one component, with worth."""

    logs: Floats
    estimate: Floats
    u_estimate: Floats
    shift_l: Floats


def _weights_of(fill: Fill, component: Component, listed: _Candidates) -> _Weights:
    eq = component.equations
    n = len(eq.observed)
    count = len(listed.kind)
    if n < 2 or count == 0:
        nothing = np.zeros(count)
        return _Weights(np.full(count, -np.inf), nothing * np.nan, nothing, nothing)
    factor, pull, row_of = _factored(component)
    sign = -1.0 if fill.is_draining else 1.0
    pours, readings = len(fill.pours), len(eq.pours)
    directions = np.zeros((n, 2 * pours))
    for k in range(pours):
        directions[:, k] = sign * (row_of >= k)
        directions[:readings, pours + k] = row_of[:readings] == k
    strength = np.einsum("ij,ij->j", directions, cho_solve(factor, directions))
    strength = np.maximum(strength, 1e-12)
    column = np.array(listed.pour) + pours * np.array(listed.is_reading)
    found = (-(directions.T @ pull) / strength)[column]
    u = (1.0 / np.sqrt(strength))[column]
    how = np.array(listed.how)
    a, b = np.array(listed.a), np.array(listed.b)
    scale, litres = _curve(component)
    counts = np.array([p.counts for p in fill.pours])[listed.pour]
    here = np.interp(counts, scale, litres)
    swapped = np.array(listed.is_reading) & (how == EXACT)
    a = np.where(swapped, here - np.interp(np.where(swapped, a, 0.0), scale, litres), a)
    logs = np.where(
        how == EXACT,
        _exact(found, u, a),
        np.where(how == ABOUT, _about(found, u, a, b), _between(found, u, a, b)),
    )
    added = np.array([p.added_l for p in fill.pours])[listed.pour]
    missing = np.array([kind == "pour_missing" for kind in listed.kind])
    estimate = np.where(
        np.array(listed.is_reading),
        np.interp(here - found, litres, scale),
        np.where(missing, found, added + found),
    )
    per_count = np.interp(counts, scale, np.gradient(litres, scale))
    u_estimate = np.where(listed.is_reading, u / np.maximum(per_count, 1e-9), u)
    if swapped.any():
        logs[swapped] = _swap_logs(component, factor, np.flatnonzero(swapped), listed)
    shift = np.where((how == EXACT) & ~swapped, a, found)
    return _Weights(logs + np.log(listed.worth), estimate, u_estimate, shift)


def _swap_logs(
    component: Component,
    factor: tuple[Floats, bool],
    which: npt.NDArray[np.intp],
    listed: _Candidates,
) -> Floats:
    """Log Bayes factor of other counts for one reading: how all the others foretell them."""
    eq, curves = component.equations, component.curves
    weights = cho_solve(factor, np.eye(len(eq.observed)))
    pull = weights @ eq.observed
    scaled = eq.design * component.prior_u
    pours = np.array(listed.pour)[which]
    meant = np.array(listed.a)[which]
    wetted = curves.probe.wetted_mm(meant)
    effects = interpolated_effects(curves, wetted)
    litres = np.interp(wetted, curves.wetted_mm, curves.litres)
    slope_l = np.interp(wetted, curves.wetted_mm, curves.per_mm_l)
    result = np.empty(len(which))
    width = effects.shape[1]
    for row, k in enumerate(eq.pours):
        mine = np.flatnonzero(pours == k)
        if len(mine) == 0:
            continue
        others = np.delete(np.arange(len(eq.observed)), row)
        inverse = (
            weights[np.ix_(others, others)]
            - np.outer(weights[others, row], weights[row, others]) / weights[row, row]
        )
        design = np.tile(eq.design[row], (len(mine), 1))
        design[:, :width] = effects[mine]
        design = design * component.prior_u
        shared = design @ scaled[others].T + eq.noise[row, others]
        gain = shared @ inverse
        mean = gain @ eq.observed[others]
        ratio = slope_l[mine] / max(eq.per_count_l[row] / abs(curves.probe.mm_per_count), 1e-9)
        delivery = eq.noise[row, row] - eq.reading_l2[row]
        own_l2 = eq.reading_l2[row] * ratio**2 + LEAST_L2
        variance = np.einsum("ij,ij->i", design, design) + delivery + own_l2 - LEAST_L2
        # No other reading foretells this one's own noise; less is the rounding of a difference.
        variance = np.maximum(variance - np.einsum("ij,ij->i", gain, shared), own_l2)
        here = np.interp(curves.probe.wetted_mm(eq.counts[row]), curves.wetted_mm, curves.litres)
        seen = eq.observed[row] + here - litres[mine]
        own = 0.5 * pull[row] ** 2 / weights[row, row] - 0.5 * np.log(weights[row, row])
        result[mine] = (
            own
            - 0.5 * (seen - mean) ** 2 / variance
            - 0.5 * np.log(variance)
            + np.log(np.maximum(ratio, 1e-9))
        )
    return result


def _factored(
    component: Component,
) -> tuple[tuple[Floats, bool], Floats, npt.NDArray[np.intp]]:
    eq = component.equations
    scaled = eq.design * component.prior_u
    factor = cho_factor(scaled @ scaled.T + eq.noise, lower=True)
    return factor, cho_solve(factor, eq.observed), eq.after


def _curve(component: Component) -> tuple[Floats, Floats]:
    order = np.argsort(component.curves.counts)
    return component.curves.counts[order], component.curves.litres[order]


def _exact(found: Floats, u: Floats, change: Floats) -> Floats:
    """Log Bayes factor of one particular change against none."""
    return np.asarray(0.5 * (found**2 - (change - found) ** 2) / u**2)


def _about(found: Floats, u: Floats, mean: Floats, spread: Floats) -> Floats:
    """Log Bayes factor of a change that is normal about a mean."""
    total = spread**2 + u**2
    return np.asarray(
        0.5 * (found**2 / u**2 - (found - mean) ** 2 / total) - 0.5 * np.log(total / u**2)
    )


def _between(found: Floats, u: Floats, low: Floats, high: Floats) -> Floats:
    """Log Bayes factor of a change that lies evenly between two limits."""
    a, b = (low - found) / u, (high - found) / u
    # On the far side the difference of two masses near 1 would lose all digits.
    flip = a > 0
    a, b = np.where(flip, -b, a), np.where(flip, -a, b)
    wide = np.maximum(high - low, 1e-9)
    less = np.minimum(log_ndtr(a) - log_ndtr(b), -1e-12)
    mass = log_ndtr(b) + np.log1p(-np.exp(less))
    return np.asarray(mass + np.log(u * np.sqrt(2 * np.pi) / wide) + 0.5 * found**2 / u**2)


def _moves(fill: Fill, component: Component) -> Floats:
    """The vehicle moved before pour k: the slope differs from there on.  Shape (pours - 1,)."""
    eq = component.equations
    logs = np.full(len(fill.pours) - 1, -np.inf)
    columns = eq.design[:, -2:]
    if len(eq.observed) < 2 or not columns.any():
        return logs
    factor, pull, row_of = _factored(component)
    ratio = component.move_ratio
    first = min(eq.pours, default=0)
    for k in range(first + 1, max(eq.pours, default=0) + 1):
        directions = np.where((row_of >= k)[:, None], columns * ratio, 0.0)
        gram = np.eye(2) + directions.T @ cho_solve(factor, directions)
        hit = directions.T @ pull
        gain = 0.5 * float(hit @ np.linalg.solve(gram, hit))
        gain -= 0.5 * float(np.linalg.slogdet(gram)[1])
        logs[k - 1] = gain + np.log(WORTH["vehicle_moved"] / len(logs))
    return logs
