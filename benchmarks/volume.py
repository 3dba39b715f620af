"""Litres at 1,000 levels of a tilted solid, beside slicing it with general mesh libraries.

``python -m benchmarks.volume`` prints times, ratios and how far the litres differ.  The
peers are slow, so they cut fewer levels and their time is scaled up to 1,000; they
need ``pip install 'gaugewright[bench]'``.
"""

import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import Solid, level_of_litres, level_range, litres_below

Floats = npt.NDArray[np.float64]

LEVELS = 1000
PEER_LEVELS = 25
SLOPE = float(np.tan(np.radians(3)))
NORMAL = np.array([-SLOPE, 0.0, 1.0]) / np.hypot(SLOPE, 1.0)


def best_of(times: int, run: Callable[[], object]) -> float:
    """Return the shortest of several runs. [s]"""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        spans.append(time.perf_counter() - start)
    return min(spans)


def by_trimesh(solid: Solid) -> Callable[[Floats], Floats]:
    """Cut with ``trimesh.intersections.slice_mesh_plane`` and close the cut."""
    import trimesh

    mesh = trimesh.Trimesh(solid.vertices, solid.triangles, process=False)

    def litres(levels: Floats) -> Floats:
        cuts = [
            mesh.slice_plane([0.0, 0.0, level], -NORMAL, cap=True).volume * 1e-6 for level in levels
        ]
        return np.array(cuts)

    return litres


def by_manifold(solid: Solid) -> Callable[[Floats], Floats]:
    """Cut with ``manifold3d.Manifold.trim_by_plane``."""
    import manifold3d

    mesh = manifold3d.Mesh64(
        vert_properties=np.array(solid.vertices), tri_verts=solid.triangles.astype(np.uint64)
    )
    body = manifold3d.Manifold(mesh)

    def litres(levels: Floats) -> Floats:
        cuts = [
            body.trim_by_plane(tuple(-NORMAL), -level * NORMAL[2]).volume() * 1e-6
            for level in levels
        ]
        return np.array(cuts)

    return litres


def main() -> None:
    """Print the comparison."""
    tank = Tank(
        "lying_cylinder", length_mm=1200.0, diameter_mm=600.0, ends="dished", end_depth_mm=100.0
    )
    solid = solid_of(tank)
    low, high = level_range(solid, slope_x=SLOPE)
    levels = np.linspace(low, high, LEVELS + 2)[1:-1]
    few = levels[:: LEVELS // PEER_LEVELS]

    def ours() -> Floats:
        return litres_below(solid, levels, slope_x=SLOPE)

    start = time.perf_counter()
    litres = ours()
    first_ms = 1e3 * (time.perf_counter() - start)
    ours_ms = 1e3 * best_of(20, ours)
    print(f"Litres at {LEVELS} levels, {len(solid.triangles)} triangles, tilted 3 degrees")
    print(f"{'gaugewright':<12} {ours_ms:10.2f} ms   (first call at this slope {first_ms:.2f} ms)")
    for name, maker in (("manifold3d", by_manifold), ("trimesh", by_trimesh)):
        try:
            peer = maker(solid)
            peer(few[:1])
        except ImportError as missing:
            print(f"{name:<12} not installed: {missing}")
            continue
        span_ms = 1e3 * best_of(2, lambda peer=peer: peer(few)) * LEVELS / len(few)
        apart = np.abs(peer(few) - litres[:: LEVELS // PEER_LEVELS]).max() / solid.volume_l
        print(
            f"{name:<12} {span_ms:10.0f} ms   {span_ms / ours_ms:7.0f} times as long, "
            f"timed on {len(few)} levels and scaled; litres differ by {apart:.1e} of the volume"
        )
    inverse_ms = 1e3 * best_of(3, lambda: level_of_litres(solid, litres, slope_x=SLOPE))
    print(f"{'inverse':<12} {inverse_ms:10.1f} ms   levels of {LEVELS} litres")
    coarse = solid_of(tank, fine=False)
    hundred = np.linspace(low, high, 100)
    coarse_ms = 1e3 * best_of(50, lambda: litres_below(coarse, hundred, slope_x=SLOPE))
    print(
        f"{'in the fit':<12} {coarse_ms:10.2f} ms   100 levels, {len(coarse.triangles)} triangles"
    )


if __name__ == "__main__":
    main()
