"""``gaugewright certificate``: a job's certificate as a PDF, issued or as a draft."""

from typing import TYPE_CHECKING, Annotated

import typer

from gaugewright.cli.output import Output, require_other_file

if TYPE_CHECKING:
    from gaugewright.app.certify import Document

EXAMPLE = "Example: gaugewright certificate yard.book HB-0231 --out C-HB-0231.pdf --paper letter"


def certificate(
    book: Annotated[str, typer.Argument(metavar="BOOK", help="Job book (a file or a URL).")],
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job's number.")],
    out: Annotated[
        str | None,
        typer.Option(metavar="F", help="The file to write; named after the certificate."),
    ] = None,
    paper: Annotated[
        str | None, typer.Option(metavar="a4|letter", help="As issued; A4 for a new one.")
    ] = None,
    units: Annotated[
        str | None,
        typer.Option(metavar="metric|us|imperial", help="As issued; the book's for a new one."),
    ] = None,
    language: Annotated[
        str | None,
        typer.Option(metavar="CODE", help="The book's for a new one; as issued otherwise."),
    ] = None,
    summary: Annotated[
        bool, typer.Option("--summary", help="The one page for the driver instead.")
    ] = False,
    number: Annotated[
        str | None, typer.Option(metavar="N", help="An earlier certificate instead of the last.")
    ] = None,
    issue: Annotated[
        bool, typer.Option("--issue", help="Issue a new one over the journal as it stands.")
    ] = False,
    person: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who signs; needed to issue.")
    ] = None,
    place: Annotated[
        str, typer.Option(metavar="TEXT", help="Where the work was done, to issue.")
    ] = "",
    reason: Annotated[
        str, typer.Option(metavar="TEXT", help="Why an earlier one is made anew, to issue.")
    ] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Write the certificate of a job, or the driver's page, as a PDF that proves itself.

    Without --issue nothing is recorded: the last issued certificate is written, or, where
    none was issued, a draft that says so on every page.
    """
    from datetime import UTC, datetime

    from gaugewright.app.certify import certificate_of
    from gaugewright.app.files import write_bytes
    from gaugewright.errors import InputError
    from gaugewright.journal.book import open_book

    for option, value in (("--place", place), ("--reason", reason)):
        if value and not issue:
            raise InputError("is only for a certificate that is issued: --issue", field=option)
    require_other_file(out, "--out", {"BOOK": book})
    if issue:
        number = _issued(book, job, number, person, place, paper, units, language, reason)
    with open_book(book, create=False, read_only=True) as opened:
        found = certificate_of(
            opened,
            job,
            at=datetime.now(UTC),
            person=person or "",
            number=number,
            paper=None if issue else paper,
            units=None if issue else units,
            language=None if issue else language,
            form="summary" if summary else "certificate",
        )
    target = out or found.file_name
    write_bytes(target, found.content)
    output = Output(as_json=as_json, out=target)
    output.give(
        {
            "file": target,
            "job": found.job,
            "certificate": found.number,
            "form": found.form,
            "is_draft": found.is_draft,
            "is_as_issued": found.is_as_issued,
            "later_entries": found.later_entries,
            "bytes": len(found.content),
            "sha256": found.sha256,
        }
    )
    output.tell(_told(found, target))


def _issued(
    book: str,
    job: str,
    number: str | None,
    person: str | None,
    place: str,
    paper: str | None,
    units: str | None,
    language: str | None,
    reason: str,
) -> str:
    """Issue a certificate in the book and return its number."""
    import socket

    from gaugewright.app.certify import issue_certificate, next_number
    from gaugewright.app.yard import Stamp, Yard
    from gaugewright.errors import InputError
    from gaugewright.journal.book import open_book

    if not (person or "").strip():
        raise InputError("is missing: a certificate is signed by somebody", field="--person")
    yard = Yard(open_book(book, create=False))
    try:
        state = yard.state(job)
        chosen = number or next_number(state)
        stamp = Stamp(str(person), socket.gethostname() or "command line", state.tip.number)
        issue_certificate(
            yard,
            job,
            stamp,
            chosen,
            place=place,
            paper=paper,
            units=units,
            language=language,
            reason=reason,
        )
    finally:
        yard.close()
    return chosen


def _told(found: "Document", target: str) -> str:
    if found.is_draft:
        return f"{target}: a draft of {found.number}; nothing was issued yet (--issue does)"
    said = f"{target}: {found.form} {found.number}"
    if found.form == "certificate":
        said += ", as issued" if found.is_as_issued else ", printed anew: not the bytes issued"
    later = found.later_entries
    if later:
        noun = "entry" if later == 1 else "entries"
        said += f"; the journal has gone on since by {later} {noun}"
    return said
