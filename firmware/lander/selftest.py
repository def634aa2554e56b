"""The self-test between the gesture and `armed`: on deck, in state safe, one part after the other.

    circuits, store   the board sends a trickle through both release circuits, and writes and reads back its memory
    camera            it is started, must be seen recording where it can be seen, and is put off again
    lights            a blink at a low level; their current must show where the supply current can be read

Which parts are made, the plan says by bits. The release outputs stay off throughout, and never is more than one load
on. The first part that fails ends the test. A reset ends it too: the controller comes back safe, and not testing.
"""

from lander import signals
from lander.camera import PRESSES, RECORDING, SEEN_RECORDING, SUPPLY_UP_DS, WAIT, WAIT_DS
from lander.orders import NONE, TEST_CAMERA, TEST_CIRCUITS, TEST_LIGHTS, TEST_SENSORS, TEST_STORE

IDLE, ASKING, FILMING, STOPPING, SHINING, DONE = range(6)

SOUND, OPEN = 1, 2  # what a release circuit was found to be; more than that is shorted
WRITTEN = 1  # what the store was found to be; more than that is failed

ANSWER_DS = 150  # the board answers for both circuits and the store within this
ROOM_DS = 50  # for the camera beyond its own times
SHINE_DS = 10
SHINE_PCT = 10  # dim, for the eyes of whoever stands before the lamps
JUDGED_MA = 50  # a current of the lamps below this is lost among the others
SHORT_TIMES = 3  # lamps that draw so many times what the plan says are no lamps of this plan


class SelfTest:
    __slots__ = ("orders", "part", "until_ds", "passed", "failed", "dark_ma")

    def __init__(self, orders) -> None:
        self.orders = orders
        self.part = IDLE
        self.until_ds = 0
        self.passed = 0  # bits of the parts that passed in this test or in the last
        # Why the last test did not pass, for whoever arms all the same.
        self.failed = signals.NOT_TESTED if orders.self_test & ~TEST_SENSORS else signals.FINE
        self.dark_ma = 0

    def begin(self, now_ds: int, inputs) -> None:
        self.passed = self.orders.self_test & TEST_SENSORS
        self._go_on(ASKING, now_ds, inputs)

    def end(self, why: int) -> None:
        self.part = IDLE
        self.failed = why

    def lights_pct(self) -> int:
        return min(self.orders.lights_pct, SHINE_PCT) if self.part == SHINING else 0

    def update(self, now_ds: int, inputs, camera) -> int:
        """Advance. Returns why a part failed, or signals.FINE; `part` is DONE once all have passed."""
        if self.part == ASKING:
            return self._hear(now_ds, inputs)
        if self.part == FILMING:
            return self._see_recording(now_ds, inputs, camera)
        if self.part == STOPPING:
            return self._see_stopped(now_ds, inputs, camera)
        if self.part == SHINING:
            return self._see_shining(now_ds, inputs)
        return signals.FINE

    def _go_on(self, part: int, now_ds: int, inputs) -> None:
        """Begin this part, or the next one that the plan orders."""
        asked = self.orders.self_test
        if part == ASKING and not asked & (TEST_CIRCUITS | TEST_STORE):
            part = FILMING
        if part == FILMING and not asked & TEST_CAMERA:
            part = SHINING
        if part == SHINING and not (asked & TEST_LIGHTS and self.orders.lights_pct):
            part = DONE
        self.part = part
        self.until_ds = now_ds + self._longest_ds(part)
        self.dark_ma = inputs.supply_ma

    def _longest_ds(self, part: int) -> int:
        orders = self.orders
        stop_ds = (orders.record_press_ds + orders.camera_stop_ds + orders.power_press_ds + 2 * orders.camera_answer_ds
                   + ROOM_DS)
        if part == FILMING:
            presses_ds = PRESSES * (orders.record_press_ds + orders.power_press_ds + orders.camera_answer_ds)
            # A camera that is still being put off, after a test that was called off, is put off first.
            return stop_ds + SUPPLY_UP_DS + orders.camera_start_ds + presses_ds
        if part == STOPPING:
            return stop_ds
        return SHINE_DS if part == SHINING else ANSWER_DS

    def _hear(self, now_ds: int, inputs) -> int:
        asked = self.orders.self_test
        if asked & TEST_CIRCUITS:
            primary = inputs.primary_circuit
            backup = inputs.backup_circuit
            if primary > SOUND:
                return signals.PRIMARY_OPEN if primary == OPEN else signals.PRIMARY_SHORTED
            if backup > SOUND:
                return signals.BACKUP_OPEN if backup == OPEN else signals.BACKUP_SHORTED
            if primary and backup:
                self.passed |= TEST_CIRCUITS
        if asked & TEST_STORE:
            if inputs.store_test > WRITTEN:
                return signals.STORE_FAILED
            if inputs.store_test:
                self.passed |= TEST_STORE
        missing = asked & ~self.passed
        if not missing & (TEST_CIRCUITS | TEST_STORE):
            self._go_on(FILMING, now_ds, inputs)
        elif now_ds >= self.until_ds:
            return signals.CIRCUITS_UNTESTED if missing & TEST_CIRCUITS else signals.STORE_FAILED
        return signals.FINE

    def _see_recording(self, now_ds: int, inputs, camera) -> int:
        seen = self.orders.camera_feedback == NONE or camera.seen == SEEN_RECORDING
        if camera.step == RECORDING and seen:
            self._go_on(STOPPING, now_ds, inputs)
            return signals.FINE
        if camera.hot:
            return signals.CAMERA_HOT
        if camera.step == WAIT or now_ds >= self.until_ds:
            camera.wait_ds = WAIT_DS  # what failed here must not lengthen the waits of a dive
            return signals.NO_RECORDING
        return signals.FINE

    def _see_stopped(self, now_ds: int, inputs, camera) -> int:
        if camera.is_off() and camera.seen != SEEN_RECORDING:
            self.passed |= TEST_CAMERA
            self._go_on(SHINING, now_ds, inputs)
        elif now_ds >= self.until_ds:
            return signals.CAMERA_STAYS_ON
        return signals.FINE

    def _see_shining(self, now_ds: int, inputs) -> int:
        if now_ds < self.until_ds:
            return signals.FINE
        planned_ma = self.orders.lights_ma * self.lights_pct() // 100
        risen_ma = inputs.supply_ma - self.dark_ma
        # Drivers of lamps are not straight at a low level: only what is far from the plan is wrong.
        if (inputs.current_ok and planned_ma >= JUDGED_MA
                and not planned_ma >> 3 <= risen_ma <= SHORT_TIMES * planned_ma):
            return signals.LIGHTS_WRONG
        self.passed |= TEST_LIGHTS
        self._go_on(DONE, now_ds, inputs)
        return signals.FINE
