"""Recipes of receiving systems: asked for, kept in the book, chosen for a tank, applied."""

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any, Final

import numpy as np

from gaugewright.app.files import naming_file, read_text
from gaugewright.app.handover_values import Question
from gaugewright.app.proving import journal_table
from gaugewright.app.scales import described
from gaugewright.app.tank_file import read_tank_file
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError
from gaugewright.journal.book import Recorded
from gaugewright.journal.fill_kinds import TableMade
from gaugewright.journal.handover_kinds import RecipeChosen
from gaugewright.journal.state import JobState, TankState
from gaugewright.probe import Probe
from gaugewright.table.delimited import number, whole_number
from gaugewright.table.files import read_table
from gaugewright.table.handover import HandedOver, Setting, hand_over
from gaugewright.table.recipe import FIGURES, WHOLE, Recipe, recipe_from_mapping
from gaugewright.table.table import Table
from gaugewright.words import said

MOST_RECIPES: Final = 200
"""Recipes that one book keeps."""
AS_IT_IS: Final = Recipe(name="the table as it is", decimals=2, separator="comma")
"""Where no recipe was chosen the table is handed over as it stands."""
ABOVE_TIP: Final = 0.02
"""Share of the scale above the first row from which a reading surely sees the fuel. [1]"""


QUESTIONS: Final[tuple[Question, ...]] = (
    Question("name", said("What do you call this system?"), hint=said("Your own name for it")),
    Question(
        "most_rows",
        said("How many rows does it take at most?"),
        hint=said("Left empty: all of them"),
    ),
    Question(
        "scale",
        said("On which scale does it see the probe?"),
        (
            ("same", said("the probe's own counts")),
            ("full_scale", said("another scale, such as 0 to 1023 or per mille")),
            ("mm", said("millimetres of wetted length")),
        ),
        "same",
    ),
    Question(
        "scale_low",
        said("What does it show with the probe empty?"),
        usual="0",
        only_if=("scale", "full_scale"),
    ),
    Question(
        "scale_high",
        said("What does it show with the probe full?"),
        usual="1000",
        hint=said("1023 for 10 bits, 1000 for per mille"),
        only_if=("scale", "full_scale"),
    ),
    Question("counts_decimals", said("Decimals of those figures?"), usual="0"),
    Question(
        "volume_unit",
        said("In which unit does it take fuel?"),
        (
            ("L", said("litres")),
            ("US gal", said("US gallons")),
            ("imp gal", said("imperial gallons")),
        ),
        "L",
    ),
    Question("decimals", said("Decimals of the fuel?"), usual="1"),
    Question(
        "zero",
        said("Where does its 0 lie?"),
        (
            ("bottom", said("at the tank's bottom: all the fuel counts")),
            ("drained", said("at the drained state, as the fill began")),
            ("tip", said("at the probe's tip")),
        ),
        "bottom",
    ),
    Question(
        "decimal_mark",
        said("Which decimal mark?"),
        (("point", said("point: 45.5")), ("comma", said("comma: 45,5"))),
        "point",
    ),
    Question(
        "separator",
        said("What stands between the two figures?"),
        (
            ("semicolon", said("a semicolon")),
            ("comma", said("a comma")),
            ("tab", said("a tab")),
            ("space", said("a space")),
            ("bar", said("a bar")),
        ),
        "semicolon",
    ),
    Question(
        "columns",
        said("Which figure comes first?"),
        (("counts_litres", said("the probe's figure")), ("litres_counts", said("the fuel"))),
        "counts_litres",
    ),
    Question(
        "order",
        said("In which order are the rows?"),
        (("rising", said("from empty to full")), ("falling", said("from full to empty"))),
        "rising",
    ),
    Question("header", said("Which line stands above the rows?"), hint=said("Left empty: none")),
    Question(
        "line_end",
        said("How does a line end?"),
        (
            ("newline", said("with a line feed")),
            ("return_newline", said("with return and line feed")),
        ),
        "newline",
    ),
)
"""What a person is asked, in this order."""


def recipe_from_answers(answers: Mapping[str, Any]) -> Recipe:
    """Return the recipe of answers as they were typed: figures as text, empty for none.

    >>> recipe_from_answers({"name": " depot ", "most_rows": "", "scale_high": "1023,0"}).scale_high
    1023.0
    """
    given: dict[str, Any] = {}
    for field, value in answers.items():
        if not isinstance(value, str) or field == "header":
            given[field] = value
        elif not value.strip():
            if field == "name":
                given[field] = value
        elif field in WHOLE:
            given[field] = whole_number(value, field=field)
        elif field in FIGURES:
            given[field] = number(value, field=field)
        else:
            given[field] = value.strip()
    return recipe_from_mapping(given)


def read_recipe_file(path: str) -> Recipe:
    """Return the recipe of a TOML file, ``-`` for standard input.

    Raises `InputError` naming the file, and the line or the field.
    """
    text = read_text(path)
    with naming_file(path):
        try:
            mapping = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"is not TOML: {error}") from None
        return recipe_from_mapping(mapping)


