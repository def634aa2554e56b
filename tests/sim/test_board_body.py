"""The board's own code flies: drivers, gear and flight in real MicroPython, on simulated chips, against the plain core.

What is held here are statements of this project: the same dive by two ways. The outside sources are those of the chips
(tests/published/test_chip_*.py).
"""

import subprocess
from dataclasses import dataclass
from pathlib import Path

import pynmea2
import pytest

from lander import report
from lander.journal import RECORD_BYTES, fields
from lander.signals import INPUTS, OUTPUTS, Inputs, Outputs
from seatrial import board_process
from seatrial.board_body import AGE_S, VALID_BY, BoardBody
from seatrial.bodies import BodyError, find_micropython, firmware_folder, open_body
from seatrial.dice import Dice
from seatrial.result import DiveResult
from seatrial.store import PowerCut, SimulatedStore
from seatrial.world import World

from .flying import SAMPLE, broken, changed, fly

pytestmark = pytest.mark.usefixtures("micropython")
SCRIPTS = Path(__file__).parent / "scripts"
# As short and shallow as a dive can be that still does everything.
BRIEF = changed(
    dive={"on_deck_min": 1.0, "watch_after_surfacing_min": 1.0}, site={"depth_m": 30.0},
    times={"timed_release_min": 4.0, "latest_release_min": 8.0, "slowest_ascent_min": 4.0, "surface_margin_min": 1.0},
    journal={"reading_bottom_s": 20.0}, second={"fitted": False})
UNTESTED = {"self_test": dict.fromkeys(("sensors", "circuits", "memory", "camera", "lights"), False)}
RECORD = BRIEF.mission_record()
CHIPS_AND_SERVO = {"PRESSURE": "MS5837-30BA", "PRESSURE_ADDRESS": 0x76, "BACKUP_KIND": 0, "RADIO_HZ": 868100000}
LATE_S = 1.0  # the world answers the self-test a second later than the board does; and all else by less


@dataclass
class Flown:
    body: BoardBody
    real: DiveResult
    here: DiveResult
    folder: Path

    def on_flash(self) -> list[bytes]:
        """The records that the board's own journal holds, read as the board reads them."""
        image = self.folder / "flash.bin"
        image.write_bytes(self.body.flash.image)
        done = subprocess.run([find_micropython(), "-X", "heapsize=8M", str(SCRIPTS / "journal_of_flash.py"), str(image)],
                              env={"MICROPYPATH": str(firmware_folder())}, capture_output=True, text=True, check=True)
        return [bytes.fromhex(line) for line in done.stdout.split()]


def flown(folder: Path, *faults: str, plan=BRIEF, **fitted) -> Flown:
    body = BoardBody(plan.mission_record(), **fitted)
    try:
        real = fly(*faults, plan=plan, body=body)
    finally:
        body.close()
    return Flown(body, real, fly(*faults, plan=plan), folder)


@pytest.fixture(scope="module")
def pico(tmp_path_factory) -> Flown:
    return flown(tmp_path_factory.mktemp("pico"))


@pytest.fixture(scope="module")
def esp32(tmp_path_factory) -> Flown:
    """The other board, with another pressure sensor, a radio, and a servo that must open what the wire cannot."""
    return flown(tmp_path_factory.mktemp("esp32"), "jammed", plan=changed(BRIEF, **UNTESTED), board="esp32",
                 fitted=CHIPS_AND_SERVO)


@pytest.fixture(scope="module")
def torn(tmp_path_factory) -> Flown:
    return flown(tmp_path_factory.mktemp("torn"), "torn-record@record+30s", "reset@record+90s",
                 plan=changed(BRIEF, **UNTESTED))


def told(result: DiveResult) -> list[tuple[str, str, str]]:
    return [(item.kind, item.what, item.reason) for item in result.evidence.timeline]


def records(result: DiveResult) -> list[bytes]:
    journal = result.journal
    return [journal[at:at + RECORD_BYTES] for at in range(0, len(journal), RECORD_BYTES)]


# --- the whole dive ----------------------------------------------------------------------------------------------------


def test_it_comes_home_and_keeps_every_law(pico):
    assert pico.real.surfaced_at is not None
    assert broken(pico.real) == {}
    assert pico.real.body == "micropython"


