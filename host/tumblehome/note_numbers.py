"""The numbers that the hardware notes tell of the firmware and of the handbook, each read where it is made.

`NUMBERS` stand within a sentence, one word each; the functions below make whole tables. `tumblehome.documents` puts
them into the notes, so that a note cannot say another number than the code has.
"""

import re
from functools import lru_cache

import gsw

import deadman
from lander import camera, deck, drive, lamps, release, selftest, sleep
from seatrial.faults import KINDS, parse
from seatrial.handbook import chamber, corrosion
from seatrial.handbook.convection import ATMOSPHERE_PA
from seatrial.handbook.materials import MATERIALS
from seatrial.miswirings import MISWIRINGS
from seatrial.plan import Plan, load_sample
from seatrial.plan.sections import Wire
from seatrial.possible import ways_home
from seatrial.water import WaterColumn
from tumblehome import board_tables
from tumblehome.tables import told_ways

FULL_MV = 3300  # what a pin gives and what a converter takes at the most
MPA_PER_DBAR = 0.01
LATITUDE_DEG = 45.0  # between equator and poles the pressure at a depth differs by half a percent
CAP_MM = 100.0
DEPTHS_M = (10, 100, 500, 1000, 3000)
SALINITY_G_KG, COOL_C = 35.16504, 10.0  # reference composition of TEOS-10; water of many sites
BALLASTS = ("steel", "cast_iron", "stainless_steel", "lead", "granite", "concrete", "brick")
WIRES_MM = (0.4, 0.6, 0.8, 1.0, 1.2)
SOAKED_C, COLDER_C, SALT_PSU = 20.0, (15.0, 10.0, 4.0, 0.0), 35.0
RELEASE_FAULTS = ("jammed", "bad-circuit", "slow-release", "load-resets", "attempt-resets", "ballast-hangs", "deep-mud",
                  "link-early", "link-late", "link-never")
ENERGY_FAULTS = ("cell-gone", "old-battery", "weak-supply", "power-gone", "main-dead", "second-dead", "second-reset")


def _of(path: str) -> dict:
    return board_tables.constants(board_tables.FIRMWARE / (path + ".py"))


CIRCUITS, TRICKLE, PROBE, LATCH = (_of("drivers/" + name) for name in ("circuits", "trickle", "probe", "latch"))
LAMP, MS58XX, GEAR, FLIGHT, STOCK = (_of(name) for name in (
    "drivers/lamp", "drivers/ms58xx", "boards/gear", "boards/flight", "boards/stock"))
FITTED = board_tables.fitted()
SIGNALS = {board: {one.name: one for one in board_tables.signals(board)} for board in ("pico", "second")}


def _s(seconds: float) -> str:
    return "%g s" % seconds if seconds < 60 or seconds % 60 else "%g min" % (seconds / 60)


def _hz(hertz: int) -> str:
    return "%g kHz" % (hertz / 1000) if hertz >= 1000 else "%d Hz" % hertz


def _ohms(board: str, signal: str) -> list[int]:
    """Every resistor that the words of a signal name, Ohm."""
    return [int(ohm) for ohm in re.findall(r"(\d+) Ohm", SIGNALS[board][signal].what)]


def _resistor(board: str, signal: str, way: str) -> str:
    """The value of the resistor of a signal that goes this way: "to ground", "to 3.3 V" or "in series"."""
    found = re.search(r"([\d.]+ [kM]?Ohm) " + way, SIGNALS[board][signal].resistor)
    if not found:
        raise KeyError("%s of %s has no resistor %s" % (signal, board, way))
    return found[1]


TRICKLE_OHM = _ohms("pico", "primary_trickle")[0]
MOTOR_BACK_OHM = _ohms("pico", "backup_trickle")[1]


def _trickle_ma(ohm: int) -> str:
    return "%.0f mA" % (FULL_MV / (TRICKLE_OHM + ohm))


def _reach_m(chip: str) -> str:
    """The depth at which a pressure chip comes to the end of its range, to ten metres."""
    highest_mbar = MS58XX["VARIANTS"][chip][3]
    sea_dbar = highest_mbar / 100 - ATMOSPHERE_PA / 10000
    return "%d m" % (round(-gsw.z_from_p(sea_dbar, LATITUDE_DEG) / 10) * 10)


