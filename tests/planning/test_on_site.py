"""What is done and brought on site: cautions, draining, the list, the paper template."""

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.planning.bring import COLUMNS, LINES, Needs, one_page, things_to_bring
from gaugewright.planning.cautions import (
    CAUTIONS,
    SAFE_CONTENTS,
    Circumstances,
    cautions_for,
    require_may_plan,
    ruling,
)
from gaugewright.planning.draining import (
    CONTAINERS,
    FILL_SHARE,
    Container,
    cans_to_carry,
    drain,
    fill_minutes,
)
from gaugewright.planning.template import Flange, drilling_template, hole_saw_mm

SVG = "{http://www.w3.org/2000/svg}"
EVERYTHING = Needs(
    cut_length_mm=585, cable_m=25, conductor="0.75 mm²", fuse_a=2, is_rs485=True,
    checks=("slope", "meter", "dip", "temperatures"), pour_l=930, stops=20, draining=drain(999),
)  # fmt: skip

# Cautions and stop rules


@pytest.mark.parametrize("contents", SAFE_CONTENTS)
def test_fuels_that_flash_high_are_planned_for(contents):
    assert not ruling(Circumstances(contents=contents.upper())).stops


@pytest.mark.parametrize(
    ("circumstances", "stop"),
    [
        (Circumstances(contents="Petrol"), "petrol"),
        (Circumstances(contents="diesel", ever_held=("gasoline",)), "petrol"),
        (Circumstances(contents="E85"), "low_flash"),
        (Circumstances(contents="kerosene"), "low_flash"),
        (Circumstances(contents="unknown"), "unknown_contents"),
        (Circumstances(contents=""), "unknown_contents"),
        (Circumstances(is_dangerous_goods=True), "dangerous_goods"),
    ],
)
def test_what_is_dangerous_stops_the_plan_with_its_reason_and_source(circumstances, stop):
    found = ruling(circumstances)

    assert [each.id for each in found.stops] == [stop]
    assert found.is_stopped
    assert found.stops[0].source
    with pytest.raises(InputError, match="the plan stops: ") as refused:
        require_may_plan(circumstances)
    assert refused.value.field in ("contents", "dangerous_goods")


def test_a_licensed_person_is_recorded_and_given_no_permission():
    found = require_may_plan(
        Circumstances("petrol", is_dangerous_goods=True, licensed_person=" A. Example ")
    )

    assert not found.is_stopped
    assert len(found.stops) == 2
    assert found.record == (
        "A. Example is named as the licensed person who decides on: petrol, dangerous goods. "
        "This plan gives no permission; local codes apply."
    )


def test_a_blank_name_is_nobody():
    assert ruling(Circumstances("petrol", licensed_person="  ")).is_stopped


def test_nothing_is_recorded_where_nothing_stands_in_the_way():
    assert ruling(Circumstances(licensed_person="A. Example")).record == ""


def test_every_subject_of_caution_is_there_with_a_source_at_a_step():
    ids = [caution.id for caution in CAUTIONS]

    assert len(set(ids)) == len(ids)
    wanted = {"vapour", "drilling", "swarf", "battery", "static", "spill", "lifting", "hot_exhaust",
              "roadworthy", "type_approval"}  # fmt: skip
    assert wanted <= set(ids)
    assert any("warranty" in caution.text for caution in CAUTIONS)
    for caution in CAUTIONS:
        assert caution.source
        assert caution.step
        assert len(caution.short) <= COLUMNS - 2
    assert {c.stage for c in cautions_for(["Mount"])} == {"Mount"}


# Draining


@given(st.floats(0, 2500))
def test_containers_hold_all_and_none_is_filled_to_the_brim(litres):
    found = drain(litres)

    assert sum(each.litres for each in found.filled) == pytest.approx(litres, abs=1e-6)
    for each in found.filled:
        assert each.litres <= each.count * each.container.litres * FILL_SHARE * (1 + 1e-9)
    assert found.total_kg >= found.fuel_kg == pytest.approx(0.845 * litres)


