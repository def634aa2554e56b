"""The lamp's level: dark from the first moment, rising gently, falling at once."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import lamp
from drivers.upkeep import RING
from seatrial.chips.circuits import PWM


def run(driver, from_ms: int, to_ms: int, every_ms: int = 10) -> int:
    for now_ms in range(from_ms, to_ms + 1, every_ms):
        driver.tick(now_ms & RING)
    return to_ms


def test_a_lamp_is_dark_from_its_construction():
    pwm = PWM()
    pwm.duty = 40000
    lamp.Lamp(pwm)
    assert pwm.duty == 0


def test_a_lamp_starts_dark_whatever_it_showed():
    pwm = PWM()
    driver = lamp.Lamp(pwm)
    driver.set(0, 80)
    run(driver, 0, 500)
    assert driver.start(600) == 1
    assert (pwm.duty, driver.percent) == (0, 0)


@pytest.mark.parametrize("percent, duty", [(100, 65535), (150, 65535), (70, 45875), (50, 32768), (1, 655), (0, 0), (-5, 0)])
@pytest.mark.parametrize("begin_ms", [0, RING - 100])
def test_a_level_is_reached_after_the_rise(percent, duty, begin_ms):
    pwm = PWM()
    driver = lamp.Lamp(pwm)
    driver.start(begin_ms)
    driver.set(begin_ms, percent)
    run(driver, begin_ms, begin_ms + lamp.RISE_MS)
    assert pwm.duty == duty


def test_a_cold_lamp_is_no_load_step():
    pwm = PWM()
    driver = lamp.Lamp(pwm)
    driver.start(RING - 50)
    driver.set(RING - 50, 100)
    before = pwm.duty
    for now_ms in range(RING - 50, RING + 200, 10):
        driver.tick(now_ms & RING)
        assert 0 <= pwm.duty - before <= 65535 // 19, now_ms
        before = pwm.duty


@given(st.lists(st.integers(-10, 120), min_size=1, max_size=20), st.integers(0, RING))
def test_a_level_falls_at_once_and_never_goes_beyond_what_was_asked(levels, begin_ms):
    pwm = PWM()
    driver = lamp.Lamp(pwm)
    driver.start(begin_ms)
    for index, percent in enumerate(levels):
        highest = max(pwm.duty, 65535 * max(0, min(percent, 100)) // 100 + 1)
        if percent < driver.percent:
            highest = 65535 * max(0, percent) // 100 + 1
        asked_ms = begin_ms + 100 * index
        driver.set(asked_ms & RING, percent)
        for now_ms in range(asked_ms, asked_ms + 100, 10):
            driver.tick(now_ms & RING)
            assert pwm.duty <= highest


def test_a_refused_level_is_written_again_after_a_second():
    pwm = PWM()
    driver = lamp.Lamp(pwm)
    driver.start(0)
    driver.set(0, 100)
    pwm.dead = True
    run(driver, 10, 300)
    assert not driver.ok and driver.faults == 1
    pwm.dead = False
    run(driver, 310, 1000)
    assert not driver.ok
    run(driver, 1010, 1020)
    assert driver.ok and pwm.duty == 65535


def test_off_that_was_refused_is_made_good():
    pwm = PWM()
    driver = lamp.Lamp(pwm)
    driver.start(0)
    driver.set(0, 100)
    run(driver, 0, 300)
    pwm.dead = True
    driver.off()
    assert not driver.ok and pwm.duty == 65535
    pwm.dead = False
    run(driver, 310, 1600)
    assert driver.ok and pwm.duty == 0


def test_a_level_that_is_raised_never_dips():
    pwm = PWM()
    driver = lamp.Lamp(pwm)
    driver.start(0)
    driver.set(0, 50)
    run(driver, 0, 500)
    driver.set(510, 100)
    for now_ms in range(510, 710, 10):
        driver.tick(now_ms)
        assert pwm.duty >= 32768 * 0.999
    driver.tick(710)
    assert pwm.duty == 65535
