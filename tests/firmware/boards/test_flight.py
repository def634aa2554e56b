"""The controller at work: steps when asked, feeds its watchdog by steps alone, and holds a release only while it steps."""

import sys
from types import SimpleNamespace

import pytest

from drivers.upkeep import RING
from lander import orders
from lander.journal import RECORD_BYTES
from lander.table import RECORD, RELEASE, SAFE


class Slots:
    """A journal's memory, and the volume with the plan on it."""

    def __init__(self, _device, wanted_slots) -> None:
        self.slots = 600
        self.kept = {}
        self.volume = SimpleNamespace(fs=None, prove=lambda: self.holds)
        self.holds = True

    def mount(self) -> int:
        return 0

    def read(self, slot, buffer) -> bool:
        buffer[:] = self.kept.get(slot, b"\xff" * RECORD_BYTES)
        return True

    def write(self, slot, data) -> bool:
        self.kept[slot] = bytes(data)
        self.log.append("record")
        return True


class Board:
    """Time goes on only while it sleeps; `edges` are the times at which a line wakes it."""

    def __init__(self, log) -> None:
        self.log = log
        self.now_ms = RING - 5000  # so that the counter wraps at the start
        self.slept = []
        self.steps = []
        self.edge_at = None
        self.turn_ms = 0

    def ticks_ms(self) -> int:
        return self.now_ms & RING

    def sleep_ms(self, span_ms, is_deep) -> int:
        self.slept.append((span_ms, is_deep))
        if self.edge_at is not None and self.now_ms + span_ms > self.edge_at:
            self.now_ms, self.edge_at = max(self.now_ms, self.edge_at), None
            return 1
        self.now_ms += span_ms
        return 0

    def flash(self):
        return None

    def turned(self) -> None:
        self.now_ms += self.turn_ms

    def reset_cause(self) -> int:
        return 0

    def watchdog(self):
        return SimpleNamespace(feed=lambda: self.log.append("feed"))

    def booted(self, next_slot, bad) -> None:
        self.log.append("booted")

    def stepped(self, inputs, outputs, wake_ds) -> None:
        self.steps.append((self.now_ms, wake_ds))


class Gear:
    """Parts that note what is asked of them."""

    def __init__(self, log) -> None:
        self.log = log
        self.wanted_ms = RING
        self.ticks = 0
        self.tests = 0
        self.thermometers = SimpleNamespace(tick=lambda now_ms: None)
        for channel in ("primary", "backup"):
            fire = lambda now_ms, pct, channel=channel: self.log.append((channel, now_ms, pct))  # noqa: E731
            setattr(self, channel, SimpleNamespace(fire=fire))

    def start(self, now_ms) -> None:
        self.log.append("start")

    def tick(self, now_ms) -> None:
        self.ticks += 1

    def test(self, now_ms) -> None:
        self.tests += 1

    def next_tick_ms(self, now_ms) -> int:
        return self.wanted_ms

    def settle(self) -> None:
        self.log.append("settle")

    def needs_clock(self) -> int:
        return 0


class Mission:
    """Answers what the test wants of a step."""

    def __init__(self, record=None) -> None:
        self.orders = orders.Orders()
        self.state = SAFE
        self.wake_ds = 20
        self.outputs = {}
        self.seen_ds = []

    def boot(self, newest, inputs) -> None:
        self.newest = newest

    def step(self, inputs, outputs) -> int:
        self.seen_ds.append(inputs.uptime_ds)
        outputs.record_count = 0
        for name, value in self.outputs.items():
            setattr(outputs, name, value)
        return self.wake_ds


