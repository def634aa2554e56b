"""The supply monitor's driver against a chip written from the same data sheet by itself.

Limits that are not the sheet's (pauses, freshness) are this project's own and stand in the driver.
"""

import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import ina226
from drivers.ina226 import Ina226
from seatrial.chips.buses import I2CBus
from seatrial.chips.ina226 import Ina226Chip

SHUNT_MICRO_OHM = 20000
WRAP_MS = 1 << 30
STEP_MS = 10
MOST_BYTES_A_TICK = 20  # with the address byte that the simulated bus counts; 2 ms at 100 kHz


class Rig:
    """A driver on a bus with its chip, and a clock for both."""

    def __init__(self, now_ms: int = 0, **options) -> None:
        self.bus = I2CBus()
        self.chip = Ina226Chip(options.pop("chip_shunt_micro_ohm", SHUNT_MICRO_OHM))
        self.bus.chips[0x40] = self.chip
        self.now_ms = now_ms
        self.most_moved = 0
        self.sensor = Ina226(self.bus, options.pop("shunt_micro_ohm", SHUNT_MICRO_OHM), **options)
        self.started = self.sensor.start(now_ms % WRAP_MS)

    def run(self, milliseconds: int, step_ms: int = STEP_MS, until=None) -> "Rig":
        for _ in range(0, milliseconds, step_ms):
            self.now_ms += step_ms
            self.chip.now_s += step_ms / 1000
            self.bus.moved = 0
            self.sensor.tick(self.now_ms % WRAP_MS)
            self.most_moved = max(self.most_moved, self.bus.moved)
            if until and until(self.sensor):
                break
        return self

    def load(self, supply_mv: float, current_ma: float) -> "Rig":
        self.chip.supply_mv, self.chip.current_ma = supply_mv, current_ma
        return self

    @property
    def told(self) -> tuple:
        return self.sensor.voltage_ok, self.sensor.current_ok, self.sensor.voltage_mv, self.sensor.current_ma


def good_rig(**options) -> Rig:
    rig = Rig(**options).load(14800, 640).run(300)
    assert rig.sensor.ok and rig.told == (1, 1, 14800, 640)
    return rig


# --- what it reads -------------------------------------------------------------------------------------------------


@given(supply_mv=st.integers(0, 36000), current_ma=st.integers(-3270, 3270))
def test_any_load_within_the_chips_range_is_told_to_a_step(supply_mv, current_ma):
    rig = Rig().load(supply_mv, current_ma).run(200)
    assert rig.sensor.ok
    assert abs(rig.sensor.voltage_mv - supply_mv) <= 1.25
    # a step of the shunt's 2.5 microvolt is 0.125 mA here, a step of the register 0.1 mA; then to the nearest mA
    assert abs(rig.sensor.current_ma - current_ma) <= 0.5 * 0.125 + 0.1 + 0.5


@given(shunt_micro_ohm=st.integers(500, 200_000), wanted=st.integers(1000, 32000), part=st.floats(-0.95, 0.95))
def test_any_shunt_and_step_that_fit_tell_the_current(shunt_micro_ohm, wanted, part):
    step_micro_a = int(5.12e9 / shunt_micro_ohm / wanted) + 1
    fitted = 5.12e9 / shunt_micro_ohm / step_micro_a
    full_ma = min(81.92e6 / shunt_micro_ohm, 32767 * step_micro_a / 1000)
    rig = Rig(shunt_micro_ohm=shunt_micro_ohm, chip_shunt_micro_ohm=shunt_micro_ohm, current_step_micro_a=step_micro_a)
    rig.load(12000, part * full_ma).run(200)
    assert rig.sensor.ok
    steps_ma = 0.5 + step_micro_a / 1000 + 0.5 * 2500 / shunt_micro_ohm  # nearest mA, a step, half a step of the shunt
    assert rig.sensor.current_ma == pytest.approx(part * full_ma, abs=steps_ma + abs(part) * full_ma * 0.5 / fitted)


def test_nothing_is_valid_before_the_first_conversion_has_ended():
    rig = Rig().load(14800, 640).run(30)
    assert rig.started and not rig.sensor.ok and not rig.sensor.voltage_ok and not rig.sensor.current_ok
    assert rig.run(40).sensor.ok  # 16 averages of twice 1.1 ms


