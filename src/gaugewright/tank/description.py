"""A tank as a person describes it: its shape and its measured sizes.

x runs along the length from the front end of the straight part, y across the width
from the left side, z up from the lowest inside point.  Dished ends lie before x = 0
and beyond ``length_mm``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from difflib import get_close_matches
from math import inf, isfinite
from pathlib import Path
from typing import Any

from gaugewright.errors import InputError
from gaugewright.tank.corners import Corner, shrunk
from gaugewright.words import said

NEEDED: dict[str, tuple[str, ...]] = {
    "box": ("length_mm", "width_mm", "height_mm"),
    "lying_cylinder": ("length_mm", "diameter_mm"),
    "upright_cylinder": ("diameter_mm", "height_mm"),
    "oval": ("length_mm", "width_mm", "height_mm"),
    "obround": ("length_mm", "width_mm", "height_mm"),
    "d_section": ("length_mm", "width_mm", "height_mm", "round_depth_mm"),
    "stepped": ("length_mm", "width_mm", "height_mm", "step_length_mm", "step_height_mm"),
    "section": ("length_mm", "section_mm"),
    "mesh": ("mesh_file", "mesh_unit"),
}
"""Which sizes each shape cannot do without."""

_ALLOWED: dict[str, tuple[str, ...]] = {
    "box": ("edge_radius_mm",),
    "lying_cylinder": ("ends", "end_depth_mm"),
    "oval": ("ends", "end_depth_mm"),
    "stepped": ("step_at", "edge_radius_mm"),
    "section": ("corner_radius_mm",),
}
_SIZES = (
    "length_mm",
    "width_mm",
    "height_mm",
    "diameter_mm",
    "round_depth_mm",
    "step_length_mm",
    "step_height_mm",
)
LEAST_MM, MOST_MM, MOST_L = 1e-3, 1e5, 1e6
"""No size of a tank is smaller or larger; no vehicle's tank holds more."""
_UNITS = ("mm", "cm", "m", "in")


@dataclass(frozen=True, slots=True)
class Tank:
    """A described tank.  Sizes are inside sizes unless ``wall_mm`` is given.

    Raises `InputError` naming the field if a size is missing, is not a positive finite
    number, does not belong to the shape or cannot be together with the others.

    >>> Tank("box", length_mm=1000, width_mm=600, height_mm=500, edge_radius_mm=260)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: edge_radius_mm: 260 mm is larger than half the height, 250 mm
    """

    shape: str
    length_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    diameter_mm: float | None = None
    round_depth_mm: float | None = None
    edge_radius_mm: float = 0.0
    ends: str = "flat"
    end_depth_mm: float = 0.0
    step_length_mm: float | None = None
    step_height_mm: float | None = None
    step_at: str = "bottom"
    section_mm: tuple[Corner, ...] | None = None
    corner_radius_mm: float = 0.0
    mesh_file: str | None = None
    mesh_unit: str | None = None
    displaced_l: float = 0.0
    rated_capacity_l: float | None = None
    usable_fraction: float = 0.95
    u_mm: float = 5.0
    u_edge_radius_mm: float = 10.0
    wall_mm: float | None = None
    mesh_scale: tuple[float, float, float] = field(default=(1.0, 1.0, 1.0), kw_only=True)
    """Stretch of the mesh along x, y and z; set by `perturbed`, not by a tank file."""
    joined: tuple["Tank", ...] = field(default=(), kw_only=True)
    """Tanks that a balance pipe joins to this one; not from a tank file.  See `joined_tanks`."""

    def __post_init__(self) -> None:
        """Refuse a tank that cannot be."""
        if self.shape not in NEEDED:
            raise InputError(_unknown(self.shape, NEEDED, "a shape"), field="shape")
        _require_words(self)
        _require_fields_of_shape(self)
        _require_numbers(self)
        for inside in (self, _inside(self)):
            _require_fits(inside)

    def size(self, name: str) -> float:
        """Give a size that the shape is known to have. [mm]"""
        value = getattr(self, name)
        if value is None:
            raise InputError(said("a {shape} has no such size", shape=self.shape), field=name)
        return float(value)


def tank_from_mapping(mapping: Mapping[str, Any], *, folder: Path | None = None) -> Tank:
    """Read a tank from the fields of a tank file; the probe's are left to the probe.

    Numbers may come as text, with a decimal comma too.  A relative ``mesh_file`` is
    looked for in ``folder``.

    >>> tank_from_mapping({"shape": "lying_cylinder", "length_mm": "1200,5", "diameter_mm": 600}
    ...     ).length_mm
    1200.5
    >>> tank_from_mapping({"shape": "lying_cylinder", "lenght_mm": 1200})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: lenght_mm: no such field, did you mean length_mm?
    """
    known = [f.name for f in fields(Tank) if f.name not in ("mesh_scale", "joined")]
    given: dict[str, Any] = {}
    for name, value in mapping.items():
        if name == "probe" or name.startswith("probe."):
            continue
        if name not in known:
            raise InputError(_no_field(name, [*known, "probe"]), field=name)
        if name == "section_mm":
            given[name] = _corners(value)
        elif name in ("shape", "ends", "step_at", "mesh_file", "mesh_unit"):
            given[name] = _word(name, value)
        else:
            given[name] = number(name, value)
    if "shape" not in given:
        raise InputError(
            said("is missing, wanted one of {needed}", needed=", ".join(NEEDED)), field="shape"
        )
    if folder is not None and "mesh_file" in given:
        given["mesh_file"] = str(folder / given["mesh_file"])
    return Tank(**given)


