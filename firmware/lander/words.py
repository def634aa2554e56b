"""What the names and numbers mean, in words: for people, documents and host tools. Never loaded on the board.

The board keeps names and limits only, since every word here would cost it memory. A test holds that each name of the
core has its words here, and that nothing here is without its name.
"""

from lander import journal, lamps, release, signals, table

ORDERS = {
    "timed_release_ds": "release due, after the descent began",
    "latest_release_ds": "release at the very latest, after the descent began",
    "settle_latest_ds": "counted as on the bottom from here on",
    "slowest_ascent_ds": "the slowest ascent thought possible",
    "surface_margin_ds": "added to it before the beacon goes on unseen",
    "power_gap_ds": "an outage under water longer than this ends the dive",
    "beacon_ds": "beacon hours planned",
    "pause_ds": "first pause after an attempt",
    "pause_max_ds": "pauses double up to this",
    "shed_ds": "longest time to put camera, lights and fan off",
    "fire_primary_ds": "one attempt on the primary channel",
    "fire_backup_ds": "one attempt on the backup channel",
    "kind_primary": "0 wire, 1 latch",
    "kind_backup": "0 wire, 1 latch",
    "rise_cm": "a rise of this much confirms a release",
    "stalled_ds": "an ascent that stands still this long has stalled",
    "cm_per_bar": "depth for one bar of water, site mean",
    "pressure_full_mbar": "the sensor's upper end: readings near it are saturated",
    "submerged_cm": "deeper than this is a sign of water",
    "surface_cm": "shallower than this is the surface",
    "sign_hold_ds": "a sign of water must last this long",
    "one_sign_wait_ds": "one sign alone is believed after this",
    "settled_band_cm": "still means within this",
    "settled_ds": "still for this long is the bottom",
    "too_deep_cm": "deeper than this ends the dive",
    "leak_hold_ds": "water inside must be seen this long",
    "low_hold_ds": "a low supply must be seen this long",
    "reserve_mv": "supply under load that holds the reserve",
    "capacity_mah": "what the pack holds, cold and aged, at the start",
    "reserve_mah": "what release, ascent and beacon need",
    "controller_ma": "counted when the current reading is invalid",
    "camera_ma": "the same, camera recording",
    "lights_ma": "the same, lights full on",
    "fan_ma": "the same, fan",
    "fire_ma": "the same, one release channel",
    "camera_feedback": "0 none, 1 record lamp, 2 supply current",
    "camera_supply": "0 from the main pack through a switch, 1 its own pack",
    "power_press_ds": "long press on the power button",
    "record_press_ds": "short press on the record button",
    "camera_start_ds": "from the power press to ready",
    "camera_stop_ds": "to close a file",
    "camera_answer_ds": "a press has shown its effect by then",
    "camera_on_ma": "camera current above this: it is on",
    "camera_recording_ma": "camera current above this: it records",
    "camera_lamp_permille": "record lamp brighter than this: it records",
    "camera_hot_centi_c": "too hot: off",
    "camera_cool_centi_c": "cool enough to start again",
    "film_descent": "1: the camera records from the splash on",
    "lights_pct": "level of the lights",
    "lights_on_ds": "lights on for, while filming the bottom; 0: always",
    "lights_off_ds": "and then off for",
    "fan_on_centi_c": "camera warmer than this: fan on",
    "fan_off_centi_c": "camera cooler than this: fan off",
    "magnet_hold_ds": "a gesture holds the magnet at least this long",
    "magnet_hold_max_ds": "and at most this long",
    "reading_descent_ds": "between readings in the descent and the ascent",
    "reading_bottom_ds": "between readings on the bottom",
    "reading_surface_ds": "between readings at the surface and on deck",
}

INPUTS = {
    "uptime_ds": "tenths of a second since this start of the controller",
    "clock_s": "real-time clock, seconds since 2020-01-01 00:00 UTC",
    "clock_ok": "the clock was set and its oscillator never stopped",
    "reset_cause": "0 power came, 1 watchdog, 2 asked for; power never failed in 1 and 2",
    "pressure_mbar": "absolute pressure outside",
    "pressure_ok": "that reading is valid",
    "contact_wet": "wet contact outside",
    "contact_ok": "that reading is valid",
    "leak_wet": "leak probe inside",
    "leak_ok": "that reading is valid",
    "supply_mv": "battery voltage at the controller",
    "supply_ok": "that reading is valid",
    "supply_ma": "battery current",
    "current_ok": "that reading is valid",
    "camera_centi_c": "camera temperature",
    "camera_temp_ok": "that reading is valid",
    "housing_centi_c": "temperature of the air in the housing",
    "housing_temp_ok": "that reading is valid",
    "water_centi_c": "temperature of the water outside",
    "water_temp_ok": "that reading is valid",
    "camera_ma": "camera supply current",
    "camera_lamp_permille": "photodiode on the camera's record lamp, brightest since the last step",
    "camera_feedback_ok": "the feedback that the plan names can be read",
    "release_ma": "current in the release circuits, at the last step",
    "release_ok": "that reading is valid",
    "magnet": "the magnet is at the housing",
    "store_free": "journal slots still free",
    "store_lost": "records of the last step that could not be stored",
    "command": "asked for on the bench line, see COMMANDS",
}

