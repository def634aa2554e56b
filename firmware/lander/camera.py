"""The camera, worked through its own buttons: a long press for power, a short press that toggles recording.

A toggle pressed on a guess may stop a recording that runs. So a press is made only from a state that is known:
seen by the feedback (the photodiode on the record lamp, or the supply current), or, where there is no feedback or
it cannot be read, reached from a cold start, where every step is counted from the supply being switched on. Without
feedback a recording is pressed for once and then left alone until the end of filming.

The camera runs from the main pack through a load switch, or on its own pack. From the main pack the switch is what
makes "off" certain; on its own pack only the buttons reach it.
"""

from lander import journal
from lander.orders import LAMP, NONE, OWN_PACK

(OFF, SUPPLY_UP, POWER_PRESS, STARTING, RECORD_PRESS, ANSWER, RECORDING, STOP_PRESS, CLOSING, OFF_PRESS, GOING_OFF,
 WAIT) = range(12)

UNSEEN, SEEN_OFF, SEEN_IDLE, SEEN_RECORDING, SEEN_NOT_RECORDING = range(5)

SUPPLY_UP_DS = 5
# Named here once: a tuple of names built in the step would allocate on the board.
_MAYBE_RECORDING = (RECORD_PRESS, ANSWER, RECORDING)
_STARTS = (POWER_PRESS, STARTING)
_STOPS = (STOP_PRESS, CLOSING, OFF_PRESS, GOING_OFF)
_LOOK_LATER = (OFF, WAIT, SUPPLY_UP, RECORD_PRESS, STOP_PRESS)
PRESSES = 3  # record presses that show no effect before the camera is started anew
WAIT_DS = 300
WAIT_MAX_DS = 6000


def see(orders, inputs) -> int:
    """What the feedback shows the camera doing."""
    if orders.camera_feedback == NONE or not inputs.camera_feedback_ok:
        return UNSEEN
    if orders.camera_feedback == LAMP:
        return SEEN_RECORDING if inputs.camera_lamp_permille >= orders.camera_lamp_permille else SEEN_NOT_RECORDING
    if inputs.camera_ma >= orders.camera_recording_ma:
        return SEEN_RECORDING
    return SEEN_IDLE if inputs.camera_ma >= orders.camera_on_ma else SEEN_OFF


