"""The body that flies the board's own code: drivers, gear and flight in a MicroPython process, with simulated chips.

What the mission is told comes out of registers and bytes, and what it wants counts only when it reaches a pin; the
process and what answers it stand in `seatrial.board_process`.

Time. The board counts its own milliseconds, which go on only while it sleeps. It steps when the mission asked for it,
as the engine does, or when an edge wakes it. Its first step comes `START_MS` after its start, when the engine has its
own: the board's count is that much ahead, and `boot_s` of the plan holds the time.

The records of the engine's journal are those that the board tells; the board keeps its own journal on a flash of its
own. The two are equal while nothing is wrong with the flash. Faults of the engine's store reach the flash: one that
refuses, and the cut in the middle of the next record, which falls on the first change of the flash in that step; a cut
is not laid into the second or a later record of one step.
"""

from collections import deque
from typing import Any

from lander import wire
from lander.journal import RECORD_BYTES
from seatrial.board_files import constants
from seatrial.board_process import HEAP_BYTES, BoardProcess, numbers
from seatrial.bodies import BodyError
from seatrial.electronics import EPOCH_S, Electronics

APPLY_MS = 220  # lamps rise in 200 ms, and a wire is armed some milliseconds before it is fired
STEP_ONLY = ("state", "beacon_code", "report", "status_code", "refused", "self_test", "wake_ds", "record_count")
DRIVEN = ("release_primary_pct", "release_backup_pct", "lights_pct")  # what a driver brings about only by and by
# How old a reading may be when it counts, s: the limits of the drivers.
AGE_S = {"pressure_mbar": 2.0, "supply_mv": 1.2, "supply_ma": 1.2, "camera_ma": 1.2, "camera_centi_c": 60.0,
         "water_centi_c": 60.0, "housing_centi_c": 2.0, "camera_lamp_permille": 0.0, "release_ma": 0.3, "clock_s": 0.0,
         "contact_wet": 3.0, "leak_wet": 3.0, "magnet": 1.0}
# The input that says whether another is valid, where there is one.
VALID_BY = {"pressure_mbar": "pressure_ok", "supply_mv": "supply_ok", "supply_ma": "current_ok",
            "camera_ma": "camera_feedback_ok", "camera_lamp_permille": "camera_feedback_ok",
            "camera_centi_c": "camera_temp_ok", "water_centi_c": "water_temp_ok", "housing_centi_c": "housing_temp_ok",
            "release_ma": "release_ok", "clock_s": "clock_ok", "contact_wet": "contact_ok", "leak_wet": "leak_ok"}


