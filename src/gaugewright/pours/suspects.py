"""What may have gone wrong in a fill, weighed by the model that fits the table.

For every pour and every usual mistake the same equations are asked: how probable are
all readings together if this figure was wrong in this way?  A mistake in litres moves
every later reading by the same volume, one in a reading moves that reading alone, a
moved vehicle changes the slope from there on.  Weights follow Bayes' rule.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr, logsumexp

from gaugewright.pours.candidates import ABOUT, BETWEEN, EXACT, WORTH, Candidates, candidates_of
from gaugewright.table.equations import Equations
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component
from gaugewright.table.rows import interpolated_effects

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

LEAST_L2 = 1e-6
"""Least variance of a reading. [L²]"""
OUT_OF_QUESTION = 30.0
"""Suspects lighter than the weightiest by this much, as a log, are not named one by one."""


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
    """The suspects of a fill, the weightiest first."""

    suspects: tuple[Suspect, ...]
    shape_weights: Floats
    """Probability of each component with mistakes allowed for, shape (c,)."""
    log_all: float
    """Log weight of a clean fill and all suspects together, those not named included."""

    @property
    def clean(self) -> float:
        """Probability that nothing is wrong."""
        return float(np.exp(-self.log_all))

    def mass(self, suspect: Suspect) -> float:
        """Probability of one suspect."""
        return float(np.exp(suspect.log_weight - self.log_all))


def weigh(fill: Fill, components: Sequence[Component]) -> Weighed:
    """Return the suspects of a fill with their weights over all degrees of distrust."""
    listed = candidates_of(fill, components[0])
    base = np.array([c.log_weight for c in components])
    base = base - logsumexp(base)
    asked: dict[int, _Question] = {}
    for component in components:
        equations = component.equations
        if id(equations) not in asked:
            asked[id(equations)] = _question(fill, component, listed)
    answers = [_answer(asked[id(c.equations)], c) for c in components]
    logs = np.array([a.logs for a in answers]) + base[:, None]
    move_logs = np.array([a.move_logs for a in answers]) + base[:, None]
    per_component = np.logaddexp(base, logsumexp(np.column_stack([logs, move_logs]), axis=1))
    per_component = np.exp(per_component - logsumexp(per_component))
    total = np.concatenate([logsumexp(logs, axis=0), logsumexp(move_logs, axis=0)])
    best = int(np.argmax(per_component))
    named = total > max(0.0, float(total.max(initial=0.0))) - OUT_OF_QUESTION
    suspects = _suspects(
        listed, np.flatnonzero(named), total, asked[id(components[best].equations)], answers[best]
    )
    log_all = float(logsumexp(np.append(total, 0.0)))
    return Weighed(suspects, per_component, log_all)


def _suspects(
    listed: Candidates, which: Indices, total: Floats, asked: "_Question", leading: "_Answer"
) -> tuple[Suspect, ...]:
    count = len(listed.kind)
    estimate, u_estimate = _estimates(asked, leading)
    shift_l = np.where((listed.how == EXACT) & ~listed.is_reading, listed.a, leading.found)
    found = []
    for i in which[np.argsort(-total[which], kind="stable")].tolist():
        weight = float(total[i])
        if i >= count:
            found.append(Suspect("vehicle_moved", i - count + 1, weight))
            continue
        is_exact = bool(listed.how[i] == EXACT)
        found.append(
            Suspect(
                listed.kind[i],
                int(listed.pour[i]),
                weight,
                float(listed.correction[i] if is_exact else estimate[i]),
                is_exact,
                float(u_estimate[i]),
                float(shift_l[i]),
            )
        )
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Question:
    """All candidates put to the equations of one description."""

    fill: Fill
    listed: Candidates
    equations: Equations
    directions: Floats
    """Effect on the rows of 1 L more at each pour, then at each reading, shape (n, 2 pours)."""
    column: Indices
    """Which of them each candidate is about, shape (m,)."""
    counts: Floats
    """Along the curve, rising. [counts]"""
    litres: Floats
    by_how: tuple[Indices, Indices, Indices]
    """The candidates weighed as one figure of litres, about a mean, between limits."""
    swaps: "_Swaps"


@dataclass(frozen=True, eq=False)
class _Swaps:
    """Other counts that may have been meant, as rows of the equations; shape (s, ...)."""

    which: Indices
    row: Indices
    """Row of the reading in question."""
    design: Floats
    seen: Floats
    """What the row would have observed. [L]"""
    delivery_l2: Floats
    own_l2: Floats
    log_ratio: Floats
    """Of the litres per count there and here: a density in counts, not in litres."""


def _question(fill: Fill, component: Component, listed: Candidates) -> _Question:
    equations, curves = component.equations, component.curves
    pours, readings = len(fill.pours), len(equations.pours)
    sign = -1.0 if fill.is_draining else 1.0
    at = np.arange(pours)
    directions = np.zeros((len(equations.observed), 2 * pours))
    directions[:, :pours] = sign * (equations.after[:, None] >= at)
    directions[:readings, pours:] = equations.after[:readings, None] == at
    order = np.argsort(curves.counts)
    is_swap = listed.is_reading & (listed.how == EXACT)
    return _Question(
        fill=fill,
        listed=listed,
        equations=equations,
        directions=directions,
        column=listed.pour + pours * listed.is_reading,
        counts=curves.counts[order],
        litres=curves.litres[order],
        by_how=(
            np.flatnonzero((listed.how == EXACT) & ~is_swap),
            np.flatnonzero(listed.how == ABOUT),
            np.flatnonzero(listed.how == BETWEEN),
        ),
        swaps=_swaps(component, np.flatnonzero(is_swap), listed, pours),
    )


def _swaps(component: Component, which: Indices, listed: Candidates, pours: int) -> _Swaps:
    eq, curves = component.equations, component.curves
    row_of = np.full(pours, -1, dtype=np.intp)
    row_of[list(eq.pours)] = np.arange(len(eq.pours))
    row = row_of[listed.pour[which]]
    which, row = which[row >= 0], row[row >= 0]
    wetted = curves.probe.wetted_mm(listed.a[which])
    litres = np.interp(wetted, curves.wetted_mm, curves.litres)
    slope_l = np.interp(wetted, curves.wetted_mm, curves.per_mm_l)
    effects = interpolated_effects(curves, wetted)
    design = eq.design[row]
    design[:, : effects.shape[1]] = effects
    per_mm_l = np.maximum(eq.per_count_l / abs(curves.probe.mm_per_count), 1e-9)
    ratio = slope_l / per_mm_l[row]
    here = np.interp(curves.probe.wetted_mm(eq.counts[row]), curves.wetted_mm, curves.litres)
    return _Swaps(
        which=which,
        row=row,
        design=design,
        seen=eq.observed[row] + here - litres,
        delivery_l2=np.diag(eq.noise)[row] - eq.reading_l2[row],
        own_l2=eq.reading_l2[row] * ratio**2,
        log_ratio=np.log(np.maximum(ratio, 1e-9)),
    )


@dataclass(frozen=True, eq=False)
class _Answer:
    """What one component makes of all candidates."""

    logs: Floats
    """Log Bayes factors with worth, shape (m,)."""
    found: Floats
    """The change that fits best, [L]."""
    u_found: Floats
    move_logs: Floats
    """Of a vehicle that moved before each pour, shape (pours - 1,)."""


def _answer(asked: _Question, component: Component) -> _Answer:
    listed, eq = asked.listed, asked.equations
    nothing = np.full(len(listed.kind), -np.inf)
    if len(eq.observed) < 2:
        still = np.full(len(asked.fill.pours) - 1, -np.inf)
        return _Answer(nothing, np.zeros_like(nothing), np.zeros_like(nothing), still)
    scaled = eq.design * component.prior_u
    factor = cho_factor(scaled @ scaled.T + eq.noise, lower=True)
    weights = cho_solve(factor, np.eye(len(eq.observed)))
    pull = weights @ eq.observed
    strength = np.einsum("ij,ij->j", asked.directions, weights @ asked.directions)
    strength = np.maximum(strength, 1e-12)
    found = (-(asked.directions.T @ pull) / strength)[asked.column]
    u = (1.0 / np.sqrt(strength))[asked.column]
    logs = nothing
    for which, rule in zip(asked.by_how, (_exact, _about, _between), strict=True):
        logs[which] = rule(found[which], u[which], listed.a[which], listed.b[which])
    logs[asked.swaps.which] = _swap_logs(asked, component, weights, pull)
    return _Answer(logs + listed.log_worth, found, u, _moves(asked, component, weights, pull))


def _estimates(asked: _Question, answer: _Answer) -> tuple[Floats, Floats]:
    """The figure that fits best for each candidate, and its standard uncertainty."""
    listed, pours = asked.listed, asked.fill.pours
    counts = np.array([p.counts for p in pours])[listed.pour]
    added = np.array([p.added_l for p in pours])[listed.pour]
    here = np.interp(counts, asked.counts, asked.litres)
    missing = np.array([kind == "pour_missing" for kind in listed.kind], dtype=bool)
    estimate = np.where(
        listed.is_reading,
        np.interp(here - answer.found, asked.litres, asked.counts),
        np.where(missing, answer.found, added + answer.found),
    )
    per_count = np.interp(counts, asked.counts, np.gradient(asked.litres, asked.counts))
    in_counts = answer.u_found / np.maximum(per_count, 1e-9)
    return estimate, np.where(listed.is_reading, in_counts, answer.u_found)


def _swap_logs(asked: _Question, component: Component, weights: Floats, pull: Floats) -> Floats:
    """Log Bayes factor of other counts for one reading: how all the others foretell them.

    With W the inverse covariance of all rows, that of all but row r is
    W - W[:, r] W[r, :] / W[r, r]: so one inverse serves every reading.
    """
    eq, swaps = asked.equations, asked.swaps
    row, at = swaps.row, np.arange(len(swaps.row))
    scaled = swaps.design * component.prior_u
    shared = scaled @ (eq.design * component.prior_u).T + eq.noise[row]
    shared[at, row] = 0.0
    reach = shared @ weights
    mine, own_weight = reach[at, row], weights[row, row]
    mean = shared @ pull - mine * pull[row] / own_weight
    known = np.einsum("ij,ij->i", reach, shared) - mine**2 / own_weight
    variance = np.einsum("ij,ij->i", scaled, scaled) + swaps.delivery_l2 + swaps.own_l2 - known
    # No other reading foretells this one's own noise; less is the rounding of a difference.
    variance = np.maximum(variance, swaps.own_l2 + LEAST_L2)
    own = 0.5 * pull[row] ** 2 / own_weight - 0.5 * np.log(own_weight)
    result: Floats = own - 0.5 * (swaps.seen - mean) ** 2 / variance - 0.5 * np.log(variance)
    return result + swaps.log_ratio


def _exact(found: Floats, u: Floats, change: Floats, _: Floats) -> Floats:
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


def _moves(asked: _Question, component: Component, weights: Floats, pull: Floats) -> Floats:
    """The vehicle moved before pour k: the slope differs from there on.  Shape (pours - 1,)."""
    eq = asked.equations
    logs = np.full(len(asked.fill.pours) - 1, -np.inf)
    columns = eq.design[:, -2:] * component.move_ratio
    if not columns.any() or len(eq.pours) < 2:
        return logs
    at = np.arange(min(eq.pours) + 1, max(eq.pours) + 1)
    later = eq.after >= at[:, None]
    directions = later[:, :, None] * columns
    turned = directions.transpose(0, 2, 1)
    gram = np.eye(2) + turned @ (weights @ directions)
    hit = turned @ pull
    gain = 0.5 * np.einsum("ki,ki->k", hit, np.linalg.solve(gram, hit[:, :, None])[:, :, 0])
    gain -= 0.5 * np.linalg.slogdet(gram)[1]
    logs[at - 1] = gain + np.log(WORTH["vehicle_moved"] / len(logs))
    return logs
