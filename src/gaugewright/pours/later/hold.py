"""A table held against pours made later: is it still good, and what changed.

The table's own state of knowledge foretells the pours, as the pours of a fill are foretold
by those before them.  Every change is a rival state of knowledge; the pours weigh them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp, ndtr

from gaugewright.errors import InputError, StateError
from gaugewright.metrology.agreement import is_within
from gaugewright.pours.candidates import WORTH
from gaugewright.pours.later.changes import DENT, MOVED, SPAN, TIP, UNCHANGED, ZERO
from gaugewright.pours.later.compare import OPEN_START, Comparison, comparisons
from gaugewright.pours.later.rivals import Dry, Rival, log_after, log_before, of_kind, rivals_of
from gaugewright.pours.suspects import weigh
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Fit, average
from gaugewright.table.later.known import K95, Known
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

SLIP = "slip"
"""One of the new pours was mistyped or not settled; nothing changed on the vehicle."""
SLIP_WORTH = float(np.log(sum(WORTH.values())))
"""What any slip is worth beforehand, as a logarithm."""
CHANGES = (TIP, ZERO, SPAN, DENT)
SURE = 0.9
"""Probability of a change from which on the table is said to be no longer good."""
LIKELY = 0.5
"""The same from which on it is in doubt, as it is where one |E_n| is above 1."""
RISK = 0.05
"""Probability that a quarter of the scale is misread beyond the band from which on nothing is
called good: the consumer's risk of JCGM 106:2012, 9.5, at the band's own 5 %."""
TOLD = 0.85
"""Share of all changes from which on one of them is named."""
NAMED = 0.05
"""Share of all changes from which on one of them is listed as possible."""
SEEN = 3.29
"""A change of so many standard uncertainties is missed once in 20 times where an unchanged
tank is accused once in 20 (2 x 1.645)."""


class Verdict(StrEnum):
    """What pours made later say of a table."""

    GOOD = "good"
    DOUBTFUL = "doubtful"
    REPEAT = "repeat"
    NOT_GOOD = "not_good"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True)
class Possible:
    """One thing that may be so, after the pours."""

    kind: str
    probability: float
    log_likelihood: float
    """How much better it foretells the pours than an unchanged tank (natural logarithm),
    before it is asked how often such a thing happens."""
    size: float | None = None
    """If it is so: tip in mm, up positive; zero and span in counts; dent in litres lost."""
    u95_size: float | None = None


@dataclass(frozen=True, eq=False)
class Held:
    """A table held against pours made later."""

    comparisons: tuple[Comparison, ...]
    possible: tuple[Possible, ...]
    """Everything that may be so, the most probable first."""
    verdict: Verdict
    named: tuple[str, ...]
    """What changed, if something did: one kind, or several that cannot be told apart."""
    could_show: Mapping[str, float | None]
    """The smallest change of each kind that these pours could have shown, in its unit;
    ``None`` where they could not show it at all."""
    before: Fit
    """The table as it was."""
    after: Fit
    """The table with the pours learnt, all that may have changed allowed for."""
    risks: Mapping[str, float]
    """Probability that each change is there and misreads a quarter of the scale beyond the
    table's band."""
    dry: Dry | None
    """The reading of the dry probe, where it was taken too."""
    is_blind: bool = False
    """The pours began anywhere, and a drifted zero that misreads beyond the band could pass."""

    @property
    def risk(self) -> float:
        """Probability that the table misreads beyond its band although it is called good."""
        return sum(self.risks.values())

    @property
    def is_zero_open(self) -> bool:
        """Whether a reading of the dry probe would say most: all reads higher or lower."""
        shift = self.risks[ZERO] + self.risks[TIP]
        return self.dry is None and (self.is_blind or shift > 0.5 * self.risk)

    @property
    def agrees(self) -> bool:
        """Whether every |E_n| is at most 1."""
        return all(is_within(each.en, 1.0) for each in self.comparisons)

    def probability(self, kind: str) -> float:
        """Return the probability of one thing that may be so."""
        return next((each.probability for each in self.possible if each.kind == kind), 0.0)


def require_sound(held: Held) -> None:
    """Refuse to learn pours of which one looks wrong; raises `StateError`."""
    if held.verdict is Verdict.REPEAT:
        raise StateError(said("one of these pours looks wrong, so no newer table is made of them"))


