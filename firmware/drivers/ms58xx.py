"""MS5837-30BA, MS5837-02BA and MS5803-14BA: digital pressure and temperature over I2C.

After TE Connectivity (Measurement Specialties), datasheets "MS5837-30BA", "MS5837-02BA" and "MS5803-14BA", and the
application note AN520 for the CRC-4: formulas and the printed examples checked, timing and limits from memory.

The pressure is absolute. The chip must be told to reload its PROM after power-on; every pair of conversions is asked
for, so that a chip that lost its supply answers with 0 and is noticed. The temperature is converted first, so that
the pressure, which moves, is the younger of the two.
"""

from drivers.upkeep import FAULTS_MAX, PAUSE_MS, RING

FRESH_MS = 2000  # a board that ticks once in a second still gets a reading
RESET_MS = 5  # the reload takes 2.8 ms; a millisecond counter may be one short
PERIOD_MS_MAX = 1000

COMMAND_READ, COMMAND_RESET, COMMAND_PRESSURE, COMMAND_TEMPERATURE, COMMAND_PROM = 0x00, 0x1E, 0x40, 0x50, 0xA0

OVERSAMPLING = {  # added to the command; wait in ms, of which the longest conversion is 0.60, 1.17, 2.28 … 18.08 ms
    256: (0, 2), 512: (2, 3), 1024: (4, 4), 2048: (6, 6), 4096: (8, 11), 8192: (10, 20),
}

VARIANTS = {
    # words of the PROM, highest oversampling, lowest and highest mbar, lowest and highest hundredths of a degree,
    # first order: bits of C2, of C4 dT, of C1, of C3 dT, of the result; steps in a mbar
    # below 20 C: factor and bits of dT^2 for the temperature; of (T - 20 C)^2 for the offset; for the sensitivity
    # below -15 C, further: factors of (T + 15 C)^2 for the offset and for the sensitivity
    # from 20 C: factor and bits of dT^2 for the temperature; of (T - 20 C)^2 for the offset
    "MS5837-30BA": (7, 8192, 0, 30000, -2000, 8500,
                    (16, 7, 15, 8, 13, 10), (3, 33, 3, 1, 5, 3), (7, 4), (2, 37, 1, 4)),
    "MS5837-02BA": (7, 8192, 10, 2000, -2000, 8500,
                    (17, 6, 16, 7, 15, 100), (11, 35, 31, 3, 63, 5), (0, 0), (0, 0, 0, 0)),
    "MS5803-14BA": (8, 4096, 0, 14000, -4000, 8500,
                    (16, 7, 15, 8, 15, 10), (3, 33, 3, 1, 5, 3), (7, 4), (7, 37, 1, 4)),
}

PAUSED, RESETTING, READING_PROM, RESTING, IN_TEMPERATURE, IN_PRESSURE = range(6)


def crc4(words) -> int:
    """CRC-4 of eight PROM words whose own CRC field was set to 0 (AN520): 0 to 15."""
    remainder = 0
    for word in words:
        for half in (8, 0):
            remainder ^= word >> half & 0xFF
            for _ in range(8):
                remainder = (remainder << 1 ^ (0x3000 if remainder & 0x8000 else 0)) & 0xFFFF
    return remainder >> 12


