"""Reading logs: Parquet and CSV files, folders of them, standard input; piece by piece.

A log of any size passes through in batches of bounded size.  Whatever the file calls its
columns and however it writes its times, what comes out is the same: vehicle by number, times
in seconds since 1970-01-01 UTC, the rest as floating-point figures with NaN for nothing.
"""

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

import numpy as np
import numpy.typing as npt

from gaugewright.app.files import reason, shown_name
from gaugewright.app.log_columns import Columns
from gaugewright.errors import FileError, InputError
from gaugewright.watch.order import by_table

if TYPE_CHECKING:
    import pyarrow as pa

Numbers = npt.NDArray[np.floating[Any]]

BATCH_RECORDS = 1 << 19
"""Records that are held at once while reading."""
_SUFFIXES = (".parquet", ".pq", ".csv", ".csv.gz", ".txt", ".tsv")


@dataclass(frozen=True)
class LogFile:
    """One file of a log; ``vehicle`` is set where its folder is ``vehicle=NAME``."""

    path: str
    name: str
    """What messages call it."""
    is_parquet: bool
    vehicle: str | None = None

    @property
    def mark(self) -> tuple[str, int, int]:
        """What changes when the file does: its name, size and time of change."""
        status = os.stat(self.path)
        return (self.name, status.st_size, status.st_mtime_ns)


@dataclass
class Vehicles:
    """The vehicles of a log, numbered as they are met."""

    names: list[str] = field(default_factory=list)
    _codes: dict[str, int] = field(default_factory=dict)

    def code(self, name: str) -> int:
        """Return the vehicle's number, a new one for a new vehicle."""
        found = self._codes.get(name)
        if found is None:
            found = self._codes[name] = len(self.names)
            self.names.append(name)
        return found


@dataclass(frozen=True)
class Batch:
    """Records in order of arrival: the vehicle's number (-1: none is named), and the columns."""

    codes: npt.NDArray[np.int32]
    columns: dict[str, Numbers]


ColumnsFor = Callable[[list[str], LogFile], Columns]
"""Says which column is which in a file with this header."""


def log_files(log: str, folder: Path) -> list[LogFile]:
    """Return the files of a log: one file, all files of a folder, or standard input for ``-``.

    Standard input is first written to a file in ``folder``, because a Parquet file is read
    from its end.  Raises `FileError` or `InputError`.
    """
    if log == "-":
        return [_from_standard_input(folder)]
    path = Path(log)
    with naming_refusal(log):
        if not path.is_dir():
            return [LogFile(log, log, _is_parquet(path))]
        found = sorted(
            file
            for file in path.rglob("*")
            if file.name.lower().endswith(_SUFFIXES) and _is_wanted(file.relative_to(path))
        )
        if not found:
            raise InputError(f"the folder holds no {', '.join(_SUFFIXES)} file", file=log)
        return [
            LogFile(str(file), str(file), _is_parquet(file), _partition(file.relative_to(path)))
            for file in found
        ]


def read_batches(file: LogFile, columns_for: ColumnsFor, vehicles: Vehicles) -> Iterator[Batch]:
    """Yield the records of one file in batches.

    ``columns_for`` is asked once.  Raises `InputError` with file, row, column, what was found
    and what is wanted.
    """
    with naming_refusal(file.name):
        if file.is_parquet:
            from gaugewright.app.log_parquet import parquet_batches

            yield from parquet_batches(file, columns_for, vehicles)
        else:
            from gaugewright.app.log_csv import csv_batches

            yield from csv_batches(file, columns_for, vehicles)


def vehicle_codes(values: "pa.Array", vehicles: Vehicles) -> npt.NDArray[np.int32]:
    """Return the number of each record's vehicle, -1 where none is named."""
    import pyarrow as pa

    if not pa.types.is_dictionary(values.type):
        values = values.dictionary_encode()
    names = values.dictionary.to_pylist()
    table = np.array([_code(name, vehicles) for name in names] + [-1], dtype=np.int32)
    indices = values.indices
    has_nameless = indices.null_count > 0
    if has_nameless:
        indices = indices.fill_null(len(names))
    places: npt.NDArray[np.int32] = as_array(indices)
    if places.dtype == np.int32 and not has_nameless and (table == np.r_[: len(names), -1]).all():
        return places  # numbered alike: nothing to look up
    return by_table(table, places.astype(np.int32, copy=False))


def as_array(values: "pa.Array") -> npt.NDArray[Any]:
    """Return figures as they lie in memory where none is missing, else NaN for nothing.

    The first way, unlike Arrow's own, does not load pandas wherever it is installed.
    """
    if values.null_count == 0 and values.type.bit_width >= 8:
        return np.from_dlpack(values)
    found: npt.NDArray[Any] = values.to_numpy(zero_copy_only=False)
    return found


def _code(name: object, vehicles: Vehicles) -> int:
    if name is None:
        return -1
    text = f"{name:g}" if isinstance(name, float) else str(name).strip()
    return vehicles.code(text) if text else -1


def _is_wanted(path: Path) -> bool:
    """Pass over what programs put beside data: names that begin with a dot or underscore."""
    return not any(part.startswith((".", "_")) for part in path.parts)


def _partition(path: Path) -> str | None:
    for part in path.parts[:-1]:
        name, equals, value = part.partition("=")
        if equals and name.lower() == "vehicle":
            return unquote(value)
    return None


def _is_parquet(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(4) == b"PAR1"


def _from_standard_input(folder: Path) -> LogFile:
    with NamedTemporaryFile(dir=folder, suffix=".log", delete=False) as kept:
        shutil.copyfileobj(sys.stdin.buffer, kept)
    return LogFile(kept.name, shown_name("-"), _is_parquet(Path(kept.name)))


@contextmanager
def naming_refusal(name: str) -> Iterator[None]:
    """Say which file the system refused."""
    try:
        yield
    except FileError:
        raise
    except OSError as error:
        raise FileError(f"{name}: cannot be read: {reason(error)}") from None
