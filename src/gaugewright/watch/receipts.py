"""Receipts held against refuels: paid for and in the tank, paid for and not, never paid for.

A receipt's time is the till's, minutes after the pump and by another clock; its litres are the
dispenser's, within what the law allows it.  A refuel's litres carry the band of the watch.
Which receipt belongs to which refuel is the most likely of all ways to pair them, where one
receipt may pay for two refuels of one stop and two receipts for one refuel.

The error rate is stated, not hoped for: `FALSE_SHORT` of honest receipts come out as `short`
(and as many as `over`), as far as the bands hold what they say.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import inf, isfinite, sqrt
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.watch.compiled import compiled
from gaugewright.watch.pairs import Group, best_groups
from gaugewright.watch.telling import SILENT_S
from gaugewright.watch.unseen import TOLD, UNSEEN, UNSEEN_PART
from gaugewright.watch.usual import UNTOLD, Usual, hidden_without_each, usual_without_each
from gaugewright.watch.values import Event, EventKind, Undecided

FALSE_SHORT = 0.02
"""Share of honest receipts that may come out as short."""
METER_MPE = 0.005
"""What a fuel dispenser may be wrong by, as a share: class 0.5 of OIML R 117-1, Table 2."""
COVERAGE_95 = NormalDist().inv_cdf(0.975)
TILL_S = 3 * 3600.0
"""How far a receipt's time may be from its refuel. [s]"""
GAP_S = 1800.0
"""Without records for longer than this, a refuel could have passed unseen. [s]"""
ACROSS_GAP = "what was used or taken then is not known"
AS_MUCH_L = 10.0
"""Litres within this, or a twentieth, are 'the like' of another receipt. [L]"""

AT_END = 0.003
"""Nearer to the probe's top than this share of the tank, fuel may have gone beyond it."""
TO_THE_TOP = "rose to the probe's top"


class Verdict(StrEnum):
    """What becomes of one receipt."""

    AGREES = "agrees"
    SHORT = "short"
    OVER = "over"
    NOT_SEEN = "not_seen"
    NO_DATA = "no_data"


@dataclass(frozen=True)
class Receipt:
    """Proof of a purchase; ``number`` is its row in the file, the first being 1. [s, L]"""

    vehicle: str
    time_s: float
    litres: float
    number: int
    supplier: str = ""

    def __post_init__(self) -> None:
        """Refuse what is no purchase."""
        if not self.litres > 0:
            raise InputError(f"receipt {self.number}: {self.litres:g} L, wanted more than 0 L")


@dataclass(frozen=True)
class Seen:
    """What the watch knows of one vehicle: its refuels, what it could not decide, its gaps.

    ``gaps`` are stretches without records longer than `GAP_S`; ``first_s`` and ``last_s`` the
    ends of the records; ``least_l`` the least refuel that this vehicle's data can show;
    ``bottom_l`` and ``top_l`` what is in the tank at the probe's two ends. [s, L]
    """

    vehicle: str
    events: tuple[Event, ...]
    undecided: tuple[Undecided, ...]
    gaps: tuple[tuple[float, float], ...]
    first_s: float
    last_s: float
    least_l: float = 0.0
    bottom_l: float = 0.0
    top_l: float = inf

    @property
    def refuels(self) -> list[Event]:
        """The refuels, in order of time."""
        found = [event for event in self.events if event.kind == EventKind.REFUEL]
        return sorted(found, key=lambda event: event.start_s)


@dataclass(frozen=True)
class Reconciled:
    """One receipt's verdict.

    ``difference_l`` is what the tank got less what was paid for: negative where fuel is
    missing.  ``u_difference_l`` is the half-width of its 95 % band.  All three are ``None``
    where no refuel belongs to the receipt. [s, L]
    """

    vehicle: str
    receipt: int
    verdict: Verdict
    receipt_l: float
    tank_l: float | None
    difference_l: float | None
    u_difference_l: float | None
    time_s: float
    reason: str
    refuels: tuple[Event, ...] = ()


@dataclass(frozen=True)
class Reconciliation:
    """All receipts in their order, and the refuels that nobody has a receipt for."""

    receipts: tuple[Reconciled, ...]
    without_receipt: tuple[Event, ...]


