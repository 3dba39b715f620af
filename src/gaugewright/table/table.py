"""A calibration table: counts to litres, with the band where it is known."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Table:
    """Counts → litres, read between rows along straight lines.

    ``litres`` are all the fuel in the tank standing level, dead stock and residue
    included.  ``u_litres`` is the half-width of the 95 % band, or ``None`` where
    nobody knows it.

    >>> table = Table(np.array([0, 2000, 4000]), np.array([4.0, 180.0, 400.0]), None)
    >>> float(table.litres_at(1000))
    92.0
    >>> Table(np.array([0, 0]), np.array([1.0, 2.0]), None)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: row 2: counts must rise strictly, 0 follows 0
    """

    counts: Floats
    litres: Floats
    u_litres: Floats | None

    def __post_init__(self) -> None:
        """Hold the promises of the file format."""
        for name in ("counts", "litres", "u_litres"):
            value = getattr(self, name)
            if value is not None:
                array = np.asarray(value, dtype=np.float64)
                array.setflags(write=False)
                object.__setattr__(self, name, array)
        if len(self.counts) < 2:
            raise InputError(f"a table needs at least 2 rows, found {len(self.counts)}")
        for name in ("counts", "litres", "u_litres"):
            value = getattr(self, name)
            if value is None:
                continue
            if value.shape != self.counts.shape:
                raise InputError(f"{len(self.counts)} counts but {value.size} {name}")
            bad = ~np.isfinite(value)
            if bad.any():
                row = int(np.argmax(bad))
                raise InputError(f"row {row + 1}: {name} is {value[row]}, wanted a finite number")
        self._require_rising()

    def _require_rising(self) -> None:
        step = np.diff(self.counts)
        if (step <= 0).any():
            row = int(np.argmax(step <= 0)) + 1
            raise InputError(
                f"row {row + 1}: counts must rise strictly, "
                f"{self.counts[row]:g} follows {self.counts[row - 1]:g}"
            )
        fall = np.diff(self.litres)
        if (fall < 0).any():
            row = int(np.argmax(fall < 0)) + 1
            raise InputError(
                f"row {row + 1}: litres must not fall, "
                f"{self.litres[row]:g} L follows {self.litres[row - 1]:g} L"
            )
        if (self.litres < 0).any():
            row = int(np.argmax(self.litres < 0))
            raise InputError(f"row {row + 1}: litres must not be negative: {self.litres[row]:g} L")
        if self.u_litres is not None and (self.u_litres < 0).any():
            row = int(np.argmax(self.u_litres < 0))
            raise InputError(
                f"row {row + 1}: u_litres must not be negative: {self.u_litres[row]:g} L"
            )

    def litres_at(self, counts: npt.ArrayLike) -> Floats:
        """Return litres at ``counts`` (any shape), `InputError` outside the table. [L]"""
        return self._interpolate(counts, self.litres)

    def band_at(self, counts: npt.ArrayLike) -> Floats | None:
        """Return the band's half-width at ``counts``, or ``None`` if it is unknown. [L]"""
        return None if self.u_litres is None else self._interpolate(counts, self.u_litres)

    def _interpolate(self, counts: npt.ArrayLike, values: Floats) -> Floats:
        at = np.asarray(counts, dtype=np.float64)
        outside = (at < self.counts[0]) | (at > self.counts[-1])
        if outside.any():
            raise InputError(
                f"{at[outside].flat[0]:g} counts is outside the table, "
                f"{self.counts[0]:g} to {self.counts[-1]:g} counts"
            )
        result: Floats = np.interp(at, self.counts, values)
        return result