@pytest.mark.parametrize("averages", ina226.AVERAGES)
@pytest.mark.parametrize("conversion_micro_s", [140, 1100, 8244])
def test_every_setting_reads_and_does_not_take_a_slow_chip_for_a_stopped_one(averages, conversion_micro_s):
    rig = Rig(averages=averages, conversion_micro_s=conversion_micro_s).load(7400, -250)
    period_ms = int(2 * averages * conversion_micro_s / 1000) + 1
    rig.run(2 * period_ms + 100)
    assert rig.told == (1, 1, 7400, -250)
    assert rig.chip.conversion_s == pytest.approx(2 * averages * conversion_micro_s * 1e-6)
    rig.run(4 * period_ms, until=lambda sensor: not sensor.ok)
    assert rig.sensor.ok and rig.sensor.faults == 0


@pytest.mark.published("memory", source="TI SBOS547, electrical characteristics (from memory)", tolerance="0.2 %")
@pytest.mark.parametrize("conversion_micro_s", ina226.CONVERSION_MICRO_S)
def test_every_conversion_time_is_the_one_that_the_chip_takes(conversion_micro_s):
    rig = Rig(conversion_micro_s=conversion_micro_s, averages=4)
    assert rig.chip.conversion_s == pytest.approx(8e-6 * conversion_micro_s)
    # TI SBOS547, electrical characteristics (from memory): the longest conversion is a tenth above the typical one.
    place = ina226.CONVERSION_MICRO_S.index(conversion_micro_s)
    assert ina226.CONVERSION_LONGEST_MICRO_S[place] == pytest.approx(1.1 * conversion_micro_s, rel=2e-3)


def test_a_driver_that_was_never_started_has_nothing_valid_and_starts_by_itself():
    bus = I2CBus()
    bus.chips[0x40] = Ina226Chip(SHUNT_MICRO_OHM)
    sensor = Ina226(bus, SHUNT_MICRO_OHM)
    assert (sensor.ok, sensor.voltage_ok, sensor.current_ok, sensor.voltage_mv, sensor.current_ma) == (0, 0, 0, 0, 0)
    for now_ms in range(0, 1500, STEP_MS):
        bus.chips[0x40].now_s = now_ms / 1000
        sensor.tick(now_ms)
    assert sensor.ok and sensor.faults == 0


def test_a_reading_follows_the_load_within_a_quarter_of_a_second():
    assert good_rig().load(11100, 2000).run(250).told == (1, 1, 11100, 2000)


@pytest.mark.parametrize("start_ms", [WRAP_MS - 1000, WRAP_MS - 31, WRAP_MS - 1])
def test_the_wrap_of_the_counter_changes_nothing(start_ms):
    rig = good_rig(now_ms=start_ms)
    for _ in range(100):
        assert rig.run(STEP_MS).sensor.ok
    rig.chip.stopped = True
    assert not rig.run(300).sensor.ok


def test_a_release_circuit_of_another_shunt_is_sensed_with_the_supply_off():
    rig = Rig(shunt_micro_ohm=100_000, chip_shunt_micro_ohm=100_000, current_step_micro_a=25)
    assert rig.load(0, 30).run(200).told == (1, 1, 0, 30)  # a trickle below firing


@pytest.mark.parametrize("step_ms", [1, 7, 100, 333])
def test_it_reads_however_often_the_board_ticks(step_ms):
    rig = Rig().load(14800, 640).run(3000, step_ms)
    for _ in range(20):
        assert rig.run(step_ms, step_ms).sensor.ok


def test_a_board_that_slept_gets_nothing_old():
    for pause_ms in range(0, 100, STEP_MS):  # so that it slept in each state
        rig = good_rig().run(pause_ms).load(11100, 100)
        rig.run(60_000, 60_000)
        assert not rig.sensor.ok or rig.told == (1, 1, 11100, 100)
        rig.run(60, until=lambda sensor: sensor.ok)
        assert rig.told == (1, 1, 11100, 100)


# --- what it refuses -----------------------------------------------------------------------------------------------


def test_no_tick_keeps_the_bus_for_two_milliseconds():
    rig = good_rig()
    rig.chip.absent = True
    rig.run(1500)
    rig.chip.absent = False
    assert rig.run(1500).sensor.ok
    assert 0 < rig.most_moved <= MOST_BYTES_A_TICK


@pytest.mark.parametrize("fault", ["absent", "dead"])
def test_a_chip_that_does_not_answer_is_invalid_at_once_and_read_again_when_it_is_back(fault):
    rig = good_rig()
    setattr(rig.bus if fault == "dead" else rig.chip, fault, True)
    rig.run(STEP_MS)
    assert (rig.sensor.ok, rig.sensor.voltage_ok, rig.sensor.current_ok, rig.sensor.faults) == (0, 0, 0, 1)
    assert not rig.run(5000).sensor.ok
    assert 4 <= rig.sensor.faults <= 7  # it tries about once a second
    setattr(rig.bus if fault == "dead" else rig.chip, fault, False)
    assert rig.run(1300).told == (1, 1, 14800, 640)


