"""Plain circuits against numbers from outside: servo pulses, duties by hand, Ohm and Faraday for the trickle."""

import pytest

from drivers import burnwire, circuits, latch, probe, trickle, upkeep
from seatrial.chips.circuits import BurnWireCircuit, LatchMotor, ProbeCircuit, Servo

FARADAY_C_MOL = 96485.33212  # CODATA 2018, exact
EQUIVALENT_WEIGHT_304 = 25.12  # ASTM G102, Table 1 and its worked example for 304 stainless
WIRE_MG = 19.955  # 0.8 mm by 5 mm of density 7.94: pi/4 * 0.8^2 * 5 * 7.94, by hand
PIN_MA = 12  # RP2040 datasheet, strongest drive of a pin; from memory


@pytest.mark.published(
    "practice", tolerance="0.2 us",
    source="common practice, no source: 1 to 2 ms, 50 times a second; duties by hand")
@pytest.mark.parametrize("pulse_us, duty", [(1000, 3277), (1500, 4915), (2000, 6554)])
def test_servo_pulses_at_fifty_hertz(pulse_us, duty):
    # Common practice, no source: 1 to 2 ms, 50 times a second, 1.5 ms in the middle. 5, 7.5 and 10 % of 65535, by hand:
    # 3276.75, 4915.125, 6553.5.
    assert latch.pulse_duty(pulse_us) == duty
    servo = Servo()
    servo.pwm.duty_u16(duty)
    assert servo.pwm.pulse_us == pytest.approx(pulse_us, abs=0.2)


@pytest.mark.published(
    "worked", tolerance="exact",
    source="by hand; MicroPython documentation, class PWM: duty_u16 takes 0 to 65535")
@pytest.mark.parametrize("percent, duty", [(0, 0), (1, 655), (10, 6554), (25, 16384), (33, 21627), (50, 32768), (70, 45875),
                                           (99, 64880), (100, 65535)])
def test_percent_as_a_sixteen_bit_duty(percent, duty):
    # By hand: 65535 * percent / 100 to the nearest, halves up (655.35, 6553.5, 16383.75, 21626.55, 32767.5, 45874.5,
    # 64879.65). MicroPython's PWM.duty_u16 takes 0 to 65535 (MicroPython documentation, class PWM).
    assert circuits.duty(percent) == duty


@pytest.mark.published(
    "worked", tolerance="0.1 %",
    source="Ohm's law; RP2040 datasheet, strongest drive of a pin 12 mA (from memory)")
def test_the_trickle_by_ohms_law_is_what_the_driver_takes_for_a_dead_short_and_what_a_pin_can_give():
    circuit = BurnWireCircuit()
    circuit.condition = "shorted"
    circuit.trickle(1)
    assert circuit.wire_ma == pytest.approx(3300 / 330, rel=1e-3)
    driver = burnwire.BurnWire(circuit.arm, circuit.fire, circuit.trickle, circuit.sense, circuit.node)
    assert driver._trickle._short_ma == 3300 // 330 <= PIN_MA


@pytest.mark.published("worked", source="Ohm's law by hand", tolerance="2 mV")
@pytest.mark.parametrize("winding_ohm, return_ohm, test_ma", [(16, 680, 3), (2, 680, 3), (16, 330, 5), (20, 0, 9)])
def test_the_trickle_through_a_winding_by_ohms_law(winding_ohm, return_ohm, test_ma):
    # By hand: 3300 mV through 330 Ohm, winding and way back: 3.216, 3.261, 4.882 and 9.429 mA.
    motor = LatchMotor()
    motor.winding_ohm, motor.return_ohm = winding_ohm, return_ohm
    driver = latch.Latch(latch.MOTOR_FOR_TIME, motor.opener, motor.locker, trickle=motor.trickle, node=motor.node)
    driver.start(0)
    for now_ms in range(0, 1000, 10):
        if now_ms == 200:
            assert driver.test(now_ms)
        driver.tick(now_ms)
    assert (driver.circuit, driver.test_ma) == (trickle.SOUND, test_ma)
    rest_ohm = winding_ohm + return_ohm
    assert driver.test_mv == pytest.approx(3300 * rest_ohm / (330 + rest_ohm), abs=2)  # a step of 12 bits is 0.8 mV


@pytest.mark.published(
    "worked", ids="4.3", tolerance="a fifty-thousandth of the wire",
    source="Faraday's law, F of CODATA 2018, equivalent weight of 304 of ASTM G102")
def test_a_test_of_an_electrolytic_wire_dissolves_next_to_nothing_of_it_by_faradays_law():
    circuit = BurnWireCircuit(load_ohm=10, cell_mv=1500)
    driver = burnwire.BurnWire(circuit.arm, circuit.fire, circuit.trickle, circuit.sense, circuit.node)
    driver.start(0)
    for now_ms in range(0, 1000, 10):
        if now_ms == 200:
            assert driver.test(now_ms)
        driver.tick(now_ms)
        circuit.advance(0.01)
    assert driver.circuit == trickle.SOUND
    assert circuit.charge_c > 0
    assert 1000 * circuit.charge_c * EQUIVALENT_WEIGHT_304 / FARADAY_C_MOL < WIRE_MG / 50000
    # and the longest that the trickle can ever last, into a dead short:
    longest_c = 0.010 * (trickle.TEST_MS_MAX + 1) / 1000
    assert 1000 * longest_c * EQUIVALENT_WEIGHT_304 / FARADAY_C_MOL < WIRE_MG / 10000


@pytest.mark.published("worked", source="rule of the divider, by hand", tolerance="exact")
def test_the_node_of_a_probe_by_the_rule_of_the_divider():
    # By hand: 1 MOhm over 100 kOhm is 10/11 of full scale, 59577.3; 30 kOhm is 3/13, 15123.5; equal is a half.
    assert probe.node_counts(1_000_000, 100_000) == 59577
    assert probe.node_counts(30_000, 100_000) == 15123
    assert probe.node_counts(100_000, 100_000) == 32767


@pytest.mark.published("worked", source="rule of the divider, by hand", tolerance="16 of 65535")
def test_the_simulated_probe_obeys_the_same_rule_both_ways():
    circuit = ProbeCircuit(series_ohm=100_000, end_ohm=1_000_000)
    circuit.drive_a(1)
    assert circuit.node.read_u16() == pytest.approx(65535 * 10 / 11, abs=16)
    assert circuit.current_ua == pytest.approx(3.0)  # 3.3 V / 1.1 MOhm
    circuit.drive_a(0)
    circuit.drive_b(1)
    assert circuit.node.read_u16() == pytest.approx(65535 / 11, abs=16)
    assert circuit.current_ua == pytest.approx(-3.0)


@pytest.mark.published(
    "memory", tolerance="exact",
    source="MicroPython documentation, time.ticks_ms; the ports use 2^30 (py/mpconfig.h, from memory)")
def test_the_counter_wraps_where_micropythons_ticks_do():
    assert upkeep.RING == (1 << 30) - 1
