"""What a fitter finds out, decides and signs around the measuring: one function each."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from gaugewright.app.lists import INSTRUMENTS_FACT
from gaugewright.app.scales import described_of, shape_of
from gaugewright.app.typed import length_mm, litres
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError, JournalError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import BookSettings, Recorded
from gaugewright.journal.exchange import Imported, read_job
from gaugewright.planning.cautions import CAUTIONS
from gaugewright.planning.length import SAME_CUT_MM, confirmed
from gaugewright.words import Length, Volume, said

JOB_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}")
"""A job number stands in addresses and file names: letters, digits, point, dash, underscore."""
LEAST_TANK_L = 1.0
"""A vehicle's tank that holds less was typed in metres, or with a thousands mark. [L]"""
_SIZES = ("length_mm", "width_mm", "height_mm", "diameter_mm")
LATELY = 50
"""A repeated request to open a job is looked for in so many of the newest."""


def open_job(
    yard: Yard,
    stamp: Stamp,
    *,
    customer: str,
    vehicle: str,
    job: str | None = None,
    supply_v: float | None = None,
) -> Recorded:
    """Open a job for a vehicle; without a job number the next free one of the year."""
    if job is None:
        for head in yard.book.jobs(limit=LATELY) if stamp.request_id else ():
            if (before := yard.repeated(head.job, stamp)) is not None:
                return before
        job = _next_number(yard)
    elif not JOB_NUMBER.fullmatch(job):
        raise InputError(
            said(
                "must be letters, digits, point, dash or underscore, at most 60, found {job!r}",
                job=job[:80],
            ),
            field="job",
        )
    if yard.book.store.tip(job).number and yard.repeated(job, stamp) is None:
        raise StateError(said("job {job} is already open", job=job))
    event = k.JobOpened(customer, vehicle, supply_v)
    return yard.record(job, replace(stamp, on=0), event)


def change_facts(
    yard: Yard, job: str, stamp: Stamp, facts: Mapping[str, Any], reason: str = ""
) -> Recorded:
    """Record facts of the survey; with a reason they correct what stood wrong."""
    for name in facts:
        if not re.fullmatch(r"[a-z][a-z0-9_]{0,59}", name):
            raise InputError(
                said("must be a name in snake_case, found {name!r}", name=name[:80]), field="facts"
            )
    if INSTRUMENTS_FACT in facts:
        raise InputError(
            said("instruments are set for each tank"), field=f"facts.{INSTRUMENTS_FACT}"
        )
    if reason.strip():
        return yard.record(job, stamp, k.FactsCorrected(facts, reason))
    return yard.record(job, stamp, k.FactsChanged(facts))


def acknowledge(
    yard: Yard, job: str, stamp: Stamp, caution: str, *, text: str = "", stage: str = ""
) -> Recorded:
    """Put the person's name to a caution that they have read."""
    known = next((each for each in CAUTIONS if each.id == caution), None)
    if known is None:
        ids = ", ".join(each.id for each in CAUTIONS)
        raise InputError(
            said("must be one of {ids}, found {caution!r}", ids=ids, caution=caution[:80]),
            field="caution",
        )
    event = k.CautionAcknowledged(
        caution, stamp.person, text=text or known.text, stage=stage or known.stage
    )
    return yard.record(job, stamp, event)


def add_note(
    yard: Yard, job: str, stamp: Stamp, text: str, *, stage: str = "", tank_id: str | None = None
) -> Recorded:
    """Record something worth keeping, in words."""
    return yard.record(job, stamp, k.NoteAdded(text, stage=stage, tank_id=tank_id))


def describe_tank(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    *,
    tank: Mapping[str, Any],
    probe: Mapping[str, Any],
    name: str = "",
    reason: str = "",
) -> Recorded:
    """Describe a tank and its probe by the fields of a tank file.

    Raises `InputError` naming the field if no such tank can be built, or if the probe
    stands outside it; nothing is recorded then.
    """
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}", tank_id):
        raise InputError(
            said(
                "must be letters, digits, dash or underscore, at most 40, found {tank_id!r}",
                tank_id=tank_id[:60],
            ),
            field="tank_id",
        )
    tank, probe = in_mm_and_litres(tank), in_mm_and_litres(probe)
    body, rod = described_of(tank, probe)
    if body is not None:
        holds_l = shape_of(body, rod).capacity_l
        if holds_l < LEAST_TANK_L:
            sizes = {n: v for n, v in tank.items() if n in _SIZES and isinstance(v, int | float)}
            raise InputError(
                said(
                    "a tank of these sizes holds {holds:.2f}; wanted sizes in mm, without a "
                    "thousands mark",
                    holds=Volume(holds_l),
                ),
                field=min(sizes, key=lambda name: sizes[name], default=None),
            )
    return yard.record(
        job, stamp, k.TankDescribed(tank_id, tank, probe=probe, name=name, reason=reason)
    )


def remove_tank(yard: Yard, job: str, stamp: Stamp, tank_id: str, reason: str) -> Recorded:
    """Take a tank off the vehicle; what was recorded for it stays."""
    yard.desk.stop(job, tank_id)
    return yard.record(job, stamp, k.TankRemoved(tank_id, reason))


