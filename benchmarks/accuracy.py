"""How far the table is from the truth, and whether its band holds, on simulated fills.

    python -m benchmarks.accuracy [FILLS] [SEED]

Rows are the goals of the fit; beside each stands what straight lines give on the same
fills.  Errors are the largest anywhere on the scale from the tip to the last reading,
in % of capacity: median / 95 of 100.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from gaugewright.table.fit import fit
from gaugewright.testing.fills import FAMILIES, SimulatedFill, longer, simulated_fill, wrong_shape

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table of goals."""

    name: str
    goal: str
    pours: int = 10
    checks: bool = False
    described: str = "right"
    draining: bool = False
    residue_known: bool = False
    """To 0.3 L, in place of a dip."""


ROWS = (
    Row("10 equal pours, tank file", "0.38 / 0.88"),
    Row("5 pours, tank file", "0.42 / 0.92", pours=5),
    Row("20 pours, tank file", "-", pours=20),
    Row("10 pours, slope, meter check and dip", "0.16 / 0.38", checks=True),
    Row("the same, residue known to 0.3 L", "-", checks=True, residue_known=True),
    Row("10 pours, tank file of the wrong shape", "0.55 / 1.30", described="wrong"),
    Row("10 pours, tank file with a probe 15 % too long", "-", described="long_probe"),
    Row("10 pours, tank file of a tank 12 % too long", "-", described="long_tank"),
    Row("10 pours, no tank file (above the tip)", "0.60 / 1.25", described="none"),
    Row("20 pours, no tank file (above the tip)", "-", described="none", pours=20),
    Row("10 pours draining, tank file", "-", draining=True),
)


@dataclass(frozen=True, eq=False)
class Score:
    """One fill: errors in % of capacity, and where the band held."""

    worst: float
    lines: float
    lines_dead_stock: float
    cubic: float
    held: Floats
    half_width: Floats
    family: str


def _straight(made: SimulatedFill, at: Floats, *, dead_stock: bool) -> tuple[Floats, Floats]:
    """What a spreadsheet gives: straight lines or a monotone cubic through the readings."""
    pours = made.fill.pours
    counts = np.array([p.counts for p in pours])
    litres = np.cumsum([p.added_l for p in pours])
    if made.fill.is_draining:
        litres = litres[-1] - litres
    order = np.argsort(counts, kind="stable")
    counts, litres = counts[order], litres[order]
    keep = np.concatenate([np.diff(counts) > 0, [True]])
    counts, litres = counts[keep], litres[keep]
    if dead_stock:
        litres[0] = max(litres[0], made.truth.tip_l)
    return np.interp(at, counts, litres), PchipInterpolator(counts, litres)(at)


def score(row: Row, family: str, seed: int) -> Score:
    """Make one fill, fit it, hold it against the truth."""
    rng = np.random.default_rng(seed)
    made = simulated_fill(rng, family, pours=row.pours, checks=row.checks, draining=row.draining)
    tank, probe = made.tank, made.probe
    if row.residue_known:
        left = max(0.0, round(made.truth.residue_l + float(rng.normal(0, 0.3)), 1))
        seen = replace(made.fill, dip_empty_mm=None, residual_l=left, u_residual_l=0.3)
        made = replace(made, fill=seen)
    if row.described == "wrong":
        tank = wrong_shape(rng, tank)
    elif row.described == "long_probe":
        probe = replace(probe, active_length_mm=1.15 * probe.active_length_mm)
    elif row.described == "long_tank":
        tank = longer(tank, 1.12)
    is_described = row.described != "none"
    result = fit(made.fill, tank, probe) if is_described else fit(made.fill)
    top = max(p.counts for p in made.fill.pours)
    start = result.counts[0] if row.described == "none" else probe.counts_empty
    at = np.linspace(start, min(top, result.counts[-1]), 200)
    truth = made.truth.litres_at_counts(at)
    found = np.interp(at, result.counts, result.litres)
    band = np.interp(at, result.counts, result.u95_litres)
    capacity = made.truth.capacity_l
    lines, cubic = _straight(made, at, dead_stock=False)
    dead, _ = _straight(made, at, dead_stock=True)

    def worst(values: Floats) -> float:
        return float(np.max(np.abs(values - truth)) / capacity * 100)

    return Score(
        worst(found),
        worst(lines),
        worst(dead),
        worst(cubic),
        np.abs(found - truth) <= band,
        band / capacity * 100,
        family,
    )


def _score(job: tuple[Row, str, int]) -> Score:
    return score(*job)


def run(rows: tuple[Row, ...], fills: int, seed: int) -> dict[str, list[Score]]:
    """Score every row on the same number of fills, families in turn."""
    found = {}
    with ProcessPoolExecutor() as pool:
        for row in rows:
            jobs = [(row, FAMILIES[i % len(FAMILIES)], seed + i) for i in range(fills)]
            found[row.name] = list(pool.map(_score, jobs, chunksize=8))
    return found


def _pair(values: list[float]) -> str:
    return f"{np.median(values):.2f} / {np.percentile(values, 95):.2f}"


def main() -> None:
    """Print the table."""
    fills = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    rows = ROWS if len(sys.argv) < 4 else tuple(ROWS[int(i)] for i in sys.argv[3].split(","))
    print(f"{fills} fills a row, seed {seed}; largest error in % of capacity, median / 95 of 100")
    print(
        f"{'':42}{'goal':>13}{'ours':>13}{'lines':>13}{'+dead stock':>13}{'cubic':>13}"
        f"{'holds':>7}  by fifth               half-width"
    )
    for name, scores in run(rows, fills, seed).items():
        goal = next(r.goal for r in rows if r.name == name)
        held = np.array([s.held for s in scores])
        fifths = " ".join(f"{held[:, i * 40 : i * 40 + 40].mean() * 100:4.1f}" for i in range(5))
        width = np.mean([s.half_width.mean() for s in scores])
        print(
            f"{name:42}{goal:>13}{_pair([s.worst for s in scores]):>13}"
            f"{_pair([s.lines for s in scores]):>13}"
            f"{_pair([s.lines_dead_stock for s in scores]):>13}"
            f"{_pair([s.cubic for s in scores]):>13}"
            f"{held.mean() * 100:7.1f}  {fifths}  {width:.2f} %"
        )
        if "-v" in sys.argv:
            for family in FAMILIES:
                own = [s for s in scores if s.family == family]
                print(
                    f"    {family:18} {_pair([s.worst for s in own])}  holds "
                    f"{np.mean([s.held.mean() for s in own]) * 100:.1f}  "
                    f"{np.mean([s.half_width.mean() for s in own]):.2f}"
                )


if __name__ == "__main__":
    main()
