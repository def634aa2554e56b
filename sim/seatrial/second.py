"""The second board at sea: the dead man's own code, with battery, clock and sensors of its own, beside the main one.

It reaches the dive by one door, `attach` and `begin`, and the world by one wire: `World.second_pct`, the drive of its
own driver on the backup mechanism. There the two drivers are an OR, so that the mechanism feels the stronger one; each
battery pays for its own drive in full, which is the worse case for both.

What may break is an attribute: `pressure.absent` and the other faults of the sensor, `contact_dead`,
`contact_bridged`, `battery.connected`, `store_refuses`; `reset()` and `hang()` are deeds of a moment.

While nothing moves it is passed over (`seatrial.leap`); the dive calls `look` whenever something may have changed.
"""

from bisect import bisect_left
from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

from deadman import BOTH, CONTACT_ONLY, FEED_DS, PRESSURE_ONLY, RECORD_BYTES, WATCH_DS, DeadMan, Inputs, Outputs
from lander import orders
from seatrial import leap
from seatrial.bare import bare
from seatrial.battery import Battery
from seatrial.dice import Dice
from seatrial.evidence import Drive, SecondEvidence, Span
from seatrial.plan.energy import second_ma
from seatrial.plan.sections import Second
from seatrial.sensors import PressureSensor
from seatrial.story import AIR_WITHIN_MBAR

SIGNS = {"both": BOTH, "pressure": PRESSURE_ONLY, "contact": CONTACT_ONLY}
ERASED = b"\xff" * RECORD_BYTES
POWER_LOOK_S = 10.0  # without power it looks this often whether it can start


class View(NamedTuple):
    """Everything around the board that it could feel, but for the time."""

    in_water: bool
    depth_m: float
    stands: bool  # nothing moves the lander but the swell
    swell_m: float
    outside_c: float
    contact_wet: int
    magnet: int
    store_refuses: bool
    pressure: tuple
    battery: tuple


@dataclass
class _Leap:
    """The steps that are passed over: what it felt all the time, and when the main board stepped meanwhile."""

    from_s: float
    steps: int
    view: View
    beats_before: int
    beats_s: list[float]


