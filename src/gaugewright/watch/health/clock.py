"""Health of the clock: was it wrong for a while?

Records whose clock ran behind or ahead lie among those of another time, and leave the hole from
which they were taken.  Both are as long as the clock was wrong.
"""

from collections.abc import Iterator

import numpy as np

from gaugewright.watch.health.case import (
    HOUR_S,
    Case,
    HealthKind,
    HealthNote,
    moment_of,
    span_of,
)
from gaugewright.watch.health.loops import doubled_in, sleeping_steps
from gaugewright.watch.middles import median

LEAST_S = 1800.0
"""A clock that is wrong by less than this is not told from a hole now and then. [s]"""
SLEEP_PERIODS, MOST_SLEEP_S = 3.0, 2 * HOUR_S
"""Longer steps with the ignition off are those of a unit that sleeps; up to two hours."""
LEAST_SLEEPING, MOST_SLEEPING = 50, 2000
LEAST_SIGNS, SIGNS_A_STEP = 5, 0.8
"""Signs of two times that are asked for: in all, and in each of the longest usual steps."""
SLACK = 0.08
"""The hole and the stretch need not be of one length to more than this share."""


def clock(case: Case) -> Iterator[HealthNote]:
    """A clock that was wrong for a while: records of two times in one, and a hole as long."""
    time_s, period_s = case.track.time_s, case.period_s
    if time_s.size < 200 or not period_s > 0:
        return
    asleep_s = _asleep_s(case)
    sleeps = asleep_s > period_s
    lows, highs, signs, holes = doubled_in(
        time_s, period_s, asleep_s, 2.2 * asleep_s if sleeps else 20 * period_s,
        max(LEAST_S, 2.2 * asleep_s),
    )  # fmt: skip
    holes_s = time_s[holes + 1] - time_s[holes]
    for low, high, sign in zip(lows.tolist(), highs.tolist(), signs.tolist(), strict=True):
        both_s = float(time_s[high] - time_s[low])
        if both_s < LEAST_S or sign < max(LEAST_SIGNS, SIGNS_A_STEP * both_s / asleep_s):
            continue
        slack_s = max(10 * period_s, SLACK * both_s) + (2 * asleep_s if sleeps else 0.0)
        fits = holes[np.abs(holes_s - both_s) <= slack_s]
        if not fits.size:
            continue
        hole = int(fits[np.argmin(np.abs(fits - low))])
        yield _note(case, low, high, hole)
        return


def _asleep_s(case: Case) -> float:
    """Usual step between records of a unit that sleeps when parked; of one that does not, any."""
    track = case.track
    steps = sleeping_steps(
        track.time_s, track.ignition, SLEEP_PERIODS * case.period_s, MOST_SLEEP_S, MOST_SLEEPING
    )
    return median(steps) if steps.size >= LEAST_SLEEPING else case.period_s


def _note(case: Case, low: int, high: int, hole: int) -> HealthNote:
    time_s = case.track.time_s
    both = span_of(float(time_s[high] - time_s[low]))
    way = "ahead" if hole < low else "behind"
    return case.note(
        HealthKind.CLOCK_JUMP,
        min(time_s[hole], time_s[low]),
        max(time_s[hole + 1], time_s[high]),
        f"From {moment_of(float(time_s[low]))} records of two times lie among each other for "
        f"{both}, and a hole of {span_of(float(time_s[hole + 1] - time_s[hole]))} stands at "
        f"{moment_of(float(time_s[hole]))}: the clock was {both} {way} for a while.",
        "Set the unit's clock from the satellites and its zone to UTC; events of that time "
        "are not to be trusted.",
    )
