"""A tank of which only the plate and the height are known: no shape to trust.

Litres by level cannot be computed from it; the pours alone give its table.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import isfinite
from typing import Any

from gaugewright.errors import InputError
from gaugewright.tank.description import MOST_L, MOST_MM, number

WORD = "unknown"
"""What stands as the shape of such a tank."""


@dataclass(frozen=True, slots=True)
class UnknownShape:
    """What is known of a tank without a shape."""

    rated_capacity_l: float
    """What the plate says. [L]"""
    height_mm: float
    """Inside, where the probe goes. [mm]"""
    usable_fraction: float = 0.95
    """Rated over brim-full capacity."""
    u_mm: float = 5.0

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        for name, most in (
            ("rated_capacity_l", MOST_L), ("height_mm", MOST_MM), ("usable_fraction", 1.0),
            ("u_mm", MOST_MM),
        ):  # fmt: skip
            value = getattr(self, name)
            if not (isfinite(value) and 0 < value <= most):
                raise InputError(f"must be above 0 and at most {most:g}, found {value:g}",
                                 field=name)  # fmt: skip

    @property
    def brim_l(self) -> float:
        """Return the capacity to the brim. [L]"""
        return self.rated_capacity_l / self.usable_fraction


def is_unknown_shape(mapping: Mapping[str, Any]) -> bool:
    """Tell whether the fields of a tank file say that its shape is not known.

    >>> is_unknown_shape({"shape": "unknown"}), is_unknown_shape({"shape": "box"})
    (True, False)
    >>> is_unknown_shape({"rated_capacity_l": 400, "height_mm": 500})
    True
    """
    if "shape" in mapping:
        return bool(mapping["shape"] == WORD)
    return "rated_capacity_l" in mapping


def unknown_shape_from_mapping(mapping: Mapping[str, Any]) -> UnknownShape:
    """Read a tank without a shape from the fields of a tank file; the probe's are left alone.

    >>> unknown_shape_from_mapping({"rated_capacity_l": "380,5", "height_mm": 500}).brim_l
    400.5263157894737
    >>> unknown_shape_from_mapping({"shape": "unknown", "rated_capacity_l": 380})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: height_mm: is missing: without a shape the plan needs
    rated_capacity_l and height_mm
    """
    known = [f.name for f in fields(UnknownShape)]
    given: dict[str, float] = {}
    for name, value in mapping.items():
        if name in ("shape", "probe") or name.startswith("probe."):
            continue
        if name not in known:
            raise InputError(
                f"does not belong to a tank of unknown shape, which has {', '.join(known)}",
                field=name,
            )
        given[name] = number(name, value)
    for name in known[:2]:
        if name not in given:
            raise InputError(
                "is missing: without a shape the plan needs rated_capacity_l and height_mm",
                field=name,
            )
    return UnknownShape(**given)
