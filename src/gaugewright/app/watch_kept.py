"""What is finished, vehicle by vehicle, so that a run that was stopped need not begin anew."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

import gaugewright
from gaugewright import __version__
from gaugewright.app.files import make_folder, write_text
from gaugewright.table.table import Table
from gaugewright.watch.order import Arrival
from gaugewright.watch.receipts import Seen
from gaugewright.watch.remarks import Remark
from gaugewright.watch.values import Event, EventKind, Noise, Undecided, Watched

FOLDER = "finished"
_FORMAT = 1


@dataclass(frozen=True)
class VehicleDone:
    """One vehicle, finished; ``watched`` is ``None`` where nothing can be said."""

    vehicle: str
    watched: Watched | None
    arrival: Arrival
    remarks: tuple[Remark, ...]
    first_s: float
    last_s: float
    gaps: tuple[tuple[float, float], ...]
    bottom_l: float
    top_l: float
    """What is in the tank at the probe's two ends. [L]"""

    @property
    def seen(self) -> Seen | None:
        """What receipts are held against, ``None`` where nothing can be said."""
        if self.watched is None:
            return None
        return Seen(
            self.vehicle, self.watched.events, self.watched.undecided, self.gaps, self.first_s,
            self.last_s, bottom_l=self.bottom_l, top_l=self.top_l,
        )  # fmt: skip


class Kept:
    """The finished vehicles in a folder, each under the digest of what it was made from."""

    def __init__(self, out: Path) -> None:
        if out.exists() and not out.is_dir():
            make_folder(out)  # refused before the work, not after it
        self._folder = out / FOLDER

    def find(self, vehicle: str, digest: str) -> VehicleDone | None:
        """Return a finished vehicle, ``None`` if it is not there or made from something else."""
        try:
            text = self._path(vehicle).read_text(encoding="utf-8")
            stored = json.loads(text)
            return _from_record(stored["done"]) if stored["digest"] == digest else None
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError):
            return None  # a file of another version or cut short: the vehicle is done again

    def keep(self, done: VehicleDone, digest: str) -> None:
        """Keep a finished vehicle, whole or not at all."""
        make_folder(self._folder)
        record = {"digest": digest, "done": _as_record(done)}
        write_text(str(self._path(done.vehicle)), json.dumps(record, ensure_ascii=False))

    def _path(self, vehicle: str) -> Path:
        name = quote(vehicle, safe=" ")
        if len(name) > 100:
            name = name[:60] + hashlib.sha256(vehicle.encode()).hexdigest()[:32]
        return self._folder / f"{name}.json"


def digest_of(told: object, tables: Iterable[Table], look: str) -> str:
    """Return what changes when a vehicle's result could.

    It is made from what was ``told`` of the log's files and receipts, the tables, how it is
    looked at and the program itself.
    """
    whole = hashlib.sha256(_program())
    for part in (__version__, _FORMAT, look, told):
        whole.update(repr(part).encode() + b"\n")
    for table in tables:
        for values in (table.counts, table.litres, table.u_litres):
            whole.update(b"-" if values is None else values.tobytes())
    return whole.hexdigest()


@cache
def _program() -> bytes:
    """Return a digest of the rooms that decide what a log shows."""
    whole = hashlib.sha256()
    for room in ("watch", "table"):
        for file in sorted((Path(gaugewright.__file__).parent / room).glob("*.py")):
            whole.update(file.read_bytes())
    return whole.digest()


def _as_record(done: VehicleDone) -> dict[str, Any]:
    # NaN is no JSON, but Python reads back what it writes, and only Python reads this file.
    return asdict(done)


def _from_record(record: Mapping[str, Any]) -> VehicleDone:
    stored = record["watched"]
    watched = None
    if stored is not None:
        events = [Event(**{**e, "kind": EventKind(e["kind"])}) for e in stored["events"]]
        undecided = [Undecided(**one) for one in stored["undecided"]]
        watched = Watched(
            **{
                **stored,
                "events": tuple(events),
                "undecided": tuple(undecided),
                "noise": Noise(**stored["noise"]),
                "notes": tuple(stored["notes"]),
            }
        )
    return VehicleDone(
        record["vehicle"],
        watched,
        Arrival(**record["arrival"]),
        tuple(Remark(**remark) for remark in record["remarks"]),
        record["first_s"],
        record["last_s"],
        tuple((start, end) for start, end in record["gaps"]),
        record["bottom_l"],
        record["top_l"],
    )
