"""The API of the check before leaving: does what the probe reads arrive at the other end."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from gaugewright.app import typed
from gaugewright.app.handover_values import ArrivalStatus
from gaugewright.app.instruments import SettingAsked
from gaugewright.errors import StateError
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.bodies import Body, Figure, InstrumentSettings, Recording
from gaugewright.workbench.schema import Router

if TYPE_CHECKING:
    from types import ModuleType

    from gaugewright.app.arrives import ArrivalCheck

router = Router(prefix="/api")


@dataclass(frozen=True, slots=True)
class WayOffered:
    """A way to records at the other end and what it must be told."""

    kind: str
    settings: tuple[SettingAsked, ...]


class ArrivalBegun(Body):
    """Where the records come from, and what they should show."""

    settings: InstrumentSettings
    shows: Annotated[str, Field(max_length=20)] = "counts"
    hz: Figure | None = None
    every_s: Figure | None = None
    is_off_wanted: bool = True


class Ignition(Body):
    """The ignition was switched just now."""

    is_off: bool


class Ended(Body):
    """Nothing more is said."""


IDLE = ArrivalStatus(False, 0.0, 0, 0, None, None, "", None, "", False, "", False, "", ())


@router.get("/arrives/ways")
def record_ways(visitor: VisitorHere) -> tuple[WayOffered, ...]:
    """List the ways to records at the other end; a file only at the computer itself."""
    return tuple(
        WayOffered(kind, tuple(found))
        for kind, found in _arrives().ways_offered()
        if kind != "records_file" or visitor.is_loopback
    )


@router.post("/jobs/{job}/tanks/{tank_id}/arrives")
def begin_arrival_check(
    job: str, tank_id: str, body: ArrivalBegun, yard: YardHere, visitor: VisitorHere
) -> ArrivalStatus:
    """Begin to gather readings and records; records nothing.

    A file is named by the computer itself only: its name opens what lies there.
    """
    if body.settings.get("kind") == "records_file" and not visitor.is_loopback:
        raise StateError("a file is named at the computer only; use an address or a topic here")
    arrives = _arrives()
    wanted = arrives.Wanted(
        body.shows,
        None if body.hz in (None, "") else typed.figure(body.hz, "hz"),
        None if body.every_s in (None, "") else typed.figure(body.every_s, "every_s"),
        body.is_off_wanted,
    )
    check: ArrivalCheck = arrives.begin_check(yard, job, tank_id, dict(body.settings), wanted)
    return check.status()


@router.get("/jobs/{job}/tanks/{tank_id}/arrives")
def arrival_status(job: str, tank_id: str, yard: YardHere) -> ArrivalStatus:
    """Give how the check stands, with the verdict so far; not running if none was begun."""
    yard.tank(job, tank_id)
    check = yard.arrivals.get(job, tank_id)
    return IDLE if check is None else check.status()


@router.post("/jobs/{job}/tanks/{tank_id}/arrives/ignition")
def switch_ignition(job: str, tank_id: str, body: Ignition, yard: YardHere) -> ArrivalStatus:
    """Say that the ignition was switched off or on just now."""
    check: ArrivalCheck = _arrives().running_check(yard, job, tank_id)
    check.switch(is_off=body.is_off)
    return check.status()


@router.post("/jobs/{job}/tanks/{tank_id}/arrives/stop")
def stop_arrival_check(job: str, tank_id: str, body: Ended, yard: YardHere) -> ArrivalStatus:
    """End the check without a word in the journal."""
    check: ArrivalCheck = _arrives().running_check(yard, job, tank_id)
    shown = check.status()
    yard.arrivals.put(job, tank_id, None)
    return shown


@router.post("/jobs/{job}/tanks/{tank_id}/arrives/record")
def record_arrival(
    job: str, tank_id: str, body: Recording, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record the verdict as it stands, and end the check."""
    return recorded_answer(_arrives().record_check(yard, job, stamp_of(body, visitor), tank_id))


def _arrives() -> "ModuleType":
    # The numerics of the check are loaded when they are first asked for.
    from gaugewright.app import arrives

    return arrives
