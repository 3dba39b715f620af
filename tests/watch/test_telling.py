"""What is said of an event, by the records that it rests on."""

from types import SimpleNamespace

import numpy as np
import pytest

from gaugewright.watch.change import Change
from gaugewright.watch.telling import reason_of


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [(1, 1, ""), (1, 2, ""), (2, 3, ", with no record for 6 h of it"), (0, 3, ", with no record")],
)
def test_hours_without_a_record_are_told_and_a_change_within_one_minute_has_none(
    before, after, said
):
    bins = SimpleNamespace(
        time_s=np.array([0.0, 60.0, 120.0, 6 * 3600.0 + 120.0]), running=np.zeros(4)
    )
    seen = SimpleNamespace(bins=bins, is_engine_told=True)
    change = Change(0, before, after, -20.0, 1.0, -20.0, 1.0, inside=False)

    reason = reason_of(seen, change, 20.0, 3.0)

    assert reason.startswith("no record at rest shows the moment")
    assert said in reason if said else "with no record" not in reason
