"""The demo's yard: an invented haulage and plant-hire firm with three vehicles.

Every name in it is made up.  The readings come from the simulated rig, through the same
use cases that record a real job, with a clock that is told what to say.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from gaugewright.app import bench, copied_back, filling, instruments, proving, recipes, survey
from gaugewright.app.bench import Taken
from gaugewright.app.certify import issue_certificate
from gaugewright.app.copied_back import Copy
from gaugewright.app.filling import Answer
from gaugewright.app.lists import MOUNT_ITEMS
from gaugewright.app.live_values import Heard
from gaugewright.app.scales import described_of
from gaugewright.app.verdicts import verdict
from gaugewright.app.yard import RigHere, Stamp, Yard, use_one_thread_for_matrices
from gaugewright.instruments.rig import Rig, RigSettings
from gaugewright.instruments.rig_lines import ModbusTcpLine, RunningRig
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import Book, Recorded
from gaugewright.planning.cautions import CAUTIONS
from gaugewright.pours.steady import Verdict, steadiness
from gaugewright.table.recipe import Recipe

WORKSHOP = "Moonmoth Gauge Works (invented)"
CUSTOMER = "Bramblewick Haulage & Plant Hire (invented)"
PERSON = "Tamsin Okoro-Vale"
DEVICE = "demo laptop"
FINISHED, HALF_POURED, BEGUN = "DEMO-1", "DEMO-2", "DEMO-3"
TANK_ID = "main"
SIGNATURE = (
    (120, 70, 300, 62, 330, 66),
    (228, 66, 214, 130, 204, 210, 212, 238, 240, 226),
    (290, 190, 270, 172, 252, 196, 262, 224, 292, 210, 304, 180, 308, 222, 336, 214),
    (344, 186, 352, 224, 364, 186, 376, 222, 388, 186, 400, 220, 424, 208, 440, 182, 452, 216),
    (500, 120, 470, 170, 474, 226, 520, 238, 556, 190, 548, 132, 508, 120),
    (600, 96, 640, 228, 690, 96),
    (740, 190, 716, 178, 706, 208, 726, 226, 752, 204, 758, 180, 766, 220, 900, 190),
)
"""How the fitter signs: strokes on the pad."""
SETTLES_S = 40.0
"""Rig's time from the end of a pour to its reading. [s]"""

TIPPER_TANK: Mapping[str, Any] = {
    "shape": "d_section",
    "length_mm": 1180,
    "width_mm": 620,
    "height_mm": 600,
    "round_depth_mm": 240,
    "rated_capacity_l": 340,
}
TIPPER_FACTS: Mapping[str, Any] = {
    "registration": "BHP 107 (invented)",
    "probe_serial": "P-000417 (invented)",
    "unit_serial": "T-88231 (invented)",
    "tracker": "tracking unit of the fleet",
    "condition": "sound, brackets tight, no dents",
    "dispenser_certificate": "no. 2026-0331, 12 May 2026 (invented)",
    "site": "Bramblewick yard, bay 2 (invented)",
}
TIPPER_PROBE: Mapping[str, Any] = {
    "x_mm": 600,
    "y_mm": 250,
    "tip_clearance_mm": 22,
    "active_length_mm": 560,
}
LOADER_TANK: Mapping[str, Any] = {
    "shape": "box",
    "length_mm": 900,
    "width_mm": 560,
    "height_mm": 520,
    "edge_radius_mm": 70,
    "rated_capacity_l": 240,
}
LOADER_PROBE: Mapping[str, Any] = {
    "x_mm": 470,
    "y_mm": 280,
    "tip_clearance_mm": 20,
    "active_length_mm": 480,
}

NIGHT_OFFICE = Recipe(
    name="night office (invented)", most_rows=20, scale="full_scale", scale_high=1023.0
)


@dataclass(slots=True)
class ToldClock:
    """A clock that says what it was told, a little later each time."""

    at: datetime

    def __call__(self) -> datetime:
        """Return the time, which then goes on by 20 seconds."""
        self.at += timedelta(seconds=20)
        return self.at


@dataclass(slots=True)
class Fitter:
    """Records one entry after the other on a job, as a person would."""

    yard: Yard
    job: str
    number: int = 0

    @property
    def stamp(self) -> Stamp:
        """On whose behalf the next entry is."""
        return Stamp(PERSON, DEVICE, self.number)

    def did(self, recorded: Recorded) -> Recorded:
        """Take note of what was recorded."""
        self.number = recorded.state.tip.number
        return recorded


def build_demo(book: Book, now: datetime | None = None) -> Yard:
    """Fill an empty book and return its yard, the rig of the half-poured job running."""
    use_one_thread_for_matrices()
    now = datetime.now(UTC) if now is None else now
    clock = ToldClock(now - timedelta(days=1))
    past = Yard(book, now=clock)
    settings = {"workshop": WORKSHOP}
    survey.change_settings(past, Stamp(PERSON, DEVICE, 0), settings)
    _finish_a_job(past)
    clock.at = now - timedelta(minutes=40)
    _begin_a_job(past)
    rig = _pour_half(past)
    yard = Yard(book)
    _run(yard, rig)
    return yard


