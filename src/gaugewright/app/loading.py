"""Loading modules as quickly as they can be."""

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_ONE_AT_A_TIME = threading.RLock()


@contextmanager
def loading() -> Iterator[None]:
    """Load modules without looking for garbage: they stay, and looking takes a tenth of the time.

    What was loaded is not looked through later either.
    """
    with _ONE_AT_A_TIME:
        gc.disable()
        try:
            yield
            gc.freeze()
        finally:
            gc.enable()
