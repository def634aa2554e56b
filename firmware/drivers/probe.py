"""Two electrodes that are asked whether water joins them: leak probe in the housing, wet contact outside.

    drive a --- series resistor --- node --- electrode )( electrode --- drive b
                                                |   end resistor   |
                                                +------------------+     at the far end of the cable

The drives are pins, the node goes to an ADC. A current that always flows one way eats an electrode and coats the
other; so each measurement asks both ways, one after the other for the same time, whatever is left over is made good
by the next, and between measurements both drives are low. The end resistor shows a broken cable: without it the
probe is open, and open is not dry.

Safe state: both drives low or inputs, no resistor needed, nothing can move. The node is an input, 1 nF to ground.

No datasheet: pins and ADC of MicroPython's `machine` module; the ADC is ratiometric to the supply of the pins. The
divider is Ohm's law: node = full scale * probe / (probe + series) seen from drive a, and its complement from drive b.
"""

from drivers.circuits import FULL
from drivers.upkeep import PAUSE_MS, RING, elapsed_ms, one_more

PERIOD_MS = 200  # from one measurement to the next
SETTLE_MS = 2  # each way at least; 100 kOhm and 1 nF settle in 0.5 ms
MAKE_GOOD_MS = 50  # how much longer the second way may last to make good what is left over
AGE_MS = 3000  # a verdict that is older is not believed
AGREE_COUNTS = 8192  # how far the two ways may differ while there is water, since electrodes polarise
REST_COUNTS = 16384  # with both drives low the node lies below, whatever is left of a polarisation
LONGEST_MS = 100  # a way that lasted longer says nothing any more: the board was busy or asleep
BALANCE_MS_MAX = 1000000

RESTING, FIRST_WAY, SECOND_WAY, FAILED = range(4)  # `state`
OHM_MAX = 100000000