@pytest.mark.parametrize("name", ["pico", pytest.param("esp32", marks=pytest.mark.long)])
def test_it_tells_the_same_dive_as_the_plain_core_with_times_within_a_second(name, request):
    flight = request.getfixturevalue(name)
    assert told(flight.real) == told(flight.here)
    times = zip(flight.real.evidence.timeline, flight.here.evidence.timeline, strict=True)
    assert max(abs(one.time_s - other.time_s) for one, other in times) <= LATE_S + 0.05


@pytest.mark.parametrize("name", ["pico", "esp32"])
def test_every_reading_is_as_exact_as_its_chip(name, request):
    body = request.getfixturevalue(name).body
    allowed = body.electronics.allowed()
    assert set(body.differences) == set(AGE_S) == set(allowed)
    assert {key: off for key, off in body.differences.items() if off > allowed[key]} == {}


@pytest.mark.parametrize("name", ["pico", "esp32"])
def test_the_boards_own_flash_holds_the_records_that_the_engine_kept(name, request):
    flight = request.getfixturevalue(name)
    kept = flight.on_flash()
    assert len(kept) > 50
    assert kept == records(flight.real)


def test_the_ballast_is_freed_by_the_servo_where_the_wire_is_jammed(esp32):
    assert esp32.real.evidence.freed_by == esp32.here.evidence.freed_by == "backup"


def test_the_radio_says_something_at_the_surface_only_where_there_is_one(pico, esp32):
    assert pico.body.electronics.radio is None
    frames = esp32.body.electronics.radio.frames
    assert frames and {len(frame.payload) for frame in frames} == {report.FRAME_BYTES}


@pytest.mark.parametrize(("name", "path"), [("pico", report.TIMED), ("esp32", report.BACKUP)])
def test_it_reports_on_its_line_where_it_came_up_and_how(name, path, request):
    """Every line is whole for pynmea2; the position is the sea's own."""
    electronics = request.getfixturevalue(name).body.electronics
    lines = bytes(electronics.receiver.heard).decode("ascii").split()
    said = [dict(zip(report.NAMES, pynmea2.parse(line, check=True).data[1:], strict=False)) for line in lines]
    assert len(said) >= 2, "the first fix is sent twice"
    last = said[-1]
    assert int(last["path"]) == path
    assert int(last["flags"]) & report.FIX_NEW and int(last["flags"]) & report.CLOCK_SURE
    assert int(last["latitude_deg_e5"]) / 1e5 == pytest.approx(electronics.receiver.latitude_deg, abs=0.002)
    assert int(last["longitude_deg_e5"]) / 1e5 == pytest.approx(electronics.receiver.longitude_deg, abs=0.002)


def test_a_record_cut_in_the_middle_and_a_reset_cost_the_flash_nothing_else(torn):
    """The cut record is the one that neither has; the engine's slot of it is written again."""
    assert len(torn.real.evidence.resets_s) == 2
    assert torn.real.surfaced_at is not None
    kept = torn.on_flash()
    assert kept == records(torn.real)
    assert [fields(record)["boot"] for record in kept][-1] == 3
    sequence = [fields(record)["sequence"] for record in kept]
    assert sequence == sorted(sequence)


# --- one board on the bench ---------------------------------------------------------------------------------------------


class Bench:
    """A board whose inputs a test sets by hand, on deck."""

    def __init__(self, **fitted) -> None:
        plan = changed(BRIEF, **UNTESTED)
        self.world = World(plan, Dice(1))
        self.store = SimulatedStore(1000)
        self.body = BoardBody(plan.mission_record(), **fitted)
        self.body.attach(self.world, plan)
        self.inputs, self.outputs = Inputs(), Outputs()
        self.world.fill(self.inputs)
        self.step_s = 0.0

    def boot(self, cause: int = 0) -> int:
        self.inputs.reset_cause = cause
        self.step_s = self.world.now_s
        return self.body.boot(self.store, self.inputs)

    def go(self, seconds: float) -> None:
        """Let the board step as it wants for so long."""
        end_s = self.world.now_s + seconds
        while self.step_s <= end_s:
            self.world.now_s = self.step_s
            self.body.step(self.inputs, self.outputs)
            self.step_s += self.outputs.wake_ds * 0.1
        self.world.now_s = end_s

    def edge(self) -> None:
        """A step now, whatever the board asked for."""
        self.body.step(self.inputs, self.outputs)
        self.step_s = self.world.now_s + self.outputs.wake_ds * 0.1


