"""Drawings: well-formed, to scale, readable, and said in words."""

import itertools
import re
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.certificate.drawing.cut import cut
from gaugewright.certificate.drawing.labels import fitting, spread
from gaugewright.certificate.drawing.linked import LinkedSheet, linked_drawing
from gaugewright.certificate.drawing.plot import PlotWords, Point, table_plot
from gaugewright.certificate.drawing.section import Surface, section_of
from gaugewright.certificate.drawing.sheet import Landing, Sheet, narrow_sheet, wide_sheet
from gaugewright.certificate.drawing.tape import Mark, ticks
from gaugewright.certificate.pictures import plot_picture
from gaugewright.certificate.writing import Writer
from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.workbench.drawing import plot_drawing
from gaugewright.workbench.page import UnitsShown
from gaugewright.workbench.words import Figures

SVG = "{http://www.w3.org/2000/svg}"
BOX = Tank("box", length_mm=1000, width_mm=620, height_mm=600, edge_radius_mm=90, wall_mm=4)
PROBE = Probe(500, 310, tip_clearance_mm=22, active_length_mm=560)
TANKS = [
    (BOX, PROBE),
    (
        Tank("lying_cylinder", length_mm=1500, diameter_mm=700, ends="dished", end_depth_mm=120),
        Probe(750, 350, 20, 650),
    ),
    (Tank("upright_cylinder", diameter_mm=800, height_mm=500), Probe(400, 400, 15, 460)),
    (
        Tank("stepped", length_mm=1400, width_mm=600, height_mm=550, step_length_mm=400,
             step_height_mm=200),
        Probe(500, 300, 20, 500),
    ),
    (
        Tank("d_section", length_mm=900, width_mm=500, height_mm=600, round_depth_mm=200),
        Probe(450, 200, 25, 540),
    ),
]  # fmt: skip


def area_of(loop):
    x, z = loop.T
    return 0.5 * abs(float(np.dot(x, np.roll(z, 1)) - np.dot(z, np.roll(x, 1))))


def sheet_of(marks=(), landing=None, level=380.0, tank=BOX, probe=PROBE, **more):
    return Sheet(section_of(tank, probe), probe, Surface(level), marks, landing,
                 "The left tank.", **more)  # fmt: skip


def parsed(text):
    return ET.fromstring(text)


def named(tree, css_class):
    return [e for e in tree.iter() if css_class in (e.get("class") or "").split()]


@pytest.mark.parametrize(("tank", "probe"), TANKS)
def test_a_section_over_the_width_has_the_area_of_the_tank_s_own_section(tank, probe):
    solid = solid_of(tank)
    loops = cut(solid, "x", probe.x_mm)

    near = cut(solid, "x", probe.x_mm + 0.01)
    # Between two cuts a hundredth apart lies their mean area times that distance.
    assert area_of(loops[0]) == pytest.approx(area_of(near[0]), rel=1e-3)
    assert len(loops) == 1


@settings(max_examples=40, deadline=None)
@given(st.floats(200, 1500), st.floats(0.02, 0.98))
def test_a_lying_cylinder_cut_across_is_its_circle_and_along_its_rectangle(diameter, share):
    tank = Tank("lying_cylinder", length_mm=1200, diameter_mm=diameter)

    across = cut(solid_of(tank), "x", 1200 * share)
    along = cut(solid_of(tank), "y", diameter / 2)

    assert area_of(across[0]) == pytest.approx(np.pi * diameter**2 / 4, rel=2e-4)
    assert area_of(along[0]) == pytest.approx(1200 * diameter, rel=1e-3)


def test_cutting_at_every_place_integrates_to_the_volume():
    tank = Tank("lying_cylinder", length_mm=800, diameter_mm=500, ends="dished", end_depth_mm=150)
    solid = solid_of(tank)
    low, high = solid.vertices[:, 0].min(), solid.vertices[:, 0].max()
    # Gauss's places for a smooth function: twenty are better than a hundred at equal distances.
    places, weights = np.polynomial.legendre.leggauss(20)

    areas = [
        sum(area_of(loop) for loop in cut(solid, "x", 0.5 * (low + high + at * (high - low))))
        for at in places
    ]

    assert 0.5 * (high - low) * (weights @ areas) * 1e-6 == pytest.approx(solid.volume_l, rel=1e-3)


def test_a_cut_beside_the_tank_is_refused_with_the_reach():
    with pytest.raises(InputError, match="x 1001 mm is outside the tank, which reaches from 0"):
        cut(solid_of(BOX), "x", 1001)


@pytest.mark.parametrize("draw", [wide_sheet, narrow_sheet])
@pytest.mark.parametrize(("tank", "probe"), TANKS)
def test_every_tank_is_drawn_as_well_formed_svg_said_in_a_sentence(draw, tank, probe):
    tree = parsed(draw(sheet_of(tank=tank, probe=probe), "t"))

    assert tree.tag == f"{SVG}svg"
    assert tree.get("role") == "img"
    assert tree.get("aria-label") == "The left tank."
    assert not [e for e in tree.iter() if e.get("style")]


