"""The ratiometric pressure transducer: its driver and the converter's against a chip that answers by registers."""

import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.ads1115 import ADS1115, BUSY, FRESH_MS, READY, RatiometricTransducer
from seatrial.chips.ads1115 import ADS1115 as Chip
from seatrial.chips.ads1115 import RatiometricTransducer as Transducer
from seatrial.chips.buses import I2CBus

SCRIPT = Path(__file__).parents[1] / "scripts" / "heap_ads1115.py"
TICKS = 1 << 30
BEGUN_MS = 5  # after the start, within the first conversion of the first pair


class Bench:
    """A transducer, the chip that measures it, its driver, and a clock that all see."""

    def __init__(self, full_scale_mbar: int = 60000, zero_mbar: int = 0, rate_hz: int = 128, begin_ms: int = 0,
                 signal: int = 0, supply: int = 1, divider: float = 0.5, **settings) -> None:
        self.transducer = Transducer(full_scale_mbar, zero_mbar)
        self.chip = Chip()
        self.transducer.wire_to(self.chip, divider, signal, supply)
        self.bus = I2CBus()
        self.bus.chips[0x48] = self.chip
        self.driver = RatiometricTransducer(ADS1115(self.bus, rate_hz=rate_hz), full_scale_mbar, zero_mbar, **settings)
        self.begin_ms = begin_ms
        self.elapsed_us = 0
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

    def reading(self) -> int:
        assert self.driver.ok == 1
        return self.driver.pressure_mbar


def step_mbar(full_scale_mbar: int, range_v: float = 4.096, divider: float = 0.5) -> float:
    """What one step of the code is in pressure, at 80 % of 5 V for the full scale."""
    return full_scale_mbar / (0.8 * 5.0 * divider / (range_v / 0x8000))


def test_the_pressure_of_the_water_is_read_within_a_tenth_of_a_second_of_the_start():
    bench = Bench()
    bench.transducer.pressure_mbar = 51300.0
    assert bench.driver.start(0) == 1
    assert bench.driver.ok == 0
    bench.run(100)
    assert abs(bench.reading() - 51300) <= 2 * step_mbar(60000)
    assert bench.driver.excitation_mv in (4999, 5000)


@given(data=st.data())
def test_every_pressure_of_every_transducer_is_read_to_two_steps_of_the_converter(data):
    full_scale_mbar = data.draw(st.sampled_from([2000, 10000, 60000, 600000, 1300000]))
    zero_mbar = data.draw(st.sampled_from([0, 1013]))
    bench = Bench(full_scale_mbar, zero_mbar, begin_ms=data.draw(st.integers(0, TICKS - 1)))
    bench.transducer.pressure_mbar = zero_mbar + full_scale_mbar * data.draw(st.integers(1, 1000)) / 1000
    bench.transducer.supply_mv = data.draw(st.integers(4600, 5400))
    bench.run(100)
    assert abs(bench.reading() - bench.transducer.pressure_mbar) <= 2.5 * step_mbar(full_scale_mbar) + 1


@pytest.mark.parametrize("rate_hz", [8, 16, 32, 64, 128, 250, 475, 860])
def test_each_rate_waits_long_enough_for_the_slowest_oscillator(rate_hz):
    bench = Bench(rate_hz=rate_hz, period_ms=0).run(2000)
    bench.transducer.pressure_mbar = 30000
    bench.run(600)
    assert bench.driver.faults == 0
    assert abs(bench.reading() - 30000) <= 2 * step_mbar(60000)


@pytest.mark.parametrize(("range_mv", "divider_permille"), [(6144, 600), (4096, 600), (2048, 350), (1024, 180),
                                                            (512, 90), (256, 45)])
def test_each_range_of_the_converter_gives_the_same_pressure(range_mv, divider_permille):
    bench = Bench(divider=divider_permille / 1000, range_mv=(range_mv, range_mv),
                  dividers_permille=(divider_permille, divider_permille))
    bench.transducer.pressure_mbar = 45000
    bench.run(200)
    assert abs(bench.reading() - 45000) <= 2 * step_mbar(60000, range_mv / 1000, divider_permille / 1000)


def test_output_and_supply_may_have_dividers_and_ranges_of_their_own():
    bench = Bench(range_mv=(2048, 4096), dividers_permille=(350, 500), channels=(3, 2))
    bench.transducer.pressure_mbar = 45000
    bench.chip.inputs[3] = lambda: bench.transducer.output_mv() * 0.35
    bench.chip.inputs[2] = lambda: bench.transducer.supply_mv * 0.5
    bench.chip.inputs[0] = bench.chip.inputs[1] = lambda: 0.0
    bench.run(200)
    assert abs(bench.reading() - 45000) <= 10
    assert bench.driver.ratio_permille == 700
    assert abs(bench.driver.excitation_mv - 5000) <= 2