class SecondBoard:
    """One second board for one dive. `leaps` False: every one of its steps is taken for itself, which is slow."""

    def __init__(self, section: Second | None = None, leaps: bool = True) -> None:
        self.section = section = bare(section or Second(fitted=True))
        self.battery = Battery(section)
        self.slots = [ERASED, ERASED]
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.evidence = SecondEvidence()
        self.on = False
        self.dead = False
        self.magnet = 0
        self.contact_dead = False
        self.contact_bridged = False
        self.store_refuses = False
        self._leaps = leaps
        self._leap: _Leap | None = None
        self._turn = 0  # the step that is scheduled; one asked for before a reset never comes
        self._boot_s = 0.0
        self._paid_s = 0.0
        self._rate = 1.0 + section.drift_ppm * 1e-6
        self._watch_s = WATCH_DS * 0.1 / self._rate

    @property
    def drives(self) -> list[Drive]:
        """Every time that it energised the backup mechanism."""
        return self.evidence.drives

    @property
    def starts(self) -> int:
        """How often it started."""
        return len(self.evidence.powered)

    def attach(self, dive) -> None:
        """Belong to this dive, for good; it runs from `begin` on."""
        self.dive = dive
        self.world = dive.world
        self._submerged_mbar = self.world.water.pressure_mbar_at(dive.given_plan.thresholds.submerged_m)
        full_mbar = int(self.world.water.pressure_mbar_at(self.section.range_m))
        self.pressure = PressureSensor(self.section, full_mbar, Dice(dive.seed).fork("second pressure"),
                                       dive.plan.site.air_pressure_hpa)
        self.orders = orders.unpack(dive.given_plan.mission_record())
        self.evidence.deadline_s = self.orders.latest_release_ds * 0.1 + 60.0 * self.section.margin_min
        self.evidence.clock_off_s = self.evidence.deadline_s * abs(self.section.drift_ppm) * 1e-6
        dive.evidence.second = self.evidence

    def begin(self) -> float:
        """Power comes; returns seconds after the splash by which it will have fired."""
        self._start(1)
        return self.evidence.deadline_s

    def look(self) -> None:
        """Something may have changed around the board: while it is passed over, see whether it did."""
        if self._leap is not None and self._view() != self._leap.view:
            self._end_leap()

    def beat(self, now_s: float) -> None:
        """The main board has turned its heartbeat line over."""
        if self._leap is not None:
            self._leap.beats_s.append(now_s)

    def finish(self) -> None:
        """The run is over."""
        self._end_leap()
        self.evidence.left_fraction = self.battery.left_fraction(self.world.outside_c())

    # --- power ----------------------------------------------------------------------------------------------------

    def reset(self, power_failed: int = 1) -> None:
        """It loses its memory and its drive, and starts again when its battery can carry it."""
        self._end_leap()
        if self.on:
            self._settle(self.world.now_s, self.world.outside_c())
            self._drive(0)
            self.on = False
            self.evidence.powered[-1].to_s = self.world.now_s
            self.dive.story.tell("reset", "the second board resets", "power failed" if power_failed else
                                 "its watchdog bit")
            self._later(self.section.boot_s, lambda: self._try_to_start(power_failed))

    def hang(self) -> None:
        """It stands still, its drive as it is, until its watchdog bites."""
        self._end_leap()
        if self.on:
            self._later(self.section.watchdog_s, lambda: self.reset(power_failed=0))

    def _try_to_start(self, power_failed: int) -> None:
        if self._supply_mv(self.section.controller_ma) >= self.section.recover_mv and not self.dead:
            self._start(power_failed)
        else:
            self._later(POWER_LOOK_S, lambda: self._try_to_start(1))

    def _start(self, power_failed: int) -> None:
        now_s = self._boot_s = self._paid_s = self.world.now_s
        self.on = True
        self.evidence.powered.append(Span("on", now_s))
        if self.starts > 1:
            self.dive.story.tell("event", "the second board started again", "")
        self.dead_man = DeadMan(self.orders, self.slots, power_failed, SIGNS[self.section.signs],
                                round(self.section.margin_min * 600))
        self._step()

    def _supply_mv(self, load_ma: float) -> float:
        return self.battery.supply_mv(load_ma, self.world.outside_c())

    def _load_ma(self) -> float:
        return self.world.backup.drawn_ma(self.world.second_pct)

    def _settle(self, now_s: float, outside_c: float, steps: int = 1) -> None:
        """Pay for the time since the last step, in which it has been awake `steps` times."""
        span_s = now_s - self._paid_s
        self._paid_s = now_s
        if span_s > 0.0:
            self.battery.draw(self._mean_ma(span_s / steps) + self._load_ma(), span_s, outside_c)

    def _mean_ma(self, span_s: float) -> float:
        """Its own current, for a look and the sleep after it; looks that only feed the watchdog are paid for too."""
        return second_ma(self.section, min(span_s, FEED_DS * 0.1))

    def hold_magnet(self, level: int) -> None:
        """The magnet comes (1) or goes (0); the line wakes the board."""
        self._end_leap()
        self.magnet = level
        if self.on:
            self._step()

    # --- its turns --------------------------------------------------------------------------------------------------

    def _later(self, after_s: float, action) -> None:
        self._turn += 1
        turn = self._turn
        self.dive.at(self.world.now_s + after_s, lambda: action() if turn == self._turn else None)

    def _step(self) -> None:
        """The step that is due now."""
        now_s, view = self.world.now_s, self._view()
        self._step_at(now_s, view, self.dive.steps)
        self._drive(self.outputs.fire_pct)
        if self._supply_mv(self.section.controller_ma + self._load_ma()) < self.section.brownout_mv:
            self.reset()
            return
        steps = self._quiet_steps(view) if self._leaps and view.stands else 0
        if steps > leap.REAL_STEPS:
            self._leap = _Leap(now_s, steps, view, self.dive.steps, [])
            self._later(steps * self._watch_s, self._wake)
        else:
            self._later(self.outputs.wake_ds * 0.1 / self._rate, self._step)

    def _step_at(self, now_s: float, view: View, beats: int) -> None:
        self._settle(now_s, view.outside_c)
        self._fill(now_s, view, beats)
        self.dead_man.step(self.inputs, self.outputs)
        if self.outputs.write and not view.store_refuses:
            self.slots[self.outputs.slot] = bytes(self.outputs.record)

    def _fill(self, now_s: float, view: View, beats: int) -> None:
        inputs = self.inputs
        inputs.uptime_ds = int((now_s - self._boot_s) * self._rate * 10.0 + 1e-6)
        inputs.pressure_ok = 0 if self.pressure.absent else 1
        if inputs.pressure_ok:
            true_mbar = self.world.pressure_at(view.in_water, view.depth_m, view.swell_m, now_s)
            inputs.pressure_mbar = self.pressure.read(true_mbar, now_s)
        inputs.contact_ok = 1
        inputs.contact_wet = view.contact_wet
        inputs.magnet = view.magnet
        heartbeats = beats & 0xFFFF  # the main board turns the line over at each of its steps
        if heartbeats != inputs.heartbeats:
            self.evidence.heard_s = now_s
        inputs.heartbeats = heartbeats
        if not self.evidence.saw_water:
            self.evidence.saw_water = self._sees_water()

    def _sees_water(self) -> bool:
        inputs, signs = self.inputs, self.section.signs
        deep = bool(inputs.pressure_ok) and inputs.pressure_mbar > self._submerged_mbar
        return (deep and signs != "contact") or (bool(inputs.contact_wet) and signs != "pressure")

    def _shows_air(self) -> bool:
        """Whether every sign that is fitted shows air."""
        inputs, signs = self.inputs, self.section.signs
        near = abs(inputs.pressure_mbar - self.dive.plan.site.air_pressure_hpa) < AIR_WITHIN_MBAR
        return ((signs == "contact" or (bool(inputs.pressure_ok) and near))
                and (signs == "pressure" or not inputs.contact_wet))

    def _drive(self, pct: int) -> None:
        if pct == self.world.second_pct:
            return
        now_s, story = self.world.now_s, self.dive.story
        if self.drives and self.drives[-1].to_s is None:
            self.drives[-1].to_s = now_s
        if pct:
            self.drives.append(Drive(now_s, pct, self.world.hull.in_water, story.been_under,
                                     deck_unseen=not self._shows_air()))
            story.tell("attempt", "second board, attempt %d: backup release" % len(self.drives),
                       "driven at %d %%, %s" % (pct, self._heartbeat_words(now_s)))
        else:
            story.tell("attempt", "second board: backup release off", "")
        self.world.second_pct = pct

    def _heartbeat_words(self, now_s: float) -> str:
        heard_s = self.evidence.heard_s
        if heard_s is None:
            return "no heartbeat was ever heard"
        minutes = (now_s - heard_s) / 60.0
        return "heartbeat heard" if self.outputs.heard else "no heartbeat for %.0f min" % minutes

    # --- what is passed over ----------------------------------------------------------------------------------------

    def _view(self) -> View:
        world, hull, pressure, battery = self.world, self.world.hull, self.pressure, self.battery
        return View(
            hull.in_water, hull.depth_m, not hull.in_water or hull.on_bottom or hull.caught or _is_afloat(hull),
            world.swell_m, world.outside_c(),
            1 if (hull.in_water or self.contact_bridged) and not self.contact_dead else 0,
            self.magnet, self.store_refuses,
            (pressure.absent, pressure.frozen, pressure.offset_mbar, pressure.extra_noise_mbar, pressure.spikes,
             pressure.creeps, pressure.warmths),
            (battery.connected, battery.extra_mohm, battery.cells_gone, battery.capacity_factor))

    def _quiet_steps(self, view: View) -> int:
        """How many steps from this one on may be passed over; a sensor with a fault is never passed over."""
        if any(view.pressure) or self.world.second_pct or not self.on:
            return 0
        crest_s = 0.5 * self.dive.plan.site.swell_period_s
        true_mbar = [self.world.pressure_at(view.in_water, view.depth_m, view.swell_m, now_s)
                     for now_s in (0.0, crest_s)]  # in the trough and under the crest
        noise_mbar, step_mbar = self.pressure.noise_mbar + 1, self.pressure.resolution_mbar
        steps = leap.quiet_steps(self.dead_man, self.outputs.wake_ds, int(min(true_mbar)) - noise_mbar - step_mbar,
                                 min(int(max(true_mbar)) + noise_mbar, self.pressure.full_mbar))
        return steps if steps and self._lasts(steps, view.outside_c) else 0

    def _lasts(self, steps: int, outside_c: float) -> bool:
        """The battery carries the board through so many steps."""
        battery = self.battery
        used_ah = battery.used_ah
        battery.draw(self._mean_ma(self._watch_s), steps * self._watch_s, outside_c)
        lasts = battery.supply_mv(self.section.controller_ma, outside_c) >= self.section.brownout_mv
        battery.used_ah = used_ah
        return lasts

    def _wake(self) -> None:
        self._end_leap()
        self._step()

    def _end_leap(self) -> None:
        """Take what was passed over up to now, but for a step that is due now, and go on step by step."""
        over, self._leap = self._leap, None
        if over is None:
            return
        done = max(0, ceil((self.world.now_s - over.from_s) / self._watch_s - 1e-9) - 1)
        first = max(0, done - leap.REAL_STEPS)
        if first:
            self._pass_by(over, first)
        for number in range(first + 1, done + 1):
            now_s = over.from_s + number * self._watch_s
            self._step_at(now_s, over.view, over.beats_before + bisect_left(over.beats_s, now_s))
        self._later(over.from_s + (done + 1) * self._watch_s - self.world.now_s, self._step)

    def _pass_by(self, over: _Leap, steps: int) -> None:
        now_s = over.from_s + steps * self._watch_s
        count = bisect_left(over.beats_s, now_s)
        beat_step = 0
        if count:
            beat_step = int((over.beats_s[count - 1] - over.from_s) / self._watch_s) + 1
            self.evidence.heard_s = over.from_s + beat_step * self._watch_s
        self.inputs.heartbeats = over.beats_before + count & 0xFFFF
        leap.pass_by(self.dead_man, steps, self.inputs.heartbeats, beat_step)
        self._settle(now_s, over.view.outside_c, steps)
        for _ in range(steps):
            self.pressure.dice.u16()  # what the readings would have drawn
        self.pressure.read_s = now_s


def _is_afloat(hull) -> bool:
    return hull.depth_m <= 0.0 and hull.speed_m_s <= 0.0 and hull.net_force_n(0.0) <= 0.0
