"""Simulated fills with known truth: everything that hides from a fitter at once.

The truth is not made with the fit's own columns: bulge, inner parts, sump and dent
are shapes of their own, the dimensions are drawn flat, the readings are rounded.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import radians, tan
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.probe import Probe
from gaugewright.table.fill import Fill, MeterCheck, Pour
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import Solid, column, litres_below

Floats = npt.NDArray[np.float64]

FAMILIES = (
    "box",
    "lying_cylinder",
    "upright_cylinder",
    "oval",
    "obround",
    "d_section",
    "stepped",
    "section",
)


@dataclass(frozen=True, eq=False)
class Truth:
    """The real tank behind a simulated fill."""

    litres_of_level: Callable[[Floats, float, float], Floats]
    """(height above the tip [mm], slope along, slope across) -> litres."""
    counts_of_wetted: Callable[[Floats], Floats]
    capacity_l: float
    top_mm: float
    """Highest wetted length at which the probe still reads. [mm]"""
    tip_l: float
    """Litres standing level when the tip is just touched: the dead stock. [L]"""
    residue_l: float
    """Fuel left in the drained tank. [L]"""

    def litres_at_counts(self, counts: npt.ArrayLike) -> Floats:
        """True litres of the tank standing level at a reading without noise. [L]"""
        wetted = np.linspace(0.0, self.top_mm, 1200)
        scale = self.counts_of_wetted(wetted)
        at = np.interp(np.asarray(counts, dtype=np.float64), scale, wetted)
        return self.litres_of_level(at, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class SimulatedFill:
    """What the fitter has, and what is true."""

    family: str
    tank: Tank
    probe: Probe
    fill: Fill
    truth: Truth
    yard: "Yard"


def random_tank(rng: np.random.Generator, family: str) -> Tank:
    """Draw a described tank of 150 to 1,000 litres."""
    length = float(rng.uniform(800, 2000))
    width = float(rng.uniform(450, 750))
    height = float(rng.uniform(450, 750))
    match family:
        case "box":
            return Tank(
                "box",
                length_mm=length,
                width_mm=width,
                height_mm=height,
                edge_radius_mm=float(rng.uniform(20, 120)),
            )
        case "lying_cylinder":
            ends = str(rng.choice(["flat", "dished"]))
            depth = float(rng.uniform(40, 120)) if ends == "dished" else None
            return Tank(
                "lying_cylinder",
                length_mm=length,
                diameter_mm=height,
                ends=ends,
                end_depth_mm=depth or 0.0,
            )
        case "upright_cylinder":
            return Tank(
                "upright_cylinder",
                diameter_mm=float(rng.uniform(600, 1100)),
                height_mm=float(rng.uniform(500, 1100)),
            )
        case "oval":
            return Tank("oval", length_mm=length, width_mm=width, height_mm=height)
        case "obround":
            if abs(width - height) < 60:
                width = height + 80
            return Tank("obround", length_mm=length, width_mm=width, height_mm=height)
        case "d_section":
            return Tank(
                "d_section",
                length_mm=length,
                width_mm=width,
                height_mm=height,
                round_depth_mm=float(rng.uniform(0.2, 0.45)) * width,
            )
        case "stepped":
            return Tank(
                "stepped",
                length_mm=length,
                width_mm=width,
                height_mm=height,
                edge_radius_mm=float(rng.uniform(20, 80)),
                step_length_mm=float(rng.uniform(0.2, 0.4)) * length,
                step_height_mm=float(rng.uniform(0.2, 0.45)) * height,
                step_at=str(rng.choice(["bottom", "top"])),
            )
        case "section":
            cut_y = float(rng.uniform(0.15, 0.4)) * width
            cut_z = float(rng.uniform(0.15, 0.4)) * height
            return Tank(
                "section",
                length_mm=length,
                section_mm=(
                    (0.0, cut_z),
                    (cut_y, 0.0),
                    (width, 0.0),
                    (width, height),
                    (0.0, height),
                ),
                corner_radius_mm=float(rng.uniform(20, 60)),
            )
    raise ValueError(family)


def _real(rng: np.random.Generator, tank: Tank) -> Tank:
    """Draw the tank as it really is: dimensions ±5 mm, edge radius ±20 mm."""
    change: dict[str, Any] = {}
    for name in (
        "length_mm",
        "width_mm",
        "height_mm",
        "diameter_mm",
        "end_depth_mm",
        "round_depth_mm",
        "step_length_mm",
        "step_height_mm",
    ):
        value = getattr(tank, name)
        if value:
            change[name] = value + float(rng.uniform(-5, 5))
    if tank.edge_radius_mm:
        widest = 0.48 * min(change.get("width_mm", 1e9), change.get("height_mm", 1e9))
        if tank.shape == "stepped":
            widest = 0.48 * min(
                widest,
                tank.step_height_mm or 1e9,
                (tank.height_mm or 1e9) - (tank.step_height_mm or 0.0) - 10,
            )
        change["edge_radius_mm"] = float(
            np.clip(tank.edge_radius_mm + rng.uniform(-20, 20), 1.0, widest)
        )
    if tank.section_mm:
        stretch = 1 + rng.uniform(-5, 5, 2) / 500
        change["section_mm"] = tuple(
            (y * float(stretch[0]), z * float(stretch[1])) for y, z in tank.section_mm
        )
    return replace(tank, **change)


def simulated_fill(
    rng: np.random.Generator,
    family: str,
    *,
    pours: int = 10,
    full: float = 0.95,
    checks: bool = False,
    draining: bool = False,
    jitter: float = 0.0,
    planned: Callable[[Tank, Probe], list[float]] | None = None,
) -> SimulatedFill:
    """Draw a tank, a probe in it and one fill of equal pours up to ``full``.

    ``checks``: the slope is written down (inclinometer, 0.1°), the meter was held
    against a 100 L can and the drained tank was dipped.  ``planned`` gives the litres to
    pour from what the fitter knows, in place of equal ones.
    """
    tank = random_tank(rng, family)
    real = _real(rng, tank)
    solid = solid_of(tank, fine=False)
    real_solid = solid_of(real, fine=False)
    size = solid.vertices.max(axis=0)
    probe, tip_shift = _random_probe(rng, tank, solid, size)
    bottom, top = column(real_solid, probe.x_mm, probe.y_mm)
    tip_mm = bottom + probe.tip_clearance_mm + tip_shift
    departure, extra_l = _departure(
        rng, real_solid.volume_l, float(real_solid.vertices[:, 2].max())
    )

    def litres(wetted: Floats, slope_x: float, slope_y: float) -> Floats:
        level = np.asarray(wetted, dtype=np.float64) + tip_mm
        base = litres_below(
            real_solid,
            level,
            slope_x=slope_x,
            slope_y=slope_y,
            at_x_mm=probe.x_mm,
            at_y_mm=probe.y_mm,
        )
        return np.asarray(base + departure(level))

    bow = rng.uniform(-0.003, 0.003)

    def counts_of(wetted: Floats) -> Floats:
        share = np.clip(np.asarray(wetted) / probe.active_length_mm, 0.0, 1.0)
        share = share + bow * np.sin(np.pi * share)
        return np.asarray(probe.counts_empty + share * (probe.counts_full - probe.counts_empty))

    truth = Truth(
        litres,
        counts_of,
        real_solid.volume_l + extra_l,
        min(probe.active_length_mm, top - tip_mm),
        float(litres(np.zeros(1), 0.0, 0.0)[0]),
        float(rng.uniform(0, 3)),
    )
    amount = full * solid.volume_l / pours
    typed = planned(tank, probe) if planned else amounts(rng, amount, pours, jitter)
    yard = _yard(rng, truth, tip_mm - bottom, typed, draining=draining)
    fill = _record(rng, yard, typed, checks=checks, draining=draining)
    return SimulatedFill(family, tank, probe, fill, truth, yard)


def amounts(rng: np.random.Generator, amount_l: float, pours: int, jitter: float) -> list[float]:
    """Litres that the meter shows for each pour, to 0.1 L."""
    return [round(amount_l * (1 + jitter * float(rng.uniform(-1, 1))), 1) for _ in range(pours)]


def _random_probe(
    rng: np.random.Generator, tank: Tank, solid: Solid, size: Floats
) -> tuple[Probe, float]:
    low, high = solid.vertices[:, 0].min(), solid.vertices[:, 0].max()
    x = low + (high - low) * (0.5 + rng.uniform(0, 0.15) * rng.choice([-1, 1]))
    y = size[1] * 0.5
    bottom, top = column(solid, float(x), float(y))
    clearance = float(rng.uniform(8, 20))
    active = (top - bottom) - clearance - float(rng.uniform(5, 25))
    return Probe(float(x), float(y), clearance, active), float(rng.uniform(-3, 3))


def _departure(
    rng: np.random.Generator, volume_l: float, height: float
) -> tuple[Callable[[Floats], Floats], float]:
    """Bulge to 1.5 %, inner parts to 1 %, a sump or a dent in a quarter."""
    bulge = rng.uniform(0, 0.015) * volume_l
    centre = rng.uniform(0.4, 0.6)
    parts = rng.uniform(0, 0.01) * volume_l
    low, high = np.sort(rng.uniform(0.05, 0.95, 2))
    high = max(high, low + 0.1)
    kind = rng.choice(["none", "sump", "dent"], p=[0.75, 0.125, 0.125])
    size = rng.uniform(0.002, 0.01) * volume_l
    at = rng.uniform(0.15, 0.85)

    def step(h: Floats, start: float, end: float) -> Floats:
        t = np.clip((h - start) / (end - start), 0.0, 1.0)
        return np.asarray(t * t * (3 - 2 * t))

    def departure(level: Floats) -> Floats:
        h = np.clip(level / height, 0.0, 1.0)
        total = bulge * step(h, centre - 0.5, centre + 0.5)
        total = total - parts * np.clip((h - low) / (high - low), 0.0, 1.0)
        if kind == "sump":
            total = total + size * (1.0 - np.exp(-np.maximum(level, 0.0) / 12.0))
        if kind == "dent":
            total = total - size * step(h, at - 0.1, at + 0.1)
        return np.asarray(total)

    return departure, float(departure(np.array([height]))[0])


@dataclass(frozen=True, eq=False)
class Yard:
    """What hides during one fill: the slope, the meter, the noise, the real litres."""

    truth: Truth
    above_bottom_mm: float
    """Tip above the bottom under the probe, as it really is. [mm]"""
    pitch_deg: float
    roll_deg: float
    meter_factor: float
    noise_counts: float
    start_l: float
    """In the tank at step 0. [L]"""
    real_l: tuple[float, ...]
    """What each pour really added (took out: negative). [L]"""
    noise: tuple[float, ...]
    """Reading error at each step. [counts]"""

    def counts_at(
        self, total_l: float, step: int, moved_deg: tuple[float, float] = (0, 0)
    ) -> float:
        """Reading of the probe with so much in the tank, rounded as the probe does. [counts]"""
        slope = (
            tan(radians(self.pitch_deg + moved_deg[0])),
            tan(radians(self.roll_deg + moved_deg[1])),
        )
        wetted = np.linspace(-self.above_bottom_mm, self.truth.top_mm, 1500)
        on_slope = np.maximum.accumulate(self.truth.litres_of_level(wetted, *slope))
        level = np.interp(total_l, on_slope, wetted)
        counts = self.truth.counts_of_wetted(np.array([level]))[0]
        reading = np.rint(counts + self.noise[step % len(self.noise)])
        return float(np.clip(reading, 0.0, 4095.0))

    def dip_mm(self) -> float:
        """Depth of the residue at the probe's place. [mm]"""
        slope = (tan(radians(self.pitch_deg)), tan(radians(self.roll_deg)))
        wetted = np.linspace(-self.above_bottom_mm, self.truth.top_mm, 1500)
        on_slope = np.maximum.accumulate(self.truth.litres_of_level(wetted, *slope))
        return float(np.interp(self.truth.residue_l, on_slope, wetted)) + self.above_bottom_mm


