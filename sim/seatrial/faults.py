"""What the sea does: the faults that can be put into a dive, as a table.

A fault has a name, parameters with their bounds, an onset and a duration. On the command line it is written
`NAME:key=value,key=value@WHEN`; a bare `NAME` begins with the run. `for_s` ends any fault after so many seconds.

    WHEN   start, splash, touchdown, attempt, freed, afloat         an event (its first occurrence)
           descend, record, release, backup, ascend, surface        a mission state (its first occurrence)
           200m                                                     this depth, first time on the way down
           45min, 90s, 2h                                           this long after the splash
           record+10min, splash+30s                                 this long after an event or state

What may break and how much: any number of faults at once, each any time. Out of scope here: the physics itself, the
plan, and a controller that runs other code than ours. `begin` of a fault changes the world or the dive and returns
what undoes it; `prepare` changes the site before the dive is built.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from difflib import get_close_matches

from lander.table import STATES

FOREVER_S = 0.0
EVENTS = ("start", "splash", "touchdown", "attempt", "freed", "afloat")
TIME_UNITS_S = {"s": 1.0, "min": 60.0, "h": 3600.0}
CHANNEL_NAMES = ("primary", "backup", "both")


class FaultError(Exception):
    """A fault that is written wrong; the sentence names the part, the value and what is allowed."""


@dataclass(frozen=True)
class Parameter:
    """A number of a fault with its bounds, or, with `choices`, a word."""

    default: float | str
    lowest: float = 0.0
    highest: float = 0.0
    meaning: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class FaultKind:
    name: str
    group: str
    what: str
    begin: Callable
    parameters: dict[str, Parameter] = field(default_factory=dict)
    prepare: Callable | None = None


def plain(number: float) -> str:
    """The shortest decimal form that reads back as the same number, without an exponent."""
    return format(Decimal(repr(number)), "f").removesuffix(".0")


@dataclass(frozen=True)
class When:
    """The onset: an event, a state, a depth or the splash, and seconds after it."""

    word: str = "start"
    depth_m: float = 0.0
    after_s: float = 0.0

    def __str__(self) -> str:
        if self.word == "depth":
            return "%sm" % plain(self.depth_m)
        return self.word + ("+%ss" % plain(self.after_s) if self.after_s else "")


@dataclass(frozen=True)
class Fault:
    """One fault of a scenario. `str(fault)` is how it is written on the command line."""

    kind: FaultKind
    values: dict[str, float | str]
    when: When = When()

    @property
    def name(self) -> str:
        return self.kind.name

    @property
    def for_s(self) -> float:
        return float(self.values["for_s"])

    def __str__(self) -> str:
        given = ["%s=%s" % (key, value if isinstance(value, str) else plain(value))
                 for key, value in self.values.items() if value != _default(self.kind, key)]
        at = "" if self.when == When() else "@%s" % self.when
        return self.name + (":" + ",".join(given) if given else "") + at

    def sentence(self) -> str:
        shown = ", ".join("%s %s" % (key, value if isinstance(value, str) else "%g" % value)
                          for key, value in self.values.items() if key != "for_s")
        return self.kind.what + (" (%s)" % shown if shown else "")


# --- what each does ------------------------------------------------------------------------------------------------


def _mechanisms(dive, channel: str):
    world = dive.world
    return {"primary": (world.primary,), "backup": (world.backup,), "both": (world.primary, world.backup)}[channel]


def _set(target, name: str, value):
    """Set an attribute and return what puts it back."""
    before = getattr(target, name)
    setattr(target, name, value)
    return lambda: setattr(target, name, before)


def _all(undos):
    undos = list(undos)

    def undo() -> None:
        for one in reversed(undos):
            one()
    return undo


def _jam(dive, values):
    return _all(_set(one, "jammed", True) for one in _mechanisms(dive, values["channel"]))


def _break_circuit(dive, values):
    return _all(_set(one, "circuit", values["how"]) for one in _mechanisms(dive, values["channel"]))


def _slow_wire(dive, values):
    return _all(_set(one, "rate_factor", values["rate"]) for one in _mechanisms(dive, values["channel"]))


def _hang_ballast(dive, values):
    hull = dive.world.hull

    def undo() -> None:
        dive.world.ballast_sticks = 0.0
        if dive.world.freed_by:
            hull.ballast_left = 0.0
    dive.world.ballast_sticks = values["part"]
    return undo


def _corrode(dive, values):
    dive.world.link.advance(max(0.0, dive.world.link.seconds_to_open() - values["after_min"] * 60.0))


def _sag(dive, values):
    return _set(dive.world.battery, "extra_mohm", dive.world.battery.extra_mohm + values["mohm"])


def _lose_cells(dive, values):
    return _set(dive.world.battery, "cells_gone", int(values["cells"]))


def _age_battery(dive, values):
    return _set(dive.world.battery, "capacity_factor", values["left"])


def _cut_power(dive, values):
    return _set(dive.world.battery, "connected", False)


def _reset_once(dive, values):
    dive.reset("reset", cause=0)


def _reset_in_attempts(dive, values):
    """The drive's own spike pulls the controller down, whatever the battery could do."""
    return _set(dive, "attempt_resets", (values["channel"], values["after_s"]))


