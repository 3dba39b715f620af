"""The Plan stage of a job: try places and sizes, rank the pours, record what was decided.

Nothing is recorded until `record_plan` is given the cut length typed twice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from gaugewright.app.plan import Layout, Plan, lay_out
from gaugewright.app.plan_any import any_page, any_record, any_template
from gaugewright.app.plan_record import layout_record, map_record
from gaugewright.app.plan_sheet import flange_of
from gaugewright.app.plan_unknown import (
    UnknownFile,
    UnknownLayout,
    UnknownPlan,
    depth_of,
    lay_out_unknown,
    unknown_layout_record,
    without_shape,
)
from gaugewright.app.plan_wishes import wishes_from_mapping
from gaugewright.app.scales import described
from gaugewright.app.survey import in_mm_and_litres
from gaugewright.app.survey import record_plan as record
from gaugewright.app.tank_file import TankFile
from gaugewright.app.typed import figure, length_mm, litres
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError, StateError
from gaugewright.journal.book import Recorded
from gaugewright.journal.fills import fill_of
from gaugewright.journal.state import JobState, TankState
from gaugewright.planning.actions import PourPlan, plan_pours
from gaugewright.planning.cautions import SAFE_CONTENTS, flashes_early
from gaugewright.planning.length import SAME_CUT_MM, confirmed
from gaugewright.planning.next import next_actions
from gaugewright.planning.template import PAPERS
from gaugewright.planning.unknown import plan_unknown_pours
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.tank.unknown_shape import is_unknown_shape, unknown_shape_from_mapping
from gaugewright.words import ENGLISH, Length, Speech, said

MOST_ZONES = 60
MOST = 100_000.0
"""No length, volume or number of counts of a plan is larger. [mm, L, counts]"""


AnyLayout = Layout | UnknownLayout


@dataclass(frozen=True, slots=True)
class Aim:
    """What the pours are planned for; nothing given is as many as pay."""

    pours: int | None = None
    within_l: float | None = None
    fuel_l: float | None = None


def aim_of(wanted: Mapping[str, Any]) -> Aim:
    """Read an aim from what was typed; what is blank is left out.

    >>> aim_of({"pours": "8", "fuel_l": "", "within_l": "1,5"})
    Aim(pours=8, within_l=1.5, fuel_l=None)
    >>> aim_of({"pours": "2.5"})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: pours: must be a whole number, found 2.5
    """
    for name in wanted:
        if name not in ("pours", "within_l", "fuel_l"):
            raise InputError(said("no such field, wanted pours, within_l or fuel_l"), field=name)
    given = {name: value for name, value in wanted.items() if value not in ("", None)}
    pours = None
    if "pours" in given:
        number = figure(given["pours"], "pours")
        if number != int(number):
            raise InputError(
                said("must be a whole number, found {number:g}", number=number), field="pours"
            )
        pours = int(number)
    volumes = {name: litres(given[name], name) for name in ("within_l", "fuel_l") if name in given}
    return Aim(pours, **volumes)


def try_layout(
    tank: TankState, wishes: Mapping[str, Any], place: Sequence[float] | None = None
) -> AnyLayout:
    """Return the layout of a tank under wishes, its probe tried at another place. [mm]

    The wish ``is_shape_unknown`` takes only plate and height from its description.
    Raises `InputError` naming what is missing, wrong, or stops the plan.
    """
    plain = _plain(wishes)
    file = _file_of(tank, is_shape_unknown=_untrusted(plain))
    wanted = wishes_from_mapping(plain)
    if isinstance(file, UnknownFile):
        if place is not None:
            raise InputError(said("cannot be tried: the shape is not known"), field="x_mm")
        return lay_out_unknown(file, wanted)
    if place is None:
        return lay_out(file, wanted)
    x_mm, y_mm = place
    probe = file.probe or lay_out(file, wanted).probe
    return lay_out(replace(file, probe=replace(probe, x_mm=x_mm, y_mm=y_mm)), wanted)


def with_survey(state: JobState, wishes: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the wishes with a fuel that flashes early, where the survey speaks of one.

    Whatever else was chosen on Plan: one of the two is wrong, or the tank has held both.
    """
    fuel, held = flashes_early(str(state.fact("fuel") or "")), wishes.get("ever_held")
    if not fuel or not isinstance(held, list | None):
        return wishes
    return {**wishes, "ever_held": [*(held or ()), fuel]}


def layout_and_map(layout: AnyLayout) -> dict[str, Any]:
    """Return a layout with its map, for a drawing; no map without a shape."""
    if isinstance(layout, UnknownLayout):
        return {"layout": unknown_layout_record(layout), "map": None}
    return {"layout": layout_record(layout), "map": map_record(layout.map)}


