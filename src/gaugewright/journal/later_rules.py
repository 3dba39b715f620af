"""What a job allows next of a table's later life; see `rules`."""

from collections.abc import Callable, Mapping
from typing import Any

from gaugewright.errors import StateError
from gaugewright.journal import later_kinds as lk
from gaugewright.journal.demands import Event
from gaugewright.journal.state import JobState, LaterState, TankState
from gaugewright.words import said


def _tank(state: JobState, tank_id: str) -> TankState:
    tank = state.tanks.get(tank_id)
    if tank is None or tank.removed is not None:
        raise StateError(said("there is no tank {tank_id} in this job", tank_id=tank_id))
    return tank


def _require_table(tank: TankState, digest: str) -> None:
    if all(kept.event.digest != digest for kept in tank.tables):
        raise StateError(
            said(
                "tank {tank_id} has no table with digest {digest}",
                tank_id=tank.tank_id,
                digest=digest[:12],
            )
        )


def _later(tank: TankState, begun: int) -> LaterState:
    found = next((each for each in tank.later if each.begun.number == begun), None)
    if found is None:
        raise StateError(said("entry {number} began no pours after the table", number=begun))
    return found


def _begin(state: JobState, event: lk.LaterBegun) -> None:
    _require_table(_tank(state, event.tank_id), event.digest)


def _pour(state: JobState, event: lk.LaterPourRecorded) -> None:
    tank = _tank(state, event.tank_id)
    later = _later(tank, event.begun)
    if tank.later[-1] is not later:
        raise StateError(said("other pours after the table were begun since; go on with those"))
    if event.step != later.next_step:
        raise StateError(
            said(
                "the next step is {next_step}, not {step}",
                next_step=later.next_step,
                step=event.step,
            )
        )


def _void(state: JobState, event: lk.LaterPourVoided) -> None:
    for tank in state.tanks.values():
        for later in tank.later:
            standing = later.standing
            if not any(kept.number == event.pour for kept in standing):
                continue
            if standing[-1].number != event.pour:
                raise StateError(said("only the last of these pours can be taken back"))
            return
    raise StateError(said("entry {number} is not a pour after the table", number=event.pour))


def _conclude(state: JobState, event: lk.LaterConcluded) -> None:
    later = _later(_tank(state, event.tank_id), event.begun)
    if tuple(kept.number for kept in later.standing) != event.pours:
        raise StateError(said("there are other pours by now; look at them again"))


def _propose(state: JobState, event: lk.SisterProposed) -> None:
    tank = _tank(state, event.tank_id)
    if (state.job, tank.tank_id) == (event.sister_job, event.sister_tank_id):
        raise StateError(said("a tank is no sister of itself"))
    if tank.fill is None:
        raise StateError(said("the fill of tank {tank_id} has not begun", tank_id=tank.tank_id))


def _carry(state: JobState, event: lk.TableCarried) -> None:
    tank = _tank(state, event.tank_id)
    if event.way == "sister":
        sister = tank.sister
        if sister is None or sister.event.digest != event.from_digest:
            raise StateError(said("no sister's table with that digest was proposed"))
        return
    _require_table(tank, event.from_digest)
    if event.begun is not None:
        _later(tank, event.begun)


RULES: Mapping[type[Event], Callable[[JobState, Any], None]] = {
    lk.LaterBegun: _begin,
    lk.LaterPourRecorded: _pour,
    lk.LaterPourVoided: _void,
    lk.LaterConcluded: _conclude,
    lk.SisterProposed: _propose,
    lk.TableCarried: _carry,
}


def is_carried(state: JobState, tank_id: str) -> bool:
    """Tell whether a tank's last table was carried after the fact.

    Such a table is accepted although the Table stage was finished long ago.
    """
    tank = state.tanks.get(tank_id)
    return (
        tank is not None
        and tank.table is not None
        and isinstance(tank.table.event, lk.TableCarried)
    )
