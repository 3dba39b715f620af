"""Receipts held against refuels: the right pairs, and verdicts wrong no oftener than stated."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.watch.pairs import best_groups
from gaugewright.watch.receipts import (
    FALSE_SHORT,
    METER_MPE,
    Receipt,
    Seen,
    Verdict,
    reconcile,
    u_difference,
)
from gaugewright.watch.supplier import SupplierFactor, supplier_factors
from gaugewright.watch.unseen import TOLD, UNSEEN, UNSEEN_PART
from gaugewright.watch.values import Event, EventKind, Undecided

T0 = 1_772_323_200.0
HOUR = 3600.0


def refuel(at_h, litres, u=2.0, vehicle="T-7", minutes=6):
    start = T0 + at_h * HOUR
    return Event(vehicle, EventKind.REFUEL, start, start + 60 * minutes, litres, u, 100.0,
                 100.0 + litres, 9.0, "", 0, 1)  # fmt: skip


def seen(*refuels, vehicle="T-7", undecided=(), gaps=(), least_l=0.0):
    return Seen(vehicle, refuels, undecided, gaps, T0, T0 + 30 * 24 * HOUR, least_l)


def paid(at_h, litres, number=1, vehicle="T-7", supplier=""):
    return Receipt(vehicle, T0 + at_h * HOUR, litres, number, supplier)


def verdicts(receipts, *vehicles):
    return [str(row.verdict) for row in reconcile(receipts, vehicles).receipts]


@pytest.mark.parametrize(
    ("litres", "expected"),
    [(400.0, "agrees"), (402.9, "agrees"), (405.0, "short"), (396.0, "over")],
)
def test_a_receipt_is_judged_by_the_band_of_tank_and_dispenser(litres, expected):
    assert verdicts([paid(10.2, litres)], seen(refuel(10, 400.0))) == [expected]


def test_the_band_of_the_difference_holds_the_law_s_allowance_for_the_meter():
    """Class 0.5 of OIML R 117-1, Table 2, line A: 0.5 %; as a rectangle its u is over √3.

    The check value is that of a 20 L step: limit 100 mL, u 57.7 mL.
    """
    assert 1000 * METER_MPE * 20 == 100
    assert u_difference(0.0, 20.0) / 1.96 == pytest.approx(0.0577, abs=5e-5)


def test_the_difference_is_what_the_tank_got_less_what_was_paid():
    (row,) = reconcile([paid(10.2, 412.0)], [seen(refuel(10, 400.0))]).receipts

    assert (row.tank_l, row.difference_l) == (400.0, -12.0)
    assert row.u_difference_l == pytest.approx(u_difference(2.0, 412.0))


def test_fuel_beyond_the_probe_s_top_is_not_called_short():
    """A tank filled to the brim: the probe cannot see the last of it."""
    to_top = replace(seen(refuel(10, 390.0)), top_l=490.5)
    below = replace(to_top, top_l=520.0)

    assert verdicts([paid(10.2, 405.0)], below) == ["short"]
    assert verdicts([paid(10.2, 405.0)], to_top) == ["no_data"]
    assert verdicts([paid(10.2, 380.0)], to_top) == ["over"]
    assert "at least" in reconcile([paid(10.2, 405.0)], [to_top]).receipts[0].reason


def test_fuel_above_the_probe_that_later_records_tell_is_judged_like_any_other():
    told = replace(refuel(10, 390.0), reason="steady; 4.0 ± 1.0 L of it " + TOLD)
    to_top = replace(seen(told), top_l=490.5)

    assert verdicts([paid(10.2, 405.0)], to_top) == ["short"]
    assert verdicts([paid(10.2, 391.0)], to_top) == ["agrees"]


def test_a_difference_beyond_the_band_that_is_not_called_short_says_why():
    (row,) = reconcile([paid(10.2, 102.5)], [seen(refuel(10, 100.0, u=0.5))]).receipts

    assert abs(row.difference_l) > row.u_difference_l
    assert str(row.verdict) == "agrees"
    assert "a refuel may be off by 2.8 L without anybody's doing" in row.reason


def test_two_receipts_may_pay_for_one_refuel_and_share_its_verdict():
    rows = reconcile(
        [paid(10.1, 300.0, 1), paid(10.2, 100.0, 2)], [seen(refuel(10, 400.0))]
    ).receipts

    assert [str(row.verdict) for row in rows] == ["agrees", "agrees"]
    assert [row.tank_l for row in rows] == [300.0, 100.0]
    assert "receipts 1, 2 together" in rows[0].reason


def test_one_receipt_may_pay_for_two_refuels_of_one_stop():
    (row,) = reconcile([paid(10.4, 400.0)], [seen(refuel(10, 250.0), refuel(10.2, 151.0))]).receipts

    assert (str(row.verdict), row.tank_l) == ("agrees", 401.0)
    assert len(row.refuels) == 2


def test_two_refuels_of_one_stop_with_a_receipt_each_stay_apart():
    rows = reconcile(
        [paid(10.15, 250.0, 1), paid(10.6, 150.0, 2)],
        [seen(refuel(10, 251.0), refuel(10.4, 149.5))],
    ).receipts

    assert [row.tank_l for row in rows] == [251.0, 149.5]


def test_litres_part_what_time_cannot():
    """The tills' times are swapped; the litres say which is which."""
    rows = reconcile(
        [paid(10.9, 80.0, 1), paid(11.0, 400.0, 2)],
        [seen(refuel(10.6, 401.0), refuel(10.8, 80.3))],
    ).receipts

    assert [row.tank_l for row in rows] == [80.3, 401.0]


