"""The table of the last check: each item is judged by one function of what was read, and by nothing else.

An item that is not as it must be says which part it is, what was found, and what was wanted. `ok` None: not judged,
because something else must be put right first; it is no better than a no. `final` is what no person may accept:

    the plan     another plan, or a damaged one, is another dive: nothing that was reckoned holds
    water        a leak, or a sign of water outside: the mission would begin on deck, or the housing is wet already
    releases     both circuits bad: nothing but the corroding link or the second board would bring it home
    state        it must be safe, or the rest was not measured on a lander at rest
    people       somebody is not clear of what moves
    arming       a lander that does not say that it is armed does not count time

Everything else a person on the spot may know better, with a reason that is written down with the name: a clock may be
set wrong on purpose, a firmware may be a newer one, and a lander with one release still has the other.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

from lander import VERSION, lamps, orders, signals, words
from lander.deck import AIR_MBAR_MAX, AIR_MBAR_MIN, SLOTS_TO_ARM
from lander.table import ARMED, SAFE, STATES
from seatrial.battery import Battery, resistance_factor
from seatrial.plan import Plan, planned_readings
from seatrial.plan.checks import EVENT_SLOTS
from seatrial.workings.card import mark_of
from seatrial.workings.moments import said
from seatrial.workings.whole import work_out
from tumblehome.bench.circuits import are_swapped
from tumblehome.deck.asking import BY_ITEM, CLEAR, STILL
from tumblehome.deck.reading import Read, is_of_a_dive, stands_still

SOUND, OPEN, SHORTED = 1, 2, 3  # of a release circuit, see drivers.trickle
CIRCUIT_WORDS = {0: "not known: its node did not move", SOUND: "sound", OPEN: "open", SHORTED: "shorted"}
TRICKLE_MV, TRICKLE_OHM, DIODE_MV = 3300, 330, 250  # drivers.trickle; a Schottky diode at 10 mA, common practice

# How far things may be off; our own choice where nothing else is named.
CLOCK_OFF_S = 2.0
CLOCK_UNSET_DAYS = 30  # it may have drifted, as the plan says, for so long since it was set
WEATHER_MBAR = 60  # the air pressure against the plan's: a deep low, a strong high
CHARGE_SHORT = 0.05  # less charge than planned, as a fraction of a full pack
RESISTANCE_TIMES = 1.4  # plugs and leads, and an older pack; more is a bad contact or a tired pack
LOAD_SHARE = 0.3  # of the planned current of the lamps: drivers and supply voltage differ so much
REST_SHARE = 0.5  # of the controller's planned current
SAME_SHARE = 0.25  # two currents that are wrong by the same factor have one cause: the sensor
LIT_SHARE = 0.1  # of the lamps' full current, over what the controller takes: they are lit
QUIET_MBAR = 1.0  # a sensor with less noise may stand still in whole mbar


@dataclass(frozen=True)
class Finding:
    """`ok` None: not judged. `found` is what was found; `wanted` the way out, or what it should be, where it is not."""

    ok: bool | None
    found: str
    wanted: str = ""
    final: bool = False


@dataclass(frozen=True)
class Item:
    """One line of the check. `key` is what `--accept` and `--answer` name, `part` the part of the lander in words."""

    key: str
    part: str
    judge: Callable[[Read], Finding]


def good(found: str) -> Finding:
    return Finding(True, found)


def bad(found: str, wanted: str, final: bool = False) -> Finding:
    return Finding(False, found, wanted, final)


def unknown(found: str, wanted: str) -> Finding:
    return Finding(None, found, wanted)


def refused(read: Read, verb: str) -> Finding:
    """The controller would not do what this item needs."""
    return unknown("not tested: %s" % read.refused.get(verb, "nothing was moved"),
                   "put right what stands above, then check again")


# --- the mission ------------------------------------------------------------------------------------------------------


def _state(read: Read) -> Finding:
    state = read.status.get("state", "")
    if state == STATES[SAFE]:
        return good("safe")
    return bad("it is %s" % (state or "not known"), "disarm it by the magnet or over the line, then check again", True)


def _plan(read: Read) -> Finding:
    wanted = read.plan.mission_record()
    if read.record is None:
        return bad("the plan on the board is damaged: no copy of it is whole", "load it: tumblehome bench load PLAN",
                   True)
    if read.record != wanted:
        return bad("another plan is on the board: %s" % _differences(read.record, wanted),
                   "load this one: tumblehome bench load PLAN", True)
    return good("the plan on the board is that of the file, %s" % mark_of(wanted))


def _differences(there: bytes, here: bytes) -> str:
    found, wanted = orders.unpack(there), orders.unpack(here)
    if not found.good:
        return "one that this firmware cannot read"
    names = [name for name in orders.NAMES if getattr(found, name) != getattr(wanted, name)]
    said_names = ["%s (%s) is %d there and %d here" % (name, words.ORDERS[name], getattr(found, name),
                                                       getattr(wanted, name)) for name in names[:2]]
    more = "; and %d more" % (len(names) - 2) if len(names) > 2 else ""
    return "; ".join(said_names) + more


def _plan_copies(read: Read) -> Finding:
    if read.plan_copies >= 2:
        return good("2 whole copies that agree")
    return bad("%d of 2 copies of the plan are whole" % read.plan_copies, "load it again: tumblehome bench load PLAN")


def _window(read: Read) -> Finding:
    """The splash as it is now going to be: does the plan still add up, above all the corroding link's window?"""
    plan = read.plan
    moved = splashed_at(plan, read)
    now, then = work_out(moved).faults, work_out(plan).faults
    new = [fault for fault in now if fault not in then]
    passive = plan.release.passive
    window = ""
    if passive.fitted and passive.earliest_h is not None and passive.latest_h is not None:
        window = "; the link may let go from %s to %s" % tuple(
            said(plan, read.splash + timedelta(hours=hours)) for hours in (passive.earliest_h, passive.latest_h))
    found = "splash %s, latest release %s%s" % (
        said(plan, read.splash), said(plan, read.splash + timedelta(minutes=plan.times.latest_release_min)), window)
    if new:
        return bad("%s: the plan does not add up any more: %s" % (found, new[0]),
                   "change the plan, or the splash (--splash)")
    return good(found)