class Camera:
    __slots__ = ("orders", "step", "until_ds", "supply", "power_button", "record_button", "presses", "wait_ds",
                 "lost_ds", "hot", "seen")

    def __init__(self, orders) -> None:
        self.orders = orders
        self.step = OFF
        self.until_ds = 0
        self.supply = 0
        self.power_button = 0
        self.record_button = 0
        self.presses = 0
        self.wait_ds = WAIT_DS
        self.lost_ds = -1
        self.hot = False
        self.seen = UNSEEN

    def is_off(self) -> bool:
        return self.step == OFF or self.step == WAIT

    def restore(self, step: int, now_ds: int) -> None:
        """After a reset: the switch has fallen off with the controller, but an own pack has kept the camera on."""
        if self.orders.camera_supply != OWN_PACK:
            return
        if step in _MAYBE_RECORDING:
            self.step = RECORDING
        elif step in _STARTS:
            self._go(STARTING, now_ds + self.orders.camera_start_ds)

    def force_off(self) -> None:
        self._go(OFF, 0)
        self.supply = 0

    def update(self, now_ds: int, inputs, wanted) -> int:
        """Advance; `wanted`: it should record. Returns the event to write down, or journal.E_NONE."""
        self.seen = see(self.orders, inputs)
        event = self._feel(inputs)
        if wanted and not self.hot:
            return event or self._toward_recording(now_ds)
        return event or self._toward_off(now_ds)

    def _feel(self, inputs) -> int:
        """Too hot, with hysteresis. An invalid reading leaves the camera alone: the fan runs instead."""
        if not inputs.camera_temp_ok:
            self.hot = False
            return journal.E_NONE
        if not self.hot and inputs.camera_centi_c >= self.orders.camera_hot_centi_c:
            self.hot = True
            return journal.E_HOT
        if self.hot and inputs.camera_centi_c <= self.orders.camera_cool_centi_c:
            self.hot = False
            return journal.E_COOL
        return journal.E_NONE

    def _go(self, step: int, until_ds: int) -> None:
        self.step = step
        self.until_ds = until_ds
        self.power_button = 1 if step == POWER_PRESS or step == OFF_PRESS else 0
        self.record_button = 1 if step == RECORD_PRESS or step == STOP_PRESS else 0
        self.lost_ds = -1

    def _press_power(self, now_ds: int) -> int:
        self._go(POWER_PRESS, now_ds + self.orders.power_press_ds)
        return journal.E_POWER

    def _press_record(self, now_ds: int) -> int:
        self.presses += 1
        self._go(RECORD_PRESS, now_ds + self.orders.record_press_ds)
        return journal.E_PRESS

    def _records(self) -> int:
        self._go(RECORDING, 0)
        self.presses = 0
        self.wait_ds = WAIT_DS
        return journal.E_RECORDING

    def _start_anew(self, now_ds: int) -> int:
        self._go(WAIT, now_ds + self.wait_ds)
        self.supply = 0
        self.presses = 0
        self.wait_ds = min(2 * self.wait_ds, WAIT_MAX_DS)
        return journal.E_NO_ANSWER

    def _toward_recording(self, now_ds: int) -> int:
        step = self.step
        if step == RECORDING:
            return self._keep_recording(now_ds)
        if self.seen == SEEN_RECORDING and step not in _LOOK_LATER:
            return self._records()
        if step in _STOPS:
            return self._toward_off(now_ds)
        if step != OFF and now_ds < self.until_ds:
            return journal.E_NONE
        if step == OFF or step == WAIT:
            return self._begin(now_ds)
        if step == SUPPLY_UP:
            return self._press_power(now_ds)
        if step == POWER_PRESS:
            self._go(STARTING, now_ds + self.orders.camera_start_ds)
            return journal.E_NONE
        if step == RECORD_PRESS:
            self._go(ANSWER, now_ds + self.orders.camera_answer_ds)
            return journal.E_NONE
        return self._after_waiting(now_ds, step)

    def _begin(self, now_ds: int) -> int:
        if self.orders.camera_supply != OWN_PACK:
            self.supply = 1
            self._go(SUPPLY_UP, now_ds + SUPPLY_UP_DS)
            return journal.E_NONE
        if self.seen == SEEN_RECORDING:
            return self._records()
        if self.seen == SEEN_IDLE:
            return self._press_record(now_ds)
        return self._press_power(now_ds)

    def _after_waiting(self, now_ds: int, step: int) -> int:
        """The start-up, or the wait for an answer, is over and no recording was seen."""
        if step == ANSWER and self.seen == UNSEEN:
            return self._records()
        if self.presses >= PRESSES or (self.seen == SEEN_OFF and step == ANSWER):
            return self._start_anew(now_ds)
        if self.seen == SEEN_OFF:
            self.presses += 1
            return self._press_power(now_ds)
        return self._press_record(now_ds)

    def _keep_recording(self, now_ds: int) -> int:
        if self.seen == UNSEEN or self.seen == SEEN_RECORDING:
            self.lost_ds = -1
            return journal.E_NONE
        if self.lost_ds < 0:
            self.lost_ds = now_ds
        if now_ds - self.lost_ds < self.orders.camera_answer_ds:
            return journal.E_NONE
        if self.seen == SEEN_OFF:
            return self._start_anew(now_ds)
        return self._press_record(now_ds)

    def _toward_off(self, now_ds: int) -> int:
        step = self.step
        if step == OFF:
            return journal.E_NONE
        own_pack = self.orders.camera_supply == OWN_PACK
        if step == RECORDING:
            if self.seen == SEEN_OFF or self.seen == SEEN_IDLE or self.seen == SEEN_NOT_RECORDING:
                self._go(CLOSING, now_ds)
                return journal.E_NONE
            self._go(STOP_PRESS, now_ds + self.orders.record_press_ds)
            return journal.E_PRESS
        if step not in _STOPS and (not own_pack or step == WAIT):
            self.force_off()
            return journal.E_CAMERA_OFF
        if now_ds < self.until_ds:
            return journal.E_NONE
        if step == STOP_PRESS:
            self._go(CLOSING, now_ds + self.orders.camera_stop_ds)
            return journal.E_NONE
        if step == CLOSING and own_pack and self.seen != SEEN_OFF:
            self._go(OFF_PRESS, now_ds + self.orders.power_press_ds)
            return journal.E_POWER
        if step == OFF_PRESS:
            self._go(GOING_OFF, now_ds + self.orders.camera_answer_ds)
            return journal.E_NONE
        if step == CLOSING or step == GOING_OFF:
            self.force_off()
            return journal.E_CAMERA_OFF
        return self._own_pack_unfinished(now_ds, step)

    def _own_pack_unfinished(self, now_ds: int, step: int) -> int:
        """Filming was called off while the camera was being started: bring it to a known state, then off."""
        if step == POWER_PRESS:
            self._go(STARTING, now_ds + self.orders.camera_start_ds)
        elif step == RECORD_PRESS:
            self._go(ANSWER, now_ds + self.orders.camera_answer_ds)
        elif step == STARTING:
            self._go(CLOSING, now_ds)
        else:
            return self._records()
        return journal.E_NONE

    def wait_left_ds(self, now_ds: int, longest_ds: int) -> int:
        """How long the camera can do without a step."""
        if self.step == OFF:
            return longest_ds
        if self.step == RECORDING:
            return longest_ds if self.lost_ds < 0 else 10
        return max(1, min(longest_ds, self.until_ds - now_ds))