def _hang(dive, values):
    dive.hang(values["watchdog_s"])


def _kill_main(dive, values):
    """The second board, where there is one, has its own battery and goes on."""
    undo = _set(dive, "main_dead", True)
    dive.reset("the main controller is dead", cause=0)
    return undo


def _tear_record(dive, values):
    store = dive.world_store
    store.cut_at = store.writes + 1
    store.cut_bytes = int(values["bytes"])


def _refuse_writes(dive, values):
    return _set(dive.world_store, "refuses", True)


def _lose_clock(dive, values):
    return _set(dive.world.clock, "ok", False)


def _jump_clock(dive, values):
    return _set(dive.world.clock, "jump_s", int(values["by_s"]))


def _freeze_pressure(dive, values):
    return _set(dive.world.pressure, "frozen", True)


def _lose_pressure(dive, values):
    return _set(dive.world.pressure, "absent", True)


def _offset_pressure(dive, values):
    return _set(dive.world.pressure, "offset_mbar", values["mbar"])


def _noisy_pressure(dive, values):
    sensor = dive.world.pressure
    return _all((_set(sensor, "extra_noise_mbar", int(values["mbar"])), _set(sensor, "spikes", int(values["spikes"]))))


def _creep_pressure(dive, values):
    sensor = dive.world.pressure
    return _all((_set(sensor, "creep_from_s", dive.world.now_s), _set(sensor, "creep_mbar_h", values["mbar_h"])))


def _shorten_range(dive, values):
    full_mbar = int(dive.world.water.pressure_mbar_at(values["range_m"]))
    return _set(dive.world.pressure, "full_mbar", min(full_mbar, dive.world.pressure.full_mbar))


def _false_battery_reading(dive, values):
    supply = dive.world.supply
    return _all((_set(supply, "voltage_factor", values["voltage"]), _set(supply, "current_factor", values["current"])))


def _false_leak(dive, values):
    return _set(dive.world, "leak_wet", True)


def _true_leak(dive, values):
    dive.leak()


def _dead_leak(dive, values):
    return _set(dive.world, "leak_dead", True)


def _dead_contact(dive, values):
    return _set(dive.world, "contact_dead", True)


def _wet_contact(dive, values):
    return _set(dive.world, "contact_bridged", True)


def _miss_presses(dive, values):
    dive.world.camera.deaf_presses += int(values["presses"])


def _crash_camera(dive, values):
    dive.world.camera.crash()
    dive.world.weigh_load()


def _record_early(dive, values):
    return _set(dive.world.camera, "starts_recording", True)


