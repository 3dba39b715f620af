"""Where the logs that were looked through are kept: beside the book, never in it.

A log is a file of its own under the SHA-256 of its bytes; the journal names it by that.  So a
book stays small, and whoever has the log can show that it is the one that was meant.
"""

import hashlib
import os
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from gaugewright.app.files import reason
from gaugewright.errors import FileError, InputError

MOST_LOG_BYTES = 400_000_000
"""A larger log is watched by the command line, which reads it where it lies. [bytes]"""
_SUFFIXES = (".parquet", ".pq", ".csv.gz", ".csv", ".tsv", ".txt")
_PIECE = 1 << 20
KEPT_OPEN = 3
"""How many logs are held ready for drawing; a vehicle-year takes some 200 MB."""


@dataclass(frozen=True, slots=True)
class ShelvedLog:
    """A log on the shelf."""

    sha256: str
    name: str
    """As the person's file was called."""
    size: int
    path: Path


def shelf_folder(book: Path | None) -> Path:
    """Return the folder for the logs of a book; of one in a database, in the home folder.

    >>> shelf_folder(Path("/srv/yard.book")).as_posix()
    '/srv/yard.book.logs'
    """
    if book is None:
        return Path.home() / ".gaugewright" / "logs"
    return book.with_name(book.name + ".logs")


class LogShelf:
    """Keeps logs as files and holds a few of them open.  Safe between threads."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._open: OrderedDict[object, Any] = OrderedDict()
        self._lock = threading.Lock()

    def keep(self, upload: BinaryIO, name: str, *, most_bytes: int = MOST_LOG_BYTES) -> ShelvedLog:
        """Put a log on the shelf; the same log again is the same file.

        Raises `InputError` for one that is empty or too large, `FileError` where there is no
        room; then nothing is left behind.
        """
        shown = Path(name.replace("\\", "/")).name[:200] or "log"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            half = self.folder / f"{secrets.token_hex(8)}.half"
            try:
                sha256, size = _copied(upload, half, most_bytes)
                path = self.folder / (sha256 + _suffix(shown))
                os.replace(half, path)
            finally:
                with suppress(FileNotFoundError):
                    half.unlink()
        except InputError:
            raise
        except OSError as error:
            raise FileError(f"{self.folder}: the log cannot be kept: {reason(error)}") from None
        return ShelvedLog(sha256, shown, size, path)

    def find(self, sha256: str) -> Path | None:
        """Return the file of a log, ``None`` if it is not on this computer."""
        return next(iter(sorted(self.folder.glob(f"{sha256}.*"))), None)

    def is_whole(self, path: Path, sha256: str) -> bool:
        """Tell whether a file on the shelf still is what was put there."""
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest() == sha256

    def discard(self, log: ShelvedLog) -> None:
        """Take a log off the shelf that nothing in the book speaks of."""
        with suppress(FileNotFoundError):
            log.path.unlink()

    def opened(self, key: object, load: Callable[[], Any]) -> Any:
        """Return what ``load`` gives for a key, from memory if it was asked for lately."""
        with self._lock:
            if key in self._open:
                self._open.move_to_end(key)
                return self._open[key]
        found = load()
        with self._lock:
            self._open[key] = found
            while len(self._open) > KEPT_OPEN:
                self._open.popitem(last=False)
        return found

    def forget(self) -> None:
        """Hold no log open; the files stay."""
        with self._lock:
            self._open.clear()


def _copied(upload: BinaryIO, half: Path, most_bytes: int) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    with half.open("xb") as out:
        while piece := upload.read(_PIECE):
            size += len(piece)
            if size > most_bytes:
                raise InputError(
                    f"a log of more than {most_bytes / 1e6:.0f} MB is not taken here; "
                    "watch it with 'gaugewright watch', or send a shorter stretch",
                    field="log",
                )
            digest.update(piece)
            out.write(piece)
        out.flush()
        os.fsync(out.fileno())
    if not size:
        raise InputError("the file is empty; wanted a log, CSV or Parquet", field="log")
    return digest.hexdigest(), size


def _suffix(name: str) -> str:
    return next((s for s in _SUFFIXES if name.lower().endswith(s)), ".csv")
