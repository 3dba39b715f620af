"""Records from CSV files, whatever parts their fields and marks their decimals."""

import csv
import io
import re
from collections.abc import Iterator
from contextlib import closing
from typing import TYPE_CHECKING, Any

import numpy as np

from gaugewright.app.files import decode
from gaugewright.app.log_files import (
    Batch,
    ColumnsFor,
    LogFile,
    Numbers,
    Vehicles,
    as_array,
    vehicle_codes,
)
from gaugewright.app.log_parquet import RowError, switch
from gaugewright.app.log_times import Times
from gaugewright.errors import InputError

if TYPE_CHECKING:
    import pyarrow as pa

_HEAD_BYTES = 1 << 18
_BLOCK_BYTES = 1 << 24
_SEPARATORS = ";\t,|"
_NOTHING = ["", "NULL", "null", "NaN", "nan", "NA", "N/A", "n/a", "-", "--", "None"]
_COMMA_FIGURE = re.compile(r"\s*[+-]?\d*,\d+\s*", re.ASCII)
_FIGURE = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
_DAY = re.compile(r"\d{1,4}([./-])\d{1,2}\1\d{1,4}", re.ASCII)


def csv_batches(file: LogFile, columns_for: ColumnsFor, vehicles: Vehicles) -> Iterator[Batch]:
    """Yield the records of a CSV file; see `read_batches`."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    form = _Form.of(file, columns_for)
    names, columns = form.header, form.columns
    texts = {columns.names.get("vehicle"), columns.names.get("ignition"), *form.time_columns}
    wanted = list(dict.fromkeys([*columns.names.values(), *form.time_columns]))
    wanted = [name for name in wanted if name in names]
    kinds = {
        name: pa.string() if name in form.time_columns
        else pa.dictionary(pa.int32(), pa.string()) if name in texts
        else pa.float64()
        for name in wanted
    }  # fmt: skip
    with closing(form.opened()) as stream:
        try:
            reader = arrow_csv.open_csv(
                stream,
                read_options=arrow_csv.ReadOptions(
                    block_size=_BLOCK_BYTES, column_names=names, skip_rows=form.lines_before,
                    encoding=form.encoding,
                ),
                parse_options=arrow_csv.ParseOptions(delimiter=form.separator),
                convert_options=arrow_csv.ConvertOptions(
                    column_types=kinds, include_columns=wanted, null_values=_NOTHING,
                    strings_can_be_null=True, decimal_point=form.decimal,
                ),
            )  # fmt: skip
            yield from _batches(reader, form, vehicles)
        except (pa.ArrowInvalid, UnicodeDecodeError) as error:
            raise _first_fault(form, kinds, str(error)) from None


def _batches(reader: Any, form: "_Form", vehicles: Vehicles) -> Iterator[Batch]:
    whose = form.columns.vehicle or form.file.vehicle
    rows, times = 0, Times(form.columns)
    for batch in reader:
        try:
            columns: dict[str, Numbers] = {"time_s": _times(batch, form, times)}
            for ours, theirs in form.columns.names.items():
                if ours not in ("vehicle", "time"):
                    values = batch.column(theirs)
                    columns[ours] = (
                        switch(values, theirs, form.columns)
                        if ours == "ignition"
                        else _figures(values)
                    )
        except RowError as error:
            raise InputError(
                str(error), line=_line_of(form, rows + error.row), field=error.column,
                file=form.file.name,
            ) from None  # fmt: skip
        if whose is None:
            codes = vehicle_codes(batch.column(form.columns.names["vehicle"]), vehicles)
        else:
            codes = np.full(batch.num_rows, vehicles.code(whose), dtype=np.int32)
        yield Batch(codes, columns)
        rows += batch.num_rows


def _times(batch: "pa.RecordBatch", form: "_Form", times: Times) -> Numbers:
    import pyarrow.compute as pc

    parts = [batch.column(name) for name in form.time_columns]
    texts = parts[0] if len(parts) == 1 else pc.binary_join_element_wise(*parts, " ")
    found, bad = times.written(texts)
    if bad is not None:
        raise RowError(bad[1], row=bad[0], column=form.columns.names["time"])
    return found


def _figures(values: "pa.Array") -> Numbers:
    found: Numbers = as_array(values)
    return found


class _Form:
    """How one file is written: encoding, lines before the rows, separator, decimal mark."""

    def __init__(self, file: LogFile, head: bytes, columns_for: ColumnsFor) -> None:
        self.file = file
        # A cut letter at the end of the head must not make it look like another encoding.
        head = head.rpartition(b"\n")[0] if len(head) == _HEAD_BYTES else head
        text = decode(head, name=file.name)
        self.encoding = _encoding(head)
        self.line_end = "\n" if "\n" in text else "\r"
        lines = text.splitlines()
        first = next((i for i, line in enumerate(lines) if line.strip()), None)
        if first is None:
            raise InputError("is empty, wanted a header line and rows", file=file.name)
        told = re.fullmatch(r'"?sep=(.)"?', lines[first].strip("\r\n "))
        if told and len(lines) > first + 1:
            first += 1
        found = told[1] if told else _separator(lines[first])
        self.header = _fields(lines[first], found, file.name, first + 1)
        columns = columns_for(self.header, file)
        if columns.separator is not None and columns.separator != found:
            self.header = _fields(lines[first], columns.separator, file.name, first + 1)
            columns = columns_for(self.header, file)
        self.separator = columns.separator or found
        self.columns = columns
        self.lines_before = first + 1
        rows = [
            cells
            for line in lines[first + 1 : first + 2000]
            if len(cells := line.split(self.separator)) == len(self.header)
        ]
        self.decimal = {"comma": ",", "point": "."}.get(columns.decimal or "", self._decimal(rows))

    @classmethod
    def of(cls, file: LogFile, columns_for: ColumnsFor) -> "_Form":
        """Look at the beginning of a file."""
        with closing(_unpacked(file)) as stream:
            head = stream.read(_HEAD_BYTES)
        return cls(file, head, columns_for)

    @property
    def time_columns(self) -> list[str]:
        """The column, or the day's and the clock's, that the time is in."""
        name = self.columns.names["time"]
        return [name] if name in self.header else name.split("+")

    def opened(self) -> Any:
        """Open the file for reading from its beginning."""
        return _unpacked(self.file)

    def _decimal(self, rows: list[list[str]]) -> str:
        if self.separator == ",":
            return "."
        places = [
            self.header.index(theirs)
            for ours, theirs in self.columns.names.items()
            if ours not in ("vehicle", "time", "ignition")
        ]
        has_comma = any(_COMMA_FIGURE.fullmatch(row[place]) for row in rows for place in places)
        return "," if has_comma else "."


def _unpacked(file: LogFile) -> Any:
    import pyarrow as pa

    if file.path.lower().endswith(".gz"):
        return pa.input_stream(file.path, compression="gzip")
    return pa.input_stream(file.path, compression=None)


def _encoding(head: bytes) -> str:
    """Return the encoding's name; a mark at the beginning is passed over by all but UTF-16."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        head.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _separator(line: str) -> str:
    return max(_SEPARATORS, key=lambda mark: (line.count(mark), -_SEPARATORS.index(mark)))


