"""A table made better in service: receipts and the engine's counter, learnt by the fit's model.

A refuel says how many litres lie between two readings, and so does the engine's counter
between two rests.  Each is one more row of the same equations as a pour (`table.equations`),
put on top of what the fill, or the table's band, left open; the same solver and the same
averaging give the new table and its band.  Nothing is changed here: a table is offered.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincc

from gaugewright.errors import InputError
from gaugewright.metrology.least_squares import Estimate, log_density
from gaugewright.table.equations import Equations
from gaugewright.table.fit import Component, Fit, average
from gaugewright.table.later.known import Known, Part
from gaugewright.table.posterior import solve
from gaugewright.table.rows import EXPANSION_PER_K, interpolated_effects
from gaugewright.table.table import Table
from gaugewright.watch.service_data import Amount, ServiceData, Source
from gaugewright.words import said

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ServiceAssumptions:
    """What is not known of receipts, counters and fuel; common practice unless a source is named.

    All are standard uncertainties.
    """

    u_receipts: float = 0.002
    """Meter factor that all receipts share; a dispenser of accuracy class 0.5 may be 0.5 % wrong
    (2014/32/EU annex VII, table 2), most of which differs from pump to pump. Share."""
    u_receipt: float = 0.0025
    """One receipt's own pump. Share."""
    u_receipt_l: float = 0.15
    """Resolution, hose and drips. [L]"""
    u_counter: float = 0.03
    """The engine's counter is wrong by so much all the time: it adds up injections. Share."""
    u_counter_part: float = 0.004
    """By so much from stretch to stretch. Share."""
    u_counter_l: float = 0.2
    """Steps of 0.5 L (SPN 250) at both ends. [L]"""
    u_warming_k: float = 5.0
    """The tank's fuel at one rest, and what is poured in, against its mean. [K]"""
    u_table_l: float = 0.1
    """Rows are read along straight lines. [L]"""
    u_scatter_l: float = 0.0
    """What refuels of this vehicle scatter beyond all that; found from the data. [L]"""


@dataclass(frozen=True, slots=True)
class Factor:
    """True litres over those that a source states, with the half-width of the 95 % band."""

    source: Source
    value: float
    u95: float


@dataclass(frozen=True, eq=False)
class Refined:
    """A table as it is and as service would have it."""

    before: Table
    after: Table
    fit: Fit
    used: tuple[Amount, ...]
    left_out: tuple[Amount, ...]
    """Receipts and stretches that do not go with the others, the worst first."""
    factors: tuple[Factor, ...]
    chance: float
    """How often data would differ so much from a table whose band is right."""

    @property
    def largest_change(self) -> tuple[float, float]:
        """Largest change of the table, and at which counts. [L, counts]"""
        change = self.after.litres - self.before.litres
        worst = int(np.argmax(np.abs(change)))
        return float(change[worst]), float(self.before.counts[worst])

    @property
    def bands_l(self) -> tuple[float, float]:
        """Mean half-width of the band before and after. [L]"""
        before, after = self.before.u_litres, self.after.u_litres
        assert before is not None
        assert after is not None
        return float(before.mean()), float(after.mean())


ODD_RECEIPTS, ODD_STRETCHES = 0.2, 0.02
"""Share of receipts, and of stretches of the counter, that say something else: inflated, split
over two vehicles, a refuel seen in part (common practice, no source)."""
ODD_SPREAD = 0.5
"""They may be off by anything up to this, as a share of the tank."""
SCATTERS = (0.0, 0.002, 0.004, 0.008, 0.016)
"""Scatter of this vehicle's refuels beyond what is assumed, as shares of the tank; the data
choose."""
MOST_LEFT_OUT = 0.45
"""If more of the amounts do not go with the others, none is believed."""
LEAST_AMOUNTS = 3
CONTRADICTION = 1e-3
"""A chance below which the table's own band does not hold: its health comes first."""