def gaps_in(time_s: npt.NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    """Return the stretches between records that are longer than `GAP_S`. [s]

    >>> gaps_in(np.array([0.0, 60.0, 4000.0, 4060.0]))
    ((60.0, 4000.0),)
    """
    silent = _after_gaps(time_s, GAP_S)
    return tuple((float(time_s[k - 1]), float(time_s[k])) for k in silent)


@compiled
def _after_gaps(time_s: npt.NDArray[np.float64], gap_s: float) -> npt.NDArray[np.int64]:
    """Return the numbers of the records that came more than ``gap_s`` after the one before."""
    places = np.empty(time_s.size, np.int64)  # only the pages written to are ever taken
    held = 0
    for i in range(1, time_s.size):
        if time_s[i] - time_s[i - 1] > gap_s:
            places[held] = i
            held += 1
    return places[:held].copy()


def reconcile(
    receipts: Sequence[Receipt], seen: Sequence[Seen], *, till_s: float = TILL_S
) -> Reconciliation:
    """Return every receipt's verdict, and the refuels without a receipt.

    >>> refuel = Event("T-7", EventKind.REFUEL, 1e9, 1e9 + 300, 392.0, 2.0, 100, 492, 9, "", 0, 9)
    >>> seen = Seen("T-7", (refuel,), (), (), 1e9 - 9e4, 1e9 + 9e4)
    >>> paid = Receipt("T-7", 1e9 + 600, 400.0, 1)
    >>> row = reconcile([paid], [seen]).receipts[0]
    >>> str(row.verdict), row.difference_l, round(row.u_difference_l, 1)
    ('short', -8.0, 3.0)
    """
    by_vehicle: dict[str, list[Receipt]] = {}
    for receipt in receipts:
        by_vehicle.setdefault(receipt.vehicle, []).append(receipt)
    known = {one.vehicle: one for one in seen}
    alike = {_plain(name): name for name in known}
    groups = {
        vehicle: best_groups(
            [(one.time_s, one.litres) for one in own],
            [(event.start_s, event.end_s, event.litres, event.u_litres)
             for event in known[vehicle].refuels] if vehicle in known else [],
            till_s=till_s,
        )
        for vehicle, own in by_vehicle.items()
    }  # fmt: skip
    unmatched = [
        event
        for one in seen
        for place, event in enumerate(one.refuels)
        if not any(place in group.refuels for group in groups.get(one.vehicle, []))
    ]
    rows: list[Reconciled] = []
    for vehicle, own in by_vehicle.items():
        matched: set[int] = set()
        usual = _usual_of(groups[vehicle], own, known.get(vehicle))
        hidden = _hidden_of(groups[vehicle], own, known.get(vehicle))
        groups[vehicle] = [_first_written(group, own) for group in groups[vehicle]]
        for group in groups[vehicle]:
            rows += _judged(group, own, known[vehicle], usual.get(group), hidden.get(group))
            matched.update(group.receipts)
        for place, receipt in enumerate(own):
            if place in matched:
                continue
            twin = next((own[k] for k in matched if _same(own[k], receipt)), None)
            near = alike.get(_plain(vehicle))
            rows.append(
                _unseen(receipt, known.get(vehicle), unmatched, till_s, near)
                if twin is None
                else _written_twice(receipt, twin)
            )
    return Reconciliation(tuple(sorted(rows, key=lambda row: row.receipt)), tuple(unmatched))


def _first_written(group: Group, receipts: Sequence[Receipt]) -> Group:
    """Return the group with the first of receipts that say the very same in its place."""
    first = tuple(
        next(k for k, each in enumerate(receipts) if _same(each, receipts[place]))
        for place in group.receipts
    )
    return group if len({*first}) < len(first) else replace(group, receipts=first)


def _same(one: Receipt, other: Receipt) -> bool:
    return (one.time_s, one.litres) == (other.time_s, other.litres)


def _written_twice(receipt: Receipt, twin: Receipt) -> Reconciled:
    reason = f"says the very same as receipt {twin.number}, and there is one refuel for both"
    return Reconciled(
        receipt.vehicle, receipt.number, Verdict.NOT_SEEN, receipt.litres, None, None, None,
        receipt.time_s, reason,
    )  # fmt: skip


def u_difference(refuel_u_l: float, receipt_l: float) -> float:
    """Return the half-width of the 95 % band of tank less receipt. [L]

    A dispenser may be anywhere within its limits, so its standard uncertainty is the limit
    over √3.

    >>> round(u_difference(2.0, 400.0), 2)
    3.02
    """
    meter = METER_MPE * receipt_l / sqrt(3.0)
    return COVERAGE_95 * sqrt((refuel_u_l / COVERAGE_95) ** 2 + meter**2)


def _usual_of(
    groups: Sequence[Group], receipts: Sequence[Receipt], seen: Seen | None
) -> dict[Group, Usual | None]:
    """Return for each group what the vehicle's other receipts say is usual."""
    if seen is None:
        return {}
    told = [
        group
        for group in groups
        if not _unseen_end([seen.refuels[place] for place in group.refuels], seen)
    ]
    figures = [
        (
            sum(seen.refuels[place].litres for place in group.refuels) - paid,
            u_difference(sum(seen.refuels[place].u_litres for place in group.refuels), paid)
            / COVERAGE_95,
            paid,
        )
        for group in told
        for paid in [sum(receipts[place].litres for place in group.receipts)]
    ]
    difference, sd, paid_l = np.array(figures, dtype=np.float64).reshape(-1, 3).T
    return dict(zip(told, usual_without_each(difference, sd, paid_l), strict=True))


def _hidden_of(
    groups: Sequence[Group], receipts: Sequence[Receipt], seen: Seen | None
) -> dict[Group, float]:
    """Return what the vehicle's other refuels to the probe's top say is hidden above it. [L]"""
    if seen is None:
        return {}
    missing = {}
    for group in groups:
        refuels = [seen.refuels[place] for place in group.refuels]
        if _unseen_end(refuels, seen) == TO_THE_TOP:
            paid = sum(receipts[place].litres for place in group.receipts)
            missing[group] = paid - sum(event.litres for event in refuels)
    hidden = zip(missing, hidden_without_each(list(missing.values())), strict=True)
    return {group: litres for group, litres in hidden if litres is not None}


def _judged(
    group: Group,
    receipts: Sequence[Receipt],
    seen: Seen,
    usual: Usual | None,
    hidden_l: float | None,
) -> list[Reconciled]:
    """Return the verdict of the receipts of one group; they share what the tank got.

    Where it is known what is ``usual`` for this vehicle, what goes beyond that is judged; where
    it is known how much its refuels to the top hide, what is missing beyond that and the band.
    """
    own = [receipts[place] for place in group.receipts]
    refuels = tuple(seen.refuels[place] for place in group.refuels)
    paid = sum(one.litres for one in own)
    got = sum(event.litres for event in refuels)
    # The table's error is common to both refuels of a stop: their bands add.
    u = u_difference(sum(event.u_litres for event in refuels), paid)
    difference = got - paid
    taken = usual or UNTOLD
    beyond, sd = taken.beyond(difference, paid), taken.sd(u / COVERAGE_95, paid)
    limit = -NormalDist().inv_cdf(FALSE_SHORT) * sd
    verdict = Verdict.AGREES
    if abs(beyond) > limit:
        verdict = Verdict.SHORT if beyond < 0 else Verdict.OVER
    unseen = _unseen_end(refuels, seen)
    if unseen and verdict != Verdict.OVER:
        verdict = _judged_at_top(verdict, difference, refuels, paid, seen.top_l, hidden_l)
    gap_s = longest_gap_s(refuels, seen)
    if across := verdict == Verdict.SHORT and gap_s > SILENT_S:
        verdict = Verdict.NO_DATA
    reason = f"{got:.1f} L in the tank, {paid:.1f} L paid for, {difference:+.1f} ± {u:.1f} L"
    if usual is not None:
        half = COVERAGE_95 * sd
        reason += f"; {beyond:+.1f} ± {half:.1f} L beside what is usual for this vehicle"
    elif verdict == Verdict.AGREES and abs(beyond) > u:
        reason += f"; a refuel may be off by {limit:.1f} L without anybody's doing"
    if unseen:
        reason += f"; at least, for the fuel {unseen}, where the probe does not see it"
        if verdict == Verdict.SHORT:
            reason += f"; more than the {hidden_l:.1f} L that other refuels to the top lacked"
    if across:
        reason += f"; but there are no records for {gap_s / 3600:.1f} hours of it: {ACROSS_GAP}"
    if len(refuels) > 1:
        reason += f"; {len(refuels)} refuels of one stop together"
    if len(own) > 1:
        reason += f"; receipts {', '.join(str(one.number) for one in own)} together"
    return [
        Reconciled(
            one.vehicle, one.number, verdict, one.litres, got * one.litres / paid,
            difference * one.litres / paid, u * one.litres / paid, one.time_s, reason, refuels,
        )
        for one in own
    ]  # fmt: skip


def _judged_at_top(
    verdict: Verdict,
    difference_l: float,
    refuels: Sequence[Event],
    paid_l: float,
    top_l: float,
    hidden_l: float | None,
) -> Verdict:
    """Return what becomes of a receipt whose refuel gives a least amount only.

    Such a refuel's band leaves room for what a tank may hold above its probe. Where the
    vehicle's other refuels tell what it does hold there, theirs stands in its place.
    """
    if hidden_l is not None:
        room = sum(UNSEEN_PART * top_l for event in refuels if event.reason.endswith(UNSEEN))
        u = u_difference(sum(event.u_litres for event in refuels) - room, paid_l)
        if -difference_l > hidden_l - NormalDist().inv_cdf(FALSE_SHORT) * u / COVERAGE_95:
            return Verdict.SHORT
    return Verdict.NO_DATA if verdict == Verdict.SHORT else verdict


def _unseen_end(refuels: Sequence[Event], seen: Seen) -> str:
    """Return where a refuel left the probe's range, so that more went in than it saw."""
    for event in refuels:
        if event.reason.endswith(TOLD):
            continue
        if isfinite(seen.top_l) and event.after_l >= (1 - AT_END) * seen.top_l:
            return TO_THE_TOP
        if event.before_l <= seen.bottom_l + 0.1:
            return "was below the probe's tip before"
    return ""


def longest_gap_s(refuels: Sequence[Event], seen: Seen) -> float:
    """Return the longest stretch without records during some refuels, 0 if there is none. [s]"""
    return max(
        (
            end - start
            for event in refuels
            for start, end in seen.gaps
            if start < event.end_s and end > event.start_s
        ),
        default=0.0,
    )


def _plain(name: str) -> str:
    """Return a name without its capitals and spaces."""
    return "".join(name.split()).casefold()


def _unseen(
    receipt: Receipt, seen: Seen | None, unmatched: Sequence[Event], till_s: float,
    alike: str | None,
) -> Reconciled:  # fmt: skip
    """Return the verdict of a receipt that no refuel belongs to.

    ``alike`` is a vehicle of nearly the same name.
    """
    verdict, reason = Verdict.NO_DATA, _why_no_data(receipt, seen, till_s)
    if seen is None and alike is not None:
        reason = f"{reason}; did you mean {alike}?"
    if reason is None:
        verdict, reason = Verdict.NOT_SEEN, "no refuel near this time in this vehicle"
        elsewhere = [
            event
            for event in unmatched
            if event.vehicle != receipt.vehicle
            and event.start_s - till_s <= receipt.time_s <= event.end_s + till_s
            and abs(event.litres - receipt.litres) <= max(AS_MUCH_L, 0.05 * receipt.litres)
        ]
        if elsewhere:
            nearest = min(elsewhere, key=lambda event: abs(event.litres - receipt.litres))
            reason += (
                f"; {nearest.litres:.1f} ± {nearest.u_litres:.1f} L without a receipt went into "
                f"{nearest.vehicle} at that time"
            )
    return Reconciled(
        receipt.vehicle, receipt.number, verdict, receipt.litres, None, None, None,
        receipt.time_s, reason,
    )  # fmt: skip


def _why_no_data(receipt: Receipt, seen: Seen | None, till_s: float) -> str | None:
    """Return why nothing can be said of a receipt, ``None`` if a refuel would have shown."""
    if seen is None:
        return "this vehicle was not watched"
    at = receipt.time_s
    if at < seen.first_s or at > seen.last_s + till_s:
        return "outside the time that the log covers"
    if receipt.litres < seen.least_l:
        return f"too little to be seen: this vehicle's data show refuels from {seen.least_l:.0f} L"
    for start, end in seen.gaps:
        # The fuel goes in before the till prints: the gap may end shortly before the receipt.
        if start <= at <= end + GAP_S:
            return f"no records for {(end - start) / 3600:.1f} hours around this time"
    for one in seen.undecided:
        if one.start_s - till_s <= at <= one.end_s + till_s and one.litres > 0:
            change = f"{one.litres:+.1f} ± {one.u_litres:.1f} L"
            return f"{change} near this time is not decidable: {one.reason}"
    return None