def _yard(
    rng: np.random.Generator,
    truth: Truth,
    above_bottom_mm: float,
    typed: list[float],
    *,
    draining: bool,
) -> Yard:
    factor = float(rng.normal(1.0, 0.003))
    real = [litres * factor + float(rng.normal(0, 0.1)) for litres in typed]
    noise = float(rng.uniform(1, 3))
    return Yard(
        truth,
        above_bottom_mm,
        float(rng.uniform(-1.5, 1.5)),
        float(rng.uniform(-1.5, 1.5)),
        factor,
        noise,
        truth.residue_l + (sum(real) if draining else 0.0),
        tuple(-litres if draining else litres for litres in real),
        tuple(float(e) for e in rng.normal(0, noise, len(typed) + 1)),
    )


def _record(
    rng: np.random.Generator, yard: Yard, typed: list[float], *, checks: bool, draining: bool
) -> Fill:
    totals = yard.start_l + np.concatenate([[0.0], np.cumsum(yard.real_l)])
    pitch = roll = None
    if checks:  # one look at the inclinometer for the whole fill
        pitch = yard.pitch_deg + float(rng.normal(0, 0.1))
        roll = yard.roll_deg + float(rng.normal(0, 0.1))
    record = tuple(
        Pour(step, litres, yard.counts_at(float(total), step), pitch_deg=pitch, roll_deg=roll)
        for step, (litres, total) in enumerate(zip([0.0, *typed], totals, strict=True))
    )
    if not checks:
        return Fill(record, is_draining=draining)
    can = MeterCheck(100.0, round(100.0 * yard.meter_factor + float(rng.normal(0, 0.05)), 2))
    dip = max(0.0, round(yard.dip_mm() + float(rng.uniform(-1, 1)), 1))
    return Fill(record, is_draining=draining, meter_checks=(can,), dip_empty_mm=dip)


def wrong_shape(rng: np.random.Generator, tank: Tank) -> Tank:
    """Describe the tank as another shape with the right outside dimensions."""
    length, width, height = (float(v) for v in np.ptp(solid_of(tank, fine=False).vertices, axis=0))
    plain = Tank("box", length_mm=length, width_mm=width, height_mm=height)
    choices = [
        replace(plain, edge_radius_mm=float(rng.uniform(20, 120))),
        replace(plain, shape="oval"),
        replace(plain, shape="d_section", round_depth_mm=float(rng.uniform(0.2, 0.45)) * width),
    ]
    if abs(width - height) > 40:
        choices.append(replace(plain, shape="obround"))
    same = {"lying_cylinder": "oval"}.get(tank.shape, tank.shape)
    choices = [choice for choice in choices if choice.shape != same]
    return choices[int(rng.integers(len(choices)))]


def longer(tank: Tank, factor: float) -> Tank:
    """Describe the tank as longer by a factor, an upright cylinder as wider in area by it."""
    if tank.shape == "upright_cylinder":
        return replace(tank, diameter_mm=float(tank.diameter_mm or 0.0) * factor**0.5)
    return replace(tank, length_mm=float(tank.length_mm or 0.0) * factor)
