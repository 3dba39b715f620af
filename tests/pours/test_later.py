"""Pours after the table: E_n by hand, what changed named, what cannot be told apart said."""

from dataclasses import replace

import numpy as np
import pytest

from gaugewright.errors import InputError
from gaugewright.pours.later.hold import RISK, Verdict, begun_anywhere, hold
from gaugewright.pours.later.rivals import Dry
from gaugewright.pours.later.sentences import LaterWords, could_show_sentence, verdict_sentence
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.fill import Fill, Pour
from gaugewright.table.fit import fit
from gaugewright.table.later.assumptions import REACHES
from gaugewright.table.later.known import known_from_fit, known_from_table
from gaugewright.table.later.left import left_in
from gaugewright.table.rows import EXPANSION_PER_K
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.testing.fills import simulated_fill
from gaugewright.testing.later import Planted, came_back

STRAIGHT = Table(np.array([0.0, 4095.0]), np.array([10.0, 419.5]), np.array([3.0, 3.0]))
"""A tank of one cross-section: 0.1 L for each count."""


def pours(*steps):
    return Fill(tuple(Pour(i, litres, counts) for i, (litres, counts) in enumerate(steps)))


@pytest.fixture(scope="module")
def known():
    """A filled cylinder, its slope and residue looked at."""
    made = simulated_fill(np.random.default_rng(21), "lying_cylinder", checks=True)
    return made, known_from_fit(fit(made.fill, made.tank, made.probe))


BOX, IN_BOX = Tank("box", 1000, 600, 500), Probe(520, 300, 10, 460)
"""Straight walls: all readings higher by as much read like more fuel from the start."""


def box_pours(start_l, added, drift=0.0):
    """Pours into the box from so many litres on, every reading lifted by a drift."""
    totals = start_l + np.cumsum([0.0, *added])
    levels = totals / 0.6 - IN_BOX.tip_clearance_mm
    counts = np.clip(np.round(levels / 460 * 4095), 0, 4095) + drift
    return pours(*zip([0.0, *added], counts, strict=True))


@pytest.fixture(scope="module")
def box():
    """A straight tank that was filled from 7 L, 2 mm above the tip, seen by the probe.

    One degree of distrust says the same as three, and sooner.
    """
    fill = replace(box_pours(7.0, [45.0] * 5), residual_l=7.0, u_residual_l=0.3)
    result = fit(fill, BOX, IN_BOX)
    state = known_from_fit(result, left_in(result, fill))
    return replace(state, parts=state.parts[:1])


def misread_share(state, drift):
    """By how much of its band a drift lets the table misread, in the middle of the scale."""
    table = state.table_fit()
    at = 2000.0
    litres = np.interp([at, at + drift], table.counts, table.litres)
    return (litres[1] - litres[0]) / np.interp(at, table.counts, table.u95_litres)


@pytest.mark.parametrize("drift", [41, 100, 200])
def test_a_drift_beyond_the_band_is_never_taken_for_fuel_left_in_a_straight_tank(box, drift):
    held = hold(box, box_pours(7.0, [60.0, 70.0, 80.0], drift))

    assert misread_share(box, drift) > 1.0
    assert held.agrees  # nothing in the pours themselves speaks against the table
    assert held.verdict in (Verdict.NOT_GOOD, Verdict.DOUBTFUL, Verdict.CANNOT_TELL)
    if held.verdict is not Verdict.NOT_GOOD:
        assert held.is_zero_open
        assert "read its zero in air" in verdict_sentence(held)


def test_the_zero_read_dry_tells_a_drift_from_fuel_that_was_left(box):
    drifted = hold(box, box_pours(7.0, [60.0, 70.0, 80.0], 80), dry=Dry(80.0))
    assert drifted.verdict is Verdict.NOT_GOOD
    assert drifted.named == ("zero_drifted",)
    assert abs(drifted.possible[0].size - 80) <= drifted.possible[0].u95_size

    fuller = box_pours(16.0, [60.0, 70.0, 80.0])
    unread, read = hold(box, fuller), hold(box, fuller, dry=Dry(0.0))
    assert unread.is_zero_open
    assert unread.verdict is not Verdict.GOOD
    assert read.probability("zero_drifted") < 0.2 * unread.probability("zero_drifted")
    assert read.probability("unchanged") > unread.probability("unchanged")


def test_a_straight_tank_drained_as_before_is_good(box):
    held = hold(box, box_pours(7.5, [60.0, 70.0, 80.0]))

    assert held.verdict is Verdict.GOOD
    assert held.risk <= RISK


def test_a_zero_that_the_bench_measured_is_the_one_that_a_dry_reading_is_held_against(box):
    fill = box_pours(7.0, [60.0, 70.0, 80.0])
    assert hold(box, fill, dry=Dry(60.0, 60.0)).verdict is Verdict.GOOD
    assert hold(box, fill, dry=Dry(60.0, 0.0)).verdict is not Verdict.GOOD


def again(known, planted, seed=4, **how):
    made, state = known
    rng = np.random.default_rng(seed)
    later = came_back(rng, made, planted, slope_known=True, **how)
    is_drained = "start_share" not in how
    return hold(state, later.fill if is_drained else begun_anywhere(state, later.fill))