@pytest.mark.parametrize("draw", [wide_sheet, narrow_sheet])
def test_tank_tape_and_level_share_one_scale(draw):
    tree = parsed(draw(sheet_of(level=300.0), "t"))
    scale, y0 = float(tree.get("data-scale")), float(tree.get("data-y0"))

    path = next(e for e in tree.iter() if e.get("id") == "t-shape")
    heights = [float(y) for y in re.findall(r",(-?[\d.]+)", path.get("d"))]
    tape = next(e for e in tree.iter(f"{SVG}rect") if "s-ink" in (e.get("class") or "")
                and float(e.get("height")) == pytest.approx(592 * scale, abs=0.02))  # fmt: skip
    lifted = next(e for e in tree.iter() if e.get("data-part") == "level")

    assert max(heights) - min(heights) == pytest.approx(592 * scale, abs=0.02)
    assert max(heights) == pytest.approx(y0, abs=0.02)
    assert float(tape.get("y")) + float(tape.get("height")) == pytest.approx(y0, abs=0.02)
    lift = re.fullmatch(r"translate\(0 (-[\d.]+)\)", lifted.get("transform"))
    assert float(lift[1]) == pytest.approx(-300 * scale, abs=0.006)


def test_the_probe_ends_at_its_tip_clearance():
    tree = parsed(wide_sheet(sheet_of(), "t"))
    scale, y0 = float(tree.get("data-scale")), float(tree.get("data-y0"))

    tubes = [e for e in tree.iter(f"{SVG}rect") if e.get("width") == "14"]

    ends = [float(e.get("y")) + float(e.get("height")) for e in tubes]
    assert y0 - 22 * scale == pytest.approx(
        min(ends, key=lambda y: abs(y - y0 + 22 * scale)), abs=0.02
    )


def test_fuel_on_a_slope_rises_by_the_slope_over_the_section():
    sheet = Sheet(section_of(BOX, PROBE), PROBE, Surface(300.0, slope=0.05), (), None, "x")
    tree = parsed(wide_sheet(sheet, "t"))
    edge = next(g for g in named(tree, "fuel") if g.find(f"{SVG}path") is not None)
    line = edge.find(f"{SVG}line")

    run = float(line.get("x2")) - float(line.get("x1"))
    rise = float(line.get("y1")) - float(line.get("y2"))
    assert rise / run == pytest.approx(0.05, rel=1e-3)


def test_a_level_that_nobody_knows_is_not_drawn_as_one():
    tree = parsed(wide_sheet(sheet_of(level=None), "t"))

    assert all("unknown" in g.get("class").split() for g in named(tree, "fuel"))


marks = st.lists(
    st.builds(
        Mark,
        st.floats(0, 600),
        st.none() | st.floats(0, 30),
        st.sampled_from(["0 L", "62 L", "1\u202f204 L", "352 L"]),
        st.sampled_from(["pour", "open", "void"]),
    ),
    max_size=40,
)


@pytest.mark.parametrize("draw", [wide_sheet, narrow_sheet])
@settings(max_examples=40, deadline=None)
@given(marks, st.none() | st.floats(0, 600))
def test_labels_of_the_tape_never_lie_on_each_other(draw, marks, landing):
    coming = None if landing is None else Landing(landing, 8.0, "≈ 414 L")
    tree = parsed(draw(sheet_of(tuple(marks), coming), "t"))

    labels = [e for e in tree.iter(f"{SVG}text") if (e.text or "").endswith("L")]
    places = sorted((float(e.get("y")), float(e.get("font-size"))) for e in labels)
    width = float(tree.get("viewBox").split()[2])

    assert all(low[0] - high[0] >= 0.99 * low[1] for high, low in itertools.pairwise(places))
    assert all(float(e.get("x")) + 0.6 * float(e.get("font-size")) * len(e.text) <= width + 1
               for e in labels)  # fmt: skip
    assert len(labels) >= min(len(marks), 5)


def test_a_voided_pour_keeps_its_tick_and_is_struck_through():
    tree = parsed(wide_sheet(sheet_of((Mark(200, 3, "236 L", "void"),)), "t"))

    text = named(tree, "struck")
    assert [e.text for e in text] == ["236 L"]


def test_the_prediction_is_dashed_with_its_band_to_scale():
    tree = parsed(wide_sheet(sheet_of(landing=Landing(455, 10, "≈ 414 L")), "t"))
    scale = float(tree.get("data-scale"))
    group = next(e for e in tree.iter() if e.get("data-part") == "landing")

    band, line = group.find(f"{SVG}rect"), group.find(f"{SVG}line")
    assert float(band.get("height")) == pytest.approx(20 * scale, abs=0.02)
    assert line.get("stroke-dasharray") is not None
    assert "s-draft" in line.get("class")