def splashed_at(plan: Plan, read: Read) -> Plan:
    """The plan with the splash moved to when it is going to be."""
    return plan.model_copy(update={"dive": plan.dive.model_copy(update={"splash_utc": read.splash})})


# --- the controller ---------------------------------------------------------------------------------------------------


def _firmware(read: Read) -> Finding:
    version = read.greeting.get("lander", "none")
    if version != VERSION:
        return bad("the firmware is version %s%s" % (version, _which_files(read)),
                   "this tool has %s: flash it: tumblehome bench flash" % VERSION)
    if read.firmware_digest is None:
        return refused(read, "files")
    if read.firmware_expected is None:
        return unknown("the firmware is version %s; what its files must be cannot be said here: %s" % (
            version, read.firmware_unknown), "check where the tool itself is whole")
    if read.firmware_digest != read.firmware_expected:
        return bad("the firmware says version %s and has other files%s" % (version, _which_files(read)),
                   "flash it: tumblehome bench flash")
    return good("version %s, files %s as they must be" % (version, read.firmware_digest))


def _which_files(read: Read) -> str:
    names = read.firmware_differs
    if not names:
        return ""
    return ", other files: %s%s" % (", ".join(names[:3]), " and %d more" % (len(names) - 3) if len(names) > 3 else "")


def _pins(read: Read) -> Finding:
    faults = read.last["faults"]
    if faults:
        return bad("%d outputs of the controller refused" % faults, "look at the shift register and its cable")
    return good("every output took what it was told")


