"""The camera as the shop sells it: what its buttons, its card, its heat and its supply do to it."""

import pytest

from seatrial.camera import CRASHED, IDLE, OFF, RECORDING, STARTING, SimulatedCamera

COOL_C = 20.0


class Hand:
    """Holds the camera's buttons and lets time pass."""

    def __init__(self, section) -> None:
        self.section = section
        self.camera = SimulatedCamera(section)
        self.now_s = 0.0
        self.supply = 1
        self.hold()

    @property
    def state(self) -> int:
        return self.camera.state

    def hold(self, power: int = 0, record: int = 0) -> None:
        self.camera.apply(self.now_s, self.supply, power, record)

    def wait(self, seconds: float, camera_c: float = COOL_C) -> None:
        self.now_s += seconds
        self.camera.advance(self.now_s, seconds, camera_c)

    def press_power(self, seconds: float | None = None) -> None:
        self.hold(power=1)
        self.wait(self.section.power_press_s if seconds is None else seconds)
        self.hold()

    def press_record(self, seconds: float | None = None) -> None:
        self.hold(record=1)
        self.wait(self.section.record_press_s if seconds is None else seconds)
        self.hold()

    def start(self) -> None:
        self.press_power()
        self.wait(self.section.start_s)

    def unplug(self) -> None:
        self.supply = 0
        self.hold()

    def plug(self) -> None:
        self.supply = 1
        self.hold()


@pytest.fixture
def hand(sample) -> Hand:
    return Hand(sample.camera)


@pytest.fixture
def own_pack(sample) -> Hand:
    sample.camera.supply = "own_pack"
    return Hand(sample.camera)


@pytest.fixture
def filming(hand) -> Hand:
    hand.start()
    hand.press_record()
    assert hand.state == RECORDING
    return hand


def test_a_long_press_starts_it_and_it_is_ready_within_the_stated_time(hand):
    hand.press_power()
    assert hand.state == STARTING
    hand.wait(0.5 * hand.section.start_s)
    assert hand.state == STARTING
    hand.wait(0.5 * hand.section.start_s)
    assert hand.state == IDLE


def test_a_short_press_on_the_power_button_does_nothing(hand):
    hand.press_power(0.5 * hand.section.power_press_s)
    assert hand.state == OFF


def test_a_press_counts_when_the_button_is_let_go(hand):
    hand.hold(power=1)
    hand.wait(10 * hand.section.power_press_s)
    assert hand.state == OFF
    hand.hold()
    assert hand.state == STARTING


def test_a_record_press_toggles(filming):
    filming.press_record()
    assert filming.state == IDLE
    filming.press_record()
    assert filming.state == RECORDING


def test_a_press_that_stops_a_recording_is_remembered_with_its_time(filming):
    filming.wait(60.0)
    filming.press_record()
    assert filming.camera.stopped_by_press_s == [filming.now_s]


def test_a_touch_too_short_to_be_a_press_does_nothing(filming):
    filming.press_record(0.01)
    assert filming.state == RECORDING


@pytest.mark.parametrize("state", ["off", "starting"])
def test_a_record_press_does_nothing_before_it_is_ready(hand, state):
    if state == "starting":
        hand.press_power()
    before = hand.state
    hand.press_record()
    assert hand.state == before


def test_a_second_long_press_switches_it_off(filming):
    filming.press_power()
    assert filming.state == OFF


def test_without_supply_it_is_off_and_forgets(filming):
    filming.unplug()
    assert filming.state == OFF
    filming.plug()
    assert filming.state == OFF


def test_buttons_without_supply_do_nothing(hand):
    hand.unplug()
    hand.press_power()
    hand.plug()
    hand.wait(100.0)
    assert hand.state == OFF


def test_on_its_own_pack_the_main_switch_does_not_reach_it(own_pack):
    own_pack.start()
    own_pack.press_record()
    own_pack.unplug()
    assert own_pack.state == RECORDING


def test_it_counts_what_it_records_and_stops_when_the_card_is_full(filming):
    filming.wait(3600.0)
    assert filming.camera.recorded_s == pytest.approx(3600.0)
    filming.wait(filming.section.card_h * 3600.0)
    assert filming.state == IDLE
    assert filming.camera.recorded_s == pytest.approx(filming.section.card_h * 3600.0)
    filming.press_record()
    assert filming.state == IDLE


def test_it_switches_itself_off_when_too_hot(filming):
    filming.wait(1.0, filming.section.shutdown_c - 0.1)
    assert filming.state == RECORDING
    filming.wait(1.0, filming.section.shutdown_c)
    assert filming.state == OFF


def test_deaf_presses_have_no_effect_so_many_times(hand):
    hand.camera.deaf_presses = 2
    hand.press_power()
    hand.press_power()
    assert hand.state == OFF
    hand.press_power()
    assert hand.state == STARTING


def test_one_that_records_as_soon_as_it_is_on_is_stopped_by_the_press_that_should_start_it(hand):
    hand.camera.starts_recording = True
    hand.start()
    assert hand.state == RECORDING
    hand.press_record()
    assert hand.state == IDLE


def test_a_crash_is_ended_by_its_supply_only(filming):
    filming.camera.crash()
    filming.press_record()
    filming.press_power()
    filming.wait(1000.0)
    assert filming.state == CRASHED
    filming.unplug()
    filming.plug()
    filming.start()
    assert filming.state == IDLE


def test_a_camera_that_is_off_cannot_crash(hand):
    hand.camera.crash()
    assert hand.state == OFF


def test_it_draws_and_heats_by_what_it_does(hand, sample):
    def drawn():
        return hand.camera.current_ma(), hand.camera.heat_w(sample.heat)

    assert drawn() == (0.0, 0.0)
    hand.start()
    assert drawn() == (sample.camera.idle_ma, sample.heat.camera_idle_w)
    hand.press_record()
    assert drawn() == (sample.camera.recording_ma, sample.heat.camera_recording_w)
    hand.unplug()
    assert drawn() == (0.0, 0.0)
