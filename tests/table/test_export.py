"""Hand-over files, read back by other readers."""

import csv
import io
import json
from datetime import datetime

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.compare import compare
from gaugewright.table.export import (
    SEGMENT_ERROR_L,
    export_csv,
    export_json,
    export_segments,
    export_xlsx,
)
from gaugewright.table.files import read_table
from gaugewright.table.table import Table

TABLE = Table([4, 1240, 3600], [6.4, 133.97, 394.6], [1.204, 0.8, 2.0])
BARE = Table([4, 1240, 3600], [6.4, 133.9, 394.6], None)
FACTS = {"vehicle": "Lorry 7", "tank": "left, über 300 L", "serial": 4711, "zero": None}


def test_the_csv_is_the_table_file():
    table = read_table(export_csv(TABLE))

    assert table.litres.tolist() == TABLE.litres.tolist()
    assert table.u_litres.tolist() == [1.21, 0.8, 2.0]


def test_the_json_holds_rows_facts_and_units():
    told = json.loads(export_json(TABLE, FACTS))

    assert told["facts"] == FACTS
    assert told["units"]["litres"] == "L"
    assert told["rows"][1] == {"counts": 1240, "litres": 133.97, "u_litres": 0.8}
    assert "95 %" in told["meaning"]["u_litres"]


def test_an_unknown_band_is_null_not_zero():
    assert {row["u_litres"] for row in json.loads(export_json(BARE))["rows"]} == {None}


@st.composite
def tables(draw):
    n = draw(st.integers(2, 30))
    top = draw(st.sampled_from([3, 200, 5000, 60_000]))
    counts = np.cumsum(draw(st.lists(st.integers(1, top), min_size=n, max_size=n)))
    rises = draw(st.lists(st.floats(0, 900), min_size=n, max_size=n))
    return Table(counts, np.cumsum(rises), None)


@settings(max_examples=80)
@given(tables())
def test_printed_segments_give_the_litres_back_at_every_count(table):
    segments = list(csv.DictReader(io.StringIO(export_segments(table))))

    assert len(segments) == len(table.counts) - 1
    for segment, start, stop in zip(segments, table.counts[:-1], table.counts[1:], strict=True):
        assert (int(segment["from_counts"]), int(segment["to_counts"])) == (start, stop)
        at = np.linspace(start, stop, 7)
        litres = float(segment["a"]) + float(segment["b"]) * at
        assert np.abs(litres - table.litres_at(at)).max() <= SEGMENT_ERROR_L


def workbook(table, facts=None, **options):
    return openpyxl.load_workbook(io.BytesIO(export_xlsx(table, facts, **options)))


def test_the_workbook_holds_the_table_with_units_in_its_heading():
    rows = list(workbook(TABLE, FACTS)["table"].values)

    assert rows[0] == ("counts", "litres [L]", "band, 95 % half-width [L]")
    assert rows[1:] == [(4, 6.4, 1.21), (1240, 133.97, 0.8), (3600, 394.6, 2)]


def test_the_notes_hold_the_facts():
    notes = dict(workbook(BARE, FACTS)["notes"].values)

    assert notes["vehicle"] == "Lorry 7"
    assert notes["tank"] == "left, über 300 L"
    assert notes["serial"] == 4711
    assert notes["zero"] == "not known"
    assert notes["band"] == "not known"


@pytest.mark.parametrize(
    "text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "  =1", "\t=1", "\r=1", "=" * 9]
)
def test_no_text_is_taken_for_a_formula(text):
    sheet = workbook(BARE, {"vehicle": text, text: "x"})["notes"]

    cells = [cell for row in sheet.rows for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    assert sheet["B1"].value.startswith("'")
    assert sheet["A2"].value.startswith("'")


@pytest.mark.parametrize("text", ["-12.5", "Lorry 7", "a=b", "http://example.org", "", "+3"])
def test_harmless_text_stays_as_it_is(text):
    assert (workbook(BARE, {"note": text})["notes"]["B1"].value or "") == text


def test_the_same_input_gives_the_same_bytes():
    at = datetime(2031, 5, 6, 10, 11)  # noqa: DTZ001 - the file format knows no zone

    assert export_xlsx(TABLE, FACTS) == export_xlsx(TABLE, FACTS)
    assert export_xlsx(TABLE, FACTS, made_at=at) == export_xlsx(TABLE, FACTS, made_at=at)
    assert workbook(TABLE, made_at=at).properties.created == at


@pytest.mark.parametrize("export", [export_json, export_xlsx])
def test_a_fact_that_no_file_can_hold_is_refused(export):
    with pytest.raises(InputError, match="capacity: must be a finite number"):
        export(BARE, {"capacity": float("nan")})
    with pytest.raises(InputError, match="note: is 40000 characters long"):
        export(BARE, {"note": "x" * 40_000})


@pytest.mark.parametrize("export", [export_csv, export_json, export_segments, export_xlsx])
def test_counts_that_are_not_whole_are_refused(export):
    with pytest.raises(InputError, match="whole numbers"):
        export(Table([0, 1.5], [0, 1], None))


def test_an_exported_table_compares_clean_with_its_own():
    assert compare(TABLE, export_csv(TABLE)).is_clean
