"""The second board on its pins: a whole small dive with its drivers, on a board whose chips are simulated ones."""

import ast
from math import inf
from pathlib import Path

import pytest

import deadman
from boards import fitted, plan_copies, second, second_wiring, wiring
from boards.stock import POWER_CAME, WATCHDOG_BIT
from lander.orders import Orders, pack
from seatrial.chips.buses import I2CBus
from seatrial.chips.circuits import LatchMotor, MagnetSwitch, Pin, ProbeCircuit
from seatrial.chips.ms58xx import MS58xx

RING = 0x3FFFFFFF
LATEST_DS = 6000  # ten minutes
DEADLINE_S = (LATEST_DS + deadman.MARGIN_DS) / 10
MBAR_PER_M = 100.5  # roughly, of sea water; no check rests on its last digits
PRESSURE_ADDRESS = 0x76


@pytest.fixture(autouse=True)
def shallow(monkeypatch):
    """A digital pressure sensor is fitted; the transducer of deeper dives is tested with the main board."""
    monkeypatch.setattr(fitted, "PRESSURE", "MS5837-30BA")
    monkeypatch.setattr(fitted, "PRESSURE_ADDRESS", PRESSURE_ADDRESS)


class Tank:
    """The board, its chips and a lander in a tank: sinks at 1 m/s to 20 m, rises at 1 m/s once the latch is open."""

    watchdog_ms = 8000

    def __init__(self, folder: Path, cause: int = POWER_CAME, begin_ms: int = 0) -> None:
        self.folder = folder
        self.cause = cause
        self.now_ms = begin_ms
        self.began_ms = begin_ms
        self.in_water = False
        self.depth_m = 0.0
        self.chip = MS58xx("MS5837-30BA")
        self.bus = I2CBus()
        self.bus.chips[PRESSURE_ADDRESS] = self.chip
        self.probe = ProbeCircuit(fitted.CONTACT_OHM[0], 100000.0)
        self.motor = LatchMotor(stroke_s=3.0)
        self.switch = MagnetSwitch()
        self.status = Pin()
        self.beating = True
        self.fed_ms: list[int] = []
        self.driven_ms: list[int] = []

    @property
    def now_s(self) -> float:
        return (self.now_ms - self.began_ms) / 1000

    def pin_out(self, signal: str, level: int = 0) -> Pin:
        pin = {"contact_drive_a": self.probe.drive_a, "contact_drive_b": self.probe.drive_b, "status": self.status}[signal]
        pin(level)
        return pin

    def pin_in(self, signal: str, is_pulled_up: int = 1) -> Pin:
        assert is_pulled_up == (signal != "heartbeat")  # which the main board drives through a resistor
        beat = Pin(0, lambda: int(self.now_s / 3.0) % 2 if self.beating else 0)
        return {"magnet": self.switch.pin, "heartbeat": beat}[signal]

    def pwm(self, signal: str, frequency_hz: int):
        assert (signal, frequency_hz) == ("backup_fire", second.FIRE_HZ)
        return self.motor.opener

    def adc(self, signal: str):
        assert signal == "contact_node"
        return self.probe.node

    def i2c(self) -> I2CBus:
        return self.bus

    def ticks_ms(self) -> int:
        return self.now_ms & RING

    def sleep_ms(self, span_ms: int, is_deep: int) -> None:
        """Time passes. A light sleep stops the clock of a PWM: nothing may be driven through it."""
        assert span_ms >= 0
        assert not (is_deep and self.motor.opener.duty)
        span_ms = max(1, span_ms)
        if self.motor.opener.duty:
            self.driven_ms.append(self.now_ms)
        self.now_ms += span_ms
        self.motor.advance(span_ms / 1000)
        self._move(span_ms / 1000)
        self.chip.now_s = self.switch.now_s = self.now_s
        self.chip.pressure_mbar = 1013.0 + (MBAR_PER_M * self.depth_m if self.in_water else 0.0)
        self.probe.water_ohm = 300.0 if self.in_water else inf

    def _move(self, seconds: float) -> None:
        if self.in_water:
            speed_m_s = -1.0 if self.motor.place >= 1.0 else 1.0
            self.depth_m = min(max(self.depth_m + speed_m_s * seconds, 0.0), 20.0)

    def reset_cause(self) -> int:
        return self.cause

    def watchdog(self):
        return self

    def feed(self) -> None:
        self.fed_ms.append(self.now_ms)


