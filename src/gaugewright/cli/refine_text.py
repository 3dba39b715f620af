"""A refined table as text for people and as a record for programs."""

from dataclasses import asdict
from datetime import UTC, datetime
from textwrap import wrap
from typing import Any

import numpy as np

from gaugewright.app.pictures_refined import refined_picture
from gaugewright.app.refining import RefinedFromFiles
from gaugewright.watch.service_data import Amount, Source

NAMES = {Source.RECEIPT: "receipts", Source.COUNTER: "stretches of the engine's counter"}


def refine_record(done: RefinedFromFiles) -> dict[str, Any]:
    """Return everything for programs."""
    return {"vehicle": done.vehicle, **asdict(refined_picture(done.refined))}


def refine_text(done: RefinedFromFiles) -> str:
    """Return what was learnt: the offer first, then what it stands on."""
    refined = done.refined
    change, at = refined.largest_change
    before, after = refined.bands_l
    used = " and ".join(
        f"{_number(refined.used, s)} {NAMES[s]}" for s in Source if _number(refined.used, s)
    )
    lines = wrap(
        f"Vehicle {done.vehicle}: a refined table is offered, learnt from {used}. Its band is "
        f"± {after:.1f} L in the mean, ± {before:.1f} L before; it differs by at most "
        f"{abs(change):.1f} L (at {at:.0f} counts). Receipts and counters tell what lies between "
        "two levels; an error that all rows share stays in the band. Nothing is changed until "
        "you key it in.",
        78,
    )
    lines += ["", "counts      before            refined           change"]
    lines += [_row(done, k) for k in _some(refined.before.counts.size)]
    for factor in refined.factors:
        lines += ["", *wrap(_factor_text(factor.source, factor.value, factor.u95), 78)]
    if refined.left_out:
        lines += ["", "Left out, because they do not go with the others:"]
        lines += [f"- {_left_out_text(a)}" for a in refined.left_out]
    return "\n".join(lines)


def _row(done: RefinedFromFiles, k: int) -> str:
    old, new = done.refined.before, done.refined.after
    assert old.u_litres is not None
    assert new.u_litres is not None
    return (
        f"{old.counts[k]:6.0f}  {old.litres[k]:7.1f} ± {old.u_litres[k]:4.1f} L  "
        f"{new.litres[k]:7.1f} ± {new.u_litres[k]:4.1f} L  {new.litres[k] - old.litres[k]:+7.1f} L"
    )


def _some(size: int) -> list[int]:
    """At most twelve rows, evenly, the ends among them."""
    return sorted(set(np.linspace(0, size - 1, min(size, 12)).round().astype(int).tolist()))


def _factor_text(source: Source, value: float, u95: float) -> str:
    who = "receipts" if source is Source.RECEIPT else "engine's counter"
    return (
        f"True litres over those of the {who}: {value:.4f} ± {u95:.4f}"
        + (" (it shows too little)." if value - u95 > 1 else "")
        + (" (it shows too much)." if value + u95 < 1 else "")
        + ("; nothing against it." if abs(value - 1) <= u95 else "")
    )


def _left_out_text(amount: Amount) -> str:
    when = datetime.fromtimestamp(amount.time_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
    what = "receipt" if amount.source is Source.RECEIPT else "stretch of the counter"
    return f"{what} {amount.number}, {when}: {amount.litres:.1f} L"


def _number(amounts: tuple[Amount, ...], source: Source) -> int:
    return sum(a.source is source for a in amounts)
