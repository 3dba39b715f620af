"""Conductors, voltage drop, fuses, bus and supply against published values.

The source stands beside each value.  "From memory" marks a value whose source was not
seen; it is held here so that a slip is noticed, not as a confirmation.
"""

import pytest

from gaugewright.wiring.bus import Station, check_bus
from gaugewright.wiring.conductors import Run, at_head, ohm_per_km, temperature_factor
from gaugewright.wiring.fuses import COLOURS, OPERATING_S
from gaugewright.wiring.gauges import awg
from gaugewright.wiring.supply import CODES, LOAD_DUMP_V, RUNNING_V

# IEC 60228 class 5 copper, ohm/km at 20 °C; four public reprints of IEC 60228 / DIN VDE 0295.
CLASS_5 = [
    (0.5, 39.0, 40.1),
    (0.75, 26.0, 26.7),
    (1.0, 19.5, 20.0),
    (1.5, 13.3, 13.7),
    (2.5, 7.98, 8.21),
    (4.0, 4.95, 5.09),
    (6.0, 3.30, 3.39),
]
# DIN VDE 0295 for small sizes, the same reprints.
SMALL = [(0.25, 76.0, 79.0), (0.34, 53.0, 56.0)]
# ISO 6722-1, from memory: the standard was not seen.
VEHICLE = [(0.5, 37.1), (0.75, 24.7), (1.0, 18.5), (1.5, 12.7), (2.5, 7.60), (4.0, 4.71)]
# ASTM B258 formula; ohm/m as a public wire table prints them to three figures.
AWG = [
    (24, 0.5106, 0.2047, 0.0842),
    (22, 0.6438, 0.3255, 0.0530),
    (20, 0.8118, 0.5176, 0.0333),
    (18, 1.0237, 0.8230, 0.0210),
    (16, 1.2908, 1.3087, 0.0132),
    (14, 1.6277, 2.0809, 0.00829),
    (12, 2.0525, 3.3088, 0.00521),
    (10, 2.5882, 5.2612, 0.00328),
]


@pytest.mark.parametrize(("area", "plain", "tinned"), CLASS_5 + SMALL)
def test_class_5_conductors_have_the_largest_resistance_of_iec_60228(area, plain, tinned):
    assert ohm_per_km(area) == plain
    assert ohm_per_km(area, kind="tinned") == tinned


@pytest.mark.parametrize(("area", "ohm"), VEHICLE)
def test_vehicle_cable_is_a_few_per_cent_under_iec_60228_from_memory(area, ohm):
    assert ohm_per_km(area, kind="vehicle") == ohm
    assert 0.93 < ohm / ohm_per_km(area) < 0.97


# 0.00393 per K: Industrial Power Engineering handbook, p. 970; the ohms follow from it.
@pytest.mark.parametrize(("celsius", "ohm"), [(60, 15.391), (85, 16.697), (-20, 11.209)])
def test_copper_gets_0_393_per_cent_dearer_each_kelvin(celsius, ohm):
    assert ohm_per_km(1.5, celsius) == pytest.approx(ohm, abs=5e-4)


# IEC 60228 correction factors to 20 °C, as a cable maker's page prints them.
PRINTED = [(5, 1.064), (30, 0.962), (40, 0.926), (60, 0.862), (90, 0.781)]


@pytest.mark.parametrize(("celsius", "printed"), PRINTED)
def test_the_printed_factors_of_iec_60228_are_250_over_230_plus_t(celsius, printed):
    assert 1 / temperature_factor(celsius, "IEC 60228 table") == pytest.approx(printed, abs=5e-4)


def test_the_two_temperature_factors_are_told_apart_at_60_degrees():
    assert 1 / temperature_factor(60) == pytest.approx(0.864, abs=5e-4)
    assert 1 / temperature_factor(60, "IEC 60228 table") == pytest.approx(0.862, abs=5e-4)


@pytest.mark.parametrize(("number", "diameter", "area", "ohm_per_m"), AWG)
def test_american_wire_gauges_follow_astm_b258(number, diameter, area, ohm_per_m):
    wire = awg(number)

    assert wire.diameter_mm == pytest.approx(diameter, abs=5e-5)
    assert wire.area_mm2 == pytest.approx(area, abs=1.1e-4)
    assert wire.ohm_per_km / 1000 == pytest.approx(ohm_per_m, rel=0.005)


# ASTM B258 anchors: No. 36 is 0.0050 in, 4/0 is 0.4600 in.
def test_the_anchors_of_the_american_wire_gauge_are_exact():
    assert awg(36).diameter_mm == pytest.approx(0.0050 * 25.4, rel=1e-12)
    assert awg(-3).diameter_mm == pytest.approx(0.4600 * 25.4, rel=1e-12)