def _fill_card(dive, values):
    dive.world.camera.card_left_s = 0.0


def _short_lamp(dive, values):
    undo = _set(dive.world, "lamp_shorted", True)
    dive.world.weigh_load()
    return undo


def _raise_swell(dive, values):
    return _set(dive.world, "swell_m", values["height_m"])


def _kill_strobe(dive, values):
    return _set(dive.world, "strobe_dead", True)


def _catch(dive, values):
    return _set(dive.world.hull, "caught", True)


def _haul(dive, values):
    dive.haul_back(values["speed_m_s"])


def _brush_magnet(dive, values):
    return _set(dive.world, "magnet", 1)


def _line_noise(dive, values):
    return _set(dive, "line_noise", True)


def _nothing(dive, values):
    return None


def _deeper(plan, values):
    return _with_depth(plan, plan.site.depth_m + values["by_m"])


def _shallower(plan, values):
    return _with_depth(plan, max(1.0, plan.site.depth_m - values["by_m"]))


def _with_depth(plan, depth_m: float):
    return plan.model_copy(update={"site": plan.site.model_copy(update={"depth_m": depth_m})})


def _stronger_mud(plan, values):
    site = plan.site.model_copy(update={"mud_suction_n": values["suction_n"], "mud_hold_s": values["hold_s"]})
    return plan.model_copy(update={"site": site})


def _floats_too_well(plan, values):
    ballast = plan.lander.ballast.model_copy(update={"mass_kg": values["ballast_kg"]})
    return plan.model_copy(update={"lander": plan.lander.model_copy(update={"ballast": ballast})})


# --- the table -----------------------------------------------------------------------------------------------------

_FOR = Parameter(FOREVER_S, 0.0, 1e7, "ends after so many seconds; 0: never")
_CHANNEL = Parameter("primary", choices=CHANNEL_NAMES, meaning="which release channel")


def _kind(name, group, what, begin, prepare=None, **parameters) -> FaultKind:
    return FaultKind(name, group, what, begin, {**parameters, "for_s": _FOR}, prepare)


