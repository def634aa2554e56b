"""Pictures of a board's wiring, drawn from the tables of its board file, each for one sheet of paper.

The controller with its pins stands in the middle, in the order of what they go to, not in that of its header. The two
chips in between, the shift register and the analogue switch, are drawn on a sheet of their own.
"""

import re
import textwrap
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from tumblehome import board_tables
from tumblehome.board_tables import REGISTER_OUTPUTS, Signal
from tumblehome.drawing import DROP, SMALL, TEXT, Sheet

WIDTH, EDGE = 984, 10
BLOCK, WIRE, CHIP = 215, 192, 150  # across: what is connected, its lines, the controller
ROW, GAP, TITLE, NOTE = 28, 16, 23, 18  # down
WHAT_CHARACTERS = 26

# Places on the header of a Raspberry Pi Pico by GPIO ("Raspberry Pi Pico Datasheet", from memory). GPIO 25 has none.
PICO_PLACES = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19, 15: 20,
    16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}
PLACES = {"pico": PICO_PLACES, "second": PICO_PLACES}  # of the others every module has a header of its own

# Pins of the chips in between: Texas Instruments, "SN74HC595" and "CD74HC4051" (from memory; other makers agree).
OUTPUT_PINS = (15, 1, 2, 3, 4, 5, 6, 7)
CHANNEL_PINS = (13, 14, 15, 12, 1, 5, 2, 4)

NAMES = {"pico": "Raspberry Pi Pico (RP2040)", "esp32": "ESP32 module", "second": "Second board (another Pico)"}
SUPPLIES = {
    "pico": ("supply: VSYS (39)", "3.3 V out: (36)", "ground: (3, 8, 13,", "18, 23, 28, 38)"),
    "esp32": ("places, supply and", "ground: see the sheet", "of your module"),
}
SUPPLIES["second"] = SUPPLIES["pico"]


class Block(NamedTuple):
    """Something at the end of lines: `ends` are its signals and what each is called there."""

    title: str
    notes: tuple[str, ...]
    ends: tuple[tuple[str, str], ...]


_PROBE = ("circuit: wiring_circuits.svg",)


def main_blocks() -> tuple[tuple[Block, ...], tuple[Block, ...]]:
    """What the main controller reads, for the left side, and what it drives, for the right one."""
    return (
        Block("Sensors on I2C", _addresses(board_tables.fitted()), (("i2c_sda", "SDA"), ("i2c_scl", "SCL"))),
        Block("Two thermometers DS18B20", ("third wire to 3.3 V",), (("one_wire", "data, 2"),)),
        Block("Magnet switch", ("hall or reed, at the wall",), (("magnet", "output"),)),
        Block("Position receiver", (), (("gnss_rx", "its TX"),)),
        Block("Modem for reports", ("any that takes lines, 9600 baud",), (("modem_tx", "its RX"),)),
        Block("Analogue switch 4051", ("drawn on its own sheet",), (
            ("selected", "common, 3"), ("select_0", "S0, 11"), ("select_1", "S1, 10"), ("select_2", "S2, 9"))),
        Block("Leak probe", _PROBE, (("leak_drive_a", "series resistor"), ("leak_drive_b", "far electrode"))),
        Block("Wet contact", _PROBE, (("contact_drive_a", "series resistor"), ("contact_drive_b", "far electrode"))),
    ), (
        Block("Shift register 74HC595", ("drawn on its own sheet",), (
            ("register_latch", "RCLK, 12"), ("register_enable", "OE (low: on), 13"), ("spi_sck", "SRCLK, 11"),
            ("spi_mosi", "SER, 14"))),
        Block("Radio", ("only where it is allowed",), (
            ("spi_sck", "SCK"), ("spi_mosi", "MOSI"), ("spi_miso", "MISO"), ("radio_cs", "NSS"))),
        Block("Primary release", _PROBE, (("primary_fire", "fire switch"), ("primary_trickle", "330 Ohm, diode"))),
        Block("Backup release", _PROBE, (
            ("backup_opener", "bridge, open"), ("backup_locker", "bridge, shut"), ("backup_trickle", "330 Ohm, diode"),
            ("backup_end", "end switch"))),
        Block("Lamps", (), (("lights", "driver or switch"),)),
        Block("Status lamp", ("the lamp on the Pico itself",), (("status", "lamp, resistor"),)),
    )


