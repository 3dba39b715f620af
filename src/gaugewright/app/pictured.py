"""From a job's state to what a screen shows of it."""

from collections.abc import Sequence
from typing import Any

from gaugewright.app import pictures as p
from gaugewright.app.certify import next_number
from gaugewright.app.lists import MOUNT_ITEMS
from gaugewright.app.pictured_tank import tank_picture
from gaugewright.certificate.identity import unwritable
from gaugewright.journal.fill_kinds import CertificateIssued
from gaugewright.journal.kinds import STAGES
from gaugewright.journal.state import Fact, JobState, Kept
from gaugewright.planning.cautions import CAUTIONS
from gaugewright.units import VolumeUnit


def job_picture(state: JobState, unit: VolumeUnit = "L") -> p.JobPicture:
    """Return everything that a screen shows of a job that is open.

    ``unit`` is the one in which volumes are typed in this book.
    """
    opened = state.opened
    assert opened is not None  # a job in the book has its first entry
    return p.JobPicture(
        job=state.job,
        number=state.tip.number,
        hash=state.tip.hash,
        opened_at=opened.at,
        opened_by=opened.person,
        customer=state.fact("customer") or "",
        vehicle=state.fact("vehicle") or "",
        supply_v=state.fact("supply_v"),
        stage=state.stage,
        stages=tuple(_stage(state, name) for name in STAGES),
        facts=tuple(_fact(name, fact) for name, fact in state.facts.items()),
        cautions=_cautions(state),
        tanks=tuple(tank_picture(state, tank, unit) for tank in state.tanks.values()),
        photos=tuple(
            p.PhotoPicture(
                kept.number,
                kept.event.sha256,
                kept.event.caption,
                kept.event.stage,
                kept.event.tank_id,
                kept.event.item,
                kept.mark.person,
                kept.mark.at,
            )
            for kept in state.photos
        ),
        notes=tuple(
            p.NotePicture(
                kept.number,
                kept.event.text,
                kept.event.stage,
                kept.event.tank_id,
                kept.mark.person,
                kept.mark.at,
            )
            for kept in state.notes
        ),
        mount=_mount(state),
        seals=tuple(
            p.SealPicture(
                kept.number,
                kept.event.seal_number,
                kept.event.place,
                kept.event.tank_id,
                kept.mark.person,
                kept.mark.at,
                None if kept.voided is None else kept.voided.reason,
            )
            for kept in state.seals
        ),
        certificate=None if state.certificate is None else _certificate(state.certificate),
        certificates=tuple(_certificate(kept) for kept in state.certificates),
        next_certificate=next_number(state),
        unknown=tuple(
            p.UnknownPicture(kept.number, kept.event.kind, kept.mark.person, kept.mark.at)
            for kept in state.unknown
        ),
        clock_set_back=state.clock_set_back,
        remarks=tuple(p.RemarkPicture(*each) for each in unwritable(state)),
    )


def _stage(state: JobState, name: str) -> p.StagePicture:
    finished = state.stages.get(name)
    if finished is None or finished.voided is not None:
        return p.StagePicture(name, is_finished=False)
    return p.StagePicture(name, True, finished.mark.person, finished.mark.at, finished.event.note)


def _fact(name: str, fact: Fact) -> p.FactPicture:
    before = tuple(each.value for each in fact.before)
    return p.FactPicture(name, fact.value, fact.mark.person, fact.mark.at, fact.reason, before)


def _cautions(state: JobState) -> tuple[p.CautionPicture, ...]:
    read = {kept.event.caution: kept for kept in state.cautions}
    shown = [_caution(c.id, c.stage, c.text, read.pop(c.id, None)) for c in CAUTIONS]
    # Cautions of another version stay visible with the words that were on the screen.
    others = [_caution(c, k.event.stage, k.event.text, k) for c, k in read.items()]
    return (*shown, *others)


def _caution(name: str, stage: str, text: str, read: Kept[Any] | None) -> p.CautionPicture:
    if read is None:
        return p.CautionPicture(name, stage, text, None, None)
    return p.CautionPicture(name, stage, text, read.event.acknowledged_by, read.mark.at)


def _mount(state: JobState) -> tuple[p.MountPicture, ...]:
    """Return the checklist of each tank; linked tanks are mounted one by one."""
    tanks: Sequence[str | None] = [
        tank.tank_id for tank in state.tanks.values() if not tank.members and tank.removed is None
    ]
    done = {
        (kept.event.item, kept.event.tank_id): kept for kept in state.mounted if kept.voided is None
    }
    shown = [
        _mount_item(item.id, item.text, item.evidence, tank_id, done.pop((item.id, tank_id), None))
        for tank_id in (tanks or [None])
        for item in MOUNT_ITEMS
    ]
    others = [_mount_item(item, item, (), tank, kept) for (item, tank), kept in done.items()]
    return (*shown, *others)


def _mount_item(
    name: str,
    text: str,
    evidence: tuple[str, ...],
    tank_id: str | None,
    done: Kept[Any] | None,
) -> p.MountPicture:
    if done is None:
        return p.MountPicture(name, text, evidence, tank_id, False, None, None, None, (), "")
    event = done.event
    return p.MountPicture(
        name,
        text,
        evidence,
        tank_id,
        True,
        done.mark.person,
        done.mark.at,
        event.seal_number,
        event.photo_sha256,
        event.text,
    )


def _certificate(kept: Kept[CertificateIssued]) -> p.CertificatePicture:
    event = kept.event
    return p.CertificatePicture(
        event.certificate_number,
        event.upto_number,
        event.upto_hash,
        kept.mark.person,
        kept.mark.at,
        event.tables,
        event.signed_by or kept.mark.person,
        bool(event.strokes),
        str(event.issue.get("place", "")),
        event.document_sha256,
        event.replaces,
        event.reason,
        None if kept.voided is None else kept.voided.reason,
        str(event.issue.get("paper", "")),
        str(event.issue.get("units", "")),
    )
