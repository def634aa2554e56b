"""The circuits that are built beside the controller, drawn: releases, their OR with the second board, probes, buttons.

They are what the drivers' docstrings say, `drivers.burnwire`, `drivers.latch` and `drivers.probe`; values that a lander
may choose are read from `boards.fitted`.
"""

import textwrap

from tumblehome import board_tables
from tumblehome.drawing import SMALL, Sheet
from tumblehome.note_numbers import NUMBERS

WIDTH, LEFT = 960, 30
NOTE_CHARACTERS = 122
PULL = NUMBERS["pull_down"]  # the same at every line of these circuits


def picture() -> str:
    """The circuits as SVG."""
    sheet = Sheet(WIDTH, "Circuits beside the controller",
                  "Burn wire, latch, the OR of main and second board, probe and camera button.")
    sheet.text(10, 30, "Circuits beside the controller", size=20, bold=True)
    sheet.text(10, 52, "Names of signals as in pins.md. A dot joins, a crossing does not. Every ground is one ground,"
               " joined at the battery.", size=SMALL)
    sheet.text(10, 70, "What is drawn here and on the sheet of a board is built once.", size=SMALL)
    _burn_wire(sheet, 108)
    _latch(sheet, 488)
    _or(sheet, 874)
    _probe(sheet, 1090)
    _button(sheet, 1296)
    return sheet.svg()


def _head(sheet: Sheet, y: float, title: str, notes: str) -> None:
    sheet.line((10, y - 20), (WIDTH - 10, y - 20))
    sheet.text(10, y, title, bold=True)
    sheet.lines(10, y + 20, textwrap.wrap(notes, NOTE_CHARACTERS), size=SMALL)


def _burn_wire(sheet: Sheet, top: float) -> None:
    _head(sheet, top, "1  Burn wire: primary release",
          "Arm and fire switch: p-channel or load switch on the plus side, each with its own pull-up from gate to"
          " source. Polarity matters: the burn wire is plus.")
    y, back = top + 84, top + 292
    sheet.line((LEFT + 20, back), (LEFT + 20, y), (210, y))
    sheet.part(5, y + 40, 96, 40, ("arming plug,", "for both"))
    sheet.battery(LEFT + 20, (y + back) / 2 + 20, ("battery with", "a fuse at its plus"))
    sheet.fuse(130, y, "fuse")
    sheet.part(210, y, 110, 44, ("arm switch",))
    sheet.line((320, y), (380, y))
    sheet.part(380, y, 110, 44, ("fire switch",))
    sheet.line((490, y), (640, y))
    sheet.part(640, y, 110, 44, ("burn wire, +", "bare in the sea"))
    sheet.line((750, y), (810, y), dashed=True)
    sheet.text(780, y - 10, "sea", "middle", SMALL)
    sheet.part(810, y, 120, 44, ("return, −", "plate or frame"))
    sheet.line((915, y + 22), (915, back), (LEFT + 20, back))
    for box, name in ((210, "primary_arm"), (380, "primary_fire")):
        _control(sheet, (box + 66, y + 22), y + 70, box - 36, name)
    _trickle_and_node(sheet, 565, y, "primary")
    _shunt(sheet, 390, back, "primary")


