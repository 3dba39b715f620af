"""What holds for every test: no wall clock decides, a busy machine is slow and not wrong."""

from itertools import accumulate, groupby
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Spread the modules that drive a browser evenly among the others.

    A browser keeps the processors busy where many another test waits for a disk or a clock:
    side by side they take less time than one after the other.
    """
    modules = [list(own) for _, own in groupby(items, key=lambda item: item.path)]
    browser = [own for own in modules if _drives_a_browser(own[0].path)]
    others = [own for own in modules if not _drives_a_browser(own[0].path)]
    spread = [*_with_places(others), *_with_places(browser)]
    spread.sort(key=lambda placed: placed[0])
    items[:] = [item for _, own in spread for item in own]


def _with_places(modules: list[list[pytest.Item]]) -> list[tuple[float, list[pytest.Item]]]:
    """Return each module with the share of all their tests that comes before it."""
    before = list(accumulate((len(own) for own in modules), initial=0))
    return [(place / max(before[-1], 1), own) for place, own in zip(before, modules, strict=False)]


def _drives_a_browser(path: Path) -> bool:
    return path.name.endswith("_in_chromium.py")