OUTPUTS = {
    "state": "mission state, for whoever watches",
    "release_primary_pct": "drive of the primary release channel",
    "release_backup_pct": "drive of the backup release channel",
    "camera_supply": "load switch of the camera",
    "power_button": "the camera's power button is pressed",
    "record_button": "the camera's record button is pressed",
    "lights_pct": "level of the lights",
    "fan": "housing fan",
    "beacon_code": "pattern of the beacon lamp, see lander.lamps",
    "report": "send position reports",
    "status_code": "pattern of the status lamp, see lander.lamps",
    "refused": "why the last command or gesture was refused, see REFUSALS; 0: it was not",
    "wake_ds": "the next step is due after this long, or at an edge of magnet, contact or leak",
    "record_count": "records to store before these outputs are applied",
}

CONDITIONS = {
    table.ARM_ASKED: "the arming gesture was made, or arming asked for on the bench, and every check passed",
    table.DISARM_ASKED: "the disarming gesture was made, and not every sign speaks of water",
    table.WET: "a sign of water, pressure or contact, has held",
    table.BOTH_WET: "both signs of water hold",
    table.SURE: "both signs have held at once since the descent began, or one alone for long",
    table.SPRAY_DRIED: "the contact is dry again and the pressure has been atmosphere throughout",
    table.OUT_OF_WATER: "after a rise that was seen both signs say air, and it has held",
    table.SETTLED: "depth stands still, within the sensor's range",
    table.SETTLE_LATE: "the bottom must have been reached by now",
    table.DUE: "the timed release is due",
    table.LATEST: "the latest release is due",
    table.TIME_UNKNOWN: "elapsed time cannot be established",
    table.POWER_GAP: "power was gone for longer than allowed under water",
    table.LOW: "the battery holds no more than the reserve",
    table.LEAK: "water inside the housing",
    table.TOO_DEEP: "deeper than planned",
    table.PLAN_BAD: "the mission record is damaged",
    table.RISING: "a rise is confirmed",
    table.STALLED: "depth stands still below the surface",
    table.ASCENT_LATE: "the slowest ascent should be over",
    table.AT_SURFACE: "after a rise that was seen the pressure is the surface's, and it has held",
    table.TRIED: "the attempt and its pause are over and nothing rises",
    table.COMMANDED: "a release was commanded in this dive",
    table.SANK_AGAIN: "deep again after having been at the surface",
    table.ALONE: "unarmed, one sign of water has stood for long while the other cannot be read",
    table.BUG: "an invariant of the mission code was found broken",
}

JOURNAL = {
    "version": "layout of the record",
    "kind": "see KINDS",
    "sequence": "counts up by one a record",
    "boot": "starts of the controller",
    "dive": "armings",
    "state": "mission state after this record",
    "mission_ds": "mission time",
    "clock_s": "real-time clock, 0 when it cannot be trusted",
    "flags": "see FLAGS",
    "descent_ds": "mission time when the descent began, -1 before",
    "command_ds": "mission time of the first release command, -1 before",
    "attempts": "release attempts begun",
    "release": "phase, next channel and ways, see lander.release",
    "camera": "step of the camera, see lander.camera",
    "used_mah": "energy count",
    "surface_mbar": "air pressure taken on deck",
    "code": "row, channel or event, by kind",
    "detail": "evidence, by kind",
    "pressure_mbar": "reading",
    "supply_mv": "reading",
    "supply_ma": "reading, up to 65535",
    "camera_centi_c": "reading",
    "housing_centi_c": "reading",
    "water_centi_c": "reading",
    "signs": "wet contact, leak, magnet and the validity of each reading, see SIGNS",
    "lights_pct": "output",
    "drives": "camera, fan, beacon, release outputs, see DRIVES",
}

EVENTS = {
    journal.E_NONE: "none",
    journal.E_CLOCK: "clock distrusted",
    journal.E_ARM_REFUSED: "arming refused",
    journal.E_COMMAND_REFUSED: "command refused",
    journal.E_LOST: "records lost",
    journal.E_NEARLY_FULL: "journal nearly full",
    journal.E_STOPPED: "clock of the descent stopped: out of the water",
    journal.E_POWER: "camera: power pressed",
    journal.E_PRESS: "camera: record pressed",
    journal.E_RECORDING: "camera: recording",
    journal.E_NO_ANSWER: "camera: no answer",
    journal.E_CAMERA_OFF: "camera: switched off",
    journal.E_HOT: "camera: too hot",
    journal.E_COOL: "camera: cool again",
    journal.E_CUT: "attempt ended by a reset",
    journal.E_SHED_LATE: "loads shed late",
    journal.E_LEAK: "leak seen",
    journal.E_LOW: "supply low",
    journal.E_BENCH_ON: "bench: channel energised",
    journal.E_BENCH_OFF: "bench: channel off",
    journal.E_BUG: "invariant broken",
    journal.E_WET_BEFORE: "water before the reset",
    journal.E_GESTURE: "gesture seen",
    journal.E_ONE_SIGN: "one sign of water believed",
    journal.E_BEACON_LONG: "passed planned beacon hours",
}

