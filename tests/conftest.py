"""What all tests share: a steady Hypothesis, and the sample plan as plain nested objects."""

import json
import signal
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, settings

from seatrial.bodies import BodyError, find_micropython
from seatrial.plan import load_sample

settings.register_profile(
    "steady", derandomize=True, deadline=None, database=None, max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
settings.load_profile("steady")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # as in the background of a script; what is tested hears Ctrl-C
    signal.signal(signal.SIGINT, signal.default_int_handler)

pytest_plugins = ["tumblehome.bench.pytest_plugin"]  # as its entry point does where the tool is installed


@pytest.fixture(scope="session")
def micropython() -> str:
    """The path of the interpreter; where there is none, who needs it is passed over."""
    try:
        return find_micropython()
    except BodyError as error:
        pytest.skip(str(error))


@pytest.fixture
def sample() -> SimpleNamespace:
    """A fresh copy of the sample plan as it was read, for tests of the physics; a test may change it freely."""
    return json.loads(load_sample().model_dump_json(), object_hook=lambda section: SimpleNamespace(**section))
