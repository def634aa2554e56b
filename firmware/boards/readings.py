"""From the drivers to the inputs of the mission: one line a reading, and each with its own `_ok`.

A driver that does not believe its value says so by `ok`; the value itself then stays what it was, as the mission's
inputs want it.
"""

from boards import fitted
from lander.orders import CURRENT, LAMP


def fill(inputs, gear, orders) -> None:
    """All readings of this instant. Time, reset cause and the journal's state are the flight's own."""
    _fill_clock(inputs, gear.clock)
    _fill_signs(inputs, gear)
    _fill_supply(inputs, gear)
    _fill_temperatures(inputs, gear)
    _fill_camera(inputs, gear, orders.camera_feedback)
    inputs.magnet = gear.magnet.held


def _fill_clock(inputs, clock) -> None:
    inputs.clock_ok = clock.ok
    if clock.ok:
        inputs.clock_s = clock.clock_s


def _fill_signs(inputs, gear) -> None:
    inputs.pressure_ok = gear.pressure.ok
    if gear.pressure.ok:
        inputs.pressure_mbar = max(0, gear.pressure.pressure_mbar)
    inputs.contact_ok = gear.contact.ok
    if gear.contact.ok:
        inputs.contact_wet = gear.contact.wet
    inputs.leak_ok = gear.leak.ok
    if gear.leak.ok:
        inputs.leak_wet = gear.leak.wet


def _fill_supply(inputs, gear) -> None:
    supply, primary, backup = gear.supply, gear.primary, gear.backup
    inputs.supply_ok = supply.voltage_ok
    if supply.voltage_ok:
        inputs.supply_mv = supply.voltage_mv
    inputs.current_ok = supply.current_ok
    if supply.current_ok:
        inputs.supply_ma = max(0, supply.current_ma)
    inputs.release_ok = primary.ok & backup.ok
    if inputs.release_ok:
        inputs.release_ma = primary.ma + backup.ma


def _fill_temperatures(inputs, gear) -> None:
    camera, housing, water = gear.camera_thermometer, gear.housing, gear.water_thermometer
    inputs.camera_temp_ok = camera.ok
    if camera.ok:
        inputs.camera_centi_c = camera.centi_c
    inputs.housing_temp_ok = housing.ok
    if housing.ok:
        inputs.housing_centi_c = housing.centi_c
    inputs.water_temp_ok = water.ok
    if water.ok:
        inputs.water_centi_c = water.centi_c


def _fill_camera(inputs, gear, feedback: int) -> None:
    inputs.camera_feedback_ok = 0
    if feedback == CURRENT:
        inputs.camera_feedback_ok = gear.camera_current.current_ok
        if gear.camera_current.current_ok:
            inputs.camera_ma = max(0, gear.camera_current.current_ma)
    elif feedback == LAMP:
        try:
            counts = gear.camera_lamp.read_u16()
        except OSError:
            return
        inputs.camera_feedback_ok = 1
        inputs.camera_lamp_permille = min(1000, counts * 1000 // fitted.CAMERA_LAMP_FULL)


def fill_tests(inputs, gear, is_testing: int, store_test: int) -> None:
    """What the self-test has found so far; nothing while none was asked for."""
    inputs.primary_circuit = gear.primary.circuit if is_testing else 0
    inputs.backup_circuit = gear.backup.circuit if is_testing else 0
    inputs.store_test = store_test if is_testing else 0
