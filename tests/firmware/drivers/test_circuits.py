"""What the drivers of plain circuits share, and all of them under real MicroPython with the heap locked."""

import os
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import circuits, upkeep
from seatrial.chips.circuits import LOGIC_MV, PWM, Converter, Pin

SCRIPT = Path(__file__).parent / "scripts" / "plain_circuits.py"
DRIVERS = {"lamp", "blinker", "burnwire", "latch", "magnet", "probe", "register", "selector"}


@given(st.integers(0, upkeep.RING), st.integers(0, upkeep.RING))
def test_elapsed_time_is_right_across_the_wrap(since_ms, gone_ms):
    assert upkeep.elapsed_ms((since_ms + gone_ms) % (1 << 30), since_ms) == gone_ms


@given(st.integers(-1000, 1000))
def test_a_duty_is_the_nearest_and_its_ends_are_exact(percent):
    duty = circuits.duty(percent)
    assert abs(duty - 65535 * min(max(percent, 0), 100) / 100) <= 0.5
    assert (duty == 0) == (percent <= 0)
    assert (duty == 65535) == (percent >= 100)


def test_switching_off_takes_pins_and_pwms_and_nothing_and_never_raises():
    pin, pwm = Pin(1), PWM()
    pwm.duty = 9
    assert circuits.quiet(pin) and circuits.quiet(pwm) and circuits.quiet(None)
    assert (pin.level, pwm.duty) == (0, 0)
    pin.dead = pwm.dead = True
    assert not circuits.quiet(pin) and not circuits.quiet(pwm) and not circuits.quiet(object())


@pytest.mark.parametrize("drawn_ma", [0, 1, 10, 500, 1000, 3200])
def test_a_sensed_current_is_within_a_step_of_the_converter(drawn_ma):
    sense = circuits.Sense(Converter(lambda: LOGIC_MV * drawn_ma / 3300), 3300)
    assert sense.read() and abs(sense.ma - drawn_ma) <= 1


@pytest.mark.parametrize("drawn_ma", [3300, 4000, 20000])
def test_a_current_at_full_scale_is_not_believed(drawn_ma):
    sense = circuits.Sense(Converter(lambda: LOGIC_MV * drawn_ma / 3300), 3300)
    assert not sense.read() and not sense.ok


def test_a_failed_reading_is_not_believed_and_is_counted_and_the_next_is_believed_again():
    adc = Converter(lambda: 100.0)
    sense = circuits.Sense(adc, 3300)
    assert sense.read()
    adc.fail_next = 1
    assert not sense.read() and not sense.ok and sense.faults == 1
    assert sense.read() and sense.ok


@pytest.mark.parametrize("counts", [-1, 65536, 1 << 20])
def test_a_reading_that_no_converter_gives_is_not_believed(counts):
    adc = Converter(lambda: 0.0)
    adc.stuck_counts = counts
    assert not circuits.Sense(adc, 3300).read()


def test_without_a_converter_no_current_is_believed():
    assert not circuits.Sense(None, 0).read()


@pytest.mark.parametrize("full_ma", [0, -1, 16384])
def test_a_full_scale_that_would_overflow_or_means_nothing_is_refused(full_ma):
    with pytest.raises(ValueError, match="allowed is 1 to 16383"):
        circuits.Sense(Converter(lambda: 0.0), full_ma)


def test_faults_stop_counting_where_the_journal_stops():
    assert upkeep.one_more(65534) == 65535 == upkeep.one_more(65535)


def run_script(micropython, firmware, script) -> subprocess.CompletedProcess:
    return subprocess.run([micropython, str(script)], env={**os.environ, "MICROPYPATH": str(firmware)},
                          capture_output=True, text=True, timeout=60, check=False)


def test_no_steady_tick_of_any_plain_driver_allocates(micropython, firmware):
    done = run_script(micropython, firmware, SCRIPT)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    lines = done.stdout.split("\n")[:-1]
    assert {line.split()[0] for line in lines} == DRIVERS
    for line in lines:
        name, cycle, bytes_taken = line.split(" ")
        assert cycle == "done", line
        assert bytes_taken == "0", line


def test_the_meter_notices_a_driver_that_allocates(micropython, firmware, tmp_path):
    spoilt = tmp_path / "spoilt.py"
    text = SCRIPT.read_text(encoding="utf-8")
    assert text.count("lamp.tick(now_ms)") == 1
    spoilt.write_text(text.replace("lamp.tick(now_ms)", "lamp.tick(now_ms); lamp.spoilt = [now_ms]"), encoding="utf-8")
    done = run_script(micropython, firmware, spoilt)
    assert done.returncode and "MemoryError" in done.stdout + done.stderr
