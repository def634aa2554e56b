"""The deck line on the board's whole code, in a real MicroPython, with simulated electronics on its pins.

What is held are rules of this project; the electronics behind the pins are those of the chips' datasheets, whose
checks stand in tests/published.
"""

import random

import pytest
from crccheck.crc import Crc16Ibm3740
from deck_bench import ANSWER_MS, DeckBench

from lander import orders, wire
from lander.journal import CRC_AT, RECORD_BYTES, fields, is_good
from lander.signals import INPUTS, OUTPUTS, Inputs, Outputs
from lander.table import ARMED, SAFE
from seatrial.board_files import laid_out
from seatrial.bodies import CPythonBody, WireBody
from seatrial.store import SimulatedStore
from tumblehome.firmware_files import digest_of, expected_digest

pytestmark = pytest.mark.usefixtures("micropython")
FAN_MA, CAMERA_MA = 140, 600


@pytest.fixture
def bench():
    made = DeckBench()
    yield made.start()
    made.close()


@pytest.fixture(scope="module")
def shared():
    """One board for all tests that leave it as it was."""
    made = DeckBench()
    yield made.start()
    made.close()


def draws(bench, signal: str, supply_ma: int, camera_ma: int = 0) -> None:
    """Let a circuit draw current while its pin is on."""
    def changed(level) -> None:
        bench.electronics.supply.current_ma = 50 + (supply_ma if level else 0)
        bench.electronics.camera.current_ma = camera_ma if level else 0
        bench.electronics.supply.supply_mv = 15000 - (200 if level else 0)
    changed(0)
    bench.electronics._lines[signal].changed = changed


def dry_pins(bench) -> bool:
    levels = bench.electronics.levels()
    return not any(levels.values())


# --- who is there, what goes on ----------------------------------------------------------------------------------------


def test_it_says_who_it_is_and_what_it_does(shared):
    said = shared.ok("hello")
    assert said["wire"] == "2" == str(wire.VERSION)
    assert (said["board"], said["reset"], len(said["id"])) == ("pico", "power", 16)
    said = shared.ok("status")
    assert (said["state"], said["refused"], said["boots"], said["plan_copies"]) == ("safe", "0", "1", "2")


def test_every_input_and_output_is_shown_as_the_mission_saw_it(shared):
    seen: dict[str, str] = {}
    at = "0"
    while at != "-1":
        part = shared.ok("see from=%s" % at)
        at = part.pop("next")
        seen |= part
    assert list(seen) == [row[0] for row in INPUTS] + [row[0] for row in OUTPUTS] + ["faults"]
    assert abs(int(seen["pressure_mbar"]) - shared.inputs.pressure_mbar) <= 4
    assert seen["contact_wet"] == "0" and seen["contact_ok"] == "1" and seen["faults"] == "0"


def test_the_firmware_that_it_has_is_the_one_that_was_laid_out(shared):
    files = laid_out()
    said = shared.ok("files")
    assert said == {"count": str(len(files)), "digest": expected_digest(files)}
    for at, name in list(enumerate(sorted(files)))[::20]:
        assert shared.ok("files at=%d" % at) == {
            "at": str(at), "name": name, "bytes": str(len(files[name])), "digest": digest_of(files[name])}
    assert shared.say("files at=%d" % len(files)).startswith("no at=")


def test_the_plan_is_read_back_as_it_was_stored(shared):
    record = shared.plan.mission_record()
    said = shared.ok("plan")
    assert said["crc"] == "%04X" % Crc16Ibm3740.calc(record[:-2]) and said["copies"] == "2"
    back = b"".join(bytes.fromhex(shared.ok("plan at=%d" % at)["hex"]) for at in range(0, int(said["bytes"]), 64))
    assert back == record


def test_the_journal_is_read_slot_by_slot(shared):
    said = shared.ok("journal")
    records = [bytes.fromhex(shared.ok("slot at=%d" % at)["hex"]) for at in range(int(said["next"]))]
    assert records and all(is_good(record) for record in records)
    assert fields(records[-1])["sequence"] == int(said["newest"])
    assert said["crc"] == "%04X" % Crc16Ibm3740.calc(records[-1][:CRC_AT])
    assert shared.ok("slot at=%s count=1" % said["next"])["hex"] == "blank"
    assert shared.say("slot at=%s" % said["slots"]).startswith("no at=")