def _fields(line: str, separator: str, file: str, number: int) -> list[str]:
    names = [name.strip() for name in next(csv.reader([line], delimiter=separator))]
    figures = sum(_FIGURE.fullmatch(name) is not None for name in names)
    if 2 * figures > len(names) or any(_DAY.match(name) for name in names):
        raise InputError(
            "the first line must name the columns (vehicle, time, counts, or as they are called "
            f"here), found '{line.strip()[:60]}'",
            line=number, file=file,
        )  # fmt: skip
    for place, name in enumerate(names):
        if not name:
            names[place] = f"column {place + 1}"
        elif name in names[:place]:
            raise InputError("is named twice", field=name, line=number, file=file)
    return names


def _rows(form: _Form) -> Iterator[tuple[int, list[str]]]:
    """Yield every row with the number of its line, slowly, to name the one that is wrong."""
    with closing(form.opened()) as stream:
        lines = io.TextIOWrapper(stream, encoding=form.encoding, errors="replace", newline="")
        ended = 0

        def counting() -> Iterator[str]:
            nonlocal ended
            for line in lines:
                # What was sent through two programs may end its lines with two returns and a feed.
                ended += line.endswith(form.line_end)
                yield line

        counted = counting()
        for _ in range(form.lines_before):
            next(counted)
        begin = ended + 1
        for cells in csv.reader(counted, delimiter=form.separator):
            if cells:
                yield begin, cells
            begin = ended + 1


def _line_of(form: _Form, row: int) -> int:
    for number, (line, _) in enumerate(_rows(form)):
        if number == row:
            return line
    return row + form.lines_before + 1


def _first_fault(form: _Form, kinds: dict[str, Any], said: str) -> InputError:
    """Return the error that names the row which stopped the fast reader."""
    import pyarrow as pa

    figures = [(i, name) for i, name in enumerate(form.header) if kinds.get(name) == pa.float64()]
    for line, cells in _rows(form):
        if len(cells) != len(form.header):
            mark = "tab" if form.separator == "\t" else f"'{form.separator}'"
            return InputError(
                f"{len(cells)} field{'s' if len(cells) > 1 else ''} where {len(form.header)} are "
                f"named; wanted {len(form.header)} with {mark} between, as in the header",
                line=line, file=form.file.name,
            )  # fmt: skip
        for place, name in figures:
            cell = cells[place]
            if cell.strip() in _NOTHING:
                continue
            as_read = cell.replace(form.decimal, ".") if form.decimal == "," else cell
            if not _FIGURE.fullmatch(as_read) or (form.decimal == "," and "." in cell):
                hint = "; say --columns decimal=comma" if _COMMA_FIGURE.fullmatch(cell) else ""
                return InputError(
                    f"'{cell}' is not a number, wanted for example 812{form.decimal}5{hint}",
                    line=line, field=name, file=form.file.name,
                )  # fmt: skip
    return InputError(f"cannot be read: {said.splitlines()[0][:200]}", file=form.file.name)
