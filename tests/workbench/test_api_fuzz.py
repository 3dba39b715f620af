"""Whatever is sent to any address of the API: never a failure of the program."""

import time

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from gaugewright.testing.hand import Hand
from gaugewright.testing.thorough import thorough

SECONDS = thorough(4, 12)
LEFT_OUT = (
    "/live",  # never ends
    "/start",  # opens lines of this computer
    "/try",
    "/api/jobs/import",  # fuzzed by its own bytes in the journal's tests
)


@pytest.fixture(scope="module")
def filled(workbench, pour_at_once):
    """A job with everything in it, so that addresses lead somewhere."""
    hand = Hand(workbench.url)
    hand.open_job()
    pour_at_once(hand, 40.0, 5)
    hand.record("/tanks/main/table")
    yield hand
    hand.client.close()


@pytest.fixture(scope="module")
def schema(workbench, filled):
    """The API's own schema, as the server gives it."""
    import schemathesis  # slow to load, and used here alone

    return schemathesis.openapi.from_url(f"{workbench.url}api/openapi.json", timeout=120)


def test_no_address_fails_whatever_is_sent(schema, filled, workbench):
    headers = {
        "x-csrf-token": filled.client.headers["x-csrf-token"],
        "cookie": f"gaugewright_session={filled.client.cookies['gaugewright_session']}",
    }
    operations = [
        found.ok()
        for found in schema.get_all_operations()
        if not any(left in found.ok().path for left in LEFT_OUT)
    ]
    assert len(operations) > 40
    until_s = time.monotonic() + SECONDS
    tried = dict.fromkeys((f"{each.method} {each.path}" for each in operations), 0)
    failed = []

    def try_one(operation, number):
        @settings(
            max_examples=number,
            deadline=None,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy())
        def attack(case):
            if tried[key] and time.monotonic() > until_s:
                return  # every address is tried, on a slow machine too
            for name, value in (("job", filled.job), ("tank_id", "main")):
                if name in case.path_parameters and tried[key] % 4:
                    case.path_parameters[name] = value
            if isinstance(case.body, dict) and "on" in case.body and tried[key] % 3:
                case.body["on"] = workbench.yard.book.store.tip(filled.job).number
            tried[key] += 1
            answer = case.call(headers=headers, timeout=120)
            if answer.status_code >= 500 and answer.status_code != 503:
                failed.append((key, answer.status_code, case.as_curl_command()))
            assert answer.status_code != 503, answer.text

        key = f"{operation.method} {operation.path}"
        attack()

    share = 0
    while not share or time.monotonic() < until_s:
        share += 6
        for operation in operations:
            try_one(operation, share)
    assert not failed, failed[0]
    assert min(tried.values()) >= 1, tried
    assert workbench.yard.book.faults() == {}
