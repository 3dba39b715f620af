"""A table's later life as a screen shows it and the API gives it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gaugewright.app.later_zero import zero_again
from gaugewright.app.pictures import VoidedPicture
from gaugewright.errors import InputError
from gaugewright.journal import later_kinds as lk
from gaugewright.journal.kept_words import heard, sentence_of
from gaugewright.journal.state import Kept, LaterState, TankState
from gaugewright.probe import Probe


@dataclass(frozen=True, slots=True)
class VersionPicture:
    """One version of the table; the older ones stay."""

    number: int
    """Entry that recorded it."""
    digest: str
    way: str
    """``fill``, or how it was carried: ``recheck``, ``exchange`` or ``sister``."""
    from_digest: str | None
    reason: str
    at: datetime
    by: str
    worst_u_l: float | None
    rows: tuple[tuple[float, float, float | None], ...]
    is_current: bool
    is_accepted: bool
    findings: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class LaterPourPicture:
    """One pour after the table."""

    number: int
    step: int
    added_l: float
    counts: float
    is_steady: bool | None
    person: str
    at: datetime
    note: str
    voided: VoidedPicture | None


@dataclass(frozen=True, slots=True)
class ConcludedPicture:
    """What the pours said."""

    verdict: str
    sentence: str
    results: Mapping[str, Any]
    by: str
    at: datetime
    is_stale: bool
    """Pours were made or taken back since, or the zero was read again."""


@dataclass(frozen=True, slots=True)
class LaterRunPicture:
    """Pours made after a table."""

    number: int
    purpose: str
    digest: str
    is_drained: bool
    probe: Mapping[str, Any]
    mounting: Mapping[str, Any]
    probe_serial: str
    reason: str
    by: str
    at: datetime
    pours: tuple[LaterPourPicture, ...]
    next_step: int
    zero_counts: float | None
    """The dry probe, read again since it was begun."""
    concluded: ConcludedPicture | None
    carried_digest: str | None
    """Of the table that was made from it, if one was."""


@dataclass(frozen=True, slots=True)
class SisterPicture:
    """A sister's table that was proposed for the fill."""

    number: int
    sister_job: str
    sister_tank_id: str
    digest: str
    results: Mapping[str, Any]
    by: str
    at: datetime
    carried_digest: str | None


@dataclass(frozen=True, slots=True)
class LaterCautionPicture:
    """A caution that is read again."""

    id: str
    stage: str
    text: str


@dataclass(frozen=True, slots=True)
class LaterPicture:
    """A table's later life."""

    tank_id: str
    versions: tuple[VersionPicture, ...]
    """The newest first."""
    runs: tuple[LaterRunPicture, ...]
    """The newest first; only that one can go on."""
    sister: SisterPicture | None
    probe: Mapping[str, float] | None
    """The probe that the newest table is of, ``None`` where nobody described it."""
    cautions: Mapping[str, tuple[LaterCautionPicture, ...]]
    """By purpose, what is read before it begins."""


def later_picture(tank: TankState) -> LaterPicture:
    """Return a tank's tables in all their versions, and what was poured after them."""
    # The numerics are loaded when they are first asked for: no first page waits.
    from gaugewright.app.later_job import cautions_of

    return LaterPicture(
        tank.tank_id,
        tuple(_version(tank, kept) for kept in reversed(tank.tables)),
        tuple(_run(tank, later) for later in reversed(tank.later)),
        _sister(tank),
        _probe(tank),
        {
            purpose: tuple(LaterCautionPicture(*each) for each in cautions_of(purpose))
            for purpose in lk.PURPOSES
        },
    )


def _probe(tank: TankState) -> Mapping[str, float] | None:
    from gaugewright.app.later_known import probe_of

    try:
        probe: Probe | None = None if tank.table is None else probe_of(tank, tank.table)
    except InputError:  # said at the tank itself
        return None
    return None if probe is None else {name: getattr(probe, name) for name in probe.__slots__}


def _version(tank: TankState, kept: Kept[Any]) -> VersionPicture:
    event = kept.event
    carried = event if isinstance(event, lk.TableCarried) else None
    band = [row.u_litres for row in event.rows if row.u_litres is not None]
    return VersionPicture(
        number=kept.number,
        digest=event.digest,
        way="fill" if carried is None else carried.way,
        from_digest=None if carried is None else carried.from_digest,
        reason="" if carried is None else carried.reason,
        at=kept.mark.at,
        by=kept.mark.person,
        worst_u_l=max(band) if band and len(band) == len(event.rows) else None,
        rows=tuple((row.counts, row.litres, row.u_litres) for row in event.rows),
        is_current=tank.table is kept,
        is_accepted=any(each.event.digest == event.digest for each in tank.accepted),
        findings=tuple(heard(each) for each in event.findings),
    )


def _run(tank: TankState, later: LaterState) -> LaterRunPicture:
    event, mark = later.begun.event, later.begun.mark
    return LaterRunPicture(
        number=mark.number,
        purpose=event.purpose,
        digest=event.digest,
        is_drained=event.is_drained,
        probe=event.probe,
        mounting=event.mounting,
        probe_serial=event.probe_serial,
        reason=event.reason,
        by=mark.person,
        at=mark.at,
        pours=tuple(_pour(kept) for kept in later.pours),
        next_step=later.next_step,
        zero_counts=_zero(tank, later),
        concluded=_concluded(tank, later),
        carried_digest=_carried_from(tank, begun=mark.number),
    )


def _pour(kept: Kept[lk.LaterPourRecorded]) -> LaterPourPicture:
    event = kept.event
    voided = kept.voided
    return LaterPourPicture(
        number=kept.number,
        step=event.step,
        added_l=event.added_l,
        counts=event.counts,
        is_steady=event.is_steady,
        person=kept.mark.person,
        at=kept.mark.at,
        note=event.note,
        voided=None
        if voided is None
        else VoidedPicture(voided.reason, voided.mark.person, voided.mark.at),
    )


def _zero(tank: TankState, later: LaterState) -> float | None:
    found = zero_again(tank, later)
    return None if found is None else found[0].event.counts


def _concluded(tank: TankState, later: LaterState) -> ConcludedPicture | None:
    kept = later.concluded
    if kept is None:
        return None
    standing = tuple(pour.number for pour in later.standing)
    return ConcludedPicture(
        kept.event.verdict,
        sentence_of(kept.event.results, "sentence", kept.event.sentence),
        heard(kept.event.results),
        kept.mark.person,
        kept.mark.at,
        kept.event.pours != standing or kept.event.results.get("dry_counts") != _zero(tank, later),
    )


def _sister(tank: TankState) -> SisterPicture | None:
    kept = tank.sister
    if kept is None:
        return None
    event = kept.event
    carried = next(
        (
            table.event.digest
            for table in tank.tables
            if isinstance(table.event, lk.TableCarried)
            and (table.event.way, table.event.from_digest) == ("sister", event.digest)
        ),
        None,
    )
    return SisterPicture(
        kept.number,
        event.sister_job,
        event.sister_tank_id,
        event.digest,
        heard(event.results),
        kept.mark.person,
        kept.mark.at,
        carried,
    )


def _carried_from(tank: TankState, begun: int) -> str | None:
    return next(
        (
            kept.event.digest
            for kept in reversed(tank.tables)
            if isinstance(kept.event, lk.TableCarried) and kept.event.begun == begun
        ),
        None,
    )
