r"""The fuel: how its volume follows its temperature, and how a probe sees it.

Warm fuel from a bowser shrinks in a cold tank: 1 % of its volume at 12 K.

.. math:: \mathrm{VCF} = \exp[-\alpha\,\Delta t\,(1 + 0.8\,\alpha\,\Delta t)],
          \quad \alpha = K_0/\rho_{15}^2 + K_1/\rho_{15} + K_2

Refined products, base 15 °C: ASTM D1250-80 / API MPMS 11.1-1980 / IP 200, Table 54B;
ISO 91.  The edition of 2004 differs by at most 2e-5 for diesel fuel over -20 to 50 °C.
"""

from dataclasses import dataclass
from math import hypot, isfinite, log, pi
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

BASE_C = 15.0
EN_590_DENSITY_15_KG_M3 = (820.0, 845.0)
"""Density limits of road diesel at 15 °C, temperate climates (EN 590). [kg/m³]"""

COLDEST_C, WARMEST_C = -50.0, 150.0
"""Range of the petroleum tables, edition of 2004. [°C]"""


class _Group(NamedTuple):
    """A group of products with one set of constants."""

    name: str
    up_to_kg_m3: float
    k0: float
    k1: float
    k2: float


# The printed table goes in steps of 0.5 kg/m³, with gaps such as 838.5 to 839.0 between
# the groups; a density in a gap belongs to the nearer entry, hence the midpoints.
_LIGHTEST_KG_M3 = 653.0
_GROUPS = (
    _Group("gasoline", 770.25, 346.42278, 0.43884, 0.0),
    _Group("transition", 787.75, 2680.3206, 0.0, -0.00336312),
    _Group("jet fuel", 838.75, 594.5418, 0.0, 0.0),
    _Group("fuel oil", 1075.0, 186.9696, 0.48618, 0.0),
)


@dataclass(frozen=True, slots=True)
class Fuel:
    """A fuel by its density at 15 °C and how well that is known.

    The default is diesel fuel of an unknown delivery: 840 kg/m³, with a standard
    uncertainty that spans EN 590's 820 to 845 kg/m³ (25/√12 kg/m³).

    >>> diesel = Fuel()
    >>> round(float(diesel.volume_ratio(from_c=27, to_c=15)), 4)   # 12 K, 1 %
    0.9898
    """

    density_15_kg_m3: float = 840.0
    u_density_15_kg_m3: float = 7.2

    def __post_init__(self) -> None:
        """Refuse a density that no petroleum product has."""
        _group(self.density_15_kg_m3)
        if not (isfinite(self.u_density_15_kg_m3) and self.u_density_15_kg_m3 >= 0):
            raise InputError(
                said(
                    "must be 0 or more, found {u_density_15_kg_m3:g}",
                    u_density_15_kg_m3=self.u_density_15_kg_m3,
                ),
                field="u_density_15_kg_m3",
            )

    @property
    def is_within_en_590(self) -> bool:
        """Tell whether the density is that of road diesel."""
        low, high = EN_590_DENSITY_15_KG_M3
        return low <= self.density_15_kg_m3 <= high

    def volume_ratio(self, from_c: npt.ArrayLike, to_c: npt.ArrayLike) -> Floats:
        """Return litres at ``to_c`` for each litre at ``from_c``; see `volume_ratio`."""
        return volume_ratio(from_c, to_c, self.density_15_kg_m3)

    def u_volume_ratio(
        self, from_c: float, to_c: float, *, u_from_c: float, u_to_c: float
    ) -> float:
        """Return the standard uncertainty of `volume_ratio`, first order. [1]

        Its parts are the two temperatures and the density; the formula itself is good to
        0.05 % at 100 °C (API MPMS 11.1-1980, from memory) and is not counted.

        >>> round(Fuel().u_volume_ratio(30, 10, u_from_c=0.5, u_to_c=0.5), 5)
        0.00063
        """
        rho, step = self.density_15_kg_m3, 0.5
        per_from = volume_ratio(from_c + step, to_c, rho) - volume_ratio(from_c - step, to_c, rho)
        per_to = volume_ratio(from_c, to_c + step, rho) - volume_ratio(from_c, to_c - step, rho)
        # α goes as ρ^-1 to ρ^-2 within a group; the difference quotient is taken wide
        # enough to average over a border between two groups.
        wide = 5.0
        low = max(rho - wide, _LIGHTEST_KG_M3)
        high = min(rho + wide, _GROUPS[-1].up_to_kg_m3)
        per_rho = (volume_ratio(from_c, to_c, high) - volume_ratio(from_c, to_c, low)) / (
            high - low
        )
        return hypot(
            float(per_from) / (2 * step) * u_from_c,
            float(per_to) / (2 * step) * u_to_c,
            float(per_rho) * self.u_density_15_kg_m3,
        )


def thermal_expansion_per_k(density_15_kg_m3: float) -> float:
    """Return the volume expansion coefficient at 15 °C, α. [1/K]

    Raises `InputError` outside 653 to 1075 kg/m³.

    >>> round(thermal_expansion_per_k(840) * 1e4, 4)
    8.4377
    """
    group = _group(density_15_kg_m3)
    return group.k0 / density_15_kg_m3**2 + group.k1 / density_15_kg_m3 + group.k2