_motor = LATCH["KINDS"][FITTED["BACKUP_KIND"]]
NUMBERS: dict[str, str] = {
    # releases
    "told": _s(CIRCUITS["TOLD_MS"] / 1000), "ready_within": _s(deck.READY_DS / 10),
    "bench_fire": _s(deck.BENCH_FIRE_DS / 10), "drives": ", ".join("%d %%" % one for one in release.DRIVES_PCT),
    "fire_pwm": _hz(GEAR["FIRE_HZ"]),
    "release_full": "%d mA" % FITTED["RELEASE_FULL_MA"], "trickle_ohm": "%d Ohm" % TRICKLE_OHM,
    "motor_back": "%d Ohm" % MOTOR_BACK_OHM, "trickle_short": _trickle_ma(0), "trickle_plug": _trickle_ma(TRICKLE_OHM),
    "trickle_motor": _trickle_ma(MOTOR_BACK_OHM), "trickle_longest": _s(TRICKLE["TEST_MS_MAX"] / 1000),
    "open_below": "%d mA" % FITTED["TRICKLE_OPEN_BELOW_MA"],
    "motor_short_above": "%d mA" % FITTED["MOTOR_SHORT_ABOVE_MA"],
    "stroke": _s(_motor[2] / 1000), "stroke_most": _s((_motor[2] + _motor[3]) / 1000),
    "pull_down": _resistor("pico", "primary_fire", "to ground"),
    # probes, camera, lamps
    "probe_age": _s(PROBE["AGE_MS"] / 1000), "supply_up": _s(camera.SUPPLY_UP_DS / 10),
    "presses": str(camera.PRESSES), "camera_wait": _s(camera.WAIT_DS / 10),
    "camera_wait_most": _s(camera.WAIT_MAX_DS / 10), "shine_pct": "%d %%" % selftest.SHINE_PCT,
    "shine": _s(selftest.SHINE_DS / 10), "lights_deep": "%g m" % (drive.LIGHTS_DEEP_CM / 100),
    "lights_alone": "%g m" % (drive.LIGHTS_ALONE_CM / 100), "lights_pwm": _hz(GEAR["LIGHTS_HZ"]),
    "lights_rise": _s(LAMP["RISE_MS"] / 1000), "beacon_from": "%g m" % (drive.BEACON_FROM_CM / 100),
    "flicker": "%.0f flashes a second" % (1000 / sum(lamps.STATUS[lamps.FIRING])),
    "thermometer_age": _s(GEAR["THERMOMETERS_FRESH_MS"] / 1000), "sparing": _s(drive.SPARING_DS / 10),
    # boards
    "watchdog": _s(board_tables.in_class("stock", "StockBoard", "watchdog_ms") / 1000),
    "longest_step": _s(FLIGHT["LONGEST_MS"] / 1000), "deck_step": _s(sleep.DECK_WAKE_DS / 10),
    "i2c": _hz(STOCK["I2C_HZ"]), "baud": "%d baud" % STOCK["SURFACE_BAUD"],
    "air_mbar": "%d to %d mbar" % (deck.AIR_MBAR_MIN, deck.AIR_MBAR_MAX),
    "supply_shunt": "%g mOhm" % (FITTED["SUPPLY_SHUNT_MICRO_OHM"] / 1000),
    "camera_shunt": "%g mOhm" % (FITTED["CAMERA_SHUNT_MICRO_OHM"] / 1000),
    "reach_30ba": _reach_m("MS5837-30BA"), "reach_14ba": _reach_m("MS5803-14BA"),
    # water that the tables of this module are made for
    "ballast_c": "%g degC" % COOL_C, "soaked_c": "%g degC" % SOAKED_C,
    # second board
    "second_margin": _s(deadman.MARGIN_DS / 10),
    "heartbeat_series": _resistor("second", "heartbeat", "in series"),
    "heartbeat_down": _resistor("second", "heartbeat", "to ground"),
}


def probe_limits() -> list[tuple]:
    """Probe, series resistor, wet below, end resistor between, broken above."""
    return [(name, _ohm(series), _ohm(wet), "%s and %s" % (_ohm(dry), _ohm(broken)), _ohm(broken))
            for name, (series, wet, dry, broken) in (("leak probe", FITTED["LEAK_OHM"]),
                                                     ("wet contact", FITTED["CONTACT_OHM"]))]


def _ohm(ohm: int) -> str:
    return "%g MOhm" % (ohm / 1000000) if ohm >= 1000000 else "%g kOhm" % (ohm / 1000)


def _wire() -> Wire:
    """The burn wire of the sample. Raises TypeError where its primary release is none."""
    channel = load_sample().release.primary
    if not isinstance(channel, Wire):
        raise TypeError("the primary release of the sample is a %s; the notes tell of a wire" % channel.kind)
    return channel


def wire_times() -> list[tuple]:
    """Diameter mm, shortest and longest time s in which the sample's wire would part: its other numbers as planned."""
    wire = _wire()
    times = [(diameter_mm, corrosion.wire_parting_range_s(
        diameter_mm, wire.wire_length_mm, wire.current_ma, wire.wire_density_kg_m3, wire.efficiency_fraction))
        for diameter_mm in WIRES_MM]
    return [("%g" % diameter_mm, "%.0f" % shortest_s, "%.0f" % longest_s)
            for diameter_mm, (shortest_s, longest_s) in times]