def _clock(read: Read) -> Finding:
    first, last = read.clocks[0], read.clocks[-1]
    if not read.plan.sensors.clock.set:
        return good("not needed: the plan says that it is not set")
    if not last.is_ok:
        return bad("the clock cannot be trusted: it was never set, or its crystal has stopped",
                   "set it: tumblehome bench clock --set; if it still says so, the clock chip, its cell or its crystal")
    passed_s = (last.utc - first.utc).total_seconds()
    gone_s = last.clock_s - first.clock_s
    if abs(gone_s - passed_s) > CLOCK_OFF_S + first.took_s + last.took_s + 0.05 * passed_s:
        return bad("the clock went on by %d s in %.0f s" % (gone_s, passed_s), "the clock chip or its crystal")
    drift_s = abs(read.plan.sensors.clock.drift_ppm) * 1e-6 * CLOCK_UNSET_DAYS * 86400
    allowed_s = CLOCK_OFF_S + drift_s + last.took_s
    ahead = "%+d s against this machine" % round(last.ahead_s)
    if abs(last.ahead_s) > allowed_s:
        return bad("the clock is off: %s" % ahead, "at most %.0f s: tumblehome bench clock --set, or look at this"
                   " machine's own clock" % allowed_s)
    return good("%s, %s" % (last.shown.strftime("%Y-%m-%d %H:%M:%SZ"), ahead))


def _journal_room(read: Read) -> Finding:
    slots, free = read.journal["slots"], read.journal["free"]
    needed = max(SLOTS_TO_ARM, planned_readings(read.plan) + EVENT_SLOTS)
    if not slots:
        return bad("there is no journal: its memory takes no write or could not be mounted",
                   "the flash: start it anew once; if it says so again, change the board")
    if free < needed:
        return bad("%d slots of the journal are free" % free,
                   "the dive needs %d: pull it and clear it: tumblehome bench journal" % needed)
    return good("%d slots of the journal are free, the dive needs %d" % (free, needed))


def _journal_empty(read: Read) -> Finding:
    used = read.journal["next"]
    if read.journal_states is not None and not is_of_a_dive(read.journal_states):
        return good("nothing of a dive in %d records" % used)
    if not used:
        return good("empty") if read.journal["slots"] else unknown("there is no journal", "see the journal's room")
    return bad("the journal has a dive in it, or more than a lander on deck writes: %d records" % used,
               "pull it and clear it: tumblehome bench journal")


def _journal_writes(read: Read) -> Finding:
    lost, boots = max(seen["store_lost"] for seen in read.rest), read.journal["newest"]
    if lost or boots < 0:
        return bad("the journal's memory takes no write: %d records were lost, %s" % (
            lost, "none is on it" if boots < 0 else "the newest is number %d" % boots),
            "the flash: start it anew once; if it says so again, change the board")
    if read.journal["bad"]:
        return bad("%d slots at the journal's end are bad" % read.journal["bad"], "pull it, clear it, and check again")
    return good("written since this start, nothing lost")


# --- the supply and its loads -----------------------------------------------------------------------------------------


def _current(read: Read) -> Finding:
    """The supply's current sensor: a wrong shunt makes all currents wrong by one factor."""
    if not read.last["current_ok"]:
        return bad("the supply's current cannot be read", "the current sensor of the supply (INA226) and its cable")
    rest_ma = read.mean("supply_ma")
    factor = sensor_factor(read)
    if factor is not None:
        return bad("the supply's current sensor reads %.1f times what is planned, at rest (%.0f mA) and with the lamps"
                   " (%.0f mA)" % (factor, rest_ma, _drawn_ma(read)),
                   "its shunt is another one than boards/fitted.py says, or it is wired wrong")
    return good("%.0f mA at rest, %.0f planned" % (rest_ma, read.plan.power.controller_ma))


def sensor_factor(read: Read) -> float | None:
    """By how much the sensor of the current is wrong, where rest and lamps are wrong alike; None where it is not."""
    if not _lamps_were_measured(read) or is_lit(read):
        return None
    factor, at_rest = _drawn_ma(read) / _planned_ma(read), read.mean("supply_ma") / read.plan.power.controller_ma
    if abs(factor - 1) <= LOAD_SHARE or abs(at_rest / factor - 1) > SAME_SHARE:
        return None
    return factor


def _lamps_were_measured(read: Read) -> bool:
    lights = read.lights
    return lights is not None and lights["rest_ma"] >= 0 and lights["supply_ma"] > 0 and _planned_ma(read) > 0


