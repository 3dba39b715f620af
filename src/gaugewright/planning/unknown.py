"""Pours for a tank whose shape nobody can trust: close together where the curve bends.

A tank's curve bends near the bottom, where the dead stock ends and the edges are round, and
near the top.  So the stops stand closer there, the first just above where the probe should
begin to move.  Of seven spacings tried on simulated fills without a tank file this one left
the least error (`python -m benchmarks.plan`).

All that is known is the capacity on the tank's plate, its height inside and the probe's
length.  What the probe will read is then a guess over plain tanks, and its band says so.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.planning.actions import (
    CHECKS,
    LITRES_PER_MIN,
    MINUTES_A_STOP,
    PAYS_SHARE,
    Action,
    PlannedPour,
    PourPlan,
)
from gaugewright.planning.outlook import U_JUG_L, Checks, Outlook, largest_error
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.departure import unit_process
from gaugewright.table.equations import equations_of
from gaugewright.table.fill import Fill, MeterCheck, Pour
from gaugewright.table.fit import PLAIN
from gaugewright.table.posterior import solve
from gaugewright.table.unknown import FORMS, U_STEP, unknown_curves

Floats = npt.NDArray[np.float64]

SHARES = (0.03, 0.08, 0.22, 0.40, 0.58, 0.75, 0.88, 0.95)
"""Of the brim-full capacity, for eight stops; other numbers follow the same curve."""
FEWEST_STOPS, MOST_STOPS = 4, 20
U_BRIM = 0.03
"""Plate and usable share together, as a share of the brim-full capacity.  Common practice."""
DRAWS, LEVELS = 400, 121
COVERAGE = 1.96


@dataclass(frozen=True, slots=True)
class Guess:
    """What a probe may read in a tank of unknown shape."""

    counts: Floats
    """Mean at each stop, shape (stops,). [counts]"""
    u_counts: Floats
    """Spread over plain tanks, one standard deviation. [counts]"""
    dead_stock_l: float
    u_dead_stock_l: float


def unknown_stops_l(
    capacity_l: float, pours: int, *, fuel_l: float | None = None
) -> tuple[float, ...]:
    """Return total litres poured at each stop, for a brim-full capacity. [L]

    With ``fuel_l`` at hand the same curve ends there.

    >>> unknown_stops_l(400.0, 8)
    (12.0, 32.0, 88.0, 160.0, 232.0, 300.0, 352.0, 380.0)
    >>> unknown_stops_l(400.0, 1)
    (380.0,)
    >>> unknown_stops_l(400.0, 3, fuel_l=200)
    (12.0, 75.6, 200.0)
    """
    if not (np.isfinite(capacity_l) and capacity_l > 0):
        raise InputError(f"must be above 0 L, found {capacity_l:g}", field="capacity_l")
    if not 1 <= pours <= 60:
        raise InputError(f"must be 1 to 60, found {pours}", field="pours")
    if fuel_l is not None and not fuel_l > 0:
        raise InputError(f"must be above 0 L, found {fuel_l:g}", field="fuel_l")
    top = SHARES[-1] if fuel_l is None else min(SHARES[-1], fuel_l / capacity_l)
    if pours == 1 or top <= SHARES[0]:
        return (round(top * capacity_l, 1),)
    along = np.linspace(0, 1, len(SHARES))
    end = float(np.interp(top, SHARES, along))
    share = np.interp(np.linspace(0, end, pours), along, SHARES)
    return tuple(dict.fromkeys(round(float(s) * capacity_l, 1) for s in share))


def plan_unknown_pours(
    capacity_l: float,
    depth_mm: float,
    probe: Probe,
    *,
    pours: int | None = None,
    within_l: float | None = None,
    fuel_l: float | None = None,
    assumed: Assumptions | None = None,
) -> PourPlan:
    """Return stops and checks for a tank of unknown shape, brim-full capacity and depth.

    Otherwise as `actions.plan_pours`; the stops come as one action, since each moves the
    others.  [L, mm]
    """
    assumed = Assumptions() if assumed is None else assumed
    if pours is not None and not 1 <= pours <= 60:
        raise InputError(f"must be 1 to 60, found {pours}", field="pours")
    for name, value in (("within_l", within_l), ("fuel_l", fuel_l)):
        if value is not None and not value > 0:
            raise InputError(f"must be above 0 L, found {value:g}", field=name)
    planner = _Planner(capacity_l, depth_mm, probe, fuel_l, assumed)
    if pours is not None:
        return planner.told(pours, "as many pours as were asked for, and the checks that pay")
    if within_l is not None:
        for count in range(FEWEST_STOPS, MOST_STOPS + 1):
            found = planner.told(count, f"the wanted error of {within_l:g} L is reached")
            if found.error_left_l <= within_l:
                return found
        ending = f"further pours no longer pay; {within_l:g} L cannot be reached with these means"
        return planner.told(planner.paying_stops(), ending)
    return planner.told(planner.paying_stops(), "every action that pays is in the plan")


@dataclass(frozen=True, eq=False)
class _Planner:
    capacity_l: float
    depth_mm: float
    probe: Probe
    fuel_l: float | None
    assumed: Assumptions

    def stops(self, count: int) -> tuple[float, ...]:
        return unknown_stops_l(self.capacity_l, count, fuel_l=self.fuel_l)

    def paying_stops(self) -> int:
        """The fewest stops of which three more would not take away enough for their work."""
        errors: list[float] = []
        for count in range(FEWEST_STOPS, MOST_STOPS + 1):
            errors.append(self.look(self.stops(count), Checks()).largest_error_l)
            if len(errors) > 3 and errors[-4] - min(errors[-3:]) < 3 * PAYS_SHARE * errors[-4]:
                return count - 3
        return MOST_STOPS

    def told(self, count: int, ending: str) -> PourPlan:
        stops = self.stops(count)
        checks, seen = Checks(), self.look(stops, Checks())
        minutes = MINUTES_A_STOP * len(stops) + stops[-1] / LITRES_PER_MIN
        at = ", ".join(f"{litres:g}" for litres in stops)
        actions = [
            Action("stops", f"stop at {at} L and read the probe", stops[-1],
                   seen.largest_error_l, minutes)
        ]  # fmt: skip
        while (best := self._best_check(stops, checks)) is not None:
            after, found, action = best
            if seen.largest_error_l - found.largest_error_l < PAYS_SHARE * seen.largest_error_l:
                break
            checks, seen = after, found
            actions.append(action)
        guess = guessed(self.capacity_l, self.depth_mm, self.probe, stops, self.assumed)
        before = (0.0, *stops)
        planned = tuple(
            PlannedPour(step, round(stops[step - 1] - before[step - 1], 1), round(c), round(u, 1))
            for step, (c, u) in enumerate(zip(guess.counts, guess.u_counts, strict=True), start=1)
        )
        return PourPlan(
            planned, checks, tuple(actions), seen.largest_error_l, seen.half_width_l, stops[-1],
            sum(action.minutes for action in actions), ending,
        )  # fmt: skip

    def _best_check(
        self, stops: tuple[float, ...], checks: Checks
    ) -> tuple[Checks, Outlook, Action] | None:
        options = []
        for kind, (what, minutes) in CHECKS.items():
            if kind in ("slope", "dip") or getattr(checks, kind):
                continue  # without a shape neither a slope nor a depth says litres
            after = Checks(**{k: k == kind or getattr(checks, k) for k in Checks.__slots__})
            seen = self.look(stops, after)
            options.append((after, seen, Action(kind, what, None, seen.largest_error_l, minutes)))
        return min(options, key=lambda o: o[1].largest_error_l) if options else None

    def look(self, stops: tuple[float, ...], checks: Checks) -> Outlook:
        """What the fill would leave open, averaged over plain tanks as they stand before it."""
        fill = self._imagined(stops, checks)
        total, parts = 0.0, []
        for curves, worth in unknown_curves(fill, self.probe, self.assumed):
            equations = equations_of(fill, curves, self.assumed)
            posterior = solve(equations, PLAIN[0].prior_u(equations.groups), curves.litres)
            design = equations.table_design[curves.tip_index :]
            parts.append(worth * (design @ posterior.estimate.covariance @ design.T))
            total += worth
        variance = np.sum(parts, axis=0) / total
        return Outlook(largest_error(variance), float(COVERAGE * np.sqrt(variance.max())))

    def _imagined(self, stops: tuple[float, ...], checks: Checks) -> Fill:
        wet = np.array([0.0, *stops]) / self.capacity_l * self.depth_mm
        wet = np.clip(wet - self.probe.tip_clearance_mm, 0.0, self.probe.active_length_mm)
        fuel_c = 15.0 if checks.temperatures else None
        pours = tuple(
            Pour(step, float(added), float(np.rint(c)), fuel_c=fuel_c, meter_c=fuel_c)
            for step, (added, c) in enumerate(
                zip(np.diff((0.0, 0.0, *stops)), self.probe.counts_of(wet), strict=True)
            )
        )
        can = (MeterCheck(100.0, 100.0),) if checks.meter else ()
        left = self.assumed.residue_l if checks.residue else None
        return Fill(pours, meter_checks=can, residual_l=left,
                    u_residual_l=U_JUG_L if checks.residue else None)  # fmt: skip


def guessed(
    capacity_l: float,
    depth_mm: float,
    probe: Probe,
    stops: tuple[float, ...],
    assumed: Assumptions | None = None,
) -> Guess:
    """Return what the probe may read at each stop, over plain tanks of this size.

    >>> rod = Probe(0, 0, 20, 460)
    >>> found = guessed(400.0, 500.0, rod, (200.0,))
    >>> bool(1500 < found.counts[0] < 2600), bool(100 < found.u_counts[0] < 500)
    (True, True)
    """
    assumed = Assumptions() if assumed is None else assumed
    if not (np.isfinite(depth_mm) and depth_mm > probe.tip_clearance_mm):
        raise InputError(
            f"must be more than the {probe.tip_clearance_mm:g} mm below the tip, "
            f"found {depth_mm:g}",
            field="height_mm",
        )
    share, filled = _plain_tanks()
    rng = np.random.default_rng(20_262)
    brim = capacity_l * (1 + U_BRIM * rng.standard_normal(DRAWS))
    left = np.maximum(assumed.residue_l + assumed.u_residue_l * rng.standard_normal(DRAWS), 0.0)
    tip = probe.tip_clearance_mm + assumed.u_tip_mm * rng.standard_normal(DRAWS)
    counts = np.empty((DRAWS, len(stops)))
    dead = np.empty(DRAWS)
    for k in range(DRAWS):
        at = np.interp((np.asarray(stops) + left[k]) / brim[k], filled[k], share) * depth_mm
        wetted = np.clip(at - tip[k], 0.0, probe.active_length_mm)
        counts[k] = probe.counts_of(wetted)
        dead[k] = brim[k] * np.interp(max(tip[k], 0.0) / depth_mm, share, filled[k])
    return Guess(counts.mean(axis=0), counts.std(axis=0), float(dead.mean()), float(dead.std()))


@lru_cache(maxsize=1)
def _plain_tanks() -> tuple[Floats, Floats]:
    """Shares of the height (l,), and of the volume below them for drawn tanks (d, l)."""
    rng = np.random.default_rng(20_263)
    share = np.linspace(0.0, 1.0, LEVELS)
    worths = np.array([form.worth for form in FORMS])
    slow = unit_process(share, 0.5)
    quick = unit_process(share, 0.15)
    filled = np.empty((DRAWS, LEVELS))
    for k, form in enumerate(rng.choice(len(FORMS), DRAWS, p=worths / worths.sum())):
        drawn = FORMS[form]
        area = np.ones(LEVELS)
        if drawn.name == "round":
            area = np.sqrt(np.maximum(share * (1 - share), 1e-4))
        if drawn.step_at is not None:
            area = area * np.where(share < drawn.step_at, 1 + U_STEP * rng.standard_normal(), 1.0)
        area = area * (1 + drawn.u_side * (rng.standard_normal(len(slow)) @ slow))
        area = area * (1 + drawn.u_local * (rng.standard_normal(len(quick)) @ quick))
        area = np.maximum(area, 0.05 * area.max())
        total = np.concatenate([[0.0], np.cumsum(0.5 * (area[1:] + area[:-1]))])
        filled[k] = total / total[-1]
    return share, filled
