"""The radio sends short reports whole or says that it did not, and is silent for as long as the rules ask."""

import os
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import lora_air
from drivers.sx127x import CHECK_MS, PAUSE_MS, PAYLOAD_MAX, Sx127x
from seatrial.chips import sx127x as chips
from seatrial.chips.buses import SPIBus

WRAP = 1 << 30
REPORT = b"report 7 here"
SPI_HZ = 1000000
TICK_MAX_MS = 2


class Dive:
    """A chip and its driver on one clock; every tick is checked for the bytes that it moves."""

    def __init__(self, start_ms: int = 0, with_reset: bool = True, **settings) -> None:
        self.chip = chips.Sx127x()
        self.start_ms = start_ms
        self.passed_ms = 0
        self.moved_max = 0
        settings = {"frequency_hz": 868100000, "duty_permille": 1000, **settings}
        self.bus = SPIBus(self.chip)
        self.radio = Sx127x(self.bus, self.chip.cs, self.chip.reset if with_reset else None, **settings)

    @property
    def now_ms(self) -> int:
        return (self.start_ms + self.passed_ms) % WRAP

    def up(self) -> "Dive":
        self.radio.start(self.now_ms)
        self.run(100)
        assert self.radio.ok == 1
        return self

    def run(self, milliseconds: int, step_ms: int = 10) -> Sx127x:
        for _step in range(milliseconds // step_ms):
            self.passed_ms += step_ms
            self.chip.now_s = self.passed_ms / 1000
            self.bus.moved = 0
            self.radio.tick(self.now_ms)
            self.moved_max = max(self.moved_max, self.bus.moved)
        return self.radio

    def set_fault(self, fault: str, is_on: bool) -> None:
        setattr(self.bus if fault == "dead" else self.chip, fault, is_on)

    def send(self, payload: bytes = REPORT) -> int:
        return self.radio.send(payload, len(payload), self.now_ms)


@pytest.mark.parametrize("with_reset", [True, False])
@pytest.mark.parametrize("start_ms", [0, WRAP - 1, WRAP - 5, WRAP - 1003])
def test_the_radio_comes_up_and_sends_a_report(with_reset, start_ms):
    dive = Dive(start_ms, with_reset)
    assert dive.radio.start(dive.now_ms) == 1
    assert dive.radio.ok == 0, "not before the settings were read back"
    dive.run(100)
    assert dive.radio.ok == 1 and dive.send() == 1 and dive.radio.busy == 1
    dive.run(3000)
    assert (dive.radio.ok, dive.radio.busy, dive.radio.sent, dive.radio.faults) == (1, 0, 1, 0)
    [frame] = dive.chip.frames
    assert frame.payload == REPORT and frame.crc
    assert frame.sync_word == 0x12, "the word of private networks"
    assert not dive.chip.cut


@given(factor=st.integers(7, 12), bandwidth=st.sampled_from([row[0] for row in lora_air.BANDWIDTHS]),
       coding=st.integers(1, 4), payload=st.binary(min_size=1, max_size=PAYLOAD_MAX), sync=st.integers(0, 255))
def test_what_goes_on_the_air_is_what_was_asked_for(factor, bandwidth, coding, payload, sync):
    dive = Dive(spreading_factor=factor, bandwidth_hz=bandwidth, coding_rate=coding, sync_word=sync).up()
    assert dive.send(payload) == 1
    air_us = dive.radio.air_us(len(payload))
    step_ms = max(10, air_us // 20000)
    dive.run(air_us // 1000 + 5 * step_ms, step_ms)
    [frame] = dive.chip.frames
    assert frame.payload == payload
    assert (frame.spreading_factor, frame.coding_rate, frame.sync_word) == (factor, coding, sync)
    assert frame.bandwidth_hz == pytest.approx(bandwidth, rel=0.005)
    assert frame.low_data_rate == (2 ** factor / frame.bandwidth_hz > 0.016)
    assert air_us == pytest.approx(frame.air_s * 1e6, abs=0.6), "two formulas, written apart"
    assert dive.radio.sent == 1 and dive.radio.ok == 1


@given(st.one_of(st.integers(137000000, 175000000), st.integers(410000000, 525000000), st.integers(862000000, 1020000000)))
def test_any_frequency_is_hit_within_half_a_step(frequency_hz):
    dive = Dive(frequency_hz=frequency_hz).up()
    dive.send()
    dive.run(1000)
    assert dive.chip.frames[0].frequency_hz == pytest.approx(frequency_hz, abs=61.04 / 2)


@pytest.mark.parametrize("power, boost", [(power, 1) for power in range(2, 21)] + [(power, 0) for power in range(15)])
def test_the_power_is_the_power_asked_for(power, boost):
    dive = Dive(power_dbm=power, boost=boost, duty_permille=10)
    dive.up()
    dive.run(60000, 100)
    dive.send()
    dive.run(1000)
    assert dive.chip.frames[0].power_dbm == pytest.approx(power)
    assert dive.chip.registers[0x4D] == (0x87 if power > 17 else 0x84)
    trim = dive.chip.registers[0x0B]
    assert trim & 0x20, "the guard against too much current is on"
    assert (trim & 0x1F) * (5 if trim & 0x1F < 16 else 10) + (45 if trim & 0x1F < 16 else -30) == (140 if power > 17 else 100)


def test_the_low_bands_are_asked_for_below_862_mhz():
    for frequency_hz, low in ((433920000, 8), (169400000, 8), (868100000, 0), (915000000, 0)):
        assert Dive(frequency_hz=frequency_hz).up().chip.registers[0x01] & 8 == low


@pytest.mark.parametrize("name, value, said", [
    ("frequency_hz", 136999999, "frequency_hz is 136999999"), ("frequency_hz", 600000000, "410 to 525"),
    ("spreading_factor", 6, "spreading_factor is 6; allowed is 7 to 12"), ("spreading_factor", 13, "7 to 12"),
    ("bandwidth_hz", 100000, "bandwidth_hz is 100000; allowed is 7800, 10400"), ("coding_rate", 0, "1 to 4"),
    ("coding_rate", 5, "1 to 4"), ("power_dbm", 21, "power_dbm is 21; allowed is 2 to 20"), ("power_dbm", 1, "2 to 20"),
    ("sync_word", 256, "0 to 255"), ("duty_permille", 0, "duty_permille is 0; allowed is 1 to 1000"),
    ("duty_permille", 1001, "1 to 1000")])
def test_settings_that_the_chip_does_not_have_are_refused_in_one_sentence(name, value, said):
    with pytest.raises(ValueError, match=said):
        Dive(**{name: value})


@pytest.mark.parametrize("edge_hz, beyond", [(137000000, -1), (175000000, 1), (410000000, -1), (525000000, 1), (862000000, -1), (1020000000, 1)])
def test_the_bands_of_the_chip_end_where_they_end(edge_hz, beyond):
    Dive(frequency_hz=edge_hz)
    with pytest.raises(ValueError, match="frequency_hz"):
        Dive(frequency_hz=edge_hz + beyond)


def test_the_highest_power_is_refused_without_a_duty_cycle_of_one_percent():
    with pytest.raises(ValueError, match="above 17 dBm the chip allows at most 10"):
        Dive(power_dbm=18, duty_permille=11)
    Dive(power_dbm=20, duty_permille=10)
    Dive(power_dbm=17, duty_permille=1000)
    with pytest.raises(ValueError, match="allowed is 0 to 14"):
        Dive(power_dbm=15, boost=0)


@pytest.mark.parametrize("length", [0, -1, PAYLOAD_MAX + 1])
def test_a_payload_of_an_impossible_length_is_refused(length):
    dive = Dive().up()
    assert dive.radio.send(bytes(100), length, dive.now_ms) == 0 and dive.radio.busy == 0
    assert dive.radio.send(bytes(5), 6, dive.now_ms) == 0
    assert dive.radio.send(bytes(100), PAYLOAD_MAX, dive.now_ms) == 1


def test_a_second_report_waits_for_the_first_and_does_not_spoil_it():
    dive = Dive().up()
    assert dive.send() == 1
    assert dive.send(b"other") == 0
    dive.run(50)
    assert dive.send(b"other") == 0
    dive.run(1000)
    assert [frame.payload for frame in dive.chip.frames] == [REPORT]
    assert dive.send(b"other") == 1
    dive.run(1000)
    assert dive.chip.frames[1].payload == b"other"


def test_the_payload_is_copied_when_it_is_taken():
    dive = Dive().up()
    payload = bytearray(b"one")
    dive.send(payload)
    payload[:] = b"two"
    dive.run(1000)
    assert dive.chip.frames[0].payload == b"one"


def test_the_radio_sleeps_between_frames():
    dive = Dive().up()
    assert dive.chip.registers[0x01] == 0x80
    dive.send()
    dive.run(1000)
    assert dive.chip.registers[0x01] == 0x80 and not dive.chip.cut


def test_no_tick_is_longer_than_two_milliseconds_on_the_bus():
    dive = Dive().up()
    dive.send(bytes(range(PAYLOAD_MAX)))
    dive.run(3000)
    assert dive.chip.frames and dive.moved_max * 8 / SPI_HZ * 1000 < TICK_MAX_MS
    assert dive.moved_max <= 200, "as the driver says of itself"


def test_a_frame_that_ended_while_the_board_slept_counts_as_sent():
    dive = Dive().up()
    dive.send()
    dive.run(30)
    dive.run(60000, 60000)
    assert dive.radio.sent == 1 and dive.radio.ok == 1 and dive.radio.faults == 0


# Failures.

@pytest.mark.parametrize("fault", ["absent", "grounded", "dead"])
def test_a_radio_that_does_not_answer_is_not_ok_and_comes_back(fault):
    dive = Dive()
    dive.set_fault(fault, True)
    assert dive.radio.start(0) == 0
    assert dive.run(200).ok == 0
    assert dive.send() == 0
    dive.run(10 * PAUSE_MS)
    assert 8 <= dive.radio.faults <= 12, "tried about once a second, for ever"
    dive.set_fault(fault, False)
    assert dive.run(PAUSE_MS + 100).ok == 1
    dive.send()
    assert dive.run(1000).sent == 1


@pytest.mark.parametrize("fault", ["absent", "grounded", "dead"])
def test_a_radio_that_goes_silent_is_found_out_within_a_check(fault):
    dive = Dive().up()
    dive.set_fault(fault, True)
    assert dive.run(CHECK_MS + 10).ok == 0
    dive.set_fault(fault, False)
    assert dive.run(PAUSE_MS + 200).ok == 1


@pytest.mark.parametrize("fault", ["absent", "grounded", "dead", "never_done"])
def test_a_frame_whose_end_is_never_told_fails_in_time_and_is_not_counted(fault):
    dive = Dive().up()
    dive.send()
    dive.run(40)
    assert dive.radio.ok == 1 and dive.radio.busy == 1
    dive.set_fault(fault, True)
    limit_ms = dive.radio.air_us(len(REPORT)) // 1000 * 9 // 8 + 110
    dive.run(limit_ms + 20)
    assert (dive.radio.ok, dive.radio.busy, dive.radio.sent, dive.radio.faults) == (0, 0, 0, 1)
    dive.set_fault(fault, False)
    assert dive.run(PAUSE_MS + 200).ok == 1
    dive.send()
    assert dive.run(1000).sent == 1


def test_a_transmitter_that_does_not_end_is_switched_off():
    dive = Dive().up()
    dive.chip.never_done = True
    dive.send()
    dive.run(600)
    assert dive.radio.ok == 0
    assert dive.chip.registers[0x01] & 7 == 0 and len(dive.chip.cut) == 1


def test_a_frame_may_take_its_whole_time():
    dive = Dive(spreading_factor=12).up()
    dive.send(bytes(64))
    dive.run(2790)
    assert dive.radio.busy == 1 and dive.radio.faults == 0
    dive.run(60)
    assert dive.radio.sent == 1


def test_a_supply_that_breaks_when_the_frame_begins_is_noticed_at_once():
    dive = Dive().up()
    dive.chip.browns_out = True
    dive.send()
    dive.run(40)
    assert dive.radio.ok == 0 and dive.radio.sent == 0 and dive.radio.busy == 0
    dive.chip.browns_out = False
    assert dive.run(PAUSE_MS + 200).ok == 1


def test_a_chip_that_lost_its_settings_is_set_up_again():
    dive = Dive().up()
    dive.chip.power_up()
    assert dive.run(CHECK_MS + 10).ok == 0
    assert dive.run(PAUSE_MS + 200).ok == 1


@pytest.mark.parametrize("register", [0x06, 0x07, 0x08, 0x09, 0x0B, 0x0E, 0x11, 0x1D, 0x1E, 0x20, 0x21, 0x26, 0x39, 0x4D])
def test_a_register_that_changed_by_itself_keeps_the_radio_from_sending(register):
    dive = Dive().up()
    dive.chip.registers[register] ^= 0x01
    assert dive.send() == 1
    dive.run(20)
    assert dive.radio.ok == 0 and dive.radio.busy == 0
    dive.run(PAUSE_MS + 1000)
    assert not dive.chip.frames and dive.radio.ok == 1


@pytest.mark.parametrize("nth", range(14))
def test_a_setting_that_was_not_taken_is_noticed_and_made_again(nth):
    dive = Dive(spreading_factor=11, sync_word=0x34, power_dbm=20, duty_permille=10, frequency_hz=915123456)
    written = []
    store = dive.chip._store

    def lose_one(register, value):
        written.append(register)
        if len(written) != nth + 3:  # the two writes of the mode come first
            store(register, value)

    dive.chip._store = lose_one
    reset_value = dict(chips.AFTER_RESET)
    dive.radio.start(0)
    dive.run(100)
    lost = written[nth + 2]
    settings = dict(zip(dive.radio._settings[::2], dive.radio._settings[1::2], strict=True))
    assert dive.radio.ok == (1 if settings[lost] == reset_value.get(lost, 0) else 0)
    assert dive.run(PAUSE_MS + 200).ok == 1


@pytest.mark.parametrize("nth", range(1, 70))
def test_a_frame_whose_bytes_were_lost_or_changed_on_the_way_is_not_sent(nth):
    dive = Dive().up()
    dive.send(bytes(range(100, 164)))
    store = dive.chip._store
    count = [0]

    def lose_one(register, value):
        count[0] += 1
        if count[0] == nth:
            value ^= 0x04
        store(register, value)

    dive.chip._store = lose_one
    dive.run(10)
    dive.chip._store = store
    dive.run(500)
    assert count[0] >= min(nth, 68)
    assert all(frame.payload == bytes(range(100, 164)) for frame in dive.chip.frames + dive.chip.cut)
    assert len(dive.chip.frames) == dive.radio.sent


def test_one_wrong_bit_read_costs_a_restart_not_a_wrong_frame():
    dive = Dive().up()
    dive.chip.corrupt_next = 1
    assert dive.run(CHECK_MS + 10).ok == 0
    assert dive.run(PAUSE_MS + 200).ok == 1 and dive.radio.faults == 1


def test_the_reset_pin_is_held_low_for_longer_than_asked_and_the_chip_is_left_to_wake():
    dive = Dive(start_ms=WRAP - 2)
    dive.radio.start(dive.now_ms)
    assert dive.chip.reset() == 0
    dive.run(1, 1)
    assert dive.chip.reset() == 0, "one turn of the counter may be next to nothing"
    dive.run(1, 1)
    assert dive.chip.reset() == 1
    dive.run(10, 1)
    assert dive.chip.registers[0x01] == 0x09, "untouched until it is awake"
    assert dive.run(5, 1).ok == 1 and dive.radio.faults == 0


def test_chip_select_is_up_between_transfers_also_after_one_that_failed():
    dive = Dive().up()
    assert dive.chip.cs() == 1
    dive.bus.dead = True
    dive.run(CHECK_MS + 10)
    assert dive.radio.ok == 0 and dive.chip.cs() == 1


# The duty cycle.

@pytest.mark.parametrize("duty_permille", [1, 10, 100, 500, 999])
@pytest.mark.parametrize("start_ms", [0, WRAP - 4000])
def test_the_share_of_time_on_the_air_is_never_above_the_duty_cycle(duty_permille, start_ms):
    dive = Dive(start_ms, duty_permille=duty_permille)
    dive.radio.start(dive.now_ms)
    for _try in range(8000):
        dive.run(100, 50)
        dive.send()
        if len(dive.chip.frames) == 3:
            break
    frames = dive.chip.frames
    assert len(frames) == 3
    for before, after in zip(frames, frames[1:], strict=False):
        share = before.air_s / (after.start_s - before.start_s)
        assert share <= duty_permille / 1000
        assert after.start_s - before.start_s <= before.air_s * 1000 / duty_permille + 0.5, "no longer than asked"


def test_the_time_that_is_left_is_told_and_a_report_before_it_is_refused():
    dive = Dive(duty_permille=10)
    dive.radio.start(0)
    dive.run(100)
    assert dive.radio.ok == 1 and dive.send() == 0, "the boot counts as a frame of the longest kind"
    longest_ms = -(-dive.radio.air_us(PAYLOAD_MAX) // 1000)
    assert dive.radio.quiet_ms == 100 * longest_ms - 100
    dive.run(100 * longest_ms // 10 * 10 - 100)
    assert dive.radio.quiet_ms == 0 and dive.send() == 1
    dive.run(1000)
    assert dive.radio.quiet_ms > 10000 and dive.send() == 0


def test_a_frame_that_failed_counts_for_the_duty_cycle_and_a_restart_does_not_wipe_it():
    dive = Dive(duty_permille=10)
    dive.radio.start(0)
    dive.run(60000)
    dive.chip.never_done = True
    assert dive.send() == 1
    dive.run(500)
    assert dive.radio.faults == 1
    dive.chip.never_done = False
    assert dive.run(PAUSE_MS + 200).ok == 1
    assert dive.radio.start(dive.now_ms) == 1
    assert dive.radio.quiet_ms > 0
    dive.run(30)
    assert dive.send() == 0


def test_with_no_limit_there_is_no_silence():
    dive = Dive(duty_permille=1000).up()
    for _frame in range(3):
        assert dive.radio.quiet_ms == 0 and dive.send() == 1
        dive.run(300)
    assert len(dive.chip.frames) == 3


def test_faults_stop_counting_at_their_limit():
    dive = Dive()
    dive.chip.absent = True
    dive.radio.faults = 65534
    dive.run(5 * PAUSE_MS)
    assert dive.radio.faults == 65535


SCRIPT = """
import micropython
from drivers.sx127x import Sx127x

class Chip:
    def __init__(self):
        self.registers = bytearray(128)
        self.registers[0x42] = 0x12
        self.fifo = bytearray(64)
        self.ticks_on_air = 0
    def cs(self, level):
        pass
    def write(self, out):
        register = out[0] & 127
        if register == 0:
            for at in range(64):
                self.fifo[at] = out[1 + at]
        elif register == 0x12:
            self.registers[0x12] = 0
        else:
            self.registers[register] = out[1]
    def write_readinto(self, out, into):
        if out[0] == 0:
            for at in range(64):
                into[1 + at] = self.fifo[at]
        else:
            into[1] = self.registers[out[0]]
        if out[0] == 0x12 and self.registers[1] & 7 == 3:
            self.ticks_on_air += 1
            if self.ticks_on_air == 5:
                self.ticks_on_air = 0
                self.registers[0x12] = 8
                self.registers[1] = self.registers[1] & 0xF8 | 1

chip = Chip()
radio = Sx127x(chip, chip.cs, chip.cs, 868100000, duty_permille=1000)
payload = b"0123456789"

def run(locked, start_ms):
    if locked:
        micropython.heap_lock()
    radio.start(start_ms)
    for step in range(300):
        now_ms = (start_ms + 10 * step) & 0x3FFFFFFF
        if step == 50:
            radio.send(payload, 10, now_ms)
        radio.tick(now_ms)
    chip.registers[0x42] = 0
    for step in range(300, 900):
        if step == 700:
            chip.registers[0x42] = 0x12
        radio.tick((start_ms + 10 * step) & 0x3FFFFFFF)
    if locked:
        micropython.heap_unlock()

run(0, 0)
run(1, (1 << 30) - 700)
print(radio.ok, radio.sent, radio.busy, radio.air_us(13), radio.faults)
"""


def test_the_driver_runs_under_micropython_and_allocates_nothing(micropython, firmware):
    done = subprocess.run([micropython, "-c", SCRIPT], env={**os.environ, "MICROPYPATH": str(firmware)},
                          capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    ok, sent, busy, air_us, faults = [int(word) for word in done.stdout.split()]
    assert (ok, sent, busy, air_us) == (1, 2, 0, 164864) and faults > 2
