"""How much a test tries: what suits every day, or all of it where that is asked for."""

import os

VARIABLE = "GAUGEWRIGHT_FULL"
"""Set to 1 in the environment, the tests run at full size; that takes many times as long."""


def thorough(usual: int, full: int) -> int:
    """Return how many of something a test tries.

    >>> thorough(3, 200) in (3, 200)
    True
    """
    return full if os.environ.get(VARIABLE) == "1" else usual
