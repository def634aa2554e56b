"""What lets the ballast go, and how a lander hangs together, drawn: one drawing for each note that tells of it.

They show an arrangement, not a design: nothing in them has a size. A number in a ring is a row of the table of failures
beside the drawing.
"""

from tumblehome.drawing import SMALL, Sheet

WIDTH = 720
MIDDLE = 250  # where what carries the ballast hangs


def burn_wire() -> str:
    """A wire that current dissolves, between frame and ballast, as SVG."""
    sheet = _sheet("Burn wire", "A bare wire between frame and ballast is the positive pole; a plate is the negative.")
    sheet.box(90, 70, 320, 26)
    sheet.text(100, 88, "frame", size=SMALL)
    sheet.line((MIDDLE, 96), (MIDDLE, 112), thick=True)
    _centred(sheet, 134, 130, 44, ("terminal, potted,", "insulated"))
    sheet.line((90, 134), (185, 134))
    sheet.lines(10, 116, ("+ from the", "fire switch"), size=SMALL)
    sheet.mark(110, 134, 3)
    _pipe(sheet, 156, 216)
    sheet.line((MIDDLE, 216), (MIDDLE, 290), thick=True)
    _pipe(sheet, 290, 330)
    sheet.lines(110, 186, ("insulation", "ends square,", "sealed"), size=SMALL)
    sheet.mark(228, 228, 2)
    sheet.line((290, 218), (300, 218), (300, 288), (290, 288))
    sheet.mark(272, 253, 1)
    sheet.lines(308, 246, ("bare length:", "wire_length_mm", "in the plan"), size=SMALL)
    _centred(sheet, 352, 96, 36, ("eye, crimped",))
    sheet.line((MIDDLE, 370), (MIDDLE, 424))
    sheet.mark(228, 396, 5)
    sheet.lines(262, 392, ("rope to the ballast: no metal,", "smooth all the way"), size=SMALL)
    _centred(sheet, 446, 170, 44, ("ballast",))
    sheet.hatch(90, 474, 320)
    sheet.line((700, 134), (530, 134), (530, 190))
    sheet.text(600, 124, "− to the shunt", size=SMALL)
    sheet.box(518, 190, 24, 126)
    sheet.mark(530, 160, 4)
    sheet.lines(554, 220, ("return: a bare", "plate in the sea,", "far larger than", "the bare wire"), size=SMALL)
    sheet.arrow((420, 268), (510, 268), dashed=True)
    sheet.lines(416, 292, ("current, through", "the sea"), size=SMALL)
    sheet.lines(480, 392, ("pull in the wire: the lift of", "the lander without ballast,", "while it stands"),
                size=SMALL)
    return sheet.svg()


def motor_latch() -> str:
    """A pin that a motor draws out of a ring, as SVG."""
    sheet = _sheet("Motor latch", "A motor draws a pin out of two plates; the ring on it drops with the ballast.")
    sheet.box(90, 70, 320, 26)
    sheet.text(100, 88, "frame", size=SMALL)
    for x in (198, 286):
        sheet.box(x, 96, 16, 124)
    sheet.circle(MIDDLE, 166, 22, thick=True)
    sheet.box(166, 146, 250, 16)
    sheet.mark(178, 186, 1)
    sheet.lines(60, 130, ("pin through", "two plates"), size=SMALL)
    sheet.lines(318, 202, ("ring, round", "and smooth"), size=SMALL)
    sheet.line((314, 204), (277, 194))
    sheet.line((MIDDLE, 188), (MIDDLE, 284))
    sheet.text(262, 256, "line to the ballast", size=SMALL)
    _centred(sheet, 306, 170, 44, ("ballast",))
    sheet.hatch(90, 334, 320)
    sheet.box(440, 128, 150, 74)
    sheet.lines(515, 150, ("geared motor,", "oil-filled or", "tested at depth"), "middle", SMALL)
    sheet.line((416, 154), (440, 154), thick=True)
    sheet.mark(428, 178, 3)
    sheet.mark(602, 140, 2)
    sheet.arrow((340, 126), (418, 126))
    sheet.text(322, 116, "opens this way", size=SMALL)
    sheet.line((590, 176), (700, 176))
    sheet.lines(612, 198, ("two leads to", "the bridge"), size=SMALL)
    sheet.mark(650, 162, 5)
    sheet.box(440, 244, 150, 44)
    sheet.lines(515, 262, ("end switch: closed", "where it is open"), "middle", SMALL)
    sheet.line((410, 162), (410, 266), (440, 266))
    sheet.mark(410, 236, 4)
    sheet.line((590, 266), (700, 266))
    sheet.text(612, 288, "backup_end", size=SMALL)
    return sheet.svg()