@pytest.fixture
def bench():
    made = Bench()
    yield made
    made.body.close()


def test_what_is_not_valid_reaches_the_mission_as_not_valid_and_comes_back(bench):
    """Each by its chip: absent, cut, or stopped. Nothing else may go with it, but what shares the chip."""
    shared = {"supply_ok": {"supply_ok", "current_ok"}, "current_ok": {"supply_ok", "current_ok"}}
    bench.boot()
    bench.go(20.0)
    names = sorted(set(VALID_BY.values()))
    assert {name for name in names if not bench.body.felt[name]} == set()
    for name in names:
        setattr(bench.inputs, name, 0)
        bench.go(70.0 if name.endswith("temp_ok") else 8.0)
        assert {other for other in names if not bench.body.felt[other]} == shared.get(name, {name}), name
        setattr(bench.inputs, name, 1)
        bench.go(20.0)
        assert {other for other in names if not bench.body.felt[other]} == set(), name


def test_readings_over_the_whole_range_are_read_as_they_are(bench):
    bench.boot()
    bench.go(15.0)
    bench.body.differences.clear()
    bench.inputs.magnet = 0
    for share in (0.0, 0.13, 0.37, 0.71, 1.0):
        bench.inputs.pressure_mbar = int(share * 99000)
        bench.inputs.supply_mv = int(7000 + share * 23000)
        bench.inputs.supply_ma = int(share * 9000)
        bench.inputs.camera_ma = int(share * 2500)
        bench.inputs.housing_centi_c = int(-1500 + share * 7000)
        bench.inputs.camera_centi_c = bench.inputs.water_centi_c = int(-200 + share * 6000)
        bench.go(90.0)
    allowed = bench.body.electronics.allowed()
    bench.body.differences.pop("clock_s")  # the bench's own clock stands still
    assert {key: off for key, off in bench.body.differences.items() if off > allowed[key]} == {}


def test_an_edge_wakes_the_board_and_it_feels_what_woke_it(bench):
    bench.boot()
    bench.go(20.3)
    steps = bench.body.stepped_ms
    bench.inputs.contact_wet = 1
    bench.edge()
    assert bench.body.felt["contact_wet"] == 1
    assert bench.body.stepped_ms - steps < 4000


def test_a_command_on_the_serial_line_reaches_the_mission_once(bench):
    bench.boot()
    bench.go(10.0)
    bench.inputs.command = 2
    bench.edge()
    assert bench.body.felt["command"] == 2
    bench.inputs.command = 0
    bench.go(3.0)
    assert bench.body.felt["command"] == 0


def test_after_a_reset_it_goes_on_behind_its_last_record_with_its_boot_counted(bench):
    first = bench.boot()
    bench.go(5.0)
    second = bench.boot(cause=1)
    bench.go(1.0)
    assert first == 0 < second
    assert bench.body.felt["reset_cause"] == 1


def test_a_register_that_comes_up_with_ones_never_drives_anything(bench):
    seen = []
    burn = bench.body.electronics.burn
    burn.arm.changed = seen.append
    for cause in (0, 1, 0):
        bench.boot(cause)
        bench.go(1.0)
    assert seen == []
    assert bench.body.electronics.register.edges > 0


def test_a_flash_that_refuses_costs_the_records_and_is_told_to_the_mission(bench):
    bench.boot()
    bench.go(3.0)
    programs = bench.body.flash.programs
    bench.store.refuses = True
    bench.boot(cause=1)
    bench.go(5.0)
    assert bench.body.flash.programs == programs
    assert bench.body.felt["store_lost"] > 0 or bench.body.felt["store_free"] == 0


def test_a_cut_waits_for_the_step_that_writes(bench):
    bench.boot()
    bench.go(10.0)
    bench.store.cut_at = bench.store.writes + 1
    before = bytes(bench.body.flash.image)
    bench.edge()
    assert not bench.outputs.record_count and bytes(bench.body.flash.image) == before
    bench.inputs.contact_wet = 1
    while not bench.outputs.record_count:
        bench.go(1.0)
    with pytest.raises(PowerCut):
        bench.store.write(0, bytes(RECORD_BYTES))
    assert bytes(bench.body.flash.image) != before
    bench.store.cut_at = 0
    assert bench.boot() > 0


