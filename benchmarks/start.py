"""From the command to the first page: how long a person waits, and how much work that is.

Run ``python -m benchmarks start``.  The whole program is started anew each time, the page is
asked for as a browser would, until it comes.  The processor's share says what is waited for
whatever else the machine does; the waiting itself grows with what it does.  It is started as
it is once installed, which is with its modules compiled, and also as from a folder where
nothing may be written and all of them are compiled anew at each start.

The first page does not wait for the pages behind it, so two more figures are told: when its
style sheets and scripts have come too, and when a second page comes that is asked for right
after, which is the most that an impatient person waits for the rest of the program.
"""

import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import NamedTuple

STARTS = 9
PORT = 8391
OF_COMPILING = ("PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX")


class Start(NamedTuple):
    """Seconds from the command on. [s]"""

    page: float
    """Until the first page."""
    used: float
    """Of the processor until then."""
    drawn: float
    """Until its style sheets and scripts had come too."""
    second: float
    """Until the page after it, asked for at once."""


def started(book: Path, *, compiled: Path | None) -> Start:
    """Start the program and look at its first pages.

    ``compiled`` is a folder that holds the compiled modules after the first start.
    """
    environment = {name: value for name, value in os.environ.items() if name not in OF_COMPILING}
    if compiled is None:
        environment["PYTHONDONTWRITEBYTECODE"] = "1"
    else:
        environment["PYTHONPYCACHEPREFIX"] = str(compiled)
    command = [sys.executable, "-m", "gaugewright", "open", str(book), "--port", str(PORT)]
    began = time.perf_counter()
    process = subprocess.Popen(
        [*command, "--no-browser"], stdout=subprocess.DEVNULL, env=environment
    )
    try:
        while True:
            try:
                page = got("/")
                break
            except (urllib.error.URLError, ConnectionError):
                if process.poll() is not None:
                    raise RuntimeError("the program ended before its first page") from None
                time.sleep(0.005)
        page_s = time.perf_counter() - began
        used_s = processor_s(process.pid)
        for file in re.findall('(?:href|src)="(/static/[^"]*)"', page):
            got(file)
        drawn_s = time.perf_counter() - began
        got("/jobs/new")
        return Start(page_s, used_s, drawn_s, time.perf_counter() - began)
    finally:
        process.terminate()
        process.wait(20)


def got(address: str) -> str:
    """Return what the program gives at an address."""
    with urllib.request.urlopen(f"http://127.0.0.1:{PORT}{address}", timeout=60) as answer:
        return str(answer.read().decode())


def processor_s(process: int) -> float:
    """Return what a process has had of the processor. [s]"""
    with open(f"/proc/{process}/stat", encoding="ascii") as file:
        fields = file.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Start it over and over, and print the median."""
    with tempfile.TemporaryDirectory() as folder:
        for name, compiled in (("installed", Path(folder) / "compiled"), ("not compiled", None)):
            runs = [
                started(Path(folder) / "yard.book", compiled=compiled) for _ in range(STARTS + 1)
            ][1:]
            page, used, drawn, second = (sorted(times) for times in zip(*runs, strict=True))
            print(
                f"{name}: first page after {statistics.median(page):.2f} s "
                f"(best {page[0]:.2f} s, worst {page[-1]:.2f} s), "
                f"processor {statistics.median(used):.2f} s (least {used[0]:.2f} s); "
                f"drawn after {statistics.median(drawn):.2f} s (best {drawn[0]:.2f} s), "
                f"the next page, asked for at once, after {statistics.median(second):.2f} s "
                f"(best {second[0]:.2f} s); load {os.getloadavg()[0]:.1f}, {STARTS} starts"
            )


if __name__ == "__main__":
    main()