KINDS = {kind.name: kind for kind in (
    _kind("jammed", "release", "a release is jammed: its circuit draws current and nothing opens", _jam,
          channel=_CHANNEL),
    _kind("bad-circuit", "release", "a release circuit is open or shorted", _break_circuit, channel=_CHANNEL,
          how=Parameter("open", choices=("open", "shorted"), meaning="what is wrong with it")),
    _kind("slow-release", "release", "a wire erodes or a latch turns slowly, in cold or fresh water", _slow_wire,
          channel=_CHANNEL, rate=Parameter(0.3, 0.01, 1.0, "part of the planned rate")),
    _kind("ballast-hangs", "release", "the ballast is freed and hangs on", _hang_ballast,
          part=Parameter(1.0, 0.01, 1.0, "part of it that stays")),
    _kind("link-early", "release", "the corroding link is through early", _corrode,
          after_min=Parameter(60.0, 0.0, 1e5, "minutes after the onset")),
    _kind("deep-mud", "release", "the mud holds the frame hard", _nothing, _stronger_mud,
          suction_n=Parameter(30.0, 0.0, 500.0, "suction"), hold_s=Parameter(300.0, 0.0, 1e5, "held for")),
    _kind("weak-supply", "power", "a loose connector or a cold pack: resistance makes the supply sag under load", _sag,
          mohm=Parameter(6000.0, 1.0, 1e6, "resistance added")),
    _kind("cell-gone", "power", "cells of the pack have failed", _lose_cells,
          cells=Parameter(1.0, 1.0, 20.0, "how many")),
    _kind("old-battery", "power", "the pack holds less than planned", _age_battery,
          left=Parameter(0.6, 0.05, 1.0, "part of the planned capacity")),
    _kind("power-gone", "power", "power is gone", _cut_power),
    _kind("reset", "controller", "the controller resets once", _reset_once),
    _kind("attempt-resets", "controller", "every attempt resets the controller", _reset_in_attempts,
          channel=Parameter("both", choices=CHANNEL_NAMES, meaning="which release channel"),
          after_s=Parameter(0.2, 0.0, 600.0, "so long after the current flows")),
    _kind("hang", "controller", "the controller hangs until the watchdog bites", _hang,
          watchdog_s=Parameter(8.0, 0.1, 60.0, "watchdog time")),
    _kind("main-dead", "controller", "the main controller is dead", _kill_main),
    _kind("torn-record", "controller", "power fails in the middle of a journal record", _tear_record,
          bytes=Parameter(32.0, 0.0, 63.0, "bytes of it that were written")),
    _kind("flash-refuses", "controller", "the journal's memory refuses every write", _refuse_writes),
    _kind("clock-lost", "time", "the real-time clock has lost its time", _lose_clock),
    _kind("clock-jumps", "time", "the real-time clock jumps", _jump_clock,
          by_s=Parameter(-7200.0, -1e8, 1e8, "seconds, negative for back")),
    _kind("pressure-frozen", "sensors", "the pressure reading stands still", _freeze_pressure),
    _kind("pressure-gone", "sensors", "the pressure sensor does not answer", _lose_pressure),
    _kind("pressure-offset", "sensors", "the pressure reads too high or too low", _offset_pressure,
          mbar=Parameter(300.0, -1e5, 1e5, "added to it")),
    _kind("pressure-noisy", "sensors", "the pressure reading is noisy and spikes", _noisy_pressure,
          mbar=Parameter(60.0, 0.0, 1e4, "noise added"), spikes=Parameter(20.0, 0.0, 1000.0, "in a thousand readings")),
    _kind("pressure-creeps", "sensors", "the pressure reading creeps", _creep_pressure,
          mbar_h=Parameter(-200.0, -1e5, 1e5, "mbar an hour")),
    _kind("pressure-saturated", "sensors", "the sensor's range ends above the seabed", _shorten_range,
          range_m=Parameter(200.0, 1.0, 11000.0, "depth at which it stands still")),
    _kind("battery-misread", "sensors", "battery voltage and current are read wrong", _false_battery_reading,
          voltage=Parameter(1.1, 0.0, 10.0, "factor on the voltage"),
          current=Parameter(0.3, 0.0, 10.0, "factor on the current")),
    _kind("leak", "sensors", "water is in the housing", _true_leak),
    _kind("leak-false", "sensors", "the leak probe says wet and is dry", _false_leak),
    _kind("leak-dead", "sensors", "the leak probe feels nothing", _dead_leak),
    _kind("contact-dead", "sensors", "the wet contact never feels water", _dead_contact),
    _kind("contact-bridged", "sensors", "salt bridges the wet contact: always wet", _wet_contact),
    _kind("press-missed", "camera", "presses on the camera's buttons have no effect", _miss_presses,
          presses=Parameter(1.0, 1.0, 1000.0, "how many")),
    _kind("camera-crashed", "camera", "the camera hangs", _crash_camera),
    _kind("records-early", "camera", "the camera records as soon as it is on: a press would stop it", _record_early),
    _kind("card-full", "camera", "the camera's card is full", _fill_card),
    _kind("lamp-shorted", "camera", "a lamp draws five times its current", _short_lamp),
    _kind("heavy-swell", "surface", "swell dips the floating lander across the threshold", _raise_swell,
          height_m=Parameter(12.0, 0.0, 30.0, "wave height")),
    _kind("strobe-dead", "surface", "the beacon lamp is dead", _kill_strobe),
    _kind("deeper", "site and people", "the seabed is deeper than planned", _nothing, _deeper,
          by_m=Parameter(60.0, 0.0, 5000.0, "by so much")),
    _kind("shallower", "site and people", "the seabed is shallower than planned", _nothing, _shallower,
          by_m=Parameter(200.0, 0.0, 5000.0, "by so much")),
    _kind("caught", "site and people", "something holds the lander where it is", _catch),
    _kind("never-sinks", "site and people", "too little ballast: it stays afloat", _nothing, _floats_too_well,
          ballast_kg=Parameter(3.0, 0.0, 1000.0, "ballast fitted")),
    _kind("hauled-back", "site and people", "it is hauled back on deck while armed", _haul,
          speed_m_s=Parameter(1.0, 0.1, 2.0, "hauled at this speed")),
    _kind("magnet-brushed", "site and people", "a magnet comes near the housing", _brush_magnet),
    _kind("line-noise", "site and people", "noise on the serial line makes commands of every kind", _line_noise),
)}


