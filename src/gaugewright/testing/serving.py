"""A workbench in a process of its own that can be killed, started in no time.

The process is forked from one that has loaded everything, so that killing it two hundred
times does not take two hundred starts of the program.
"""

import multiprocessing
from importlib import import_module
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

from gaugewright.app.yard import Yard, load_numerics
from gaugewright.journal.book import open_book
from gaugewright.workbench.running import prepare

_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(["gaugewright.testing.serving"])


def start(book: Path, timeout_s: float = 60.0, *, port: int = 0) -> tuple[BaseProcess, str]:
    """Start a server on a book and return its process and its address.

    ``port`` 0 takes any that is free; another brings a killed server back where it was.
    """
    here, there = _CONTEXT.Pipe()
    process = _CONTEXT.Process(target=_serve, args=(str(book), there, port), daemon=True)
    process.start()
    there.close()
    with here:
        if not here.poll(timeout_s):
            raise TimeoutError(f"no server within {timeout_s:g} s")
        url: str = here.recv()
    return process, url


def _serve(book: str, told: Connection, port: int) -> None:
    bench = prepare(Yard(open_book(book)), port=port)
    bench.run(when_ready=lambda: told.send(bench.url))


load_numerics()
import_module("gaugewright.workbench.inside")
