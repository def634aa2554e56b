"""ADS1115: a 16-bit converter over I2C, and a ratiometric pressure transducer read through it.

After Texas Instruments, SBAS444 "ADS111x ultra-small, low-power, 16-bit ADCs", registers and timing (from memory,
steps and reset value checked). The transducer gives 10 % of its own supply at no pressure and 90 % at full scale
(0.5 to 4.5 V of 5 V), as is common practice, no source; its output and its supply reach the converter through dividers.
"""

from drivers.upkeep import FAULTS_MAX, PAUSE_MS, RING

FRESH_MS = 2000  # a board that ticks once in a second still gets a reading
LATE_MS = 50  # past the time of a conversion: the chip hangs
PERIOD_MS_MAX = 1000

CONVERSION, CONFIG = 0, 1  # registers
START, SINGLE_SHOT, NO_COMPARATOR = 0x8000, 0x0100, 0x0003
SINGLE_ENDED = 0x4000  # inputs 0 to 3 against ground
HIGHEST_CODE = 0x7FFF

RANGES = {6144: 0, 4096: 1, 2048: 2, 1024: 3, 512: 4, 256: 5}  # full scale in mV, and its bits in the register
RATES = {8: 0, 16: 1, 32: 2, 64: 3, 128: 4, 250: 5, 475: 6, 860: 7}  # conversions in a second

BROKEN_PERMILLE = 50  # below: a broken wire, which the divider pulls to 0
BEYOND_PERMILLE = 920  # above: 2.5 % past full scale, where transducers begin to stand still, or a short to the supply

BUSY, READY, LOST = range(3)
PAUSED, RESTING, IN_SUPPLY, IN_SIGNAL = range(4)


def step_sixteenth_uv(range_mv: int) -> int:
    """One step of the code in sixteenths of a microvolt: the full scale of the range by 32768."""
    return range_mv * 125 // 256


class ADS1115:
    """The converter alone, one conversion at a time. Every method may raise OSError when the chip does not answer.

    `conversion_ms` is how long to wait from `begin` to `poll`. Raises ValueError for a rate that there is not.
    """

    def __init__(self, bus, address: int = 0x48, rate_hz: int = 128) -> None:
        if rate_hz not in RATES:
            raise ValueError("rate_hz = %s: the converter has 8, 16, 32, 64, 128, 250, 475 and 860" % rate_hz)
        self.conversion_ms = 1112 // rate_hz + 2  # 10 % slow at worst; a counter may be one short
        self._bus = bus
        self._address = address
        self._rate_bits = RATES[rate_hz] << 5
        self._config = 0
        self._buffer = bytearray(2)

    def start(self) -> int:
        """Bring the converter to rest; 1 when its register reads back as written."""
        self._configure(0, 0)
        self._write()
        return 1 if self._read(CONFIG) & 0x7FFF == self._config else 0

    def begin(self, channel: int, range_bits: int) -> None:
        """Begin one conversion of input 0 to 3 against ground."""
        self._configure(channel, range_bits)
        self._config |= START
        self._write()

    def poll(self) -> int:
        """BUSY, READY, or LOST when the register is not as written: the chip was reset and measures something else."""
        told = self._read(CONFIG)
        if (told ^ self._config) & 0x7FFF:
            return LOST
        return READY if told & START else BUSY

    def code(self) -> int:
        """The last conversion, -32768 to 32767."""
        code = self._read(CONVERSION)
        return code - 0x10000 if code & 0x8000 else code

    def _configure(self, channel: int, range_bits: int) -> None:
        self._config = SINGLE_ENDED | channel << 12 | range_bits << 9 | SINGLE_SHOT | self._rate_bits | NO_COMPARATOR

    def _write(self) -> None:
        self._buffer[0] = self._config >> 8
        self._buffer[1] = self._config & 0xFF
        self._bus.writeto_mem(self._address, CONFIG, self._buffer)

    def _read(self, register: int) -> int:
        self._bus.readfrom_mem_into(self._address, register, self._buffer)
        return self._buffer[0] << 8 | self._buffer[1]


