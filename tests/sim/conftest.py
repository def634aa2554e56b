"""The sample plan as plain nested objects, so that the physics is tested without the plan's own checks."""

import json
import tomllib
from importlib.resources import files
from types import SimpleNamespace

import pytest


@pytest.fixture
def sample() -> SimpleNamespace:
    """A fresh copy of the sample plan; a test may change it."""
    plan = tomllib.loads(files("seatrial").joinpath("sample.toml").read_text(encoding="utf-8"))
    return json.loads(json.dumps(plan, default=str), object_hook=lambda section: SimpleNamespace(**section))