def _drawn_ma(read: Read) -> float:
    """What the lamps drew."""
    return float(read.lights["supply_ma"] - read.lights["rest_ma"]) if read.lights else 0.0


def _planned_ma(read: Read) -> float:
    """What the plan says that they draw at this level."""
    return read.plan.lights.current_ma * read.lights_pct / 100


def is_lit(read: Read) -> bool:
    """At rest more flows than the controller takes and the lamps are the likely cause."""
    plan = read.plan
    over_ma = read.mean("supply_ma") - (1 + REST_SHARE) * plan.power.controller_ma
    return over_ma > LIT_SHARE * plan.lights.current_ma


def _lamp_off(read: Read) -> Finding:
    rest_ma, plan = read.mean("supply_ma"), read.plan
    if read.last["lights_pct"]:
        return bad("the lamps are told to be on at %d %%" % read.last["lights_pct"], "start the controller anew")
    if not read.last["current_ok"]:
        return unknown("not told: the supply's current cannot be read", "see the supply's current")
    if is_lit(read):
        return bad("a lamp is lit though all outputs are off: the pack gives %.0f mA, the controller alone takes %.0f"
                   " and the lamps %.0f at full" % (rest_ma, plan.power.controller_ma, plan.lights.current_ma),
                   "the switch of the lamps, or another load that is always on; look at the lamps, not into them")
    return good("off: %.0f mA flow in all" % rest_ma)


def _lights(read: Read) -> Finding:
    plan = read.plan
    if not plan.lights.level_pct:
        return good("the plan lights none")
    if read.lights is None:
        return refused(read, "poke")
    if not _lamps_were_measured(read) or sensor_factor(read) is not None or is_lit(read):
        return unknown("not told: the current cannot be trusted, or a lamp is lit", "see current and lamp-off")
    planned_ma, drawn_ma = _planned_ma(read), _drawn_ma(read)
    if abs(drawn_ma - planned_ma) > LOAD_SHARE * planned_ma:
        return bad("the lamps drew %.0f mA at %d %%" % (drawn_ma, read.lights_pct),
                   "%.0f planned: lamps, their switch and cable, or the sensor of the current" % planned_ma)
    return good("%.0f mA at %d %%, %.0f planned" % (drawn_ma, read.lights_pct, planned_ma))


def _battery(read: Read) -> Finding:
    if not read.last["supply_ok"]:
        return bad("the battery's voltage cannot be read", "the sensor of the supply (INA226) and its cable")
    plan, rest_mv = read.plan, read.mean("supply_mv")
    temperature_c = _pack_c(read)
    least_mv = _rest_mv(plan, plan.power.charge_at_start_fraction - CHARGE_SHORT, temperature_c)
    full_mv = _rest_mv(plan, 1.0, temperature_c) * 1.02
    planned_mv = _rest_mv(plan, plan.power.charge_at_start_fraction, temperature_c)
    if rest_mv < least_mv:
        return bad("the battery rests at %.2f V" % (rest_mv / 1000),
                   "at least %.2f V, %.2f planned for %.0f %%: charge it, or plan with less" % (
                       least_mv / 1000, planned_mv / 1000, 100 * plan.power.charge_at_start_fraction))
    if rest_mv > full_mv:
        return bad("the battery rests at %.2f V, more than %d full cells have" % (
            rest_mv / 1000, plan.power.cells_in_series), "the sensor of the supply, or another pack than planned")
    return good("%.2f V at rest, %.2f planned" % (rest_mv / 1000, planned_mv / 1000))


def _rest_mv(plan: Plan, charge: float, temperature_c: float) -> float:
    """The voltage with only the controller on, by the pack that the simulated dives have."""
    power = plan.power.model_copy(update={"charge_at_start_fraction": max(0.0, charge)})
    return Battery(power).supply_mv(plan.power.controller_ma, temperature_c)


def _pack_c(read: Read) -> float:
    if read.last["housing_temp_ok"]:
        return read.last["housing_centi_c"] / 100
    return read.plan.site.air_temperature_c


