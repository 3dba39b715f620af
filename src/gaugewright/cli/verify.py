"""``gaugewright verify``: is this file what was written, and what does it say."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = "Example: gaugewright verify HB-0231.job.zip"


def verify(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A job file, a job book or a table.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Say in one line whether a job file or job book is unaltered, and if not, where first.

    Exit code 0 where nothing was altered, 2 where something was.
    """
    from gaugewright.app.verify import verify_file
    from gaugewright.errors import ChainError

    found = verify_file(file)
    output = Output(as_json=as_json)
    record = {"file": file, "what": found.what, "is_unaltered": found.is_unaltered}
    output.give({**record, "line": found.line})
    if found.is_unaltered is False:
        raise ChainError(found.line)
    output.tell(found.line)