def _latch(sheet: Sheet, top: float) -> None:
    _head(sheet, top, "2  Motor latch: backup release",
          "The bridge coasts with both inputs low; %s are the way back for the test current. A servo instead: its pulse"
          " wire at backup_opener; no bridge, no trickle, no locker, a supply switched with the release."
          % NUMBERS["motor_back"])
    y, back = top + 74, top + 290
    sheet.line((LEFT + 20, back), (LEFT + 20, y), (370, y), (370, y + 30))
    sheet.part(5, y + 40, 96, 40, ("arming plug,", "for both"))
    sheet.battery(LEFT + 20, top + 222, ("battery with", "a fuse at its plus"))
    sheet.fuse(130, y, "fuse")
    sheet.box(300, y + 30, 140, 130)
    sheet.lines(370, y + 92, ("H-bridge",), "middle")
    for at, name in ((y + 54, "backup_opener"), (y + 108, "backup_locker")):
        sheet.line((112, at), (300, at))
        sheet.text(112, at - 6, name)
        sheet.pull(232, at, False, PULL)
    sheet.line((440, y + 50), (600, y + 50))
    sheet.dot(510, y + 50)
    sheet.line((510, y + 50), (510, y + 85))
    sheet.part(470, y + 107, 80, 44, ("motor",))
    sheet.line((440, y + 150), (510, y + 150), (510, y + 129))
    sheet.pull(492, y + 150, False, NUMBERS["motor_back"] + ", 1 W")
    _trickle_and_node(sheet, 600, y + 50, "backup")
    sheet.line((370, y + 160), (370, back), (LEFT + 20, back))
    _shunt(sheet, 180, back, "backup")
    at = back + 40
    sheet.line((540, at + 8), (540, at), (570, at))
    sheet.ground(540, at + 8)
    sheet.part(570, at, 180, 44, ("end switch: closed", "where the latch is open"))
    sheet.line((750, at), (850, at))
    sheet.pull(776, at, True, PULL)
    sheet.text(856, at + 5, "backup_end")


def _or(sheet: Sheet, top: float) -> None:
    _head(sheet, top, "3  Two boards, one mechanism: an OR",
          "Either driver does it, neither can hold the other back. Each has its own battery, fuse and diode. Trickle"
          " and node join behind the diode, at the mechanism. With a motor the diodes pass one direction only, opening:"
          " shut it by hand, or by a bench plug that leads past the diode.")
    upper, lower = top + 98, top + 166
    for y, words in ((upper, ("main board:", "driver of the backup")),
                     (lower, ("second board:", "driver, own battery"))):
        sheet.part(LEFT + 20, y, 190, 40, words)
        sheet.line((240, y), (460, y))
        sheet.fuse(300, y, "fuse")
        sheet.diode(390, y)
    sheet.line((145, upper + 20), (145, lower - 20))
    sheet.text(152, (upper + lower) / 2 + 5, "heartbeat, " + NUMBERS["heartbeat_series"], size=SMALL)
    sheet.line((460, upper), (460, lower))
    middle = (upper + lower) / 2
    sheet.dot(460, middle)
    sheet.line((460, middle), (540, middle))
    sheet.part(540, middle, 170, 50, ("mechanism of the", "backup release"))
    sheet.line((710, middle), (760, middle), (760, middle + 12))
    sheet.ground(760, middle + 12)
    sheet.lines(782, middle - 8, ("return: the minus", "of both batteries,", "joined here"), size=SMALL)


def _probe(sheet: Sheet, top: float) -> None:
    parts = board_tables.fitted()
    leak, contact = parts["LEAK_OHM"], parts["CONTACT_OHM"]
    _head(sheet, top, "4  Leak probe and wet contact: two of these",
          "The end resistor sits at the far end of the cable, across the electrodes: a cable without it counts as"
          " broken. End resistor of the leak probe %s, of the wet contact %s." % (_end(leak), _end(contact)))
    y = top + 98
    sheet.text(LEFT, y - 8, "leak_drive_a")
    sheet.text(LEFT, y + 18, "contact_drive_a", size=SMALL)
    sheet.line((LEFT, y), (620, y))
    sheet.resistor(245, y, "%s leak, %s contact" % (_ohm(leak[0]), _ohm(contact[0])))
    sheet.dot(330, y)
    sheet.line((330, y), (330, y + 44), (440, y + 44))
    sheet.to_ground(370, y + 44, "1 nF")
    sheet.text(446, y + 49, "leak_node, contact_node")
    sheet.line((620, y - 18), (620, y + 18), thick=True)
    sheet.line((650, y - 18), (650, y + 18), thick=True)
    sheet.text(662, y + 34, "electrodes", size=SMALL)
    sheet.line((650, y), (800, y))
    sheet.line((560, y), (560, y - 38), (710, y - 38), (710, y))
    sheet.dot(560, y)
    sheet.dot(710, y)
    sheet.resistor(635, y - 38, "")
    sheet.text(720, y - 34, "end resistor", size=SMALL)
    sheet.text(806, y - 2, "leak_drive_b")
    sheet.text(806, y + 18, "contact_drive_b", size=SMALL)


