"""Propagation of distributions by Monte Carlo (JCGM 101:2008).

The random generator comes in as an argument, so that a run can be repeated.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil
from typing import Protocol

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]


class Distribution(Protocol):
    """What is known of one input quantity: it can be drawn."""

    def draw(self, generator: np.random.Generator, size: int) -> Floats:
        """Return ``size`` independent values."""
        ...


@dataclass(frozen=True, slots=True)
class Normal:
    """Best estimate and standard uncertainty, nothing else known (JCGM 101, 6.4.7)."""

    mean: float
    u: float

    def draw(self, generator: np.random.Generator, size: int) -> Floats:
        """Return ``size`` independent values."""
        return generator.normal(self.mean, self.u, size)


@dataclass(frozen=True, slots=True)
class Rectangular:
    """Anywhere between two limits with equal probability (JCGM 101, 6.4.2)."""

    low: float
    high: float

    def draw(self, generator: np.random.Generator, size: int) -> Floats:
        """Return ``size`` independent values."""
        return generator.uniform(self.low, self.high, size)


@dataclass(frozen=True, slots=True)
class Triangular:
    """The sum of two rectangular quantities of equal width (JCGM 101, 6.4.5)."""

    low: float
    high: float

    def draw(self, generator: np.random.Generator, size: int) -> Floats:
        """Return ``size`` independent values."""
        return generator.triangular(self.low, (self.low + self.high) / 2, self.high, size)


@dataclass(frozen=True, slots=True)
class ArcSine:
    """A sinusoidal swing between two limits (JCGM 101, 6.4.6), such as a slosh."""

    low: float
    high: float

    def draw(self, generator: np.random.Generator, size: int) -> Floats:
        """Return ``size`` independent values."""
        phase = generator.uniform(0, 2 * np.pi, size)
        half = (self.high - self.low) / 2
        result: Floats = (self.low + self.high) / 2 + half * np.sin(phase)
        return result


@dataclass(frozen=True, slots=True)
class StudentT:
    """The mean of ``degrees_of_freedom`` + 1 repeated readings (JCGM 101, 6.4.9)."""

    mean: float
    u: float
    degrees_of_freedom: float

    def draw(self, generator: np.random.Generator, size: int) -> Floats:
        """Return ``size`` independent values."""
        result: Floats = self.mean + self.u * generator.standard_t(self.degrees_of_freedom, size)
        return result


@dataclass(frozen=True, slots=True)
class Propagated:
    """The output quantity's values, from which estimate, u and intervals are read."""

    values: Floats
    """In rising order."""

    @property
    def mean(self) -> float:
        """Return the estimate."""
        return float(np.mean(self.values))

    @property
    def u(self) -> float:
        """Return the standard uncertainty."""
        return float(np.std(self.values, ddof=1))

    def symmetric_interval(self, probability: float = 0.95) -> tuple[float, float]:
        """Return the probabilistically symmetric coverage interval (JCGM 101, 7.7.2)."""
        count, covered = self._covered(probability)
        first = (count - covered + 1) // 2  # the same share is left out at both ends
        return float(self.values[first - 1]), float(self.values[first - 1 + covered])

    def shortest_interval(self, probability: float = 0.95) -> tuple[float, float]:
        """Return the shortest coverage interval (JCGM 101, 7.7.4)."""
        count, covered = self._covered(probability)
        widths = self.values[covered:] - self.values[: count - covered]
        first = int(np.argmin(widths))
        return float(self.values[first]), float(self.values[first + covered])

    def _covered(self, probability: float) -> tuple[int, int]:
        if not 0 < probability < 1:
            raise InputError(f"must be between 0 and 1, found {probability:g}", field="probability")
        count = len(self.values)
        covered = int(probability * count + 0.5)
        if not 0 < covered < count:
            raise InputError(
                f"{count} trials are too few for a coverage of {probability:g}; "
                f"wanted {trials_for(probability)}",
                field="trials",
            )
        return count, covered


def trials_for(probability: float) -> int:
    """Return how many trials JCGM 101 (7.2.1) asks for: 10⁴ / (1 - p).

    >>> trials_for(0.95)
    200000
    """
    return ceil(1e4 / (1 - probability) - 1e-6)


def propagate(
    model: Callable[..., npt.ArrayLike],
    inputs: Mapping[str, Distribution],
    *,
    generator: np.random.Generator,
    trials: int = 200_000,
) -> Propagated:
    """Return the distribution of ``model(**inputs)`` over independent inputs.

    ``model`` gets one array of ``trials`` values by name for each input and gives an
    array of the same length.  Raises `InputError` where the model gives anything else.

    >>> two = propagate(lambda a, b: a + b, {"a": Normal(1, 3), "b": Normal(2, 4)},
    ...                 generator=np.random.default_rng(1))
    >>> round(two.mean, 1), round(two.u, 1)
    (3.0, 5.0)
    """
    if trials < 2:
        raise InputError(f"must be at least 2, found {trials}", field="trials")
    drawn = {name: given.draw(generator, trials) for name, given in inputs.items()}
    values = np.asarray(model(**drawn), dtype=np.float64)
    if values.shape != (trials,):
        raise InputError(f"the model gave shape {values.shape}, wanted ({trials},)")
    if not np.isfinite(values).all():
        bad = int(np.count_nonzero(~np.isfinite(values)))
        raise InputError(f"the model gave {bad} of {trials} values that are not finite")
    values = np.sort(values)
    values.setflags(write=False)
    return Propagated(values)
