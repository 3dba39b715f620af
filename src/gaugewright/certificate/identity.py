"""Who and what a certificate is about: its head."""

from datetime import datetime

from gaugewright.certificate.issue import Issue
from gaugewright.certificate.later_life import exchanged_probe
from gaugewright.certificate.statement import Line
from gaugewright.certificate.writing import NOT_RECORDED, Writer, free, name
from gaugewright.errors import InputError
from gaugewright.journal.state import JobState, TankState
from gaugewright.words import said

FACTS = {
    "registration": said("Registration or fleet number"),
    "odometer": said("Odometer or hours"),
    "probe_serial": said("Probe, serial number"),
    "unit_serial": said("Tracking unit, serial number"),
    "tracker": said("Device that reads the probe"),
    "condition": said("Condition of tank and brackets"),
    "site": said("Place of the work"),
    "dispenser_certificate": said("Certificate of the dispenser"),
}
"""Facts of the survey that have a place of their own on the certificate."""
_ELSEWHERE = frozenset({"customer", "vehicle", "supply_v", "instruments", "fuel", *FACTS})

TITLE = said("Tank calibration certificate")
PLAINLY = (
    said(
        "A workshop’s own record. It is not an accredited calibration certificate: no "
        "accreditation body has assessed the workshop for this work. Its contents follow the list "
        "of ISO/IEC 17025:2017, 7.8, where it applies."
    ),
    said(
        "The results relate only to the tank, the probe and the tracking unit named here, as they "
        "were on the days of the work. No interval to the next calibration is recommended here."
    ),
)


def head_lines(state: JobState, issue: Issue, write: Writer) -> tuple[Line, ...]:
    """Return what identifies the work, the item and the people; nothing is left out silently.

    Raises `InputError` naming the field whose letters the fonts do not have.
    """
    first, last = work_days(state)
    lines = [
        Line(said("Certificate"), name(issue.number, "certificate_number")),
        Line(said("Issued"), write.time(issue.issued_at)),
        Line(said("Job"), name(state.job, "job")),
        Line(said("Work done"), _days(first, last, write)),
        Line(said("Customer"), name(state.fact("customer") or "", "customer"), is_told=True),
        Line(said("Vehicle"), name(state.fact("vehicle") or "", "vehicle"), is_told=True),
    ]
    told = {"registration", "odometer"}
    lines += [
        Line(label, _serial(state) if key == "probe_serial" else _fact(state, key), key in told)
        for key, label in FACTS.items()
        if key != "site"
    ]
    supply = state.fact("supply_v")
    volts = (
        NOT_RECORDED if supply is None else f"{write.figure(float(supply), 1)}\N{NO-BREAK SPACE}V"
    )
    lines += [
        Line(said("Place of the work"), place_of(state, issue)),
        Line(said("Supply"), volts),
        Line(said("Fuel"), _fact(state, "fuel"), is_told=True),
        Line(said("Software"), software(state, issue)),
    ]
    if issue.replaces:
        lines.append(Line(said("Stands in for"), name(issue.replaces, "replaces")))
        lines.append(Line(said("Made anew because"), free(issue.reason)))
    return tuple(lines)


def unwritable(state: JobState) -> tuple[tuple[str, str], ...]:
    """Return each fact that no certificate can be made with as it stands: its name, and why."""
    found = []
    for key in ("customer", "vehicle", *FACTS, "fuel"):
        try:
            name(state.fact(key) or "", key)
        except InputError as error:
            found.append((key, error.problem))
    return tuple(found)


def place_of(state: JobState, issue: Issue) -> str:
    """Return where the work was done, as it was said last."""
    return name(issue.place or state.fact("site") or "", "place")


def more_facts(state: JobState) -> tuple[tuple[str, str], ...]:
    """Return the facts of the survey that have no place of their own, by their names."""
    return tuple(
        (key.replace("_", " "), free(fact.value))
        for key, fact in state.facts.items()
        if key not in _ELSEWHERE and fact.value is not None and not isinstance(fact.value, dict)
    )


def software(state: JobState, issue: Issue) -> str:
    """Return which version set the pages and which ones made the tables."""
    made = {
        str(tank.table.event.versions.get("gaugewright", "unknown"))
        for tank in state.standing_tanks
        if tank.table is not None
    }
    own = issue.versions.get("gaugewright", "unknown")
    others = ", ".join(sorted(made - {own}))
    if not others:
        return said("Gaugewright {own}", own=own)
    return said("Gaugewright {own}; table made by {others}", own=own, others=others)


def work_days(state: JobState) -> tuple[datetime, datetime]:
    """Return the first and the last time at which a tank was measured."""
    times = [at for tank in state.standing_tanks for at in _times(tank)]
    if not times:
        assert state.opened is not None
        times = [state.opened.at]
    return min(times), max(times)


def _days(first: datetime, last: datetime, write: Writer) -> str:
    begun, done = write.day(first), write.day(last)
    return begun if begun == done else said("{first} to {last}", first=begun, last=done)


def _times(tank: TankState) -> list[datetime]:
    kept = [*tank.zeros, *tank.spans, *tank.check_pours]
    pours = [] if tank.fill is None else list(tank.fill.standing)
    return [each.mark.at for each in (*kept, *pours)]


def _serial(state: JobState) -> str:
    """Return the serial number of the probe; of the new one where it was exchanged."""
    for tank in state.standing_tanks:
        made = tank.accepted_table
        if made is None or exchanged_probe(tank, made) is None:
            continue
        for later in reversed(tank.later):
            if later.begun.event.purpose == "exchange" and later.begun.event.probe_serial:
                serial = name(later.begun.event.probe_serial, "probe_serial")
                day = f"{later.begun.mark.at:%Y-%m-%d}"
                return said("{serial}, exchanged {day}", serial=serial, day=day)
    return _fact(state, "probe_serial")


def _fact(state: JobState, key: str) -> str:
    value = state.fact(key)
    return NOT_RECORDED if value in (None, "") else name(value, key)
