"""A tank drawn elsewhere: a watertight STL, OBJ or 3MF file becomes a solid."""

from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.solid import LITRES_PER_MM3, Ints, Solid
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
_LEAST_L, _MOST_L = 1.0, 100_000.0


def solid_of_mesh(tank: Tank) -> Solid:
    """Read the mesh of a tank, its lowest point moved to z = 0, x and y to start at 0.

    Raises `InputError` for a file that is not a mesh or not watertight (naming where
    the hole is) and for a volume that points to a wrong unit.
    """
    if tank.mesh_file is None or tank.mesh_unit is None:
        raise InputError(said("a mesh needs mesh_file and mesh_unit"), field="mesh_file")
    solid = _read(Path(tank.mesh_file), changed_at(tank), tank.mesh_unit)
    if tank.mesh_scale == (1.0, 1.0, 1.0):
        return solid
    return Solid(solid.vertices * tank.mesh_scale, solid.triangles)


def changed_at(tank: Tank) -> int:
    """When the tank's mesh file was last written, `InputError` if it cannot be read. [ns]"""
    path = Path(tank.mesh_file or "")
    try:
        return path.stat().st_mtime_ns
    except OSError as error:
        raise InputError(
            said("cannot be read: {strerror}", strerror=error.strerror),
            field="mesh_file",
            file=str(path),
        ) from None


@lru_cache(maxsize=8)
def _read(path: Path, changed: int, unit: str) -> Solid:
    vertices, triangles = _loaded(path)
    vertices = (vertices - vertices.min(axis=0)) * _MM[unit]
    require_closed(vertices, triangles, file=str(path))
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    volume_l = float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6 * LITRES_PER_MM3
    if volume_l < 0:
        # Some programs write every triangle inside out.
        triangles, volume_l = triangles[:, ::-1], -volume_l
    if not _LEAST_L <= volume_l <= _MOST_L:
        size = " x ".join(f"{s:g}" for s in vertices.max(axis=0))
        likely = [
            other
            for other, mm in _MM.items()
            if _LEAST_L <= volume_l * (mm / _MM[unit]) ** 3 <= _MOST_L and mm != _MM[unit]
        ]
        hint = f"; {' or '.join(likely)} would give a tank" if likely else ""
        raise InputError(
            said(
                "in {unit} the mesh is {size} mm and holds {volume_l:g} L, wanted "
                "{least_l:g} to {most_l:,.0f} L{hint}",
                unit=unit,
                size=size,
                volume_l=volume_l,
                least_l=_LEAST_L,
                most_l=_MOST_L,
                hint=hint,
            ),
            field="mesh_unit",
            file=str(path),
        )
    return Solid(vertices, triangles)


def _loaded(path: Path) -> tuple[Floats, Ints]:
    import trimesh

    if path.suffix.lower() not in (".stl", ".obj", ".3mf"):
        raise InputError(
            said(
                "{value} is not known, wanted .stl, .obj or .3mf", value=path.suffix or "no ending"
            ),
            field="mesh_file",
            file=str(path),
        )
    try:
        mesh = trimesh.load_mesh(path)
        if isinstance(mesh, trimesh.Scene):
            mesh = mesh.to_mesh()
    # Whatever a broken file makes the reader stumble over, the person is told.
    except Exception as error:  # noqa: BLE001
        raise InputError(
            said("is not a mesh that can be read: {error}", error=error),
            field="mesh_file",
            file=str(path),
        ) from None
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    if mesh.is_watertight and not mesh.is_winding_consistent:
        mesh.fix_normals()
    vertices, triangles = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    # Merging corners can leave triangles that have become a line.
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    if len(triangles) < 4 or not np.isfinite(vertices).all():
        raise InputError(
            said(
                "a mesh needs at least 4 triangles with finite corners, found {number}",
                number=len(triangles),
            ),
            field="mesh_file",
            file=str(path),
        )
    return vertices.astype(np.float64), triangles.astype(np.intp)


def require_closed(vertices: Floats, triangles: Ints, *, file: str | None = None) -> None:
    """Refuse a surface with a hole: every edge must be met as often one way as the other.

    ``vertices`` are in mm.  Raises `InputError` with the number of open edges and the
    middle of the first hole.
    """
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    low, high = edges.min(axis=1), edges.max(axis=1)
    _, first, number, times = np.unique(
        low * len(vertices) + high, return_index=True, return_inverse=True, return_counts=True
    )
    open_edges = edges[first[times % 2 == 1]]
    if len(open_edges):
        raise InputError(
            said(
                "the mesh has a hole: {number} open edges, around {vertices}",
                number=len(open_edges),
                vertices=_where(vertices[_first_loop(open_edges)]),
            ),
            field="mesh_file",
            file=file,
        )
    balance = np.bincount(number, weights=np.where(edges[:, 0] == low, 1.0, -1.0))
    if balance.any():
        at = edges[first[np.argmax(balance != 0)]]
        raise InputError(
            said(
                "the triangles at {vertices} look different ways, the outside must be on "
                "one side everywhere",
                vertices=_where(vertices[at]),
            ),
            field="mesh_file",
            file=file,
        )


def _where(corners: Floats) -> str:
    x, y, z = corners.mean(axis=0)
    return f"x {x:.0f} mm, y {y:.0f} mm, z {z:.0f} mm"


def _first_loop(edges: Ints) -> list[int]:
    """Corners met by walking along open edges from the first one until there is no more."""
    onward = {int(a): int(b) for a, b in edges}
    at = int(edges[0, 0])
    loop = [int(edges[0, 1])]
    while at in onward:
        loop.append(at)
        at = onward.pop(at)
    return sorted(set(loop))
