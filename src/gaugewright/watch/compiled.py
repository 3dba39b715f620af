"""Loops over records are compiled where numba can be had, and run plainly where it cannot.

The same function runs both ways, so the results are the same; only the time differs.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np

F = TypeVar("F", bound=Callable[..., Any])

ZERO, NO = cast(int, np.int64(0)), cast(bool, np.bool_(False))
"""For what a loop begins with and passes on to another one, which would be compiled once more
for a bare 0 or False."""


def compiled(function: F) -> F:
    """Return ``function`` compiled, kept on disk for the next run; itself without numba.

    A division by nothing gives what it gives in NumPy, so that no loop stops to look for one.
    """
    try:
        import numba
    except ImportError:
        return function
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