def test_both_release_circuits_are_tested_and_tested_anew_when_that_was_told(bench):
    def found():
        for _ in range(5):
            said = bench.ok("circuits")
            if said["primary"] != "0" and said["backup"] != "0":
                return said
            bench.run(300)
        raise AssertionError("never tested")

    sound = found()
    assert (sound["primary"], sound["backup"]) == ("1", "1")
    # Ohm's law: 3.3 V through 330 Ohm, a plug of 330 Ohm; a winding of 16 Ohm and 680 Ohm behind it.
    assert abs(int(sound["primary_mv"]) - 1650) < 80 and abs(int(sound["backup_mv"]) - 2239) < 80
    bench.electronics.burn.condition = "open"
    opened = found()
    assert (opened["primary"], opened["backup"]) == ("2", "1") and int(opened["primary_mv"]) > 3000
    assert bench.releases() == (0, 0)


# --- one circuit on -----------------------------------------------------------------------------------------------------


def test_a_circuit_is_on_for_its_time_and_its_current_is_measured(bench):
    draws(bench, "fan", FAN_MA)
    bench.run(2000)
    bench.ok("poke output=fan level=1 ms=1500")
    bench.run(1000)
    assert bench.level("fan") == 1
    bench.run(1500)
    assert bench.level("fan") == 0
    said = {key: int(value) for key, value in bench.ok("poked").items() if key != "output"}
    assert said["left_ms"] == 0 and abs(said["rest_ma"] - 50) <= 1
    assert abs(said["supply_ma"] - 50 - FAN_MA) <= 2 and abs(said["peak_ma"] - 50 - FAN_MA) <= 2
    assert abs(said["supply_mv"] - 14800) <= 2


def test_the_cameras_own_current_is_measured_too(bench):
    draws(bench, "camera_supply", CAMERA_MA, CAMERA_MA)
    bench.ok("poke output=camera_supply level=1 ms=2000")
    assert bench.say("poke output=camera_supply level=1 ms=2000") == "no busy: camera_supply is on"
    bench.run(1500)
    during = bench.ok("poked")
    assert 0 < int(during["left_ms"]) < 2000 and abs(int(during["camera_ma"]) - CAMERA_MA) <= 2
    bench.run(2000)
    assert abs(int(bench.ok("poked")["supply_ma"]) - 50 - CAMERA_MA) <= 2


@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_every_circuit_comes_on_alone_and_goes_off_again(board):
    bench = DeckBench(board).start()
    try:
        lines = bench.electronics._lines
        for name, signal in (("camera_supply", "camera_supply"), ("power_button", "power_button"),
                             ("record_button", "record_button"), ("fan", "fan"), ("beacon", "beacon"),
                             ("status", "status"), ("surface_supply", "surface_supply"), ("camera", "camera_supply")):
            bench.ok("poke output=%s level=1 ms=300" % name)
            bench.run(550)
            on = {other for other in ("camera_supply", "power_button", "record_button", "fan", "beacon",
                                      "surface_supply", "primary_arm") if lines[other].level}
            assert on == {signal} - {"status"} and lines[signal].level == 1, name
            bench.run(1200)
            assert name == "status" or lines[signal].level == 0, name
        bench.ok("poke output=lights level=30 ms=600")
        bench.run(900)
        assert bench.electronics.levels()["lights_pct"] == 30
        bench.run(1000)
        assert dry_pins(bench)
    finally:
        bench.close()


def test_what_is_poked_outlasts_no_dead_line_and_no_step_puts_it_off_before(bench):
    bench.ok("poke output=camera_supply level=1 ms=9000")
    bench.run(9000)
    assert bench.level("camera_supply") == 1
    bench.run(1000)
    assert bench.level("camera_supply") == 0