def hold(
    known: Known,
    fill: Fill,
    assumed: Assumptions | None = None,
    *,
    dry: Dry | None = None,
    is_fresh: bool = False,
) -> Held:
    """Hold pours made later against what was known.

    ``fill`` begins with the reading before the first pour; `begun_anywhere` makes its
    start unknown where the tank was not drained.  ``dry`` is what the probe reads in air.
    ``is_fresh``: the probe was put in just now, its zero and its tip measured; pours may speak
    against them, but need not prove them again.

    Raises `InputError` for a record that runs down.
    """
    if fill.is_draining:
        raise InputError("the record runs down; wanted pours in, from the reading before them")
    assumed = Assumptions() if assumed is None else assumed
    rivals = rivals_of(known, fill, assumed, dry)
    same = of_kind(rivals)
    possible = _possible(rivals, _slip_log(fill, same))
    compared = comparisons(fill, same)
    before = known.table_fit()
    risks = _risks(rivals, possible, before)
    if is_fresh:
        risks |= {TIP: 0.0, ZERO: 0.0}
    could_show = _could_show(rivals)
    is_blind = not is_fresh and _is_blind(fill, rivals, could_show[ZERO], before)
    verdict = _verdict(possible, compared, 1.0 if is_blind else sum(risks.values()))
    changed = sum(each.probability for each in possible if each.kind in CHANGES)
    return Held(
        compared,
        possible,
        verdict,
        _named(possible) if changed >= LIKELY else (),
        could_show,
        before,
        average([rival.component for rival in rivals]),
        risks,
        dry,
        is_blind,
    )


def begun_anywhere(known: Known, fill: Fill) -> Fill:
    """Return the fill with its start unknown: the tank was not drained before it.

    What the table says of the first reading is only where the unknown start is looked for;
    its uncertainty is the whole capacity.
    """
    curves = known.parts[0].curves
    wetted = float(curves.probe.wetted_mm(fill.pours[0].counts))
    start = float(np.interp(wetted, curves.wetted_mm, curves.litres))
    return replace(fill, residual_l=start, u_residual_l=max(curves.capacity_l, 1.0))


def _slip_log(fill: Fill, same: list[Rival]) -> float:
    """Log weight of any one mistake in the new pours, against none of them."""
    log_all = weigh(fill, [rival.component for rival in same]).log_all
    return log_all + float(np.log(max(-np.expm1(-log_all), 1e-12)))


def _most(kind: str, curves: Curves) -> float:
    """A change beyond this is no change of that kind any more, in its unit."""
    if kind == TIP:
        return 0.2 * float(curves.wetted_mm[-1])
    if kind == DENT:
        return 0.2 * curves.capacity_l
    return 0.2 * abs(curves.probe.counts_full - curves.probe.counts_empty)


def _possible(rivals: list[Rival], slip_log: float) -> tuple[Possible, ...]:
    own = {kind: of_kind(rivals, kind) for kind in (UNCHANGED, *CHANGES)}
    logs = {kind: log_after(each) for kind, each in own.items()}
    gains = {kind: logs[kind] - log_before(each) for kind, each in own.items()}
    logs[SLIP] = logs[UNCHANGED] + slip_log
    total = float(logsumexp(list(logs.values())))
    found = [
        Possible(UNCHANGED, float(np.exp(logs[UNCHANGED] - total)), 0.0),
        Possible(SLIP, float(np.exp(logs[SLIP] - total)), slip_log - SLIP_WORTH),
    ]
    for kind in CHANGES:
        size, u95 = _size(own[kind])
        gain = gains[kind] - gains[UNCHANGED]
        found.append(Possible(kind, float(np.exp(logs[kind] - total)), gain, size, u95))
    return tuple(sorted(found, key=lambda each: -each.probability))


def _size(rivals: list[Rival]) -> tuple[float, float]:
    """Mean of the size over all that it may be, and the half-width of its 95 % band."""
    logs = np.array([rival.component.log_weight for rival in rivals])
    shares = np.exp(logs - logsumexp(logs))
    means, variances = [], []
    for rival in rivals:
        estimate = rival.component.posterior.estimate
        at = rival.component.equations.names.index(MOVED)
        spread = rival.change.spread
        means.append(rival.change.size + spread * float(estimate.mean[at]))
        variances.append(spread**2 * float(estimate.covariance[at, at]))
    mean = float(shares @ np.array(means))
    second = float(shares @ (np.array(variances) + np.array(means) ** 2))
    return mean, K95 * float(np.sqrt(max(second - mean**2, 0.0)))