def wire_assumed() -> str:
    wire = _wire()
    return "%g mm bare, %g mA, efficiency %g" % (wire.wire_length_mm, wire.current_ma, wire.efficiency_fraction)


def equivalent_weights() -> str:
    return ", ".join("%.2f (%s)" % (weight, valences) for valences, weight in corrosion.EQUIVALENT_WEIGHTS_304.items())


def link_lives() -> list[tuple]:
    """Water degC, and how many times as long as in the warm soak a link may last there: least and most."""
    lives = [(at_c, corrosion.galvanic_rate_bounds(SOAKED_C, at_c, SALT_PSU)) for at_c in COLDER_C]
    return [("%g" % at_c, "%.1f" % (1 / fastest), "%.1f" % (1 / slowest)) for at_c, (slowest, fastest) in lives]


def ballast_weights() -> list[tuple]:
    """Material, density, and what 1 kg of it in air weighs in sea water, least and most."""
    water_kg_m3 = float(gsw.rho(SALINITY_G_KG, COOL_C, 0.0))
    return [(name, "%g to %g" % (one.low_kg_m3, one.high_kg_m3), "%.2f" % (1 - water_kg_m3 / one.low_kg_m3),
             "%.2f" % (1 - water_kg_m3 / one.high_kg_m3))
            for name, one in ((name, MATERIALS[name]) for name in BALLASTS)]


def pressures() -> list[tuple]:
    """Depth m, gauge pressure MPa, load on a cap kN, work in a litre of gas at that pressure kJ.

    Depth to pressure: TEOS-10 (gsw), standard ocean.
    """
    found = []
    for depth_m in DEPTHS_M:
        gauge_mpa = MPA_PER_DBAR * float(gsw.p_from_z(-depth_m, LATITUDE_DEG))
        found.append((depth_m, "%.1f" % gauge_mpa, "%.1f" % (chamber.cap_load_n(gauge_mpa, CAP_MM) / 1000),
                      "%.1f" % (chamber.gas_work_j(gauge_mpa, 1.0) / 1000)))
    return found


def chamber_numbers() -> list[tuple]:
    """What, number, source: as `seatrial.handbook.chamber` has them."""
    (shallow_mpa, shallow), (deeper_mpa, deeper) = chamber.SHALLOW_FACTORS
    crewed = "rules for crewed craft (ABS), second-hand; for a housing without people there is no rule"
    own = "common practice, no source"
    return [
        ("proof pressure of the hull, by working pressure", "%g" % chamber.HULL_PROOF_FACTOR, crewed),
        ("the same in shallow water", "%g at %g MPa, %g at %g MPa" % (shallow, shallow_mpa, deeper, deeper_mpa),
         "older rules of Germanischer Lloyd, second-hand"),
        ("cycles", chamber.HULL_CYCLES, crewed),
        ("window, by its design pressure", "%g, held %g to %g h" % (
            chamber.WINDOW_TEST_FACTOR, *(minutes / 60 for minutes in chamber.WINDOW_HOLD_MIN)),
         "Lloyd's Register citing ASME PVHO-1"),
        ("window, never above, by its design pressure", "%g, and %g MPa" % (
            chamber.WINDOW_CAP_FACTOR, chamber.WINDOW_CAP_MPA), "the same"),
        ("first look for leaks", "%g MPa for %g min" % (chamber.FIRST_MPA, chamber.SHORT_HOLD_MIN), own),
        ("rise and fall", "%g MPa/min" % chamber.RATE_MPA_PER_MIN, own),
    ]


def release_faults() -> list[tuple]:
    return _faults(RELEASE_FAULTS)


def energy_faults() -> list[tuple]:
    return _faults(ENERGY_FAULTS)


@lru_cache(maxsize=1)
def _sample() -> tuple[Plan, WaterColumn]:
    plan = load_sample()
    return plan, WaterColumn(plan.site)


def miswirings() -> list[tuple]:
    """Name of a board that was built wrong, for practice, and what is wrong with it."""
    return [("`%s`" % name, wrong.words) for name, wrong in MISWIRINGS.items()]


def _faults(names: tuple[str, ...]) -> list[tuple]:
    """Name of a fault, what it is, what it does to the lander, and which release of the sample works meanwhile."""
    plan, water = _sample()
    return [("`%s`" % name, KINDS[name].what, KINDS[name].to_the_lander,
             told_ways(ways_home(plan, [parse(name)], water))) for name in names]