class RatiometricTransducer:
    """A pressure transducer on two inputs of a converter: its output and, since that goes with it, its supply.

    `ok` is 1 only while `pressure_mbar` (absolute) is fresh and believable. `ratio_permille` and `excitation_mv` are
    what was last measured, for finding a broken wire on the bench. `faults` counts failed transfers and bad checks.

    full_scale_mbar: from 10 to 90 % of the supply, from the label.
    zero_mbar: absolute pressure at 10 %: 0 for an absolute transducer, about 1013 for a sealed gauge; also the place
        to correct a zero that is off, since a pressure below vacuum is not believed.
    channels: inputs of the output and of the supply.
    dividers_permille: of the output and of the supply: how much of 1000 parts reaches the converter.
    range_mv: of the output and of the supply. A range too narrow for the whole output gives finer steps and a shallower
        limit, above which nothing is believed.
    excitation_mv: the supply it should have; further away than 10 % is not believed.
    converter_mv: the converter's own supply, above which it cannot measure whatever its range.

    Raises ValueError for a number out of its range, and when the supply would not fit into its range, or either into
    what the converter can measure.
    """

    def __init__(self, converter: ADS1115, full_scale_mbar: int, zero_mbar: int = 0, channels=(0, 1),
                 range_mv=(4096, 4096), dividers_permille=(500, 500), excitation_mv: int = 5000,
                 converter_mv: int = 3300, period_ms: int = 200) -> None:
        _check("full_scale_mbar", full_scale_mbar, 100, 1300000, "it stands on the transducer's label")
        _check("zero_mbar", zero_mbar, -20000, 20000, "0 for an absolute transducer, about 1013 for a sealed gauge")
        _check("excitation_mv", excitation_mv, 1000, 24000, "it is the transducer's supply")
        _check("period_ms", period_ms, 0, PERIOD_MS_MAX, "readings must stay fresh")
        if channels[0] == channels[1]:
            raise ValueError("channels = %s: output and supply need an input each" % (channels,))
        for side in range(2):
            _check("channels", channels[side], 0, 3, "the converter has four inputs")
            _check("dividers_permille", dividers_permille[side], 1, 1000, "1000 is a wire without a divider")
            if range_mv[side] not in RANGES:
                raise ValueError("range_mv = %s: the converter has 6144, 4096, 2048, 1024, 512 and 256"
                                 % range_mv[side])
            _check_fit(excitation_mv * 11 // 10, dividers_permille[side], converter_mv)
        _check_fit(excitation_mv * 11 // 10, dividers_permille[1], range_mv[1])
        self._converter = converter
        self._signal_channel, self._supply_channel = channels
        self._signal_range, self._supply_range = RANGES[range_mv[0]], RANGES[range_mv[1]]
        signal_weight = step_sixteenth_uv(range_mv[0]) * dividers_permille[1]
        supply_weight = step_sixteenth_uv(range_mv[1]) * dividers_permille[0]
        shared = _common_divisor(signal_weight, supply_weight)
        self._signal_weight, self._supply_weight = signal_weight // shared, supply_weight // shared
        self._supply_step, self._supply_divider = step_sixteenth_uv(range_mv[1]), dividers_permille[1]
        self._full_scale_mbar, self._zero_mbar = full_scale_mbar, zero_mbar
        self._lowest_mv, self._highest_mv = excitation_mv * 9 // 10, excitation_mv * 11 // 10
        self._period_ms = period_ms
        self._supply_code = 0
        self._state = PAUSED
        self._since_ms = self._wait_ms = self._begun_ms = self._taken_ms = 0
        self.ok = 0
        self.pressure_mbar = self.ratio_permille = self.excitation_mv = 0
        self.faults = 0

    def start(self, now_ms: int) -> int:
        """Bring the converter to rest; 1 when it answered as written."""
        self.ok = 0
        try:
            answered = self._converter.start()
        except OSError:
            answered = 0
        if not answered:
            self._fail(now_ms)
            return 0
        self._enter(RESTING, now_ms, 0)
        return 1

    def tick(self, now_ms: int) -> None:
        """One step; at most 14 bytes on the bus."""
        if self.ok and (now_ms - self._taken_ms) & RING > FRESH_MS:
            self.ok = 0
        waited_ms = (now_ms - self._since_ms) & RING
        if waited_ms < self._wait_ms:
            return
        if self._state == PAUSED:
            self.start(now_ms)
            return
        try:
            self._step(now_ms, waited_ms)
        except OSError:
            self._fail(now_ms)

    def _step(self, now_ms: int, waited_ms: int) -> None:
        if self._state == RESTING or waited_ms > FRESH_MS:  # what was converted before a long sleep is stale
            self._begin_pair(now_ms)
            return
        progress = self._converter.poll()
        if progress == BUSY and waited_ms <= self._wait_ms + LATE_MS:
            return
        if progress != READY:
            self._fail(now_ms)
            return
        code = self._converter.code()
        if code == HIGHEST_CODE:  # a saturated reading stands still and looks like the seabed
            self._fail(now_ms)
        elif self._state == IN_SUPPLY:
            self._supply_code = code
            self._convert(IN_SIGNAL, self._signal_channel, self._signal_range, now_ms)
        else:
            self._finish_pair(code, now_ms)

    def _begin_pair(self, now_ms: int) -> None:
        self._begun_ms = now_ms
        self._convert(IN_SUPPLY, self._supply_channel, self._supply_range, now_ms)

    def _convert(self, state: int, channel: int, range_bits: int, now_ms: int) -> None:
        self._converter.begin(channel, range_bits)
        self._enter(state, now_ms, self._converter.conversion_ms)

    def _finish_pair(self, signal_code: int, now_ms: int) -> None:
        if not self._work_out(signal_code):
            self._fail(now_ms)
            return
        self._taken_ms = self._since_ms
        self.ok = 1
        self._enter(RESTING, self._begun_ms, self._period_ms)
        if (now_ms - self._begun_ms) & RING >= self._period_ms:  # a board that ticks slowly loses no tick
            self._begin_pair(now_ms)

    def _work_out(self, signal_code: int) -> int:
        """Pressure from a pair of codes: full scale * (output / supply - 10 %) / 80 %; 1 when it can be believed.

        The product passes 2^30, so that a 32-bit board allocates a few short-lived integers here: once in a pair,
        never between.
        """
        self.excitation_mv = self._supply_code * self._supply_step // (16 * self._supply_divider)
        if not self._lowest_mv <= self.excitation_mv <= self._highest_mv:
            return 0
        signal = signal_code * self._signal_weight
        supply = self._supply_code * self._supply_weight
        self.ratio_permille = signal * 1000 // supply
        if not BROKEN_PERMILLE <= self.ratio_permille < BEYOND_PERMILLE:
            return 0
        above_zero = self._full_scale_mbar * (10 * signal - supply)
        self.pressure_mbar = self._zero_mbar + (above_zero + 4 * supply) // (8 * supply)  # to the nearest
        return 1 if self.pressure_mbar >= 0 else 0  # below vacuum: the zero is off

    def _fail(self, now_ms: int) -> None:
        self.ok = 0
        self.faults = min(self.faults + 1, FAULTS_MAX)
        self._enter(PAUSED, now_ms, PAUSE_MS)

    def _enter(self, state: int, since_ms: int, wait_ms: int) -> None:
        self._state = state
        self._since_ms = since_ms
        self._wait_ms = wait_ms


def _check(name: str, value: int, lowest: int, highest: int, hint: str) -> None:
    if not lowest <= value <= highest:
        raise ValueError("%s = %s: allowed %d to %d; %s" % (name, value, lowest, highest, hint))


def _check_fit(highest_mv: int, divider_permille: int, measurable_mv: int) -> None:
    arrives_mv = highest_mv * divider_permille // 1000
    if arrives_mv > measurable_mv:
        raise ValueError("dividers_permille = %d: up to %d mV would arrive, above the %d mV that can be measured; "
                         "divide further" % (divider_permille, arrives_mv, measurable_mv))


def _common_divisor(a: int, b: int) -> int:
    while b:
        a, b = b, a % b
    return a