def planned(folder: Path) -> Path:
    """A folder with the plan on it, as the host leaves it."""
    orders = Orders()
    for name, value in {"timed_release_ds": 5000, "latest_release_ds": LATEST_DS, "fire_backup_ds": 120,
                        "one_sign_wait_ds": 3000}.items():
        setattr(orders, name, value)
    assert plan_copies.in_files(str(folder)).store(pack(orders))
    return folder


def started(tank: Tank) -> second.Second:
    board = second.Second(tank, str(tank.folder))
    board.boot()
    return board


def run(board: second.Second, until_s: float) -> None:
    while board.board.now_s < until_s:
        board.turn()


def submerged(folder: Path, **more) -> tuple[Tank, second.Second]:
    """A minute on deck, then into the water."""
    tank = Tank(planned(folder), **more)
    board = started(tank)
    run(board, 60.0)
    tank.in_water = True
    return tank, board


@pytest.mark.parametrize("begin_ms", [0, RING - 900_000])
def test_under_water_it_fires_at_its_deadline_and_the_lander_rises(tmp_path, begin_ms):
    tank, board = submerged(tmp_path, begin_ms=begin_ms)
    run(board, 60.0 + DEADLINE_S + 60.0)
    fired_s = (tank.driven_ms[0] - begin_ms) / 1000
    assert 60.0 + DEADLINE_S - 30.0 <= fired_s <= 60.0 + DEADLINE_S
    assert tank.motor.place == 1.0
    assert tank.depth_m == 0.0


def test_it_drives_for_the_time_of_an_attempt_and_then_watches(tmp_path):
    tank, board = submerged(tmp_path)
    tank.motor.jammed = True
    run(board, 60.0 + DEADLINE_S + 40.0)
    assert tank.driven_ms[-1] - tank.driven_ms[0] == pytest.approx(12_000, abs=1200)
    assert tank.motor.opener.duty == 0
    run(board, 60.0 + DEADLINE_S + 200.0)
    assert tank.driven_ms[-1] - tank.driven_ms[0] > 60_000  # another attempt


def test_on_deck_it_drives_nothing(tmp_path):
    tank = Tank(planned(tmp_path))
    board = started(tank)
    run(board, DEADLINE_S + 600.0)
    assert tank.driven_ms == []


def test_the_watchdog_is_fed_well_before_it_bites_all_the_way(tmp_path):
    tank, board = submerged(tmp_path)
    run(board, 400.0)
    gaps = [after - before for before, after in zip(tank.fed_ms, tank.fed_ms[1:], strict=False)]
    assert max(gaps) <= second.Board.watchdog_ms / 2 + 200


def test_a_watchdogs_restart_goes_on_from_the_record_and_a_power_cut_is_overdue(tmp_path):
    tank, board = submerged(tmp_path)
    run(board, 500.0)
    again = Tank(tmp_path, WATCHDOG_BIT)
    again.in_water, again.depth_m = True, 20.0
    board = started(again)
    assert board.man.state == deadman.COUNTING
    run(board, 120.0)
    assert again.driven_ms == []
    cut = Tank(tmp_path, POWER_CAME)
    cut.in_water, cut.depth_m = True, 20.0
    run(started(cut), 120.0)
    assert cut.driven_ms


def test_no_plan_is_a_deadline_that_has_passed(tmp_path):
    tank = Tank(tmp_path)
    board = started(tank)
    tank.in_water = True
    run(board, 120.0)
    assert tank.driven_ms