def hand_over_files(
    table_file: str,
    recipe_file: str,
    tank_file: str | None = None,
    *,
    drained_l: float | None = None,
    u_drained_l: float | None = None,
) -> HandedOver:
    """Return what files hand over; every `InputError` names its file."""
    if table_file == recipe_file == "-":
        raise InputError("only one of the table and the recipe can be standard input")
    probe = None if tank_file is None else read_tank_file(tank_file).probe
    recipe = read_recipe_file(recipe_file)
    with naming_file(table_file):
        table = read_table(read_text(table_file))
    with naming_file(recipe_file):
        return hand_over(table, recipe, Setting(probe, drained_l, u_drained_l))


def recipes_of(yard: Yard, state: JobState | None = None) -> dict[str, Recipe]:
    """Return the recipes that the book keeps, and those that came with a job."""
    kept = dict(yard.book.settings().recipes)
    for tank in () if state is None else state.tanks.values():
        if tank.recipe is not None:
            mapping = tank.recipe.event.recipe
            kept.setdefault(str(mapping.get("name")), mapping)
    return {name: recipe_from_mapping(mapping) for name, mapping in sorted(kept.items())}


def keep_recipe(yard: Yard, stamp: Stamp, recipe: Recipe) -> None:
    """Keep a recipe in the book; one of the same name is replaced, the old one stays readable."""
    settings = yard.book.settings()
    if settings.recipes.get(recipe.name) == recipe.to_mapping():
        return
    if len(settings.recipes) >= MOST_RECIPES and recipe.name not in settings.recipes:
        raise InputError(
            said("the book keeps {most} recipes already", most=MOST_RECIPES), field="name"
        )
    kept = {**settings.recipes, recipe.name: recipe.to_mapping()}
    yard.book.change_settings(
        replace(settings, recipes=kept), at=yard.now(), person=stamp.person, device=stamp.device
    )


def choose_recipe(yard: Yard, job: str, stamp: Stamp, tank_id: str, recipe: Recipe) -> Recorded:
    """Record how the system that receives a tank's table wants it, and keep the recipe.

    Raises `InputError` if this tank's table cannot be handed over so; nothing is recorded.
    """
    _, tank = yard.tank(job, tank_id)
    if tank.table is not None:
        handed_over(tank, recipe)
    recorded = yard.record(job, stamp, RecipeChosen(tank_id, recipe.to_mapping()))
    keep_recipe(yard, stamp, recipe)
    return recorded


def chosen_recipe(tank: TankState) -> Recipe | None:
    """Return the recipe that was chosen for a tank, ``None`` if none was."""
    return None if tank.recipe is None else recipe_from_mapping(tank.recipe.event.recipe)


def handed_over(tank: TankState, recipe: Recipe | None = None) -> HandedOver:
    """Return what the receiving system is given of a tank's last table.

    Raises `NotThereError` if there is no table yet, `InputError` for a recipe that this
    tank cannot serve.
    """
    journal_table(tank)  # says what is missing
    assert tank.table is not None
    wanted = recipe or chosen_recipe(tank) or AS_IT_IS
    return _handed(tank.table.event, wanted, setting_of(tank))


@lru_cache(maxsize=32)
def _handed_by(
    rows: tuple[tuple[float, float, float | None], ...], recipe: Recipe, setting: Setting
) -> HandedOver:
    band = [u for _, _, u in rows]
    table = Table(
        np.array([c for c, _, _ in rows]),
        np.array([v for _, v, _ in rows]),
        None if None in band else np.array(band, dtype=np.float64),
    )
    return hand_over(table, recipe, setting)


def _handed(event: TableMade, recipe: Recipe, setting: Setting) -> HandedOver:
    rows = tuple((row.counts, row.litres, row.u_litres) for row in event.rows)
    return _handed_by(rows, recipe, setting)


def setting_of(tank: TankState) -> Setting:
    """Return what a recipe must know of a tank beside its table."""
    _, probe = described(tank)
    drained = None if tank.table is None else drained_l(tank, probe)
    return Setting(probe) if drained is None else Setting(probe, *drained)


def drained_l(tank: TankState, probe: Probe | None) -> tuple[float, float | None] | None:
    """Return the fuel that was left in the drained tank, and its band. [L]

    As it was found if somebody measured it.  Else it is what the table says at the first
    reading that surely sees the fuel, less what was poured until then.
    """
    fill = tank.fill
    if fill is None or not fill.standing:
        return None
    checks = fill.checks.event
    if checks.residual_l is not None:
        u = checks.u_residual_l
        return checks.residual_l, None if u is None else 1.96 * u
    table, _ = journal_table(tank)
    span = float(table.counts[-1] - table.counts[0])
    seen_from = max(float(table.counts[0]), 0.0 if probe is None else probe.counts_empty)
    pours = [kept.event for kept in fill.standing]
    ordered = pours[::-1] if fill.begun.event.is_draining else pours
    poured = 0.0
    for place, pour in enumerate(ordered):
        poured += _between(ordered, place, is_draining=fill.begun.event.is_draining)
        is_seen = seen_from + ABOVE_TIP * span <= pour.counts <= table.counts[-1]
        if is_seen:
            left = float(table.litres_at(pour.counts)) - poured
            band = table.band_at(pour.counts)
            return max(left, 0.0), None if band is None else float(band)
    return None


def _between(ordered: list[Any], place: int, *, is_draining: bool) -> float:
    """Return what lies between a pour and the one before it, counted from the drained state."""
    if place == 0:
        return 0.0
    # Draining, a pour's figure is what left the tank before its reading.
    return float(ordered[place - 1].added_l if is_draining else ordered[place].added_l)