@pytest.mark.parametrize("readings", [{"contact_wet": 1}, {"pressure_mbar": 1600}])
def test_a_sign_of_water_puts_it_off_at_once(bench, readings):
    bench.ok("poke output=lights level=50 ms=10000")
    bench.run(1500)
    assert bench.electronics.levels()["lights_pct"] == 50
    bench.feel(**readings)
    bench.run(700)
    assert dry_pins(bench)
    for line in ("poke output=fan level=1 ms=500", "ask command=arm", "circuits", "session", "orders at=0 hex=00",
                 "keep crc=0000", "clear newest=1 crc=0000", "clock s=5"):
        assert bench.say(line).startswith("no water"), line
    for line in ("hello", "status", "see", "plan", "plan at=0", "journal", "slot at=0", "files", "clock", "poked"):
        assert bench.say(line).startswith("ok"), line


def test_a_command_ends_it(bench):
    bench.ok("poke output=fan level=1 ms=10000")
    bench.run(1000)
    assert bench.level("fan") == 1
    bench.ok("ask command=ready-primary")
    assert bench.level("fan") == 0


def test_nothing_moves_where_no_sensor_says_air(bench):
    bench.feel(contact_ok=0, pressure_ok=0)
    bench.run(8000)
    for line in ("poke output=fan level=1 ms=500", "circuits", "session"):
        assert bench.say(line) == "no water: no sensor says air"


# --- a release ----------------------------------------------------------------------------------------------------------


def test_a_release_is_fired_by_ready_and_fire_alone(bench):
    for line in ("poke output=primary level=1 ms=100", "poke output=release_primary_pct level=1 ms=100",
                 "poke output=primary_fire level=1 ms=100", "poke output=backup_opener level=1 ms=100"):
        assert bench.say(line) == "no release: ready and fire"
    bench.ok("ask command=fire")
    bench.run(3000)
    assert bench.releases() == (0, 0) and bench.ok("status")["refused"] == "9"  # NOT_READY
    bench.ok("ask command=ready-primary")
    assert bench.say("ask command=fire").startswith("no busy"), "the step has not heard the one before"
    bench.run(2500)
    bench.ok("ask command=fire")
    bench.ok("ask command=fire")  # again, since the answer was lost
    bench.run(2500)
    assert bench.releases() == (100, 0)
    for line in ("poke output=fan level=1 ms=100", "session", "circuits", "clear newest=1 crc=0000"):
        assert bench.say(line).startswith("no busy"), line
    bench.run(6000)
    assert bench.releases() == (0, 0)


# --- kept, cleared, started anew ----------------------------------------------------------------------------------------


def send(bench, record: bytes) -> None:
    for at in range(0, len(record), 64):
        bench.ok("orders at=%d hex=%s" % (at, record[at:at + 64].hex()))


def test_a_plan_that_is_kept_counts_after_the_board_has_started_anew(bench):
    changed = orders.unpack(bench.plan.mission_record())
    changed.fan_on_centi_c += 100
    record = orders.pack(changed)
    send(bench, record)
    assert bench.say("keep crc=0000").startswith("no what was sent has another crc")
    said = bench.ok("keep crc=%04X" % Crc16Ibm3740.calc(record[:-2]))
    assert said["copies"] == "2"
    assert bench.ends()
    bench.start(cause=2)
    assert bench.ok("plan")["crc"] == "%04X" % Crc16Ibm3740.calc(record[:-2])
    assert bench.ok("hello")["reset"] == "asked"
    assert bench.say("keep crc=%04X" % Crc16Ibm3740.calc(record[:-2])).startswith("no "), "sent again after a lost answer"


def test_a_journal_is_cleared_only_for_whoever_has_read_its_newest_record(bench):
    bench.start(cause=1)
    said = bench.ok("journal")
    assert bench.say("clear newest=%d crc=%s" % (int(said["newest"]) + 1, said["crc"])).startswith("no ")
    assert bench.say("clear newest=%s crc=%04X" % (said["newest"], int(said["crc"], 16) ^ 1)).startswith("no ")
    assert bench.ok("slot at=0")["hex"] != "blank"
    bench.ok("clear newest=%s crc=%s" % (said["newest"], said["crc"]))
    assert bench.ends()
    bench.start(cause=2)
    after = bench.ok("journal")
    assert after["bad"] == "0" and int(after["free"]) > int(said["free"])
    first = fields(bytes.fromhex(bench.ok("slot at=0")["hex"]))
    assert first["boot"] == 1 and bench.ok("plan")["copies"] == "2"


