"""The kinds of faults, as a table: what goes wrong, what it does to the lander, and the numbers that may be given.

A kind whose parameters have no `for_s` has no end of its own: it is over at once, or is so before the dive. What each
kind does to the world stands in `seatrial.fault_effects`.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from seatrial import fault_effects as effects

FOREVER_S = 0.0
SECOND = "second board"  # the group of faults that only a lander with one can have
CHANNEL_NAMES = ("primary", "backup", "both")


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
    """`what` goes wrong and what it is `to_the_lander`. `begin(dive, values)` does it and returns what ends it, if
    anything can; `prepare(plan, values)` changes the site, or what nobody did on land, before the dive is built."""

    name: str
    group: str
    what: str
    begin: Callable
    parameters: dict[str, Parameter] = field(default_factory=dict)
    prepare: Callable | None = None
    to_the_lander: str = ""

    @property
    def can_end(self) -> bool:
        return "for_s" in self.parameters


FOR = Parameter(FOREVER_S, 0.0, 1e7, "ends after so many seconds; 0: never")
_CHANNEL = Parameter("primary", choices=CHANNEL_NAMES, meaning="which release channel")
_AFTER_S = Parameter(0.2, 0.0, 600.0, "so long after the current flows")
_THERMOMETER = Parameter("camera", choices=(*effects.THERMOMETERS, "all"), meaning="which thermometer")


def _lasting(name, group, what, to_the_lander, begin, **parameters) -> FaultKind:
    return FaultKind(name, group, what, begin, {**parameters, "for_s": FOR}, None, to_the_lander)


def _deed(name, group, what, to_the_lander, begin, **parameters) -> FaultKind:
    """Over at once, or for good: nothing that `for_s` could end."""
    return FaultKind(name, group, what, begin, parameters, None, to_the_lander)


def _so_before(name, group, what, to_the_lander, prepare, **parameters) -> FaultKind:
    return FaultKind(name, group, what, effects.nothing, parameters, prepare, to_the_lander)


RELEASE = (
    _lasting("jammed", "release", "a release is jammed: its circuit draws current and nothing opens",
             "the attempt is in vain, and the other channel comes next", effects.jam, channel=_CHANNEL),
    _lasting("bad-circuit", "release", "a release circuit is open or shorted",
             "no work is done there; a short also pulls the supply down", effects.break_circuit, channel=_CHANNEL,
             how=Parameter("open", choices=("open", "shorted"), meaning="what is wrong with it")),
    _lasting("slow-release", "release", "a wire erodes or a latch turns slowly, in cold or fresh water",
             "an attempt may end too early; work done stays, and a later one goes on from there", effects.slow_release,
             channel=_CHANNEL, rate=Parameter(0.3, 0.01, 1.0, "part of the planned rate")),
    _lasting("ballast-hangs", "release", "the ballast is freed and hangs on",
             "it stays down, or comes up slowly where only a part hangs", effects.hang_ballast,
             part=Parameter(1.0, 0.01, 1.0, "part of it that stays")),
    _deed("link-early", "release", "the corroding link is through early",
          "it comes up before its time and waits at the surface", effects.corrode,
          after_min=Parameter(60.0, 0.0, 1e5, "minutes after the onset")),
    _deed("link-late", "release", "the corroding link takes longer than planned",
          "the last way home opens late: it matters only where nothing else has worked", effects.corrode_late,
          later_h=Parameter(24.0, 0.0, 1e4, "hours longer")),
    _lasting("link-never", "release", "the corroding link is fouled and does not part",
             "the last way home is closed: it matters only where nothing else has worked", effects.jam_link),
    _so_before("deep-mud", "release", "the mud holds the frame hard",
               "freed, it stands for minutes before it lifts, or stays for good", effects.hold_in_mud,
               suction_n=Parameter(30.0, 0.0, 500.0, "suction"), hold_s=Parameter(300.0, 0.0, 1e5, "held for")),
)

POWER = (
    _lasting("weak-supply", "power", "a loose connector or a cold pack: resistance makes the supply sag under load",
             "it counts as an empty battery, or the controller browns out under a load", effects.sag,
             mohm=Parameter(6000.0, 1.0, 1e6, "resistance added")),
    _lasting("cell-gone", "power", "cells of the pack have failed", "it counts as an empty battery: early home",
             effects.lose_cells, cells=Parameter(1.0, 1.0, 20.0, "how many")),
    _lasting("old-battery", "power", "the pack holds less than planned", "it reaches its reserve early: early home",
             effects.age_battery, left=Parameter(0.6, 0.05, 1.0, "part of the planned capacity")),
    _lasting("power-gone", "power", "power is gone", "nothing works but a second board and the corroding link",
             effects.cut_power),
    _lasting("load-resets", "power", "the step of a load pulls the supply down and the controller resets",
             "it starts again and again where it needs that load", effects.reset_on_load,
             load=Parameter("camera", choices=tuple(effects.LOAD_PLACES), meaning="the load that is switched on"),
             after_s=_AFTER_S),
)

CONTROLLER = (
    _deed("reset", "controller", "the controller resets once", "it carries on from its journal", effects.reset_once),
    _lasting("attempt-resets", "controller", "every attempt resets the controller",
             "each attempt is cut short; the other channel comes next, then weaker drives", effects.reset_in_attempts,
             channel=Parameter("both", choices=CHANNEL_NAMES, meaning="which release channel"), after_s=_AFTER_S),
    _deed("hang", "controller", "the controller hangs until the watchdog bites",
          "its outputs stay as they are for so long; then it carries on from its journal", effects.hang,
          watchdog_s=Parameter(8.0, 0.1, 60.0, "watchdog time")),
    _deed("half-loaded", "controller", "the controller resets and its program comes up only at a later start",
          "it is away for that long; then it carries on from its journal", effects.load_half,
          starts=Parameter(5.0, 1.0, 1e4, "starts that fail"),
          each_s=Parameter(8.0, 0.1, 60.0, "until the watchdog ends such a start")),
    _lasting("main-dead", "controller", "the main controller is dead",
             "only a second board and the corroding link are left", effects.kill_main),
    _deed("torn-record", "controller", "power fails in the middle of a journal record",
          "it carries on from the record before", effects.tear_record,
          bytes=Parameter(32.0, 0.0, 63.0, "bytes of it that were written")),
    _deed("records-damaged", "controller", "the newest records of the journal are damaged in the memory",
          "it carries on from the newest one that is whole, or counts as overdue", effects.damage_records,
          records=Parameter(3.0, 1.0, 1e5, "how many"),
          then=Parameter("reset", choices=("reset", "nothing"), meaning="what comes at once")),
    _lasting("flash-refuses", "controller", "the journal's memory refuses every write",
             "it flies on without a journal; a reset then goes back to the last record", effects.refuse_writes),
    _deed("flash-full", "controller", "the journal's memory is nearly full",
          "readings are thinned, and at the end new records go over old ones", effects.fill_flash,
          slots=Parameter(20.0, 0.0, 1e5, "records that still fit")),
)

SECOND_BOARD = (
    _lasting("second-dead", SECOND, "the second board is dead", "nobody fires the backup when the main board is dead",
             effects.kill_second),
    _deed("second-reset", SECOND, "power fails at the second board for a moment",
          "it cannot know how long, and fires at once", effects.reset_second),
    _deed("second-hangs", SECOND, "the second board hangs until its watchdog bites", "it carries on from its record",
          effects.hang_second),
    _lasting("second-pressure-gone", SECOND, "the second board's pressure sensor does not answer",
             "it goes by its wet contact alone", effects.lose_second_pressure),
    _lasting("second-contact-dead", SECOND, "the second board's wet contact never feels water",
             "it goes by its pressure sensor alone", effects.deafen_second_contact),
    _lasting("second-contact-bridged", SECOND, "salt bridges the second board's wet contact",
             "it goes by its pressure sensor, or its clock starts early", effects.wet_second_contact),
)

TIME = (
    _lasting("clock-lost", "time", "the real-time clock has lost its time",
             "after a power failure it counts as overdue: home at once", effects.lose_clock),
    _lasting("clock-jumps", "time", "the real-time clock jumps",
             "the clock is not trusted any more; after a power failure it counts as overdue", effects.jump_clock,
             by_s=Parameter(-7200.0, -1e8, 1e8, "seconds, negative for back")),
    _lasting("clock-drifts", "time", "the real-time clock runs slow or fast",
             "the clock is not trusted once it is far off; the release keeps its time", effects.drift_clock,
             ppm=Parameter(-5000.0, -5e5, 5e5, "millionths, negative for slow")),
    _so_before("clock-never-set", "time", "the real-time clock was never set and counts from its own beginning",
               "arming is refused, or the journal has wrong dates and the release keeps its time", effects.unset_clock,
               says=Parameter("unset", choices=("unset", "set"), meaning="what its own flag says")),
    _deed("counter-wraps", "time", "the controller's own count of time falls back",
          "it takes the sleep it had asked for as passed, and the release keeps its time", effects.wrap_counter,
          by_s=Parameter(1e7, 0.1, 1e7, "seconds back, to zero at the most")),
)

SENSORS = (
    _lasting("pressure-frozen", "sensors", "the pressure reading stands still",
             "no rise is seen: the clock and the other sign of water decide", effects.freeze_pressure),
    _lasting("pressure-gone", "sensors", "the pressure sensor does not answer",
             "the clock and the wet contact decide; it does not see the bottom", effects.lose_pressure),
    _lasting("pressure-offset", "sensors", "the pressure reads too high or too low",
             "depths are wrong by so much; it may take the air for water, or the water for air",
             effects.offset_pressure, mbar=Parameter(300.0, -1e5, 1e5, "added to it")),
    _lasting("pressure-noisy", "sensors", "the pressure reading is noisy and spikes",
             "the bottom and the rise are seen late or not at all", effects.noisy_pressure,
             mbar=Parameter(60.0, 0.0, 1e4, "noise added"),
             spikes=Parameter(20.0, 0.0, 1000.0, "in a thousand readings")),
    _lasting("pressure-creeps", "sensors", "the pressure reading creeps",
             "depths grow wrong; a slow creep is no rise", effects.creep_pressure,
             mbar_h=Parameter(-200.0, -1e5, 1e5, "mbar an hour")),
    _lasting("pressure-drifts-warm", "sensors", "the pressure reading drifts with the temperature of the water",
             "depths are wrong where the water is warmer or colder than at the onset", effects.warm_pressure,
             mbar_k=Parameter(20.0, -200.0, 200.0, "mbar a degree")),
    # No sensor for a lander has a range of less than a bar over the atmosphere. Common practice, no source.
    _lasting("pressure-saturated", "sensors", "the sensor's range ends above the seabed",
             "it does not see the bottom; the clock begins the filming", effects.shorten_range,
             range_m=Parameter(200.0, 10.0, 11000.0, "depth at which it stands still")),
    _lasting("battery-misread", "sensors", "battery voltage and current are read wrong",
             "the reserve goes by the count of what is switched on", effects.misread_battery,
             voltage=Parameter(1.1, 0.0, 10.0, "factor on the voltage"),
             current=Parameter(0.3, 0.0, 10.0, "factor on the current")),
    _lasting("supply-unread", "sensors", "battery voltage and currents cannot be read",
             "the reserve goes by the count of what is switched on", effects.lose_supply),
    _lasting("current-unread", "sensors", "a current sensor does not answer",
             "the reserve goes by the voltage and by the count of what is switched on", effects.lose_current,
             which=Parameter("both", choices=("supply", "release", "both"), meaning="which current")),
    _lasting("temperature-unread", "sensors", "a thermometer does not answer",
             "without the camera's the fan runs all the time", effects.lose_temperature, which=_THERMOMETER),
    _lasting("temperature-misread", "sensors", "a thermometer reads too warm or too cold",
             "a camera that seems hot is kept off; one that seems cold switches itself off when it is hot",
             effects.misread_temperature, which=_THERMOMETER,
             by_c=Parameter(40.0, -100.0, 100.0, "degrees added")),
    _lasting("leak", "sensors", "water is in the housing", "it comes home at once", effects.leak),
    _lasting("leak-false", "sensors", "the leak probe says wet and is dry", "it comes home at once for nothing",
             effects.leak),
    _lasting("leak-dead", "sensors", "the leak probe feels nothing", "water inside would go unnoticed",
             effects.deafen_leak),
    _lasting("contact-dead", "sensors", "the wet contact never feels water", "the pressure alone shows the water",
             effects.deafen_contact),
    _lasting("contact-bridged", "sensors", "salt bridges the wet contact: always wet",
             "its clock may start on deck; it stays at sea until the magnet disarms it", effects.wet_contact),
)

CAMERA = (
    _lasting("press-missed", "camera", "presses on the camera's buttons have no effect",
             "the press is made again, or the camera started anew", effects.miss_presses,
             presses=Parameter(1.0, 1.0, 1000.0, "how many")),
    _deed("camera-crashed", "camera", "the camera hangs", "it is started anew through its supply",
          effects.crash_camera),
    _lasting("records-early", "camera", "the camera records as soon as it is on: a press would stop it",
             "it is seen to record, and no button is pressed", effects.record_early),
    _deed("card-full", "camera", "the camera's card is full",
          "nothing more is filmed; the lander comes home as planned", effects.fill_card),
    _lasting("fan-dead", "camera", "the fan does not turn: the camera overheats",
             "the camera is put off while it is hot, and films in part only", effects.stop_fan),
    _lasting("lamp-shorted", "camera", "a lamp draws five times its current",
             "the battery is down to its reserve early: early home", effects.short_lamp),
)

SURFACE = (
    _lasting("heavy-swell", "surface", "swell dips the floating lander across the threshold",
             "it is taken for at the surface all the same", effects.raise_swell,
             height_m=Parameter(12.0, 0.0, 30.0, "wave height")),
    _lasting("antenna-awash", "surface", "waves wash over the antenna", "its position is heard late, or never",
             effects.wash_antenna, part=Parameter(0.8, 0.0, 1.0, "part of the time that it is under")),
    _lasting("no-fix", "surface", "the receiver finds no position",
             "nobody hears where it is: look for the beacon lamp", effects.lose_fix),
    _lasting("radio-dead", "surface", "the radio is dead", "nobody hears where it is: look for the beacon lamp",
             effects.kill_radio),
    _lasting("strobe-dead", "surface", "the beacon lamp is dead", "nobody sees it at night: go by its position",
             effects.kill_strobe),
)

SITE = (
    _so_before("deeper", "site and people", "the seabed is deeper than planned",
               "longer down and up; beyond its limit it turns back", effects.deeper,
               by_m=Parameter(60.0, 0.0, 5000.0, "by so much")),
    _so_before("shallower", "site and people", "the seabed is shallower than planned", "sooner at the bottom",
               effects.shallower, by_m=Parameter(200.0, 0.0, 5000.0, "by so much")),
    _so_before("colder", "site and people", "the water is colder than planned",
               "the battery gives less and sags more; colder water is heavier, too", effects.colder,
               by_c=Parameter(8.0, 0.0, 40.0, "degrees")),
    _so_before("deep-thermocline", "site and people", "the warm water reaches deeper than planned",
               "lighter water on the way: faster down, slower up", effects.sink_thermocline,
               by_m=Parameter(80.0, 1.0, 5000.0, "by so much")),
    _so_before("fast-current", "site and people", "the current is faster than planned",
               "it comes up further away", effects.run_faster,
               times=Parameter(3.0, 0.0, 20.0, "times the planned speed")),
    _lasting("caught", "site and people", "something holds the lander where it is",
             "it stays there for as long, released or not", effects.catch),
    _so_before("never-sinks", "site and people", "too little ballast: it stays afloat",
               "no dive: its clock runs at the surface, and the beacon comes late", effects.float_too_well,
               ballast_kg=Parameter(3.0, 0.0, 1000.0, "ballast fitted")),
    _deed("hauled-back", "site and people", "it is hauled back on deck while armed, or not thrown in at all",
          "nothing is released there, and its clock stops", effects.haul,
          speed_m_s=Parameter(1.0, 0.1, 2.0, "hauled at this speed")),
    _lasting("magnet-brushed", "site and people", "a magnet comes near the housing",
             "under water it changes nothing; on deck it may arm or disarm", effects.brush_magnet),
    _lasting("line-noise", "site and people", "noise on the serial line makes commands of every kind",
             "under water they change nothing", effects.line_noise),
)

KINDS = {kind.name: kind for kind in (
    *RELEASE, *POWER, *CONTROLLER, *SECOND_BOARD, *TIME, *SENSORS, *CAMERA, *SURFACE, *SITE)}