def _risks(rivals: list[Rival], possible: tuple[Possible, ...], before: Fit) -> dict[str, float]:
    """Share each change's probability into what misreads beyond the table's band."""
    by_kind = {each.kind: each.probability for each in possible}
    found = {}
    for kind in CHANGES:
        own = of_kind(rivals, kind)
        logs = np.array([rival.component.log_weight for rival in own])
        shares = np.exp(logs - logsumexp(logs))
        beyond = np.array([_beyond(rival, before) for rival in own])
        found[kind] = by_kind[kind] * float(shares @ beyond)
    return found


def _is_blind(fill: Fill, rivals: list[Rival], shown: float | None, before: Fit) -> bool:
    """Whether a drift beyond the band could pass unseen, the start of the pours unknown."""
    open_l = OPEN_START * rivals[0].component.curves.capacity_l
    if fill.u_residual_l is None or fill.u_residual_l < open_l:
        return False
    own = of_kind(rivals, ZERO)
    least = min(abs(rival.change.size) for rival in own)
    bad = [_tolerable(rival, before) for rival in own if abs(rival.change.size) == least]
    return shown is None or shown > float(np.median(bad))


def _tolerable(rival: Rival, before: Fit) -> float:
    """Return the largest change, in its unit, that no quarter of the scale misreads beyond."""
    curves, spread = rival.change.curves, rival.change.spread
    at = next(i for i, column in enumerate(curves.columns) if column.name == MOVED)
    per_size = np.abs(curves.columns[at].effect_l) / spread
    seen = (curves.wetted_mm >= 0) & (per_size > 1e-9)
    if seen.mean() < 0.25:
        return float("inf")
    band = np.interp(curves.counts[seen], before.counts, before.u95_litres)
    return float(np.quantile(band / per_size[seen], min(0.25 / float(seen.mean()), 1.0)))


def _beyond(rival: Rival, before: Fit) -> float:
    """Probability that one change is as large as to misread a quarter of the scale."""
    most, spread = _tolerable(rival, before), rival.change.spread
    estimate = rival.component.posterior.estimate
    moved = rival.component.equations.names.index(MOVED)
    size = rival.change.size + spread * float(estimate.mean[moved])
    u = spread * float(np.sqrt(max(estimate.covariance[moved, moved], 1e-12)))
    return float(ndtr((-most - size) / u) + ndtr((size - most) / u))


def _verdict(
    possible: tuple[Possible, ...], compared: tuple[Comparison, ...], risk: float
) -> Verdict:
    if not compared:
        return Verdict.CANNOT_TELL
    by_kind = {each.kind: each.probability for each in possible}
    changed = sum(by_kind[kind] for kind in CHANGES)
    if changed >= SURE:
        return Verdict.NOT_GOOD
    if by_kind[SLIP] > max(by_kind[UNCHANGED], changed):
        return Verdict.REPEAT
    if changed >= LIKELY or not all(each.agrees for each in compared):
        return Verdict.DOUBTFUL
    return Verdict.GOOD if risk <= RISK else Verdict.CANNOT_TELL


def _named(possible: tuple[Possible, ...]) -> tuple[str, ...]:
    changes = [each for each in possible if each.kind in CHANGES]
    total = sum(each.probability for each in changes)
    if changes[0].probability >= TOLD * total:
        return (changes[0].kind,)
    return tuple(each.kind for each in changes if each.probability >= NAMED * total)


def _could_show(rivals: list[Rival]) -> dict[str, float | None]:
    """The smallest change that would stand out of all that was open before the pours."""
    component = max(of_kind(rivals), key=lambda rival: rival.log_before).component
    eq = component.equations
    scaled = eq.design * component.prior_u
    weights = np.asarray(np.linalg.inv(scaled @ scaled.T + eq.noise), dtype=np.float64)
    found: dict[str, float | None] = {}
    for kind in CHANGES:
        least = _least(of_kind(rivals, kind), weights)
        found[kind] = least if least < _most(kind, component.curves) else None
    return found


def _least(rivals: list[Rival], weights: Floats) -> float:
    """Of the smallest sizes of one change, the middling one that could have been seen."""
    smallest = min(rival.change.size for rival in rivals if rival.change.size > 0)
    sizes = []
    for rival in rivals:
        eq = rival.component.equations
        if not np.isclose(rival.change.size, smallest) or len(eq.observed) != len(weights):
            continue
        direction = eq.design[:, eq.names.index(MOVED)] / rival.change.spread
        strength = float(direction @ weights @ direction)
        sizes.append(SEEN / np.sqrt(strength) if strength > 1e-12 else np.inf)
    return float(np.median(sizes)) if sizes else float(np.inf)
