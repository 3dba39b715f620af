"""A workbench on a fresh book, its client, and a tank whose counts are known."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gaugewright.app.instruments import TYPED_BY_HAND
from gaugewright.app.yard import Stamp, Yard, load_numerics
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal.book import open_book
from gaugewright.testing.hand import Hand, counts_at
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


@pytest.fixture(scope="module")
def pour_at_once(workbench: Workbench) -> Callable[[Hand, float, int], None]:
    """Begins a fill and records the drained tank and so many pours of one size, in one go.

    What comes after a fill needs the pours in the book, and not the answer to each.
    """

    def pour(hand: Hand, litres: float, pours: int) -> None:
        hand.begin()
        events = [
            fk.PourRecorded(
                "main",
                step,
                litres if step else 0.0,
                float(counts_at(litres * step)),
                source=TYPED_BY_HAND,
            )
            for step in range(pours + 1)
        ]
        stamp = Stamp(hand.person, "this computer", hand.number)
        hand.number = workbench.yard.record(hand.job, stamp, *events).state.tip.number

    return pour