def _button(sheet: Sheet, top: float) -> None:
    _head(sheet, top, "5  Camera button: two of these",
          "An isolated contact: the camera's ground need not be the controller's. Open while the controller is off.")
    y = top + 66
    sheet.text(LEFT, y - 6, "power_button")
    sheet.text(LEFT, y + 18, "record_button", size=SMALL)
    sheet.line((LEFT, y), (300, y))
    sheet.pull(160, y, False, PULL)
    sheet.part(300, y, 190, 44, ("optocoupler with its", "resistor, or small relay"))
    sheet.line((490, y - 12), (600, y - 12))
    sheet.line((490, y + 12), (600, y + 12))
    sheet.part(600, y, 180, 44, ("across the button", "inside the camera"))


# --- what comes twice -------------------------------------------------------------------------------------------------


def _control(sheet: Sheet, gate: tuple[float, float], y: float, start: float, name: str) -> None:
    """The line of a pin to a switch, with its pull-down."""
    sheet.line((start, y), (gate[0], y), gate)
    sheet.text(start, y - 6, name)
    sheet.pull(gate[0] - 12, y, False, PULL)


def _trickle_and_node(sheet: Sheet, x: float, y: float, channel: str) -> None:
    """Test current in, and the voltage read back, at a joint on the line to the load."""
    sheet.dot(x, y)
    sheet.line((x, y), (x, y + 120), (x + 205, y + 120))
    sheet.dot(x, y + 50)
    sheet.line((x, y + 50), (x + 140, y + 50))
    sheet.diode(x + 30, y + 50, to_left=True)
    sheet.text(x + 6, y + 75, "Schottky", size=SMALL)
    sheet.resistor(x + 98, y + 50, NUMBERS["trickle_ohm"], below=True)
    sheet.text(x + 146, y + 55, channel + "_trickle")
    sheet.resistor(x + 40, y + 120, "100 kOhm")
    sheet.to_ground(x + 80, y + 120, "10 nF")
    sheet.pull(x + 138, y + 120, False, "1 MOhm")
    sheet.dot(x + 180, y + 120)
    sheet.line((x + 180, y + 120), (x + 180, y + 86))
    sheet.supply(x + 180, y + 86, "3.3 V, clamp")
    sheet.diode_up(x + 180, y + 104)
    sheet.text(x + 211, y + 125, channel + "_node")


def _shunt(sheet: Sheet, x: float, y: float, channel: str) -> None:
    """A shunt in the return line and what is read from it."""
    sheet.resistor(x, y, "shunt")
    for at in (x - 40, x + 40):
        sheet.dot(at, y)
        sheet.line((at, y), (at, y + 20))
    sheet.part(x - 70, y + 40, 140, 40, ("amplifier, filter", "of about 10 ms"))
    sheet.line((x + 70, y + 40), (x + 110, y + 40))
    sheet.text(x + 116, y + 45, channel + "_sense")


def _ohm(ohm: int) -> str:
    return "%g MΩ" % (ohm / 1000000) if ohm >= 1000000 else "%g kΩ" % (ohm / 1000)


def _end(limits: tuple[int, int, int, int]) -> str:
    """The end resistor must be told from a dry probe on one side and from a broken cable on the other."""
    return "between %s and %s" % (_ohm(limits[2]), _ohm(limits[3]))
