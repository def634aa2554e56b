"""The story of a dive as it is told: states, attempts, power, beacon and records become evidence."""

import struct

from lander import journal as records
from lander import lamps, signals, table, words
from seatrial.battery import capacity_fraction
from seatrial.charge import ChargeSeen
from seatrial.evidence import Attempt, Span, TimelineItem
from seatrial.world import ALL_OFF

CHANNEL_PLACES = ((0, "primary"), (1, "backup"))
RECORD = records.RECORD_BYTES
READING = bytes([records.READING])
MISSION_DS_AT = struct.calcsize("<BBIHBB")  # of a record, what stands before its mission time
_TIMES = struct.Struct("<IIHi")  # and the times from there on: mission, clock, flags, descent
NO_CLOCK_FLAGS = records.FLAG_TIME_UNKNOWN | records.CONFIRMED  # the time of the descent counts for nothing then
READY_S = 10.2  # ready and fire must follow each other within ten seconds, as the controller counts them
DEEP_M = 5.0  # deeper than this is not the surface, whatever the swell
STEADY_MBAR = 5.0  # less noise than this hides no standstill
TRUE_MBAR = 150.0  # a reading so near the truth tells it: its noise, its lag, the swell
MOVED_BANDS = 4.0  # who moves by so many bands within the time of settling does not stand still
JUMP_MBAR, JUMP_MBAR_S = 500.0, 500.0  # twice what any lander rises between two readings (common practice, no source)
JUMPS_MAX = 2  # the first reading, and one jump; what jumps oftener is noise, and may look like anything
AIR_SEEN_S = 60.0  # to see that it is back in air: a hold of half a minute, its steps and a margin
AIR_WITHIN_MBAR = 60.0  # a reading so far off the true air pressure is not air's
FIX_S = 60.0  # from the first report to a position that is heard, under open sky (common practice, no source)
# Events of the controller that are told as lines of their own; the rest stands in the journal only.
QUIET_EVENTS = (records.E_POWER, records.E_PRESS, records.E_GESTURE)


def reason_of(event: int, detail: int) -> str:
    """What the detail of an event of the controller says in words, where it says more than the event itself."""
    if event == records.E_ARM_REFUSED:
        return "%s; status lamp: %s" % (words.REFUSALS[detail], words.STATUS_LAMP[lamps.REFUSED + lamps.GROUPS[detail]])
    if event in (records.E_ARMED_ANYWAY, records.E_COMMAND_REFUSED):
        return words.REFUSALS[detail]
    if event == records.E_SELF_TEST:
        return "passed: %s" % (", ".join(text for bit, text in words.SELF_TEST.items() if detail & bit) or "nothing")
    return ""


def _is_bench_fire(record: bytes) -> bool:
    return record[1] == records.EVENT and records.fields(record)["code"] == records.E_BENCH_ON


