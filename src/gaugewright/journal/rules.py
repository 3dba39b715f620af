"""What a job allows next.  Asked when something is recorded, never when it is read back."""

from collections.abc import Callable
from typing import Any, TypeVar

from gaugewright.errors import StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import handover_kinds as hk
from gaugewright.journal import kinds as k
from gaugewright.journal import watch_kinds as wk
from gaugewright.journal.demands import Event
from gaugewright.journal.later_rules import RULES as LATER_RULES
from gaugewright.journal.later_rules import is_carried
from gaugewright.journal.state import FillState, JobState, Kept, TankState
from gaugewright.words import said

Rule = Callable[[JobState, Any], None]
_RULES: dict[type[Event], Rule] = {}
T = TypeVar("T", bound=Rule)

_OF_A_TANK = (
    k.TankRemoved,
    k.PlanRecorded,
    k.WiringRecorded,
    k.BenchZeroRecorded,
    k.BenchSpanRecorded,
    k.BenchRepeatRecorded,
    fk.FillBegun,
    fk.FillChecksChanged,
    fk.PourRecorded,
    fk.PourPlaced,
    fk.FindingAnswered,
    fk.TableMade,
    fk.TableAccepted,
    fk.CheckPourRecorded,
    fk.BackOfficeCompared,
    wk.LogWatched,
    wk.SeenEventExplained,
    wk.ExplanationWithdrawn,
    hk.RecipeChosen,
    hk.CopiedBack,
    hk.CopyAccepted,
    hk.ArrivalChecked,
)
_OF_A_WHOLE = (fk.FillBegun, fk.PourRecorded, fk.PourPlaced, fk.TableMade, fk.TableAccepted)
"""What is done once for linked tanks, not for each of them."""
_IN_A_STAGE: dict[type[Event], str] = {
    fk.FillBegun: "Pour",
    fk.FillChecksChanged: "Pour",
    fk.PourRecorded: "Pour",
    fk.PourPlaced: "Pour",
    fk.PourVoided: "Pour",
    fk.CheckVoided: "Prove",
    fk.TableMade: "Table",
    fk.TableAccepted: "Table",
}


def may_follow(state: JobState, event: Event) -> None:
    """Raise `StateError`, saying why, if the job does not allow this now.

    >>> may_follow(JobState("J-1"), k.NoteAdded("drained"))
    Traceback (most recent call last):
        ...
    gaugewright.errors.StateError: there is no job J-1 yet: open it first
    """
    if isinstance(event, k.JobOpened):
        if state.tip.number:
            raise StateError(said("job {job} is already open", job=state.job))
        return
    if state.opened is None:
        raise StateError(said("there is no job {job} yet: open it first", job=state.job))
    stage = _IN_A_STAGE.get(type(event))
    is_late = isinstance(event, fk.TableAccepted) and is_carried(state, event.tank_id)
    if stage is not None and state.is_finished(stage) and not is_late:
        raise StateError(
            said("stage {stage} is finished; reopen it with a reason first", stage=stage)
        )
    tank_id = getattr(event, "tank_id", None)
    if isinstance(event, _OF_A_TANK) or (tank_id is not None and type(event) in _TANK_IF_NAMED):
        tank = _tank(state, str(tank_id))
        if isinstance(event, _OF_A_WHOLE) and tank.linked_into is not None:
            raise StateError(
                said(
                    "tank {tank_id} is linked into {linked_into}, which is filled as one",
                    tank_id=tank_id,
                    linked_into=tank.linked_into,
                )
            )
    rule = _RULES.get(type(event))
    if rule is not None:
        rule(state, event)


_RULES.update(LATER_RULES)

_TANK_IF_NAMED = (k.NoteAdded, k.PhotoAdded, k.MountItemDone, fk.SealSet)


def _rule(cls: type[Event]) -> Callable[[T], T]:
    def register(rule: T) -> T:
        _RULES[cls] = rule
        return rule

    return register


