"""One verdict before leaving: the data arrives, or what is missing, with figures and bands."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from gaugewright.pours.arrives.align import Alignment, Estimate, align
from gaugewright.pours.arrives.coming import coming, off_seen, standing_still
from gaugewright.pours.arrives.series import Check, Far, Off

FULL_SCALES: Final = {
    255.0: "8 bits", 1023.0: "10 bits", 4095.0: "12 bits", 16383.0: "14 bits", 65535.0: "16 bits",
    1000.0: "per mille", 100.0: "per cent",
}  # fmt: skip
"""Scales that receiving systems are set to, by their top figure."""
SERVICE_SAMPLES, POURING_SAMPLES = 64, 8
"""Samples averaged in service and while pouring (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What is still good; common practice, no source."""

    most_delay_s: float = 300.0
    """Longest delay that is looked for and let pass. [s]"""
    most_lost: float = 0.05
    """Share of records that may be lost. [1]"""
    slope_off: float = 0.02
    """Departure of the slope from 1 that is another scale. [1]"""
    offset_off: float = 0.01
    """Departure of the level that is another zero, as a share of the full scale. [1]"""
    least_r2: float = 0.8
    """Share of what the records do that the readings must explain. [1]"""
    least_move: float = 0.005
    """The reading must have moved by so much of the full scale. [1]"""
    least_off_s: float = 60.0
    """The ignition must have been off for so long. [s]"""
    widest_delay_s: float = 20.0
    """Half-width of the delay's band above which it is not known. [s]"""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that was looked at."""

    kind: str
    state: str
    """``good``, ``missing`` (not shown yet), ``wrong`` or ``note``."""
    message: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Arrival:
    """Whether the data arrives."""

    items: tuple[Item, ...]
    alignment: Alignment | None

    @property
    def is_safe(self) -> bool:
        """Whether nothing is missing and nothing is wrong."""
        return all(item.state in ("good", "note") for item in self.items)

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        open_items = [item for item in self.items if item.state in ("wrong", "missing")]
        if not open_items:
            return "Safe to leave: what the probe reads arrives at the other end."
        first = next((item for item in open_items if item.state == "wrong"), open_items[0])
        more = len(open_items) - 1
        rest = "" if not more else f" ({more} more below)"
        return f"Not yet: {first.message[0].lower()}{first.message[1:].rstrip('.')}{rest}."


def judge(check: Check, limits: Limits | None = None) -> Arrival:
    """Return whether what the probe reads arrives, item by item.

    >>> from gaugewright.pours.arrives.series import Near
    >>> t = np.arange(0.0, 60.0, 0.5)
    >>> nothing = Far(np.array([]), np.array([]))
    >>> judge(Check(Near(t, 100 + t), nothing, until_s=60.0)).sentence
    'Not yet: no record has come in 60 s (1 more below).'
    """
    limits = limits or Limits()
    far = check.far.ordered()
    if not len(far.values):
        passed = _lasting(check.until_s - _first_s(check))
        items = [Item("arrives", "missing", f"No record has come in {passed}.")]
        items += [*_moved(check, limits), *_off(check, 0.0, limits)]
        return Arrival(tuple(items), None)
    found = align(check.near, far, limits.most_delay_s)
    stuck = _stuck(check, far, limits)
    follows = found is not None and not stuck and found.r2 >= limits.least_r2
    delay_s = found.delay_s.value if follows and found is not None else 0.0
    items = [*_comes(check, far, delay_s), *_lost(check, delay_s, limits)]
    moved = _moved(check, limits)
    if stuck:
        items.append(stuck)
    elif moved:
        items += [*moved, *_level(check, far, limits)]
    elif found is None:
        items.append(
            Item("follows", "missing", f"Only {len(far.values)} records lie beside the readings.")
        )
    else:
        items += _followed(check, far, found, limits)
    items += _off(check, delay_s, limits)
    return Arrival(tuple(items), found)


def _first_s(check: Check) -> float:
    return float(check.near.times_s[0]) if len(check.near.times_s) else check.until_s


def _comes(check: Check, far: Far, delay_s: float) -> list[Item]:
    age_s = check.until_s - float(far.seen_s.max())
    every = float(np.median(np.diff(far.times_s))) if len(far.values) > 2 else None
    is_off = any(off.to_s >= check.until_s - 1.0 for off in check.off)
    late = every is not None and age_s > max(4 * every, 30.0) + max(delay_s, 0.0)
    if late and not is_off:
        return [
            Item("arrives", "wrong", f"Records have stopped: the last came {age_s:.0f} s ago.",
                 age_s, unit="s")
        ]  # fmt: skip
    told = f"{len(far.values)} records have come, the last {age_s:.0f} s ago."
    return [Item("arrives", "good", told, float(len(far.values)))]


def _lost(check: Check, delay_s: float, limits: Limits) -> list[Item]:
    if check.far.are_polls:
        words = "The records carry no time of their own: whether any are lost cannot be told."
        return [Item("gaps", "note", words)]
    found = coming(check, delay_s)
    if found is None:
        return [Item("gaps", "missing", "Too few records to see whether any are lost.")]
    share = found.share
    told = (
        f"A record every {found.every_s:.3g} s; {found.lost} of {found.due} are lost "
        f"({100 * share.value:.0f} %, {100 * share.low:.0f} to {100 * share.high:.0f} %)"
    )
    figures = (share.value, share.low, share.high, "1")
    if share.value > limits.most_lost and found.lost > 1:
        at = found.longest_from_s - _first_s(check)
        gap = f"; the longest gap is {found.longest_s:.0f} s, {at / 60:.1f} min in"
        return [Item("gaps", "wrong", f"{told}{gap}.", *figures)]
    if share.high > 4 * limits.most_lost:
        return [Item("gaps", "missing", f"{told}: too few yet to be sure.", *figures)]
    return [Item("gaps", "good", f"{told}.", *figures)]


def _moved(check: Check, limits: Limits) -> list[Item]:
    """Return what is missing if the reading hardly moved, nothing if it did."""
    values = check.near.values
    if len(values) < 8:
        return [Item("follows", "missing", "No reading of the probe is live.")]
    low, high = np.quantile(values, [0.02, 0.98])
    noise = 1.4826 * float(np.median(np.abs(np.diff(values)))) / 2**0.5
    wanted = max(limits.least_move * check.full_scale, 8 * noise)
    if high - low >= wanted:
        return []
    told = (
        f"The reading moved by only {high - low:.0f} {check.unit}; pour or draw fuel so that it "
        f"moves by {wanted:.0f} {check.unit} or more."
    )
    return [Item("follows", "missing", told, float(high - low), unit=check.unit)]


def _stuck(check: Check, far: Far, limits: Limits) -> Item | None:
    """Tell a figure that stands still while the probe moves."""
    since_s, value, same = standing_still(far)
    last_s = float(far.times_s[-1])
    near = check.near
    if same < 5 or not len(near.times_s):
        return None
    # What has moved lately may still be on its way.
    on_its_way_s = min(60.0, 0.25 * max(last_s - since_s, 0.0))
    seen = (near.times_s >= since_s) & (near.times_s <= last_s - on_its_way_s)
    if seen.sum() < 8:
        return None
    low, high = np.quantile(near.values[seen], [0.02, 0.98])
    step = max(check.least_step, limits.least_move * check.full_scale)
    if high - low < 2 * step:
        return None
    told = (
        f"Their figure has stood at exactly {value:.10g} for {(last_s - since_s) / 60:.1f} min "
        f"({same} records) while the probe moved by {high - low:.0f} {check.unit}: it is frozen, "
        f"or not this probe's."
    )
    return Item("follows", "wrong", told, value, unit=check.unit)


def _level(check: Check, far: Far, limits: Limits) -> list[Item]:
    """Tell a scale that is another even where nothing moved."""
    here, there = float(np.median(check.near.values)), float(np.median(far.values))
    off = abs(there - here)
    if off <= limits.offset_off * check.full_scale:
        return []
    name = _scale_named(there / here, check) if here > 0 else ""
    told = f"They show {there:.10g} where the probe reads {here:.10g} {check.unit}{name}."
    return [Item("scale", "wrong", told, there, unit=check.unit)]


def _followed(check: Check, far: Far, found: Alignment, limits: Limits) -> list[Item]:
    if found.r2 < limits.least_r2 or found.slope.value <= 0:
        return [_another(check, far, found, limits)]
    told = (
        f"The records follow this probe: it explains {100 * found.r2:.1f} % of what they do "
        f"({found.records} records)."
    )
    items = [Item("follows", "good", told, found.r2, unit="1")]
    return [
        *items,
        _delay(found, far, limits),
        _scale(check, found, limits),
        _average(check, found),
    ]


def _another(check: Check, far: Far, found: Alignment, limits: Limits) -> Item:
    """Tell records that do not follow the probe, and whose they are if that can be seen."""
    told = (
        f"The records do not follow this probe: it explains {100 * max(found.r2, 0.0):.0f} % of "
        f"what they do"
    )
    for name, near in check.others.items():
        other = align(near, far, limits.most_delay_s)
        if other is not None and other.r2 >= limits.least_r2 and other.slope.value > 0:
            told += f"; they follow {name} ({100 * other.r2:.0f} %)"
            break
    return Item(
        "follows", "wrong", f"{told}: another sensor is connected there.", found.r2, unit="1"
    )


def _delay(found: Alignment, far: Far, limits: Limits) -> Item:
    delay = found.delay_s
    told = f"It shows {max(delay.value, 0.0):.1f} s late ({delay.low:.1f} to {delay.high:.1f} s)"
    figures = (delay.value, delay.low, delay.high, "s")
    if far.stamped_s is not None:
        clock_s = delay.value - far.journey_s
        if abs(clock_s) > 30.0:
            way = "ahead of" if clock_s > 0 else "behind"
            told += f"; the times in the records are {abs(clock_s):.0f} s {way} this clock"
    if delay.half > limits.widest_delay_s:
        return Item(
            "delay", "missing", f"{told}: pour or draw once more, quickly, to know it.", *figures
        )
    if delay.low > limits.most_delay_s - 1.0:
        return Item("delay", "wrong", f"{told}.", *figures)
    return Item("delay", "good", f"{told}.", *figures)


def _scale(check: Check, found: Alignment, limits: Limits) -> Item:
    slope, offset = found.slope, found.offset
    told = f"One step here is {slope.value:.4f} there ({slope.low:.4f} to {slope.high:.4f})"
    figures = (slope.value, slope.low, slope.high, "1")
    is_known = slope.half < 2.5 * limits.slope_off or _is_off(slope, 1.0, limits.slope_off)
    if not is_known:
        return Item("scale", "missing", f"{told}: let the reading move further.", *figures)
    if _is_off(slope, 1.0, limits.slope_off):
        name = _scale_named(slope.value, check)
        return Item("scale", "wrong", f"{told}, wanted 1{name}.", *figures)
    allowed = limits.offset_off * check.full_scale
    if _is_off(offset, 0.0, allowed):
        side = "more" if offset.value > 0 else "less"
        words = (
            f"They show {abs(offset.value):.1f} {check.unit} {side} than the probe reads "
            f"({offset.low:+.1f} to {offset.high:+.1f}): their zero is another"
        )
        return Item(
            "scale", "wrong", f"{words}.", offset.value, offset.low, offset.high, check.unit
        )
    level = f"level {offset.value:+.1f} {check.unit} ({offset.low:+.1f} to {offset.high:+.1f})"
    return Item("scale", "good", f"{told}; {level}.", *figures)


def _is_off(found: Estimate, wanted: float, allowed: float) -> bool:
    """Whether a figure is off by more than is allowed, and surely so."""
    return abs(found.value - wanted) > allowed and not found.low <= wanted <= found.high


def _scale_named(ratio: float, check: Check) -> str:
    for top, words in FULL_SCALES.items():
        if top != check.full_scale and abs(ratio * check.full_scale / top - 1) < 0.01:
            return (
                f": they are on a scale of 0 to {top:g} ({words}) where 0 to "
                f"{check.full_scale:g} is expected"
            )
    return ""


def _average(check: Check, found: Alignment) -> Item:
    width = found.width_s
    told = (
        f"Beyond this reading's own average theirs is over {width.value:.1f} s "
        f"({width.low:.1f} to {width.high:.1f} s)"
    )
    figures = (width.value, width.low, width.high, "s")
    if check.hz is None:
        return Item("averaging", "note", f"{told}.", *figures)
    low, high = (check.hz * w for w in (width.low, width.high))
    told += f", about {check.hz * width.value:.0f} samples ({low:.0f} to {high:.0f})"
    if high < SERVICE_SAMPLES / 2:
        told += (
            f": light, as for pouring ({POURING_SAMPLES}); {SERVICE_SAMPLES} are usual in service"
        )
    elif low <= SERVICE_SAMPLES <= high:
        told += f": as is usual in service ({SERVICE_SAMPLES})"
    return Item("averaging", "note", f"{told}.", *figures)


def _off(check: Check, delay_s: float, limits: Limits) -> list[Item]:
    if not check.is_off_wanted:
        words = "Data with the ignition off was not asked for: nothing is seen while parked."
        return [Item("ignition_off", "note", words)]
    tried = [s for s in off_seen(check, delay_s) if _seen_s(s.off, check, delay_s) > 0]
    long = [s for s in tried if _seen_s(s.off, check, delay_s) >= limits.least_off_s]
    if not long:
        wanted = f"{limits.least_off_s / 60:.0f} min or more"
        words = (
            f"Switch the ignition off for {wanted} and say so here: refuels and drains happen "
            "while parked."
        )
        if tried:
            so_far = _lasting(_seen_s(tried[-1].off, check, delay_s))
            words = f"The ignition was off for {so_far} so far: {wanted} is wanted."
        return [Item("ignition_off", "missing", words)]
    last = long[-1]
    minutes = _seen_s(last.off, check, delay_s) / 60
    if last.records == 0:
        words = (
            f"Nothing came for {minutes:.1f} min with the ignition off: a drain from the parked "
            "vehicle would not be seen."
        )
        return [Item("ignition_off", "wrong", words, 0.0, unit="1")]
    every = "" if last.every_s is None else f", one every {last.every_s:.3g} s"
    later = f"; {last.came_later} only after it was on again" if last.came_later else ""
    words = f"{last.records} records of {minutes:.1f} min with the ignition off{every}{later}."
    return [Item("ignition_off", "good", words, float(last.records), unit="1")]


def _lasting(seconds: float) -> str:
    """Say a span: in seconds below two minutes, then in minutes.

    >>> _lasting(12.4), _lasting(720.0)
    ('12 s', '12.0 min')
    """
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.1f} min"


def _seen_s(off: Off, check: Check, delay_s: float) -> float:
    """Return how long records of a stretch had time to come. [s]"""
    return min(off.to_s, check.until_s - max(delay_s, 0.0)) - off.from_s