class Probe:
    """`wet` is 1 while water joins the electrodes, believable while `ok`; `counts` is the last measurement.

    `counts` falls with the resistance between the electrodes. Not believed: a probe without its end resistor
    (`broken`), a node that does not follow the drives, pins or an ADC that fail (tried again after about 1 s), a
    verdict older than 3 s. Between wet and dry the last believed verdict stands; if there is none, wet.

    `series_ohm` is the resistor at drive a; the probe is wet below `wet_ohm`, dry above `dry_ohm`, broken above
    `broken_ohm`, which lies above the end resistor. Raises ValueError when these do not rise in this
    order, or when `wet_ohm` is not below `series_ohm`: a node that stands still could then look wet both ways.
    """

    def __init__(self, drive_a, drive_b, adc, series_ohm: int, wet_ohm: int, dry_ohm: int, broken_ohm: int) -> None:
        self._drive_a = drive_a
        self._drive_b = drive_b
        self.state = RESTING
        self.off()
        self.ok = 0
        self.wet = 0
        self.broken = 0
        self.counts = 0
        self.faults = 0
        self.balance_ms = 0  # time driven from a, less time driven from b
        self._adc = adc
        if not (0 < series_ohm <= OHM_MAX and 0 < wet_ohm < dry_ohm < broken_ohm <= OHM_MAX and wet_ohm < series_ohm):
            raise ValueError("probe: wet below %d Ohm, dry above %d, broken above %d must rise, up to %d, and wet lie"
                             " below the series resistor of %d" % (wet_ohm, dry_ohm, broken_ohm, OHM_MAX, series_ohm))
        self._wet_counts = node_counts(wet_ohm, series_ohm)
        self._dry_counts = node_counts(dry_ohm, series_ohm)
        self._broken_counts = node_counts(broken_ohm, series_ohm)
        self._agree_dry_counts = FULL - self._broken_counts  # a drive that never goes high makes more than this
        self._known = 0
        self._from_a = 1
        self._was_dropped = 0
        self._first_counts = 0
        self._first_ms = 0
        self._second_ms = 0
        self._since_ms = 0
        self._judged_ms = 0

    def start(self, now_ms: int) -> int:
        """Both drives low and nothing known; 1 when the pins took it and the ADC answers."""
        taken = self.off()
        self._forget()
        self.broken = 0
        self._judged_ms = now_ms
        self._since_ms = (now_ms - PERIOD_MS) & RING  # the first measurement begins at once
        try:
            self._adc.read_u16()
        except OSError:
            self._fail(now_ms)
            return 0
        return taken

    def off(self) -> int:
        """Both drives low, before the board sleeps; a measurement under way is dropped. 1 when taken, never raises."""
        if self.state == FIRST_WAY:
            self._was_dropped = 1
            self.balance_ms += SETTLE_MS if self._from_a else -SETTLE_MS  # about: no time is told here
        self.state = RESTING
        try:
            self._drive_a(0)
        except Exception:  # off must never raise, and drive b is still to be switched
            self._off_b()
            return 0
        return self._off_b()

    def _off_b(self) -> int:
        try:
            self._drive_b(0)
        except Exception:
            return 0
        return 1

    def tick(self, now_ms: int) -> None:
        """One step of a measurement."""
        if elapsed_ms(now_ms, self._judged_ms) > AGE_MS:
            self._forget()
            self._judged_ms = (now_ms - AGE_MS) & RING  # stays old, however long it lasts
        gone_ms = elapsed_ms(now_ms, self._since_ms)
        try:
            self._step(now_ms, gone_ms)
        except OSError:
            self._fail(now_ms)

    def _step(self, now_ms: int, gone_ms: int) -> None:
        if self.state == RESTING:
            if gone_ms >= PERIOD_MS:
                self._begin(now_ms)
        elif self.state == FIRST_WAY:
            if gone_ms >= SETTLE_MS:
                self._turn_round(now_ms, gone_ms)
        elif self.state == SECOND_WAY:
            if gone_ms >= self._second_ms:
                self._end(now_ms, gone_ms)
        elif gone_ms >= PAUSE_MS:
            self.start(now_ms)

    def _begin(self, now_ms: int) -> None:
        """The way that was driven longer so far goes first, since the second way is never the shorter one.

        After a measurement that was dropped in its first way it is the other: the second may not come this time either.
        """
        if self._adc.read_u16() > REST_COUNTS:
            self._spoilt(now_ms)
            return
        a_leads = 1 if self.balance_ms > 0 else 0
        self._from_a = 1 - a_leads if self._was_dropped else a_leads
        self._was_dropped = 0
        self._drive(self._from_a)
        self.state = FIRST_WAY
        self._since_ms = now_ms

    def _drive(self, from_a: int) -> None:
        """The low side first, so that the drives are never high together."""
        if from_a:
            self._drive_b(0)
            self._drive_a(1)
        else:
            self._drive_a(0)
            self._drive_b(1)

    def _turn_round(self, now_ms: int, gone_ms: int) -> None:
        if gone_ms > LONGEST_MS:
            self._leave(now_ms, self._from_a, gone_ms)
            self._was_dropped = 1
            return
        self._first_counts = self._reading(self._from_a)
        self._drive(1 - self._from_a)
        self._first_ms = gone_ms
        self._second_ms = gone_ms
        if (self.balance_ms > 0) == (self._from_a == 1):
            self._second_ms += min(abs(self.balance_ms), MAKE_GOOD_MS)
        self.state = SECOND_WAY
        self._since_ms = now_ms

    def _end(self, now_ms: int, gone_ms: int) -> None:
        second_counts = self._reading(1 - self._from_a)
        self._leave(now_ms, self._from_a, self._first_ms - min(gone_ms, BALANCE_MS_MAX))
        if gone_ms <= self._second_ms + LONGEST_MS:
            self._judge(now_ms, second_counts)

    def _leave(self, now_ms: int, from_a: int, lasted_ms: int) -> None:
        """Both drives low, and the time driven that has not been made good is written down."""
        self._drive_a(0)
        self._drive_b(0)
        balance_ms = self.balance_ms + (min(lasted_ms, BALANCE_MS_MAX) if from_a else -min(lasted_ms, BALANCE_MS_MAX))
        self.balance_ms = min(max(balance_ms, -BALANCE_MS_MAX), BALANCE_MS_MAX)
        self.state = RESTING
        self._since_ms = now_ms

    def _reading(self, from_a: int) -> int:
        """The reading as if driven from a."""
        counts = self._adc.read_u16()
        return counts if from_a else FULL - counts

    def _judge(self, now_ms: int, second_counts: int) -> None:
        is_wet = max(self._first_counts, second_counts) < self._wet_counts  # both ways: no dead node shows that
        self.counts = (self._first_counts + second_counts) >> 1
        agree_counts = self._agree_dry_counts if self.counts > self._dry_counts else AGREE_COUNTS
        if not is_wet and abs(self._first_counts - second_counts) > agree_counts:
            self._spoilt(now_ms)
            return
        self.broken = 1 if self.counts >= self._broken_counts else 0
        if self.broken:
            self._forget()
            return
        self._judged_ms = now_ms
        if self.counts > self._dry_counts:
            self.wet = 0
        elif is_wet or not self._known:
            self.wet = 1
        self._known = 1
        self.ok = 1

    def _spoilt(self, now_ms: int) -> None:
        self.faults = one_more(self.faults)
        self._forget()
        self._since_ms = now_ms

    def _forget(self) -> None:
        self.ok = 0
        self._known = 0

    def _fail(self, now_ms: int) -> None:
        self.off()
        self._spoilt(now_ms)
        self.state = FAILED


def node_counts(probe_ohm: int, series_ohm: int) -> int:
    """What the ADC shows of this resistance, driven from a. Allocates on a 32-bit board: at start only."""
    return FULL * probe_ohm // (probe_ohm + series_ohm)
