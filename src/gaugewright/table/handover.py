"""A table in the form that a recipe asks for, and what that costs in litres.

The rows are chosen by `thin` on the grid of figures that the receiving system can hold,
so that thinning and rounding are weighed together.  The loss is then found anew from
the figures as they are written: read back from the text, not taken from the search.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.recipe import LINE_ENDS, OUR_FULL_SCALE, SEPARATORS, Recipe
from gaugewright.table.table import Table
from gaugewright.table.thin import thin
from gaugewright.units import Volumes, from_litres, to_litres
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

NEAR_TIP = 0.01
"""Share of the scale within which a table that begins above the tip begins at it. [1]"""


@dataclass(frozen=True, slots=True)
class Setting:
    """What a recipe must know of the tank beside the table."""

    probe: Probe | None = None
    drained_l: float | None = None
    """Fuel left in the tank when it was drained for the fill. [L]"""
    u_drained_l: float | None = None
    """Half-width of its 95 % band. [L]"""


@dataclass(frozen=True, slots=True)
class Zeroed:
    """How much lies below their 0 litres, and how well that is known."""

    below_l: float
    u_below_l: float | None


@dataclass(frozen=True, slots=True)
class HandedRow:
    """One row as it is handed over."""

    counts_text: str
    litres_text: str
    our_counts: float
    loss_l: float
    """Their litres at this row against ours. [L]"""
    u_l: float | None
    """Half-width of the 95 % band of our table there, their zero included. [L]"""


@dataclass(frozen=True, eq=False)
class HandedOver:
    """Exactly what a receiving system is given, and what thinning and rounding cost."""

    recipe: Recipe
    text: str
    rows: tuple[HandedRow, ...]
    """In the order of the text."""
    table: Table
    """Their figures as numbers, counts rising: their scale, their volume unit."""
    map: "ScaleMap"
    full: Table
    """The whole table, as it is."""
    loss_l: float
    """Largest departure from the whole table anywhere, by thinning and rounding. [L]"""
    loss_at_counts: float
    """Where that is, on our scale. [counts]"""
    step_l: float
    """Most litres that one step of their scale stands for. [L]"""
    band_l: float | None
    """Widest half-width of the band before. [L]"""
    total_l: float | None
    """Widest of band and loss together. [L]"""
    below_zero_l: float
    """Fuel that lies below their 0 litres. [L]"""
    u_below_zero_l: float | None

    @property
    def full_rows(self) -> int:
        """Rows of the whole table."""
        return len(self.full.counts)

    def in_words(self, unit: Volumes | None = None) -> str:
        """Say in one sentence what the hand-over costs.

        >>> table = Table(np.array([0, 4000]), np.array([0, 400]), np.array([1.0, 1.0]))
        >>> hand_over(table, Recipe(name="a", decimals=0)).in_words()
        'All 2 rows: thinning and rounding move it by at most 0.00 L (at 0 counts), within \
a band of ± 1.00 L; together ± 1.00 L.'
        """
        say = unit or Volumes()

        def volume(litres: float) -> str:
            return f"{from_litres(litres, say.unit):.2f} {say.unit}"

        kept = len(self.rows)
        rows = said("{kept} of {all} rows", kept=kept, all=self.full_rows)
        if kept >= self.full_rows:
            rows = said("All {kept} rows", kept=kept)
        told = {"rows": rows, "loss": volume(self.loss_l), "at": float(self.loss_at_counts)}
        if self.band_l is None or self.total_l is None:
            return said(
                "{rows}: thinning and rounding move it by at most {loss} (at {at:.0f} counts); "
                "the band of the table is not known.",
                **told,
            )
        return said(
            "{rows}: thinning and rounding move it by at most {loss} (at {at:.0f} counts), within "
            "a band of ± {band}; together ± {total}.",
            band=volume(self.band_l),
            total=volume(self.total_l),
            **told,
        )


@dataclass(frozen=True, slots=True)
class ScaleMap:
    """Our counts to the figures on their scale: ``theirs = low + per_count * counts``."""

    per_count: float
    low: float

    def theirs(self, counts: npt.ArrayLike) -> Floats:
        """Return figures on their scale, not rounded."""
        result: Floats = self.low + self.per_count * np.asarray(counts, dtype=np.float64)
        return result

    def ours(self, theirs: npt.ArrayLike) -> Floats:
        """Return counts on our scale. [counts]"""
        result: Floats = (np.asarray(theirs, dtype=np.float64) - self.low) / self.per_count
        return result


def scale_map(recipe: Recipe, probe: Probe | None) -> ScaleMap:
    """Return how our counts stand on the scale that a recipe asks for.

    Raises `InputError` where the scale needs a probe that nobody described.

    >>> tens = Recipe(name="a", scale="full_scale", scale_high=1023)
    >>> scale_map(tens, None).theirs([0, 4095]).tolist()
    [0.0, 1023.0]
    """
    if recipe.scale == "same":
        return ScaleMap(1.0, 0.0)
    if recipe.scale == "mm":
        if probe is None:
            raise InputError(
                said(
                    "mm of wetted length need the probe's active length and its counts; describe "
                    "the tank with its probe"
                ),
                field="scale",
            )
        if probe.mm_per_count < 0:
            raise InputError(said("the probe's counts fall as the fuel rises"), field="scale")
        return ScaleMap(probe.mm_per_count, -probe.mm_per_count * probe.counts_empty)
    low, high = OUR_FULL_SCALE if probe is None else (probe.counts_empty, probe.counts_full)
    if high <= low:
        raise InputError(said("the probe's counts fall as the fuel rises"), field="scale")
    per_count = (recipe.scale_high - recipe.scale_low) / (high - low)
    return ScaleMap(per_count, recipe.scale_low - per_count * low)


def zeroed(table: Table, recipe: Recipe, setting: Setting) -> Zeroed:
    """Return what lies below their 0 litres. [L]

    Raises `InputError` where the recipe's zero cannot be told for this tank.
    """
    if recipe.zero == "bottom":
        return Zeroed(0.0, 0.0)
    if recipe.zero == "drained":
        if setting.drained_l is None:
            raise InputError(
                said(
                    "their 0 litres is the drained state, but nobody knows what was left in the "
                    "drained tank; give it in litres"
                ),
                field="zero",
            )
        return Zeroed(setting.drained_l, setting.u_drained_l)
    at = float(table.counts[0])
    if setting.probe is not None:
        at = _near_start(setting.probe, table)
        if not table.counts[0] <= at <= table.counts[-1]:
            raise InputError(
                said(
                    "their 0 litres is at the probe's tip, which reads {at:g} counts, but the "
                    "table begins at {first:g}",
                    at=float(at),
                    first=float(table.counts[0]),
                ),
                field="zero",
            )
    band = table.band_at(at)
    return Zeroed(float(table.litres_at(at)), None if band is None else float(band))


def _near_start(probe: Probe, table: Table) -> float:
    """Return the tip's reading; a table that begins just above it begins at the tip."""
    first, scale = float(table.counts[0]), abs(probe.counts_full - probe.counts_empty)
    if 0 < first - probe.counts_empty <= NEAR_TIP * scale:
        return first
    return probe.counts_empty


