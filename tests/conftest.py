"""What all tests share: a steady Hypothesis, and the sample plan as plain nested objects."""

import json
import tomllib
from importlib.resources import files
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady", derandomize=True, deadline=None, database=None, max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
settings.load_profile("steady")


@pytest.fixture
def sample() -> SimpleNamespace:
    """A fresh copy of the sample plan without the plan's own checks, for tests of the physics; a test may change it."""
    plan = tomllib.loads(files("seatrial").joinpath("sample.toml").read_text(encoding="utf-8"))
    return json.loads(json.dumps(plan, default=str), object_hook=lambda section: SimpleNamespace(**section))
