"""From the outputs of the mission to the drivers: one line an output.

A pin that refuses (an error of the shift register's bus) is counted and asked again at the next step; it never keeps
the release, which comes first, from being driven.
"""

from drivers.upkeep import one_more


class Drives:
    """What the mission wants now. `faults` counts pins that refused."""

    def __init__(self, gear) -> None:
        self._gear = gear
        self.faults = 0
        self.primary_pct = 0
        self.backup_pct = 0
        self._beat = 0

    def apply(self, outputs, now_ms: int) -> None:
        """Put the outputs on the parts. The releases are held by `hold` from now on."""
        gear = self._gear
        self.primary_pct, self.backup_pct = outputs.release_primary_pct, outputs.release_backup_pct
        if not (self.primary_pct or self.backup_pct):
            self.hold(now_ms)  # off first, before anything else comes on
        gear.lights.set(now_ms, outputs.lights_pct)
        self._put(gear.camera_supply, outputs.camera_supply)
        self._put(gear.power_button, outputs.power_button)
        self._put(gear.record_button, outputs.record_button)
        self._put(gear.fan, outputs.fan)
        gear.beacon.show(now_ms, outputs.beacon_code)
        gear.status.show(now_ms, outputs.status_code)
        self._listen(now_ms, outputs.report)
        self._beat ^= 1
        self._put(gear.heartbeat, self._beat)
        self.hold(now_ms)  # the rest is off where it has to be: now a release may come on

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
