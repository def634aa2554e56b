"""Latches: servo and motor open within their stroke, stop at the end, and never trust a switch too early."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import latch
from drivers.circuits import TOLD_MS
from drivers.latch import DRIVING, FINISHED, MOTOR_FOR_TIME, MOTOR_TO_SWITCH, OFF, SERVO
from drivers.trickle import OPEN, SHORTED, SOUND, TEST_MS_MAX, TESTED_MS, UNTESTED
from drivers.upkeep import RING
from seatrial.chips.circuits import LatchMotor
from seatrial.chips.circuits import Servo as ServoCircuit


class Bench:
    """A latch with its circuit, and a clock of 10 ms."""

    def __init__(self, kind: int = MOTOR_TO_SWITCH, begin_ms: int = 0, **numbers) -> None:
        if kind == SERVO:
            self.circuit = ServoCircuit()
            self.outputs = (self.circuit.pwm,)
            self.driver = latch.Latch(kind, self.circuit.pwm, **numbers)
        else:
            self.circuit = LatchMotor()
            numbers = {"trickle": self.circuit.trickle, "node": self.circuit.node, **numbers}
            self.outputs = (self.circuit.opener, self.circuit.locker)
            self.driver = latch.Latch(kind, self.circuit.opener, self.circuit.locker, self.circuit.end,
                                      self.circuit.sense, **numbers)
        self.now_ms = begin_ms
        self.started = self.driver.start(begin_ms & RING)

    def wait(self, seconds: float, percent: int | None = None, lock: int | None = None) -> "Bench":
        for _ in range(int(100 * seconds + 0.5)):
            self.now_ms += 10
            self.circuit.advance(0.01)
            if percent is not None:
                self.driver.fire(self.now_ms & RING, percent)
            if lock is not None:
                self.driver.lock(self.now_ms & RING, lock)
            self.driver.tick(self.now_ms & RING)
        return self

    def test(self) -> "Bench":
        self.wait(0.2)
        assert self.driver.test(self.now_ms & RING) == 1
        return self.wait(0.2)

    def is_dark(self) -> bool:
        is_trickling = isinstance(self.circuit, LatchMotor) and self.circuit.trickle.level
        return not is_trickling and not any(pwm.duty for pwm in self.outputs)


KINDS = pytest.mark.parametrize("kind", [SERVO, MOTOR_TO_SWITCH, MOTOR_FOR_TIME], ids=["servo", "to switch", "for time"])
BEGINNINGS = pytest.mark.parametrize("begin_ms", [0, RING - 100, RING - 1500])


@KINDS
def test_all_outputs_are_off_from_construction_and_while_nothing_is_told(kind):
    bench = Bench(kind)
    assert bench.started == 1
    for pwm in bench.outputs:
        pwm.duty = 30000
    bench.wait(0.01)
    assert bench.is_dark()


@pytest.mark.parametrize("numbers, says", [
    ({"kind": 3}, "allowed is 0 to 2"), ({"kind": -1}, "allowed is 0 to 2"),
    ({"kind": MOTOR_FOR_TIME, "stroke_ms": -1}, "allowed is 1 to 60000"),
    ({"kind": MOTOR_FOR_TIME, "stroke_ms": 60001}, "allowed is 1 to 60000"),
    ({"kind": MOTOR_TO_SWITCH}, "needs the pin of that switch"),
    ({"kind": MOTOR_FOR_TIME, "adc": 1, "full_ma": 0}, "allowed is 1 to 16383"),
    ({"kind": MOTOR_FOR_TIME, "short_ma": 21}, "allowed is 5 to 20"),
    ({"kind": MOTOR_FOR_TIME, "short_above_ma": 10}, "stay within 1 to 9"),
    ({"kind": MOTOR_FOR_TIME, "node": None}, "needs the converter of its node"),
])
def test_numbers_that_do_not_fit_are_refused_with_the_outputs_off(numbers, says):
    motor = LatchMotor()
    motor.opener.duty = motor.locker.duty = 9
    motor.trickle.level = 1
    with pytest.raises(ValueError, match=says):
        latch.Latch(opener=motor.opener, locker=motor.locker, trickle=motor.trickle, **{"node": motor.node, **numbers})
    assert (motor.opener.duty, motor.locker.duty, motor.trickle.level) == (0, 0, 0)


@BEGINNINGS
@pytest.mark.parametrize("percent", [100, 50, 25])
def test_a_motor_opens_and_stops_at_its_end_switch(begin_ms, percent):
    bench = Bench(MOTOR_TO_SWITCH, begin_ms).wait(1).wait(3.2 * 100 / percent, percent)
    assert bench.circuit.place == 1.0
    assert bench.driver.state == FINISHED and bench.driver.reached and bench.driver.at_end and bench.is_dark()
    assert bench.circuit.driven_s <= 3.0 * 100 / percent + 0.05


@pytest.mark.parametrize("percent", [100, 50])
def test_a_jammed_motor_is_given_up_after_its_longest_time(percent):
    bench = Bench(MOTOR_TO_SWITCH)
    bench.circuit.jammed = True
    bench.wait(30, percent)
    assert bench.driver.state == FINISHED and not bench.driver.reached and bench.is_dark()
    assert bench.circuit.driven_s == pytest.approx(4.0 * 100 / percent + 8.0, abs=0.05)
    bench.wait(0.1, 0).wait(1, percent)
    assert bench.driver.state == DRIVING, "the next attempt drives again"


def test_an_end_switch_that_says_open_from_the_beginning_stops_no_release():
    bench = Bench(MOTOR_TO_SWITCH)
    bench.circuit.end_stuck = 0
    bench.wait(1)
    assert bench.driver.at_end
    bench.wait(4, 100)
    assert bench.circuit.place == 1.0 and not bench.driver.reached


def test_an_end_switch_that_never_says_open_ends_by_time():
    bench = Bench(MOTOR_TO_SWITCH)
    bench.circuit.end_stuck = 1
    bench.wait(20, 100)
    assert bench.circuit.place == 1.0 and bench.driver.state == FINISHED
    assert bench.circuit.driven_s == pytest.approx(12.0, abs=0.05)


def test_an_end_switch_that_flickers_is_not_believed():
    bench = Bench(MOTOR_TO_SWITCH).wait(0.5)
    for flicker in range(100):
        bench.circuit.end_stuck = 0 if flicker % 4 in (1, 2) else 1
        bench.wait(0.01, 100)
    assert bench.driver.state == DRIVING


def test_an_end_switch_that_is_stuck_and_flickers_away_once_does_not_stop_a_release():
    bench = Bench(MOTOR_TO_SWITCH)
    bench.circuit.end_stuck = 0
    bench.wait(0.5).wait(0.1, 100)
    bench.circuit.end_stuck = 1
    bench.wait(0.01, 100)
    bench.circuit.end_stuck = 0
    bench.wait(1, 100)
    assert bench.driver.state == DRIVING


def test_an_end_switch_that_cannot_be_read_is_not_at_the_end_and_stops_no_release():
    bench = Bench(MOTOR_TO_SWITCH)
    bench.circuit.end.dead = True
    bench.wait(20, 100)
    assert bench.circuit.place == 1.0 and not bench.driver.at_end and bench.driver.faults > 100
    assert bench.driver.start(0) == 0


@pytest.mark.parametrize("percent", [100, 50, 25])
@BEGINNINGS
def test_a_motor_for_a_time_runs_for_its_time(percent, begin_ms):
    bench = Bench(MOTOR_FOR_TIME, begin_ms, stroke_ms=3500).wait(20, percent)
    assert bench.circuit.driven_s == pytest.approx(3.5 * 100 / percent, abs=0.03)
    assert bench.circuit.place == 1.0 and bench.driver.state == FINISHED


@BEGINNINGS
@pytest.mark.parametrize("percent, stroke_s", [(100, 1.0), (50, 2.0), (25, 4.0)])
def test_a_servo_goes_gently_from_locked_to_open_and_then_rests(begin_ms, percent, stroke_s):
    bench = Bench(SERVO, begin_ms).wait(0.5)
    assert bench.circuit.place_us == 1000
    bench.wait(stroke_s / 2, percent)
    assert bench.circuit.place_us == pytest.approx(1500, abs=30)
    bench.wait(stroke_s / 2 + 0.1, percent)
    assert bench.circuit.place_us == pytest.approx(2000, abs=5) and bench.driver.state == DRIVING
    bench.wait(1.0, percent)
    assert bench.driver.state == FINISHED and bench.is_dark()
    assert bench.circuit.jumps == 0


def test_a_servo_can_be_mounted_the_other_way_and_locked_again():
    bench = Bench(SERVO, open_us=1100, locked_us=1900)
    bench.circuit.place_us = 1900
    bench.wait(2.2, 100)
    assert bench.circuit.place_us == pytest.approx(1100, abs=5)
    bench.wait(2.2, lock=100)
    assert bench.circuit.place_us == pytest.approx(1900, abs=5)
    assert bench.circuit.jumps == 0


@pytest.mark.parametrize("asked_us, told_us", [(1, 500), (500, 500), (1520, 1520), (2500, 2500), (9000, 2500)])
def test_a_pulse_that_no_servo_knows_is_brought_to_the_nearer_end(asked_us, told_us):
    assert latch.pulse_duty(asked_us) == pytest.approx(65535 * told_us / 20000, abs=0.5)


@KINDS
@BEGINNINGS
def test_a_caller_that_stops_telling_stops_the_drive_after_two_seconds(kind, begin_ms):
    bench = Bench(kind, begin_ms, stroke_ms=20000).wait(0.5).wait(1, 50)
    bench.wait(TOLD_MS / 1000)
    assert bench.driver.state == DRIVING
    bench.wait(0.01)
    assert bench.is_dark() and bench.driver.state == OFF and bench.driver.lapses == 1


def test_an_interrupt_that_only_calls_lapse_stops_a_drive_that_nobody_ticks():
    bench = Bench(MOTOR_FOR_TIME).wait(0.5, 100)
    bench.driver.lapse(bench.now_ms + TOLD_MS)
    assert not bench.is_dark()
    bench.driver.lapse(bench.now_ms + TOLD_MS + 1)
    assert bench.is_dark()


@KINDS
def test_told_nothing_is_off_at_once(kind):
    bench = Bench(kind).wait(0.5, 100)
    assert not bench.is_dark()
    bench.driver.fire(bench.now_ms, 0)
    assert bench.is_dark()


def test_a_finished_drive_rests_until_it_was_off_once():
    bench = Bench(MOTOR_FOR_TIME).wait(10, 100)
    assert bench.driver.state == FINISHED
    bench.wait(10, 100)
    assert bench.circuit.driven_s == pytest.approx(4.0, abs=0.03)
    bench.wait(0.01, 0).wait(0.5, 100)
    assert bench.driver.state == DRIVING


@given(st.lists(st.tuples(st.sampled_from(["fire", "lock", "wait", "none", "off", "test", "fail"]), st.integers(1, 100),
                          st.integers(1, 150)), max_size=25))
def test_the_bridge_is_never_driven_both_ways_and_only_with_permission(calls):
    bench = Bench(MOTOR_TO_SWITCH, RING - 2000)
    permitted_ms = -10 * TOLD_MS
    for call, percent, ticks in calls:
        now_ms = bench.now_ms & RING
        if call in ("fire", "lock"):
            getattr(bench.driver, call)(now_ms, percent)
            permitted_ms = bench.now_ms
        elif call == "test":
            bench.driver.test(now_ms)
        elif call == "fail":
            bench.circuit.node.fail_next = 1
        elif call != "wait":
            bench.driver.off() if call == "off" else bench.driver.fire(now_ms, 0)
            permitted_ms = -10 * TOLD_MS
        for _ in range(ticks):
            bench.wait(0.01)
            is_driven = bench.circuit.opener.duty or bench.circuit.locker.duty
            assert not is_driven or bench.now_ms - permitted_ms <= TOLD_MS
            assert not (is_driven and bench.circuit.trickle.level)
    assert bench.circuit.shoot_through == 0 and bench.circuit.tested_while_driven == 0


def test_the_direction_turns_round_with_all_low_between():
    bench = Bench(MOTOR_FOR_TIME).wait(1, 100)
    bench.driver.lock(bench.now_ms, 100)
    assert bench.is_dark()
    bench.driver.tick(bench.now_ms + latch.TURN_ROUND_MS - 1)
    assert bench.is_dark()
    bench.driver.tick(bench.now_ms + latch.TURN_ROUND_MS)
    assert bench.circuit.locker.duty == 65535 and bench.circuit.opener.duty == 0


def test_a_motor_locks_for_its_time_and_without_a_second_input_not_at_all():
    bench = Bench(MOTOR_FOR_TIME).wait(5, 100)
    bench.wait(0.1, 0).wait(5, lock=100)
    assert bench.circuit.place == 0.0 and bench.is_dark()
    motor = LatchMotor()
    driver = latch.Latch(MOTOR_FOR_TIME, motor.opener)
    driver.lock(0, 100)
    driver.tick(20)
    assert driver.state == OFF and motor.opener.duty == 0


@pytest.mark.parametrize("kind", [MOTOR_TO_SWITCH, MOTOR_FOR_TIME])
def test_the_current_is_shown_while_it_flows(kind):
    bench = Bench(kind).wait(1, 100)
    assert bench.driver.ok and abs(bench.driver.ma - 300) <= 1
    bench.circuit.jammed = True
    bench.wait(0.02, 100)
    assert abs(bench.driver.ma - 900) <= 1
    bench.circuit.sense.dead = True
    assert not bench.wait(0.01, 100).driver.ok
    assert not Bench(SERVO).wait(1, 100).driver.ok


@KINDS
def test_a_pin_that_fails_is_tried_again_after_a_second_while_there_is_permission(kind):
    bench = Bench(kind)
    bench.outputs[0].dead = True
    bench.wait(3, 100)
    assert bench.driver.faults >= 2 and bench.is_dark()
    bench.outputs[0].dead = False
    bench.wait(1.1, 100)
    assert bench.driver.state == DRIVING and not bench.is_dark()
    bench.outputs[0].dead = True
    bench.wait(0.05, 100)
    bench.wait(TOLD_MS / 1000 + 0.1)
    bench.outputs[0].dead = False
    assert bench.wait(3).is_dark()


@KINDS
def test_a_pin_that_failed_is_left_alone_for_a_second_and_then_tried_with_the_permission_that_is_left(kind):
    bench = Bench(kind).wait(0.5, 40)
    before = bench.outputs[0].duty
    bench.outputs[0].dead = True
    bench.wait(0.02)
    assert bench.driver.state == latch.FAILED
    bench.outputs[0].dead = False
    bench.wait(0.9)
    assert bench.driver.state == latch.FAILED
    bench.wait(0.15)
    assert bench.driver.state == DRIVING and bench.driver.percent == 40
    assert kind == SERVO or bench.outputs[0].duty == before == 26214


@KINDS
def test_nothing_is_claimed_before_the_first_tick(kind):
    motor = LatchMotor()
    driver = latch.Latch(kind, motor.opener, motor.locker, motor.end, motor.sense)
    assert (driver.ok, driver.ma, driver.at_end, driver.reached, driver.percent) == (0, 0, 0, 0, 0)
    assert (driver.state, driver.faults, driver.lapses) == (OFF, 0, 0)
    bench = Bench(kind).wait(0.5, 40)
    bench.driver.off()
    assert bench.driver.percent == 0


@KINDS
def test_a_drive_that_could_not_be_switched_off_is_switched_off_at_the_next_tick(kind):
    bench = Bench(kind, stroke_ms=1000)
    while bench.driver.state != DRIVING:
        bench.wait(0.01, 100)
    bench.outputs[0].dead = True
    bench.wait(0.01, 100)
    assert bench.driver.state == latch.FAILED
    bench.outputs[0].dead = False
    assert bench.wait(0.01, 100).is_dark()
    while bench.driver.state != FINISHED:
        bench.wait(0.01, 100)
    bench.outputs[0].duty = 9
    assert bench.wait(0.01, 100).is_dark()


@KINDS
def test_off_never_raises_and_is_made_good(kind):
    bench = Bench(kind).wait(0.5, 100)
    bench.outputs[0].dead = True
    assert bench.driver.off() == 0
    bench.outputs[0].dead = False
    assert bench.wait(0.01).is_dark()


@KINDS
@pytest.mark.parametrize("percent", [0, -1])
def test_told_nothing_a_latch_stays_off(kind, percent):
    bench = Bench(kind)
    bench.driver.fire(0, percent)
    assert bench.driver.state == OFF
    assert bench.wait(1, percent).driver.state == OFF


MOTORS = pytest.mark.parametrize("kind", [MOTOR_TO_SWITCH, MOTOR_FOR_TIME])


@MOTORS
@BEGINNINGS
@pytest.mark.parametrize("condition, winding_ohm, return_ohm, short_above_ma, verdict, shows_ma", [
    ("sound", 2, 680, 8, SOUND, 3), ("sound", 20, 680, 8, SOUND, 3), ("sound", 20, 680, 0, SOUND, 3),
    ("sound", 16, 330, 8, SOUND, 5),
    ("open", 16, 680, 8, OPEN, 0), ("open", 16, 680, 0, OPEN, 0),
    ("grounded", 16, 680, 8, SHORTED, 10),
    ("sound", 2, 0, 0, SOUND, 10), ("sound", 20, 0, 0, SOUND, 9),  # closed, which is all that can be said
    ("open", 16, 0, 0, OPEN, 0),
])
def test_the_trickle_tells_a_sound_winding(kind, condition, winding_ohm, return_ohm, short_above_ma, verdict, shows_ma,
                                           begin_ms):
    bench = Bench(kind, begin_ms, short_above_ma=short_above_ma)
    bench.circuit.condition, bench.circuit.winding_ohm, bench.circuit.return_ohm = condition, winding_ohm, return_ohm
    bench.test()
    assert (bench.driver.circuit, bench.driver.test_ma) == (verdict, shows_ma)
    assert bench.is_dark() and bench.driver.state == OFF and not bench.driver.faults
    assert bench.circuit.place == 0.0


@pytest.mark.parametrize("diode_mv", [150, 300, 400])
@pytest.mark.parametrize("condition, verdict", [("sound", SOUND), ("open", OPEN), ("grounded", SHORTED)])
def test_the_diode_in_the_way_of_the_trickle_changes_no_verdict(condition, verdict, diode_mv):
    bench = Bench(short_above_ma=8)
    bench.circuit.condition, bench.circuit.diode_mv = condition, diode_mv
    assert bench.test().driver.circuit == verdict


@given(st.integers(0, 65535), st.sampled_from([0, 8]))
def test_a_converter_that_stands_still_never_makes_a_sound_or_open_winding(counts, short_above_ma):
    bench = Bench(short_above_ma=short_above_ma)
    bench.circuit.node.stuck_counts = counts
    bench.test()
    assert bench.driver.circuit == UNTESTED or (bench.driver.circuit == SHORTED and short_above_ma)
    assert bench.driver.faults == (bench.driver.circuit == UNTESTED)


def test_a_lead_that_touches_ground_is_not_called_shorted_nor_sound_where_that_cannot_be_told():
    bench = Bench()
    bench.circuit.condition = "grounded"
    assert bench.test().driver.circuit == UNTESTED and bench.driver.faults == 1


def test_a_servo_is_never_tested_and_says_so():
    circuit, motor = ServoCircuit(), LatchMotor()
    motor.trickle.level = 1
    driver = latch.Latch(SERVO, circuit.pwm, trickle=motor.trickle, node=motor.node)
    driver.start(0)
    assert driver.test(500) == 0 and driver.circuit == UNTESTED and driver.state == OFF
    assert motor.trickle.level == 0, "what is fitted for another kind stays off"


def test_a_motor_without_a_trickle_is_never_tested():
    bench = Bench(trickle=None, node=None).wait(1)
    assert bench.driver.test(bench.now_ms) == 0 and bench.driver.circuit == UNTESTED
    bench.wait(0.1)
    assert bench.driver.state == OFF and bench.driver.faults == 0
    assert bench.wait(5, 100).circuit.place == 1.0


@BEGINNINGS
def test_a_test_begins_only_when_the_latch_has_been_off_for_a_while(begin_ms):
    bench = Bench(MOTOR_FOR_TIME, begin_ms)
    assert bench.driver.test((begin_ms + 99) & RING) == 0
    bench.wait(0.5).wait(0.5, 100)
    assert bench.driver.test(bench.now_ms & RING) == 0
    bench.driver.off()
    assert bench.driver.test((bench.now_ms + 150) & RING) == 0, "since when it is off is not known yet"
    bench.wait(0.1)
    assert bench.driver.test(bench.now_ms & RING) == 0
    bench.wait(0.01)
    assert bench.driver.test(bench.now_ms & RING) == 1
    assert bench.driver.test(bench.now_ms & RING) == 0
    bench.driver.off()
    bench.wait(8, 100)
    assert bench.driver.state == FINISHED and bench.driver.test(bench.now_ms & RING) == 0


@BEGINNINGS
def test_after_a_start_a_test_may_begin_as_soon_as_all_has_been_off_for_a_while(begin_ms):
    bench = Bench(begin_ms=begin_ms)
    assert bench.driver.test((begin_ms + 100) & RING) == 1


@pytest.mark.parametrize("order", ["fire", "lock"])
def test_an_order_to_move_ends_a_test_at_once_and_is_followed(order):
    bench = Bench(MOTOR_FOR_TIME).wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.wait(0.02)
    assert bench.circuit.trickle.level == 1
    getattr(bench.driver, order)(bench.now_ms, 100)
    assert bench.circuit.trickle.level == 0
    bench.wait(0.1)
    driven = bench.circuit.opener if order == "fire" else bench.circuit.locker
    assert bench.driver.state == DRIVING and driven.duty == 65535 and bench.driver.circuit == UNTESTED


def test_a_trickle_pin_that_fails_delays_no_release_and_is_switched_off_as_soon_as_it_can_be():
    bench = Bench(MOTOR_FOR_TIME).wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.circuit.trickle.dead = True
    bench.wait(0.1, 100)
    assert bench.driver.state == DRIVING and bench.circuit.opener.duty == 65535 and bench.driver.faults == 1
    bench.circuit.trickle.dead = False
    bench.wait(0.01, 100)
    assert bench.circuit.trickle.level == 0 and bench.driver.state == DRIVING


@pytest.mark.parametrize("order", ["fire", "lock"])
def test_a_verdict_is_forgotten_by_moving(order):
    bench = Bench(MOTOR_FOR_TIME).test()
    assert bench.driver.circuit == SOUND
    getattr(bench.driver, order)(bench.now_ms, 100)
    assert bench.driver.circuit == UNTESTED


def test_a_verdict_is_forgotten_after_a_minute_and_by_a_start_and_by_the_next_test():
    bench = Bench().test()
    bench.wait(TESTED_MS / 1000 - 1)
    assert bench.driver.circuit == SOUND
    bench.wait(1)
    assert bench.driver.circuit == UNTESTED
    bench.test()
    assert bench.driver.test(bench.now_ms + 500) == 1
    assert (bench.driver.circuit, bench.driver.test_ma) == (UNTESTED, 0)
    bench.driver.off()
    bench.test()
    bench.driver.start(bench.now_ms)
    assert bench.driver.circuit == UNTESTED


def test_a_caller_that_applies_nothing_at_every_tick_does_not_end_a_test():
    bench = Bench().wait(0.3, 0)
    assert bench.driver.test(bench.now_ms) == 1
    assert bench.wait(0.2, 0).driver.circuit == SOUND


def test_off_ends_a_test():
    bench = Bench().wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.driver.off()
    assert bench.is_dark()
    assert bench.wait(0.3).driver.circuit == UNTESTED


def test_a_test_that_nobody_ticks_is_ended_by_lapse():
    bench = Bench().wait(0.2)
    bench.driver.test(bench.now_ms)
    bench.driver.lapse(bench.now_ms + TEST_MS_MAX)
    assert bench.circuit.trickle.level == 1
    bench.driver.lapse(bench.now_ms + TEST_MS_MAX + 1)
    assert bench.is_dark() and bench.driver.faults == 1
    bench.now_ms += TEST_MS_MAX
    bench.wait(2)
    assert bench.test().driver.circuit == SOUND


@pytest.mark.parametrize("line", ["node", "trickle"])
def test_a_test_that_cannot_begin_says_so_and_moves_nothing_and_comes_back(line):
    bench = Bench(MOTOR_FOR_TIME).wait(0.1, 100).wait(0.5, 0)
    getattr(bench.circuit, line).dead = True
    driven_s = bench.circuit.driven_s
    assert bench.driver.test(bench.now_ms) == 0 and bench.driver.faults >= 1
    bench.wait(3)
    assert bench.circuit.driven_s == driven_s and bench.driver.state == OFF and bench.driver.lapses == 0
    getattr(bench.circuit, line).dead = False
    assert bench.test().driver.circuit == SOUND


def test_a_node_that_cannot_be_read_ends_a_test_at_once_and_the_release_goes_on():
    bench = Bench(MOTOR_FOR_TIME).wait(0.1, 100).wait(0.5, 0)
    bench.driver.test(bench.now_ms)
    bench.circuit.node.dead = True
    bench.wait(0.03)
    assert bench.is_dark() and bench.driver.circuit == UNTESTED and bench.driver.faults == 1
    driven_s = bench.circuit.driven_s
    bench.wait(1.3)
    assert bench.circuit.driven_s == driven_s
    bench.wait(5, 100)
    assert bench.circuit.place == 1.0
