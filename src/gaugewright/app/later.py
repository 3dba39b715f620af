"""A table after its day, from files: held against new pours, carried, proposed to a sister."""

from dataclasses import dataclass, replace

import numpy as np

from gaugewright.app.calibrate import table_of
from gaugewright.app.files import naming_file, read_text, shown_name
from gaugewright.app.later_zero import require_on_scale
from gaugewright.app.tank_file import TankFile, parse_tank_text, read_tank_file
from gaugewright.errors import InputError
from gaugewright.pours.check import check_fill
from gaugewright.pours.later.hold import Held, begun_anywhere, hold
from gaugewright.pours.later.rivals import Dry
from gaugewright.pours.later.sentences import LaterWords
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.files import read_table
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Fit
from gaugewright.table.later.assumptions import Mounting
from gaugewright.table.later.carry import Levels, carried, levels_from_fit, levels_from_table
from gaugewright.table.later.known import Known, known_from_fit, known_from_table
from gaugewright.table.later.left import left_in
from gaugewright.table.records import counts_scale, fill_from_csv
from gaugewright.table.table import Table
from gaugewright.words import Volume, said

SAME_TABLE = 1.0
"""A table that lies further from what its fill gives than this share of its band is not
the table of that fill."""


@dataclass(frozen=True, eq=False)
class Source:
    """A table with what it was made from, as far as that was given."""

    table: Table
    described: TankFile | None
    fitted: Fit | None
    """What the first fill gave; ``None`` where only the table is left."""
    fill: Fill | None = None
    """That fill."""

    @property
    def probe(self) -> Probe | None:
        """The probe that the table was made with."""
        return None if self.described is None else self.described.probe

    def known(self) -> Known:
        """Return what is known in the counts of that probe."""
        if self.fitted is not None and self.fill is not None:
            return known_from_fit(self.fitted, left_in(self.fitted, self.fill))
        tank = None if self.described is None or self.probe is None else self.described.tank
        return known_from_table(self.table, self.probe, tank)

    def levels(self, old: Mounting | None = None) -> Levels:
        """Return what is known of the tank itself."""
        if self.fitted is not None:
            return levels_from_fit(self.fitted, old)
        if self.described is None or self.probe is None:
            raise InputError(
                said(
                    "needs the tank file with the probe that the table was made with: without "
                    "its zero, span, length and tip clearance counts say nothing of levels"
                ),
                field="--tank",
            )
        return levels_from_table(self.table, self.probe, self.described.tank, old)


@dataclass(frozen=True, eq=False)
class Rechecked:
    """A table held against pours made later."""

    source: Source
    fill: Fill
    held: Held
    table: Table
    """With the pours learnt, all that may have changed allowed for."""
    words: LaterWords
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Carried:
    """A table carried to another probe."""

    source: Source
    probe: Probe
    table: Table
    """As carried; with the check pours learnt, if there were any and they confirm it."""
    unconfirmed: Table
    """As carried, before any check pour."""
    held: Held | None
    fill: Fill | None

    @property
    def is_confirmed(self) -> bool:
        """Whether check pours were made and none speaks against the table."""
        return self.held is not None and self.held.verdict == "good"


def recheck(
    table_file: str,
    pours_file: str,
    *,
    tank_file: str | None = None,
    fill_file: str | None = None,
    is_drained: bool = False,
    dry: Dry | None = None,
    dip_empty_mm: float | None = None,
) -> Rechecked:
    """Hold a table against pours made later; every `InputError` names its file.

    ``dry`` is what the probe reads in air, ``dip_empty_mm`` the fuel left in the drained tank.
    """
    source = read_source(table_file, tank_file, fill_file)
    with naming_file(table_file):
        known = source.known()
    fill = later_fill(pours_file, known, is_drained=is_drained)
    if dry is not None and source.probe is not None:
        for name, counts in (("--dry", dry.counts), ("--dry-before", dry.before)):
            if counts is not None:
                require_on_scale(counts, source.probe, name)
    if dip_empty_mm is not None:
        fill = _dipped(fill, source, dip_empty_mm, is_drained=is_drained)
    with naming_file(pours_file):
        held = hold(known, fill, dry=dry)
    words = LaterWords(mm_per_count=known.probe.mm_per_count, is_mm=source.probe is not None)
    notes = _notes(known, fill, is_drained)
    return Rechecked(source, fill, held, table_of(held.after), words, notes)


def carry(
    table_file: str,
    probe_file: str,
    *,
    tank_file: str,
    fill_file: str | None = None,
    pours_file: str | None = None,
    is_drained: bool = False,
    old: Mounting | None = None,
    new: Mounting | None = None,
) -> Carried:
    """Carry a table to another probe, and hold check pours against it if there are any."""
    source = read_source(table_file, tank_file, fill_file)
    probe = read_probe(probe_file)
    with naming_file(table_file):
        levels = source.levels(old)
    with naming_file(probe_file):
        known = carried(levels, probe, new)
    before = table_of(known.table_fit())
    if pours_file is None:
        return Carried(source, probe, before, before, None, None)
    fill = later_fill(pours_file, known, is_drained=is_drained)
    with naming_file(pours_file):
        held = hold(known, fill, is_fresh=True)
    return Carried(source, probe, table_of(held.after), before, held, fill)


