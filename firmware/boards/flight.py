"""The controller at work: wake, let the drivers settle, fill the inputs, step the mission, store, apply, sleep.

A step happens exactly when the mission asked for it, and at least every `LONGEST_MS`, since only a step feeds the
watchdog. Its records are in the flash before its outputs reach a pin. Between steps the board sleeps, and wakes only to
give the drivers a turn: while a wire burns, a latch turns or a lamp flashes.

A release is held only while the mission steps: `hold` is not called once a step is overdue, and then the drivers'
permission runs out within two seconds, whatever else still works.
"""

import gc

from boards import readings
from boards.drives import Drives
from boards.flash_journal import FlashJournal
from boards.plan_copies import on_volume
from drivers.upkeep import RING, elapsed_ms, one_more
from lander.journal import Journal
from lander.mission import Mission
from lander.signals import Inputs, Outputs
from lander.table import SAFE

LEAD_MS = 120  # before a step the drivers have so long to take fresh readings, also on a board that is slow
TICK_MS = 5  # between two turns of the drivers meanwhile
LONGEST_MS = 4000  # between two steps: half of what the watchdog waits
OVERDUE_MS = 1000  # a step that is later than this: something holds the mission up
START_MS = 300  # the drivers' first readings: the clock must be known before the journal is taken up
DEEP_MS = 50  # shorter sleeps are not worth a light sleep
WANTED_SLOTS = 16384
REPORTS_AGAIN_MS = 60000  # after reports could not be loaded
LATE = ("reports",)  # modules that are loaded when they are needed
NOT_TESTED, HOLDS, FAILED = range(3)  # `store_test`