def _resistance(read: Read) -> Finding:
    """Ohm's law: how far the pack's voltage goes down under the lamps."""
    if read.lights is None:
        return refused(read, "poke")
    plan, load_ma = read.plan, _drawn_ma(read)
    sag_mv = read.mean("supply_mv") - read.lights["supply_mv"]
    is_known = read.last["supply_ok"] and read.lights["supply_mv"] > 0 and _lamps_were_measured(read)
    if not is_known or sensor_factor(read) is not None or load_ma < (1 - LOAD_SHARE) * _planned_ma(read):
        return unknown("not told: the lamps drew too little, or nothing can be read", "see battery, current and lights")
    planned_mohm = plan.power.resistance_mohm * resistance_factor(plan.power, _pack_c(read))
    sensor = plan.sensors.supply
    doubt_mohm = (3 * sensor.noise_mv + 2 * sensor.resolution_mv) / load_ma * 1000  # the lowest of many readings
    mohm, most_mohm = sag_mv / load_ma * 1000, planned_mohm * RESISTANCE_TIMES + doubt_mohm
    found = "%.0f mV less under %.0f mA: %.0f mΩ" % (sag_mv, load_ma, mohm)
    if mohm > most_mohm:
        return bad("the battery sags: %s" % found, "at most %.0f mΩ, %.0f planned: a tired or cold pack, or a bad"
                   " contact" % (most_mohm, planned_mohm))
    return good("%s, %.0f planned" % (found, planned_mohm))


# --- releases ---------------------------------------------------------------------------------------------------------


def _release(channel: str, other: str, read: Read) -> Finding:
    found = read.circuits
    if found is None:
        return refused(read, "circuits")
    verdict, node_mv = found[channel], found[channel + "_mv"]
    if verdict == SOUND:
        return good("sound, its node at %d mV in the test" % node_mv)
    both = found[other] != SOUND
    wanted = "plug, cable and mechanism of the %s release" % channel
    if channel == "primary" and verdict == OPEN and read.plan.release.primary.kind == "wire":
        wanted = "a dry wire is open: is the test plug on? Else " + wanted
    said_verdict = "the %s release circuit is %s" % (channel, CIRCUIT_WORDS.get(verdict, "not known"))
    if channel == "primary" and verdict == SHORTED:
        said_verdict += ", %s" % _ohm_words(node_mv)
        if are_swapped(verdict, node_mv):
            said_verdict += ", as a motor's winding is and no wire"
            wanted = "primary and backup have been swapped: put each release into its own terminals"
    if both:
        wanted = "both releases are bad; " + wanted
    return bad(said_verdict, wanted, both)


def _ohm_words(node_mv: int) -> str:
    """Ohm's law behind the resistor of the trickle and its diode."""
    left_mv = TRICKLE_MV - DIODE_MV - node_mv
    return "about %.0f Ohm" % (TRICKLE_OHM * node_mv / left_mv) if left_mv > 0 else "more than can be told"


def _primary(read: Read) -> Finding:
    return _release("primary", "backup", read)


def _backup(read: Read) -> Finding:
    return _release("backup", "primary", read)


# --- sensors ----------------------------------------------------------------------------------------------------------


def _leak(read: Read) -> Finding:
    if not all(seen["leak_ok"] for seen in read.rest):
        return bad("the leak probe cannot be read", "its cable and end resistor")
    if any(seen["leak_wet"] for seen in read.rest):
        return bad("the leak probe says water inside", "do not launch; a wet housing may hold pressure: face and hands"
                   " off the caps. If it is dry, the probe or its cable conducts", True)
    return good("dry")


def _contact(read: Read) -> Finding:
    if not all(seen["contact_ok"] for seen in read.rest):
        return bad("the wet contact cannot be read", "its cable and end resistor")
    if any(seen["contact_wet"] for seen in read.rest):
        return bad("the wet contact says water", "dry it, and rinse off salt; if it stays wet, its cable", True)
    return good("dry")


