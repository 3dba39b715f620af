"""Pseudo-terminals as cables."""

import os
import select
import threading
import tty
from pathlib import Path

import pytest


class Cable:
    """A pseudo-terminal under a name that stays the same when it is plugged in again."""

    def __init__(self, link: Path):
        self.link = link
        self.master = -1
        self.plug_in()

    def plug_in(self):
        self.master, slave = os.openpty()
        os.set_blocking(self.master, False)
        tty.setraw(slave)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(slave))
        os.close(slave)

    def pull_out(self):
        if self.master >= 0:
            os.close(self.master)
            self.master = -1
            self.link.unlink()


class TwoEndedCable:
    """Two pseudo-terminals joined: a serial line with a port at each end."""

    def __init__(self, folder: Path):
        self.near = Cable(folder / "near")
        self.far = Cable(folder / "far")
        self._stop = threading.Event()
        self._pump = threading.Thread(target=self._run, daemon=True)
        self._pump.start()

    def _run(self):
        ends = {self.near.master: self.far.master, self.far.master: self.near.master}
        while not self._stop.is_set():
            ready, _, _ = select.select(list(ends), [], [], 0.02)
            for end in ready:
                try:
                    os.write(ends[end], os.read(end, 4096))
                except OSError:  # nobody has the port open yet
                    self._stop.wait(0.02)

    def pull_out(self):
        self._stop.set()
        self._pump.join()
        self.near.pull_out()
        self.far.pull_out()


@pytest.fixture
def cable(tmp_path):
    cable = Cable(tmp_path / "port")
    yield cable
    cable.pull_out()


@pytest.fixture
def two_ended_cable(tmp_path):
    """Give a function that lays a cable; all are taken up at the end."""
    laid = []

    def lay():
        laid.append(TwoEndedCable(tmp_path))
        return laid[-1]

    yield lay
    for cable in laid:
        cable.pull_out()
