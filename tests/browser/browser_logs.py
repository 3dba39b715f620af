"""A log and its receipts for the Watch stage, and how they are given on its page."""

from pathlib import Path

import numpy as np
from browser_yards import counts_after
from playwright.sync_api import Page

from gaugewright.table.table import Table
from gaugewright.testing.service import receipts_csv, service_columns, service_csv, usual_changes

SLOW_MS = 120_000
"""The first log that is looked through waits for what is compiled once."""


def write_service(
    folder: Path,
    vehicle: str,
    levels_l: list[float],
    *,
    days: int,
    period_s: float,
    inflated_l: float = 0.0,
) -> dict[str, Path]:
    """Write what the usual tank with a table at these litres gives in so many days."""
    levels = np.array(levels_l)
    table = Table(np.array([counts_after(each) for each in levels]), levels, None)
    changes = usual_changes(days, levels_l[-1])
    columns = service_columns(table, changes, days=days, period_s=period_s, start_part=0.6)
    log, receipts = folder / f"{vehicle.lower()}.csv", folder / "receipts.csv"
    log.write_text(service_csv(columns, vehicle))
    receipts.write_text(receipts_csv(changes, vehicle, inflated_l=inflated_l))
    return {"log": log, "receipts": receipts}


def give_log(page: Page, files: dict[str, Path]) -> None:
    """Have the log and its receipts looked through."""
    page.get_by_label("Log, CSV or Parquet").set_input_files(files["log"])
    page.get_by_label("Receipts, CSV").set_input_files(files["receipts"])
    page.get_by_role("button", name="Look through").click()
