"""Nine invented days of service for a demo's table, made when they are asked for."""

from typing import Literal

from gaugewright.app.proving import journal_table
from gaugewright.app.yard import NotThereError, Yard
from gaugewright.words import said

DAYS = 9
VEHICLE = "invented vehicle"
REFUELS_L = (95.0, 150.0, 100.0, 135.0, 110.0)
"""Put in every other noon, about what two days use. [L]"""
DRAINED_PART = 0.1
"""Part of the table's top that is taken in the third night."""
INFLATED_L = 20.0
"""The first receipt says so much more than was put in. [L]"""


def demo_service(yard: Yard, job: str, tank_id: str, part: Literal["log", "receipts"]) -> str:
    """Return a log or its receipts as CSV: refuels, one drain by night, one inflated receipt.

    Raises `NotThereError` outside of the demo: nobody may take it for a vehicle's own.
    """
    # The simulator is for those who try things out; a workbench in use never loads it.
    from gaugewright.testing.service import Change, at, receipts_csv, service_columns, service_csv

    if yard.rig is None:
        raise NotThereError(said("only the demo has an invented log"))
    table, _ = journal_table(yard.tank(job, tank_id)[1])
    changes = [Change(at(2 * k, 11.5), litres) for k, litres in enumerate(REFUELS_L)]
    changes.append(Change(at(2, 2.25), -DRAINED_PART * float(table.litres[-1]), 420.0))
    if part == "receipts":
        return receipts_csv(changes, VEHICLE, inflated_l=INFLATED_L)
    return service_csv(service_columns(table, changes, days=DAYS), VEHICLE)