@pytest.mark.parametrize("tick", range(12))
def test_one_lost_transfer_is_invalid_at_once_in_whatever_state(tick):
    rig = good_rig().run(tick * STEP_MS)
    rig.bus.fail_next = 1
    rig.run(STEP_MS)
    assert not rig.sensor.ok and rig.sensor.faults == 1
    assert rig.run(1300).told == (1, 1, 14800, 640)


def test_a_chip_that_stopped_converting_is_noticed_though_it_answers():
    rig = good_rig()
    rig.chip.stopped = True
    rig.run(300, until=lambda sensor: not sensor.ok)
    assert not rig.sensor.ok and rig.sensor.faults == 1
    assert not rig.run(4000, until=lambda sensor: sensor.ok).sensor.ok
    rig.chip.stopped = False
    assert rig.run(1500).told == (1, 1, 14800, 640)


@pytest.mark.parametrize("tick", range(8))
def test_a_chip_that_browned_out_never_tells_the_current_of_its_empty_calibration(tick):
    rig = good_rig().run(tick * STEP_MS)
    rig.chip.power_on()
    for _ in range(200):
        rig.run(STEP_MS)
        assert not rig.sensor.ok or rig.told == (1, 1, 14800, 640)
    assert rig.sensor.ok and rig.sensor.faults == 1


@pytest.mark.parametrize("sign", [1, -1])
def test_a_current_beyond_the_shunts_end_is_invalid_and_the_voltage_stays(sign):
    rig = good_rig().load(14700, sign * 4200).run(200)  # 84 mV at a shunt that ends at 81.92 mV
    assert rig.told[:3] == (1, 0, 14700) and not rig.sensor.ok
    assert rig.load(14800, sign * 640).run(200).told == (1, 1, 14800, sign * 640)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_math_overflow_is_invalid_and_the_voltage_stays(sign):
    rig = Rig(current_step_micro_a=50).load(12000, sign * 1000).run(200)
    assert rig.told == (1, 1, 12000, sign * 1000)
    rig.load(12000, sign * 1800).run(200)  # 36000 steps in a register of 32767
    assert rig.told[:3] == (1, 0, 12000)
    assert rig.load(12000, sign * 1000).run(200).told == (1, 1, 12000, sign * 1000)


def test_an_overflow_between_the_flags_and_the_values_is_seen():
    rig = Rig(current_step_micro_a=50).load(12000, 1000).run(30)
    for _ in range(400):  # every place of the conversion's end among the transfers comes round
        rig.load(12000, 1000 if rig.chip.current_ma > 1000 else 1800).run(36, 9)
        assert not rig.sensor.ok or rig.sensor.current_ma == 1000


def test_a_voltage_beyond_what_the_chip_is_made_for_is_invalid_and_the_current_stays():
    rig = good_rig().load(36100, 640).run(200)
    assert (rig.sensor.ok, rig.sensor.voltage_ok, rig.sensor.current_ok, rig.sensor.current_ma) == (0, 0, 1, 640)


def test_a_voltage_below_what_keeps_the_controller_alive_is_a_broken_wire():
    rig = Rig(lowest_mv=3000).load(3000, 100).run(200)
    assert rig.told == (1, 1, 3000, 100)
    assert rig.load(2990, 100).run(200).sensor.voltage_ok == 0


@pytest.mark.parametrize("tick", range(8))
def test_flags_settings_and_voltages_that_cannot_be_are_a_fault(tick):
    rig = good_rig().run(tick * STEP_MS)
    rig.chip.corrupt_next = 1
    rig.run(STEP_MS)  # the first read of a tick is of the flags or of the calibration
    assert not rig.sensor.ok and rig.sensor.faults == 1
    assert rig.run(1300).told == (1, 1, 14800, 640)


def test_a_bus_voltage_with_its_top_bit_set_is_a_fault():
    rig = good_rig()
    rig.chip.registers[0x02] = 0x8000 | 9584
    rig.chip.stopped = True
    rig.chip.registers[0x06] |= 0x0008
    rig.run(2 * STEP_MS)
    assert not rig.sensor.ok and rig.sensor.faults == 1


