"""What teaches the most: pours and checks ranked on the fit's own covariance.

Stops and checks are added one after the other, each time the one that leaves the
least error; a fill stops being worth more work when the best one left gains little.
What was best when it was chosen need not be best beside those chosen later: at the end
each stop is moved, as long as a move leaves less.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.planning.outlook import TRUSTS, Checks, Outlook, imagined, outlook
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves, curves_of
from gaugewright.table.fit import Trust
from gaugewright.table.rows import Doubts, Setting
from gaugewright.tank.description import Tank
from gaugewright.words import Volume, said

Floats = npt.NDArray[np.float64]

LITRES_PER_MIN = 35.0
"""Flow of a hand-held dispenser. Common practice, no source."""
MINUTES_A_STOP = 3.0
"""Stopping, waiting for a steady reading, writing it down. Common practice, no source."""
CHECKS = {
    "slope": (said("read the slope of the vehicle with an inclinometer, along and across"), 2.0),
    "meter": (said("check the meter against a measured can of 100 L"), 12.0),
    "dip": (said("dip the drained tank at the probe's place"), 3.0),
    "residue": (
        said("catch what is left in the drained tank in a measured jug, and pour it back"),
        8.0,
    ),
    "temperatures": (said("read the fuel's temperature at the meter and in the tank"), 4.0),
}
FULL_SHARE = 0.97
"""Where the last stop is made, as a share of the scale: just short of the probe's top."""
PAYS_SHARE = 0.02
"""A step that takes away less than this share of the error no longer pays."""
PLACES = 20
MOVES = (-1.0, -0.5, 0.5, 1.0)
"""By so many places a stop is moved at the end, one after the other."""
MOST_ROUNDS = 3
MOVE_PAYS_SHARE = 0.002
"""A move that takes away less than this share of the error is none."""
MOST_STOPS = 20