def refine(
    table: Table, known: Known, data: ServiceData, assumed: ServiceAssumptions | None = None
) -> Refined:
    """Return the table with what service says learnt.

    Parameters
    ----------
    table : Table
        The table in use, with its band.
    known : Known
        What stands behind it: `known_from_fit` of its fill, or `known_from_table`.
    data : ServiceData
        Amounts of fuel between two readings at rest, see `service_data`.
    assumed : ServiceAssumptions, optional
        What is not known of receipts, counters and fuel.

    Raises
    ------
    InputError
        If fewer than three amounts can be used, or if they contradict each other or the table's
        band: then something else is wrong, and a refined table would hide it.
    """
    assumed = ServiceAssumptions() if assumed is None else assumed
    low, high = (float(known.parts[0].curves.counts[k]) for k in (0, -1))
    usable = [
        a for a in data.amounts if min(a.before, a.after) >= low and max(a.before, a.after) <= high
    ]
    if len(usable) < LEAST_AMOUNTS:
        raise InputError(
            said(
                "{usable} of the receipts and stretches of the engine's counter can be used, "
                "wanted {wanted} or more, each with readings at rest before and after",
                usable=len(usable),
                wanted=LEAST_AMOUNTS,
            )
        )
    told = max((_that_agree(known, usable, assumed, share) for share in SCATTERS), key=_worth)
    kept = told.kept
    if told.chance < CONTRADICTION or len(told.left_out) > MOST_LEFT_OUT * len(usable):
        raise InputError(
            said(
                "{usable} receipts and stretches of the engine's counter contradict each other or "
                "the table's band: by the table the middle one holds {ratio:.2f} times what it "
                "says, and {left_out} of them go with no others; look at the health notes and "
                "the receipts first",
                usable=len(usable),
                left_out=len(told.left_out),
                ratio=float(np.median([_by_table(table, a) / a.litres for a in usable])),
            )
        )
    components = [_component(part, told) for part in known.parts]
    fit = average(components)
    prior = known.table_fit()
    return Refined(
        _as_table(prior, table),
        _as_table(fit, table),
        fit,
        tuple(kept),
        tuple(told.left_out),
        _factors(fit, kept, assumed),
        told.chance,
    )


def _by_table(table: Table, amount: Amount) -> float:
    after, before = np.interp([amount.after, amount.before], table.counts, table.litres)
    return float(after - before)


def _as_table(fit: Fit, table: Table) -> Table:
    """The fit on the rows of the table in use."""
    counts = np.clip(table.counts, fit.counts[0], fit.counts[-1])
    litres = np.maximum.accumulate(np.maximum(np.interp(counts, fit.counts, fit.litres), 0.0))
    return Table(table.counts, litres, np.interp(counts, fit.counts, fit.u95_litres))


@dataclass(frozen=True, eq=False)
class _Told:
    """The amounts that go together, and what it is worth to take the others as odd ones."""

    kept: list[Amount]
    left_out: list[Amount]
    assumed: ServiceAssumptions
    log_worth: float
    chance: float


def _worth(told: _Told) -> float:
    return told.log_worth


def _that_agree(
    known: Known, amounts: Sequence[Amount], assumed: ServiceAssumptions, scatter: float
) -> _Told:
    """Leave out the worst amount as long as it is likelier an odd one than one of the others.

    Each is foretold by all others (leave-one-out, from the inverse covariance) with the
    weightiest state of knowledge.
    """
    part = known.parts[0]
    own = replace(assumed, u_scatter_l=scatter * known.capacity_l)
    kept = list(amounts)
    left_out: list[Amount] = []
    log_odd = 0.0
    odd = {
        Source.RECEIPT: _log_odd(ODD_RECEIPTS, known.capacity_l),
        Source.COUNTER: _log_odd(ODD_STRETCHES, known.capacity_l),
    }
    while True:
        equations = _equations(part, kept, own)
        covariance = equations.design @ equations.design.T + equations.noise
        inverse = np.linalg.inv(covariance)
        pull = inverse @ equations.observed
        precision = np.diag(inverse)
        log_near = 0.5 * np.log(precision / (2 * np.pi)) - 0.5 * pull**2 / precision
        gain = np.array([odd[a.source] for a in kept]) - log_near
        worst = int(np.argmax(gain))
        if gain[worst] <= 0 or len(kept) <= LEAST_AMOUNTS:
            break
        if len(left_out) > MOST_LEFT_OUT * len(amounts):
            break
        log_odd += odd[kept[worst].source]
        left_out.append(kept.pop(worst))
    squared = float(equations.observed @ pull)
    return _Told(
        kept,
        left_out,
        own,
        log_density(equations.observed, covariance) + log_odd,
        float(gammaincc(0.5 * len(kept), 0.5 * squared)),
    )


def _log_odd(share: float, capacity_l: float) -> float:
    """Logarithm of the density of an odd amount, against one that is not odd. [1/L]"""
    return float(np.log(share / (1 - share)) - np.log(2 * ODD_SPREAD * capacity_l))


