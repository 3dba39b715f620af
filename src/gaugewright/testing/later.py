"""Simulated vehicles that come back: an exchanged probe, a sister, a change since the table.

The truth is again not made with the fit's own columns.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.probe import Probe
from gaugewright.table.fill import Fill, Pour
from gaugewright.testing.fills import SimulatedFill, Truth, Yard

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Later:
    """A vehicle that came back: what the fitter has, and what is true now."""

    probe: Probe
    """As described by the fitter."""
    fill: Fill
    truth: Truth


@dataclass(frozen=True, slots=True)
class Planted:
    """What changed on the vehicle since its table was made."""

    tip_mm: float = 0.0
    """The probe hangs higher by so much. [mm]"""
    zero: float = 0.0
    """All readings are higher by this share of the scale."""
    span: float = 0.0
    """Readings in proportion to the wetted length, at full scale by this share of it."""
    dent: float = 0.0
    """The tank holds less by this share of its capacity, above a dent."""


def changed_truth(rng: np.random.Generator, made: SimulatedFill, planted: Planted) -> Truth:
    """Return the truth of a vehicle on which something changed."""
    old = made.truth
    scale = made.probe.counts_full - made.probe.counts_empty
    at = float(rng.uniform(0.15, 0.85)) * old.top_mm
    half = 0.1 * old.top_mm
    lost = planted.dent * old.capacity_l

    def litres(wetted: Floats, slope_x: float, slope_y: float) -> Floats:
        height = np.asarray(wetted, dtype=np.float64) + planted.tip_mm
        t = np.clip((height - at + half) / (2 * half), 0.0, 1.0)
        return old.litres_of_level(height, slope_x, slope_y) - lost * t * t * (3 - 2 * t)

    def counts(wetted: Floats) -> Floats:
        share = np.clip(np.asarray(wetted) / made.probe.active_length_mm, 0.0, 1.0)
        return old.counts_of_wetted(wetted) + scale * (planted.zero + planted.span * share)

    return replace(
        old,
        litres_of_level=litres,
        counts_of_wetted=counts,
        capacity_l=old.capacity_l - lost,
        top_mm=old.top_mm - planted.tip_mm,
        tip_l=float(litres(np.zeros(1), 0.0, 0.0)[0]),
        residue_l=float(rng.uniform(0, 3)),
    )


def came_back(
    rng: np.random.Generator,
    made: SimulatedFill,
    planted: Planted | None = None,
    *,
    shares: tuple[float, ...] = (0.15, 0.3, 0.35),
    start_share: float | None = None,
    slope_known: bool = False,
) -> Later:
    """Return three pours on the same vehicle, after what was planted.

    ``shares`` of the capacity are poured; from the drained tank, or from ``start_share`` of
    the capacity that nobody measured.
    """
    planted = Planted() if planted is None else planted
    truth = changed_truth(rng, made, planted)
    above = made.yard.above_bottom_mm + planted.tip_mm
    fill = poured(rng, truth, above, shares, start_share=start_share, slope_known=slope_known)
    return Later(made.probe, fill, truth)


def new_probe(rng: np.random.Generator, made: SimulatedFill) -> tuple[Probe, Truth, float]:
    """Return another probe in the same hole, the truth seen by it, and its true clearance.

    Its length, clearance and counts differ; its zero and span were taken on a bench to 2
    counts; tip and bow of the scale are its own.
    """
    old = made.truth
    clearance = float(rng.uniform(8, 20))
    off_mm = float(rng.uniform(-3, 3))
    above = max(clearance + off_mm, 0.5)
    longest = old.top_mm + made.yard.above_bottom_mm - clearance - 5.0
    length = float(rng.uniform(0.9, 1.0)) * longest
    empty, full = (0.0, 4095.0) if rng.uniform() < 0.5 else (120.0, 3900.0)
    probe = Probe(made.probe.x_mm, made.probe.y_mm, clearance, length, empty, full)
    bow = float(rng.uniform(-0.003, 0.003))
    zero_off, span_off = (float(e) for e in rng.normal(0, 2, 2))
    shift = above - made.yard.above_bottom_mm

    def litres(wetted: Floats, slope_x: float, slope_y: float) -> Floats:
        return old.litres_of_level(np.asarray(wetted) + shift, slope_x, slope_y)

    def counts(wetted: Floats) -> Floats:
        share = np.clip(np.asarray(wetted) / length, 0.0, 1.0)
        share = share + bow * np.sin(np.pi * share)
        low, high = empty + (zero_off if empty else 0.0), full + (span_off if full < 4095 else 0.0)
        return np.asarray(low + share * (high - low))

    truth = replace(
        old,
        litres_of_level=litres,
        counts_of_wetted=counts,
        top_mm=min(length, old.top_mm - shift),
        tip_l=float(litres(np.zeros(1), 0.0, 0.0)[0]),
        residue_l=float(rng.uniform(0, 3)),
    )
    return probe, truth, above


def exchanged(
    rng: np.random.Generator, made: SimulatedFill, *, shares: tuple[float, ...] = (0.3, 0.4)
) -> Later:
    """Return two check pours on the same tank with another probe in it."""
    probe, truth, above = new_probe(rng, made)
    return Later(probe, poured(rng, truth, above, shares), truth)


def sister(
    rng: np.random.Generator,
    made: SimulatedFill,
    *,
    shares: tuple[float, ...] = (0.3, 0.4),
    scatter_mm: float = 3.0,
    longer: float = 0.0,
) -> Later:
    """Return two pours into another tank of the same model with a probe of its own.

    Each dimension differs by up to ``scatter_mm``, and the walls by a smooth share of up
    to 0.3 % of the capacity.  ``longer`` is the share by which it is longer: then it is another
    model that looks the same.
    """
    probe, first, above = new_probe(rng, made)
    height = made.truth.top_mm + made.yard.above_bottom_mm
    wide = 1.0 + float(rng.uniform(-scatter_mm, scatter_mm)) / 600.0
    long = 1.0 + longer + float(rng.uniform(-scatter_mm, scatter_mm)) / 1400.0
    high = 1.0 + float(rng.uniform(-scatter_mm, scatter_mm)) / height
    walls = float(rng.uniform(-0.003, 0.003)) * made.truth.capacity_l
    middle = float(rng.uniform(0.2, 0.8))

    def litres(wetted: Floats, slope_x: float, slope_y: float) -> Floats:
        level = np.asarray(wetted, dtype=np.float64) + above
        share = np.clip(level / height, 0.0, 1.0)
        t = np.clip((share - middle) / 0.5 + 0.5, 0.0, 1.0)
        own = first.litres_of_level(level / high - above, slope_x, slope_y)
        return np.asarray(own * wide * long * high + walls * t * t * (3 - 2 * t))

    truth = replace(
        first,
        litres_of_level=litres,
        capacity_l=first.capacity_l * wide * long * high + walls,
        tip_l=float(litres(np.zeros(1), 0.0, 0.0)[0]),
    )
    return Later(probe, poured(rng, truth, above, shares), truth)


def poured(
    rng: np.random.Generator,
    truth: Truth,
    above_bottom_mm: float,
    shares: tuple[float, ...],
    *,
    start_share: float | None = None,
    slope_known: bool = False,
) -> Fill:
    """Return pours on another day: its own slope, meter, deliveries and noise."""
    typed = [round(share * truth.capacity_l, 1) for share in shares]
    factor = float(rng.normal(1.0, 0.003))
    real = [litres * factor + float(rng.normal(0, 0.1)) for litres in typed]
    noise = float(rng.uniform(1, 3))
    start = truth.residue_l if start_share is None else start_share * truth.capacity_l
    yard = Yard(
        truth,
        above_bottom_mm,
        float(rng.uniform(-1.5, 1.5)),
        float(rng.uniform(-1.5, 1.5)),
        factor,
        noise,
        start,
        tuple(real),
        tuple(float(e) for e in rng.normal(0, noise, len(typed) + 1)),
    )
    pitch = roll = None
    if slope_known:
        pitch = yard.pitch_deg + float(rng.normal(0, 0.1))
        roll = yard.roll_deg + float(rng.normal(0, 0.1))
    totals = start + np.concatenate([[0.0], np.cumsum(real)])
    return Fill(
        tuple(
            Pour(step, litres, yard.counts_at(float(total), step), pitch_deg=pitch, roll_deg=roll)
            for step, (litres, total) in enumerate(zip([0.0, *typed], totals, strict=True))
        )
    )
