"""A circuit is checked as far as it is filled in; what is not known is open, never guessed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.wiring.bus import Station
from gaugewright.wiring.circuit import Circuit, check_circuit
from gaugewright.wiring.conductors import IEC_60228_CLASS_5_PLAIN
from gaugewright.wiring.gauges import awg
from gaugewright.wiring.pins import Wire
from gaugewright.wiring.supply import Device, days_parked_range

HEAD = Device("probe", least_v=9, most_v=60, running_a=0.05, standing_a=0.008)
FOUR = (
    Wire("red", "+24V", "+24V"), Wire("black", "GND", "GND"),
    Wire("white", "TX", "RX"), Wire("green", "RX", "TX"),
)  # fmt: skip


def whole(**changes):
    given = {
        "system": "24 V", "fed": "permanent", "battery_ah": 180.0, "loads": (HEAD,),
        "run_m": 12.0, "wires": FOUR, **changes,
    }  # fmt: skip
    return check_circuit(Circuit(**given))


def said(found, kind):
    return [remark.message for remark in found.remarks if remark.kind == kind]


def test_a_whole_circuit_is_clear_and_gives_every_figure():
    found = whole()

    assert found.verdict == "clear"
    assert found.conductor.area_mm2 == 0.5
    # 2 x 12 m x 39.0 ohm/km (IEC 60228 class 5) x 1.25545 (copper at 85 C) x 50 mA
    assert found.conductor.drop_v == pytest.approx(24 * 39.0e-3 * 1.25545 * 0.05, rel=1e-6)
    assert found.usual_head_v == pytest.approx(28 - 24 * 39.0e-3 * 0.05, rel=1e-6)
    assert found.fuse.rating_a == 1.0


def test_an_empty_circuit_is_open_everywhere_and_wrong_nowhere():
    found = check_circuit(Circuit())

    assert found.verdict == "open"
    assert said(found, "wrong") == []
    assert (found.conductor, found.fuse, found.days) == (None, None, None)
    assert len(said(found, "open")) == 6


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"wires": (*FOUR[:2], Wire("white", "TX", "TX"))}, "cross it"),
        ({"fuse_a": 10.0}, "does not protect"),
        ({"size": 0.34}, "no fuse protects 0.34"),
        ({"run_m": 200.0, "loads": (Device("pump", 9, 60, 5.0, 0),)}, "are lost on 200 m"),
        ({"loads": (Device("probe", 9, 30, 0.05, 0),)}, "the supply reaches 32 V"),
        ({"stations": (Station("a", 1, True), Station("b", 1, True))}, "taken twice"),
        ({"measured_ohm": 118.0}, "one terminator"),
    ],
)
def test_each_fault_is_named(changes, words):
    found = whole(**changes)

    assert found.verdict == "wrong"
    assert any(words in text for text in said(found, "wrong"))


def test_signals_without_a_common_ground_stay_open():
    found = whole(wires=(FOUR[0], *FOUR[2:]))

    assert any("no common ground" in text for text in said(found, "open"))


def test_the_cable_carries_all_loads_and_the_neediest_decides():
    unit = Device("unit", least_v=15.5, most_v=60, running_a=1.0, standing_a=0.0)
    found = whole(loads=(HEAD, unit))

    assert found.load_a == pytest.approx(1.05)
    assert found.conductor.head_v >= 15.5
    assert found.conductor.area_mm2 > 0.5


def test_fed_by_the_ignition_a_parked_battery_is_not_drawn_by_the_probe():
    found = whole(fed="ignition")

    assert found.days is None
    assert any("theft at night" in text for text in said(found, "open"))
    assert whole(fed="ignition", others_standing_a=0.02).days is not None


def test_a_gauge_is_judged_by_its_own_copper_and_fused_as_the_next_thinner_size():
    found = whole(size=awg(16), fuse_a=10.0)

    # 2 x 12 m x 13.17 ohm/km (ASTM B258, solid) x 1.02 stranded x 1.25545 (85 C) x 50 mA
    assert found.conductor.drop_v == pytest.approx(24 * 13.174e-3 * 1.02 * 1.25545 * 0.05, rel=1e-3)
    assert found.conductor.area_mm2 == 1.31
    assert found.fuse.fits
    assert whole(size=awg(18), fuse_a=10.0).verdict == "wrong"
    assert "12 m of 16 AWG (1.31 mm²)" in found.conductor.why
    assert whole(size=awg(22)).fuse is None


def test_a_size_that_no_cable_has_is_refused():
    with pytest.raises(InputError, match="area_mm2"):
        whole(size=0.6)


@given(
    st.floats(1, 1000), st.floats(0.0005, 5), st.sampled_from(sorted(IEC_60228_CLASS_5_PLAIN)[2:])
)
def test_bounds_hold_the_expected_days_and_thicker_cable_never_loses_more(ah, amps, area):
    days = days_parked_range(ah, amps)
    thin = whole(loads=(Device("x", 1, 60, amps, amps),), size=0.5)
    thick = whole(loads=(Device("x", 1, 60, amps, amps),), size=area)

    assert days.least < days.days < days.most
    assert thick.conductor.drop_v <= thin.conductor.drop_v
