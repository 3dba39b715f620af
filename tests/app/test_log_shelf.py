"""Logs beside the book: whole or not there, each once, never more than is taken."""

import hashlib
import io
from pathlib import Path

import pytest

from gaugewright.app.log_shelf import KEPT_OPEN, LogShelf, shelf_folder
from gaugewright.errors import FileError, InputError

LOG = b"vehicle,time,counts\nT-7,2026-03-01T00:00:00Z,812\n"


@pytest.fixture
def shelf(tmp_path: Path) -> LogShelf:
    return LogShelf(shelf_folder(tmp_path / "yard.book"))


def test_a_log_is_kept_under_the_digest_of_its_bytes(shelf: LogShelf) -> None:
    kept = shelf.keep(io.BytesIO(LOG), "C:\\logs\\March.CSV")
    assert kept.sha256 == hashlib.sha256(LOG).hexdigest()
    assert kept.name == "March.CSV"
    assert kept.path.name == f"{kept.sha256}.csv"
    assert shelf.find(kept.sha256) == kept.path
    assert shelf.is_whole(kept.path, kept.sha256)


def test_the_same_log_twice_is_one_file(shelf: LogShelf) -> None:
    for name in ("a.csv", "b.csv"):
        shelf.keep(io.BytesIO(LOG), name)
    assert len(list(shelf.folder.iterdir())) == 1


@pytest.mark.parametrize(("content", "words"), [(b"", "is empty"), (b"x" * 11, "more than 0 MB")])
def test_what_is_refused_leaves_nothing_behind(shelf: LogShelf, content: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        shelf.keep(io.BytesIO(content), "a.csv", most_bytes=10)
    assert list(shelf.folder.iterdir()) == []


def test_a_file_that_was_changed_is_known(shelf: LogShelf) -> None:
    kept = shelf.keep(io.BytesIO(LOG), "a.csv")
    kept.path.write_bytes(LOG + b"T-7,2026-03-01T00:01:00Z,700\n")
    assert not shelf.is_whole(kept.path, kept.sha256)


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "yard.book.logs").write_text("in the way")
    with pytest.raises(FileError, match=r"yard\.book\.logs"):
        LogShelf(shelf_folder(tmp_path / "yard.book")).keep(io.BytesIO(LOG), "a.csv")


def test_the_last_few_logs_are_held_open_and_no_more(shelf: LogShelf) -> None:
    loads: list[int] = []

    def opened(key: int) -> object:
        return shelf.opened(key, lambda: loads.append(key) or key)

    for key in range(KEPT_OPEN + 1):
        opened(key)
    opened(KEPT_OPEN)
    assert loads == list(range(KEPT_OPEN + 1))
    opened(0)
    assert loads[-1] == 0