# --- reading them --------------------------------------------------------------------------------------------------


def _default(kind: FaultKind, key: str):
    return kind.parameters[key].default


def parse(text: str) -> Fault:
    """A fault as it is written on the command line. Raises FaultError with one sentence."""
    head, at, when = text.partition("@")
    name, colon, pairs = head.partition(":")
    kind = KINDS.get(name)
    if kind is None:
        near = get_close_matches(name, KINDS, 1)
        hint = "did you mean %s?" % near[0] if near else "known are: %s" % ", ".join(sorted(KINDS))
        raise FaultError("fault %r is not known; %s" % (name, hint))
    if at and not when:
        raise FaultError("fault %r ends in @ with no onset; write for example %s@record or %s@45min"
                         % (text, name, name))
    values = {key: parameter.default for key, parameter in kind.parameters.items()}
    for pair in pairs.split(",") if colon else ():
        key, equals, value = pair.partition("=")
        if key not in values or not equals:
            raise FaultError("fault %s has no parameter %r; it has %s" % (name, key or pair, _shown(kind)))
        values[key] = _value(kind, key, value)
    return Fault(kind, values, parse_when(when) if at else When())


def _value(kind: FaultKind, key: str, text: str) -> float | str:
    parameter = kind.parameters[key]
    if parameter.choices:
        if text not in parameter.choices:
            raise FaultError("fault %s: %s=%s; allowed is %s" % (kind.name, key, text, ", ".join(parameter.choices)))
        return text
    try:
        number = float(text)
    except ValueError:
        raise FaultError("fault %s: %s=%s is no number" % (kind.name, key, text)) from None
    if not parameter.lowest <= number <= parameter.highest:
        raise FaultError("fault %s: %s=%g; allowed is %g to %g"
                         % (kind.name, key, number, parameter.lowest, parameter.highest))
    return number


def _shown(kind: FaultKind) -> str:
    return ", ".join("%s (%s)" % (key, parameter.meaning) for key, parameter in kind.parameters.items())


_DEPTH = re.compile(r"(\d+(?:\.\d+)?)m")
_TIME = re.compile(r"(\d+(?:\.\d+)?)(s|min|h)")


def parse_when(text: str) -> When:
    """An onset. Raises FaultError with the forms that are allowed."""
    depth = _DEPTH.fullmatch(text)
    if depth:
        return When("depth", depth_m=float(depth[1]))
    after = _TIME.fullmatch(text)
    if after:
        return When("splash", after_s=float(after[1]) * TIME_UNITS_S[after[2]])
    word, plus, later = text.partition("+")
    time = _TIME.fullmatch(later) if plus else None
    if word in EVENTS + STATES and bool(plus) == bool(time):
        return When(word, after_s=float(time[1]) * TIME_UNITS_S[time[2]] if time else 0.0)
    raise FaultError("onset %r is not understood; allowed is an event (%s), a state (%s), a depth like 200m, a time"
                     " after the splash like 45min, or event+time like record+10min"
                     % (text, ", ".join(EVENTS), ", ".join(STATES)))
