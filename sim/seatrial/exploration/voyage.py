"""Controller, sea and watch together, moved on by one act and the leap that follows it.

Within a leap nothing changes but what the act changed; the controller steps whenever it asked to, and at the edges
that wake a board. After each step every check looks. A step that raises an error is a breach by itself.
"""

import struct
from importlib import import_module
from operator import itemgetter
from typing import Any

from lander import journal, orders, signals
from lander.orders import Orders
from seatrial.exploration import acts, sea, watch
from seatrial.exploration.snapshot import LEAP_DS, Copier, Quotient

STOPPED_DS = 1 << 40  # the controller is away and does not wake
MAGNET_DS = 30
STEPS_MAX = 400  # in one leap; more than that is a controller that does not let time pass
_RECORD = struct.Struct(journal.FORMAT)
_AT = {name: index for index, name in enumerate(journal.NAMES)}
_KIND, _CODE, _DETAIL, _STATE = (_AT[name] for name in ("kind", "code", "detail", "state"))
_OUTPUTS = tuple(row[0] for row in signals.OUTPUTS)
_steering = itemgetter(*[_OUTPUTS.index(name) for name in (
    "release_primary_pct", "release_backup_pct", "camera_supply", "power_button", "record_button", "lights_pct", "fan",
    "self_test")])

# A dive with every time as short as the checks of the orders allow and in the order of a real one, so that leaps of
# ten seconds meet every deadline apart. What is not named here (camera, kinds, self-test) is the plan's.
SHORT = {
    "timed_release_ds": 1500, "latest_release_ds": 2100, "settle_latest_ds": 900, "slowest_ascent_ds": 600,
    "surface_margin_ds": 200, "power_gap_ds": 300, "beacon_ds": 600, "pause_ds": 100, "pause_max_ds": 200,
    "shed_ds": 40, "fire_primary_ds": 120, "fire_backup_ds": 60, "rise_cm": 300, "stalled_ds": 200, "cm_per_bar": 991,
    "pressure_full_mbar": 61500, "submerged_cm": 150, "surface_cm": 100, "sign_hold_ds": 50, "one_sign_wait_ds": 600,
    "settled_band_cm": 50, "settled_ds": 100, "too_deep_cm": 5500, "leak_hold_ds": 50, "low_hold_ds": 60,
    "reserve_mv": 12600, "capacity_mah": 1000000, "reserve_mah": 1, "power_press_ds": 5, "record_press_ds": 3,
    "camera_start_ds": 10, "camera_stop_ds": 10, "camera_answer_ds": 10, "camera_on_ma": 110,
    "camera_recording_ma": 370, "lights_on_ds": 0, "lights_off_ds": 0, "fan_on_centi_c": 3400, "fan_off_centi_c": 2900,
    "magnet_hold_ds": 20, "magnet_hold_max_ds": 60, "reading_descent_ds": 50, "reading_bottom_ds": 100,
    "reading_surface_ds": 300, "camera_hot_centi_c": 5800, "camera_cool_centi_c": 4500,
}
KEPT = ("kind_primary", "kind_backup", "camera_feedback", "camera_supply", "film_descent", "lights_pct", "self_test",
        "controller_ma", "camera_ma", "lights_ma", "fan_ma", "fire_ma")


def short_orders(plan=None) -> Orders:
    """The orders of the exploration: the plan's choices, and the times of `SHORT`."""
    short = Orders()
    given = plan.orders() if plan is not None else short
    for name in KEPT:
        setattr(short, name, getattr(given, name))
    for name, value in SHORT.items():
        setattr(short, name, value)
    return short


class Breach(Exception):
    """A law was broken in the leap. `checks` are the checks that saw it."""

    def __init__(self, checks) -> None:
        super().__init__(checks[0].sentence)
        self.checks = checks