def test_a_receipt_without_a_refuel_is_not_seen_and_points_to_the_like_elsewhere():
    other = refuel(10, 198.0, vehicle="T-9")
    found = reconcile([paid(10.2, 200.0)], [seen(), seen(other, vehicle="T-9")])

    assert str(found.receipts[0].verdict) == "not_seen"
    assert "198.0 ± 2.0 L without a receipt went into T-9" in found.receipts[0].reason
    assert found.without_receipt == (other,)


def test_a_refuel_with_its_own_receipt_is_no_explanation_for_another():
    found = reconcile(
        [paid(10.2, 200.0), paid(10.2, 198.0, 2, vehicle="T-9")],
        [seen(), seen(refuel(10, 198.0, vehicle="T-9"), vehicle="T-9")],
    )

    assert "T-9" not in found.receipts[0].reason
    assert found.without_receipt == ()


@pytest.mark.parametrize(
    ("vehicle", "reason"),
    [
        (seen(gaps=((T0 + 8 * HOUR, T0 + 12 * HOUR),)), "no records for 4.0 hours"),
        (seen(gaps=((T0 + 8 * HOUR, T0 + 10 * HOUR),)), "no records for 2.0 hours"),
        (seen(vehicle="other"), "this vehicle was not watched"),
        (seen(least_l=500.0), "too little to be seen"),
        (seen(undecided=(Undecided("T-7", T0 + 9 * HOUR, T0 + 11 * HOUR, 180, 40, "a hole"),)),
         "not decidable: a hole"),
    ],
)  # fmt: skip
def test_where_a_refuel_could_have_passed_unseen_there_is_no_data(vehicle, reason):
    (row,) = reconcile([paid(10.2, 200.0)], [vehicle]).receipts

    assert str(row.verdict) == "no_data"
    assert reason in row.reason
    assert row.tank_l is None


def test_outside_the_log_s_time_there_is_no_data():
    assert verdicts([paid(-5, 200.0), paid(30 * 24 + 5, 200.0, 2)], seen()) == ["no_data"] * 2


def test_a_refuel_found_across_a_gap_is_held_against_its_receipt():
    across = replace(refuel(8, 200.0, u=8.0), end_s=T0 + 12 * HOUR)

    assert verdicts([paid(10, 204.0)], seen(across, gaps=((across.start_s, across.end_s),))) == [
        "agrees"
    ]


@pytest.mark.parametrize(
    ("hours", "litres", "expected"),
    [(3, 250.0, "short"), (5, 250.0, "no_data"), (5, 204.0, "agrees"), (5, 150.0, "over")],
)
def test_what_lacks_after_a_long_gap_is_not_laid_to_the_receipt(hours, litres, expected):
    across = replace(refuel(8, 200.0, u=8.0), end_s=T0 + (8 + hours) * HOUR)
    (row,) = reconcile(
        [paid(9, litres)], [seen(across, gaps=((across.start_s, across.end_s),))]
    ).receipts

    assert str(row.verdict) == expected
    said = "no records for 5.0 hours of it: what was used or taken then is not known"
    assert (said in row.reason) == (expected == "no_data")


def test_a_receipt_of_no_litres_is_refused():
    with pytest.raises(InputError, match="receipt 4: 0 L, wanted more than 0 L"):
        paid(10, 0.0, 4)


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 400), st.floats(20, 500), st.floats(0.05, 1.0)),
        min_size=1, max_size=6, unique_by=lambda one: round(one[0] / 8),
    )
)  # fmt: skip
def test_honest_receipts_hours_apart_find_their_own_refuels(stops):
    stops = sorted(stops)
    stops = [(8 * round(at / 8), litres, delay) for at, litres, delay in stops]
    refuels = [refuel(at, litres) for at, litres, _ in stops]
    receipts = [paid(at + 0.1 + delay, litres, k + 1)
                for k, (at, litres, delay) in enumerate(stops)]  # fmt: skip

    rows = reconcile(receipts, [seen(*refuels)]).receipts

    assert [row.tank_l for row in rows] == pytest.approx([litres for _, litres, _ in stops])


