"""``gaugewright verify``: is this file what was written, and what does it say."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = "Example: gaugewright verify C-HB-0231.pdf --against yard.book"


def verify(
    file: Annotated[
        str,
        typer.Argument(
            metavar="FILE",
            help="A job file, a job book (a file or a URL), a certificate (PDF) or a table.",
        ),
    ],
    against: Annotated[
        str | None,
        typer.Option(
            metavar="F",
            help="A job book (a file or a URL), job file or certificate to hold a certificate or a "
            "table against.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Say in one line whether a file is unaltered, and if not, where first.

    A certificate needs nothing beside it: the journal and the tables are attached to it, and
    table and pages are made again.  Exit code 0 where nothing was altered, 2 where something was.
    """
    from gaugewright.app.verify import shown_name, verify_file
    from gaugewright.errors import ChainError

    found = verify_file(file, against)
    output = Output(as_json=as_json)
    record = {"file": shown_name(file), "what": found.what, "is_unaltered": found.is_unaltered}
    output.give({**record, "line": found.line, **found.details})
    if found.is_unaltered is False:
        raise ChainError(found.line)
    output.tell(found.line)
