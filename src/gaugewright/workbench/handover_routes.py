"""The API of the hand-over: recipes, the text for a receiving system, what was copied back."""

from typing import Annotated, Any

from pydantic import Field
from starlette.responses import Response

from gaugewright.app import copied_back, recipes
from gaugewright.app.copied_back import Copy
from gaugewright.app.handover_pictures import given_picture, recipes_picture, shown_picture
from gaugewright.app.handover_values import GivenPicture, RecipesPicture, ShownPicture
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.asking import speech_of
from gaugewright.workbench.bodies import Body, ByPerson, Name, Reason, Recording, Sha256, Words
from gaugewright.workbench.job_routes import EntryNumber
from gaugewright.workbench.schema import Router

router = Router(prefix="/api")

Answers = Annotated[
    dict[str, Annotated[str, Field(max_length=300)] | int | float | None], Field(max_length=40)
]
Shown = Annotated[str, Field(min_length=1, max_length=copied_back.MOST_SHOWN)]
Cell = Annotated[str, Field(max_length=40)]


class RecipeTried(Body):
    """Answers that are tried."""

    recipe: Answers


class RecipeKept(ByPerson):
    """Answers to be kept in the book."""

    recipe: Answers


class RecipeForTank(Recording):
    """Answers that hold for a tank."""

    recipe: Answers


class CopyTried(Body):
    """What their system shows."""

    text: Shown


class CopyBody(Recording):
    """What their system shows: pasted or from a file, or row by row as it was typed."""

    text: Annotated[str, Field(max_length=copied_back.MOST_SHOWN)] = ""
    rows: Annotated[
        list[Annotated[list[Cell], Field(min_length=2, max_length=2)]], Field(max_length=2_000)
    ] = Field(default_factory=list)
    way: Annotated[str, Field(max_length=20)] = "pasted"
    photo_sha256: Annotated[list[Sha256], Field(max_length=20)] = Field(default_factory=list)
    note: Words = ""


class CopyAccept(Recording):
    """A person's word for a copy that differs."""

    accepted_by: Name
    reason: Reason


@router.get("/recipes")
def known_recipes(yard: YardHere) -> RecipesPicture:
    """Give the questions of a recipe and the recipes that the book keeps."""
    return speech_of(yard).all_of(recipes_picture(recipes.recipes_of(yard)))


@router.put("/recipes")
def keep_recipe(body: RecipeKept, yard: YardHere, visitor: VisitorHere) -> RecipesPicture:
    """Keep a recipe in the book; one of the same name is replaced."""
    recipes.keep_recipe(yard, stamp_of(body, visitor), recipes.recipe_from_answers(body.recipe))
    return speech_of(yard).all_of(recipes_picture(recipes.recipes_of(yard)))


@router.get("/jobs/{job}/recipes")
def recipes_for_job(job: str, yard: YardHere) -> RecipesPicture:
    """Give the recipes of the book and those that came with the job."""
    return speech_of(yard).all_of(recipes_picture(recipes.recipes_of(yard, yard.state(job))))


@router.post("/jobs/{job}/tanks/{tank_id}/recipe")
def choose_recipe(
    job: str, tank_id: str, body: RecipeForTank, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record how the system that receives this tank's table wants it."""
    recipe = recipes.recipe_from_answers(body.recipe)
    return recorded_answer(
        recipes.choose_recipe(yard, job, stamp_of(body, visitor), tank_id, recipe)
    )


@router.post("/jobs/{job}/tanks/{tank_id}/hand-over/try")
def try_recipe(job: str, tank_id: str, body: RecipeTried, yard: YardHere) -> GivenPicture:
    """Give the text that answers would make and what it costs; records nothing."""
    recipe = recipes.recipe_from_answers(body.recipe)
    _, tank = yard.tank(job, tank_id)
    return speech_of(yard).all_of(given_picture(recipes.handed_over(tank, recipe), yard.unit))


@router.get("/jobs/{job}/tanks/{tank_id}/hand-over")
def given_text(job: str, tank_id: str, yard: YardHere) -> GivenPicture:
    """Give exactly what the receiving system is given, and what it costs in litres."""
    _, tank = yard.tank(job, tank_id)
    return speech_of(yard).all_of(given_picture(recipes.handed_over(tank), yard.unit))


@router.get("/jobs/{job}/tanks/{tank_id}/hand-over.txt", response_class=Response)
def given_file(job: str, tank_id: str, yard: YardHere) -> Response:
    """Give the same as a file, byte for byte."""
    _, tank = yard.tank(job, tank_id)
    made = recipes.handed_over(tank)
    is_csv = made.recipe.separator in ("comma", "semicolon")
    name = f"{job}-{tank_id}.{'csv' if is_csv else 'txt'}"
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-._") else "-" for c in name)
    return Response(
        made.text.encode(),
        media_type="text/csv; charset=utf-8" if is_csv else "text/plain; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="{safe}"'},
    )


@router.post("/jobs/{job}/tanks/{tank_id}/copied-back/try")
def try_copy(job: str, tank_id: str, body: CopyTried, yard: YardHere) -> ShownPicture:
    """Give every difference in what their system shows; records nothing."""
    _, tank = yard.tank(job, tank_id)
    return speech_of(yard).all_of(shown_picture(copied_back.look_at_copy(tank, body.text)))


@router.post("/jobs/{job}/tanks/{tank_id}/copied-back")
def copy_back(
    job: str, tank_id: str, body: CopyBody, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Hold what their system shows against what it was given, and record what differs."""
    text, way = body.text, body.way
    if body.rows:
        pairs: list[Any] = [tuple(row) for row in body.rows]
        text, way = copied_back.typed_rows(pairs), "typed"
    copy = Copy(text, way, tuple(body.photo_sha256), body.note)
    return recorded_answer(
        copied_back.record_copy(yard, job, stamp_of(body, visitor), tank_id, copy)
    )


@router.post("/jobs/{job}/tanks/{tank_id}/copied-back/{entry}/accept")
def accept_copy(
    job: str,
    tank_id: str,
    entry: EntryNumber,
    body: CopyAccept,
    yard: YardHere,
    visitor: VisitorHere,
) -> RecordedAnswer:
    """Stand for a copy that differs, by name and with the reason."""
    return recorded_answer(
        copied_back.accept_copy(
            yard, job, stamp_of(body, visitor), tank_id, entry, body.accepted_by, body.reason
        )
    )
