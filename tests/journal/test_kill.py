"""Killed at any moment, starved of disk at any byte: what was acknowledged is there."""

import os

import pytest

from gaugewright.journal.book import open_book
from gaugewright.testing.thorough import thorough

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills and limits are POSIX")

KILLS = int(os.environ.get("GAUGEWRIGHT_KILLS", thorough(12, 200)))
STEP_BYTES = thorough(5_900, 2_900)
"""Between two limits of a file's size; a page of the database is 4096 bytes."""


def test_no_acknowledged_entry_is_lost_when_the_writer_is_killed(tmp_path):
    from gaugewright.testing.kill_journal import kill_many

    book_path = tmp_path / "yard.book"
    victims = kill_many(book_path, KILLS, seed=20260504)

    assert victims.refusals == []
    victims.acknowledged["J-1", 10**6] = "0" * 64
    assert victims.missing() == ["J-1 entry 1000000"]  # A loss would have been seen.
    assert len(victims.acknowledged) > KILLS
    with open_book(book_path, read_only=True) as book:
        for head in book.jobs()[1:]:  # The newest job was cut off, the ones before were not.
            fill = book.state(head.job).tanks["A"].fill
            assert [pour.event.step for pour in fill.standing] == list(range(13))
            assert [pour.event.added_l for pour in fill.standing] == [0.0] + [45.0] * 12
            assert [pour.event.added_l for pour in fill.pours if pour.voided] == [54.0]


def test_a_write_that_fails_at_any_byte_leaves_the_book_before_or_after_it(tmp_path):
    from gaugewright.testing.kill_journal import Victims

    book_path = tmp_path / "yard.book"
    open_book(book_path).close()
    with Victims(book_path) as victims:
        limits = range(33_000, 110_000, STEP_BYTES)
        for file_bytes in limits:
            victims.starve_one(file_bytes)
            assert victims.missing() == []

    assert len(victims.refusals) == len(limits)
    assert all("the disk" in refusal for refusal in victims.refusals), set(victims.refusals)
    with open_book(book_path) as book:
        newest = book.jobs(limit=1)[0]
        assert book.state(newest.job).tip == newest.tip