@pytest.mark.parametrize(("register", "contents"), [(0xFE, 0x5448), (0xFF, 0x2270), (0xFE, 0xFFFF), (0xFF, 0)])
def test_another_chip_at_the_address_is_not_taken_for_it(register, contents):
    rig = Rig()
    rig.chip.registers[register] = contents
    assert rig.sensor.start(0) == 0
    assert not rig.load(14800, 640).run(3000, until=lambda sensor: sensor.ok).sensor.ok


def test_a_later_revision_of_the_die_is_taken():
    rig = Rig()
    rig.chip.registers[0xFF] = 0x2261
    assert rig.sensor.start(0) == 1


def test_a_start_without_a_chip_says_so_and_goes_on_trying():
    rig = Rig()
    rig.chip.absent = True
    assert rig.sensor.start(0) == 0
    rig.chip.absent = False
    assert rig.load(14800, 640).run(1300).told == (1, 1, 14800, 640)


def test_a_new_start_drops_what_was_valid():
    rig = good_rig()
    assert rig.sensor.start(rig.now_ms) == 1
    assert (rig.sensor.ok, rig.sensor.voltage_ok, rig.sensor.current_ok) == (0, 0, 0)


def test_the_count_of_faults_stands_at_its_end():
    rig = Rig()
    rig.sensor.faults = 65534
    rig.bus.dead = True
    rig.run(5000)
    assert rig.sensor.faults == 65535


@pytest.mark.parametrize(("options", "sentence"), [
    ({"shunt_micro_ohm": 0}, "shunt_micro_ohm is 0, it must be at least 1"),
    ({"shunt_micro_ohm": 100, "current_step_micro_a": 10}, "needs calibration 5120000, allowed 1 to 32767"),
    ({"shunt_micro_ohm": 900_000, "current_step_micro_a": 30_000}, "needs calibration 0, allowed 1 to 32767"),
    ({"current_step_micro_a": 32768}, "current_step_micro_a is 32768, allowed are 1 to 32767"),
    ({"averages": 3}, "averages is 3, allowed are (1, 4, 16, 64"),
    ({"conversion_micro_s": 1000}, "conversion_micro_s is 1000, allowed are (140, 204"),
])
def test_a_shunt_or_a_setting_that_the_chip_cannot_hold_is_refused_with_a_sentence(options, sentence):
    with pytest.raises(ValueError) as refusal:
        Ina226(I2CBus(), **{"shunt_micro_ohm": SHUNT_MICRO_OHM, **options})
    assert sentence in str(refusal.value)


def test_no_number_on_the_way_needs_the_heap_of_a_small_board():
    # MicroPython on 32 bits holds integers below 2^30 in a word; the largest product of a reading stays below.
    assert 32768 * 32767 + 500 < 1 << 30


# --- on the board's interpreter ------------------------------------------------------------------------------------

SCRIPT = """
import micropython
from drivers.ina226 import Ina226

class Bus:
    def __init__(self):
        self.words = [0] * 256
        self.words[0xFE] = 0x5449
        self.words[0xFF] = 0x2260
    def writeto_mem(self, address, register, data):
        if register != 6:  # the flags are the chip's own
            self.words[register] = data[0] << 8 | data[1]
    def readfrom_mem_into(self, address, register, into):
        into[0] = self.words[register] >> 8
        into[1] = self.words[register] & 255

bus = Bus()
sensor = Ina226(bus, 2000, 1000)
assert sensor.start(0) == 1
bus.words[2] = 9584
bus.words[4] = 0x10000 - 10000
bus.words[6] = 8
def ticks(first, last):
    now_ms = first
    while now_ms < last:
        sensor.tick(now_ms & 0x3FFFFFFF)
        now_ms += 10
ticks(0, 100)
print(sensor.ok, sensor.voltage_mv, sensor.current_ma, hex(bus.words[0]), bus.words[5])
micropython.heap_lock()
ticks(100, 500)
micropython.heap_unlock()
print(sensor.ok, sensor.faults)
bus.words[6] = 0
ticks(500, 900)
print(sensor.ok, sensor.faults)
bus.words[6] = 8
ticks(900, 2500)
print(sensor.ok, sensor.faults)
"""


def test_it_reads_without_allocating_under_real_micropython(micropython, firmware):
    done = subprocess.run([micropython, "-c", SCRIPT], env={"MICROPYPATH": str(firmware)}, capture_output=True,
                          text=True, timeout=60, check=False)
    assert done.stdout.splitlines() == ["1 11980 -10000 0x4527 2560", "1 0", "0 1", "1 1"], done.stderr
