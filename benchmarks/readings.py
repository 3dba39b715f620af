"""A million readings through a reader thread: speed and memory; and judging steadiness.

The recording is replayed as fast as possible through everything that a live line has:
decoding, stamping, judging, the bounded queues of two listeners.
"""

import gc
import os
import resource
import tempfile
import time
import tty
from pathlib import Path

import numpy as np
import numpy.typing as npt

from gaugewright.instruments.events import Reading
from gaugewright.instruments.lines import LineReader
from gaugewright.instruments.pattern import compile_pattern
from gaugewright.instruments.reader import ReaderThread
from gaugewright.instruments.replay import ReplaySettings, ReplaySource
from gaugewright.instruments.rig import RIG_PATTERN
from gaugewright.instruments.serial_text import SerialTextSettings, SerialTextSource
from gaugewright.pours.steady import SteadyWatch, Verdict, steadiness

READINGS = 1_000_000
HZ = 10


def _recording(path: Path) -> None:
    rng = np.random.default_rng(1)
    counts = (2500 + rng.normal(scale=2, size=READINGS)).round().astype(int)
    with path.open("w", encoding="utf-8") as file:
        file.write("time,counts\n")
        file.writelines(f"{n / HZ:.1f},{c}\n" for n, c in enumerate(counts))


def _resident_mb() -> float:
    """Memory that the process holds now, on Linux; elsewhere the most it ever held."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return pages * resource.getpagesize() / 2**20


def _soak(path: Path) -> None:
    settings = ReplaySettings(path=str(path), speed=None, frozen_after_s=1e9)
    reader = ReaderThread(ReplaySource(settings), size=1024)
    keen, slow = reader.subscribe(is_lossless=True), reader.subscribe()
    memory: list[float] = []
    count = 0
    start_s = time.perf_counter()
    with reader:
        for _ in keen.events(10):
            count += 1
            if count % (READINGS // 10) == 0:
                gc.collect()
                memory.append(_resident_mb())
    seconds = time.perf_counter() - start_s
    print(f"readings delivered            {count:>10,}   missed by the keen listener {keen.missed}")
    print(f"readings per second           {count / seconds:>10,.0f}")
    print(
        f"kept for a listener that never takes {len(slow.ring.items()):,}, missed {slow.missed:,}"
    )
    print("memory after each tenth [MB]  " + " ".join(f"{mb:.1f}" for mb in memory))
    print(f"growth from the second tenth to the last [MB] {memory[-1] - memory[1]:+.2f}")


def _lines() -> None:
    lines = LineReader(compile_pattern(RIG_PATTERN))
    data = b"".join(b"counts=%d temp_c=18.4\n" % (2500 + n % 7) for n in range(100_000))
    start_s = time.perf_counter()
    found = sum(len(lines.feed(data[at : at + 64], 0.0)) for at in range(0, len(data), 64))
    each_us = (time.perf_counter() - start_s) / found * 1e6
    print(f"a line of text decoded in     {each_us:>10.1f} us")


def _steady() -> None:
    rng = np.random.default_rng(2)
    watch = SteadyWatch()
    for n in range(3000):
        watch.add(n / HZ, round(2500 + rng.normal(scale=2)))
    times = []
    for n in range(3000, 3200):
        watch.add(n / HZ, round(2500 + rng.normal(scale=2)))
        start_s = time.perf_counter()
        watch.judge()
        times.append(time.perf_counter() - start_s)
    median_ms, worst_ms = np.median(times) * 1e3, max(times) * 1e3
    print(f"steadiness judged in          {median_ms:>10.1f} ms   worst of 200 {worst_ms:.1f} ms")


def _latency() -> None:
    """From the instrument's write to the listener's hands, over a pseudo-terminal."""
    far, near = os.openpty()
    tty.setraw(near)
    settings = SerialTextSettings(port=os.ttyname(near), pattern=RIG_PATTERN)
    reader = ReaderThread(SerialTextSource(settings))
    events = reader.subscribe()
    times = []
    with reader:
        os.write(far, b"\n")
        for n in range(300):
            time.sleep(0.005)
            start_s = time.perf_counter()
            os.write(far, b"counts=%d temp_c=18.4\n" % n)
            while not isinstance(events.get(2), Reading):
                pass
            times.append(time.perf_counter() - start_s)
    os.close(far)
    os.close(near)
    median_ms, worst_ms = np.median(times) * 1e3, max(times) * 1e3
    print(f"from the line to a listener   {median_ms:>10.2f} ms   worst of 300 {worst_ms:.1f} ms")


def _rates() -> None:
    """How often the verdict is wrong; noise 0.3 to 6 counts a sample, whole counts."""
    rng = np.random.default_rng(3)
    t = np.arange(0, 40, 1 / HZ)

    def noise(averaging: int) -> npt.NDArray[np.float64]:
        raw = rng.normal(scale=rng.uniform(0.3, 6), size=len(t) + averaging - 1)
        return np.convolve(raw, np.ones(averaging) / averaging, "valid")

    def steady_share(signal: npt.NDArray[np.float64], averaging: int) -> float:
        runs = [steadiness(t, (signal + noise(averaging)).round()) for _ in range(300)]
        return sum(r.verdict is Verdict.STEADY for r in runs) / len(runs)

    for averaging in (1, 8, 64):
        kept = steady_share(np.full_like(t, 2500.0), averaging)
        print(f"steady and not called so, {averaging:>2} averaged   {1 - kept:>6.3f}")
    for tau_s in (2, 4, 8, 20):
        for left in (3, 5, 10, 20):
            wrong = [
                steady_share(2500 - left * np.exp((t[-1] - t) / tau_s), averaging)
                for averaging in (1, 8)
            ]
            what = f"{left:>2} counts to go at {tau_s:>2} s called steady"
            print(f"{what}   {wrong[0]:.3f} alone, {wrong[1]:.3f} with 8 averaged")


def main() -> None:
    """Run them all."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "million.csv"
        _recording(path)
        _soak(path)
    _lines()
    _latency()
    _steady()
    _rates()


if __name__ == "__main__":
    main()
