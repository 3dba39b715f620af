"""The simulated yard obeys its physics and its orders."""

import numpy as np
import pytest

from gaugewright.errors import InputError
from gaugewright.instruments.events import Reading, TroubleKind
from gaugewright.instruments.rig import (
    RIG_PATTERN,
    Rig,
    RigFault,
    RigSample,
    RigSettings,
    rig_line,
)
from gaugewright.instruments.rig_orders import order
from gaugewright.instruments.rig_source import RigSource, RigSourceSettings
from gaugewright.pours.steady import NoteKind, Verdict, steadiness
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.testing.sources import FarEnd, SourceContract, first, listening

BOX = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
PROBE = Probe(x_mm=700, y_mm=300, tip_clearance_mm=20, active_length_mm=450)
QUIET = {"noise_counts": 0.0, "delivery_sd_l": 0.0}


def rig(tank=BOX, probe=PROBE, **settings):
    return Rig(tank, probe, RigSettings(**settings))


def settled(a_rig, seconds=300):
    return a_rig.advance(seconds)[-1].counts


def counts_at(level_mm, probe=PROBE):
    return round(float(probe.counts_of(level_mm - probe.tip_clearance_mm)))


def test_the_counts_are_those_of_the_level_that_the_litres_make():
    for litres in (60, 120, 240):
        assert settled(rig(start_l=litres, **QUIET)) == counts_at(litres / 0.6)


def test_below_the_tip_and_above_the_top_the_counts_stand_still():
    assert settled(rig(start_l=10, **QUIET)) == 0
    assert settled(rig(start_l=298, **QUIET)) == 4095


def test_the_same_seed_gives_the_same_readings_and_another_does_not():
    def played(seed):
        r = rig(seed=seed, start_l=100)
        r.pour(20)
        return r.advance(60)

    assert played(3) == played(3)
    assert played(3) != played(4)


def test_time_in_small_steps_is_time_in_one_step():
    one, many = rig(seed=2, start_l=50), rig(seed=2, start_l=50)
    assert one.advance(10) == [s for _ in range(100) for s in many.advance(0.1)]


def test_noise_is_averaged_and_rounded():
    def spread(averaging):
        samples = rig(start_l=120, noise_counts=4, averaging=averaging).advance(600)[100:]
        return np.std([s.counts for s in samples])

    assert spread(1) == pytest.approx(4, rel=0.1)
    assert spread(8) == pytest.approx(4 / 8**0.5, rel=0.2)


def test_a_pour_takes_its_time_and_the_tube_runs_after_it():
    r = rig(start_l=60, flow_l_s=1.0, tube_tau_s=5.0, **QUIET)
    r.pour(60)
    r.advance(30)
    assert r.is_pouring
    assert r.litres == pytest.approx(90, abs=0.2)
    at_end = r.advance(31)[-1].counts
    assert not r.is_pouring
    assert at_end < settled(r) - 20
    assert settled(r) == counts_at(200)


def test_the_meter_factor_and_the_drips_make_the_true_litres():
    r = rig(meter_factor=1.02, delivery_sd_l=0.0)
    r.pour(100)
    r.advance(300)
    assert r.shown_l == pytest.approx(100)
    assert r.litres == pytest.approx(102)
    delivered = []
    for seed in range(40):
        r = rig(seed=seed, delivery_sd_l=0.1)
        r.pour(50)
        r.advance(100)
        delivered.append(r.litres - 50)
    assert np.std(delivered) == pytest.approx(0.1, rel=0.4)


def test_a_meter_that_is_not_reset_counts_on():
    r = rig(**QUIET)
    order(r, "meter keep")
    r.pour(20)
    r.advance(60)
    assert order(r, "pour 30") == "pouring; reported: 50.0 L"


def test_the_nozzle_shuts_off_before_the_tank_runs_over():
    r = rig(start_l=280, **QUIET)
    r.pour(50)
    r.advance(200)
    assert not r.is_pouring
    assert r.litres <= 0.98 * r.capacity_l + 0.1
    assert r.shown_l < 20