def test_a_folder_that_cannot_be_written_stops_nothing(tmp_path):
    tank, board = submerged(tmp_path)
    board.records = second.Records(str(tmp_path / "no such folder"))
    run(board, 60.0 + DEADLINE_S + 20.0)
    assert board.records.faults > 0
    assert tank.driven_ms


@pytest.mark.parametrize("blind", ["pressure", "contact"])
def test_one_dead_sensor_does_not_stop_it(tmp_path, blind):
    tank, board = submerged(tmp_path)
    if blind == "pressure":
        tank.chip.absent = True
    else:
        tank.probe.broken = True
    run(board, 60.0 + DEADLINE_S + 20.0)
    assert tank.driven_ms


@pytest.mark.parametrize(("signs", "name", "value"), [
    (deadman.CONTACT_ONLY, "PRESSURE", 0), (deadman.PRESSURE_ONLY, "CONTACT_OHM", ())])
def test_a_board_with_one_sign_fires_too(tmp_path, monkeypatch, signs, name, value):
    monkeypatch.setattr(second, name, value)
    tank, board = submerged(tmp_path)
    assert board.man.signs == signs
    run(board, 60.0 + DEADLINE_S + 20.0)
    assert tank.driven_ms


def test_a_board_with_no_sign_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(second, "PRESSURE", 0)
    monkeypatch.setattr(second, "CONTACT_OHM", ())
    with pytest.raises(ValueError, match="fit one of them"):
        second.Second(Tank(planned(tmp_path)), str(tmp_path))


def test_the_heartbeat_is_heard_and_then_missed(tmp_path):
    tank, board = submerged(tmp_path)
    run(board, 120.0)
    assert board.outputs.heard
    tank.beating = False
    run(board, 120.0 + deadman.HEARD_DS / 10 + 20.0)
    assert not board.outputs.heard


def test_the_magnet_disarms_it_on_deck(tmp_path):
    tank = Tank(planned(tmp_path))
    board = started(tank)
    run(board, 30.0)
    tank.switch.near = True
    run(board, 38.0)
    tank.switch.near = False
    run(board, 45.0)
    assert board.man.state == deadman.DISARMED


def test_the_lamp_is_dark_under_water_and_flashes_on_deck(tmp_path):
    tank, board = submerged(tmp_path)
    assert board.status.pattern
    run(board, 120.0)
    assert board.status.pattern == ()


# --- its pins -------------------------------------------------------------------------------------------------------


def test_every_signal_has_one_pin_and_is_described():
    assert len(set(second.PINS.values())) == len(second.PINS)
    assert sorted(second.PINS) == sorted(row[wiring.NAME] for row in second_wiring.SECOND)


@pytest.mark.published(
    "memory", tolerance="exact",
    source="RP2040 Datasheet, section 1.4.3, GPIO functions (from memory)")
def test_analogue_signals_are_on_pins_with_a_converter_and_the_bus_is_one():
    """RP2040 Datasheet, section 1.4.3 GPIO functions: ADC on GPIO 26 to 29, I2C0 SDA on 8 and SCL on 9 (from memory)."""
    for row in second_wiring.SECOND:
        if row[wiring.KIND] == wiring.ANALOGUE:
            assert 26 <= second.PINS[row[wiring.NAME]] <= 28
    assert (second.PINS["i2c_sda"], second.PINS["i2c_scl"]) == (8, 9)


def test_what_can_drive_the_release_is_pulled_down():
    """With the chip in reset its pins are inputs: only the resistor holds a switch off."""
    rows = {row[wiring.NAME]: row for row in second_wiring.SECOND}
    for name in ("backup_fire", "backup_arm"):
        assert "to ground" in rows[name][wiring.RESISTOR]


def test_it_never_imports_machine_by_itself():
    tree = ast.parse(Path(second.__file__).read_text())
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    assert "machine" not in imported
