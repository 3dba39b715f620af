"""A second simulator of logs with known truth, to score what was tuned on the first.

Its physics was written without looking at `gaugewright.testing.logs`: other machines, other
tanks, other faults. Detectors tuned on the one are scored on the other, so that a threshold that
only fits the habits of one simulator shows. It is for scoring: what is set by it is no longer
checked by it.

A month on a grid of 5 s: the level's height follows from the tank's shape, leans with the
vehicle, is shaken, swells with its warmth; a second tank may level out with it through a pipe.
The probe averages, drifts and ends short of the tank's top and bottom; the unit sends what and
when it likes. All figures are common practice, no source.

Fuel is counted at 15 °C inside; an event is stated at the fuel's own temperature.
"""

from dataclasses import dataclass, field

import numpy as np

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.testing.logs import START_S, TrueEvent
from gaugewright.testing.other_course import STEP_S, course_of
from gaugewright.testing.other_fuel import Month, Tanks, power_cuts, rests
from gaugewright.testing.other_sight import Shape, Sight
from gaugewright.testing.other_work import DAY_S, MACHINES, Habits, stretches_of
from gaugewright.watch.values import Floats, Track

DAYS = 30
KINDS = tuple(MACHINES)
LEAST_LEFT = 0.02
"""Least part of the tank's fuel that a month may come down to."""
THIRSTS = (1.0, 0.8, 0.65, 0.5, 0.35, 0.2, 0.1)
"""How thirsty a machine may be, tried one after the other until its month never runs dry."""


@dataclass(frozen=True, eq=False)
class OtherLog:
    """One vehicle-month, its table, and what really happened.

    ``told`` is which columns are filled: 'both', 'ignition', 'speed' or 'neither'. ``true_l`` is
    what was in the tanks at each record and ``used_l`` what the engine had used, at 15 °C. [L]
    """

    kind: str
    told: str
    track: Track
    table: Table
    truth: tuple[TrueEvent, ...]
    capacity_l: float
    true_l: Floats = field(repr=False)
    used_l: Floats = field(repr=False)


def other_log(kind: str, seed: int, *, has_drains: bool = True) -> OtherLog:
    """Return a month of one kind of machine; the same for the same kind and seed.

    Without drains the machine, its work, its probe and its unit are the same.

    Raises
    ------
    InputError
        If there is no such kind (`KINDS` are all there are), or its tank would run dry.

    >>> log = other_log("van", 1)
    >>> log.told, log.track.time_s.size > 3000, len(log.truth) > 3
    ('both', True, True)
    """
    if kind not in MACHINES:
        raise InputError(f"no kind {kind!r}, there are: {', '.join(KINDS)}")
    machine = MACHINES[kind]
    seeds = np.random.SeedSequence([seed, KINDS.index(kind)]).spawn(5)
    work, tank_seed, filling, taking, seeing = (np.random.default_rng(s) for s in seeds)
    habits = Habits.drawn(work)
    stretches = stretches_of(kind, DAYS, habits, work)
    course = course_of(kind, stretches, habits, work)
    sight = Sight.drawn(machine, tank_seed)
    shape = Shape.drawn(str(tank_seed.choice(machine.shapes)), tank_seed)
    tanks = Tanks.drawn(machine, tank_seed)
    drains = int(taking.choice([3, 8, 10, 12])) if has_drains else 0
    states = filling.bit_generator.state, taking.bit_generator.state
    for thirst in THIRSTS:
        filling.bit_generator.state, taking.bit_generator.state = states
        month = Month(kind, tanks, course, thirst)
        month.live(rests(kind, stretches), drains, filling, taking)
        first_l, total_l = month.litres()
        swell = month.swell
        if (first_l * swell).min() > LEAST_LEFT * tanks.first_l:
            break
    else:
        raise InputError(f"{kind} {seed} runs dry however little it uses")
    height = np.interp(np.clip(first_l * swell / tanks.first_l, 0, 1), shape.filled, shape.heights)
    counts = sight.counts(height, course, month.pours, seeing)
    holes = [*month.holes, *power_cuts(stretches, kind, sight.loses_power, seeing)]
    times = sight.recorded(DAYS * DAY_S, course, holes, seeing)
    at = (times / STEP_S).astype(np.int64)
    return OtherLog(
        kind=kind,
        told=sight.told,
        track=sight.track(f"{kind}-{seed}", START_S, times, counts, course, seeing),
        table=sight.table(shape, tanks.total_l, seeing),
        truth=tuple(sorted(month.events, key=lambda event: event.start_s)),
        capacity_l=tanks.total_l,
        true_l=total_l[at],
        used_l=month.used_l[at],
    )
