"""Whatever legal tank, probe and record come together: a finite table with a band, or a refusal.

Warnings are errors in these tests, so a division by zero on the way fails them too.
"""

import json
from itertools import pairwise

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from gaugewright.app.calibrate import calibrate
from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.files import write_table
from gaugewright.table.fill import Fill, MeterCheck, Pour
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column, litres_below
from gaugewright.testing.thorough import thorough

SCALES = ((0.0, 4095.0), (0.0, 1023.0), (0.0, 65535.0), (42.0, 3610.0), (0.0, 255.0))


def share(low=0.0, high=1.0):
    return st.floats(low, high)


@st.composite
def tanks(draw):
    shape = draw(
        st.sampled_from(
            ["box", "lying_cylinder", "upright_cylinder", "oval", "obround", "d_section",
             "stepped", "section"]
        )
    )  # fmt: skip
    length, width, height = (draw(st.integers(*limits)) * 1.0 for limits in
                             ((250, 3500), (200, 1200), (200, 1500)))  # fmt: skip
    least = min(width, height)
    common = {
        "u_mm": draw(st.sampled_from([0.0, 1.0, 5.0, 5.0, 20.0, 60.0])),
        "displaced_l": draw(st.sampled_from([0.0, 0.0, 3.0])),
        "rated_capacity_l": draw(st.sampled_from([None, None, 300.0])),
    }
    size = {"length_mm": length, "width_mm": width, "height_mm": height}
    match shape:
        case "box":
            own = {**size, "edge_radius_mm": draw(st.sampled_from([0.0, 0.1, 0.5])) * least}
        case "lying_cylinder":
            own = {"length_mm": length, "diameter_mm": width}
            if draw(st.booleans()):
                own |= {"ends": "dished", "end_depth_mm": draw(share(0.05, 0.5)) * width}
        case "upright_cylinder":
            own = {"diameter_mm": width, "height_mm": height}
        case "d_section":
            own = {**size, "round_depth_mm": draw(share(0.05, 0.95)) * width}
        case "stepped":
            own = {
                **size,
                "step_length_mm": draw(share(0.1, 0.9)) * length,
                "step_height_mm": draw(share(0.1, 0.9)) * height,
                "step_at": draw(st.sampled_from(["bottom", "top"])),
            }
        case "section":
            corners = ((0, 0), (1, 0), (0.9, 0.7), (0.4, 1), (0, 0.4))
            own = {
                "length_mm": length,
                "section_mm": tuple((y * width, z * height) for y, z in corners),
            }
        case _:
            own = size
    try:
        return Tank(shape, **own, **common)
    except InputError:
        assume(False)


@st.composite
def stood_probes(draw, tank):
    """A probe somewhere in the tank, over a step too, longer than the tank or short of it."""
    solid = solid_of(tank)
    low, high = solid.vertices.min(axis=0), solid.vertices.max(axis=0)
    x, y = (float(low[i] + draw(share(0.03, 0.97)) * (high - low)[i]) for i in (0, 1))
    try:
        bottom, top = column(solid, x, y)
    except InputError:
        assume(False)
    assume(top - bottom > 10)
    tip = draw(st.sampled_from([0.0, 0.03, 0.1, 0.5, 0.97])) * (top - bottom)
    reach = draw(st.sampled_from([0.5, 0.93, 1.0, 1.4, 5.0])) * (top - bottom - tip)
    return Probe(x, y, tip, reach, *draw(st.sampled_from(SCALES)))


def amounts(kind, count, capacity, rng):
    match kind:
        case "usual":
            return np.full(count, 0.9 * capacity / count)
        case "tiny":
            return rng.uniform(0.01, 0.3, count)
        case "huge":
            return rng.uniform(0.5, 4, count) * capacity / count
        case "below the tip":
            return np.full(count, 0.001 * capacity)
        case "past the top":
            return np.concatenate([[0.97 * capacity], np.full(count - 1, 0.02)])
        case _:
            return rng.exponential(capacity / count, count)


def readings(solid, probe, litres, rng, noise):
    levels = np.linspace(0, solid.vertices[:, 2].max(), 300)
    level = np.interp(litres, litres_below(solid, levels), levels)
    bottom, _ = column(solid, probe.x_mm, probe.y_mm)
    wetted = np.clip(level - bottom - probe.tip_clearance_mm, 0, probe.active_length_mm)
    counts = probe.counts_of(wetted) + rng.normal(0, noise, len(litres))
    return np.clip(np.rint(counts), 0, probe.counts_full)


