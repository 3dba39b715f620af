"""A table refined in service as a screen, the API and programs see it: beside the one in use."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugewright.table.table import Table
    from gaugewright.watch.refine import Refined


@dataclass(frozen=True, slots=True)
class RowPicture:
    """One row of a table with the half-width of its 95 % band."""

    counts: float
    litres: float
    u_litres: float


@dataclass(frozen=True, slots=True)
class AmountPicture:
    """A receipt or a stretch of the engine's counter."""

    source: str
    number: int
    at: str
    """ISO 8601, UTC."""
    litres: float


@dataclass(frozen=True, slots=True)
class FactorPicture:
    """True litres over those that a source states, with the half-width of the 95 % band."""

    source: str
    factor: float
    u95: float


@dataclass(frozen=True, slots=True)
class RefinedPicture:
    """An offered table beside the one in use, and what it rests on.

    Receipts and counters tell what lies between two levels: an error that all rows share, the
    offset, stays in the band.
    """

    is_offered: bool
    used: Mapping[str, int]
    """By source, how many receipts or stretches of the engine's counter."""
    used_l: Mapping[str, float]
    """By source, how many litres they state."""
    left_out: tuple[AmountPicture, ...]
    """Those that do not go with the others, the worst first."""
    factors: tuple[FactorPicture, ...]
    chance: float
    """How often data would differ so much from a table whose band is right."""
    largest_change_l: float
    at_counts: float
    mean_band_before_l: float
    mean_band_after_l: float
    largest_band_before_l: float
    largest_band_after_l: float
    before: tuple[RowPicture, ...]
    table: tuple[RowPicture, ...]


@dataclass(frozen=True, slots=True)
class OfferPicture(RefinedPicture):
    """What a watched log teaches about the table that it was read with."""

    entry: int
    """The entry of the log."""
    digest: str
    """Of the table in use."""


def offer_picture(entry: int, digest: str, refined: "Refined") -> OfferPicture:
    """Return an offer with the log and the table that it is about."""
    shown = refined_picture(refined)
    figures = {each.name: getattr(shown, each.name) for each in fields(shown)}
    return OfferPicture(**figures, entry=entry, digest=digest)


def refined_picture(refined: "Refined") -> RefinedPicture:
    """Return an offered table with figures rounded as they are shown."""
    # The numerics are loaded when they are first asked for: no first page waits.
    from gaugewright.watch.service_data import Source

    change, at = refined.largest_change
    mean_before, mean_after = refined.bands_l
    before, after = _rows(refined.before), _rows(refined.after)
    amounts = {s.value: [a.litres for a in refined.used if a.source is s] for s in Source}
    return RefinedPicture(
        is_offered=True,
        used={source: len(litres) for source, litres in amounts.items()},
        used_l={source: round(sum(litres), 1) for source, litres in amounts.items()},
        left_out=tuple(
            AmountPicture(
                a.source.value,
                a.number,
                datetime.fromtimestamp(a.time_s, UTC).isoformat(),
                round(a.litres, 2),
            )
            for a in refined.left_out
        ),
        factors=tuple(
            FactorPicture(f.source.value, round(f.value, 5), round(f.u95, 5))
            for f in refined.factors
        ),
        chance=refined.chance,
        largest_change_l=round(change, 2),
        at_counts=at,
        mean_band_before_l=round(mean_before, 2),
        mean_band_after_l=round(mean_after, 2),
        largest_band_before_l=round(max(row.u_litres for row in before), 2),
        largest_band_after_l=round(max(row.u_litres for row in after), 2),
        before=before,
        table=after,
    )


def _rows(table: "Table") -> tuple[RowPicture, ...]:
    assert table.u_litres is not None
    return tuple(
        RowPicture(float(c), float(v), float(u))
        for c, v, u in zip(table.counts, table.litres, table.u_litres, strict=True)
    )
