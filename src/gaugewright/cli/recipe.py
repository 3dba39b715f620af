"""``gaugewright recipe``: how a receiving system wants its table, by plain questions."""

from typing import Annotated, Any

import typer

from gaugewright.cli.output import Output, show

EXAMPLE = 'Example: gaugewright recipe --answer name=depot --answer "most_rows=20" --out depot.toml'

ZEROS = {"bottom": "tank's bottom", "drained": "drained state", "tip": "probe's tip"}


def recipe(
    recipe_file: Annotated[
        str | None,
        typer.Argument(metavar="[FILE]", help="A recipe to check and show; - reads it from input."),
    ] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option(metavar="FIELD=VALUE", help="An answer, so that nothing is asked; repeat."),
    ] = None,
    book: Annotated[
        str | None,
        typer.Option(metavar="BOOK", help="Keep the recipe in this job book; alone: list them."),
    ] = None,
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="With --book: give the recipe of this name.")
    ] = None,
    person: Annotated[
        str, typer.Option(metavar="NAME", help="Who keeps it in the book.")
    ] = "command line",
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the recipe as TOML, - to print it.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Make a recipe by answering plain questions, or check, show, keep and list recipes.

    A recipe says how many rows a receiving system takes, with which marks and decimals, in
    which unit and on which scale, and where its 0 litres lies. Without FILE and without
    --answer the questions are asked one by one on standard input.
    """
    from gaugewright.app.recipes import read_recipe_file, recipe_from_answers
    from gaugewright.errors import InputError
    from gaugewright.table.recipe import recipe_to_toml

    output = Output(as_json=as_json, out=out)
    if recipe_file is not None and answer:
        raise InputError("give either FILE or --answer")
    if book is not None and recipe_file is None and not answer:
        kept = _kept(book, name)
        if name is None:
            for each in kept:
                output.tell(f"{each.name}: {_in_words(each)}")
            if not kept:
                output.tell("No recipe is kept in this book yet.")
            output.give({"recipes": [each.to_mapping() for each in kept]})
            return
        made = kept[0]
    elif name is not None:
        raise InputError("is for --book only", field="--name")
    elif recipe_file is not None:
        made = read_recipe_file(recipe_file)
    else:
        answers = dict(_answer(each) for each in answer) if answer else _asked()
        made = recipe_from_answers(answers)
    output.write(recipe_to_toml(made))
    output.tell(f"{made.name}: {_in_words(made)}")
    if book is not None and name is None:
        _keep(book, person, made)
        output.tell(f"kept in {book}")
    output.give(made.to_mapping())


def _in_words(recipe: Any) -> str:
    rows = "all rows" if recipe.most_rows is None else f"at most {recipe.most_rows} rows"
    scale = {
        "same": "the probe's own counts",
        "mm": "mm of wetted length",
        "full_scale": f"{recipe.scale_low:g} to {recipe.scale_high:g}",
    }[recipe.scale]
    decimals = "1 decimal" if recipe.decimals == 1 else f"{recipe.decimals} decimals"
    return f"{rows}, {scale}, {recipe.volume_unit} with {decimals}, 0 at the {ZEROS[recipe.zero]}"


def _answer(text: str) -> tuple[str, str]:
    from gaugewright.errors import InputError

    field, equals, value = text.partition("=")
    if not equals or not field.strip():
        raise InputError(
            f"wanted FIELD=VALUE, such as most_rows=20, found '{text}'", field="--answer"
        )
    return field.strip(), value


def _asked() -> dict[str, str]:
    """Ask every question that still matters, on standard error, one line each."""
    import sys

    from gaugewright.app.recipes import QUESTIONS
    from gaugewright.errors import InputError

    answers: dict[str, str] = {}
    for question in QUESTIONS:
        if question.only_if is not None:
            field, wanted = question.only_if
            if answers.get(field) != wanted:
                continue
        usual = f" [{question.usual}]" if question.usual else ""
        hint = f" ({question.hint})" if question.hint else ""
        show(f"{question.ask}{hint}{usual}", to_error=True)
        for place, (_, words) in enumerate(question.choices, start=1):
            show(f"  {place}  {words}", to_error=True)
        line = sys.stdin.readline()
        if not line:
            raise InputError("the answers ended before all was asked", field=question.field)
        typed = line.rstrip("\r\n")
        if question.choices and typed.strip().isdecimal():
            place = int(typed)
            if not 1 <= place <= len(question.choices):
                raise InputError(
                    f"must be 1 to {len(question.choices)}, found {typed.strip()}",
                    field=question.field,
                )
            typed = question.choices[place - 1][0]
        answers[question.field] = typed if typed.strip() else question.usual
    return answers


def _kept(where: str, name: str | None) -> list[Any]:
    from gaugewright.errors import InputError
    from gaugewright.journal.book import open_book
    from gaugewright.table.recipe import recipe_from_mapping

    with open_book(where, create=False, read_only=True) as book:
        kept = book.settings().recipes
    if name is None:
        return [recipe_from_mapping(each) for _, each in sorted(kept.items())]
    if name not in kept:
        known = ", ".join(sorted(kept)) or "none"
        raise InputError(f"no recipe '{name}' in {where}; there are: {known}", field="--name")
    return [recipe_from_mapping(kept[name])]


def _keep(where: str, person: str, made: Any) -> None:
    from gaugewright.app.recipes import keep_recipe
    from gaugewright.app.yard import Stamp, Yard
    from gaugewright.journal.book import open_book

    yard = Yard(open_book(where))
    try:
        keep_recipe(yard, Stamp(person, "command line", 0), made)
    finally:
        yard.close()
