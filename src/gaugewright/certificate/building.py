"""From a job's folded state to what its certificate states.  Pure: no file, clock or book."""

from gaugewright.certificate.handover import IN_A_WORD
from gaugewright.certificate.history import en_of, job_parts
from gaugewright.certificate.identity import PLAINLY, TITLE, head_lines, place_of
from gaugewright.certificate.issue import Issue
from gaugewright.certificate.pictures import code_picture, code_text, signature_picture
from gaugewright.certificate.provable import last_watch, parked_and_moving
from gaugewright.certificate.shows import limits_of
from gaugewright.certificate.statement import (
    Driver,
    Grid,
    Line,
    Photo,
    Signature,
    Statement,
)
from gaugewright.certificate.tank_part import described, heading, table_of, tank_statement
from gaugewright.certificate.writing import Writer, free, in_groups, name
from gaugewright.errors import StateError
from gaugewright.journal.state import JobState, TankState
from gaugewright.words import said

_HOLDS = {
    "clean": "The tracking system was read back: it holds this table.",
    "accepted": "The tracking system was read back: what it holds differs from this table, and "
    "the workshop accepted that with its reason on the certificate.",
    "differs": "The tracking system was read back and does NOT hold this table: do not go by "
    "its {litres} until that is put right.",
    "not_copied": "That the tracking system holds this table was not read back.",
}
"""What the driver is told of the receiving system."""
MOST_PHOTOS = 6
"""Photos that are shown small; all are listed with their hashes."""
DRAFT = "Draft: not issued, not signed, without validity"


def statement_of(state: JobState, issue: Issue) -> Statement:
    """Return what the certificate of a job states, the journal ending at ``state.tip``.

    Raises `StateError` if no table is accepted and `InputError`, naming the field, for a
    name that the fonts cannot write.
    """
    write = Writer(issue.units)
    tanks = [tank for tank in state.standing_tanks if tank.accepted_table is not None]
    if not tanks:
        raise StateError(
            said(
                "job {job} has no accepted table: accept one before the certificate", job=state.job
            )
        )
    number = name(issue.number, "certificate_number")
    return Statement(
        title=TITLE,
        number=number,
        draft=DRAFT if issue.is_draft else "",
        workshop=name(issue.workshop, "workshop") if issue.workshop else "",
        plainly=(*PLAINLY, *_printed_otherwise(issue)),
        qr=code_picture(code_text(state.job, number, state.tip)),
        head=head_lines(state, issue, write),
        glance=_glance(tanks, write),
        tanks=tuple(tank_statement(state, tank, write) for tank in tanks),
        parts=job_parts(state, write),
        photos=shown_photos(state),
        signature=_signature(state, issue, write),
        driver=_driver(state, issue, tanks, write),
        foot=f"{number} · job {name(state.job, 'job')} · entries 1 to {state.tip.number} · "
        f"{state.tip.hash[:16]}",
        end=f"End of certificate {number}",
    )


def shown_photos(state: JobState) -> tuple[Photo, ...]:
    """Return the photos that are shown: those that are evidence first, the newest last."""
    once = {kept.event.sha256: kept for kept in state.photos}
    ranked = sorted(once.values(), key=lambda kept: (kept.event.item is None, kept.number))
    return tuple(
        Photo(kept.event.sha256, free(kept.event.caption or kept.event.item or kept.event.stage))
        for kept in sorted(ranked[:MOST_PHOTOS], key=lambda kept: kept.number)
    )


def _printed_otherwise(issue: Issue) -> tuple[str, ...]:
    if (issue.paper, issue.units, issue.form) == issue.issued_as or issue.is_draft:
        return ()
    paper, units, form = issue.issued_as
    return (
        f"This is another printing of the same {form}, which was issued on {paper.upper()} paper "
        f"in {units} units; the results are the same.",
    )


