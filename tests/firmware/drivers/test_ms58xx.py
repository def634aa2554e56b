"""The digital pressure sensor: the driver against a chip that answers with the registers and bytes of its datasheet."""

import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.ms58xx import FRESH_MS, VARIANTS, MS58xx
from seatrial.chips.buses import I2CBus
from seatrial.chips.ms58xx import MS58xx as Chip
from seatrial.chips.ms58xx import burnt

SCRIPT = Path(__file__).parents[1] / "scripts" / "heap_ms58xx.py"
TICKS = 1 << 30
BEGUN_MS = 16  # after the start, within the first conversion of the first pair
RANGES = {"MS5837-30BA": (0, 30000), "MS5837-02BA": (10, 2000), "MS5803-14BA": (0, 14000)}  # datasheets, from memory


class Bench:
    """A driver and its chip on a bus, and a clock that both see."""

    def __init__(self, variant: str = "MS5837-30BA", begin_ms: int = 0, **settings) -> None:
        self.chip = Chip(variant)
        self.bus = I2CBus()
        self.bus.chips[0x76] = self.chip
        self.driver = MS58xx(self.bus, variant, **settings)
        self.elapsed_us = 0
        self.begin_ms = begin_ms
        self.longest_move = 0

    @property
    def now_ms(self) -> int:
        return (self.begin_ms + self.elapsed_us // 1000) % TICKS

    def run(self, ms: int, every_ms: float = 1) -> "Bench":
        every_us = round(every_ms * 1000)
        for _ in range(ms * 1000 // every_us):
            self.elapsed_us += every_us
            self.chip.now_s = self.elapsed_us / 1_000_000
            self.bus.moved = 0
            self.driver.tick(self.now_ms)
            self.longest_move = max(self.longest_move, self.bus.moved)
        return self

    def reading(self) -> tuple:
        assert self.driver.ok == 1
        return self.driver.pressure_mbar, self.driver.centi_c


def test_the_pressure_of_the_water_is_read_within_a_tenth_of_a_second_of_the_start():
    bench = Bench()
    bench.chip.pressure_mbar, bench.chip.temperature_c = 12345.0, 4.0
    assert bench.driver.start(0) == 1
    assert bench.driver.ok == 0
    bench.run(100)
    pressure_mbar, centi_c = bench.reading()
    assert abs(pressure_mbar - 12345) <= 1
    assert abs(centi_c - 400) <= 2


@pytest.mark.parametrize("variant", sorted(RANGES))
@given(data=st.data())
def test_every_pressure_and_temperature_of_the_range_is_read_to_a_millibar(variant, data):
    low, high = RANGES[variant]
    lowest_c = -39 if variant.startswith("MS5803") else -19
    bench = Bench(variant, begin_ms=data.draw(st.integers(0, TICKS - 1)))
    bench.chip.pressure_mbar = data.draw(st.integers(low + 2, high - 2))
    bench.chip.temperature_c = data.draw(st.integers(lowest_c * 10, 840)) / 10
    bench.run(120)
    pressure_mbar, centi_c = bench.reading()
    assert abs(pressure_mbar - bench.chip.pressure_mbar) <= 1
    assert abs(centi_c - bench.chip.temperature_c * 100) <= 2


@pytest.mark.parametrize("oversampling", [256, 512, 1024, 2048, 4096, 8192])
def test_each_oversampling_waits_long_enough_for_the_slowest_conversion(oversampling):
    bench = Bench(oversampling=oversampling, period_ms=0)
    bench.run(500, every_ms=0.1)
    assert bench.driver.faults == 0
    assert abs(bench.reading()[0] - 1013) <= 1


def test_a_slow_descent_and_a_fast_ascent_are_followed():
    bench = Bench()
    for pressure_mbar in [1013, 2000, 9000, 29000, 15000, 1013]:
        bench.chip.pressure_mbar = pressure_mbar
        bench.run(500)
        assert abs(bench.reading()[0] - pressure_mbar) <= 1


def test_a_pair_of_conversions_is_made_once_in_a_period():
    bench = Bench(period_ms=500).run(100)
    before = bench.chip.conversions
    bench.run(5000)
    assert bench.chip.conversions - before == 20


def test_no_tick_keeps_the_bus_longer_than_two_milliseconds():
    bench = Bench("MS5803-14BA", period_ms=0).run(2000)
    assert 0 < bench.longest_move * 9 * 10 <= 2000, "bytes of nine bits, ten microseconds each"


def test_a_board_that_ticks_once_in_a_second_still_has_a_reading():
    bench = Bench().run(20000, every_ms=1000)
    for _ in range(10):
        assert abs(bench.run(1000, every_ms=1000).reading()[0] - 1013) <= 1
    assert bench.driver.faults == 0


@pytest.mark.parametrize("moment_ms", range(0, 60, 7))
def test_a_conversion_from_before_a_long_sleep_is_not_taken_for_the_present(moment_ms):
    bench = Bench(period_ms=50).run(500 + moment_ms)
    bench.chip.pressure_mbar = 9000
    bench.run(3600_000, every_ms=3600_000)
    assert bench.driver.ok == 0
    for _ in range(100):
        bench.run(1)
        assert not bench.driver.ok or abs(bench.driver.pressure_mbar - 9000) <= 1
    assert bench.driver.ok == 1
    assert bench.driver.faults == 0


def test_the_wrap_of_the_millisecond_counter_is_not_noticed():
    bench = Bench(begin_ms=TICKS - 700).run(100)
    for _ in range(2000):
        bench.run(1).reading()
    assert bench.driver.faults == 0


def stays_silent(bench: Bench, ms: int = 5000) -> None:
    for _ in range(ms // 10):
        bench.run(10, every_ms=1)
        assert bench.driver.ok == 0


def comes_back(bench: Bench) -> None:
    bench.run(1300)
    assert abs(bench.reading()[0] - bench.chip.pressure_mbar) <= 1


def test_a_chip_that_is_absent_at_the_start_is_tried_again_until_it_is_there():
    bench = Bench()
    bench.chip.absent = True
    assert bench.driver.start(0) == 0
    stays_silent(bench)
    assert 4 <= bench.driver.faults <= 7, "about once in a second"
    bench.chip.absent = False
    comes_back(bench)


@pytest.mark.parametrize("fault", ["absent", "held_low", "held_high", "deaf_to_conversions"])
def test_a_chip_that_fails_at_depth_is_invalid_within_a_period_and_comes_back(fault):
    bench = Bench().run(1000)
    assert bench.driver.ok == 1
    setattr(bench.chip, fault, True)
    bench.run(250)
    stays_silent(bench)
    setattr(bench.chip, fault, False)
    comes_back(bench)


def test_a_dead_bus_is_invalid_at_the_first_transfer_that_fails():
    bench = Bench(period_ms=0).run(1000)
    bench.bus.dead = True
    while bench.driver.faults == 0:
        bench.run(1)
    assert bench.driver.ok == 0
    bench.bus.dead = False
    comes_back(bench)


def test_a_chip_that_lost_its_supply_for_a_moment_is_reset_and_not_believed_before():
    bench = Bench().run(1000)
    bench.chip.lose_supply()
    bench.run(250)
    assert bench.driver.ok == 0
    comes_back(bench)


def test_a_conversion_that_takes_too_long_reads_as_zero_and_is_refused():
    bench = Bench()
    bench.chip.slow = 1.5
    stays_silent(bench)
    assert bench.driver.faults > 0
    bench.chip.slow = 1.0
    comes_back(bench)


@pytest.mark.parametrize(("coefficients", "raw", "refused"), [
    # Coefficients under which the end of the converter works out to a pressure and a temperature that could be.
    ((34982, 1, 20328, 22354, 26646, 26146), (1000, 5700000), (0, 5700000)),
    ((12000, 36352, 20328, 22354, 26646, 26146), (0xFFFFFE, 6815414), (0xFFFFFF, 6815414)),
    ((34982, 20000, 200, 200, 1000, 1), (5500000, 1), (5500000, 0)),
    ((34982, 20000, 200, 200, 26646, 1), (5500000, 0xFFFFFE), (5500000, 0xFFFFFF))])
def test_a_conversion_of_zero_or_of_all_ones_is_never_a_pressure_however_possible_it_looks(coefficients, raw, refused):
    bench = Bench()
    bench.chip.prom = burnt("MS5837-30BA", coefficients)
    bench.chip.raw = raw
    bench.run(100).reading()
    bench.chip.raw = refused
    bench.run(250)
    stays_silent(bench, ms=500)
    assert bench.driver.faults > 0


def test_the_byte_that_holds_the_crc_of_the_ms5803_counts_for_nothing_else():
    # AN520 replaces the whole byte by 0 before the calculation.
    bench = Bench("MS5803-14BA")
    bench.chip.prom[7] |= 0x00F0
    bench.run(100).reading()


@pytest.mark.parametrize("variant", sorted(VARIANTS))
@pytest.mark.parametrize("word", range(7))
def test_a_bit_turned_over_in_the_prom_is_noticed(variant, word):
    for bit in range(16):
        bench = Bench(variant)
        bench.chip.prom[word] ^= 1 << bit
        bench.run(200)
        assert bench.driver.ok == 0, (word, bit)
        assert bench.driver.faults > 0


def test_a_prom_of_zeros_has_a_right_crc_and_is_refused_all_the_same():
    bench = Bench()
    bench.chip.prom = burnt("MS5837-30BA", [0] * 6)
    bench.chip.raw = (4958179, 6815414)
    stays_silent(bench, ms=500)


def test_a_coefficient_of_all_ones_is_refused_though_its_crc_is_right():
    bench = Bench()
    bench.chip.prom = burnt("MS5837-30BA", (0xFFFF, 36352, 20328, 22354, 26646, 26146))
    stays_silent(bench, ms=500)


def test_a_bit_turned_over_on_the_line_while_the_prom_is_read_only_delays_the_first_reading():
    bench = Bench()
    bench.chip.corrupt_next = 1
    bench.run(500)
    assert bench.driver.ok == 0
    assert bench.driver.faults == 1
    comes_back(bench)


@pytest.mark.parametrize(("variant", "pressure_mbar"), [
    ("MS5837-30BA", 30010), ("MS5837-02BA", 2005), ("MS5837-02BA", 5), ("MS5803-14BA", 14010), ("MS5803-14BA", -10)])
def test_a_pressure_outside_the_range_of_the_chip_is_invalid(variant, pressure_mbar):
    bench = Bench(variant).run(500)
    bench.chip.pressure_mbar = pressure_mbar
    bench.run(300)
    stays_silent(bench)
    bench.chip.pressure_mbar = 1013
    comes_back(bench)


@pytest.mark.parametrize(("variant", "temperature_c"), [
    ("MS5837-30BA", -21), ("MS5837-30BA", 86), ("MS5803-14BA", -41), ("MS5803-14BA", 86)])
def test_a_temperature_outside_the_range_of_the_chip_is_invalid(variant, temperature_c):
    bench = Bench(variant)
    bench.chip.temperature_c = temperature_c
    stays_silent(bench, ms=500)


@pytest.mark.parametrize("begin_ms", [0, TICKS - 1500])
def test_a_reading_is_invalid_when_it_is_older_than_its_limit(begin_ms):
    bench = Bench(begin_ms=begin_ms, period_ms=1000).run(100)
    bench.reading()
    bench.driver.tick((bench.now_ms + FRESH_MS + 1) % TICKS)
    assert bench.driver.ok == 0


def test_the_age_of_a_reading_counts_from_its_conversion_and_not_from_when_it_was_fetched():
    bench = Bench().run(BEGUN_MS)
    bench.run(3000, every_ms=1500)
    assert bench.driver.ok == 1, "fetched now, converted 1.5 s ago"
    bench.run(600, every_ms=600)
    assert bench.driver.ok == 0


def test_the_count_of_faults_stops_at_its_end():
    bench = Bench()
    bench.driver.faults = 65534
    bench.chip.absent = True
    bench.run(5000)
    assert bench.driver.faults == 65535


def test_a_chip_whose_pin_gives_it_the_other_address_is_found_there():
    bench = Bench("MS5803-14BA", address=0x77)
    bench.bus.chips = {0x77: bench.chip}
    bench.run(100).reading()


@pytest.mark.parametrize(("arguments", "words"), [
    (("MS5999",), "MS5837-30BA"), (("MS5803-14BA", 8192), "4096"), (("MS5837-30BA", 300), "300"),
    (("MS5837-30BA", 256, -1), "period_ms"), (("MS5837-30BA", 256, 1001), "1000")])
def test_a_board_that_names_no_such_chip_is_told_what_there_is(arguments, words):
    with pytest.raises(ValueError, match=words):
        MS58xx(I2CBus(), *arguments)


def test_the_driver_runs_under_real_micropython_and_allocates_nothing(micropython, firmware):
    done = subprocess.run([micropython, str(SCRIPT)], env={"MICROPYPATH": str(firmware)}, capture_output=True,
                          text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.split() == ["4000", "1981", "0", "faults"]