def corroding_link() -> str:
    """A link that dissolves by itself, between frame and ballast, as SVG."""
    sheet = _sheet("Corroding link", "A less noble metal, bolted to a nobler one, dissolves in sea water by itself.")
    sheet.box(90, 70, 320, 26)
    sheet.text(100, 88, "frame", size=SMALL)
    sheet.circle(MIDDLE, 112, 14, thick=True)
    sheet.lines(60, 124, ("sleeve: no metal", "of the frame", "touches the link"), size=SMALL)
    sheet.line((174, 128), (236, 118))
    sheet.box(222, 128, 56, 44)
    sheet.line((222, 172), (222, 192), (240, 206), (240, 262), (222, 276), (222, 296), (278, 296), (278, 276),
               (260, 262), (260, 206), (278, 192), (278, 172))
    sheet.dot(236, 160)
    sheet.dot(264, 160)
    sheet.lines(300, 142, ("nobler metal, bolted on:", "metal on metal, and bare"), size=SMALL)
    sheet.mark(204, 156, 3)
    sheet.lines(300, 226, ("the link: it is eaten", "at its waist, under pull"), size=SMALL)
    sheet.mark(218, 234, 1)
    sheet.mark(218, 260, 2)
    sheet.circle(MIDDLE, 310, 14, thick=True)
    sheet.text(276, 318, "sleeve", size=SMALL)
    sheet.line((MIDDLE, 324), (MIDDLE, 374))
    sheet.text(262, 354, "line to the ballast", size=SMALL)
    _centred(sheet, 396, 170, 44, ("ballast",))
    sheet.hatch(90, 424, 320)
    sheet.lines(490, 226, ("No wire, no code, no battery.", "A range of hours or days,", "never a time."), size=SMALL)
    return sheet.svg()


