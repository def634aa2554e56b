"""The story of a dive as it is told: states, attempts, power, beacon and records become evidence."""

import struct

from lander import journal as records
from lander import table, words
from seatrial.battery import capacity_fraction
from seatrial.evidence import Attempt, Span, TimelineItem
from seatrial.world import ALL_OFF

CHANNEL_PLACES = ((0, "primary"), (1, "backup"))
RECORD = records.RECORD_BYTES
# Events of the controller that are told as lines of their own; the rest stands in the journal only.
QUIET_EVENTS = (records.E_POWER, records.E_PRESS, records.E_GESTURE)


class Story:
    """Listens to a dive and fills its evidence."""

    def __init__(self, dive) -> None:
        self.dive = dive
        self.evidence = dive.evidence
        self.state = table.SAFE
        self.been_under = False
        self.boot = 0
        self._names: list[str] = []

    def tell(self, kind: str, what: str, reason: str, state: str = "") -> None:
        sea = self.dive.world
        state = state or (table.STATES[self.state] if sea.controller_on else "off")
        self.evidence.timeline.append(TimelineItem(sea.now_s, kind, state, sea.hull.depth_m, what, reason))

    # --- power ----------------------------------------------------------------------------------------------------

    def controller_on(self) -> None:
        now_s = self.dive.world.now_s
        self.boot += 1
        self.evidence.powered.append(Span("on", now_s))
        self._open_span(now_s)
        if self.boot > 1:
            self.tell("event", "controller started again", "")

    def controller_off(self, why: str) -> None:
        now_s = self.dive.world.now_s
        self.evidence.powered[-1].to_s = now_s
        self.levels_changed(self.dive.world.levels, ALL_OFF, "reset")
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
        evidence.state_changes += 1
        self._open_span(now_s)
        if state == table.ASCEND and evidence.command_s is not None:
            evidence.rise_confirmed_s = now_s
        elif state in (table.RELEASE, table.BACKUP):
            evidence.rise_confirmed_s = None
            if evidence.command_s is None:
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

    def levels_changed(self, before, levels, why: str = "") -> None:
        now_s = self.dive.world.now_s
        for place, channel in CHANNEL_PLACES:
            if levels[place] and not before[place]:
                self._attempt_begins(now_s, channel, levels, place)
            elif before[place] and not levels[place]:
                self._attempt_ends(now_s, channel, why or "off")
        if bool(levels[7]) != bool(before[7]):
            if levels[7]:
                self.evidence.beacon.append(Span("beacon", now_s))
            else:
                self.evidence.beacon[-1].to_s = now_s

    def _attempt_begins(self, now_s: float, channel: str, levels, place: int) -> None:
        sea = self.dive.world
        on = [name for name, lit in (("camera", levels[2] and sea.camera.section.supply != "own_pack"),
                                     ("lights", levels[5]), ("fan", levels[6])) if lit]
        if self.state == table.SAFE and sea.hull.in_water:
            self.evidence.bench_fires_under_water += 1
        self.evidence.attempts.append(Attempt(
            from_s=now_s, channel=channel, drive_pct=levels[place], loads_on=", ".join(on),
            in_water=sea.hull.in_water, been_under=self.been_under, both=bool(levels[0] and levels[1]), boot=self.boot))

    def _attempt_ends(self, now_s: float, channel: str, why: str) -> None:
        for attempt in reversed(self.evidence.attempts):
            if attempt.channel == channel and attempt.to_s is None:
                attempt.to_s = now_s
                attempt.end = why
                return

    # --- records --------------------------------------------------------------------------------------------------

    def read(self, outputs) -> None:
        """The records of one step, as they come; readings are passed over."""
        buffer = outputs.records
        self._names = []
        for index in range(outputs.record_count):
            at = index * RECORD
            mission_ds = struct.unpack_from("<I", buffer, at + 10)[0]
            if mission_ds < self.evidence.last_mission_ds:
                self.evidence.mission_time_fell += 1
            self.evidence.last_mission_ds = mission_ds
            if buffer[at + 1] != records.READING:
                self._read_one(records.fields(buffer[at:at + RECORD]))

    def forget(self, outputs) -> None:
        """Power failed while these were stored: the step never took effect."""
        if self._names:
            del self.evidence.rows_seen[-len(self._names):]
        self._names = []

    def _read_one(self, record: dict) -> None:
        kind, code, detail = record["kind"], record["code"], record["detail"]
        state = table.STATES[record["state"]]
        if kind == records.ROW:
            self._read_row(record["state"], code)
        elif kind == records.ATTEMPT:
            self.tell("attempt", "attempt %d: %s release" % (record["attempts"], words.CHANNELS[code]),
                      "driven at %d %%" % detail, state)
        elif kind == records.ATTEMPT_END:
            self.tell("attempt", "%s release off" % words.CHANNELS[code], words.ATTEMPT_ENDS[detail], state)
        elif kind == records.EVENT and code not in QUIET_EVENTS:
            reason = words.REFUSALS[detail] if code == records.E_ARM_REFUSED else ""
            self.tell("event", words.EVENTS[code], reason, state)

    def _read_row(self, state: int, number: int) -> None:
        label = table.label(number)
        self.evidence.rows_seen.append(label)
        self._names.append(label)
        sea = self.dive.world
        from_state = table.STATES[table.ROWS[number][table.FROM]]
        self.evidence.timeline.append(TimelineItem(
            sea.now_s, "state", table.STATES[state], sea.hull.depth_m,
            "%s to %s" % (from_state, table.STATES[state]), table.because(number)))
        if label.endswith("-disarm") and sea.hull.depth_m > self.dive.plan.thresholds.submerged_m:
            self.evidence.disarmed_under_water += 1
        if state in (table.RELEASE, table.BACKUP) and not self.evidence.command_reason:
            self.evidence.command_reason = table.because(number)

    def close(self) -> None:
        now_s = self.dive.world.now_s
        self._close_span(now_s)

    def read_back(self, store) -> None:
        """What the journal's memory holds at the end: the rows and attempts that a reader will find."""
        evidence = self.evidence
        data = store.data
        seen = set()
        for at in range(0, len(data), RECORD):
            record = data[at:at + RECORD]
            if record[1:2] == b"\x05" or not records.is_good(record):
                continue
            sequence = records.sequence_of(record)
            if sequence in seen:
                continue
            seen.add(sequence)
            if record[1] == records.ROW:
                evidence.journal_rows.append(table.label(records.fields(record)["code"]))
            elif record[1] == records.ATTEMPT:
                evidence.journal_attempts += 1