@dataclass(frozen=True, slots=True)
class PlannedPour:
    """One pour of the plan."""

    step: int
    add_l: float
    expected_counts: float
    u_counts: float
    """Standard uncertainty of the counts, from what is known before the fill. [counts]"""


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do, with what is left open after it and all before it."""

    kind: str
    """``stop`` or one of the checks."""
    what: str
    at_l: float | None
    """For a stop: total litres poured by then. [L]"""
    error_left_l: float
    """Typical largest error anywhere on the scale after it. [L]"""
    minutes: float


@dataclass(frozen=True, eq=False)
class PourPlan:
    """The pours to make, the checks that pay, and how good the table will be."""

    pours: tuple[PlannedPour, ...]
    checks: Checks
    actions: tuple[Action, ...]
    """All actions in the order of what they teach."""
    error_left_l: float
    """Typical largest error anywhere on the scale. [L]"""
    half_width_l: float
    """Largest half-width of the 95 % band. [L]"""
    litres: float
    """Fuel that the fill takes. [L]"""
    minutes: float
    why_it_ends: str


def plan_pours(
    tank: Tank,
    probe: Probe,
    *,
    pours: int | None = None,
    within_l: float | None = None,
    fuel_l: float | None = None,
    with_checks: bool = True,
    assumed: Assumptions | None = None,
) -> PourPlan:
    """Return the stops and checks that leave the least error.

    ``pours``: as many stops. ``within_l``: as few as reach this error. ``fuel_l``: with no
    more fuel than this.  Without any of them, as many as pay.  [L]
    """
    assumed = Assumptions() if assumed is None else assumed
    if pours is not None and not 1 <= pours <= 60:
        raise InputError(said("must be 1 to 60, found {pours}", pours=pours), field="pours")
    for name, value in (("within_l", within_l), ("fuel_l", fuel_l)):
        if value is not None and not value > 0:
            raise InputError(said("must be above 0 L, found {value:g}", value=value), field=name)
    curves = curves_of(tank, probe, assumed)
    return _Planner(curves, assumed, pours, within_l, fuel_l, with_checks).plan()


@dataclass(frozen=True, eq=False)
class _State:
    stops_l: tuple[float, ...]
    checks: Checks

    def with_stop(self, at_l: float) -> "_State":
        return replace(self, stops_l=tuple(sorted({*self.stops_l, at_l})))


@dataclass(frozen=True, eq=False)
class _Planner:
    curves: Curves
    assumed: Assumptions
    pours: int | None
    within_l: float | None
    fuel_l: float | None
    with_checks: bool
    trusts: tuple[Trust, ...] = TRUSTS

    def plan(self) -> PourPlan:
        top = _litres_at(FULL_SHARE, self.curves, self.assumed)
        if self.fuel_l is not None:
            top = min(top, self.fuel_l)
        state = _State((round(top, 1),), Checks())
        seen = self._look(state)
        actions = [self._stop_action(state.stops_l[0], seen, 0.0)]
        ending = said("every action that pays is in the plan")
        while True:
            if self.within_l is not None and seen.largest_error_l <= self.within_l:
                ending = said(
                    "the wanted error of {within_l:g} is reached", within_l=Volume(self.within_l)
                )
                break
            best = self._best(state)
            if best is None:
                ending = said("all stops and checks are in the plan")
                break
            after, found, action = best
            gain = seen.largest_error_l - found.largest_error_l
            must = self.pours is not None and len(state.stops_l) < self.pours
            if not must and gain < PAYS_SHARE * seen.largest_error_l:
                if self.within_l is not None:
                    ending = said(
                        "further pours no longer pay; {within_l:g} cannot be reached with these "
                        "means",
                        within_l=Volume(self.within_l),
                    )
                break
            state, seen = after, found
            actions.append(action)
        moved = self._settled(state, seen)
        if moved is not state:
            seen, actions = self._in_turn(state, moved, actions)
        return self._told(moved, seen, actions, ending)

    def _settled(self, state: _State, seen: Outlook) -> _State:
        """Return the state with its stops moved to where they leave the least together."""
        best, least = state, seen.largest_error_l
        lowest, top = min(self.places(), default=1.0), max(state.stops_l)
        apart = (top - lowest) / PLACES
        for _ in range(MOST_ROUNDS):
            before = least
            for place in range(len(best.stops_l) - 1):  # the last one ends the table
                for move in MOVES:
                    stops = list(best.stops_l)
                    stops[place] = round(stops[place] + move * apart, 1)
                    fits = stops == sorted(stops) and min(np.diff(stops), default=2.0) >= 2.0
                    if not fits or stops[0] < lowest:
                        continue
                    tried = replace(best, stops_l=tuple(stops))
                    error = self._look(tried).largest_error_l
                    if error < (1 - MOVE_PAYS_SHARE) * least:
                        best, least = tried, error
            if least == before:
                break
        return best

    def _in_turn(
        self, chosen: _State, moved: _State, actions: list[Action]
    ) -> tuple[Outlook, list[Action]]:
        """Return the actions with their stops moved, each with what is left after it."""
        to = dict(zip(chosen.stops_l, moved.stops_l, strict=True))
        state, seen = _State((), Checks()), self._look(moved)
        told = []
        for action in actions:
            if action.kind == "stop" and action.at_l is not None:
                state = state.with_stop(to[action.at_l])
                seen = self._look(state)
                again = self._stop_action(to[action.at_l], seen, action.minutes)
            else:
                state = replace(state, checks=replace(state.checks, **{action.kind: True}))
                seen = self._look(state)
                again = replace(action, error_left_l=seen.largest_error_l)
            told.append(again)
        return seen, told

    def _look(self, state: _State) -> Outlook:
        fill = imagined(self.curves, state.stops_l, state.checks, self.assumed)
        return outlook(fill, self.curves, self.assumed, self.trusts)

    def places(self) -> list[float]:
        return stop_places(self.curves, self.assumed, self.fuel_l)

    def _best(self, state: _State) -> tuple[_State, Outlook, Action] | None:
        options: list[tuple[_State, Outlook, Action]] = []
        most = MOST_STOPS if self.pours is None else self.pours
        if len(state.stops_l) < most:
            for at_l in self.places():
                if min(abs(at_l - other) for other in state.stops_l) < 2.0:
                    continue
                after = state.with_stop(at_l)
                seen = self._look(after)
                options.append((after, seen, self._stop_action(at_l, seen, MINUTES_A_STOP)))
        if self.with_checks:
            for kind, (what, minutes) in CHECKS.items():
                if not getattr(state.checks, kind):
                    after = replace(state, checks=replace(state.checks, **{kind: True}))
                    seen = self._look(after)
                    left = seen.largest_error_l
                    options.append((after, seen, Action(kind, what, None, left, minutes)))
        if not options:
            return None
        must_stop = self.pours is not None and len(state.stops_l) < self.pours
        pays = [o for o in options if o[2].kind != "stop"] if not must_stop else options
        chosen = min(pays or options, key=lambda o: o[1].largest_error_l)
        if self.pours is None:
            chosen = min(options, key=lambda o: o[1].largest_error_l)
        return chosen

    def _stop_action(self, at_l: float, seen: Outlook, minutes: float) -> Action:
        tip = float(self.curves.litres[self.curves.tip_index]) - self.assumed.residue_l
        where = said("just below the tip") if at_l < tip else said("and read the probe")
        return Action(
            "stop",
            said("stop at {at_l:.1f} {where}", at_l=Volume(at_l), where=where),
            at_l,
            seen.largest_error_l,
            minutes or MINUTES_A_STOP + at_l / LITRES_PER_MIN,
        )

    def _told(self, state: _State, seen: Outlook, actions: list[Action], ending: str) -> PourPlan:
        return PourPlan(
            planned(self.curves, state.stops_l, state.checks, self.assumed),
            state.checks,
            tuple(actions),
            seen.largest_error_l,
            seen.half_width_l,
            state.stops_l[-1],
            sum(action.minutes for action in actions),
            ending,
        )


def planned(
    curves: Curves, stops_l: tuple[float, ...], checks: Checks, assumed: Assumptions
) -> tuple[PlannedPour, ...]:
    """Return the pours between stops with the counts that each should bring."""
    fill = imagined(curves, stops_l, checks, assumed)
    setting = Setting(fill, curves, assumed, Doubts())
    wetted = curves.wetted_mm[curves.tip_index :]
    counts = curves.probe.counts_of(wetted)
    mm_per_count = abs(curves.probe.mm_per_count)
    u_reading = assumed.u_counts * abs(curves.probe.counts_full - curves.probe.counts_empty) / 4095
    found = []
    first = fill.pours[0]
    rows = setting.readings((first,) * len(wetted), wetted)
    for index, pour in enumerate(fill.pours[1:], start=1):
        target = float(setting.poured[index]) + setting.start[0]
        at = float(np.interp(target, rows.litres, counts))
        near = int(np.argmin(np.abs(counts - at)))
        design = setting.design(
            rows.effects[[near]], rows.slopes[[near]], np.array([index], dtype=np.intp)
        )[0]
        own_l2 = float(design @ design) + index * assumed.u_delivery_l**2
        per_count = max(float(rows.per_mm_l[near]) * mm_per_count, 1e-9)
        below = target <= float(rows.litres[0])
        u = u_reading if below else float(np.hypot(np.sqrt(own_l2) / per_count, u_reading))
        found.append(PlannedPour(index, round(pour.added_l, 1), round(at), round(u, 1)))
    return tuple(found)


def stop_places(curves: Curves, assumed: Assumptions, fuel_l: float | None = None) -> list[float]:
    """Return total litres at which a stop may be made: below the tip, above it, and up. [L]"""
    tip = float(curves.litres[curves.tip_index]) - assumed.residue_l
    shares = np.linspace(0.03, FULL_SHARE, PLACES)
    above = [_litres_at(float(share), curves, assumed) for share in shares]
    places = [tip - 1.5 * _u_tip_l(curves, assumed), *above]
    top = above[-1] if fuel_l is None else min(fuel_l, above[-1])
    return [round(p, 1) for p in places if 1.0 <= p <= top]


def _litres_at(share: float, curves: Curves, assumed: Assumptions) -> float:
    """Litres poured when so much of the scale is wet. [L]"""
    inside = float(np.interp(share * curves.top_mm, curves.wetted_mm, curves.litres))
    return inside - assumed.residue_l


def _u_tip_l(curves: Curves, assumed: Assumptions) -> float:
    """How well the dead stock is known before the first pour. [L]"""
    columns = curves.effects[:, curves.tip_index]
    return float(np.hypot(np.sqrt(np.sum(columns**2)), assumed.u_residue_l))
