"""The serial line on deck: it answers whole lines, changes nothing for a bad one, and hears nothing at sea.

The verbs on the board's whole code are tried in test_deck_board.py; here a fake board notes what it is asked.
"""

import random
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from crccheck.crc import Crc16Ibm3740

from boards import deck_verbs, deck_words, drives
from boards.deck_line import BYTES_A_TURN, QUIET_MS, UNFINISHED_MS, DeckLine
from drivers.upkeep import RING
from lander import orders, wire, words
from lander.journal import RECORD_BYTES
from lander.mission import Mission
from lander.signals import ASK_ARM_ANYWAY, Inputs, Outputs
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, STATES, SURFACE

AT_SEA = (DESCEND, RECORD, RELEASE, BACKUP, ASCEND, SURFACE)


class Slots:
    """A journal of one record on a volume."""

    slots = 200

    def __init__(self) -> None:
        self.volume = SimpleNamespace(fs=None)
        self.record = b"\x01" * RECORD_BYTES
        self.erased = 0

    def read(self, slot, buffer) -> bool:
        buffer[:] = self.record if not slot else b"\xff" * RECORD_BYTES
        return slot != 7

    def erase(self) -> int:
        self.erased += 1
        return 0


class Deck:
    """A line with somebody at it, and a flight that notes what it is asked."""

    name = "pico"

    def __init__(self, state=SAFE) -> None:
        self.waiting = b""
        self.said = []
        self.kept = []
        self.set_to = []
        self.takes_clock = 1
        self.takes_plan = True
        self.line = DeckLine(self)
        self.is_over = 0
        self.mission = Mission()
        self.mission.state = state
        self.mission.boot_number = 3
        self.inputs, self.outputs = Inputs(), Outputs()
        self.inputs.store_free, self.outputs.state = 900, state
        self.inputs.contact_ok = self.inputs.pressure_ok = 1
        self.drives = SimpleNamespace(faults=0, poked=-1, poked_level=0, show=self._show)
        self.moved = []
        self.slots = Slots()
        self.journal = SimpleNamespace(next_slot=1, free=lambda: 100)
        self.gear = SimpleNamespace(
            clock=SimpleNamespace(set=self._set, clock_s=0, ok=0), contact=SimpleNamespace(ok=1, wet=0),
            pressure=SimpleNamespace(ok=1, pressure_mbar=1013),
            supply=SimpleNamespace(voltage_ok=1, voltage_mv=15000, current_ok=1, current_ma=50),
            camera_current=SimpleNamespace(current_ok=0, current_ma=0),
            primary=SimpleNamespace(circuit=0, test_mv=0), backup=SimpleNamespace(circuit=0, test_mv=0),
            test=lambda _now_ms: self.moved.append("trickle"), is_testing=lambda: 0)
        self.copies = SimpleNamespace(store=self._store, load=lambda: None, record=orders.pack(orders.Orders()),
                                      generation=4, newest=0, degraded=0)

    def key(self) -> int:
        if not self.waiting:
            return -1
        code, self.waiting = self.waiting[0], self.waiting[1:]
        return code

    def say(self, text) -> None:
        self.said.append(text)

    def _show(self, _outputs, _now_ms) -> None:
        self.moved.append((self.drives.poked, self.drives.poked_level))

    def chip_id(self) -> str:
        return "00000000000000a1"

    def lend(self, _volume) -> None:
        """The files are there."""

    def take_back(self) -> None:
        """Nothing was lent."""

    def files(self, _volume):
        return None

    @property
    def board(self):
        return self

    def _set(self, clock_s, _now_ms) -> int:
        self.set_to.append(clock_s)
        return self.takes_clock

    def _store(self, record) -> bool:
        if not orders.unpack(record).good:
            raise ValueError("the mission record is damaged")
        self.kept.append(record)
        return self.takes_plan

    def type(self, data: bytes, now_ms: int = 0) -> list[str]:
        """What is answered to these bytes, without the checksums."""
        self.waiting += data
        before = len(self.said)
        for _ in range(len(data) // BYTES_A_TURN + 2):
            if not self.is_over:  # the flight has no turn after that
                self.line.hear(self, now_ms)
        return [wire.unframe(line) for line in self.said[before:]]


def test_a_whole_line_is_answered_with_its_number():
    assert Deck().type(b"7 hello*typed\r\n")[0].startswith("7 ok lander=")


def test_what_the_mission_does_is_told():
    said = Deck().type(b"1 status*typed\n")[0]
    assert "state=safe" in said and "boots=3" in said and "store_free=900" in said and "plan_copies=2" in said


def test_a_command_reaches_the_next_step_once():
    deck = Deck()
    assert deck.type(b"2 ask command=%d*typed\n" % ASK_ARM_ANYWAY) == ["2 ok"]
    assert [deck.line.take_command(), deck.line.take_command()] == [ASK_ARM_ANYWAY, 0]


@pytest.mark.parametrize("state", AT_SEA, ids=lambda state: STATES[state])
def test_at_sea_nothing_is_heard_and_nothing_answered(state):
    deck = Deck(state)
    assert deck.type(b"2 ask command=1*typed\n3 clock s=5*typed\n") == []
    assert deck.line.take_command() == 0 and not deck.set_to and not deck.kept and deck.waiting == b""


def test_half_a_line_from_before_the_dive_does_not_live_until_after_it():
    deck = Deck()
    deck.type(b"2 ask comm")
    deck.mission.state = RECORD
    deck.type(b"x")
    deck.mission.state = SAFE
    assert deck.type(b"and=1*typed\n")[0].startswith("0 no")
    assert deck.line.take_command() == 0


@pytest.mark.parametrize("line", [
    b"1 ask command=1*0000\n", b"1 ask command=1\n", b"1 ask command=9*typed\n", b"1 ask*typed\n", b"ask*typed\n",
    b"1 fire*typed\n", b"1 ask command=1 more=2*typed\n", b"\xff\xfe\x00 ask command=1*typed\n",
    b"1 ask command=1 " + b"x" * 400 + b"*typed\n"])
def test_a_bad_line_changes_nothing_and_gets_one_reason(line):
    deck = Deck()
    said = deck.type(line)
    assert len(said) == 1 and " no " in said[0]
    assert deck.line.take_command() == 0


def test_the_clock_is_set_while_safe_and_not_while_armed():
    deck = Deck()
    assert deck.type(b"1 clock s=230000000*typed\n") == ["1 ok s=0 ok=0"]
    assert deck.set_to == [230000000]
    deck.takes_clock = 0
    assert "did not take it" in deck.type(b"1 clock s=5*typed\n")[0]
    armed = Deck(ARMED)
    assert "disarm first" in armed.type(b"1 clock s=5*typed\n")[0] and not armed.set_to


def send(deck, record: bytes) -> list[str]:
    lines = b"".join(b"1 orders at=%d hex=%s*typed\n" % (at, record[at:at + 64].hex().encode())
                     for at in range(0, len(record), 64))
    return deck.type(lines)


def keep(record: bytes) -> bytes:
    return b"2 keep crc=%04X*typed\n" % Crc16Ibm3740.calc(record[:-2])


def test_a_plan_that_was_sent_whole_is_kept_and_the_board_starts_anew():
    deck = Deck()
    record = orders.pack(orders.Orders())
    assert set(send(deck, record)) == {"1 ok"}
    assert deck.type(keep(record)) == ["2 ok generation=4 copies=2"]
    assert deck.kept == [record] and deck.is_over == 1


def test_a_damaged_plan_is_not_kept():
    deck = Deck()
    record = bytearray(orders.pack(orders.Orders()))
    record[40] ^= 1
    send(deck, bytes(record))
    assert "damaged" in deck.type(keep(bytes(record)))[0]
    assert not deck.kept and not deck.is_over


def test_the_plan_of_an_armed_mission_stays():
    deck = Deck(ARMED)
    record = orders.pack(orders.Orders())
    send(deck, record)
    assert "disarm first" in deck.type(keep(record))[0] and not deck.kept


def test_a_plan_that_cannot_be_written_is_told():
    deck = Deck()
    deck.takes_plan = False
    record = orders.pack(orders.Orders())
    send(deck, record)
    assert "could not be written" in deck.type(keep(record))[0] and not deck.is_over


def test_a_piece_beyond_the_record_is_refused():
    deck = Deck()
    assert "bytes" in deck.type(b"1 orders at=%d hex=00000000*typed\n" % (orders.RECORD_BYTES - 1))[0]
    assert "hexadecimal" in deck.type(b"1 orders at=0 hex=0g*typed\n")[0]


def test_a_flood_is_taken_piece_by_piece():
    deck = Deck()
    deck.waiting = b"x" * 1000
    deck.line.hear(deck, 0)
    assert len(deck.waiting) == 1000 - BYTES_A_TURN


def test_the_board_may_sleep_deep_when_nobody_has_typed_for_a_minute():
    deck = Deck()
    assert deck.line.is_quiet
    deck.type(b"x", 5000)
    assert not deck.line.is_quiet
    deck.line.hear(deck, 5000 + QUIET_MS)
    assert not deck.line.is_quiet
    deck.line.hear(deck, 5001 + QUIET_MS)
    assert deck.line.is_quiet


# --- what is asked of the mission's state -------------------------------------------------------------------------------

# One line of each verb that is done on a dry board that is safe, and would be noticed if it were done.
DONE = {
    "hello": b"hello", "status": b"status", "see": b"see from=3", "clock": b"clock", "ask": b"ask command=fire",
    "circuits": b"circuits", "poke": b"poke output=fan level=1 ms=500", "plan": b"plan at=64",
    "orders": b"orders at=0 hex=00", "journal": b"journal", "slot": b"slot at=0",
}
CHANGING = {"ask", "circuits", "poke", "orders", "keep", "clear", "session", "clock s=5"}
SAFE_ONLY = CHANGING - {"ask"}
SAID = {**DONE, "keep": b"keep crc=0000", "clear": b"clear newest=0 crc=0000", "session": b"session",
        "files": b"files", "poked": b"poked", "clock s=5": b"clock s=5"}


def wet(deck) -> None:
    deck.gear.contact.wet = 1


def deep(deck) -> None:
    deck.gear.pressure.pressure_mbar = 1013 + 200


def held(deck) -> None:
    """The mission holds a sign whose sensor cannot be read now."""
    deck.gear.contact.ok = deck.gear.pressure.ok = 0
    deck.mission.contact.on = True


@pytest.mark.parametrize("verb", DONE)
def test_every_verb_is_done_on_a_dry_board_that_is_safe(verb):
    assert Deck().type(b"9 %s*typed\n" % DONE[verb])[0].startswith("9 ok")


@pytest.mark.parametrize("sign", [wet, deep, held])
@pytest.mark.parametrize("verb", SAID)
def test_at_a_sign_of_water_nothing_is_changed_and_the_rest_is_told(verb, sign):
    deck = Deck()
    sign(deck)
    said = deck.type(b"9 %s*typed\n" % SAID[verb])[0]
    assert said.startswith("9 no water") == (verb in CHANGING), said
    assert not deck.moved and not deck.set_to and not deck.kept and not deck.is_over and not deck.line.take_command()


@pytest.mark.parametrize("verb", SAID)
def test_an_armed_mission_is_asked_and_told_of_but_not_changed(verb):
    deck = Deck(ARMED)
    said = deck.type(b"9 %s*typed\n" % SAID[verb])[0]
    assert said.startswith("9 no disarm first: the mission is armed") == (verb in SAFE_ONLY), said
    assert not deck.moved and not deck.set_to and not deck.kept and not deck.is_over


@pytest.mark.parametrize("busy", [{"release_primary_pct": 100}, {"release_backup_pct": 1}, {"self_test": 1}])
@pytest.mark.parametrize("verb", ["circuits", "poke", "orders", "keep", "clear", "session"])
def test_while_the_mission_fires_or_tests_itself_nothing_else_is_begun(verb, busy):
    deck = Deck()
    for name, value in busy.items():
        setattr(deck.outputs, name, value)
    assert deck.type(b"9 %s*typed\n" % SAID[verb])[0].startswith("9 no busy")
    assert not deck.moved and not deck.is_over


@pytest.mark.parametrize("line", [
    b"see from=99", b"see at=1", b"status all=1", b"hello you=1", b"clock s=-1", b"clock s=1 ok=1", b"ask command=dive",
    b"ask command=0", b"ask command=7", b"ask command=arm now=1", b"circuits primary=1", b"poke output=fan level=1",
    b"poke output=fan level=2 ms=500", b"poke output=fan level=0 ms=500", b"poke output=lights level=101 ms=500",
    b"poke output=lights level=0 ms=500", b"poke output=fan level=1 ms=49", b"poke output=fan level=1 ms=10001",
    b"poke output=select_0 level=1 ms=500", b"poke output=fan level=1 ms=500 more=1", b"poke level=1 ms=500",
    b"poked output=fan", b"plan at=%d" % orders.RECORD_BYTES, b"plan piece=1", b"orders at=0", b"keep", b"keep crc=12", b"keep crc=zzzz",
    b"keep crc=00000", b"journal at=1", b"slot", b"slot at=200", b"slot at=0 count=2", b"slot at=0 x=1",
    b"clear newest=0", b"clear crc=0000", b"clear newest=-1 crc=0000", b"clear newest=5 crc=0000", b"files at=0",
    b"session now=1", b"live", b"live code=1234", b"step", b"boot slots=4", b"told", b"fire", b"release",
])
def test_a_line_that_is_not_right_changes_nothing(line):
    deck = Deck()
    said = deck.type(b"9 %s*typed\n" % line)
    assert len(said) == 1 and said[0].startswith("9 no ") and "failed" not in said[0], said
    assert not deck.moved and not deck.set_to and not deck.kept and not deck.is_over and not deck.line.take_command()
    assert deck.line.session is None and deck.line.poke is None and not deck.slots.erased


def test_a_command_has_a_name_or_its_number():
    for number, name in enumerate(deck_verbs.COMMANDS, 1):
        assert name == words.COMMANDS[number]
        for said in (name, number):
            deck = Deck()
            assert deck.type(b"1 ask command=%s*typed\n" % str(said).encode()) == ["1 ok"]
            assert deck.line.take_command() == number


def test_the_same_command_may_be_said_again_and_another_one_waits():
    deck = Deck()
    assert deck.type(b"1 ask command=arm*typed\n1 ask command=arm*typed\n") == ["1 ok", "1 ok"]
    assert deck.type(b"2 ask command=fire*typed\n")[0].startswith("2 no busy")
    assert deck.line.take_command() == 1


def test_a_slot_that_cannot_be_read_and_one_that_is_blank_are_told():
    deck = Deck()
    said = deck.type(b"1 slot at=0*typed\n1 slot at=1*typed\n1 slot at=7*typed\n")
    assert said == ["1 ok at=0 hex=" + "01" * RECORD_BYTES, "1 ok at=1 hex=blank", "1 ok at=7 hex=bad"]


def test_a_lander_without_a_plan_says_so():
    deck = Deck()
    deck.copies.record, deck.copies.newest = None, -1
    assert deck.type(b"1 plan*typed\n")[0].startswith("1 ok bytes=0 generation=4 copies=0")
    assert deck.type(b"1 plan at=0*typed\n")[0].startswith("1 no there is no plan")


# --- one circuit for a time ---------------------------------------------------------------------------------------------


def poke(deck) -> None:
    assert deck.type(b"1 poke output=lights level=40 ms=1000*typed\n", 1000) == ["1 ok"]


def test_a_poke_waits_for_the_current_at_rest_then_is_on_for_its_time():
    deck = Deck()
    poke(deck)
    assert deck.line.wanted_ms < 100 and not deck.moved
    deck.line.hear(deck, 1000 + 400)
    assert deck.moved == [(drives.LIGHTS, 40)]
    deck.gear.supply.current_ma, deck.gear.supply.voltage_mv = 350, 14600
    deck.line.hear(deck, 1000 + 900)
    deck.gear.supply.current_ma = 300
    deck.line.hear(deck, 1000 + 1399)
    assert len(deck.moved) == 1
    deck.line.hear(deck, 1000 + 1400)
    assert deck.moved[-1] == (drives.NONE, 40) and deck.line.wanted_ms == RING
    assert deck.type(b"2 poked*typed\n", 5000) == [
        "2 ok output=lights level=40 left_ms=0 supply_mv=14600 supply_ma=300 peak_ma=350 rest_ma=50 camera_ma=-1"]


def test_one_circuit_is_poked_at_a_time():
    deck = Deck()
    poke(deck)
    assert deck.type(b"2 poke output=fan level=1 ms=500*typed\n", 1100) == ["2 no busy: lights is on"]
    deck.line.hear(deck, 1400)
    deck.line.hear(deck, 2500)
    assert deck.type(b"2 poke output=fan level=1 ms=500*typed\n", 2600) == ["2 ok"]


@pytest.mark.parametrize("end", ["state", "wet", "deep", "fire", "test", "ask"])
def test_a_poke_ends_before_its_time_when_it_may_not_go_on(end):
    deck = Deck()
    poke(deck)
    deck.line.hear(deck, 1400)
    {"state": lambda: setattr(deck.mission, "state", DESCEND), "wet": lambda: wet(deck), "deep": lambda: deep(deck),
     "fire": lambda: setattr(deck.outputs, "release_primary_pct", 100),
     "test": lambda: setattr(deck.outputs, "self_test", 1),
     "ask": lambda: deck.type(b"2 ask command=arm*typed\n", 1410)}[end]()
    deck.line.hear(deck, 1420)
    assert deck.moved == [(drives.LIGHTS, 40), (drives.NONE, 40)] and deck.line.wanted_ms == RING


def test_a_poke_that_was_not_on_yet_never_comes_on_when_water_comes():
    deck = Deck()
    poke(deck)
    wet(deck)
    for now_ms in range(1000, 5000, 20):
        deck.line.hear(deck, now_ms)
    assert not deck.moved


def started(deck, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
    deck.moved.clear()
    for now_ms in range(from_ms, to_ms, 20):
        deck.line.hear(deck, now_ms)
    return deck.moved


def test_a_poked_camera_has_its_button_pressed_once_as_long_as_the_plan_says():
    deck = Deck()
    deck.mission.orders.power_press_ds = 20
    assert deck.type(b"1 poke output=camera level=1 ms=9000*typed\n", 1000) == ["1 ok"]
    assert started(deck, 1000, 1900) == [(drives.CAMERA, 0)]
    assert started(deck, 1900, 3900) == [(drives.CAMERA, 1)]
    assert started(deck, 3900, 10400) == [(drives.CAMERA, 0)]
    assert started(deck, 10400, 12000) == [(drives.NONE, 0)]


def test_a_poked_camera_on_a_pack_of_its_own_is_put_off_by_a_second_press():
    deck = Deck()
    deck.mission.orders.power_press_ds, deck.mission.orders.camera_supply = 20, orders.OWN_PACK
    deck.gear.camera_current.current_ok, deck.gear.camera_current.current_ma = 1, 210
    deck.type(b"1 poke output=camera level=1 ms=9000*typed\n", 1000)
    assert [level for _circuit, level in started(deck, 1000, 8400)] == [0, 1, 0]
    deck.gear.camera_current.current_ma = 3
    assert [level for _circuit, level in started(deck, 8400, 10400)] == [1]
    assert started(deck, 10400, 12000)[0][0] == drives.NONE
    assert deck.type(b"2 poked*typed\n", 12000)[0].endswith("camera_ma=210")


def test_only_a_camera_may_be_on_for_longer_than_ten_seconds():
    assert Deck().type(b"1 poke output=camera level=1 ms=60000*typed\n") == ["1 ok"]
    assert Deck().type(b"1 poke output=fan level=1 ms=10001*typed\n")[0].startswith("1 no ms=10001")


def test_no_session_begins_while_the_releases_are_tested_by_a_trickle():
    deck = Deck()
    deck.gear.is_testing = lambda: 1
    assert deck.type(b"1 session*typed\n") == ["1 no busy: the releases are tested by a trickle"]
    assert deck.line.session is None


def test_what_comes_after_a_plan_was_kept_waits_for_the_new_start():
    deck = Deck()
    record = orders.pack(orders.Orders())
    for at in range(0, len(record), 64):
        deck.type(b"1 orders at=%d hex=%s*typed\n" % (at, record[at:at + 64].hex().encode()))
    crc = Crc16Ibm3740.calc(record[:-2])
    said = deck.type(b"2 keep crc=%04X*typed\n3 ask command=arm*typed\n" % crc)
    assert [one.split()[0] for one in said] == ["2"] and deck.is_over and not deck.line.take_command()


# --- lines that are none ------------------------------------------------------------------------------------------------


def test_half_a_line_is_forgotten_when_it_has_stood_for_ten_seconds():
    deck = Deck()
    deck.type(b"1 ask comm", 1000)
    deck.type(b"and=", 1000 + UNFINISHED_MS)
    deck.line.hear(deck, 1001 + 2 * UNFINISHED_MS)
    assert deck.type(b"2 hello*typed\n", 2000 + 2 * UNFINISHED_MS)[0].startswith("2 ok")
    assert UNFINISHED_MS == 10000 and deck.line.take_command() == 0


def test_too_long_a_line_is_answered_once_when_its_end_comes():
    deck = Deck()
    assert deck.type(b"1 hello " + b"x" * 5000) == []
    assert deck.type(b"*typed\n") == ["0 no line too long: at most 200 bytes"]
    assert deck.type(b"2 hello*typed\n")[0].startswith("2 ok")


def test_ends_of_both_kinds_and_empty_lines_pass():
    assert [said[:4] for said in Deck().type(b"\r\n\n1 hello*typed\r\n2 hello*typed\n\r\n")] == ["1 ok", "2 ok"]


def test_ten_thousand_nonsense_lines_change_nothing_and_each_gets_one_whole_answer():
    """Bytes of every kind, pieces of true lines, true lines with one byte changed, and true verbs with wrong pairs."""
    dice = random.Random(7)
    true = [wire.frame("%d %s" % (number, line.decode())).encode() for number, line in enumerate(SAID.values(), 1)]
    deck = Deck()
    for number in range(10000):
        line = bytearray(dice.choice(true))
        kind = number % 4
        if kind == 0:
            line = bytearray(dice.choices([byte for byte in range(256) if byte not in (10, 13)], k=dice.randrange(1, 300)))
        elif kind == 1:
            del line[dice.randrange(1, len(line)):]
        elif kind == 2:
            line[dice.randrange(len(line) - 4)] ^= 1 << dice.randrange(4)
        else:
            line[line.rindex(b"*"):] = b" zz=%d*typed" % number
        if not bytes(line).strip(b"\r\n") or bytes(line) in true:
            continue
        count = sum(bool(piece.strip(b"\r")) for piece in bytes(line).split(b"\n"))
        said = deck.type(bytes(line) + b"\n", number)
        assert len(said) == count, (line, said)
        assert all(answer.split(" ")[1] == "no" and "failed" not in answer for answer in said), (line, said)
    assert not deck.moved and not deck.set_to and not deck.kept and not deck.is_over and not deck.slots.erased
    assert deck.line.take_command() == 0 and deck.line.session is None and deck.line.poke is None
    assert max(map(len, deck.said)) <= wire.LINE_MAX


def test_a_verb_that_goes_wrong_ends_neither_the_flight_nor_the_line():
    deck = Deck()

    def breaks() -> None:
        raise MemoryError

    deck.copies.load = breaks
    assert deck.type(b"1 plan*typed\n2 hello*typed\n")[0] == "1 no failed: MemoryError"
    assert deck.said[-1].startswith("2 ok")


# --- loaded when it is said ---------------------------------------------------------------------------------------------


def test_what_was_loaded_for_a_verb_is_let_go_when_the_state_changes():
    deck = Deck()
    deck.type(b"1 plan*typed\n1 poke output=fan level=1 ms=500*typed\n")
    assert set(deck.line.later) == {"deck_store", "deck_poke"} and "boards.deck_store" in sys.modules
    deck.mission.state = DESCEND
    deck.line.hear(deck, 0)
    assert not deck.line.later and deck.line.poke is None
    assert "boards.deck_store" not in sys.modules and "boards.deck_poke" not in sys.modules
    deck.mission.state = SAFE
    assert deck.type(b"1 poked*typed\n2 plan*typed\n")[0] == "1 no nothing was poked"
    assert deck.said[-1].startswith("2 ok")


@pytest.mark.parametrize("error", [ImportError, MemoryError, OSError])
def test_a_verb_that_cannot_be_loaded_says_so(error, monkeypatch):
    deck = Deck()

    def fails():
        raise error

    monkeypatch.setitem(deck_verbs.LOADERS, "deck_store", fails)
    assert deck.type(b"1 plan*typed\n")[0].startswith("1 no not loaded")
    monkeypatch.undo()
    assert deck.type(b"1 plan*typed\n")[0].startswith("1 ok")


def test_every_verb_stands_in_a_module_that_has_it_and_is_told_in_words():
    assert [row[0] for row in deck_words.VERBS] == list(deck_verbs.VERBS)
    assert {module for _wants, module in deck_verbs.VERBS.values()} - {""} == set(deck_verbs.LATE)
    for verb, (_wants, module) in deck_verbs.VERBS.items():
        there = deck_verbs.LOADERS[module]() if module else deck_verbs
        assert getattr(there, verb).__doc__
    said = " ".join(row[3] for row in deck_words.VERBS)
    assert not [name for name in deck_verbs.COMMANDS if name not in said]
    assert sum(bit for bit, _said in deck_words.WANTS) == deck_verbs.MOVES
    assert deck_verbs.CHANGES == deck_verbs.MOVES - deck_verbs.IN_AIR


def test_what_may_be_poked_is_an_output_of_every_board_and_no_release():
    from boards import deck_poke, esp32, pico

    for board in (pico, esp32):
        outputs = {*board.PINS, *board.REGISTER}
        assert {*deck_poke.CIRCUITS} - {"camera"} <= outputs  # the camera is its supply and its power button
        assert {name for name in outputs if name.startswith(("primary", "backup")) and "end" not in name} <= {
            *deck_poke.RELEASES}
    assert not set(deck_poke.CIRCUITS) & set(deck_poke.RELEASES)
    said = next(row[3] for row in deck_words.VERBS if row[0] == "poke")
    assert not [name for name in deck_poke.CIRCUITS if name not in said]


@pytest.mark.parametrize("spoilt", [False, True])
def test_a_line_on_which_nobody_types_allocates_nothing_and_what_it_loaded_is_freed(spoilt, micropython, firmware,
                                                                                    tmp_path):
    """In a real MicroPython, with the heap locked; a script that is spoilt shows that the lock would tell."""
    script = Path(__file__).parents[1] / "scripts" / "quiet_line.py"
    text = script.read_text(encoding="utf-8")
    if spoilt:
        text = text.replace("line.hear(flight, now_ms)", "line.hear(flight, [now_ms][0])")
    copied = tmp_path / script.name
    copied.write_text(text, encoding="utf-8")
    with subprocess.Popen([micropython, str(copied)], env={"MICROPYPATH": str(firmware)}, stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        lines = process.stdout.read().splitlines()  # standard input stays open meanwhile, and silent
        process.stdin.close()
    if spoilt:
        assert "memory allocation failed" in lines[-1]
        return
    states, loaded, left = lines[-1].split()
    assert states == "8" and int(loaded) > 2000
    assert int(left) < int(loaded) // 10
