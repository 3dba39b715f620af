"""A table learns from service: planted errors shrink, bands hold, odd receipts are named."""

import re
from dataclasses import replace

import numpy as np
import pytest

from gaugewright.app.calibrate import table_of
from gaugewright.errors import InputError
from gaugewright.pours.check import check_fill
from gaugewright.table.later.known import known_from_fit, known_from_table
from gaugewright.table.table import Table
from gaugewright.testing.fills import FAMILIES, simulated_fill
from gaugewright.watch.refine import refine
from gaugewright.watch.service_data import Amount, ServiceData, Source
from gaugewright.words import Speech


def served(truth, table, rng, *, receipts=20, stretches=0, factor=1.0):
    """Months of service on a real tank: amounts between two readings, with their errors."""
    low, high = float(table.counts[2]), float(table.counts[-3])
    amounts = []
    for number in range(1, receipts + 1):
        before = float(rng.uniform(low, low + 0.4 * (high - low)))
        after = float(rng.uniform(before + 0.3 * (high - low), high))
        ends = truth.litres_at_counts([before, after])
        litres = float(np.diff(ends)[0]) * factor * rng.normal(1, 0.003) + rng.normal(0, 0.7)
        amounts.append(Amount(Source.RECEIPT, number, 1e9 * number, before, after, litres, 0.7))
    marks = np.sort(rng.uniform(low, high, stretches + 1))[::-1] if stretches else []
    for number in range(1, len(marks)):
        after, before = float(marks[number - 1]), float(marks[number])
        ends = truth.litres_at_counts([before, after])
        litres = float(np.diff(ends)[0]) * 1.02 + rng.normal(0, 0.5)
        amounts.append(
            Amount(
                Source.COUNTER, number, 2e9 + number, before, after, litres, 0.7,
                same_stop=False, follows=number > 1,
            )
        )  # fmt: skip
    return ServiceData("T-1", tuple(amounts))


def fitted(seed):
    """A poor fill: five pours, nobody described the tank."""
    rng = np.random.default_rng(seed)
    made = simulated_fill(rng, FAMILIES[seed % len(FAMILIES)], pours=5)
    fit = check_fill(made.fill, None, made.probe).fit
    return made, fit, table_of(fit), rng


def test_planted_errors_shrink_and_the_band_holds_over_many_tanks():
    before, after, held, points, narrower = [], [], 0, 0, 0
    for seed in range(400, 424):
        made, fit, table, rng = fitted(seed)
        data = served(made.truth, table, rng, receipts=25, stretches=12)
        refined = refine(table, known_from_fit(fit), data)
        seen = table.counts > made.probe.counts_of(5.0)
        true = made.truth.litres_at_counts(table.counts)[seen]
        errors = [(t.litres[seen] - true) for t in (refined.before, refined.after)]
        # What all rows share is not seen in service.
        before.append(float(np.std(errors[0])))
        after.append(float(np.std(errors[1])))
        held += int((np.abs(errors[1]) <= refined.after.u_litres[seen]).sum())
        points += int(seen.sum())
        narrower += refined.bands_l[1] < refined.bands_l[0]

    assert np.median(after) < 0.6 * np.median(before)
    assert held / points > 0.90
    assert narrower == 24


def test_a_table_without_its_fill_learns_too():
    made, _, table, rng = fitted(430)

    refined = refine(table, known_from_table(table), served(made.truth, table, rng, stretches=15))

    assert refined.bands_l[1] < 0.9 * refined.bands_l[0]
    assert np.all(np.diff(refined.after.litres) >= 0)
    assert refined.after.counts.tolist() == table.counts.tolist()


def test_inflated_receipts_are_left_out_and_named():
    made, fit, table, rng = fitted(431)
    data = served(made.truth, table, rng, receipts=20)
    amounts = list(data.amounts)
    capacity = made.truth.capacity_l
    for k in (3, 11):
        amounts[k] = replace(amounts[k], litres=amounts[k].litres + 0.15 * capacity)

    refined = refine(table, known_from_fit(fit), ServiceData("T-1", tuple(amounts)))

    assert {a.number for a in refined.left_out} == {4, 12}


def test_a_supplier_who_gives_short_measure_shows_against_the_counter():
    made, fit, table, rng = fitted(432)
    data = served(made.truth, table, rng, receipts=30, stretches=10, factor=1.004)

    factors = {f.source: f for f in refine(table, known_from_fit(fit), data).factors}

    # Stated 0.4 % more than came; the counter shows 2 % more than was used.
    assert factors[Source.RECEIPT].value == pytest.approx(0.998, abs=0.004)
    assert factors[Source.COUNTER].value == pytest.approx(0.98, abs=0.02)
    assert factors[Source.RECEIPT].u95 < 0.005


def test_data_that_contradict_the_table_are_no_ground_to_refine_it():
    made, fit, table, rng = fitted(433)
    data = served(made.truth, table, rng, receipts=20)
    wrong = tuple(replace(a, litres=float(rng.uniform(0.5, 1.8)) * a.litres) for a in data.amounts)

    with pytest.raises(InputError, match="contradict") as refused:
        refine(table, known_from_fit(fit), ServiceData("T-1", wrong))

    heard = Speech(lambda text: text.replace("contradict each other", "streiten"))
    assert re.search(
        r"20 receipts .* streiten .* holds [01]\.\d\d times", heard.says(refused.value.problem)
    )


def test_too_little_to_learn_from_is_said():
    made, fit, table, rng = fitted(434)
    data = served(made.truth, table, rng, receipts=2)

    with pytest.raises(InputError, match=r"2 of the receipts .* wanted 3 or more") as refused:
        refine(table, known_from_fit(fit), data)

    heard = Speech(lambda text: text.replace("or more", "oder mehr"))
    assert "wanted 3 oder mehr" in heard.says(refused.value.problem)


def test_nothing_of_the_table_in_use_is_changed():
    made, fit, table, rng = fitted(435)
    litres = table.litres.copy()

    refine(table, known_from_fit(fit), served(made.truth, table, rng))

    assert table.litres.tolist() == litres.tolist()
    assert isinstance(table, Table)