def _tank(state: JobState, tank_id: str) -> TankState:
    tank = state.tanks.get(tank_id)
    if tank is None:
        known = ", ".join(state.tanks) or "none"
        raise StateError(
            said(
                "there is no tank {tank_id} in this job; described so far: {known}",
                tank_id=tank_id,
                known=known,
            )
        )
    if tank.removed is not None:
        raise StateError(
            said(
                "tank {tank_id} was removed: {reason}", tank_id=tank_id, reason=tank.removed.reason
            )
        )
    return tank


def _fill(state: JobState, tank_id: str) -> FillState:
    fill = _tank(state, tank_id).fill
    if fill is None:
        raise StateError(said("the fill of tank {tank_id} has not begun", tank_id=tank_id))
    return fill


@_rule(k.TanksLinked)
def _link(state: JobState, event: k.TanksLinked) -> None:
    link = state.tanks.get(event.link_id)
    if link is not None and not link.members:
        raise StateError(
            said("{link_id} is a tank; a link needs a name of its own", link_id=event.link_id)
        )
    for tank_id in event.tank_ids:
        tank = _tank(state, tank_id)
        if tank.members:
            raise StateError(said("{tank_id} is itself a link", tank_id=tank_id))
        if tank.linked_into not in (None, event.link_id):
            raise StateError(
                said(
                    "tank {tank_id} is already linked into {linked_into}",
                    tank_id=tank_id,
                    linked_into=tank.linked_into,
                )
            )


@_rule(k.TanksUnlinked)
def _unlink(state: JobState, event: k.TanksUnlinked) -> None:
    if not _tank(state, event.link_id).members:
        raise StateError(said("{link_id} is not a link", link_id=event.link_id))


@_rule(k.BenchReadingVoided)
def _void_bench(state: JobState, event: k.BenchReadingVoided) -> None:
    readings: tuple[Kept[Any], ...] = tuple(
        kept for tank in state.tanks.values() for kept in (*tank.zeros, *tank.spans, *tank.repeats)
    )
    _require_standing(readings, event.entry, "bench reading")


def _require_standing(items: tuple[Kept[Any], ...], number: int, what: str) -> None:
    found = next((kept for kept in items if kept.number == number), None)
    if found is None:
        raise StateError(said("entry {number} is not a {what}", number=number, what=what))
    if found.voided is not None:
        raise StateError(
            said(
                "entry {number} was already voided by {person}: {reason}",
                number=number,
                person=found.voided.mark.person,
                reason=found.voided.reason,
            )
        )


def _require_photo(state: JobState, sha256: str) -> None:
    if all(photo.event.sha256 != sha256 for photo in state.photos):
        raise StateError(
            said("photo {sha256} is not in this job; add it first", sha256=sha256[:12])
        )


@_rule(k.MountItemDone)
def _mount(state: JobState, event: k.MountItemDone) -> None:
    for sha256 in event.photo_sha256:
        _require_photo(state, sha256)


@_rule(k.MountItemReopened)
def _reopen_item(state: JobState, event: k.MountItemReopened) -> None:
    if not any(
        kept.voided is None and (kept.event.item, kept.event.tank_id) == (event.item, event.tank_id)
        for kept in state.mounted
    ):
        raise StateError(said("checklist item {item} is not done", item=event.item))


@_rule(fk.FillBegun)
def _begin(state: JobState, event: fk.FillBegun) -> None:
    fill = _tank(state, event.tank_id).fill
    if fill is not None and fill.standing and not event.reason.strip():
        raise StateError(
            said(
                "tank {tank_id} has a fill with {number} pours; to begin anew, say why",
                tank_id=event.tank_id,
                number=len(fill.standing),
            )
        )


@_rule(fk.FillChecksChanged)
def _change_checks(state: JobState, event: fk.FillChecksChanged) -> None:
    _fill(state, event.tank_id)


@_rule(fk.PourRecorded)
def _pour(state: JobState, event: fk.PourRecorded) -> None:
    fill = _fill(state, event.tank_id)
    there = next((pour for pour in fill.standing if pour.event.step == event.step), None)
    if there is not None:
        raise StateError(
            said(
                "step {step} is already recorded (entry {number}); void that one first",
                step=event.step,
                number=there.number,
            )
        )
    if event.step > fill.next_step:
        raise StateError(
            said(
                "the next step is {next_step}, not {step}",
                next_step=fill.next_step,
                step=event.step,
            )
        )
    if event.replaces is not None:
        old = next((pour for pour in fill.pours if pour.number == event.replaces), None)
        if old is None or old.voided is None:
            raise StateError(
                said("entry {replaces} is not a voided pour of this fill", replaces=event.replaces)
            )


