"""A camera as the shop sells it: a power button, a record button that toggles, a lamp, a temper.

It knows nothing of the controller. It feels how long its buttons are held, switches itself off when too hot, stops
when its card is full, and forgets everything without supply.
"""

from seatrial.bare import bare

LONG_PRESS_PART = 0.8  # a press counts as long from this part of the stated time
SHORT_PRESS_S = 0.05

OFF, STARTING, IDLE, RECORDING, CRASHED = range(5)
WORDS = ("off", "starting", "idle", "recording", "crashed")


class SimulatedCamera:
    """Set `supplied`, `power_button`, `record_button` through `apply`; call `advance` for time to pass.

    Faults: `deaf_presses` (so many presses have no effect), `starts_recording` (it records as soon as it is on),
    `crashed_s` (when it crashed last).
    """

    __slots__ = ("section", "state", "ready_s", "power_since_s", "record_since_s", "card_left_s", "supplied",
                 "crashed_s", "deaf_presses", "starts_recording", "recorded_s", "stopped_by_press_s", "own_pack")

    def __init__(self, section) -> None:
        self.section = section = bare(section)
        self.state = OFF
        self.ready_s = 0.0
        self.power_since_s = -1.0
        self.record_since_s = -1.0
        self.card_left_s = section.card_h * 3600.0
        self.own_pack = section.supply == "own_pack"
        self.supplied = self.own_pack
        self.crashed_s = 0.0
        self.deaf_presses = 0
        self.starts_recording = False
        self.recorded_s = 0.0
        self.stopped_by_press_s: list[float] = []

    def apply(self, now_s: float, supply: int, power_button: int, record_button: int) -> None:
        """New levels at the switch and at both buttons."""
        if not self.own_pack and bool(supply) != self.supplied:
            self.supplied = bool(supply)
            if not self.supplied:
                self.state = OFF
        if power_button and self.power_since_s < 0.0:
            self.power_since_s = now_s
        elif not power_button and self.power_since_s >= 0.0:
            held_s, self.power_since_s = now_s - self.power_since_s, -1.0
            if held_s >= LONG_PRESS_PART * self.section.power_press_s:
                self._power_pressed(now_s)
        if record_button and self.record_since_s < 0.0:
            self.record_since_s = now_s
        elif not record_button and self.record_since_s >= 0.0:
            held_s, self.record_since_s = now_s - self.record_since_s, -1.0
            if held_s >= SHORT_PRESS_S:
                self._record_pressed(now_s)

    def _heard(self) -> bool:
        if self.deaf_presses > 0:
            self.deaf_presses -= 1
            return False
        return self.supplied and self.state != CRASHED

    def _power_pressed(self, now_s: float) -> None:
        if not self._heard():
            return
        if self.state == OFF:
            self.state = STARTING
            self.ready_s = now_s + 0.9 * self.section.start_s
        else:
            self.state = OFF

    def _record_pressed(self, now_s: float) -> None:
        if not self._heard():
            return
        if self.state == IDLE and self.card_left_s > 0.0:
            self.state = RECORDING
        elif self.state == RECORDING:
            self.state = IDLE
            self.stopped_by_press_s.append(now_s)

    def advance(self, now_s: float, dt_s: float, camera_c: float) -> None:
        """`dt_s` seconds pass up to `now_s`."""
        if self.state == OFF:
            return
        if self.state == STARTING and now_s >= self.ready_s:
            self.state = RECORDING if self.starts_recording and self.card_left_s > 0.0 else IDLE
        elif self.state == RECORDING:
            self.recorded_s += min(dt_s, self.card_left_s)
            self.card_left_s -= dt_s
            if self.card_left_s <= 0.0:
                self.card_left_s = 0.0
                self.state = IDLE
        if camera_c >= self.section.shutdown_c:
            self.state = OFF

    def crash(self) -> None:
        """It hangs where it is; only its supply, or its battery taken out, wakes it."""
        if self.state != OFF:
            self.state = CRASHED

    def current_ma(self) -> float:
        if self.state == OFF or not self.supplied:
            return 0.0
        return self.section.recording_ma if self.state == RECORDING else self.section.idle_ma

    def heat_w(self, heat) -> float:
        if self.state == OFF or not self.supplied:
            return 0.0
        return heat.camera_recording_w if self.state == RECORDING else heat.camera_idle_w
