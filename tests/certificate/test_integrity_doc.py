"""docs/integrity.md names tests that exist, and some that belong to no other room."""

import ast
import re
from pathlib import Path

import pytest

from gaugewright import __version__
from gaugewright.certificate.typeset import set_by

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docs" / "integrity.md").read_text(encoding="utf-8")
NAMED = sorted(set(re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", TEXT)))
SHOWN = ("cli", "workbench", "app")
COMPUTING = ("metrology", "tank", "fuel", "probe", "wiring", "table", "pours", "planning")
EDGES = {"socket", "sqlite3", "sqlalchemy", "subprocess", "fastapi", "typer", "threading"}


def functions_in(path):
    """Return the names of the functions of a file."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize(("path", "name"), NAMED, ids=[name for _, name in NAMED])
def test_every_test_that_is_named_exists(path, name):
    assert name in functions_in(path)


def test_every_requirement_names_at_least_one_test():
    table = TEXT.split("## OIML D 31:2019 and WELMEC 7.2")[1].split("## A certificate")[0]
    rows = [line for line in table.splitlines() if line.startswith("| ")][2:]
    assert len(rows) >= 22
    assert [row for row in rows if "::test_" not in row] == []


def test_no_test_is_named_in_another_way():
    assert TEXT.count("::test_") == len(re.findall(r"`tests/[\w/]+\.py::test_\w+`", TEXT))


def test_a_certificate_carries_the_version_and_the_fingerprint_of_what_set_it(finished):
    versions = finished.state.certificate.event.issue["versions"]
    assert versions == set_by()
    assert versions["gaugewright"] == __version__
    assert re.fullmatch(r"[0-9a-f]{16}", versions["pages"])


def imported_by(file):
    """Return the names of the modules that a file imports, wherever in it."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def test_the_rooms_that_compute_import_nothing_from_the_rooms_that_show():
    source = ROOT / "src" / "gaugewright"
    files = [f for room in COMPUTING for f in (source / room).rglob("*.py")]
    files += [source / f"{room}.py" for room in COMPUTING if (source / f"{room}.py").is_file()]
    assert len(files) > 50
    for file in files:
        names = set(imported_by(file))
        assert not {n for n in names if n.startswith(tuple(f"gaugewright.{r}" for r in SHOWN))}
        assert not {n.split(".")[0] for n in names} & EDGES, file
