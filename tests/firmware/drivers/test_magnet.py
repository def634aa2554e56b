"""The magnet switch: what is believed, and what never makes a gesture."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import magnet
from drivers.upkeep import RING
from lander import orders
from seatrial.chips.circuits import MagnetSwitch


class Deck:
    """A switch, its driver, and a clock that ticks every 10 ms."""

    def __init__(self, begin_ms: int = 0, bounce_s: float = 0.0) -> None:
        self.switch = MagnetSwitch(bounce_s)
        self.driver = magnet.Magnet(self.switch.pin)
        self.now_ms = begin_ms
        self.gestures = 0
        self.started = self.driver.start(begin_ms & RING)

    def wait(self, seconds: float, every_ms: int = 10) -> "Deck":
        end_ms = self.now_ms + int(1000 * seconds)
        while self.now_ms < end_ms:
            self.now_ms += every_ms
            self.switch.now_s = self.now_ms / 1000
            before = self.driver.held
            self.driver.tick(self.now_ms & RING)
            assert self.driver.ok or not self.driver.held
            self.gestures += before > self.driver.held
        return self


@pytest.mark.parametrize("begin_ms", [0, RING - 500, RING - 3000])
@pytest.mark.parametrize("bounce_s", [0.0, 0.005, 0.2])
def test_a_held_magnet_is_one_gesture_of_its_length(begin_ms, bounce_s):
    deck = Deck(begin_ms, bounce_s).wait(1)
    assert deck.driver.ok and not deck.driver.held
    deck.switch.near = True
    deck.wait(bounce_s + 0.06)
    assert deck.driver.held
    deck.wait(5)
    assert deck.driver.held
    deck.switch.near = False
    deck.wait(bounce_s + 0.06)
    assert not deck.driver.held and deck.driver.ok
    assert deck.gestures == 1


@given(st.integers(0, 10_000), st.integers(1, 29), st.integers(0, RING))
def test_a_brush_shorter_than_the_steady_time_is_not_seen(wait_ms, brush_ms, begin_ms):
    deck = Deck(begin_ms).wait(0.2)
    deck.wait(wait_ms / 1000, every_ms=50)
    deck.switch.near = True
    deck.wait(brush_ms / 1000, every_ms=1)
    deck.switch.near = False
    deck.wait(0.5, every_ms=1)
    assert deck.driver.ok and deck.gestures == 0


def test_one_look_after_a_long_sleep_is_no_evidence():
    deck = Deck().wait(1)
    deck.switch.near = True
    deck.wait(1.5, every_ms=1500)
    deck.wait(0.01)
    assert not deck.driver.held
    deck.wait(0.05)
    assert deck.driver.held


def test_nothing_is_believed_before_the_switch_has_stood_still():
    deck = Deck()
    assert deck.started == 1 and not deck.driver.ok
    assert deck.wait(0.05).driver.ok


def test_a_magnet_that_was_there_at_the_start_is_not_a_gesture():
    deck = Deck()
    deck.switch.near = True
    deck.driver.start(0)
    deck.wait(5)
    assert not deck.driver.ok and not deck.driver.held
    deck.switch.near = False
    deck.wait(0.1)
    assert deck.driver.ok and deck.gestures == 0


def test_a_welded_switch_is_stuck_and_stays_so_until_it_opens():
    deck = Deck().wait(1)
    deck.switch.welded = True
    deck.wait(magnet.STUCK_MS / 1000 - 0.5)
    assert deck.driver.held and not deck.driver.stuck
    deck.wait(1)
    assert deck.driver.stuck and not deck.driver.ok and deck.driver.faults == 1
    deck.wait(400)
    assert deck.driver.stuck and not deck.driver.held and deck.driver.faults == 1
    deck.switch.welded = False
    deck.wait(0.1)
    assert deck.driver.ok and not deck.driver.stuck


def test_a_stuck_switch_lets_go_later_than_any_gesture_that_orders_can_ask_for():
    longest_ds = {name: highest for name, _lowest, highest, _default in orders.rows()}["magnet_hold_max_ds"]
    assert longest_ds * 100 + 10000 <= magnet.STUCK_MS


def test_a_switch_that_chatters_is_not_believed_until_it_stands_still():
    deck = Deck().wait(1)
    deck.switch.chatters = True
    deck.wait(3, every_ms=7)
    assert not deck.driver.ok and deck.driver.faults == 1
    deck.switch.chatters = False
    assert deck.wait(0.1).driver.ok


def test_a_broken_switch_looks_like_no_magnet():
    deck = Deck()
    deck.switch.broken = True
    deck.switch.near = True
    deck.wait(3)
    assert deck.driver.ok and not deck.driver.held


def test_a_pin_that_fails_is_not_believed_at_once_and_tried_again_after_a_second():
    deck = Deck().wait(1)
    deck.switch.near = True
    deck.wait(1)
    deck.switch.pin.fail_next = 1
    deck.wait(0.01)
    assert not deck.driver.ok and not deck.driver.held and deck.driver.faults == 1
    uses = deck.switch.pin.uses
    deck.wait(0.9)
    assert deck.switch.pin.uses == uses
    deck.wait(1)
    assert not deck.driver.held, "the rest of a gesture is none"
    deck.switch.near = False
    assert deck.wait(0.1).driver.ok


def test_a_dead_pin_is_told_at_the_start():
    deck = Deck()
    deck.switch.pin.dead = True
    assert deck.driver.start(0) == 0


def test_a_switch_that_was_not_looked_at_is_not_believed():
    deck = Deck().wait(1)
    assert deck.driver.ok
    deck.wait(5.5, every_ms=5500)
    assert not deck.driver.ok
    assert deck.wait(0.1).driver.ok


def test_a_switch_that_reads_high_with_the_magnet_is_read_so():
    switch = MagnetSwitch()
    switch.near = True  # the pin reads 0
    driver = magnet.Magnet(switch.pin, near_level=1)
    driver.start(0)
    for now_ms in range(0, 100, 10):
        driver.tick(now_ms)
    assert driver.ok and not driver.held


def test_two_looks_far_apart_are_no_evidence():
    deck = Deck().wait(1)
    deck.switch.near = True
    deck.wait(3, every_ms=1500)
    assert deck.driver.ok and not deck.driver.held


def test_nothing_is_claimed_at_first_and_a_start_forgets():
    driver = magnet.Magnet(MagnetSwitch().pin)
    assert (driver.ok, driver.held, driver.stuck, driver.faults) == (0, 0, 0, 0)
    deck = Deck().wait(1)
    deck.switch.near = True
    deck.wait(1)
    deck.driver.start(deck.now_ms)
    assert not deck.driver.ok and not deck.driver.held