def _pressure(read: Read) -> Finding:
    if not all(seen["pressure_ok"] for seen in read.rest):
        return bad("the pressure sensor cannot be read", "the sensor, its converter and cable")
    mbar, planned_mbar = read.mean("pressure_mbar"), read.plan.site.air_pressure_hpa
    submerged_mbar = read.plan.thresholds.submerged_m * 100
    if mbar - planned_mbar > max(submerged_mbar, WEATHER_MBAR):
        return bad("the pressure sensor says water: %.0f mbar" % mbar, "%.0f planned in air: the sensor is loaded, or"
                   " off by so much" % planned_mbar, True)
    if abs(mbar - planned_mbar) > WEATHER_MBAR or not AIR_MBAR_MIN <= mbar <= AIR_MBAR_MAX:
        return bad("the pressure sensor reads %.0f mbar" % mbar, "%.0f planned in air, give or take %d: compare with a"
                   " barometer" % (planned_mbar, WEATHER_MBAR))
    return good("%.0f mbar, %.0f planned in air" % (mbar, planned_mbar))


def may_stand_still(plan: Plan) -> bool:
    """A sensor with so little noise may show the same whole mbar for long."""
    return plan.sensors.pressure.noise_mbar < QUIET_MBAR


def _pressure_moves(read: Read) -> Finding:
    looks = len(read.rest)
    if not stands_still(read):
        values = [seen["pressure_mbar"] for seen in read.rest]
        return good("it moves as a sensor does: %d to %d mbar in %d readings" % (min(values), max(values), looks))
    found = "the pressure stands still at %d mbar in %d readings" % (read.last["pressure_mbar"], looks)
    if may_stand_still(read.plan):
        return _answered(STILL, read, found)
    return bad("%s: the sensor is frozen" % found, "its noise is %g mbar in the plan: the sensor, its converter or its"
               " supply" % read.plan.sensors.pressure.noise_mbar)


THERMOMETERS = {"camera_temp_ok": "camera", "housing_temp_ok": "housing", "water_temp_ok": "water"}


def _thermometers(read: Read) -> Finding:
    silent = [where for name, where in THERMOMETERS.items() if not read.last[name]]
    if silent:
        return bad("no temperature of: %s" % ", ".join(silent), "the thermometer and its cable; boards/fitted.py has"
                   " the codes of those on one wire")
    return good("camera %.1f, housing %.1f, water %.1f degC" % tuple(
        read.last[name] / 100 for name in ("camera_centi_c", "housing_centi_c", "water_centi_c")))


# --- what the person was asked ----------------------------------------------------------------------------------------


def _answered(item: str, read: Read, found: str = "") -> Finding:
    asked = BY_ITEM[item].asks(read.plan)
    if asked is None:
        return good("nothing to ask by this plan")
    answer, is_final = read.answers.get(item), item == CLEAR
    lead = "%s. " % found if found else ""
    if answer:
        return good("%s%s Yes" % (lead, asked))
    if answer is None:
        return Finding(None, "%s%s Not answered" % (lead, asked),
                       "answer it at the terminal, or with --answer %s=yes" % item, is_final)
    return bad("%s%s No" % (lead, asked), "put it right first", is_final)


def question(item: str) -> Callable[[Read], Finding]:
    """An item that only the person can judge."""
    return lambda read: _answered(item, read)


def question_after(item: str) -> Callable[[Read], Finding]:
    """The same of an armed lander."""
    def judge(read: Read) -> Finding:
        if read.armed is None or read.armed["state"] != STATES[ARMED]:
            return unknown("asked once it is armed", "see arming")
        return _answered(item, read)
    return judge


# --- after arming -----------------------------------------------------------------------------------------------------

# Which item a refusal of the mission speaks of.
ITEM_OF_REFUSAL = {
    signals.BAD_PLAN: "plan", signals.WATER_INSIDE: "leak", signals.NO_BATTERY: "battery",
    signals.NO_PRESSURE: "pressure", signals.NO_CONTACT: "contact", signals.NO_ROOM: "journal-room",
    signals.SIGN_OF_WATER: "contact", signals.NO_LEAK_PROBE: "leak", signals.NO_CLOCK: "clock",
    signals.NO_TEMPERATURE: "thermometers", signals.NO_CURRENT: "current", signals.NO_RELEASE_CURRENT: "current",
    signals.NO_FEEDBACK: "camera", signals.PLAN_COPIES: "plan-copies", signals.PRIMARY_OPEN: "release-primary",
    signals.PRIMARY_SHORTED: "release-primary", signals.BACKUP_OPEN: "release-backup",
    signals.BACKUP_SHORTED: "release-backup", signals.STORE_FAILED: "journal-writes", signals.NO_RECORDING: "camera",
    signals.CAMERA_STAYS_ON: "camera", signals.CAMERA_HOT: "camera", signals.LIGHTS_WRONG: "lights",
}


