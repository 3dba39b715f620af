"""A small job with everything that a certificate tells of, and its certificate."""

import pytest

from gaugewright.testing.certified import NASTY, begin, finish, pour_and_accept


@pytest.fixture(scope="session")
def finished(tmp_path_factory):
    """A job with all that a certificate tells of; nothing may be recorded on it."""
    made = begin(tmp_path_factory.mktemp("certified") / "yard.book", customer=NASTY)
    finish(made)
    yield made
    made.yard.close()


@pytest.fixture(scope="session")
def pdf(finished):
    """The bytes of its certificate."""
    return finished.document().content


@pytest.fixture
def work(tmp_path):
    """A job of its own with an accepted table."""
    made = begin(tmp_path / "yard.book")
    pour_and_accept(made)
    yield made
    made.yard.close()
