"""A table's later life on simulated tanks: another probe, a sister tank, a re-check.

    python -m benchmarks.later [TANKS] [SEED] [PARTS] [PROCESSES]

Every tank is filled once in 10 equal pours with a tank file.  Then its probe is exchanged
and two check pours are made; a sister with a probe of its own gets two pours; and it comes
back for a re-check of three pours, unchanged or with something planted.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from copy import deepcopy
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.app.calibrate import table_of
from gaugewright.pours.later.hold import Verdict, begun_anywhere, hold
from gaugewright.pours.later.rivals import Dry
from gaugewright.table.fit import Fit, fit
from gaugewright.table.later.carry import carried, levels_from_fit, levels_from_table
from gaugewright.table.later.known import Known, known_from_fit, known_from_table
from gaugewright.table.later.left import left_in
from gaugewright.table.later.sister import fit_with_sister, sister_known
from gaugewright.tank.dimensions import perturbed
from gaugewright.testing.fills import FAMILIES, SimulatedFill, Truth, simulated_fill
from gaugewright.testing.later import Planted, came_back, exchanged, sister

Floats = npt.NDArray[np.float64]

PLANTED = {
    "unchanged": Planted(),
    "tip 5 mm up": Planted(tip_mm=5.0),
    "tip 10 mm up": Planted(tip_mm=10.0),
    "zero 0.5 % up": Planted(zero=0.005),
    "zero 1 % up": Planted(zero=0.01),
    "zero 4 % up": Planted(zero=0.04),
    "span 1 % up": Planted(span=0.01),
    "dent 2 %": Planted(dent=0.02),
    "dent 5 %": Planted(dent=0.05),
}
TOLD = {"tip": "tip_moved", "zero": "zero_drifted", "span": "span_changed", "dent": "tank_dented"}
SETTINGS = (
    "drained", "drained, slope read", "drained, zero read", "any level",
    "any level, zero read", "table only",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Band:
    """One table against the truth."""

    name: str
    held: Floats
    half_width: float
    """Mean, % of capacity."""
    worst: float
    """Largest error, % of capacity."""


@dataclass(frozen=True, slots=True)
class Recheck:
    """One re-check."""

    setting: str
    planted: str
    verdict: str
    named: tuple[str, ...]
    is_within: bool
    """All E_n numbers at most 1."""
    least: dict[str, float | None]


def _filled(seed: int, *, checks: bool = False) -> tuple[np.random.Generator, SimulatedFill, Fit]:
    rng = np.random.default_rng(seed)
    made = simulated_fill(rng, FAMILIES[seed % len(FAMILIES)], pours=10, checks=checks)
    return rng, made, fit(made.fill, made.tank, made.probe)


def _band(name: str, result: Fit, truth: Truth, lowest: float, highest: float) -> Band:
    scale = truth.counts_of_wetted(np.array([0.0, truth.top_mm]))
    at = np.linspace(
        max(lowest, result.counts[0], scale[0]), min(highest, result.counts[-1], scale[1]), 100
    )
    true = truth.litres_at_counts(at)
    found = np.interp(at, result.counts, result.litres)
    band = np.interp(at, result.counts, result.u95_litres)
    share = 100.0 / truth.capacity_l
    worst = float(np.abs(found - true).max()) * share
    return Band(name, np.abs(found - true) <= band, float(band.mean()) * share, worst)


def bands(seed: int) -> list[Band]:
    """Exchange the probe of one tank, and give it a sister."""
    rng, made, result = _filled(seed)
    top = float(max(p.counts for p in made.fill.pours))
    found = [_band("the first table", result, made.truth, 0.0, top)]
    table = table_of(result)
    later = exchanged(rng, made)
    highest = float(max(p.counts for p in later.fill.pours))
    whole = float(later.probe.counts_full)
    for name, levels in (
        ("", levels_from_fit(result)),
        (", table only", levels_from_table(table, made.probe, made.tank)),
    ):
        known = carried(levels, later.probe)
        found.append(
            _band(f"carried to a new probe{name}", known.table_fit(), later.truth, 0.0, whole)
        )
        held = hold(known, later.fill)
        found.append(_band(f"and two check pours{name}", held.after, later.truth, 0.0, highest))
    hers = sister(rng, made)
    full = float(hers.probe.counts_full)
    levels = levels_from_fit(result)
    known = sister_known(levels, hers.probe)
    both = fit_with_sister(hers.fill, known, made.tank, hers.probe)
    found.append(_band("a sister's table", known.table_fit(), hers.truth, 0.0, full))
    found.append(_band("and two pours", both.fit, hers.truth, 0.0, full))
    found.append(_band("two pours without the sister", both.alone, hers.truth, 0.0, full))
    return found


def agreement(job: tuple[int, float]) -> float:
    """Return the probability that two tanks are of one model; ``longer`` ones are not.

    The fitter measured this tank too, and does not know that it should be like the other.
    """
    seed, longer = job
    rng, made, result = _filled(seed)
    hers = sister(rng, made, longer=longer)
    known = sister_known(levels_from_fit(result), hers.probe)
    tank = made.tank
    if longer:
        size = {"upright_cylinder": "diameter_mm", "section": "scale_x"}.get(
            tank.shape, "length_mm"
        )
        share = {"diameter_mm": np.sqrt(1 + longer) - 1}.get(size, longer)
        tank = perturbed(tank, size, share * (1.0 if size == "scale_x" else getattr(tank, size)))
    return fit_with_sister(hers.fill, known, tank, hers.probe).agreement


def rechecks(job: tuple[int, str]) -> list[Recheck]:
    """Let one tank come back with everything that may be planted."""
    seed, setting = job
    is_read = setting == "drained, slope read"
    start = 0.2 if setting.startswith("any level") else None
    shares = (0.2, 0.25, 0.25) if start else (0.15, 0.3, 0.35)
    rng, made, result = _filled(seed, checks=is_read)
    known: Known = known_from_fit(result, left_in(result, made.fill))
    if setting == "table only":
        known = known_from_table(table_of(result), made.probe, made.tank)
    found = []
    for name, planted in PLANTED.items():
        own = deepcopy(rng)
        later = came_back(own, made, planted, shares=shares, start_share=start, slope_known=is_read)
        fill = later.fill if start is None else begun_anywhere(known, later.fill)
        dry = _dry(own, made.truth, later.truth) if setting.endswith("zero read") else None
        held = hold(known, fill, dry=dry)
        found.append(
            Recheck(setting, name, held.verdict, held.named, held.agrees, dict(held.could_show))
        )
    return found


def _dry(rng: np.random.Generator, then: Truth, now: Truth) -> Dry:
    """Return the probe read dry in air, when it was put in and again."""
    before, after = (
        max(float(np.round(truth.counts_of_wetted(np.zeros(1))[0] + rng.normal(0, 2))), 0.0)
        for truth in (then, now)
    )
    return Dry(after, before)


def _print_bands(results: list[list[Band]]) -> None:
    print(f"{'':40}{'holds':>7}  by fifth               half-width   largest error, median / 95")
    for row in zip(*results, strict=True):
        held = np.array([each.held for each in row])
        fifths = " ".join(f"{held[:, i * 20 : i * 20 + 20].mean() * 100:4.1f}" for i in range(5))
        worst = [each.worst for each in row]
        print(
            f"{row[0].name:40}{held.mean() * 100:7.1f}  {fifths}  "
            f"{np.mean([each.half_width for each in row]):.2f} %"
            f"        {np.median(worst):.2f} / {np.percentile(worst, 95):.2f}"
        )


def _print_rechecks(setting: str, results: list[Recheck]) -> None:
    print(
        f"\n{setting}: good / cannot tell / doubtful / repeat / not good, all |E_n| <= 1, "
        "right one among named"
    )
    for name in PLANTED:
        own = [r for r in results if r.planted == name]
        share = {v: np.mean([r.verdict == v for r in own]) * 100 for v in Verdict}
        suspected = [r for r in own if r.named]
        kind = TOLD.get(name.split()[0])
        right = [kind in r.named for r in suspected]
        alone = [r.named == (kind,) for r in suspected]
        told = f"{np.mean(right) * 100:5.1f} (alone {np.mean(alone) * 100:.1f})" if right else "-"
        print(
            f"    {name:14}{share[Verdict.GOOD]:6.1f}{share[Verdict.CANNOT_TELL]:6.1f}"
            f"{share[Verdict.DOUBTFUL]:6.1f}{share[Verdict.REPEAT]:6.1f}"
            f"{share[Verdict.NOT_GOOD]:6.1f}  {np.mean([r.is_within for r in own]) * 100:6.1f}"
            f"   {told if kind else dict(Counter(k for r in suspected for k in r.named))}"
        )
    first = [r.least for r in results if r.planted == "unchanged"]
    for kind in TOLD.values():
        sizes = [np.inf if least[kind] is None else least[kind] for least in first]
        print(f"    smallest {kind} that could be shown, median: {np.median(sizes):.1f}")
    sys.stdout.flush()


def main() -> None:
    """Print the tables."""
    tanks = int(sys.argv[1]) if len(sys.argv) > 1 else 160
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 900_000
    parts = sys.argv[3] if len(sys.argv) > 3 else "bsr"
    seeds = range(seed, seed + tanks)
    processes = int(sys.argv[4]) if len(sys.argv) > 4 else None
    with ProcessPoolExecutor(processes) as pool:
        if "b" in parts:
            _print_bands(list(pool.map(bands, seeds, chunksize=4)))
        if "s" in parts:
            for longer in (0.0, 0.02, 0.05, 0.1):
                jobs = [(s, longer) for s in seeds]
                found = np.array(list(pool.map(agreement, jobs, chunksize=4)))
                print(
                    f"{'a sister' if not longer else f'{100 * longer:.0f} % longer':12} agrees "
                    f"(0.5 or more) {np.mean(found >= 0.5) * 100:5.1f} %, does not agree "
                    f"(0.1 or less) {np.mean(found <= 0.1) * 100:5.1f} %"
                )
        if "r" in parts:
            for setting in SETTINGS:
                listed = pool.map(rechecks, [(s, setting) for s in seeds], chunksize=1)
                _print_rechecks(setting, [each for group in listed for each in group])


if __name__ == "__main__":
    main()
