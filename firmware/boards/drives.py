"""From the outputs of the mission to the drivers: one line an output.

A pin that refuses (an error of the shift register's bus) is counted and asked again at the next step; it never keeps
the release, which comes first, from being driven.
"""

from drivers.upkeep import one_more

# What may be on for a time at a person's wish, by `poke`. The releases are not among them.
# CAMERA is its supply and its power button.
(CAMERA_SUPPLY, POWER_BUTTON, RECORD_BUTTON, LIGHTS, FAN, BEACON, STATUS, SURFACE_SUPPLY, HEARTBEAT, CAMERA) = range(10)
NONE = -1
STEADY = (20000,)  # longer than any poke


class Drives:
    """What the mission wants now. `faults` counts pins that refused.

    `poked` is the one circuit that has `poked_level` instead of what the mission wants, NONE for none. Where it is the
    camera, its supply is on and `poked_level` is that of its power button.
    """

    def __init__(self, gear) -> None:
        self._gear = gear
        self.faults = 0
        self.primary_pct = 0
        self.backup_pct = 0
        self.poked = NONE
        self.poked_level = 0
        self.wants_fix = 1  # 0: between reports, the receiver may rest
        self._beat = 0

    def apply(self, outputs, now_ms: int) -> None:
        """Put the outputs on the parts. The releases are held by `hold` from now on."""
        self.primary_pct, self.backup_pct = outputs.release_primary_pct, outputs.release_backup_pct
        if not (self.primary_pct or self.backup_pct):
            self.hold(now_ms)  # off first, before anything else comes on
        self._beat ^= 1
        self.show(outputs, now_ms)
        self.hold(now_ms)  # the rest is off where it has to be: now a release may come on

    def show(self, outputs, now_ms: int) -> None:
        """All but the releases."""
        gear = self._gear
        gear.lights.set(now_ms, self._wanted(LIGHTS, outputs.lights_pct))
        self._put(gear.camera_supply, self._wanted(CAMERA_SUPPLY, outputs.camera_supply))
        self._put(gear.power_button, self._wanted(POWER_BUTTON, outputs.power_button))
        self._put(gear.record_button, self._wanted(RECORD_BUTTON, outputs.record_button))
        self._put(gear.fan, self._wanted(FAN, outputs.fan))
        self._blink(gear.beacon, BEACON, now_ms, outputs.beacon_code)
        self._blink(gear.status, STATUS, now_ms, outputs.status_code)
        self._listen(now_ms, self._wanted(SURFACE_SUPPLY, outputs.report & self.wants_fix))
        self._put(gear.heartbeat, self._wanted(HEARTBEAT, self._beat))

    def _wanted(self, circuit: int, level: int) -> int:
        if self.poked == CAMERA and circuit <= POWER_BUTTON:
            return self.poked_level if circuit else 1
        return self.poked_level if circuit == self.poked else level

    def _blink(self, lamp, circuit: int, now_ms: int, code: int) -> None:
        if circuit == self.poked:
            lamp.play(now_ms, STEADY)
        else:
            lamp.show(now_ms, code)

    def hold(self, now_ms: int) -> None:
        """Permission for the releases, each for two more seconds; 0 is off. Only one at a time, the primary first."""
        self._gear.primary.fire(now_ms, self.primary_pct)
        self._gear.backup.fire(now_ms, 0 if self.primary_pct else self.backup_pct)

    def _put(self, pin, level: int) -> None:
        try:
            pin(level)
        except OSError:
            self.faults = one_more(self.faults)

    def _listen(self, now_ms: int, on: int) -> None:
        try:
            self._gear.listen(now_ms, on)
        except OSError:
            self.faults = one_more(self.faults)