def joined_tanks(first: Tank, others: tuple[Tank, ...]) -> Tank:
    """Give tanks that stand open to each other by a balance pipe as one.

    The fuel stands at one height in all of them and their lowest inside points are taken to
    be level.  The first one is where the probe stands.  What a plate says of one of them is
    left out; what stands inside of them counts together.

    >>> box = Tank("box", length_mm=1000, width_mm=600, height_mm=500, displaced_l=2)
    >>> both = joined_tanks(box, (box,))
    >>> both.displaced_l, len(both.joined)
    (4, 1)
    """
    bare = tuple(replace(other, displaced_l=0.0, rated_capacity_l=None) for other in others)
    displaced = first.displaced_l + sum(other.displaced_l for other in others)
    return replace(first, joined=bare, displaced_l=displaced, rated_capacity_l=None)


def inside(tank: Tank) -> Tank:
    """Give the same tank by its inside sizes.

    >>> outside = Tank("lying_cylinder", length_mm=1206, diameter_mm=606, wall_mm=3)
    >>> inside(outside).length_mm, inside(outside).diameter_mm
    (1200, 600)
    """
    return _inside(tank)


def number(name: str, value: object) -> float:
    """Read a number that a person may have typed, with a decimal comma too.

    >>> number("u_mm", "45,5")
    45.5
    >>> number("u_mm", "1.234,5")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: u_mm: '1.234,5' is not a number, wanted for example 45.5
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            raise InputError(
                said("a number in it is too large, {name} has over 300 digits", name=name)
            ) from None
    text = value.strip() if isinstance(value, str) else ""
    if text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        # Python would read 1_000 and the digits of other scripts too.
        if not text.isascii() or "_" in text:
            raise ValueError
        return float(text)
    except ValueError:
        raise InputError(
            said("{value!r} is not a number, wanted for example 45.5", value=value), field=name
        ) from None


def _inside(tank: Tank) -> Tank:
    if tank.wall_mm is None:
        return tank
    wall = tank.wall_mm
    less: dict[str, Any] = {"wall_mm": None}
    for name in ("width_mm", "height_mm", "diameter_mm"):
        if getattr(tank, name) is not None:
            less[name] = getattr(tank, name) - 2 * wall
    if tank.round_depth_mm is not None:
        less["round_depth_mm"] = tank.round_depth_mm - wall
    if tank.length_mm is not None and tank.ends == "flat":
        less["length_mm"] = tank.length_mm - 2 * wall
    if tank.ends == "dished":
        less["end_depth_mm"] = tank.end_depth_mm - wall
    less["edge_radius_mm"] = max(tank.edge_radius_mm - wall, 0.0)
    thin = [name for name, value in less.items() if value is not None and value < 0]
    if thin or any(less.get(name) == 0 for name in (*_SIZES, "end_depth_mm")):
        raise InputError(said("{wall:g} mm leaves no room inside", wall=wall), field="wall_mm")
    if tank.section_mm is not None:
        less["section_mm"], less["corner_radius_mm"] = shrunk(
            tank.section_mm, tank.corner_radius_mm, wall
        )
    return replace(tank, **less)


def _require_fields_of_shape(tank: Tank) -> None:
    needed = NEEDED[tank.shape]
    for name in needed:
        if getattr(tank, name) is None:
            raise InputError(
                said(
                    "is missing, a {shape} needs {needed}",
                    shape=tank.shape,
                    needed=", ".join(needed),
                ),
                field=name,
            )
    own = (*needed, *_ALLOWED.get(tank.shape, ()))
    defaults = {f.name: f.default for f in fields(Tank)}
    every = {n for names in (*NEEDED.values(), *_ALLOWED.values()) for n in names}
    for name in sorted(every.difference(own)):
        if getattr(tank, name) != defaults[name]:
            raise InputError(
                said(
                    "a {shape} has no such size, it takes {own}",
                    shape=tank.shape,
                    own=", ".join(own),
                ),
                field=name,
            )
    if tank.shape == "mesh" and tank.wall_mm is not None:
        raise InputError(
            said("a mesh is the inside surface already, leave wall_mm out"), field="wall_mm"
        )


def _require_numbers(tank: Tank) -> None:
    for name in (*_SIZES, "rated_capacity_l", "wall_mm"):
        value = getattr(tank, name)
        if value is not None:
            if not 0 < value < inf:
                raise InputError(
                    said("must be above 0 and finite, found {value:g}", value=value), field=name
                )
            _require_likely(name, value, LEAST_MM)
    for name in (
        "edge_radius_mm",
        "end_depth_mm",
        "corner_radius_mm",
        "displaced_l",
        "u_mm",
        "u_edge_radius_mm",
    ):
        value = getattr(tank, name)
        if not 0 <= value < inf:
            raise InputError(
                said("must be 0 or more and finite, found {value:g}", value=value), field=name
            )
        _require_likely(name, value, 0.0)
    if not 0.1 <= tank.usable_fraction <= 1:
        raise InputError(
            said(
                "is the usable share of the geometric volume, wanted 0.1 to 1, found "
                "{usable_fraction:g}",
                usable_fraction=tank.usable_fraction,
            ),
            field="usable_fraction",
        )
    if tank.section_mm is None:
        return
    for row, corner in enumerate(tank.section_mm, start=1):
        if len(corner) != 2 or not all(isfinite(c) for c in corner):
            raise InputError(
                said("corner {row} must be two finite numbers, y and z", row=row),
                field="section_mm",
            )
        _require_likely("section_mm", max(abs(c) for c in corner), 0.0)
    if len(tank.section_mm) < 3:
        raise InputError(
            said("needs at least 3 corners, found {number}", number=len(tank.section_mm)),
            field="section_mm",
        )


def _require_likely(name: str, value: float, least: float) -> None:
    """Refuse what is no tank on a vehicle, long before numbers overflow."""
    most = MOST_L if name.endswith("_l") else MOST_MM
    if not least <= value <= most:
        unit = "L" if name.endswith("_l") else "mm"
        raise InputError(
            said(
                "{value:g} {unit} is no figure of a vehicle's tank, wanted {least:g} to "
                "{most:,.0f} {unit}",
                value=value,
                unit=unit,
                least=least,
                most=most,
            ),
            field=name,
        )


def _require_words(tank: Tank) -> None:
    for name, allowed in (
        ("ends", ("flat", "dished")),
        ("step_at", ("bottom", "top")),
        ("mesh_unit", _UNITS),
    ):
        value = getattr(tank, name)
        if value is not None and value not in allowed:
            raise InputError(_unknown(value, allowed, "known here"), field=name)


def _require_fits(tank: Tank) -> None:
    """Refuse sizes that cannot be together."""
    if tank.ends == "dished" and tank.end_depth_mm == 0:
        raise InputError(said("is missing, dished ends need their depth"), field="end_depth_mm")
    if tank.ends == "flat" and tank.end_depth_mm > 0:
        raise InputError(
            said('flat ends have no depth; did you mean ends = "dished"?'), field="ends"
        )
    for name in ("height_mm", "width_mm"):
        size = getattr(tank, name)
        if size is not None and tank.edge_radius_mm > size / 2:
            raise InputError(
                said(
                    "{edge_radius_mm:g} mm is larger than half the {name}, {size:g} mm",
                    edge_radius_mm=tank.edge_radius_mm,
                    name=name[:-3],
                    size=size / 2,
                ),
                field="edge_radius_mm",
            )
    for name, whole in (
        ("round_depth_mm", "width_mm"),
        ("step_length_mm", "length_mm"),
        ("step_height_mm", "height_mm"),
    ):
        part, size = getattr(tank, name), getattr(tank, whole)
        if part is None or size is None:
            continue
        if part > size or (part == size and name != "round_depth_mm"):
            raise InputError(
                said(
                    "{part:g} mm does not fit into the {whole}, {size:g} mm",
                    part=part,
                    whole=whole[:-3],
                    size=size,
                ),
                field=name,
            )


def _corners(value: object) -> tuple[Corner, ...]:
    if not isinstance(value, list | tuple):
        raise InputError(said("must be a list of [y, z] corners"), field="section_mm")
    corners = []
    for row, corner in enumerate(value, start=1):
        if not isinstance(corner, list | tuple) or len(corner) != 2:
            raise InputError(
                said("corner {row} must be [y, z], found {corner!r}", row=row, corner=corner),
                field="section_mm",
            )
        corners.append((number("section_mm", corner[0]), number("section_mm", corner[1])))
    return tuple(corners)


def _word(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise InputError(said("must be text, found {value!r}", value=value), field=name)
    return value


def _unknown(value: object, allowed: Any, what: str) -> str:
    near = get_close_matches(str(value), list(allowed), n=1)
    hint = f"did you mean {near[0]}?" if near else f"wanted one of {', '.join(allowed)}"
    return f"{value!r} is not {what}, {hint}"


def _no_field(name: str, known: list[str]) -> str:
    near = get_close_matches(name, known, n=1, cutoff=0.5)
    return f"no such field, did you mean {near[0]}?" if near else "no such field in a tank file"
