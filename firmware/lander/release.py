"""The release sequence: shed, fire, pause, and again on the other channel, for as long as there is energy.

The mission table says which channel is on (state release: primary, state backup: backup). This part runs the phases
of one attempt. An attempt is in the journal before it is energised, so that after a reset it is known that the
attempt was running; it is then not repeated the same way: the other channel comes first, and this one later at
half and at a quarter of the drive.
"""

IDLE, SHED, FIRE_NOW, PAUSE = range(4)
PRIMARY, BACKUP = 0, 1
DRIVES_PCT = (100, 50, 25)
CUT_PAUSE_DS = 50  # after an attempt that a reset ended: short at first, since power may not last

TIME_UP, RISE, RESET, LEFT = range(4)  # how an attempt ended


class Release:
    __slots__ = ("orders", "phase", "channel", "until_ds", "paused_ds", "attempts", "ways")

    def __init__(self, orders) -> None:
        self.orders = orders
        self.phase = IDLE
        self.channel = PRIMARY
        self.until_ds = 0
        self.paused_ds = 0
        self.attempts = 0
        self.ways = bytearray(2)  # index into DRIVES_PCT for each channel

    def begin(self, now_ds: int, channel: int) -> None:
        self.channel = channel
        self.phase = SHED
        self.until_ds = now_ds + self.orders.shed_ds

    def stop(self) -> None:
        self.phase = IDLE

    def fire(self, now_ds: int) -> None:
        self.phase = FIRE_NOW
        self.attempts = min(self.attempts + 1, 65535)
        orders = self.orders
        self.until_ds = now_ds + (orders.fire_primary_ds if self.channel == PRIMARY else orders.fire_backup_ds)

    def rest(self, now_ds: int) -> None:
        """The attempt is over; pauses double with every pair of attempts, up to the plan's longest."""
        self.phase = PAUSE
        self.paused_ds = now_ds
        pause_ds = self.orders.pause_ds
        doublings = (self.attempts - 1) >> 1
        while doublings > 0 and pause_ds < self.orders.pause_max_ds:
            pause_ds <<= 1
            doublings -= 1
        self.until_ds = now_ds + min(pause_ds, self.orders.pause_max_ds)

    def cut_by_reset(self, now_ds: int) -> None:
        """The controller came back and finds that a reset ended the attempt."""
        channel = self.channel
        self.ways[channel] = (self.ways[channel] + 1) % len(DRIVES_PCT)
        self.rest_cut_short(now_ds)

    def rest_cut_short(self, now_ds: int) -> None:
        """After a restart the pause is short, since nobody knows how long power will last this time."""
        self.phase = PAUSE
        self.paused_ds = now_ds
        self.until_ds = now_ds + min(CUT_PAUSE_DS * max(0, self.attempts - 1), self.orders.pause_max_ds)

    def drive_pct(self) -> int:
        return DRIVES_PCT[self.ways[self.channel]]

    def is_over(self, now_ds: int) -> bool:
        return self.phase == PAUSE and now_ds >= self.until_ds

    def code(self) -> int:
        """Phase, channel and ways in one byte for the journal."""
        return self.phase | self.channel << 2 | self.ways[0] << 3 | self.ways[1] << 5

    def restore(self, code: int, attempts: int) -> None:
        self.phase = code & 3
        self.channel = code >> 2 & 1
        self.ways[0] = (code >> 3 & 3) % len(DRIVES_PCT)
        self.ways[1] = (code >> 5 & 3) % len(DRIVES_PCT)
        self.attempts = attempts