def whole_lander() -> str:
    """From flag to ballast: what hangs on what, as SVG."""
    sheet = _sheet("From flag to ballast", "What hangs on what, and what must stay clear of what.")
    sheet.line((MIDDLE, 81), (MIDDLE, 276), thick=True)
    sheet.circle(MIDDLE, 72, 9)
    sheet.text(268, 76, "flashing lamp, antennas: highest, clear of floats", size=SMALL)
    sheet.line((MIDDLE, 112), (196, 122), (MIDDLE, 138))
    sheet.text(268, 128, "flag, below the lamp", size=SMALL)
    for x in (186, 314):
        sheet.circle(x, 236, 36)
        sheet.line((x - 34, 224), (x + 34, 224), dashed=True)
    sheet.lines(362, 226, ("floats, above everything heavy;", "bright, with reflecting tape all round"), size=SMALL)
    sheet.line((150, 236), (120, 236))
    sheet.circle(108, 236, 12, thick=True)
    sheet.lines(10, 198, ("loop for the", "boat hook,", "carries it all"), size=SMALL)
    sheet.line((112, 248), (122, 300), (108, 340))
    sheet.lines(10, 296, ("floating line:", "short, bright"), size=SMALL)
    sheet.box(160, 276, 180, 34)
    sheet.text(MIDDLE, 298, "camera housing", "middle", SMALL)
    sheet.box(160, 318, 180, 34)
    sheet.text(MIDDLE, 340, "controller and pack", "middle", SMALL)
    sheet.lines(362, 312, ("housings low: the pack is the weight", "that keeps it upright"), size=SMALL)
    for x in (160, 340):
        sheet.line((x, 236), (x, 424), thick=True)
    _centred(sheet, 380, 100, 40, ("release, in", "the middle"))
    sheet.lines(362, 366, ("feet stand wider than the ballast:", "it drops between them, tilted too"), size=SMALL)
    sheet.line((MIDDLE, 400), (MIDDLE, 432))
    sheet.lines(262, 424, ("one line,", "short"), size=SMALL)
    sheet.box(190, 446, 120, 24)
    sheet.line((MIDDLE, 432), (MIDDLE, 446))
    sheet.text(MIDDLE, 464, "ballast", "middle", SMALL)
    sheet.line((310, 458), (356, 458))
    sheet.lines(362, 446, ("pinned by hand until it hangs outboard;", "nothing else is tied to it"), size=SMALL)
    sheet.hatch(90, 474, 320)
    for x in (160, 340):
        sheet.line((x, 424), (x, 474), thick=True)
    return sheet.svg()


def housing() -> str:
    """A tube between two caps, with what must be in it, as SVG."""
    sheet = _sheet("Housing, cut along its axis", "A tube between two caps: seals, ports, relief valve and leak probe.")
    top, left, right = 130, 170, 550
    sheet.box(left, top, right - left, 14)
    sheet.box(left, top + 106, right - left, 14)
    for flange_x, spigot_x in ((left - 24, left), (right, right - 36)):
        sheet.box(flange_x, top - 4, 24, 128)
        sheet.box(spigot_x, top + 14, 36, 92)
        for y in (top + 14, top + 106):
            sheet.dot(spigot_x + 12, y)
            sheet.dot(spigot_x + 25, y)
    sheet.text(206, 92, "O-rings: two in each cap where there is room", size=SMALL)
    sheet.line((202, 92), (184, top + 12))
    sheet.part(222, 182, 116, 40, ("controller,", "sensors"))
    sheet.part(366, 182, 130, 40, ("pack, held fast", "and apart"))
    sheet.box(left - 48, 160, 24, 14)
    sheet.lines(10, 152, ("relief valve,", "opens outward"), size=SMALL)
    sheet.box(left - 48, 200, 24, 14)
    sheet.lines(10, 206, ("test port for", "the vacuum"), size=SMALL)
    sheet.box(250, 228, 40, 8)
    sheet.line((270, 236), (270, 280))
    sheet.text(206, 296, "leak probe: at the lowest point as it lies on the seabed", size=SMALL)
    sheet.part(366, 223, 130, 20, ("drying agent",))
    sheet.line((right + 24, 186), (700, 186))
    sheet.lines(596, 156, ("cables through", "potted plugs"), size=SMALL)
    sheet.arrow((60, 340), (10, 340))
    sheet.arrow((660, 340), (710, 340))
    sheet.text(360, 346, "nobody in line with a cap, a window or a port: they leave along this axis", "middle", SMALL)
    return sheet.svg()


def _sheet(title: str, description: str) -> Sheet:
    sheet = Sheet(WIDTH, title, description)
    sheet.text(10, 26, title, size=20, bold=True)
    sheet.text(10, 48, description, size=SMALL)
    return sheet


def _centred(sheet: Sheet, y: float, width: float, height: float, rows: tuple[str, ...]) -> None:
    sheet.part(MIDDLE - width / 2, y, width, height, rows)


def _pipe(sheet: Sheet, top: float, bottom: float) -> None:
    """Insulation round the wire."""
    sheet.box(MIDDLE - 6, top, 12, bottom - top)
