"""What planned pours are worth against equal ones, and whether the foretold error comes true.

    python -m benchmarks.plan [FILLS] [SEED]

Largest error anywhere from the tip to the last reading, % of capacity, median over simulated
fills; the same fit for all.  Behind a ratio stands its 95 % interval over the drawn tanks.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from time import perf_counter
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.app.plan import lay_out
from gaugewright.app.plan_cut import Wishes
from gaugewright.app.tank_file import TankFile
from gaugewright.planning.actions import plan_pours
from gaugewright.planning.outlook import U_JUG_L
from gaugewright.planning.unknown import unknown_stops_l
from gaugewright.planning.zones import KeepOut
from gaugewright.probe import Probe
from gaugewright.table.fit import fit
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.testing.fills import FAMILIES, SimulatedFill, simulated_fill

Floats = npt.NDArray[np.float64]


def largest_error(made: SimulatedFill) -> float:
    """Largest error of the fit in % of capacity."""
    result = fit(made.fill, made.tank, made.probe)
    at = np.linspace(0, max(p.counts for p in made.fill.pours), 200)
    off = np.interp(at, result.counts, result.litres) - made.truth.litres_at_counts(at)
    return float(np.abs(off).max() / made.truth.capacity_l * 100)


def with_temperatures(made: SimulatedFill) -> SimulatedFill:
    """Write down the temperatures too: the simulated fuel is at 15 °C everywhere."""
    pours = tuple(replace(p, fuel_c=15.0, meter_c=15.0) for p in made.fill.pours)
    return replace(made, fill=replace(made.fill, pours=pours))


def with_jug(made: SimulatedFill, seed: int) -> SimulatedFill:
    """Catch what is left in the drained tank in a measured jug: known to 0.3 L."""
    error = float(np.random.default_rng((seed, 3)).normal(0, U_JUG_L))
    left = max(round(made.truth.residue_l + error, 1), 0.0)
    return replace(made, fill=replace(made.fill, residual_l=left, u_residual_l=U_JUG_L))


def unknown_error(made: SimulatedFill) -> float:
    """Largest error of the fit without a tank file, from the tip up, in % of capacity."""
    fill = replace(made.fill, dip_empty_mm=None)
    result = fit(fill)
    top = min(max(p.counts for p in fill.pours), result.counts[-1])
    at = np.linspace(result.counts[0], top, 200)
    off = np.interp(at, result.counts, result.litres) - made.truth.litres_at_counts(at)
    return float(np.abs(off).max() / made.truth.capacity_l * 100)


def _case(job: tuple[int, str]) -> tuple[float, ...]:
    seed, family = job
    foretold: list[float] = []

    made: list[list[float]] = []

    def planned(tank: Tank, probe: Probe) -> list[float]:
        if not made:  # asked twice for the same tank
            plan = plan_pours(tank, probe, pours=5)
            foretold.append(plan.error_left_l)
            made.append([p.add_l for p in plan.pours])
        return made[0]

    def bare(tank: Tank, probe: Probe) -> list[float]:
        plan = plan_pours(tank, probe, pours=5, with_checks=False)
        foretold.append(plan.error_left_l)
        return [p.add_l for p in plan.pours]

    def make(**kwargs: Any) -> SimulatedFill:
        return simulated_fill(np.random.default_rng(seed), family, **kwargs)

    def unknown(tank: Tank, probe: Probe) -> list[float]:
        stops = unknown_stops_l(solid_of(tank).volume_l, 8)
        return [round(float(a), 1) for a in np.diff([0.0, *stops])]

    equal = largest_error(make(pours=20))
    best = with_jug(with_temperatures(make(planned=planned, checks=True)), seed)
    dipped = with_temperatures(make(planned=planned, checks=True))
    plain = make(planned=bare)
    capacity = best.truth.capacity_l
    return (
        equal,
        largest_error(best),
        largest_error(plain),
        foretold[0] / capacity * 100,
        foretold[1] / capacity * 100,
        unknown_error(make(pours=8)),
        unknown_error(make(planned=unknown)),
        unknown_error(with_jug(make(planned=unknown, checks=True), seed)),
        largest_error(dipped),
    )


def seconds_after_an_edit() -> float:
    """Time from an edit to the whole layout with its map, median of nine. [s]"""
    tank = Tank("box", length_mm=1200, width_mm=620, height_mm=600, edge_radius_mm=80)
    file = TankFile("tank", tank, None)
    spans = []
    for k in range(9):
        zone = KeepOut.rectangle("strap", 500 + k, 0, 560 + k, 600)
        began = perf_counter()
        lay_out(file, Wishes(zones=(zone,)))
        spans.append(perf_counter() - began)
    return float(np.median(spans))


def ratio(above: Floats, below: Floats) -> str:
    """Ratio of two medians with its 95 % interval: tanks drawn again with replacement."""
    drawn = np.random.default_rng(1).integers(0, len(above), (4000, len(above)))
    found = np.median(above[drawn], axis=1) / np.median(below[drawn], axis=1)
    low, high = np.quantile(found, (0.025, 0.975))
    return f"{np.median(above) / np.median(below):.2f} ({low:.2f} to {high:.2f})"


def main() -> None:
    """Print medians side by side."""
    print(
        f"layout and map after an edit         {seconds_after_an_edit() * 1000:.0f} ms (goal 500)"
    )
    fills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 700_000
    jobs = [(seed + i, FAMILIES[i % len(FAMILIES)]) for i in range(fills)]
    with ProcessPoolExecutor() as pool:
        found = np.array(list(pool.map(_case, jobs, chunksize=4)))
    equal, best, plain, told, told_plain, eight, spaced, both, dipped = np.median(found, axis=0)
    against = [ratio(found[:, k], found[:, 0]) for k in (1, 8)]
    unknown = [ratio(found[:, k], found[:, 5]) for k in (6, 7)]
    print(f"{fills} fills, seed {seed}; largest error in % of capacity, median")
    print(f"20 equal pours, no checks            {equal:.2f}")
    print(f"5 planned pours, no checks           {plain:.2f}   foretold {told_plain:.2f}")
    print(f"5 planned pours and the checks       {best:.2f}   foretold {told:.2f}")
    print(f"the same without the jug             {dipped:.2f}, {against[1]} of the equal ones")
    print(f"planned against equal                {against[0]}; goal 0.50 or less")
    print(f"found against foretold               {best / told:.2f} and {plain / told_plain:.2f}")
    print("                                     (goal 0.85 to 1.15)")
    print("without a tank file:")
    print(f"8 equal pours                        {eight:.2f}")
    print(f"8 planned pours                      {spaced:.2f}, {unknown[0]} of it")
    print(f"the same, meter and residue checked  {both:.2f}, {unknown[1]} of it; goal 0.60")


if __name__ == "__main__":
    main()