def test_a_supply_that_sags_does_not_move_the_pressure():
    bench = Bench()
    bench.transducer.pressure_mbar = 20000
    for supply_mv in (5400, 5000, 4600):
        bench.transducer.supply_mv = supply_mv
        bench.run(500)
        assert abs(bench.reading() - 20000) <= 2 * step_mbar(60000)


def test_a_sealed_gauge_on_deck_reads_the_atmosphere():
    bench = Bench(zero_mbar=1013).run(200)
    assert abs(bench.reading() - 1013) <= 2 * step_mbar(60000)


def test_no_tick_keeps_the_bus_longer_than_two_milliseconds():
    bench = Bench(period_ms=0).run(2000)
    assert 0 < bench.longest_move * 9 * 10 <= 2000, "bytes of nine bits, ten microseconds each"


def test_a_board_that_ticks_once_in_a_second_still_has_a_reading():
    bench = Bench().run(20000, every_ms=1000)
    for _ in range(10):
        bench.run(1000, every_ms=1000).reading()
    assert bench.driver.faults == 0


@pytest.mark.parametrize("moment_ms", range(0, 60, 7))
def test_a_conversion_from_before_a_long_sleep_is_not_taken_for_the_present(moment_ms):
    bench = Bench(period_ms=40).run(500 + moment_ms)
    bench.transducer.pressure_mbar = 9000
    bench.run(3600_000, every_ms=3600_000)
    assert bench.driver.ok == 0
    for _ in range(100):
        bench.run(1)
        assert not bench.driver.ok or abs(bench.driver.pressure_mbar - 9000) <= 10
    assert bench.driver.ok == 1
    assert bench.driver.faults == 0


def test_the_wrap_of_the_millisecond_counter_is_not_noticed():
    bench = Bench(begin_ms=TICKS - 700).run(100)
    for _ in range(2000):
        bench.run(1).reading()
    assert bench.driver.faults == 0


