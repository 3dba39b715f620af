"""What is told to the system's memory, so that no time goes by in asking for it anew."""

from functools import cache

import numpy as np

_LARGEST = 31 << 20
"""The largest block that the system's C library learns to keep by its own rule. [bytes]"""


@cache
def keep_freed_memory() -> None:
    """Have freed arrays of a vehicle used again for the next vehicle's.

    The GNU C library gives large blocks back to the system and takes each page anew, which
    costs a seventh of the watch's time. It stops once it has seen a larger block freed
    (mallopt(3), M_MMAP_THRESHOLD, which it adjusts). The block is never written to, so it takes
    no room; where another library serves, nothing happens.
    """
    np.empty(_LARGEST, np.uint8)