class BoardBody(BoardProcess):
    """Flies the pins of one board file. `attach` first; then `boot` and `step` as every body has them.

    `fitted` are other numbers than those in `boards.fitted`, by name. `differences` is the furthest that each input of
    the board has been from the engine's, in the input's unit; `electronics.allowed` says how far it may be. `felt` are
    the inputs of its last step, made at `stepped_ms` of its own count; `said` is what it printed last on its serial
    line. BodyError when the process goes away, hangs, uses a pin that its board file does not have, or lets its
    watchdog bite.
    """

    name = "micropython"

    def __init__(self, mission_record: bytes, board: str = "pico", fitted: dict | None = None,
                 heap_bytes: int = HEAP_BYTES) -> None:
        self._record = bytes(mission_record)
        self.differences: dict[str, float] = {}
        self._world: Any = None  # until `attach`
        self._is_planned = False
        super().__init__(board, fitted, heap_bytes)
        flight = constants("boards/flight.py")
        self._lead_ms, self._start_ms = flight["LEAD_MS"], flight["START_MS"]

    def _begin_counts(self) -> None:
        """As a process begins."""
        super()._begin_counts()
        self._due_ms: int | None = None  # None before the first step
        self._edge_ms: int | None = None
        self._last_ms = 0  # sleeps that end later stay unanswered, when a step is done
        self._ahead_ms = 0
        self._booted: tuple[int, int] | None = None
        self._has_stepped = False
        self._stepped: dict[str, int] = {}
        self.stepped_ms = 0
        self._records: list[bytes] = []
        self._driven_ms: list[int] = []  # when a PWM was set since the last step
        self._seen: dict[str, deque] = {name: deque() for name in AGE_S}

    # --- a body -----------------------------------------------------------------------------------------------------

    def attach(self, world, plan) -> None:
        """Lay the electronics into this sea."""
        if plan.release.backup.kind != "latch":
            raise BodyError('release.backup.kind is "%s"; the board that is simulated drives a latch there:'
                            " fly this plan with --body cpython or micropython-core" % plan.release.backup.kind)
        self._world = world
        self._power_s = plan.power.boot_s
        self.electronics = Electronics(self._pins, self._fitted, world, plan)
        self._is_wired = True

    def boot(self, store, inputs) -> int:
        """Start the process anew, on the flash as it is."""
        self._end()
        self._store = store
        if not self._is_planned:
            self._store_plan()
        self._begin_counts()
        self._boot_s = self._world.now_s
        self._cause = inputs.reset_cause
        if inputs.reset_cause == 0:
            self.electronics.lose_power(EPOCH_S + self._boot_s - self._power_s)
        self.electronics.let_go()
        self._set_time(0)
        self.electronics.take(inputs)
        for name, seen in self._seen.items():  # the first step comes so soon that these readings may count in it
            seen.append((self._world.now_s, getattr(inputs, name)))
        self._last_ms = 1 << 40
        self._start(self._board)
        while self._booted is None:
            self._serve_line()
        return self._booted[0]

    def step(self, inputs, outputs) -> None:
        """Let the board's time go on to the engine's, and the board make its step there."""
        self._prepare_step(inputs)
        if self._pending_ms is not None:
            self._answer_sleep(self._pending_ms)
        self._serve(lambda: self._has_stepped)
        self._finish_cut()
        self._take_outputs(outputs)
        if self._process is not None:
            self._let_apply()
        for name, level in self.electronics.levels().items():
            setattr(outputs, name, level)
        self._compare(inputs)

    def close(self) -> None:
        """End the process and remove its folder."""
        self._end()
        self._folder.cleanup()

    # --- one step ---------------------------------------------------------------------------------------------------

    def _prepare_step(self, inputs) -> None:
        self.electronics.take(inputs)
        self.flash.refuses = self._store.refuses
        self.flash.cut_next = self._store.cut_at == self._store.writes + 1 and not self._store.refuses
        if inputs.command:
            self._keys.extend((wire.frame("1 ask command=%d" % inputs.command) + "\n").encode())
        self._has_stepped = False
        self._driven_ms = []
        self._records = []
        self._last_ms = 1 << 40
        self._edge_ms = None
        self._target_ms = round((self._world.now_s - self._boot_s) * 1000.0) + self._ahead_ms
        if self._due_ms is not None and self._target_ms < self._due_ms - 1:
            self._edge_ms = self._target_ms - self._lead_ms

    def _take_outputs(self, outputs) -> None:
        told = self._stepped
        if not told.keys() >= set(STEP_ONLY + DRIVEN):
            missing = sorted(set(STEP_ONLY + DRIVEN) - told.keys())
            raise BodyError("the board told a step without %s" % ", ".join(missing))
        if self._due_ms is None:
            self._ahead_ms = self._now_ms - self._target_ms
        self._due_ms = self._now_ms + 100 * told["wake_ds"]
        for name in STEP_ONLY:
            setattr(outputs, name, told[name])
        if len(self._records) != told["record_count"]:
            raise BodyError("the board told %d records and gave %d" % (told["record_count"], len(self._records)))
        for index, record in enumerate(self._records):
            outputs.records[index * RECORD_BYTES:(index + 1) * RECORD_BYTES] = record

    def _let_apply(self) -> None:
        """Some turns more, until the drivers have brought about what the step wanted, but not to the next step."""
        self._last_ms = min(self._now_ms + APPLY_MS, self._due_ms - self._lead_ms - 1)
        self._pending_ms = None
        self._serve(lambda: self._pending_ms is not None)

    def _is_applied(self) -> bool:
        levels = self.electronics.levels()
        return all(levels[name] == self._stepped[name] for name in DRIVEN)

    def _finish_cut(self) -> None:
        """A cut counts only where the step wrote a record; then nothing after it has happened."""
        if self.flash.cut_image is None or not self._records:
            self.flash.forget_cut()
            return
        self.flash.lose_power()
        self._end()

    def _compare(self, inputs) -> None:
        """Keep how far each reading lies from what the engine gave within the age that its driver allows."""
        now_s = self._world.now_s
        for name, age_s in AGE_S.items():
            seen = self._seen[name]
            valid = VALID_BY.get(name)
            if valid and not getattr(inputs, valid):
                seen.clear()
                continue
            seen.append((now_s, getattr(inputs, name)))
            while len(seen) > 2 and seen[1][0] < now_s - age_s:
                seen.popleft()
            if valid and not self.felt[valid] or name == "release_ma" and self._drove_by_itself():
                continue
            values = [value for at_s, value in seen if at_s >= now_s - age_s or age_s]
            felt = self.felt[name]
            off = max(min(values) - felt, felt - max(values), 0)
            if off > self.differences.get(name, -1):
                self.differences[name] = off

    def _drove_by_itself(self) -> bool:
        """A driver came to an end of its own between two steps; the engine sees the pins at steps only."""
        return any(at_ms < self.stepped_ms for at_ms in self._driven_ms)

    # --- the process ------------------------------------------------------------------------------------------------

    def _store_plan(self) -> None:
        self._put_plan(self._record)
        self._is_planned = True

    def _sleep(self, until_ms: bytes, _is_deep: bytes) -> None:
        until = int(until_ms)
        if self._has_stepped and (until > self._last_ms or self._is_applied()):
            self._pending_ms = until
        else:
            self._answer_sleep(until)

    def _answer_sleep(self, until_ms: int) -> None:
        edge = 0
        if self._edge_ms is not None and until_ms > self._edge_ms:
            until_ms, edge = max(self._now_ms, self._edge_ms), 1
            self._edge_ms = None
        if self._fed_ms is not None and until_ms - self._fed_ms > self._watchdog_ms:
            raise BodyError("the board did not feed its watchdog for %d ms; it bites after %d"
                            % (until_ms - self._fed_ms, self._watchdog_ms))
        self._pending_ms = None
        self._answer(b"%d %d %d" % (until_ms, edge, len(self._keys)))

    def _take_booted(self, next_slot: bytes, bad: bytes) -> None:
        self._booted = (int(next_slot), int(bad))

    def _take_record(self, record: bytes) -> None:
        self._records.append(bytes.fromhex(record.decode()))

    def _take_stepped(self, *pairs: bytes) -> None:
        self._stepped = numbers(pairs)
        self._has_stepped = True
        self.stepped_ms = self._now_ms

    def _tell_cause(self) -> bytes:
        return b"%d" % self._cause

    def _pwm(self, pin: bytes, frequency_hz: bytes, duty: bytes) -> None:
        super()._pwm(pin, frequency_hz, duty)
        self._driven_ms.append(self._now_ms)
