"""Fit with band, one-step check and the whole command, beside what a user would pick.

    python -m benchmarks.fit [FILLS]

20 pours a fill, one thread.  The peers give a table with a band from the same pours, and
know nothing of the tank: 500 bootstrap refits of a monotone cubic through an isotonic
regression, and a Gaussian process with its scale, length and noise fitted.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy is loaded

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel
from sklearn.isotonic import IsotonicRegression

from gaugewright.pours.check import check_fill
from gaugewright.probe import Probe
from gaugewright.table.curves import curves_of
from gaugewright.table.fill import Fill
from gaugewright.table.fit import fit
from gaugewright.tank.description import Tank
from gaugewright.testing.fills import FAMILIES, simulated_fill

Floats = npt.NDArray[np.float64]

EXAMPLES = Path(__file__).parents[1] / "examples"
AT = 64
"""Points of the table."""


def points_of(fill: Fill) -> tuple[Floats, Floats, Floats]:
    """Return counts, litres and the counts of a table. [counts, L, counts]"""
    counts = np.array([p.counts for p in fill.pours])
    litres = np.cumsum([p.added_l for p in fill.pours])
    return counts, litres, np.linspace(counts.min(), counts.max(), AT)


def bootstrap_band(fill: Fill, refits: int = 500) -> tuple[Floats, Floats]:
    """Refit a monotone cubic to pours drawn with replacement; the 2.5 and 97.5 % quantiles. [L]"""
    counts, litres, at = points_of(fill)
    rng = np.random.default_rng(1)
    curves = []
    for _ in range(refits):
        drawn = np.sort(rng.integers(0, len(counts), len(counts)))
        drawn[[0, -1]] = 0, len(counts) - 1
        x, first = np.unique(counts[drawn], return_index=True)
        y = IsotonicRegression().fit_transform(x, litres[drawn][first])
        curves.append(PchipInterpolator(x, y)(at))
    low, high = np.quantile(curves, [0.025, 0.975], axis=0)
    return low, high


def process_band(fill: Fill) -> tuple[Floats, Floats]:
    """Fit a Gaussian process to the pours; mean -/+ 1.96 standard deviations. [L]"""
    counts, litres, at = points_of(fill)
    span, total = float(np.ptp(counts)), float(litres[-1])
    kernel = ConstantKernel(1.0, (1e-2, 1e4)) * RBF(0.5, (0.05, 20.0)) + WhiteKernel(
        1e-5, (1e-9, 1e-1)
    )
    process = GaussianProcessRegressor(kernel)
    process.fit((counts / span)[:, None], litres / total)
    mean, sd = process.predict((at / span)[:, None], return_std=True)
    return (mean - 1.96 * sd) * total, (mean + 1.96 * sd) * total


def median_ms(run: Callable[[], object], times: int) -> float:
    """Return the median time of a call. [ms]"""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        spans.append(1e3 * (time.perf_counter() - start))
    return float(np.median(spans))


def process_s(times: int = 7) -> float:
    """Return the median time of the whole command, interpreter and imports included. [s]"""
    command = [sys.executable, "-m", "gaugewright", "calibrate", "loader-left-pours.csv"]
    command += ["--tank", "loader-left.toml"]

    def run() -> None:
        subprocess.run(command, cwd=EXAMPLES, stdout=subprocess.DEVNULL, check=True)

    return median_ms(run, times) / 1e3


def main() -> None:
    """Print the times and the ratios."""
    fills = int(sys.argv[1]) if len(sys.argv) > 1 and sys.argv[1].isdigit() else 8
    rows: dict[str, list[float]] = {}
    for i in range(fills):
        made = simulated_fill(np.random.default_rng(50 + i), FAMILIES[i % len(FAMILIES)], pours=20)
        fill, tank, probe = made.fill, made.tank, made.probe

        def first_fit(fill: Fill = fill, tank: Tank = tank, probe: Probe = probe) -> None:
            curves_of.cache_clear()
            fit(fill, tank, probe)

        for name, run, times in (
            ("fit with band, tank seen first", first_fit, 3),
            ("fit with band", lambda f=fill, t=tank, p=probe: fit(f, t, p), 9),
            ("fit with band, no tank file", lambda f=fill: fit(f), 5),
            (
                "one-step check, fit included",
                lambda f=fill, t=tank, p=probe: check_fill(f, t, p),
                9,
            ),
            ("one-step check, no tank file", lambda f=fill: check_fill(f), 5),
            ("peer: 500 refits of isotonic + cubic", lambda f=fill: bootstrap_band(f), 1),
            ("peer: Gaussian process", lambda f=fill: process_band(f), 1),
        ):
            rows.setdefault(name, []).append(median_ms(run, times))
    ours = float(np.median(rows["fit with band"]))
    goals = {"fit with band": 150, "one-step check, fit included": 20}
    print(f"{fills} fills of 20 pours; median and slowest, ms; ratio to the fit with band")
    for name, spans in rows.items():
        middle = float(np.median(spans))
        goal = f"goal {goals[name]}" if name in goals else ""
        print(f"{name:38}{middle:9.1f}{max(spans):9.1f} {middle / ours:8.1f} x  {goal}")
    print(
        f"{'gaugewright calibrate, whole process':38}{process_s():9.2f} s                goal 1.0 s"
    )


if __name__ == "__main__":
    main()
