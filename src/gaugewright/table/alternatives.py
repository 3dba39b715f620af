"""Other tanks that fit the same outside: what a wrong tank file may really have been."""

from functools import lru_cache

import numpy as np

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column


@lru_cache(maxsize=64)
def same_size_tanks(tank: Tank) -> tuple[Tank, ...]:
    """Return tanks of other shapes with the same length, width and height.

    They are the usual sections of vehicle tanks (common practice, no source), with the
    described uncertainties; the described shape itself is left out.

    >>> box = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> sorted({other.shape for other in same_size_tanks(box)})
    ['box', 'd_section', 'obround', 'oval', 'stepped']
    """
    length, width, height = (float(v) for v in np.ptp(solid_of(tank, fine=False).vertices, axis=0))
    least = min(width, height)
    size = {"length_mm": length, "width_mm": width, "height_mm": height}
    radii = [0.08 * least, 0.22 * least, 0.36 * least]
    found = [
        Tank("box", **size, edge_radius_mm=radius, u_mm=tank.u_mm, u_edge_radius_mm=0.06 * least)
        for radius in radii
        if not (tank.shape == "box" and abs((tank.edge_radius_mm or 0.0) - radius) < 0.1 * least)
    ]
    if tank.shape not in ("oval", "lying_cylinder"):
        found.append(Tank("oval", **size, u_mm=tank.u_mm))
    if tank.shape != "obround" and abs(width - height) > 0.05 * least:
        found.append(Tank("obround", **size, u_mm=tank.u_mm))
    if tank.shape != "d_section":
        found.append(
            Tank(
                "d_section", **size, round_depth_mm=0.35 * width, u_mm=max(tank.u_mm, 0.03 * width)
            )
        )
    if tank.shape != "stepped":
        found.extend(
            Tank(
                "stepped",
                **size,
                step_length_mm=0.3 * length,
                step_height_mm=share * height,
                edge_radius_mm=0.08 * least,
                step_at=at,
                u_mm=max(tank.u_mm, 0.025 * length),
            )
            for at in ("bottom", "top")
            for share in (0.22, 0.32, 0.42)
        )
    if tank.shape != "upright_cylinder" and abs(length - width) < 0.05 * width:
        found.append(Tank("upright_cylinder", diameter_mm=width, height_mm=height, u_mm=tank.u_mm))
    return tuple(found)


def stands_in(tank: Tank, probe: Probe) -> bool:
    """Return whether the probe can stand in this tank at all."""
    try:
        bottom, top = column(solid_of(tank, fine=False), probe.x_mm, probe.y_mm)
    except InputError:
        return False
    return top - bottom > probe.tip_clearance_mm
