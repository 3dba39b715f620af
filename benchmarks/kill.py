"""Kill the writer of a job book 200 times: python -m benchmarks.kill [TIMES [SEED]]."""

import sys
import tempfile
import time
from pathlib import Path

from gaugewright.testing.kill_journal import kill_many


def main(times: int = 200, seed: int = 1) -> None:
    """Kill, look, and say how many acknowledged entries were looked for and found."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        victims = kill_many(Path(folder) / "killed.book", times, seed)
        taken_s = time.perf_counter() - began
    print(
        f"{times} kills at random moments in {taken_s:.0f} s: "
        f"{len(victims.acknowledged)} entries were acknowledged, all of them are there"
    )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