def second_blocks() -> tuple[tuple[Block, ...], tuple[Block, ...]]:
    """The same of the second board."""
    parts = board_tables.fitted()
    return (
        Block("Its own pressure sensor", ("%s: 0x%02X" % (parts["PRESSURE"], parts["PRESSURE_ADDRESS"]),), (
            ("i2c_sda", "SDA"), ("i2c_scl", "SCL"))),
        Block("Its own wet contact", _PROBE, (
            ("contact_drive_a", "series resistor"), ("contact_node", "node"), ("contact_drive_b", "far electrode"))),
        Block("Magnet switch", ("hall or reed, at the wall",), (("magnet", "output"),)),
        Block("Main board", (), (("heartbeat", "its heartbeat"),)),
    ), (
        Block("Backup release", (
            *_PROBE, "a latch: only backup_fire,", "the others are for a wire"), (
            ("backup_fire", "fire switch or bridge"), ("backup_arm", "arm switch"),
            ("backup_trickle", "330 Ohm, diode"), ("backup_node", "node"), ("backup_sense", "amplifier"))),
        Block("Status lamp", ("the lamp on the Pico itself",), (("status", "lamp, resistor"),)),
    )


def _addresses(parts: dict) -> tuple[str, ...]:
    rows = (("pressure", "PRESSURE"), ("supply", "SUPPLY"), ("camera current", "CAMERA"), ("clock", "CLOCK"),
            ("housing thermometer", "HOUSING"))
    return tuple("%s: 0x%02X" % (what, parts[key + "_ADDRESS"]) for what, key in rows)


def place_of(board: str, signal: Signal) -> str:
    """Where a signal is, in words: the pin with its place on the header, or the output or channel of a chip."""
    if signal.way == board_tables.PIN:
        place = PLACES.get(board, {}).get(signal.number)
        name = "GP%d" % signal.number if board in PLACES else "GPIO%d" % signal.number
        return "%s (%d)" % (name, place) if place else name
    if signal.way == board_tables.REGISTER:
        chip, output = divmod(signal.number, REGISTER_OUTPUTS)
        return "register %d Q%d (%d)" % (chip + 1, output, OUTPUT_PINS[output])
    return "switch channel %d (%d)" % (signal.number, CHANNEL_PINS[signal.number])


def picture(board: str) -> str:
    """The controller of a board and what is at its pins, as SVG. Raises KeyError for a pin that stands in no block."""
    sheet = _sheet("Wiring: " + NAMES[board])
    by_name = {one.name: one for one in board_tables.signals(board) if one.way == board_tables.PIN}
    drawn = _around(sheet, board, by_name, second_blocks() if board == "second" else main_blocks())
    if set(by_name) - drawn:
        raise KeyError("no block has the pin of %s" % ", ".join(sorted(set(by_name) - drawn)))
    return sheet.svg()


def chips_picture(board: str) -> str:
    """The shift register and the analogue switch of a board, and what is at their pins, as SVG."""
    sheet = _sheet("Chips in between: " + NAMES[board])
    sheet.text(EDGE, 71, "What is drawn here and in wiring_circuits.svg is built once.", size=SMALL)
    signals = board_tables.signals(board)
    _register(sheet, 104, [one for one in signals if one.way == board_tables.REGISTER])
    _selector(sheet, 104, [one for one in signals if one.way == board_tables.SELECTOR])
    return sheet.svg()


def _sheet(title: str) -> Sheet:
    sheet = Sheet(WIDTH, title, "The same as the tables of pins.md, as a drawing.")
    sheet.text(EDGE, 30, title, size=20, bold=True)
    sheet.text(EDGE, 52, "Numbers beside names: places on the header, or pins of a chip. A dot joins, a crossing does"
               " not.", size=SMALL)
    return sheet


# --- the controller and what is at its pins ---------------------------------------------------------------------------