def stays_silent(bench: Bench, ms: int = 4000) -> None:
    for _ in range(ms // 10):
        bench.run(10)
        assert bench.driver.ok == 0


def comes_back(bench: Bench) -> None:
    bench.run(1300)
    assert abs(bench.reading() - bench.transducer.pressure_mbar) <= 2 * step_mbar(60000)


def test_a_converter_that_is_absent_at_the_start_is_tried_again_until_it_is_there():
    bench = Bench()
    bench.chip.absent = True
    assert bench.driver.start(0) == 0
    stays_silent(bench, 5000)
    assert 4 <= bench.driver.faults <= 7, "about once in a second"
    bench.chip.absent = False
    comes_back(bench)


@pytest.mark.parametrize("fault", ["absent", "hung", "held_low", "deaf"])
def test_a_converter_that_fails_at_depth_is_invalid_within_a_period_and_comes_back(fault):
    bench = Bench().run(1000)
    assert bench.driver.ok == 1
    setattr(bench.chip, fault, True)
    bench.run(300)
    stays_silent(bench)
    setattr(bench.chip, fault, False)
    comes_back(bench)


@pytest.mark.parametrize("fault", ["broken", "shorted"])
def test_a_broken_wire_and_a_short_to_the_supply_are_invalid_and_not_a_depth(fault):
    bench = Bench().run(1000)
    setattr(bench.transducer, fault, True)
    bench.run(300)
    stays_silent(bench)
    setattr(bench.transducer, fault, False)
    comes_back(bench)


@pytest.mark.parametrize(("permille", "valid"), [(49, 0), (51, 1), (100, 1), (900, 1), (919, 1), (921, 0), (951, 0)])
def test_the_wire_is_believed_from_5_to_92_percent_of_the_supply(permille, valid):
    bench = Bench(zero_mbar=5000)
    bench.chip.inputs[0] = lambda: 2500.0 * permille / 1000
    bench.run(200)
    assert bench.driver.ok == valid
    assert abs(bench.driver.ratio_permille - permille) <= 1


def test_a_transducer_that_stands_at_its_stop_does_not_look_like_the_seabed():
    bench = Bench()
    for pressure_mbar in (59000, 70000):
        bench.transducer.pressure_mbar = pressure_mbar
        bench.run(500)
        assert bench.driver.ok == (pressure_mbar < 60000)


def test_a_saturated_converter_does_not_look_like_the_seabed():
    bench = Bench(range_mv=(2048, 4096))  # finer steps, down to 90 % of the full scale
    for pressure_mbar, valid in [(40000, 1), (50000, 1), (55000, 0), (58000, 0), (50000, 1)]:
        bench.transducer.pressure_mbar = pressure_mbar
        bench.run(1500)
        assert bench.driver.ok == valid
        assert not valid or abs(bench.reading() - pressure_mbar) <= 2 * step_mbar(60000, 2.048)


def test_a_saturated_supply_channel_is_invalid_though_the_ratio_looks_possible():
    bench = Bench(range_mv=(4096, 2048), dividers_permille=(500, 370))
    bench.chip.inputs[0] = lambda: 1100.0
    for supply_mv, valid in [(1850.0, 1), (2100.0, 0)]:
        bench.chip.inputs[1] = lambda mv=supply_mv: mv
        bench.run(300)
        assert bench.driver.ok == valid


@pytest.mark.parametrize(("supply_mv", "valid"), [(0, 0), (3300, 0), (4490, 0), (4510, 1), (5490, 1), (5510, 0)])
def test_a_supply_further_than_a_tenth_from_what_it_should_be_is_not_believed(supply_mv, valid):
    bench = Bench()
    bench.transducer.supply_mv = supply_mv
    bench.run(300)
    assert bench.driver.ok == valid


def test_a_pressure_below_vacuum_says_that_the_zero_is_off():
    bench = Bench()
    bench.transducer.pressure_mbar = -100
    bench.run(300)
    stays_silent(bench, 500)


def test_a_converter_that_lost_its_supply_is_noticed_before_its_reset_input_is_taken_for_the_transducer():
    bench = Bench(period_ms=0)
    bench.transducer.pressure_mbar = 30000
    bench.run(1000)
    bench.chip.inputs[0] = lambda: 1500.0
    for moment_ms in range(40):
        bench.run(1300 + moment_ms)
        expected = bench.reading()
        faults = bench.driver.faults
        bench.chip.lose_supply()
        for _ in range(100):
            bench.run(1)
            assert not bench.driver.ok or abs(bench.driver.pressure_mbar - expected) <= 10
        assert bench.driver.faults >= faults


def test_a_bit_turned_over_in_the_register_that_says_what_was_measured_is_noticed():
    bench = Bench().run(1000)
    bench.chip.corrupt_next = 1
    bench.run(250)
    assert bench.driver.ok == 0
    assert bench.driver.faults == 1
    comes_back(bench)


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


@pytest.mark.parametrize(("settings", "words"), [
    ({"full_scale_mbar": 0}, "full_scale_mbar = 0: allowed 100 to 1300000"),
    ({"zero_mbar": 30000}, "zero_mbar = 30000"),
    ({"excitation_mv": 500}, "excitation_mv = 500"),
    ({"period_ms": 1001}, "period_ms = 1001: allowed 0 to 1000"),
    ({"channels": (1, 1)}, "an input each"),
    ({"channels": (0, 4)}, "channels = 4: allowed 0 to 3"),
    ({"range_mv": (4096, 5000)}, "range_mv = 5000"),
    ({"dividers_permille": (0, 500)}, "dividers_permille = 0: allowed 1 to 1000"),
    ({"dividers_permille": (500, 1000)}, "above the 3300 mV"),
    ({"range_mv": (6144, 6144), "dividers_permille": (700, 500)}, "above the 3300 mV"),
    ({"range_mv": (4096, 2048)}, "above the 2048 mV"),
])
def test_a_wiring_that_cannot_measure_is_refused_with_the_way_out(settings, words):
    with pytest.raises(ValueError, match=words):
        RatiometricTransducer(ADS1115(I2CBus()), **{"full_scale_mbar": 60000, **settings})


@pytest.mark.parametrize("rate_hz", [8, 16, 32, 64, 128, 250, 475, 860])
def test_a_conversion_is_busy_at_first_and_ready_after_its_time_even_on_the_slowest_oscillator(rate_hz):
    chip, bus = Chip(), I2CBus()
    bus.chips[0x48] = chip
    converter = ADS1115(bus, rate_hz=rate_hz)
    assert converter.start() == 1
    converter.begin(0, 1)
    assert converter.poll() == BUSY
    chip.now_s = (converter.conversion_ms - 1) / 1000  # a millisecond counter may be one short
    assert converter.poll() == READY


@pytest.mark.parametrize("fault", ["held_low", "deaf"])
def test_a_converter_that_does_not_keep_what_is_written_fails_at_the_start(fault):
    bench = Bench()
    setattr(bench.chip, fault, True)
    assert bench.driver.start(0) == 0
    assert bench.driver.faults == 1


@pytest.mark.parametrize(("signal_code", "pressure_mbar"), [(2001, 6), (2002, 13), (2003, 19), (18000, 100000)])
def test_the_pressure_is_rounded_to_the_nearest_millibar(signal_code, pressure_mbar):
    # 100 bar by 16000 steps of the code: 6.25, 12.5 and 18.75 mbar for the first three.
    bench = Bench(full_scale_mbar=100000)
    bench.chip.inputs[0] = lambda: signal_code * 0.125
    assert bench.run(100).reading() == pressure_mbar


def test_a_rate_that_the_converter_does_not_have_is_refused():
    with pytest.raises(ValueError, match="rate_hz = 100"):
        ADS1115(I2CBus(), rate_hz=100)


def test_the_driver_runs_under_real_micropython_and_allocates_nothing(micropython, firmware):
    done = subprocess.run([micropython, str(SCRIPT)], env={"MICROPYPATH": str(firmware)}, capture_output=True,
                          text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.split() == ["30000", "500", "5000", "0", "faults"]