def test_the_board_starts_at_a_blank_flash_without_help(bench):
    assert bench.boot() == 0
    bench.go(1.0)
    assert bench.body.felt["store_free"] > 10000
    assert bench.body.felt["plan_copies"] == 2


def test_a_plan_whose_backup_is_a_wire_is_refused_with_what_to_do():
    release = BRIEF.release.model_copy(update={"backup": BRIEF.release.primary})
    body = open_body("micropython", RECORD)
    try:
        with pytest.raises(BodyError, match='backup.kind is "wire".*--body cpython'):
            body.attach(None, BRIEF.model_copy(update={"release": release}))
    finally:
        body.close()


# --- a board that does what no board should -------------------------------------------------------------------------------


ODD = """
import sys
def tell(text):
    print(text)
def ask(text):
    print(text)
    return sys.stdin.readline()
if sys.argv[3:4] == ["plan"]:
    tell("0 say %s")
else:
    tell("0 booted 0 0")
    now_ms = 0
    %s
"""
LOOP = "while True: now_ms = int(ask('%d sleep %d 0' % (now_ms, now_ms + 100)).split()[0])"

ALL_ONE = " ".join("%s=1" % row[0] for row in OUTPUTS)


@pytest.fixture
def odd(monkeypatch):
    """Makes a body whose board does these lines after its start."""
    made = []

    def make(does: str, stored: str = "stored") -> Bench:
        monkeypatch.setattr(board_process, "ANSWER_S", 0.5)
        monkeypatch.setattr(board_process, "lay_out",
                            lambda folder, *_given: (folder / "main.py").write_text(ODD % (stored, does)))
        made.append(Bench())
        return made[-1]
    yield make
    for one in made:
        one.body.close()


@pytest.mark.parametrize(("does", "said"), [
    ("tell('0 watchdog')\n    " + LOOP, "did not feed its watchdog for 8100 ms; it bites after 8000"),
    ("while True: pass", "said nothing for"),
    ("raise ValueError('odd')", "process has ended: ValueError: odd"),
    ("pass", "process has ended"),
    ("tell('0 out 24 1')", "`0 out 24 1`: pin 24 is no output of this board"),
    ("ask('0 in 24')", "pin 24 is not wired for that"),
    ("ask('0 adc 28')", "pin 28 has no converter"),
    ("tell('0 pwm 11 1000 70000')", "duty is 70000"),
    ("ask('0 flash_melt 1')", "`0 flash_melt 1`"),
    ("tell('0 stepped wake_ds=1 record_count=1')\n    " + LOOP, "told a step without beacon_code, "),
    ("tell('0 stepped " + ALL_ONE + "')\n    " + LOOP, "told 1 records and gave 0"),
], ids=lambda value: value[:30])
def test_a_board_that_goes_wrong_is_one_sentence(does, said, odd):
    bench = odd(does)
    with pytest.raises(BodyError, match=said):
        bench.boot()
        bench.go(1.0)


def test_a_board_that_never_comes_to_an_end_is_one_sentence(odd, monkeypatch):
    monkeypatch.setattr(board_process, "LINES_MAX", 500)
    bench = odd("while True: ask('0 in 22')")
    bench.boot()
    with pytest.raises(BodyError, match="asked 500 things without coming to an end"):
        bench.go(1.0)


def test_a_plan_that_the_board_does_not_take_is_one_sentence(odd):
    with pytest.raises(BodyError, match="did not take the mission record: not stored"):
        odd("pass", stored="not stored").boot()


def test_every_input_that_has_a_reading_is_compared():
    own = {"uptime_ds", "reset_cause", "store_free", "store_lost", "primary_circuit", "backup_circuit", "store_test",
           "plan_copies", "command"}
    assert {row[0] for row in INPUTS} == own | set(AGE_S) | set(VALID_BY.values())


def test_the_sample_can_be_attached():
    body = BoardBody(SAMPLE.mission_record())
    body.attach(World(SAMPLE, Dice(1)), SAMPLE)
    assert not any(body.electronics.levels().values()), "something is on before the board has started"
    body.close()