def test_a_slope_moves_the_level_at_the_probe_as_a_plane_does():
    r = rig(start_l=150, **QUIET)
    flat = settled(r)
    r.tilt(1.0, 0.0)
    # 200 mm behind the middle, front end up: higher by 200 tan 1 degree.
    expected = 200 * np.tan(np.radians(1)) / PROBE.mm_per_count
    assert settled(r) - flat == pytest.approx(expected, abs=1)


def test_a_tilt_sloshes_and_the_slosh_dies_away():
    r = rig(start_l=150, **QUIET, tube_tau_s=0.2)
    r.advance(10)
    r.tilt(0, 3)
    counts = [s.counts for s in r.advance(40)]
    assert np.ptp(counts[:50]) > 20
    assert np.ptp(counts[-50:]) <= 1


def test_warm_fuel_stands_higher_and_reads_by_its_permittivity():
    r = rig(start_l=150, **QUIET)
    r.advance(5)
    r.warm(35)
    # Litres at 15 °C stay; 20 K warmer is about 1.7 % more.
    assert r.litres == pytest.approx(150 * 1.0172, rel=2e-3)
    level_share = (r.litres / 0.6 - 20) / (150 / 0.6 - 20)
    signal_share = (2.1 - 0.0012 * 20 - 1.00059) / (2.1 - 1.00059)
    assert settled(r) == pytest.approx(counts_at(250) * level_share * signal_share, rel=2e-3)


def test_water_over_the_tip_drives_the_reading_up():
    r = rig(start_l=100, **QUIET)
    before = settled(r)
    order(r, "water 10")
    assert settled(r) < before + 200  # still below the tip: the fuel is only lifted
    order(r, "water 4")
    assert settled(r) > before + 1000


def test_a_blocked_vent_is_very_slow_and_steadiness_notes_it():
    r = rig(start_l=60, seed=5)
    r.advance(5)
    order(r, "vent blocked")
    r.pour(60)
    r.advance(61 / 0.7)
    samples = r.advance(110)
    result = steadiness([s.time_s for s in samples], [s.counts for s in samples])
    assert result.verdict is Verdict.NOT_STEADY
    assert NoteKind.VENT_BLOCKED in [n.kind for n in result.notes]


def test_a_balance_pipe_lets_the_level_fall_back():
    r = rig(start_l=60, pipe_l_s_mm=0.002, **QUIET)
    r.pour(60)
    peak = max(s.counts for s in r.advance(90))
    assert peak > counts_at(150) + 100
    assert settled(r, 3600) == pytest.approx(counts_at(150), abs=2)


def test_an_engine_is_seen_by_its_frequency():
    r = rig(start_l=120, seed=2, tube_tau_s=0.1)
    order(r, "disturb 2 1.5")
    samples = r.advance(30)
    result = steadiness([s.time_s for s in samples], [s.counts for s in samples])
    (note,) = [n for n in result.notes if n.kind is NoteKind.PERIODIC]
    assert note.hz == pytest.approx(1.5, abs=0.1)


@pytest.mark.parametrize(
    ("fault", "counts"), [("broken_wire", 0), ("short_circuit", 4095), ("out_of_scale", 8191)]
)
def test_a_broken_probe_shows_what_it_would(fault, counts):
    r = rig(start_l=120)
    r.advance(5)
    order(r, f"fault {fault}")
    assert r.advance(1)[-1].counts == counts
    order(r, "fault none")
    assert r.advance(5)[-1].counts == pytest.approx(counts_at(200), abs=8)


def test_a_frozen_reading_stays_while_the_fuel_rises():
    r = rig(start_l=120, seed=1)
    before = r.advance(5)[-1].counts
    order(r, "fault frozen")
    r.pour(30)
    assert {s.counts for s in r.advance(60)} == {before}


