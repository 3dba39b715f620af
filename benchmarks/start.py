"""From the command to the first page: how long a person waits, and how much work that is.

Run ``python -m benchmarks start``.  The whole program is started anew each time, the page is
asked for as a browser would, until it comes.  The processor's share says what is waited for
whatever else the machine does; the waiting itself grows with what it does.
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


def started(book: Path) -> tuple[float, float]:
    """Return seconds until the first page, and of them those of the processor. [s]"""
    command = [sys.executable, "-m", "gaugewright", "open", str(book), "--port", str(PORT)]
    began = time.perf_counter()
    process = subprocess.Popen([*command, "--no-browser"], stdout=subprocess.DEVNULL)
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
        runs = [started(Path(folder) / "yard.book") for _ in range(STARTS + 1)][1:]
    waited, used = zip(*runs, strict=True)
    print(
        f"first page after {statistics.median(waited):.2f} s (worst {max(waited):.2f} s), "
        f"processor {statistics.median(used):.2f} s, load {os.getloadavg()[0]:.1f}, "
        f"{STARTS} starts"
    )


if __name__ == "__main__":
    main()
