"""One sentence for each event: what was seen, and why it is called what it is."""

import numpy as np

from gaugewright.watch.around import hidden_use_l, is_untold, may_have_moved
from gaugewright.watch.change import Change
from gaugewright.watch.look import Seen

_OUTSIDE_KNOWN_L2 = 1e4
SILENT_S = 4 * 3600.0
"""Without records for longer than this during an event, other fuel may have passed too; set on
logs that are not scored. [s]"""


def reason_of(seen: Seen, change: Change, litres: float, band_l: float) -> str:
    """Return the reason of an event in one sentence, with its figures and records."""
    bins = seen.bins
    minutes = float(bins.time_s[change.after] - bins.time_s[change.before]) / 60
    verb = "rose" if change.litres > 0 else "fell"
    state = "at rest with the engine off"
    if is_untold(seen, change):
        state = "while no record tells of the engine"
    elif bins.running[change.before] > 0.5:
        state = "at rest with the engine running"
    if not change.inside:
        return (
            f"no record at rest shows the moment, but the level after the stop of "
            f"{minutes:.0f} min stands {litres:.1f} ± {band_l:.1f} L "
            f"{'above' if change.litres > 0 else 'below'} the level before it, use taken off"
            f"{_silence(seen, change)}"
        )
    said = (
        f"{state} the level {verb} by {litres:.1f} ± {band_l:.1f} L "
        f"within {max(minutes, 1):.0f} min and stayed{_silence(seen, change)}"
    )
    if change.crept:
        said += ", though the vehicle crept meanwhile"
    if change.outside_l2 < _OUTSIDE_KNOWN_L2:
        said += (
            f"; carried from before the stop to after it, {abs(change.outside_l):.1f} ± "
            f"{1.96 * change.outside_l2**0.5:.1f} L "
            f"{'came' if change.outside_l > 0 else 'went'}"
        )
    return said


def _silence(seen: Seen, change: Change) -> str:
    """Return what is to be said of hours without a record during an event."""
    time_s = seen.bins.time_s[change.before : change.after + 1]
    if time_s[-1] - time_s[0] <= SILENT_S:
        return ""
    silent_s = float(np.diff(time_s).max())
    if silent_s <= SILENT_S:
        return ""
    other = "gone" if change.litres > 0 else "come"
    return (
        f", with no record for {silent_s / 3600:.0f} h of it, in which fuel may also have {other}"
    )


def rises_too(change: Change) -> str:
    """Return why a fall like many rises of the same vehicle is not called fuel."""
    return (
        f"the level changed by {change.litres:+.1f} L, but in this vehicle it also rises as far "
        "without a refuel: the load, the slope or an uneven use shifts it"
    )


def reaches_nothing(change: Change, band_l: float) -> str:
    """Return why a fall that may have been none is not called fuel."""
    return (
        f"the level changed by {change.litres:+.1f} L, known to ± {band_l:.1f} L only: it may have "
        "been nothing"
    )


def why_undecided(seen: Seen, change: Change) -> str:
    """Return why a plain change of the level is not called fuel, in one sentence."""
    size = f"the level changed by {change.litres:+.1f} L"
    outside = 1.96 * change.outside_l2**0.5
    if change.litres < 0 and is_untold(seen, change):
        return f"{size} and no record tells of the engine: it may be use, a slope or fuel taken"
    if change.litres < 0 and may_have_moved(seen, change):
        return f"{size} and no record tells whether the vehicle moved: it may be a slope or a load"
    hidden_l = hidden_use_l(seen, change)
    if change.litres < 0 and -change.litres < hidden_l:
        return (
            f"{size} across a hole in the record, in which the engine may have used up to "
            f"{hidden_l:.0f} L"
        )
    if abs(change.litres) < seen.flowing_l[change.before]:
        return f"{size} while a second tank behind a balance pipe was still levelling out"
    if change.outside_l2 >= _OUTSIDE_KNOWN_L2:
        return f"{size} in the stop, and what it was before or after the stop is not known"
    if not change.inside:
        return f"{size} across a stop without records; it may be slope, use or fuel"
    if abs(change.outside_l) < outside and outside < abs(change.litres):
        return (
            f"{size} in the stop, but from before it to after it nothing is missing "
            f"({change.outside_l:+.1f} ± {outside:.1f} L): the load or the slope shifted"
        )
    return (
        f"{size} in the stop, and from before it to after it by {change.outside_l:+.1f} ± "
        f"{outside:.1f} L: too wide to tell fuel from a shift of load or slope"
    )