def with_pours(layout: AnyLayout, aim: Aim) -> Plan | UnknownPlan:
    """Return the whole plan; takes a second or two the first time."""
    if isinstance(layout, UnknownLayout):
        pours = _unknown_pours(layout.file.tank.brim_l, depth_of(layout), layout.probe, aim)
        return UnknownPlan(layout, pours)
    return Plan(layout, _pours(layout.file.tank, layout.probe, aim))


def record_plan(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    *,
    wishes: Mapping[str, Any],
    cut_mm: Sequence[str],
    aim: Aim | None = None,
    reason: str = "",
) -> Recorded:
    """Record the plan of a tank as it is described: wishes, layout and, with an aim, pours.

    ``cut_mm`` is the cut length as it was typed, twice.  Raises `InputError` if the two
    are not the same or not the plan's figure.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    if not isinstance(wishes.get("ever_held"), list):
        raise InputError(
            said(
                "what did the tank ever hold beside? An empty list says that somebody asked and "
                "it was nothing else"
            ),
            field="ever_held",
        )
    state, tank = yard.tank(job, tank_id)
    layout = try_layout(tank, with_survey(state, wishes))
    flange_of(layout.wishes)
    cut = _require_cut(layout, cut_mm)
    made = layout_and_map(layout)["layout"] if aim is None else any_record(with_pours(layout, aim))
    kept = {name: value for name, value in _plain(wishes).items() if value not in ("", None)}
    return record(
        yard,
        job,
        stamp,
        tank_id,
        ENGLISH.all_of(made) | {"wishes": kept, "cut_confirmed_mm": cut, "aim": _aim_record(aim)},
        reason,
    )


def template_of(tank: TankState, paper: str = "A4") -> str:
    """Return the drilling template of the recorded plan, as SVG at 1:1, on A4 or Letter."""
    size = next((each for each in PAPERS if each.lower() == paper.strip().lower()), None)
    if size is None:
        raise InputError(
            said("{paper!r} is no paper known here, wanted A4 or Letter", paper=paper[:20]),
            field="paper",
        )
    return any_template(_recorded(tank), paper=size)


def page_of(tank: TankState, speech: Speech = ENGLISH) -> str:
    """Return the page that is carried along, from the recorded plan."""
    plan = {} if tank.plan is None else tank.plan.event.plan
    wiring = None if tank.wiring is None else tank.wiring.event.found
    return any_page(with_pours(_recorded(tank), aim_of(plan.get("aim") or {})), wiring, speech)


@dataclass(frozen=True, slots=True)
class NextChoice:
    """One thing that can be done next."""

    kind: str
    """``stop`` or one of the checks."""
    what: str
    add_l: float | None
    """For a pour. [L]"""
    error_then_l: float
    """Typical largest error anywhere on the scale after it. [L]"""
    minutes: float
    pays: bool


@dataclass(frozen=True, slots=True)
class NextStep:
    """What would still teach the most; ``why_not`` where that cannot be said."""

    add_l: float | None = None
    """The best pour; ``None`` where more pours no longer pay. [L]"""
    error_now_l: float | None = None
    """Typical largest error anywhere on the scale as the fill stands. [L]"""
    error_then_l: float | None = None
    minutes: float | None = None
    why_not: str = ""
    choices: tuple[NextChoice, ...] = ()
    """The best pour and the checks that can still be made, the most telling first."""


def next_step(tank: TankState) -> NextStep:
    """Return the next best pour and checks after what stands, worked out anew from it."""
    body, probe = described(tank)
    if body is None or probe is None:
        return NextStep(why_not=said("the tank or its probe is not described"))
    fill = None if tank.fill is None else fill_of(tank.fill)
    if fill is None or not fill.pours:
        return NextStep(why_not=said("no pour is recorded yet"))
    if fill.is_draining:
        return NextStep(why_not=said("the tank is being drained, not filled"))
    found = next_actions(fill, body, probe)
    inside = sum(pour.added_l for pour in fill.pours)
    choices = tuple(
        NextChoice(
            each.kind,
            each.what,
            None if each.at_l is None else round(each.at_l - inside, 1),
            each.error_left_l,
            each.minutes,
            found.pays(each),
        )
        for each in found.actions
    )
    now, pour = found.here.largest_error_l, found.best_pour
    if pour is None or pour.at_l is None:
        return NextStep(error_now_l=now, choices=choices)
    return NextStep(pour.at_l - inside, now, pour.error_left_l, pour.minutes, choices=choices)


def _recorded(tank: TankState) -> AnyLayout:
    """Lay out the recorded plan again; `StateError` if the tank is no longer as it was then."""
    if tank.plan is None or "wishes" not in tank.plan.event.plan:
        raise StateError(said("no plan is recorded for this tank yet: record it, then print it"))
    plan = tank.plan.event.plan
    layout = try_layout(tank, plan["wishes"])
    now, then = layout_and_map(layout)["layout"]["probe"], plan.get("probe", {})
    for name in ("x_mm", "y_mm", "cut_length_mm"):
        if now[name] != then.get(name):
            raise StateError(
                said(
                    "the tank or its probe was described anew after the plan was recorded "
                    "({name} {name_2} is now {now}): record the plan again",
                    name=name,
                    name_2=then.get(name),
                    now=now[name],
                )
            )
    return layout


def _file_of(tank: TankState, *, is_shape_unknown: bool = False) -> TankFile | UnknownFile:
    if tank.members:
        raise InputError(said("linked tanks are planned one by one"))
    body, probe = described(tank)
    made = None if tank.described is None else tank.described.event
    if body is None and made is not None and is_unknown_shape(made.tank):
        name = made.name or tank.tank_id
        return UnknownFile(name, unknown_shape_from_mapping(made.tank), probe)
    if body is None:
        raise InputError(said("describe the tank first; linked tanks are planned one by one"))
    event = None if tank.described is None else tank.described.event
    file = TankFile((event and event.name) or tank.tank_id, body, probe)
    return without_shape(file) if is_shape_unknown else file


def _untrusted(wishes: dict[str, Any]) -> bool:
    """Take the wish out that the shape is not to be trusted."""
    value = wishes.pop("is_shape_unknown", False)
    if not isinstance(value, bool):
        raise InputError(
            said("must be true or false, found {value!r}", value=value), field="is_shape_unknown"
        )
    return value


def _plain(wishes: Mapping[str, Any]) -> dict[str, Any]:
    """Return wishes in mm and litres.  What the tank holds is asked, never assumed."""
    contents = wishes.get("contents")
    if contents is None or (isinstance(contents, str) and not contents.strip()):
        raise InputError(
            said(
                "what does the tank hold? Planned for here are {safe_contents}",
                safe_contents=", ".join(SAFE_CONTENTS),
            ),
            field="contents",
        )
    plain = in_mm_and_litres({name: each for name, each in wishes.items() if each != ""})
    for name, value in plain.items():
        if isinstance(value, int | float) and not abs(value) <= MOST:
            raise InputError(said("{value:g} is more than any tank needs", value=value), field=name)
    zones = plain.get("keep_out")
    if isinstance(zones, list):
        if len(zones) > MOST_ZONES:
            raise InputError(
                said(
                    "at most {most_zones} zones, found {number}",
                    most_zones=MOST_ZONES,
                    number=len(zones),
                ),
                field="keep_out",
            )
        plain["keep_out"] = [_zone_in_mm(zone) for zone in zones]
    return plain


def _zone_in_mm(zone: Any) -> Any:
    """Return a zone with its corners as numbers; what is no zone is refused where it is read."""
    if not isinstance(zone, Mapping) or not isinstance(zone.get("corners_mm"), list):
        return zone
    name = f"keep-out {zone.get('name')}"
    corners = []
    for corner in zone["corners_mm"]:
        if not isinstance(corner, list) or len(corner) != 2:
            raise InputError(
                said("a corner must be [x, y], found {corner!r}", corner=corner), field=name
            )
        if not all(isinstance(c, int | float | str) and not isinstance(c, bool) for c in corner):
            raise InputError(
                said("a corner must be two numbers, found {corner!r}", corner=corner), field=name
            )
        corners.append([length_mm(c, name) for c in corner])
        if not all(abs(c) <= MOST for c in corners[-1]):
            raise InputError(
                said("{corner!r} is far outside of any tank", corner=corner), field=name
            )
    return {**zone, "corners_mm": corners}


def _require_cut(layout: AnyLayout, typed: Sequence[str]) -> float:
    if len(typed) != 2:
        raise InputError(said("must be typed twice"), field="cut_length_mm")
    cut = confirmed(typed[0], typed[1])
    planned = layout.cut.cut_length_mm
    if abs(cut - planned) > SAME_CUT_MM:
        raise InputError(
            said(
                "{cut:g} was typed, the plan says {planned:.1f}; if another length is "
                "right, change what it follows from: depth, flange, clearance",
                cut=Length(cut),
                planned=Length(planned),
            ),
            field="cut_length_mm",
        )
    return cut


def _aim_record(aim: Aim | None) -> dict[str, Any] | None:
    if aim is None:
        return None
    given = {"pours": aim.pours, "within_l": aim.within_l, "fuel_l": aim.fuel_l}
    return {name: value for name, value in given.items() if value is not None}


@lru_cache(maxsize=16)
def _unknown_pours(capacity_l: float, depth_mm: float, probe: Probe, aim: Aim) -> PourPlan:
    return plan_unknown_pours(
        capacity_l, depth_mm, probe, pours=aim.pours, within_l=aim.within_l, fuel_l=aim.fuel_l
    )


@lru_cache(maxsize=16)
def _pours(tank: Tank, probe: Probe, aim: Aim) -> PourPlan:
    return plan_pours(tank, probe, pours=aim.pours, within_l=aim.within_l, fuel_l=aim.fuel_l)
