"""What entries of a table's later life do to the state; see `fold`."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from gaugewright.journal import later_kinds as lk
from gaugewright.journal.demands import Event
from gaugewright.journal.state import JobState, Kept, LaterState, TankState, Voided

Place = Callable[[JobState, Kept[Any]], JobState | None]


def _with(state: JobState, tank: TankState | None) -> JobState | None:
    if tank is None:
        return None
    return replace(state, tanks={**state.tanks, tank.tank_id: tank})


def _begin(state: JobState, kept: Kept[lk.LaterBegun]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    return _with(state, tank and replace(tank, later=(*tank.later, LaterState(kept))))


def _changed(
    tank: TankState | None, begun: int, change: Callable[[LaterState], LaterState]
) -> TankState | None:
    if tank is None or all(each.begun.number != begun for each in tank.later):
        return None
    later = tuple(change(each) if each.begun.number == begun else each for each in tank.later)
    return replace(tank, later=later)


def _pour(state: JobState, kept: Kept[lk.LaterPourRecorded]) -> JobState | None:
    def add(later: LaterState) -> LaterState:
        return replace(later, pours=(*later.pours, kept))

    event = kept.event
    return _with(state, _changed(state.tanks.get(event.tank_id), event.begun, add))


def _void(state: JobState, kept: Kept[lk.LaterPourVoided]) -> JobState | None:
    def strike(pour: Kept[lk.LaterPourRecorded]) -> Kept[lk.LaterPourRecorded]:
        if pour.number != kept.event.pour:
            return pour
        return replace(pour, voided=Voided(kept.mark, kept.event.reason))

    for tank in state.tanks.values():
        for later in tank.later:
            if any(pour.number == kept.event.pour for pour in later.standing):
                struck = replace(later, pours=tuple(strike(pour) for pour in later.pours))
                changed = tuple(struck if each is later else each for each in tank.later)
                return _with(state, replace(tank, later=changed))
    return None


def _conclude(state: JobState, kept: Kept[lk.LaterConcluded]) -> JobState | None:
    def close(later: LaterState) -> LaterState:
        return replace(later, concluded=kept)

    event = kept.event
    return _with(state, _changed(state.tanks.get(event.tank_id), event.begun, close))


def _propose(state: JobState, kept: Kept[lk.SisterProposed]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    return _with(state, tank and replace(tank, sister=kept))


def _carry(state: JobState, kept: Kept[lk.TableCarried]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    return _with(state, tank and replace(tank, tables=(*tank.tables, kept)))


PLACES: Mapping[type[Event], Place] = {
    lk.LaterBegun: _begin,
    lk.LaterPourRecorded: _pour,
    lk.LaterPourVoided: _void,
    lk.LaterConcluded: _conclude,
    lk.SisterProposed: _propose,
    lk.TableCarried: _carry,
}
