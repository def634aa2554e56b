"""The serial line on deck: it answers whole lines, changes nothing for a bad one, and hears nothing at sea."""

from types import SimpleNamespace

import pytest
from crccheck.crc import Crc16Ibm3740

from boards.deck_line import BYTES_A_TURN, QUIET_MS, DeckLine
from lander import orders, wire
from lander.mission import Mission
from lander.signals import ASK_ARM_ANYWAY, Inputs, Outputs
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, STATES, SURFACE

AT_SEA = (DESCEND, RECORD, RELEASE, BACKUP, ASCEND, SURFACE)


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
        self.drives = SimpleNamespace(faults=0)
        self.slots = SimpleNamespace(volume=None)
        self.gear = SimpleNamespace(
            clock=SimpleNamespace(set=self._set, clock_s=0, ok=0), contact=SimpleNamespace(ok=1, wet=0),
            pressure=SimpleNamespace(ok=1, pressure_mbar=1013))
        self.copies = SimpleNamespace(store=self._store, generation=4, newest=0, degraded=0)

    def key(self) -> int:
        if not self.waiting:
            return -1
        code, self.waiting = self.waiting[0], self.waiting[1:]
        return code

    def say(self, text) -> None:
        self.said.append(text)

    def chip_id(self) -> str:
        return "00000000000000a1"

    def lend(self, _volume) -> None:
        """The files are there."""

    def take_back(self) -> None:
        """Nothing was lent."""

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
    return b"2 keep crc=%04X*typed\n" % Crc16Ibm3740.calc(record)


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
