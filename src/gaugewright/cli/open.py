"""``gaugewright open``: the workbench on a job book, in the browser."""

from typing import TYPE_CHECKING, Annotated

import typer

from gaugewright.app.loading import loading
from gaugewright.cli.output import show

if TYPE_CHECKING:
    from gaugewright.workbench.running import Workbench

EXAMPLE = "Example: gaugewright open yard.book --lan"
OWN_BOOK = "gaugewright.book"


def open_(
    book: Annotated[
        str,
        typer.Argument(
            metavar="[BOOK]", help="A job book, made if it is not there, or a database's URL."
        ),
    ] = OWN_BOOK,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones of the network in, with a code.")
    ] = False,
    port: Annotated[
        str | None, typer.Option(metavar="PORT", help="Listen on this port; 0 takes a free one.")
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only say the address.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Say the address as one line of JSON.")
    ] = False,
) -> None:
    """Open the workbench on a job book.

    Without --lan it answers on this computer only. It stops with Ctrl-C; everything that was
    recorded is in the book.
    """
    with loading():
        from gaugewright.app.yard import Yard
        from gaugewright.cli.numbers import naming_options
        from gaugewright.journal.book import open_book
        from gaugewright.table.delimited import whole_number
        from gaugewright.workbench.running import prepare, require_port

        with naming_options(port="--port"):
            wanted = None if port is None else whole_number(port, field="port")
            require_port(wanted)
            yard = Yard(open_book(book))
            try:
                bench = prepare(yard, port=wanted, lan=lan)
            except BaseException:
                yard.close()
                raise
    _run(bench, book, open_browser=not no_browser, as_json=as_json)


def open_demo(port: int | None = None, *, open_browser: bool = True) -> None:
    """Open the workbench on a fresh book of an invented yard, its rig running.

    The book is gone when the program ends.  Raises `InputError` if the port is taken.
    """
    import tempfile
    from pathlib import Path

    with loading():
        from gaugewright.app.demo import build_demo
        from gaugewright.journal.book import open_book
        from gaugewright.workbench.running import prepare

    with tempfile.TemporaryDirectory(prefix="gaugewright-demo-") as folder:
        yard = build_demo(open_book(Path(folder) / "demo.book"))
        try:
            bench = prepare(yard, port=port)
        except BaseException:
            yard.close()
            raise
        _run(bench, "a demo book that is gone afterwards", open_browser=open_browser)


def _run(bench: "Workbench", book: str, *, open_browser: bool, as_json: bool = False) -> None:
    import json
    import sys

    from gaugewright.journal.opening import shown
    from gaugewright.workbench.running import open_browser as show_in_browser

    book = shown(book)
    if as_json:
        pairing = None if bench.pairing is None else bench.pairing.url
        show(json.dumps({"book": book, "url": bench.url, "pairing_url": pairing}))
    else:
        show(f"{book} is open at {bench.url} (Ctrl-C ends)")
    if bench.pairing is not None and not as_json:
        import io

        import segno

        drawn = io.StringIO()
        segno.make(bench.pairing.url, error="m").terminal(drawn, compact=True)
        minutes = bench.pairing.expires_s / 60
        show(drawn.getvalue())
        show(f"Scan it with the phone: {bench.pairing.url}")
        show(f"The code is used once and lasts {minutes:.0f} minutes; the page gives a new one.")
    sys.stdout.flush()
    bench.run(when_ready=lambda: show_in_browser(bench.url) if open_browser else None)
