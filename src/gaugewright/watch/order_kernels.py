"""The loops of putting records in order, compiled; imported only when they are run.

Compiled code is kept beside this file or in the user's cache folder, so that only the very
first run waits for the compiler.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import compiled

Floats = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.floating[Any]]
Places = npt.NDArray[np.int64]
Rows = npt.NDArray[np.integer[Any]]
Kept = tuple[Rows, Rows, int]
"""Runs of places that follow each other: the first ones, those after the last, how many in all."""


@compiled
def is_rising(time_s: Floats, low_s: float, high_s: float) -> bool:
    """Return whether every time is within the limits and after the one before."""
    before = low_s
    for i in range(time_s.size):
        t = time_s[i]
        if not t <= high_s or not (t > before or (i == 0 and t >= low_s)):
            return False
        before = t
    return True


@compiled
def late_places(time_s: Floats, low_s: float, high_s: float) -> tuple[Places, float, int]:
    """Return which records came after a later one, by how much at most, and how many fell out.

    Those that fell out, beyond the limits, stand among the late with their place made negative
    (-1 - place), all in order of arrival.
    """
    aside = np.empty(time_s.size, np.int64)  # only the pages written to are ever taken
    found = fallen = 0
    latest, worst_s = low_s, 0.0
    for i in range(time_s.size):
        t = time_s[i]
        if t >= latest and t <= high_s:
            latest = t
        elif t >= low_s and t <= high_s:
            worst_s = max(worst_s, latest - t)
            aside[found] = i
            found += 1
        else:
            fallen += 1
            aside[found] = -1 - i
            found += 1
    return aside[:found].copy(), worst_s, fallen


@compiled
def one_of_each(time_s: Floats, counts: Numbers, aside: Places, late: Places) -> tuple[Kept, int]:
    """Return one place for each moment in order of time, and at how many the counts contradict.

    ``aside`` are the places to pass over, in order of arrival, as `late_places` gives them;
    ``late`` those among them to put in where they belong, in order of time.  The first to
    arrive that carries counts stands; if none does, the first to arrive.
    """
    n = time_s.size
    first, end = np.empty(n, np.uint32), np.empty(n, np.uint32)  # only what is written is taken
    runs = kept = contradicting = 0
    contradicts = False
    last_s = -np.inf
    p = b = i = 0
    next_aside = n if aside.size == 0 else max(aside[0], -1 - aside[0])
    next_late_s = np.inf if late.size == 0 else time_s[late[0]]
    while True:
        while i == next_aside and i < n:
            i += 1
            p += 1
            next_aside = n if p == aside.size else max(aside[p], -1 - aside[p])
        # Mostly one moment follows the other and nothing else is to be thought of.
        straight = i
        while i < next_aside and i < n and last_s < time_s[i] <= next_late_s:
            last_s = time_s[i]
            i += 1
        if i > straight:
            first[runs], end[runs] = straight, i
            runs += 1
            kept += i - straight
            contradicts = False
            continue
        if i < n and time_s[i] <= next_late_s:
            here = i
            i += 1
        elif b < late.size:
            here = late[b]
            b += 1
            next_late_s = np.inf if b == late.size else time_s[late[b]]
        else:
            break
        t = time_s[here]
        if t != last_s:
            first[runs], end[runs] = here, here + 1
            runs += 1
            kept += 1
            last_s = t
            contradicts = False
        elif np.isfinite(counts[here]):
            stands = counts[np.int64(end[runs - 1]) - 1]
            if not np.isfinite(stands):
                # It takes the place of the last one, which ends or was a run of its own.
                if end[runs - 1] - first[runs - 1] == 1:
                    runs -= 1
                else:
                    end[runs - 1] -= 1
                first[runs], end[runs] = here, here + 1
                runs += 1
            elif counts[here] != stands and not contradicts:
                contradicts = True
                contradicting += 1
    return (first[:runs].copy(), end[:runs].copy(), kept), contradicting


@compiled
def taken(values: Numbers, kept: Kept) -> Floats:
    """Return the values at the places."""
    first, end, size = kept
    result = np.empty(size, np.float64)
    held = np.uint64(0)
    for run in range(first.size):
        begin, until = np.uint64(first[run]), np.uint64(end[run])
        for i in range(begin, until):  # unsigned: several at once, none counted from the end
            result[held + (i - begin)] = values[i]
        held += until - begin
    return result


@compiled
def looked_up(table: npt.NDArray[np.int32], places: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Return the entries of a table at the places, none negative."""
    result = np.empty(places.size, np.int32)
    for i in range(places.size):
        result[i] = table[places[i]]
    return result


@compiled
def places_by_code(codes: npt.NDArray[np.int32], size: int) -> tuple[npt.NDArray[np.int32], Places]:
    """Return where each record goes when sorted by code, and where each code begins.

    Records of one code keep their order of arrival.  A negative code goes nowhere (-1).
    """
    starts = np.zeros(size + 1, np.int64)
    for i in range(codes.size):
        if codes[i] >= 0:
            starts[codes[i] + 1] += 1
    for k in range(size):
        starts[k + 1] += starts[k]
    following = starts[:size].copy()
    places = np.empty(codes.size, np.int32)
    for i in range(codes.size):
        code = codes[i]
        if code < 0:
            places[i] = -1
        else:
            places[i] = following[code]
            following[code] += 1
    return places, starts


@compiled
def scatter(values: Numbers, places: npt.NDArray[np.int32], into: Numbers) -> None:
    """Put each value in its place."""
    for i in range(values.size):
        if places[i] >= 0:
            into[places[i]] = values[i]