@settings(deadline=None, max_examples=50)
@given(st.permutations(range(4)), st.permutations(range(4)))
def test_the_pairs_do_not_depend_on_the_order_given(receipt_order, refuel_order):
    """A crowded stop, where the choice is an integer program."""
    receipts = [(T0 + 600, 90.0), (T0 + 1500, 210.0), (T0 + 2600, 100.0), (T0 + 9000, 31.0)]
    refuels = [(T0, T0 + 300, 91.0, 2.0), (T0 + 900, T0 + 1200, 150.0, 2.0),
               (T0 + 1300, T0 + 1400, 61.0, 2.0), (T0 + 2000, T0 + 2400, 99.0, 2.0)]  # fmt: skip

    groups = best_groups(
        [receipts[k] for k in receipt_order], [refuels[k] for k in refuel_order], till_s=3 * HOUR
    )

    pairs = {
        (frozenset(receipt_order[k] for k in group.receipts),
         frozenset(refuel_order[k] for k in group.refuels))
        for group in groups
    }  # fmt: skip
    assert pairs == {
        (frozenset({0}), frozenset({0})),
        (frozenset({1}), frozenset({1, 2})),
        (frozenset({2}), frozenset({3})),
    }


def test_the_cheapest_pairs_are_the_cheapest_of_all():
    """Three receipts and three refuels close together, against every one-to-one choice."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        litres = rng.uniform(50, 300, 3)
        refuels = [(T0 + 1200 * k, T0 + 1200 * k + 300, float(x), 2.0)
                   for k, x in enumerate(litres)]  # fmt: skip
        order = rng.permutation(3)
        receipts = [(T0 + 3000.0 + 60 * k, float(litres[j])) for k, j in enumerate(order)]
        groups = best_groups(receipts, refuels, till_s=3 * HOUR)
        chosen = {group.receipts[0]: group.refuels[0] for group in groups}
        off = {
            p: sum(abs(receipts[k][1] - litres[p[k]]) for k in range(3))
            for p in permutations(range(3))
        }
        assert tuple(chosen[k] for k in range(3)) == min(off, key=off.get)


# --- refuels to the probe's top ----------------------------------------------------------------


def filled_to_top(hidden_l, inflated, rng, top_l=500.0):
    """Refuels to the brim with ``hidden_l`` above the probe, as the watch tells them."""
    events, receipts = [], []
    for k, (hidden, extra) in enumerate(zip(hidden_l, inflated, strict=True)):
        got = 390.0 + rng.normal(0, 1.0)
        event = replace(refuel(24.0 * k + 8, got, u=3.0 + UNSEEN_PART * top_l),
                        before_l=top_l - got, after_l=top_l, reason="steady" + UNSEEN)  # fmt: skip
        events.append(event)
        receipts.append(paid(24.0 * k + 8.3, got + hidden + extra, k + 1))
    vehicle = Seen(
        "T-7", tuple(events), (), (), T0, T0 + (len(events) + 1) * 24 * HOUR, top_l=top_l
    )
    return np.array(verdicts(receipts, vehicle))


def test_more_than_other_refuels_to_the_top_hid_is_short():
    """10 L too much, where the band alone would leave room for 15 L above the probe."""
    inflated = np.array([0.0, 0.0, 0.0, 0.0, 10.0, 0.0, 0.0])

    found = filled_to_top(np.linspace(1, 3, 7), inflated, np.random.default_rng(3))

    assert found.tolist() == ["agrees"] * 4 + ["short"] + ["agrees"] * 2


def test_few_refuels_to_the_top_say_nothing_of_what_it_hides():
    found = filled_to_top(np.zeros(3), np.array([0.0, 0.0, 40.0]), np.random.default_rng(3))

    assert found.tolist() == ["agrees", "agrees", "no_data"]


def test_a_tank_that_holds_much_above_its_probe_is_not_taken_for_short_receipts():
    """A tenth of the tank unseen; three fills in ten end anywhere in it, a fifth is inflated."""
    rng = np.random.default_rng(4)
    honest, short = [], []
    for _ in range(60):
        hidden = np.where(rng.random(8) < 0.7, 50.0, 50.0 * rng.random(8))
        inflated = np.where(rng.random(8) < 0.2, rng.uniform(5, 30, 8), 0.0)
        short += (filled_to_top(hidden, inflated, rng) == "short").tolist()
        honest += (inflated == 0).tolist()

    assert np.mean(np.array(short)[np.array(honest)]) < 0.03
    assert np.mean(np.array(short)[~np.array(honest)]) > 0.3


# --- error rates -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def simulated():
    """A fleet's year as a watch would see it whose bands hold: half-widths of 1 L and 0.4 %."""
    rng = np.random.default_rng(66)
    receipts, vehicles, inflated = [], [], {}
    for v in range(40):
        events = []
        for day in range(50):
            litres = rng.uniform(60, 420)
            u = 1.0 + 0.004 * litres
            event = refuel(24 * day + rng.uniform(5, 20), litres + rng.normal(0, u / 1.96), u,
                           f"V{v}")  # fmt: skip
            events.append(event)
            stated = litres * rng.normal(1.0, 0.002)
            extra = rng.uniform(5, 30) if rng.random() < 0.2 else 0.0
            at = event.end_s + rng.uniform(0, 600)
            receipts.append(Receipt(f"V{v}", at, stated + extra, len(receipts) + 1))
            inflated[len(receipts)] = extra
        vehicles.append(Seen(f"V{v}", tuple(events), (), (), T0, T0 + 60 * 24 * HOUR))
    return reconcile(receipts, vehicles), inflated