@given(st.floats(1, 400), st.integers(0, 3), st.integers(0, 5), st.integers(0, 6))
def test_what_is_at_hand_is_enough_or_it_is_said_how_much_it_holds(litres, drums, small, cans):
    hand = [Container("drum", 200, 20, drums), Container("small drum", 60, 4, small),
            Container("can", 20, 1.5, cans)]  # fmt: skip
    holds = FILL_SHARE * (200 * drums + 60 * small + 20 * cans)
    if litres > holds * (1 + 1e-9):
        with pytest.raises(InputError, match="do not go into what is at hand"):
            drain(litres, hand)
        return
    if litres > holds * (1 - 1e-9):
        return  # the last digit decides
    found = drain(litres, hand)
    counts = {c.name: 0 for c in hand}
    for each in found.filled:
        counts[each.container.name] += each.count
    assert all(counts[c.name] <= c.count for c in hand)


def test_an_empty_tank_takes_no_time():
    assert drain(0).filled == ()
    assert drain(0).minutes == 0


def test_time_is_flow_changes_and_settling():
    found = drain(190, flow_l_per_min=19, settle_min=10, change_min=2)

    assert found.minutes == pytest.approx(10 + 2 + 10)
    assert fill_minutes(330, 6, flow_l_per_min=33, settle_min=3) == pytest.approx(28)
    assert cans_to_carry(19) == 1
    assert cans_to_carry(19.1) == 2


def test_a_full_drum_is_too_heavy_for_one_person_and_a_can_is_not():
    assert drain(190).filled[0].takes_two_or_a_trolley
    assert not drain(19).filled[0].takes_two_or_a_trolley


@pytest.mark.parametrize(
    "call",
    [
        lambda: drain(float("nan")),
        lambda: drain(-1),
        lambda: drain(10, flow_l_per_min=0),
        lambda: drain(10, settle_min=-1),
        lambda: drain(10, []),
        lambda: Container("can", 0, 1),
        lambda: Container("can", 20, float("nan")),
        lambda: Container("can", 20, 1, -1),
        lambda: fill_minutes(-1, 2),
        lambda: fill_minutes(1, -2),
        lambda: fill_minutes(1, 2, flow_l_per_min=float("inf")),
    ],
)
def test_draining_figures_that_cannot_be_are_refused(call):
    with pytest.raises(InputError):
        call()


# What to bring


def test_the_list_follows_the_plan():
    words = " ".join(item.what for item in things_to_bring(EVERYTHING))

    for wanted in (
        "hole saw 38 mm",
        "cut at 585.0 mm",
        "28 m of cable of 0.75 mm²",
        "fuse 2 A",
        "two terminators",
        "inclinometer",
        "measured can",
        "thermometer",
        "dip stick",
        "5 x 200 L drum",
        "1 x 60 L drum",
        "930 L of clean diesel",
        "trolley",
        "work permit",
    ):
        assert wanted in words


def test_nothing_is_drilled_into_an_opening_that_is_there():
    words = " ".join(item.what for item in things_to_bring(Needs(is_opening_there=True)))

    assert "saw" not in words.replace("fine saw", "")
    assert "template" not in words


def test_everything_fits_on_one_page_with_the_cautions_first():
    page = one_page("Tank 1", things_to_bring(EVERYTHING), ["drill here"] * 5)
    lines = page.splitlines()

    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS
    assert page.index("CAUTIONS") < page.index("THE PLAN") < page.index("TOOLS")
    for caution in CAUTIONS:
        assert caution.short in page


def test_a_page_that_would_run_over_is_refused():
    with pytest.raises(InputError, match="do not fit on one page"):
        one_page("Tank 1", things_to_bring(EVERYTHING), ["a fact"] * 60)


# The template


def parsed(flange, **options):
    given_ = {"x_mm": 500, "y_mm": 300, "title": "Tank", **options}
    return ElementTree.fromstring(drilling_template(flange, **given_))


def circles(root, name):
    return [
        tuple(float(each.get(key)) for key in ("cx", "cy", "r"))
        for each in root.iter(f"{SVG}circle")
        if each.get("class") == name
    ]


@pytest.mark.parametrize(("paper", "size"), [("A4", (210, 297)), ("Letter", (215.9, 279.4))])
def test_the_template_is_in_millimetres_on_one_page(paper, size):
    root = parsed(Flange(), paper=paper)

    assert (root.get("width"), root.get("height")) == (f"{size[0]:g}mm", f"{size[1]:g}mm")
    assert root.get("viewBox") == f"0 0 {size[0]:g} {size[1]:g}"
    for each in root.iter(f"{SVG}circle"):
        cx, cy, r = (float(each.get(key)) for key in ("cx", "cy", "r"))
        assert cx - r >= 0
        assert cx + r <= size[0]
        assert cy - r >= 0
        assert cy + r <= size[1]


