"""A sister tank's table proposed for a fill, and what the fill's pours say about it."""

from dataclasses import dataclass, replace

from gaugewright.app.calibrate import Done, table_of
from gaugewright.app.files import naming_file
from gaugewright.app.later import read_source
from gaugewright.errors import InputError
from gaugewright.metrology.agreement import Agreement
from gaugewright.pours.later.compare import Comparison
from gaugewright.pours.later.hold import hold
from gaugewright.probe import Probe
from gaugewright.table.fill import Fill
from gaugewright.table.later.known import Known
from gaugewright.table.later.sister import SisterFit, fit_with_sister, sister_known
from gaugewright.table.rows import Doubts
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.words import Said, Volume, said

AGREES_FROM, DISAGREES_TO = 0.5, 0.1
"""Probability that the two tanks are of one model."""


@dataclass(frozen=True, eq=False)
class SisterSays:
    """A fill with a sister's table before it."""

    both: SisterFit
    comparisons: tuple[Comparison, ...]
    """The pours held against the sister's table, scatter between sisters included."""
    proposed: Table
    """What the sister's table says of this tank, before any pour."""
    table: Table
    """With the pours learnt."""
    alone: Table
    """The same pours without the sister."""

    @property
    def verdict(self) -> Agreement:
        """Whether the tanks are of one model, as far as the pours can tell."""
        if not self.comparisons:
            return Agreement.CANNOT_TELL
        if self.both.agreement >= AGREES_FROM:
            return Agreement.AGREES
        if self.both.agreement <= DISAGREES_TO:
            return Agreement.DISAGREES
        return Agreement.CANNOT_TELL

    @property
    def sentence(self) -> Said:
        """Return what the pours say about the sister, in words."""
        percent = 100 * self.both.agreement
        match self.verdict:
            case Agreement.AGREES:
                return said(
                    "The sister's table agrees ({percent:.0f} % probable): {width}.",
                    percent=percent,
                    width=self._width(),
                )
            case Agreement.DISAGREES:
                return said(
                    "The sister's table does not agree ({percent:.1f} % probable): the two are "
                    "not alike, and the table stands on this tank's own pours.",
                    percent=percent,
                )
            case Agreement.CANNOT_TELL:
                return said(
                    "These pours cannot tell whether the sister's table agrees "
                    "({percent:.0f} % probable). Pour more.",
                    percent=percent,
                )

    def _width(self) -> Said:
        band, alone = self.table.u_litres, self.alone.u_litres
        assert band is not None
        assert alone is not None
        gain = 100 * (1 - self.both.narrower)
        if gain >= 0:
            change = said("{gain:.0f} % narrower", gain=gain)
        else:
            change = said("{loss:.0f} % wider, as the two differ", loss=-gain)
        return said(
            "largest band ±{with_her} with it, ±{alone} without; on average {change}",
            with_her=Volume(float(band.max())),
            alone=Volume(float(alone.max())),
            change=change,
        )


def with_sister(
    done: Done, table_file: str, *, tank_file: str | None, fill_file: str | None
) -> tuple[Done, SisterSays]:
    """Return a calibration with a sister's table before its pours; `InputError` names files.

    ``tank_file`` describes the sister with her probe, and is this tank's own where the two
    were described alike.
    """
    tank, probe = done.tank, done.probe
    if tank is None or probe is None:
        raise InputError(
            said("needs --tank: counts of one probe say nothing to another"), field="--sister"
        )
    source = read_source(table_file, tank_file, fill_file)
    with naming_file(table_file):
        known = sister_known(source.levels(), probe)
    says = sister_says(known, done.fill, tank, probe, done.result.checked.doubts)
    result = replace(done.result, table=says.table)
    return replace(done, result=result), says


def sister_says(
    known: Known, fill: Fill, tank: Tank | None, probe: Probe, doubts: Doubts
) -> SisterSays:
    """Return what pours say about a sister's table that was carried to their probe."""
    both = fit_with_sister(fill, known, tank, probe, doubts=doubts)
    compared = () if fill.is_draining else hold(known, fill).comparisons
    proposed = table_of(known.table_fit())
    return SisterSays(both, compared, proposed, table_of(both.fit), table_of(both.alone))
