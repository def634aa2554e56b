"""Between drivers and mission: an invalid reading is told as invalid, and an output that refuses stops no other."""

from types import SimpleNamespace

import pytest

from boards import readings
from boards.drives import Drives
from lander import orders
from lander.signals import Inputs, Outputs


def driver(ok=1, **values):
    return SimpleNamespace(ok=ok, **values)


def a_gear(ok=1):
    """Drivers that all believe what they read, or that all do not."""
    supply = SimpleNamespace(voltage_ok=ok, current_ok=ok, voltage_mv=15200, current_ma=640)
    camera = SimpleNamespace(voltage_ok=ok, current_ok=ok, voltage_mv=15100, current_ma=530)
    return SimpleNamespace(
        clock=driver(ok, clock_s=230000000), pressure=driver(ok, pressure_mbar=44000), contact=driver(ok, wet=1),
        leak=driver(ok, wet=1), supply=supply, camera_current=camera, camera_thermometer=driver(ok, centi_c=3100),
        housing=driver(ok, centi_c=2100), water_thermometer=driver(ok, centi_c=900), magnet=driver(ok, held=ok),
        primary=driver(ok, ma=700, circuit=1), backup=driver(ok, ma=3, circuit=2),
        camera_lamp=SimpleNamespace(read_u16=lambda: 32768))


VALUE_OF = {  # input: its value in `a_gear`, and the input that says whether it is valid
    "clock_s": (230000000, "clock_ok"), "pressure_mbar": (44000, "pressure_ok"), "contact_wet": (1, "contact_ok"),
    "leak_wet": (1, "leak_ok"), "supply_mv": (15200, "supply_ok"), "supply_ma": (640, "current_ok"),
    "release_ma": (703, "release_ok"), "camera_centi_c": (3100, "camera_temp_ok"),
    "housing_centi_c": (2100, "housing_temp_ok"), "water_centi_c": (900, "water_temp_ok"),
    "camera_ma": (530, "camera_feedback_ok")}


@pytest.fixture
def told():
    told = orders.Orders()
    told.camera_feedback = orders.CURRENT
    return told


@pytest.mark.parametrize("name", VALUE_OF)
def test_a_reading_that_its_driver_believes_reaches_the_mission(name, told):
    inputs = Inputs()
    readings.fill(inputs, a_gear(), told)
    value, valid = VALUE_OF[name]
    assert getattr(inputs, name) == value and getattr(inputs, valid) == 1


@pytest.mark.parametrize("name", VALUE_OF)
def test_a_reading_that_its_driver_doubts_is_told_as_invalid_and_changes_nothing(name, told):
    inputs = Inputs()
    before = getattr(inputs, name)
    readings.fill(inputs, a_gear(ok=0), told)
    assert getattr(inputs, name) == before and getattr(inputs, VALUE_OF[name][1]) == 0


def test_one_release_whose_current_cannot_be_read_makes_the_reading_invalid(told):
    gear = a_gear()
    gear.backup.ok = 0
    inputs = Inputs()
    readings.fill(inputs, gear, told)
    assert inputs.release_ok == 0


def test_the_record_lamp_is_read_where_the_plan_says_so(told):
    told.camera_feedback = orders.LAMP
    inputs = Inputs()
    readings.fill(inputs, a_gear(), told)
    assert inputs.camera_feedback_ok == 1 and inputs.camera_lamp_permille == 500 and inputs.camera_ma == 0


def test_a_record_lamp_that_cannot_be_read_is_no_feedback(told):
    def fails():
        raise OSError(5)

    told.camera_feedback = orders.LAMP
    gear = a_gear()
    gear.camera_lamp.read_u16 = fails
    inputs = Inputs()
    readings.fill(inputs, gear, told)
    assert inputs.camera_feedback_ok == 0


def test_no_feedback_is_made_up_where_the_plan_has_none(told):
    told.camera_feedback = orders.NONE
    inputs = Inputs()
    readings.fill(inputs, a_gear(), told)
    assert inputs.camera_feedback_ok == 0


def test_verdicts_of_the_self_test_are_told_only_while_it_is_asked_for():
    inputs = Inputs()
    readings.fill_tests(inputs, a_gear(), 1, 1)
    assert (inputs.primary_circuit, inputs.backup_circuit, inputs.store_test) == (1, 2, 1)
    readings.fill_tests(inputs, a_gear(), 0, 1)
    assert (inputs.primary_circuit, inputs.backup_circuit, inputs.store_test) == (0, 0, 0)


class Pins:
    """Outputs that note in one list what is asked of them; those named in `refusing` raise."""

    def __init__(self, refusing=()) -> None:
        self.asked = []
        self.refusing = refusing
        for name in ("camera_supply", "power_button", "record_button", "fan", "heartbeat"):
            setattr(self, name, lambda level, name=name: self._note(name, level))
        self.lights = SimpleNamespace(set=lambda now_ms, pct: self._note("lights", pct))
        self.beacon = SimpleNamespace(show=lambda now_ms, code: self._note("beacon", code))
        self.status = SimpleNamespace(show=lambda now_ms, code: self._note("status", code))
        self.primary = SimpleNamespace(fire=lambda now_ms, pct: self._note("primary", pct))
        self.backup = SimpleNamespace(fire=lambda now_ms, pct: self._note("backup", pct))
        self.listen = lambda now_ms, on: self._note("listen", on)

    def _note(self, name, level) -> None:
        self.asked.append((name, level))
        if name in self.refusing:
            raise OSError(5)

    def last(self, name):
        return [level for asked, level in self.asked if asked == name][-1]


def outputs(**given):
    wanted = Outputs()
    for name, value in given.items():
        setattr(wanted, name, value)
    return wanted


def test_loads_go_off_before_a_release_comes_on():
    gear = Pins()
    drives = Drives(gear)
    drives.apply(outputs(camera_supply=1, lights_pct=70, fan=1), 0)
    gear.asked.clear()
    drives.apply(outputs(release_primary_pct=100), 100)
    first = gear.asked.index(("primary", 100))
    assert all(gear.asked.index(load) < first for load in (("lights", 0), ("camera_supply", 0), ("fan", 0)))


def test_a_release_goes_off_before_loads_come_on():
    gear = Pins()
    drives = Drives(gear)
    drives.apply(outputs(release_backup_pct=100), 0)
    gear.asked.clear()
    drives.apply(outputs(camera_supply=1, lights_pct=70), 100)
    assert gear.asked.index(("backup", 0)) < gear.asked.index(("lights", 70))


def test_both_releases_are_never_driven_together_whatever_is_asked():
    gear = Pins()
    Drives(gear).apply(outputs(release_primary_pct=100, release_backup_pct=100), 0)
    assert gear.last("primary") == 100 and gear.last("backup") == 0


@pytest.mark.parametrize("broken", ["camera_supply", "power_button", "record_button", "fan", "heartbeat", "listen"])
def test_an_output_that_refuses_keeps_no_release_from_being_driven(broken):
    gear = Pins(refusing=(broken,))
    drives = Drives(gear)
    drives.apply(outputs(release_primary_pct=100), 0)
    assert gear.last("primary") == 100 and drives.faults == 1


def test_the_heartbeat_turns_over_at_every_step():
    gear = Pins()
    drives = Drives(gear)
    for step in range(4):
        drives.apply(outputs(), step * 100)
    assert [level for name, level in gear.asked if name == "heartbeat"] == [1, 0, 1, 0]
