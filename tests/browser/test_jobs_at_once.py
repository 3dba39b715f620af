"""What the browser tests start from is what pressing would have recorded."""

from typing import Any

from browser_yards import Api, new_job, poured

from gaugewright.workbench.running import Workbench


def test_a_job_recorded_in_one_go_is_that_of_so_many_presses(bench: Workbench) -> None:
    at_once, by_presses = Api(bench.url, bench.yard), Api(bench.url)

    def kept(api: Api) -> list[tuple[Any, ...]]:
        job = poured(api, new_job(api), [62, 56])
        entries = api.call("GET", f"/api/jobs/{job}/entries")[1:]  # the first names the job
        return [(e["number"], e["kind"], e["person"], e["device"], e["payload"]) for e in entries]

    assert kept(at_once) == kept(by_presses)