def hand_over(table: Table, recipe: Recipe, setting: Setting | None = None) -> HandedOver:
    r"""Return exactly what the receiving system is given, and what it costs.

    Litres are those above their zero; fuel below it counts as 0.  The band at a row is
    that of our litres and of their zero together, as if the two shared nothing, which
    is the wider choice.  Outside the first and last row the receiving system is taken to
    hold the end figures.

    >>> table = Table(np.array([0, 2000, 4000]), np.array([10, 200.04, 410]), None)
    >>> made = hand_over(table, Recipe(name="a", header="Raw;Fuel", decimal_mark="comma"))
    >>> made.text
    'Raw;Fuel\n0;10,0\n2000;200,0\n4000;410,0\n'
    >>> round(made.loss_l, 3), made.loss_at_counts
    (0.04, 2000.0)
    """
    setting = setting or Setting()
    mapped = scale_map(recipe, setting.probe)
    zero = zeroed(table, recipe, setting)
    above_l = np.maximum(table.litres - zero.below_l, 0.0)
    kept = _chosen(_on_their_grid(table.counts, above_l, recipe, mapped), recipe)
    pairs = [_figures(c, v, recipe) for c, v in zip(kept.counts, kept.litres, strict=True)]
    # What is judged is what is written, not what was meant to be.
    theirs = Table(
        np.array([_read(c, recipe) for c, _ in pairs]),
        np.array([_read(v, recipe) for _, v in pairs]),
        None,
    )
    band = _band_above(table, zero)
    at, apart = _departure(table.counts, above_l, theirs, recipe, mapped)
    worst = int(np.argmax(apart))
    total = None if band is None else float((np.interp(at, table.counts, band) + apart).max())
    return HandedOver(
        recipe=recipe,
        text=_text(pairs, recipe),
        rows=_rows(pairs, theirs, table, above_l, band, recipe, mapped),
        table=theirs,
        map=mapped,
        full=table,
        loss_l=float(apart[worst]),
        loss_at_counts=float(at[worst]),
        step_l=_step_l(table.counts, above_l, recipe, mapped),
        band_l=None if band is None else float(band.max()),
        total_l=total,
        below_zero_l=zero.below_l,
        u_below_zero_l=zero.u_below_l,
    )


