"""What the pour check says of a fill so far, and which of it a person must still answer.

The check itself is loaded when it is first asked: the first page does not wait for it.
"""

import logging
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from gaugewright.app.pictures import (
    AnswerPicture,
    FindingPicture,
    LandingPicture,
    State,
    VerdictPicture,
)
from gaugewright.app.scales import described, shape_of
from gaugewright.errors import InputError
from gaugewright.journal.fills import fill_of
from gaugewright.journal.state import FillState, TankState
from gaugewright.pours.findings import Finding
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.fill import Fill
from gaugewright.table.rows import Doubts
from gaugewright.tank.description import Tank
from gaugewright.units import VolumeUnit
from gaugewright.words import said

if TYPE_CHECKING:
    from gaugewright.pours.check import Checked

WHOLE_FILL = ("tank_disagrees", "vehicle_moved")
"""Findings that say more than that one pour's figures are doubted."""
FIRST_SHARE = 20
"""Without a plan or a pour before it, a pour is this part of the tank."""


@dataclass(frozen=True, eq=False)
class Looked:
    """A fill as the pour check saw it; ``checked`` is ``None`` where it is too early."""

    fill: Fill
    checked: "Checked | None"
    why_not: str
    probe: Probe | None
    capacity_l: float | None


def look(tank: TankState, unit: VolumeUnit = "L") -> Looked | None:
    """Check the fill of a tank, ``None`` if none has begun.

    ``unit`` is the one in which volumes are typed in this book.
    """
    state = tank.fill
    if state is None:
        return None
    fill, doubts = replace(fill_of(state), unit=unit), gaps(state)
    checked = capacity_l = None
    why_not = ""
    body = probe = None
    try:
        body, probe = described(tank)
        if body is not None:
            capacity_l = shape_of(body, probe).capacity_l
        if not fill.pours:
            why_not = said("No pour is recorded yet.")
        else:
            checked = _checked(fill, body, probe, doubts)
    except InputError as error:
        why_not = said("Recorded; nothing can be said yet: {problem}.", problem=_placed(error))
    except (ArithmeticError, ValueError) as error:
        # The pour is in the journal: the work must be able to go on, and somebody to look.
        logging.getLogger(__name__).exception("the pour check failed")
        why_not = said(
            "Recorded, but the check of it failed ({kind}: {error}). Look at this pour yourself, "
            "and report it.",
            kind=type(error).__name__,
            error=str(error),
        )
    return Looked(fill, checked, why_not, probe, capacity_l)


def prepare_check(tank: TankState) -> threading.Thread:
    """Work out beforehand, in a thread, what a check needs of a tank of another shape.

    The first mistyped pour is then judged as quickly as the second.
    """

    def work() -> None:
        from gaugewright.table.alternatives import moved_probe, same_size_tanks, stands_in
        from gaugewright.table.curves import curves_of

        # What cannot be worked out is said by the check itself.
        with suppress(InputError, ArithmeticError, ValueError):
            body, probe = described(tank)
            if body is None or probe is None:
                return
            curves_of(body, probe, Assumptions())
            moved = moved_probe(body, probe)
            for other in same_size_tanks(body):
                if stands_in(other, moved):
                    curves_of(other, moved, Assumptions())

    thread = threading.Thread(target=work, name="prepare check", daemon=True)
    thread.start()
    return thread


def gaps(state: FillState) -> Doubts:
    """Return the pours whose litres are unknown: after a voided one that was not repeated.

    Its fuel is in the tank all the same, so the next pour that stands carries litres
    that nobody knows.
    """
    unknown = set()
    before = -1
    for index, kept in enumerate(state.standing):
        if kept.event.step > before + 1:
            unknown.add(index)
        before = kept.event.step
    return Doubts(litres=frozenset(unknown))


def verdict(tank: TankState, unit: VolumeUnit = "L") -> VerdictPicture:
    """Return the verdict on the fill of a tank so far, in the words of the book's unit."""
    began_s = time.perf_counter()
    looked = look(tank, unit)
    state = tank.fill
    if looked is None or state is None:
        not_begun = said("The fill has not begun.")
        return VerdictPicture("none", not_begun, (), False, None, None, None, 0.0)
    found = findings(state, looked)
    opened = [each for each in found if each.is_open]
    word = _state(found, looked)
    landing = None
    if looked.checked is not None and not opened:
        litres = _next_litres(tank, looked)
        landing = None if litres is None else landing_of(looked, litres)
    total_l = _total_l(looked.fill)
    remaining_l = share = None
    if looked.capacity_l and not looked.fill.is_draining:
        remaining_l = looked.capacity_l - total_l - (looked.fill.residual_l or 0.0)
        share = 1 - remaining_l / looked.capacity_l
    return VerdictPicture(
        state=word,
        sentence=_sentence(found, opened, looked),
        findings=found,
        blocks=bool(opened),
        next=landing,
        remaining_l=remaining_l,
        filled_share=share,
        took_ms=round(1000 * (time.perf_counter() - began_s), 1),
    )