@_rule(fk.PourPlaced)
def _place(state: JobState, event: fk.PourPlaced) -> None:
    fill = _fill(state, event.tank_id)
    _require_standing(fill.pours, event.before, "pour of this fill")
    if next(p for p in fill.pours if p.number == event.before).event.step == 0:
        raise StateError(said("nothing can be placed before the drained tank, step 0"))


@_rule(fk.PourVoided)
def _void_pour(state: JobState, event: fk.PourVoided) -> None:
    pours = tuple(
        pour for tank in state.tanks.values() for fill in tank.fills for pour in fill.pours
    )
    _require_standing(pours, event.pour, "pour")


@_rule(fk.FindingAnswered)
def _answer(state: JobState, event: fk.FindingAnswered) -> None:
    fill = _fill(state, event.tank_id)
    if not any(pour.event.step == event.step for pour in fill.pours):
        raise StateError(said("there is no step {step} to answer for", step=event.step))


@_rule(fk.TableMade)
def _make_table(state: JobState, event: fk.TableMade) -> None:
    standing = {pour.number for pour in _fill(state, event.tank_id).standing}
    strange = sorted(set(event.pours) - standing)
    if strange:
        raise StateError(
            said("entry {strange} is not a pour that counts in this fill", strange=strange[0])
        )


@_rule(fk.TableAccepted)
def _accept(state: JobState, event: fk.TableAccepted) -> None:
    table = _tank(state, event.tank_id).table
    if table is None or table.event.digest != event.digest:
        raise StateError(said("only the last table made can be accepted; look at it again"))


@_rule(fk.CheckPourRecorded)
@_rule(fk.BackOfficeCompared)
def _hold_against(state: JobState, event: fk.CheckPourRecorded | fk.BackOfficeCompared) -> None:
    _require_table(state, event.tank_id, event.digest)


@_rule(fk.CheckVoided)
def _void_check(state: JobState, event: fk.CheckVoided) -> None:
    checks: tuple[Kept[Any], ...] = tuple(
        kept for tank in state.tanks.values() for kept in (*tank.check_pours, *tank.comparisons)
    )
    _require_standing(checks, event.entry, "check against the table")


def _require_table(state: JobState, tank_id: str, digest: str) -> None:
    tables = _tank(state, tank_id).tables
    if all(table.event.digest != digest for table in tables):
        raise StateError(
            said(
                "tank {tank_id} has no table with digest {digest}",
                tank_id=tank_id,
                digest=digest[:12],
            )
        )


@_rule(hk.CopiedBack)
def _copy_back(state: JobState, event: hk.CopiedBack) -> None:
    _require_table(state, event.tank_id, event.digest)
    for sha256 in event.photo_sha256:
        _require_photo(state, sha256)


@_rule(hk.CopyAccepted)
def _accept_copy(state: JobState, event: hk.CopyAccepted) -> None:
    copied = _tank(state, event.tank_id).copied_back
    if copied is None or copied.number != event.copy:
        raise StateError(said("only what was copied back last can be accepted; look at it again"))
    if copied.event.is_clean:
        raise StateError(
            said("nothing differs in what was copied back: there is nothing to accept")
        )


@_rule(hk.ArrivalChecked)
def _arrive(state: JobState, event: hk.ArrivalChecked) -> None:
    if event.digest is not None:
        _require_table(state, event.tank_id, event.digest)


@_rule(wk.LogWatched)
def _watch(state: JobState, event: wk.LogWatched) -> None:
    tables = _tank(state, event.tank_id).tables
    if all(table.event.digest != event.table_digest for table in tables):
        raise StateError(
            said(
                "tank {tank_id} has no table with digest {table_digest}",
                tank_id=event.tank_id,
                table_digest=event.table_digest[:12],
            )
        )