@settings(deadline=None)
@given(st.floats(120, 3000), st.floats(0.05, 3), st.sampled_from(["mm", "in"]))
def test_numbers_on_the_tape_are_never_closer_than_they_can_be_read(top, scale, unit):
    short, long, numbered = ticks(top, scale, unit, 30)

    step = [(b[0] - a[0]) * scale for a, b in itertools.pairwise(numbered)]
    largest = 50 * 25.4 if unit == "in" else 2000
    assert all(s >= 30 - 1e-9 or s == pytest.approx(largest * scale) for s in step)
    assert set(np.round(long, 6)) <= set(np.round(short, 6))
    assert max(short) <= top + 1e-6


@given(
    st.lists(st.floats(0, 400), min_size=1, max_size=20).map(sorted), st.floats(1, 20)
)  # fmt: skip
def test_spread_keeps_order_gap_and_bounds(wanted, gap):
    places = spread(wanted, gap, 0, 400)

    assert (np.diff(places) >= gap - 1e-9).all()
    assert places[0] >= 0
    assert places[-1] <= 400 + 1e-9


def test_the_newest_labels_are_kept_when_not_all_fit():
    assert fitting([4, 3, 2, 1, 0], gap=10, room=25) == [2, 3, 4]


def test_the_plot_draws_the_band_to_scale_and_leaves_an_unknown_one_out():
    counts = np.array([0.0, 2000, 4000])
    words = PlotWords("A table.", "counts", "L", "± L")
    known = Table(counts, np.array([4.0, 180, 400]), np.array([1.0, 2.0, 1.0]))
    unknown = Table(counts, np.array([4.0, 180, 400]), None)

    drawn = parsed(table_plot(known, [Point(2000, 181)], words))
    plain = parsed(table_plot(unknown, [Point(2000, 181)], words))

    band = next(e for e in drawn.iter(f"{SVG}path") if e.get("fill-opacity"))
    ys = [float(y) for y in re.findall(r",(-?[\d.]+)", band.get("d"))]
    assert ys[1] - ys[0] == pytest.approx(-(ys[5] - ys[0]) / 2, abs=0.05)
    assert not [e for e in plain.iter(f"{SVG}path") if e.get("fill-opacity")]
    assert plain.get("aria-label") == "A table."


@pytest.mark.parametrize("units", ["metric", "us", "imperial"])
def test_what_is_written_at_the_plot_s_axes_ends_on_the_paper_in_every_unit(units):
    table = Table(np.array([0.0, 4000]), np.array([4.0, 400]), np.array([1.0, 2.0]))
    plot = parsed(plot_picture(table, [], Writer(units)).svg)
    assert_written_inside(plot)


@pytest.mark.parametrize("unit", ["L", "US gal", "imp gal"])
def test_what_is_written_at_the_plot_s_axes_ends_on_a_phone_s_screen(unit):
    made = SimpleNamespace(rows=[(0.0, 4.0, 1.0), (4000.0, 400.0, 2.0)], worst_u_l=2.0)
    tank = SimpleNamespace(table=made, fill=None)
    drawn = plot_drawing(tank, Figures(UnitsShown(volume_unit=unit), "en"), str)
    for plot in (drawn.wide, drawn.narrow):
        assert_written_inside(parsed(str(plot)))


def assert_written_inside(plot):
    width = float(plot.get("viewBox").split()[2])
    for text in plot.iter(f"{SVG}text"):
        written = "".join(text.itertext())
        if text.get("text-anchor", "start") == "start":
            end = float(text.get("x")) + 0.6 * float(text.get("font-size")) * len(written)
            assert end <= width, written


@pytest.mark.parametrize("has_tape", [True, False])
def test_linked_tanks_show_every_pour_and_the_next_one_in_both(has_tape):
    section = section_of(BOX, PROBE)
    pair = LinkedSheet(
        [section, section], ["left", "right"], PROBE, [Surface(300)] * 2, "Two tanks.", "300 mm",
        marks=[Mark(100, 2, "60 L"), Mark(300, 2, "120 L")], landing=Landing(400, 10, "≈180 L"),
    )  # fmt: skip
    width = 700 if has_tape else 204
    tree = parsed(linked_drawing(pair, "n", width, 480, 14, "dwg", has_tape=has_tape))
    scale, y0 = float(tree.get("data-scale")), float(tree.get("data-y0"))
    landings = [e for e in tree.iter() if e.get("data-part") == "landing"]
    words = [e.text for e in tree.iter(f"{SVG}text")]
    ticks = [
        (float(e.get("y1")), float(e.get("x2")))
        for e in tree.iter(f"{SVG}line")
        if e.get("y1") == e.get("y2")
    ]

    assert len(landings) == 2
    assert all(
        float(each.find(f"{SVG}line").get("y1")) == pytest.approx(y0 - 400 * scale, abs=0.02)
        for each in landings
    )
    for level in (100, 300, 400):
        near = [x for y, x in ticks if y == pytest.approx(y0 - level * scale, abs=0.02)]
        assert width / 2 < max(near) <= width
    assert "≈180 L" in words
    assert ("120 L" in words) == has_tape