def to_litres_of(volumes: Floats, recipe: Recipe) -> Floats:
    """Return volumes in the recipe's unit as litres. [L]"""
    result: Floats = np.asarray(volumes) * to_litres(1.0, recipe.volume_unit)
    return result


def _on_their_grid(counts: Floats, above_l: Floats, recipe: Recipe, mapped: ScaleMap) -> Table:
    """Return the curve at figures that their scale can show, in steps of that scale.

    Every row of ours stands between two such figures; both are offered, so that `thin`
    may take either.  Without thinning the nearer one is enough.
    """
    exact = mapped.theirs(counts) * 10**recipe.counts_decimals
    if recipe.most_rows is None:
        steps = np.unique(np.round(exact))
    else:
        inner = np.concatenate([np.floor(exact + 1e-9), np.ceil(exact - 1e-9)])
        first, last = np.round(exact[0]), np.round(exact[-1])
        steps = np.unique(np.concatenate([inner[(inner > first) & (inner < last)], [first, last]]))
    if len(steps) < 2:
        raise InputError(
            said("all rows of the table fall on one figure of their scale: it is too coarse"),
            field="scale",
        )
    ours = mapped.ours(steps / 10**recipe.counts_decimals)
    volumes = np.interp(ours, counts, above_l) / to_litres(1.0, recipe.volume_unit)
    return Table(steps, volumes, None)


def _chosen(full: Table, recipe: Recipe) -> Table:
    """Return the rows to hand over, in steps of their scale and rounded volumes."""
    if recipe.most_rows is None or recipe.most_rows >= len(full.counts):
        return replace(full, litres=np.round(full.litres, recipe.decimals) + 0.0)
    return thin(full, rows=recipe.most_rows, decimals=recipe.decimals).table


def _figures(steps: float, volume: float, recipe: Recipe) -> tuple[str, str]:
    counts = f"{steps / 10**recipe.counts_decimals:.{recipe.counts_decimals}f}"
    litres = f"{volume + 0.0:.{recipe.decimals}f}"
    if recipe.decimal_mark == "comma":
        return counts.replace(".", ","), litres.replace(".", ",")
    return counts, litres


def _read(figure: str, recipe: Recipe) -> float:
    return float(figure.replace(",", ".") if recipe.decimal_mark == "comma" else figure)


def _text(pairs: list[tuple[str, str]], recipe: Recipe) -> str:
    end = LINE_ENDS[recipe.line_end]
    mark = SEPARATORS[recipe.separator]
    ordered = pairs if recipe.order == "rising" else pairs[::-1]
    lines = [mark.join(p if recipe.columns == "counts_litres" else p[::-1]) for p in ordered]
    return end.join([*([recipe.header] if recipe.header else []), *lines]) + end


def _band_above(table: Table, zero: Zeroed) -> Floats | None:
    """Return the band of litres above their zero at our rows. [L]"""
    if table.u_litres is None or zero.u_below_l is None:
        return None
    result: Floats = np.hypot(table.u_litres, zero.u_below_l)
    return result


def _departure(
    counts: Floats, above_l: Floats, theirs: Table, recipe: Recipe, mapped: ScaleMap
) -> tuple[Floats, Floats]:
    """Return where both curves may differ most, and by how much they do. [counts, L]"""
    ours = mapped.ours(theirs.counts)
    # Straight lines against straight lines differ most at a row of either.
    at = np.unique(np.concatenate([counts, ours[(ours >= counts[0]) & (ours <= counts[-1])]]))
    theirs_l = np.interp(at, ours, to_litres_of(theirs.litres, recipe))
    return at, np.abs(theirs_l - np.interp(at, counts, above_l))


def _step_l(counts: Floats, above_l: Floats, recipe: Recipe, mapped: ScaleMap) -> float:
    """Return the most litres between two figures of their scale. [L]"""
    width = 1.0 / (10**recipe.counts_decimals * mapped.per_count)
    steepest = max(
        (w - v) / (d - c)
        for (c, d), (v, w) in zip(pairwise(counts), pairwise(above_l), strict=True)
    )
    return float(steepest * width)


def _rows(
    pairs: list[tuple[str, str]], theirs: Table, table: Table, above_l: Floats,
    band: Floats | None, recipe: Recipe, mapped: ScaleMap,
) -> tuple[HandedRow, ...]:  # fmt: skip
    rows = []
    for (c, v), counts, volume in zip(pairs, theirs.counts, theirs.litres, strict=True):
        ours = float(mapped.ours(counts))
        meant = float(np.interp(ours, table.counts, above_l))
        loss = abs(to_litres(float(volume), recipe.volume_unit) - meant)
        u = None if band is None else float(np.interp(ours, table.counts, band))
        rows.append(HandedRow(c, v, ours, loss, u))
    return tuple(rows if recipe.order == "rising" else rows[::-1])
