"""One mistake in a simulated fill, made the way it happens in a yard."""

from dataclasses import dataclass, replace

import numpy as np

from gaugewright.pours.figures import swapped_digits, typed
from gaugewright.table.fill import Fill, Pour
from gaugewright.testing.fills import SimulatedFill

KINDS = (
    "litres_mistyped",
    "decimal_slip",
    "pour_missing",
    "pour_twice",
    "not_settled",
    "vehicle_moved",
    "counts_mistyped",
    "meter_not_reset",
)


@dataclass(frozen=True, eq=False)
class Mistaken:
    """A fill with one mistake: where, of which kind, and what was meant."""

    fill: Fill
    kind: str
    step: int
    """Position in the mistaken record."""
    meant: float | None
    """The right figure where one was mistyped."""
    moves_l: float
    """Largest change of the table by straight lines that the mistake makes. [L]"""


def with_mistake(rng: np.random.Generator, made: SimulatedFill, kind: str) -> Mistaken | None:
    """Return the fill with one mistake of a kind, or ``None`` where it cannot happen."""
    pours = list(made.fill.pours)
    k = int(rng.integers(2, len(pours)))
    pour = pours[k]
    meant: float | None = None
    match kind:
        case "litres_mistyped":
            options = [v for v in swapped_digits(typed(pour.added_l)) if v > 0]
            if not options:
                return None
            meant = pour.added_l
            pours[k] = replace(pour, added_l=float(rng.choice(options)))
        case "decimal_slip":
            meant = pour.added_l
            factor = 10.0 if rng.random() < 0.5 else 0.1
            pours[k] = replace(pour, added_l=round(pour.added_l * factor, 2))
        case "pour_missing":
            k = int(rng.integers(1, len(pours) - 1))
            del pours[k]
        case "pour_twice":
            again = pours[k]
            noise = round(float(rng.normal(0, made.yard.noise_counts)))
            pours.insert(k + 1, replace(again, counts=max(0.0, again.counts + noise)))
            k += 1
        case "not_settled":
            rise = pour.counts - pours[k - 1].counts
            pours[k] = replace(
                pour, counts=float(round(pour.counts - rng.uniform(0.1, 0.9) * rise))
            )
        case "vehicle_moved":
            pours = _moved(rng, made, k)
        case "counts_mistyped":
            options = [
                v for v in swapped_digits(str(round(pour.counts))) if v <= made.probe.counts_full
            ]
            if not options:
                return None
            meant = pour.counts
            pours[k] = replace(pour, counts=float(rng.choice(options)))
        case "meter_not_reset":
            meant = pour.added_l
            pours[k] = replace(pour, added_l=round(pour.added_l + pours[k - 1].added_l, 1))
        case _:
            raise ValueError(kind)
    numbered = tuple(replace(p, step=i) for i, p in enumerate(pours))
    fill = replace(made.fill, pours=numbered)
    return Mistaken(fill, kind, k, meant, _moves(made.fill, fill))


def _moved(rng: np.random.Generator, made: SimulatedFill, k: int) -> list[Pour]:
    angle = float(rng.uniform(0, 2 * np.pi))
    size = float(rng.uniform(0.5, 2.5))
    by = (size * np.cos(angle), size * np.sin(angle))
    totals = made.yard.start_l + np.concatenate([[0.0], np.cumsum(made.yard.real_l)])
    return [
        replace(p, counts=made.yard.counts_at(float(totals[i]), i, by)) if i >= k else p
        for i, p in enumerate(made.fill.pours)
    ]


def _moves(clean: Fill, mistaken: Fill) -> float:
    """Largest difference of the two straight-line tables. [L]"""
    grid = np.linspace(
        max(f.pours[0].counts for f in (clean, mistaken)),
        min(max(p.counts for p in f.pours) for f in (clean, mistaken)),
        400,
    )
    tables = []
    for fill in (clean, mistaken):
        counts = np.array([p.counts for p in fill.pours])
        litres = np.cumsum([p.added_l for p in fill.pours])
        order = np.argsort(counts, kind="stable")
        tables.append(np.interp(grid, counts[order], litres[order]))
    return float(np.max(np.abs(tables[0] - tables[1])))