def link_tanks(
    yard: Yard, job: str, stamp: Stamp, link_id: str, tank_ids: Sequence[str], note: str = ""
) -> Recorded:
    """Join tanks by a balance pipe: they are filled and read as one."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}", link_id):
        raise InputError(
            said(
                "must be letters, digits, dash or underscore, at most 40, found {link_id!r}",
                link_id=link_id[:60],
            ),
            field="link_id",
        )
    return yard.record(job, stamp, k.TanksLinked(link_id, tuple(tank_ids), note=note))


def unlink_tanks(yard: Yard, job: str, stamp: Stamp, link_id: str, reason: str) -> Recorded:
    """Treat the tanks of a link as separate again."""
    return yard.record(job, stamp, k.TanksUnlinked(link_id, reason))


def record_plan(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, plan: Mapping[str, Any], reason: str = ""
) -> Recorded:
    """Record the plan that the fitter works to."""
    return yard.record(job, stamp, k.PlanRecorded(tank_id, plan, reason=reason))


def with_confirmed_cut(plan: Mapping[str, Any], cut_mm: Sequence[str]) -> dict[str, Any]:
    """Return a plan file with the cut length that was typed twice.

    A plan that cuts nothing has no figure to confirm.  Raises `InputError` where a cut
    was not typed twice, or is not the plan's.

    >>> with_confirmed_cut({"probe": {"cut_length_mm": 485}}, ["485", "485,0 mm"])
    {'probe': {'cut_length_mm': 485}, 'cut_confirmed_mm': 485.0}
    >>> with_confirmed_cut({"probe": {"cut_length_mm": 485}}, [])
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: cut_mm: the plan cuts to 485 mm: type it twice, what is cut
    off cannot be put back
    """
    probe = plan.get("probe")
    planned = probe.get("cut_length_mm") if isinstance(probe, Mapping) else None
    if planned is None:
        if cut_mm:
            raise InputError(said("the plan has no cut length to confirm"), field="cut_mm")
        return dict(plan)
    if isinstance(planned, bool) or not isinstance(planned, int | float):
        raise InputError(
            said("must be a length in mm, found {planned!r}", planned=planned),
            field="probe.cut_length_mm",
        )
    if len(cut_mm) != 2:
        raise InputError(
            said(
                "the plan cuts to {planned:g}: type it twice, what is cut off cannot be put back",
                planned=Length(planned),
            ),
            field="cut_mm",
        )
    typed = confirmed(cut_mm[0], cut_mm[1])
    if abs(typed - planned) > SAME_CUT_MM:
        raise InputError(
            said(
                "{typed:g} was typed, the plan says {planned:.1f}",
                typed=Length(typed),
                planned=Length(planned),
            ),
            field="cut_mm",
        )
    return {**plan, "cut_confirmed_mm": typed}


def mount_item_done(yard: Yard, job: str, stamp: Stamp, done: k.MountItemDone) -> Recorded:
    """Record that a point of the mounting checklist is done, with its evidence."""
    return yard.record(job, stamp, done)


def reopen_mount_item(
    yard: Yard, job: str, stamp: Stamp, item: str, reason: str, tank_id: str | None = None
) -> Recorded:
    """Say that a point of the checklist has to be done again."""
    return yard.record(job, stamp, k.MountItemReopened(item, reason, tank_id=tank_id))


def set_seal(yard: Yard, job: str, stamp: Stamp, seal: fk.SealSet) -> Recorded:
    """Record a numbered seal and where it sits."""
    return yard.record(job, stamp, seal)


def remove_seal(yard: Yard, job: str, stamp: Stamp, seal_number: str, reason: str) -> Recorded:
    """Record that a seal was opened."""
    return yard.record(job, stamp, fk.SealRemoved(seal_number, reason))


def finish_stage(yard: Yard, job: str, stamp: Stamp, stage: str, note: str = "") -> Recorded:
    """Say that a stage is done."""
    return yard.record(job, stamp, fk.StageFinished(stage, note=note))


def reopen_stage(yard: Yard, job: str, stamp: Stamp, stage: str, reason: str) -> Recorded:
    """Go back to a stage."""
    return yard.record(job, stamp, fk.StageReopened(stage, reason))


def withdraw(yard: Yard, job: str, stamp: Stamp, certificate_number: str, reason: str) -> Recorded:
    """Stand for a certificate no longer."""
    return yard.record(job, stamp, fk.CertificateWithdrawn(certificate_number, reason))


def import_job(yard: Yard, content: bytes) -> Imported:
    """Take in a job file.

    Raises `InputError` if it is altered or no job file, `ConflictError` if it contradicts
    the book.
    """
    try:
        read_job(content)
    except JournalError as error:
        raise InputError(str(error), field="file") from None
    return yard.book.import_job(content)


def change_settings(yard: Yard, stamp: Stamp, changes: Mapping[str, Any]) -> BookSettings:
    """Change what holds for every job of the book: units, language, the workshop's name."""
    settings = replace(yard.book.settings(), **changes)
    for name in ("language", "workshop"):
        if len(getattr(settings, name)) > 200:
            raise InputError(said("at most 200 characters"), field=name)
    yard.book.change_settings(settings, at=yard.now(), person=stamp.person, device=stamp.device)
    return settings


def in_mm_and_litres(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Return fields of a tank file with what was typed with a unit as plain numbers.

    >>> in_mm_and_litres({"shape": "box", "height_mm": "18,5 in", "displaced_l": "2 L"})
    {'shape': 'box', 'height_mm': 469.9, 'displaced_l': 2.0}
    """
    plain: dict[str, Any] = {}
    for name, value in fields.items():
        if isinstance(value, str) and name.endswith("_mm"):
            plain[name] = length_mm(value, name)
        elif isinstance(value, str) and name.endswith("_l"):
            plain[name] = litres(value, name)
        else:
            plain[name] = value
    return plain


def _next_number(yard: Yard) -> str:
    year = yard.now().year
    place = len(yard.book.jobs(containing=f"{year}-")) + 1
    while yard.book.store.tip(f"{year}-{place:03d}").number:
        place += 1
    return f"{year}-{place:03d}"
