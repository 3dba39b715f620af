"""The check of a fill: every pour against the same model that fits the table.

One mistake after another is looked for.  A figure under suspicion is treated as
unknown from then on, so the table never uses it and the band shows what it cost.
"""

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.pours.expected import Expected, expectations
from gaugewright.pours.findings import Finding
from gaugewright.pours.first_pour import first_slip
from gaugewright.pours.plain import planned_findings, range_findings
from gaugewright.pours.sentences import finding_of
from gaugewright.pours.suspects import Suspect, Weighed, weigh
from gaugewright.pours.whole_tank import holds_less, tank_disagrees
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Fit, fit
from gaugewright.table.rows import Doubts
from gaugewright.tank.description import Tank

Floats = npt.NDArray[np.float64]

LEAST_SHARE = 0.003
"""A mistake that moves less than this share of the capacity is inside the band anyway."""
SURE = 0.95
"""Probability of a mistake from which on a person is asked."""
SURE_MOVED = 0.985
"""The same for a moved vehicle, which a dent in the wall imitates."""
SURE_DOUBTFUL_TANK = 0.98
"""The same where the tank file itself is in doubt."""
MOST_FINDINGS = 4
READING_KINDS = ("counts_mistyped", "not_settled")


@dataclass(frozen=True, eq=False)
class Checked:
    """A fill with its findings and the table that leaves out what is in doubt."""

    findings: tuple[Finding, ...]
    fit: Fit
    doubts: Doubts
    expected: tuple[Expected, ...]
    """The forecast of each reading from the pours before it."""


def check_fill(
    fill: Fill,
    tank: Tank | None = None,
    probe: Probe | None = None,
    assumed: Assumptions | None = None,
    doubts: Doubts | None = None,
) -> Checked:
    """Return the findings of a fill and its table; works while pouring and afterwards.

    ``doubts`` are figures that are known to be unknown: a pour that was voided and not
    repeated, a reading that nobody wrote down.
    """
    assumed = Assumptions() if assumed is None else assumed
    doubts = Doubts() if doubts is None else doubts
    first = result = fit(fill, tank, probe, assumed, doubts)
    accused: list[Suspect] = []
    weighed = weigh(fill, list(result.components))
    for _ in range(MOST_FINDINGS):
        suspect = _accused(fill, result, weighed) or first_slip(fill, result)
        if suspect is None or _is_doubted(doubts, suspect):
            break
        accused.append(suspect)
        doubts = _doubting(doubts, fill, weighed, suspect)
        result = fit(fill, tank, probe, assumed, doubts)
        weighed = weigh(fill, list(result.components))
    expected = expectations(list(first.components), _in_hindsight(first, result))
    findings: list[Finding] = []
    for suspect in accused:
        finding = finding_of(fill, result, suspect, expected)
        # Once more where a figure already left open does not explain all: told only once.
        if finding not in findings:
            findings.append(finding)
    if tank is not None:
        findings += tank_disagrees(fill, result, weighed)
        findings += holds_less(fill, result, doubts)
    findings += range_findings(fill, result, {f.step for f in findings})
    asked = {f.step for f in findings if f.severity != "note"}
    findings += planned_findings(fill, asked, expected)
    findings.sort(key=lambda f: (f.step is None, f.step or 0))
    return Checked(tuple(findings), result, doubts, expected)


def _in_hindsight(first: Fit, last: Fit) -> Floats:
    """How much each degree of distrust of the first fit counts after the last, shape (c,).

    Both list the described tank's degrees first and then, if they were needed, those of
    other shapes in the same order.
    """
    weights: Floats = np.full(len(first.components), 1e-12)
    shared = min(len(weights), len(last.weights))
    weights[:shared] += last.weights[:shared]
    return weights


def _accused(fill: Fill, result: Fit, weighed: Weighed) -> Suspect | None:
    """Return the likeliest mistake worth asking about, or ``None``."""
    capacity = result.components[0].curves.capacity_l
    large = [
        s
        for s in weighed.suspects
        if s.kind == "vehicle_moved" or abs(s.shift_l) >= LEAST_SHARE * capacity
    ]
    if not large:
        return None
    by_pour: dict[int, float] = defaultdict(float)
    for suspect in large:
        by_pour[suspect.pour] += weighed.mass(suspect)
    pour = max(by_pour, key=lambda k: by_pour[k])
    by_kind: dict[str, float] = defaultdict(float)
    for suspect in large:
        if suspect.pour == pour:
            by_kind[suspect.kind] += weighed.mass(suspect)
    kind = max(by_kind, key=lambda name: by_kind[name])
    sure = SURE_MOVED if kind == "vehicle_moved" else SURE
    if _described_share(result, weighed) < 0.5:
        sure = max(sure, SURE_DOUBTFUL_TANK)
    if sum(by_pour.values()) < sure:
        return None
    best = next(s for s in large if s.pour == pour and s.kind == kind)
    rise = fill.pours[pour].counts - fill.pours[pour - 1].counts
    falls = rise > 0 if fill.is_draining else rise < 0
    stands = abs(rise) <= 6 and fill.pours[pour].added_l > 0
    # The very reading of before tells of no pour or of a probe that stands still, not of a slip.
    is_same = rise == 0 and stands and kind in (*READING_KINDS, "litres_mistyped")
    if is_same or (kind in READING_KINDS and not best.exact and (falls or stands)):
        best = replace(best, kind="not_rising")
    return best


def _described_share(result: Fit, weighed: Weighed) -> float:
    """Probability that the tank is as described, give or take the usual departure."""
    first = result.components[0].curves
    return float(
        sum(
            weight
            for weight, component in zip(weighed.shape_weights, result.components, strict=True)
            if component.curves is first and component.scale <= 3.0
        )
    )


def _is_doubted(doubts: Doubts, suspect: Suspect) -> bool:
    k = suspect.pour
    if suspect.kind == "vehicle_moved":
        return k in doubts.moves
    return k in doubts.litres and k in doubts.readings


def _doubting(doubts: Doubts, fill: Fill, weighed: Weighed, suspect: Suspect) -> Doubts:
    """Leave open what may be wrong at a pour: its litres, its reading, or both."""
    k = suspect.pour
    if suspect.kind == "vehicle_moved":
        return replace(doubts, moves=doubts.moves | {k})
    in_reading = in_litres = 0.0
    for other in weighed.suspects:
        if other.pour == k and other.kind in READING_KINDS:
            in_reading += weighed.mass(other)
        elif other.pour == k and other.kind != "vehicle_moved":
            in_litres += weighed.mass(other)
    total = max(in_reading + in_litres, 1e-300)
    litres, readings = doubts.litres, doubts.readings
    if in_litres > 0.02 * total:
        litres = litres | {k}
    if in_reading > 0.02 * total:
        readings = readings | {k}
    if (litres, readings) == (doubts.litres, doubts.readings):
        litres, readings = litres | {k}, readings | {k}
    return replace(doubts, litres=litres, readings=readings)