class Voyage:
    """One controller in its sea. `mission_class` is that of the core, or of a core that is broken on purpose."""

    def __init__(self, given: Orders | None = None, mission_class=None) -> None:
        self.orders = given or short_orders()
        if mission_class is None:
            mission_class = import_module("lander.mission").Mission
        self.mission = mission_class(orders.pack(self.orders))
        self.sea = sea.Sea()
        self.watch = watch.Watch()
        self.inputs: Any = signals.Inputs()
        self.outputs = signals.Outputs()
        for name in ("current_ok", "camera_temp_ok", "housing_temp_ok", "water_temp_ok", "camera_feedback_ok",
                     "release_ok"):
            setattr(self.inputs, name, 1)
        self.inputs.camera_centi_c = sea.WARM_CENTI_C
        self.copier = Copier(self.mission)
        self.quotient = Quotient(self.copier, self.mission, self.orders)
        self._fresh = self.copier.take()
        self._blank_outputs = self._read_outputs()
        self._limits = watch.caps(self.orders)
        self._first = True
        self._cut = ""  # what power fails at in this leap
        self.steps = 0
        self._boot(acts.BLANK)
        self._until(LEAP_DS)

    # --- copies and keys ----------------------------------------------------------------------------------------

    def _read_outputs(self) -> tuple:
        outputs = self.outputs
        return tuple([getattr(outputs, name) for name in _OUTPUTS])

    def take(self) -> tuple:
        return self.copier.take(), sea.take(self.sea), watch.take(self.watch), self._read_outputs(), self._first

    def put(self, copy: tuple) -> None:
        self.copier.put(copy[0])
        sea.put(self.sea, copy[1])
        watch.put(self.watch, copy[2])
        for name, value in zip(_OUTPUTS, copy[3], strict=True):
            setattr(self.outputs, name, value)
        self._first = copy[4]

    def key(self, copy: tuple) -> tuple:
        here = self.sea
        mission = self.mission
        now_ds = mission.base_ds + here.now_ds - here.started_ds
        clock = (here.clock_s() - mission.clock_from_s) * 10 - (now_ds - mission.clock_from_ds)
        return (
            self.quotient.key(copy[0], now_ds), watch.key(self.watch, here.now_ds, self._limits), _steering(copy[3]),
            here.place, here.motion, here.pressure, here.frozen_cm if here.pressure == sea.FROZEN else 0, here.contact,
            here.leak, here.supply, here.clock, here.store, here.lost > 0, here.stale, here.camera,
            -(-(here.wake_ds - here.now_ds) // 10), mission.clock_trusted and (clock > 100) - (clock < -100),
            here.now_ds - here.written_ds <= LEAP_DS,
            self._record_key(here.newest, now_ds), self._record_key(here.older, now_ds)[:2])

    def _record_key(self, record: bytes | None, now_ds: int) -> tuple:
        """What a reset would read from this record, as seen from now."""
        if record is None:
            return ()
        was = _RECORD.unpack_from(record)
        mission = self.mission
        age_ds = now_ds - was[_AT["mission_ds"]]
        descent_ds, command_ds = was[_AT["descent_ds"]], was[_AT["command_ds"]]
        clock = (self.sea.clock_s() - was[_AT["clock_s"]]) * 10 - age_ds if was[_AT["clock_s"]] else 0
        return (was[_STATE], was[_AT["flags"]], min(was[_AT["attempts"]], 7), was[_AT["release"]], was[_AT["camera"]],
                min(age_ds // LEAP_DS, 5), _apart(descent_ds, mission.descent_ds),
                _apart(command_ds, mission.command_ds), (clock > 100) - (clock < -100))

    # --- acts -----------------------------------------------------------------------------------------------------

    def possible(self) -> list[tuple[str, int]]:
        return acts.possible(self.mission, self.sea, self.watch)

    def perform(self, act: str) -> None:
        """Do it and let the leap pass. Raises Breach at the first step that breaks a law; ValueError for no act."""
        here = self.sea
        end_ds = here.now_ds + LEAP_DS
        self._cut = act if act in (acts.CUT_ATTEMPT, acts.CUT_ROW) else ""
        if act in acts.MOTIONS:
            here.motion = acts.MOTIONS[act]
        here.set_off()
        if act in acts.RESETS:
            here.shift_s += acts.IN_THE_DARK.get(act, 0)
            self._reset(*acts.RESETS[act])
            end_ds = max(end_ds, here.now_ds)
        elif act in acts.TURNED:
            self._turn(act)
        elif act in acts.JUMPS:
            here.shift_s += acts.JUMPS[act]
        else:
            self._people(act)
        self._until(end_ds)
        if self._cut == acts.CUT_ATTEMPT or self._cut == acts.CUT_ROW:
            self._cut = ""  # nothing of the kind came: power did not fail

    def _turn(self, act: str) -> None:
        here = self.sea
        name, word = acts.TURNED[act]
        setattr(here, name, word)
        if act == "pressure:frozen":
            here.frozen_cm = here.from_cm
        if name in ("contact", "leak"):
            self._wake()

    def _people(self, act: str) -> None:
        here = self.sea
        if act == acts.MAGNET:
            here.magnet = 1
            self._wake()
            self._until(here.now_ds + MAGNET_DS)
            here.magnet = 0
            self._wake()
        elif act in acts.COMMANDS:
            self._say(acts.COMMANDS[act])
        elif act == acts.BENCH:
            self._say(signals.READY_BACKUP)
            self._until(here.now_ds + 1)
            self._say(signals.FIRE)
        elif act in acts.SPIKES:
            here.spike_mbar = acts.SPIKES[act]
            self._wake()
            here.spike_mbar = -1
        elif act not in (acts.WAIT, acts.CUT_ATTEMPT, acts.CUT_ROW) and act not in acts.MOTIONS:
            raise ValueError("there is no act %r" % act)

    def _say(self, command: int) -> None:
        self.sea.command = command
        self._wake()
        self.sea.command = 0

    def _wake(self) -> None:
        """A line changed: the controller steps now."""
        if self.sea.wake_ds < STOPPED_DS:
            self._step()

    def _reset(self, away_ds: int, cause: int, found: int) -> None:
        here = self.sea
        self._lose_power()
        here.started_ds = sea.FAR_DS  # it sees nothing of the way that passes meanwhile
        for leap in range(away_ds // LEAP_DS):
            if leap:
                here.set_off()
            self._drift()
        here.now_ds += away_ds % LEAP_DS
        here.cause = cause
        self._boot(found)

    def _lose_power(self) -> None:
        """Outputs fall off with the controller."""
        for name, value in zip(_OUTPUTS, self._blank_outputs, strict=True):
            setattr(self.outputs, name, value)
        self.sea.work_camera(self.outputs, self.orders)
        self.sea.lost = 0
        watch.restarted(self.watch)

    def _drift(self) -> None:
        """A leap without a controller: the sea goes on, and the watch looks at it."""
        here = self.sea
        here.now_ds += LEAP_DS
        watch.look(self.watch, here, here.depth_cm(here.now_ds), self.orders)

    def _boot(self, found: int) -> None:
        here = self.sea
        if found == acts.OLDER:
            here.newest = here.older
        elif found == acts.BLANK:
            here.newest = None
        here.older = None
        here.started_ds = here.now_ds
        self.copier.put(self._fresh)
        here.fill(self.inputs, self.outputs, self.orders)
        if here.newest is None:
            self.watch.mission_ds = self.watch.last = -1
            self.watch.cut = 0
        elif found == acts.OLDER or here.stale:
            self.watch.mission_ds = _RECORD.unpack_from(here.newest)[_AT["mission_ds"]]
            self.watch.cut, self.watch.last = 0, -1  # the attempt was in the record that is gone
            self.watch.released_ds = -1  # and so may be that a release was commanded
        self.mission.boot(here.newest, self.inputs)
        self._first = True
        here.wake_ds = here.now_ds

    # --- steps ----------------------------------------------------------------------------------------------------

    def _until(self, end_ds: int) -> None:
        """Step at every wake before the end; what is due at the end belongs to the next leap."""
        here = self.sea
        steps = self.steps
        while True:
            edge_ds = here.contact_edge_ds()
            next_ds = min(here.wake_ds, edge_ds if edge_ds > here.now_ds else sea.FAR_DS)
            if next_ds >= end_ds:
                break
            here.now_ds = max(here.now_ds, next_ds)
            self._step()
            if self.steps - steps > STEPS_MAX:
                raise RuntimeError("the controller asks for more than %d steps in ten seconds" % STEPS_MAX)
        here.now_ds = end_ds
        watch.look(self.watch, here, here.depth_cm(end_ds), self.orders)

    def _step(self) -> None:
        here, mission, outputs, inputs = self.sea, self.mission, self.outputs, self.inputs
        self.steps += 1
        depth_cm = here.depth_cm(here.now_ds)
        watch.look(self.watch, here, depth_cm, self.orders)
        here.fill(inputs, outputs, self.orders)
        before = mission.state
        mission.step(inputs, outputs)
        records = self._records()
        if self._cut == acts.CUT_ROW and any(record[0] == journal.ROW for record in records):
            self._fail_power()
            return
        here.keep(outputs)
        moment = watch.Moment(mission, self.orders, here, self.watch, inputs, outputs, depth_cm, before, self._first,
                              records)
        moment.stopped = here.work_camera(outputs, self.orders)
        watch.remember(moment)
        broken = watch.broken_checks(moment)
        if broken:
            raise Breach(broken)
        watch.settle(moment)
        self._first = False
        here.wake_ds = here.now_ds + outputs.wake_ds
        if self._cut == acts.CUT_ATTEMPT and self.watch.driven and before != 0:
            self._fail_power()

    def _records(self) -> list:
        count = self.outputs.record_count
        if not count:
            return []
        records = self.outputs.records
        size = journal.RECORD_BYTES
        unpacked = [_RECORD.unpack_from(records, index * size) for index in range(count)]
        return [(was[_KIND], was[_CODE], was[_DETAIL], was[_STATE]) for was in unpacked]

    def _fail_power(self) -> None:
        self._cut = ""
        self._lose_power()
        self.sea.now_ds += acts.OUTAGE_DS
        self.sea.cause = 0
        self._boot(acts.NEWEST)


def _apart(recorded_ds: int, now_ds: int) -> int:
    """A moment in a record against the same in memory: -1 none, 0 the same, 1 another."""
    if recorded_ds < 0:
        return -1
    return 0 if recorded_ds == now_ds else 1
