"""The tables of the vehicles: a folder of ``<vehicle>.csv``, or one file for one vehicle."""

import re
from dataclasses import dataclass
from pathlib import Path

from gaugewright.app.files import naming_file, read_text
from gaugewright.errors import InputError
from gaugewright.table.files import read_table
from gaugewright.table.table import Table

_FURTHER = re.compile(r"(.+)_([2-9])")


@dataclass(frozen=True)
class TableFiles:
    """Where each vehicle's tables are; a vehicle with several probes has one for each."""

    files: dict[str, dict[int, Path]]
    only: Path | None = None
    """Set where one table was given, for whatever vehicle the log is of."""

    def of(self, vehicle: str) -> tuple[Table, ...]:
        """Return a vehicle's tables in the order of its probes, none if it has none.

        ``<vehicle>_2.csv`` is the table of the second probe where ``<vehicle>.csv`` is there.
        Raises `InputError` with file and line.
        """
        if self.only is not None:
            return (_read(self.only),)
        probes = self.files.get(vehicle, {})
        numbers = sorted(probes)
        if numbers and numbers != list(range(1, len(numbers) + 1)):
            missing = next(n for n in range(1, len(numbers) + 2) if n not in probes)
            raise InputError(
                f"there is a table for probe {numbers[-1]} of {vehicle} and none for probe "
                f"{missing}: {vehicle}{f'_{missing}' if missing > 1 else ''}.csv",
                file=str(probes[numbers[-1]]),
            )
        return tuple(_read(probes[number]) for number in numbers)

    def without(self, vehicles: set[str]) -> list[str]:
        """Return the vehicles that have a table and are not among these."""
        return sorted(set(self.files) - vehicles)


def table_files(tables: str) -> TableFiles:
    """Return the tables of a folder, by vehicle, or the one of a file."""
    path = Path(tables)
    if path.is_file() or tables == "-":
        return TableFiles({}, only=path)
    if not path.is_dir():
        raise InputError("no such folder; wanted a folder of <vehicle>.csv", field="--tables",
                         file=tables)  # fmt: skip
    found = {file.stem: file for file in sorted(path.glob("*.csv")) if file.name[0] != "."}
    if not found:
        raise InputError("holds no <vehicle>.csv", field="--tables", file=tables)
    files: dict[str, dict[int, Path]] = {}
    for stem, file in found.items():
        further = _FURTHER.fullmatch(stem)
        # 'truck_2' is a vehicle of its own unless 'truck' has a table too.
        if further and further[1] in found:
            files.setdefault(further[1], {})[int(further[2])] = file
        else:
            files.setdefault(stem, {})[1] = file
    return TableFiles(files)


def _read(path: Path) -> Table:
    with naming_file(str(path)):
        return read_table(read_text(str(path)))