# NEC chapter 9 table 8, copper at 75 °C, ohm per 1000 ft: stranded No. 16 as in the example
# below; stranded No. 14 and 18, and tinned No. 16, from memory.
@pytest.mark.parametrize(
    ("number", "kind", "per_kft"),
    [(16, "plain", 4.99), (14, "plain", 3.14), (18, "plain", 7.95), (16, "tinned", 5.29)],
)
def test_stranded_gauges_have_the_resistance_of_nec_table_8(number, kind, per_kft):
    assert 304.8 / 1000 * ohm_per_km(awg(number), 75, kind=kind) == pytest.approx(
        per_kft, rel=0.006
    )


# NEC chapter 9 table 8 example: 2 wires x 100 ft, No. 16 at 4.99 ohm per 1000 ft, 4 A: 3.99 V.
def test_the_example_of_nec_chapter_9_table_8_is_met():
    per_km = 4.99 / 0.3048
    drop = Run(30.48, per_km).drop_v(4)

    assert drop == pytest.approx(3.99, abs=0.005)
    assert drop / 24 == pytest.approx(0.166, abs=5e-4)


# A public calculator prints 6.4 V for 120 V, 20 A, 100 ft of 12 AWG; by the formula 6.35 V.
def test_a_printed_drop_on_12_gauge_is_met():
    assert Run(30.48, awg(12).ohm_per_km).drop_v(20) == pytest.approx(6.35, abs=0.01)


# A published page prints 1.5 V for 12 V, 25 A, 50 ft of 10 AWG, which is wrong: 2.50 V.
def test_a_wrong_printed_drop_is_not_reproduced():
    assert Run(15.24, awg(10).ohm_per_km).drop_v(25) == pytest.approx(2.50, abs=0.005)


# 3 % of 12 V, 10 A over 21 ft of wire (11 + 10) with 10.75 ohm per circular mil foot: 12 AWG,
# of 6,530 circular mils, is enough (published example of a marine supplier); 14 AWG is not.
def test_the_three_per_cent_example_wants_12_gauge():
    run_m = 21 / 2 * 0.3048
    enough = Run(run_m, awg(12).ohm_per_km).drop_v(10)
    too_thin = Run(run_m, awg(14).ohm_per_km).drop_v(10)

    assert enough <= 0.36 < too_thin


# IEC 60228 class 5 over a 12 m run, 0.5 A: computed independently from the table.
@pytest.mark.parametrize(
    ("area", "drop"), [(0.5, 0.468), (0.75, 0.312), (1.0, 0.234), (1.5, 0.160), (2.5, 0.096)]
)
def test_drops_over_a_12_m_run_are_met(area, drop):
    found = at_head(12, area, 0.5, lowest_supply_v=24, head_least_v=9, hottest_c=20)

    assert found.drop_v == pytest.approx(drop, abs=5e-4)


# Makers' sheets of blade fuses to ISO 8820-3 (the standard's own table was not seen).
def test_a_blade_fuse_may_hold_ten_minutes_at_135_per_cent():
    assert OPERATING_S[1.10] == (360_000, None)
    assert OPERATING_S[1.35] == (0.75, 600)
    assert OPERATING_S[1.60] == (0.25, 50)
    assert OPERATING_S[2.00] == (0.15, 5)
    assert OPERATING_S[3.50] == (0.08, 0.5)


def test_fuse_colours_are_the_usual_ones_from_memory():
    assert (COLOURS[5], COLOURS[10], COLOURS[15], COLOURS[20]) == ("tan", "red", "blue", "yellow")


# ISO 16750-2:2010 table 2, as reprinted; 12 V codes likewise.
def test_supply_codes_are_those_of_iso_16750_2():
    assert dict(CODES["24 V"]) == {"E": (10, 32), "F": (16, 32), "G": (22, 32), "H": (18, 32)}
    assert dict(CODES["12 V"]) == {"A": (6, 16), "B": (8, 16), "C": (9, 16), "D": (10.5, 16)}
    assert dict(RUNNING_V) == {"12 V": 14, "24 V": 28}


# ISO 16750-2:2010 load dump, 24 V: test A at most 202 V, test B typically clamped to 58 V.
def test_the_load_dump_of_a_24_v_system_is_58_v_clamped_and_202_v_bare():
    assert LOAD_DUMP_V["24 V"] == (58, 202)


# TIA-485-A practice: 120 ohm at both ends only, 60 ohm across an idle terminated bus.
def test_a_bus_with_two_terminators_measures_60_ohm():
    line = [Station("unit", None, True), Station("probe", 1, True)]

    assert check_bus(line).idle_ohm == 60
