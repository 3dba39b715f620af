"""From the journal's pours to the `Fill` that the fit and the pour check take."""

import hashlib
from collections.abc import Sequence

from gaugewright.journal.chain import canonical_json
from gaugewright.journal.fill_kinds import PourRecorded, TableRow
from gaugewright.journal.state import FillState, Kept
from gaugewright.table.fill import Fill, MeterCheck, Pour


def fill_of(state: FillState) -> Fill:
    """Return the fill that stands: voided pours left out, steps in order.

    A step that was voided and not repeated leaves a gap in the step numbers: its
    litres are in the tank all the same, and it is for the fit to know that.
    """
    checks = state.checks.event
    return Fill(
        pours=tuple(_pour_of(kept, checks.pitch_deg, checks.roll_deg) for kept in state.standing),
        is_draining=state.begun.event.is_draining,
        meter_checks=tuple(MeterCheck(can.indicated_l, can.true_l) for can in checks.meter_checks),
        residual_l=checks.residual_l,
        u_residual_l=checks.u_residual_l,
        dip_empty_mm=checks.dip_empty_mm,
    )


def _pour_of(kept: Kept[PourRecorded], pitch_deg: float | None, roll_deg: float | None) -> Pour:
    """Return a pour; its own slope comes before the one that was read for the whole fill."""
    event = kept.event
    return Pour(
        step=event.step,
        added_l=event.added_l,
        counts=event.counts,
        counts_sd=event.counts_sd,
        fuel_c=event.fuel_c,
        meter_c=event.meter_c,
        pitch_deg=pitch_deg if event.pitch_deg is None else event.pitch_deg,
        roll_deg=roll_deg if event.roll_deg is None else event.roll_deg,
        at=kept.mark.at,
        note=event.note,
        planned_l=event.planned_l,
    )


def table_digest(rows: Sequence[TableRow]) -> str:
    """Return the SHA-256 that stands for a table wherever it is spoken of.

    >>> table_digest([TableRow(0, 4.0), TableRow(4095, 400.0, 0.9)])[:12]
    '21646b981ea2'
    """
    text = canonical_json(
        [
            [
                float(row.counts),
                float(row.litres),
                None if row.u_litres is None else float(row.u_litres),
            ]
            for row in rows
        ]
    )
    return hashlib.sha256(text.encode()).hexdigest()
