"""The API of a probe's wiring: checked while it is typed, recorded when a person says so."""

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

from gaugewright.app import wiring
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.asking import speech_of
from gaugewright.workbench.bodies import Body, Recording
from gaugewright.workbench.schema import Router

router = Router(prefix="/api/jobs/{job}/tanks/{tank_id}/wiring")

Typed = Annotated[dict[str, Any], Field(max_length=40)]


class Trying(Body):
    """A wiring as far as it is typed; the fields of a wiring file."""

    wiring: Typed = Field(default_factory=dict)


class Made(Recording):
    """A wiring to be recorded."""

    wiring: Typed
    reason: Annotated[str, Field(max_length=2_000)] = ""


@dataclass(frozen=True, slots=True)
class WiringAnswer:
    """What a wiring comes to, as in `gaugewright wiring --json`."""

    found: dict[str, Any]


@router.post("/check")
def check_wiring(job: str, tank_id: str, body: Trying, yard: YardHere) -> WiringAnswer:
    """Check supply, cable, fuse, pin map and bus as far as they are typed; records nothing."""
    yard.tank(job, tank_id)
    return WiringAnswer(speech_of(yard).all_of(wiring.checked_wiring(body.wiring)))


@router.post("")
def record_wiring(
    job: str, tank_id: str, body: Made, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record the wiring as typed and what it came to, what is open or wrong too."""
    return recorded_answer(
        wiring.record_wiring(yard, job, stamp_of(body, visitor), tank_id, body.wiring, body.reason)
    )
