"""``arrives`` on the command line: recordings, a live setup, and what is refused."""

import io
import json
import threading
import time
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from gaugewright.cli.main import app
from gaugewright.testing.arrivals import Scene, simulated_check

BEGUN = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)


def at(seconds):
    return (BEGUN + timedelta(seconds=float(seconds))).isoformat()


def run(*args):
    with pytest.raises(SystemExit) as left:
        app(list(args))
    return left.value.code


def written(folder, **scene):
    """Write the two recordings of a simulated check, and return its ``--off``."""
    check = simulated_check(np.random.default_rng(7), Scene(**scene))
    near = zip(check.near.times_s, check.near.values, strict=True)
    lines = [f"{at(t)},{c:.0f}" for t, c in near]
    (folder / "near.csv").write_text("time,counts\n" + "\n".join(lines) + "\n")
    far = zip(check.far.stamped_s, check.far.values, check.far.seen_s, strict=True)
    lines = [f"{at(t)};{v:.0f};{at(s)}" for t, v, s in far]
    (folder / "far.csv").write_text("time;value;seen\n" + "\n".join(lines) + "\n")
    return f"{at(check.off[0].from_s)}/{at(check.off[0].to_s)}"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_two_recordings_give_one_verdict(folder, capsys):
    off = written(folder, delay_s=40.0)
    args = ("arrives", "--readings", "near.csv", "--records", "far.csv", "--off", off, "--hz", "10")
    assert run(*args, "--json", "--strict") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["is_safe"]
    delay = next(item for item in told["items"] if item["kind"] == "delay")
    assert delay["low"] < 40.15 < delay["high"]


def test_what_is_wrong_leaves_with_1_where_it_is_strict(folder, capsys):
    off = written(folder, wrong="every_third_lost")
    args = ("arrives", "--readings", "near.csv", "--records", "far.csv", "--off", off)
    assert run(*args, "--strict", "--out", "verdict.json") == 1
    assert "are lost (3" in capsys.readouterr().out
    assert json.loads((folder / "verdict.json").read_text())["is_safe"] is False
    assert run(*args) == 0


def test_a_recipe_says_on_which_scale_the_records_belong(folder, capsys):
    off = written(folder, wrong="wrong_scale")
    (folder / "depot.toml").write_text('name = "a"\nscale = "full_scale"\nscale_high = 1023.0\n')
    args = ("arrives", "--readings", "near.csv", "--records", "far.csv", "--off", off, "--strict")
    assert run(*args) == 1
    assert "0 to 1023 (10 bits) where 0 to 4095 is expected" in capsys.readouterr().out
    assert run(*args, "--recipe", "depot.toml") == 0


def test_records_that_show_fuel_are_held_against_the_table(folder, capsys):
    off = written(folder)
    table = "counts,litres\n" + "".join(f"{c},{c / 10}\n" for c in range(0, 4096, 91))
    (folder / "table.csv").write_text(table)
    rows = [line.split(";") for line in (folder / "far.csv").read_text().splitlines()[1:]]
    fuel = "".join(f"{t};{float(v) / 10:.1f};{s}\n" for t, v, s in rows)
    (folder / "far.csv").write_text("time;value;seen\n" + fuel)
    args = ("arrives", "--readings", "near.csv", "--records", "far.csv", "--off", off)
    assert run(*args, "--shows", "fuel", "--table", "table.csv", "--strict") == 0, capsys
    assert "level" in capsys.readouterr().out


def test_both_ends_are_read_live_and_the_ignition_is_typed(folder, capsys, monkeypatch):
    check = simulated_check(np.random.default_rng(7), Scene(every_s=1.0, delay_s=0.0))
    near = zip(check.near.times_s[::2], check.near.values[::2], strict=True)
    lines = [f"{t:.2f},{c:.0f}" for t, c in near]
    (folder / "near.csv").write_text("time,counts\n" + "\n".join(lines) + "\n")
    far = folder / "far.csv"
    far.write_text("time,value\n")
    (folder / "setup.toml").write_text(
        '[probe]\nkind = "replay"\npath = "near.csv"\nspeed = 100.0\n'
        f'[records]\nkind = "records_file"\npath = "{far}"\n'
    )
    ended = threading.Event()

    def send():
        while not ended.wait(0.1):
            with far.open("a") as file:
                file.write(f"{datetime.now(UTC).isoformat()},1500\n")

    class Typed(io.StringIO):
        def __iter__(self):
            time.sleep(1.0)
            yield "off\n"
            time.sleep(0.5)
            yield "on\n"
            yield "what\n"
            time.sleep(1.0)
            yield "end\n"

    monkeypatch.setattr("sys.stdin", Typed())
    sender = threading.Thread(target=send)
    sender.start()
    try:
        assert run("arrives", "setup.toml", "--for", "60", "--json") == 0
    finally:
        ended.set()
        sender.join()
    printed = capsys.readouterr()
    told = json.loads(printed.out)
    assert told["records"] >= 15
    assert told["readings"] >= 50
    assert not told["is_safe"]
    for word in ("ignition off", "ignition on", "orders are: off, on, end"):
        assert word in printed.err


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), "give either SETUP, or both"),
        (("--readings", "near.csv"), "--records: is missing"),
        (("--readings", "near.csv", "--records", "none.csv"), "none.csv"),
        (("--readings", "far.csv", "--records", "far.csv"), "far.csv"),
        (("--readings", "near.csv", "--records", "far.csv", "--off", "now"), "--off: wanted FROM"),
        (("--readings", "near.csv", "--records", "far.csv", "--shows", "x"), "--shows: must be"),
        (("--readings", "near.csv", "--records", "far.csv", "--shows", "fuel"),
         "--shows: needs a table"),
        (("setup.toml",), "setup.toml, records: is missing"),
        (("wrong.toml",), "wrong.toml, records.url: must be http"),
        (("setup.toml", "--for", "0"), "--for: must be 1 to 86400"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(folder, capsys, args, words):
    written(folder)
    (folder / "setup.toml").write_text('[probe]\nkind = "manual"\n')
    (folder / "wrong.toml").write_text(
        '[probe]\nkind = "manual"\n[records]\nkind = "records_http"\nurl = "file:///x"\n'
    )
    assert run("arrives", *args) == 2
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1


def test_a_time_without_a_zone_is_refused_with_its_line(folder, capsys):
    written(folder)
    lines = (folder / "far.csv").read_text().splitlines()
    lines[3] = lines[3].replace("+00:00", "")
    (folder / "far.csv").write_text("\n".join(lines) + "\n")
    assert run("arrives", "--readings", "near.csv", "--records", "far.csv") == 2
    assert "far.csv, line 4, time: " in capsys.readouterr().err