def read_source(table_file: str, tank_file: str | None, fill_file: str | None) -> Source:
    """Read a table, its tank file and the fill that it was made from.

    Raises `InputError` where the fill gives another table than this one.
    """
    with naming_file(table_file):
        table = read_table(read_text(table_file))
    described = None if tank_file is None else read_tank_file(tank_file)
    if described is not None and described.probe is None:
        raise InputError(
            said("has no [probe], wanted the one the table was made with"), file=tank_file
        )
    if fill_file is None:
        return Source(table, described, None)
    if described is None:
        raise InputError(
            said("needs --tank, the tank file that it was fitted with"), field="--fill"
        )
    fill = read_pours(fill_file, described.probe)
    with naming_file(fill_file):
        fitted = check_fill(fill, described.tank, described.probe).fit
    _require_same(table, fitted, table_file, fill_file)
    return Source(table, described, fitted, fill)


def read_pours(pours_file: str, probe: Probe | None) -> Fill:
    """Read a pour record, the counts held against the probe's scale."""
    with naming_file(pours_file):
        scale = None if probe is None else counts_scale(probe.counts_empty, probe.counts_full)
        return fill_from_csv(read_text(pours_file), counts_range=scale)


def later_fill(pours_file: str, known: Known, *, is_drained: bool) -> Fill:
    """Read pours made later; where the tank was not drained their start is unknown."""
    fill = read_pours(pours_file, known.probe)
    if fill.is_draining:
        raise InputError(
            said("runs down; wanted pours in, step 0 being the reading before the first"),
            file=pours_file,
        )
    return fill if is_drained else begun_anywhere(known, fill)


def _dipped(fill: Fill, source: Source, dip_empty_mm: float, *, is_drained: bool) -> Fill:
    if not is_drained:
        raise InputError(said("is of the drained tank: it needs --drained"), field="--dip-empty")
    if source.probe is None:
        raise InputError(said("needs --tank, the tank file with the probe"), field="--dip-empty")
    if not 0 <= dip_empty_mm <= source.probe.active_length_mm:
        raise InputError(
            said(
                "must be 0 mm to {most:g} mm, found {found:g}",
                most=source.probe.active_length_mm,
                found=dip_empty_mm,
            ),
            field="--dip-empty",
        )
    return replace(fill, dip_empty_mm=dip_empty_mm)


def read_probe(path: str) -> Probe:
    """Read a probe from a file of its own or from a tank file's ``[probe]``."""
    text = read_text(path)
    with naming_file(path):
        is_json = text.lstrip().startswith("{")
        mapping = parse_tank_text(text, is_json=is_json, what="a probe")
        has_own = "probe" in mapping or any(name.startswith("probe.") for name in mapping)
        if "shape" in mapping and not has_own:
            raise InputError(said("has no [probe], wanted x_mm, y_mm, tip_clearance_mm and so on"))
        return probe_from_mapping(mapping)


def _require_same(table: Table, fitted: Fit, table_file: str, fill_file: str) -> None:
    mine = table_of(fitted)
    inside = (table.counts >= mine.counts[0]) & (table.counts <= mine.counts[-1])
    if not inside.any():
        raise InputError(
            said("has no row on the scale of {file}", file=shown_name(fill_file)), file=table_file
        )
    counts = table.counts[inside]
    off = np.abs(mine.litres_at(counts) - table.litres[inside])
    band = mine.band_at(counts)
    assert band is not None
    worst = int(np.argmax(off - SAME_TABLE * band))
    if off[worst] > SAME_TABLE * band[worst] + 0.1:
        raise InputError(
            said(
                "is not the table of {file}: at {counts:g} counts it says {its}, the fill {ours}",
                file=shown_name(fill_file),
                counts=float(counts[worst]),
                its=Volume(float(table.litres[inside][worst])),
                ours=Volume(float(mine.litres_at(counts)[worst])),
            ),
            file=table_file,
        )


def _notes(known: Known, fill: Fill, is_drained: bool) -> tuple[str, ...]:
    first = known.probe.wetted_mm(fill.pours[0].counts)
    dry_mm = 3.0 * Assumptions().u_counts * known.probe.active_length_mm / 4095.0
    notes = list(fill.notes)
    if not is_drained and float(first) < dry_mm:
        notes.append(
            said(
                "step 0 reads dry; if the tank was drained before it, say --drained: "
                "then the first pour is held against the table too"
            )
        )
    return tuple(notes)
