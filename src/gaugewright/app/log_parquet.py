"""Records from Parquet files."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gaugewright.app.log_columns import Columns
from gaugewright.app.log_files import (
    BATCH_RECORDS,
    Batch,
    ColumnsFor,
    LogFile,
    Numbers,
    Vehicles,
    as_array,
    naming_refusal,
    vehicle_codes,
)
from gaugewright.app.log_times import Times
from gaugewright.app.spool import joined_columns
from gaugewright.errors import InputError

if TYPE_CHECKING:
    import pyarrow as pa
    import pyarrow.parquet as pq

Floats = npt.NDArray[np.float64]

_PER_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
_YES = {"true", "on", "yes", "1", "1.0"}
_NO = {"false", "off", "no", "0", "0.0"}


def parquet_batches(
    file: LogFile, columns_for: ColumnsFor, vehicles: Vehicles, *, use_threads: bool = True
) -> Iterator[Batch]:
    """Yield the records of a Parquet file; see `read_batches`."""
    import pyarrow.parquet as pq

    with _naming_fault(file):
        with pq.ParquetFile(file.path) as stored:
            schema = stored.schema_arrow
        columns = columns_for(list(schema.names), file)
        with pq.ParquetFile(file.path, read_dictionary=_texts(schema, columns)) as stored:
            yield from _batches(stored, file, columns, vehicles, use_threads)


@dataclass(frozen=True)
class FileRows:
    """Row groups of a Parquet file of one vehicle, read by whoever looks at the vehicle."""

    file: LogFile
    columns: Columns
    groups: tuple[int, ...]
    rows: int
    first_row: int

    def read(self) -> dict[str, Numbers]:
        """Return the columns of these rows; `InputError` as with `parquet_batches`."""
        import pyarrow.parquet as pq

        with naming_refusal(self.file.name), _naming_fault(self.file):
            texts = _texts(pq.read_schema(self.file.path), self.columns)
            with pq.ParquetFile(self.file.path, read_dictionary=texts) as stored:
                whole = replace(self.columns, vehicle=self.file.vehicle)
                batches = _batches(
                    stored, self.file, whole, Vehicles(), False, self.groups, self.first_row
                )
                return joined_columns([batch.columns for batch in batches])


def file_rows(file: LogFile, columns_for: ColumnsFor, *, most: int) -> Iterator[FileRows]:
    """Yield the rows of a file of one vehicle, in pieces of about ``most`` rows."""
    import pyarrow.parquet as pq

    with _naming_fault(file), pq.ParquetFile(file.path) as stored:
        columns = columns_for(list(stored.schema_arrow.names), file)
        sizes = [stored.metadata.row_group(k).num_rows for k in range(stored.num_row_groups)]
    first = 0
    while first < len(sizes):
        last, rows = first, 0
        while last < len(sizes) and (last == first or rows + sizes[last] <= most):
            rows += sizes[last]
            last += 1
        if rows:
            yield FileRows(file, columns, tuple(range(first, last)), rows, sum(sizes[:first]))
        first = last


def _texts(schema: "pa.Schema", columns: Columns) -> list[str]:
    """Return the columns whose few texts are read as numbers with a list."""
    import pyarrow as pa

    few = (columns.names.get("vehicle"), columns.names.get("ignition"))
    return [
        name
        for name in _file_columns(columns)
        if name in few and pa.types.is_string(schema.field(name).type)
    ]


@contextmanager
def _naming_fault(file: LogFile) -> Iterator[None]:
    """Say of which file it is that it is broken."""
    import pyarrow as pa

    try:
        yield
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, OSError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            raise  # the system's own refusal, which is named further out
        raise InputError(f"is no whole Parquet file: {_short(error)}", file=file.name) from None


def _batches(
    stored: "pq.ParquetFile",
    file: LogFile,
    columns: Columns,
    vehicles: Vehicles,
    threads: bool,
    groups: tuple[int, ...] | None = None,
    row: int = 0,
) -> Iterator[Batch]:
    times = Times(columns)
    whose = columns.vehicle or file.vehicle
    batches = stored.iter_batches(
        BATCH_RECORDS, groups, columns=_file_columns(columns), use_threads=threads
    )
    for batch in batches:
        try:
            if whose is None:
                codes = vehicle_codes(batch.column(columns.names["vehicle"]), vehicles)
            else:
                codes = np.full(batch.num_rows, vehicles.code(whose), dtype=np.int32)
            yield Batch(codes, _columns(batch, columns, times))
        except RowError as error:
            raise InputError(
                f"row {row + error.row + 1}: {error}", field=error.column, file=file.name
            ) from None
        row += batch.num_rows


class RowError(Exception):
    """A value cannot be read; ``row`` counts from 0 within the batch."""

    def __init__(self, problem: str, *, row: int, column: str) -> None:
        super().__init__(problem)
        self.row = row
        self.column = column


def _file_columns(columns: Columns) -> list[str]:
    return list(dict.fromkeys(columns.names.values()))


def _columns(batch: "pa.RecordBatch", columns: Columns, times: Times) -> dict[str, Numbers]:
    result: dict[str, Numbers] = {}
    for ours, theirs in columns.names.items():
        if ours == "vehicle":
            continue
        values = batch.column(theirs)
        if ours == "time":
            result["time_s"] = _times(values, theirs, times)
        elif ours == "ignition":
            result[ours] = switch(values, theirs, columns)
        else:
            result[ours] = figures(values, theirs)
    return result


def _times(values: "pa.Array", name: str, times: Times) -> Floats:
    import pyarrow as pa

    kind = values.type
    if pa.types.is_timestamp(kind):
        whole = as_array(values.cast(pa.int64()))
        result: Floats = whole / _PER_SECOND[kind.unit]
        return result
    if pa.types.is_integer(kind) or pa.types.is_floating(kind):
        return times.counted(figures(values, name))
    if pa.types.is_dictionary(kind):
        values = values.dictionary_decode()
    if pa.types.is_string(values.type) or pa.types.is_large_string(values.type):
        found, bad = times.written(values)
        if bad is not None:
            raise RowError(bad[1], row=bad[0], column=name)
        return found
    raise RowError(f"holds {kind}, wanted timestamps, text or seconds", row=0, column=name)


def figures(values: "pa.Array", name: str) -> Numbers:
    """Return numbers as they are, 4 bytes each where that holds them exactly, NaN for nothing."""
    import pyarrow as pa
    import pyarrow.compute as pc

    kind = values.type
    if pa.types.is_float32(kind) or pa.types.is_float64(kind):
        found: Numbers = as_array(values)
        return found
    if pa.types.is_boolean(kind) or (pa.types.is_integer(kind) and kind.bit_width <= 16):
        narrow = pa.uint8() if pa.types.is_boolean(kind) else pa.int32()
        found = as_array(values.cast(narrow)).astype(np.float32)
        return found
    if pa.types.is_null(kind):
        return np.full(len(values), np.nan, dtype=np.float32)
    if pa.types.is_dictionary(kind):
        values = values.dictionary_decode()
    try:
        if pa.types.is_integer(kind):
            # Beyond 2**53 a whole number has no exact figure; no counter goes there.
            found = as_array(values).astype(np.float64)
        else:
            found = as_array(values.cast(pa.float64()))
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        for row, value in enumerate(values):
            try:
                pc.cast(pa.array([value.as_py()]), pa.float64())
            except (pa.ArrowInvalid, pa.ArrowNotImplementedError, pa.ArrowTypeError):
                raise RowError(f"'{value.as_py()}' is not a number", row=row, column=name) from None
        raise RowError(f"holds {kind}, wanted numbers", row=0, column=name) from None
    return found


def switch(values: "pa.Array", name: str, columns: Columns) -> Numbers:
    """Return 1 for on and 0 for off, from whatever the log writes for them."""
    import pyarrow as pa

    kind = values.type
    if not (pa.types.is_dictionary(kind) or pa.types.is_string(kind)):
        return figures(values, name)
    if not pa.types.is_dictionary(kind):
        values = values.dictionary_encode()
    meanings = [_on_or_off(text, columns) for text in values.dictionary.to_pylist()]
    for code, meaning in enumerate(meanings):
        if meaning is None:
            row = int(np.argmax(as_array(values.indices) == code))
            found = values.dictionary[code].as_py()
            raise RowError(
                f"'{found}' is neither on nor off, wanted 1 or 0; or say the log's own words with "
                "--columns on=WORD,off=WORD",
                row=row,
                column=name,
            )
    table = np.array([*meanings, np.nan], dtype=np.float32)
    result: Numbers = table[as_array(values.indices.fill_null(len(meanings)))]
    return result


def _on_or_off(text: object, columns: Columns) -> float | None:
    plain = str(text).strip().lower()
    own = {word.strip().lower(): value
           for word, value in ((columns.on, 1.0), (columns.off, 0.0)) if word}  # fmt: skip
    if plain in own:
        return own[plain]
    if plain in _YES:
        return 1.0
    if plain in _NO:
        return 0.0
    return np.nan if not plain else None


def _short(error: Exception) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__
