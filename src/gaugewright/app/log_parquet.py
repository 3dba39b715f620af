"""Records from Parquet files."""

from collections.abc import Iterator
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
    vehicle_codes,
)
from gaugewright.app.log_times import Times
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
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with pq.ParquetFile(file.path) as stored:
            columns = columns_for(list(stored.schema_arrow.names), file)
        names = _file_columns(columns)
        texts = [
            name
            for name in names
            if pa.types.is_string(stored.schema_arrow.field(name).type)
            and name in (columns.names.get("vehicle"), columns.names.get("ignition"))
        ]
        with pq.ParquetFile(file.path, read_dictionary=texts) as stored:
            yield from _batches(stored, file, columns, vehicles, use_threads)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, OSError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            raise  # the system's own refusal, which is named further out
        raise InputError(f"is no whole Parquet file: {_short(error)}", file=file.name) from None


def _batches(
    stored: "pq.ParquetFile", file: LogFile, columns: Columns, vehicles: Vehicles, threads: bool
) -> Iterator[Batch]:
    row, times = 0, Times(columns)
    whose = columns.vehicle or file.vehicle
    batches = stored.iter_batches(
        BATCH_RECORDS, columns=_file_columns(columns), use_threads=threads
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
            result[ours] = switch(values, theirs)
        else:
            result[ours] = figures(values, theirs)
    return result


def _times(values: "pa.Array", name: str, times: Times) -> Floats:
    import pyarrow as pa

    kind = values.type
    if pa.types.is_timestamp(kind):
        whole = values.cast(pa.int64()).to_numpy(zero_copy_only=False)
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
        found: Numbers = values.to_numpy(zero_copy_only=False)
        return found
    if pa.types.is_boolean(kind) or (pa.types.is_integer(kind) and kind.bit_width <= 16):
        found = values.cast(pa.int32()).to_numpy(zero_copy_only=False).astype(np.float32)
        return found
    if pa.types.is_null(kind):
        return np.full(len(values), np.nan, dtype=np.float32)
    if pa.types.is_dictionary(kind):
        values = values.dictionary_decode()
    try:
        if pa.types.is_integer(kind):
            # Beyond 2**53 a whole number has no exact figure; no counter goes there.
            found = values.to_numpy(zero_copy_only=False).astype(np.float64)
        else:
            found = values.cast(pa.float64()).to_numpy(zero_copy_only=False)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        for row, value in enumerate(values):
            try:
                pc.cast(pa.array([value.as_py()]), pa.float64())
            except (pa.ArrowInvalid, pa.ArrowNotImplementedError, pa.ArrowTypeError):
                raise RowError(f"'{value.as_py()}' is not a number", row=row, column=name) from None
        raise RowError(f"holds {kind}, wanted numbers", row=0, column=name) from None
    return found


def switch(values: "pa.Array", name: str) -> Numbers:
    """Return 1 for on and 0 for off, from whatever the log writes for them."""
    import pyarrow as pa

    kind = values.type
    if not (pa.types.is_dictionary(kind) or pa.types.is_string(kind)):
        return figures(values, name)
    if not pa.types.is_dictionary(kind):
        values = values.dictionary_encode()
    meanings = [_on_or_off(text) for text in values.dictionary.to_pylist()]
    for code, meaning in enumerate(meanings):
        if meaning is None:
            row = int(np.argmax(values.indices.to_numpy(zero_copy_only=False) == code))
            found = values.dictionary[code].as_py()
            raise RowError(f"'{found}' is neither on nor off, wanted 1 or 0", row=row, column=name)
    table = np.array([*meanings, np.nan], dtype=np.float32)
    result: Numbers = table[values.indices.fill_null(len(meanings)).to_numpy(zero_copy_only=False)]
    return result


def _on_or_off(text: object) -> float | None:
    plain = str(text).strip().lower()
    if plain in _YES:
        return 1.0
    if plain in _NO:
        return 0.0
    return np.nan if not plain else None


def _short(error: Exception) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__
