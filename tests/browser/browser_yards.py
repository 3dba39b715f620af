"""What the browser tests work with: the API, the usual tank, jobs, and how pages are opened."""

import itertools
import json
import os
import socket
import threading
import urllib.parse
import urllib.request
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Page

from gaugewright.app.instruments import TYPED_BY_HAND
from gaugewright.app.yard import Stamp, Yard
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.demands import Event
from gaugewright.planning.cautions import CAUTIONS
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.tank.levels import litres_at
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import level_of_litres

CHROMIUM = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--no-first-run", "--disable-default-apps", "--mute-audio",
    "--disable-features=Translate,OptimizationHints,MediaRouter",
]  # fmt: skip
PHONE, DESK = (360, 740), (1280, 800)
PATIENCE_MS = 60_000
"""How long a test waits for what it waits for: a busy machine is slow, not wrong. [ms]"""

TANK = {
    "shape": "box", "length_mm": 1000, "width_mm": 620, "height_mm": 600,
    "edge_radius_mm": 90, "rated_capacity_l": 340,
}  # fmt: skip
PROBE = {"x_mm": 500, "y_mm": 310, "tip_clearance_mm": 22, "active_length_mm": 560}


class Api:
    """The workbench's own API, as a device that is not the browser.

    With the yard of a workbench of this process, many entries are recorded in one go.
    """

    def __init__(self, url: str, yard: Yard | None = None) -> None:
        self.url, self.yard = url.rstrip("/"), yard
        self.jar = urllib.request.HTTPCookieProcessor()
        self.opener = urllib.request.build_opener(self.jar)
        self.token = self.call("GET", "/api/session")["csrf_token"]
        self.presses = itertools.count()

    def call(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        headers = {"Content-Type": "application/json", "X-Csrf-Token": getattr(self, "token", "")}
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.url + path, data, headers, method=method)
        with self.opener.open(request, timeout=PATIENCE_MS / 1000) as answer:
            return json.loads(answer.read() or b"null")

    def last(self, job: str) -> int:
        """The number of a job's last entry."""
        if self.yard is not None:
            return self.yard.book.store.tip(job).number
        number: int = self.call("GET", f"/api/jobs/{job}")["number"]
        return number

    def record(self, job: str, path: str, method: str = "POST", **body: Any) -> Any:
        on = self.last(job)
        press = f"test-{id(self)}-{next(self.presses)}"
        full = {"person": "Kim Aldo", "on": on, "request_id": press, **body}
        return self.call(method, f"/api/jobs/{job}{path}", full)

    def record_all(self, job: str, path: str, asked: list[tuple[dict[str, Any], Event]]) -> None:
        """Record what is asked for at one address, each with the event that comes of it."""
        if self.yard is None:
            for body, _ in asked:
                self.record(job, path, **body)
            return
        stamp = Stamp("Kim Aldo", "this computer", self.last(job))
        self.yard.record(job, stamp, *(event for _, event in asked))


_numbers = itertools.count(1)


def counts_after(litres: float) -> int:
    """What the probe of the usual tank reads with so much fuel in it."""
    tank, probe = Tank(**TANK), Probe(**PROBE)
    level = float(level_of_litres(solid_of(tank), litres, at_x_mm=500, at_y_mm=310))
    counts = float(probe.counts_of(max(level - probe.tip_clearance_mm, 0.0)))
    assert litres_at(tank, level) >= 0
    return round(float(np.clip(counts, 0, 4095)))


def new_job(api: Api, vehicle: str = "Loader 14") -> str:
    """Open a job with a described tank and every caution read."""
    job = f"HB-{next(_numbers):04d}"
    press = f"open-{job}-{datetime.now(UTC).timestamp()}"
    body = {"person": "Kim Aldo", "request_id": press, "customer": "Halden Plant Hire"}
    api.call("POST", "/api/jobs", {**body, "vehicle": vehicle, "job": job, "supply_v": "24,6"})
    api.record(job, "/tanks/left", "PUT", tank=TANK, probe=PROBE, name="left tank")
    read = [
        (
            {"caution": each.id, "text": each.text, "stage": each.stage},
            k.CautionAcknowledged(each.id, "Kim Aldo", text=each.text, stage=each.stage),
        )
        for each in CAUTIONS
    ]
    api.record_all(job, "/cautions", read)
    return job


START_L = 11.0
"""What is left in the drained tank. [L]"""


def poured(api: Api, job: str, pours: list[float]) -> str:
    """Begin a fill and record the drained tank and these pours."""
    api.record(job, "/tanks/left/fill", dispenser="D-2", fuel="diesel")
    total, made = START_L, []
    for step, litres in enumerate((0, *pours)):
        total += litres
        counts = counts_after(total)
        event = fk.PourRecorded("left", step, litres, float(counts), source=TYPED_BY_HAND)
        made.append(({"added_l": litres, "counts": counts}, event))
    api.record_all(job, "/tanks/left/pours", made)
    return job


class Line:
    """A line between the browser and the server that can hang and come back.

    It passes bytes on; while it hangs, nothing passes and nobody is told, as when a phone
    leaves the reach of the radio.
    """

    def __init__(self, url: str) -> None:
        self.to = ("127.0.0.1", urllib.parse.urlsplit(url).port)
        self.passes = threading.Event()
        self.passes.set()
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.listening.getsockname()[1]}"
        self.ends: list[socket.socket] = []
        self.threads = [threading.Thread(target=self._accept, daemon=True)]
        self.threads[0].start()

    def hang(self) -> None:
        self.passes.clear()

    def come_back(self) -> None:
        """Let bytes pass again; what was connected before is broken, as by a new address."""
        for end in self.ends:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        self.passes.set()

    def close(self) -> None:
        with suppress(OSError):
            self.listening.shutdown(socket.SHUT_RDWR)
        self.threads[0].join(5)
        self.come_back()
        for thread in self.threads:
            thread.join(5)
        for end in (self.listening, *self.ends):
            end.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self.listening.accept()
                far = socket.create_connection(self.to)
                self.ends += [near, far]
                for one, other in ((near, far), (far, near)):
                    thread = threading.Thread(target=self._pass, args=(one, other), daemon=True)
                    self.threads.append(thread)
                    thread.start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(65536):
                self.passes.wait()
                other.sendall(data)
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


OpenPage = Callable[..., Page]
