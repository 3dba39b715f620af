"""From entries to the state of a job: ``state = fold(job, entries)``.

`apply` is the only place that says what an entry means.  It is pure and takes every
journal there is: what may be recorded next is asked in `rules`, not here, so an old
job folds the same for ever.  What it cannot place it keeps in sight.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import reduce
from typing import Any, TypeVar

from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import handover_kinds as hk
from gaugewright.journal import kinds as k
from gaugewright.journal import later_fold
from gaugewright.journal import watch_kinds as wk
from gaugewright.journal.chain import Entry
from gaugewright.journal.codec import Unknown, to_event
from gaugewright.journal.demands import Event
from gaugewright.journal.state import (
    Fact,
    FillState,
    JobState,
    Kept,
    Mark,
    Placed,
    TankState,
    Voided,
)

Place = Callable[[JobState, Kept[Any]], JobState | None]
"""What an event does to the state; ``None`` if it speaks of something that is not there."""

_PLACES: dict[type[Event], Place] = {}
T = TypeVar("T", bound=Place)


def fold(job: str, entries: Iterable[Entry]) -> JobState:
    """Return the state of a job from all its entries, oldest first.

    >>> from datetime import UTC, datetime
    >>> from gaugewright.journal.chain import START, next_entry
    >>> when = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
    >>> opened = next_entry(START, job="J-1", at=when, person="Ada", device="laptop",
    ...     kind="job_opened", payload={"customer": "Yard", "vehicle": "Tipper 4"})
    >>> fold("J-1", [opened]).fact("vehicle")
    'Tipper 4'
    """
    return reduce(apply, entries, JobState(job))


def apply(state: JobState, entry: Entry) -> JobState:
    """Return the state after one more entry.  Never refuses one."""
    mark = Mark(entry.number, entry.at, entry.person, entry.device)
    event = to_event(entry.kind, entry.payload)
    state = _advance(state, entry)
    if isinstance(event, Unknown):
        return replace(state, unknown=(*state.unknown, Kept(mark, event)))
    kept = Kept(mark, event)
    placed = _PLACES[type(event)](state, kept)
    if placed is None:
        return replace(state, out_of_place=(*state.out_of_place, kept))
    return placed


def _advance(state: JobState, entry: Entry) -> JobState:
    went_back = state.last_at is not None and entry.at < state.last_at
    return replace(
        state,
        tip=entry.tip,
        last_at=entry.at,
        clock_set_back=(*state.clock_set_back, entry.number) if went_back else state.clock_set_back,
    )


def _places(cls: type[Event]) -> Callable[[T], T]:
    def register(place: T) -> T:
        _PLACES[cls] = place
        return place

    return register


# The job and its survey


@_places(k.JobOpened)
def _open(state: JobState, kept: Kept[k.JobOpened]) -> JobState | None:
    if state.opened is not None:
        return None
    event = kept.event
    facts: dict[str, Any] = {"customer": event.customer, "vehicle": event.vehicle}
    if event.supply_v is not None:
        facts["supply_v"] = event.supply_v
    return _with_facts(replace(state, opened=kept.mark), facts, kept.mark, "")


@_places(k.FactsChanged)
@_places(k.FactsCorrected)
def _change_facts(
    state: JobState, kept: Kept[k.FactsChanged] | Kept[k.FactsCorrected]
) -> JobState | None:
    return _with_facts(state, kept.event.facts, kept.mark, kept.event.reason)


def _with_facts(state: JobState, facts: Mapping[str, Any], mark: Mark, reason: str) -> JobState:
    changed = dict(state.facts)
    for name, value in facts.items():
        old = changed.get(name)
        before = () if old is None else (*old.before, replace(old, before=()))
        changed[name] = Fact(value, mark, reason, before)
    return replace(state, facts=changed)


def _append_to(name: str) -> Place:
    def place(state: JobState, kept: Kept[Any]) -> JobState:
        changes: dict[str, Any] = {name: (*getattr(state, name), kept)}
        return replace(state, **changes)

    return place


_PLACES[k.CautionAcknowledged] = _append_to("cautions")
_PLACES[k.PhotoAdded] = _append_to("photos")
_PLACES[k.NoteAdded] = _append_to("notes")
_PLACES[k.MountItemDone] = _append_to("mounted")
_PLACES[fk.SealSet] = _append_to("seals")
_PLACES[fk.CertificateIssued] = _append_to("certificates")


def _void_in(name: str, is_meant: Callable[[Kept[Any], Any], bool]) -> Place:
    """Return what strikes through the last standing one of ``state.name`` that is meant."""

    def place(state: JobState, kept: Kept[Any]) -> JobState | None:
        voided = _voided(getattr(state, name), kept, lambda old: is_meant(old, kept.event))
        changes: dict[str, Any] = {name: voided}
        return None if voided is None else replace(state, **changes)

    return place


def _voided(
    items: tuple[Kept[Any], ...], by: Kept[Any], is_meant: Callable[[Kept[Any]], bool]
) -> tuple[Kept[Any], ...] | None:
    for place in reversed(range(len(items))):
        if items[place].voided is None and is_meant(items[place]):
            struck = replace(items[place], voided=Voided(by.mark, by.event.reason))
            return (*items[:place], struck, *items[place + 1 :])
    return None


_PLACES[k.MountItemReopened] = _void_in(
    "mounted",
    lambda old, by: (old.event.item, old.event.tank_id) == (by.item, by.tank_id),
)
_PLACES[fk.SealRemoved] = _void_in(
    "seals", lambda old, by: bool(old.event.seal_number == by.seal_number)
)
_PLACES[fk.CertificateWithdrawn] = _void_in(
    "certificates", lambda old, by: bool(old.event.certificate_number == by.certificate_number)
)


@_places(fk.StageFinished)
def _finish(state: JobState, kept: Kept[fk.StageFinished]) -> JobState:
    return replace(state, stages={**state.stages, kept.event.stage: kept})


@_places(fk.StageReopened)
def _reopen(state: JobState, kept: Kept[fk.StageReopened]) -> JobState | None:
    if not state.is_finished(kept.event.stage):
        return None
    finished = replace(state.stages[kept.event.stage], voided=Voided(kept.mark, kept.event.reason))
    return replace(state, stages={**state.stages, kept.event.stage: finished})


# Tanks


def _with_tank(state: JobState, tank: TankState) -> JobState:
    return replace(state, tanks={**state.tanks, tank.tank_id: tank})


@_places(k.TankDescribed)
def _describe(state: JobState, kept: Kept[k.TankDescribed]) -> JobState:
    tank = state.tanks.get(kept.event.tank_id, TankState(kept.event.tank_id))
    state = _with_tank(state, replace(tank, described=kept, removed=None))
    link = None if tank.linked_into is None else state.tanks.get(tank.linked_into)
    return state if link is None else _with_tank(state, _with_joined(state, link))


def _with_joined(state: JobState, link: TankState) -> TankState:
    """Return a link with its tanks as they are described now."""
    described = (state.tanks[tank_id].described for tank_id in link.members)
    return replace(link, joined=tuple(kept for kept in described if kept is not None))


@_places(k.TankRemoved)
def _remove(state: JobState, kept: Kept[k.TankRemoved]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    if tank is None:
        return None
    return _with_tank(state, replace(tank, removed=Voided(kept.mark, kept.event.reason)))


@_places(k.TanksLinked)
def _link(state: JobState, kept: Kept[k.TanksLinked]) -> JobState | None:
    event = kept.event
    if any(tank_id not in state.tanks for tank_id in event.tank_ids):
        return None
    link = state.tanks.get(event.link_id, TankState(event.link_id))
    link = _with_joined(state, replace(link, members=event.tank_ids, removed=None))
    state = _with_tank(state, link)
    for tank_id in event.tank_ids:
        state = _with_tank(state, replace(state.tanks[tank_id], linked_into=event.link_id))
    return state


@_places(k.TanksUnlinked)
def _unlink(state: JobState, kept: Kept[k.TanksUnlinked]) -> JobState | None:
    link = state.tanks.get(kept.event.link_id)
    if link is None or not link.members:
        return None
    for tank_id in link.members:
        if tank_id in state.tanks:
            state = _with_tank(state, replace(state.tanks[tank_id], linked_into=None))
    return _with_tank(state, replace(link, removed=Voided(kept.mark, kept.event.reason)))


@_places(k.PlanRecorded)
def _plan(state: JobState, kept: Kept[k.PlanRecorded]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    return None if tank is None else _with_tank(state, replace(tank, plan=kept))


@_places(k.WiringRecorded)
def _wire(state: JobState, kept: Kept[k.WiringRecorded]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    return None if tank is None else _with_tank(state, replace(tank, wiring=kept))


def _append_to_tank(name: str) -> Place:
    def place(state: JobState, kept: Kept[Any]) -> JobState | None:
        tank = state.tanks.get(kept.event.tank_id)
        if tank is None:
            return None
        changes: dict[str, Any] = {name: (*getattr(tank, name), kept)}
        return _with_tank(state, replace(tank, **changes))

    return place


_PLACES[k.BenchZeroRecorded] = _append_to_tank("zeros")
_PLACES[k.BenchSpanRecorded] = _append_to_tank("spans")
_PLACES[k.BenchRepeatRecorded] = _append_to_tank("repeats")
_PLACES[fk.TableMade] = _append_to_tank("tables")
_PLACES[fk.TableAccepted] = _append_to_tank("accepted")
_PLACES[fk.CheckPourRecorded] = _append_to_tank("check_pours")
_PLACES[fk.BackOfficeCompared] = _append_to_tank("comparisons")
_PLACES[wk.LogWatched] = _append_to_tank("watches")
_PLACES[wk.SeenEventExplained] = _append_to_tank("explained")
_PLACES[hk.CopiedBack] = _append_to_tank("copies")
_PLACES[hk.CopyAccepted] = _append_to_tank("copies_accepted")
_PLACES[hk.ArrivalChecked] = _append_to_tank("arrivals")
_PLACES.update(later_fold.PLACES)


@_places(hk.RecipeChosen)
def _choose_recipe(state: JobState, kept: Kept[hk.RecipeChosen]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    return None if tank is None else _with_tank(state, replace(tank, recipe=kept))


def _void_of_tanks(*names: str) -> Place:
    """Return what strikes through one entry among these of any tank."""

    def place(state: JobState, kept: Kept[Any]) -> JobState | None:
        number = kept.event.entry
        for tank in state.tanks.values():
            for name in names:
                voided = _voided(getattr(tank, name), kept, lambda old: bool(old.number == number))
                if voided is not None:
                    changes: dict[str, Any] = {name: voided}
                    return _with_tank(state, replace(tank, **changes))
        return None

    return place


_PLACES[k.BenchReadingVoided] = _void_of_tanks("zeros", "spans", "repeats")
_PLACES[fk.CheckVoided] = _void_of_tanks("check_pours", "comparisons")


@_places(wk.ExplanationWithdrawn)
def _withdraw_explanation(state: JobState, kept: Kept[wk.ExplanationWithdrawn]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    if tank is None:
        return None
    meant = (kept.event.watched, kept.event.event)
    explained = _voided(
        tank.explained, kept, lambda old: (old.event.watched, old.event.event) == meant
    )
    return None if explained is None else _with_tank(state, replace(tank, explained=explained))


# The fill


@_places(fk.FillBegun)
def _begin(state: JobState, kept: Kept[fk.FillBegun]) -> JobState | None:
    tank = state.tanks.get(kept.event.tank_id)
    if tank is None:
        return None
    return _with_tank(state, replace(tank, fills=(*tank.fills, FillState(kept, kept))))


def _with_fill(state: JobState, tank_id: str, **changes: Any) -> JobState | None:
    tank = state.tanks.get(tank_id)
    if tank is None or tank.fill is None:
        return None
    fill = replace(tank.fill, **changes)
    return _with_tank(state, replace(tank, fills=(*tank.fills[:-1], fill)))


def _fill_of(state: JobState, tank_id: str) -> FillState | None:
    tank = state.tanks.get(tank_id)
    return None if tank is None else tank.fill


@_places(fk.FillChecksChanged)
def _change_checks(state: JobState, kept: Kept[fk.FillChecksChanged]) -> JobState | None:
    return _with_fill(state, kept.event.tank_id, checks=kept)


@_places(fk.PourRecorded)
def _pour(state: JobState, kept: Kept[fk.PourRecorded]) -> JobState | None:
    fill = _fill_of(state, kept.event.tank_id)
    if fill is None:
        return None
    return _with_fill(state, kept.event.tank_id, pours=(*fill.pours, kept))


@_places(fk.FindingAnswered)
def _answer(state: JobState, kept: Kept[fk.FindingAnswered]) -> JobState | None:
    fill = _fill_of(state, kept.event.tank_id)
    if fill is None:
        return None
    return _with_fill(state, kept.event.tank_id, answers=(*fill.answers, kept))


@_places(fk.PourPlaced)
def _place_pour(state: JobState, kept: Kept[fk.PourPlaced]) -> JobState | None:
    event = kept.event
    fill = _fill_of(state, event.tank_id)
    follows = None if fill is None else _standing(fill, event.before)
    if fill is None or follows is None:
        return None
    step, pours = follows.event.step, fill.pours
    if step > 1 and all(pour.event.step != step - 1 for pour in fill.standing):
        step -= 1  # the place of a pour that was voided and not poured again
    else:
        pours = tuple(_one_later(pour) if pour.event.step >= step else pour for pour in pours)
    placed = Placed(
        event.tank_id,
        step,
        event.added_l,
        event.counts,
        fuel_c=event.fuel_c,
        meter_c=event.meter_c,
        pitch_deg=event.pitch_deg,
        roll_deg=event.roll_deg,
        source=event.source,
        note=event.note,
        placed_because=event.reason,
    )
    return _with_fill(state, event.tank_id, pours=(*pours, Kept(kept.mark, placed)))


def _one_later(pour: Kept[fk.PourRecorded]) -> Kept[fk.PourRecorded]:
    return replace(pour, event=replace(pour.event, step=pour.event.step + 1))


def _standing(fill: FillState, number: int) -> Kept[fk.PourRecorded] | None:
    return next((pour for pour in fill.standing if pour.number == number), None)


@_places(fk.PourVoided)
def _void_pour(state: JobState, kept: Kept[fk.PourVoided]) -> JobState | None:
    for tank in state.tanks.values():
        for place, fill in enumerate(tank.fills):
            pours = _voided(fill.pours, kept, lambda old: old.number == kept.event.pour)
            if pours is not None:
                fills = list(tank.fills)
                fills[place] = replace(fill, pours=pours)
                return _with_tank(state, replace(tank, fills=tuple(fills)))
    return None
