"""A workbench on a fresh book, its client, and a tank whose counts are known."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from gaugewright.app.yard import Yard, load_numerics
from gaugewright.journal.book import open_book
from gaugewright.testing.hand import Hand
from gaugewright.workbench.running import Workbench, prepare


@pytest.fixture(scope="module")
def workbench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workbench]:
    """A server on a fresh book."""
    load_numerics()
    book: Path = tmp_path_factory.mktemp("yard") / "yard.book"
    running = prepare(Yard(open_book(book)), port=0).start()
    yield running
    running.stop()


@pytest.fixture
def hand(workbench: Workbench) -> Iterator[Hand]:
    """A person with a job of their own."""
    found = Hand(workbench.url)
    found.open_job()
    yield found
    found.client.close()
