"""Simulated checks of arrival: a tank being poured into, a probe, and a device far away.

Everything is drawn from one generator; what is wrong is ordered by name.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.pours.arrives.series import Check, Far, Near, Off

Floats = npt.NDArray[np.float64]

WRONGS = (
    "none", "every_third_lost", "wrong_scale", "frozen", "other_tank", "silent_off", "nothing",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Scene:
    """What is true of one simulated check."""

    delay_s: float = 5.0
    averaging: int = 64
    """Samples that the far side's average has; the near side's has 8."""
    every_s: float = 5.0
    wrong: str = "none"
    has_stamps: bool = True
    clock_error_s: float = 0.0
    duration_s: float = 720.0
    hz: float = 10.0
    noise_counts: float = 3.0
    moves_counts: float = 220.0
    jitter_s: float = 0.3
    off_s: tuple[float, float] | None = (560.0, 720.0)


def simulated_check(rng: np.random.Generator, scene: Scene) -> Check:
    """Return what is gathered in one check."""
    t = np.arange(-120.0, scene.duration_s, 1 / scene.hz)
    level = _level(rng, t, scene)
    raw = level + rng.normal(0, scene.noise_counts, len(t))
    other = _level(rng, t, scene, pours=0) * 0.6 + rng.normal(0, scene.noise_counts, len(t)) + 900
    here = t >= 0
    near = Near(t[here], np.round(_averaged(raw, 8))[here])
    source = other if scene.wrong == "other_tank" else raw
    shown = _averaged(source, scene.averaging)
    first = rng.uniform(0, scene.every_s)
    made = np.arange(first - 60.0, scene.duration_s, scene.every_s)
    values = np.round(np.interp(made, t, shown))
    if scene.wrong == "wrong_scale":
        values = np.round(np.interp(made, t, shown) * 1023 / 4095)
    if scene.wrong == "frozen":
        values = np.full_like(values, values[0])
    kept = np.ones(len(made), dtype=np.bool_)
    if scene.wrong == "every_third_lost":
        kept[2::3] = False
    if scene.wrong == "nothing":
        kept[:] = False
    if scene.wrong == "silent_off" and scene.off_s is not None:
        kept &= ~((made >= scene.off_s[0]) & (made <= scene.off_s[1]))
    seen = made + scene.delay_s + rng.uniform(0, scene.jitter_s, len(made))
    kept &= (seen <= scene.duration_s) & (seen >= 0)
    off = () if scene.off_s is None else (Off(*scene.off_s),)
    stamped = made[kept] + scene.clock_error_s if scene.has_stamps else None
    return Check(
        near,
        Far(seen[kept], values[kept], stamped),
        until_s=scene.duration_s,
        off=off,
        others={"right tank": Near(t[here], np.round(_averaged(other, 8))[here])},
        hz=scene.hz,
    )


def _averaged(values: Floats, samples: int) -> Floats:
    """Return the mean of the last so many samples."""
    total = np.cumsum(np.concatenate([[0.0], values]))
    at = np.arange(1, len(values) + 1)
    first = np.maximum(at - samples, 0)
    result: Floats = (total[at] - total[first]) / (at - first)
    return result


def _level(rng: np.random.Generator, t: Floats, scene: Scene, pours: int = 3) -> Floats:
    """Return the counts without noise: pours, and the surface that swings after each."""
    counts = np.full(len(t), rng.uniform(800, 1800))
    last_s = (scene.off_s[0] if scene.off_s else scene.duration_s) - 80.0
    starts = np.sort(rng.uniform(40.0, last_s, pours))
    for start in starts:
        lasts, rise = rng.uniform(15, 45), scene.moves_counts / pours * rng.uniform(0.7, 1.3)
        counts += rise * np.clip((t - start) / lasts, 0, 1)
        after = np.maximum(t - start - lasts, 0.0)
        swing = np.exp(-after / 3.0) * np.sin(2 * np.pi * 0.7 * after)
        counts += np.where(t > start, 4.0 * swing, 0.0)
    if not pours:
        counts += 6 * np.sin(2 * np.pi * t / 300 + rng.uniform(0, 6))
    return counts
