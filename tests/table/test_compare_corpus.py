"""Copied tables with planted mistakes: each is found and named, clean ones pass."""

import random
from itertools import pairwise

import numpy as np
import pytest

from gaugewright.probe import Probe
from gaugewright.table.compare import compare
from gaugewright.table.handover import Setting, hand_over
from gaugewright.table.recipe import Recipe
from gaugewright.table.shown import held_against
from gaugewright.table.table import Table

# Thresholds and orders of trial were set on seed 1; the figures asserted are of seed 2.
SEED = 2
KINDS = (
    "row_missing", "extra_row", "swapped_digits", "wrong_digit", "decimal_slip",
    "descending_order", "rows_exchanged", "wrong_counts_scale", "wrong_litres_scale",
    "litres_shifted", "constant_offset", "repeated_row",
)  # fmt: skip


COUNTS_SCALES = (0.25, 1023 / 4095, 4.0, 4095 / 1023, 16.0, 0.5)
LITRES_SCALES = (1 / 3.785411784, 1 / 4.54609, 3.785411784, 4.54609)


def any_table(rng):
    """Return a table of a box, a lying cylinder, an oval or a stepped tank."""
    n = rng.randint(8, 40)
    top = rng.choice([4095, 4000, 3600, 1023])
    step = top // (n + 1)
    counts = np.cumsum([rng.randint(0, 12)] + [rng.randint(step // 2 + 1, step) for _ in range(n)])
    h = (counts - counts[0]) / (counts[-1] - counts[0])
    shape = rng.choice(["box", "cylinder", "stepped", "rounded"])
    share = {
        "box": h,
        "cylinder": (np.arccos(1 - 2 * h) - (1 - 2 * h) * 2 * np.sqrt(h - h * h)) / np.pi,
        "stepped": np.where(h < 0.4, 0.6 * h, 0.24 + (h - 0.4) * 0.76 / 0.6),
        "rounded": h - 0.04 * np.sin(2 * np.pi * h),
    }[shape]
    litres = rng.uniform(0, 15) + rng.uniform(120, 900) * share
    decimals = rng.choice([1, 1, 2, None])
    return Table(counts, litres if decimals is None else np.round(litres, decimals), None)


def figures(rng, table):
    """Return rows as typed figures, [counts, litres], and the decimals of the litres."""
    decimals = rng.choice([1, 1, 2, 0])
    rows = zip(table.counts, table.litres, strict=True)
    return [[f"{c:.0f}", f"{v:.{decimals}f}"] for c, v in rows], decimals


def shown(figure, mark, group):
    """Return a figure with another decimal mark and its thousands parted by ``group``."""
    if not figure:
        return ""
    whole, _, rest = figure.partition(".")
    whole = f"{int(whole):,}".replace(",", group) if group else whole
    return whole + (mark + rest if rest else "")


def typed_text(rng, rows):
    """Lay rows out as some system or person would."""
    separator, marks = rng.choice(
        [
            (",", "."),
            (";", ".,"),
            ("\t", ".,"),
            (" | ", ".,"),
            ("  ", ".,"),
            (" ", ".,"),
            (", ", "."),
        ]
    )
    mark = rng.choice(marks)
    can_group = separator in (";", "\t", " | ")
    group = rng.choice(["", "", "'" if mark == "." else "."]) if can_group else ""
    unit = rng.choice(["", "", " L", " litres", "L"]) if can_group else ""
    is_swapped = rng.random() < 0.4
    more = rng.choice([[], [], ["number"], ["share"], ["number", "level", "note"]])
    names = ["Counts", "Litres"][:: -1 if is_swapped else 1]
    lines = []
    if rng.random() < 0.6:
        lines.append(separator.join([*(["No"] if "number" in more else []), *names, *more[-1:]]))
    top = max((float(c) for c, _ in rows), default=1.0)
    for number, (c, v) in enumerate(rows, start=1):
        counts, litres = (shown(figure, mark, group) for figure in (c, v))
        pair = [counts, litres + unit][:: -1 if is_swapped else 1]
        cells = ([str(number)] if "number" in more else []) + pair
        share = f"{100 * float(c) / top:.1f}".replace(".", mark)
        cells += [share] if "share" in more else []
        cells += [f"{0.15 * float(c):.0f}", "ok"] if "note" in more else []
        lines.append(separator.join(cells))
    if separator == " | " and rng.random() < 0.5:
        lines = [f"| {line} |" for line in lines]
    if rng.random() < 0.3:
        lines.insert(0, "Calibration of tank 2")
    return rng.choice(["\n", "\r\n"]).join(lines) + rng.choice(["", "\n"])


def swapped(rng, figure):
    digits = [place for place, d in enumerate(figure) if d.isdigit()]
    pairs = [
        (a, b) for a, b in pairwise(digits)
        if figure[a] != figure[b] and not (a == 0 and figure[b] == "0")
    ]  # fmt: skip
    if not pairs:
        return None
    a, b = rng.choice(pairs)
    return figure[:a] + figure[b] + figure[a + 1 : b] + figure[a] + figure[b + 1 :]


def wrong_digit(rng, figure):
    place = rng.choice([p for p, d in enumerate(figure) if d.isdigit()])
    new = rng.choice([d for d in "123456789" if d != figure[place]])
    return figure[:place] + new + figure[place + 1 :]


def slipped(rng, figure):
    if float(figure) < 2:
        return None
    if "." not in figure:
        up = figure + "0"
        return rng.choice([up, figure[:-1]]) if figure.endswith("0") else up
    whole, rest = figure.split(".")
    return rng.choice([whole[:-1] + "." + whole[-1] + rest if len(whole) > 1 else "", whole + rest])


def plant(rng, table, kind, given=None, scales=COUNTS_SCALES, units=LITRES_SCALES):
    """Return text with one mistake, and our row (from 1) where it is, if it is in one."""
    rows, decimals = given or figures(rng, table)
    n = len(rows)
    i = rng.randrange(1, n - 1)
    row = i + 1
    if kind == "row_missing":
        i = rng.randrange(n)
        del rows[i]
        row = i + 1
    elif kind == "extra_row":
        share = rng.uniform(0.2, 0.8)
        (a, v), (b, w) = ([float(f) for f in r] for r in rows[i : i + 2])
        litres = v + share * (w - v) if rng.random() < 0.5 else rng.uniform(0, float(rows[-1][1]))
        rows.insert(i + 1, [f"{a + share * (b - a):.0f}", f"{litres:.{decimals}f}"])
        row = None
    elif kind in ("swapped_digits", "wrong_digit", "decimal_slip"):
        make = {"swapped_digits": swapped, "wrong_digit": wrong_digit, "decimal_slip": slipped}
        while True:
            i, column = rng.randrange(n), rng.randrange(2)
            figure = make[kind](rng, rows[i][column])
            if figure and float(figure) != float(rows[i][column]):
                break
        rows[i][column] = figure
        row = i + 1
    elif kind == "descending_order":
        rows.reverse()
        row = None
    elif kind == "rows_exchanged":
        j = rng.choice([x for x in range(n) if x != i])
        rows[i], rows[j] = rows[j], rows[i]
        row = max(i, j) + 1  # it comes first in the text
    elif kind == "wrong_counts_scale":
        factor = rng.choice(scales)
        rows = [[f"{float(c) * factor:.0f}", v] for c, v in rows]
        row = None
    elif kind == "wrong_litres_scale":
        factor = rng.choice(units)
        rows = [
            [r[0], f"{v * factor:.{max(decimals, 1)}f}"]
            for r, v in zip(rows, table.litres, strict=True)
        ]
        row = None
    elif kind == "litres_shifted":
        litres = [v for _, v in rows]
        if rng.random() < 0.5:
            litres = [*litres[1:], rng.choice(["", "", litres[-1]])]
        else:
            litres = [rng.choice(["", "0", litres[0]]), *litres[:-1]]
        rows = [[c, v] for (c, _), v in zip(rows, litres, strict=True)]
        rows = [r for r in rows if r[1]] if rng.random() < 0.5 else rows
        row = None
    elif kind == "constant_offset":
        offset = rng.uniform(3, 25) * rng.choice([1, -1])
        offset = abs(offset) if float(table.litres[0]) + offset < 0 else offset
        rows = [
            [r[0], f"{v + offset:.{decimals}f}"] for r, v in zip(rows, table.litres, strict=True)
        ]
        row = None
    elif kind == "repeated_row":
        rows.insert(rng.choice([i, i + 1, n]), list(rows[i]))
    return rows, row


def trial(seed, count):
    """Return the misses of ``count`` mistakes: kind, planted row, text, what was told."""
    rng = random.Random(seed)
    misses = []
    for number in range(count):
        kind = KINDS[number % len(KINDS)]
        table = any_table(rng)
        rows, row = plant(rng, table, kind)
        text = typed_text(rng, rows)
        told = compare(table, text).differences
        is_right = {d.kind for d in told} == {kind} and len(told) == 1
        if not (is_right and (row is None or told[0].row == row)):
            misses.append((kind, row, text, table, told))
    return misses


def test_three_hundred_planted_mistakes_are_named_rightly_in_97_of_100():
    misses = trial(SEED, 300)

    assert len(misses) <= 9, [(kind, row, told) for kind, row, _, _, told in misses]


@pytest.mark.parametrize("seed", [SEED])
def test_a_hundred_clean_copies_bring_no_false_word(seed):
    rng = random.Random(seed)
    for _ in range(100):
        table = any_table(rng)
        rows, decimals = figures(rng, table)
        text = typed_text(rng, rows)

        result = compare(table, text)

        assert result.is_clean, (text, result.differences)
        assert result.max_error_l <= 0.5 * 10.0**-decimals + 1e-9


UNITS = {"L": 1.0, "US gal": 3.785411784, "imp gal": 4.54609}
WIDE_PROBE = Probe(x_mm=0, y_mm=0, tip_clearance_mm=20, active_length_mm=600)


def any_recipe(rng):
    """Return a recipe with its own unit and scale, and what the tank must tell beside."""
    scale, top = rng.choice(
        [("full_scale", 1023.0), ("full_scale", 1000.0), ("full_scale", 65535.0),
         ("mm", 1000.0), ("same", 1000.0)]
    )  # fmt: skip
    recipe = Recipe(
        name="depot",
        most_rows=rng.choice([None, 12, 20, 30]),
        decimals=rng.choice([1, 1, 2]),
        volume_unit=rng.choice(list(UNITS)),
        scale=scale,
        scale_high=top,
        zero=rng.choice(["bottom", "drained"]),
    )
    return recipe, Setting(WIDE_PROBE, drained_l=rng.uniform(0.5, 3.0), u_drained_l=0.5)


def handed_figures(made):
    return [[row.counts_text, row.litres_text] for row in made.rows], made.recipe.decimals


def scales_seen(recipe):
    """Return the factors by which somebody may have mistaken the recipe's scale."""
    if recipe.scale != "full_scale":
        return (0.25, 1023 / 4095, 4.0, 4095 / 1023, 0.5)
    return tuple(t / recipe.scale_high for t in (255, 1023, 4095) if t != recipe.scale_high)


def recipe_trial(seed, count):
    """Return the misses of ``count`` mistakes made in keying in what a recipe gave.

    Every kind is made once in each table that was handed over.
    """
    rng = random.Random(seed)
    misses = []
    for number in range(count):
        kind = KINDS[number % len(KINDS)]
        if number % len(KINDS) == 0:
            recipe, setting = any_recipe(rng)
            made = hand_over(any_table(rng), recipe, setting)
        own = UNITS[recipe.volume_unit]
        others = tuple(own / litres for litres in UNITS.values() if litres != own)
        rows, row = plant(rng, made.table, kind, handed_figures(made), scales_seen(recipe), others)
        text = typed_text(rng, rows)
        told = held_against(made, text).comparison.differences
        is_right = {d.kind for d in told} == {kind} and len(told) == 1
        if not (is_right and (row is None or told[0].row == row)):
            misses.append((kind, row, recipe, text, told))
    return misses


def test_three_hundred_mistakes_in_a_recipes_unit_and_scale_are_named_rightly_in_97_of_100():
    misses = recipe_trial(SEED, 300)

    assert len(misses) <= 9, [(kind, row, told) for kind, row, _, _, told in misses]


def test_a_hundred_faithful_copies_of_what_recipes_gave_bring_no_false_word():
    rng = random.Random(SEED)
    for number in range(100):
        if number % 4 == 0:
            recipe, setting = any_recipe(rng)
            made = hand_over(any_table(rng), recipe, setting)
        text = typed_text(rng, handed_figures(made)[0])

        result = held_against(made, text)

        assert result.is_clean, (recipe, text, result.comparison.differences)
        assert result.max_error_l <= 1e-6
