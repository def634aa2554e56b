"""The trickle by itself: its limits, its verdicts at their edges, and that it is off when it should be."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import trickle
from drivers.trickle import OPEN, SHORTED, SOUND, UNTESTED, Trickle
from drivers.upkeep import RING
from seatrial.chips.circuits import Pin


class Node:
    """A converter that shows `idle` without and `driven` with the trickle; readings are counted."""

    def __init__(self, pin: Pin, idle: int, driven: int) -> None:
        self.pin, self.idle, self.driven, self.readings = pin, idle, driven, 0

    def read_u16(self) -> int:
        self.readings += 1
        return self.driven if self.pin.level else self.idle


def trickled(driven: int, idle: int = 0, begin_ms: int = 0, **limits) -> Trickle:
    pin = Pin()
    tester = Trickle(pin, Node(pin, idle, driven), **limits)
    assert tester.begin(begin_ms) == 1 and pin.level == 1
    now_ms = begin_ms
    for _ in range(100):
        now_ms = (now_ms + 1) & RING
        if tester.sample(now_ms):
            assert pin.level == 0
            return tester
    raise AssertionError("the test did not end")


def test_the_numbers_of_the_verdicts_are_those_of_the_inputs_of_the_core():
    assert (UNTESTED, SOUND, OPEN, SHORTED) == (0, 1, 2, 3)


@pytest.mark.parametrize("test_ma, verdict", [(0, OPEN), (1, OPEN), (2, SOUND), (8, SOUND), (9, SHORTED), (10, SHORTED)])
@pytest.mark.parametrize("begin_ms", [0, RING - 10])
def test_the_verdicts_begin_where_the_limits_say(test_ma, verdict, begin_ms):
    tester = trickled(65535 - round(65535 * test_ma / 10), begin_ms=begin_ms)
    assert (tester.circuit, tester.test_ma) == (verdict, test_ma)


@given(st.integers(0, 65535), st.integers(5, 20))
def test_the_current_is_ohms_law_to_the_nearest_milliampere(counts, short_ma):
    assert abs(trickled(counts, short_ma=short_ma).test_ma - short_ma * (1 - counts / 65535)) <= 0.5 + 1e-9


@pytest.mark.parametrize("idle, verdict", [(0, SOUND), (30000 - 2048, SOUND), (30000 - 2047, UNTESTED),
                                           (30000, UNTESTED), (65535, UNTESTED)])
def test_a_node_that_the_trickle_hardly_moves_proves_nothing(idle, verdict):
    assert trickled(30000, idle).circuit == verdict


@pytest.mark.parametrize("driven, verdict", [(0, UNTESTED), (255, UNTESTED), (256, SOUND), (4000, SOUND), (65535, OPEN)])
def test_with_no_limit_above_nothing_is_called_shorted_and_a_step_is_still_needed(driven, verdict):
    assert trickled(driven, short_above_ma=0, step_counts=256).circuit == verdict


@pytest.mark.parametrize("idle, verdict", [(29999, SOUND), (30000, UNTESTED)])
def test_the_least_step_may_be_a_single_count(idle, verdict):
    assert trickled(30000, idle, step_counts=1).circuit == verdict


def test_a_verdict_comes_when_the_node_has_settled_and_not_before():
    pin = Pin()
    node = Node(pin, 0, 30000)
    tester = Trickle(pin, node)
    tester.begin(0)
    for now_ms in range(trickle.TRICKLE_MS):
        assert tester.sample(now_ms) == 0
    assert node.readings == 1, "the idle one"
    assert [tester.sample(trickle.TRICKLE_MS + at) for at in range(trickle.SAMPLES)] == [0, 0, 0, 1]
    assert node.readings == 1 + trickle.SAMPLES


def test_several_readings_are_averaged():
    pin = Pin()
    readings = iter([0, 65535, 65535, 13107, 13107])

    class Noisy:
        def read_u16(self) -> int:
            return next(readings)

    tester = Trickle(pin, Noisy())
    tester.begin(0)
    while not tester.sample(trickle.TRICKLE_MS):
        pass
    assert tester.test_ma == 4  # by hand: the mean is 39321, 0.6 of full; 0.4 of 10 mA


def test_a_second_test_begins_anew():
    pin = Pin()
    node = Node(pin, 0, 30000)
    tester = Trickle(pin, node)
    for driven, verdict in ((30000, SOUND), (65535, OPEN), (0, SHORTED), (30000, SOUND)):
        node.driven = driven
        tester.begin(0)
        assert (tester.circuit, tester.test_ma) == (UNTESTED, 0)
        tester.sample(trickle.TRICKLE_MS)
        tester.off()  # a test that was broken off half way leaves nothing behind
        tester.begin(100)
        while not tester.sample(100 + trickle.TRICKLE_MS):
            pass
        assert tester.circuit == verdict


@pytest.mark.parametrize("begin_ms", [0, RING - 10])
def test_a_test_is_overdue_after_half_a_second(begin_ms):
    pin = Pin()
    tester = Trickle(pin, Node(pin, 0, 30000))
    tester.begin(begin_ms)
    assert not tester.is_overdue((begin_ms + trickle.TEST_MS_MAX) & RING)
    assert tester.is_overdue((begin_ms + trickle.TEST_MS_MAX + 1) & RING)


@pytest.mark.parametrize("begin_ms", [0, RING - 1000])
def test_a_verdict_is_forgotten_after_a_minute_or_on_demand(begin_ms):
    tester = trickled(30000, begin_ms=begin_ms)
    done_ms = begin_ms + trickle.TRICKLE_MS + trickle.SAMPLES - 1
    tester.age((done_ms + trickle.TESTED_MS) & RING)
    assert tester.circuit == SOUND
    tester.age((done_ms + trickle.TESTED_MS + 1) & RING)
    assert tester.circuit == UNTESTED
    tester = trickled(30000)
    tester.forget()
    assert tester.circuit == UNTESTED


def test_the_node_is_read_before_the_trickle_is_on_and_a_dead_node_leaves_it_off():
    class Dead:
        def read_u16(self) -> int:
            raise OSError

    pin = Pin()
    with pytest.raises(OSError):
        Trickle(pin, Dead()).begin(0)
    assert pin.level == 0


def test_nothing_is_claimed_before_a_test():
    tester = Trickle(Pin(), Node(Pin(), 0, 0))
    assert (tester.circuit, tester.test_ma) == (UNTESTED, 0)


def test_a_trickle_that_is_not_fitted_begins_nothing():
    tester = Trickle(None, None)
    assert tester.begin(0) == 0 and tester.off() == 1 and tester.circuit == UNTESTED


@pytest.mark.parametrize("limits, says", [
    ({"short_ma": 4}, "allowed is 5 to 20"), ({"short_ma": 21}, "allowed is 5 to 20"),
    ({"open_below_ma": 0}, "must rise"), ({"open_below_ma": 8}, "must rise"),
    ({"short_above_ma": 10}, "within 1 to 9"), ({"open_below_ma": 10, "short_above_ma": 0}, "must rise"),
    ({"step_counts": 0}, "allowed is 1 to 65534"), ({"step_counts": 65535}, "allowed is 1 to 65534"),
])
def test_limits_that_do_not_fit_are_refused_with_the_trickle_off(limits, says):
    pin = Pin(1)
    with pytest.raises(ValueError, match=says):
        Trickle(pin, Node(pin, 0, 0), **limits)
    assert pin.level == 0


def test_a_trickle_without_a_node_is_refused_with_the_trickle_off():
    pin = Pin(1)
    with pytest.raises(ValueError, match="needs the converter"):
        Trickle(pin, None)
    assert pin.level == 0