sometimes = st.sampled_from([0.0, 0.0, 0.5, 1.0])


@st.composite
def records(draw, tank, probe):
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    kind = draw(
        st.sampled_from(
            ["usual", "usual", "tiny", "huge", "below the tip", "past the top", "uneven", "wild"]
        )
    )
    solid = solid_of(tank)
    count = draw(st.sampled_from([2, 3, 5, 10, 20]))
    added = np.round(amounts(kind, count, solid.volume_l, rng), draw(st.integers(0, 2)))
    assume(added.any())
    litres = np.concatenate([[0.0], np.cumsum(added)]) + draw(st.floats(0, 3))
    counts = readings(solid, probe, litres, rng, draw(st.sampled_from([0.0, 2.0, 6.0])))
    if kind == "wild":
        counts = rng.integers(0, int(probe.counts_full) + 1, len(counts)) * 1.0
    if (counts == counts[0]).all():
        counts[-1] = counts[0] + (1 if counts[0] < probe.counts_full else -1)
    is_draining = draw(st.booleans()) and draw(st.booleans())
    if is_draining:
        counts, added = counts[::-1], added[::-1]
    sd, warm, slope = draw(sometimes), draw(sometimes), draw(sometimes)

    def maybe(probability, value):
        return float(value) if rng.random() < probability else None

    pours = tuple(
        Pour(
            step,
            float(litres_added),
            float(reading),
            counts_sd=maybe(sd, rng.choice([0, 0.3, 2, 300])),
            fuel_c=maybe(warm, rng.uniform(-20, 40)),
            meter_c=maybe(warm, rng.uniform(-20, 40)),
            pitch_deg=maybe(slope, rng.choice([rng.uniform(-3, 3), 40])),
            roll_deg=maybe(slope, rng.uniform(-3, 3)),
            planned_l=maybe(0.1, 50),
        )
        for step, (litres_added, reading) in enumerate(zip([0.0, *added], counts, strict=True))
    )
    residual = draw(st.sampled_from([None, None, 0.0, 1.5, 100.0]))
    return Fill(
        pours,
        is_draining,
        meter_checks=tuple(MeterCheck(20.0, true) for true in draw(
            st.sampled_from([(), (), (20.0,), (19.9, 20.1)]))),
        residual_l=residual,
        u_residual_l=None if residual is None else draw(st.sampled_from([None, 0.0, 0.5])),
        dip_empty_mm=draw(st.sampled_from([None, None, 0.0, 0.5, 3.0, 40.0, 5000.0])),
    )  # fmt: skip


@st.composite
def cases(draw):
    tank = draw(tanks())
    probe = draw(stood_probes(tank))
    fill = draw(records(tank, probe))
    described = draw(st.sampled_from(["tank", "tank", "tank", "probe", "nothing"]))
    if described == "tank":
        return fill, tank, probe
    return fill, None, probe if described == "probe" else None


def has_a_sound_table(result):
    table = result.table
    assert len(table.counts) >= 2
    assert np.isfinite([table.counts, table.litres, table.u_litres]).all()
    assert all(a < b for a, b in pairwise(table.counts))
    assert all(a <= b for a, b in pairwise(table.litres))
    assert (table.counts == np.rint(table.counts)).all()
    assert (table.litres >= 0).all()
    assert (table.u_litres > 0).all()
    written = write_table(table).splitlines()[1:]
    assert all(float(line.split(",")[2]) > 0 for line in written)


@given(case=cases())
@settings(
    max_examples=thorough(14, 40),
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much,
                           HealthCheck.data_too_large],
)  # fmt: skip
def test_any_legal_fill_gives_a_finite_table_with_a_band_or_is_refused(case):
    try:
        result = calibrate(*case)
    except InputError:
        return
    has_a_sound_table(result)
    json.dumps([f.as_json() for f in result.findings], allow_nan=False)
    for expected in result.checked.expected:
        assert np.isfinite([expected.counts, expected.u95_counts, expected.litres_off]).all()
    assert np.isfinite([cost.cost_l for cost in result.costs]).all()
