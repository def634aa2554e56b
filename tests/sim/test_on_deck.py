"""A lander on deck, on its test plugs: what its circuits draw and move when a board drives them.

Currents are checked with Ohm's law (I = U / R), worked out here from the plug's resistance and the pack's voltage; what
turns and for how long is the plan's own statement.
"""

from datetime import UTC, datetime

import pytest

from seatrial.board_files import constants
from seatrial.electronics import EPOCH_S, TEST_PLUG_OHM
from seatrial.miswirings import MISWIRINGS
from seatrial.on_deck import DeckElectronics, DeckWorld, touch

from .flying import SAMPLE

PINS = constants("boards/pico.py")
FITTED = constants("boards/fitted.py")
FULL = 65535
LATCH_MA = SAMPLE.release.backup.current_ma
OWN_MA = SAMPLE.power.controller_ma


class Deck:
    def __init__(self, *wrong: str, **fitted) -> None:
        self.world = DeckWorld(SAMPLE, 1)
        self.world.controller_on = True
        self.electronics = DeckElectronics(PINS, {**FITTED, **fitted}, self.world, SAMPLE)
        for name in wrong:
            MISWIRINGS[name].wire(self.electronics)
        self.electronics.draw()

    def pwm(self, signal: str, duty: int, frequency_hz: int = 1000) -> None:
        self.electronics.pwm(PINS["PINS"][signal], frequency_hz, duty)
        self.electronics.draw()

    def switch(self, signal: str, level: int) -> None:
        self.electronics._drive(signal, level)
        self.electronics.draw()

    def fire_primary(self) -> None:
        self.switch("primary_arm", 1)
        self.pwm("primary_fire", FULL)

    def go(self, seconds: float) -> None:
        self.electronics.now_s += seconds
        self.electronics.pass_time(seconds)

    def plug_ma(self) -> float:
        return self.world.supply_mv() / TEST_PLUG_OHM


@pytest.fixture
def deck() -> Deck:
    return Deck()


def test_at_rest_only_the_controller_draws(deck):
    assert deck.world.load_ma == pytest.approx(OWN_MA)


def test_a_fired_wire_is_a_plug_by_ohms_law_and_never_parts(deck):
    deck.fire_primary()
    assert deck.electronics.burn.wire_ma == pytest.approx(deck.plug_ma(), rel=0.01)
    assert deck.world.load_ma == pytest.approx(OWN_MA + deck.plug_ma(), rel=0.01)
    deck.go(1800.0)
    assert not deck.world.primary.open and not deck.world.freed_by


def test_the_latch_opens_in_its_stroke_and_stays_there(deck):
    deck.pwm("backup_opener", FULL)
    deck.go(0.9 * SAMPLE.release.backup.turn_s)
    assert deck.world.load_ma == pytest.approx(OWN_MA + LATCH_MA, rel=0.02)
    assert not deck.world.backup.open
    deck.go(0.2 * SAMPLE.release.backup.turn_s)
    deck.pwm("backup_opener", 0)
    assert deck.world.backup.open and deck.electronics.motor.end() == 0
    assert deck.world.load_ma == pytest.approx(OWN_MA)


@pytest.mark.parametrize("how", ["by its motor", "by hand"])
def test_an_open_latch_can_be_closed_again(deck, how):
    touch(deck.electronics, "latch_open", 1)
    assert deck.electronics.motor.end() == 0
    if how == "by hand":
        touch(deck.electronics, "latch_open", 0)
    else:
        deck.pwm("backup_locker", FULL)
        deck.go(1.1 * SAMPLE.release.backup.turn_s)
    assert not deck.world.backup.open and deck.electronics.motor.end() == 1


def test_a_servo_follows_its_pulses_both_ways():
    deck = Deck(BACKUP_KIND=0)
    places = []
    for pulse_us in (2000, 1000):
        deck.pwm("backup_opener", round(FULL * pulse_us / 20000), 50)
        deck.go(1.1 * SAMPLE.release.backup.turn_s)
        places.append(deck.world.backup.open)
    assert places == [True, False]


def test_a_jammed_latch_does_not_turn(deck):
    deck.world.backup.jammed = True
    deck.pwm("backup_opener", FULL)
    deck.go(20.0)
    assert not deck.world.backup.open


def test_the_camera_answers_to_its_buttons(deck):
    camera, times = deck.world.camera, SAMPLE.camera
    deck.switch("camera_supply", 1)
    deck.switch("power_button", 1)
    deck.go(times.power_press_s)
    deck.switch("power_button", 0)
    deck.go(times.start_s)
    deck.go(0.1)
    assert deck.world.load_ma == pytest.approx(OWN_MA + times.idle_ma)
    deck.switch("record_button", 1)
    deck.go(1.0)
    deck.switch("record_button", 0)
    deck.go(0.1)
    assert deck.electronics.camera.current_ma == pytest.approx(times.recording_ma, abs=1.0)
    assert camera.recorded_s > 0.0


def test_the_battery_sags_under_the_lamps_and_loses_charge(deck):
    before_mv = deck.world.supply_mv()
    deck.pwm("lights", FULL)
    assert deck.world.load_ma == pytest.approx(OWN_MA + SAMPLE.lights.current_ma)
    assert deck.world.supply_mv() < before_mv
    deck.go(3600.0)
    assert deck.world.battery.used_ah == pytest.approx((OWN_MA + SAMPLE.lights.current_ma) / 1000.0, rel=0.05)


def test_the_beacon_draws_while_it_is_lit_more_than_in_the_mean_of_its_flashing(deck):
    deck.switch("beacon", 1)
    assert deck.world.load_ma > OWN_MA + SAMPLE.beacon.lamp_ma


def test_the_clock_goes_on_from_what_it_was_set_to(deck):
    deck.electronics.start_clock(datetime(2031, 5, 6, 7, 8, 9, tzinfo=UTC))
    deck.go(60.0)
    assert deck.electronics.clock.when == datetime(2031, 5, 6, 7, 9, 9)
    deck.electronics.lose_power(EPOCH_S + 61.0)
    assert deck.electronics.clock.when.year == 2031, "it has a cell of its own"


def test_swapped_channels_turn_the_latch_when_the_wire_is_fired():
    deck = Deck("channels-swapped")
    deck.fire_primary()
    assert deck.electronics.burn.wire_ma == pytest.approx(LATCH_MA, rel=0.02)
    deck.go(1.1 * SAMPLE.release.backup.turn_s)
    assert deck.world.backup.open
    deck.switch("primary_arm", 0)
    deck.pwm("backup_opener", FULL)
    assert deck.electronics.motor.drawn_ma == pytest.approx(deck.plug_ma(), rel=0.01)


def test_nobody_can_touch_what_is_not_there(deck):
    with pytest.raises(ValueError, match="nobody can touch ballast on deck; what there is: pressure_mbar, "):
        touch(deck.electronics, "ballast", 1)
