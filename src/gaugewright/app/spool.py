"""Records laid down by vehicle, on disk where they are many, so that memory stays bounded.

A log has the vehicles mixed; the watch wants one vehicle at a time.  Records are gathered up
to a bound, sorted by vehicle and written as one chunk; a vehicle's records are then a stretch
of each chunk.  What fits under the bound never touches the disk.
"""

import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from gaugewright.app.files import reason
from gaugewright.errors import FileError
from gaugewright.watch.order import by_code

Numbers = npt.NDArray[np.floating[Any]]
Codes = npt.NDArray[np.int32]
Places = npt.NDArray[np.int64]

MEMORY_RECORDS = 16_000_000
"""Records that are held in memory before they are written to disk; about 20 bytes each."""
SORTED_RECORDS = 1 << 18
"""Records that are sorted at once: they fit into a processor's cache."""
RUN_RECORDS = 1000
"""Wanted length of a vehicle's stretch in a chunk, so that reading does not jump about."""


@dataclass(frozen=True, eq=False)
class Chunk:
    """Records sorted by vehicle: vehicle ``k`` has the rows ``starts[k]`` to ``starts[k + 1]``.

    The columns stand in memory, or in ``path`` one after the other, each of its own type.
    """

    starts: Places
    kinds: tuple[tuple[str, str], ...]
    columns: Mapping[str, Numbers] | None = None
    path: str | None = None
    offset: int = 0
    """Where the chunk begins in its file. [bytes]"""

    def rows_of(self, code: int) -> tuple[int, int]:
        """Return the first row of a vehicle and the one after its last."""
        if code + 1 >= self.starts.size:
            return 0, 0
        return int(self.starts[code]), int(self.starts[code + 1])


@dataclass(frozen=True)
class Stretch:
    """Rows of a chunk; can be sent to another process of this machine if the chunk is on disk."""

    kinds: tuple[tuple[str, str], ...]
    rows: int
    first: int
    last: int
    path: str | None
    offset: int = 0
    columns: Mapping[str, Numbers] | None = field(default=None, repr=False)

    def read(self) -> dict[str, Numbers]:
        """Return the columns of these rows."""
        if self.columns is not None:
            return {name: values[self.first : self.last] for name, values in self.columns.items()}
        result: dict[str, Numbers] = {}
        assert self.path is not None
        with open(self.path, "rb") as stream:
            offset = self.offset
            for name, kind in self.kinds:
                size = np.dtype(kind).itemsize
                stream.seek(offset + self.first * size)
                result[name] = np.fromfile(stream, dtype=kind, count=self.last - self.first)
                offset += self.rows * size
        return result


class Rows(Protocol):
    """Some rows of one vehicle, wherever they are; can be sent to another process."""

    def read(self) -> dict[str, Numbers]:
        """Return the columns of these rows."""
        ...


class Spool:
    """Takes in batches of records with their vehicles' numbers, gives out vehicle by vehicle."""

    def __init__(self, folder: Path, *, memory_records: int = MEMORY_RECORDS) -> None:
        self._folder = folder
        self._bound = memory_records
        self._waiting: list[tuple[Codes, Mapping[str, Numbers]]] = []
        self._waiting_n = 0
        self._vehicles = 0
        self._sorted: list[Chunk] = []
        self._sorted_n = 0
        self.chunks: list[Chunk] = []

    @property
    def held(self) -> int:
        """How many records are in memory."""
        return self._waiting_n + self._sorted_n

    def add(self, codes: Codes, columns: Mapping[str, Numbers]) -> None:
        """Take in records in order of arrival; a code of -1 is passed over."""
        self._waiting.append((codes, columns))
        self._waiting_n += codes.size
        self._vehicles = max(self._vehicles, 1 + int(codes.max(initial=-1)))
        if self._waiting_n >= min(max(SORTED_RECORDS, RUN_RECORDS * self._vehicles), self._bound):
            self._sort()
        if self._sorted_n >= self._bound:
            self._lay_down()

    def close(self, *, on_disk: bool = False) -> None:
        """Lay down what waits; in memory if everything has found room there.

        ``on_disk``: write it all the same, for other processes to read.
        """
        if self._waiting_n:
            self._sort()
        if on_disk or self.chunks:
            self._lay_down()
        else:
            self.chunks = self._sorted

    def count(self, code: int) -> int:
        """Return how many records a vehicle has."""
        spans = (chunk.rows_of(code) for chunk in self.chunks)
        return sum(last - first for first, last in spans)

    def stretches(self, code: int) -> tuple[Stretch, ...]:
        """Return where a vehicle's records are, in order of arrival."""
        return tuple(
            Stretch(
                chunk.kinds, int(chunk.starts[-1]), first, last, chunk.path, chunk.offset,
                chunk.columns,
            )
            for chunk in self.chunks
            for first, last in [chunk.rows_of(code)]
            if last > first
        )  # fmt: skip

    def _sort(self) -> None:
        codes = np.concatenate([codes for codes, _ in self._waiting])
        joined = joined_columns([columns for _, columns in self._waiting])
        self._waiting, self._waiting_n = [], 0
        columns, starts = by_code(codes, self._vehicles, joined)
        kinds = tuple((name, values.dtype.str) for name, values in columns.items())
        self._sorted.append(Chunk(starts, kinds, columns))
        self._sorted_n += int(starts[-1])

    def _lay_down(self) -> None:
        """Write the sorted chunks into one file."""
        try:
            with tempfile.NamedTemporaryFile(
                dir=self._folder, suffix=".spool", delete=False
            ) as out:
                for chunk in self._sorted:
                    offset = out.tell()
                    assert chunk.columns is not None
                    for values in chunk.columns.values():
                        out.write(values.data)
                    self.chunks.append(Chunk(chunk.starts, chunk.kinds, None, out.name, offset))
        except OSError as error:
            raise FileError(
                f"{self._folder}: no room for the log's records, {reason(error)}; "
                "give a folder with more room with --scratch"
            ) from None
        self._sorted, self._sorted_n = [], 0


def joined_columns(parts: Sequence[Mapping[str, Numbers]]) -> dict[str, Numbers]:
    """Return the columns of all parts, one after the other; what a part lacks is NaN."""
    if len(parts) == 1:
        return dict(parts[0])
    names = dict.fromkeys(name for part in parts for name in part)
    sizes = [next(iter(part.values())).size for part in parts]
    return {
        name: np.concatenate(
            [
                part[name] if name in part else np.full(size, np.nan, np.float32)
                for part, size in zip(parts, sizes, strict=True)
            ]
        )
        for name in names
    }


def read_stretches(stretches: Iterable[Rows]) -> dict[str, Numbers]:
    """Return the columns of all stretches, one after the other."""
    return joined_columns([stretch.read() for stretch in stretches])