def _component(part: Part, told: _Told) -> Component:
    equations = _equations(part, told.kept, told.assumed)
    prior_u = np.ones(len(equations.names))
    posterior = solve(equations, prior_u, part.curves.litres)
    weight = posterior.log_evidence + part.log_worth
    return Component(part.curves, equations, prior_u, posterior, weight, 1.0, 1.0)


def _equations(part: Part, amounts: Sequence[Amount], assumed: ServiceAssumptions) -> Equations:
    """Rows: litres stated = litres between the readings + what is open of the table and source."""
    curves = part.curves
    probe = curves.probe
    ends = probe.wetted_mm([[a.before, a.after] for a in amounts])
    effects = interpolated_effects(curves, ends[:, 1]) - interpolated_effects(curves, ends[:, 0])
    base = np.interp(ends, curves.wetted_mm, curves.litres)
    stated = np.array([a.litres for a in amounts])
    sources = list(Source)
    shared = np.zeros((len(amounts), len(sources)))
    for i, amount in enumerate(amounts):
        u = assumed.u_receipts if amount.source is Source.RECEIPT else assumed.u_counter
        shared[i, sources.index(amount.source)] = -stated[i] * u
    width = len(curves.columns)
    table_design = np.zeros((len(curves.wetted_mm), width + len(sources)))
    table_design[:, :width] = curves.effects.T
    nothing = np.zeros(0)
    return Equations(
        design=np.hstack([effects, shared]),
        observed=stated - (base[:, 1] - base[:, 0]),
        noise=_noise(amounts, base, assumed),
        pours=(),
        after=np.full(len(amounts), -1, dtype=np.intp),
        limits=(),
        below_tip=(),
        past_top=(),
        names=(*(c.name for c in curves.columns), *(s.value for s in sources)),
        groups=(*(c.group for c in curves.columns), *("service" for _ in sources)),
        table_design=table_design,
        counts=nothing,
        litres=nothing,
        per_count_l=nothing,
        reading_l2=nothing,
        poured_l=nothing,
    )


def _noise(amounts: Sequence[Amount], base: Floats, assumed: ServiceAssumptions) -> Floats:
    """Covariance of the rows: an end that two amounts share is wrong for both alike. [L²]"""
    size = len(amounts)
    noise = np.zeros((size, size))
    stated = np.array([a.litres for a in amounts])
    for i, amount in enumerate(amounts):
        own = (
            (assumed.u_receipt * stated[i]) ** 2 + assumed.u_receipt_l**2 + assumed.u_scatter_l**2
            if amount.source is Source.RECEIPT
            else (assumed.u_counter_part * stated[i]) ** 2 + assumed.u_counter_l**2
        )
        warm = EXPANSION_PER_K * assumed.u_warming_k
        # At one stop the fuel that stays is as warm before as after; what came is not.
        content = abs(base[i, 1] - base[i, 0]) if amount.same_stop else sqrt(2.0) * base[i].mean()
        noise[i, i] = own + amount.u_level_l**2 + (warm * content) ** 2 + assumed.u_table_l**2
        if not i or not amount.follows or amounts[i - 1].before != amount.after:
            continue
        # The end of the one stretch is the beginning of the other.
        end = 0.5 * amount.u_level_l * amounts[i - 1].u_level_l
        shared = end + (warm * base[i, 1]) ** 2
        limit = 0.49 * sqrt(noise[i, i] * noise[i - 1, i - 1])
        noise[i, i - 1] = noise[i - 1, i] = -min(shared, limit)
    return noise


def _factors(
    fit: Fit, amounts: Sequence[Amount], assumed: ServiceAssumptions
) -> tuple[Factor, ...]:
    """What the data say of the sources themselves, weighed over the states of knowledge."""
    found = []
    present = {a.source for a in amounts}
    sources = list(Source)
    for source in sources:
        if source not in present:
            continue
        u = assumed.u_receipts if source is Source.RECEIPT else assumed.u_counter
        place = len(sources) - sources.index(source)
        estimates: list[Estimate] = [c.posterior.estimate for c in fit.components]
        means = np.array([e.mean[-place] for e in estimates])
        mean = float(fit.weights @ means)
        spread = np.array([e.covariance[-place, -place] for e in estimates])
        variance = float(fit.weights @ (spread + (means - mean) ** 2))
        found.append(Factor(source, 1.0 + u * mean, 1.96 * u * sqrt(variance)))
    return tuple(found)
