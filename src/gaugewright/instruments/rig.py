"""The rig: a tank, a probe, a dispenser and a vehicle, simulated by their physics.

Time is passed in, and all chance comes from one seed: the same orders at the same times
give the same readings.  What the rig does wrong, it does because it was ordered to.

Fuel runs into the tank at the dispenser's rate, its surface sloshes, and the fuel in the
probe's tube follows it through the tube's hole.  The wetted length becomes counts by the
permittivity of the fuel at its temperature (of water, where water stands), with noise in
every sample; the last few are averaged and rounded.
"""

import threading
from collections import deque
from dataclasses import dataclass
from enum import StrEnum
from math import exp, isfinite, pi, sin

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.fuel import (
    AIR_RELATIVE_PERMITTIVITY,
    CRC_LIQUIDS,
    level_scale_in_other_fuel,
    volume_correction_factor,
)
from gaugewright.probe import Probe, column_at
from gaugewright.tank.description import Tank
from gaugewright.tank.levels import slope_of
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import level_of_litres

Floats = npt.NDArray[np.float64]

FUEL_PERMITTIVITY, FUEL_PERMITTIVITY_PER_K = 2.1, -0.0012
"""Diesel fuel at 15 °C, between its alkanes and its aromatics (CRC Handbook)."""
DENSITY_15_KG_M3 = 840.0
SHUT_OFF_SHARE = 0.98
"""The dispenser's nozzle shuts off when the tank is so full. [1]"""
SLOSH_HZ, SLOSH_FADES_S = 0.7, 3.0
SLOSH_MM_PER_POUR, SLOSH_MM_PER_DEGREE = 2.0, 8.0
_LEVELS = 400


class RigFault(StrEnum):
    """What can be broken to order."""

    NONE = "none"
    SILENT = "silent"
    GARBAGE = "garbage"
    HALF_LINE = "half_line"
    FROZEN = "frozen"
    OUT_OF_SCALE = "out_of_scale"
    BROKEN_WIRE = "broken_wire"
    """The measuring electrode hangs open: the reading falls to the bottom of the scale."""
    SHORT_CIRCUIT = "short_circuit"
    """The electrodes touch: the reading stands at the top of the scale."""


@dataclass(frozen=True, slots=True)
class RigSettings:
    """What the rig is made of; each value is its physics, not its error."""

    seed: int = 1
    hz: float = 10.0
    """Samples and readings per second."""
    noise_counts: float = 3.0
    """Standard deviation of one sample, before averaging. [counts]"""
    averaging: int = 8
    """Samples in the average: 8 while setting up, 64 in service (common practice)."""
    start_l: float = 0.0
    """Fuel in the tank at the start. [L]"""
    flow_l_s: float = 0.7
    """Rate of the dispenser. [L/s]"""
    meter_factor: float = 1.0
    """True litres for each litre that the dispenser shows."""
    delivery_sd_l: float = 0.05
    """Drips and hose of each delivery. [L]"""
    tube_tau_s: float = 1.5
    """Time constant of the fuel in the probe's tube. [s]"""
    blocked_tau_s: float = 90.0
    """The same with the tube's vent blocked. [s]"""
    pipe_l_s_mm: float = 0.0
    """Flow to a second tank of the same kind, for each mm of difference; 0 is no pipe."""
    fuel_c: float = 15.0
    pitch_deg: float = 0.0
    """Slope along the length, positive with the front end up. [°]"""
    roll_deg: float = 0.0
    """Slope across the width, positive with the left side up. [°]"""
    scale_top: int = 4095

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        for name in self.__slots__:
            if not isfinite(getattr(self, name)):
                raise InputError(f"{getattr(self, name)} is not a finite number", field=name)
        above = ("hz", "averaging", "flow_l_s", "meter_factor", "tube_tau_s", "blocked_tau_s")
        for name in above:
            if getattr(self, name) <= 0:
                raise InputError(f"must be above 0, found {getattr(self, name):g}", field=name)
        for name in ("noise_counts", "start_l", "delivery_sd_l", "pipe_l_s_mm"):
            if getattr(self, name) < 0:
                raise InputError(f"must not be negative, found {getattr(self, name):g}", field=name)