KINDS = {
    journal.BOOT: "boot",
    journal.ROW: "row",
    journal.ATTEMPT: "attempt",
    journal.ATTEMPT_END: "attempt end",
    journal.READING: "reading",
    journal.EVENT: "event",
}

FLAGS = {
    journal.CLOCK_TRUSTED: "the real-time clock agrees with the controller's own count",
    journal.FLAG_SURE: "under water for sure: both signs, or one for long",
    journal.RISE_SEEN: "a rise was watched",
    journal.FLAG_TIME_UNKNOWN: "elapsed time cannot be established",
    journal.FLAG_POWER_GAP: "power was gone too long under water",
    journal.WAS_DEEP: "was deep in this dive",
    journal.PLAN_GOOD: "the mission record is good",
    journal.ATMOSPHERE_ONLY: "pressure has been atmosphere since the descent clock started",
    journal.WET_CONTACT: "the wet contact's sign",
    journal.DEEP_SIGN: "the pressure's sign of water",
    journal.CONFIRMED: "a release was confirmed and the surface reached",
    journal.FLAG_BUG: "an invariant was found broken",
}

# Bits of `signs` and `drives` in a journal record, lowest first: names of inputs, and of outputs that are on.
SIGNS = (
    "contact_wet", "leak_wet", "magnet", "pressure_ok", "contact_ok", "leak_ok", "supply_ok",
    "current_ok", "camera_temp_ok", "housing_temp_ok", "water_temp_ok", "clock_ok", "camera_feedback_ok", "release_ok",
)
DRIVES = ("camera_supply", "power_button", "record_button", "fan", "beacon", "report", "primary", "backup")

REFUSALS = {
    signals.FINE: "no",
    signals.DEAF: "under water: the line is deaf",
    signals.WRONG_STATE: "not possible in this state",
    signals.BAD_PLAN: "mission record damaged",
    signals.WATER_INSIDE: "water inside",
    signals.NO_BATTERY: "battery low or its reading invalid",
    signals.NO_PRESSURE: "pressure is not the atmosphere's or its reading invalid",
    signals.NO_CONTACT: "contact is wet or its reading invalid",
    signals.NO_ROOM: "journal has no room",
    signals.NOT_READY: "first ready, then fire within ten seconds",
    signals.SIGN_OF_WATER: "a sign of water",
    signals.NO_LEAK_PROBE: "leak probe cannot be read",
}

COMMANDS = {
    signals.NOTHING: "none",
    signals.ASK_ARM: "arm",
    signals.ASK_DISARM: "disarm",
    signals.READY_PRIMARY: "ready_primary",
    signals.READY_BACKUP: "ready_backup",
    signals.FIRE: "fire",
}

STATUS_LAMP = {
    lamps.DARK: "under water, or no power",
    lamps.STANDING_BY: "one short blink every five seconds: safe, not armed",
    lamps.ARMED_ON_DECK: "two blinks every two seconds: ARMED, will release after a splash",
    lamps.FIRING: "fast flicker: a release is or may be energised, stand clear",
    lamps.REFUSED: "long, short, long, short: not armed, a check failed",
    lamps.AT_SURFACE: "one blink a second: back, beacon on; hold the magnet to end the dive",
}

BEACON_LAMP = {
    lamps.NO_BEACON: "beacon lamp off",
    lamps.FLASH: "one flash every two seconds",
    lamps.SPARSE: "one flash every ten seconds, after the planned hours",
}

PHASES = {
    release.IDLE: "idle",
    release.SHED: "shed",
    release.FIRE_NOW: "fire",
    release.PAUSE: "pause",
}

ATTEMPT_ENDS = {
    release.TIME_UP: "time is up",
    release.RISE: "rise confirmed",
    release.RESET: "reset of the controller",
    release.LEFT: "mission left the release",
}

CHANNELS = ("primary", "backup")
CAMERA_STEPS = (
    "off", "supply up", "power press", "starting", "record press", "answer awaited",
    "recording", "stop press", "closing the file", "off press", "going off", "wait before a new start",
)

# Verbs of the wire whose method says nothing more than its name.
VERBS = {"hello": "who is there: versions of firmware, wire, journal and record, interpreter, 1 for small integers",
         "bye": "end the loop"}
