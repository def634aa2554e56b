"""Two energy sources that share nothing, and the camera with its buttons and its feedback, drawn.

Names of signals and values of resistors come from the tables of the board files (`tumblehome.board_tables`).
"""

from tumblehome import board_tables
from tumblehome.board_tables import Signal
from tumblehome.drawing import SMALL, Sheet
from tumblehome.wiring_picture import DOWN, hanging, place_of

WIDTH = 760
LOADS: tuple[tuple[int, tuple[str, ...]], ...] = (  # of the main pack, by the height of their line
    (116, ("regulator, main board",)), (166, ("camera, fan, lamps,", "a fuse each")),
    (216, ("beacon, receiver, radio,", "a fuse each")))


def energy() -> str:
    """Both packs and what each feeds, down to the one mechanism that they share, as SVG."""
    second = _by_name("second")
    series, = (value for value, way in hanging(second["heartbeat"].resistor) if way == "in series")
    sheet = _sheet("Two energy sources", "What each pack feeds. They meet at the mechanism of the backup and nowhere"
                   " else.")
    sheet.line((430, 126), (443, 126), (443, 476), (430, 476), dashed=True)
    sheet.text(10, 86, "main pack", bold=True)
    _source(sheet, 116)
    sheet.line((170, 116), (250, 116))
    sheet.line((210, 116), (210, 306))
    for y, words in LOADS:
        if y != 116:
            sheet.dot(210, y)
            sheet.line((210, y), (250, y))
        sheet.part(250, y, 180, 40, words)
    sheet.dot(210, 116)
    sheet.line((210, 306), (250, 306))
    sheet.part(250, 306, 106, 40, ("arming plug,", "pole 1"))
    sheet.line((356, 306), (390, 306))
    sheet.line((390, 266), (390, 346))
    sheet.dot(390, 306)
    for y, channel in ((266, "primary"), (346, "backup")):
        sheet.line((390, y), (456, y))
        sheet.part(456, y, 146, 32, ("fuse, driver, %s" % channel,))
    sheet.line((602, 266), (640, 266))
    sheet.part(640, 266, 110, 40, ("burn wire", "(primary)"))
    sheet.line((602, 346), (670, 346), (670, 372))
    sheet.diode(630, 346)
    sheet.part(600, 394, 150, 44, ("latch (backup):", "the one joint"))

    sheet.line((10, 420), (400, 420), dashed=True)
    sheet.lines(10, 404, ("above: one housing, or one half of it. Below: the other",), size=SMALL)
    sheet.text(10, 452, "second pack", bold=True)
    _source(sheet, 486)
    sheet.line((170, 486), (250, 486))
    sheet.dot(210, 486)
    sheet.line((210, 486), (210, 546), (250, 546))
    sheet.part(250, 486, 180, 40, ("regulator, second board:", "own sensors, own clock"))
    sheet.part(250, 546, 106, 40, ("arming plug,", "pole 2"))
    sheet.line((356, 546), (456, 546))
    sheet.part(456, 546, 146, 32, ("fuse, driver",))
    sheet.line((602, 546), (670, 546), (670, 416))
    sheet.diode(630, 546)
    sheet.lines(456, 452, ("heartbeat only:", "one wire, %s" % series), size=SMALL)

    sheet.part(10, 620, 420, 40, ("corroding link: a third way, with no pack at all",))
    return sheet.svg()


def camera(board: str = "pico") -> str:
    """The camera's supply, its two buttons and both ways of feedback, as SVG."""
    signal = _by_name(board)
    parts = board_tables.fitted()
    sheet = _sheet("Camera: supply, buttons, feedback",
                   "Places as on the Pico; the same signals on other boards, see pins.md.")
    left, edge = 30, 540
    sheet.box(edge, 76, 200, 460)
    sheet.text(edge + 100, 100, "camera", "middle", bold=True)

    y = 130
    sheet.text(left, y - 8, "pack, +", size=SMALL)
    sheet.line((left, y), (edge, y))
    sheet.fuse(130, y, "fuse")
    sheet.part(200, y, 100, 40, ("load switch",))
    sheet.resistor(380, y, "")
    sheet.text(380, y - 14, "shunt, %g mΩ" % (parts["CAMERA_SHUNT_MICRO_OHM"] / 1000), "middle", SMALL)
    sheet.text(edge + 10, y + 5, "supply, +", size=SMALL)
    for x in (350, 410):
        sheet.dot(x, y)
        sheet.line((x, y), (x, y + 30))
    sheet.part(320, y + 50, 120, 40, ("its current:", "INA226, 0x%02X" % parts["CAMERA_ADDRESS"]))
    sheet.line((440, y + 50), (460, y + 50))
    sheet.text(464, y + 55, "to I2C", size=SMALL)
    sheet.line((left, y + 62), (250, y + 62), (250, y + 20))
    _named(sheet, left, y + 62, signal["camera_supply"], 150)

    for y, name in ((266, "power_button"), (356, "record_button")):
        sheet.line((left, y), (280, y))
        _named(sheet, left, y, signal[name], 190)
        sheet.part(280, y, 160, 44, ("optocoupler with its", "resistor, or relay"))
        for at in (y - 12, y + 12):
            sheet.line((440, at), (edge, at))
        sheet.text(edge + 10, y + 5, "across the " + name.replace("_", " "), size=SMALL)

    y = 456
    sheet.line((left, y), (440, y))
    _named(sheet, left, y, signal["camera_lamp"], 230)
    sheet.supply(440, y - 44)
    sheet.line((440, y - 44), (440, y))
    sheet.diode_up(440, y - 20)
    sheet.pull(400, y, False, "load")
    sheet.arrow((edge + 4, y - 24), (458, y - 24), dashed=True)
    sheet.lines(edge + 10, y - 20, ("record lamp; the", "photodiode sits on it,", "shaded from all else"), size=SMALL)
    sheet.text(left, 500, "One way of feedback is enough: current, or the lamp.", size=SMALL)
    sheet.text(left, 524, "The ground of the buttons is the camera's own.", size=SMALL)
    return sheet.svg()


def _by_name(board: str) -> dict[str, Signal]:
    return {one.name: one for one in board_tables.signals(board)}


def _named(sheet: Sheet, x: float, y: float, signal: Signal, hang_x: float) -> None:
    """The name of a signal and where it is, over its line, and the resistor that holds it low."""
    sheet.text(x, y - 6, signal.name)
    sheet.text(x, y + 18, place_of("pico", signal), size=SMALL)
    for value, way in hanging(signal.resistor):
        if way == DOWN:
            sheet.pull(hang_x, y, False, value)


def _source(sheet: Sheet, y: float) -> None:
    """A pack with the fuse at its plus."""
    sheet.line((40, y + 32), (40, y), (170, y))
    sheet.fuse(110, y, "fuse at the pack")
    sheet.battery(40, y + 38, ())
    sheet.line((40, y + 44), (40, y + 58))
    sheet.ground(40, y + 58)


def _sheet(title: str, description: str) -> Sheet:
    sheet = Sheet(WIDTH, title, description)
    sheet.text(10, 26, title, size=20, bold=True)
    sheet.text(10, 48, description, size=SMALL)
    return sheet