def volume_correction_factor(temperature_c: npt.ArrayLike, density_15_kg_m3: float) -> Floats:
    """Return litres at 15 °C for each litre at ``temperature_c``, any shape. [1]

    NaN means "not measured" and gives NaN.  Raises `InputError` outside -50 to 150 °C.

    >>> volume_correction_factor([0, 15, 30], 840).round(5)
    array([1.01261, 1.     , 0.9873 ])
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    outside = (t < COLDEST_C) | (t > WARMEST_C)
    if outside.any():
        raise InputError(
            said(
                "{flat:g} °C is outside {coldest_c:g} to {warmest_c:g} °C",
                flat=t[outside].flat[0],
                coldest_c=COLDEST_C,
                warmest_c=WARMEST_C,
            ),
            field="temperature_c",
        )
    expansion = thermal_expansion_per_k(density_15_kg_m3) * (t - BASE_C)
    result: Floats = np.exp(-expansion * (1 + 0.8 * expansion))
    return result


def volume_ratio(from_c: npt.ArrayLike, to_c: npt.ArrayLike, density_15_kg_m3: float) -> Floats:
    """Return litres of fuel at ``to_c`` for each litre of it at ``from_c``. [1]

    With the meter's temperature and the tank's: litres in the tank per litre metered,
    once the fuel has taken the tank's temperature.

    >>> round(float(volume_ratio(25, 5, 840)) * 400, 2)   # 400 L by the meter
    393.31
    """
    result: Floats = volume_correction_factor(from_c, density_15_kg_m3) / volume_correction_factor(
        to_c, density_15_kg_m3
    )
    return result


def _group(density_15_kg_m3: float) -> _Group:
    heaviest = _GROUPS[-1].up_to_kg_m3
    if not _LIGHTEST_KG_M3 <= density_15_kg_m3 <= heaviest:
        raise InputError(
            said(
                "must be {lightest_kg_m3:g} to {heaviest:g} kg/m³ at 15 °C, found "
                "{density_15_kg_m3:g}",
                lightest_kg_m3=_LIGHTEST_KG_M3,
                heaviest=heaviest,
                density_15_kg_m3=density_15_kg_m3,
            ),
            field="density_15_kg_m3",
        )
    return next(group for group in _GROUPS if density_15_kg_m3 <= group.up_to_kg_m3)


# --- how a capacitive probe sees the fuel ------------------------------------------

VACUUM_PERMITTIVITY_PF_M = 8.8541878188
"""CODATA 2022. [pF/m]"""

AIR_RELATIVE_PERMITTIVITY = 1.00059
"""Near 20 °C and 101 kPa; general reference tables give 1.00054 to 1.00059."""


@dataclass(frozen=True, slots=True)
class Liquid:
    """Relative permittivity at a temperature, and its slope where the source has one."""

    relative_permittivity: float
    at_c: float
    per_k: float | None = None


# CRC Handbook of Chemistry and Physics, "Permittivity (Dielectric Constant) of Liquids".
# No measured table for road diesel is at hand; its alkanes and aromatics bracket it.
CRC_LIQUIDS = {
    "n-dodecane": Liquid(2.0120, 20.05, -0.00122),
    "n-tetradecane": Liquid(2.0343, 20.05, -0.00119),
    "n-hexadecane": Liquid(2.0460, 20.05, -0.00116),
    "cyclohexane": Liquid(2.0243, 20.05, -0.00155),
    "toluene": Liquid(2.379, 23.2),
    "methyl oleate": Liquid(3.211, 20.05),
    "water": Liquid(80.1, 20.05, -0.363),
}


def coaxial_capacitance_pf_m(
    outer_mm: float, inner_mm: float, relative_permittivity: float = 1.0
) -> float:
    """Return the capacitance of a coaxial probe for each metre of length. [pF/m]

    ``outer_mm`` is the inside of the outer tube and ``inner_mm`` the outside of the
    inner one, both as radii or both as diameters.  C' = 2π ε₀ ε_r / ln(outer/inner).

    >>> round(coaxial_capacitance_pf_m(8, 5), 4)
    118.3661
    """
    if not (isfinite(outer_mm) and isfinite(inner_mm) and outer_mm > inner_mm > 0):
        raise InputError(
            said(
                "the outer tube must be wider than the inner one and both above 0, found "
                "{outer_mm:g} mm and {inner_mm:g} mm",
                outer_mm=outer_mm,
                inner_mm=inner_mm,
            )
        )
    _require_dielectric(relative_permittivity)
    return 2 * pi * VACUUM_PERMITTIVITY_PF_M * relative_permittivity / log(outer_mm / inner_mm)


def level_scale_in_other_fuel(spanned_in: float, used_in: float) -> float:
    """Return shown over true wetted length after a change of fuel. [1]

    Both are relative permittivities: of the fuel in which the probe's span was set, and
    of the fuel it stands in now.

    >>> round(level_scale_in_other_fuel(2.10, 2.15), 4)
    1.0455
    """
    for value in (spanned_in, used_in):
        _require_dielectric(value)
    if spanned_in <= AIR_RELATIVE_PERMITTIVITY:
        raise InputError(
            said(
                "a span needs a liquid, found a relative permittivity of {spanned_in:g}",
                spanned_in=spanned_in,
            )
        )
    return (used_in - AIR_RELATIVE_PERMITTIVITY) / (spanned_in - AIR_RELATIVE_PERMITTIVITY)


def _require_dielectric(relative_permittivity: float) -> None:
    if not (isfinite(relative_permittivity) and relative_permittivity >= 1):
        raise InputError(
            said(
                "must be 1 or more, found {relative_permittivity:g}",
                relative_permittivity=relative_permittivity,
            ),
            field="relative_permittivity",
        )