def test_the_en_number_of_a_straight_tank_is_the_one_by_hand():
    fill = pours((0, 800), (90.0, 1720), (120.0, 2900))
    state = known_from_table(STRAIGHT)
    found = hold(state, begun_anywhere(state, fill)).comparisons

    assumed = Assumptions()
    u_counts = np.hypot(assumed.u_counts, 1 / np.sqrt(12))
    for each, metered, low, high in ((found[0], 90.0, 800, 1720), (found[1], 120.0, 1720, 2900)):
        share = (high - low) / 4095
        apart = np.mean([1 - np.exp(-0.5 * (share / reach) ** 2) for reach in REACHES])
        table_l2 = 2 * (3.0 / 1.96) ** 2 * apart + 2 * (0.1 * u_counts) ** 2
        meter_l2 = (
            (assumed.u_meter * metered) ** 2
            + (EXPANSION_PER_K * assumed.u_warming_k * metered) ** 2
            + assumed.u_delivery_l**2
        )
        table = 0.1 * (high - low)
        assert each.table_l == pytest.approx(table, abs=0.05)
        assert each.expanded_u_table_l == pytest.approx(2 * np.sqrt(table_l2), rel=0.02)
        assert each.expanded_u_metered_l == pytest.approx(2 * np.sqrt(meter_l2), rel=0.01)
        by_hand = (table - metered) / (2 * np.sqrt(table_l2 + meter_l2))
        assert each.en == pytest.approx(by_hand, abs=0.02)


def test_an_unchanged_tank_is_good_and_says_what_it_could_have_shown(known):
    held = again(known, Planted())

    assert held.verdict is Verdict.GOOD
    assert "still good" in verdict_sentence(held)
    assert held.named == ()
    assert sum(each.probability for each in held.possible) == pytest.approx(1.0)
    assert 1.0 < held.could_show["tip_moved"] < 15.0
    assert "a tip moved by" in could_show_sentence(held, LaterWords())


def test_a_tip_that_moved_is_named_with_its_size(known):
    held = again(known, Planted(tip_mm=14.0))

    assert held.verdict is Verdict.NOT_GOOD
    assert held.named == ("tip_moved",)
    found = held.possible[0]
    assert abs(found.size - 14.0) <= found.u95_size
    assert found.log_likelihood > 2.0


def test_a_dent_is_named_though_a_mistyped_pour_would_look_alike(known):
    held = again(known, Planted(dent=0.05), seed=5)
    by_kind = {each.kind: each for each in held.possible}

    assert held.verdict in (Verdict.NOT_GOOD, Verdict.DOUBTFUL)
    assert held.named == ("tank_dented",)
    dent = by_kind["tank_dented"]
    assert abs(dent.size - 0.05 * known[0].truth.capacity_l) <= 1.3 * dent.u95_size
    assert by_kind["unchanged"].probability < 1e-3
    assert dent.size > dent.u95_size > 0


def test_a_drifted_zero_shows_on_the_dry_probe_and_is_told_from_a_moved_tip():
    made = simulated_fill(np.random.default_rng(3), "upright_cylinder")
    state = known_from_fit(fit(made.fill, made.tank, made.probe))
    later = came_back(np.random.default_rng(8), made, Planted(zero=0.01))
    held = hold(state, later.fill)

    assert held.verdict is Verdict.NOT_GOOD
    assert held.named == ("zero_drifted",)
    found = held.possible[0]
    assert abs(found.size - 41) < found.u95_size + 2


def test_a_moved_tip_and_a_drifted_zero_cannot_be_told_apart_where_no_reading_is_dry(known):
    held = again(known, Planted(tip_mm=18.0), start_share=0.04, shares=(0.1, 0.25, 0.3))
    by_kind = {each.kind: each for each in held.possible}

    tip, zero = by_kind["tip_moved"], by_kind["zero_drifted"]
    assert abs(tip.log_likelihood - zero.log_likelihood) < 2.5
    if held.named:
        assert {"tip_moved", "zero_drifted"} <= set(held.named)
        assert "cannot tell them apart" in verdict_sentence(held)


def test_a_mistyped_pour_is_a_slip_and_not_a_change_of_the_tank(known):
    made, state = known
    later = came_back(np.random.default_rng(4), made, Planted(), slope_known=True)
    third = later.fill.pours[2]
    swapped = replace(third, added_l=third.added_l + 90.0)
    fill = replace(later.fill, pours=(*later.fill.pours[:2], swapped, *later.fill.pours[3:]))
    held = hold(state, fill)

    assert not held.agrees
    assert held.verdict in (Verdict.REPEAT, Verdict.DOUBTFUL, Verdict.NOT_GOOD)
    assert held.probability("unchanged") < 0.05


def test_fuel_that_is_missing_is_never_put_down_to_a_badly_drained_tank(known):
    made, state = known
    later = came_back(np.random.default_rng(4), made, Planted(), slope_known=True)
    first = later.fill.pours[1]
    more = replace(first, added_l=first.added_l + 12.0)
    held = hold(
        state, replace(later.fill, pours=(later.fill.pours[0], more, *later.fill.pours[2:]))
    )

    assert held.probability("unchanged") < 0.1


def test_pours_that_the_probe_did_not_see_prove_nothing():
    state = known_from_table(STRAIGHT)
    fill = pours((0, 0), (2.0, 0))
    held = hold(state, begun_anywhere(state, fill))

    assert held.verdict is Verdict.CANNOT_TELL
    assert held.comparisons == ()


def test_a_record_that_runs_down_is_refused():
    with pytest.raises(InputError, match="runs down"):
        hold(known_from_table(STRAIGHT), replace(pours((0, 900), (50, 400)), is_draining=True))