@dataclass(frozen=True, slots=True)
class RigSample:
    """What the instrument sends at one moment, before any line carries it."""

    time_s: float
    counts: int
    temperature_c: float
    fault: RigFault


@dataclass(slots=True)
class _Tank:
    """Fuel in one tank and what the surface does."""

    litres_15: float
    """Fuel as litres at 15 °C, so that warming it changes its volume. [L]"""
    tube_mm: float = 0.0


class Rig:
    """The simulated yard.  Safe to use from several threads.

    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> probe = Probe(x_mm=500, y_mm=300, tip_clearance_mm=20, active_length_mm=450)
    >>> rig = Rig(tank, probe, RigSettings(noise_counts=0, delivery_sd_l=0))
    >>> rig.pour(147)
    147.0
    >>> samples = rig.advance(400)
    >>> samples[0].counts, samples[-1].counts      # (147 L / 0.6 m² - 20 mm) of 450 mm
    (0, 2048)
    """

    def __init__(self, tank: Tank, probe: Probe, settings: RigSettings | None = None) -> None:
        self.settings = settings or RigSettings()
        self.tank, self.probe = tank, probe
        s = self.settings
        self._solid = solid_of(tank, fine=False)
        self.capacity_l = self._solid.volume_l - tank.displaced_l
        if s.start_l > self.capacity_l:
            raise InputError(
                f"{s.start_l:g} L is more than the tank holds, {self.capacity_l:.1f} L",
                field="start_l",
            )
        self._tip_mm = column_at(tank, probe)[0] + probe.tip_clearance_mm
        self._lock = threading.RLock()
        self._rng = np.random.default_rng(s.seed)
        self._ticks = 0
        self._due_s = 0.0
        self.fault = RigFault.NONE
        self.fuel_c = s.fuel_c
        self.water_l = 0.0
        self.is_vent_blocked = False
        self.disturbance = (0.0, 0.0)
        self._slosh_mm, self._slosh_since_s = 0.0, 0.0
        self._to_pour_l = 0.0
        self.shown_l = 0.0
        """What the dispenser's meter shows. [L]"""
        self.resets_meter = True
        self._main = _Tank(s.start_l * self._to_15())
        self._other = _Tank(s.start_l * self._to_15() if s.pipe_l_s_mm else 0.0)
        self._last_counts = 0
        self.pitch_deg = self.roll_deg = 0.0
        self.tilt(s.pitch_deg, s.roll_deg)
        self._slosh_mm = 0.0
        self._main.tube_mm = self._level_mm(self._main)
        self._samples: deque[float] = deque(maxlen=s.averaging)

    # --- what can be ordered -------------------------------------------------------

    def pour(self, litres: float) -> float:
        """Begin to pour so many litres by the meter; returns what the meter will show. [L]"""
        if not (isfinite(litres) and litres > 0):
            raise InputError(f"must be above 0 L, found {litres:g}", field="pour")
        with self._lock:
            if self.is_pouring:
                raise InputError("the dispenser is still running", field="pour")
            if self.resets_meter:
                self.shown_l = 0.0
            self._to_pour_l = litres
            return self.shown_l + litres

    def drain(self, litres: float) -> None:
        """Take so many litres out at once. [L]"""
        with self._lock:
            there = self.litres
            if not 0 < litres <= there:
                raise InputError(f"must be above 0 and at most {there:.1f} L", field="drain")
            self._main.litres_15 -= litres * self._to_15()
            self._stir(SLOSH_MM_PER_POUR)

    def tilt(self, pitch_deg: float, roll_deg: float) -> None:
        """Put the vehicle on a slope; the fuel sloshes."""
        slopes = slope_of(pitch_deg, "pitch_deg"), slope_of(roll_deg, "roll_deg")
        with self._lock:
            moved = abs(pitch_deg - self.pitch_deg) + abs(roll_deg - self.roll_deg)
            self.pitch_deg, self.roll_deg = pitch_deg, roll_deg
            filled = np.linspace(0.0, self._solid.volume_l, _LEVELS)
            self._filled_l = filled
            self._levels_mm = level_of_litres(
                self._solid,
                filled,
                slope_x=slopes[0],
                slope_y=slopes[1],
                at_x_mm=self.probe.x_mm,
                at_y_mm=self.probe.y_mm,
            )
            self._stir(SLOSH_MM_PER_DEGREE * moved)

    def warm(self, fuel_c: float) -> None:
        """Bring the fuel to a temperature; its volume follows."""
        volume_correction_factor(fuel_c, DENSITY_15_KG_M3)  # refuses what no fuel has
        with self._lock:
            self.fuel_c = fuel_c

    def add_water(self, litres: float) -> None:
        """Put water under the fuel. [L]"""
        with self._lock:
            if not 0 < litres <= self.capacity_l - self.litres:
                raise InputError(
                    f"must be above 0 and at most {self.capacity_l - self.litres:.1f} L",
                    field="water",
                )
            self.water_l += litres

    def disturb(self, amplitude_mm: float, hz: float) -> None:
        """Shake the surface until told otherwise: an engine, steps on the bed. [mm, Hz]"""
        if not (amplitude_mm >= 0 and hz >= 0 and isfinite(amplitude_mm + hz)):
            raise InputError("the size and the frequency must be 0 or more", field="disturb")
        with self._lock:
            self.disturbance = (amplitude_mm, hz)

    # --- what a person could see -----------------------------------------------------

    @property
    def time_s(self) -> float:
        """Simulated time. [s]"""
        return self._ticks / self.settings.hz

    @property
    def litres(self) -> float:
        """Fuel that is truly in the tank, at its temperature. [L]"""
        return self._main.litres_15 / self._to_15()

    @property
    def is_pouring(self) -> bool:
        """Whether the dispenser runs."""
        return self._to_pour_l > 0

    # --- physics ----------------------------------------------------------------------

    def advance(self, seconds: float) -> list[RigSample]:
        """Let time pass and return what the instrument sent meanwhile."""
        if not (isfinite(seconds) and seconds >= 0):
            raise InputError(f"time must be 0 s or more, found {seconds}", field="seconds")
        with self._lock:
            self._due_s += seconds
            # A hair early, so that ten steps of 0.1 s are a second.
            last = int(self._due_s * self.settings.hz + 1e-6)
            return [self._tick() for _ in range(last - self._ticks)]

    def _to_15(self) -> float:
        return float(volume_correction_factor(self.fuel_c, DENSITY_15_KG_M3))

    def _level_mm(self, tank: _Tank) -> float:
        """Height of the surface at the probe's place, at rest. [mm]"""
        litres = tank.litres_15 / self._to_15() + self.water_l
        share = self._solid.volume_l / self.capacity_l  # inner parts spread evenly
        return float(np.interp(litres * share, self._filled_l, self._levels_mm))

    def _stir(self, amplitude_mm: float) -> None:
        self._slosh_mm = self._slosh_now_mm() + amplitude_mm
        self._slosh_since_s = self.time_s

    def _slosh_now_mm(self) -> float:
        return self._slosh_mm * exp(-(self.time_s - self._slosh_since_s) / SLOSH_FADES_S)

    def _tick(self) -> RigSample:
        step_s = 1 / self.settings.hz
        self._ticks += 1
        self._run_dispenser(step_s)
        self._run_pipe(step_s)
        turn = 2 * pi * self.time_s
        size_mm, hz = self.disturbance
        surface_mm = self._level_mm(self._main) + size_mm * sin(turn * hz)
        surface_mm += self._slosh_now_mm() * sin(turn * SLOSH_HZ)
        tau_s = self.settings.blocked_tau_s if self.is_vent_blocked else self.settings.tube_tau_s
        self._main.tube_mm += (surface_mm - self._main.tube_mm) * (1 - exp(-step_s / tau_s))
        noise = self.settings.noise_counts * float(self._rng.standard_normal())
        self._samples.append(self._signal() + noise)
        return RigSample(self.time_s, self._shown_counts(), round(self.fuel_c, 1), self.fault)

    def _run_dispenser(self, step_s: float) -> None:
        if not self.is_pouring:
            return
        shown_l = min(self.settings.flow_l_s * step_s, self._to_pour_l)
        self._to_pour_l -= shown_l
        self.shown_l += shown_l
        true_l = shown_l * self.settings.meter_factor
        is_full = self.litres + self.water_l + true_l >= SHUT_OFF_SHARE * self.capacity_l
        if is_full:
            self._to_pour_l = 0.0
        if not self.is_pouring:
            true_l += self.settings.delivery_sd_l * float(self._rng.standard_normal())
            self._stir(SLOSH_MM_PER_POUR)
        self._main.litres_15 = max(self._main.litres_15 + true_l * self._to_15(), 0.0)

    def _run_pipe(self, step_s: float) -> None:
        if not self.settings.pipe_l_s_mm:
            return
        gap_mm = self._level_mm(self._main) - self._level_mm(self._other)
        flow_15 = self.settings.pipe_l_s_mm * gap_mm * step_s * self._to_15()
        flow_15 = min(max(flow_15, -self._other.litres_15), self._main.litres_15)
        self._main.litres_15 -= flow_15
        self._other.litres_15 += flow_15

    def _signal(self) -> float:
        """Counts of one sample without noise: what the electrodes feel."""
        wet_mm = self._main.tube_mm - self._tip_mm
        wet_mm = min(max(wet_mm, 0.0), self.probe.active_length_mm)  # the electrodes' ends
        water_mm = min(max(self._water_mm() - self._tip_mm, 0.0), wet_mm)
        warmer = FUEL_PERMITTIVITY + FUEL_PERMITTIVITY_PER_K * (self.fuel_c - 15.0)
        fuel_scale = level_scale_in_other_fuel(FUEL_PERMITTIVITY, warmer)
        water = CRC_LIQUIDS["water"].relative_permittivity - AIR_RELATIVE_PERMITTIVITY
        water_scale = water / (FUEL_PERMITTIVITY - AIR_RELATIVE_PERMITTIVITY)
        felt_mm = (wet_mm - water_mm) * fuel_scale + water_mm * water_scale
        return float(self.probe.counts_of(felt_mm))

    def _water_mm(self) -> float:
        if not self.water_l:
            return 0.0
        share = self._solid.volume_l / self.capacity_l
        return float(np.interp(self.water_l * share, self._filled_l, self._levels_mm))

    def _shown_counts(self) -> int:
        """What the converter shows: averaged, rounded, and within its scale."""
        top = self.settings.scale_top
        counts = round(min(max(sum(self._samples) / len(self._samples), 0.0), top))
        if self.fault is RigFault.FROZEN:
            return self._last_counts
        if self.fault is RigFault.BROKEN_WIRE:
            return 0
        if self.fault is RigFault.SHORT_CIRCUIT:
            return top
        if self.fault is RigFault.OUT_OF_SCALE:
            return 2 * top + 1
        self._last_counts = counts
        return counts


def rig_line(sample: RigSample) -> bytes:
    r"""Return the line of text for a sample; a fault of the line spoils it.

    >>> rig_line(RigSample(0.0, 2512, 18.4, RigFault.NONE))
    b'counts=2512 temp_c=18.4\n'
    >>> rig_line(RigSample(0.0, 2512, 18.4, RigFault.HALF_LINE))
    b'counts=25'
    """
    line = f"counts={sample.counts} temp_c={sample.temperature_c:.1f}\n".encode()
    if sample.fault is RigFault.SILENT:
        return b""
    if sample.fault is RigFault.HALF_LINE:
        return line[:9]
    if sample.fault is RigFault.GARBAGE:
        # Every byte with its parity bit wrong, as with a wrong baud rate.
        return bytes(byte | 0x80 for byte in line[:-1]) + b"\n"
    return line


RIG_PATTERN = "counts={counts} temp_c={temperature_c}"
"""The pattern that reads `rig_line`."""