def test_the_lines_are_our_own_plain_text():
    sample = RigSample(1.0, 2512, -3.25, RigFault.NONE)
    assert rig_line(sample) == b"counts=2512 temp_c=-3.2\n"
    assert RIG_PATTERN == "counts={counts} temp_c={temperature_c}"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("pour 50", "pouring; reported: 50.0 L"),
        ("pour 50 say 54", "pouring; reported: 54.0 L"),
        ("pour_twice 25", "pouring; reported: 25.0 L"),
        ("tilt 1,5 -0.5", "standing at pitch 1.5, roll -0.5 degrees"),
        ("temperature 30", "fuel at 30 C"),
        ("water 2", "2 L of water"),
        ("disturb 3 1.5", "shaking by 3 mm at 1.5 Hz"),
        ("disturb 0 0", "still"),
        ("vent blocked", "vent blocked"),
        ("meter keep", "meter counts on"),
        ("fault garbage", "fault garbage"),
        ("drain 20", "drained"),
        ("state", "100.00 L of 300.0 L"),
        ("help", "pour LITRES"),
    ],
)
def test_an_order_is_answered(text, said):
    assert said in order(rig(start_l=100, **QUIET), text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "'' is no order; there are pour"),
        ("por 50", "did you mean pour?"),
        ("pour", "1 figure is wanted, found 0; pour LITRES"),
        ("pour fifty", "pour: "),
        ("pour -5", "must be above 0 L"),
        ("drain 500", "at most 100.0 L"),
        ("tilt 1", "2 figures are wanted"),
        ("tilt 60 0", "pitch_deg: 60 degrees is outside"),
        ("temperature 900", "is outside -50 to 150"),
        ("water 900", "at most 200.0 L"),
        ("disturb -1 2", "must be 0 or more"),
        ("vent ajar", "must be one of open, blocked, found ajar"),
        ("fault gremlins", "must be one of none, silent"),
    ],
)
def test_an_order_that_cannot_be_is_refused(text, said):
    with pytest.raises(InputError) as refused:
        order(rig(start_l=100), text)
    assert said in str(refused.value)


def test_pouring_while_pouring_is_refused():
    r = rig()
    r.pour(50)
    with pytest.raises(InputError, match="still running"):
        r.pour(10)


def test_poured_twice_is_twice_the_litres():
    r = rig(**QUIET)
    order(r, "pour_twice 25")
    r.advance(120)
    assert r.litres == pytest.approx(50)


@pytest.mark.parametrize(
    ("name", "value"),
    [("hz", 0), ("averaging", 0), ("noise_counts", -1), ("flow_l_s", float("nan"))],
)
def test_rig_settings_that_cannot_be_are_named(name, value):
    with pytest.raises(InputError, match=name):
        RigSettings(**{name: value})


def test_a_rig_fuller_than_its_tank_is_refused():
    with pytest.raises(InputError, match="more than the tank holds"):
        rig(start_l=301)


def test_every_shape_can_be_a_rig():
    drum = Tank("lying_cylinder", length_mm=1200, diameter_mm=600, displaced_l=5)
    probe = Probe(x_mm=600, y_mm=300, tip_clearance_mm=15, active_length_mm=560)
    r = rig(drum, probe, start_l=167.146, **QUIET)
    assert r.capacity_l == pytest.approx(334.29, abs=0.3)
    assert settled(r) == pytest.approx(counts_at(300, probe), abs=3)


class InProcess(FarEnd):
    def __init__(self):
        self.rig = rig(**QUIET)

    def source(self, **settings):
        self.rig = rig(**QUIET)
        return RigSource(self.rig, RigSourceSettings(**({"speed": 50.0} | settings)))

    def send(self, counts):
        level_mm = float(PROBE.wetted_mm(counts)) + PROBE.tip_clearance_mm
        self.rig.pour(level_mm * 0.6 - self.rig.litres)

    def close(self):
        pass


class TestRigSource(SourceContract):
    @pytest.fixture
    def far(self):
        return InProcess()

    def test_settings_come_back_from_the_mapping_they_are_kept_as(self):
        settings = RigSourceSettings(speed=2.5)
        assert RigSourceSettings.from_mapping(settings.to_mapping()) == settings


@pytest.mark.parametrize("fault", ["garbage", "half_line", "out_of_scale", "silent"])
def test_a_fault_of_the_rig_is_shown_for_what_it_is(fault):
    r = rig(start_l=120)
    settings = RigSourceSettings(speed=10, silent_after_s=0.3, half_line_after_s=0.05)
    with listening(RigSource(r, settings)) as events:
        first(events, Reading)
        r.fault = RigFault(fault)
        assert first(events, TroubleKind(fault))
        r.fault = RigFault.NONE
        assert first(events, Reading)
