"""How often a mistake is named, and how often a clean fill is suspected.

    python -m benchmarks.findings [FILLS] [SEED]

Simulated fills of 10 to 20 pours, one mistake each; thresholds were set on other seeds
(7,000 and 17,000 on).  ``named``: a stop or check at the right pour, one either way.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from gaugewright.pours.check import check_fill
from gaugewright.testing.fills import FAMILIES, simulated_fill, wrong_shape
from gaugewright.testing.mistakes import KINDS, with_mistake

SIZES = ((0.5, 1.0, 75), (1.0, 2.0, 92), (2.0, 1e9, 98))


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one fill."""

    kind: str
    found: tuple[str, ...]
    """Kinds of the findings that need a person."""
    is_named: bool
    is_kind_right: bool
    is_corrected: bool | None
    moves: float
    """Largest change of the table by the mistake, % of capacity."""


def outcome(job: tuple[int, str]) -> Outcome | None:
    """Make one fill with one mistake and check it."""
    seed, kind = job
    rng = np.random.default_rng(seed)
    family = FAMILIES[seed % len(FAMILIES)]
    pours = int(rng.integers(10, 21))
    jitter = float(rng.choice([0.0, 0.05, 0.15]))
    made = simulated_fill(rng, family, pours=pours, jitter=jitter)
    tank = wrong_shape(rng, made.tank) if kind == "wrong file" else made.tank
    if kind in ("clean", "wrong file"):
        checked = check_fill(made.fill, tank, made.probe)
        found = [f for f in checked.findings if f.severity != "note"]
        return Outcome(kind, tuple(f.kind for f in found), False, False, None, 0.0)
    mistaken = with_mistake(rng, made, kind)
    if mistaken is None:
        return None
    checked = check_fill(mistaken.fill, tank, made.probe)
    found = [f for f in checked.findings if f.severity != "note" and f.step is not None]
    near = [f for f in found if abs(f.step - mistaken.step) <= 1]
    right = [f for f in near if f.kind == kind or (kind, f.kind) == ("not_settled", "not_rising")]
    corrected = None
    if mistaken.meant is not None and near:
        corrected = any(f.value is not None and abs(f.value - mistaken.meant) < 0.06 for f in near)
    share = mistaken.moves_l / made.truth.capacity_l * 100
    return Outcome(kind, tuple(f.kind for f in found), bool(near), bool(right), corrected, share)


def _rate(values: list[bool]) -> str:
    return f"{100 * np.mean(values):5.1f} % of {len(values):4d}" if values else "    -        "


def main() -> None:
    """Print the rates by size and by kind."""
    fills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 300_000
    jobs = [(seed + i, k) for k in ("clean", "wrong file") for i in range(3 * fills)]
    jobs += [(seed + i, k) for k in KINDS for i in range(fills)]
    with ProcessPoolExecutor() as pool:
        results = [r for r in pool.map(outcome, jobs, chunksize=16) if r is not None]
    for kind in ("clean", "wrong file"):
        mine = [r for r in results if r.kind == kind]
        false = [any(f != "tank_disagrees" for f in r.found) for r in mine]
        disagrees = [any(f == "tank_disagrees" for f in r.found) for r in mine]
        print(
            f"{kind:11} suspected {_rate(false)}; tank_disagrees {_rate(disagrees)}  ",
            dict(Counter(f for r in mine for f in r.found)),
        )
    for low, high, goal in SIZES:
        mine = [r for r in results if r.kind in KINDS and low <= r.moves < high]
        named = [r for r in mine if r.is_named]
        print(
            f"moves the table by {low:g} % or more: named {_rate([r.is_named for r in mine])} "
            f"(goal {goal}); kind right {_rate([r.is_kind_right for r in named])}"
        )
        for kind in KINDS:
            own = [r for r in mine if r.kind == kind]
            if own:
                hit = [r for r in own if r.is_named]
                others = Counter(f for r in hit if not r.is_kind_right for f in r.found)
                print(
                    f"    {kind:17} named {_rate([r.is_named for r in own])}; "
                    f"kind right {_rate([r.is_kind_right for r in hit])}  {dict(others)}"
                )
    typed = [r for r in results if r.is_corrected is not None and r.moves >= 0.5]
    print(f"right correction offered {_rate([bool(r.is_corrected) for r in typed])} (goal 90)")
    for kind in KINDS:
        own = [bool(r.is_corrected) for r in typed if r.kind == kind]
        if own:
            print(f"    {kind:17} {_rate(own)}")


if __name__ == "__main__":
    main()
