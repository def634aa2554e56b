"""Reports at the surface: from the receiver's fix to the radio's frame and to the line of the modem.

What is said, and when, is decided in `lander.report`. `boards.flight` loads this at the surface only, and a step here
comes after everything that the mission wants: no report is worth more than a beacon.
"""

from lander import report
from lander.checksum import crc16

PATIENCE_MS = 60000  # for a radio that is kept quiet, or does not come up; then the report counts without it
_RING = 0x3FFFFFFF


class Reports:
    """`sent` counts reports that have left by one way at least. `wants_fix` 1 while the receiver has to be on."""

    def __init__(self, mission, gear, chip_id: str) -> None:
        self._gear = gear
        self._caller = report.Caller(mission, crc16(chip_id.encode(), 0, len(chip_id)))
        self._values = None  # of the report that is on its way
        self._since_ms = 0
        self._is_lined = 0
        self._frames = -1  # sent by the radio before the one that is on the air; -1: none is
        self.sent = 0
        self.wants_fix = 1

    def turn(self, mission, inputs, now_ms: int) -> None:
        """Once a step. Raises OSError where the line fails and there is no radio; the report stays due."""
        gnss = self._gear.gnss
        if gnss and gnss.ok:
            self._caller.hear(mission.mission_ds - gnss.age_ms // 100, gnss.latitude_deg_e5, gnss.longitude_deg_e5)
        awash = self._caller.is_awash(mission)
        if self._values is None and self._caller.is_due(mission.mission_ds, awash):
            self._values = self._caller.say(mission, inputs, awash, *_clock(mission, inputs, gnss))
            self._since_ms = now_ms
            self._is_lined = 0
            self._frames = -1
        has_left = self._values is not None and self._has_left(now_ms)
        if has_left:
            self._caller.sent(mission, self._values)
            self._values = None
            self.sent += 1
        # Until the next step the board sleeps lightly at the most: a line on its way needs the clock of its port.
        self.wants_fix = 1 if has_left or self._caller.wants_fix(mission) else 0

    def _has_left(self, now_ms: int) -> bool:
        """Send what has not been sent. True: by every way that there is, or by the line after some patience."""
        radio = self._gear.radio
        if not self._is_lined and self._gear.modem:
            try:
                self._gear.modem.write(report.sentence(self._values).encode())
                self._is_lined = 1
            except OSError:
                if not radio:
                    raise
        if not radio:
            return bool(self._is_lined)
        if self._frames >= 0:
            if radio.busy:
                return False
            if radio.sent != self._frames:
                return True
            self._frames = -1  # it failed on its way: again
        frames = radio.sent
        if radio.send(report.frame(self._values), report.FRAME_BYTES, now_ms):
            self._frames = frames
        elif (now_ms - self._since_ms) & _RING > PATIENCE_MS:
            if self._is_lined:
                return True
            self._values = None  # it is made anew, with what is known by then
        return False


def _clock(mission, inputs, gnss):
    """Seconds since 2020, and whether they are sure: satellites know best."""
    if gnss and gnss.clock_ok:
        return gnss.clock_s, 1
    if inputs.clock_ok:
        return inputs.clock_s, 1 if mission.clock_trusted else 0
    return 0, 0
