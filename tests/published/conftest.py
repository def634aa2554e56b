"""How many cases each published check has, counted before any is left out, for the test of their table."""

from collections import Counter

import pytest

from .table import place_of

CASES = pytest.StashKey[Counter]()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    config.stash[CASES] = Counter(place_of(item.nodeid) for item in items if item.get_closest_marker("published"))


@pytest.fixture
def cases(request: pytest.FixtureRequest) -> Counter:
    """Cases of every published check that is in this run, by its place."""
    return request.config.stash[CASES]
