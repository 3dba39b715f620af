"""The API of the Plan stage: the map, the pours that pay, the plan itself, its papers."""

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field
from starlette.responses import Response

from gaugewright.app import typed
from gaugewright.errors import InputError
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.asking import speech_of
from gaugewright.workbench.bodies import Body, Figure, Recording, Words
from gaugewright.workbench.schema import Router

if TYPE_CHECKING:
    from types import ModuleType

    from gaugewright.app.plan_stage import AnyLayout

router = Router(prefix="/api/jobs/{job}/tanks/{tank_id}/plan")

Wishes = Annotated[dict[str, Any], Field(max_length=60)]
Aim = Annotated[dict[str, Figure | None], Field(max_length=3)]


class Layouts(Body):
    """What is tried on the map."""

    wishes: Wishes = Field(default_factory=dict)
    x_mm: Figure | None = None
    y_mm: Figure | None = None


class Pours(Layouts):
    """What the pours are planned for."""

    aim: Aim = Field(default_factory=dict)


class Made(Recording):
    """A plan to be recorded: the cut length as it was typed, twice."""

    wishes: Wishes
    cut_mm: Annotated[list[Annotated[str, Field(max_length=60)]], Field(max_length=2)]
    aim: Aim | None = None
    reason: Words = ""


@dataclass(frozen=True, slots=True)
class LayoutAnswer:
    """A layout and its map, as in a plan file; no map of a tank without a shape."""

    layout: dict[str, Any]
    map: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class PoursAnswer:
    """A whole plan, as in a plan file."""

    plan: dict[str, Any]


@router.post("/layout")
def try_layout(job: str, tank_id: str, body: Layouts, yard: YardHere) -> LayoutAnswer:
    """Give the misread over the tank's top, the best place and the cut; records nothing."""
    found = _stage().layout_and_map(_layout(job, tank_id, body, yard))
    return LayoutAnswer(**speech_of(yard).all_of(found))


@dataclass(frozen=True, slots=True)
class NextAnswer:
    """What would still teach the most; no ``add_l``: more pours no longer pay."""

    add_l: float | None
    error_now_l: float | None
    error_then_l: float | None
    minutes: float | None
    why_not: str
    choices: list[dict[str, Any]]
    """``kind, what, add_l, error_then_l, minutes, pays`` of the best pour and every check."""


@router.get("/next")
def next_pour(job: str, tank_id: str, yard: YardHere) -> NextAnswer:
    """Give the next best pour and checks, worked out anew from what stands."""
    found = _stage().next_step(yard.tank(job, tank_id)[1])
    return NextAnswer(
        found.add_l,
        found.error_now_l,
        found.error_then_l,
        found.minutes,
        speech_of(yard).says(found.why_not),
        [speech_of(yard).all_of(asdict(each)) for each in found.choices],
    )


@router.post("/pours")
def rank_pours(job: str, tank_id: str, body: Pours, yard: YardHere) -> PoursAnswer:
    """Give the pours and checks that pay, ranked; records nothing."""
    from gaugewright.app.plan_any import any_record

    stage = _stage()
    aim = stage.aim_of(body.aim)
    plan = any_record(stage.with_pours(_layout(job, tank_id, body, yard), aim))
    return PoursAnswer(speech_of(yard).all_of(plan))


@router.post("/confirmed")
def record_confirmed_plan(
    job: str, tank_id: str, body: Made, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record the plan once its cut length was typed twice, the same both times."""
    stage = _stage()
    return recorded_answer(
        stage.record_plan(
            yard,
            job,
            stamp_of(body, visitor),
            tank_id,
            wishes=body.wishes,
            cut_mm=body.cut_mm,
            aim=None if body.aim is None else stage.aim_of(body.aim),
            reason=body.reason,
        )
    )


@router.get("/template.svg", response_class=Response)
def template(job: str, tank_id: str, yard: YardHere, paper: str = "A4") -> Response:
    """Give the drilling template of the recorded plan at 1:1, on A4 or Letter."""
    made = _stage().template_of(yard.tank(job, tank_id)[1], paper)
    return _download(made, "image/svg+xml", f"{tank_id}-template.svg")


@router.get("/list.txt", response_class=Response)
def page_to_carry(job: str, tank_id: str, yard: YardHere) -> Response:
    """Give the page that is carried along: cautions, the plan in brief, what to bring."""
    made = _stage().page_of(yard.tank(job, tank_id)[1], speech_of(yard))
    return _download(made, "text/plain; charset=utf-8", f"{tank_id}-plan.txt")


def _stage() -> "ModuleType":
    # The numerics of planning are loaded when they are first asked for: no first page waits.
    from gaugewright.app import plan_stage

    return plan_stage


def _layout(job: str, tank_id: str, body: Layouts, yard: YardHere) -> "AnyLayout":
    state, tank = yard.tank(job, tank_id)
    place = None
    if body.x_mm is not None or body.y_mm is not None:
        if body.x_mm is None or body.y_mm is None:
            missing = "x_mm" if body.x_mm is None else "y_mm"
            raise InputError("is missing: a place has two distances", field=missing)
        place = typed.length_mm(body.x_mm, "x_mm"), typed.length_mm(body.y_mm, "y_mm")
    found: AnyLayout = _stage().try_layout(tank, _stage().with_survey(state, body.wishes), place)
    return found


def _download(text: str, media_type: str, name: str) -> Response:
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-._") else "-" for c in name)
    headers = {"content-disposition": f'attachment; filename="{safe}"'}
    return Response(text, media_type=media_type, headers=headers)