class Story:
    """Listens to a dive and fills its evidence."""

    def __init__(self, dive) -> None:
        self.dive = dive
        self.evidence = dive.evidence
        self.state = table.SAFE
        self.been_under = False
        self.boot = 0
        self.charge = ChargeSeen(dive.given_plan)
        self.air_mbar = dive.plan.site.air_pressure_hpa
        self._rows: list[tuple[int, str]] = []  # of the last step: place of the record, label of the row
        self._ahead_s: float | None = None  # of the descent's time in the records before the true one, at its first
        self._signs_since_s: list[float | None] = [None, None]  # since when one, and both, have shown water
        self._air_since_s: float | None = None  # since when both signs have shown air
        self._stood: tuple[float, float] | None = None  # in the state ascend, for all to see: since when, and where
        self._starting = False  # the step now is the controller's first
        self._ready: tuple[float, int] | None = None  # on the bench: when, and which channel
        self._fire_asked: tuple[float, int] | None = None
        self._told: tuple[float, int] | None = None  # in the states of release: when, and the last pressure reading
        self._jumps = 0  # of the readings since then
        self._deepest_mbar = 0  # of the readings since then, or since they jumped

    def tell(self, kind: str, what: str, reason: str, state: str = "") -> None:
        sea = self.dive.world
        state = state or (table.STATES[self.state] if sea.controller_on else "off")
        self.evidence.timeline.append(TimelineItem(sea.now_s, kind, state, sea.hull.depth_m, what, reason))

    # --- power ----------------------------------------------------------------------------------------------------

    def controller_on(self) -> None:
        now_s = self.dive.world.now_s
        self.boot += 1
        self._starting = True
        self.evidence.powered.append(Span("on", now_s))
        self._open_span(now_s)
        if self.boot > 1:
            self.tell("event", "controller started again", "")

    def controller_off(self, why: str) -> None:
        now_s = self.dive.world.now_s
        self.evidence.powered[-1].to_s = now_s
        self.levels_changed(self.dive.world.levels, ALL_OFF, "reset")
        self.charge.reset()
        self._signs_since_s = [None, None]
        self._air_since_s = None
        self.tell("reset", "controller reset", why)
        self._close_span(now_s)
        self.evidence.spans.append(Span("off", now_s))

    def _open_span(self, now_s: float) -> None:
        self._close_span(now_s)
        self.evidence.spans.append(Span(table.STATES[self.state], now_s))

    def _close_span(self, now_s: float) -> None:
        if self.evidence.spans and self.evidence.spans[-1].to_s is None:
            self.evidence.spans[-1].to_s = now_s

    # --- outputs --------------------------------------------------------------------------------------------------

    def change_state(self, state: int) -> None:
        now_s = self.dive.world.now_s
        evidence = self.evidence
        self.state = state
        if self._starting:
            evidence.states_at_start += 1
        else:
            evidence.state_changes += 1
        self._open_span(now_s)
        if state in (table.RELEASE, table.BACKUP) and evidence.command_s is None:
            evidence.command_s = now_s
            self._weigh_battery()

    def _weigh_battery(self) -> None:
        """Charge that the pack can truly still give, and what it could have given at the start."""
        sea = self.dive.world
        battery = sea.battery
        temperature_c = sea.heat.housing_c
        power = sea.plan.power
        full_mah = 1000.0 * power.capacity_ah * battery.capacity_factor * capacity_fraction(power, temperature_c)
        self.evidence.pack_mah = full_mah * power.charge_at_start_fraction
        self.evidence.left_at_command_mah = battery.left_fraction(temperature_c) * full_mah
        self.evidence.unseen_mah = self.charge.unseen_mah(battery.used_ah)
        self.evidence.low_shown_s = self.charge.low_shown_s

    def levels_changed(self, before, levels, why: str = "") -> None:
        now_s = self.dive.world.now_s
        loads_on = self._loads_on(levels)
        for place, channel in CHANNEL_PLACES:
            if levels[place] and not before[place]:
                self._attempt_begins(now_s, channel, levels, place, self._loads_on(before) or loads_on)
            elif levels[place] and loads_on:
                self._open_attempt(channel).loads_on = loads_on
            elif before[place] and not levels[place]:
                self._attempt_ends(now_s, channel, why)
        if bool(levels[7]) != bool(before[7]):
            if levels[7]:
                self.evidence.beacon.append(Span("beacon", now_s))
            else:
                self.evidence.beacon[-1].to_s = now_s

    def _loads_on(self, levels) -> str:
        sea = self.dive.world
        return ", ".join(name for name, lit in (
            ("camera", levels[2] and sea.camera.section.supply != "own_pack"), ("lights", levels[5]),
            ("fan", levels[6])) if lit)

    def _attempt_begins(self, now_s: float, channel: str, levels, place: int, loads_on: str) -> None:
        sea = self.dive.world
        if self.state == table.SAFE and sea.hull.in_water and self._air_since_s is None:
            self.evidence.bench_fires_under_water += 1
        elif self.state == table.SAFE and sea.hull.in_water:
            self.evidence.bench_fires_unwarned += 1
        asked = self._fire_asked is not None and self.state == table.SAFE and self._fire_asked == (now_s, place)
        (self.evidence.bench_fires if asked else self.evidence.attempts).append(Attempt(
            from_s=now_s, channel=channel, drive_pct=levels[place], loads_on=loads_on,
            in_water=sea.hull.in_water, been_under=self.been_under, both=bool(levels[0] and levels[1]), boot=self.boot,
            deck_unseen=not self._air_shown(), unrecorded=self.dive.records_lost > 0))

    def _open_attempt(self, channel: str) -> Attempt:
        every = (*self.evidence.bench_fires, *self.evidence.attempts)
        return next(one for one in reversed(every) if one.channel == channel and one.to_s is None)

    def _attempt_ends(self, now_s: float, channel: str, why: str) -> None:
        attempt = self._open_attempt(channel)
        attempt.to_s = now_s
        attempt.end = why or attempt.end or "off"
        attempt.deck_unseen = attempt.deck_unseen and not self._air_shown()

    def _air_shown(self) -> bool:
        """Both signs have shown air for as long as it takes to be sure of it."""
        return self._air_since_s is not None and self.dive.world.now_s - self._air_since_s >= AIR_SEEN_S

    # --- inputs ---------------------------------------------------------------------------------------------------

    def hear(self, command: int) -> None:
        """What was said over the serial line: on the bench, ready and then fire."""
        now_s, ready = self.dive.world.now_s, self._ready
        if command in (signals.READY_PRIMARY, signals.READY_BACKUP):
            self._ready = now_s, 0 if command == signals.READY_PRIMARY else 1
        elif command == signals.FIRE and ready and now_s - ready[0] <= READY_S:
            self._fire_asked, self._ready = (now_s, ready[1]), None

    def look_at_inputs(self, inputs) -> None:
        """What the controller was told in this step."""
        world = self.dive.world
        self.charge.step(world.now_s, inputs, world.levels)
        if self.state == table.RELEASE or self.state == table.BACKUP:
            self._follow_pressure(inputs)
        self._look_for_air(inputs)
        self._look_whether_stood(inputs)
        evidence = self.evidence
        if evidence.both_signs_s is not None or evidence.under_s is None:
            return
        shown = int(bool(inputs.contact_ok and inputs.contact_wet)) + int(
            bool(inputs.pressure_ok) and inputs.pressure_mbar >= self.dive.submerged_mbar)
        if self._lasts(0, shown >= 1) and evidence.water_shown_s is None:
            evidence.water_shown_s = world.now_s
        if self._lasts(1, shown == 2):
            evidence.both_signs_s = world.now_s

    def _follow_pressure(self, inputs) -> None:
        """From which reading on a rise would count: a jump up, faster than anything comes up, is none."""
        now_s, told, mbar = self.dive.world.now_s, self._told, inputs.pressure_mbar
        if not inputs.pressure_ok:
            self._told = None
            return
        jumped = told is None or abs(told[1] - mbar) > JUMP_MBAR + JUMP_MBAR_S * (now_s - told[0])
        self._jumps += jumped
        self._deepest_mbar = mbar if jumped else max(mbar, self._deepest_mbar)
        self._told = now_s, mbar

    def _look_whether_stood(self, inputs) -> None:
        """For how long it has been in the state ascend, though it stands still and its pressure shows that."""
        world, evidence = self.dive.world, self.evidence
        stands = (self.state == table.ASCEND and evidence.command_s is not None and world.hull.speed_m_s == 0.0
                  and world.hull.depth_m > DEEP_M and bool(inputs.pressure_ok) and world.pressure.is_steady(STEADY_MBAR)
                  and abs(inputs.pressure_mbar - world.pressure_mbar()) < TRUE_MBAR)
        stood = self._stood
        if not stands:
            self._stood = None
        elif stood is None or world.hull.depth_m != stood[1]:
            self._stood = world.now_s, world.hull.depth_m
        else:
            evidence.stood_s = max(evidence.stood_s, world.now_s - stood[0])

    def _look_for_air(self, inputs) -> None:
        """What the signs tell of the air, rightly or not."""
        world, evidence = self.dive.world, self.evidence
        dry = inputs.contact_ok and not inputs.contact_wet
        light = inputs.pressure_ok and abs(inputs.pressure_mbar - self.air_mbar) <= AIR_WITHIN_MBAR
        if dry or light:
            evidence.air_told_s = world.now_s
        if not (dry and light):
            self._air_since_s = None
        elif self._air_since_s is None:
            self._air_since_s = world.now_s
        if inputs.contact_wet and evidence.surfaced_s is not None:
            evidence.wet_shown_afloat = True
        if dry and world.hull.on_bottom and world.pressure.feigns_rise():
            evidence.ascent_feigned = True

    def _lasts(self, place: int, shown: bool) -> bool:
        """Whether it has been shown for as long as a sign needs."""
        now_s, since_s = self.dive.world.now_s, self._signs_since_s[place]
        if not shown or since_s is None:
            self._signs_since_s[place] = now_s if shown else None
            return False
        return now_s - since_s >= self.dive.given_plan.thresholds.sign_hold_s

    def look_at_leak(self) -> None:
        """Water at the probe comes or goes."""
        now_s, leaks = self.dive.world.now_s, self.evidence.leaks
        felt = self.dive.world.leak_felt()
        if felt and not (leaks and leaks[-1].to_s is None):
            leaks.append(Span("leak", now_s))
        elif not felt and leaks and leaks[-1].to_s is None:
            leaks[-1].to_s = now_s

    def look_at_reports(self) -> None:
        """Whether its position can be heard; that must last, longer where waves go over the antenna."""
        sea, reports = self.dive.world, self.evidence.reports
        out = sea.position_goes_out()
        if not out and reports and reports[-1].to_s is None:
            reports[-1].to_s = sea.now_s
        elif out and not (reports and reports[-1].to_s is None):
            span = Span("report", sea.now_s)
            reports.append(span)
            self.dive.at(sea.now_s + FIX_S / (1.0 - sea.antenna_awash), lambda: self._hear(span))

    def _hear(self, span: Span) -> None:
        if span.to_s is None and self.evidence.heard_s is None:
            self.evidence.heard_s = self.dive.world.now_s
            self.tell("event", "its position was heard", "")

    # --- records --------------------------------------------------------------------------------------------------

    def read(self, outputs) -> None:
        """The records of one step, as they come; readings are passed over."""
        buffer = outputs.records
        self._rows = []
        for index in range(outputs.record_count):
            at = index * RECORD
            mission_ds, _clock_s, flags, descent_ds = _TIMES.unpack_from(buffer, at + MISSION_DS_AT)
            if mission_ds < self.evidence.last_mission_ds and not flags & records.FLAG_TIME_UNKNOWN:
                self.evidence.mission_time_fell += 1
            self.evidence.last_mission_ds = mission_ds
            self._look_at_clock(mission_ds, flags, descent_ds)
            if buffer[at + 1] != records.READING:
                self._read_one(records.fields(buffer[at:at + RECORD]), index)

    def _look_at_clock(self, mission_ds: int, flags: int, descent_ds: int) -> None:
        """Whether the time of the descent, as the records have it, goes as fast as the true one."""
        if descent_ds < 0 or flags & NO_CLOCK_FLAGS:
            self._ahead_s = None
            return
        ahead_s = (mission_ds - descent_ds) * 0.1 - self.dive.world.now_s
        if self._ahead_s is None:
            self._ahead_s = ahead_s
        self.evidence.clock_behind_s = max(self.evidence.clock_behind_s, self._ahead_s - ahead_s)

    def stepped(self) -> None:
        """A step has taken effect."""
        self._starting = False

    def forget(self, stored: int) -> None:
        """Power failed while the records of a step were stored: rows behind the first `stored` were never taken."""
        lost = sum(index >= stored for index, _label in self._rows)
        if lost:
            del self.evidence.rows_seen[-lost:]
        self._rows = []

    def _read_one(self, record: dict, index: int) -> None:
        kind, code, detail = record["kind"], record["code"], record["detail"]
        state = table.STATES[record["state"]]
        if kind == records.ROW:
            self._read_row(record["state"], code, index)
        elif kind == records.ATTEMPT:
            self.tell("attempt", "attempt %d: %s release" % (record["attempts"], words.CHANNELS[code]),
                      "driven at %d %%" % detail, state)
        elif kind == records.ATTEMPT_END:
            self._tell_end(words.CHANNELS[code], words.ATTEMPT_ENDS[detail], state)
        elif kind == records.EVENT and code not in QUIET_EVENTS:
            self.tell("event", words.EVENTS[code], reason_of(code, detail), state)
            if code == records.E_BUG:
                self.evidence.bug_s = self.dive.world.now_s
            if code == records.E_ARM_REFUSED:
                self.evidence.arming_refused = words.REFUSALS[detail]

    def _tell_end(self, channel: str, why: str, state: str) -> None:
        """An attempt is over, as its record has it: before its level falls or after."""
        self.tell("attempt", "%s release off" % channel, why, state)
        for attempt in reversed(self.evidence.attempts):
            if attempt.channel == channel:
                attempt.end = attempt.end if attempt.end == "reset" else why
                return

    def _read_row(self, state: int, number: int, index: int) -> None:
        label = table.label(number)
        self.evidence.rows_seen.append(label)
        self._rows.append((index, label))
        sea = self.dive.world
        self._look_at_reason(table.ROWS[number])
        from_state = table.STATES[table.ROWS[number][table.FROM]]
        self.evidence.timeline.append(TimelineItem(
            sea.now_s, "state", table.STATES[state], sea.hull.depth_m,
            "%s to %s" % (from_state, table.STATES[state]), table.because(number)))
        if label.endswith("-disarm") and sea.hull.depth_m > self.dive.plan.thresholds.submerged_m:
            self.evidence.disarmed_under_water += 1
        elif label.endswith("-disarm") and sea.hull.in_water and self._air_since_s is not None:
            self.evidence.disarmed_dry_s = self.evidence.disarmed_dry_s or sea.now_s
        if state in (table.RELEASE, table.BACKUP) and not self.evidence.command_reason:
            self.evidence.command_reason = table.because(number)

    def _look_at_reason(self, row) -> None:
        """Whether a row was taken for what its readings told, where they told the truth or what nobody can believe."""
        sea, evidence = self.dive.world, self.evidence
        if row[table.WHEN] == table.SETTLED and evidence.motion_believed_s is None:
            thresholds = self.dive.plan.thresholds
            moves = abs(sea.hull.speed_m_s) * thresholds.settled_s > MOVED_BANDS * thresholds.settled_band_m
            told = not sea.pressure.absent and abs(sea.pressure.last_mbar - sea.pressure_mbar()) < TRUE_MBAR
            if moves and told and sea.hull.in_water and not sea.hull.on_bottom:
                evidence.motion_believed_s = sea.now_s
        elif row[table.WHEN] == table.RISING and row[table.FROM] in (table.RELEASE, table.BACKUP):
            rise_mbar = 100.0 * self.dive.plan.release.rise_m
            still = sea.hull.on_bottom and self._told and self._deepest_mbar - self._told[1] < rise_mbar / 2.0
            if still and self._jumps <= JUMPS_MAX:
                evidence.rise_believed_s = sea.now_s
        if row[table.TO] not in (table.RELEASE, table.BACKUP):
            self._told, self._jumps = None, 0

    def close(self) -> None:
        now_s = self.dive.world.now_s
        self._close_span(now_s)
        for attempt in self.evidence.attempts:
            if attempt.to_s is None:
                attempt.deck_unseen = attempt.deck_unseen and not self._air_shown()

    def read_back(self, store) -> None:
        """What the journal's memory holds at the end: the rows and attempts that a reader will find."""
        evidence = self.evidence
        data = store.data
        found: dict[int, bytes] = {}
        for at in range(0, len(data), RECORD):
            record = data[at:at + RECORD]
            if record[1:2] in (READING, b"\xff") or not records.is_good(record):
                continue
            found.setdefault(records.sequence_of(record), record)
        numbers = sorted(found) if store.overwritten else list(found)
        for record in (found[number] for number in numbers):
            if record[1] == records.ROW:
                evidence.journal_rows.append(table.label(records.fields(record)["code"]))
            elif record[1] == records.ATTEMPT or _is_bench_fire(record):
                evidence.journal_attempts += 1
        evidence.journal_overwritten = store.overwritten
        evidence.journal_damaged = store.damaged