def _finish_a_job(yard: Yard) -> None:
    rig = Rig(
        *_built(TIPPER_TANK, TIPPER_PROBE),
        RigSettings(seed=7, start_l=1.2, meter_factor=1.001, pitch_deg=0.4),
    )
    fitter = _opened(yard, FINISHED, "Tipper No. 7", TIPPER_TANK, TIPPER_PROBE)
    fitter.did(survey.change_facts(yard, fitter.job, fitter.stamp, TIPPER_FACTS))
    _prepare(fitter)
    fill = fk.FillBegun(
        TANK_ID,
        dispenser="Pump 2",
        fuel="diesel",
        meter_checks=(fk.CanCheck(20.0, 20.03),),
        dip_empty_mm=4.0,
    )
    fitter.did(filling.begin_fill(yard, fitter.job, fitter.stamp, fill).recorded)
    _pour(fitter, rig, 0.0)
    for step in range(1, 13):
        # The eighth pour's litres are typed with their digits exchanged, and put right.
        _pour(fitter, rig, 26.0, typed_l=62.0 if step == 8 else None)
        if step == 8:
            _correct(fitter, 26.0)
    made = fitter.did(proving.make_table(yard, fitter.job, fitter.stamp, TANK_ID))
    table = made.state.tanks[TANK_ID].table
    assert table is not None
    fitter.did(proving.accept_table(yard, fitter.job, fitter.stamp, TANK_ID, table.event.digest))
    _hand_over(fitter)
    _prove(fitter, rig)
    for stage in ("Survey", "Plan", "Bench", "Mount", "Pour", "Table", "Prove"):
        fitter.did(survey.finish_stage(yard, fitter.job, fitter.stamp, stage))
    fitter.did(
        issue_certificate(
            yard,
            fitter.job,
            fitter.stamp,
            "BW-0107",
            signed_by=PERSON,
            strokes=SIGNATURE,
        )
    )
    fitter.did(survey.finish_stage(yard, fitter.job, fitter.stamp, "Certificate"))


def _pour_half(yard: Yard) -> Rig:
    """Record a fill as far as half of the tank, and return the rig as it stands then."""
    rig = Rig(
        *_built(LOADER_TANK, LOADER_PROBE),
        RigSettings(seed=11, start_l=0.9, flow_l_s=2.5, noise_counts=2.5),
    )
    fitter = _opened(yard, HALF_POURED, "Wheel loader No. 12", LOADER_TANK, LOADER_PROBE)
    _prepare(fitter)
    for stage in ("Survey", "Plan", "Bench", "Mount"):
        fitter.did(survey.finish_stage(yard, fitter.job, fitter.stamp, stage))
    begun = fk.FillBegun(TANK_ID, dispenser="Pump 2", fuel="diesel", dip_empty_mm=3.0)
    fitter.did(filling.begin_fill(yard, fitter.job, fitter.stamp, begun).recorded)
    _pour(fitter, rig, 0.0)
    for _ in range(6):
        _pour(fitter, rig, 20.0)
    return rig


def _begin_a_job(yard: Yard) -> None:
    fitter = Fitter(yard, BEGUN)
    fitter.did(
        survey.open_job(
            yard,
            fitter.stamp,
            customer=CUSTOMER,
            vehicle="Tractor unit No. 3",
            job=BEGUN,
            supply_v=27.4,
        )
    )
    fitter.did(
        survey.add_note(yard, BEGUN, fitter.stamp, "Two tanks, balance pipe.", stage="Survey")
    )


def _opened(
    yard: Yard, job: str, vehicle: str, tank: Mapping[str, Any], probe: Mapping[str, Any]
) -> Fitter:
    fitter = Fitter(yard, job)
    fitter.did(
        survey.open_job(
            yard, fitter.stamp, customer=CUSTOMER, vehicle=vehicle, job=job, supply_v=27.6
        )
    )
    fitter.did(
        survey.change_facts(yard, job, fitter.stamp, {"fuel": "diesel", "odometer": "4120 h"})
    )
    for caution in CAUTIONS:
        fitter.did(survey.acknowledge(yard, job, fitter.stamp, caution.id))
    fitter.did(
        survey.describe_tank(
            yard, job, fitter.stamp, TANK_ID, tank=tank, probe=probe, name="Main tank"
        )
    )
    return fitter


