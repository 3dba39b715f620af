"""How many pages listen to this server, and whether it is about to end."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(slots=True)
class Streams:
    """The streams that are open, and whether they must end."""

    is_closing: Callable[[], bool] = lambda: False
    count: int = 0
