"""What ``gaugewright watch`` shows: how far it is, what it found; and what it asks."""

import sys
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from gaugewright.app.files import make_folder, write_files
from gaugewright.app.log_columns import HELPFUL, Columns, ColumnsMissingError
from gaugewright.app.watch_report import WatchReport
from gaugewright.app.watch_run import WatchedLog
from gaugewright.watch.receipts import Verdict
from gaugewright.watch.values import EventKind

MOST_SHOWN = 20
"""Lines of a kind that are shown; the files hold all."""
_DOING = {"reading": "Reading the log", "looking": "Looking at the vehicles"}
_ALWAYS = ("supplier", "clock_wrong", "clock_twice")
"""Kinds of remarks that are shown although they need no person."""
_VERDICTS = {
    Verdict.AGREES: "agree",
    Verdict.SHORT: "short (less in the tank than paid for)",
    Verdict.OVER: "over",
    Verdict.NOT_SEEN: "not seen in the tank",
    Verdict.NO_DATA: "without data",
}


class ProgressBar(AbstractContextManager["ProgressBar"]):
    """A bar on standard error, where a person looks on; otherwise nothing."""

    def __init__(self, *, is_shown: bool) -> None:
        self._bar: Any = None
        self._tasks: dict[str, Any] = {}
        self._is_shown = is_shown and sys.stderr.isatty()

    def __enter__(self) -> Self:
        """Begin."""
        if self._is_shown:
            from rich.console import Console
            from rich.progress import Progress

            self._bar = Progress(console=Console(stderr=True), transient=True)
            self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the bar away."""
        self.pause()

    def pause(self) -> None:
        """Take the bar away until it is shown again."""
        if self._bar is not None:
            self._bar.stop()

    def show(self, doing: str, done: float, of: float) -> None:
        """Say how much of what is being done is done."""
        if self._bar is None:
            return
        if doing not in self._tasks:
            self._tasks[doing] = self._bar.add_task(_DOING[doing], total=of or None)
        self._bar.update(self._tasks[doing], completed=done, total=of or None)


def is_person_there() -> bool:
    """Return whether a question would be seen and could be answered."""
    return sys.stdin.isatty() and sys.stderr.isatty()


class Asking:
    """Asks which column is which, once, where a person is there to answer."""

    def __init__(self, log: str, *, is_allowed: bool) -> None:
        self._can_ask = is_allowed and log != "-" and is_person_there()

    def until_known(self, told: Columns, run: Callable[[Columns], WatchedLog]) -> WatchedLog:
        """Run with what was told; where columns are missing, ask for them and run again."""
        try:
            return run(told)
        except ColumnsMissingError as error:
            if not self._can_ask:
                raise
            return run(told | _asked(error))


def _asked(error: ColumnsMissingError) -> Columns:
    import typer

    typer.echo(f"The columns of {error.file} are:", err=True)
    for number, name in enumerate(error.header, start=1):
        typer.echo(f"  {number:3d}  {name}", err=True)
    names = {ours: _column(error.header, ours) for ours in error.missing}
    for ours in HELPFUL:
        if ours not in error.found:
            names[ours] = _column(error.header, ours, may_skip=True)
    return Columns({ours: theirs for ours, theirs in names.items() if theirs})


def _column(header: Sequence[str], ours: str, *, may_skip: bool = False) -> str:
    """Ask until a number of a column is typed; nothing where the log has no such column."""
    import typer

    def chosen(typed: str) -> str:
        if may_skip and not typed.strip():
            return ""
        if not typed.strip().isdecimal() or not 1 <= int(typed) <= len(header):
            raise typer.BadParameter(f"there is no column {typed}, wanted 1 to {len(header)}")
        return header[int(typed) - 1]

    told = "number, or Enter if there is none" if may_skip else "number"
    default = "" if may_skip else None
    found: str = typer.prompt(
        f"Which one is the {ours}? ({told})", default=default, show_default=False,
        value_proc=chosen, err=True,
    )  # fmt: skip
    return found


def write_report(report: WatchReport, out: Path, forms: Sequence[str]) -> None:
    """Write the files of the report into its folder, all or none."""
    make_folder(out)
    write_files({str(out / name): content for name, content in report.files(forms).items()})


def report_text(report: WatchReport, out: str) -> str:
    """Return what a person reads when the watch is done."""
    from gaugewright.app.watch_files import shown

    log, events = report.log, report.events
    refuels = [event for event in events if event.kind == EventKind.REFUEL]
    drains = [event for event in events if event.kind == EventKind.DRAIN]
    tableless = [one.vehicle for one in log.remarks if one.kind == "no_table"]
    lines = [
        f"{log.records} records of {_some_of(len(log.vehicles) + len(tableless), 'vehicle')}"
        + (f", {log.again} finished before" if log.again else ""),
        *(said[0].upper() + said[1:] for said in log.memory.used),
        *_without_table(tableless),
        f"{_some_of(len(refuels), 'refuel')}, {sum(one.litres for one in refuels):.0f} L; "
        f"{_some_of(len(drains), 'drain')}, {sum(one.litres for one in drains):.0f} L",
    ]
    lines += _some([
        f"- {event.vehicle}: {event.litres:.1f} ± {event.u_litres:.1f} L out, "
        f"{shown(event.start_s, log.memory.zone)}: {event.reason}"
        for event in sorted(drains, key=lambda one: -one.score)
    ])  # fmt: skip
    if report.reconciliation is not None:
        rows = report.reconciliation.receipts
        counted = {verdict: sum(row.verdict == verdict for row in rows) for verdict in Verdict}
        said = [f"{n} {_VERDICTS[verdict]}" for verdict, n in counted.items() if n]
        lines.append(f"{_some_of(len(rows), 'receipt')}: {', '.join(said) or 'none'}")
        lines += _some([
            f"- receipt {row.receipt}, {row.vehicle}: {row.verdict}; {row.reason}"
            for row in rows if row.verdict != Verdict.AGREES
        ])  # fmt: skip
    lines += _some([
        f"- {remark.vehicle + ': ' if remark.vehicle else ''}{remark.message}"
        for remark in report.remarks
        if (remark.needs_person or remark.kind in _ALWAYS) and remark.kind != "no_table"
    ])  # fmt: skip
    lines.append(f"Written to {out}.")
    return "\n".join(lines)


def _without_table(vehicles: list[str]) -> list[str]:
    """Say which vehicles were passed over; their records are counted above."""
    if not vehicles:
        return []
    names = ", ".join(vehicles[:MOST_SHOWN])
    more = len(vehicles) - MOST_SHOWN
    return [
        f"{_some_of(len(vehicles), 'vehicle')} without a table, not looked at: {names}"
        + (f" and {more} more" if more > 0 else "")
    ]


def _some_of(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _some(lines: list[str]) -> list[str]:
    more = len(lines) - MOST_SHOWN
    return lines[:MOST_SHOWN] + ([f"  and {more} more in the files"] if more > 0 else [])
