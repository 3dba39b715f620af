"""A scripted fill that every test of the job book can use."""

import os
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import open_book

START_AT = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)


class Scribe:
    """Records events one after the other, as one person with one device would."""

    def __init__(self, book, job, person="Ada", device="laptop"):
        self.book = book
        self.job = job
        self.by = {"person": person, "device": device}
        self.at = START_AT

    @property
    def number(self):
        return self.book.store.entries(self.job)[-1].number if self.known else 0

    @property
    def known(self):
        return bool(self.book.store.entries(self.job))

    def record(self, *events, request_id=None, expected_number=None):
        self.at += timedelta(seconds=30)
        number = self.number if expected_number is None else expected_number
        return self.book.record(
            self.job, number, events, at=self.at, request_id=request_id, **self.by
        )


def opened():
    return k.JobOpened(customer="Quarry Yard", vehicle="Tipper 4", supply_v=27.8)


def described(tank_id="A"):
    return k.TankDescribed(
        tank_id,
        tank={"shape": "box", "length_mm": 1000.0, "width_mm": 600.0, "height_mm": 600.0},
        probe={"x_mm": 500.0, "y_mm": 300.0, "tip_clearance_mm": 20.0, "active_length_mm": 560.0},
    )


def pour(step, added_l=40.0, counts=None, tank_id="A", **more):
    counts = 30.0 + step * 350.0 if counts is None else counts
    return fk.PourRecorded(tank_id, step=step, added_l=added_l, counts=counts, **more)


@pytest.fixture
def happen():
    """Events as they usually come."""
    return SimpleNamespace(
        opened=opened, described=described, pour=pour, scribe=Scribe, start_at=START_AT
    )


@pytest.fixture
def book_path(tmp_path):
    """A place for a book; in memory where there is such a folder, for the tests' speed."""
    memory = Path("/dev/shm")
    if not os.access(memory, os.W_OK):
        yield tmp_path / "yard.book"
        return
    with tempfile.TemporaryDirectory(prefix="gw-", dir=memory) as folder:
        yield Path(folder) / "yard.book"


@pytest.fixture
def book(book_path):
    with open_book(book_path) as book:
        yield book


@pytest.fixture
def scribe(book):
    return Scribe(book, "J-1")


@pytest.fixture
def filling(scribe):
    """A job with its tank described and the drained tank read."""
    scribe.record(opened())
    scribe.record(described())
    scribe.record(fk.FillBegun("A", dispenser="bowser 2", residual_l=1.5, u_residual_l=0.5))
    scribe.record(pour(0, added_l=0.0))
    return scribe


@pytest.fixture
def jpeg():
    return b"\xff\xd8\xff\xe0" + bytes(range(256)) + b"\xff\xd9"


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request):
    """A place for a new book, on each kind of database."""
    if request.param == "sqlite":
        return request.getfixturevalue("book_path")
    return request.getfixturevalue("postgresql_url")
