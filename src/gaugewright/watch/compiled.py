"""Loops over records are compiled where numba can be had, and run plainly where it cannot.

The same function runs both ways, so the results are the same; only the time differs.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """Return ``function`` compiled, kept on disk for the next run; itself without numba.

    A division by nothing gives what it gives in NumPy, so that no loop stops to look for one.
    """
    try:
        import numba
    except ImportError:
        return function
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
