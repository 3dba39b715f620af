"""From a job's folded state to what its certificate states.  Pure: no file, clock or book."""

from gaugewright.certificate.driver import driver_of
from gaugewright.certificate.handover import IN_A_WORD
from gaugewright.certificate.history import en_of, job_parts
from gaugewright.certificate.identity import PLAINLY, TITLE, head_lines, place_of
from gaugewright.certificate.issue import FORM_NAMES, UNIT_NAMES, Issue
from gaugewright.certificate.pictures import code_picture, code_text, signature_picture
from gaugewright.certificate.shows import limits_of
from gaugewright.certificate.statement import Grid, Photo, Signature, Statement
from gaugewright.certificate.tank_part import described, heading, table_of, tank_statement
from gaugewright.certificate.writing import Writer, free, in_a_row, in_groups, name
from gaugewright.errors import StateError
from gaugewright.journal.state import JobState, TankState
from gaugewright.words import ENGLISH, Speech, said

MOST_PHOTOS = 6
"""Photos that are shown small; all are listed with their hashes."""
DRAFT = said("Draft: not issued, not signed, without validity")


def statement_of(state: JobState, issue: Issue, speech: Speech = ENGLISH) -> Statement:
    """Return what the certificate of a job states, the journal ending at ``state.tip``.

    Its sentences are still to be said; only drawings are in the language of ``speech``.

    Raises `StateError` if no table is accepted and `InputError`, naming the field, for a
    name that the fonts cannot write.
    """
    write = Writer(issue.units, speech)
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
        driver=driver_of(state, tanks, write),
        foot=said(
            "{number} · job {job} · entries 1 to {last} · {hash}",
            number=number,
            job=name(state.job, "job"),
            last=state.tip.number,
            hash=state.tip.hash[:16],
        ),
        end=said("End of certificate {number}", number=number),
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
        said(
            "This is another printing of the same {form}, which was issued on {paper} paper in "
            "{units} units; the results are the same.",
            form=FORM_NAMES[form],
            paper=paper.upper(),
            units=UNIT_NAMES[units],
        ),
    )


def _glance(tanks: list[TankState], write: Writer) -> Grid:
    rows = []
    for tank in tanks:
        made = tank.accepted_table
        assert made is not None
        table = table_of(made.event.rows)
        worst = None if table.u_litres is None else float(table.u_litres.max())
        limits = limits_of(table, tank.fill, *described(tank))
        checks = [kept.event for kept in tank.checks_of(made.event.digest)]
        numbers = [en_of(event) for event in checks]
        known = [abs(number) for number in numbers if number is not None]
        rows.append(
            (
                heading(tank),
                said(
                    "{first:g} to {last:g}",
                    first=float(table.counts[0]),
                    last=float(table.counts[-1]),
                ),
                said(
                    "{first} to {last}",
                    first=write.volume_figure(float(table.litres[0])),
                    last=write.volume(float(table.litres[-1])),
                ),
                write.band(worst),
                write.volume(limits.most_visible_l, 2),
                _largest(known) if known else said("no check pour"),
                IN_A_WORD.get(tank.hand_over, tank.hand_over),
            )
        )
    columns = (
        said("Tank"),
        said("Counts"),
        said("Fuel"),
        said("Widest band (95 %)"),
        said("Smallest visible change"),
        said("Largest |En|"),
        said("Copied back"),
    )
    return Grid(columns, tuple(rows))


def _largest(numbers: list[float]) -> str:
    """Write the largest |E_n| and of how many check pours it is.

    >>> _largest([0.044, 0.31])
    '0.31 (2 pours)'
    """
    largest = float(max(numbers))
    if len(numbers) == 1:
        return said("{largest:.2f} (1 pour)", largest=largest)
    return said("{largest:.2f} ({pours} pours)", largest=largest, pours=len(numbers))


def _signature(state: JobState, issue: Issue, write: Writer) -> Signature:
    where = place_of(state, issue)
    if issue.is_draft:
        return Signature("", None, said("{draft}.", draft=DRAFT), where)
    signer = name(issue.signed_by or issue.issued_by, "signed_by")
    return Signature(
        signer,
        signature_picture(issue.strokes, signer, write),
        said(
            "I stand for the results on this certificate. Signed on the workbench, the name {how}, "
            "on entries 1 to {last} of the journal of job {job}; the last one’s SHA-256 is {hash}.",
            how=said("typed and drawn") if issue.strokes else said("typed"),
            last=state.tip.number,
            job=state.job,
            hash=in_groups(state.tip.hash),
        ),
        in_a_row((where, write.time(issue.issued_at))),
    )