@given(st.floats(20, 60), st.floats(5, 30), st.integers(1, 12), st.floats(-180, 180))
def test_hole_and_bolts_are_drawn_to_scale(hole, more, bolts, turn):
    flange = Flange(hole, hole + more + 6, bolts, 5, hole + more + 20, turn)
    root = parsed(flange)
    ((x, y, radius),) = circles(root, "hole")

    assert 2 * radius == pytest.approx(hole, rel=1e-5)
    drawn = circles(root, "bolt")
    assert len(drawn) == bolts
    for bx, by, r in drawn:
        assert 2 * r == pytest.approx(5)
        assert 2 * ((bx - x) ** 2 + (by - y) ** 2) ** 0.5 == pytest.approx(
            flange.bolt_circle_mm, abs=0.01
        )


def test_the_first_bolt_is_to_the_front_and_the_next_to_the_right():
    root = parsed(Flange(bolts=4))
    ((x, y, _),) = circles(root, "hole")
    first, second, *_ = circles(root, "bolt")

    assert first[:2] == pytest.approx((x, y - 27))
    assert second[:2] == pytest.approx((x + 27, y))


def test_the_bar_is_100_mm_long_and_the_cross_meets_in_the_middle():
    root = parsed(Flange())
    paths = {each.get("class"): each.get("d") for each in root.iter(f"{SVG}path")}
    ((x, y, _),) = circles(root, "hole")

    assert re.search(r"h100$", paths["bar"])
    left, _ = map(float, re.match(r"M([\d.]+),([\d.]+)", paths["bar"]).groups())
    assert left + 50 == pytest.approx(x)
    across = re.match(r"M([\d.]+),([\d.]+)H([\d.]+)M([\d.]+),([\d.]+)V([\d.]+)", paths["cross"])
    x1, cross_y, x2, cross_x, y1, y2 = map(float, across.groups())
    assert ((x1 + x2) / 2, cross_y, cross_x, (y1 + y2) / 2) == pytest.approx((x, y, x, y))
    words = " ".join(each.text for each in root.iter(f"{SVG}text"))
    assert "FRONT" in words
    assert "500 mm behind the front end, 300 mm from the left side" in words


def test_a_title_cannot_break_the_drawing():
    root = parsed(Flange(), title='<script>&"')

    assert root.get("aria-label").startswith('Drilling template 1:1, <script>&"')
    assert not list(root.iter(f"{SVG}script"))


@pytest.mark.parametrize(
    ("sizes", "field"),
    [
        ({"hole_mm": 0}, "hole_mm"),
        ({"hole_mm": float("nan")}, "hole_mm"),
        ({"hole_mm": 52}, "bolt_circle_mm"),
        ({"outer_mm": 56}, "outer_mm"),
        ({"bolts": -1}, "bolts"),
        ({"first_bolt_deg": float("inf")}, "first_bolt_deg"),
    ],
)
def test_a_flange_that_cannot_be_is_refused_by_name(sizes, field):
    with pytest.raises(InputError) as refused:
        Flange(**sizes)
    assert refused.value.field == field


def test_a_flange_larger_than_the_paper_is_refused():
    with pytest.raises(InputError, match="does not fit on A4, at most"):
        parsed(Flange(hole_mm=150, bolt_circle_mm=170, outer_mm=190))
    with pytest.raises(InputError, match="'A3' is no paper known here"):
        parsed(Flange(), paper="A3")


@given(st.floats(21.5, 76))
def test_a_hole_saw_is_never_smaller_and_never_much_larger_than_the_hole(hole):
    try:
        saw = hole_saw_mm(hole)
    except InputError as refused:
        message = str(refused)
    else:
        assert hole <= saw <= hole + 1
        return
    assert "the nearest are" in message


@pytest.mark.parametrize("hole", [0, 5, 200, float("nan")])
def test_a_hole_beyond_all_saws_is_refused(hole):
    with pytest.raises(InputError, match="is outside 22 to 76 mm"):
        hole_saw_mm(hole)


def test_the_containers_known_are_named_by_what_they_hold():
    for container in CONTAINERS:
        assert f"{container.litres:,.0f} L" in container.name
