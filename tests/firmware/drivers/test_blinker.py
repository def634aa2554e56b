"""Patterns of light: exact phases, restart at a change, dark when told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.blinker import Blinker
from drivers.upkeep import RING
from lander import lamps
from seatrial.chips.circuits import PWM, Pin

PATTERNS = [pattern for pattern in lamps.STATUS + lamps.BEACON if pattern]


def lit_by_the_table(pattern: tuple, gone_ms: int) -> int:
    """Every millisecond of one round written out."""
    rounds = []
    for index, part_ms in enumerate(pattern):
        rounds += [1 - index % 2] * part_ms
    return rounds[gone_ms % len(rounds)]


@pytest.mark.parametrize("output", [Pin(1), PWM()], ids=["pin", "pwm"])
def test_a_blinker_is_dark_from_its_construction(output):
    if isinstance(output, PWM):
        output.duty = 5
    Blinker(output)
    assert (output.duty if isinstance(output, PWM) else output.level) == 0


@pytest.mark.parametrize("pattern", PATTERNS, ids=str)
@pytest.mark.parametrize("begin_ms", [0, 12345, RING - 1000, RING])
def test_every_millisecond_of_a_pattern_is_as_its_table_says(pattern, begin_ms):
    pin = Pin()
    blinker = Blinker(pin)
    blinker.start(begin_ms)
    blinker.play(begin_ms, pattern)
    for gone_ms in range(2 * sum(pattern) + 10):
        blinker.tick((begin_ms + gone_ms) & RING)
        assert pin.level == blinker.lit == lit_by_the_table(pattern, gone_ms), gone_ms


@given(st.lists(st.integers(0, 3000), min_size=1, max_size=8).map(tuple), st.integers(0, RING),
       st.lists(st.integers(0, 100000), max_size=30))
def test_late_and_uneven_ticks_shift_no_later_flash(pattern, begin_ms, waits_ms):
    pin = Pin()
    blinker = Blinker(pin)
    blinker.start(begin_ms)
    blinker.play(begin_ms, pattern)
    gone_ms = 0
    for wait_ms in waits_ms:
        gone_ms += wait_ms
        blinker.tick((begin_ms + gone_ms) & RING)
        assert pin.level == (lit_by_the_table(pattern, gone_ms) if sum(pattern) else 0)


def test_phases_stay_exact_when_the_counter_has_wrapped_many_times():
    pin = Pin()
    blinker = Blinker(pin)
    blinker.start(0)
    blinker.play(0, (80, 4920))
    for gone_ms in range(0, 10 * (RING + 1), 99999937):
        blinker.tick(gone_ms & RING)
        assert pin.level == lit_by_the_table((80, 4920), gone_ms)


@given(st.sampled_from(PATTERNS), st.integers(0, RING), st.integers(0, 20000))
def test_the_time_to_the_next_change_is_told_to_the_millisecond(pattern, begin_ms, gone_ms):
    blinker = Blinker(Pin())
    blinker.start(begin_ms)
    blinker.play(begin_ms, pattern)
    now_ms = (begin_ms + gone_ms) & RING
    blinker.tick(now_ms)
    left_ms = blinker.until_change_ms(now_ms)
    assert left_ms >= 1
    before = blinker.lit
    for later_ms in (left_ms - 1, left_ms):
        blinker.tick((now_ms + later_ms) & RING)
        assert (blinker.lit == before) == (later_ms < left_ms)


def test_a_changed_pattern_begins_from_its_beginning_and_the_same_one_goes_on():
    pin = Pin()
    blinker = Blinker(pin, lamps.STATUS)
    blinker.start(0)
    blinker.show(0, lamps.ARMED_ON_DECK)  # 200 on, 200 off, 200 on, 1400 off
    blinker.tick(300)
    assert pin.level == 0
    blinker.show(310, lamps.AT_SURFACE)
    assert pin.level == 1
    blinker.tick(350)
    blinker.play(380, tuple(list(lamps.STATUS[lamps.AT_SURFACE])))  # equal, another object
    blinker.tick(389)
    assert pin.level == 1
    blinker.tick(390)
    assert pin.level == 0


@pytest.mark.parametrize("code", [-1, lamps.DARK, len(lamps.STATUS), 15])
def test_dark_and_a_number_without_a_pattern_are_dark(code):
    pin = Pin()
    blinker = Blinker(pin, lamps.STATUS)
    blinker.start(0)
    blinker.show(0, lamps.FIRING)
    assert pin.level == 1
    blinker.show(10, code)
    assert pin.level == 0
    assert blinker.until_change_ms(10) == RING


def test_a_pattern_that_lasts_no_time_is_dark():
    pin = Pin()
    blinker = Blinker(pin)
    blinker.play(0, (0, 0))
    blinker.tick(5)
    assert pin.level == 0


def test_off_is_dark_until_told_again():
    pin = Pin()
    blinker = Blinker(pin, lamps.STATUS)
    blinker.show(0, lamps.FIRING)
    blinker.off()
    for now_ms in range(0, 500, 10):
        blinker.tick(now_ms)
        assert pin.level == 0
    blinker.show(500, lamps.FIRING)
    assert pin.level == 1


def test_a_lamp_on_a_pwm_has_its_brightness():
    pwm = PWM()
    blinker = Blinker(pwm, lamps.BEACON, level_pct=40)
    blinker.show(0, lamps.FLASH)
    assert pwm.duty == 26214
    blinker.tick(100)
    assert pwm.duty == 0


def test_a_refused_write_is_made_again_after_a_second_in_the_right_phase():
    pin = Pin()
    blinker = Blinker(pin)
    blinker.start(0)
    blinker.play(0, (80, 920))
    pin.dead = True
    blinker.tick(80)
    assert not blinker.ok and blinker.faults == 1
    pin.dead = False
    blinker.tick(1079)
    assert not blinker.ok
    blinker.tick(1080)
    assert blinker.ok and pin.level == 0
    blinker.tick(2000)
    assert pin.level == 1


def test_off_never_raises():
    pin = Pin()
    blinker = Blinker(pin)
    pin.dead = True
    blinker.off()
    assert not blinker.ok and blinker.start(0) == 0
