"""What every test of the mission core shares: a lander that dives by script, and a steady Hypothesis."""

import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# The tests are collected by path and are no package, so that the helpers beside them need their folder named.
sys.path.insert(0, str(Path(__file__).parent))

from lander_story import Story  # noqa: E402

settings.register_profile(
    "ship", derandomize=True, deadline=None, database=None, max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
settings.register_profile(
    "search", deadline=None, max_examples=2000, print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
settings.load_profile(os.environ.get("TUMBLEHOME_EXAMPLES", "ship"))  # `search` looks longer, each time elsewhere


@pytest.fixture
def story():
    """Makes a lander on deck: `story()`, or `story(shed_ds=50)` with other numbers in its orders."""
    return Story


@pytest.fixture(scope="session")
def firmware() -> Path:
    return Path(__file__).resolve().parents[2] / "firmware"