def _glance(tanks: list[TankState], write: Writer) -> Grid:
    rows = []
    for tank in tanks:
        made = tank.accepted_table
        assert made is not None
        table = table_of(made.event.rows)
        worst = None if table.u_litres is None else float(table.u_litres.max())
        limits = limits_of(table, tank.fill, *described(tank))
        checks = [k.event for k in tank.check_pours if k.event.digest == made.event.digest]
        numbers = [en_of(event) for event in checks]
        known = [abs(number) for number in numbers if number is not None]
        rows.append(
            (
                heading(tank),
                f"{table.counts[0]:g} to {table.counts[-1]:g}",
                f"{write.volume_figure(float(table.litres[0]))} to "
                f"{write.volume(float(table.litres[-1]))}",
                write.band(worst),
                write.volume(limits.most_visible_l, 2),
                _largest(known) if known else "no check pour",
                IN_A_WORD.get(tank.hand_over, tank.hand_over),
            )
        )
    columns = (
        "Tank",
        "Counts",
        "Fuel",
        "Widest band (95 %)",
        "Smallest visible change",
        "Largest |En|",
        "Copied back",
    )
    return Grid(columns, tuple(rows))


def _largest(numbers: list[float]) -> str:
    """Write the largest |E_n| and of how many check pours it is.

    >>> _largest([0.044, 0.31])
    '0.31 (2 pours)'
    """
    pours = "1 pour" if len(numbers) == 1 else f"{len(numbers)} pours"
    return f"{max(numbers):.2f} ({pours})"


def _signature(state: JobState, issue: Issue, write: Writer) -> Signature:
    where = place_of(state, issue)
    if issue.is_draft:
        return Signature("", None, DRAFT + ".", where)
    signer = name(issue.signed_by or issue.issued_by, "signed_by")
    how = "typed and drawn" if issue.strokes else "typed"
    return Signature(
        signer,
        signature_picture(issue.strokes, signer),
        f"I stand for the results on this certificate. Signed on the workbench, the name {how}, "
        f"on entries 1 to {state.tip.number} of the journal of job {state.job}; the last one’s "
        f"SHA-256 is {in_groups(state.tip.hash)}.",
        f"{where}, {write.time(issue.issued_at)}",
    )


def _driver(state: JobState, issue: Issue, tanks: list[TankState], write: Writer) -> Driver:
    told: list[Line] = []
    sentences: list[str] = []
    for tank in tanks:
        made = tank.accepted_table
        assert made is not None
        table = table_of(made.event.rows)
        limits = limits_of(table, tank.fill, *described(tank))
        called = heading(tank).removesuffix(f" ({tank.tank_id})")
        worst = None if table.u_litres is None else float(table.u_litres.max())
        told += [
            Line(called, f"reads {write.volume(float(table.litres[0]), 0)} to "
                 f"{write.volume(float(table.litres[-1]), 0)}"),
            Line("How sure", f"{write.band(worst)} at most, standing level"),
            Line("Smallest change it shows", write.volume(limits.most_visible_l)),
        ]  # fmt: skip
        watched = last_watch(tank)
        if watched is not None:
            told.append(Line("Smallest drain it proves", parked_and_moving(watched.event, write)))
        if limits.pitch_l is not None and limits.roll_l is not None:
            told.append(
                Line(
                    "On a slope",
                    f"up to {write.volume(limits.pitch_l)} wrong for each degree uphill or "
                    f"downhill, {write.volume(limits.roll_l)} sideways",
                )
            )
        told.append(
            Line("With warmth", f"a full tank grows {write.per_degree(limits.per_kelvin_l)}")
        )
        holds = _HOLDS.get(tank.hand_over, _HOLDS["not_copied"])
        sentences.append(holds.format(litres=write.litres))
        sentences.append(
            f"{called}: the last {write.volume(float(table.litres[0]), 0)} lie below the probe; it "
            "shows nothing of them. Do not drive by them."
        )
    seals = [free(kept.event.seal_number) for kept in state.seals if kept.voided is None]
    if seals:
        sentences.append(
            f"Seals {', '.join(seals)} are part of the proof: tell the workshop before anyone "
            "opens one."
        )
    return Driver(
        heading=f"{free(state.fact('vehicle') or '')}: what the fuel gauge tells now",
        told=tuple(told),
        sentences=(
            "The tank was measured by pouring in fuel step by step, and the readings were made "
            f"into a table. The {write.litres} on the screen are right where the tracking system "
            "holds it.",
            *sentences,
            f"Read the {write.litres} with the vehicle level, standing still for a few minutes. "
            "While driving, the fuel moves and so does the reading.",
            "A difference smaller than the figures above is no proof of anything, neither of "
            "theft nor of a wrong receipt.",
        ),
        warnings=(
            "If the tank, the probe, its cable or the tracking unit is changed, dented or moved, "
            f"these {write.litres} no longer hold: have it checked.",
            "This page explains; the certificate with the same number states.",
        ),
    )