def findings(state: FillState, looked: Looked) -> tuple[FindingPicture, ...]:
    """Return what was found, each with the answer that a person gave to it."""
    if looked.checked is None:
        return ()
    numbers = {kept.event.step: kept.number for kept in state.standing}
    return tuple(_finding(state, each, numbers) for each in looked.checked.findings)


def landing_of(looked: Looked, added_l: float) -> LandingPicture | None:
    """Return where a pour should land, ``None`` off the scale or too early to say."""
    if looked.checked is None or added_l <= 0:
        return None
    from gaugewright.pours.forecast import forecast

    checked = looked.checked
    found = forecast(looked.fill, added_l, checked.fit, Assumptions(), checked.doubts)
    if found is None:
        return None
    probe = looked.probe
    return LandingPicture(
        added_l=added_l,
        counts=float(found.counts),
        u95_counts=float(found.u95_counts),
        level_mm=None if probe is None else float(probe.wetted_mm(found.counts)),
        u95_level_mm=None if probe is None else abs(probe.mm_per_count) * float(found.u95_counts),
    )


def planned_l(plan: Mapping[str, Any] | None, step: int) -> float | None:
    """Return what a plan says to pour at a step, ``None`` if it says nothing.

    >>> planned_l({"pours": [{"step": 1, "add_l": 62}]}, 1)
    62.0
    """
    for each in (plan or {}).get("pours") or ():
        if isinstance(each, Mapping) and each.get("step") == step:
            litres = each.get("add_l")
            if isinstance(litres, int | float) and not isinstance(litres, bool):
                return float(litres)
    return None


@lru_cache(maxsize=64)
def _checked(fill: Fill, tank: Tank | None, probe: Probe | None, doubts: Doubts) -> "Checked":
    from gaugewright.pours.check import check_fill

    if tank is not None and probe is None:
        tank = None  # without a probe the tank says nothing of counts
    return check_fill(fill, tank, probe, doubts=doubts)


def _finding(state: FillState, found: Finding, numbers: Mapping[int, int]) -> FindingPicture:
    pour = None if found.step is None else numbers.get(found.step)
    answer = _answer(state, found.kind, pour)
    return FindingPicture(
        step=found.step,
        pour=pour,
        kind=found.kind,
        severity=found.severity,
        message=found.message,
        suggestion=found.suggestion,
        field=found.field,
        value=None if found.value is None else float(found.value),
        answer=answer,
        is_open=found.severity != "note" and answer is None,
    )


def _answer(state: FillState, kind: str, pour: int | None) -> AnswerPicture | None:
    """Return the reason with which a figure was kept, if it was.

    Who has looked at a pour and kept it has answered for its litres and its reading.
    """
    for kept in reversed(state.answers):
        event = kept.event
        if event.answer != "kept":
            continue
        is_same = event.finding == kind and (pour is None or event.pour == pour)
        is_of_pour = (
            pour is not None
            and event.pour == pour
            and kind not in WHOLE_FILL
            and event.finding not in WHOLE_FILL
        )
        if is_same or is_of_pour:
            return AnswerPicture(event.answer, event.reason, kept.mark.person, kept.mark.at)
    return None


def _state(found: tuple[FindingPicture, ...], looked: Looked) -> State:
    if looked.checked is None:
        return "none"
    for word in ("stop", "check"):
        if any(each.is_open and each.severity == word for each in found):
            return word
    last = looked.fill.pours[-1].step
    return "note" if any(each.step in (last, None) for each in found) else "clear"


def _sentence(
    found: tuple[FindingPicture, ...], opened: list[FindingPicture], looked: Looked
) -> str:
    if looked.checked is None:
        return looked.why_not
    last = looked.fill.pours[-1]
    of_last = [each for each in found if each.step in (last.step, None)]
    for each in (*opened, *of_last):
        return each.message
    index = len(looked.fill.pours) - 1
    expected = next((e for e in looked.checked.expected if e.pour == index), None)
    if expected is None or index == 0:
        return said("Recorded. The first pours teach where the next ones should land.")
    return said(
        "It fits: {counts:.0f} counts, {expected:.0f} ± {band:.0f} were expected.",
        counts=last.counts,
        expected=expected.counts,
        band=expected.u95_counts,
    )


def _next_litres(tank: TankState, looked: Looked) -> float | None:
    fill = tank.fill
    if fill is None:
        return None
    plan = None if tank.plan is None else tank.plan.event.plan
    litres = planned_l(plan, fill.next_step)
    if litres is not None:
        return litres
    last = looked.fill.pours[-1].added_l
    if last > 0:
        return last
    return None if looked.capacity_l is None else float(round(looked.capacity_l / FIRST_SHARE))


def _placed(error: InputError) -> str:
    """Return what is wrong with the field before it, still to be said in its own words."""
    if error.field is None:
        return error.problem
    return said("{field}: {problem}", field=error.field, problem=error.problem)


def _total_l(fill: Fill) -> float:
    return sum(pour.added_l for pour in fill.pours)