class Flight:
    """One run of the controller, from reset to reset. `gear` is made already, so that its outputs are off."""

    def __init__(self, board, gear, line) -> None:
        self.board = board
        self.gear = gear
        self.line = line
        self.inputs, self.outputs = _signals()
        self.drives = Drives(gear)
        self.slots = FlashJournal(board.flash(), WANTED_SLOTS)
        self.journal = Journal(self.slots)
        self.copies = on_volume(self.slots.volume)
        self.mission = Mission()
        self.watchdog = board.watchdog()
        self.store_test = NOT_TESTED
        self.reports = None  # while the mission wants reports
        self.report_faults = 0
        self._no_reports_ms = -1  # when they could not be loaded
        self.is_over = 0  # something was kept or cleared on the line: start anew with it
        self.due_ms = 0
        self._uptime_ms = 0  # the part of a tenth of a second that has not been counted yet
        self._ticked_ms = board.ticks_ms()
        self._lost = 0

    # --- start ------------------------------------------------------------------------------------------------------

    def boot(self) -> None:
        """Take up the journal and the plan, and go on from where the last record stood."""
        self.gear.start(self.board.ticks_ms())
        self.slots.mount()
        self.copies.load()
        recall = self.journal.recall()
        started_ms = self.board.ticks_ms()
        while elapsed_ms(self.board.ticks_ms(), started_ms) < START_MS:
            self._tick()
            self.board.sleep_ms(TICK_MS, 0)
        self.mission = Mission(self.copies.record)
        self.fill()
        self.inputs.reset_cause = self.board.reset_cause()
        self.mission.boot(recall.newest, self.inputs)
        if self.mission.state == SAFE and self.copies.degraded:
            self.copies.mend()
        self.board.booted(self.journal.next_slot, recall.bad)
        self.due_ms = self.board.ticks_ms()

    # --- one round --------------------------------------------------------------------------------------------------

    def turn(self) -> None:
        """A turn for the drivers, a step when one is due, and a sleep until something is wanted."""
        if self.line.session is not None:
            self.line.session.turn(self)
            return
        now_ms = self._tick()
        self.line.hear(self, now_ms)
        if self.is_over:
            return  # a step now would write into a journal that has been cleared
        late_ms = elapsed_ms(now_ms, self.due_ms)
        if late_ms <= RING >> 1:
            self._step(now_ms)
        self._rest()

    def _tick(self) -> int:
        now_ms = self.board.ticks_ms()
        passed_ms = self._uptime_ms + elapsed_ms(now_ms, self._ticked_ms)
        self._ticked_ms = now_ms
        self.inputs.uptime_ds += passed_ms // 100
        self._uptime_ms = passed_ms % 100
        self.gear.tick(now_ms)
        self.board.turned()
        self.hold(now_ms)
        if self.outputs.self_test:
            self._test(now_ms)
        return now_ms

    def hold(self, now_ms: int) -> None:
        """Go on with a release that is driven, unless the next step is overdue."""
        if self.drives.primary_pct or self.drives.backup_pct:
            late_ms = elapsed_ms(now_ms, self.due_ms)
            if late_ms > RING >> 1 or late_ms < OVERDUE_MS:
                self.drives.hold(now_ms)

    def _step(self, now_ms: int) -> None:
        self.fill()
        self.inputs.command = self.line.take_command()
        wake_ms = 100 * self.mission.step(self.inputs, self.outputs)
        self._lost = 0
        if self.line.poke is not None:
            self.line.poke.tick(self, now_ms)  # which ends it where this step will not have it
        if self.outputs.record_count:
            self._lost = self.journal.store(self.outputs.records, self.outputs.record_count)
        self._report(now_ms)
        self.drives.apply(self.outputs, now_ms)
        if not self.outputs.self_test:
            self.store_test = NOT_TESTED
        from_ms = now_ms if elapsed_ms(now_ms, self.due_ms) > OVERDUE_MS else self.due_ms  # a turn late is no drift
        self.due_ms = (from_ms + min(wake_ms, LONGEST_MS)) & RING
        self.watchdog.feed()
        self.board.stepped(self.inputs, self.outputs, min(wake_ms, LONGEST_MS) // 100)

    def _report(self, now_ms: int) -> None:
        """A turn for the reports. Whatever goes wrong with them is counted, and costs a report and no more."""
        self.drives.wants_fix = 1
        if not self.outputs.report:
            self.reports = None
            return
        try:
            if self.reports is None:
                self.reports = self._bring_reports(now_ms)
            if self.reports is not None:
                self.reports.turn(self.mission, self.inputs, now_ms)
                self.drives.wants_fix = self.reports.wants_fix
        except Exception:
            self.report_faults = one_more(self.report_faults)

    def _bring_reports(self, now_ms: int):
        """Loaded only now: the room is others' until the surface. None while that fails."""
        if self._no_reports_ms >= 0 and elapsed_ms(now_ms, self._no_reports_ms) < REPORTS_AGAIN_MS:
            return None
        gc.collect()
        self.board.lend(self.slots.volume)
        try:
            from boards import reports
        except (ImportError, MemoryError, OSError):
            self._no_reports_ms = now_ms
            self.report_faults = one_more(self.report_faults)
            return None
        finally:
            self.board.take_back()
            gc.collect()
        return reports.Reports(self.mission, self.gear, self.board.chip_id())

    def fill(self) -> None:
        """The inputs as they are now."""
        inputs = self.inputs
        readings.fill(inputs, self.gear, self.mission.orders)
        readings.fill_tests(inputs, self.gear, self.outputs.self_test, self.store_test)
        inputs.store_free = self.journal.free()
        inputs.store_lost = self._lost
        inputs.plan_copies = 0 if self.copies.newest < 0 else 1 if self.copies.degraded else 2

    def _test(self, now_ms: int) -> None:
        self.gear.test(now_ms)
        if self.store_test == NOT_TESTED:
            self.store_test = HOLDS if self.slots.volume.prove() else FAILED

    def _rest(self) -> None:
        """Sleep until the lead before the next step, or until a driver wants a turn."""
        now_ms = self.board.ticks_ms()
        left_ms = elapsed_ms(self.due_ms, now_ms)
        if not 0 < left_ms <= RING >> 1:
            return
        if left_ms <= LEAD_MS:
            self.gear.thermometers.tick(now_ms)  # once more: a measurement takes them two dozen turns
            self.board.sleep_ms(min(TICK_MS, left_ms), 0)
            return
        wanted_ms = min(self.gear.next_tick_ms(now_ms), self.line.wanted_ms)
        span_ms = min(left_ms - LEAD_MS, wanted_ms)
        is_deep = 0
        if span_ms >= DEEP_MS:
            self.gear.settle()
            is_deep = 1 if self.mission.state > SAFE and self.line.is_quiet and not self.gear.needs_clock() else 0
        if self.board.sleep_ms(span_ms, is_deep):
            self.due_ms = (self.board.ticks_ms() + min(left_ms, LEAD_MS)) & RING


def _signals():
    return Inputs(), Outputs()


def run(board) -> None:
    """Fly until the line wants a new start. Whatever goes wrong here, the outputs are off before it goes further."""
    from boards.deck_line import DeckLine
    from boards.gear import Gear

    gear = Gear(board)
    try:
        flight = Flight(board, gear, DeckLine(board))
        flight.boot()
        while not flight.is_over:
            flight.turn()
    finally:
        gear.off()
        board.give_back()
    board.restart()
