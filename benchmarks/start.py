"""From the command to the first page: how long a person waits, and how much work that is.

Run ``python -m benchmarks start``.  The whole program is started anew each time, the page is
asked for as a browser would, until it comes.  The processor's share says what is waited for
whatever else the machine does; the waiting itself grows with what it does.  It is started as
it is once installed, which is with its modules compiled, and also as from a folder where
nothing may be written and all of them are compiled anew at each start.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

STARTS = 9
PORT = 8391
OF_COMPILING = ("PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX")


def started(book: Path, *, compiled: Path | None) -> tuple[float, float]:
    """Return seconds until the first page, and of them those of the processor. [s]

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
                with urllib.request.urlopen(f"http://127.0.0.1:{PORT}/", timeout=5) as page:
                    page.read()
                break
            except (urllib.error.URLError, ConnectionError):
                if process.poll() is not None:
                    raise RuntimeError("the program ended before its first page") from None
                time.sleep(0.005)
        waited_s = time.perf_counter() - began
        with open(f"/proc/{process.pid}/stat", encoding="ascii") as file:
            fields = file.read().rsplit(")", 1)[1].split()
        used_s = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
        return waited_s, used_s
    finally:
        process.terminate()
        process.wait(20)


def main() -> None:
    """Start it over and over, and print the median."""
    with tempfile.TemporaryDirectory() as folder:
        for name, compiled in (("installed", Path(folder) / "compiled"), ("not compiled", None)):
            runs = [
                started(Path(folder) / "yard.book", compiled=compiled) for _ in range(STARTS + 1)
            ][1:]
            waited, used = zip(*runs, strict=True)
            print(
                f"{name}: first page after {statistics.median(waited):.2f} s "
                f"(best {min(waited):.2f} s, worst {max(waited):.2f} s), "
                f"processor {statistics.median(used):.2f} s (least {min(used):.2f} s), "
                f"load {os.getloadavg()[0]:.1f}, {STARTS} starts"
            )


if __name__ == "__main__":
    main()