# --- a session ----------------------------------------------------------------------------------------------------------


def begin_flight(bench) -> None:
    """As a host does in lockstep."""
    send(bench, bench.plan.mission_record())
    want = int(bench.ok("boot slots=256")["want"])
    while want >= 0:
        want = int(bench.ok("slot at=%d hex=blank" % want)["want"])
    bench.ok("start uptime_ds=0 contact_ok=1 pressure_ok=1 supply_ok=1 supply_mv=16000")


def fire_on_the_bench(bench) -> None:
    """The mission's own two steps, in the host's lockstep."""
    for uptime_ds, command in ((10, 3), (20, 5), (30, 0)):
        bench.ok("step uptime_ds=%d command=%d" % (uptime_ds, command))


def test_a_host_flies_the_core_on_the_board_and_nothing_reaches_a_pin(bench):
    bench.ok("poke output=fan level=1 ms=10000")
    bench.run(1000)
    bench.ok("session")
    assert "python=micropython" in bench.say("hello")
    begin_flight(bench)
    fire_on_the_bench(bench)
    assert bench.ok("step uptime_ds=40").get("release_primary_pct", "100") == "100"
    assert "release_primary_pct=100" in _seen(bench)
    bench.run(1000)
    assert dry_pins(bench)
    assert bench.say("poke output=fan level=1 ms=100").startswith("no unknown verb")
    bench.ok("bye")
    assert bench.ends(1000)
    bench.start(cause=2)
    assert bench.ok("status")["state"] == "safe"


def _seen(bench) -> str:
    said, at = "", "0"
    while at != "-1":
        part = bench.ok("see from=%s" % at)
        at = part["next"]
        said += " ".join("%s=%s" % pair for pair in part.items()) + " "
    return said


def test_a_session_sees_with_the_boards_own_sensors(bench):
    bench.ok("session")
    bench.feel(contact_wet=1, pressure_mbar=1030)
    bench.run(1500)
    seen = _seen(bench)
    assert "contact_wet=1 " in seen and "contact_ok=1 " in seen
    assert bench.ok("set contact_wet=0") == {}, "a dry session goes on: it moves nothing"


def test_a_session_ends_when_nobody_says_anything_for_a_minute(bench):
    bench.ok("session")
    bench.run(55000)
    assert bench.ok("heap")
    assert not bench.ends(55000)
    assert bench.ends(10000)


def test_live_takes_two_steps(bench):
    bench.ok("session")
    begin_flight(bench)
    assert bench.say("live code=0000").startswith("no another code")
    code = bench.ok("live")["code"]
    assert len(code) == 4 and code.isdigit()
    wrong = "%04d" % ((int(code) + 1) % 10000)
    assert bench.say("live code=%s" % wrong).startswith("no another code")
    assert bench.say("live code=%s" % code).startswith("no another code"), "a wrong one spoils it"
    code = bench.ok("live")["code"]
    bench.run(31000)
    assert bench.say("live code=%s" % code).startswith("no another code"), "too late"
    fire_on_the_bench(bench)
    bench.run(500)
    assert dry_pins(bench)
    second = bench.ok("live")["code"]
    assert second != code
    assert dry_pins(bench)
    bench.ok("live code=%s" % second)
    bench.ok("step uptime_ds=40")
    bench.run(500)
    assert bench.releases() == (100, 0)


def live(bench) -> None:
    bench.ok("session")
    begin_flight(bench)
    bench.ok("live code=%s" % bench.ok("live")["code"])
    fire_on_the_bench(bench)
    bench.run(300)
    assert bench.releases() == (100, 0)


def test_a_live_release_goes_off_when_the_host_is_silent(bench):
    live(bench)
    bench.run(8000)
    assert bench.releases() == (0, 0)


def test_water_ends_a_live_session_and_its_outputs(bench):
    live(bench)
    bench.feel(contact_wet=1)
    assert bench.ends(1500)
    assert bench.releases() == (0, 0)


