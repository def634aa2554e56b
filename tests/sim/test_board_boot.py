"""Starting again on the board's own code: how soon, with which outputs, on which plan, and after how many resets."""

import pytest

from seatrial.board_body import BoardBody

from .flying import broken, changed, dive
from .test_board_body import BRIEF, UNTESTED

pytestmark = pytest.mark.usefixtures("micropython")
PLAN = changed(BRIEF, **UNTESTED)
RESUMED_WITHIN_MS = 5000


class Watched(BoardBody):
    """Notes when it starts, what its pins drive from each start to the first step, and when that step comes."""

    def __init__(self, *given, **named) -> None:
        super().__init__(*given, **named)
        self.starts: list[list[tuple[str, int, int]]] = []
        self.first_steps_ms: list[int] = []
        self.attempts: list[tuple[float, str]] = []
        for verb, value_at in ((b"out", 1), (b"pwm", 2)):
            self._handlers[verb] = self._noting(verb.decode(), value_at, self._handlers[verb])

    def _noting(self, verb, value_at, handler):
        def note(*words):
            if len(self.first_steps_ms) < len(self.starts) and not self._has_stepped:
                self.starts[-1].append((verb, int(words[0]), int(words[value_at])))
            return handler(*words)
        return note

    def boot(self, store, inputs) -> int:
        if not self._is_planned:
            self._store_plan()
        self.starts.append([])
        return super().boot(store, inputs)

    def step(self, inputs, outputs) -> None:
        super().step(inputs, outputs)
        if len(self.first_steps_ms) < len(self.starts):
            self.first_steps_ms.append(self.stepped_ms)
        for channel in ("primary", "backup"):
            if getattr(outputs, "release_%s_pct" % channel):
                self.attempts.append((self._world.now_s, channel))


def flown(*faults: str, plan=PLAN, record: bytes | None = None, is_planned: bool = False):
    body = Watched(record or plan.mission_record())
    body._is_planned = is_planned
    try:
        return body, dive(*faults, plan=plan, body=body).run()
    finally:
        body.close()


@pytest.fixture(scope="module")
def reset_at_every_attempt():
    return flown("attempt-resets:channel=primary", "reset@descend+5s")


def test_every_start_comes_to_its_first_step_well_within_five_seconds(reset_at_every_attempt):
    body, result = reset_at_every_attempt
    assert len(body.starts) > 2 and len(body.first_steps_ms) == len(body.starts)
    away_ms = 1000.0 * result.plan.power.boot_s  # the interpreter's own start, by the plan
    assert max(body.first_steps_ms) + away_ms < RESUMED_WITHIN_MS


def test_no_output_that_moves_or_burns_anything_comes_on_before_the_first_step(reset_at_every_attempt):
    body, _result = reset_at_every_attempt
    pins = body._pins["PINS"]  # what hangs on the shift register is off until zeros are in it: test_board_files.py
    dangerous = {pins[name] for name in ("primary_fire", "primary_trickle", "backup_opener", "backup_locker",
                                         "backup_trickle", "lights") if name in pins}
    for events in body.starts:
        assert [event for event in events if event[1] in dangerous and event[2]] == []
        assert any(event[1] in dangerous for event in events)


def test_the_register_is_enabled_only_after_zeros_were_shifted_into_it(reset_at_every_attempt):
    body, _result = reset_at_every_attempt
    enable, latch = body._pins["PINS"]["register_enable"], body._pins["PINS"]["register_latch"]
    for events in body.starts:
        pins = [(pin, level) for _verb, pin, level in events if pin in (enable, latch)]
        assert pins[0] in ((enable, 1), (latch, 0))
        assert pins.index((latch, 1)) < pins.index((enable, 0))


def test_an_attempt_that_reset_the_board_is_answered_by_the_other_channel(reset_at_every_attempt):
    body, result = reset_at_every_attempt
    attempts = [attempt.channel for attempt in result.evidence.attempts]
    assert attempts == ["primary", "backup"] and result.surfaced_at is not None
    assert broken(result) == {}


def test_without_a_whole_plan_it_refuses_to_arm_and_releases_under_water():
    _body, result = flown(is_planned=True)
    told = [(item.kind, item.what) for item in result.evidence.timeline]
    assert not any(kind == "state" and what == "armed" for kind, what in told), told
    assert result.evidence.command_s is not None
    assert result.evidence.command_s - result.evidence.splash_s < 60.0 * PLAN.times.timed_release_min
    assert result.surfaced_at is not None and broken(result) == {}