@pytest.fixture
def flight(monkeypatch):
    """A flight that has booted, with fakes around it, and everything that happened to them in `log`."""
    monkeypatch.setitem(sys.modules, "vfs", SimpleNamespace(VfsLfs2=None))
    for name in ("boards.flash_volume", "boards.flash_journal", "boards.flight"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    from boards import flight as module

    log = []
    monkeypatch.setattr(module, "FlashJournal", Slots)
    monkeypatch.setattr(module, "Mission", Mission)
    monkeypatch.setattr(module.readings, "fill", lambda *_: None)
    monkeypatch.setattr(module.readings, "fill_tests", lambda *_: None)
    monkeypatch.setattr(module.Drives, "apply", lambda drives, outputs, now_ms: (
        log.append("apply"), setattr(drives, "primary_pct", outputs.release_primary_pct)))
    monkeypatch.setattr(Slots, "log", log, raising=False)
    line = SimpleNamespace(hear=lambda *_: None, take_command=lambda: 0, is_quiet=1, wanted_ms=RING, session=None,
                           poke=None)
    made = module.Flight(Board(log), Gear(log), line)
    made.module, made.log = module, log
    made.boot()
    return made


def next_step(flight) -> int:
    """Go on until a step is done; the board's time at it."""
    done = len(flight.board.steps)
    for _ in range(10000):
        flight.turn()
        if len(flight.board.steps) > done:
            return flight.board.steps[-1][0]
    raise AssertionError("no step came")


def test_it_starts_its_parts_before_it_takes_up_the_journal(flight):
    assert flight.log[0] == "start" and flight.log[-1] == "booted"


def test_a_step_comes_exactly_when_the_mission_asked_for_it(flight):
    first_ms = next_step(flight)
    flight.mission.wake_ds = 13
    times = [next_step(flight) for _ in range(5)]
    assert [time - first_ms for time in times] == [2000, 3300, 4600, 5900, 7200]


def test_a_board_whose_turns_take_long_keeps_the_beat(flight):
    flight.board.turn_ms = 15
    first_ms = next_step(flight)
    times = [next_step(flight) - first_ms for _ in range(20)]
    assert all(abs(time - 2000 * (number + 1)) <= 20 for number, time in enumerate(times))


def test_the_count_of_time_goes_on_over_the_wrap_of_the_counter(flight):
    for _ in range(5):
        next_step(flight)
    assert flight.mission.seen_ds[0] <= 4
    assert [after - before for before, after in zip(flight.mission.seen_ds, flight.mission.seen_ds[1:],
                                                    strict=False)] == [20, 20, 20, 20]


def test_the_parts_have_turns_for_fresh_readings_before_every_step(flight):
    next_step(flight)
    before = flight.gear.ticks
    next_step(flight)
    assert flight.gear.ticks - before >= flight.module.LEAD_MS // flight.module.TICK_MS


def test_it_never_sleeps_past_half_of_its_watchdog(flight):
    next_step(flight)
    flight.mission.wake_ds = 36000
    at_ms = next_step(flight)
    assert next_step(flight) - at_ms == flight.module.LONGEST_MS
    assert flight.board.steps[-1][1] == flight.module.LONGEST_MS // 100


def test_the_watchdog_is_fed_by_steps_and_by_nothing_else(flight):
    for _ in range(20):
        next_step(flight)
    assert flight.log.count("feed") == len(flight.board.steps) == 20
    flight._step = lambda now_ms: None  # the mission hangs, everything else goes on
    for _ in range(200):
        flight.turn()
        flight.board.now_ms += 20
    assert flight.log.count("feed") == 20


def test_records_are_stored_before_outputs_are_applied(flight):
    flight.mission.outputs = {"record_count": 2}
    flight.log.clear()
    next_step(flight)
    kinds = [entry if isinstance(entry, str) else entry[0] for entry in flight.log]
    assert kinds.index("apply") > max(index for index, kind in enumerate(kinds) if kind == "record")
    assert kinds.index("feed") > kinds.index("apply")


def test_an_edge_brings_the_step_forward(flight):
    next_step(flight)
    at_ms = next_step(flight)  # and the board sleeps until the next one, 2 s later
    flight.mission.wake_ds = 36000
    flight.board.edge_at = at_ms + 2700
    at_ms = next_step(flight)
    assert next_step(flight) == at_ms + 700 + flight.module.LEAD_MS


def test_a_release_is_held_between_the_steps(flight):
    flight.mission.outputs = {"release_primary_pct": 50}
    flight.mission.wake_ds = 40
    flight.gear.wanted_ms = 250
    next_step(flight)
    flight.log.clear()
    next_step(flight)
    holds = [entry for entry in flight.log if entry[0] == "primary"]
    assert len(holds) >= 10 and {entry[2] for entry in holds} == {50}


def test_a_release_is_not_held_once_the_step_is_overdue(flight):
    flight.mission.outputs = {"release_primary_pct": 100}
    next_step(flight)
    flight._step = lambda now_ms: None  # the mission hangs, everything else goes on
    flight.gear.wanted_ms = 100
    due_ms = flight.due_ms
    flight.log.clear()
    for _ in range(300):
        flight.turn()
        flight.board.now_ms += 20
    last = [entry[1] for entry in flight.log if entry[0] == "primary"][-1]
    assert (last - due_ms) & RING < flight.module.OVERDUE_MS


def test_it_sleeps_deep_only_at_sea_or_armed_and_with_nobody_at_the_line(flight):
    flight.mission.wake_ds = 30
    for state, quiet, wanted in ((SAFE, 1, 0), (RECORD, 1, 1), (RECORD, 0, 0), (RELEASE, 1, 1)):
        next_step(flight)
        flight.mission.state, flight.line.is_quiet = state, quiet
        flight.board.slept.clear()
        next_step(flight)
        assert max(deep for span_ms, deep in flight.board.slept if span_ms >= flight.module.DEEP_MS) == wanted


def test_no_current_flows_through_the_electrodes_while_it_sleeps(flight):
    next_step(flight)
    flight.log.clear()
    next_step(flight)
    assert "settle" in flight.log


def test_the_self_test_tries_the_circuits_and_the_store_as_long_as_it_is_asked_for(flight):
    assert flight.store_test == flight.module.NOT_TESTED and flight.gear.tests == 0
    flight.mission.outputs = {"self_test": 1}
    next_step(flight)
    flight.turn()
    assert flight.store_test == flight.module.HOLDS and flight.gear.tests
    flight.mission.outputs = {"self_test": 0}
    next_step(flight)
    assert flight.store_test == flight.module.NOT_TESTED
    flight.slots.holds = False
    flight.mission.outputs = {"self_test": 1}
    next_step(flight)
    flight.turn()
    assert flight.store_test == flight.module.FAILED


def test_whatever_goes_wrong_the_outputs_go_off(flight, monkeypatch):
    gear = SimpleNamespace(off=lambda: flight.log.append("off"), **vars(flight.gear))
    monkeypatch.setattr("boards.gear.Gear", lambda board: gear)
    flight.board.give_back = lambda: flight.log.append("flash given back")

    def breaks(*_):
        raise MemoryError

    monkeypatch.setattr(flight.module.Flight, "boot", breaks)
    with pytest.raises(MemoryError):
        flight.module.run(flight.board)
    assert flight.log[-2:] == ["off", "flash given back"]