def _around(sheet: Sheet, board: str, signals: dict[str, Signal], sides: Iterable[Iterable[Block]]) -> set[str]:
    """Draw the controller between its blocks, left and right; the names that were drawn."""
    chip_x, top = (WIDTH - CHIP) / 2, 90.0
    rows: list[tuple[float, float, str, str]] = []  # drawn after the chip's box: x, y, anchor, words
    drawn: set[str] = set()
    for is_left, blocks in zip((True, False), sides, strict=True):
        y = top + 24.0
        joints: dict[str, float] = {}
        for block in blocks:
            if not any(name in signals for name, _end in block.ends):
                continue
            y = _block(sheet, y, block, is_left, signals, joints)
        drawn |= set(joints)
        rows += [(chip_x + 6 if is_left else chip_x + CHIP - 6, at + 5, "start" if is_left else "end",
                  place_of(board, signals[name])) for name, at in joints.items()]
    words_y = sheet.height + 26
    sheet.box(chip_x, top, CHIP, words_y + 1.25 * SMALL * len(SUPPLIES[board]) - top)
    for x, y, anchor, words in rows:
        sheet.text(x, y, words, anchor, SMALL)
    sheet.text(WIDTH / 2, top - 8, NAMES[board].partition(" (")[0], "middle", TEXT, bold=True)
    sheet.lines(WIDTH / 2, words_y, SUPPLIES[board], "middle", SMALL)
    return drawn


def _block(sheet: Sheet, y: float, block: Block, is_left: bool, signals: dict[str, Signal],
           joints: dict[str, float]) -> float:
    """One block with its lines; answers where the next one begins. `joints` gets the height of each signal's line."""
    top, x = y, EDGE if is_left else WIDTH - EDGE - BLOCK
    y += TITLE + NOTE * len(block.notes) + 4
    ends: list[tuple[float, str]] = []
    lines: list[Callable[[], None]] = []
    for name, end in block.ends:
        if name not in signals:
            continue
        above, below = _room(signals[name]) if name not in joints else (0, 0)
        y += above + ROW / 2
        ends.append((y, end))
        if name in joints:
            lines.append(_branch(sheet, joints[name], y, len(ends)))
        else:
            joints[name] = y
            lines.append(_lead(sheet, y, signals[name], is_left))
        y += ROW / 2 + below
    sheet.box(x, top, BLOCK, y - top)
    sheet.text(x + 8, top + 17, block.title, bold=True)
    sheet.lines(x + 8, top + 17 + NOTE, block.notes, size=SMALL)
    for at, end in ends:
        sheet.text(x + BLOCK - 6 if is_left else x + 6, at + 5, end, "end" if is_left else "start", SMALL)
    for draw in lines:
        draw()
    return y + GAP


def _lead(sheet: Sheet, y: float, signal: Signal, is_left: bool) -> Callable[[], None]:
    """The line from the controller to a block, with its name and what hangs on it."""
    start = EDGE + BLOCK if is_left else (WIDTH + CHIP) / 2
    name_x, hang_x = (start + WIRE - 8, start + 24) if is_left else (start + 8, start + WIRE - 64)

    def draw() -> None:
        sheet.line((start, y), (start + WIRE, y))
        sheet.text(name_x, y - 6, signal.name, "end" if is_left else "start")
        _hang(sheet, hang_x, y, signal)
    return draw


def _branch(sheet: Sheet, from_y: float, y: float, index: int) -> Callable[[], None]:
    """A line that is shared: from a joint on the first block's line down to this one."""
    end = (WIDTH + CHIP) / 2 + WIRE
    x = end - 14 * index

    def draw() -> None:
        sheet.dot(x, from_y)
        sheet.line((x, from_y), (x, y), (end, y))
    return draw


# --- what hangs on a line ---------------------------------------------------------------------------------------------


UP, DOWN, ALONG = "3.3 V", "ground", "in series"


def hanging(resistor: str) -> Iterator[tuple[str, str]]:
    """What the words of a resistor mean: value, and UP, DOWN or ALONG. Raises ValueError for other words."""
    for part in re.split("; |, and ", resistor):
        found = re.fullmatch(r"(.+) (?:to (3\.3 V|ground)(?: at the \w+)?|(in series))", part)
        if found:
            yield found[1], found[2] or found[3]
        elif part != "none":
            raise ValueError("%r is no resistor: say 'none', 'VALUE to 3.3 V', 'VALUE to ground' or 'VALUE in series'"
                             % part)


def _room(signal: Signal) -> tuple[float, float]:
    ways = {way for _value, way in hanging(signal.resistor)}
    return (DROP - 4 if UP in ways else 0), (DROP - 6 if DOWN in ways else 0)


