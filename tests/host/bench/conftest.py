"""Practice boards for the commands of the bench."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from seatrial.plan import load_sample
from seatrial.plan.sample import sample_text
from seatrial.practice import PracticeBoard

FAST = 10.0
PATIENCE_S = 30.0


@pytest.fixture
def patient(micropython, monkeypatch) -> None:
    """What is slow here is this machine: real MicroPython beside many other tests."""
    monkeypatch.setattr("tumblehome.bench.link.SILENT_S", PATIENCE_S)


@pytest.fixture
def practised(micropython) -> Iterator[Callable[..., PracticeBoard]]:
    """Makes practice boards; all of them end with the test."""
    made: list[PracticeBoard] = []

    def make(*wrong: str, **options) -> PracticeBoard:
        made.append(PracticeBoard(wrong=wrong, **{"speed": FAST, "tcp_port": 0, **options}).__enter__())
        return made[-1]
    yield make
    for board in made:
        board.__exit__(None, None, None)


@pytest.fixture(scope="module")
def board(micropython) -> Iterator[PracticeBoard]:
    """One for all tests of a file that leave it as they would find it."""
    with PracticeBoard(speed=FAST, tcp_port=0) as made:
        yield made


@pytest.fixture
def plan_file(tmp_path) -> Callable[[int], Path]:
    """Writes the sample plan with the lights at this level, which is another mission record for each."""
    sample_pct = "level_pct = %d\n" % load_sample().lights.level_pct

    def write(level_pct: int) -> Path:
        text = sample_text()
        assert text.count(sample_pct) == 1
        path = tmp_path / ("lights-%d.toml" % level_pct)
        path.write_text(text.replace(sample_pct, "level_pct = %d\n" % level_pct), encoding="utf-8")
        return path
    return write
