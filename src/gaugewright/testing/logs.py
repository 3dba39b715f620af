"""Simulated logs with known truth: what the watch is tuned and scored on.

The rig simulates a tank in a yard second by second; this simulates a month of service, by a
model of its own: spells of work, places with a slope, fuel that warms and shrinks, slosh, a
probe that averages, records that are late, doubled, missing or plainly wrong.

Two litres are kept apart.  Inside, fuel is counted at 15 °C, so that warming neither adds nor
takes any.  What is put in or taken out is stated as a pump's meter without compensation counts
it and as the level shows it: at the fuel's own temperature.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.testing.log_days import Doing, Spell, spells_of
from gaugewright.testing.log_sight import EXPANSION_PER_C, Sight, records_of
from gaugewright.watch.values import EventKind, Floats, Track

STEP_S = 5.0
START_S = 1_772_323_200.0
"""2026-03-01 00:00 UTC."""


@dataclass(frozen=True)
class TrueEvent:
    """What really happened. ``how`` tells the manner: 'fast', 'slow', 'idling' … [s, L]

    ``litres`` are those at the temperature that the fuel had then, as a meter without
    compensation counts them; ``litres_at_15_c`` the same fuel reduced to 15 °C.
    """

    kind: EventKind
    start_s: float
    end_s: float
    litres: float
    how: str
    litres_at_15_c: float


@dataclass(frozen=True)
class Receipt:
    """What was paid for; ``true_l`` is what came, ``refuel`` its number among the refuels. [s, L]

    Both are litres at the fuel's own temperature.
    """

    time_s: float
    litres: float
    true_l: float
    refuel: int


@dataclass(frozen=True, eq=False)
class SimulatedLog:
    """One vehicle's log, its table, and what really happened.

    ``raw`` are the same records as they arrived: late, doubled and out of order. ``true_l`` is
    what was in the tank at each record, reduced to 15 °C.
    """

    kind: str
    track: Track
    raw: dict[str, Floats]
    table: Table
    truth: tuple[TrueEvent, ...]
    receipts: tuple[Receipt, ...]
    capacity_l: float
    sight: Sight
    true_l: Floats = field(repr=False)


_CAPACITY = {
    "long_haul": (350, 900),
    "city": (90, 260),
    "excavator": (180, 550),
    "generator": (300, 1500),
}
_LITRES_PER_HOUR = {
    "long_haul": (1.5, 24.0, 0.0),
    "city": (1.0, 7.0, 0.0),
    "excavator": (2.5, 8.0, 14.0),
    "generator": (1.0, 1.0, 12.0),
}


def simulate_log(
    kind: str,
    seed: int,
    *,
    days: int = 30,
    period_s: float = 10.0,
    drains_per_day: float = 0.6,
    plain: bool = False,
) -> SimulatedLog:
    """Return a log of ``days`` days of one kind of work, a record every ``period_s``.

    ``plain`` leaves out what goes wrong with a log: holes, spikes, freezes, load shifts.

    >>> log = simulate_log("city", 1, days=3, period_s=60.0)
    >>> log.track.time_s.size > 3000, bool(log.track.counts.min() >= 0)
    (True, True)
    """
    rng = np.random.default_rng([seed, days, int(period_s)])
    low, high = _CAPACITY[kind]
    capacity = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    history = _History(kind, capacity, rng, drains_per_day)
    for spell in spells_of(kind, days, rng):
        history.live(spell)
    steps = int(days * 86400 / STEP_S)
    litres = history.litres(steps)
    sight = Sight.drawn(kind, capacity, rng, plain)
    track, raw, table, true_l, warmth_c = records_of(
        f"{kind}-{seed}", litres, history.used(steps), history.doing(steps),
        history.spell_numbers(steps), history.spells, sight, START_S, STEP_S, period_s, rng,
    )  # fmt: skip
    history.meter(warmth_c)
    return SimulatedLog(
        kind=kind,
        track=track,
        raw=raw,
        table=table,
        truth=tuple(
            sorted(
                (e for e in history.events if e.end_s < START_S + days * 86400),
                key=lambda e: e.start_s,
            )
        ),
        receipts=history.receipts(),
        capacity_l=capacity,
        sight=sight,
        true_l=true_l,
    )


class _History:
    """The fuel in the tank from spell to spell, and every event on the way."""

    def __init__(
        self, kind: str, capacity_l: float, rng: np.random.Generator, drains_per_day: float
    ) -> None:
        self.kind = kind
        self.capacity_l = capacity_l
        self.rng = rng
        self.drains_per_day = drains_per_day
        self.first_l = capacity_l * rng.uniform(0.4, 0.9)
        self.litres_now = self.first_l
        self.now_s = 0.0
        self.spells: list[Spell] = []
        self.events: list[TrueEvent] = []
        self._flows: list[tuple[float, float, float]] = []
        self._uses: list[tuple[float, float, float]] = []
        self._starts: list[float] = []
        self._drains = 0.0
        idle, drive, work = _LITRES_PER_HOUR[kind]
        size = capacity_l / np.sqrt(np.prod(_CAPACITY[kind]))
        self._rate = {
            Doing.OFF: 0.0,
            Doing.IDLE: idle * rng.uniform(0.7, 1.4),
            Doing.DRIVE: drive * rng.uniform(0.7, 1.4) * (size if kind == "city" else 1.0),
            Doing.WORK: work * rng.uniform(0.6, 1.5) * size,
        }

    def live(self, spell: Spell) -> None:
        """Go through one spell, with a stop to refuel first where the tank is low."""
        need = self._rate[spell.doing] * spell.seconds / 3600
        low = self.capacity_l * (0.12 + 0.15 * self.rng.random())
        if self.litres_now - need < low and self.litres_now < 0.7 * self.capacity_l:
            self._refuel(spell)
        rate = self._rate[spell.doing] * self.rng.normal(1.0, 0.12) / 3600
        rate = min(max(rate, 0.0), 0.8 * self.litres_now / spell.seconds)
        self._begin(spell)
        self._uses.append((self.now_s, self.now_s + spell.seconds, rate))
        self._maybe_drain(spell, rate)
        self.litres_now -= rate * spell.seconds
        self.now_s += spell.seconds

    def _begin(self, spell: Spell) -> None:
        self.spells.append(spell)
        self._starts.append(self.now_s)

    def _refuel(self, following: Spell) -> None:
        rng = self.rng
        room = 0.97 * self.capacity_l - self.litres_now
        amount = room if rng.random() < 0.6 else room * rng.uniform(0.3, 0.95)
        flow = rng.uniform(35, 90) / 60
        wait = rng.uniform(30, 240)
        on = rng.random() < 0.15
        travels = self.kind in ("long_haul", "city")
        if travels and self.spells and self.spells[-1].doing != Doing.DRIVE:
            self._drive(rng.uniform(120, 480))
        total = wait + amount / flow + rng.uniform(60, 500)
        here = self.spells[-1].place if self.spells and not travels else 100_000 + len(self.spells)
        self._begin(Spell(Doing.IDLE if on else Doing.OFF, total, 0.0, here))
        start = self.now_s + wait
        self._happen(EventKind.REFUEL, start, start + amount / flow, amount, "refuel")
        end = self.now_s + total
        if rng.random() < 0.04:
            self._drain_in(start + amount / flow + 40, end + 900, "after_refuel")
            self.spells[-1] = Spell(Doing.OFF, total + 900, 0.0, self.spells[-1].place)
            end += 900
        self.now_s = end
        if travels and following.doing != Doing.DRIVE:
            self._drive(rng.uniform(120, 480))

    def _drive(self, seconds: float) -> None:
        """Go to the pump, or back to where the vehicle is wanted."""
        self._begin(Spell(Doing.DRIVE, seconds, 25.0, -1))
        rate = min(self._rate[Doing.DRIVE] / 3600, 0.5 * self.litres_now / seconds)
        self._uses.append((self.now_s, self.now_s + seconds, rate))
        self.litres_now -= rate * seconds
        self.now_s += seconds

    def _happen(self, kind: EventKind, start: float, end: float, litres: float, how: str) -> None:
        sign = 1.0 if kind == EventKind.REFUEL else -1.0
        self._flows.append((start, end, sign * litres / (end - start)))
        self.litres_now += sign * litres
        self.events.append(TrueEvent(kind, START_S + start, START_S + end, litres, how, litres))

    def _maybe_drain(self, spell: Spell, rate: float) -> None:
        """Take fuel now and then, mostly where nobody is about."""
        if spell.doing == Doing.DRIVE or (spell.doing == Doing.WORK and self.kind != "generator"):
            return
        self._drains += self.drains_per_day * spell.seconds / 86400 * 0.75
        self._drains += self.drains_per_day * 0.25 * (self.kind == "city") / 14
        self._drains += self.drains_per_day * 0.25 * (self.kind != "city") / 5
        while self._drains > 0 and self.rng.random() < min(1.0, self._drains):
            self._drains -= 1.0
            how = "idling" if spell.doing != Doing.OFF else ""
            end = self.now_s + spell.seconds
            self._drain_in(self.now_s, end, how)
            if self.rng.random() < 0.08 and self.events:
                last = self.events[-1].end_s - START_S
                self._drain_in(last + 240, end, "second")
            break

    def _drain_in(self, start: float, end: float, how: str) -> None:
        rng = self.rng
        litres = float(np.exp(rng.uniform(np.log(3.0), np.log(0.35 * self.capacity_l))))
        litres = min(litres, 0.7 * self.litres_now)
        pace = rng.random()
        if pace < 0.25:
            flow, name = rng.uniform(0.2, 0.6), "slow"
        elif pace < 0.85:
            flow, name = rng.uniform(2, 10), "fast"
        else:
            flow, name = rng.uniform(15, 25), "very_fast"
        room = end - start - 30
        if room < 60 or litres < 3:
            return
        flow = max(flow / 60, litres / room)
        if flow > 0.5:
            litres = 0.5 * room
            flow = 0.5
        spare = max(room - litres / flow, 0.0)
        edge = rng.random()
        lead = spare * (0.02 if edge < 0.12 else 0.98 if edge < 0.22 else rng.random())
        begin = start + 15 + lead
        if litres >= 3:
            self._happen(EventKind.DRAIN, begin, begin + litres / flow, litres, how or name)

    def meter(self, warmth_c: Floats) -> None:
        """State every event's litres at the temperature of the fuel halfway through it. [°C]"""
        for place, event in enumerate(self.events):
            step = int((0.5 * (event.start_s + event.end_s) - START_S) / STEP_S)
            above_c = float(warmth_c[min(step, warmth_c.size - 1)]) - 15.0
            metered = event.litres_at_15_c * (1.0 + EXPANSION_PER_C * above_c)
            self.events[place] = replace(event, litres=metered)

    def litres(self, steps: int) -> Floats:
        """Return the true litres at every step, at 15 °C. [L]"""
        return self.first_l + _summed(self._flows, steps) - self.used(steps)

    def used(self, steps: int) -> Floats:
        """Return the litres that the engine has used up to every step. [L]"""
        return _summed(self._uses, steps)

    def spell_numbers(self, steps: int) -> npt.NDArray[np.int64]:
        """Return which spell each step is in."""
        at = np.arange(steps) * STEP_S
        return np.searchsorted(np.array(self._starts), at, side="right") - 1

    def doing(self, steps: int) -> npt.NDArray[np.int64]:
        """Return what the vehicle is doing at each step."""
        return np.array([int(s.doing) for s in self.spells])[self.spell_numbers(steps)]

    def receipts(self) -> tuple[Receipt, ...]:
        """Return a receipt for nearly every refuel; one in five says too much."""
        rng = self.rng
        refuels = [e for e in self.events if e.kind == EventKind.REFUEL]
        out = []
        for number, event in enumerate(refuels):
            if rng.random() < 0.05:
                continue
            stated = event.litres * rng.normal(1.0, 0.002)
            if rng.random() < 0.2:
                stated += rng.uniform(5, 30)
            at = event.end_s + rng.uniform(0, 600)
            out.append(Receipt(at, round(float(stated), 2), event.litres, number))
        return tuple(out)


def _summed(flows: list[tuple[float, float, float]], steps: int) -> Floats:
    """Return what has flowed up to each step. [L]"""
    rate = np.zeros(steps + 2)
    for start, end, flow in flows:
        a, b = start / STEP_S, min(end / STEP_S, steps)
        if a < steps and b > a:
            _spread(rate, a, b, flow)
    total: Floats = np.cumsum(rate[:steps]) * STEP_S
    return total


def _spread(rate: Floats, a: float, b: float, flow: float) -> None:
    """Add ``flow`` to the steps from ``a`` to ``b``, broken steps in part."""
    i, j = int(a), int(b)
    if i == j:
        rate[i] += flow * (b - a)
        return
    rate[i] += flow * (i + 1 - a)
    rate[i + 1 : j] += flow
    rate[j] += flow * (b - j)