def _camera(read: Read) -> Finding:
    if not read.plan.self_test.camera:
        return _answered("camera", read)
    armed = read.armed
    if armed is None:
        return unknown("not tested yet: the self-test in arming starts it, and arming begins when all else is go",
                       "put the rest right, then check again")
    refusal = armed["refusal"]
    if refusal and ITEM_OF_REFUSAL.get(refusal) == "camera":
        return bad("the camera failed in the self-test: %s" % words.REFUSALS[refusal],
                   "the camera, its supply, its buttons and its cable; try it by hand")
    if armed["passed"] & orders.TEST_CAMERA:
        return good("started, %s, and was put off again" % (
            "ran for its time" if read.plan.camera.feedback == "none" else "was seen to record"))
    return unknown("the self-test did not come to the camera: %s" % words.REFUSALS[refusal],
                   "put that right; or try the camera by hand, and accept it")


def _arming(read: Read) -> Finding:
    armed = read.armed
    if armed is None:
        return unknown("not armed: something else is no go", "put it right, then check again")
    if armed["said"]:
        return bad("arming was refused: %s" % armed["said"], "check again", True)
    if armed["refusal"] and armed["state"] != STATES[ARMED]:
        item = ITEM_OF_REFUSAL.get(armed["refusal"], "arming")
        return bad("arming was refused: %s" % words.REFUSALS[armed["refusal"]], "see %s" % item, True)
    if armed["state"] != STATES[ARMED]:
        return bad("it is %s and not armed" % armed["state"], "check again", True)
    if armed["status_code"] != lamps.ARMED_ON_DECK:
        return bad("it is armed and shows lamp pattern %d, not that of armed" % armed["status_code"], "check again",
                   True)
    return good("armed%s, at %s" % (" past a failed check" if armed["anyway"] else "", armed["utc"]))


ITEMS = tuple(Item(*row) for row in (
    ("state", "mission", _state),
    (CLEAR, "people", question(CLEAR)),
    ("plan", "plan on the board", _plan),
    ("plan-copies", "copies of the plan", _plan_copies),
    ("card", "deck card", question("card")),
    ("splash", "splash and corroding link", _window),
    ("firmware", "firmware", _firmware),
    ("pins", "outputs", _pins),
    ("leak", "leak probe", _leak),
    ("contact", "wet contact", _contact),
    ("pressure", "pressure sensor", _pressure),
    (STILL, "pressure sensor, moving", _pressure_moves),
    ("thermometers", "thermometers", _thermometers),
    ("clock", "clock", _clock),
    ("battery", "battery at rest", _battery),
    ("resistance", "battery under load", _resistance),
    ("current", "current sensor of the supply", _current),
    ("lamp-off", "lamps off", _lamp_off),
    ("lights", "lamps on", _lights),
    ("release-primary", "primary release", _primary),
    ("release-backup", "backup release", _backup),
    ("journal-room", "journal, room", _journal_room),
    ("journal-empty", "journal, empty", _journal_empty),
    ("journal-writes", "journal, writing", _journal_writes),
    ("footage", "camera's card", question("footage")),
    ("link", "corroding link", question("link")),
    ("line", "lines", question("line")),
    ("second", "second board", question("second")),
    ("camera", "camera", _camera),
    ("arming", "arming", _arming),
    ("status-lamp", "status lamp", question_after("status-lamp")),
    ("plug", "test plug", question_after("plug")),
))
WITH_ARMING = ("camera", "arming", "status-lamp", "plug")  # judged when it has been asked to arm
KEYS = tuple(item.key for item in ITEMS)
