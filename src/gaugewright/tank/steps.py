"""The stepped tank: a prism with a block missing at its rear end."""

import numpy as np
import numpy.typing as npt

from gaugewright.tank.description import Tank
from gaugewright.tank.prisms import band, fill, placed
from gaugewright.tank.solid import Solid

Floats = npt.NDArray[np.float64]


def stepped(tank: Tank, section: Floats) -> Solid:
    """Pull a convex section along the length, but at the rear only its part past the step.

    The rear part is the section cut off at the step's height: its edges there are
    sharp, the others keep their radius.
    """
    length, missing = tank.size("length_mm"), tank.size("step_length_mm")
    height = tank.size("step_height_mm")
    at_top = tank.step_at == "top"
    if at_top:
        # Half a turn about the length's axis brings the top down and keeps the order.
        section = section.max(axis=0) - section
    ring, cut = _with_cut(section, height)
    n = len(ring)
    kept, removed = ring[: cut + 1], np.concatenate([ring[cut:], ring[:1]])
    m = len(kept)
    rings = np.concatenate(
        [placed(ring, 0.0), placed(ring, length - missing), placed(kept, length)]
    )
    wall = np.append(np.arange(cut, n), 0)
    rear = band(m, n, 2 * n)
    # The kept part's ring closes from corner `cut` straight back to corner 0; in the
    # full ring that corner's follower is another one, so it is named here.
    rear[rear == n + m] = n
    triangles = [
        fill(ring)[:, ::-1],
        band(n, 0, n),
        n + wall[fill(removed)],
        rear,
        2 * n + fill(kept),
    ]
    vertices = rings
    if at_top:
        width, top = section.max(axis=0)
        vertices = rings * [1, -1, -1] + [0, width, top]
    return Solid(vertices, np.concatenate(triangles))


def _with_cut(section: Floats, height: float) -> tuple[Floats, int]:
    """Corners from the right end of the cut, over the top, to its left end, then below.

    Gives the ring, starting at the right end, and the number of the left end.
    """
    after = np.roll(section, -1, axis=0)
    z, z_after = section[:, 1], after[:, 1]
    rises = int(np.flatnonzero((z < height) & (z_after >= height))[0])
    falls = int(np.flatnonzero((z >= height) & (z_after < height))[0])

    def crossing(k: int) -> Floats:
        share = (height - z[k]) / (z_after[k] - z[k])
        point: Floats = section[k] + share * (after[k] - section[k])
        return point

    n = len(section)
    over = [section[k % n] for k in range(rises + 1, rises + 1 + (falls - rises) % n)]
    under = [section[k % n] for k in range(falls + 1, falls + 1 + (rises - falls) % n)]
    over = [p for p in over if p[1] > height]
    right, left = crossing(rises), crossing(falls)
    ring = [right, *over, left, *under]
    return np.array(ring), len(over) + 1