def test_honest_receipts_are_called_short_no_oftener_than_stated(simulated):
    found, inflated = simulated
    honest = [row for row in found.receipts if not inflated[row.receipt]]
    short = sum(row.verdict == Verdict.SHORT for row in honest)

    assert len(honest) > 1500
    assert 0 < short / len(honest) < 1.5 * FALSE_SHORT
    assert sum(row.verdict == Verdict.AGREES for row in honest) / len(honest) > 0.94


@pytest.mark.parametrize(("low", "high", "share"), [(5, 10, 0.9), (10, 40, 0.98)])
def test_inflated_receipts_are_found(simulated, low, high, share):
    found, inflated = simulated
    rows = [row for row in found.receipts if low <= inflated[row.receipt] < high]

    assert len(rows) > 50
    assert sum(row.verdict == Verdict.SHORT for row in rows) / len(rows) >= share


def year(scale, inflate, rng, refuels=60, u_share=0.02, noise_l=1.0):
    """A vehicle's year: bands of 2 %, of which most is one table's error, the same each time."""
    events, receipts = [], []
    for k in range(refuels):
        litres = rng.uniform(200, 420)
        got = litres * (1 + scale) + rng.normal(0, noise_l)
        events.append(refuel(24.0 * k + 8, got, u=u_share * litres))
        stated = litres * rng.normal(1, 0.001) + inflate(k, litres)
        receipts.append(paid(24.0 * k + 8.3, stated, k + 1))
    last = Seen("T-7", tuple(events), (), (), T0, T0 + (refuels + 2) * 24 * HOUR)
    return reconcile(receipts, [last]).receipts


def test_what_is_usual_for_a_vehicle_is_learned_from_its_own_receipts():
    """With bands of 8 L, receipts 5 to 10 L too high are found by the vehicle's own scatter."""
    rng = np.random.default_rng(12)
    rows, extra = [], []
    for _ in range(10):
        added = np.where(rng.random(60) < 0.2, rng.uniform(5, 10, 60), 0.0)
        rows += year(rng.normal(0, 0.005), lambda k, _, added=added: added[k], rng)
        extra += list(added)
    short = np.array([row.verdict == Verdict.SHORT for row in rows])
    inflated = np.array(extra) > 0

    assert short[inflated].mean() > 0.9
    assert short[~inflated].mean() < 0.03
    assert "beside what is usual for this vehicle" in rows[0].reason


def test_who_writes_too_much_on_every_receipt_does_not_make_it_usual():
    rng = np.random.default_rng(13)
    rows = year(0.0, lambda _, litres: 0.03 * litres, rng)

    assert np.mean([row.verdict == Verdict.SHORT for row in rows]) > 0.9


# --- suppliers ---------------------------------------------------------------------------------