class MS58xx:
    """One chip. `ok` is 1 only while `pressure_mbar` and `centi_c` are fresh and believable.

    `pressure_steps` is the pressure in the chip's own step (`steps_per_mbar` of them), `faults` counts failed
    transfers and bad checks. `period_ms` is the time from one pair of conversions to the next, 0 for at once.
    The MS5803-14BA has `address` 0x77 when its pin CSB is low.

    Raises ValueError for a variant, an oversampling or a period that there is not.
    """

    def __init__(self, bus, variant: str, oversampling: int = 4096, period_ms: int = 200, address: int = 0x76) -> None:
        if variant not in VARIANTS:
            raise ValueError("variant = %s: allowed are %s" % (variant, ", ".join(sorted(VARIANTS))))
        (self._words, highest, self.lowest_mbar, self.highest_mbar, self._lowest_centi_c, self._highest_centi_c,
         self._first, self._cold, self._freezing, self._warm) = VARIANTS[variant]
        if oversampling not in OVERSAMPLING or oversampling > highest:
            raise ValueError("oversampling = %s: the %s has 256, 512, 1024 and so on up to %d"
                             % (oversampling, variant, highest))
        if not 0 <= period_ms <= PERIOD_MS_MAX:
            raise ValueError("period_ms = %s: allowed 0 to %d, so that readings stay fresh"
                             % (period_ms, PERIOD_MS_MAX))
        self.steps_per_mbar = self._first[5]
        self._bus = bus
        self._address = address
        self._fineness, self._conversion_ms = OVERSAMPLING[oversampling]
        self._period_ms = period_ms
        self._command = bytearray(1)
        self._word = bytearray(2)
        self._result = bytearray(3)
        self._prom = [0] * 8
        self._next_word = 0
        self._raw_pressure = self._raw_temperature = 0
        self._state = PAUSED
        self._since_ms = self._wait_ms = self._begun_ms = self._taken_ms = 0
        self.ok = 0
        self.pressure_mbar = self.pressure_steps = self.centi_c = 0
        self.faults = 0

    def start(self, now_ms: int) -> int:
        """Reset the chip and begin to read its PROM; 1 when it answered."""
        self.ok = 0
        try:
            self._send(COMMAND_RESET)
        except OSError:
            self._fail(now_ms)
            return 0
        self._enter(RESETTING, now_ms, RESET_MS)
        return 1

    def tick(self, now_ms: int) -> None:
        """One step; at most nine bytes on the bus."""
        if self.ok and (now_ms - self._taken_ms) & RING > FRESH_MS:
            self.ok = 0
        waited_ms = (now_ms - self._since_ms) & RING
        if waited_ms < self._wait_ms:
            return
        try:
            self._step(now_ms, waited_ms)
        except OSError:
            self._fail(now_ms)

    def _step(self, now_ms: int, waited_ms: int) -> None:
        state = self._state
        if state == PAUSED:
            self.start(now_ms)
        elif state == RESETTING:
            self._next_word = 0
            self._prom[7] = 0  # the MS5837 has no eighth word; the CRC takes it as 0
            self._enter(READING_PROM, now_ms, 0)
        elif state == READING_PROM:
            self._read_word(now_ms)
        elif state == RESTING or waited_ms > FRESH_MS:  # what was converted before a long sleep is stale
            self._begin_pair(now_ms)
        elif state == IN_TEMPERATURE:
            self._raw_temperature = self._converted()
            self._send(COMMAND_PRESSURE + self._fineness)
            self._enter(IN_PRESSURE, now_ms, self._conversion_ms)
        else:
            self._finish_pair(now_ms)

    def _read_word(self, now_ms: int) -> None:
        self._send(COMMAND_PROM + 2 * self._next_word)
        self._bus.readfrom_into(self._address, self._word)
        self._prom[self._next_word] = self._word[0] << 8 | self._word[1]
        self._next_word += 1
        if self._next_word < self._words:
            return
        if self._prom_is_right():
            self._begin_pair(now_ms)
        else:
            self._fail(now_ms)

    def _prom_is_right(self) -> int:
        prom = self._prom
        for at in range(1, 7):
            if prom[at] == 0 or prom[at] == 0xFFFF:  # a held data line: zeros even have a right CRC
                return 0
        if self._words == 8:
            told = prom[7] & 0x000F
            prom[7] &= 0xFF00
        else:
            told = prom[0] >> 12
            prom[0] &= 0x0FFF
        return 1 if crc4(prom) == told else 0

    def _begin_pair(self, now_ms: int) -> None:
        self._send(COMMAND_TEMPERATURE + self._fineness)
        self._begun_ms = now_ms
        self._enter(IN_TEMPERATURE, now_ms, self._conversion_ms)

    def _finish_pair(self, now_ms: int) -> None:
        self._raw_pressure = self._converted()
        if not self._is_conversion(self._raw_pressure) or not self._is_conversion(self._raw_temperature):
            self._fail(now_ms)
            return
        self._work_out()
        if not self._is_possible():
            self._fail(now_ms)
            return
        self._taken_ms = self._since_ms
        self.ok = 1
        self._enter(RESTING, self._begun_ms, self._period_ms)
        if (now_ms - self._begun_ms) & RING >= self._period_ms:  # a board that ticks slowly loses no tick
            self._begin_pair(now_ms)

    @staticmethod
    def _is_conversion(raw: int) -> int:
        return 1 if 0 < raw < 0xFFFFFF else 0  # 0: none was made; all ones: nobody drives the line, or the end stop

    def _is_possible(self) -> int:
        steps = self.pressure_steps
        if not self.lowest_mbar * self.steps_per_mbar <= steps <= self.highest_mbar * self.steps_per_mbar:
            return 0
        return 1 if self._lowest_centi_c <= self.centi_c <= self._highest_centi_c else 0

    def _work_out(self) -> None:
        """Pressure and temperature from a pair, first and second order, as the datasheet has them.

        The shifts floor; C's division would cut towards 0 and miss the printed example by 0.01 degrees. Products pass
        2^30, so that a 32-bit board allocates some ten short-lived integers here: once in a pair, never between.
        """
        prom = self._prom
        offset_bits, offset_slope_bits, sense_bits, sense_slope_bits, result_bits, per_mbar = self._first
        difference = self._raw_temperature - (prom[5] << 8)
        centi_c = 2000 + (difference * prom[6] >> 23)
        offset = (prom[2] << offset_bits) + (prom[4] * difference >> offset_slope_bits)
        sense = (prom[1] << sense_bits) + (prom[3] * difference >> sense_slope_bits)
        from_20 = (centi_c - 2000) * (centi_c - 2000)
        if centi_c < 2000:
            factor, bits, offset_factor, offset_cold_bits, sense_factor, sense_cold_bits = self._cold
            offset -= offset_factor * from_20 >> offset_cold_bits
            sense -= sense_factor * from_20 >> sense_cold_bits
            if centi_c < -1500:
                from_minus_15 = (centi_c + 1500) * (centi_c + 1500)
                offset -= self._freezing[0] * from_minus_15
                sense -= self._freezing[1] * from_minus_15
        else:
            factor, bits, offset_factor, offset_warm_bits = self._warm
            offset -= offset_factor * from_20 >> offset_warm_bits
        self.centi_c = centi_c - (factor * difference * difference >> bits)
        self.pressure_steps = ((self._raw_pressure * sense >> 21) - offset) >> result_bits
        self.pressure_mbar = (self.pressure_steps + per_mbar // 2) // per_mbar

    def _converted(self) -> int:
        self._send(COMMAND_READ)
        self._bus.readfrom_into(self._address, self._result)
        return self._result[0] << 16 | self._result[1] << 8 | self._result[2]

    def _send(self, command: int) -> None:
        self._command[0] = command
        self._bus.writeto(self._address, self._command)

    def _fail(self, now_ms: int) -> None:
        self.ok = 0
        self.faults = min(self.faults + 1, FAULTS_MAX)
        self._enter(PAUSED, now_ms, PAUSE_MS)

    def _enter(self, state: int, since_ms: int, wait_ms: int) -> None:
        self._state = state
        self._since_ms = since_ms
        self._wait_ms = wait_ms
