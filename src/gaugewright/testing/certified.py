"""A small job with everything that a certificate tells of, for tests and benchmarks."""

import io
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from PIL import Image

from gaugewright.app import filling, proving, survey
from gaugewright.app.bench import Taken
from gaugewright.app.certify import Document, certificate_of, issue_certificate
from gaugewright.app.photos import add_photo
from gaugewright.app.yard import Stamp, Yard
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import Recorded, open_book
from gaugewright.journal.demands import Event
from gaugewright.journal.state import JobState
from gaugewright.testing.hand import PROBE, TANK, counts_at

JOB = "HB-0231"
SIGNED = ((100, 250, 300, 40, 420, 260), (500, 150))
"""A signature: a stroke of two lines, and a dot."""
NASTY = '#panic("markup") *bold* _it_ $x$ [y] {z} \\ // @ref <tag> "quoted" `raw`'
"""What a person might type, and what a template must never read."""
LATER = datetime(2026, 5, 5, 12, tzinfo=UTC)


@dataclass(slots=True)
class Clock:
    """Goes on by half a minute each time it is asked."""

    at: datetime = field(default_factory=lambda: datetime(2026, 5, 4, 9, tzinfo=UTC))

    def __call__(self) -> datetime:
        """Return the time."""
        self.at += timedelta(seconds=30)
        return self.at


@dataclass(slots=True)
class Work:
    """A job that is worked on by one person, and the yard of its book."""

    yard: Yard
    path: Path
    job: str = JOB

    @property
    def state(self) -> JobState:
        """The job as it stands."""
        return self.yard.state(self.job)

    @property
    def stamp(self) -> Stamp:
        """On whose behalf the next entry is."""
        return Stamp("Kim Aldo", "laptop", self.yard.book.store.tip(self.job).number)

    def record(self, *events: Event) -> Recorded:
        """Record events."""
        return self.yard.record(self.job, self.stamp, *events)

    def issue(self, number: str = "C-1", **more: Any) -> Recorded:
        """Issue a certificate."""
        return issue_certificate(self.yard, self.job, self.stamp, number, **more)

    def document(self, **more: Any) -> Document:
        """Give the certificate, or a draft, as a file."""
        return certificate_of(self.yard.book, self.job, at=LATER, **more)


def begin(path: Path, customer: str = "Halden Plant Hire", vehicle: str = "Loader 14") -> Work:
    """Open a book and a job on it."""
    yard = Yard(open_book(path), now=Clock())
    nobody = Stamp("Kim Aldo", "laptop", 0)
    survey.change_settings(yard, nobody, {"workshop": "Ærø & Łódź Gauges"})
    survey.open_job(yard, nobody, customer=customer, vehicle=vehicle, job=JOB)
    return Work(yard, path)


def pour_and_accept(work: Work) -> None:
    """Fill the box in ten pours, one of them voided, and accept the table."""
    yard, job = work.yard, work.job
    survey.describe_tank(yard, job, work.stamp, "main", tank=TANK, probe=PROBE, name="Left tank")
    begun = fk.FillBegun(
        "main",
        dispenser="Pump 2",
        fuel="diesel",
        residual_l=1.2,
        u_residual_l=0.3,
        meter_checks=(fk.CanCheck(20.0, 20.03),),
    )
    filling.begin_fill(yard, job, work.stamp, begun)
    total = 0.0
    for step in range(10):
        added = 25.0 if step else 0.0
        total += added
        event = fk.PourRecorded("main", step, added, float(counts_at(total)), counts_sd=1.1)
        work.record(event)
        if step == 4:
            work.record(fk.PourVoided(work.state.tip.number, "meter not reset"), event)
    proving.make_table(yard, job, work.stamp, "main")
    table = work.state.tanks["main"].table
    assert table is not None
    proving.accept_table(yard, job, work.stamp, "main", table.event.digest)


def finish(work: Work) -> None:
    """Do the rest of a job: facts, photo, caution, note, fill, check pour, seal, certificate."""
    facts = {"probe_serial": "P-17", "unit_serial": "T-9", "site": "Halden, bay 3", "odd": NASTY}
    work.record(k.FactsChanged(facts))
    add_photo(work.yard, work.job, work.stamp, photo(), caption=NASTY, stage="Mount")
    work.record(k.CautionAcknowledged("drilling", "Kim Aldo", text="hot work", stage="Mount"))
    work.record(k.NoteAdded("strap \N{CJK UNIFIED IDEOGRAPH-6CB9} replaced"))
    pour_and_accept(work)
    proving.check_pour(
        work.yard,
        work.job,
        work.stamp,
        "main",
        added_l=40.0,
        counts_before=float(counts_at(100)),
        taken=Taken(float(counts_at(140))),
    )
    work.record(fk.SealSet("140172", "probe head", tank_id="main"))
    work.issue("C-1", signed_by="Kim Aldo", strokes=SIGNED, place="Halden, bay 3")


def photo(colour: tuple[int, int, int] = (200, 120, 30)) -> bytes:
    """Return a photo of our own making."""
    out = io.BytesIO()
    Image.new("RGB", (900, 600), colour).save(out, "JPEG")
    return out.getvalue()