def test_no_code_for_live_where_no_sensor_says_air(bench):
    bench.ok("session")
    bench.feel(contact_ok=0, pressure_ok=0)
    bench.run(8000)
    assert bench.say("live") == "no water: no sensor says air"
    bench.feel(pressure_ok=1)
    bench.run(2000)
    assert bench.ok("live")["code"]


class Port:
    """The line as a host's serial port has it."""

    def __init__(self, bench) -> None:
        self.timeout = 0.0
        self._bench = bench

    def write(self, data: bytes) -> None:
        self._bench.body.said.clear()
        self._bench.type(data)

    def readline(self) -> bytes:
        said = self._bench.body.said
        self._bench.run(ANSWER_MS, lambda: bool(said))
        return (said.popleft() + "\n").encode() if said else b""

    def close(self) -> None:
        """The cable stays."""


def steps_of(body, record: bytes) -> list[bytes]:
    """Journal records of a body that is put into the water, and what it wants in the end."""
    inputs, outputs, written = Inputs(), Outputs(), []
    inputs.pressure_ok = inputs.contact_ok = inputs.supply_ok = inputs.clock_ok = 1
    inputs.supply_mv, inputs.plan_copies = 16000, 2
    body.boot(SimulatedStore(256), inputs)
    for step in range(40):
        inputs.uptime_ds = 10 * step
        inputs.contact_wet, inputs.pressure_mbar = int(step > 10), 1013 + 40 * max(0, step - 10)
        body.step(inputs, outputs)
        written += [bytes(outputs.records[at * RECORD_BYTES:(at + 1) * RECORD_BYTES])
                    for at in range(outputs.record_count)]
    return [*written, bytes([outputs.state, outputs.release_primary_pct, outputs.camera_supply])]


def test_a_body_at_the_end_of_a_cable_asks_a_board_that_flies_for_a_session_and_flies_it(bench):
    record = bench.plan.mission_record()
    body = WireBody(Port(bench), "the board", record)
    there = steps_of(body, record)
    assert len(there) > 3 and there == steps_of(CPythonBody(record), record)
    assert dry_pins(bench)
    body.close()
    bench.start(cause=2)
    assert bench.ok("status")["state"] == "safe"


# --- nonsense, and the sea ----------------------------------------------------------------------------------------------


def test_hundreds_of_nonsense_lines_move_nothing_and_each_is_answered_once(bench):
    dice = random.Random(20200101)
    verbs = ["hello", "poke", "ask", "keep", "clear", "orders", "slot", "plan", "clock", "files", "circuits", "poked"]
    before = bench.ok("plan")
    bench.body.said = []
    for number in range(300):
        kind = number % 3
        if kind == 0:
            line = bytes(dice.choice([*range(1, 10), *range(11, 256)]) for _ in range(dice.randrange(1, 260)))
        elif kind == 1:
            line = b"%d %s %s" % (number, dice.choice(verbs).encode(), bytes(dice.choices(b"abc=019 \xff*", k=12)))
        else:
            line = b"%d %s at=%d hex=zz level=%d*typed" % (number, dice.choice(verbs).encode(), dice.randrange(999), 9)
        bench.type(line + b"\n")
        bench.run(200)
    bench.run(5000)
    wanted = 300
    assert len(bench.body.said) == wanted
    assert all(wire.unframe(line).split()[1] == "no" for line in bench.body.said)
    assert not [line for line in bench.body.said if "failed" in line]
    bench.body.said.clear()
    assert dry_pins(bench) and bench.ok("plan") == before


def test_a_line_that_the_sea_falls_into_is_forgotten(bench):
    bench.type(b"1 ask comm")
    bench.feel(contact_wet=1, pressure_mbar=3000)
    bench.run(20000)
    bench.body.said.clear()
    before = bench.electronics.levels()
    bench.type(b"and=arm*typed\n2 hello*typed\n3 poke output=lights level=9 ms=500*typed\n")
    bench.run(5000)
    assert not bench.body.said and not bench.body._keys
    assert bench.electronics.levels() == before
    assert bench.body._stepped["state"] not in (SAFE, ARMED)