def _seen_event(state: JobState, tank_id: str, watched: int, number: int) -> wk.SeenEvent:
    kept = next((w for w in _tank(state, tank_id).watches if w.number == watched), None)
    if kept is None:
        raise StateError(
            said(
                "entry {watched} is not a log of tank {tank_id} that was looked through",
                watched=watched,
                tank_id=tank_id,
            )
        )
    if number > len(kept.event.events):
        raise StateError(
            said(
                "entry {watched} holds {number} events, not {number_2}",
                watched=watched,
                number=len(kept.event.events),
                number_2=number,
            )
        )
    return kept.event.events[number - 1]


@_rule(wk.SeenEventExplained)
def _explain(state: JobState, event: wk.SeenEventExplained) -> None:
    _seen_event(state, event.tank_id, event.watched, event.event)
    for old in _tank(state, event.tank_id).explained:
        same = (old.event.watched, old.event.event) == (event.watched, event.event)
        if same and old.voided is None:
            raise StateError(
                said(
                    "event {event} was already explained by {person}: {reason}",
                    event=event.event,
                    person=old.mark.person,
                    reason=old.event.reason,
                )
            )


@_rule(wk.ExplanationWithdrawn)
def _withdraw_explanation(state: JobState, event: wk.ExplanationWithdrawn) -> None:
    _seen_event(state, event.tank_id, event.watched, event.event)
    meant = (event.watched, event.event)
    if not any(
        old.voided is None and (old.event.watched, old.event.event) == meant
        for old in _tank(state, event.tank_id).explained
    ):
        raise StateError(said("event {event} has no explanation to withdraw", event=event.event))


@_rule(fk.SealSet)
def _seal(state: JobState, event: fk.SealSet) -> None:
    if event.photo_sha256 is not None:
        _require_photo(state, event.photo_sha256)
    used = next((s for s in state.seals if s.event.seal_number == event.seal_number), None)
    if used is not None:
        raise StateError(
            said(
                "seal {seal_number} was already used at {place}; a seal's number is used once",
                seal_number=event.seal_number,
                place=used.event.place,
            )
        )


@_rule(fk.SealRemoved)
def _unseal(state: JobState, event: fk.SealRemoved) -> None:
    if not any(
        seal.voided is None and seal.event.seal_number == event.seal_number for seal in state.seals
    ):
        raise StateError(said("seal {seal_number} is not set", seal_number=event.seal_number))


@_rule(fk.CertificateIssued)
def _issue(state: JobState, event: fk.CertificateIssued) -> None:
    number = event.certificate_number
    if any(kept.event.certificate_number == number for kept in state.certificates):
        raise StateError(said("certificate {number} was already issued", number=number))
    if (event.upto_number, event.upto_hash) != tuple(state.tip):
        raise StateError(
            said(
                "the certificate states entry {upto_number}, but the journal is at entry "
                "{number}; make it again",
                upto_number=event.upto_number,
                number=state.tip.number,
            )
        )
    for tank_id, digest in event.tables.items():
        accepted = _tank(state, tank_id).accepted_table
        if accepted is None or accepted.event.digest != digest:
            raise StateError(
                said(
                    "the table of tank {tank_id} on the certificate is not accepted",
                    tank_id=tank_id,
                )
            )


@_rule(fk.CertificateWithdrawn)
def _withdraw(state: JobState, event: fk.CertificateWithdrawn) -> None:
    if not any(
        kept.voided is None and kept.event.certificate_number == event.certificate_number
        for kept in state.certificates
    ):
        raise StateError(
            said(
                "certificate {certificate_number} is not in force",
                certificate_number=event.certificate_number,
            )
        )


@_rule(fk.StageFinished)
def _finish(state: JobState, event: fk.StageFinished) -> None:
    if state.is_finished(event.stage):
        raise StateError(said("stage {stage} is already finished", stage=event.stage))


@_rule(fk.StageReopened)
def _reopen(state: JobState, event: fk.StageReopened) -> None:
    if not state.is_finished(event.stage):
        raise StateError(said("stage {stage} is not finished", stage=event.stage))
