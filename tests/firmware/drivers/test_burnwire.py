"""The burn wire: both switches or nothing, permission that runs out, a trickle that tells sound from open and shorted."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import burnwire
from drivers.burnwire import STUCK_BOTH, STUCK_FIRE
from drivers.circuits import TOLD_MS
from drivers.trickle import OPEN, SHORTED, SOUND, TEST_MS_MAX, UNTESTED
from drivers.upkeep import RING
from seatrial.chips.circuits import BurnWireCircuit


class Bench:
    """A burn wire with its circuit, and a clock of 10 ms."""

    def __init__(self, begin_ms: int = 0, **circuit) -> None:
        self.circuit = BurnWireCircuit(**circuit)
        self.driver = burnwire.BurnWire(
            self.circuit.arm, self.circuit.fire, self.circuit.trickle, self.circuit.sense, self.circuit.node)
        self.now_ms = begin_ms
        self.started = self.driver.start(begin_ms & RING)
        self.hottest_ma = 0.0

    def wait(self, seconds: float, percent: int | None = None, every_ms: int = 10) -> "Bench":
        """Tick for so long; with a percent the caller gives its permission at every tick."""
        for _ in range(int(1000 * seconds) // every_ms):
            self.now_ms += every_ms
            self.circuit.advance(every_ms / 1000)
            if percent is not None:
                self.driver.fire(self.now_ms & RING, percent)
            self.driver.tick(self.now_ms & RING)
            self.hottest_ma = max(self.hottest_ma, self.circuit.wire_ma)
        return self

    def test(self) -> "Bench":
        self.wait(0.2)
        assert self.driver.test(self.now_ms & RING) == 1
        return self.wait(0.2)

    def is_dark(self) -> bool:
        """All three outputs are off."""
        return not (self.circuit.arm.level or self.circuit.fire.duty or self.circuit.trickle.level)


BEGINNINGS = pytest.mark.parametrize("begin_ms", [0, RING - 100, RING - 1500], ids=["early", "wraps soon", "wraps later"])


def test_all_outputs_are_off_from_construction_before_anything_can_fail():
    circuit = BurnWireCircuit()
    circuit.arm.level, circuit.fire.duty, circuit.trickle.level = 1, 65535, 1
    with pytest.raises(ValueError):
        burnwire.BurnWire(circuit.arm, circuit.fire, circuit.trickle, circuit.sense, circuit.node, full_ma=0)
    assert (circuit.arm.level, circuit.fire.duty, circuit.trickle.level) == (0, 0, 0)


@pytest.mark.parametrize("numbers, says", [
    ({"full_ma": 20000}, "allowed is 1 to 16383"),
    ({"short_ma": 21}, "allowed is 5 to 20, a 50th of the firing current"),
    ({"short_ma": 4}, "allowed is 5 to 20"),
    ({"open_below_ma": 8}, "open below 8 mA and shorted above 8 mA"),
    ({"open_below_ma": 0}, "must rise"),
    ({"short_above_ma": 10}, "stay within 1 to 9"),
])
def test_numbers_that_do_not_fit_are_refused_with_the_outputs_off(numbers, says):
    circuit = BurnWireCircuit()
    circuit.arm.level = 1
    with pytest.raises(ValueError, match=says):
        burnwire.BurnWire(circuit.arm, circuit.fire, circuit.trickle, circuit.sense, circuit.node, **numbers)
    assert circuit.arm.level == 0


@BEGINNINGS
@pytest.mark.parametrize("percent, full_ma", [(100, 997), (50, 498), (25, 249), (150, 997)])
def test_a_fired_wire_carries_its_current_and_shows_it(begin_ms, percent, full_ma):
    bench = Bench(begin_ms).wait(0.5).wait(1, percent)
    assert bench.driver.state == burnwire.FIRING
    assert bench.circuit.wire_ma == pytest.approx(full_ma, abs=1.5)  # Ohm's law: 14800 mV / 14.85 Ohm
    assert bench.driver.ok and abs(bench.driver.ma - full_ma) <= 2
    assert not bench.driver.stuck and not bench.driver.faults


def test_the_arm_switch_closes_before_the_fire_switch_and_alone_carries_nothing():
    bench = Bench().wait(0.5)
    bench.driver.fire(bench.now_ms, 100)
    assert bench.circuit.arm.level == 1 and bench.circuit.fire.duty == 0 and bench.circuit.wire_ma == 0
    bench.driver.tick(bench.now_ms + burnwire.ARM_MS - 1)
    assert bench.circuit.fire.duty == 0
    bench.driver.tick(bench.now_ms + burnwire.ARM_MS)
    assert bench.circuit.fire.duty == 65535


@pytest.mark.parametrize("arm, fire", list(itertools.product((0, 1), (0, 1))))
def test_both_switches_are_needed(arm, fire):
    circuit = BurnWireCircuit()
    circuit.arm(arm)
    circuit.fire.duty_u16(65535 * fire)
    assert (circuit.wire_ma > 0) == (arm and fire)


@BEGINNINGS
def test_a_caller_that_stops_telling_stops_the_firing_after_two_seconds(begin_ms):
    bench = Bench(begin_ms).wait(0.5).wait(1, 100)
    bench.wait(TOLD_MS / 1000)
    assert bench.driver.state == burnwire.FIRING
    bench.wait(0.01)
    assert bench.is_dark() and bench.driver.state == burnwire.OFF
    assert bench.driver.lapses == 1
    charge_c = bench.circuit.charge_c
    bench.wait(10)
    assert bench.circuit.charge_c == charge_c
    assert bench.wait(1, 100).driver.state == burnwire.FIRING, "a caller that came back may fire again"


def test_an_interrupt_that_only_calls_lapse_stops_a_firing_that_nobody_ticks():
    bench = Bench().wait(0.5).wait(1, 100)
    bench.driver.lapse(bench.now_ms + TOLD_MS)
    assert bench.circuit.wire_ma > 0
    bench.driver.lapse(bench.now_ms + TOLD_MS + 1)
    assert bench.is_dark()


@BEGINNINGS
def test_told_every_two_seconds_is_enough(begin_ms):
    bench = Bench(begin_ms).wait(0.5)
    for _ in range(10):
        bench.driver.fire(bench.now_ms & RING, 100)
        bench.wait(TOLD_MS / 1000)
    assert bench.driver.state == burnwire.FIRING and not bench.driver.lapses


@pytest.mark.parametrize("percent", [0, -3])
def test_told_nothing_is_off_at_once(percent):
    bench = Bench().wait(0.5).wait(1, 100)
    bench.driver.fire(bench.now_ms, percent)
    assert bench.is_dark()
    assert not bench.wait(1, percent).driver.stuck
    assert bench.driver.ok and bench.driver.ma == 0


@given(st.lists(st.sampled_from(["fire", "weak", "none", "off", "test", "wait", "long", "start", "fail"]), max_size=40),
       st.integers(0, RING))
def test_whatever_is_called_the_wire_carries_a_current_only_with_permission(calls, begin_ms):
    bench = Bench(begin_ms)
    permitted_ms = -10 * TOLD_MS
    for call in calls:
        now_ms = bench.now_ms & RING
        if call in ("fire", "weak"):
            bench.driver.fire(now_ms, 100 if call == "fire" else 30)
            permitted_ms = bench.now_ms
        elif call == "none":
            bench.driver.fire(now_ms, 0)
            permitted_ms = -10 * TOLD_MS
        elif call == "off":
            bench.driver.off()
            permitted_ms = -10 * TOLD_MS
        elif call == "start":
            bench.driver.start(now_ms)
            permitted_ms = -10 * TOLD_MS
        elif call == "test":
            bench.driver.test(now_ms)
        elif call == "fail":
            bench.circuit.node.fail_next = 1
        for _ in range(1 if call == "wait" else 30 if call == "long" else 4):
            bench.wait(0.01 if call == "wait" else 0.1)
            is_permitted = bench.now_ms - permitted_ms <= TOLD_MS
            assert is_permitted or bench.circuit.wire_ma <= 10.0
            assert is_permitted or not (bench.circuit.arm.level or bench.circuit.fire.duty)


@pytest.mark.parametrize("condition, load_ohm, cell_mv, verdict, shows_ma", [
    ("sound", 330, 0, SOUND, 5),  # the plug
    ("sound", 10, 1500, SOUND, 5),  # wet: a cell of 1.5 V and 10 Ohm (invented, of the usual size)
    ("sound", 100, 0, SOUND, 8),
    ("sound", 1200, 0, SOUND, 2),
    ("open", 330, 0, OPEN, 0),
    ("sound", 5000, 0, OPEN, 1),
    ("shorted", 330, 0, SHORTED, 10),
    ("sound", 5, 0, SHORTED, 10),
])
@BEGINNINGS
def test_the_trickle_tells_sound_from_open_and_shorted(condition, load_ohm, cell_mv, verdict, shows_ma, begin_ms):
    bench = Bench(begin_ms, load_ohm=load_ohm, cell_mv=cell_mv)
    bench.circuit.condition = condition
    bench.test()
    assert (bench.driver.circuit, bench.driver.test_ma) == (verdict, shows_ma)
    assert bench.is_dark() and bench.driver.state == burnwire.OFF and not bench.driver.faults


@pytest.mark.parametrize("diode_mv", [150, 300, 400])
@pytest.mark.parametrize("condition, load_ohm, verdict", [
    ("sound", 330, SOUND), ("sound", 100, SOUND), ("sound", 1200, SOUND), ("open", 330, OPEN), ("shorted", 330, SHORTED)])
def test_the_diode_in_the_way_of_the_trickle_changes_no_verdict(condition, load_ohm, verdict, diode_mv):
    bench = Bench(load_ohm=load_ohm)
    bench.circuit.condition, bench.circuit.diode_mv = condition, diode_mv
    assert bench.test().driver.circuit == verdict


@pytest.mark.parametrize("condition", ["sound", "open", "shorted"])
def test_the_trickle_is_far_below_firing_in_every_circuit(condition):
    bench = Bench(load_ohm=14.8)
    bench.circuit.condition = condition
    bench.test()
    assert bench.hottest_ma <= 1000 / burnwire.TRICKLE_FACTOR
    assert bench.circuit.charge_c <= 0.002


def test_a_verdict_is_forgotten_after_a_minute_and_by_firing_and_by_the_next_test():
    bench = Bench(load_ohm=330).test()
    bench.wait(59, every_ms=100)
    assert bench.driver.circuit == SOUND
    bench.wait(2, every_ms=100)
    assert bench.driver.circuit == UNTESTED
    bench.test()
    bench.driver.fire(bench.now_ms, 100)
    assert bench.driver.circuit == UNTESTED
    bench.driver.off()
    bench.test()
    assert bench.driver.test(bench.now_ms + 1) in (0, 1)
    bench.wait(1)
    bench.driver.test(bench.now_ms)
    assert bench.driver.circuit == UNTESTED


def test_a_test_begins_only_when_the_channel_has_been_off_for_a_while():
    bench = Bench(load_ohm=330)
    assert bench.driver.test(50) == 0
    bench.wait(0.5).wait(0.5, 100)
    assert bench.driver.test(bench.now_ms) == 0
    bench.driver.off()
    assert bench.driver.test(bench.now_ms) == 0
    bench.wait(0.2)
    assert bench.driver.test(bench.now_ms) == 1
    assert bench.driver.test(bench.now_ms) == 0


def test_a_firing_ends_a_test_and_the_trickle():
    bench = Bench(load_ohm=330).wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.wait(0.02)
    assert bench.circuit.trickle.level == 1
    bench.driver.fire(bench.now_ms, 100)
    assert bench.circuit.trickle.level == 0
    assert bench.wait(0.1).driver.state == burnwire.FIRING


def test_a_trickle_pin_that_fails_delays_no_firing_and_is_switched_off_as_soon_as_it_can_be():
    bench = Bench(load_ohm=330).wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.wait(0.02)
    bench.circuit.trickle.dead = True
    bench.wait(0.05, 100)
    assert bench.driver.state == burnwire.FIRING and bench.circuit.arm.level and bench.driver.faults == 1
    bench.circuit.trickle.dead = False
    bench.wait(0.01, 100)
    assert bench.circuit.trickle.level == 0 and bench.driver.state == burnwire.FIRING


def test_without_a_trickle_nothing_is_tested_and_the_wire_fires():
    circuit = BurnWireCircuit()
    driver = burnwire.BurnWire(circuit.arm, circuit.fire, None, circuit.sense, circuit.node)
    driver.start(0)
    assert driver.test(500) == 0 and (driver.state, driver.circuit) == (burnwire.OFF, UNTESTED)
    driver.fire(600, 100)
    driver.tick(610)
    assert driver.state == burnwire.FIRING


def test_a_caller_that_applies_nothing_at_every_tick_does_not_end_a_test():
    bench = Bench(load_ohm=330).wait(0.3, 0)
    assert bench.driver.test(bench.now_ms) == 1
    assert bench.wait(0.2, 0).driver.circuit == SOUND


def test_off_ends_a_test():
    bench = Bench(load_ohm=330).wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.driver.off()
    assert bench.is_dark()
    assert bench.wait(0.3).driver.circuit == UNTESTED


def test_a_test_that_nobody_ticks_is_ended_by_lapse():
    bench = Bench(load_ohm=330).wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.driver.lapse(bench.now_ms + TEST_MS_MAX)
    assert bench.circuit.trickle.level == 1
    bench.driver.lapse(bench.now_ms + TEST_MS_MAX + 1)
    assert bench.is_dark() and bench.driver.faults == 1
    bench.now_ms += TEST_MS_MAX
    bench.wait(2)
    assert bench.test().driver.circuit == SOUND


@given(st.integers(0, 65535))
def test_a_converter_that_stands_still_never_makes_a_sound_circuit(counts):
    bench = Bench(load_ohm=330)
    bench.circuit.node.stuck_counts = counts
    bench.test()
    assert bench.driver.circuit in (UNTESTED, SHORTED)


def test_switches_that_conduct_while_off_are_told_and_make_no_sound_circuit():
    bench = Bench(load_ohm=330)
    bench.circuit.arm_welded = bench.circuit.fire_welded = True
    bench.wait(0.3)
    assert bench.driver.stuck & STUCK_BOTH
    bench.test()
    assert bench.driver.circuit != SOUND
    bench.driver.start(bench.now_ms)
    assert bench.driver.stuck == 0


def test_a_fire_switch_that_conducts_is_told_when_armed_and_stops_no_release():
    bench = Bench()
    bench.circuit.fire_welded = True
    bench.wait(0.5)
    assert bench.driver.stuck == 0, "one switch alone shows nothing while both are off"
    bench.wait(1, 100)
    assert bench.driver.stuck == STUCK_FIRE
    assert bench.driver.state == burnwire.FIRING


@pytest.mark.parametrize("condition, believed", [("open", True), ("shorted", False)])
def test_a_firing_current_beyond_the_range_is_not_believed_and_none_is(condition, believed):
    bench = Bench()
    bench.circuit.condition = condition
    bench.wait(0.5).wait(1, 100)
    assert bench.driver.ok == believed
    if believed:
        assert bench.driver.ma == 0


def test_a_current_that_cannot_be_read_is_not_believed_at_once_and_the_firing_goes_on():
    bench = Bench().wait(0.5).wait(1, 100)
    bench.circuit.sense.dead = True
    bench.wait(0.01, 100)
    assert not bench.driver.ok
    bench.wait(3, 100)
    assert bench.driver.state == burnwire.FIRING
    bench.circuit.sense.dead = False
    assert bench.wait(0.01, 100).driver.ok


@pytest.mark.parametrize("line", ["arm", "fire"])
def test_a_pin_that_fails_switches_the_others_off_and_is_tried_again_after_a_second(line):
    bench = Bench().wait(0.5)
    getattr(bench.circuit, line).dead = True
    bench.wait(5, 100)
    assert bench.circuit.wire_ma == 0 and bench.driver.faults >= 4
    getattr(bench.circuit, line).dead = False
    bench.wait(1.1, 100)
    assert bench.driver.state == burnwire.FIRING and bench.circuit.wire_ma > 900


@pytest.mark.parametrize("line", ["arm", "fire"])
def test_a_pin_that_failed_is_left_alone_for_a_second_and_then_tried_with_the_permission_that_is_left(line):
    bench = Bench().wait(0.5)
    bench.driver.fire(bench.now_ms, 40)
    getattr(bench.circuit, line).dead = True
    bench.driver.fire(bench.now_ms, 40)
    bench.wait(0.02)
    assert bench.driver.state == burnwire.FAILED
    getattr(bench.circuit, line).dead = False
    bench.wait(0.9)
    assert bench.is_dark() and bench.driver.state == burnwire.FAILED
    bench.wait(0.2)
    assert bench.driver.state == burnwire.FIRING
    assert bench.circuit.fire.duty == 26214  # 40 %


def test_a_node_that_cannot_be_read_ends_a_test_at_once_and_is_no_stuck_switch():
    bench = Bench(load_ohm=330).wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.circuit.node.dead = True
    bench.wait(0.03)
    assert bench.is_dark() and bench.driver.circuit == UNTESTED and bench.driver.faults == 1
    bench.wait(3)
    assert bench.driver.test(bench.now_ms) == 0
    bench.wait(3).wait(0.5, 100)
    assert bench.driver.state == burnwire.FIRING and bench.driver.stuck == 0


def test_a_start_forgets_everything():
    bench = Bench(load_ohm=330).test()
    bench.driver.start(bench.now_ms)
    assert (bench.driver.circuit, bench.driver.percent, bench.driver.stuck) == (UNTESTED, 0, 0)


def test_nothing_is_claimed_before_the_first_tick():
    circuit = BurnWireCircuit()
    driver = burnwire.BurnWire(circuit.arm, circuit.fire, circuit.trickle, circuit.sense, circuit.node)
    assert (driver.ok, driver.ma, driver.circuit, driver.test_ma, driver.stuck) == (0, 0, UNTESTED, 0, 0)
    assert (driver.state, driver.percent, driver.faults, driver.lapses) == (burnwire.OFF, 0, 0, 0)


def test_a_pin_that_fails_is_not_tried_again_without_permission():
    bench = Bench().wait(0.5)
    bench.circuit.fire.dead = True
    bench.wait(0.5, 100)
    bench.wait(3)
    bench.circuit.fire.dead = False
    bench.wait(3)
    assert bench.is_dark()


@pytest.mark.parametrize("lines", [("arm",), ("fire",), ("trickle",), ("arm", "fire", "trickle")])
def test_off_never_raises_and_reaches_every_pin_that_works_and_is_made_good(lines):
    bench = Bench().wait(0.5).wait(1, 100)
    for line in lines:
        getattr(bench.circuit, line).dead = True
    assert bench.driver.off() == 0
    assert bench.circuit.arm.dead or bench.circuit.arm.level == 0
    assert bench.circuit.fire.dead or bench.circuit.fire.duty == 0
    for line in lines:
        getattr(bench.circuit, line).dead = False
    bench.wait(0.01)
    assert bench.is_dark()


def test_a_start_with_a_dead_pin_or_an_unread_current_says_so():
    bench = Bench()
    assert bench.started == 1
    bench.circuit.arm.dead = True
    assert bench.driver.start(0) == 0
    bench.circuit.arm.dead = False
    bench.circuit.sense.dead = True
    assert bench.driver.start(0) == 0


def test_an_upset_of_a_pin_does_not_last():
    bench = Bench().wait(0.5)
    bench.circuit.arm.level, bench.circuit.fire.duty = 1, 65535
    bench.wait(0.01)
    assert bench.is_dark()
    bench.wait(1, 100)
    bench.circuit.arm.level = bench.circuit.fire.duty = 0
    bench.wait(0.01, 100)
    assert bench.circuit.wire_ma > 900


def test_a_test_that_failed_just_after_a_firing_does_not_fire_again():
    bench = Bench(load_ohm=330).wait(0.5)
    bench.driver.fire(bench.now_ms, 100)
    bench.wait(0.05, 0).wait(0.15)
    assert bench.driver.test(bench.now_ms) == 1
    bench.circuit.node.dead = True
    for _ in range(190):
        bench.wait(0.01)
        assert bench.is_dark() or bench.circuit.trickle.level
        assert not bench.circuit.arm.level


def test_an_off_that_was_not_taken_is_counted():
    bench = Bench()
    bench.circuit.arm.dead = True
    bench.driver.off()
    assert bench.driver.faults == 1
