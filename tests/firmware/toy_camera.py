"""A camera with two buttons, as its maker's manual would tell it: no part of the project's own model of cameras.

A long press switches on or off, a short press toggles recording, loss of supply stops everything. Common practice,
no source.
"""

from lander.orders import OWN_PACK


class ToyCamera:
    def __init__(self, orders) -> None:
        self.orders = orders
        self.on = self.recording = False
        self.ready_ds = self.pressed_ds = 0
        self.power_down = self.record_down = False
        self.misses = 0  # so many record presses from now on do nothing
        self.power_misses = 0
        self.presses: list[tuple[int, bool]] = []  # time, and whether it stopped a recording
        self.at_ds = 0

    def current_ma(self) -> int:
        if not self.on:
            return 0
        return 520 if self.recording else 220

    def crash(self) -> None:
        self.on = self.recording = False

    def run(self, at_ds: int) -> None:
        """Time passes: a long press takes effect while it is held."""
        self.at_ds = at_ds
        if self.power_down and at_ds - self.pressed_ds >= self.orders.power_press_ds:
            self.power_down = False
            if self.power_misses:
                self.power_misses -= 1
                return
            self.on = not self.on
            self.recording = False
            self.ready_ds = self.pressed_ds + self.orders.power_press_ds + self.orders.camera_start_ds - 5

    def apply(self, outputs, at_ds: int) -> None:
        self.run(at_ds)
        if self.orders.camera_supply != OWN_PACK and not outputs.camera_supply:
            self.on = self.recording = self.power_down = self.record_down = False
            return
        if outputs.power_button and not self.power_down:
            self.pressed_ds = at_ds
            self.power_down = True
        elif not outputs.power_button:
            self.power_down = False
        if outputs.record_button and not self.record_down:
            self._press(at_ds)
        self.record_down = bool(outputs.record_button)

    def _press(self, at_ds: int) -> None:
        self.presses.append((at_ds, self.recording))
        if self.misses:
            self.misses -= 1
        elif self.on and at_ds >= self.ready_ds:
            self.recording = not self.recording
