"""The built-in sample plan as text and as tables; examples in sentences are taken from it."""

import tomllib
from functools import cache
from importlib import resources
from typing import Any

SAMPLE_FILE = "sim/seatrial/sample.toml"  # as a person in a clone finds it


@cache
def sample_text() -> str:
    """The text of the sample plan."""
    return resources.files("seatrial").joinpath("sample.toml").read_text(encoding="utf-8")


@cache
def sample_tables() -> dict[str, Any]:
    """The sample plan as the TOML reader gives it; not to be changed."""
    return tomllib.loads(sample_text())