def _hang(sheet: Sheet, x: float, y: float, signal: Signal) -> None:
    for value, way in hanging(signal.resistor):
        if value.endswith("F"):
            sheet.to_ground(x, y, value)
        elif way == ALONG:
            sheet.resistor(x + 2, y, value)
            x += 42
        else:
            sheet.pull(x, y, way == UP, value.replace("10 to 100", "10 … 100"))


# --- the two chips in between -----------------------------------------------------------------------------------------


def _register(sheet: Sheet, top: float, signals: list[Signal]) -> None:
    chip, wire = 112, 182
    sheet.text(EDGE, top, "Shift register 74HC595" + ("" if len(signals) <= REGISTER_OUTPUTS else ", two in a chain"),
               bold=True)
    y = sheet.lines(EDGE, top + 18, ("8: ground; 10 and 16: 3.3 V; 100 nF at each chip", *_chain(len(signals))),
                    size=SMALL)
    for first in range(0, len(signals), REGISTER_OUTPUTS):
        begin = y
        for signal in signals[first:first + REGISTER_OUTPUTS]:
            y = _way(sheet, y, signal, EDGE + chip, wire, False)
        sheet.box(EDGE, begin, chip, y - begin)
        at = begin
        for signal in signals[first:first + REGISTER_OUTPUTS]:
            output = signal.number % REGISTER_OUTPUTS
            sheet.text(EDGE + chip - 6, _line_y(signal, at) + 5, "Q%d, %d" % (output, OUTPUT_PINS[output]), "end",
                       SMALL)
            at += _height(signal)
        sheet.text(EDGE + 6, begin + 20, "chip %d" % (first // REGISTER_OUTPUTS + 1), size=SMALL, bold=True)
        y += GAP


def _chain(count: int) -> tuple[str, ...]:
    if count <= REGISTER_OUTPUTS:
        return ()
    return ("chip 1, Q7' (9) to SER (14) of chip 2;", "RCLK, SRCLK, OE of both joined")


def _spare(count: int) -> tuple[str, ...]:
    """A channel that shows nothing still must not float."""
    places = [str(pin) for pin in CHANNEL_PINS[count:]]
    return ("channels not used (pin %s): ground" % ", ".join(places),) if places else ()


def _selector(sheet: Sheet, top: float, signals: list[Signal]) -> None:
    chip, wire = 100, 170
    x = WIDTH - EDGE - chip
    sheet.text(WIDTH - EDGE, top, "Analogue switch 4051", "end", bold=True)
    y = begin = sheet.lines(WIDTH - EDGE, top + 18, (
        "6, 7, 8: ground; 16: 3.3 V; 100 nF", *_spare(len(signals))), "end", SMALL)
    for signal in signals:
        y = _way(sheet, y, signal, x - wire, wire, True)
    sheet.box(x, begin, chip, y - begin)
    at = begin
    for signal in signals:
        sheet.text(x + 6, _line_y(signal, at) + 5, "%d, %d" % (signal.number, CHANNEL_PINS[signal.number]), size=SMALL)
        at += _height(signal)


def _told(signal: Signal) -> list[str]:
    return textwrap.wrap(signal.what.partition(";")[0], WHAT_CHARACTERS)


def _height(signal: Signal) -> float:
    return max(ROW + 12 + _room(signal)[1], 1.25 * SMALL * len(_told(signal)) + 8)


def _line_y(signal: Signal, y: float) -> float:
    """The height of a line whose row begins here: words of several lines need more room above it as well."""
    return y + max(ROW / 2 + 5, 0.625 * SMALL * len(_told(signal)) + 4)


def _way(sheet: Sheet, y: float, signal: Signal, start: float, wire: float, is_left: bool) -> float:
    """A line of a chip in between and what is at its other end; answers where the next one begins."""
    at = _line_y(signal, y)
    sheet.line((start, at), (start + wire, at))
    sheet.text(start + 8, at - 6, signal.name)
    _hang(sheet, start + wire - 62, at, signal)
    words = _told(signal)
    sheet.lines(start - 6 if is_left else start + wire + 6, at + 5 - SMALL * 0.62 * (len(words) - 1), words,
                "end" if is_left else "start", SMALL)
    return y + _height(signal)