def supplied(rng, factors, tables, refuels_each=12):
    """Refuels of every vehicle at every supplier, with the tables' and the meters' errors."""
    receipts, vehicles = [], []
    for v, table in enumerate(tables):
        events = []
        for s, factor in enumerate(factors):
            for k in range(refuels_each):
                at = 24.0 * (s * refuels_each + k) + 8
                litres = rng.uniform(150, 400)
                got = litres * factor * (1 + table) + rng.normal(0, 1.0)
                events.append(refuel(at, got, u=2.8, vehicle=f"V{v}"))
                receipts.append(paid(at + 0.3, litres, len(receipts) + 1, f"V{v}", f"S{s}"))
        end = T0 + 24 * HOUR * (len(factors) * refuels_each + 2)
        vehicles.append(Seen(f"V{v}", tuple(events), (), (), T0, end))
    return receipts, reconcile(receipts, vehicles)


def test_a_receipt_written_twice_is_said_to_be_the_second_of_the_two():
    rows = reconcile([paid(10.2, 400.0, 1), paid(10.2, 400.0, 2)], [seen(refuel(10, 400.0))])

    assert [str(row.verdict) for row in rows.receipts] == ["agrees", "not_seen"]
    assert "the very same as receipt 1" in rows.receipts[1].reason


def test_a_supplier_who_delivers_short_is_seen_over_many_refuels():
    rng = np.random.default_rng(5)
    receipts, found = supplied(rng, [1.0, 0.985], rng.normal(0, 0.004, 8))

    good, short = supplier_factors(receipts, found.receipts)

    assert abs(good.factor - 1.0) < good.u_factor
    assert abs(short.factor - 0.985) < short.u_factor
    assert (good.is_off, short.is_off) == (False, True)
    assert "beyond the 0.5 %" in short.message
    assert (short.refuels, short.vehicles) == (96, 8)


def test_the_supplier_s_band_holds_as_often_as_it_says():
    rng = np.random.default_rng(8)
    held = []
    for _ in range(60):
        truth = rng.normal(1.0, 0.004, 3)
        receipts, found = supplied(rng, truth, rng.normal(0, 0.005, 4), refuels_each=3)
        for factor, true in zip(supplier_factors(receipts, found.receipts), truth, strict=True):
            held.append(abs(factor.factor - true) <= factor.u_factor)

    assert 0.9 < np.mean(held) < 0.99


def test_one_vehicle_cannot_tell_its_table_from_its_supplier():
    rng = np.random.default_rng(9)
    receipts, found = supplied(rng, [0.99], [0.0], refuels_each=60)

    (only,) = supplier_factors(receipts, found.receipts)

    assert only.u_factor > 0.006
    assert not only.is_off


@pytest.mark.parametrize("table", [0.11, 0.4, -0.2])
def test_a_table_that_is_plainly_wrong_does_not_accuse_the_supplier(table):
    receipts, found = supplied(np.random.default_rng(6), [1.0], [table])
    (only,) = supplier_factors(receipts, found.receipts)

    assert abs(only.factor - 1.0) < only.u_factor
    assert not only.is_off


def test_an_inflated_receipt_is_not_the_meter_s_doing():
    rng = np.random.default_rng(10)
    receipts, found = supplied(rng, [1.0], rng.normal(0, 0.002, 5))
    clean = supplier_factors(receipts, found.receipts)[0]
    rows = [replace(row, receipt_l=row.receipt_l + 40) if row.receipt % 12 == 0 else row
            for row in found.receipts]  # fmt: skip

    with_frauds = supplier_factors(receipts, rows)[0]

    assert with_frauds.left_out == 5
    assert with_frauds.factor == pytest.approx(clean.factor, abs=5e-4)


def test_few_refuels_say_nothing_of_a_supplier():
    assert supplier_factors([], []) == ()
    found = reconcile([paid(10.2, 400.0)], [seen(refuel(10, 398.0))])
    assert supplier_factors([paid(10.2, 400.0)], found.receipts) == ()


@pytest.mark.parametrize(
    ("factor", "u_factor", "said"),
    [
        (0.9850, 0.004, "of 3 vehicles; beyond the 0.5 %"),
        (0.9885, 0.009, "of 3 vehicles; the band reaches into the 0.5 %"),
        (0.9960, 0.003, "of 3 vehicles; within the 0.5 %"),
        (0.9960, 0.005, "of 3 vehicles; that is no difference from 1"),
    ],
)
def test_what_is_said_of_a_supplier_agrees_with_his_figures(factor, u_factor, said):
    assert said in SupplierFactor("S-1", factor, u_factor, 20, 3, 0).message


@pytest.mark.parametrize("written", ["Van", " v an"])
def test_a_receipt_whose_vehicle_differs_in_case_or_spaces_names_the_one_that_was_watched(written):
    found = reconcile([Receipt(written, 0.0, 50.0, 1)], [seen(vehicle="van")])

    assert found.receipts[0].reason == "this vehicle was not watched; did you mean van?"
