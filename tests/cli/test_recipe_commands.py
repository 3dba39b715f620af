"""Recipes on the command line: made by questions, applied, held against, kept in a book."""

import json

import pytest

from gaugewright.cli.main import app

TABLE = "counts,litres,u_litres\n" + "".join(
    f"{c},{round(4 + 380 * (c / 4095) ** 1.1, 1)},1.5\n" for c in range(0, 4096, 117)
)
DEPOT = 'name = "depot"\nmost_rows = 10\nscale = "full_scale"\nscale_high = 1023.0\n'


@pytest.fixture
def yard(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "table.csv").write_text(TABLE)
    (tmp_path / "depot.toml").write_text(DEPOT)
    return tmp_path


def run(*args):
    with pytest.raises(SystemExit) as left:
        app(list(args))
    return left.value.code


def test_a_recipe_gives_the_very_text_and_says_what_it_costs(yard, capsys):
    assert run("export", "table.csv", "--recipe", "depot.toml") == 0
    printed, told = capsys.readouterr()
    lines = printed.splitlines()
    assert lines[0] == "0;4.0"
    assert lines[-1] == "1023;384.0"
    assert len(lines) == 10
    assert "10 of 36 rows" in told
    assert "within a band of ± 1.50 L" in told or "+/- 1.50 L" in told

    assert run("export", "table.csv", "--recipe", "depot.toml", "--out", "north.txt") == 0
    assert (yard / "north.txt").read_text() == printed


def test_json_tells_the_loss_beside_the_band(yard, capsys):
    assert run("export", "table.csv", "--recipe", "depot.toml", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["rows"] == 10
    assert 0 < told["loss_l"] < 1.5
    assert told["band_and_loss_l"] <= 1.5 + told["loss_l"] + 1e-6
    assert told["content"].startswith("0;4.0\n")


def test_a_slip_is_found_on_their_scale(yard, capsys):
    run("export", "table.csv", "--recipe", "depot.toml", "--out", "north.txt")
    text = (yard / "north.txt").read_text()
    assert run("compare", "table.csv", "north.txt", "--recipe", "depot.toml", "--strict") == 0
    counts, litres = text.splitlines()[5].split(";")
    (yard / "typed.txt").write_text(text.replace(f"{counts};{litres}", f"{counts}0;{litres}"))
    capsys.readouterr()
    assert run("compare", "table.csv", "typed.txt", "--recipe", "depot.toml", "--strict") == 1
    said = capsys.readouterr().out
    assert "the decimal mark has slipped" in said
    assert f"type {counts}." in said


def test_questions_are_asked_on_standard_input(yard, capsys, monkeypatch):
    import io

    typed = "depot\n20\n2\n0\n1023\n\n2\n2\n1\n2\n1\n\n\nRaw;Fuel\n\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    assert run("recipe", "--out", "made.toml") == 0
    made = (yard / "made.toml").read_text()
    for line in ('most_rows = 20', 'volume_unit = "US gal"', 'decimal_mark = "comma"',
                 'scale_high = 1023.0', 'header = "Raw;Fuel"', 'decimals = 2'):  # fmt: skip
        assert line in made
    assert "Where does its 0 lie?" in capsys.readouterr().err


def test_a_book_keeps_recipes_and_gives_them_back(yard, capsys):
    assert run("recipe", "depot.toml", "--book", "yard.book") == 0
    assert run("recipe", "--book", "yard.book", "--json") == 0
    told = capsys.readouterr().out
    assert json.loads(told[told.index("{") :])["recipes"][0]["most_rows"] == 10
    assert run("recipe", "--book", "yard.book", "--name", "depot", "--out", "back.toml") == 0
    run("export", "table.csv", "--recipe", "back.toml", "--out", "a.txt")
    run("export", "table.csv", "--recipe", "depot.toml", "--out", "b.txt")
    assert (yard / "a.txt").read_text() == (yard / "b.txt").read_text()


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("export", "table.csv"), "give one of --as FORM and --recipe FILE"),
        (("export", "table.csv", "--as", "csv", "--drained", "3"), "--drained: is for --recipe"),
        (("export", "table.csv", "--recipe", "none.toml"), "none.toml"),
        (("export", "table.csv", "--recipe", "table.csv"), "table.csv: is not TOML"),
        (("recipe", "--answer", "most_rows=many"), "most_rows: 'many' is not a number"),
        (("recipe", "--answer", "rows"), "--answer: wanted FIELD=VALUE"),
        (("recipe", "--answer", "scale=none", "--answer", "name=a"), "scale: must be one of same"),
        (("recipe", "--book", "nowhere.book"), "nowhere.book"),
        (("recipe", "depot.toml", "--name", "depot"), "--name: is for --book only"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(yard, capsys, args, words):
    assert run(*args) == 2
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1


def test_zero_at_the_tip_and_mm_need_the_probe(yard, capsys):
    (yard / "mm.toml").write_text('name = "a"\nscale = "mm"\nzero = "drained"\n')
    assert run("export", "table.csv", "--recipe", "mm.toml") == 2
    assert "mm.toml, scale: mm of wetted length need the probe" in capsys.readouterr().err
    (yard / "tank.toml").write_text(
        'shape = "box"\nlength_mm = 1000\nwidth_mm = 620\nheight_mm = 620\n'
        "[probe]\nx_mm = 500\ny_mm = 310\ntip_clearance_mm = 20\nactive_length_mm = 560\n"
    )
    args = ("export", "table.csv", "--recipe", "mm.toml", "--tank", "tank.toml")
    assert run(*args) == 2
    assert "nobody knows what was left in the drained tank" in capsys.readouterr().err
    assert run(*args, "--drained", "2,5", "--out", "mm.txt") == 0
    lines = (yard / "mm.txt").read_text().splitlines()
    assert lines[0] == "0;1.5"
    assert lines[-1] == "560;381.5"
