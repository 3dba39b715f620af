"""Findings that need no weighing: readings outside the probe, figures against the plan."""

from collections.abc import Sequence

from gaugewright.pours.expected import Expected
from gaugewright.pours.figures import misread_litres
from gaugewright.pours.findings import Finding
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Fit
from gaugewright.units import Volumes
from gaugewright.words import said


def range_findings(fill: Fill, result: Fit, named: set[int | None]) -> list[Finding]:
    """Readings below the tip or past the top, and falls to the bottom of the scale."""
    eq = result.components[0].equations
    say = Volumes(fill.unit)
    found = []
    seen = False
    # A tank filled to the brim ends past the top; a second pour up there teaches nothing.
    beyond = [k for k in eq.past_top if k > max(eq.pours, default=-1)]
    is_wasted = len(beyond) > 1
    for k, pour in enumerate(fill.pours):
        if pour.step in named or pour.added_l == 0:
            seen = seen or k in eq.pours
            continue
        if k in eq.past_top and k < max(eq.pours, default=-1) and not fill.is_draining:
            found.append(
                Finding(
                    pour.step,
                    "counts_mistyped",
                    "stop",
                    said(
                        "The probe reads {counts:g} counts, its end of scale, but less after "
                        "later pours.",
                        counts=pour.counts,
                    ),
                    said("Check the probe's wire and read it again."),
                    "counts",
                )
            )
        elif k in eq.past_top and not fill.is_draining:
            found.append(
                Finding(
                    pour.step,
                    "past_probe_top",
                    "check" if is_wasted else "note",
                    said(
                        "The probe reads {counts:g} counts, its end of scale: the fuel stands "
                        "above its top after this pour of {added_l}.",
                        counts=pour.counts,
                        added_l=say.said(pour.added_l),
                    ),
                    said("Litres above the probe's top cannot be seen; stop pouring here."),
                )
            )
        elif k in eq.below_tip and seen and not fill.is_draining:
            found.append(
                Finding(
                    pour.step,
                    "not_rising",
                    "stop",
                    said(
                        "The probe fell back to {counts:g} counts, its empty reading, although "
                        "{added_l} were added.",
                        counts=pour.counts,
                        added_l=say.said(pour.added_l),
                    ),
                    said("Check the probe's wire and read it again."),
                    "counts",
                )
            )
        elif k in eq.below_tip and not fill.is_draining:
            found.append(
                Finding(
                    pour.step,
                    "below_probe_tip",
                    "note",
                    said(
                        "The fuel is still below the probe's tip after this pour ({counts:g} "
                        "counts): it belongs to the dead stock.",
                        counts=pour.counts,
                    ),
                )
            )
        seen = seen or k in eq.pours
    return found


def planned_findings(
    fill: Fill, named: set[int | None], expected: Sequence[Expected] = ()
) -> list[Finding]:
    """Litres that depart from what the fitter said they would pour.

    Not asked where the reading answers it: it fits what is written and not what was planned.
    """
    say = Volumes(fill.unit)
    seen = {each.pour: each for each in expected}
    found = []
    for k, pour in enumerate(fill.pours):
        planned = pour.planned_l
        if planned is None or pour.step in named or pour.added_l == planned:
            continue
        if k in seen and _tells(seen[k], pour.added_l, planned):
            continue
        off = abs(pour.added_l - planned)
        swapped = any(
            abs(m.value - planned) < 2e-3
            for m in misread_litres(pour.added_l, fill.unit)
            if m.how != "digit"
        )
        if swapped or off > max(1.0, 0.05 * planned):
            found.append(
                Finding(
                    pour.step,
                    "litres_mistyped",
                    "check",
                    said(
                        "{planned} were to be poured and {added_l} are written down.",
                        planned=say.said(planned),
                        added_l=say.said(pour.added_l),
                    ),
                    said(
                        "Look at the meter: {planned} or {added_l}?",
                        planned=say.said(planned),
                        added_l=say.said(pour.added_l),
                    ),
                    "added_l",
                    planned,
                )
            )
    return found


def _tells(expected: Expected, added_l: float, planned_l: float) -> bool:
    """Whether a reading fits what is written down and does not fit what was planned."""
    fits = abs(expected.litres_off) <= expected.u95_litres
    return fits and abs(expected.litres_off + added_l - planned_l) > expected.u95_litres
