"""Whether counts that a person typed can be a reading of this probe at all."""

from gaugewright.app.instruments import settings_for
from gaugewright.app.scales import described
from gaugewright.errors import InputError
from gaugewright.journal.state import JobState, TankState
from gaugewright.table.records import counts_scale
from gaugewright.words import said


def require_on_scale(
    state: JobState, tank: TankState, counts: float, field: str = "counts"
) -> None:
    """Refuse counts that the probe cannot send.

    The scale is what its instrument may send, what its description says and what was read
    on the bench, taken together: a signed register is allowed its negative counts where one
    of the three knows of them.  Without any, nothing but a reading below 0 is refused.
    """
    low, high = _scale(state, tank)
    if counts < low:
        raise InputError(
            said(
                "found {counts:g} counts, wanted {low:g} or more; a probe that sends less says so "
                "by its zero on Bench, or by its counts dry on Plan",
                counts=counts,
                low=low,
            ),
            field=field,
        )
    if high is not None and counts > high:
        raise InputError(
            said(
                "found {counts:.0f} counts, wanted {low:g} to {high:.0f}, which is this probe's "
                "scale; if it sends more, put its counts immersed right on Plan",
                counts=counts,
                low=low,
                high=high,
            ),
            field=field,
        )


def _scale(state: JobState, tank: TankState) -> tuple[float, float | None]:
    bench = [kept.event.counts for kept in (tank.zero, tank.span) if kept is not None]
    low, high = min(0.0, *bench, 0.0), None
    try:
        _, probe = described(tank)
        settings = settings_for(state, tank.tank_id)
    except InputError:
        return low, high  # what describes no probe is told on Plan, and fixes no scale
    scales = [] if probe is None else [counts_scale(probe.counts_empty, probe.counts_full)]
    if settings is not None:
        scales.append((settings.counts_min, settings.counts_max))
    if not scales:
        return low, high
    return min(low, *(s[0] for s in scales)), max(*bench, *(s[1] for s in scales), 0.0)
