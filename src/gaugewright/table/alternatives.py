"""Other tanks that fit the same outside: what a wrong tank file may really have been."""

from dataclasses import replace
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
    if tank.joined:
        return ()  # which of them it would be cannot be told from what they hold together
    length, width, height = (float(v) for v in np.ptp(solid_of(tank, fine=False).vertices, axis=0))
    least = min(width, height)
    plain = Tank("box", length_mm=length, width_mm=width, height_mm=height, u_mm=tank.u_mm)
    found = [
        replace(plain, edge_radius_mm=share * least, u_edge_radius_mm=0.06 * least)
        for share in (0.08, 0.22, 0.36)
        if not (tank.shape == "box" and abs(tank.edge_radius_mm - share * least) < 0.1 * least)
    ]
    if tank.shape not in ("oval", "lying_cylinder"):
        found.append(replace(plain, shape="oval"))
    if tank.shape != "obround" and abs(width - height) > 0.05 * least:
        found.append(replace(plain, shape="obround"))
    if tank.shape != "d_section":
        loose = replace(plain, u_mm=max(tank.u_mm, 0.03 * width))
        found.append(replace(loose, shape="d_section", round_depth_mm=0.35 * width))
    if tank.shape != "stepped":
        step = replace(plain, u_mm=max(tank.u_mm, 0.025 * length), edge_radius_mm=0.08 * least)
        found += [
            replace(
                step,
                shape="stepped",
                step_at=at,
                step_length_mm=0.3 * length,
                step_height_mm=share * height,
            )
            for at in ("bottom", "top")
            for share in (0.22, 0.32, 0.42)
        ]
    if tank.shape != "upright_cylinder" and abs(length - width) < 0.05 * width:
        found.append(Tank("upright_cylinder", diameter_mm=width, height_mm=height, u_mm=tank.u_mm))
    return tuple(found)


def moved_probe(tank: Tank, probe: Probe) -> Probe:
    """Return the probe at the same place of a tank that starts at x = 0.

    A tank with dished ends begins before x = 0; the tanks of `same_size_tanks` do not.
    """
    front = float(solid_of(tank, fine=False).vertices[:, 0].min())
    return replace(probe, x_mm=probe.x_mm - front)


def stands_in(tank: Tank, probe: Probe) -> bool:
    """Return whether the probe can stand in this tank at all."""
    try:
        bottom, top = column(solid_of(tank, fine=False), probe.x_mm, probe.y_mm)
    except InputError:
        return False
    return top - bottom > probe.tip_clearance_mm