def _prepare(fitter: Fitter) -> None:
    """Bench and mounting: zero, span, a second dip, the checklist, the seal."""
    yard, job = fitter.yard, fitter.job
    fitter.did(bench.record_zero(yard, job, fitter.stamp, TANK_ID, Taken(12.0)))
    fitter.did(
        bench.record_span(
            yard, job, fitter.stamp, TANK_ID, Taken(3610.0), fuel="diesel", fuel_c=14.5
        )
    )
    fitter.did(bench.record_repeat(yard, job, fitter.stamp, TANK_ID, Taken(3611.0), point="span"))
    for item in MOUNT_ITEMS:
        number = f"{job[-1]}40172" if "seal_number" in item.evidence else None
        done = k.MountItemDone(item.id, tank_id=TANK_ID, seal_number=number, text="done")
        fitter.did(survey.mount_item_done(yard, job, fitter.stamp, done))
    seal = fk.SealSet(f"{job[-1]}40172", "probe head", tank_id=TANK_ID)
    fitter.did(survey.set_seal(yard, job, fitter.stamp, seal))


def _pour(fitter: Fitter, rig: Rig, litres: float, typed_l: float | None = None) -> None:
    heard = _poured(rig, litres)
    added_l = litres if typed_l is None else typed_l
    judged = filling.record_pour(
        fitter.yard, fitter.job, fitter.stamp, TANK_ID, added_l, Taken(heard=heard)
    )
    fitter.did(judged.recorded)


def _correct(fitter: Fitter, right_l: float) -> None:
    _, tank = fitter.yard.tank(fitter.job, TANK_ID)
    found = next(each for each in verdict(tank).findings if each.is_open)
    answer = Answer(
        found.pour, found.kind, "corrected", "digits exchanged, read again", added_l=right_l
    )
    judged = filling.answer_finding(fitter.yard, fitter.job, fitter.stamp, TANK_ID, answer)
    fitter.did(judged.recorded)


def _hand_over(fitter: Fitter) -> None:
    """Choose a recipe, miss a decimal mark in keying it in, and put it right."""
    yard, job = fitter.yard, fitter.job
    fitter.did(recipes.choose_recipe(yard, job, fitter.stamp, TANK_ID, NIGHT_OFFICE))
    given = recipes.handed_over(yard.tank(job, TANK_ID)[1]).text.splitlines()
    slipped = [line.replace(".", "") if row == 5 else line for row, line in enumerate(given)]
    for text in ("\n".join(slipped), "\n".join(given)):
        copy = Copy(text)
        fitter.did(copied_back.record_copy(yard, job, fitter.stamp, TANK_ID, copy))


def _prove(fitter: Fitter, rig: Rig) -> None:
    """Take some fuel out, pour it back in as a check, and compare with the back office."""
    rig.drain(60.0)
    rig.advance(SETTLES_S)
    before = _steady(rig)
    after = _poured(rig, 40.0)
    fitter.did(
        proving.check_pour(
            fitter.yard,
            fitter.job,
            fitter.stamp,
            TANK_ID,
            added_l=40.0,
            counts_before=before.counts,
            taken=Taken(heard=after),
        )
    )
    table, _ = proving.journal_table(fitter.yard.tank(fitter.job, TANK_ID)[1])
    shown = round(float(table.litres_at(after.counts)), 0)
    fitter.did(
        proving.compare_back_office(
            fitter.yard,
            fitter.job,
            fitter.stamp,
            TANK_ID,
            shown_l=shown,
            taken=Taken(heard=after),
        )
    )


def _poured(rig: Rig, litres: float) -> Heard:
    if litres > 0:
        rig.pour(litres)
        while rig.is_pouring:
            rig.advance(5.0)
    rig.advance(SETTLES_S)
    return _steady(rig)


def _steady(rig: Rig) -> Heard:
    """Read the rig as the live desk does, waiting until the reading is steady."""
    for _ in range(10):
        samples = rig.advance(30.0)
        seen = steadiness(
            np.array([sample.time_s for sample in samples]),
            np.array([float(sample.counts) for sample in samples]),
        )
        if seen.verdict is Verdict.STEADY and seen.mean_counts is not None:
            return Heard(
                counts=round(seen.mean_counts, 2),
                counts_sd=seen.noise_sd_counts,
                is_steady=True,
                steadiness=seen.reason,
                duration_s=8.0,
                temperature_c=samples[-1].temperature_c,
                source="the demo's rig",
            )
    raise AssertionError("the rig's reading does not become steady")


def _built(tank: Mapping[str, Any], probe: Mapping[str, Any]) -> tuple[Any, Any]:
    body, rod = described_of(tank, probe)
    assert body is not None
    assert rod is not None
    return body, rod


def _run(yard: Yard, rig: Rig) -> None:
    """Let the rig live on a Modbus TCP port of this computer, and read it from there."""
    running = RunningRig(rig)
    line = ModbusTcpLine(0)
    running.add(line)
    running.__enter__()
    yard.when_closing(lambda: running.__exit__(None, None, None))
    yard.rig = RigHere(running, HALF_POURED, TANK_ID)
    state = yard.state(HALF_POURED)
    instruments.set_instrument(
        yard,
        HALF_POURED,
        replace(Stamp(PERSON, DEVICE, 0), on=state.tip.number),
        TANK_ID,
        {
            "kind": "modbus_tcp",
            "host": "127.0.0.1",
            "tcp_port": line.tcp_port,
            "temperature_address": 1,
        },
    )
