"""Wiring: what arrives, what protects, what meets what."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.wiring.bus import Station, check_bus, terminators_from_ohm
from gaugewright.wiring.conductors import (
    IEC_60228_CLASS_5_PLAIN,
    Run,
    at_head,
    ohm_per_km,
    smallest_conductor,
    temperature_factor,
)
from gaugewright.wiring.fuses import (
    CARRIES,
    CLEARS,
    RATINGS_A,
    check_fuse,
    choose_fuse,
    largest_fuse_a,
)
from gaugewright.wiring.gauges import awg, gauge_not_thinner, read_size
from gaugewright.wiring.loom import plan_loom
from gaugewright.wiring.pins import Wire, check_pins, colour_of, signal_of
from gaugewright.wiring.supply import Device, days_parked, look_at_supply, supply_range_v

HEAD = Device("head", least_v=9, most_v=60, running_a=0.1, standing_a=0.01)


def messages(wires, kind="wrong"):
    return [finding.message for finding in check_pins(wires) if finding.kind == kind]


# Conductors


@given(st.floats(0.5, 60), st.floats(0.01, 8), st.floats(9, 32), st.floats(-40, 125))
def test_the_chosen_conductor_is_enough_and_the_next_thinner_one_is_not(
    run_m, current_a, supply_v, hottest_c
):
    wanted = {"lowest_supply_v": supply_v, "head_least_v": 8.5, "hottest_c": hottest_c}
    try:
        chosen = smallest_conductor(run_m, current_a, **wanted)
    except InputError:
        assert not at_head(run_m, 6.0, current_a, **wanted).is_enough
        return
    assert chosen.is_enough
    assert chosen.head_v >= 8.5
    thinner = [a for a in IEC_60228_CLASS_5_PLAIN if 0.5 <= a < chosen.area_mm2]
    assert not thinner or not at_head(run_m, max(thinner), current_a, **wanted).is_enough


def test_a_head_that_would_starve_is_named_with_what_is_left():
    found = at_head(20, 0.5, 2, lowest_supply_v=10, head_least_v=9)

    assert not found.is_enough
    assert found.why.endswith("6.08 V are left, 9 V wanted")


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: ohm_per_km(0.6), "area_mm2"),
        (lambda: ohm_per_km(0.25, kind="vehicle"), "area_mm2"),
        (lambda: ohm_per_km(float("nan")), "area_mm2"),
        (lambda: temperature_factor(float("nan")), "conductor_c"),
        (lambda: temperature_factor(-100), "conductor_c"),
        (lambda: awg(41), "awg"),
        (lambda: Run(0, 39), "length_m"),
        (lambda: Run(5, float("inf")), "ohm_per_km"),
        (lambda: Run(5, 39).drop_v(-1), "current_a"),
        (lambda: at_head(5, 1.0, 1, lowest_supply_v=0, head_least_v=9), "lowest_supply_v"),
        (lambda: smallest_conductor(99, 9, lowest_supply_v=10, head_least_v=9), "run_m"),
    ],
)
def test_conductor_figures_that_cannot_be_are_refused_by_name(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field


@pytest.mark.parametrize("typed", ["14 AWG", "AWG 14", "awg14", "14awg", "#14 AWG", " 14 Ga. "])
def test_a_gauge_is_read_however_it_is_written(typed):
    assert read_size(typed, "area_mm2") == awg(14)


@pytest.mark.parametrize("typed", ["2.5", "2,5 mm²", "2,5mm2", "2.5 MM²", "2.5 sq mm"])
def test_an_area_is_read_with_point_or_comma_with_or_without_its_unit(typed):
    assert read_size(typed, "area_mm2") == 2.5


@pytest.mark.parametrize(
    "typed", ["thick", "14 AWG mm²", "AWG", "0/0 AWG", "41 AWG", "5/0 AWG", "2,5,5", "-1", "²"]
)
def test_what_is_no_size_is_refused_by_name(typed):
    with pytest.raises(InputError) as refused:
        read_size(typed, "area_mm2")
    assert refused.value.field == "area_mm2"


@given(st.floats(0.05, 100))
def test_the_gauge_named_beside_an_area_is_the_next_that_is_not_thinner(area):
    gauge = gauge_not_thinner(area)

    assert gauge.area_mm2 >= area
    thinner = gauge.number + (1 if gauge.number < 0 else 2)
    assert thinner > 40 or awg(thinner).area_mm2 < area


# Fuses


@given(
    st.floats(0.01, 20),
    st.sampled_from([0.5, 0.75, 1.0, 1.5, 2.5, 4.0]),
    st.floats(1, 40),
    st.floats(8, 32),
)
def test_a_chosen_fuse_carries_the_load_protects_the_conductor_and_opens(load, area, run_m, supply):
    run = Run(run_m, ohm_per_km(area, 85))
    wanted = {"load_a": load, "area_mm2": area, "run": run, "lowest_supply_v": supply}
    try:
        fuse = choose_fuse(**wanted)
    except InputError:
        assert not any(check_fuse(rating, **wanted).fits for rating in RATINGS_A)
        return
    assert load <= CARRIES * fuse.rating_a
    assert fuse.rating_a <= largest_fuse_a(area)
    assert supply / run.loop_ohm >= CLEARS * fuse.rating_a


def test_a_fuse_that_a_far_short_circuit_cannot_open_is_refused():
    # 24 V over a 10 m loop of 0.5 mm2 (0.39 ohm) gives 61 A; over a 400 m loop 1.5 A.
    near = check_fuse(5, load_a=1, area_mm2=0.5, run=Run(5, 39.0), lowest_supply_v=24)
    far = check_fuse(5, load_a=1, area_mm2=0.5, run=Run(200, 39.0), lowest_supply_v=24)

    assert near.short_circuit_a == pytest.approx(61.5, abs=0.1)
    assert near.fits
    assert far.against == (
        "a short circuit at the far end draws only 1.5 A, 10 A wanted for the fuse to open "
        "within 5 s",
    )


@pytest.mark.parametrize("rating", [6, 0, -1, float("nan"), 100])
def test_a_rating_that_is_not_made_is_refused(rating):
    with pytest.raises(InputError, match="is no rating, wanted one of 1, 2, 3"):
        check_fuse(rating, load_a=1, area_mm2=1, run=Run(5, 20), lowest_supply_v=24)


def test_no_fuse_protects_a_conductor_thinner_than_half_a_square_millimetre():
    with pytest.raises(InputError, match=r"0.34 mm² is under 0.5 mm²"):
        largest_fuse_a(0.34)


# Supply


def test_a_supply_that_dies_with_the_ignition_is_said_to_be_blind():
    blind = look_at_supply("24 V", "F", "ignition", HEAD, battery_ah=180)
    seeing = look_at_supply("24 V", "F", "permanent", HEAD, battery_ah=180)

    assert "theft at night is never seen" in blind.blind
    assert blind.days_parked is None
    assert seeing.blind is None
    assert seeing.days_parked == pytest.approx(28.8 / (0.24 + 0.144))


def test_a_start_that_pulls_the_supply_under_the_head_is_an_outage():
    picture = look_at_supply("24 V", "H", "permanent", HEAD, battery_ah=180)

    assert picture.outages == (
        "a start that pulls the supply to 8 V resets it: leave readings out for some seconds "
        "after a start",
    )


def test_the_cables_drop_counts_at_the_lowest_supply():
    barely = Device("head", least_v=16, most_v=60, running_a=0.1, standing_a=0)

    assert len(look_at_supply("24 V", "F", "permanent", barely, battery_ah=180).outages) == 1
    starved = look_at_supply("24 V", "F", "permanent", barely, battery_ah=180, drop_v=0.2)
    assert starved.outages[0] == "at the lowest supply, 16 V, 15.8 V arrive; head needs 16 V"


def test_a_device_of_a_12_v_car_on_a_24_v_truck_is_in_danger():
    small = Device("head", least_v=8, most_v=18, running_a=0.1, standing_a=0.01)

    picture = look_at_supply("24 V", "E", "permanent", small, battery_ah=180)

    assert picture.dangers[0] == "the supply reaches 32 V, head stands 18 V at most"
    assert "load dump reaches 58 V" in picture.dangers[1]


@given(st.floats(20, 500), st.floats(1e-4, 1), st.floats(1.01, 3))
def test_more_standing_current_means_fewer_days(battery, standing, times):
    assert days_parked(battery, standing * times) < days_parked(battery, standing)
    assert days_parked(battery * times, standing) > days_parked(battery, standing)


@pytest.mark.parametrize("battery", [0, -5, float("nan"), float("inf")])
def test_a_battery_that_cannot_be_is_refused(battery):
    with pytest.raises(InputError, match="battery_ah"):
        days_parked(battery, 0.01)


def test_a_code_of_the_other_system_is_refused():
    with pytest.raises(InputError, match="'F' is no code of a 12 V supply, wanted A, B, C or D"):
        supply_range_v("12 V", "F")
    with pytest.raises(InputError, match="wanted 12 V or 24 V"):
        supply_range_v("48 V", "F")


def test_a_device_with_its_limits_the_wrong_way_round_is_refused():
    with pytest.raises(InputError, match="must be under the highest"):
        Device("head", least_v=36, most_v=9, running_a=0.1, standing_a=0)


def test_a_whole_loom_holds_together():
    loom = plan_loom(
        HEAD, run_m=15, system="12 V", code="B", fed="permanent", battery_ah=95, size=0.75
    )

    assert loom.conductor.area_mm2 == 0.75
    assert loom.fuse.fits
    assert not loom.conductor.is_enough  # 8 V at the lowest is under the head's 9 V
    assert loom.supply.outages


# Pins


def test_transmit_on_transmit_is_told_to_be_crossed():
    wires = [
        Wire("red", "+24V", "V+"),
        Wire("black", "GND", "minus"),
        Wire("white", "TXD", "RXD"),
        Wire("green", "rx", "tx"),
    ]
    assert messages(wires) == []

    uncrossed = [*wires[:2], Wire("white", "TXD", "TXD"), Wire("green", "rx", "rx")]
    assert messages(uncrossed) == [
        "transmit meets transmit: cross it, transmit goes to receive",
        "receive meets receive: cross it, receive goes to transmit",
    ]


def test_rs485_lines_go_like_to_like():
    wires = [Wire("red", "+", "+"), Wire("black", "-", "-"), Wire("white", "A", "B"),
             Wire("green", "B", "A")]  # fmt: skip

    assert messages(wires) == ["A meets B: swap the two lines, like goes to like on RS-485"] * 2


def test_supply_on_ground_is_a_short_circuit():
    assert messages([Wire("red", "+24V", "GND"), Wire("black", "GND", "GND")]) == [
        "supply meets ground: a short circuit, do not switch on"
    ]


def test_a_colour_or_a_signal_there_twice_is_named():
    wires = [Wire("red", "+", "+"), Wire("rd", "GND", "GND"), Wire("white", "TX", "RX"),
             Wire("green", "TX", "RX")]  # fmt: skip

    assert messages(wires) == [
        "red is there twice",
        "transmit at the probe is there twice",
        "receive at the unit is there twice",
    ]


def test_a_half_typed_map_is_open_not_wrong():
    wires = [Wire("red", "+24V", ""), Wire("", "GND", "GND"), Wire("whit", "TX", "ba")]

    assert messages(wires) == []
    assert messages(wires, "open") == [
        "no signal at the unit yet",
        "no colour yet",
        "'whit' is not a colour known here",
        "'ba' at the unit is not a signal known here",
    ]
    assert messages([], "open") == [
        "no wire is the supply yet",
        "no common ground between probe and unit: signals need one",
    ]


def test_signals_without_a_common_ground_are_wrong_unless_both_sit_at_one_point():
    wires = [Wire("red", "+", "+"), Wire("black", "GND", "receive"), Wire("white", "TX", "RX")]

    apart = check_pins(wires, is_one_supply=False)
    together = check_pins(wires, is_one_supply=True)

    assert "no common ground between probe and unit: signals need one" in [
        f.message for f in apart if f.kind == "wrong"
    ]
    assert [f.kind for f in together if "one point" in f.message] == ["note"]


def test_one_line_of_rs485_alone_is_open():
    wires = [Wire("red", "+", "+"), Wire("black", "-", "-"), Wire("white", "A", "A")]

    assert messages(wires, "open") == ["RS-485 needs both lines, A and B"]


@given(st.text(max_size=12), st.text(max_size=12), st.text(max_size=12))
def test_whatever_is_typed_a_map_is_judged(colour, probe, unit):
    for finding in check_pins([Wire(colour, probe, unit)]):
        assert finding.message
    assert signal_of(probe) is None or probe.strip()
    assert colour_of(colour) is None or colour.strip()


# Bus


def test_an_address_taken_twice_and_a_middle_terminator_are_named():
    line = [
        Station("unit", None, True),
        Station("front tank", 3, True),
        Station("rear tank", 3, True),
    ]

    picture = check_bus(line)

    assert picture.wrong == (
        "address 3 is taken twice: front tank, rear tank",
        "front tank stands in the middle of the line and must not be terminated",
    )
    assert picture.idle_ohm == pytest.approx(40)


def test_an_end_without_a_terminator_is_named():
    picture = check_bus([Station("unit", None), Station("probe", 1)])

    assert len(picture.wrong) == 2
    assert "unit stands at an end of the line and needs 120 ohm" in picture.wrong
    assert picture.idle_ohm is None


def test_too_many_stations_load_the_line():
    line = [Station(f"probe {n}", n) for n in range(1, 34)]

    assert "33 unit loads hang on the line, at most 32" in check_bus(line).wrong


@pytest.mark.parametrize("address", [0, -1, 248])
def test_an_address_that_no_station_has_is_refused(address):
    with pytest.raises(InputError, match="is outside 1 to 247"):
        check_bus([Station("probe", address)])


@pytest.mark.parametrize(
    ("ohm", "says"),
    [(0.4, "short circuit"), (39, "more than two"), (58, "as it should be"), (85, "bad contact"),
     (115, "the other end has none"), (5000, "no terminator")],
)  # fmt: skip
def test_a_meter_across_the_bus_tells_the_terminators(ohm, says):
    assert says in terminators_from_ohm(ohm)
